"""A disk that is full, a folder that may only be read, a file that is damaged: said in words, nothing stored in part."""

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from testpour.logbook import logfile
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem

resource = pytest.importorskip("resource")
pytestmark = pytest.mark.filterwarnings("ignore:P10. A peak of 146 °C")  # the demonstration holds a casting that ran too hot
DEMO = Path(__file__).parents[2] / "datasets" / "demo-study" / "castings.csv"
POUR = {"settings": {"catalyst": 1.5}, "session": "S1"}


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    """Nobody else writes here: a file that is wrong stays wrong, and is not waited for."""
    monkeypatch.setattr(logfile, "TRIES", 2)


def rows(path):
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [raw.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0] for table in ("pours", "settings", "readings")]


def write_until_refused(log):
    """Entry numbers acknowledged, and what was said in the end."""
    said = []
    with pytest.raises(LogProblem) as found:
        for _ in range(100_000):
            said.append(log.add_reading("A1", "hardness", 70, age=24, note="n" * 2000))
    return said, str(found.value)


@contextmanager
def longest_file(size):
    """No file of this process may grow beyond `size` bytes; Python ignores the signal, so the write fails."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.fixture
def small_disk():
    """A file system of one megabyte, where this machine lets us mount one."""
    with TemporaryDirectory() as folder:
        line = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder]
        if not shutil.which("mount") or subprocess.run(line, capture_output=True, check=False).returncode:
            pytest.skip("may not mount a small disk here")
        yield Path(folder)
        subprocess.run(["umount", folder], check=True)


def test_a_file_that_may_not_grow(log):
    log.add_pour("A1", **POUR)
    size = 40_000 + max(path.stat().st_size for path in log.study.folder.glob("log.sqlite*"))
    with longest_file(size):
        said, told = write_until_refused(log)
        assert "could not be written: the disk failed or is full. Nothing was stored" in told
        before = rows(log.study.folder / "log.sqlite")
        with pytest.raises(LogProblem, match="the disk failed or is full"):
            log.add_sheet(DEMO)
        assert list(log.castings().readings["entry"]) == said  # what was there can still be read
    assert rows(log.study.folder / "log.sqlite") == before
    assert log.add_reading("A1", "hardness", 71, age=24) == said[-1] + 1  # and once there is space, it goes on


@pytest.mark.slow
def test_a_full_disk(study, small_disk):
    here = replace(study, folder=small_disk)
    with closing(Logbook(here)) as log:
        log.add_pour("A1", **POUR)
        said, told = write_until_refused(log)
        assert "cannot grow: the disk is full. Free some space" in told or "the disk failed or is full" in told
        fill(small_disk)
        before = rows(small_disk / "log.sqlite")
        with pytest.raises(LogProblem, match="disk"):
            log.add_sheet(DEMO)
        assert list(log.castings().readings["entry"]) == said
        assert rows(small_disk / "log.sqlite") == before
    fill(small_disk)
    for space in (False, True):  # what was there can be read though the disk be full
        with closing(Logbook(here)) as log:
            assert list(log.castings().readings["entry"]) == said
            if not space:
                (small_disk / "filler").unlink()


def fill(folder):
    """Leave no byte of space."""
    with pytest.raises(OSError, match="No space left"), open(folder / "filler", "ab", buffering=0) as file:
        while True:
            file.write(b"x" * 512)


def test_a_log_that_cannot_even_begin(study, small_disk):
    """What is left behind is empty, and is not taken for a log."""
    fill(small_disk)
    here = replace(study, folder=small_disk)
    with pytest.raises(LogProblem, match="disk"):
        Logbook(here)
    (small_disk / "filler").unlink()
    with pytest.raises(LogProblem, match="is empty, though the file is there. .* To begin a new log, move the file away"):
        Logbook(here)
    (small_disk / "log.sqlite").unlink()
    with closing(Logbook(here)) as log:
        assert log.add_pour(**POUR) == "P01"


@contextmanager
def nobody():
    """The super-user may write anywhere, so become nobody (65534) for a while."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


def test_a_log_made_read_only_keeps_what_it_has(study):
    with TemporaryDirectory() as folder:  # outside pytest's own folders, which only their owner may enter
        here = replace(study, folder=Path(folder))
        with closing(Logbook(here)) as log:
            log.add_sheet(DEMO)
            mark = log.castings().fingerprint()
        path = here.folder / "log.sqlite"
        content = path.read_bytes()
        path.chmod(0o444)
        here.folder.chmod(0o555)
        with nobody(), closing(Logbook(here)) as log:
            assert log.castings().fingerprint() == mark
            with pytest.raises(LogProblem, match="may not be written to. Give yourself write permission, or copy"):
                log.add_pour(**POUR)
        here.folder.chmod(0o755)
        assert path.read_bytes() == content
        other = here.folder / "mine"
        other.mkdir()
        shutil.copy(path, other)  # as the message advises
        (other / "log.sqlite").chmod(0o644)
        with closing(Logbook(replace(study, folder=other))) as log:
            assert log.castings().fingerprint() == mark


@pytest.fixture
def closed(study_here):
    """The file of a log that holds the demo study's pours."""
    with closing(Logbook(study_here)) as log:
        log.add_sheet(DEMO)
    return study_here.folder / "log.sqlite"


@pytest.mark.parametrize("share", [0, 0.02, 0.3, 0.7, 0.99])
def test_cut_short_anywhere(study_here, closed, share):
    """Refused, the rest of the file left for somebody who can mend it."""
    left = closed.read_bytes()[: int(share * closed.stat().st_size)]
    closed.write_bytes(left)
    with pytest.raises(LogProblem, match="cut short|is empty|not a log|damaged"):
        Logbook(study_here)
    assert closed.read_bytes() == left


@pytest.mark.parametrize("page", range(1, 20))
def test_a_page_overwritten(study_here, closed, page):
    """A bad sector anywhere: the log opens and is whole, or the kit says that it is damaged; never another error."""
    content, size = bytearray(closed.read_bytes()), 4096
    assert len(content) >= 20 * size
    content[page * size : (page + 1) * size] = b"\xa5" * size
    closed.write_bytes(content)
    try:
        with closing(Logbook(study_here)) as log:
            log.castings().fingerprint(), log.history("P01")
            log.add_pour("after", **POUR)
    except LogProblem as problem:
        assert "is damaged. Keep the file, and go back to the last copy" in str(problem)


@pytest.mark.parametrize("content", [b"\0" * 8192, b"SQLite format 3\0" + b"\0" * 5000, bytes(range(256)) * 40, b"x", b"x" * 511, b"PK\3\4" * 500])
def test_files_that_are_no_log(study_here, content):
    path = study_here.folder / "log.sqlite"
    path.write_bytes(content)
    with pytest.raises(LogProblem, match="is not a log|is damaged|cut short"):
        Logbook(study_here)
    assert path.read_bytes() == content


@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo])
def test_a_folder_or_a_pipe_in_the_place_of_the_log(study_here, make):
    make(study_here.folder / "log.sqlite")
    with pytest.raises(LogProblem, match="is a folder, a pipe or a device, not a file. Give the path of a log, or move it away"):
        Logbook(study_here)


@pytest.mark.parametrize("lack", ["readings", "settings", "pours"])
def test_a_log_that_lacks_a_table(study_here, closed, lack):
    with closing(sqlite3.connect(closed)) as raw:
        raw.execute("PRAGMA foreign_keys=OFF")
        raw.execute(f"DROP TABLE {lack}")
    with pytest.raises(LogProblem, match=lack), closing(Logbook(study_here)) as log:
        log.castings()
