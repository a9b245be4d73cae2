"""A log that fails throughout, bad lots, single slips, what the readings have said already, and the short page."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from testpour.causes import verdict
from testpour.causes.case import HARD
from testpour.causes.cause_file import causes_for
from testpour.causes.complaint import caught_up, missed
from testpour.causes.diagnosis import why
from testpour.causes.leave_one_out import predictions
from testpour.causes.naming import from_now_on, named
from testpour.causes.signs import Planned, signs_of
from testpour.causes.table import Cause
from testpour.causes.whole_log import fails_throughout, noted_elsewhere
from testpour.causes.why_all import _tells_study, whole_study, why_all
from testpour.common.wording import in_days
from testpour.logbook.book import Logbook
from testpour.logbook.log_warnings import Caution
from testpour.models.fits import fit_castings
from testpour.study.study import Aim
from testpour.study.study_file import study_from

DEMO = Path(__file__).parents[2] / "datasets" / "demo-study" / "castings.csv"


@pytest.fixture(scope="module")
def wet_log(study, castings_of):
    """Four castings at usual settings, every one wet at a day."""
    names = ["P01", "P02", "P03", "P04"]
    pours = pd.DataFrame({"catalyst": [1.5, 1.8, 1.6, 2.0], "cover": 1.0, "thickness": 10.0, "room_temperature": 20.0}, index=names)
    parts = [pd.DataFrame({"pour": names, "reading": reading, "low": value, "high": value, "age": 24.0})
             for reading, value in (("tack", 3.0), ("hardness", 45.0))]
    return fit_castings(castings_of(study, pours, pd.concat(parts, ignore_index=True)))


@pytest.mark.slow
def test_a_log_that_fails_throughout_is_no_ordinary_scatter(wet_log):
    answer = why(wet_log, "P04")
    assert fails_throughout(wet_log.castings, "P04", missed(wet_log.castings, "P04")).aim.reading == answer.case.throughout.aim.reading
    assert not answer.healthy and answer.chances["nothing"] < 0.2
    asks = "Nearly every casting of this log went this way: look at the whole log first, with why_all."
    assert asks in answer.sentence() and asks in answer._repr_html_()
    assert not {"day", "different"} & {asked.question.name for asked in answer.questions}  # the log has said that no other came out well
    assert answer.observe(day="as bad as this one").chances.equals(answer.chances)
    assert answer.observe(day="as usual").chances["cold"] < answer.chances["cold"]  # an answer that contradicts the log still counts
    assert "of the log went this way" not in answer.sentence()  # said once is enough


@pytest.mark.slow
@pytest.mark.parametrize("cause, told", [("cold_night", "keep a cup warm through its first night"), ("open_face", "lay film on the face of one cup")])
def test_what_is_said_of_a_study_agrees_with_what_its_castings_are_told(cause, told, wet_log):
    """One cause, the one that most castings are told, and one test, which only the whole log is told: a casting's own rival would ask for another."""
    stated = {"causes": {cause: {"prior": 5.0}}}
    every = why_all(wet_log, causes=stated)
    said, chances = every.sentence(), [answer.chances[cause] for answer in every.answers.values()]
    words = causes_for(wet_log.study, stated).causes[cause].words
    assert [answer.first for answer in every.answers.values()] == [cause] * 4
    assert f"Likeliest: {words} ({np.mean(chances) * 100:.0f} in 100)" in said and f"To find out, {told}:" in said
    for answer in every.answers.values():
        page = answer._repr_html_()
        assert not any(said in page for said in ("look at the study", "Likeliest:", "To tell", told, told.capitalize()))


@pytest.mark.slow
def test_what_is_noted_on_one_casting_of_a_log_that_fails_throughout_stands_for_all(wet_log):
    """Who pours from an old bottle, or counts drops, does so each time; what is asked of one casting alone says nothing of the others."""
    def noted(**notes):
        pours = wet_log.castings.pours.assign(note=[notes.get(pour, "") for pour in wet_log.castings.pours.index])
        return replace(wet_log, castings=replace(wet_log.castings, pours=pours))

    old = "observed: bottle = old, kept warm, or newly opened and untried."
    one, own = why(noted(P04=old), "P01"), why(noted(P01=old), "P01")
    assert one.chances.equals(own.chances) and one.observed == {} and one.note() == ""  # told by the log, so not noted again
    assert one.chances["old_materials"] > 2 * why(wet_log, "P01").chances["old_materials"]
    assert "bottle" not in {asked.question.name for asked in one.questions}
    assert "old or untried bottles" in one.table.loc["old resin or catalyst, or another lot", "for"]
    every = why_all(noted(P04="observed: bottle = fresh, used before with success; measured = by drops, a cap, or a coarse scale."))
    assert {answer.first for answer in every.answers.values()} == {"too_little_catalyst"} and "Likeliest: too little catalyst went in" in every.sentence()
    fresh = "observed: bottle = fresh, used before with success."
    for untold in (noted(P03=old, P04=fresh), noted(P04="observed: again = it differs; twin = it came out better.")):
        assert why(untold, "P01").chances.equals(why(wet_log, "P01").chances)
    assert why(noted(P01=fresh, P04=old), "P01").chances["old_materials"] < 0.5 * one.chances["old_materials"]  # its own note comes first


def test_what_is_noted_on_a_casting_that_came_out_well_says_nothing_of_one_that_did_not(study, castings_of):
    """Three of four wet: the dry one was made from fresh bottles."""
    names = ["P01", "P02", "P03", "P04"]
    notes = ["", "", "observed: dry = perhaps damp.", "observed: bottle = fresh, used before with success."]
    pours = pd.DataFrame({"catalyst": 1.5, "note": notes}, index=names)
    log = castings_of(study, pours, pd.DataFrame({"pour": names, "reading": "tack", "low": [3.0, 3, 3, 0], "high": [3.0, 3, 3, 0], "age": 24.0}))
    shared = fails_throughout(log, "P01", missed(log, "P01"))
    assert noted_elsewhere(log, "P01", shared) == {"dry": "perhaps damp"} and noted_elsewhere(log, "P03", shared) == {} == noted_elsewhere(log, "P01", None)


def test_of_two_aims_that_nearly_the_whole_log_misses_the_one_most_castings_miss_is_told(study, castings_of):
    """Four of four are wet, three of four soft."""
    names = ["P01", "P02", "P03", "P04"]
    parts = [pd.DataFrame({"pour": names, "reading": reading, "low": values, "high": values, "age": 24.0})
             for reading, values in (("hardness", [45.0, 45, 45, 80]), ("tack", [3.0] * 4))]
    log = castings_of(study, pd.DataFrame({"catalyst": 1.5}, index=names), pd.concat(parts, ignore_index=True))
    found = missed(log, "P01")
    assert {miss.aim.reading for miss in found} == {"tack", "hardness"}
    assert {fails_throughout(log, "P01", order).aim.reading for order in (found, found[::-1])} == {"tack"}


def test_an_own_reading_that_every_casting_misses_is_put_down_to_the_settings(castings_of):
    """Shrinkage of 2.6 % less 0.03 of the talc, at most 1.5 % asked: only 37 % of talc would do, and 30 was the most poured."""
    study = study_from({
        "factors": {"catalyst": {"from": "1 %", "to": "2 %"}, "talc": {"unit": "%", "low": 0, "high": 60, "from": 0, "to": 30, "usual": 0}},
        "readings": {"shrinkage": {"unit": "%", "low": 0, "high": 10}}, "aims": {"shrinkage": {"at_most": "1.5 %"}},
    })
    talc, names = np.array([0.0, 30, 15, 0, 30, 15]), [f"P{i}" for i in range(1, 7)]
    pours = pd.DataFrame({"catalyst": [1, 1, 1.5, 2, 2, 1.5], "talc": talc, "session": list("AAABBB")}, index=names)
    read = 2.6 - 0.03 * talc + np.array([0.02, -0.03, 0.01, -0.02, 0.03, 0.0])
    log = castings_of(study, pours, pd.DataFrame({"pour": names, "reading": "shrinkage", "low": read, "high": read}))
    answers = why_all(fit_castings(log))
    assert answers.answers["P3"].first == "nothing" and "such settings give shrinkage 2.1" in answers.answers["P3"].sentence()
    assert "Nearly every casting of this log misses its aim for shrinkage. The trade knows no cause for that" in answers.sentence()


def test_a_study_that_fails_throughout_is_told_what_most_of_its_castings_are():
    """Two castings of three are told b, though a has the higher chance on average: b comes first, a is called as likely and not next."""
    study, case = SimpleNamespace(reading=lambda name: SimpleNamespace(words=name)), SimpleNamespace
    table = SimpleNamespace(causes={name: Cause(name, f"cause {name}", 0.1, try_first=f"Try {name}") for name in ("a", "b", "c")})
    asked = [case(question=case(ask=ask, of_one=of_one)) for ask, of_one in (("Did its twin cure?", True), ("How cold was it?", False))]
    told = []
    for chances in ({"b": 0.5, "a": 0.4, "c": 0.1}, {"b": 0.5, "a": 0.4, "c": 0.1}, {"a": 0.9, "b": 0.05, "c": 0.05}):
        by = case(fits=case(study=study), table=table, throughout=case(aim=Aim("tack", at_most=1)), likely=None, signs=set())
        told.append(case(case=by, chances=pd.Series(chances), first=next(iter(chances)), openly=(), questions=asked))
    said = whole_study(told)
    assert "Cannot tell yet what was wrong. Likeliest" in said  # and the question whose answer counts for all of them goes before any test
    assert "Check next: how cold was it? A note on one casting counts for all of them. To find out, try b" in said
    assert "aim for tack," in said and "Likeliest: cause b (35 in 100); as likely over all of them, cause a (57 in 100). Check next" in said
    assert "Likeliest: cause b (50 in 100); next, cause a (40 in 100). To find out, " in whole_study(told[:2])
    assert whole_study([]) == ""


@pytest.mark.slow
@pytest.mark.parametrize("cause, told", [
    ("old_materials", "Pour a cup from fresh stock."), ("cold_night", "Keep a cup warm through its first night."),
    ("too_little_catalyst", "Pour a cup with the catalyst weighed on a fine scale."), ("read_too_early", "Read one again a day later."),
    ("cold", "Pour a cup with resin, mould and room at 20 °C."), ("too_thin", "Pour a cup half as deep again."),
    ("pigment", "Leave one cup clear, without pigment."), ("moisture", "Oven-dry a mould, let it cool and fill it."),
])
def test_what_to_try_first_where_a_log_fails_throughout_suits_the_likeliest_cause(cause, told, wet_log):
    answer = why(wet_log, "P04", causes={"causes": {cause: {"prior": 50.0}}})
    assert answer.first == cause and f"To find out, {told[0].lower()}{told[1:-1]}: if that" in whole_study([answer]) and len(answer.sentence().split()) <= 90


def test_fresh_stock_is_the_test_of_stock_alone(wet_log):
    """Whatever else the whole log suffers from has a test of its own; more or less catalyst than was planned is weighed, what was planned is changed."""
    table = causes_for(wet_log.study)
    assert {name for name, cause in table.causes.items() if cause.try_first == "Pour a cup from fresh stock"} == {"old_materials", "wrong_system"}
    answer = SimpleNamespace(case=SimpleNamespace(table=table), openly=("too_little_catalyst", "open_face"))
    first = [_tells_study(answer, name, "cold") for name in ("too_little_catalyst", "too_much_catalyst", "open_face")]
    wanted = ("pour a cup with that one setting changed", "pour a cup with the catalyst weighed on a fine scale", "lay film on the face of one cup")
    assert first == [f"To find out, {test}: if that comes out well, this was it." for test in wanted]


@pytest.mark.parametrize("line, told", [
    ({"try_first": "Pour a cup with the filler oven-dried"}, "To find out, pour a cup with the filler oven-dried: if that comes out well, this was it."),
    ({}, "To tell them apart, stand one of two cups from one mix at 25 °C"),
])
def test_a_cause_of_the_owners_own_brings_its_own_test_of_a_whole_log(line, told, wet_log):
    """Without one, a test pour that tells it from the next cause."""
    table = causes_for(wet_log.study, {"causes": {"filler": {"words": "the filler", "prior": 0.1, **line}}})
    answer = SimpleNamespace(case=SimpleNamespace(table=table), openly=())
    assert _tells_study(answer, "filler", "cold").startswith(told)


def test_a_lot_whose_castings_miss_is_told_from_lots_whose_castings_do_not(wet_log):
    castings = wet_log.castings
    pours = castings.pours.assign(catalyst_lot=["A", "A", "B", "B"])
    rows = castings.readings.copy()
    good = rows["pour"].isin(["P01", "P02"])
    for end in ("low", "high"):
        rows.loc[good, end] = np.where(rows.loc[good, "reading"] == "tack", 0.0, 85.0)
    split = replace(castings, pours=pours, readings=rows)
    table = causes_for(castings.study)
    assert "worse_lot" in signs_of(table, split, "P04", missed(split, "P04"))
    assert "worse_lot" not in signs_of(table, split, "P01", missed(split, "P01"))
    alone = replace(split, pours=pours.assign(catalyst_lot=["A", "A", "A", "B"]))  # one casting of a lot tells nothing of it
    assert "worse_lot" not in signs_of(table, alone, "P04", missed(alone, "P04"))
    both = replace(wet_log.castings, pours=pours)  # all four are wet: no lot is worse
    assert "worse_lot" not in signs_of(table, both, "P04", missed(both, "P04"))


def test_two_other_castings_and_three_in_four_make_a_log_fail_throughout(wet_log):
    """Beside P04, which is wet: one is too few, two wet are enough; two of three wet make three in four, two of four do not."""
    castings = wet_log.castings
    wet = castings.readings[(castings.readings["reading"] == "tack")]

    def throughout(*others):
        """The log with P04 and others named by what they read."""
        rows = [wet[wet["pour"] == "P04"]]
        rows += [wet[wet["pour"] == "P01"].assign(pour=f"Q{place}", low=read, high=read) for place, read in enumerate(others)]
        pours = castings.pours.loc[["P04", *["P01"] * len(others)]].set_axis(["P04", *(f"Q{place}" for place in range(len(others)))])
        log = replace(castings, pours=pours, readings=pd.concat(rows, ignore_index=True))
        return fails_throughout(log, "P04", missed(log, "P04")) is not None

    assert not throughout() and not throughout(3.0) and throughout(3.0, 3.0)
    assert throughout(3.0, 3.0, 0.0) and throughout(3.0, 3.0, 3.0, 0.0) and not throughout(3.0, 3.0, 0.0, 0.0)


DRY_AND_HARD = (Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=74.0, age=24.0))


def cold_log(castings_of, study, tack, hard, room, gel=30.0, aims=DRY_AND_HARD):
    """One casting each of a grade of tack and a hardness, at usual settings but for the room."""
    names = [f"P{place + 1:02d}" for place in range(len(tack))]
    pours = pd.DataFrame({"catalyst": 1.5, "cover": 1.0, "thickness": 10.0, "room_temperature": room}, index=names)
    parts = [pd.DataFrame({"pour": names, "reading": reading, "low": value, "high": value, "age": age})
             for reading, value, age in (("gel_time", gel, np.nan), ("tack", tack, 24.0), ("hardness", hard, 24.0))]
    return castings_of(replace(study, aims=aims), pours, pd.concat(parts, ignore_index=True))


def test_a_casting_counts_that_misses_another_aim_the_same_way(castings_of, study):
    """Six of eight castings are tacky, soft or both, four for each aim, a half; a casting that gels too fast is no slow one."""
    tack, hard = [2.0, 2, 2, 2, 0, 0, 0, 0], [70.0, 70, 80, 80, 70, 70, 80, 80]
    log = cold_log(castings_of, study, tack, hard, 12.0)
    assert {pour for pour in log.pours.index if fails_throughout(log, pour, missed(log, pour))} == {"P01", "P02", "P03", "P04", "P05", "P06"}
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("gel_time", 15.0, 45.0))
    fast = cold_log(castings_of, study, tack[:4] + [0.0] * 4, [80.0] * 8, 12.0, [30.0] * 4 + [5.0] * 4, aims)
    assert all(fails_throughout(fast, pour, missed(fast, pour)) is None for pour in fast.pours.index)


@pytest.mark.slow
def test_a_room_logged_as_too_cold_comes_before_ordinary_scatter(castings_of, study):
    """Good castings of the same cold room are no measure of what it does: 4 of 6 castings at 13 °C, which data sheets forbid, are tacky or soft."""
    log = fit_castings(cold_log(castings_of, study, [2.0, 0, 2, 0, 2, 0], [68.0, 68, 77, 77, 68, 77], 13.0))
    answers = why_all(log).answers
    assert set(answers) == {"P01", "P02", "P03", "P05"}
    for answer in answers.values():
        assert answer.case.throughout is None and answer.case.planned.of("cold") > 0.2
        assert answer.chances[["cold", "cold_night"]].sum() > answer.chances["nothing"] and "leave it as it is" not in answer.sentence()


@pytest.mark.parametrize("rooms, openly", [
    pytest.param([12.0] * 6, True, marks=pytest.mark.slow), ([12.0] * 5 + [20.0], True),
    pytest.param([19.0] * 6, False, marks=pytest.mark.slow), ([20.0] * 5 + [12.0], False),
])
def test_a_log_that_fails_throughout_in_a_room_logged_as_too_cold_is_put_down_to_that_room(rooms, openly, castings_of, study):
    """Data sheets forbid a cure below 15 °C: no cold night is wanted where six castings at 12 °C gel late, as the cold has it, and are soft."""
    log = fit_castings(cold_log(castings_of, study, [2.0, 1, 2, 1, 2, 2], [62.0, 64, 60, 66, 63, 61], rooms, gel=50.0))
    answer = why(log, "P01")
    assert answer.case.throughout.leans == "slow" and ("cold" in answer.openly) is openly
    assert (answer.chances["cold"] > 0.5) == openly
    assert ("poured in a cold room, as logged" in why_all(log).sentence()) is openly


def test_what_forbidden_settings_explain_leaves_the_others_their_shares_of_the_rest():
    """Nine in ten for the cold; of the tenth that is left the others get what they had of the rest: 0.3 and 0.1 of 0.8. Two share as before, 2 to 3."""
    planned = Planned(shares={"cold": 0.2, "too_thin": 0.3, "pigment": 0.1})
    assert planned.mostly({"cold": 0.9}).shares == pytest.approx({"cold": 0.9, "too_thin": 0.0375, "pigment": 0.0125})
    assert planned.mostly({"cold": 0.9, "too_thin": 0.8}).shares == pytest.approx({"cold": 0.36, "too_thin": 0.54, "pigment": 0.02})
    assert Planned(shares={"cold": 0.96}).mostly({"cold": 0.9}).shares == {"cold": 0.96}
    assert Planned().mostly({"cold": 0.9, "too_thin": 0.9}).shares == pytest.approx({"cold": 0.45, "too_thin": 0.45})


@pytest.mark.slow
@pytest.mark.parametrize("factor, forbidden, allowed, tack, hard, gel, cause, told", [
    ("catalyst", 0.5, 1.5, 3.0, 15.0, 70.0, "too_little_catalyst", "planned with little catalyst"),
    ("thickness", 3.0, 12.0, 2.0, 62.0, 30.0, "too_thin", "planned thin for its catalyst"),
])
def test_a_log_poured_throughout_as_the_trade_forbids_is_put_down_to_that(factor, forbidden, allowed, tack, hard, gel, cause, told, castings_of, study):
    """Six wet castings, all with half a per cent of catalyst, or all 3 mm deep: no scale and no bottle is suspected first."""
    log = cold_log(castings_of, study, [tack] * 6, hard, 20.0, gel=gel)
    found = {value: why(fit_castings(replace(log, pours=log.pours.assign(**{factor: value}))), "P01") for value in (forbidden, allowed)}
    assert cause in found[forbidden].openly and told in found[forbidden].sentence() and cause not in found[allowed].openly
    assert found[forbidden].first == cause and found[forbidden].chances[cause] > 0.5
    one = log.pours.assign(**{factor: [forbidden] + [allowed] * 5})  # the others were poured as the trade has it and failed too
    assert why(fit_castings(replace(log, pours=one)), "P01").chances[cause] < found[forbidden].chances[cause] - 0.1


@pytest.mark.parametrize("week, left", [
    ({"tack": 1.0}, False), ({"tack": 1.0, "hardness": 78.0}, True), ({"hardness": 78.0}, True), ({"hardness": 78.0, "tack": 3.0}, False),
])
def test_a_casting_dry_at_last_is_left_only_where_it_is_hard(week, left, castings_of, study):
    """Tacky at a day and of 15 Shore D; at a week dry, but nobody has pressed it again: it is not as asked yet. Nor is a hard one that stays wet."""
    log = cold_log(castings_of, study, [2.0] * 4, [15.0] * 4, 20.0)
    later = pd.DataFrame({"pour": "P01", "reading": list(week), "low": list(week.values()), "high": list(week.values()), "age": 168.0})
    log = castings_of(log.study, log.pours, pd.concat([log.readings[["pour", "reading", "low", "high", "age"]], later], ignore_index=True))
    assert bool(caught_up(log, "P01", missed(log, "P01"))) is left


HABITS = ("too_little_catalyst", "old_materials", "wrong_system", "no_wax", "open_face", "thinned", "tin_not_stirred", "read_too_early", "cold", "cold_night",
          "wet_release", "fresh_silicone")
MISHAPS = ("nothing", "reading_error", "wrong_entry", "uneven_mixing", "mould", "too_thin")


def test_what_is_done_each_time_is_likelier_behind_a_whole_log_than_what_goes_wrong_once(wet_log):
    """A bottle, a resin, a way of measuring or of reading goes with every casting; a slip, or one badly stirred pot, hardly happens to all."""
    whole = why(wet_log, "P04").weighed.table["signs"]
    table = causes_for(wet_log.study)
    alone = {name: np.prod([table.causes[name].odds.get(sign, 1.0) for sign in ("covered", "covered_too")]) for name in (*HABITS, *MISHAPS)}
    assert all(whole[name] >= 2 * alone[name] for name in HABITS) and all(whole[name] <= alone[name] / 2 for name in MISHAPS)
    assert whole["moisture"] > 1 and whole["pigment"] > 1  # one damp filler or one tin of paste may go into all, or into one


def test_readings_count_in_full_where_the_trade_judges_them(wet_log):
    """Where all fails alike there is no model of this resin to lie off; a log poured as the trade forbids lies outside the trade's own."""
    lean = replace(wet_log, castings=replace(wet_log.castings, pours=wet_log.castings.pours.assign(catalyst=0.5)))
    assert why(wet_log, "P04").case.table.readings == 1.0
    assert why(lean, "P04").case.table.readings == causes_for(wet_log.study).readings == 0.7


@pytest.mark.slow
def test_what_is_expected_of_one_casting_is_expected_of_the_whole_log(castings_of, study):
    """Six hard, dry castings of 84 Shore D where 93 are asked, more than the trade expects of any: every one misses, and none is at fault for that."""
    log = cold_log(castings_of, study, [0.0] * 6, [84.0, 83, 85, 84, 84, 83], 20.0, aims=(DRY_AND_HARD[0], replace(DRY_AND_HARD[1], at_least=93.0)))
    answer = why(fit_castings(log), "P01", {"where": "nowhere", "snap": "tough"})
    assert answer.case.throughout and answer.healthy and "such settings give hardness" in answer.sentence()
    assert "going by what the trade expects of any resin, such" in answer.sentence()  # its other castings miss it too, and say nothing of that
    assert whole_study([answer]).endswith("says which; where none reaches the aim, it is beyond this resin, so ask for less.")
    believed = fit_castings(replace(log, pours=log.pours.iloc[:0], readings=log.readings.iloc[:0]))["hardness"]
    miss = 1 - believed.chances(answer.case.seen["hardness"].rows.iloc[[0]], 93.0).mean()
    assert miss > 0.8 and answer.weighed.table.loc["nothing", "signs"] == pytest.approx(miss / 0.2)  # what 4 in 5 would miss needs no fault: over 4 to 1
    missing = why(fit_castings(cold_log(castings_of, study, [0.0] * 6, [50.0] * 6, 20.0)), "P01")
    assert not missing.case.planned.expected and missing.weighed.table.loc["nothing", "signs"] == pytest.approx(0.2)


@pytest.mark.slow
def test_the_aim_that_most_castings_miss_is_the_one_told_of_the_study(castings_of, study):
    """All four gel in 8 min where 40 to 60 are asked; all are softer than is wished, which has no upper end, three are tacky."""
    aims = (Aim("tack", at_most=0.0, age=24.0), Aim("hardness", at_least=86.0, age=24.0), Aim("gel_time", 40.0, 60.0))
    log = fit_castings(cold_log(castings_of, study, [1.0, 1, 1, 0], 80.0, 28.0, 8.0, aims))
    for pour in log.castings.pours.index:
        answer = why(log, pour)
        assert answer.case.throughout.aim.reading == answer.missed[0].aim.reading == "gel_time"
        assert answer.sentence().startswith(f"{pour}: gel time") and "slow_throughout" not in answer.case.signs
    assert "misses its aim for gel time, so look at the study first" in why_all(log).sentence()


def some_dry(castings, dry, **settings):
    """The castings with other settings, a list each, of which some came out hard and dry."""
    rows = castings.readings.copy()
    for reading, well in (("tack", 0.0), ("hardness", 85.0)):
        rows.loc[rows["pour"].isin(dry) & (rows["reading"] == reading), ["low", "high"]] = well
    return replace(castings, pours=castings.pours.assign(**settings), readings=rows)


@pytest.mark.parametrize("pigment, dry, shows", [([0.0, 1.0, 1.0, 1.0], [], True), ([1.0] * 4, [], False), ([0.0, 1.0, 1.0, 1.0], ["P01"], False)])
def test_clear_castings_that_fail_too_clear_the_pigment(pigment, dry, shows, wet_log):
    """Where the whole log is wet, a clear casting that is wet as well says that the pigment is not behind it."""
    log = some_dry(wet_log.castings, dry, pigment=pigment)
    assert ("clear_too" in signs_of(causes_for(log.study), log, "P04", missed(log, "P04"))) is shows


@pytest.mark.parametrize("cover, dry, shows", [([0.0, 1.0, 0.0, 0.0], [], True), ([0.0] * 4, [], False), ([0.0, 1.0, 0.0, 0.0], ["P02"], False)])
def test_covered_castings_that_fail_too_clear_the_air(cover, dry, shows, wet_log):
    """Where the whole log is wet, a casting under film that is wet as well says that no open face is behind it, waxed or not."""
    log, table = some_dry(wet_log.castings, dry, cover=cover), causes_for(wet_log.study)
    assert ("covered_too" in signs_of(table, log, "P04", missed(log, "P04"))) is shows
    assert {name for name, cause in table.causes.items() if cause.odds.get("covered_too", 1.0) < 1} == {"open_face", "no_wax"}


@pytest.mark.parametrize("ends, told", [((4.0, 8.0), True), ((None, 8.0), False), ((4.0, None), False)])
def test_an_aim_with_two_ends_says_what_the_resin_is_like(ends, told, study, castings_of):
    """Gel of 4 to 8 min is asked and 15 min was read, in every casting; the trade alone, 10 min and more mostly.

    An aim with one end may be a wish: the trade's expectation then stays as it is.
    """
    names = ["P01", "P02", "P03"]
    only = replace(study, readings=(study.reading("gel_time"),), aims=(Aim("gel_time", *ends),))
    pours = pd.DataFrame({"catalyst": 1.6, "cover": 1.0, "thickness": 10.0, "room_temperature": 20.0}, index=names)
    log = castings_of(only, pours, pd.DataFrame({"pour": names, "reading": "gel_time", "low": 14.0, "high": 16.0, "age": np.nan}))
    expected = np.exp(predictions(fit_castings(log), "P03", trade=True)["gel_time"].usual[:, 0])
    share = np.mean((expected > 3.0) & (expected < 10.0))
    assert (share > 0.6, share < 0.3) == (told, not told)


@pytest.mark.slow
def test_one_mistyped_number_among_repeats_is_a_slip_and_not_poor_mixing(beside, usual):
    """Three readings of hardness at a day, one of them 35 where the others agree: the one is suspect."""
    fits = beside({}, {k: np.round(v) for k, v in usual.items()})
    rows = fits.castings.readings
    hardness = rows[(rows["pour"] == "X1") & (rows["reading"] == "hardness")]
    more = [hardness.assign(low=value, high=value) for value in (float(hardness["low"].iloc[0]), 30.0)]
    castings = replace(fits.castings, readings=pd.concat([rows, *more], ignore_index=True))
    answer = why(replace(fits, castings=castings), "X1")
    assert answer.missed and answer.chances["reading_error"] > answer.chances["uneven_mixing"]
    assert "the one of 30" in answer.case.likely.suspect("reading_error")


def test_what_the_readings_have_said_already_weighs_nothing(beside, usual):
    """Slow, but hard and dry by its readings: that it is soft nowhere is no news, that it is soft in patches is."""
    slow = beside({}, {**{k: np.round(v) for k, v in usual.items()}, "gel_time": 3 * usual["gel_time"]})
    answer = why(slow, "X1")
    assert answer.case.settled == HARD and answer.missed
    assert answer.observe(where="nowhere").chances.to_dict() == pytest.approx(answer.chances.to_dict())
    assert answer.observe(where="in patches").chances["uneven_mixing"] > 2 * answer.chances["uneven_mixing"]
    assert not {"where", "scrape", "cup", "snap"} & {asked.question.name for asked in answer.questions}


ANSWERS = [
    {}, {"where": "open face only"}, {"where": "mould side only", "mould": "rubber or silicone"}, {"where": "thin parts and edges"},
    {"where": "in patches"}, {"clear": "clear cures better"}, {"looks": "cloudy", "dry": "perhaps damp"}, {"felt": "colder"},
    {"where": "throughout", "measured": "by drops, a cap, or a coarse scale"}, {"different": "another drum, bottle or lot"},
]


def test_the_weightiest_evidence_there_is_room_for_is_told_and_told_once(beside, monkeypatch):
    answer = why(beside({}, {"tack": 3.0}), "X1", {"where": "open face only"})
    assert any(piece.words == "tacky on the open face only" for piece in answer.evidence["open_face"])
    pieces = [(2, f"For it: {'long ' * 60}."), (2, "For it: short."), (2, "For it: other."), (3, "Also: short.")]
    monkeypatch.setattr(verdict, "_extras", lambda answer, behind: iter(pieces))
    told = verdict._short(answer)[2]
    assert "For it: short." in told and not {"For it: other.", "Also: short."} & set(told)
    monkeypatch.setattr(verdict, "_extras", lambda answer, behind: iter(pieces[:1] + pieces[3:]))
    assert "Also: short." not in verdict._short(answer)[2]  # beside what?


@pytest.mark.parametrize("observed", [*ANSWERS[:3], *(pytest.param(one, marks=pytest.mark.slow) for one in ANSWERS[3:])])
def test_before_the_fold_stand_at_most_ninety_words(observed, beside):
    answer = why(beside({}, {"tack": 3.0}), "X1", observed)
    before = answer._repr_html_().split("<details>")[0]
    words = re.sub(r"<[^>]*>", " ", before).split()
    cause = answer.case.table.causes[answer.first]
    said = answer.sentence()
    assert len(said.split()) <= 90 and said.count("(") == said.count(")") and not re.search(r"\([^)]*\(", said)
    assert "against it by" not in answer._repr_html_() and ") (" not in answer._repr_html_()
    assert 20 < len(words) <= 90, f"{len(words)}: {' '.join(words)}"
    assert cause.care[1:] in before.replace("&#x27;", "'") and "<meter" in before and "((" not in before
    shown = [int(value) for value in re.findall(r'value="(\d+)"', before)]
    assert all(value >= 5 for value in shown) and shown == sorted(shown, reverse=True)


@pytest.mark.slow
def test_the_moulds_depth_is_never_the_saving_and_age_is_never_made_up_with_catalyst(beside):
    fits = beside({"catalyst": 0.6, "cover": 0.0}, {"tack": 3.0})
    assert len(why(fits, "X1").saving.table) and "depth" not in " ".join(why(fits, "X1").saving.table.index)
    old = why(fits, "X1", {"bottle": "old, kept warm, or newly opened and untried", "day": "as bad as this one",
                           "where": "throughout", "different": "another drum, bottle or lot"}, causes={"causes": {"old_materials": {"prior": 500.0}}})
    assert old.first == "old_materials" and "catalyst" not in old.saving.table.index
    assert "catalyst" in why(fits, "X1").saving.table.index


def weighed_as(answer, **chances):
    """An answer with these chances, what is left shared out evenly."""
    rest = [name for name in answer.chances.index if name not in chances]
    shares = chances | dict.fromkeys(rest, (1 - sum(chances.values())) / len(rest))
    return replace(answer, weighed=replace(answer.weighed, table=answer.weighed.table.reindex(list(shares)).assign(chance=list(shares.values()), alone=1.0)))


@pytest.mark.slow
def test_both_missed_aims_and_what_to_do_next_time_stand_beside_a_long_caution(beside):
    """A remedy of 17 words and a caution of 24 beside both aims, 88 in all by hand, since the cause has but 7 and the second aim 4."""
    answer = weighed_as(why(beside({}, {"gel_time": 51.0, "hardness": 55.0}), "X1"), old_materials=0.69)
    assert ". Also missed: gel time. Likeliest" in answer.sentence()
    assert "Next time: swap one bottle at a time against fresh stock; date each" in answer.sentence()
    hot = weighed_as(why(beside({"thickness": 35.0, "catalyst": 2.2}, {"defects": 3.0}), "X1"), too_hot=0.8)
    assert "Next time: pour in layers" in hot.sentence()
    assert all(len(one.sentence().split()) <= 90 for one in (answer, hot))


def test_what_the_cause_says_is_not_its_own_evidence(beside):
    """"Its face was left open, as logged. For it: the face was left open" says one thing twice."""
    said = why(beside({"cover": 0.0}, {"tack": 3.0}), "X1", {"where": "open face only"}).sentence()
    assert "Likeliest: its face was left open, as logged" in said and "For it: tacky on the open face only." in said
    assert "the face was left open" not in said


@pytest.mark.slow
def test_every_missed_aim_is_told_within_ninety_words_whatever_the_cause(beside):
    """Five aims are missed: one is told with its reading, the other four by name."""
    answer = why(beside({}, {"gel_time": 51.0, "hardness": 55.0, "tack": 3.0, "peak_temperature": 140.0, "defects": 3.0}), "X1")
    for cause in answer.chances.index:
        said = weighed_as(answer, **{cause: 0.7}).sentence()
        assert "Also missed: hardness, defects, peak temperature and gel time." in said and len(said.split()) <= 90


def test_the_weightiest_of_what_was_seen_is_told_in_a_few_words(beside):
    """A damp casting: cloudy is 16 to 1 and comes first; a cold night comes before the cup that goes with it."""
    readings = {"tack": 2.0, "hardness": 55.0}
    damp = why(beside({}, readings), "X1", {"where": "throughout", "looks": "cloudy", "dry": "perhaps damp"})
    night = why(beside({}, readings), "X1", {"where": "throughout", "night": "much colder, or nobody knows", "cup": "soft all over", "again": "it agrees",
                                             "clock": "at the age in the log"}, causes={"causes": {"cold_night": {"prior": 50.0}}})
    assert damp.first == "moisture" and "For it: cloudy." in damp.sentence()
    assert night.first == "cold_night" and "For it: much colder overnight, or not known." in night.sentence()
    own = causes_for(damp.case.fits.study, {"questions": {"dry": {"answers": ["bone dry", "wet"]}}, "causes": {"uneven_mixing": {"now": "Look at it"}}})
    assert own.questions["dry"].said == ("bone dry", "wet") and own.causes["uneven_mixing"].at_once(0.3) == "Look at it"
    assert "? " not in damp.table["for"].to_string() and all(len(one.sentence().split()) <= 90 for one in (damp, night))


def test_two_faults_that_meet_are_both_told_within_ninety_words(beside):
    """The face was left open, as logged, and something else slowed the gel: both guesses, and the film that is sure to help."""
    both = why(beside({"cover": 0.0}, {"gel_time": 52.0, "tack": 3.0, "hardness": 50.0}), "X1")
    answer = weighed_as(both, old_materials=0.35, too_little_catalyst=0.31)
    object.__setattr__(answer, "by_settings", (("tack", "open_face"),))
    said = answer.sentence()
    assert "Cannot tell yet what was wrong." in said and "old resin or catalyst, or another lot (35 in 100)" in said
    assert "then too little catalyst went in (31 in 100)" in said and "Its tack has its own cause: its face was left open, as logged." in said
    assert "Next time: lay a polyester film on the face or close the mould." in said and len(said.split()) <= 90


def as_pair(answer, **chances):
    """An answer whose two causes with these chances fit best together."""
    one = weighed_as(answer, **chances)
    pair = pd.Series([0.9], pd.MultiIndex.from_tuples([tuple(chances)]))
    return replace(one, weighed=replace(one.weighed, table=one.weighed.table.assign(alone=0.0), pairs=pair))


@pytest.mark.parametrize("chances, told", [
    ({"wrong_system": 0.51, "wrong_entry": 0.45}, "compare the log with the sheet and the label on it, and correct what differs"),
    ({"wrong_system": 0.71, "too_little_catalyst": 0.25}, "read it again a day later before it is scraped out; do not build on it."),
    ({"too_little_catalyst": 0.32, "read_too_early": 0.25}, "read it again a day later, and a week after mixing, before anything is done about it."),
    ({"old_materials": 0.43, "read_too_early": 0.40}, "read it again a day later, and a week after mixing, before anything is done about it."),
    ({"too_hot": 0.45, "too_little_catalyst": 0.15}, "once it is cold, look it over for cracks before it carries anything."),
    ({"uneven_mixing": 0.5, "too_thin": 0.4}, "warm it only once it has gelled and cooled."),
])
def test_of_two_causes_together_the_gentler_says_what_to_do_with_the_casting(chances, told, beside):
    """Nobody is told to scrape it out and to correct the log, or to warm it and to leave it: of two orders the one that can be undone stands."""
    answer = as_pair(why(beside({}, {"tack": 3.0}), "X1"), **chances)
    causes, page = answer.case.table.causes, f"{answer.sentence()} {' '.join(answer.table.loc[[named(answer, name) for name in chances], 'remedy'])}"
    assert f"This casting: {told}" in page
    assert page.count(told.removesuffix(".")[1:]) == 3  # in the answer, and beside each of the two in the table
    assert not any(causes[name].now[1:] in page for name in chances if causes[name].meanwhile)


HELD = "Check both against the bench sheet and correct the one that is wrong."
CHECKS = (
    f"A peak of 17 °C is below the room it was poured in, 18.4 °C, which cannot be: resin warms as it cures. {HELD}",
    "Catalyst 9 % is above 4 %. So much peroxide may stop the resin from curing, and the heat may start a fire. Stay at or below 4 %.",
)
MANY = {"gel_time": 51.0, "hardness": 55.0, "tack": 3.0, "peak_temperature": 140.0, "defects": 3.0}


@pytest.mark.slow
@pytest.mark.parametrize("readings, age, check, throughout", [
    ({"tack": 3.0}, 24.0, "", False), (MANY, 24.0, CHECKS[0], True), (MANY, 6.0, " ".join(CHECKS), False), ({"gel_time": 20.0}, 24.0, CHECKS[1], False),
])
def test_whatever_meets_in_one_answer_it_has_at_most_ninety_words(readings, age, check, throughout, beside):
    """Every cause alone, likely or a guess, and every two together: the miss, the causes, what to do and a caution; beside a wrong entry it may lack room."""
    answer = why(beside({"cover": 0.0}, readings, age=age), "X1")
    shared = next(iter(answer.missed), None) if throughout else None
    answer = replace(answer, case=replace(answer.case, refused=check, throughout=shared))
    causes = answer.case.table.causes
    able = [name for name in causes if name != "nothing" and not causes[name].one_of]
    every = [weighed_as(answer, **{name: chance}) for name in causes for chance in (0.7, 0.35, 0.2)]
    every += [as_pair(answer, **{one: 0.46, other: 0.46}) for place, one in enumerate(able) for other in able[place + 1 :]]
    for one in every:
        said, (miss, bars, _) = one.sentence(), verdict._short(one)
        assert max(len(said.split()), len(re.sub("<[^>]*>", " ", verdict.short_page(one)).split())) <= 90, said
        behind = one.together or (one.first,)
        assert miss.startswith("X1") and [words for words, _ in bars[: len(behind)]] == [in_days(named(one, name)) for name in behind], said
        assert ("Check its entry" in said) == bool(check), said
        if not verdict.unsure(one):
            assert "This casting: " in said, said
            assert "wrong_entry" in behind or re.split(r"[.;] ", causes[behind[0]].care)[0][1:] in said, said


def test_the_saving_of_a_pour_that_ran_too_hot_is_its_remedy(beside):
    """Poured in layers, or up to a third less catalyst: of 2.2 % no less than 1.47 %, of 1.2 % no less than 1 %."""
    for poured, least in ((2.2, 1.466), (1.2, 1.0)):
        hot = weighed_as(why(beside({"thickness": 35.0, "catalyst": poured, "room_temperature": 24.0}, {"defects": 3.0}), "X1"), too_hot=0.8)
        table = hot.saving.table
        assert least <= float(table.loc["catalyst", "to"].removesuffix(" %")) and float(table.loc["thickness", "to"].removesuffix(" mm")) < 35
        assert "poured in layers of " in table.loc["thickness", "says"] and "instead of 35 mm at once" in table.loc["thickness", "says"]


def test_a_cause_states_which_settings_are_never_named_as_saving_a_casting(beside):
    """Nobody makes up for an old bottle with more catalyst, and of a wrong reading no setting is to blame."""
    slow = why(beside({"catalyst": 1.0}, {"tack": 3.0}), "X1")
    assert "catalyst" in weighed_as(slow, cold=0.8).saving.table.index and "catalyst" not in weighed_as(slow, old_materials=0.8).saving.table.index
    for name in ("reading_error", "wrong_entry", "read_too_early", "wrong_system", "wet_release", "fresh_silicone", "layers", "light"):
        assert weighed_as(slow, **{name: 0.8}).saving.sentence().startswith("Its settings are most likely not to blame"), name


def test_an_early_reading_is_told_once(beside):
    """Beside any other cause; its own has said so already."""
    early = why(beside({}, {"tack": 2.0, "hardness": 60.0}, age=6.0), "X1")
    for name, told in (("read_too_early", False), ("cold", True)):
        assert ("It was read at 6 h: " in weighed_as(early, **{name: 0.6}).sentence()) == told, name


@pytest.mark.parametrize(("poured", "less"), [(2.2, True), (1.2, True), (1.0, False), (0.4, False)])
def test_a_casting_that_ran_too_hot_on_little_catalyst_is_not_told_to_change_it(poured, less, beside):
    """Up to a third less of 1.2 % is 1 % at least; of 1 % and less none is to spare, and 0.4 % is not to be raised: layers and cold are left."""
    hot = weighed_as(why(beside({"thickness": 35.0, "catalyst": poured, "room_temperature": 24.0}, {"defects": 3.0}), "X1"), too_hot=0.9)
    said = hot.sentence().split("Next time: ")[1].split(" Mind: ")[0]
    assert ("use up to a third less catalyst but no less than 1 %" in said) == less == ("catalyst" in said)
    assert "in layers" in said and "low-heat casting resin" in said


@pytest.mark.parametrize(("slow", "then"), [
    ("too_little_catalyst", "plan more catalyst, within what the resin's data sheet allows"),
    ("cold", "warm the resin and the mould to 18 to 25 °C before mixing"),
])
def test_a_casting_that_ran_hot_and_gelled_slowly_has_one_order(slow, then, beside):
    """Cool the room, and plan more catalyst, stood in one breath; thinner pours of more catalyst met both aims."""
    hot = weighed_as(why(beside({"thickness": 35.0, "catalyst": 1.0}, {"defects": 3.0}), "X1"), too_hot=0.9)
    object.__setattr__(hot, "by_settings", (("gel time", slow),))
    assert from_now_on(hot, ("too_hot",)) == {
        "too_hot": f"Pour it thinner or in layers first, which keeps it cool; only then {then}, since in a deep pour that runs hotter", slow: ""}
    said = hot.sentence().split("Next time: ")[1].split(" Mind: ")[0]
    assert said.startswith("pour it thinner or in layers first, which keeps it cool") and "cool the room" not in said
    assert from_now_on(hot, ()) == {slow: hot.case.table.causes[slow].afterwards(True)}  # a guess at heat orders nothing


def test_heating_is_only_advised_once_gelled():
    from testpour.causes.cause_file import trade_causes

    causes = trade_causes()["causes"]
    heated = [c for name, c in causes.items() if "warm" in c["now"].casefold() and name not in ("mould", "cold_night")]
    assert len(heated) > 3 and all("once it has gelled and cooled" in c["now"].casefold() for c in heated)
    assert all(c.get("care") for c in heated)


@pytest.mark.slow
def test_a_reading_before_the_age_of_its_aim_is_said_to_be_early_and_first(beside):
    """Tack and hardness at 6 h, where the aims speak of 24 h."""
    early = beside({}, {"tack": 2.0, "hardness": 60.0}, age=6.0)
    answer = why(early, "X1")
    assert answer.first == "read_too_early" and "read it again at 24 h" in answer.sentence()
    sure = why(early, "X1", {"where": "open face only", "scrape": "hard beneath", "cup": "cured all over", "again": "it agrees"},
               causes={"causes": {"open_face": {"prior": 50.0}}})
    assert sure.first == "open_face" and "It was read at 6 h: read it again at 24 h first." in sure.sentence()
    due = why(beside({}, {"tack": 2.0, "hardness": 60.0}), "X1")
    assert due.chances["read_too_early"] < 0.2 and "It was read at" not in due.sentence()


@pytest.mark.slow
def test_a_casting_not_read_yet_is_told_when_it_can_be_judged(beside, usual):
    waits = why(beside({}, {"gel_time": np.round(usual["gel_time"])}), "X1").sentence()
    assert "misses no aim that was read so far: read its tack and hardness at 24 h" in waits
    assert "so far" not in why(beside({}, {k: np.round(v) for k, v in usual.items()}), "X1").sentence()


@pytest.mark.slow
def test_twins_of_the_demo_get_the_same_answer_and_a_casting_that_misses_nothing_is_healthy(demo_study, tmp_path):
    """P11 and P14 were poured alike and peaked at 120 and 122 °C, where at most 110 is asked; P12 misses no aim."""
    book = Logbook(replace(demo_study, folder=tmp_path))
    with pytest.warns(Caution, match="P10: A peak of 146 °C"):
        book.add_sheet(DEMO)
    fits = fit_castings(book.castings())
    book.close()
    first, second, healthy = (why(fits, pour) for pour in ("P11", "P14", "P12"))
    assert first.first == second.first == "too_hot" and first.chances["too_hot"] > 2 * first.chances.iloc[1]
    assert healthy.healthy and not healthy.missed
    every = why_all(fits)
    assert "P12" not in every.answers and every.table["likeliest"]["P11"] == every.table["likeliest"]["P14"]
    for pour, answer in every.answers.items():
        assert every.table.loc[pour, "likeliest"] in answer.sentence() and len(answer.sentence().split()) <= 90
