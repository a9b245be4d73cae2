"""Benches forked from one process that has the kit loaded, so that hundreds of them are cheap.

Run as ``python nursery.py writers FOLDER ADDRESS BENCHES READINGS`` or ``python nursery.py kill FOLDER LIVES``. What
was acknowledged, and only after the call had returned, goes to ``FOLDER/said``, one line each. ``python nursery.py
alone FOLDER CALLS`` logs in this very process and acknowledges on its standard output.
"""

import os
import random
import shutil
import signal
import sqlite3
import sys
import time
import traceback
from contextlib import closing
from pathlib import Path

from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study


def forked(work, *given):
    """Start work in a process of its own; returns its number."""
    child = os.fork()
    if child:
        return child
    failed = 1
    try:
        work(*given)
        failed = 0
    finally:
        if failed:
            traceback.print_exc()
        os._exit(failed)


def say(said, text):
    os.write(said, f"{text}\n".encode())  # one short write to a pipe or the end of a file: whole or not at all


def bench(folder, address, name, count, go, said):
    """Log hardness readings one by one as soon as the gate `go` is shut behind the last bench."""
    log = Logbook(read_study(folder), address)
    os.read(go, 1)
    for number in range(count):
        entry = log.add_reading("P01", "hardness", 50 + number % 40, age=24, note=f"{name}/{number}")
        say(said, f"{entry} {name}/{number}")
    log.close()


def writers(folder, address, benches, readings):
    said = os.open(folder / "said", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    go, gate = os.pipe()
    work = [forked(lambda n=n: (os.close(gate), bench(folder, address, f"b{n}", readings, go, said))) for n in range(benches)]
    time.sleep(1)
    os.close(gate)
    sys.exit(max(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in work))


def life(folder, number, said):
    """Log until killed: a reading, then a pour with three readings, and so on."""
    log = Logbook(read_study(folder))
    say(said, f"open life{number}")
    for turn in range(100_000):
        name = f"life{number}/{turn}"
        say(said, f"{log.add_reading('P01', 'hardness', 70, age=24, note=name)} {name}")
        three = [{"reading": "hardness", "value": 70 + place, "age": 24, "note": "of three"} for place in range(3)]
        say(said, f"pour {log.add_all([{'pour': name, 'session': 'S', 'settings': {'catalyst': 1}, 'readings': three}])[0]}")


def alone(folder, calls):
    """A reading a call, every third time a pour with three readings; each row's note is the number of its call."""
    log = Logbook(read_study(folder))
    say(1, "said open")
    for number in range(calls):
        if number % 3 == 2:
            three = [{"reading": "hardness", "value": 70 + place, "age": 24, "note": f"call {number}"} for place in range(3)]
            log.add_all([{"pour": f"call {number}", "session": "S", "settings": {"catalyst": 1}, "readings": three}])
        else:
            log.add_reading("P01", "hardness", 70, age=24, note=f"call {number}")
        say(1, f"said {number}")
    log.close()


def state(folder):
    """What SQLite says of a copy of the files as the dead process left them; the log itself meets its next start so."""
    copy = folder / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    copy.mkdir()
    for path in folder.glob("log.sqlite*"):
        shutil.copy(path, copy)
    with closing(sqlite3.connect(copy / "log.sqlite")) as raw:
        whole = raw.execute("PRAGMA integrity_check").fetchone()[0]
        halves = raw.execute(
            "SELECT COUNT(*) FROM pours p WHERE pour != 'P01' AND 3 != (SELECT COUNT(*) FROM readings r WHERE r.pour = p.pour)"
        ).fetchone()[0]
        rows = raw.execute("SELECT COUNT(*) FROM readings WHERE note LIKE 'life%'").fetchone()[0]
        return f"state {whole} {halves} {rows + raw.execute('SELECT COUNT(*) FROM pours').fetchone()[0] - 1}"


def kill(folder, lives):
    """Some die while they open the log, most between one write and the next or in the middle of one."""
    chance = random.Random(1)
    with closing(Logbook(read_study(folder), "sqlite:///:memory:")) as warm, open(folder / "said", "w") as said:
        warm.add_pour("P01", settings={"catalyst": 1}, session="S")
        warm.add_reading("P01", "hardness", 70, age=24)
        for number in range(lives):
            hear, speak = os.pipe()
            child = forked(life, folder, number, speak)
            os.close(speak)
            with open(hear) as ear:
                heard = [ear.readline() for _ in range(chance.choice([0, 1, 1, 2, 2, 3, 4, 6]))]
                time.sleep(chance.uniform(0, 0.05))  # a write takes some hundredths of a second
                os.kill(child, signal.SIGKILL)
                died = os.WIFSIGNALED(os.waitpid(child, 0)[1])
                said.writelines([*heard, *ear])
            said.write(f"{state(folder)} {'killed' if died else 'ended'}\n")


if __name__ == "__main__":
    if sys.argv[1] == "alone":
        alone(Path(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1] == "kill":
        kill(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        writers(Path(sys.argv[2]), sys.argv[3] or None, *map(int, sys.argv[4:]))
