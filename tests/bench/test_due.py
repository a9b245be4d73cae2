"""What is due; ages are arithmetic on a clock turned by hand."""

import datetime as dt
import time
from dataclasses import replace

import pandas as pd
import pytest

from testpour.bench.desk import Desk
from testpour.bench.due import due
from testpour.bench.form_rows import LoggedPour
from testpour.bench.slots import Slot, slots
from testpour.bench.taps import _age
from testpour.common.problems import NoSuchName
from testpour.common.wording import hours_words
from testpour.logbook.book import Logbook
from testpour.study.columns import Reading
from testpour.study.study import Aim

MADE = dt.datetime(2026, 3, 2, 10, 0)


@pytest.fixture
def hard_log(study_here):
    """A log of hardness at 1, 4, 24 h and 7 d."""
    reading = replace(study_here.reading("hardness"), ages=(1.0, 4.0, 24.0, 168.0))
    log = Logbook(replace(study_here, readings=(reading, Reading("gel_time", unit="min", low=0, high=999)), aims=()))
    for number, name in enumerate(("P1", "P2")):
        log.add_pour(name, settings={"catalyst": 1.5}, session="S1", made_at=MADE + dt.timedelta(minutes=30 * number))
    yield log
    log.close()


def test_soonest_first_and_overdue_marked(hard_log):
    hard_log.add_reading("P1", "hardness", 60, age="1 h")
    found = due(hard_log, now=MADE + dt.timedelta(hours=2))
    assert list(found.table["pour"]) == ["P2", "P1", "P2", "P1", "P2", "P1", "P2"]
    assert list(found.table["age"]) == [1, 4, 4, 24, 24, 168, 168]
    assert list(found.table["status"]) == ["overdue"] + ["later"] * 6
    assert found.table["due_at"][1] == MADE + dt.timedelta(hours=4)
    assert found.sentence() == "1 reading overdue. Next: hardness of P1 at 14:00, in 2 h."
    assert found.shown()["when"][0] == "overdue by 30 min"
    assert "overdue by 30 min" in found._repr_html_()


@pytest.fixture
def zone(monkeypatch):
    """This computer in another zone, by its name in the IANA time zone database."""
    def put(name):
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield put
    monkeypatch.undo()
    time.tzset()


def test_what_is_due_after_the_clocks_change_is_due_a_day_later_all_the_same(hard_log, zone):
    """In Berlin 2 o'clock was followed by 3 on 29 March 2026 (Directive 2000/84/EC): 24 h after noon it is one o'clock."""
    zone("Europe/Berlin")
    hard_log.add_pour("P3", settings={"catalyst": 1.5}, session="S2", made_at="2026-03-28 12:00")
    found = due(hard_log, session="S2", now=dt.datetime(2026, 3, 28, 17))
    row = found.table[found.table["age"] == 24.0].iloc[0]
    assert row["due_at"] == dt.datetime(2026, 3, 29, 13) and "Next: hardness of P3 at Sun 29 Mar 13:00, in 19 h." in found.sentence()


@pytest.mark.parametrize("name", ["America/New_York", "Asia/Kolkata"])
def test_the_form_counts_down_to_what_is_due_in_every_zone(hard_log, zone, name):
    zone(name)
    desk = Desk(hard_log, pd.DataFrame({"catalyst": [1.5]}, index=["P1"]).assign(session="S1"), clock=lambda: MADE + dt.timedelta(hours=2))
    rows = [row for row in desk.state()["due"]["rows"] if (row["pour"], row["words"]) == ("P1", "hardness at 4 h")]
    assert [row["at"] / 1e3 for row in rows] == [(MADE + dt.timedelta(hours=4)).timestamp()]


def test_what_was_missed_is_counted_and_not_listed(hard_log):
    found = due(hard_log, now=MADE + dt.timedelta(hours=24))
    assert found.missed == 4
    assert list(found.table["status"]) == ["due", "due", "later", "later"]
    assert "4 planned readings missed" in found.sentence()


def test_nothing_due_says_so(hard_log, log):
    assert due(log).sentence() == "Nothing is due now."
    found = due(hard_log, now=MADE + dt.timedelta(days=60))
    assert not len(found.table) and found.sentence() == "Nothing is due now."


def test_one_session_only(hard_log):
    hard_log.add_pour("Q1", settings={"catalyst": 1.5}, session="S2", made_at=MADE)
    assert set(due(hard_log, session="S2", now=MADE).table["pour"]) == {"Q1"}


def test_a_session_that_is_not_there_and_a_moment_in_words(hard_log):
    with pytest.raises(NoSuchName, match="No session 'S2' in the log; it has S1"):
        due(hard_log, session="S2", now=MADE)
    assert due(hard_log, session="S1", now="2 March 2026 12:00").now == MADE + dt.timedelta(hours=2)


def test_ages_are_those_of_readings_and_aims(study_here):
    own = replace(study_here, readings=(study_here.reading("tack"),), aims=(Aim("tack", at_most=1.0, age=72.0),))
    assert [slot.age for slot in slots(own)] == [24.0, 72.0]


@pytest.mark.parametrize(
    "age, status", [(17.9, "later"), (18.0, "early"), (23.0, "due"), (25.0, "due"), (25.3, "overdue"), (126.0, "missed")]
)
def test_status_of_a_planned_age(age, status):
    assert Slot(None, 24.0, 126.0).status(age) == status


def test_the_age_logged_is_the_planned_one_only_where_it_was_near():
    slot = Slot(None, 24.0, 126.0)
    assert [slot.logged_age(age) for age in (23.0, 25.1, 30.04)] == [24.0, 24.0, 30.0]


@pytest.mark.parametrize("hours, words", [
    (1 / 120, "30 s"), (-0.025, "90 s"), (2 / 60, "2 min"), (0.65, "39 min"), (3.333, "3 h 20 min"),
    (-3.0, "3 h"), (20.4, "20 h"), (47.99, "2 days"), (167, "7 days"),
])
def test_a_span_as_a_person_says_it(hours, words):
    assert hours_words(hours) == words


def test_a_date_without_an_hour_makes_readings_due_by_day(hard_log):
    for pour in ("P1", "P2"):
        hard_log.withdraw_pour(pour, why="another test")
    hard_log.add_pour("A1", settings={"catalyst": 1.5}, session="S1", made_at="2026-03-02")
    at = dt.datetime.fromisoformat
    found = due(hard_log, now=at("2026-03-03 00:10"))
    of = found.table[found.table["age"] == 24].iloc[0]  # 10 min old if it was poured last thing, a day if first thing
    assert (of["status"], of["due_at"], of["by_day"]) == ("due", at("2026-03-03"), True)
    assert found.sentence() == (
        "3 readings due now. Next: hardness of A1 on Mon 09 Mar, in 6 days. For A1 the day is known but not the hour, so readings are due "
        'by day. Give the hour by tapping in the notebook 2-pour-and-log, under "Put right what is in the log", '
        'or with log.correct_pour("A1", made_at=..., why="hour added").'
    )
    assert list(due(hard_log, now=at("2026-03-03 23:50")).table["status"]) == ["due", "later"]
    late = due(hard_log, now=at("2026-03-04 14:00"))  # between 38 and 62 h old
    assert list(late.shown()["when"]) == ["overdue since Tue 03 Mar", "on Mon 09 Mar, in 4 days"]
    last = due(hard_log, now=at("2026-03-23 12:00"))  # three times 7 days after the first hour of that day, not after the last
    assert list(last.table["age"]) == [168] and list(last.table["status"]) == ["overdue"]
    hard_log.correct_pour("A1", made_at="2026-03-02 16:00", why="hour added")
    assert due(hard_log, now=at("2026-03-03 00:10")).shown()["when"].iloc[-2] == "at 16:00, in 16 h"


@pytest.mark.parametrize("hours, age, note", [(24.1, 24.0, ""), (24.2, 24.0, "Read at 24.2 h."), (23.0, 24.0, "Read at 23.0 h."), (30.04, 30.0, "")])
def test_the_age_a_reading_was_taken_at_is_noted_where_it_is_not_what_is_logged(hours, age, note):
    """By more than a two-hundredth of it: 0.12 h of 24."""
    made = LoggedPour("P1", "S1", MADE, "", "", {}, ())
    assert _age(Slot(None, 24.0, 126.0), made, MADE + dt.timedelta(hours=hours)) == (age, note)


def test_pours_that_a_clock_puts_into_the_future_are_told(hard_log, monkeypatch):
    """A study moved five hours to the west on its day: P1 was made at ten, and the clock there says a quarter past five."""
    there = MADE - dt.timedelta(hours=4, minutes=45)
    monkeypatch.setattr("testpour.bench.due.moment", lambda value: value or there)
    said = due(hard_log).sentence()
    assert "This computer's clock puts P1 and P2 into the future, so ages are counted wrong: set its time and time zone right." in said
    monkeypatch.setattr("testpour.bench.due.moment", lambda value: value or MADE + dt.timedelta(minutes=25))
    assert "future" not in due(hard_log).sentence()  # P2, five minutes ahead, may be of a bench whose clock is fast
