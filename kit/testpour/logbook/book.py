"""The logbook: pours and readings go in, nothing is ever changed or taken out."""

import datetime as dt
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from sqlalchemy import Connection

from testpour.common.arguments import checked_methods
from testpour.common.problems import warn
from testpour.logbook.castings import Castings
from testpour.logbook.database import explained, writing
from testpour.logbook.entries import check_entries, pour_row, reading_of
from testpour.logbook.known import TIMED, doubts, out_of_order
from testpour.logbook.later_readings import later_readings, later_words
from testpour.logbook.ledger import Ledger
from testpour.logbook.loading import load_castings
from testpour.logbook.log_warnings import Caution, warn_of
from testpour.logbook.open_log import OpenLog
from testpour.logbook.photos import photo_row
from testpour.logbook.spreadsheet import NotRead, read_sheet


@checked_methods("log")
class Logbook(OpenLog):
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

    def add_pour(
        self, pour: str | None = None, *, settings: Mapping[str, str | float], session: str,
        made_at: str | dt.datetime | None = None, by: str = "", note: str = "", made_anyway: bool = False
    ) -> str:
        """Log one pour.

        Parameters
        ----------
        pour : str, optional
            Its name; by default the next free one, P01, P02 ...
        settings : dict
            Factor name to number or text with a unit; leave out what is not known, or give None.
        session : str
            The session it belongs to: one day in one room.
        made_at : datetime or str, optional
            When the catalyst went in, on the workshop's clock, from 1950 to today; now by default. With a date alone the hour is unknown.
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
            If a setting is unknown, unreadable, out of range or refused, or the name is taken.

        Warns
        -----
        Caution
            If the settings call for care; the pour is logged all the same.
        """
        given = {"settings": settings, "session": session, "made_at": made_at, "by": by, "note": note}
        entry, warned = pour_row(self.study, pour, given, made_anyway)
        with self._ledger() as ledger:
            name = ledger.add([entry])[0]
        for text in warned:
            warn(f"{name}: {text}", Caution)
        return name

    def add_reading(
        self, pour: str, reading: str, value: str | float | None = None, *,
        between: tuple[str | float, str | float] | None = None, not_yet: str | float | None = None, already: str | float | None = None,
        age: str | float | None = None, specimen: str = "", by: str = "", note: str = "",
    ) -> int:
        """Log one reading of a pour.

        Parameters
        ----------
        pour, reading : str
        value : float or str, optional
            The number read, or text with a unit; text may also say ``"20-25 min"`` or ``"not yet at 2 h"``.
        between : tuple, optional
            The last check before and the first after.
        not_yet, already : float or str, optional
            The last check, if it had not happened by then; the first check, if it had already happened.
        age : float or str, optional
            Hours after mixing, or text with a unit; needed for a reading that changes with age.
        specimen, by, note : str

        Returns
        -------
        int
            The entry number, needed to correct it.

        Raises
        ------
        LogProblem
            If the pour is not in the log, the reading is unknown, unreadable or out of range, or the log has it
            already and a pour can have only one.

        Warns
        -----
        Caution
            If a peak is so high that it may have been read in °F, or is below room temperature, or if the gel time is later than the time to peak or
            the demould time; it is logged all the same.
        """
        ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
        given = {"reading": reading, "age": age, "specimen": specimen, "by": by, "note": note, **ways}
        row = reading_of(self.study, given)
        with self._ledger() as ledger:
            current = ledger.current_pour(pour)
            row["pour"] = current.pour
            entry = ledger.add_reading(row)
            room = ledger.settings(current.entry).get("room_temperature")
            order = out_of_order(self.study, ledger.times(row["pour"]) if row["reading"] in TIMED else ())
        for text in filter(None, (*doubts(self.study, [SimpleNamespace(**row)], room), order)):
            warn(f"{pour}: {text}", Caution)
        return entry

    def add_readings(
        self, pour: str, reading: str, values: Iterable[str | float] | float, *, age: str | float | None = None,
        specimen: str = "", by: str = "", note: str = ""
    ) -> list[int]:
        """Log one reading taken in several places, all or none; returns the entry numbers.

        Parameters
        ----------
        pour, reading : str
        values : iterable of float or str
            One for each place, as `add_reading` takes a value; a single value need not be in a list.
        age : float or str, optional
            Hours after mixing, or text with a unit.
        specimen, by, note : str
            As for `add_reading`.

        Returns
        -------
        list of int
            Entry numbers, one for each value.
        """
        common = {"reading": reading, "age": age, "specimen": specimen, "by": by, "note": note}
        items = values if isinstance(values, Iterable) and not isinstance(values, str) else [values]
        rows = [reading_of(self.study, {**common, "value": value}) for value in items]
        with self._ledger() as ledger:
            name = ledger.current_pour(pour).pour
            return [ledger.add_reading({**row, "pour": name}) for row in rows]

    def add_all(self, entries: Iterable[Mapping[str, Any]]) -> list[str]:
        """Log many pours with their readings, all or none; `LogProblems` has a table of every problem.

        Parameters
        ----------
        entries : list of dict
            Each with ``pour``, ``session``, ``settings`` and ``readings`` (a list of dicts as `add_reading`
            takes them); ``made_at`` (else its day is not known), ``by``, ``note``; ``where`` is its name in a problem.

        Returns
        -------
        list of str
            The names of the pours.

        Warns
        -----
        Caution
            As for `add_sheet`.
        """
        checked = check_entries(self.study, entries)
        with self._ledger() as ledger:
            names = ledger.add(checked)
        warn_of(self.study, names, checked)
        return names

    def add_sheet(self, path: str | Path, *, reserved: Iterable[str] = ()) -> list[str]:
        """Log a spreadsheet, all or nothing, as `read_sheet` reads it; returns the names of the pours.

        If it is refused, `LogProblems` has a table: row, column, value, what is wrong and what to do. For a pour that
        is in the log already, readings that the log lacks are added and those it has are skipped; everything else in
        the row must agree with the log. A row without a pour's name is refused if the log has the same pour with some
        or all of its readings: the sheet was read before. Without a date the day is unknown, and no reading falls due
        until `correct_pour` gives one.

        Parameters
        ----------
        path : str or Path
            A .csv or .xlsx file; a bare name is looked for beside the study.
        reserved : iterable of str, optional
            Names not to give to a row without one, such as those of planned pours.

        Returns
        -------
        list of str
            Names of the pours.

        Warns
        -----
        Caution
            If settings call for care or a reading is doubtful, each sentence once with the pours it is about. All
            pours are logged.
        NotRead
            As for `read_sheet`, and for pours that were in the log: how many readings were added and how many skipped.
        """
        return self._read_in(path, reserved)[0]

    def with_sheet(self, path: str | Path, *, reserved: Iterable[str] = ()) -> Castings:
        """The castings as they would be with a spreadsheet read in; nothing is stored.

        Parameters
        ----------
        path, reserved
            As for `add_sheet`, with the same errors and warnings.

        Returns
        -------
        Castings
        """
        return self._read_in(path, reserved, store=False)[1]

    def _read_in(self, path, reserved, store=True):
        """The names of a sheet's pours, and the castings with them; without `store` the transaction is rolled back."""
        entries = read_sheet(self.study, self._beside(path))
        checked = check_entries(self.study, entries)
        with self.writing() as connection:
            castings, ledger = load_castings(self.study, connection), Ledger(self.study, connection)
            later = later_readings(castings, ledger.withdrawn_readings(), entries, checked)
            added = iter(ledger.add([row for row in checked if row["pour"] not in later], reserved))
            for pour, readings in later.items():
                for row in readings:
                    ledger.insert("reading", {**row, "pour": pour})
            after = castings if store else load_castings(self.study, connection)
            if not store:
                connection.rollback()
        names = [row["pour"] if row["pour"] in later else next(added) for row in checked]
        if words := later_words(castings, later, checked):
            warn(words, NotRead)
        warn_of(self.study, names, checked, stored=store)
        return names, after

    def correct_pour(
        self, pour: str, *, why: str, settings: Mapping[str, str | float] | None = None,
        session: str | None = None, made_at: str | dt.datetime | None = None, by: str = ""
    ) -> int:
        """Log a corrected version of a pour; what is not given stays. Returns the new entry number.

        A setting given as None becomes unknown. Settings that the cautions refuse are logged, since the pour was
        made, and the refusal goes into its note.

        Parameters
        ----------
        pour, why : str
            Which pour, and the reason, which the log keeps.
        settings : dict, optional
            Only those that change: factor name to number or text with a unit.
        session, made_at, by : optional
            As for `add_pour`.

        Returns
        -------
        int
        """
        with self._ledger() as ledger:
            return ledger.correct_pour(pour, why, settings, session, made_at, by)

    def correct_reading(
        self, entry: int, value: str | float | None = None, *, why: str,
        between: tuple[str | float, str | float] | None = None, not_yet: str | float | None = None,
        already: str | float | None = None, age: str | float | None = None, by: str = ""
    ) -> int:
        """Log a corrected version of a reading; returns the new entry number.

        Parameters
        ----------
        entry : int
            Entry number of the reading, as `add_reading` returned it.
        value, between, not_yet, already, age, by : optional
            As for `add_reading`; what is not given stays as it was.
        why : str
            The reason, which the log keeps.

        Returns
        -------
        int
        """
        ways = {"value": value, "between": between, "not_yet": not_yet, "already": already}
        with self._ledger() as ledger:
            return ledger.correct_reading(entry, why, ways, age, by)

    def withdraw_reading(self, entry: int, *, why: str) -> None:
        """Withdraw a reading: it no longer counts, but stays in the history.

        Parameters
        ----------
        entry : int
        why : str
            The reason, which the log keeps.
        """
        with self._ledger() as ledger:
            ledger.withdraw("reading", entry, why)

    def withdraw_pour(self, pour: str, *, why: str) -> None:
        """Withdraw a pour and its readings: they no longer count, but stay in the history.

        Parameters
        ----------
        pour : str
        why : str
            The reason, which the log keeps.
        """
        with self._ledger() as ledger:
            ledger.withdraw_pour(pour, why)

    def add_photo(self, pour: str, path: str | Path | bytes, note: str = "", by: str = "", age: str | float | None = None) -> int:
        """Keep a photograph of a pour in the study folder; returns its entry number.

        The picture is saved upright, without the place, time and camera that the file may record.

        Parameters
        ----------
        pour : str
        path : str, Path or bytes
            The picture file, or its content.
        note, by : str
        age : float or str, optional
            Hours after mixing, or text with a unit.

        Returns
        -------
        int
        """
        with self.looking() as connection:
            name = Ledger(self.study, connection).current_pour(pour).pour
        row = photo_row(self.study, path if isinstance(path, bytes) else self._beside(path), note, by, age)
        with self._ledger() as ledger:
            return ledger.insert("photo", {**row, "pour": name})

    def withdraw_photo(self, entry: int, *, why: str) -> None:
        """Withdraw a photograph: it no longer counts, but its row stays in the history and its file in the folder.

        Parameters
        ----------
        entry : int
        why : str
            The reason, which the log keeps.
        """
        with self._ledger() as ledger:
            ledger.withdraw("photo", entry, why)

    def _beside(self, path):
        """A path as given, or beside the study."""
        return Path(path) if Path(path).exists() else self.study.folder / path

    @contextmanager
    def _ledger(self):
        """The log, open for one transaction that writes."""
        with self.writing() as connection:
            yield Ledger(self.study, connection)

    def writing(self) -> AbstractContextManager[Connection]:
        """A connection for writing, for a `with` block; all of the block is logged, or nothing."""
        return explained(self._engine, writing)
