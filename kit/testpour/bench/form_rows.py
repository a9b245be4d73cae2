"""The current rows of the log for a few pours: one session, or the last days, never the whole log."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

import sqlalchemy as sa

from testpour.bench.lateness import CONFIRMED, in_local_time
from testpour.common.wording import BY_TAPPING
from testpour.logbook.book import Logbook
from testpour.logbook.known import known_of
from testpour.logbook.loading import is_current
from testpour.logbook.tables import POURS, READINGS, SETTINGS, UNDATED
from testpour.logbook.text_and_dates import hour_known

NO_HOUR = (
    f"For {{pours}} the day is known but not the hour, so {{so}}. Give the hour {BY_TAPPING} or with "
    'log.correct_pour("{pour}", made_at=..., why="hour added").'
)
TAKEN_BACK = "tap taken back"
FEW = 500  # most pours that a query names one by one


@dataclass(frozen=True)
class LoggedReading:
    """One current reading."""

    entry: int
    reading: str
    low: float  # in the reading's unit, -inf where open
    high: float  # inf where open
    age: float | None  # hours after mixing
    specimen: str
    by: str
    known: str  # how it is known: "exact", "between", "not yet" or "already"
    note: str


@dataclass(frozen=True)
class LoggedPour:
    """One current pour, with its settings and readings in the order they were logged."""

    pour: str
    session: str
    made_at: dt.datetime
    by: str
    note: str
    settings: dict[str, float | str] = field(repr=False)
    readings: tuple[LoggedReading, ...] = field(repr=False)

    @property
    def by_day(self) -> bool:
        """Whether only the day it was made is known."""
        return not hour_known(self.made_at)

    def no_hour(self, so: str) -> str:
        """Says that the hour is not known, what follows from that, and how to give the hour."""
        return NO_HOUR.format(pours=self.pour, pour=self.pour, so=so)

    def minutes(self, moment: dt.datetime) -> float:
        """Minutes from catalyst in to a moment, across a change to or from summer time too; if only the day is known, the most possible."""
        return (moment.timestamp() - self.made_at.timestamp()) / 60

    def last(self, reading: str) -> LoggedReading | None:
        """The last row of a reading that a pour has once; None if there is none yet."""
        return next((row for row in reversed(self.readings) if row.reading == reading and not row.specimen), None)


def session_rows(logbook: Logbook, session: str) -> dict[str, LoggedPour]:
    """The pours of one session whose day is known, by name, in the order they were logged."""
    return _rows(logbook, sa.and_(POURS.c.session == session, POURS.c.made_at != UNDATED))


def rows_since(logbook: Logbook, moment: dt.datetime, session: str | None = None) -> dict[str, LoggedPour]:
    """The pours made since a moment on the workshop's clock, in one session or in all, by name."""
    return _rows(logbook, sa.and_(POURS.c.made_at >= moment, sa.true() if session is None else POURS.c.session == session))


def names_used(logbook: Logbook, names: Iterable[str]) -> dict[str, str | None]:
    """Which of these names the log has ever used: name to its session, None if withdrawn."""
    query = sa.select(POURS.c.pour, POURS.c.session, POURS.c.void).where(POURS.c.pour.in_(list(names)))
    with logbook.looking() as connection:
        rows = connection.execute(query.order_by(POURS.c.entry)).all()
    return {row.pour: None if row.void else row.session for row in rows}


def replaced_row(logbook: Logbook, row: LoggedReading, pour: str) -> LoggedReading | None:
    """The row that counts again when a tap is taken back, or None.

    Taking back is a correction too, so the rows are replayed from the first on: a tap goes on a stack, taking it
    back removes it.
    """
    query = sa.select(READINGS).where(READINGS.c.pour == pour, READINGS.c.reading == row.reading)
    with logbook.looking() as connection:
        by_entry = {logged.entry: logged for logged in connection.execute(query)}
    history, entry = [], row.entry
    while entry is not None:
        history.append(by_entry[entry])
        entry = by_entry[entry].supersedes
    stack = []
    for logged in reversed(history):
        if logged.note.endswith(CONFIRMED) and stack:  # a confirmation, not a tap of its own
            stack[-1] = logged
        elif logged.note.endswith(TAKEN_BACK) and len(stack) > 1:
            stack.pop()
        else:
            stack.append(logged)
    return _row(stack[-2]) if len(stack) > 1 else None


def _rows(logbook, condition):
    """Current pours that meet a condition, each with its settings and readings."""
    wanted = sa.and_(is_current(POURS), condition)
    with logbook.looking() as connection:
        pours = connection.execute(sa.select(POURS).where(wanted).order_by(POURS.c.made_at, POURS.c.entry)).all()
        entries, names = [p.entry for p in pours], [p.pour for p in pours]
        if len(pours) > FEW:  # too many to name one by one
            entries, names = (sa.select(c).where(wanted) for c in (POURS.c.entry, POURS.c.pour))
        settings, readings = {}, {}
        for row in connection.execute(sa.select(SETTINGS).where(SETTINGS.c.entry.in_(entries))):
            settings.setdefault(row.entry, {})[row.factor] = row.text if row.number is None else row.number
        declared = READINGS.c.reading.in_([reading.name for reading in logbook.study.readings])
        query = sa.select(READINGS).where(READINGS.c.pour.in_(names), declared, is_current(READINGS)).order_by(READINGS.c.entry)
        for row in connection.execute(query):
            readings.setdefault(row.pour, []).append(_row(row))
    return {
        p.pour: LoggedPour(p.pour, p.session, in_local_time(p.made_at, p.note), p.by, p.note, settings.get(p.entry, {}), tuple(readings.get(p.pour, ())))
        for p in pours
    }


def _row(record):
    known = known_of(record)
    return LoggedReading(record.entry, record.reading, known.low, known.high, record.age, record.specimen, record.by, known.how, record.note)
