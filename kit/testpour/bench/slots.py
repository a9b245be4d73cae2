"""When a study takes readings: events to tap, ages after mixing, and which of these a reading fills."""

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass

from testpour.bench.form_rows import LoggedPour, LoggedReading
from testpour.bench.lateness import open_question
from testpour.common.toml_file import own_toml
from testpour.common.units import show
from testpour.common.wording import BY_TAPPING, capital, hours_words, listed
from testpour.logbook.known import Known
from testpour.study.columns import Reading
from testpour.study.study import Study

PER_MINUTE = {"min": 1.0, "h": 1 / 60, "s": 60.0}  # what one minute is in the units a time may be kept in
# A reading within a twentieth of its planned age counts as taken at it; from three quarters of the age on it fills the
# slot, until the next one opens, or until three times the last age. Common practice, no source.
NEAR, OPENS, LATEST = 0.05, 0.75, 3.0
ROOM = 10  # minutes by which "catalyst in" may have been tapped late


@dataclass(frozen=True)
class Slot:
    """One planned reading."""

    reading: Reading
    age: float  # planned, hours after mixing
    closes: float  # hours after mixing from which on it is missed

    @property
    def opens(self) -> float:
        """Hours after mixing from which a reading counts for it."""
        return OPENS * self.age

    def holds(self, age: float | None) -> bool:
        """Whether a reading at that age (h) fills it; one without an age does not."""
        return age is not None and self.opens <= age < self.closes

    def logged_age(self, age: float) -> float:
        """The age to log, h: the planned one if the reading is near enough, else the actual one."""
        return self.age if abs(age - self.age) <= NEAR * self.age else float(f"{age:.3g}")

    def status(self, age: float) -> str:
        """``"later"``, ``"early"``, ``"due"``, ``"overdue"`` or ``"missed"`` at an age."""
        if age < self.opens:
            return "later"
        if age >= self.closes:
            return "missed"
        if abs(age - self.age) <= NEAR * self.age:
            return "due"
        return "early" if age < self.age else "overdue"


def slots(study: Study) -> list[Slot]:
    """Every planned reading of a pour, in the order of the study's readings and then of age."""
    planned = []
    for reading in study.readings:
        ages = sorted({*reading.ages, *(a.age for a in study.aims if a.reading == reading.name and a.age)})
        ends = [OPENS * age for age in ages[1:]] + [LATEST * ages[-1]] if ages else []
        planned += [Slot(reading, age, end) for age, end in zip(ages, ends, strict=True)]
    return planned


def filled(slot: Slot, readings: Iterable[LoggedReading]) -> list[LoggedReading]:
    """The rows that fill a slot."""
    return [row for row in readings if row.reading == slot.reading.name and slot.holds(row.age)]


def when_due(slot: Slot, made: LoggedPour, now: dt.datetime) -> tuple[dt.datetime, str]:
    """When a planned reading of a pour is due, and its status now; by day, from midnight, if only the day of the pour is known."""
    hours = made.minutes(now) / 60
    if not made.by_day:
        return dt.datetime.fromtimestamp(made.made_at.timestamp() + 3600 * slot.age), slot.status(hours)  # a change of the clocks may lie between
    first = made.made_at + dt.timedelta(hours=slot.age)
    least = slot.status(hours - 24)  # as if it was poured at the end of the day
    today = first.date() <= now.date() <= (first + dt.timedelta(days=1, seconds=-1)).date()
    return dt.datetime.combine(first, dt.time()), "due" if today and least != "missed" else least


@dataclass(frozen=True)
class Event:
    """A reading that is the time of an event."""

    reading: Reading
    done: str  # what the button says
    check: str = ""  # what the other button says, if the event is found by looking now and then
    still: str = ""  # the state at a check before the event: "not gelled"
    doubt: str = ""  # the question if there was no check before the event
    sure: str = ""  # what the button says that makes it exact
    look: str = ""  # when to look in any case, if it has an aim
    companion: Reading | None = None  # a reading taken at the same moment

    def value(self, minutes: float) -> float:
        """Minutes after mixing in the reading's unit, to a hundredth of a minute."""
        return round(minutes, 2) * PER_MINUTE[self.reading.unit]


def events(study: Study) -> tuple[Event, ...]:
    """The events a study reads, in its order."""
    by_name = {reading.name: reading for reading in study.readings}
    timed = []
    for reading in study.readings:
        if reading.ages or reading.unit not in PER_MINUTE:
            continue
        buttons = own_toml("bench/buttons.toml").get(reading.name, {})
        done = buttons.get("done") or f"{capital(reading.words)}: now"
        words = {key: buttons.get(key, "") for key in ("check", "still", "doubt", "sure")}
        look = look_words(study, reading) if words["check"] else ""
        timed.append(Event(reading, done, **words, look=look, companion=by_name.get(buttons.get("with"))))
    return tuple(timed)


def too_early(made: LoggedPour, event: Event, typed: Known, at: dt.datetime) -> str:
    """Why a time typed for a pour cannot be known yet, with what to do; ``""`` if it can, or if the clocks are in doubt."""
    minutes, last = made.minutes(at), max(filter(math.isfinite, (typed.low, typed.high)))
    if minutes < 0 or open_question(made.note) or last <= event.value(minutes + ROOM):
        return ""
    reading = event.reading
    return (f"The catalyst of {made.pour} went in {hours_words(minutes / 60)} ago: {reading.words} {typed.words(reading)} {reading.unit} cannot be known yet. "
            f"Type it when that time has come. If the catalyst went in before {made.made_at:%H:%M}, correct that first, "
            f'{BY_TAPPING} or with log.correct_pour("{made.pour}", made_at="{made.made_at:%Y-%m-%d %H:%M}", why="tapped late") and the true time.')


def look_words(study: Study, reading: Reading) -> str:
    """At which times to look for an event so that its aim can be judged, as the end of a sentence; "" if it has no aim."""
    bounds = {bound for aim in study.aims if aim.reading == reading.name for bound in (aim.at_least, aim.at_most) if bound is not None}
    if not bounds:
        return ""
    return f"look {listed(f'at {show(bound, reading.unit)}' for bound in sorted(bounds))} in any case, so that each pour shows whether the aim is met"


def once(study: Study) -> tuple[Reading, ...]:
    """Readings taken once, that are written and not tapped."""
    timed = {event.reading.name for event in events(study)}
    return tuple(r for r in study.readings if not r.ages and r.name not in timed)
