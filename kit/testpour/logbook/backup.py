"""A copy of the log that can be trusted: taken while others write, and opened again before it is called a copy."""

import datetime as dt
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from testpour.logbook.tables import LogProblem, address_of


@dataclass(frozen=True)
class Backup:
    """A verified copy of a log.

    Parameters
    ----------
    path : Path
    pours, readings : int
        Rows in the copy, corrections included.
    """

    path: Path
    pours: int
    readings: int

    def sentence(self):
        """Where the copy is and what it holds."""
        return f"Copied to {self.path} and opened again: {self.pours} rows of pours, {self.readings} of readings."

    __repr__ = sentence


def back_up(study, to=None):
    """Copy a study's log while it may be in use.

    Parameters
    ----------
    study : Study
    to : str or Path, optional
        File to write; by default beside the log, named by date and time. It must not exist.

    Returns
    -------
    Backup

    Raises
    ------
    LogProblem
        If the log is not a file, the copy exists already, or the copy does not open.
    """
    address = address_of(study)
    if not address.startswith("sqlite:///"):
        raise LogProblem("This log lies in a database server: back it up with the server's own dump (pg_dump).")
    source = Path(address.removeprefix("sqlite:///"))
    if not source.exists():
        raise LogProblem(f"No log at {source} yet: nothing to copy.")
    stamp = dt.datetime.now().strftime("%Y-%m-%d-%H%M%S")
    target = Path(to) if to else source.with_name(f"{source.stem}-{stamp}.sqlite")
    if target.exists():
        raise LogProblem(f"{target} exists already. Give another name; a copy never overwrites.")
    try:
        with closing(sqlite3.connect(source)) as log, closing(sqlite3.connect(target)) as copy:
            log.backup(copy)
        return _verified(target)
    except sqlite3.Error as problem:
        raise LogProblem(f"The copy to {target} failed: {problem}. The log itself is untouched.") from problem


def _verified(path):
    with closing(sqlite3.connect(path)) as copy:
        state = copy.execute("PRAGMA integrity_check").fetchone()[0]
        if state != "ok":
            raise LogProblem(f"The copy at {path} is damaged ({state}). Make another one.")
        counts = [copy.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0] for table in ("pours", "readings")]
    return Backup(path, *counts)
