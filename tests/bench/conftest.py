"""A session of three planned pours, a clock that is turned by hand, and a desk that takes taps as a page sends them."""

import datetime as dt
from itertools import count

import pandas as pd
import pytest

from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.desk import Desk

START = dt.datetime(2026, 3, 2, 10, 0)


class Clock:
    """The workshop's clock, turned by hand."""

    def __init__(self):
        self.now = START

    def __call__(self):
        return self.now

    def turn(self, minutes):
        self.now += dt.timedelta(minutes=minutes)


class Bench:
    """Taps of a page, without a page."""

    def __init__(self, log, sheet, clock):
        self.log, self.sheet, self.clock = log, sheet, clock
        self.desk, self._numbers = Desk(log, sheet, clock=clock), count(1)

    def reopen(self):
        """As after a restart of the kernel: only the log is left."""
        self.desk = Desk(self.log, self.sheet, clock=self.clock)

    def tap(self, deed, pour="", **more):
        """Tap, and return the answer."""
        message = {"id": f"m{next(self._numbers)}", "deed": deed, "at": self.clock.now.timestamp() * 1e3, "pour": pour}
        name = {"name": self.card(pour)["name"] or pour} if pour else {}
        return self.send({**message, **name, **more})

    def send(self, message):
        """Send a message as it is, and return its answer."""
        return self.desk.take(message)["answers"][message["id"]]

    def card(self, pour):
        return next(card for card in self.desk.state()["cards"] if card["pour"] == pour)

    def event(self, pour, reading):
        return next(event for event in self.card(pour)["events"] if event["reading"] == reading)

    def later(self, pour, reading, age=24.0):
        return next(line for line in self.card(pour)["later"] if (line["reading"], line["age"]) == (reading, age))

    def rows(self, pour, reading):
        found = self.log.castings().readings
        return found[(found["pour"] == pour) & (found["reading"] == reading)]


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pours():
    """Three pours of one session, invented."""
    rows = {"catalyst": [1.5, 2.0, 1.0], "pigment": [0.5, 0.0, 2.0], "thickness": [6.0, 12.0, 18.0], "cover": [1.0, 0.0, 1.0]}
    return pd.DataFrame(rows, index=["B01", "B02", "B03"])


@pytest.fixture
def sheet(study, pours):
    return bench_sheet(study, pours, session="day one", resin="150 g")


@pytest.fixture
def bench(log, sheet, clock):
    return Bench(log, sheet, clock)


@pytest.fixture
def make_bench():
    """`Bench`, for tests with a log or a study of their own."""
    return Bench
