"""The logbook: pours and readings go in, nothing is ever changed or taken out."""

import warnings
from pathlib import Path

import pandas as pd

from testpour.cautions import check_settings
from testpour.logbook.database import Explained, check_units, open_database, shown, writing
from testpour.logbook.door import clean, moment
from testpour.logbook.entries import Entries, with_refusals
from testpour.logbook.ledger import HISTORY, Ledger, because
from testpour.logbook.loading import load_castings
from testpour.logbook.tables import LogProblem, address_of
from testpour.study import StudyProblems
from testpour.units import UnitProblem


class Caution(UserWarning):
    """A pour was logged whose settings call for care."""


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
        check_units(self._engine, study)

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
            Factor name to number or text with a unit; what is not known is left out or None.
        session : str
            The day in one room it belongs to.
        made_at : datetime or str, optional
            When the catalyst went in, on the workshop's clock; now by default.
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

        Warns
        -----
        Caution
            If the settings call for care; the pour is logged all the same.
        """
        row = self._settings(settings)
        found = check_settings(self.study, row)
        if found.refusals and not made_anyway:
            raise LogProblem(
                " ".join(found.refusals) + " If this pour was made all the same, log it with made_anyway=True."
            )
        entry = {
            "pour": clean(pour, line=True) or None, "session": clean(session, line=True),
            "made_at": self._moment(made_at), "by": clean(by, line=True),
            "note": with_refusals(clean(note), found.refusals), "settings": row,
        }  # fmt: skip
        name = self._write([entry])[0]
        for text in found.warnings:
            warnings.warn(f"{name}: {text}", Caution, stacklevel=2)
        return name

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
            If the pour is not in the log, the reading is unknown, unreadable or unbelievable, or it is in the
            log already and a pour has only one of it.
        """
        ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
        row = self._reading({"reading": reading, "age": age, "specimen": specimen, "by": by, "note": note, **ways})
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            row["pour"] = ledger.standing(pour).pour
            ledger.refuse_second(row)
            return ledger.insert_reading(row)

    def add_readings(self, pour, reading, values, *, age=None, specimen="", by="", note=""):
        """Log one reading taken in several places, all or none.

        Parameters
        ----------
        pour, reading : str
        values : list
            Each as `add_reading` takes a value.
        age : float or str, optional
        specimen, by, note : str

        Returns
        -------
        list of int
            The entry numbers.

        Raises
        ------
        LogProblem
            As `add_reading`; nothing is stored then.
        """
        common = {"reading": reading, "age": age, "specimen": specimen, "by": by, "note": note}
        rows = [self._reading({**common, "value": value}) for value in values]
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            name, entries = ledger.standing(pour).pour, []
            for row in rows:
                ledger.refuse_second({**row, "pour": name})
                entries.append(ledger.insert_reading({**row, "pour": name}))
            return entries

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
        """Log a corrected version of a pour; what is not given stays. Returns the new entry number.

        A setting corrected to None is not known after all. The pour was made, so what the cautions refuse
        is kept in its note.
        """
        changed = self._settings(settings or {})
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            old = ledger.standing(pour)
            row = {k: v for k, v in ledger.settings(old.entry).items() if k not in (settings or {})} | changed
            note = with_refusals(because(old.note, "Corrected", why), check_settings(self.study, row).refusals)
            entry = {
                "pour": old.pour, "session": clean(session, line=True) or old.session,
                "made_at": self._moment(made_at) if made_at is not None else old.made_at,
                "by": clean(by, line=True) or old.by, "note": note, "settings": row,
                "supersedes": old.entry,
            }  # fmt: skip
            return ledger.insert_pour(entry)

    def correct_reading(self, entry, value=None, *, why, between=None, not_yet=None, already=None, age=None, by=""):
        """Log a corrected version of a reading; returns the new entry number."""
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            old = ledger.standing_reading(entry)
            ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
            row = self._reading({
                "reading": old.reading, "age": age if age is not None else old.age, "specimen": old.specimen,
                "by": by or old.by, "note": because(old.note, "Corrected", why), **ways,
            })  # fmt: skip
            return ledger.insert_reading(row | {"pour": old.pour, "supersedes": entry})

    def withdraw_reading(self, entry, *, why):
        """Say that a reading no longer counts; it stays in the history."""
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            old = ledger.standing_reading(entry)._asdict()
            note = because(old["note"], "Withdrawn", why)
            entry = old.pop("entry")
            ledger.insert_reading({**old, "supersedes": entry, "void": True, "note": note})

    def withdraw_pour(self, pour, *, why):
        """Say that a pour no longer counts, its readings with it; all stay in the history."""
        with self._transaction() as connection:
            ledger = Ledger(self.study, connection)
            old = ledger.standing(pour)._asdict()
            note = because(old["note"], "Withdrawn", why)
            held = ledger.settings(old["entry"])
            ledger.insert_pour({**old, "supersedes": old["entry"], "void": True, "note": note, "settings": held})

    def history(self, pour):
        """Every row ever logged of a pour, superseded ones too.

        Returns
        -------
        DataFrame
            One row per entry in the order of logging: what ("pour" or the reading), entry, said (the settings
            or the reading in words), low, high, age (h), by, note, supersedes, void, logged_at (UTC).
        """
        with self._reading_only() as connection:
            return pd.DataFrame(Ledger(self.study, connection).history(pour), columns=HISTORY)

    def castings(self):
        """What the log holds now, as `Castings`."""
        with self._reading_only() as connection:
            return load_castings(self.study, connection)

    def _beside(self, path):
        """A path as given, or beside the study."""
        return Path(path) if Path(path).exists() else self.study.folder / path

    def _settings(self, settings):
        try:
            return Entries(self.study).settings(settings)
        except StudyProblems as problem:
            raise LogProblem(" ".join(problem.problems)) from None

    def _moment(self, made_at):
        try:
            return moment(made_at)
        except UnitProblem as problem:
            raise LogProblem(str(problem)) from None

    def _reading(self, entry):
        try:
            return Entries(self.study).reading(entry)
        except (UnitProblem, KeyError) as problem:
            raise LogProblem(str(problem.args[0])) from None

    def _write(self, entries):
        with self._transaction() as connection:
            return Ledger(self.study, connection).add(entries)

    def _transaction(self):
        return Explained(self._engine, writing)

    def _reading_only(self):
        return Explained(self._engine, lambda engine: engine.begin())

