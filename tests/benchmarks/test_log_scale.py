"""Side by side: a log of 100,000 pours with eight readings each, by the kit and by a plain pandas and sqlite3 script."""

import sqlite3
import statistics
import time
from contextlib import closing
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.bench.form_rows import session_rows
from testpour.logbook.book import Logbook

pytestmark = [pytest.mark.slow, pytest.mark.long]
POURS = 100_000
AT = "2026-03-01 10:00:00.000000"
# Reading, low, high, age (h), how it is known: eight of every pour.
EIGHT = [
    ("gel_time", 20, 25, None, "between"), ("time_to_peak", 35, 35, None, "exact"), ("peak_temperature", 95, 95, None, "exact"),
    ("hardness", 76, 76, 24, "exact"), ("hardness", 77, 77, 24, "exact"), ("hardness", 78, 78, 24, "exact"),
    ("tack", 0, 0, 24, "exact"), ("opacity", None, 2, None, "already"),
]


@pytest.fixture(scope="module")
def big(study, tmp_path_factory):
    """A study whose log was filled in bulk: 100,000 pours in 2,000 sessions, a million settings, some corrections."""
    here = replace(study, folder=tmp_path_factory.mktemp("big"))
    Logbook(here).close()
    values = np.random.default_rng(1).uniform(0.5, 3, (POURS, len(here.factors))).round(2).tolist()
    pours = ((f"P{n:06d}", f"S{n // 50}", AT, AT) for n in range(1, POURS + 1))
    settings = (
        (n, factor.name, None, f"lot {n // 5000}") if factor.kind == "text" else (n, factor.name, value, None)
        for n, row in enumerate(values, start=1)
        for factor, value in zip(here.factors, row, strict=True)
    )
    readings = ((f"P{n:06d}", *one, AT) for n in range(1, POURS + 1) for one in EIGHT)
    replaced = ((f"P{n:06d}", "gel_time", 21, 24, "between", AT, 8 * n - 7) for n in range(1, POURS, 100))
    with closing(sqlite3.connect(here.folder / "log.sqlite")) as raw, raw:
        raw.executemany("INSERT INTO pours (pour, session, made_at, logged_at) VALUES (?, ?, ?, ?)", pours)
        raw.executemany("INSERT INTO settings VALUES (?, ?, ?, ?)", settings)
        columns = "INSERT INTO readings (pour, reading, low, high, age, known, logged_at) VALUES (?, ?, ?, ?, ?, ?, ?)"
        raw.executemany(columns, readings)
        columns = "INSERT INTO readings (pour, reading, low, high, known, logged_at, supersedes) VALUES (?, ?, ?, ?, ?, ?, ?)"
        raw.executemany(columns, replaced)
    return here


@pytest.fixture(scope="module")
def book(big):
    with closing(Logbook(big)) as log:
        yield log


def plain_tables(path):
    """What a competent person would write: three queries, superseded rows dropped, settings spread by a pivot."""
    with closing(sqlite3.connect(path)) as raw:
        pours = pd.read_sql("SELECT entry, pour, session, made_at, by, note, supersedes, void FROM pours", raw, parse_dates="made_at")
        settings = pd.read_sql("SELECT entry, factor, number, text FROM settings", raw)
        readings = pd.read_sql("SELECT * FROM readings", raw, parse_dates="logged_at")
    numbers = settings.dropna(subset="number").pivot(index="entry", columns="factor", values="number")
    texts = settings.dropna(subset="text").pivot(index="entry", columns="factor", values="text")
    pours, readings = (t[~t["entry"].isin(t["supersedes"]) & (t["void"] == 0)] for t in (pours, readings))
    pours = pours.join(numbers, on="entry").join(texts, on="entry").set_index("pour")
    readings = readings.assign(low=readings["low"].fillna(-np.inf), high=readings["high"].fillna(np.inf))
    return pours, readings[readings["pour"].isin(pours.index)].sort_values("entry")


def seconds(action, repeats=2):
    """Shortest time of this process in several runs, and the last answer."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        answer = action()
        times.append(time.process_time() - start)
    return min(times), answer


def test_the_castings_table_in_less_time_than_a_plain_script(big, book):
    """Peer: pandas.read_sql over sqlite3; the same tables come out."""
    ours, held = seconds(book.castings)
    plain, (pours, readings) = seconds(lambda: plain_tables(big.folder / "log.sqlite"), 1)
    marked, _ = seconds(held.fingerprint)
    print(f"castings of {len(held)} pours: ours {ours:.2f} s, plain {plain:.2f} s, ratio {plain / ours:.1f}")
    print(f"fingerprint {marked:.2f} s")
    names = [factor.name for factor in big.factors]
    pd.testing.assert_frame_equal(held.pours[names], pours[names], check_dtype=False, check_column_type=False)
    columns = ["entry", "pour", "reading", "low", "high", "age"]
    pd.testing.assert_frame_equal(held.readings[columns], readings[columns].reset_index(drop=True))
    assert len(held) == POURS and len(held.readings) == 8 * POURS
    assert ours < plain
    assert marked < ours


def median_of(action, times=40):
    spent = []
    for number in range(times):
        start = time.perf_counter()
        action(number)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def test_one_durable_reading(big, book):
    """Peer: one INSERT by sqlite3 alone, as durable (write-ahead log, synchronous FULL); the kit checks first."""
    ours = median_of(lambda n: book.add_reading(f"P{1000 + n:06d}", "hardness", 70, age=24, note="one more"))
    once = median_of(lambda n: book.add_reading(f"P{2000 + n:06d}", "defects", 1, age=24))
    pour = median_of(lambda n: book.add_pour(settings={"catalyst": 1.5}, session="today"), 10)
    with closing(sqlite3.connect(big.folder / "log.sqlite", isolation_level=None)) as raw:
        raw.execute("PRAGMA synchronous=FULL")
        line = "INSERT INTO readings (pour, reading, low, high, age, known, logged_at) VALUES (?, 'hardness', 70, 70, 24, 'exact', ?)"
        plain = median_of(lambda n: raw.execute(line, (f"P{3000 + n:06d}", AT)))
    print(f"one reading: ours {1e3 * ours:.1f} ms ({1e3 * once:.1f} where a pour has only one), plain {1e3 * plain:.1f} ms")
    print(f"one pour {1e3 * pour:.1f} ms")
    assert max(ours, once) < 10 * plain + 0.05


def test_a_session_is_opened_without_reading_the_whole_log(big, book):
    """Peer: the castings table, of which the session is a two-thousandth."""
    opened = median_of(lambda _: Logbook(big).close(), 10)
    session = median_of(lambda _: session_rows(book, "S700"), 10)
    whole, _ = seconds(book.castings, 1)
    print(f"open {1e3 * opened:.0f} ms, one session {1e3 * session:.0f} ms, the whole log {whole:.2f} s")
    assert len(session_rows(book, "S700")) == 50
    assert opened < whole / 5 and session < whole / 5
