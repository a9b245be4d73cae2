"""Castings as a workshop meets them; what an experienced caster would say of each is common practice, no source."""

from dataclasses import replace
from math import log, nan
from types import SimpleNamespace

import pandas as pd
import pytest

import testpour as tp
from testpour.causes.case import _gains, _hardened, expected_miss
from testpour.causes.cause_file import causes_for, trade_causes
from testpour.causes.complaint import Missed, missed
from testpour.causes.diagnosis import why
from testpour.causes.evidence import _planned_words
from testpour.causes.leave_one_out import predictions
from testpour.causes.questions import cheapest_test
from testpour.causes.signs import planned, signs_of, untimely
from testpour.causes.table import Cause
from testpour.causes.verdict import _fitting
from testpour.causes.whole_log import (
    day_was_good,
    fails_throughout,
    good_beyond,
    ordinary,
    worse_groups,
    worse_than_others,
)
from testpour.causes.why_all import bad_lot, why_all
from testpour.common.problems import Problem
from testpour.logbook.known import doubts
from testpour.models.fits import fit_castings
from testpour.study.study import Aim
from testpour.study.study_file import study_from

USUAL = {
    "catalyst": [1.5, 1.2, 1.8, 1.5, 1.6, 1.4], "thickness": [10.0] * 6, "cover": [1.0] * 6, "room_temperature": [20.0, 19, 21, 20, 22, 20],
}
MIDDLE = {"catalyst": 1.5, "thickness": 10.0, "cover": 1.0, "room_temperature": 20.0}  # of a further casting
GEL, TACK, HARD = [25.0, 33, 19, 27, 20, 29], [0.0, 1, 0, 0, 0, 1], [78.0, 74, 81, 77, 82, 75]


@pytest.fixture(scope="module")
def cast(study, castings_of):
    """A maker of castings: settings (dict of columns), then gel time, tack and hardness of each pour."""

    def make(settings, gel, tack, hard, session=None, aims=None, age=24.0):
        names = [f"P{place + 1:02d}" for place in range(len(gel))]
        rows = [
            {"pour": pour, "reading": reading, "low": value, "high": value, "age": nan if reading == "gel_time" else age}
            for reading, values in (("gel_time", gel), ("tack", tack), ("hardness", hard))
            for pour, value in zip(names, values, strict=True)
        ]
        asked = study if aims is None else replace(study, aims=aims)
        pours = pd.DataFrame({**settings, "session": session or "S1"}, index=names)
        return castings_of(asked, pours, pd.DataFrame(rows))

    return make


@pytest.fixture(scope="module")
def log_of(cast):
    """The same, fitted."""
    return lambda *given, **named: fit_castings(cast(*given, **named))


@pytest.mark.parametrize("reading, above, leans", [
    ("gel_time", True, "slow"), ("gel_time", False, "fast"), ("hardness", False, "slow"), ("hardness", True, ""),
    ("peak_temperature", True, "fast"), ("peak_temperature", False, "slow"), ("tack", True, "slow"), ("defects", True, ""),
])
def test_which_way_a_cure_went_follows_from_the_side_on_which_an_aim_is_missed(reading, above, leans):
    assert Missed(Aim(reading), "", nan, above).leans == leans


def test_a_log_that_gels_too_fast_throughout_is_not_short_of_catalyst(log_of):
    fast = log_of({"catalyst": [2.0, 2.1, 1.9, 2.0], "thickness": 10.0, "cover": 1.0, "room_temperature": 24.0}, [9.0, 8, 10, 9],
                  [0.0] * 4, [80.0] * 4, aims=(Aim("gel_time", 15.0, 45.0),))
    answer, every = why(fast, "P01"), why_all(fast)
    assert {"fast_throughout", "throughout"} <= answer.case.signs and "slow_throughout" not in answer.case.signs
    assert answer.first in ("too_much_catalyst", "too_hot") and answer.chances["too_little_catalyst"] < 0.1
    assert "too much catalyst" in every.sentence() or "too hot" in every.sentence()


def test_nothing_that_ran_too_hot_is_poured_deeper_to_find_out(study):
    table = causes_for(study)
    tests = [test for test in table.tests.values() if "too_hot" in test.tells]
    assert tests and all("never deeper" in test.words for test in tests)
    assert cheapest_test(table, "too_hot", "cold").words.endswith("half as deep, never deeper")


@pytest.fixture(scope="module")
def bad_day(log_of):
    """Six good castings of one day, then four of another, from the same bottles, slow, soft and tacky."""
    settings = {name: [*values, *values[:4]] for name, values in USUAL.items()}
    days = ["S1"] * 6 + ["S2"] * 4
    return log_of(settings, [*GEL, 50.0, 66, 55, 60], [*TACK, 2.0, 2, 2, 2], [*HARD, 59.0, 52, 55, 54], session=days,
                  aims=(Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=70.0, age=24.0), Aim("gel_time", 15.0, 45.0)))


@pytest.mark.slow
def test_a_bad_day_does_not_excuse_its_own_castings(bad_day):
    assert [worse_than_others(bad_day.castings, "session", pour) for pour in ("P01", "P07", "P10")] == [False, True, True]
    every = why_all(bad_day)
    assert list(every.answers) == ["P07", "P08", "P09", "P10"]
    for answer in every.answers.values():
        assert answer.chances["nothing"] < 0.1 and "leave it as it is" not in answer.sentence()
        assert "day" not in [asked.question.name for asked in answer.questions]  # the log has said so


@pytest.fixture(scope="module")
def bad_bottle(log_of):
    """Two days from a dud bottle, ten castings, on the second day four more from a new one: the new as usual, the old slow, soft and tacky."""
    settings = {name: [*values, *values[:4], *values[:4]] for name, values in USUAL.items()}
    settings |= {"catalyst_lot": ["old"] * 10 + ["new"] * 4}
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=70.0, age=24.0), Aim("gel_time", 15.0, 45.0))
    return log_of(settings, [2.5 * gel for gel in (*GEL, *GEL[:4])] + GEL[:4], [2.0, 3, 2, 2, 2, 3, 2, 3, 2, 2, *TACK[:4]],
                  [hard - 15 for hard in (*HARD, *HARD[:4])] + HARD[:4], session=["S1"] * 6 + ["S2"] * 8, aims=aims)


@pytest.mark.slow
def test_a_dud_bottle_from_which_most_castings_were_poured_is_found(bad_bottle):
    """What is expected is what the new bottle gives, not what its own sisters read; P01 of the old is P11 of the new over again."""
    every = why_all(bad_bottle)
    assert list(every.answers) == [f"P{place:02d}" for place in range(1, 11)]
    for answer in every.answers.values():
        assert answer.first == "old_materials" and answer.chances["nothing"] < 0.05
        assert "another lot, most likely catalyst lot old (" in answer.sentence()
        assert answer.case.seen["gel_time"].expected()[1] < 50 < answer.case.seen["gel_time"].rows["low"].iloc[0] + 5
    assert every.sentence() == (
        "10 of 14 castings need explaining. Of catalyst lot old, 10 of 10 castings miss an aim, of other lots none of 4: look at that lot first. Swap one "
        "bottle at a time against fresh stock; date each drum and bottle on opening. To find out, pour a cup from fresh stock: if that comes out well, "
        "this was it. Mind: never add extra catalyst to make up for age, nor mix bottles; old peroxide is hazardous waste. Heat away from flame and food."
    )


@pytest.mark.slow
@pytest.mark.parametrize("share, named", [(0.19, False), (0.21, True)])
def test_a_lot_is_named_for_all_castings_only_where_it_is_told_of_them(share, named, bad_bottle):
    """That most castings which miss an aim are of one lot is not enough: it must be worth a fifth of them."""
    told = {}
    for pour, answer in why_all(bad_bottle).answers.items():
        chances = pd.Series(0.0, answer.chances.index)
        chances[["old_materials", "cold"]] = share, 1.0 - share
        told[pour] = SimpleNamespace(case=answer.case, missed=answer.missed, pour=pour, chances=chances, openly=())
    assert ("look at that lot first" in bad_lot(told)) is named


@pytest.mark.slow
def test_a_day_is_not_blamed_for_the_bottle_that_was_used_on_it(bad_bottle):
    """The first day is no worse than the second but for its bottle. Where bottle and day are one, either may be it; a bottle
    read only once, or whose castings are good, is not."""
    log = bad_bottle.castings
    assert worse_than_others(log, "session", "P01") and worse_groups(log, "P01") == {"catalyst_lot": "old"} and worse_groups(log, "P11") == {}
    one = replace(log, pours=log.pours.assign(session=["S1"] * 10 + ["S2"] * 4))
    assert worse_groups(one, "P01") == {"session": "S1", "catalyst_lot": "old"}
    good = log.readings[log.readings["pour"] == "P11"]
    for many, told in [(1, {"catalyst_lot": "old"}), (2, {"session": "S1", "catalyst_lot": "old"})]:  # of three of it on the other day one is good, or two
        well = [f"P{place:02d}" for place in range(8, 8 + many)]
        readings = pd.concat([log.readings[~log.readings["pour"].isin(well)], *(good.assign(pour=pour) for pour in well)], ignore_index=True)
        mixed = replace(log, pours=log.pours.assign(session=["S1"] * 7 + ["S2"] * 7), readings=readings)
        assert worse_groups(mixed, "P01") == told
    unread = replace(log, readings=log.readings[~log.readings["pour"].isin([f"P{place:02d}" for place in range(2, 11)])])
    assert worse_groups(unread, "P01") == {}
    alone = replace(log, pours=log.pours.assign(catalyst_lot="old"))
    assert worse_groups(alone, "P07") == {} and why_all(replace(bad_bottle, castings=alone)).sentence().count("look at that lot") == 0


@pytest.mark.parametrize("good, worse", [(0, True), (1, True), (2, False), (4, False)])
def test_a_day_is_bad_where_two_castings_in_three_or_more_miss_an_aim(good, worse, cast):
    """Of three castings of that day one good is a third, two are more; the other day's six are good."""
    settings = {"catalyst": 1.5, "thickness": [10.0] * 9, "cover": 1.0, "room_temperature": 20.0}
    tack = [*TACK, *([0.0] * good + [3.0] * 3)[:3]]
    log = cast(settings, [25.0] * 9, tack, [80.0] * 9, session=["S1"] * 6 + ["S2"] * 3, aims=(Aim("tack", at_most=1.0, age=24.0),))
    assert worse_than_others(log, "session", "P09") is worse and not worse_than_others(log, "session", "P01")


def test_what_was_planned_with_little_catalyst_is_not_weighed_again(log_of):
    one = MIDDLE | {"catalyst": 0.6}
    settings = {name: [*values, one[name]] for name, values in USUAL.items()}
    answer = why(log_of(settings, [*GEL, 70.0], [*TACK, 2.0], [*HARD, 55.0]), "P07")
    assert answer.openly == ("too_little_catalyst",) and answer.first == "too_little_catalyst"
    said, test = answer.sentence(), cheapest_test(answer.case.table, answer.first, "nothing", answer.openly)
    assert "Next time: plan more catalyst, within what the resin's data sheet allows." in said and "finer scale" not in said
    assert answer.table.index[0] == "it was planned with little catalyst" and "Plan more catalyst" in answer.table["remedy"].iloc[0]
    assert "with that one setting changed" in test.words


@pytest.mark.slow
def test_a_hard_dry_casting_that_gelled_late_is_left_and_not_heated(log_of):
    """A gel of 70 min where 45 is asked, from 0.8 % catalyst: by the next day it was dry and 76 Shore D."""
    settings = {name: [*values, (MIDDLE | {"catalyst": 0.8})[name]] for name, values in USUAL.items()}
    aims = (Aim("gel_time", 15.0, 45.0), Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=70.0, age=24.0))
    answer = why(log_of(settings, [*GEL, 70.0], [*TACK, 0.0], [*HARD, 76.0], aims=aims), "P07")
    assert answer.first == "too_little_catalyst" and "This casting: leave it, since it is hard and dry." in answer.sentence()


def test_a_digit_lost_in_typing_is_a_wrong_reading(beside, usual):
    """78 typed as 7, and as 17."""
    for typed in (7.0, 17.0):
        answer = why(beside({}, {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": typed}), "X1")
        assert answer.first == "reading_error" and answer.chances["nothing"] < 0.05


@pytest.mark.slow
@pytest.mark.parametrize("slip", [{"gel_time": 192.0}, {"peak_temperature": 172.0}])
def test_a_reading_nobody_can_repeat_is_compared_with_the_bench_sheet(slip, beside, usual):
    """A gel time of 192 for 19.2 min, a peak of 172 °F logged in °C: both are over. A hardness of 8 can be read again."""
    good = {**{name: usual[name] for name in ("gel_time", "peak_temperature", "hardness")}, "tack": 0.0}
    past, still = (why(beside({}, {**good, **one}), "X1") for one in (slip, {"hardness": 8.0}))
    table, said = past.case.table, [past.sentence(), past.table["remedy"].iloc[0], past.case.table.question("again").ask]
    assert past.first == still.first == "reading_error" and not any("ead it again and" in text or "second reading" in text for text in said)
    assert "This casting: compare the log with the bench sheet, the clock's taps or the thermometer's trace" in said[0]
    assert cheapest_test(table, "reading_error", "too_thin").name == "sheet" and cheapest_test(table, "read_too_early", "too_thin").name == "read_again"
    assert "This casting: read it again and correct the log" in still.sentence() and "second reading" in still.case.table.question("again").ask


def test_ordinary_scatter_is_no_answer_to_a_missed_aim_unless_it_is_well_ahead(log_of):
    one = log_of({"catalyst": [1.5], "thickness": 10.0, "cover": 1.0, "room_temperature": 20.0}, [25.0], [2.0], [60.0])
    said = why(one, "P01", causes={"causes": {"nothing": {"prior": 0.3}}}).sentence()
    assert "Also missed: hardness. Cannot tell yet what was wrong. Likeliest: nothing wrong" in said and "Check next: " in said
    assert "leave it as it is" not in said and "hange nothing" not in said
    sure = why(one, "P01", causes={"causes": {"nothing": {"prior": 9.0}}}).sentence()
    assert "This casting: leave it as it is. Next time: change nothing" in sure
    assert why_all(one).sentence().startswith("1 of 1 casting needs explaining. P01, likeliest: ")


@pytest.mark.parametrize("chances, orders", [
    ([0.29, 0.10], False), ([0.31, 0.25], True), ([0.45, 0.41], False), ([0.45, 0.39], True),
])
def test_on_a_guess_or_a_tie_nobody_is_told_what_to_do(chances, orders, beside):
    """Under 30 in 100, or a rival within 5 of it: that it cannot be told comes first, then what to look at and what was never read."""
    tacky = why(beside({}, {"tack": 2.0}), "X1")
    rest = [name for name in tacky.chances.index if name not in ("too_little_catalyst", "old_materials")]
    shares = {"too_little_catalyst": chances[0], "old_materials": chances[1], **dict.fromkeys(rest, (1 - sum(chances)) / len(rest))}
    weighed = replace(tacky.weighed, table=tacky.weighed.table.reindex(list(shares)).assign(chance=list(shares.values()), alone=1.0))
    said = replace(tacky, weighed=weighed).sentence()
    assert ("(slightly tacky). Cannot tell yet what was wrong. Likeliest: too little catalyst went in" in said) is not orders
    assert ("This casting: wait, and read it again a day later before it is heated." in said) is orders
    assert orders or ("Check next: " in said and "Read its hardness too." in said)
    assert ("Next time: " not in said or orders) and len(said.split()) <= 90


@pytest.mark.parametrize("chance, said", [
    (0.36, "This casting: read it again a day later before anything is cut out or coated."),
    (0.49, "This casting: read it again a day later before anything is cut out or coated."),
    (0.51, "This casting: cut out or overcoat the wet patches."),
])
def test_nothing_that_cannot_be_undone_is_ordered_on_less_than_half_the_chance(chance, said, beside):
    """36 in 100 for poor mixing, 25 for reading it too early: a casting that only needs another day is not cut about."""
    tacky = why(beside({}, {"tack": 2.0}), "X1")
    rest = [name for name in tacky.chances.index if name not in ("uneven_mixing", "read_too_early")]
    shares = {"uneven_mixing": chance, "read_too_early": 0.25, **dict.fromkeys(rest, (0.75 - chance) / len(rest))}
    weighed = replace(tacky.weighed, table=tacky.weighed.table.reindex(list(shares)).assign(chance=list(shares.values()), alone=1.0))
    answer = replace(tacky, weighed=weighed)
    assert said in answer.sentence() and said.split(".")[0].split(": ")[1].casefold() in answer.table["remedy"].iloc[0].casefold()


@pytest.mark.slow
def test_that_no_aim_is_missed_says_little_of_what_was_not_read_or_is_refused_or_far_out(beside, usual):
    good = {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": usual["hardness"]}
    sound, unread, refused = (why(beside(*given), "X1") for given in (({}, good), ({}, {}), ({"catalyst": 8.0}, good)))
    assert sound.first == "nothing" and not sound.case.odd and "Next time: change nothing" in sound.sentence()
    assert unread.sentence().startswith("Nothing was read on X1 yet") and unread.sentence() in unread._repr_html_()
    assert "Likeliest" in unread.observe(looks="cracks").sentence()
    assert "Check its entry: catalyst 8 % is above 4 %" in refused.sentence() and "hange nothing" not in refused.sentence()
    wish = beside({}, {**good, "hardness": 40.0})  # far out, and no aim asks for it
    wish = replace(wish, castings=replace(wish.castings, study=replace(wish.study, aims=(Aim("tack", at_most=1.0, age=24.0),))))
    answer = why(wish, "X1")
    assert not answer.missed and answer.case.odd and answer.chances["nothing"] < 0.5 and "X1" in why_all(wish).answers


def test_a_casting_hottest_before_it_gelled_is_not_called_sound(beside, usual):
    """Gel 19.2 min, hottest at 14 min: resin gels first, so one of the two is wrong."""
    good = {"gel_time": 19.2, "tack": 0.0, "hardness": usual["hardness"]}
    answer, sound = (why(beside({}, {**good, "time_to_peak": peak}), "X1") for peak in (14.0, 41.0))
    said = answer.sentence()
    assert not answer.missed and {*answer.chances.index[:2]} == {"reading_error", "wrong_entry"}
    assert "Check its entry: time to peak 14 min is before gel time 19.2 min, which cannot be" in said
    assert "hange nothing" not in said and said.count("bench sheet") == 1
    assert "untimely" not in sound.case.signs and sound.first == "nothing"


def test_a_casting_whose_peak_lies_below_its_room_is_not_called_sound(beside, usual):
    """Hottest at 16 °C in a room of 20 °C: resin warms as it cures."""
    good = {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": usual["hardness"]}
    answer = why(beside({}, {**good, "peak_temperature": 16.0}), "X1")
    assert not answer.missed and answer.first == "reading_error" and answer.chances["nothing"] < 0.01
    assert "Check its entry: a peak of 16 °C is below the room it was poured in, 20 °C, which cannot be" in answer.sentence()


def test_a_peak_that_may_have_been_read_in_degrees_fahrenheit_is_not_one_that_cannot_be(beside):
    """A deep casting may pass 145 °C, where styrene boils: entering it is warned about, but it stands."""
    for peak, warned, refused in ((160.0, "If the thermometer showed °F", ""), (16.0, "is below the room", "is below the room")):
        castings = beside({}, {"peak_temperature": peak}).castings
        read = list(castings.readings[castings.readings["pour"] == "X1"].itertuples())
        assert warned in " ".join(doubts(castings.study, read, 20.0)) and refused in (said := untimely(castings, "X1")) and bool(said) is bool(refused)


def test_a_face_that_the_log_says_was_covered_is_not_the_first_to_be_blamed(beside):
    tacky = beside({}, {"tack": 2.0})
    with_it, without = (why(tacky, "X1", causes=causes) for causes in ({}, {"causes": {"open_face": {"odds": {"covered": 1.0}}}}))
    assert "covered" in with_it.case.signs and with_it.chances["open_face"] < 0.6 * without.chances["open_face"]
    seen = why(tacky, "X1", {"where": "open face only"})
    assert seen.first == "open_face"  # the film may have lifted


@pytest.mark.parametrize("looks, cause", [("yellow or pink", ("light", "too_hot", "too_much_catalyst")), ("a line where it parts", ("layers",))])
def test_what_was_seen_decides_what_spoilt_the_look(looks, cause, beside, usual):
    spoilt = beside({}, {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": usual["hardness"], "defects": 2.0})
    assert why(spoilt, "X1", {"looks": looks}).first in cause


def test_what_is_not_due_yet_says_nothing_of_the_study(log_of):
    """Hardness is asked at a week and was read after a day: five castings of six are below it, and all may get there."""
    early = log_of(USUAL, GEL, TACK, HARD, aims=(Aim("hardness", at_least=80.0, age=168.0),))
    found = missed(early.castings, "P06")
    assert found and fails_throughout(early.castings, "P06", found) is None
    answer = why(early, "P06")
    assert answer.first == "read_too_early" and " at 7 days." in answer.sentence()
    assert "Read it again at 168 h" in answer.table["remedy"].iloc[0]
    assert "168 h" not in answer._repr_html_() and "Read it again at 7 days" in answer._repr_html_().partition("More")[2]


def read_twice(make, *later):
    """Seven castings read at a day and a week, harder by 3 Shore D by then; the last one soft and tacky at a day, and `later` at a week."""
    settings = {name: [*values, MIDDLE[name]] for name, values in USUAL.items()}
    log = make(settings, [*GEL, 25.0], [*TACK, 2.0], [*HARD, 66.0], aims=(Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=72.0, age=24.0)))
    hard = log.readings[log.readings["reading"] == "hardness"]
    more = [hard[hard["pour"] == "P07"].assign(low=value, high=value) for value in (67.0, 65.0)]
    week = [hard.iloc[:6].assign(age=168.0, low=hard["low"] + 3, high=hard["high"] + 3)]
    week += [hard[hard["pour"] == "P07"].assign(age=168.0, low=value, high=value) for value in later]
    return fit_castings(replace(log, readings=pd.concat([log.readings, *more, *week], ignore_index=True)))


@pytest.mark.slow
def test_what_was_read_a_week_later_tells_a_cure_put_off_from_one_that_failed(cast):
    """Soft at a day in all three places. Hard at a week it was only late, not misread. Soft still, time was not what it lacked."""
    late, soft = (why(read_twice(cast, *week), "P07") for week in ((81.0, 80.0, 82.0), (68.0, 67.0, 69.0)))
    assert late.chances[["read_too_early", "cold_night"]].sum() > 0.5 and late.chances["reading_error"] < 0.2
    assert soft.chances[["read_too_early", "cold_night"]].sum() < 0.1 and soft.first != "reading_error"
    assert "This casting: leave it, since its hardness at 7 days, 80 to 82 Shore D, is as asked." in late.sentence()
    halfway = why(read_twice(cast, 69.5, 69.5), "P07")  # 66 on average at a day, 72 asked
    assert [one.case.settled["later"] for one in (late, soft, halfway)] == ["it hardened", "it stayed as it was", "it hardened"]
    assert late.observe(later="it hardened").chances.equals(late.chances) and not any(q.question.name == "later" for q in late.questions)
    assert "read it again" not in late.sentence() and "Leave it:" not in soft.table["remedy"].to_string()
    assert "This casting: Leave it, since its hardness at" in late.table.loc["the catalyst was not mixed in evenly", "remedy"]  # nothing is cut out of it


@pytest.mark.slow
def test_unmixed_patches_do_not_harden_in_a_week(cast):
    """Soft at a day and hard at a week, each read once: it went on hardening, so that is not asked, and it was late."""
    log = read_twice(cast, 80.0)
    rows = log.castings.readings
    once = fit_castings(replace(log.castings, readings=rows[~rows["low"].isin([67.0, 65.0])].replace({"low": {66.0: 62.0}, "high": {66.0: 62.0}})))
    answer = why(once, "P07")
    assert answer.chances["uneven_mixing"] < 0.05 and answer.chances[["read_too_early", "cold_night", "cold"]].sum() > 0.7
    assert "later" not in {asked.question.name for asked in answer.questions}
    assert answer.observe(later="it stayed as it was").chances["uneven_mixing"] > 3 * answer.chances["uneven_mixing"]


@pytest.mark.slow
@pytest.mark.parametrize("read, slip", [(7.0, True), (0.0, False), (40.0, False)])
def test_of_two_digits_one_may_have_been_left_out(read, slip, cast):
    """Hardness alone is read, 74 to 82 Shore D: a 7 is a 7x with its last digit left out; a 0, or a 40, is no such thing."""
    log = one_more(cast, 25.0, 0.0, read)
    answer = why(fit_castings(replace(log, readings=log.readings[log.readings["reading"] == "hardness"])), "P07")
    assert (answer.first == "reading_error") is slip and (answer.chances["reading_error"] > 0.5) == slip


@pytest.mark.slow
@pytest.mark.parametrize("week, slip", [(8.0, True), (30.0, True), (83.0, False)])
def test_what_lies_far_out_on_a_casting_that_misses_no_aim_is_what_wants_explaining(week, slip, cast):
    """Hard at a day; a hardness of 8 or 30 at a week is a slip, since no casting goes soft, and 83 is what a week brings."""
    log = read_twice(cast, week).castings
    rows = log.readings[~((log.readings["pour"] == "P07") & log.readings["low"].isin([67.0, 65.0]))]
    answer = why(fit_castings(replace(log, readings=rows.replace({"low": {66.0: 78.0, 2.0: 0.0}, "high": {66.0: 78.0, 2.0: 0.0}}))), "P07")
    assert not answer.missed and answer.first == ("reading_error" if slip else "nothing") and answer.chances.iloc[0] > 0.9


def test_a_casting_read_long_after_its_age_was_not_read_too_early(cast, study):
    table = causes_for(study)
    for age, late in ((40.0, False), (48.0, True), (720.0, True)):
        found = cast(USUAL, GEL, [*TACK[:5], 2.0], [*HARD[:5], 60.0], age=age, aims=(Aim("tack", at_most=1.0, age=24.0),))
        assert ("late" in signs_of(table, found, "P06", missed(found, "P06"))) is late
    assert table.causes["read_too_early"].odds["late"] == 0


def one_more(make, gel, tack, hard, session="S1", lots=None, more=(), **settings):
    """The six usual castings, one more at other settings, and whatever is in `more`: (settings, gel, tack, hardness)."""
    added = [({}, *one) if not isinstance(one[0], dict) else one for one in ((settings, gel, tack, hard), *more)]
    table = {name: [*values, *(one[0].get(name, MIDDLE[name]) for one in added)] for name, values in USUAL.items()}
    table |= {"resin_lot": ["D1"] * 6 + [lots or "D1"] * len(added)}
    columns = ([*usual, *(one[place] for one in added)] for place, usual in ((1, GEL), (2, TACK), (3, HARD)))
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=70.0, age=24.0))
    return make(table, *columns, session=["S1"] * 6 + [session] * len(added), aims=aims)


@pytest.mark.parametrize("session, lots, more, good", [
    ("S1", "D1", (), True), ("S2", "D1", (), False), ("S1", "D2", (), False), ("S2", "D1", [({}, 25.0, 0.0, 78.0)], False),
    ("S2", "D1", [({}, 25.0, 0.0, 78.0)] * 2, True), ("S2", "D1", [({}, 25.0, 0.0, 78.0)] * 2 + [({}, 25.0, 3.0, 50.0)], False),
])
def test_a_day_was_good_where_two_others_of_it_and_its_lots_came_out_well_and_hardly_one_did_not(session, lots, more, good, cast):
    """One good casting beside it is too few; two of three are two in three, no more."""
    assert day_was_good(one_more(cast, 50.0, 2.0, 60.0, session, lots, more), "P07") is good


@pytest.mark.slow
def test_good_castings_of_the_day_and_the_lots_clear_the_bottles_without_being_asked(cast):
    answer = why(fit_castings(one_more(cast, 50.0, 2.0, 60.0)), "P07")
    assert "day" not in {asked.question.name for asked in answer.questions}
    assert answer.chances.to_dict() == pytest.approx(answer.observe(day="as usual").chances.to_dict())
    other = answer.observe(day="as bad as this one")  # somebody saw mixes that are not in the log
    assert answer.chances["old_materials"] < 0.2 * other.chances["old_materials"]
    assert any("other mixes came out as usual" in piece.words for piece in answer.evidence["old_materials"])


def test_a_fault_beside_what_the_settings_explain_is_named_with_it(cast):
    """An open face keeps it tacky and does not double a gel time, which no aim asks about here."""
    answer = why(fit_castings(one_more(cast, 55.0, 3.0, 64.0, cover=0.0)), "P07")
    said, slow = answer.sentence(), answer.chances[["too_little_catalyst", "cold", "old_materials", "moisture", "pigment", "tin_not_stirred"]]
    assert "its face was left open, as logged" in said.lower() and slow.sum() > 0.4
    assert any(answer.case.table.causes[name].words in said for name in slow.index)


def test_an_answer_ends_as_its_question_does():
    assert _fitting("Check next: what else do you see?", 9) == "Check next: what else do you see?"
    assert _fitting("one; two words more.", 2) == "one."


@pytest.mark.parametrize("swap", [True, False])
def test_readings_of_two_castings_of_a_day_put_to_each_other_are_a_mix_up_of_labels(swap, cast):
    """A mix of 2 % at 26 °C gels in minutes, one of 1 % at 16 °C in most of an hour."""
    slow, fast = (60.0, 1.0, 74.0), (13.0, 0.0, 82.0)
    one, two = (fast, slow) if swap else (slow, fast)
    log = one_more(cast, *one, "S2", more=[({"catalyst": 2.0, "room_temperature": 26.0}, *two)], catalyst=1.0, room_temperature=16.0)
    fits = fit_castings(log)
    for pour in ("P07", "P08"):
        answer = why(fits, pour)
        assert ("swapped" in answer.case.signs) is swap and (answer.first == "wrong_entry") is swap


@pytest.mark.slow
@pytest.mark.parametrize("swap, one_at, other_at", [(True, 1.1, 2.1), (False, 1.1, 2.1), (True, 1.5, 1.5)])
def test_castings_that_differ_in_catalyst_alone_show_a_mix_up_together(swap, one_at, other_at, cast):
    """1.1 % gels in 35 min, 2.1 % in 16: put to each other, one by itself is no hundred times the likelier, both together
    are thousands of times. Of two alike nothing shows."""
    slow, fast = (35.0, 1.0, 74.0), (16.5, 0.0, 82.0)
    one, two = (fast, slow) if swap else (slow, fast)
    fits = fit_castings(one_more(cast, *one, "S2", more=[({"catalyst": other_at}, *two)], catalyst=one_at))
    mixed_up = swap and one_at != other_at
    gains = [_gains(predictions(fits, pour), fits.castings.pours.loc[[other]])[0] for pour, other in (("P07", "P08"), ("P08", "P07"))]
    assert ("swapped" in why(fits, "P07").case.signs) is mixed_up
    assert not mixed_up or min(gains) < log(100.0) < log(1000.0) < sum(gains)


@pytest.mark.parametrize("sides, beyond", [({"room_temperature": "above"}, True), ({"room_temperature": "above", "catalyst": "above"}, True),
                                           ({"room_temperature": "below", "catalyst": "below"}, False), ({"moon": "above", "catalyst": "below"}, True)])
def test_a_good_casting_at_more_says_that_less_was_not_too_much(sides, beyond, cast):
    """P07 with 1.3 % at 19.5 °C: P03 was good with 1.8 % at 21 °C, P02 with 1.2 % at 19 °C, P06 with 1.4 % at 20 °C; P02 is made bad here."""
    log = one_more(cast, 25.0, 2.0, 60.0, catalyst=1.3, room_temperature=19.5)
    wet = replace(log, readings=log.readings.assign(low=log.readings["low"].mask((log.readings["pour"] == "P02") & (log.readings["reading"] == "tack"), 3.0),
                                                    high=log.readings["high"].mask((log.readings["pour"] == "P02") & (log.readings["reading"] == "tack"), 3.0)))
    assert good_beyond(log if "moon" in sides else wet, "P07", sides) is beyond


@pytest.mark.slow
def test_what_good_castings_stood_is_not_the_first_to_be_blamed(cast):
    """P07 gels fast at 10 mm and 20 °C, P08 slowly; P03 was good with more catalyst at 21 °C, P02 with less at 19 °C."""
    fits = fit_castings(one_more(cast, 13.0, 0.0, 78.0, more=[({}, 50.0, 2.0, 64.0)]))
    for pour, cause, sign, seen, other in (("P07", "too_hot", "good_hotter", {"felt": "as warm"}, {"felt": "warmer"}),
                                           ("P08", "too_thin", "good_cooler", {}, {"where": "thin parts and edges"})):
        with_it, without = (why(fits, pour, causes=causes) for causes in ({}, {"causes": {cause: {"odds": {sign: 1.0}}}}))
        assert sign in with_it.case.signs
        assert bool(with_it.chances[cause] < without.chances[cause]) is (cause == "too_thin")  # heat that was not felt may be there
        assert with_it.observe(**seen).chances[cause] < 0.6 * without.observe(**seen).chances[cause]
        assert with_it.observe(**other).chances[cause] == pytest.approx(without.observe(**other).chances[cause])


@pytest.mark.parametrize("depth, catalyst, room, hot", [
    (8.0, 1.5, 20.0, False), (15.0, 1.5, 20.0, True), (8.0, 2.5, 28.0, True), (5.0, 2.5, 20.0, False), (nan, 1.5, 20.0, True),
])
def test_a_shallow_pour_is_not_thought_to_have_run_hot_by_itself(depth, catalyst, room, hot, cast):
    """The slab followed through time (`cure_many`) peaks at 39, 126, 133 and 31 °C; a depth nobody wrote down says nothing."""
    log = one_more(cast, 13.0, 0.0, 78.0, thickness=depth, catalyst=catalyst, room_temperature=room)
    assert ({"shallow", "shallow_as_warm"} <= signs_of(causes_for(log.study), log, "P07")) is not hot


def test_a_shallow_pour_that_gelled_fast_was_warmer_than_its_room_or_not_too_hot(cast):
    """Gel in 13 min where 25 is usual, 8 mm deep: told to have been warmer, it may as well have been."""
    fits = fit_castings(one_more(cast, 13.0, 0.0, 78.0, thickness=8.0))
    held, free = (why(fits, "P07", causes=causes) for causes in ({}, {"causes": {"too_hot": {"odds": {"shallow": 1.0, "shallow_as_warm": 1.0}}}}))
    told = ({}, {"felt": "as warm"}, {"felt": "warmer"})
    with_it, without = ([one.observe(**seen).weighed.table.loc["too_hot", "signs"] for seen in told] for one in (held, free))
    ratios = [one / other for one, other in zip(with_it, without, strict=True)]
    assert ratios == pytest.approx([0.5, 0.2, 0.5]) and held.chances["too_hot"] < 0.7 * free.chances["too_hot"]


@pytest.mark.slow
def test_a_setting_of_many_good_castings_is_neither_little_nor_much(cast):
    """Depths of 6, 6, 10, 10, 14 and 18 mm were good: a third of them at 6 mm or less, so 6 mm is not thin, 5 mm is."""
    log = one_more(cast, 25.0, 2.0, 72.0)
    for depth, thin in ((5.0, True), (6.0, False), (10.0, False)):
        castings = replace(log, pours=log.pours.assign(thickness=[6.0, 6, 10, 10, 14, 18, depth]))
        assert ordinary(castings, "P07", "thickness", "below") is not thin
        parts = planned(causes_for(castings.study), fit_castings(castings), "P07", missed(castings, "P07")[0], castings.pours.iloc[[4, 5]])
        assert bool(parts.of("too_thin") > 0) is thin


def test_a_cold_mould_slows_the_gel_and_the_peak_a_little(beside, usual):
    """A fifth more gel time, a third more to the peak and a peak 12 °C lower fit a mould that takes heat at least as well as no fault does."""
    slow = {"gel_time": 1.2 * usual["gel_time"], "time_to_peak": 1.35 * usual["time_to_peak"], "peak_temperature": usual["peak_temperature"] - 12}
    answer = why(beside({}, {**slow, "tack": 2.0, "hardness": usual["hardness"] - 10}), "X1")
    each = answer.case.likely.each.loc["mould"] - answer.case.likely.each.loc["nothing"]
    assert (each[["gel_time", "time_to_peak", "peak_temperature"]] > 0).all()


def test_settings_that_seldom_bring_a_miss_about_explain_little_of_one(cast):
    """8 mm instead of 10: it misses tack 16 times in 100 where its neighbours do 11 times, a third of them by its depth; below one time in five
    only as large a share of that counts, (0.16 - 0.11) / 0.2."""
    fits = fit_castings(one_more(cast, 60.0, 2.0, 60.0, thickness=8.0))
    parts = planned(causes_for(fits.study), fits, "P07", next(m for m in missed(fits.castings, "P07") if m.aim.reading == "tack"))
    assert parts.here < 0.2 and parts.whole == pytest.approx((parts.here - parts.there) / 0.2, abs=0.01)


@pytest.mark.parametrize("cause", ["old_materials", "pigment"])
def test_a_gel_that_alone_is_late_may_be_more_inhibitor(cause, beside, usual):
    """Three times the usual gel time and cured as ever: what holds up the start alone fits better than a room so cold, which would cost peak and hardness."""
    late = {"gel_time": 3.0 * usual["gel_time"], **{name: usual[name] for name in ("peak_temperature", "tack", "hardness")}}
    each = why(beside({}, late), "X1").case.likely.each.sum(axis=1)
    assert each[cause] > each["cold"] + 0.5 and each["cold"] > each["too_little_catalyst"]


@pytest.mark.parametrize("cause", ["mould", "fresh_silicone", "wet_release"])
def test_a_face_against_the_mould_may_be_as_wet_as_an_open_one(cause, beside, usual):
    """Hard beneath and wet to the touch: which face it is, the grade cannot tell."""
    each = why(beside({}, {"tack": 3.0, **{name: usual[name] for name in ("gel_time", "peak_temperature", "hardness")}}), "X1").case.likely.each["tack"]
    assert each[cause] > each["open_face"] - 0.7 and each[cause] > each["nothing"] + 2


def test_a_peak_far_below_the_usual_wants_explaining_beside_a_missed_hardness(beside, usual):
    """A little too soft, which scatter might do, and never above 25 °C where 74 °C is usual, which no aim asks about and scatter does not."""
    soft = {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": 74.0}
    wish = beside({}, {**soft, "peak_temperature": 25.0})
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=75.0, age=24.0))
    answer = why(replace(wish, castings=replace(wish.castings, study=replace(wish.study, aims=aims))), "X1")
    assert set(answer.chances.index[:2]) == {"too_thin", "mould"} and answer.chances["nothing"] < 0.05  # either took its heat


def test_the_numbers_of_another_casting_may_have_its_peak_and_its_opacity(beside, usual):
    """A clear casting of 7 mm peaks 34 °C below one of 10 mm with pigment: one chance in a hundred or more, on each
    reading's own scale, that a casting mixed up with it reads so."""
    other = {"gel_time": usual["gel_time"], "tack": 0.0, "hardness": usual["hardness"], "peak_temperature": 40.0, "opacity": 0.0}
    likely = why(beside({}, other), "X1").case.likely.by_size.loc["wrong_entry"]
    assert likely["peak_temperature"].max() > log(0.01) and likely["opacity"].max() > log(0.01)


def test_the_mould_side_alone_tacky_says_that_a_logged_open_face_was_not_what_did_it(cast):
    """Three of nine castings left open, all tacky: where only the mould side is tacky, the air at the open one is the less likely half."""
    open_face = MIDDLE | {"cover": 0.0}
    settings = {name: [*values, *[open_face[name]] * 3] for name, values in USUAL.items()}
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("hardness", at_least=70.0, age=24.0))
    fits = fit_castings(cast(settings, [*GEL, 25.0, 23, 26], [*TACK, 3.0, 2, 3], [*HARD, 76.0, 77, 75], session=["S1"] * 6 + ["S2"] * 3, aims=aims))
    answer = why(fits, "P09")
    told = answer.observe(where="mould side only")
    assert answer.chances["open_face"] > 0.7 and told.chances["open_face"] < 0.5
    rubber = told.observe(mould="rubber or silicone").chances
    assert rubber[["mould", "fresh_silicone", "wet_release"]].sum() > max(0.4, rubber["open_face"])


SAME = (47, 71.5, 66.5)


@pytest.mark.parametrize("one, other, shows", [(SAME, SAME, True), (SAME, (47, 71.5, 67), False), ((47, 71.5, 71.5), (47, 71.5, 71.5), False)])
def test_the_very_readings_of_another_casting_are_no_chance(one, other, shows, study, castings_of):
    """Gel time and hardness twice, to the half: three different numbers that agree were copied; two may be chance."""
    moments = [("gel_time", nan), ("hardness", 24.0), ("hardness", 168.0)]
    rows = [(pour, *moment, value) for pour, numbers in (("P01", one), ("P02", other)) for moment, value in zip(moments, numbers, strict=True)]
    readings = pd.DataFrame(rows, columns=["pour", "reading", "age", "low"]).assign(known="exact")
    castings = castings_of(study, pd.DataFrame({"catalyst": [1.5, 2.0]}, index=["P01", "P02"]), readings.assign(high=readings["low"]))
    assert ("copied" in signs_of(causes_for(study), castings, "P02", missed(castings, "P02"))) is shows


def test_a_lot_that_was_not_written_down_is_not_the_only_pour_from_its_lot(cast, study):
    for lot, alone in (("D2", True), ("", False), (None, False), (nan, False)):
        castings = cast({**USUAL, "resin_lot": [*["D1"] * 5, lot]}, GEL, [*TACK[:5], 2.0], HARD)
        assert ("new_lot" in signs_of(causes_for(study), castings, "P06", missed(castings, "P06"))) is alone


def test_where_no_casting_is_good_the_comparison_is_with_the_usual_settings(log_of):
    bad = log_of({"catalyst": 0.8, "thickness": 10.0, "cover": [0.0, 0.0], "room_temperature": 20.0}, [60.0] * 2, [3.0] * 2, [50.0] * 2)
    table, miss = causes_for(bad.study), missed(bad.castings, "P01")[0]
    parts = planned(table, bad, "P01", miss)
    assert not parts.neighbours and parts.of("open_face") > 0.05
    weighed = SimpleNamespace(table=pd.DataFrame({"before": 0.5, "prior": 0.1, "signs": 1.0}, ["open_face"]))
    told = {whose: _planned_words(replace(parts, neighbours=whose), "open_face", miss, weighed)[0].words for whose in (2, 1, 0)}
    assert "at those of the good castings most like it" in told[2] and "at those of the good casting most like it" in told[1]
    assert "at the usual settings" in told[0]


def test_a_miss_that_the_other_castings_lead_one_to_expect_is_put_to_the_setting_and_not_to_scatter(cast):
    """Six warm castings of 80 to 84 Shore D, six at 17 °C of 73 to 77, where 76 is asked: the cool corner of a plan, whose good castings are as cool."""
    settings = {"catalyst": 1.5, "thickness": 10.0, "cover": 1.0, "room_temperature": [22.0, 23, 24, 21, 22, 23, *[17.0] * 6]}
    gel, tack, hard = [21.0, 20, 19, 23, 21, 20, 31, 32, 31, 31, 32, 31], [0.0] * 12, [82.0, 81, 84, 80, 82, 81, 77, 76, 76, 73, 74, 74]
    answer = why(fit_castings(cast(settings, gel, tack, hard, aims=(Aim("hardness", at_least=76.0, age=24.0),))), "P12")
    said = answer.sentence()
    assert answer.first == "nothing" and not answer.case.planned.foremost and "ordinary scatter" not in said
    assert "nothing wrong but its settings, above all room temperature 17 °C" in said and "Next time: plan other settings" in said
    assert "That was to be expected: going by the other castings, such settings give hardness 75" in said
    met = replace(answer.missed[0], aim=Aim("hardness", at_least=75.0, age=24.0))
    assert expected_miss(answer.case.seen, answer.missed[0]).startswith("hardness 75") and expected_miss(answer.case.seen, met) == ""


def test_another_missed_aim_with_a_cause_of_its_own_is_told(log_of):
    """Open to the air, which keeps its face wet, and poured at 12 °C, which slows its gel."""
    one = MIDDLE | {"cover": 0.0, "room_temperature": 12.0}
    settings = {name: [*values, one[name]] for name, values in USUAL.items()}
    settings["cover"][4], settings["room_temperature"][1] = 0.0, 14.0
    aims = (Aim("tack", at_most=1.0, age=24.0), Aim("gel_time", 15.0, 45.0))
    answer = why(log_of(settings, [25.0, 44, 19, 27, 20, 29, 80], [0.0, 1, 0, 0, 3, 1, 3], [*HARD, 70.0], aims=aims), "P07")
    assert answer.by_settings == (("gel time", "cold"),)
    if answer.first == "open_face":
        own = "Its gel time has its own cause: it was poured in a cold room, as logged."
        assert own in answer.sentence() or "; then room, resin or mould was too cold" in answer.sentence()


BLOCKS = pd.DataFrame(  # of a boatyard: catalyst, depth, room; gel, peak and defects as read. P02's peak is °F in a column of °C
    [(1.0, 12.7, 18.9, 30.0, 87.8, 0), (0.25, 12.7, 18.9, 105.0, 141.0, 0), (0.25, 38.1, 18.9, 110.0, 77.2, 1), (1.0, 12.7, 21.1, 29.0, 83.9, 0),
     (0.25, 38.1, 21.1, 101.0, 115.6, 2), (0.25, 12.7, 21.1, 144.0, 52.2, 0), (0.6, 25.4, 20.0, 42.0, 114.4, 2), (1.0, 38.1, 20.0, 25.0, 198.3, 3),
     (0.6, 38.1, 20.0, 45.0, 155.0, 3)],
    index=[f"P{place:02d}" for place in range(1, 10)], columns=["catalyst", "thickness", "room_temperature", "gel_time", "peak_temperature", "defects"],
)


def test_a_casting_whose_own_peak_is_above_its_aim_is_not_called_too_cold(castings_of):
    """A block read at 155 °C, where 93 is asked, and spoilt: one slip elsewhere in the log had made it cooler than expected."""
    asked = study_from({
        "factors": {"catalyst": {"from": "0.25 %", "to": "1 %"}, "thickness": {"from": "12.7 mm", "to": "50.8 mm"}, "room_temperature": {}},
        "readings": {"gel_time": {}, "peak_temperature": {}, "defects": {}},
        "aims": {"gel_time": {"at_least": "20 min", "at_most": "120 min"}, "peak_temperature": {"at_most": "200 degF"},
                 "defects": {"at_most": 1, "age": "24 h"}},
    })
    read = [pd.DataFrame({"pour": BLOCKS.index, "reading": name, "low": BLOCKS[name], "high": BLOCKS[name], "age": 24.0 if name == "defects" else nan})
            for name in ("gel_time", "peak_temperature", "defects")]
    pours = BLOCKS[["catalyst", "thickness", "room_temperature"]].assign(session=["S1"] * 3 + ["S2"] * 3 + ["S3"] * 3)
    fits = fit_castings(castings_of(asked, pours, pd.concat(read, ignore_index=True)))
    spoilt, slip = why(fits, "P09"), why(fits, "P02")
    assert {"ran_hot", "ran_hot_and_failed"} <= spoilt.case.signs and spoilt.first == "too_hot"
    assert spoilt.chances["cold"] < 0.05 and "arm the resin" not in spoilt.sentence() and "too cold" not in spoilt.sentence()
    assert "ran_hot" in slip.case.signs and "ran_hot_and_failed" not in slip.case.signs  # its peak alone is above: it may be a slip
    assert "ran_hot" not in why(fits, "P06").case.signs


def test_answers_that_name_no_question_are_refused_in_words(beside):
    tacky = beside({}, {"tack": 2.0})
    with pytest.raises(Problem, match=r'why takes names with their values: why\(observed={"where": "open face only"}\)'):
        tp.why(tacky, "X1", "open face only")
    with pytest.raises(Problem, match=r"set it aside with skip\('where'\)"):
        why(tacky, "X1", {"where": "don't know"})
    with pytest.raises(KeyError, match="No question 'nonsense'; there are looks"):
        why(tacky, "X1").skip("nonsense")


def test_words_of_a_cause_for_what_was_planned_stand_only_where_they_differ():
    cause = Cause("a", "a", 0.1, next_time="Weigh it", next_time_openly="Plan it")
    assert (cause.afterwards(True), cause.afterwards(False), replace(cause, next_time_openly="").afterwards(True)) == ("Plan it", "Weigh it", "Weigh it")
    openly = {name for name, stated in trade_causes()["causes"].items() if "next_time_openly" in stated}
    assert openly == {"nothing", "too_little_catalyst", "too_much_catalyst"}


@pytest.mark.parametrize(
    "said, cause", [({"clock": "earlier, or nobody noted it"}, "read_too_early"), ({"night": "much colder, or nobody knows"}, "cold_night")]
)
def test_a_casting_read_hours_too_early_or_kept_cold_may_be_far_softer_than_it_will_be(said, cause, beside, usual):
    """45 Shore D and tacky where 79 and dry are usual, gel and peak as ever: common practice, no source for how soft. It was 0.38 and 0.25."""
    found = why(beside({}, usual | {"hardness": 45.0, "tack": 2.0}), "X1", said)
    assert found.first == cause and found.chances[cause] > 0.5


def test_a_pour_that_ran_too_hot_may_show_nothing_but_its_peak(beside, usual):
    """Gel and peak in 0.6 of the usual time, 120 °C, the resin warmer than the room, and no crack to see: it was 0.64."""
    times = {name: 0.6 * usual[name] for name in ("gel_time", "time_to_peak")}
    found = why(beside({}, usual | times | {"peak_temperature": 120.0}), "X1", {"looks": "nothing else", "felt": "warmer"})
    assert found.first == "too_hot" and found.chances["too_hot"] > 0.75


def test_a_bad_lot_is_told_by_how_many_of_its_castings_that_were_read_miss_an_aim(cast):
    """Of lot old four of five were read and three are wet, of lot new five of six were read and all are good."""
    lots = ["old"] * 5 + ["new"] * 6
    log = cast({"catalyst": [1.5] * 11, "catalyst_lot": lots}, [25.0] * 11, [3.0, 3, 3, 0, 0] + [0.0] * 6, [80.0] * 11,
               session=["S1", "S2"] * 5 + ["S1"], aims=(Aim("tack", at_most=1.0, age=24.0),))
    log = replace(log, readings=log.readings[~log.readings["pour"].isin(["P05", "P11"])])
    table = causes_for(log.study)
    chances = pd.Series(0.0, list(table.causes))
    chances["old_materials"] = 1.0
    case = SimpleNamespace(fits=SimpleNamespace(castings=log, study=log.study), table=table)
    told = {pour: SimpleNamespace(case=case, missed=(1,), pour=pour, chances=chances, openly=()) for pour in ("P01", "P02", "P03")}
    assert bad_lot(told).startswith("Of catalyst lot old, 3 of 4 castings miss an aim, of other lots none of 5: look at that lot first.")


@pytest.mark.parametrize("later, says", [(66.0, "it hardened"), (64.0, "it stayed as it was"), (80.0, "it hardened"), (50.0, "it stayed as it was")])
def test_a_casting_hardened_that_came_halfway_to_its_aim(later, says, study, castings_of):
    """55 Shore D at a day where 75 is asked for; halfway is 65 two days later."""
    asked = replace(study, aims=(Aim("hardness", at_least=75.0, age=24.0),))
    read = pd.DataFrame({"pour": "P1", "reading": "hardness", "low": [55.0, later], "high": [55.0, later], "age": [24.0, 72.0]})
    log = castings_of(asked, pd.DataFrame({"catalyst": [1.5]}, index=["P1"]), read)
    assert _hardened(log, "P1", missed(log, "P1")) == {"later": says}
