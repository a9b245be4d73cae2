"""The session form on a log of 100,000 pours with eight readings each, opened within a second."""

import datetime as dt
import sqlite3
import time

import pandas as pd
import pytest
import sqlalchemy as sa

from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.due import due
from testpour.bench.session_form import session_form
from testpour.logbook.tables import POURS, READINGS, SETTINGS

POURED, OPENS, SESSION = 100_000, 1.0, 6
READ = [("gel_time", None), ("time_to_peak", None), ("peak_temperature", None), ("tack", 24.0),
        ("hardness", 4.0), ("hardness", 24.0), ("hardness", 24.0), ("opacity", 24.0)]
SET = ("catalyst", "pigment", "thickness", "cover", "room_temperature")


def fill(log):
    """Pours of many years, six a session; invented."""
    engine, begun = sa.create_engine(log.address), dt.datetime(2000, 1, 1)
    for first in range(0, POURED, 10_000):
        numbers = range(first + 1, first + 10_001)
        pours = [{"entry": i, "pour": f"P{i:06d}", "session": f"S{i // SESSION}", "made_at": begun + dt.timedelta(hours=i),
                  "logged_at": begun} for i in numbers]
        settings = [{"entry": i, "factor": name, "number": 1.0, "text": None} for i in numbers for name in SET]
        readings = [{"pour": f"P{i:06d}", "reading": name, "low": 50.0, "high": 50.0, "age": age, "known": "exact",
                     "logged_at": begun} for i in numbers for name, age in READ]
        with engine.begin() as connection:
            for table, rows in ((POURS, pours), (SETTINGS, settings), (READINGS, readings)):
                connection.execute(table.insert(), rows)
    engine.dispose()


def best(call, times=3):
    """Shortest of a few runs, s."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begun)
    return min(taken)


@pytest.mark.slow
def test_the_form_opens_within_a_second_on_a_log_of_100000_pours(log):
    fill(log)
    rows = {"catalyst": [1.5, 2.0], "pigment": [0.5, 0.0], "thickness": [6.0, 12.0], "cover": [1.0, 0.0]}
    sheet = bench_sheet(log.study, pd.DataFrame(rows, index=["B1", "B2"]), session="today", resin="150 g")
    form = session_form(log, sheet)
    form._receive(form, {"id": "1", "deed": "catalyst_in", "pour": "B1", "at": None}, [])

    def plain():
        """What a person who knows the tables would ask for: the pours of the session and their readings."""
        connection = sqlite3.connect(log.study.folder / "log.sqlite")
        names = pd.read_sql("SELECT pour FROM pours WHERE session = 'today' AND NOT void", connection)["pour"]
        marks = ", ".join("?" * len(names))
        pd.read_sql(f"SELECT * FROM readings WHERE pour IN ({marks}) AND NOT void", connection, params=list(names))
        connection.close()

    opened, asked, listed = best(lambda: session_form(log, sheet)), best(plain), best(lambda: due(log))
    print(f"form opens in {opened:.3f} s, due in {listed:.3f} s; two plain queries take {asked:.3f} s")
    assert opened < OPENS and listed < OPENS
