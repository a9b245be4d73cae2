"""Every tap on every panel of a study of 40 pours: answered within 200 ms, longer work under way beside it.

Printed is the time by the clock; judged is the time the notebook's own thread worked, which does not depend on what
else the machine does. The browser's part is in ``tests/browser/test_panels.py``.
"""

import time

import numpy as np
import pandas as pd
import pytest

import testpour as tp

pytestmark = pytest.mark.filterwarnings("ignore::testpour.logbook.log_warnings.Caution")  # nobody can correct what is invented

STUDY = """
name = "Knobs"
question = "What keeps a knob dry?"
[resin]
kind = "unsaturated polyester, casting grade (invented)"
density = "1.10 g/mL"
[factors]
catalyst = { from = "1 %", to = "2.5 %" }
pigment = { from = "0.2 %", to = "4 %" }
thickness = { from = "5 mm", to = "18 mm" }
cover = {}
room_temperature = {}
[readings]
gel_time = {}
tack = {}
hardness = { unit = "Shore D" }
[aims]
gel_time = { at_least = "15 min", at_most = "45 min" }
tack = { at_most = 1, age = "24 h" }
"""
SESSIONS, POURS, ANSWERS = 8, 5, 0.200  # of 40 pours; s that a tap may take
TYPED = {
    "begin": [("name", "Bowls"), ("to_catalyst", "2"), ("way_pigment", "stays the same"), ("scale", "1 g"), ("at_most_tack", "2")],
    "plan": [("sessions", "1"), ("pours", "6"), ("rooms", "17"), ("pot", "150")],
    "pour": [("pot", "150"), ("room", "18"), ("many", "3")],
    "look": [("reading", "tack"), ("reading", "gel_time")],
    "today": [("room", "19"), ("resin", "300"), ("depth", "10"), ("pots", "2"), ("pigment_1", "2"), ("resin", "250")],
    "why": [], "share": [("signed", "the class"), ("paper", "Letter")], "round": [],
}
TAPPED = {"plan": ["keep", "sheet:S1", "labels"], "pour": ["plan:S1", "open:S1", "next"], "today": ["pour"],
          "share": ["write:sheet", "write:package", "write:chart"]}


@pytest.fixture(scope="module")
def poured(tmp_path_factory):
    """A study with 40 invented pours in its log."""
    folder = tmp_path_factory.mktemp("poured")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    study, rng = tp.read_study(folder), np.random.default_rng(0)
    resin, log = tp.practice_resin(study, seed=3), tp.Logbook(study)
    for day in range(SESSIONS):
        drawn = {"catalyst": [1, 1.5, 2, 2.5], "pigment": [0.5, 1, 2, 4], "thickness": [6.0, 10, 15, 18], "cover": [0.0, 1.0]}
        pours = [f"Q{POURS * day + k:02d}" for k in range(1, POURS + 1)]
        table = pd.DataFrame({name: rng.choice(values, POURS) for name, values in drawn.items()}, index=pours)
        log.add_all(resin.pour(table, f"D{day + 1}", room=float(rng.choice([17, 19, 22]))))
    log.close()
    return folder


class Clocked:
    """Sends what the page sends to a panel, and keeps how long each took."""

    def __init__(self, panel, times):
        self.panel, self.times = panel, times
        self.send("look again", deed="refresh")

    def send(self, words, **message):
        begun, worked = time.perf_counter(), time.thread_time()
        self.panel._receive(self.panel, {"id": "1", **message}, [])
        self._took(words, begun, worked)
        while self.panel.screen["busy"]:  # as the page does while it shows how far the work is
            time.sleep(0.05)
            begun, worked = time.perf_counter(), time.thread_time()
            self.panel._receive(self.panel, {"deed": "refresh"}, [])
            self._took(f"{words}, shown", begun, worked)

    def _took(self, words, begun, worked):
        took = (time.thread_time() - worked, time.perf_counter() - begun)
        name = f"{self.panel.name}: {words}"
        self.times[name] = max(self.times.get(name, took), took)

    def type(self, name, text):
        self.send(f"{name} {text}", deed="type", name=name, text=text)

    def tap(self, name):
        self.send(name, deed="tap", name=name)

    def parts(self, parts=None):
        for part in self.panel.screen["parts"] if parts is None else parts:
            yield part
            yield from self.parts(part.get("parts", []))


def answer(why):
    """Choose a casting that missed an aim, and give three answers."""
    options = next(part["options"] for part in why.parts() if part.get("name") == "pour")
    why.type("pour", options[1][0])
    for _ in range(3):
        said = [part["name"] for part in why.parts() if str(part.get("name")).startswith("say:")]
        if said:
            why.tap(said[0])
    why.tap("save")


@pytest.mark.slow
def test_every_tap_is_answered_within_200_ms_on_a_study_of_40_pours(poured):
    times = {}
    for name, typed in TYPED.items():
        panel = Clocked(getattr(tp, f"{name}_panel")(poured), times)
        for field, text in typed:
            panel.type(field, text)
        for button in TAPPED.get(name, []):
            panel.tap(button)
        if name == "why":
            answer(panel)
    for name, (worked, waited) in sorted(times.items(), key=lambda item: -item[1][0]):
        print(f"{1000 * worked:6.0f} ms of work, {1000 * waited:6.0f} ms by the clock  {name}")
    assert len(times) > 40
    assert {name: worked for name, (worked, _) in times.items() if worked > ANSWERS} == {}
