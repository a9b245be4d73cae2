"""What a tap writes into the log; a tap that is sent twice is logged once."""

from __future__ import annotations

import contextlib
import datetime as dt
import math
import warnings
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from testpour.bench.form_rows import TAKEN_BACK, Made, before_it
from testpour.bench.lateness import CONFIRMED
from testpour.bench.methods import several
from testpour.bench.slots import Event, Slot, filled
from testpour.columns import Reading
from testpour.logbook.book import Caution, Logbook
from testpour.logbook.database import on_server
from testpour.logbook.known import known, known_of
from testpour.logbook.server import zone
from testpour.logbook.tables import LogProblem
from testpour.wording import count

AGAIN = "checked again"
SEEN = "it happened between the last check and this one"
WATCHED = "it was watched as it happened"
TYPED = "typed at the bench"


class Taps:
    """Deeds on the log of one session.

    `by` gives the initials of who reads. `mark` says what is odd about the time of the tap at hand, and is kept
    in the note of what it logs. Every method returns what was done in words, after the log has it on the disk;
    a `LogProblem` says that it has not.
    """

    def __init__(self, logbook: Logbook, by: Callable[[], str]) -> None:
        self.logbook, self.by, self.mark = logbook, by, ""

    def catalyst_in(
        self, name: str, settings: Mapping[str, float | str], session: str, at: dt.datetime,
        anyway: bool = False
    ) -> str:
        """Log the pour, begun at `at`; `anyway` where it was made though the cautions refuse it."""
        with _shown_on_the_card():
            self.logbook.add_pour(name, settings=settings, session=session, made_at=at.replace(microsecond=0),
                                  by=self.by(), note=f"{self._zone(at)} {self.mark}", made_anyway=anyway)
        return f"catalyst in at {at:%H:%M:%S}"

    def _zone(self, at):
        """The zone of a time, where benches in several zones may share the log."""
        return f"[{zone(at)}]" if on_server(self.logbook.address) else ""

    def _why(self, why):
        return f"{why}. {self.mark}" if self.mark else why

    def check(self, made: Made, event: Event, at: dt.datetime) -> str:
        """Looked, and it has not happened yet."""
        now, held = _reached(made, event, at), made.last(event.reading.name)
        if held is None:
            self.logbook.add_reading(made.pour, event.reading.name, not_yet=now, by=self.by(), note=self.mark)
        elif held.known == "not yet" and now > held.low:
            self.logbook.correct_reading(held.entry, not_yet=now, why=self._why(AGAIN), by=self.by())
        return f"{event.still} at {now:.1f} {event.reading.unit}"

    def happened(self, made: Made, event: Event, at: dt.datetime, companion: str = "") -> str:
        """It happened, or was found to have happened, at `at`; `companion` is what was read with it.

        Raises `UnitProblem` if the companion, such as the temperature at the peak, cannot be read.
        """
        if companion and event.companion is not None:
            event.companion.parse(companion)  # refused before anything is stored
        now, held = _reached(made, event, at), made.last(event.reading.name)
        if held is not None and held.known == "not yet":
            self.logbook.correct_reading(held.entry, between=(held.low, max(now, held.low)),
                                         why=self._why(SEEN), by=self.by())
        elif held is None:
            exact, already = (None, now) if event.check else (now, None)
            self.logbook.add_reading(made.pour, event.reading.name, exact, already=already, by=self.by(), note=self.mark)
        if companion and event.companion is not None and made.last(event.companion.name) is None:
            with _shown_on_the_card():
                self.logbook.add_reading(made.pour, event.companion.name, companion, by=self.by())
        return f"{event.done.lower()} at {now:.1f} {event.reading.unit}"

    def watched(self, made: Made, event: Event) -> str:
        """Found to have happened, and it was watched: so it is known exactly."""
        held = made.last(event.reading.name)
        if held is not None and held.known == "already":
            self.logbook.correct_reading(held.entry, value=held.high, why=WATCHED, by=self.by())
        return f"{event.done.lower()}, watched"

    def write(
        self, made: Made, reading: Reading, text: str, slot: Slot | None = None,
        at: dt.datetime | None = None
    ) -> str:
        """A reading as typed: a value, or words such as ``"20 to 25 min"``; a second one corrects the first.

        `slot` is the planned reading it fills, at the age it has at `at`; None for a reading with one moment of
        its own.
        """
        held = made.last(reading.name) if slot is None else next(iter(filled(slot, made.readings)), None)
        if held is not None:
            if not _same(held, reading, text):
                self.logbook.correct_reading(held.entry, text, why=TYPED, by=self.by())
        else:
            age, note = (None, "") if slot is None or at is None else _age(slot, made.minutes(at) / 60)
            with _shown_on_the_card():
                self.logbook.add_reading(made.pour, reading.name, text, age=age, note=note if slot is None else f"{note} {self.mark}", by=self.by())
        return f"{reading.words} {text}"

    def values(self, made: Made, slot: Slot, message: Mapping[str, Any], at: dt.datetime) -> str:
        """Several readings of one specimen, all or none; what the method lacks goes into their note.

        The message holds ``text`` with blanks between the readings, ``specimen``, and ``thickness`` and
        ``edge`` in mm where the method asks for them.
        """
        found = several(slot.reading, message["text"], message.get("thickness"), message.get("edge"))
        if not found.values:
            raise LogProblem(f"{slot.reading.words}: no number yet. Type them with blanks between, such as 76 79 78.")
        specimen = message.get("specimen", "")
        held = [r.low for r in filled(slot, made.readings) if r.specimen == specimen]
        if sorted(held) == sorted(found.values):
            return f"{slot.reading.words} is in the log already"
        age, note = _age(slot, made.minutes(at) / 60)
        note = " ".join(filter(None, [note, *found.flags, self.mark]))
        self.logbook.add_readings(made.pour, slot.reading.name, list(found.values), age=age, specimen=specimen,
                                  note=note, by=self.by())
        return f"{slot.reading.words}, {found.sentence()}"

    def take_back(self, made: Made, entries: Iterable[int]) -> str:
        """Taps taken back: what each replaced counts again, and where it replaced nothing the row is withdrawn."""
        rows = [row for row in made.readings if row.entry in entries]
        for row in rows:
            before = before_it(self.logbook, row, made.pour)
            if before is None:
                self.logbook.withdraw_reading(row.entry, why=TAKEN_BACK)
            else:
                self.logbook.correct_reading(row.entry, **known_of(before).way(), why=TAKEN_BACK, by=self.by())
        return f"{count(len(rows), 'tap')} taken back"

    def time_right(self, made: Made, entries: Iterable[int]) -> str:
        """The time of a tap that came late, or by a clock that was set back, is right after all.

        Without entries it is the time of the pour itself.
        """
        if not entries:
            self.logbook.correct_pour(made.pour, why=CONFIRMED, by=self.by())
        for row in (row for row in made.readings if row.entry in entries):
            self.logbook.correct_reading(row.entry, **known_of(row).way(), why=CONFIRMED, by=self.by())
        return "the time is confirmed"

    def photo(self, made: Made, picture: bytes, at: dt.datetime) -> str:
        """A photograph of the pour, as the bytes of its file, taken now.

        Raises `LogProblem` if it is not a picture this kit reads.
        """
        age = max(made.minutes(at), 0) / 60
        self.logbook.add_photo(made.pour, picture, age=round(age, 2), by=self.by(), note=self.mark)
        return f"photograph at {age:.1f} h"

    def photo_back(self, entries: Iterable[int]) -> str:
        """A photograph taken back; its row stays in the history."""
        for entry in entries:
            self.logbook.withdraw_photo(entry, why=TAKEN_BACK)
        return "photograph taken back"

    def unpour(self, made: Made) -> str:
        """The pour taken back, its readings with it."""
        self.logbook.withdraw_pour(made.pour, why=TAKEN_BACK)
        return "catalyst in taken back"

    def fill_in(self, made: Made, lacking: Mapping[str, float | str]) -> None:
        """The room or a lot, read after the catalyst went in."""
        self.logbook.correct_pour(made.pour, settings=lacking, why="read after the catalyst went in", by=self.by())


@contextlib.contextmanager
def _shown_on_the_card():
    """Log without warnings: the card shows them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)
        yield


def _same(held, reading, text):
    """Whether what was typed is what the row says already."""
    with contextlib.suppress(ValueError):
        found = known(reading, text)
        return math.isclose(found.low, held.low) and math.isclose(found.high, held.high)
    return False


def _reached(made, event, at):
    """The time of a tap in the unit of its reading; one under the least that is believable was tapped too early."""
    now, reading = event.value(made.minutes(at)), event.reading
    if now < reading.low:
        raise LogProblem(f"Too early to log: {reading.words} counts from {reading.show(reading.low)} after the catalyst went in. Leave it, and tap again then.")
    return now


def _age(slot, age):
    """The age to log in hours, and a note that says what it was where that is not the same."""
    logged = slot.logged_age(age)
    return logged, f"Read at {age:.1f} h." if abs(age - logged) > 0.005 * logged else ""
