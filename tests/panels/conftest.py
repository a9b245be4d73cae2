"""Study folders for the panels, and a person who types and taps without a browser."""

import time
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest

import testpour as tp

STUDY = '''# My own words at the top.
name = "Knobs"
question = "What keeps a knob dry?"

[resin]
kind = "unsaturated polyester, casting grade (invented)" # from the drum
density = "1.10 g/mL"

[factors]
catalyst = { from = "1 %", to = "2.5 %" } # the data sheet allows this much
pigment = { from = "0.2 %", to = "4 %" }
thickness = { from = "5 mm", to = "18 mm" }
cover = {}
room_temperature = {}

# a filler of my own
filler = { unit = "%", low = 0, high = 60, from = 0, to = 30, usual = 0, how = "mass per 100 of resin" }

[readings]
gel_time = {}
tack = {}

[aims]
gel_time = { at_least = "15 min", at_most = "45 min" }
tack = { at_most = 1, age = "24 h" } # the class wants it so
'''
# Two sessions of five pours, invented; the last is thick, slow and open, so that one casting misses an aim.
POURS = pd.DataFrame(
    {"catalyst": [1.0, 1.5, 2.0, 2.5, 1.0], "pigment": [0.5, 3.0, 1.0, 0.5, 4.0],
     "thickness": [6.0, 15.0, 10.0, 18.0, 6.0], "cover": [1.0, 1.0, 1.0, 0.0, 0.0], "filler": [0.0, 0.0, 10.0, 0.0, 0.0]}
)


@dataclass
class Hand:
    """A person at a panel."""

    panel: object

    def parts(self, kind=None):
        """Every part that is shown, those inside others too."""
        return [part for part in _flat(self.panel.screen["parts"]) if kind in (None, part["kind"])]

    def part(self, name):
        """The part of that name; None where it is not shown."""
        return next((part for part in self.parts() if part.get("name") == name), None)

    def words(self):
        """All that is said in text and cautions."""
        return " ".join(part["text"] for part in self.parts() if "text" in part)

    def type(self, name, text):
        """Type into a field, or choose; returns the part as it then stands."""
        return self._send(deed="type", name=name, text=text).part(name)

    def tap(self, name):
        """Tap a button; returns what the panel says."""
        self._send(deed="tap", name=name)
        return self.panel.screen["wrong"] or self.panel.screen["said"]

    def wait(self):
        """Until no work is under way, as the page asks."""
        self.panel._receive(self.panel, {"deed": "refresh"}, [])
        end = time.monotonic() + 120
        while self.panel.screen["busy"] and time.monotonic() < end:
            time.sleep(0.02)
            self.panel._receive(self.panel, {"deed": "refresh"}, [])
        assert not self.panel.screen["busy"]
        return self

    def _send(self, **message):
        self.panel._receive(self.panel, {"id": "1", **message}, [])
        return self.wait()


def _flat(parts):
    for part in parts:
        yield part
        yield from _flat(part.get("parts", []))
        yield from _flat(part.get("says", [])) if isinstance(part.get("says"), list) else ()


@pytest.fixture(scope="session")
def hand():
    """`Hand` at a panel, once its first work is done."""
    return lambda panel: Hand(panel).wait()


def _write(folder):
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return folder


@pytest.fixture
def own(tmp_path):
    """A study with nothing poured yet."""
    return _write(tmp_path / "own")


@pytest.fixture(scope="module")
def poured(tmp_path_factory):
    """A study with ten pours of a practice resin in its log; the tests of a file share it."""
    folder = _write(tmp_path_factory.mktemp("poured") / "study")
    study = tp.read_study(folder)
    resin, log = tp.practice_resin(study, seed=3), tp.Logbook(study)
    for number, (session, room) in enumerate({"S1": 17.0, "S2": 22.0}.items()):
        plan = POURS.set_axis([f"P{5 * number + k:02d}" for k in range(1, 6)])
        log.add_all(resin.pour(plan, session, room=room))
    log.close()
    return Path(folder)
