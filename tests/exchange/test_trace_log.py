"""A trace's readings stand in the log as they were read; what a pour has already is not written twice."""

import numpy as np
import pandas as pd
import pytest

from testpour.exchange.grid import TraceProblems
from testpour.exchange.reader import read_trace
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem
from testpour.study.study_file import study_from

STUDY = {"name": "Made up", "factors": {"catalyst": {}, "thickness": {}, "room_temperature": {}}}
MINUTES = np.arange(0, 110, 1 / 6)


def degrees(minutes=MINUTES):
    """Self-heating as 0.02 (t - 30)^2 up to a bell of 80 K at 70 min; noise of 0.2 K."""
    rng = np.random.default_rng(2)
    own = np.where(minutes < 50, 0.02 * np.maximum(minutes - 30, 0) ** 2, 8 + 72 * np.exp(-(((minutes - 70) / 7) ** 2)))
    return 21 + own + 0.2 * rng.standard_normal(len(minutes))


@pytest.fixture
def book(tmp_path):
    study = study_from(STUDY | {"readings": {"gel_time": {}, "time_to_peak": {}, "peak_temperature": {}}})
    log = Logbook(study, f"sqlite:///{tmp_path}/log.sqlite")
    log.add_pour("P01", settings={"catalyst": 1.5, "thickness": 15, "room_temperature": 21}, session="S1")
    yield log
    log.close()


@pytest.fixture
def trace(tmp_path, plainly):
    return read_trace(plainly(tmp_path / "P01.csv", MINUTES, degrees()), mixed_at=0)


def test_the_log_holds_what_the_trace_says(book, trace):
    written = trace.log_into(book, "P01", by="AB")
    rows = book.castings().readings.set_index("reading")
    assert set(written) == set(rows.index) == {"gel_time", "time_to_peak", "peak_temperature"}
    assert rows.loc["gel_time", "known"] == "between"
    assert rows.loc["gel_time", "low"] == pytest.approx(trace.readings.loc["gel_time", "low"], abs=0.06)
    assert rows.loc["time_to_peak", "low"] == pytest.approx(70, abs=0.3)
    assert rows.loc["peak_temperature", "high"] == pytest.approx(101, abs=0.5)
    assert (rows["by"] == "AB").all()
    assert rows["note"].str.contains("P01.csv, channel middle").all() and rows["note"].str.contains("ASTM D2471").all()


def test_a_second_time_is_refused_and_a_correction_supersedes(book, trace):
    book.add_reading("P01", "time_to_peak", between=(60, 80))
    with pytest.raises(TraceProblems, match="has time_to_peak in the log already"):
        trace.log_into(book, "P01")
    assert len(book.castings().readings) == 1, "nothing is stored when one is refused"
    trace.log_into(book, "P01", why="the trace is closer than two looks")
    rows = book.castings().readings.set_index("reading")
    assert len(rows) == 3 and rows.loc["time_to_peak", "low"] == pytest.approx(70, abs=0.3)
    assert "closer than two looks" in rows.loc["time_to_peak", "note"]
    assert book.history("P01")["what"].tolist().count("time_to_peak") == 2


def test_a_trace_does_not_choose_between_two_readings_of_a_pour(book, trace):
    _, other = [book.add_reading("P01", "gel_time", minutes, specimen=place) for minutes, place in ((34, "left"), (36, "right"))]
    with pytest.raises(TraceProblems, match="has more than one gel_time in the log"):
        trace.log_into(book, "P01", why="the trace is closer than two looks")
    book.withdraw_reading(other, why="the trace is closer")
    assert trace.log_into(book, "P01", why="the trace is closer than two looks")["gel_time"] > other
    assert sorted(book.castings().readings["reading"]) == ["gel_time", "peak_temperature", "time_to_peak"]


def test_a_trace_that_ends_early_logs_not_yet(book, tmp_path, plainly):
    part = MINUTES < 60
    trace = read_trace(plainly(tmp_path / "part.csv", MINUTES[part], degrees()[part]))
    trace.log_into(book, "P01")
    rows = book.castings().readings.set_index("reading")
    assert rows.loc["time_to_peak", "known"] == "not yet"
    assert rows.loc["time_to_peak", "low"] == pytest.approx(60, abs=0.25)
    assert rows.loc["peak_temperature", "high"] == np.inf


def test_a_trace_begun_after_the_peak_logs_already_and_at_least(book, tmp_path, plainly):
    trace = read_trace(plainly(tmp_path / "late.csv", MINUTES, 22 + 76 * np.exp(-MINUTES / 30)), mixed_at=-32)
    trace.log_into(book, "P01")
    rows = book.castings().readings.set_index("reading")
    assert rows["known"].to_dict() == {"time_to_peak": "already", "peak_temperature": "not yet"}
    assert rows.loc["time_to_peak", "high"] == pytest.approx(32.5, abs=0.6) and rows.loc["peak_temperature", "low"] == pytest.approx(98, abs=0.2)


def test_no_exotherm_is_not_logged(book, tmp_path, plainly):
    rng = np.random.default_rng(1)
    trace = read_trace(plainly(tmp_path / "flat.csv", MINUTES, 21 + 0.5 * rng.standard_normal(len(MINUTES))))
    assert "No exotherm" in trace.sentence()
    with pytest.raises(TraceProblems, match="nothing to log"):
        trace.log_into(book, "P01")
    assert len(book.castings().readings) == 0


def test_a_pour_that_is_not_in_the_log_is_refused_by_the_log(book, trace):
    with pytest.raises(LogProblem, match="No pour"):
        trace.log_into(book, "P99")


@pytest.mark.slow
def test_a_study_that_measures_none_of_it_says_so(tmp_path, trace):
    log = Logbook(study_from(STUDY | {"readings": {"tack": {}}}), f"sqlite:///{tmp_path}/other.sqlite")
    log.add_pour("P01", settings={"catalyst": 1.5}, session="S1")
    with pytest.raises(TraceProblems, match="measures none of"):
        trace.log_into(log, "P01")
    log.close()


def test_the_trace_is_told_in_words_and_drawn(trace):
    said = trace.sentence()
    assert "It began to warm itself after" in said and "peaked at 101 °C after 70 min" in said
    assert "<table" in trace._repr_html_()
    picture = trace.show()
    ax = picture.axes[0]
    line = ax.lines[0]
    assert np.nanmax(line.get_ydata()) == trace.table["temperature"].max()
    assert ax.get_legend() is None  # it would lie over the trace
    marks = {text.get_text().split(",")[0] for text in picture.legends[0].get_texts()}
    assert {"thermocouple", "without cure", "peak"} <= marks
    assert any(mark.startswith("gel after") for mark in marks) and any(mark.startswith("self-heating begins after") for mark in marks)
    assert picture.says == trace.verdict() and trace.verdict() in said
    assert isinstance(trace.table, pd.DataFrame)


def test_a_trace_cannot_be_changed(trace):
    with pytest.raises(AttributeError):
        trace.state = "flat"


def test_a_gel_faster_than_the_conventions_hold_for_says_so(tmp_path, plainly):
    minutes = np.arange(0, 25, 1 / 12)
    y = 21 + np.where(minutes < 7.5, 0.25 * np.maximum(minutes - 2, 0) ** 2, 7.5 + 60 * np.exp(-(((minutes - 10.5) / 2) ** 2)))
    said = read_trace(plainly(tmp_path / "fast.csv", minutes, y)).sentence()
    assert "hold for gel times above 5 min" in said
