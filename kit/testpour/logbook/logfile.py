"""A log in one file: every row that was reported as saved is in it, whoever copies it and however the program ended.

A rollback journal is used, not a write-ahead log, which keeps rows in a second file until they are merged.
"""

import os
import sqlite3
import time
from collections import Counter
from contextlib import closing, suppress
from pathlib import Path

from testpour.logbook.tables import FILE, LogProblem, address_of
from testpour.study.study import Study

CHECKED = 5_000_000  # bytes up to which the integrity of a log is checked when it is opened, in a fifth of a second
OPEN_HERE: Counter[tuple[int, int]] = Counter()  # connections of this process to each file, by device and inode
TRIES = 20  # of a check, a twentieth of a second apart

NO_LOG = "is not a log: the file holds something else. Give the path of a log, or move the file away."
DAMAGED = (
    "is damaged. Keep the file, and go back to the last copy made with: testpour backup. A file copied by hand in the "
    "middle of a write looks damaged too: if this is such a copy, copy it again."
)


def open_here(path: str | Path) -> bool:
    """Whether this process has a file open in SQLite.

    Such a file must not be opened any other way: closing it would drop SQLite's locks on it, and other benches
    would write between two of its pages (SQLite, How To Corrupt, section 2.2).
    """
    return OPEN_HERE[_identity(path)] > 0


def count_connection(path: str | Path, change: int) -> None:
    """Note that this process opened (1) or is closing (-1) a connection to a file."""
    OPEN_HERE[_identity(path)] += change


def _identity(path):
    with suppress(OSError):
        found = os.stat(path)
        return found.st_dev, found.st_ino
    return None


def check_file(path: str | Path) -> None:
    """Refuse a file that is empty, cut short or not a database, before SQLite silently begins a new log in it."""
    path = Path(path)
    if path.exists() and not path.is_file():
        raise LogProblem(f"The log at {path} is a folder, a pipe or a device, not a file. Give the path of a log, or move it away.")
    for _ in range(TRIES):  # another bench may be in the middle of a write
        wrong = _damage(path) if path.is_file() else ""
        if not wrong:
            return
        time.sleep(0.05)
    raise LogProblem(f"The log at {path} {wrong}")


def _damage(path):
    """What is wrong with a file, judged by its header and its length; ``""`` if nothing.

    A whole file is as long as its page size times its pages (SQLite file format, sections 1.3.2 and 1.3.8), unless a
    journal is beside it.
    """
    with open(path, "rb") as file:
        head = file.read(100)
    if 0 < len(head) < 100:  # SQLite would take it for an empty file and overwrite it
        return NO_LOG
    if any(_size(path.with_name(path.name + ending)) for ending in ("-wal", "-journal")):
        return ""
    page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
    counted = head[:15] == b"SQLite format 3" and head[24:28] == head[92:96]
    if head and not (counted and path.stat().st_size < (65536 if page == 1 else page) * pages):
        return ""
    what = "is cut short: part of the file is missing" if head else "is empty, though the file is there"
    return (
        f"{what}. Put back the last copy made with: testpour backup, or copy the file again where it came from. To "
        "begin a new log, move the file away."
    )


def _size(path):
    """Bytes in a file that another bench may take away at any moment; 0 where there is none."""
    with suppress(FileNotFoundError):
        return path.stat().st_size
    return 0


def make_one_file(path: str | Path) -> None:
    """Merge a write-ahead log into its log and use none from now on; a log in use stays as it is."""
    with suppress(sqlite3.Error, OSError), closing(sqlite3.connect(path, timeout=5)) as raw:
        raw.execute("PRAGMA journal_mode=DELETE").close()
        raw.execute("SELECT COUNT(*) FROM sqlite_master").close()  # the first read rolls back an unfinished write


def check_pages(path: str | Path) -> None:
    """Check the integrity of a whole file; a `sqlite3.DatabaseError` says what is wrong with it."""
    with closing(sqlite3.connect(path, timeout=30)) as raw:
        state = raw.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if state != "ok":
        raise sqlite3.DatabaseError(state)


def check_whole(path: str | Path) -> None:
    """`check_pages` of a log that is to be opened, as a copy made by hand in the middle of a write is damaged.

    A log of more than `CHECKED` bytes is not checked: that would take longer than opening it.
    """
    if 0 < _size(Path(path)) <= CHECKED:
        check_pages(path)


def copy_file(source: str | Path, target: str | Path) -> None:
    """Copy a log into a new file, though others may write to it; a `sqlite3.Error` where that fails."""
    with closing(sqlite3.connect(source)) as log, closing(sqlite3.connect(target)) as copy:
        log.backup(copy)


def close_log(study: Study) -> bool:
    """Close a log that another program had open: a journal that a crash left beside the file is merged.

    Returns whether the log is one file now; also True if there is none, or it is on a server.
    """
    address = address_of(study)
    path = Path(address.removeprefix(FILE))
    if not address.startswith(FILE) or not _size(path):
        return True
    make_one_file(path)
    return not any(_size(path.with_name(path.name + ending)) for ending in ("-wal", "-journal"))
