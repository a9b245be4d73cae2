"""Taps at the bench and what the log says of them; expected numbers are minutes on a clock turned by hand."""

import datetime as dt
import math
from dataclasses import replace

import pytest

from testpour.bench.desk import Desk
from testpour.bench.planned import FormProblem
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading
from testpour.study.study import Aim


def test_catalyst_in_is_logged_once_with_the_room_and_the_chosen_settings(bench):
    head = {"room_temperature": "68 degF", "humidity": "55 %", "resin_lot": "drum 4"}
    assert bench.tap("head", values=head, by="AB")["ok"]
    assert bench.tap("catalyst_in", "B01")["words"] == "catalyst in at 10:00:00"
    bench.clock.turn(1)
    assert bench.tap("catalyst_in", "B01")["ok"]
    pours = bench.log.castings().pours
    assert list(pours.index) == ["B01"]
    row = pours.loc["B01"]
    assert (row["session"], row["by"], row["resin_lot"]) == ("day one", "AB", "drum 4")
    assert "catalyst_lot" not in bench.desk.made["B01"].settings, "what was not said is not made up"
    assert row["made_at"] == dt.datetime(2026, 3, 2, 10, 0)
    assert [row[n] for n in ("catalyst", "pigment", "thickness", "cover", "room_temperature", "humidity")] == [1.5, 0.5, 6, 1, 20, 55]


def test_a_message_sent_twice_is_done_once(bench):
    bench.tap("catalyst_in", "B01")
    message = {"id": "again", "deed": "check", "pour": "B01", "name": "B01", "reading": "gel_time", "at": None}
    bench.clock.turn(10)
    bench.send(message)
    bench.clock.turn(5)
    bench.send(message)
    assert list(bench.rows("B01", "gel_time")["low"]) == [10.0]
    assert len(bench.log.history("B01")) == 2


def test_two_desks_at_one_log_make_a_pour_once(bench, log, sheet):
    other = Desk(log, sheet, clock=bench.clock)
    bench.tap("catalyst_in", "B01")
    other.take({"id": "x", "deed": "catalyst_in", "pour": "B01", "at": None})
    assert list(log.castings().pours.index) == ["B01"]
    assert other.state()["answers"]["x"]["ok"]


def test_no_clock_runs_for_a_pour_whose_day_is_not_known(bench, log, sheet):
    """A sheet without dates, taken in under the name of today's session: what is poured now is shown, its pours are not."""
    bench.tap("catalyst_in", "B01")
    log.add_all([{"pour": "X1", "session": "day one", "settings": {"catalyst": 1.5}, "readings": []}])
    assert list(log.castings().pours.index) == ["B01", "X1"] and list(Desk(log, sheet, clock=bench.clock).made) == ["B01"]


def test_checks_and_the_gel_make_the_interval(bench):
    bench.tap("catalyst_in", "B01")
    for minutes in (10, 5):
        bench.clock.turn(minutes)
        bench.tap("check", "B01", reading="gel_time")
    assert bench.event("B01", "gel_time")["said"] == "Not gelled at 15.0 min"
    row = bench.rows("B01", "gel_time").iloc[0]
    assert (row["known"], row["low"]) == ("not yet", 15.0)
    bench.clock.turn(3)
    bench.tap("happened", "B01", reading="gel_time")
    row = bench.rows("B01", "gel_time").iloc[0]
    assert (row["known"], row["low"], row["high"]) == ("between", 15.0, 18.0)
    assert bench.event("B01", "gel_time")["said"] == "Gelled between 15.0 and 18.0 min"


def test_a_gel_found_without_a_check_is_known_from_above_only_until_somebody_watched(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(22)
    bench.tap("happened", "B01", reading="gel_time")
    bench.tap("happened", "B01", reading="gel_time")
    row = bench.rows("B01", "gel_time").iloc[0]
    assert (row["known"], row["low"], row["high"]) == ("already", float("-inf"), 22.0)
    bench.tap("watched", "B01", reading="gel_time")
    row = bench.rows("B01", "gel_time").iloc[0]
    assert (row["known"], row["low"]) == ("exact", 22.0)


def test_a_casting_found_ready_the_next_morning_may_have_been_ready_earlier(study_here, pours, make_bench, clock):
    own = replace(study_here, readings=(*study_here.readings, catalogue()["readings"]["demould_time"]))
    log = Logbook(own)
    bench = make_bench(log, pours, clock)
    for pour in ("B01", "B02", "B03"):
        bench.tap("catalyst_in", pour)
    clock.turn(240)
    bench.tap("check", "B01", reading="demould_time")
    assert bench.event("B01", "demould_time")["said"] == "Not ready to leave its mould at 240.0 min"
    clock.turn(1200)
    for pour in ("B01", "B02", "B03"):
        bench.tap("happened", pour, reading="demould_time")
    assert bench.event("B01", "demould_time")["said"] == "Demoulded between 240.0 and 1440.0 min"
    assert bench.event("B02", "demould_time")["said"] == "Demoulded by 1440.0 min"
    assert bench.event("B02", "demould_time")["doubt"].startswith("It may have been ready earlier. ")
    bench.tap("watched", "B03", reading="demould_time")
    assert bench.event("B03", "demould_time")["said"] == "Demoulded at 1440.0 min"
    log.close()


def test_the_card_says_when_to_look_so_that_the_aim_can_be_judged(study_here, pours, make_bench, clock):
    """Checked at 10 and 20 min alone, a gel between them may lie on either side of 15. What is not looked for now and then has no such line."""
    log = Logbook(replace(study_here, aims=(Aim("gel_time", at_least=15.0),), readings=(*study_here.readings, catalogue()["readings"]["time_to_peak"])))
    bench = make_bench(log, pours, clock)
    bench.tap("catalyst_in", "B01")
    assert bench.event("B01", "gel_time")["look"] == "Look at 15 min in any case, so that each pour shows whether the aim is met"
    assert not bench.event("B01", "time_to_peak")["look"]
    log.close()


def test_taps_are_taken_back_one_by_one(bench):
    bench.tap("catalyst_in", "B01")
    for deed, minutes in (("check", 10), ("check", 5), ("happened", 3)):
        bench.clock.turn(minutes)
        bench.tap(deed, "B01", reading="gel_time")
    said = []
    for _ in range(3):
        bench.tap("take_back", "B01", entries=[bench.event("B01", "gel_time")["entry"]])
        said.append(bench.event("B01", "gel_time")["said"])
    assert said == ["Not gelled at 15.0 min", "Not gelled at 10.0 min", ""]
    assert not len(bench.rows("B01", "gel_time"))
    assert len(bench.log.history("B01")) == 1 + 3 + 3, "nothing is ever lost"
    bench.tap("happened", "B01", reading="gel_time")
    assert bench.event("B01", "gel_time")["said"] == "Gelled by 18.0 min"


def test_a_tap_back_that_comes_twice_takes_one_tap_back(bench):
    bench.tap("catalyst_in", "B01")
    for minutes in (10, 5):
        bench.clock.turn(minutes)
        bench.tap("check", "B01", reading="gel_time")
    entry = bench.event("B01", "gel_time")["entry"]
    bench.tap("take_back", "B01", entries=[entry])
    bench.tap("take_back", "B01", entries=[entry])
    assert bench.event("B01", "gel_time")["said"] == "Not gelled at 10.0 min"


def test_a_pour_taken_back_can_be_made_again_and_keeps_its_card(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(1)
    assert bench.tap("unpour", "B01")["ok"]
    assert bench.card("B01")["name"] == ""
    bench.clock.turn(1)
    bench.tap("catalyst_in", "B01")
    assert bench.card("B01")["name"] == "B01-2"
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time")
    assert list(bench.rows("B01-2", "gel_time")["low"]) == [10.0]


def test_a_peak_beyond_the_boiling_point_is_doubted_on_its_card(bench):
    """180 °F is (180 - 32) / 1.8 = 82 °C."""
    bench.tap("catalyst_in", "B02")
    bench.clock.turn(40)
    bench.tap("happened", "B02", reading="time_to_peak", **{"with": "180"})
    said = bench.event("B02", "time_to_peak")["with"]["said"]
    assert said.startswith("180 °C. A peak of 180 °C is at or above 145 °C") and said.endswith("180 °F is 82 °C.")
    bench.tap("write", "B02", reading="peak_temperature", text="180 degF")
    assert bench.event("B02", "time_to_peak")["with"]["said"] == "82.2 °C"


def test_a_peak_below_its_room_is_doubted_on_its_card(bench):
    bench.tap("head", values={"room_temperature": "20"}, by="AB")
    bench.tap("catalyst_in", "B02")
    bench.clock.turn(40)
    bench.tap("happened", "B02", reading="time_to_peak", **{"with": "7"})
    assert bench.event("B02", "time_to_peak")["with"]["said"].startswith("7 °C. A peak of 7 °C is below the room it was poured in")


def test_a_gel_typed_after_the_peak_is_doubted_on_its_card(bench):
    bench.tap("catalyst_in", "B02")
    bench.clock.turn(40)
    bench.tap("happened", "B02", reading="time_to_peak")
    assert not any("is before" in text for text in bench.card("B02")["warnings"])
    bench.clock.turn(15)
    bench.tap("write", "B02", reading="gel_time", text="52")
    assert any(text.startswith("Time to peak 40 min is before gel time 52 min") for text in bench.card("B02")["warnings"])


def test_the_peak_takes_its_temperature_along(bench):
    bench.tap("catalyst_in", "B02")
    bench.clock.turn(40)
    refused = bench.tap("happened", "B02", reading="time_to_peak", **{"with": "hot"})
    assert not refused["ok"] and "'hot'" in refused["words"]
    assert not len(bench.rows("B02", "time_to_peak")), "nothing is half-stored"
    bench.tap("happened", "B02", reading="time_to_peak", **{"with": "176 degF"})
    assert bench.event("B02", "time_to_peak")["with"]["said"] == "80 °C"
    assert bench.rows("B02", "time_to_peak").iloc[0]["low"] == 40.0
    assert bench.rows("B02", "peak_temperature").iloc[0]["low"] == 80.0  # (176 - 32) / 1.8
    bench.tap("write", "B02", reading="peak_temperature", text="82")
    assert list(bench.rows("B02", "peak_temperature")["low"]) == [82.0], "a second entry corrects the first"


def test_a_restart_finds_everything_in_the_log(bench):
    bench.tap("head", values={"room_temperature": "19", "catalyst_lot": "bottle 7"}, by="CD")
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(10)
    bench.tap("check", "B01", reading="gel_time")
    before = bench.desk.state()
    bench.reopen()
    after = bench.desk.state()
    assert after["cards"] == before["cards"]
    assert after["due"] == before["due"]
    assert [f["value"] for f in after["head"]["fields"]] == [f["value"] for f in before["head"]["fields"]] == ["19", "", "", "bottle 7"]
    assert after["head"]["by"] == "CD"
    assert bench.card("B01")["since"] == dt.datetime(2026, 3, 2, 10, 0).timestamp() * 1e3


def test_a_tap_that_waited_counts_from_when_it_was_tapped(bench):
    bench.tap("catalyst_in", "B01")
    tapped = bench.clock.now.timestamp() * 1e3 + 20 * 60e3
    bench.clock.turn(23)
    bench.tap("check", "B01", reading="gel_time", at=tapped)
    assert list(bench.rows("B01", "gel_time")["low"]) == [20.0]


def test_a_tap_from_the_future_gets_the_time_of_this_computer(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(15)
    bench.tap("check", "B01", reading="gel_time", at=bench.clock.now.timestamp() * 1e3 + 60e3)
    assert list(bench.rows("B01", "gel_time")["low"]) == [15.0]


def test_a_refusal_is_said_in_words_and_the_pour_can_be_logged_as_made(bench):
    bench.tap("head", values={"room_temperature": "9 degC"}, by="AB")
    answer = bench.tap("catalyst_in", "B01")
    assert not answer["ok"] and answer["refused"] and "Room temperature 9 °C" in answer["words"]
    assert not len(bench.log.castings().pours)
    first = bench.clock.now
    bench.clock.turn(2)
    bench.tap("catalyst_in", "B01", anyway=True, at=first.timestamp() * 1e3)
    row = bench.log.castings().pours.loc["B01"]
    assert row["made_at"] == first and "Refused by the cautions" in row["note"]


def test_a_failed_write_is_said_and_the_same_message_may_try_again(bench, monkeypatch):
    def full(*_args, **_more):
        raise LogProblem("The log cannot grow: the disk is full.")

    with monkeypatch.context() as broken:
        broken.setattr(Logbook, "add_pour", full)
        message = {"id": "one", "deed": "catalyst_in", "pour": "B01", "at": bench.clock.now.timestamp() * 1e3}
        answer = bench.send(message)
        assert answer == {"ok": False, "pour": "B01", "refused": False, "words": "The log cannot grow: the disk is full."}
    assert bench.card("B01")["name"] == ""
    bench.clock.turn(3)
    assert bench.send(message)["ok"]
    assert bench.log.castings().pours.loc["B01", "made_at"] == dt.datetime(2026, 3, 2, 10, 0)


def test_the_room_read_later_is_added_and_never_changes_what_a_pour_has(bench):
    bench.tap("catalyst_in", "B01")
    assert bench.desk.state()["head"]["unknown"] == ["room temperature", "humidity", "resin lot", "catalyst lot"]
    bench.tap("head", values={"room_temperature": "21"}, by="AB")
    bench.tap("catalyst_in", "B02")
    bench.tap("head", values={"room_temperature": "23", "humidity": "40"}, by="AB")
    pours = bench.log.castings().pours
    assert list(pours["room_temperature"]) == [21.0, 21.0]
    assert list(pours["humidity"]) == [40.0, 40.0]


def test_a_field_that_cannot_be_read_keeps_the_others(bench):
    answer = bench.tap("head", values={"room_temperature": "68 degF", "humidity": "damp"}, by="AB")
    assert answer["ok"] and answer["words"] == "room and lots saved, except humidity"
    shown = {f["name"]: f for f in bench.desk.state()["head"]["fields"]}
    assert shown["room_temperature"]["value"] == "20" and shown["humidity"]["value"] == "damp"
    assert shown["humidity"]["problem"] == "Humidity: 'damp' is not a number. Write it in figures, in %."
    assert bench.desk.state()["head"]["unknown"] == ["resin lot", "catalyst lot"], "what is wrong is told by itself"


def test_a_room_typed_before_the_session_stands_in_the_form_and_counts_once_saved(log, sheet, clock):
    desk = Desk(log, sheet, clock=clock, typed={"room_temperature": "63.5 degF"})
    assert desk.state()["head"]["fields"][0]["value"] == "63.5 degF" and not desk.state()["head"]["saved"]
    desk.take({"id": "1", "deed": "catalyst_in", "pour": "B01", "at": None})
    assert "room_temperature" not in desk.made["B01"].settings
    desk.take({"id": "2", "deed": "head", "values": {"room_temperature": "63.5 degF"}, "at": None})
    assert desk.made["B01"].settings["room_temperature"] == pytest.approx(17.5)  # (63.5 - 32) / 1.8
    assert desk.state()["head"]["fields"][0]["value"] == "17.5"
    again = Desk(log, sheet, clock=clock, typed={"room_temperature": "25"})
    assert again.state()["head"]["fields"][0]["value"] == "17.5", "a session with pours has its room"


def test_a_room_out_of_range_is_said_in_words_of_the_bench_and_what_holds_until_it_is_right(bench):
    bench.tap("head", values={"room_temperature": "20", "humidity": "50"})
    bench.tap("head", values={"room_temperature": "68", "humidity": "55"})
    head = bench.desk.state()["head"]
    assert head["fields"][0]["problem"] == (
        "Room temperature: 68 is outside 5 to 40 °C. Is it °F (20 °C)? Then write that unit with it. Check the number and its unit."
    )
    assert (head["fields"][0]["value"], head["but"], head["unknown"]) == ("68", "room temperature (20 °C still holds)", ["resin lot", "catalyst lot"])
    bench.tap("catalyst_in", "B01")
    assert list(bench.log.castings().pours.loc["B01", ["room_temperature", "humidity"]]) == [20.0, 55.0]
    bench.tap("head", values={"room_temperature": "68 degF", "humidity": "55"})
    assert bench.desk.state()["head"]["but"] == "" and bench.desk.state()["head"]["fields"][0]["value"] == "20"


@pytest.mark.parametrize("deed", ["check", "happened"])
def test_a_tap_in_the_first_half_minute_is_too_early(bench, deed):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(0.42)
    answer = bench.tap(deed, "B01", reading="gel_time")
    assert not answer["ok"] and not len(bench.rows("B01", "gel_time"))
    assert answer["words"] == "Too early to log: gel time counts from 0.5 min after the catalyst went in. Leave it, and tap again then."
    bench.clock.turn(0.08)
    assert bench.tap(deed, "B01", reading="gel_time")["ok"]


def test_a_number_typed_out_of_range_is_not_about_a_file(bench):
    bench.tap("catalyst_in", "B01")
    assert bench.tap("write", "B01", reading="gel_time", text="2000")["words"].endswith("2000 is outside 0.5 to 1440 min. Check the number and its unit.")


@pytest.mark.parametrize(("text", "said"), [("35 min", "gel time 35 min"), ("not yet at 3 h", "gel time not yet at 180 min"),
                                            ("5 to 14 min", "gel time 5 to 14 min"), ("already by 0.5 h", "gel time already by 30 min")])
def test_a_time_typed_before_it_has_come_is_refused(bench, text, said):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(0.05)
    answer = bench.tap("write", "B01", reading="gel_time", text=text)
    assert not answer["ok"]
    assert answer["words"].startswith(f"The catalyst of B01 went in 3 s ago: {said} cannot be known yet.")
    assert answer["words"].endswith('with log.correct_pour("B01", made_at="2026-03-02 10:00", why="tapped late") and the true time.')
    assert not len(bench.rows("B01", "gel_time"))


def test_a_time_typed_may_be_ten_minutes_ahead_of_a_clock_that_was_started_late(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(25)
    assert not bench.tap("write", "B01", reading="gel_time", text="36 min")["ok"]
    assert bench.tap("write", "B01", reading="gel_time", text="35 min")["ok"]


def test_a_time_is_taken_as_typed_where_a_clock_was_set_back(bench):
    """Poured at 10:00 and gelled half an hour later, by a clock that was set back by an hour in between."""
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(-30)
    assert bench.tap("write", "B01", reading="gel_time", text="30 min")["ok"]


def test_buttons_follow_from_the_study(study_here, pours, make_bench, clock):
    """A study without gel time has no gel button; a moment of its own gets one."""
    own = replace(study_here, aims=(), readings=(study_here.reading("hardness"), Reading("set_time", unit="h", low=0, high=100)))
    log = Logbook(own)
    bench = make_bench(log, pours, clock)
    bench.tap("catalyst_in", "B01")
    assert [event["done"] for event in bench.card("B01")["events"]] == ["Set time: now"]
    assert bench.card("B01")["once"] == []
    clock.turn(90)
    bench.tap("happened", "B01", reading="set_time")
    assert list(bench.rows("B01", "set_time")["low"]) == [1.5]
    log.close()


def test_what_is_due_says_nothing_yet_only_before_every_pour_is_made(study_here, pours, make_bench, clock):
    log = Logbook(replace(study_here, aims=(), readings=(study_here.reading("gel_time"),)))
    bench = make_bench(log, pours, clock)
    assert bench.desk.state()["due"]["nothing"].startswith("Nothing yet: ")
    for pour in ("B01", "B02", "B03"):
        bench.tap("catalyst_in", pour)
    assert bench.desk.state()["due"] == {"rows": [], "missed": 0, "nothing": "Nothing is left to read at an age."}
    log.close()


def test_grades_and_ages(bench):
    bench.tap("catalyst_in", "B01")
    assert bench.later("B01", "tack")["status"] == "later"
    bench.clock.turn(23.5 * 60)
    assert bench.later("B01", "tack")["status"] == "due"
    for _ in range(2):
        bench.clock.turn(1)
        bench.tap("write", "B01", reading="tack", age=24.0, text="1")
    row = bench.rows("B01", "tack")
    assert list(row["low"]) == [1.0] and list(row["age"]) == [24.0]
    assert bench.later("B01", "tack")["said"] == "grade 1 (slightly tacky)"


def test_a_reading_taken_late_keeps_its_own_age(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(40 * 60)
    assert bench.later("B01", "tack")["status"] == "overdue"
    bench.tap("write", "B01", reading="tack", age=24.0, text="dry")
    assert list(bench.rows("B01", "tack")["age"]) == [40.0]


def test_several_hardness_readings_go_in_together_or_not_at_all(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(24 * 60)
    fields = {"reading": "hardness", "age": 24.0, "edge": "5 mm", "thickness": "6", "specimen": ""}
    assert not bench.tap("values", "B01", text="76 79 Barcol 78", **fields)["ok"]
    assert not bench.tap("values", "B01", text=" ", **fields)["ok"]
    assert not len(bench.rows("B01", "hardness"))
    for _ in range(2):
        assert bench.tap("values", "B01", text="76 79 78 Shore D", **fields)["ok"]
    rows = bench.rows("B01", "hardness")
    assert list(rows["low"]) == [76, 79, 78] and set(rows["age"]) == {24.0}
    assert all("Too near an edge: 5 mm" in note for note in rows["note"])
    line = bench.later("B01", "hardness")
    assert "3 readings: mean 77.7 Shore D" in line["said"] and "2 more" in line["said"]
    bench.tap("take_back", "B01", entries=line["entries"])
    assert not len(bench.rows("B01", "hardness"))


@pytest.mark.parametrize(("text", "ends", "said"), [
    ("< 70", (-math.inf, 70), "at most 70 Shore D."), ("70-75", (70, 75), "70 to 75 Shore D."), (">90 Shore D", (90, math.inf), "at least 90 Shore D."),
])
def test_what_lies_beyond_a_number_or_between_two_is_logged_as_just_that(bench, text, ends, said):
    """70-75 was logged as 70 to the digit, and > 90 as 90."""
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(24 * 60)
    fields = {"reading": "hardness", "age": 24.0, "specimen": ""}
    for _ in range(2):
        assert bench.tap("values", "B01", text=text, **fields)["ok"]
    row = bench.rows("B01", "hardness").iloc[0]
    assert (row["low"], row["high"], len(bench.rows("B01", "hardness"))) == (*ends, 1) and bench.later("B01", "hardness")["said"] == said
    assert bench.desk.preview({"pour": "B01", "text": text, **fields}) == {"words": f"1 reading: {said}", "fine": True}
    assert not bench.tap("values", "B01", text=f"{text} 77", **fields)["ok"]
    assert bench.tap("values", "B01", text="76 77", **fields)["ok"]
    assert bench.later("B01", "hardness")["said"].startswith("2 readings: mean 76.5") and bench.later("B01", "hardness")["said"].endswith(said)


def test_a_planned_name_of_another_session_is_refused_with_what_to_do(log, sheet, clock):
    log.add_pour("B02", settings={"catalyst": 1.5}, session="last week")
    with pytest.raises(FormProblem, match="B02 is in the log already, in session last week. Plan again with castings"):
        Desk(log, sheet, clock=clock)


def test_a_pour_that_was_not_planned_has_a_card_too(bench):
    bench.log.add_pour("extra", settings={"catalyst": 1.5}, session="day one", made_at=bench.clock.now)
    bench.reopen()
    assert bench.card("extra")["name"] == "extra"
    assert bench.card("extra")["settings"] == ["catalyst 1.5 %"]


def test_a_message_that_makes_no_sense_is_answered(bench):
    answer = bench.tap("write", "B01", reading="gel_time", text="20")
    assert not answer["ok"] and "Log catalyst in first" in answer["words"]
    unknown = bench.send({"id": "x", "deed": "catalyst_in", "pour": "B09", "at": None})
    assert not unknown["ok"] and "it has B01, B02, B03" in unknown["words"]


def test_a_moment_too_old_to_be_tapped_is_said_to_be(bench):
    """Gel times are believed up to 1440 min."""
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(1439)
    assert not bench.event("B01", "gel_time")["late"]
    bench.clock.turn(2)
    assert bench.event("B01", "gel_time")["late"]
    bench.tap("write", "B01", reading="gel_time", text="not yet at 2 h")
    assert bench.event("B01", "gel_time")["said"] == "Not gelled at 120.0 min"


def test_each_specimen_is_averaged_by_itself(bench):
    bench.tap("catalyst_in", "B01")
    bench.clock.turn(24 * 60)
    for specimen, text in (("left", "70 72"), ("right", "80 82")):
        bench.tap("values", "B01", reading="hardness", age=24.0, specimen=specimen, text=text)
    said = bench.later("B01", "hardness")["said"]
    assert "left: 2 readings: mean 71.0" in said and "right: 2 readings: mean 81.0" in said


def test_no_time_counts_from_a_pour_whose_hour_is_not_known(bench):
    bench.log.add_pour("B01", settings={"catalyst": 1.5}, session="day one", made_at="2026-03-01")
    bench.desk.refresh()
    card = bench.card("B01")
    assert (card["since"], card["clock"], bench.later("B01", "tack")["status"]) == (None, "Sun 01 Mar, hour not known", "due")
    assert bench.later("B01", "tack")["at"] is None and {row["at"] for row in bench.desk.state()["due"]["rows"]} == {None}, "nothing counts to midnight"
    assert bench.desk.state()["head"]["saved"] in ("Sun 01 Mar", ""), "midnight is no hour at which anything was saved"
    said = bench.tap("check", "B01", reading="gel_time")
    assert not said["ok"] and "but not the hour, so no time counts from it" in said["words"] and not len(bench.rows("B01", "gel_time"))
    assert bench.tap("write", "B01", reading="tack", age=24.0, text="1")["ok"]
    assert bench.rows("B01", "tack")["age"].item() == 24, "34 h since midnight, which nobody said the catalyst went in at"
    bench.clock.turn(24 * 60)
    said = bench.tap("values", "B01", reading="hardness", age=24.0, text="70 71 72", specimen="")
    assert not said["ok"] and "so the age of this reading is not known" in said["words"]


def test_the_form_knows_when_its_room_and_lots_were_typed(bench):
    """In ms since 1970, as a browser counts."""
    assert bench.tap("head", values={"room_temperature": "20"}, by="AB")["ok"]
    assert bench.desk.state()["head"]["at"] == pytest.approx(bench.clock.now.timestamp() * 1e3, abs=60e3)
