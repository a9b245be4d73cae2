"""The buttons a study's readings call for: what happens once in a pour, and what is read at that moment."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from testpour.columns import Reading
from testpour.toml_file import own_toml
from testpour.wording import capital

if TYPE_CHECKING:
    from testpour.study import Study

PER_MINUTE = {"min": 1.0, "h": 1 / 60, "s": 60.0}  # what one minute is in the units a time may be kept in


@dataclass(frozen=True)
class Event:
    """A reading that is the moment something happens."""

    reading: Reading
    done: str  # what the button says
    check: str = ""  # what the other button says, where the moment is found by looking now and then
    still: str = ""  # how a check reads that came too early: "not gelled"
    doubt: str = ""  # what is asked of a moment that was found without a check before it
    sure: str = ""  # what the button says that takes it as exact
    companion: Reading | None = None  # a reading taken at the same moment

    def value(self, minutes: float) -> float:
        """Minutes after mixing in the reading's unit, to a hundredth of a minute."""
        return round(minutes, 2) * PER_MINUTE[self.reading.unit]


@cache
def _wording():
    return own_toml("bench/buttons.toml")


def events(study: Study) -> tuple[Event, ...]:
    """The moments a study reads, in its order."""
    held = {reading.name: reading for reading in study.readings}
    found = []
    for reading in study.readings:
        if reading.ages or reading.unit not in PER_MINUTE:
            continue
        said = _wording().get(reading.name, {})
        done = said.get("done") or f"{capital(reading.words)}: now"
        words = {key: said.get(key, "") for key in ("check", "still", "doubt", "sure")}
        found.append(Event(reading, done, **words, companion=held.get(said.get("with"))))
    return tuple(found)


def once(study: Study) -> tuple[Reading, ...]:
    """Readings with one moment of their own that are written, not tapped."""
    timed = {event.reading.name for event in events(study)}
    return tuple(r for r in study.readings if not r.ages and r.name not in timed)
