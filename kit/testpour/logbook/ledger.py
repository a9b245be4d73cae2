"""One transaction on the log: current rows are looked up, new rows are added; a correction or withdrawal is a new row too."""

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from testpour.common.wording import first_few, listed
from testpour.logbook.castings import new_names
from testpour.logbook.entries import moment_of, read_once, reading_of, settings_of, with_refusals
from testpour.logbook.known import TIMED, ReadingKey, known_of, reading_key
from testpour.logbook.loading import is_current
from testpour.logbook.tables import PHOTOS, POURS, READINGS, SETTINGS, LogProblem
from testpour.logbook.text_and_dates import clean, plain_name
from testpour.study.cautions import check_settings
from testpour.study.columns import Reading
from testpour.study.study import Study

HISTORY = ["what", "entry", "said", "low", "high", "age", "by", "note", "supersedes", "void", "logged_at"]

TABLES = {"pour": POURS, "reading": READINGS, "photo": PHOTOS}


class Ledger:
    """The log, open for one transaction."""

    def __init__(self, study: Study, connection: sa.Connection) -> None:
        self.study = study
        self._connection = connection

    def add(self, entries: Sequence[Mapping[str, Any]], reserved: Iterable[str] = ()) -> list[str]:
        """Add checked entries, each with its readings; returns the names of the pours. One without a name gets a free one that is not `reserved`."""
        given = [entry["pour"] for entry in entries if entry["pour"]]
        taken = set(self._connection.execute(sa.select(POURS.c.pour)).scalars())
        doubled = [name for name in given if name in taken]
        if said := [*(self._why_taken(doubled) if doubled else ()), *_alike(given, taken)]:
            raise LogProblem(" ".join(said))
        free = iter(new_names("P", len(entries), {*taken, *given, *reserved}))
        names, readings = [], []
        for entry in entries:
            name = entry["pour"] or next(free)
            self.insert_pour({**entry, "pour": name})
            readings += [{**row, "pour": name, "logged_at": _utc()} for row in entry.get("readings", ())]
            names.append(name)
        if readings:
            self._connection.execute(READINGS.insert(), readings)
        return names

    def _why_taken(self, names):
        """Sentences on names that the log has already; a pour that was withdrawn keeps its own."""
        withdrawn = set(self._connection.execute(sa.select(POURS.c.pour).where(POURS.c.void)).scalars())
        if current := [name for name in names if name not in withdrawn]:
            are = "is" if len(current) == 1 else "are"
            yield f"{listed(current)} {are} in the log already. Give another name, add a reading with add_reading, or correct the pour with correct_pour."
        for name in (name for name in names if name in withdrawn):
            yield f"{name} was withdrawn and keeps its name. Log the pour made in its place under another, such as {_next_name(name)}."

    def insert_pour(self, entry: Mapping[str, Any]) -> int:
        """Add one row of a pour with its settings; returns its entry number."""
        row = {k: entry[k] for k in ("pour", "session", "made_at", "by", "note", "supersedes", "void") if k in entry}
        number = self.insert("pour", row)
        settings = [
            {"entry": number, "factor": name, "number": None if isinstance(v, str) else float(v),
             "text": v if isinstance(v, str) else None}
            for name, v in entry["settings"].items()
        ]
        if settings:
            self._connection.execute(SETTINGS.insert(), settings)
        return number

    def insert(self, kind: str, row: Mapping[str, Any]) -> int:
        """Add one row of a "pour", a "reading" or a "photo"; returns its entry number."""
        table = TABLES[kind]
        return self._connection.execute(table.insert().values({**row, "logged_at": _utc()}).returning(table.c.entry)).scalar_one()

    def add_reading(self, row: Mapping[str, Any]) -> int:
        """Add one reading, refused where the log has it already: a notebook cell run twice must not count it twice."""
        self._refuse_second(row)
        return self.insert("reading", row)

    def _refuse_second(self, row):
        """Refuse a reading that a pour has already at its age and place."""
        reading = self.study.reading(row["reading"])
        query = sa.select(READINGS.c.entry).where(
            READINGS.c.pour == row["pour"],
            READINGS.c.reading == row["reading"],
            READINGS.c.specimen == row["specimen"],
            READINGS.c.age.is_not_distinct_from(row["age"]),
            is_current(READINGS),
        )
        existing = self._connection.execute(query).scalar() if read_once(reading) else None
        if existing is not None:
            raise LogProblem(
                f"{row['pour']} has its {reading.words} already (entry {existing}). Put it right with "
                f"correct_reading({existing}, ...), or name another specimen if two were read."
            )

    def withdrawn_readings(self) -> set[tuple[str, ReadingKey]]:
        """Pour and `ReadingKey` of every reading that was withdrawn."""
        return {(row.pour, reading_key(row)) for row in self._connection.execute(sa.select(READINGS).where(READINGS.c.void))}

    def settings(self, entry: int) -> dict[str, float | str]:
        """The settings of one row of a pour: factor name to float in the factor's unit, or text."""
        rows = self._connection.execute(sa.select(SETTINGS).where(SETTINGS.c.entry == entry))
        return {row.factor: row.text if row.number is None else row.number for row in rows}

    def current_pour(self, pour: str) -> sa.Row[Any]:
        """The row of a pour that counts now; a LogProblem where it is not in the log, or was withdrawn."""
        pour = clean(pour, line=True)
        rows = self._connection.execute(sa.select(POURS).where(POURS.c.pour == pour).order_by(POURS.c.entry)).all()
        if not rows:
            names = self._connection.execute(sa.select(POURS.c.pour).distinct().order_by(POURS.c.pour)).scalars().all()
            raise LogProblem(f"No pour {pour!r} in the log; it has {first_few(names[::-1], 12) or 'none yet'}.")
        if rows[-1].void:
            raise LogProblem(f"Pour {pour!r} was withdrawn; log it as a new pour under another name, such as {_next_name(pour)}.")
        return rows[-1]

    def times(self, pour: str) -> Sequence[sa.Row[Any]]:
        """The current rows of a pour's gel time, time to peak and demould time."""
        query = sa.select(READINGS).where(READINGS.c.pour == pour, READINGS.c.reading.in_(TIMED), is_current(READINGS))
        return self._connection.execute(query).all()

    def current_entry(self, kind: str, entry: int) -> sa.Row[Any]:
        """The row of a "reading" or a "photo" by its entry number; a LogProblem where it does not count now."""
        table = TABLES[kind]
        query = sa.select(table).where(table.c.entry == (int(entry) if entry < 2**31 else 0))
        row = self._connection.execute(query).first()
        if row is None:
            raise LogProblem(f"No {kind} with entry number {entry} in the log; history(pour) lists them.")
        newer = self._connection.execute(sa.select(table.c.entry).where(table.c.supersedes == entry)).scalar()
        if newer is not None:
            raise LogProblem(f"{kind.capitalize()} {entry} was replaced by {newer} already; correct that one.")
        if row.void:
            raise LogProblem(f"Entry {entry} withdraws a {kind}. Log the {kind} again with add_{kind}.")
        return row

    def correct_pour(
        self, pour: str, why: str, settings: Mapping[str, str | float] | None, session: str | None,
        made_at: str | dt.datetime | None, by: str
    ) -> int:
        """Add a corrected version of a pour, what is not given as it was; see `Logbook.correct_pour`."""
        settings = {} if settings is None else settings
        changed = settings_of(self.study, settings)
        old, row = _successor(self.current_pour(pour), "Corrected", why)
        merged = {name: value for name, value in self.settings(old.entry).items() if name not in settings} | changed
        row["note"] = with_refusals(row["note"], check_settings(self.study, merged).refusals)
        row["session"] = clean(session, line=True) or old.session
        row["by"] = clean(by, line=True) or old.by
        if made_at is not None:
            row["made_at"] = moment_of(made_at)
        return self.insert_pour({**row, "settings": merged})

    def correct_reading(self, entry: int, why: str, ways: Mapping[str, Any], age: str | float | None, by: str) -> int:
        """Add a corrected version of a reading, what is not given as it was; see `Logbook.correct_reading`."""
        old, row = _successor(self.current_entry("reading", entry), "Corrected", why)
        if (age is not None or by) and all(value is None for value in ways.values()):
            ways = known_of(old).way()
        given = {**row, "age": age if age is not None else old.age, "by": by or old.by, **ways}
        row |= reading_of(self.study, given)
        if row["age"] != old.age:
            self._refuse_second(row)
        return self.insert("reading", row)

    def withdraw_pour(self, pour: str, why: str) -> None:
        """Add the row that says a pour no longer counts."""
        old, row = _successor(self.current_pour(pour), "Withdrawn", why)
        self.insert_pour({**row, "void": True, "settings": self.settings(old.entry)})

    def withdraw(self, kind: str, entry: int, why: str) -> None:
        """Add the row that says a "reading" or a "photo" no longer counts."""
        _, row = _successor(self.current_entry(kind, entry), "Withdrawn", why)
        self.insert(kind, {**row, "void": True})

    def photos(self, pour: str | None = None) -> Sequence[sa.Row[Any]]:
        """The rows of the photographs that count now, of one pour or of all, in the order of logging."""
        pours = sa.select(POURS.c.pour).where(is_current(POURS))
        query = sa.select(PHOTOS).where(is_current(PHOTOS), PHOTOS.c.pour.in_(pours)).order_by(PHOTOS.c.entry)
        return self._connection.execute(query if pour is None else query.where(PHOTOS.c.pour == pour)).all()

    def history(self, pour: str) -> list[dict[str, Any]]:
        """Every row of a pour as a dict with the keys `HISTORY`, in the order of logging."""
        pour, rows, readings = clean(pour, line=True), [], {reading.name: reading for reading in self.study.readings}
        for row in self._connection.execute(sa.select(POURS).where(POURS.c.pour == pour)):
            settings = self.settings(row.entry)
            words = ", ".join(f"{f.words} {f.show(settings[f.name])}" for f in self.study.factors if f.name in settings)
            rows.append({**row._asdict(), "what": "pour", "said": f"session {row.session}; {words}".strip("; ")})
        for row in self._connection.execute(sa.select(READINGS).where(READINGS.c.pour == pour)):
            rows.append({**row._asdict(), "what": row.reading, "said": known_of(row).said(readings.get(row.reading, Reading(row.reading)))})
        for row in self._connection.execute(sa.select(PHOTOS).where(PHOTOS.c.pour == pour)):
            rows.append({**row._asdict(), "what": "photo", "said": row.file})
        if not rows:
            self.current_pour(pour)  # says which pours there are
        rows.sort(key=lambda row: (row["logged_at"], row["entry"]))
        return [{key: row.get(key) for key in HISTORY} for row in rows]


def _successor(old, action, why):
    """The row that counts now, and a new one to take its place, with the reason in its note."""
    if not clean(why):
        raise LogProblem(f"{action} without a reason. Give one: it is kept with the row.")
    row = old._asdict() | {"supersedes": old.entry, "note": f"{old.note} {action}: {clean(why)}".strip()}
    del row["entry"]
    return old, row


def _alike(given, taken):
    """A sentence on each name that differs from another only in capitals, blanks or leading zeros: one pour may be counted twice."""
    first = {plain_name(name): name for name in taken}
    for name in given:
        if (other := first.setdefault(plain_name(name), name)) != name:
            yield f"{name} and {other} may be one pour, written in two ways. Write its name in one way, or give the other pour a clearly different name."


def _next_name(name):
    """The name of a pour made in place of another: P02-2 for P02, P02-3 for P02-2."""
    first, number = re.fullmatch(r"(.*?)(?:-(\d+))?", name).groups(default="1")
    return f"{first}-{int(number) + 1}"


def _utc():
    return dt.datetime.now(dt.UTC).replace(tzinfo=None)
