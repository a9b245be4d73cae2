"""Taps that come late and clocks that are set: kept as told, marked, asked about; moments are by a clock turned by hand."""

import datetime as dt
import time

import pytest

from testpour.bench.desk import Desk
from testpour.bench.lateness import Clocks
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem

HOUR = 60


def at(bench, minutes=0):
    """A moment some minutes from now, as a browser says it."""
    return bench.clock.now.timestamp() * 1e3 + minutes * 60e3


def asks(bench, pour="B01"):
    return [ask["words"] for ask in bench.card(pour)["asks"]]


def test_a_tap_delivered_sixteen_hours_later_is_kept_as_told_and_asked_about(bench):
    bench.tap("catalyst_in", "B01")
    tapped = at(bench, 20)
    bench.clock.turn(16 * HOUR + 20)
    assert bench.tap("happened", "B01", reading="gel_time", at=tapped)["ok"]
    assert bench.rows("B01", "gel_time")["high"].tolist() == [20.0]
    assert asks(bench) == ["Gel time: tapped Mon 02 Mar 10:20, arrived 16 h later. Is that time right?"]
    bench.reopen()
    assert len(asks(bench)) == 1, "the question is kept by the log"


def test_a_late_catalyst_in_begins_the_pour_when_it_was_tapped(bench):
    tapped = at(bench)
    bench.clock.turn(16 * HOUR)
    bench.tap("catalyst_in", "B01", at=tapped)
    assert bench.log.castings().pours.loc["B01", "made_at"] == dt.datetime(2026, 3, 2, 10, 0)
    assert asks(bench) == ["Catalyst in: tapped Mon 02 Mar 10:00, arrived 16 h later. Is that time right?"]
    assert bench.tap("time_right", "B01", entries=[])["ok"]
    assert asks(bench) == [] and bench.log.castings().pours.loc["B01", "made_at"] == dt.datetime(2026, 3, 2, 10, 0)


@pytest.mark.parametrize("minutes, marked", [(0, False), (4.9, False), (5.1, True)])
def test_five_minutes_on_the_way_are_asked_no_question(bench, minutes, marked):
    bench.tap("catalyst_in", "B01")
    tapped = at(bench, 10)
    bench.clock.turn(10 + minutes)
    bench.tap("check", "B01", reading="gel_time", at=tapped)
    assert bench.rows("B01", "gel_time")["low"].tolist() == [10.0] and bool(asks(bench)) is marked


def test_a_confirmed_time_is_asked_no_more_and_is_taken_back_like_any_tap(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time")
    tapped = at(bench, 5)
    bench.clock.turn(60)
    bench.tap("happened", "B01", reading="gel_time", at=tapped)
    (ask,) = bench.card("B01")["asks"]
    assert bench.tap("time_right", "B01", entries=ask["entries"])["ok"]
    assert asks(bench) == [] and bench.event("B01", "gel_time")["said"] == "Gelled between 10.0 and 15.0 min"
    bench.tap("take_back", "B01", entries=[bench.event("B01", "gel_time")["entry"]])
    assert bench.event("B01", "gel_time")["said"] == "Not gelled at 10.0 min"


def test_late_readings_at_an_age_have_the_age_of_the_tap(bench):
    bench.tap("catalyst_in", "B01")
    tapped = at(bench, 24 * HOUR)
    bench.clock.turn(40 * HOUR)
    bench.tap("values", "B01", reading="hardness", age=24.0, edge="20 mm", thickness="6", specimen="", text="76 79", at=tapped)
    assert set(bench.rows("B01", "hardness")["age"]) == {24.0}
    assert asks(bench) == ["Hardness: tapped Tue 03 Mar 10:00, arrived 16 h later. Is that time right?"]


def test_a_browser_far_ahead_of_this_computer_is_marked_and_this_computer_is_believed(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time", at=at(bench, 90))
    assert bench.rows("B01", "gel_time")["low"].tolist() == [10.0]
    assert "the browser's clock said Mon 02 Mar 11:40, 1 h 30 min ahead of this computer's" in asks(bench)[0]


@pytest.mark.parametrize("ahead, marked", [(4.9, False), (5.2, True)])
def test_a_browser_five_minutes_ahead_is_asked_no_question(bench, ahead, marked):
    """Either way this computer's time is logged."""
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time", at=at(bench, ahead))
    assert bench.rows("B01", "gel_time")["low"].tolist() == [10.0] and bool(asks(bench)) is marked


def test_a_clock_set_back_in_the_browser_is_marked(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time", set_back=180e3)
    assert asks(bench) == ["Gel time: a clock was set back by 3 min just before this tap. Is that time right?"]


def test_this_computers_clock_set_back_between_two_taps_is_noticed_and_said(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(30)
    bench.tap("check", "B01", reading="gel_time")
    assert bench.desk.state()["notices"] == []
    bench.clock.turn(-10)
    bench.tap("happened", "B01", reading="gel_time")
    assert "set back by 10 min just before this tap" in asks(bench)[0]
    assert "clock was set back by 10 min while the form was open" in bench.desk.state()["notices"][0]


def test_a_tap_from_before_the_catalyst_is_refused_in_words_and_stays_in_the_browser(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(-60)
    answer = bench.tap("check", "B01", reading="gel_time")
    assert not answer["ok"] and "tapped Mon 02 Mar 09:00:00, before the catalyst of B01 went in" in answer["words"]
    bench.reopen()
    assert "log holds a pour made at Mon 02 Mar 10:00, and this computer's clock says Mon 02 Mar 09:00" in bench.desk.state()["notices"][0]


def test_the_real_clock_is_watched_by_one_that_nobody_sets(monkeypatch):
    """Forty seconds go by, and the clock on the wall shows ten more: it was set back by thirty."""
    watched, wall, steady = Clocks(dt.datetime.now), dt.datetime.now().timestamp(), time.monotonic()
    watched._seen = (wall - 10, steady - 40)
    assert watched.look() == pytest.approx(30, abs=2)
    watched._seen = (watched._now()[0] - 3600, watched._now()[1] - 40)  # a laptop slept
    assert watched.look() == 0


def test_a_desk_answers_while_the_log_is_away_and_goes_on_afterwards(bench, monkeypatch):
    bench.tap("catalyst_in", "B01")

    def gone(*_):
        raise LogProblem("The log cannot be reached.")

    with monkeypatch.context() as away:
        away.setattr(Logbook, "looking", gone)
        away.setattr(Logbook, "_ledger", gone)
        message = {"id": "x", "deed": "catalyst_in", "pour": "B02", "at": at(bench)}
        state = bench.desk.take(message)
        assert state["answers"]["x"] == {"ok": False, "pour": "B02", "refused": False, "words": "The log cannot be reached."}
        assert [card["name"] for card in state["cards"]] == ["B01", "", ""]
        assert state["notices"][0].startswith("The log cannot be reached. The form shows what it last knew")
        assert bench.desk.refresh()["notices"]
    assert bench.send(message)["ok"] and bench.desk.state()["notices"] == []


def test_a_time_of_another_zone_is_shown_on_this_computers_clock(log, sheet, clock, monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    try:
        log.add_pour("B01", settings={"catalyst": 1.5}, session="day one", made_at="2026-03-02 14:30", note="[UTC+05:30]")
        desk = Desk(log, sheet, clock=clock)
        assert desk.made["B01"].made_at == dt.datetime(2026, 3, 2, 9, 0)
    finally:
        monkeypatch.undo()
        time.tzset()
