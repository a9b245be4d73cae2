"""Many benches at once, and a bench that dies: every reading that was acknowledged is in the log, once."""

import os
import sqlite3
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that can be forked")]
NURSERY = Path(__file__).with_name("nursery.py")
WRITERS, READINGS, KILLS = 20, 200, 200


def nursery(*words):
    run = subprocess.run([sys.executable, NURSERY, *map(str, words)], capture_output=True, text=True, timeout=300,
                         check=False)
    assert run.returncode == 0, run.stderr


def said(folder):
    return [line.split() for line in (folder / "said").read_text().splitlines()]


def check_all_there(folder, address=None):
    """Every acknowledged reading stands in the log under its number, once, each bench's in its own order."""
    with closing(Logbook(read_study(folder), address)) as log:
        readings = log.castings().readings
    assert len(said(folder)) == WRITERS * READINGS
    assert dict(zip(readings["entry"], readings["note"], strict=True)) == {int(e): note for e, note in said(folder)}
    assert set(Counter(readings["note"]).values()) == {1}
    for name, rows in readings.groupby(readings["note"].str.split("/").str[0]):
        assert rows["note"].tolist() == [f"{name}/{number}" for number in range(READINGS)]


def test_twenty_benches_at_one_file(folder):
    nursery("writers", folder, "", WRITERS, READINGS)
    check_all_there(folder)
    with closing(sqlite3.connect(folder / "log.sqlite")) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_twenty_benches_at_a_server(folder, address):
    with closing(Logbook(read_study(folder), address)) as log:
        log.add_pour("P01", settings={"catalyst": 1.5}, session="S1")
    nursery("writers", folder, address, WRITERS, READINGS)
    check_all_there(folder, address)


@pytest.mark.parametrize("where", ["file", "server"])
def test_benches_take_different_names(folder, where, request):
    """Unnamed pours logged at once each get a name of their own."""
    address = request.getfixturevalue("address") if where == "server" else None

    def bench(_):
        with closing(Logbook(read_study(folder), address)) as log:
            return [log.add_pour(settings={"catalyst": 1.5}, session="together") for _ in range(10)]

    with ThreadPoolExecutor(8) as benches:
        names = [name for some in benches.map(bench, range(8)) for name in some]
    start = 1 if where == "server" else 2
    assert sorted(names) == sorted(f"P{number:02d}" for number in range(start, start + 80))
    with closing(Logbook(read_study(folder), address)) as log:
        assert (log.castings().pours["session"] == "together").sum() == 80


def test_a_bench_killed_two_hundred_times(folder):
    nursery("kill", folder, KILLS)
    lines = said(folder)
    with closing(Logbook(read_study(folder))) as log:  # the next start works
        held = log.castings()
        assert log.add_pour(settings={"catalyst": 1}, session="after all that")
    notes = dict(zip(held.readings["entry"], held.readings["note"], strict=True))
    readings = {int(word): note for word, note in (line[:2] for line in lines) if word.isdecimal()}
    assert readings.items() <= notes.items() and len(readings) > KILLS
    assert {line[1] for line in lines if line[0] == "pour"} <= set(held.pours.index)
    opened = {line[1] for line in lines if line[0] == "open"}
    assert len(opened) > KILLS / 2, "hardly a life came to write"
    spoken = 0
    for line in lines:
        spoken += line[0] == "pour" or line[0].isdecimal()
        if line[0] == "state":
            # At every death: whole, no half pour, nothing acknowledged missing; at most one write a life unsaid.
            _, whole, halves, rows, died = line
            assert (whole, halves, died) == ("ok", "0", "killed")
            assert spoken <= int(rows) <= spoken + len(opened)
    assert sum(line[0] == "state" for line in lines) == KILLS
