"""Power cuts, simulated: what the disk may hold at every moment of logging, opened by SQLite alone and by the kit.

A bench logs under `strace`, which writes down every change it asks of the disk, in order. The power is then cut
before each of them. What was written since the last sync of its file may have reached the disk or not: all of it,
nothing, or by the toss of a coin, a write of several sectors perhaps in part; names that came or went since the last
sync of the folder likewise. Not simulated: a disk that says it has synced and has not, and sectors that rot.
"""

import random
import re
import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study

NURSERY = Path(__file__).with_name("nursery.py")
CALLS = 6
SECTOR = 512  # bytes that a disk writes whole or not at all; SQLite's own assumption
TRACED = "pwrite64,ftruncate,unlink,fsync,fdatasync,write"
LINE = re.compile(r"(\w+)\((?:\d+<)?\"?((?:\\x..)*)\"?>?(?:, \"((?:\\x..)*)\")?(?:\.\.\.)?(?:, (\d+))?(?:, (\d+))?\) += (\d+)")
COINS = {
    "all of it": lambda write, chance: write,
    "nothing": lambda write, chance: None,
    "some": lambda write, chance: write if chance.random() < 0.5 else None,
    "some, torn": lambda write, chance: chance.choice([write, None, write[: SECTOR * chance.randint(0, len(write) // SECTOR)]]),
}


def bytes_of(text):
    return bytes.fromhex((text or "").replace("\\x", ""))


def traced(folder, calls):
    """What a bench asked of the disk, as (deed, file, bytes, place), and what it said was saved, in order."""
    trace = folder.parent / "trace"
    line = ["strace", "-y", "-xx", "-s", "1000000", "-e", f"trace={TRACED}", "-o", trace, sys.executable, NURSERY, "alone", folder, str(calls)]
    done = subprocess.run(list(map(str, line)), capture_output=True, text=True, check=False, timeout=200)
    if "ptrace" in done.stderr:
        pytest.skip("this machine lets no process be traced")
    assert done.returncode == 0, done.stderr
    for deed, name, data, size, place, _ in LINE.findall(trace.read_text()):
        path, data = bytes_of(name).decode(), bytes_of(data)
        if deed == "write" and data.startswith(b"said "):
            yield "said", "", data, 0
        elif path == str(folder) or path.startswith(str(folder / "log.sqlite")):
            yield deed, Path(path).name, data, int(place or size or 0)


class Disk:
    """Files as they lie on the disk, and what was asked of it and may not have come there yet."""

    def __init__(self, folder):
        self.folder, self.pending = folder.name, []
        self.names = {path.name: path.name for path in folder.glob("log.sqlite*")}
        self.now = dict(self.names)  # as the running system sees them; a name points at a file with its content
        self.content = {path.name: path.read_bytes() for path in folder.glob("log.sqlite*")}

    def ask(self, deed, name, data, place):
        """Take one change; a sync brings what it is about to the disk."""
        if deed in ("fsync", "fdatasync"):
            about = (lambda one: one[0] in ("make", "unlink")) if name == self.folder else (lambda one: one[1] == self.now[name])
            for one in filter(about, self.pending):
                self._apply(one, one[2], self.names, self.content)
            self.pending = [one for one in self.pending if not about(one)]
        elif deed == "unlink":
            self.pending.append(("unlink", name, b"", 0))
            del self.now[name]
        else:
            if name not in self.now:
                self.now[name] = f"{name} {random.random()}"
                self.content[self.now[name]] = b""
                self.pending.append(("make", name, self.now[name].encode(), 0))
            self.pending.append((deed, self.now[name], data, place))

    def cut(self, coin, chance):
        """Name to content once the power is back."""
        names, content = dict(self.names), dict(self.content)
        for one in self.pending:
            if (data := coin(one[2], chance) if len(one[2]) else coin(b" " * SECTOR, chance) and b"") is not None:
                self._apply(one, data, names, content)
        return {name: content[at] for name, at in names.items()}

    @staticmethod
    def _apply(one, data, names, content):
        deed, name, whole, place = one
        if deed == "make":
            names[name] = whole.decode()
        elif deed == "unlink":
            names.pop(name, None)
        elif deed == "ftruncate":
            content[name] = content[name][:place].ljust(place, b"\0")
        else:
            held = content[name].ljust(place, b"\0")
            content[name] = held[:place] + data + held[place + len(data) :]


def put_down(files, folder):
    for path in folder.glob("log.sqlite*"):
        path.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)


def calls_in(path):
    """The rows of each call that SQLite alone finds in a log."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA synchronous=OFF")
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = raw.execute("SELECT note FROM readings UNION ALL SELECT pour FROM pours").fetchall()
    return Counter(note for (note,) in rows if note.startswith("call "))


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("strace"), reason="needs strace: apt-get install strace")
def test_nothing_acknowledged_is_lost_by_a_power_cut_before_any_change_of_the_disk(folder, tmp_path_factory):
    after, chance = tmp_path_factory.mktemp("after"), random.Random(5)
    shutil.copy(folder / "study.toml", after)
    rows = {f"call {number}": 4 if number % 3 == 2 else 1 for number in range(CALLS)}
    disk, said, seen = Disk(folder), 0, Counter()
    for number, change in enumerate(traced(folder, CALLS)):
        if change[0] == "said":
            said += change[2] != b"said open\n"
            continue
        for way, coin in COINS.items():
            files = disk.cut(coin, chance)
            put_down(files, after)
            if (number + len(way)) % 9 == 0:  # the kit takes longer than SQLite alone
                with closing(Logbook(read_study(after))) as log:
                    assert set(log.castings().readings["note"]) >= {f"call {n}" for n in range(said)}
                seen["the kit"] += 1
            held = calls_in(after / "log.sqlite")
            assert held in [Counter({f"call {n}": rows[f"call {n}"] for n in range(upto)}) for upto in (said, said + 1) if upto <= CALLS], (
                f"{way} before change {number}, {change[0]} of {change[1]}"
            )
            seen["with a journal" if "log.sqlite-journal" in files else "without one"] += 1
        disk.ask(*change)
    print(f"{sum(seen.values()) - seen['the kit']} cuts in {CALLS} calls: {dict(seen)}")
    assert said == CALLS and seen["with a journal"] > 200 and seen["without one"] > 50 and seen["the kit"] > 50
