"""The logbook: pours and readings go in, nothing is ever changed or taken out."""

import datetime as dt
from pathlib import Path

import pandas as pd
import sqlalchemy as sa

from testpour.cautions import check_settings
from testpour.logbook.castings import castings_from
from testpour.logbook.entries import Entries
from testpour.logbook.tables import (
    POURS,
    READINGS,
    SETTINGS,
    Explained,
    LogProblem,
    address_of,
    open_database,
    shown,
    writing,
)  # fmt: skip
from testpour.study import StudyProblems
from testpour.units import UnitProblem


class Logbook:
    """The log of a study.

    Parameters
    ----------
    study : Study
    address : str, optional
        A file beside the study or a database address; by default the one the study names.

    Raises
    ------
    LogProblem
        If the log cannot be opened.

    Notes
    -----
    Every call that logs is one transaction, on the disk before it returns. A correction is a new row that
    supersedes an older one; `history` shows both.
    """

    def __init__(self, study, address=None):
        self.study = study
        self.address = address_of(study, address)
        self._engine = open_database(self.address)

    def __repr__(self):
        return f"Log of {self.study.name!r} at {shown(self.address)}. {self.castings().sentence()}"

    def close(self):
        """Let the database go."""
        self._engine.dispose()

    def add_pour(self, pour=None, *, settings, session, made_at=None, by="", note="", made_anyway=False):
        """Log one pour.

        Parameters
        ----------
        pour : str, optional
            Its name; by default the next free one, P01, P02 ...
        settings : dict
            Factor name to number or text with a unit.
        session : str
            The day in one room it belongs to.
        made_at : datetime, optional
            When the catalyst went in; now by default.
        by, note : str
        made_anyway : bool
            Log a pour that breaks a refusal, because it was made; the refusal goes into its note.

        Returns
        -------
        str
            The pour's name.

        Raises
        ------
        LogProblem
            If a setting is unknown, unreadable, unbelievable or refused, or the name is taken.
        """
        row = self._settings(settings)
        refusals = check_settings(self.study, row).refusals
        if refusals and not made_anyway:
            raise LogProblem(
                " ".join(refusals) + " If this pour was made all the same, log it with made_anyway=True."
            )
        note = " ".join([note, *(f"Refused by the cautions: {r}" for r in refusals)]).strip()
        entry = {
            "pour": pour, "session": str(session), "made_at": made_at or _now(), "by": by, "note": note,
            "settings": row,
        }  # fmt: skip
        return self._write([entry])[0]

    def add_reading(self, pour, reading, value=None, *, between=None, not_yet=None, already=None,
                    age=None, specimen="", by="", note=""):
        """Log one reading of a pour.

        Parameters
        ----------
        pour, reading : str
        value : float or str, optional
            As read off, text with a unit; text may also say ``"20-25 min"`` or ``"not yet at 2 h"``.
        between : tuple, optional
            The last check before and the first after.
        not_yet : float or str, optional
            The last check, when it had not happened yet.
        already : float or str, optional
            The first check, when it had happened before.
        age : float or str, optional
            Hours after mixing, or text with a unit; needed for a reading that changes with age.
        specimen, by, note : str

        Returns
        -------
        int
            The entry number, to correct it by.

        Raises
        ------
        LogProblem
            If the pour is not in the log, or the reading is unknown, unreadable or unbelievable.
        """
        ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
        row = self._reading({"reading": reading, "age": age, "specimen": specimen, "by": by, "note": note, **ways})
        with self._transaction() as connection:
            self._standing(connection, pour)
            return connection.execute(READINGS.insert().values(pour=pour, logged_at=_utc(), **row)).inserted_primary_key[0]

    def add_all(self, entries):
        """Log many pours with their readings, all or none.

        Parameters
        ----------
        entries : list of dict
            Each with ``pour``, ``session``, ``settings`` and ``readings`` (a list of dicts as `add_reading`
            takes them); ``made_at``, ``by``, ``note`` where known; ``where`` names it in a problem.

        Returns
        -------
        list of str
            The names of the pours.

        Raises
        ------
        LogProblems
            With a table of every problem; nothing is stored then.
        """
        return self._write(Entries(self.study).check(entries))

    def add_sheet(self, path):
        """Log a spreadsheet (CSV or XLSX), all or nothing; see `read_sheet` for what it may look like.

        Returns
        -------
        list of str
            The names of the pours.

        Raises
        ------
        LogProblems
            With a table of every problem: row, column, value, what is wrong and what to do.
        """
        from testpour.logbook.spreadsheet import read_sheet

        return self.add_all(read_sheet(self.study, self._beside(path)))

    def correct_pour(self, pour, *, why, settings=None, session=None, made_at=None, by=""):
        """Log a corrected version of a pour; what is not given stays. Returns the new entry number."""
        with self._transaction() as connection:
            old = self._standing(connection, pour)
            held = connection.execute(sa.select(SETTINGS).where(SETTINGS.c.entry == old.entry)).mappings()
            row = {s["factor"]: s["text"] if s["number"] is None else s["number"] for s in held}
            row.update({k: v for k, v in self._settings(settings or {}).items() if k in (settings or {})})
            entry = {
                "pour": pour, "session": session or old.session, "made_at": made_at or old.made_at,
                "by": by or old.by, "note": f"{old.note} Corrected: {why}".strip(), "settings": row,
                "supersedes": old.entry,
            }  # fmt: skip
            return self._insert_pour(connection, entry)

    def correct_reading(self, entry, value=None, *, why, between=None, not_yet=None, already=None, age=None, by=""):
        """Log a corrected version of a reading; returns the new entry number."""
        with self._transaction() as connection:
            old = self._standing_reading(connection, entry)
            ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
            row = self._reading({
                "reading": old.reading, "age": age if age is not None else old.age, "specimen": old.specimen,
                "by": by or old.by, "note": f"{old.note} Corrected: {why}".strip(), **ways,
            })  # fmt: skip
            row |= {"pour": old.pour, "supersedes": entry, "logged_at": _utc()}
            return connection.execute(READINGS.insert().values(**row)).inserted_primary_key[0]

    def withdraw_reading(self, entry, *, why):
        """Say that a reading no longer counts; it stays in the history."""
        with self._transaction() as connection:
            old = self._standing_reading(connection, entry)._asdict()
            old |= {"supersedes": entry, "void": True, "logged_at": _utc(), "note": f"{old['note']} Withdrawn: {why}".strip()}
            old.pop("entry")
            connection.execute(READINGS.insert().values(**old))

    def withdraw_pour(self, pour, *, why):
        """Say that a pour no longer counts, its readings with it; all stay in the history."""
        with self._transaction() as connection:
            old = self._standing(connection, pour)._asdict()
            old |= {"supersedes": old.pop("entry"), "void": True, "logged_at": _utc()}
            connection.execute(POURS.insert().values(**{**old, "note": f"{old['note']} Withdrawn: {why}".strip()}))

    def history(self, pour):
        """Every row ever logged of a pour, superseded ones too: a DataFrame in the order of logging."""
        with self._reading_only() as connection:
            made = pd.read_sql(sa.select(POURS).where(POURS.c.pour == pour), connection).assign(what="pour")
            read = pd.read_sql(sa.select(READINGS).where(READINGS.c.pour == pour), connection)
        table = pd.concat([made, read.assign(what=read["reading"])], ignore_index=True)
        kept = ["what", "entry", "low", "high", "age", "note", "supersedes", "void", "logged_at"]
        return table.reindex(columns=kept).sort_values(["logged_at", "entry"], ignore_index=True)

    def castings(self):
        """What the log holds now, as `Castings`."""
        with self._reading_only() as connection:
            pours, settings, readings = (
                pd.DataFrame(connection.execute(sa.select(t)).all(), columns=t.columns.keys())
                for t in (POURS, SETTINGS, READINGS)
            )
        return castings_from(self.study, pours, settings, readings)

    def _beside(self, path):
        """A path as given, or beside the study."""
        return Path(path) if Path(path).exists() else self.study.folder / path

    def _settings(self, settings):
        try:
            whole = self.study.settings(settings)
        except StudyProblems as problem:
            raise LogProblem(" ".join(problem.problems)) from None
        return {name: whole[name] for name in settings if name in whole}

    def _reading(self, entry):
        try:
            return Entries(self.study).reading(entry)
        except (UnitProblem, KeyError) as problem:
            raise LogProblem(str(problem.args[0])) from None

    def _write(self, entries):
        """Store checked entries in one transaction; the names of the pours."""
        with self._transaction() as connection:
            taken = set(connection.execute(sa.select(POURS.c.pour)).scalars())
            doubled = [e["pour"] for e in entries if e["pour"] in taken]
            if doubled:
                raise LogProblem(
                    f"{', '.join(doubled)} is in the log already. Give another name, or correct it with correct_pour."
                )
            names = []
            for entry in entries:
                name = entry["pour"] or _next_name(taken)
                taken.add(name)
                self._insert_pour(connection, {**entry, "pour": name})
                readings = [{**r, "pour": name, "logged_at": _utc()} for r in entry.get("readings", ())]
                if readings:
                    connection.execute(READINGS.insert(), readings)
                names.append(name)
        return names

    def _insert_pour(self, connection, entry):
        row = {k: entry[k] for k in ("pour", "session", "made_at", "by", "note", "supersedes") if k in entry}
        number = connection.execute(POURS.insert().values(logged_at=_utc(), **row)).inserted_primary_key[0]
        settings = [
            {"entry": number, "factor": name, "number": None if isinstance(v, str) else float(v),
             "text": v if isinstance(v, str) else None}
            for name, v in entry["settings"].items()
        ]  # fmt: skip
        if settings:
            connection.execute(SETTINGS.insert(), settings)
        return number

    def _standing(self, connection, pour):
        """The row of a pour that counts now."""
        rows = connection.execute(sa.select(POURS).where(POURS.c.pour == pour).order_by(POURS.c.entry)).all()
        if not rows:
            names = connection.execute(sa.select(POURS.c.pour).distinct().order_by(POURS.c.pour)).scalars().all()
            raise LogProblem(f"No pour {pour!r} in the log; it has {', '.join(names[-12:]) or 'none yet'}.")
        if rows[-1].void:
            raise LogProblem(f"Pour {pour!r} was withdrawn; log it as a new pour.")
        return rows[-1]

    def _standing_reading(self, connection, entry):
        row = connection.execute(sa.select(READINGS).where(READINGS.c.entry == entry)).first()
        if row is None:
            raise LogProblem(f"No reading with entry number {entry} in the log; history(pour) lists them.")
        newer = connection.execute(sa.select(READINGS.c.entry).where(READINGS.c.supersedes == entry)).scalar()
        if newer is not None:
            raise LogProblem(f"Reading {entry} was replaced by {newer} already; correct that one.")
        return row

    def _transaction(self):
        return Explained(self._engine, writing)

    def _reading_only(self):
        return Explained(self._engine, lambda engine: engine.begin())


def _next_name(taken):
    number = 1 + max((int(n[1:]) for n in taken if n[:1] == "P" and n[1:].isdigit()), default=0)
    return f"P{number:02d}"


def _now():
    return dt.datetime.now().replace(microsecond=0)


def _utc():
    return dt.datetime.now(dt.UTC).replace(tzinfo=None)
