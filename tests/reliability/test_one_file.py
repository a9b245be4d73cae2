"""The log is one file: a plain copy of it holds every row that was said to be saved, during, after and without a lab."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from testpour.app.claim import LabProblem, free_port
from testpour.app.lab import Lab, serving
from testpour.logbook.book import Logbook
from testpour.logbook.logfile import close_log
from testpour.logbook.tables import LogProblem
from testpour.study.study_file import read_study, save_study

NURSERY = Path(__file__).with_name("nursery.py")
WRITERS, READINGS, COPIES = 8, 50, 25

# A kernel that is ended in the middle of a write, its pages partly in the file: the journal beside it takes them back.
HALF_A_WRITE = """
import os, sqlite3, sys
raw = sqlite3.connect(sys.argv[1], isolation_level=None)
for line in ("PRAGMA cache_size=5", "PRAGMA cache_spill=1", "BEGIN IMMEDIATE"):
    raw.execute(line)
for number in range(3000):
    raw.execute("INSERT INTO readings (pour, reading, low, high, known, note, logged_at) "
                "VALUES ('P01', 'gel_time', 1, 1, 'exact', 'half', '2026-01-01 00:00:00.000000')")
os._exit(9)
"""


def files(folder):
    return sorted(path.name for path in folder.glob("log.sqlite*"))


def copied(folder, name):
    """The log file alone, copied as a person copies it; the study it is the log of."""
    other = folder / name
    other.mkdir()
    shutil.copy(folder / "log.sqlite", other)
    shutil.copy(folder / "study.toml", other)
    return read_study(other)


@pytest.mark.slow
def test_a_copy_taken_while_the_log_is_open_has_every_row(folder):
    with closing(Logbook(read_study(folder))) as log:
        deeds = [
            lambda: log.add_pour("P02", settings={"catalyst": 2}, session="S1"),
            lambda: log.add_reading("P01", "gel_time", 20),
            lambda: log.add_readings("P01", "hardness", [70, 71], age=24),
            lambda: log.correct_pour("P02", settings={"catalyst": 1}, why="scale"),
            lambda: log.add_all([{"pour": f"Q{n}", "session": "S2", "settings": {"catalyst": 1}} for n in range(300)]),
        ]
        for number, deed in enumerate(deeds):
            deed()
            assert files(folder) == ["log.sqlite"]
            with closing(Logbook(copied(folder, f"stick{number}"))) as copy:
                assert copy.castings().fingerprint() == log.castings().fingerprint()


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that can be forked")
def test_copies_taken_while_eight_benches_write(folder):
    """What was acknowledged before a copy began is in it; a copy caught in a write may be refused in words, no more."""
    line = [sys.executable, NURSERY, "writers", str(folder), "", str(WRITERS), str(READINGS)]
    said, whole, refused = folder / "said", 0, []
    with subprocess.Popen(line) as benches:
        while benches.poll() is None and whole + len(refused) < 8 * COPIES:
            there = set(said.read_text().splitlines()) if said.exists() else set()
            study = copied(folder, f"copy{whole + len(refused)}")
            try:
                with closing(Logbook(study)) as copy:
                    held = copy.castings().readings
            except LogProblem as problem:
                refused.append(str(problem))
                continue
            whole += 1
            assert there <= {f"{row.entry} {row.note}" for row in held.itertuples()}
        assert benches.wait(300) == 0
    print(f"{whole} copies whole, {len(refused)} refused")
    assert whole >= COPIES and len(refused) <= whole / 10
    assert all("copy it again" in text or "copy the file again" in text for text in refused)
    assert len(said.read_text().splitlines()) == WRITERS * READINGS


@pytest.mark.slow
def test_a_log_of_an_older_kit_in_two_files_becomes_one(folder):
    """Rows that lie only in the second file, as a killed kernel leaves them, are carried over."""
    path = folder / "log.sqlite"
    older = "import sys; from testpour.logbook import book, database; import os, sqlite3"
    older += "\nraw = sqlite3.connect(sys.argv[1]); raw.execute('PRAGMA journal_mode=WAL')"
    older += "\nraw.execute(\"INSERT INTO readings (pour, reading, low, high, known, logged_at)"
    older += " VALUES ('P01', 'gel_time', 21, 21, 'exact', '2026-01-01 00:00:00.000000')\")"
    older += "\nraw.commit(); os._exit(9)"
    subprocess.run([sys.executable, "-c", older, path], check=False)
    assert "log.sqlite-wal" in files(folder)
    with closing(Logbook(read_study(folder))) as log:
        assert log.castings().readings["low"].tolist() == [21]
        assert files(folder) == ["log.sqlite"]
        log.add_reading("P01", "tack", 1, age=24)
        assert files(folder) == ["log.sqlite"]


@pytest.mark.parametrize("left", ["journal", "wal"])
def test_the_end_of_the_lab_puts_right_what_a_killed_kernel_left(folder, left, monkeypatch):
    path = folder / "log.sqlite"
    before = path.read_bytes()
    code = HALF_A_WRITE if left == "journal" else HALF_A_WRITE.replace('("PRAGMA', '("PRAGMA journal_mode=WAL", "PRAGMA', 1)
    subprocess.run([sys.executable, "-c", code, path], check=False)
    assert f"log.sqlite-{left}" in files(folder) and (left == "wal" or path.read_bytes() != before)
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", "print('no room')"])
    with pytest.raises(LabProblem), serving(Lab(folder, "", free_port())):
        pass
    assert files(folder) == ["log.sqlite"]
    with closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert raw.execute("SELECT (SELECT COUNT(*) FROM pours), (SELECT COUNT(*) FROM readings)").fetchone() == (1, 0)


def test_a_copy_of_half_a_write_is_refused_or_has_all_that_was_saved(folder):
    """The file alone, its journal left behind, at every length of a write; the log itself is whole in any case."""
    for rows in (300, 1000, 3000):
        subprocess.run([sys.executable, "-c", HALF_A_WRITE.replace("3000", str(rows)), folder / "log.sqlite"], check=False)
        try:
            with closing(Logbook(copied(folder, f"stick{rows}"))) as copy:
                assert list(copy.castings().pours.index) == ["P01"]
        except LogProblem as problem:
            assert "copy it again" in str(problem) or "copy the file again" in str(problem)
        with closing(Logbook(read_study(folder))) as log:
            assert len(log.castings()) == 1 and not len(log.castings().readings) and files(folder) == ["log.sqlite"]


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_copy_with_pages_of_two_moments_is_refused(folder, share):
    """The first pages as they were before a write, the rest as they were after it, as a slow copy may read them."""
    def more(log, name):
        log.add_all([{"pour": f"{name}{n}", "session": "S2", "settings": {"catalyst": 1}} for n in range(200)])
        return (folder / "log.sqlite").read_bytes()

    with closing(Logbook(read_study(folder))) as log:
        before, after = more(log, "Q"), more(log, "R")
    study, place = copied(folder, "stick"), int(share * len(before)) // 4096 * 4096
    (study.folder / "log.sqlite").write_bytes(before[:place] + after[place:])
    with pytest.raises(LogProblem, match="is damaged.*if this is such a copy, copy it again"):
        Logbook(study)


def test_there_is_nothing_to_close_where_there_is_no_log(study, tmp_path):
    here = replace(study, folder=tmp_path)
    save_study(here)
    assert close_log(here) and files(tmp_path) == []
    assert close_log(replace(here, log="postgresql://class@nowhere.invalid/class"))


def test_a_log_open_here_is_opened_again_by_sqlite_alone(folder, monkeypatch):
    """Closing a file opened any other way would drop SQLite's locks on it (SQLite, How To Corrupt, section 2.2)."""
    opened, plain = [], open
    with closing(Logbook(read_study(folder))):
        monkeypatch.setattr("builtins.open", lambda path, *more, **named: (opened.append(str(path)), plain(path, *more, **named))[1])
        with closing(Logbook(read_study(folder))) as second:
            second.add_reading("P01", "gel_time", 20)
    assert not [path for path in opened if path.endswith("log.sqlite")]
    with closing(Logbook(read_study(folder))):
        pass
    assert [path for path in opened if path.endswith("log.sqlite")], "nobody has it open now: its head is looked at again"
