"""Many benches at once, and a bench that dies: every reading that was acknowledged is in the log, once."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from dataclasses import replace

import pytest

from testpour.logbook.book import Logbook
from testpour.study_file import read_study, save_study

pytestmark = pytest.mark.slow

WRITERS, READINGS, KILLS = 8, 25, 20

# A bench: logs hardness readings one by one, and says each aloud only after the call has returned.
BENCH = """
import sys
from testpour.logbook.book import Logbook
from testpour.study_file import read_study

folder, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
log = Logbook(read_study(folder))
print("ready", flush=True)
sys.stdin.readline()
for number in range(count):
    entry = log.add_reading("P01", "hardness", 50 + number % 40, age=24, note=f"{name}/{number}")
    print(f"{entry} {name}/{number}", flush=True)
log.close()
"""


@pytest.fixture
def folder(study, tmp_path):
    here = replace(study, folder=tmp_path)
    save_study(here)
    log = Logbook(here)
    log.add_pour("P01", settings={"catalyst": 1.5, "room_temperature": 18}, session="S1")
    log.close()
    return tmp_path


def bench(folder, name, count):
    started = subprocess.Popen([sys.executable, "-c", BENCH, str(folder), name, str(count)], stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # fmt: skip
    assert started.stdout.readline() == "ready\n"
    return started


def held(folder):
    """Entry number to note of every reading in the log, as SQLite itself tells it, its file checked first."""
    with closing(sqlite3.connect(folder / "log.sqlite")) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        return dict(raw.execute("SELECT entry, note FROM readings"))


def acknowledged(text):
    """Entry number to note; a last line without its end was not said to the end."""
    lines = [line for line in text.splitlines(keepends=True) if line.endswith("\n")]
    return {int(line.split()[0]): line.split()[1] for line in lines}


def test_eight_benches_at_once(folder):
    benches = [bench(folder, f"bench{number}", READINGS) for number in range(WRITERS)]
    for one in benches:
        one.stdin.write("go\n")
        one.stdin.flush()
    said = {}
    for one in benches:
        out, err = one.communicate(timeout=300)
        assert one.returncode == 0, err
        said |= acknowledged(out)
    found = held(folder)
    assert len(said) == WRITERS * READINGS and found == said
    assert set(Counter(found.values()).values()) == {1}
    log = Logbook(read_study(folder))
    readings = log.castings().readings
    log.close()
    assert len(readings) == WRITERS * READINGS
    for name, rows in readings.groupby(readings["note"].str.split("/").str[0]):
        assert rows["note"].tolist() == [f"{name}/{number}" for number in range(READINGS)]  # each in its own order


def test_eight_benches_take_different_names(folder):
    """Unnamed pours logged at once each get a name of their own."""
    code = BENCH.replace(
        'log.add_reading("P01", "hardness", 50 + number % 40, age=24, note=f"{name}/{number}")',
        'log.add_pour(settings={"catalyst": 1.5}, session="S1")',
    )
    assert code != BENCH
    benches = [subprocess.Popen([sys.executable, "-c", code, str(folder), str(n), "5"], stdin=subprocess.PIPE,
                                stdout=subprocess.PIPE, text=True) for n in range(WRITERS)]  # fmt: skip
    names = []
    for one in benches:
        out, _ = one.communicate("go\n", timeout=300)
        assert one.returncode == 0
        names += [line.split()[0] for line in out.splitlines()[1:]]
    assert sorted(names) == [f"P{number:02d}" for number in range(2, 2 + 5 * WRITERS)]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
def test_a_bench_killed_twenty_times(folder):
    said, deaths = {}, 0
    for number in range(KILLS):
        one = bench(folder, f"life{number}", 100_000)
        one.stdin.write("go\n")
        one.stdin.flush()
        time.sleep(0.05 + 0.02 * number)  # a different moment each time
        os.kill(one.pid, signal.SIGKILL)
        out, _ = one.communicate(timeout=60)
        deaths += one.returncode == -signal.SIGKILL
        said |= acknowledged(out)
        found = held(folder)
        assert said.items() <= found.items()
        # At most one reading a life may be in the log and not yet said.
        assert len(found) - len(said) <= number + 1
    assert deaths == KILLS and len(said) > KILLS
    log = Logbook(read_study(folder))
    assert len(log.castings().readings) == len(found)
    log.add_reading("P01", "hardness", 77, age=24, note="after all that")
    log.close()
    assert list(held(folder).values())[-1] == "after all that"
