"""A verified copy of the log: it can be made while others write, and is checked before it is reported as made."""

import datetime as dt
import os
import sqlite3
import uuid
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from testpour.common.files import name_new
from testpour.common.wording import count
from testpour.logbook.database import explained, meaning, one_moment, open_database, writing
from testpour.logbook.facts import check_facts
from testpour.logbook.loading import load_castings
from testpour.logbook.logfile import DAMAGED, NO_LOG, check_file, check_pages, check_whole, copy_file, open_here
from testpour.logbook.tables import FACTS, FILE, TABLES, LogProblem, address_of, all_rows, put_rows
from testpour.study.study import Study


@dataclass(frozen=True)
class Backup:
    """A verified copy of a log, with its numbers of rows, corrections included."""

    path: Path
    pours: int
    readings: int
    photos: int = 0

    def sentence(self) -> str:
        """Where the copy is and what it holds."""
        text = f"Copied to {self.path} and opened again: {self.pours} rows of pours, {self.readings} of readings."
        if self.photos:
            text += f" {count(self.photos, 'row')} of photographs; the pictures are in the folder photos, so copy that too."
        return text

    __repr__ = sentence


def back_up(study: Study, to: str | Path | None = None) -> Backup:
    """Copy a study's log while it may be in use, from a file or a server, into a log file.

    The copy holds what was in the log at one moment, and is itself a log: to use it, name it in `study.toml`. The file
    must not exist yet; by default it is put beside the log, or beside the study if the log is on a server, with date
    and time in its name.
    """
    address = address_of(study)
    source = Path(address.removeprefix(FILE)) if address.startswith(FILE) else None
    if source and not source.exists():
        raise LogProblem(f"No log at {source} yet: nothing to copy.")
    if source:
        _check_log(source)
    stamp = dt.datetime.now().strftime("%Y-%m-%d-%H%M%S")
    beside = source or Path(study.folder) / "log.sqlite"
    target = Path(to) if to else beside.with_name(f"{beside.stem}-{stamp}.sqlite")
    if os.path.lexists(target):
        raise LogProblem(f"{target} exists already. Give another name; a backup never overwrites a file.")
    part = target.with_name(f".{uuid.uuid4().hex}.sqlite")
    try:
        if source:
            copy_file(source, part)
        else:
            _from_server(study, address, part)
        counts = _verified(part)
        name_new(part, target)
    except (sqlite3.Error, OSError) as problem:
        if source and meaning(str(problem)) == DAMAGED:
            raise LogProblem(f"The log at {source} {DAMAGED}") from problem
        raise LogProblem(
            f"The copy to {target} failed: {problem}. The log itself is untouched. Check that the folder exists and can be written to, "
            "and that the disk is not full."
        ) from problem
    finally:
        for file in target.parent.glob(f"{part.name}*"):
            file.unlink()
    return Backup(target, *counts)


def _check_log(path):
    """Refuse to copy a file that is empty, damaged or not a log."""
    if not open_here(path):
        check_file(path)
    try:
        check_whole(path)
        with closing(sqlite3.connect(path)) as log:
            if not log.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (FACTS.name,)).fetchone():
                raise LogProblem(f"The log at {path} {NO_LOG}")
    except sqlite3.DatabaseError as problem:
        raise LogProblem(f"The log at {path} {meaning(str(problem)) or DAMAGED}") from problem


def _from_server(study, address, part):
    """Copy every row, as of one moment, into a new file, and check that it gives the same castings."""
    log, copy = open_database(address), open_database(f"{FILE}{part}")
    try:
        with explained(log, one_moment) as source, explained(copy, writing) as target:
            facts = source.execute(sa.select(FACTS).where(FACTS.c.name != "schema")).all()
            put_rows(target, FACTS, [dict(row._mapping) for row in facts])
            for table in TABLES:
                for rows in all_rows(source, table):
                    put_rows(target, table, rows)
            before = load_castings(study, source).fingerprint()
        check_facts(copy, study)
        with explained(copy) as reopened:
            if load_castings(study, reopened).fingerprint() != before:
                raise LogProblem("The copy does not give the castings of the log. Make another one.")
    finally:
        log.dispose()
        copy.dispose()


def _verified(path):
    """The number of rows in each table of the copy, after an integrity check."""
    try:
        check_pages(path)
    except sqlite3.DatabaseError as problem:
        message = f"The copy is damaged ({problem}). Make another one; if that is damaged too, so is the log: go back to the last good copy."
        raise LogProblem(message) from problem
    with closing(sqlite3.connect(path)) as copy:
        there = {name for (name,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        tables = [name for name in ("pours", "readings", "photos") if name in there]
        return [copy.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0] for table in tables]
