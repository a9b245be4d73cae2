"""Plans from a study: purposes, run order, limits, refusals, and what a plan promises."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import testpour as tp
from testpour.common.problems import NoSuchName, Problem
from testpour.logbook.book import Logbook
from testpour.logbook.log_warnings import Caution
from testpour.models.scales import ADIABATIC_RISE
from testpour.planning import outlook as outlook_module
from testpour.planning import purposes
from testpour.planning.coding import _post_cure, coding_for
from testpour.planning.criteria import main_terms, quadratic_terms
from testpour.planning.factorial import fractional_factorial
from testpour.planning.optimal import balanced_over_sessions
from testpour.planning.outlook import NotSeparated, _coded_pours, _in_words, outlook
from testpour.planning.plan import plan_pours, session_pours
from testpour.planning.plan_request import _sizes
from testpour.planning.pour_cautions import session_groups
from testpour.planning.power import plan_power
from testpour.planning.problem import Axis, DesignProblem, PlanConflict
from testpour.planning.purposes import _after_sessions, _middle_words, _mixed_words, _terms
from testpour.planning.study_design import design_problem
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading
from testpour.study.study_file import study_from

STUDY = {
    "name": "Invented knobs",
    "question": "Which settings?",
    "factors": {
        "catalyst": {"from": "1 %", "to": "2.5 %"},
        "pigment": {"from": "0.2 %", "to": "4 %"},
        "thickness": {"from": "5 mm", "to": "18 mm"},
        "cover": {},
        "room_temperature": {},
    },
    "readings": {"gel_time": {}, "tack": {}, "hardness": {}, "peak_temperature": {}},
    "aims": {"gel_time": {"at_least": "15 min"}, "tack": {"at_most": 1}, "hardness": {"at_least": 75}},
}


@pytest.fixture(scope="module")
def study():
    return study_from(STUDY)


def test_a_balanced_part_of_the_combinations_is_picked_where_it_fits(study):
    """Four factors in eight pours: the resolution IV half fraction (Box, Hunter and Hunter, table of 2^(4-1))."""
    plan = plan_pours(study, sessions=2, pours=5)
    rows = plan.coding.encode(plan.table)
    corners = rows[np.abs(rows[:, 0]) > 0.5]
    assert corners.shape == (8, 4)
    assert np.allclose(np.sign(corners).T @ np.sign(corners), 8 * np.eye(4))
    assert "Each setting's own effect can be read. Where two" in plan.mixed and "catalyst with pigment, or thickness with cover;" in plan.mixed


def test_pours_share_a_session_where_they_are_alike_in_what_is_set_once():
    """An oven is set once a session, catalyst is not; a temperature that is not known is one of its own."""
    study = study_from({"factors": {"catalyst": {}, "post_cure_temperature": {}, "room_temperature": {}}, "readings": {"tack": {}}})
    pours = pd.DataFrame({"catalyst": [1, 2, 3, 1], "post_cure_temperature": [20, 60, 20, np.nan]}, index=list("ABCD"), dtype=float)
    assert session_groups(study, pours) == [["A", "C"], ["B"], ["D"]]
    assert session_groups(study, pours.drop(columns="post_cure_temperature")) == [["A", "B", "C", "D"]]


def test_a_plan_shows_what_is_varied_and_not_what_all_its_pours_share():
    plan = plan_pours(study_from(STUDY), sessions=1, pours=8)
    assert plan.table["room_temperature"].nunique() == 1
    heads = re.findall("<th[^>]*>([^<]+)</th>", plan._repr_html_().split("<tbody")[0])
    assert heads == ["session", "catalyst", "pigment", "thickness", "cover", "pour"]


def test_what_a_plan_cannot_tell_apart_is_said_in_the_words_of_the_study():
    """Five factors in eight pours, D = AB and E = AC (Box, Hunter and Hunter, table of 2^(5-2)): each is mixed with a pair by hand."""
    names = ("catalyst", "pigment", "thickness", "drops_in", "cover")
    fraction = fractional_factorial(5, ["D=AB", "E=AC"], [f"{place:02d}" for place in range(5)])
    axes = [Axis(name, words=name.replace("_", " ")) for name in names]
    said = _mixed_words(fraction, axes, ("03:04",))
    assert said == (
        "The plan cannot tell what one setting does from what two others do together: catalyst from pigment with drops in, or thickness with "
        "cover; pigment from catalyst with drops in; thickness from catalyst with cover; drops in from catalyst with pigment; cover from "
        "catalyst with thickness. Where two act together, the plan cannot say which pair it was: pigment with thickness, or drops in with "
        "cover; pigment with cover, or thickness with drops in. Drops in acting with cover cannot be told from a difference between days."
    )
    assert _mixed_words(fractional_factorial(5, ["E=ABCD"], [f"{place:02d}" for place in range(5)]), axes, ()) == ""


def test_the_same_middle_pour_stands_in_every_session(study):
    plan = plan_pours(study, sessions=2, pours=5)
    middle = plan.table[plan.table["catalyst"].between(1.7, 1.8)]
    assert list(middle["session"]) == ["S1", "S2"]
    assert middle.drop(columns="session").nunique().max() == 1


@pytest.mark.parametrize("purpose", [purposes.MATTER, purposes.MAP, purposes.SHARPEN])
def test_no_pour_has_two_of_a_choice_and_each_is_poured(purpose):
    """One casting has one mould: silicone, glass, or polypropylene, which is neither; in the middle pours it is neither."""
    moulds = {"silicone": {"kind": "yes/no"}, "glass": {"kind": "yes/no"}}
    chosen = study_from({**STUDY, "factors": {"catalyst": {}, **moulds}, "one_of": {"mould": list(moulds)}})
    table = plan_pours(chosen, sessions=3, pours=4, purpose=purpose).table
    both = table[["silicone", "glass"]].sum(axis=1)
    assert set(both) == {0, 1} and set(table["silicone"]) == set(table["glass"]) == {0, 1}
    if purpose == purposes.MATTER:
        assert table[table["catalyst"].between(1.5, 2)].groupby("session")[["silicone", "glass"]].sum().to_numpy().tolist() == [[0, 0]] * 3
    limit = design_problem(coding_for(chosen, 1), main_terms(3), [0] * 8)
    assert not limit.allowed(np.array([0.0, 1.0, 1.0])) and limit.allowed(np.array([0.0, 1.0, -1.0])) and "[one_of]" in limit.in_the_way()


def test_run_order_is_random_within_a_session_and_the_same_for_the_same_seed(study):
    first, again, other = (plan_pours(study, sessions=2, pours=6, seed=seed).table for seed in (1, 1, 2))
    assert first.equals(again)
    assert not first.equals(other)
    assert list(first["session"]) == ["S1"] * 6 + ["S2"] * 6


@pytest.mark.slow
def test_settings_are_those_a_bench_can_set(study):
    table = plan_pours(study, sessions=3, pours=6, purpose="map the good region").table
    for factor in study.varied:
        assert np.allclose(factor.rounded(table[factor.name]), table[factor.name])
        assert table[factor.name].between(*factor.span).all()


@pytest.mark.slow
def test_only_moulds_at_hand_are_used(study):
    """Half an inch is 12.7 mm."""
    plan = plan_pours(study, sessions=2, pours=8, purpose="map the good region", moulds=["6 mm", "1/2 in", "18 mm"])
    assert set(plan.table["thickness"]) <= {6.0, 12.7, 18.0}


@pytest.mark.parametrize("moulds", [None, ["1/4 in", "1/2 in"]])
def test_the_ends_of_a_span_are_poured_as_they_are_written(moulds):
    """A quarter and half an inch are 6.35 and 12.7 mm: no pour lies outside them, on whole millimetres or tenths of a percent."""
    span = {"catalyst": {"from": 1.25, "to": 2.25}, "thickness": {"from": "1/4 in", "to": "1/2 in"}, "room_temperature": {}}
    table = plan_pours(study_from({**STUDY, "factors": span}), sessions=1, pours=5, moulds=moulds).table
    assert {6.35, 12.7} <= set(table["thickness"]) <= {6.35, 10, 12.7}
    assert {1.25, 2.25} <= set(table["catalyst"]) <= {1.25, 1.7, 1.8, 2.25}


def test_a_room_that_is_met_is_kept(study):
    plan = plan_pours(study, sessions=2, pours=6, rooms=["17 degC", "72 degF"])
    rooms = plan.table.groupby("session")["room_temperature"].unique()
    assert [float(r[0]) for r in rooms] == pytest.approx([17.0, 22.2222], abs=1e-3)


def test_settling_one_question_puts_both_castings_in_every_session(study):
    plan = plan_pours(study, sessions=3, pours=4, compare=({"catalyst": "1 %"}, {"catalyst": "2 %"}))
    counts = plan.table.groupby("session")["catalyst"].value_counts()
    assert set(counts) == {2} and len(counts) == 6
    assert plan.purpose == "settle one question"


def baked(**changes):
    """A study of a post-cure: catalyst, and an oven at 20 to 60 °C for 0 to 4 h."""
    factors = {"catalyst": {"from": "1 %", "to": "2 %"}, "post_cure_temperature": {"from": "20 degC", "to": "60 degC"},
               "post_cure_time": {"from": "0 h", "to": "4 h"}}
    return study_from({**STUDY, "factors": {**factors, **changes}, "readings": {"hardness": {}}, "aims": {}})


@pytest.mark.parametrize(("sessions", "pours", "factors"), [(3, 2, None), (2, 2, None), (3, 3, None), (2, 2, ["post_cure_time"])])
def test_a_post_cure_is_planned_as_one_thing(sessions, pours, factors):
    """0 h at 60 °C and 4 h at 20 °C are no post-cure: each session has none, or heat and time, and one at least has each."""
    plan = plan_pours(baked(), sessions=sessions, pours=pours, factors=factors)
    ovens = set(zip(plan.table["post_cure_temperature"], plan.table["post_cure_time"], strict=True))
    assert {(20.0, 0.0), (60.0, 4.0)} <= ovens <= {(20.0, 0.0), (40.0, 2.0), (60.0, 4.0)}
    assert "change together" in plan.sentence()
    assert "post-cure" in set(outlook(plan).table["setting"])


@pytest.mark.parametrize(("sessions", "alike", "apart"), [(2, False, False), (3, True, False), (6, True, True)])
def test_an_oven_set_once_a_session_may_be_the_day_and_its_middle_pours_are_not_all_equal(sessions, alike, apart):
    """Of two or three sessions, one alone has or lacks the post-cure, and of two no middle pours are equal; six can have three of each."""
    said = plan_pours(baked(), sessions=sessions, pours=4, purpose="which settings matter").sentence()
    assert "The same middle pour" not in said and "The middle pour of every session is the same but for post-cure" in said
    assert ("sessions alike in that show how much equal pours differ" in said) == alike
    day = "every pour of a session has the same post-cure temperature and post-cure time, so an effect of that may really be the day's."
    assert (day in said) != apart and ("plan 6 sessions" in said) != apart


def test_an_oven_that_may_differ_within_a_session_is_told_from_the_day():
    free = {name: {"from": low, "to": high, "by_session": False} for name, low, high in
            (("post_cure_temperature", "20 degC", "60 degC"), ("post_cure_time", "0 h", "4 h"))}
    said = plan_pours(baked(**free), sessions=3, pours=4, purpose="which settings matter").sentence()
    assert "The same middle pour in every session shows" in said and "the day may be" not in said


def test_the_oven_of_a_pour_made_counts_only_with_its_time():
    coding = plan_pours(baked(), sessions=2, pours=2).coding
    made = pd.DataFrame({"catalyst": 1.5, "post_cure_temperature": [60.0, 20.0, 60.0, 60.0], "post_cure_time": [0.0, 4.0, 2.0, 4.0]})
    assert list(coding.encode(made)[:, coding.names.index("post_cure_temperature")]) == [-1.0, -1.0, 0.0, 1.0]


def test_a_log_whose_session_had_two_ovens_is_named_in_the_words_of_the_screens():
    axes = plan_pours(baked(), sessions=2, pours=2).coding.axes()
    with pytest.raises(PlanConflict, match="^Post-cure is set once a session, yet pours of one session in the log differ in it"):
        DesignProblem(axes, tuple(main_terms(2)), 4, fixed=np.array([[0.0, -1.0], [0.0, 1.0]]))


def test_a_post_cure_that_is_never_off_has_two_settings_and_one_that_never_comes_on_is_refused():
    hot = {"post_cure_temperature": {"from": "40 degC", "to": "80 degC"}, "post_cure_time": {"from": "1 h", "to": "4 h"}}
    assert plan_pours(baked(**hot), sessions=3, pours=2).coding.names == ["catalyst", *hot]
    with pytest.raises(PlanConflict, match="post-cure time stays at 0 h. Give it a from and a to"):
        plan_pours(baked(post_cure_time={}), sessions=2, pours=2)


def test_a_question_about_a_post_cure_is_poured_as_it_is_asked():
    sides = [{"post_cure_temperature": 60, "post_cure_time": hours} for hours in (1, 4)]
    table = plan_pours(baked(), sessions=2, pours=2, compare=sides).table
    assert set(zip(table["post_cure_temperature"], table["post_cure_time"], strict=True)) == {(60.0, 1.0), (60.0, 4.0)}


@pytest.mark.slow
def test_no_pour_is_planned_where_styrene_is_believed_to_boil():
    raw = {**STUDY, "factors": {**STUDY["factors"], "thickness": {"from": "5 mm", "to": "40 mm"}}}
    plan = plan_pours(study_from(raw), sessions=3, pours=8, purpose="map the good region", rooms=[25, 25, 25])
    from testpour.models.beliefs import beliefs_for
    from testpour.models.scales import to_reading
    from testpour.models.terms import design

    reading = plan.study.reading("peak_temperature")
    believed = beliefs_for(plan.study, reading)
    table = plan.table.assign(age=24.0)
    peak = to_reading(reading, design(believed.terms, table) @ believed.mean, table["room_temperature"])
    assert peak.max() < 145  # °C, boiling point of styrene, from memory, not read
    assert (plan.table["thickness"] > 20).any()  # the region is cut, not thrown away


@pytest.mark.parametrize(
    "asked, says",
    [
        ({"sessions": 0, "pours": []}, "at least one session"),
        ({"sessions": 2, "pours": [4]}, "2 sessions but 1 number of pours: give one for each session"),
        ({"sessions": 1, "pours": 3}, "3 pours cannot tell 5 effects apart: plan 2 more"),
        ({"factors": ["stirring"]}, "stirring cannot be varied: the study varies catalyst, pigment"),
        ({"purpose": "win"}, "No purpose 'win'; choose one of: which settings matter"),
        ({"moulds": ["3 mm", "6 mm"]}, "Mould 3 mm is outside the study's thickness of 5 to 18 mm: widen the span in study.toml.$"),
        ({"moulds": ["6 mm", 12, "20 mm"]}, "Mould 20 mm is outside .* study.toml or leave that mould out"),
        ({"moulds": [2, "3 mm", 6, 12]}, "Moulds 2 mm and 3 mm are outside .* or leave those moulds out"),
        ({"moulds": ["6 mm"]}, "only one mould depth"),
        ({"moulds": []}, "there is no mould depth"),
        ({"moulds": ["6 mm"], "factors": ["catalyst"]}, "no mould has its usual 10 mm"),
        ({"rooms": ["18 degC"]}, "2 sessions but 1 room temperature: give one for each session"),
        ({"resin": "0.9 kg", "pot": "150 g"}, "8 pours of 150 g need 1200 g of resin and there are 900 g: plan 6 pours, or pots of 112 g"),
        ({"resin": "100 g", "pot": "150 g"}, "there are 100 g: plan pots of 12.5 g"),
        ({"purpose": "settle one question"}, "say which two settings"),
        ({"compare": [{"catalyst": 1}]}, "say which two settings"),
        ({"compare": [{"catalyst": 1}, {"catalyst": 2}], "purpose": "sharpen what we know"}, "leave purpose out, or leave compare out"),
        ({"compare": [{"catalyst": 1}, {"catalyst": 3}]}, "Setting 2: catalyst 3 % is outside the study's 1 to 2.5 %"),
        ({"compare": [{"cover": 1}, {"cover": 0}], "moulds": [6, 12]}, "Setting 1: thickness 10 mm is in no mould: give one of 6 mm and 12 mm"),
        ({"compare": [{"humidity": 1}, {"cover": "some"}]}, "Setting 1: humidity is not a factor .* Setting 2: cover: 'some' is neither yes nor no"),
    ],
)
def test_every_refusal_says_what_conflicts_and_what_would_work(study, asked, says):
    with pytest.raises(PlanConflict, match=says):
        plan_pours(study, **asked)


def test_everything_asked_in_vain_is_told_at_once(study):
    asked = {"sessions": 0, "pours": -1, "rooms": "warm", "moulds": ["x"], "resin": "lots", "pot": "-1 g", "factors": ["luck"], "purpose": "win"}
    with pytest.raises(PlanConflict) as caught:
        plan_pours(study, **asked)
    found = ("at least one session", "pours: -1", "pot: -1 g", "resin: 'lots'", "No purpose 'win'", "luck cannot be varied", "room: 'warm'", "mould: 'x'")
    assert len(caught.value.problems) == len(found)
    assert all(part in said for part, said in zip(found, caught.value.problems, strict=True))
    with pytest.raises(PlanConflict) as caught:
        plan_pours(study, sessions="2", pours=[4, "3", 2.5], rooms=[18, 68], pot=float("nan"))
    found = ("sessions: '2' is not a number", "pours: '3', 2.5 is not a number", "pot: nan", "room: 68 is outside 5 to 40 °C")
    assert len(caught.value.problems) == len(found)
    assert all(part in said for part, said in zip(found, caught.value.problems, strict=True))


def test_two_settings_are_compared_as_they_are_given(study):
    """Three eighths of an inch is 9.525 mm; the bench's steps of 1 mm and 0.1 % are for settings the plan chooses itself."""
    sides = ({"catalyst": "1.25 %", "thickness": "3/8 in"}, {"catalyst": "1.85 %", "thickness": "1/2 in"})
    table = plan_pours(study, sessions=1, pours=2, compare=sides).table
    assert sorted(zip(table["catalyst"], table["thickness"], strict=True)) == [(1.25, 9.525), (1.85, 12.7)]


def test_changing_a_plan_leaves_the_first_one_alone(study):
    plan = plan_pours(study, sessions=2, pours=5)
    before = plan.table.copy()
    changed = plan.without("P02")
    assert list(changed.table.index) == [name for name in before.index if name != "P02"]
    assert plan.table.equals(before)
    assert plan.without(["P02", "P03"]).table.equals(plan.without("P02", "P03").table)
    with pytest.raises(NoSuchName, match="^P99 not in this plan"):
        plan.without(["P02", "P99"])
    for asked in (plan.without, plan.cautions):
        with pytest.raises(NoSuchName, match="^P99 not in this plan; it has P01, "):
            asked("P99")
    assert plan.session("S2").equals(plan.session(2))
    for session in (9, "S9"):
        with pytest.raises(NoSuchName, match=f"^No session {session} in this plan; it has S1 and S2\\.$"):
            plan.session(session)


def test_the_outlook_is_the_power_of_the_plan_in_reading_units(study):
    """The numbers are those of plan_power (checked against noncentral t tables in test_power), with 3 degrees of freedom for
    the beliefs: the product of two normal numbers, a scatter believed half-normal times an error, lies within 1.595 nine times
    in ten (its density is a Bessel function), 2.365 times the median of the scatter, 0.6745; t with 3 is 2.353."""
    plan = plan_pours(study, sessions=2, pours=6)
    promise = outlook(plan, pot="100 g", price=10)
    line = promise.table[(promise.table["reading"] == "tack") & (promise.table["setting"] == "cover")].iloc[0]
    numbers = [plan.sessions.index(s) for s in plan.table["session"]]
    day = 0.4 * 0.6745  # believed scatter of tack between sessions, median of a half-normal
    rows = plan.coding.encode(plan.table)
    power = plan_power(rows, plan.terms, 1.0, numbers, day, plan.coding.names, 3).loc["cover"]
    assert line["noticed_number"] == pytest.approx(power["smallest"])
    gel = promise.table[(promise.table["reading"] == "gel time") & (promise.table["setting"] == "catalyst")].iloc[0]
    noise, day = 0.6745 * np.hypot(0.12, 0.10), 0.6745 * 0.12  # believed scatter of reading, pour and session
    power = plan_power(rows, plan.terms, noise, numbers, day, plan.coding.names, 3).loc["catalyst"]
    assert gel["noticed_number"] == pytest.approx(power["smallest"])
    assert promise.resin == pytest.approx(1200)
    assert promise.cost == pytest.approx(12.0)
    assert "1200 g of resin" in promise.sentence()


@pytest.mark.parametrize("price", [float("nan"), float("inf"), -3])
def test_a_price_that_cannot_be_is_refused_with_one_that_can(study, price):
    with pytest.raises(Problem, match=r"price: .* is no price of a kilogram of resin\. Give a number from 0 up without a currency, for example price=12\."):
        outlook(plan_pours(study, sessions=2, pours=6), price=price)


@pytest.mark.parametrize("price", ["12", True, [12]])
def test_a_price_is_a_number(study, price):
    with pytest.raises(Problem, match=r"^outlook takes a number: outlook\(price=20\), and was given "):
        tp.outlook(plan_pours(study, sessions=2, pours=6), price=price)


def test_a_few_pours_more_never_notice_less():
    """Each plan has the pours of the one before and more, so each effect is known at least as closely."""
    study = study_from({**STUDY, "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}}})
    noticed = [outlook(plan_pours(study, purpose="which settings matter", sessions=2, pours=n)).table["noticed_number"] for n in (1, 2, 3)]
    assert (noticed[0] > noticed[1]).all() and (noticed[1] > noticed[2]).all()


@pytest.mark.slow
def test_more_pours_notice_smaller_effects(study):
    few, many = (
        outlook(plan_pours(study, sessions=2, pours=n)).table["noticed_number"].to_numpy() for n in (6, 10)
    )
    assert (many < few).all()


def test_a_change_of_grades_is_said_in_chances():
    """A grade is crossed where a normal reading with unit noise meets a bound: from half below to half above it, a shift of 2
    takes pnorm(1) - pnorm(-1) = 0.6827 of the castings across (normal tables), one of 13 practically all."""
    tack, gel = catalogue()["readings"]["tack"], catalogue()["readings"]["gel_time"]
    assert _in_words(tack, 2.0) == "68 of 100 castings"
    assert _in_words(tack, 13.0) == "over 99 of 100 castings"
    study = study_from({**STUDY, "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}}})
    few = outlook(plan_pours(study, sessions=2, pours=1)).sentence()
    assert "to show for sure what catalyst does to tack, however large the effect" in few
    assert "over 99" not in few
    told = outlook(plan_pours(study, sessions=2, pours=3)).noticed()
    assert told.startswith("This plan shows nine times in ten that catalyst matters if, "
                           "from one end of its span to the other, it changes gel time by at least ")
    assert re.search(r", the tack of at least \d+ of 100 castings or hardness by at least [\d.]+ Shore D\.$", told)
    assert _in_words(gel, 0.5) == "65 %"  # exp(0.5) = 1.6487
    assert _in_words(gel, 2.0) == "a factor of 7.4"  # exp(2) = 7.389
    hard, peak = catalogue()["readings"]["hardness"], catalogue()["readings"]["peak_temperature"]
    assert _in_words(hard, 0.4) == "6.7 Shore D"  # 100 / (1 + exp(-1.3)) is 78.58, where a logit is worth 78.58 x 21.42 / 100 = 16.83
    assert _in_words(hard, 9.0) == "100 Shore D"  # all there is
    assert _in_words(peak, 0.1) == f"{ADIABATIC_RISE * 0.26894 * 0.73106 / 10:.1f} °C"  # 26.9 % of the whole rise


def test_a_change_has_its_unit_where_the_reading_has_one():
    assert _in_words(Reading("score", "", 1, 10), 1.5) == "1.5"
    assert _in_words(Reading("cooling", "degC", 0, 90), 1.5) == "1.5 °C"
    assert _in_words(Reading("haze", "%", 0, 90), 1.5) == "1.5 percentage points"  # 20 % less of a gloss of 98 % might be 78 %, or 78.4 %
    assert _in_words(Reading("gloss", "%", 0, 100, scale="share"), 9.0) == "100 percentage points"


@pytest.mark.parametrize("pot, scale, alike", [
    ("100 g", "1 g", "1 % and 1.75 %"),  # 1 and 2 g, each off by half a gram, meet at 1.5 g; 4 g is two steps away
    ("100 g", "0.1 g", ""),
    ("1 kg", "1 g", ""),
])
def test_what_a_scale_cannot_hold_apart_is_said_of_the_plan(study, pot, scale, alike):
    plan = plan_pours(study, sessions=2, pours=6)
    plan = replace(plan, table=plan.table.assign(catalyst=[1.0, 1.75, 4.0] * 4))
    told = outlook(plan, pot=pot, scale_resolution=scale)
    assert (f"steps of {scale}: in a pot of {pot}, {alike} catalyst may come out the same" in told.summary()) == bool(alike)
    assert bool(told.scale) == bool(alike) and told.scale in told.summary() and "scale" not in told.noticed()


def test_an_outlook_is_silent_on_what_a_study_does_not_have():
    """Without an age no reading is due at one, and without catalyst as a setting none is taken."""
    study = study_from({"factors": {"drops": {"low": 0, "high": 40, "from": 6, "to": 24}}, "readings": {"gel_time": {}}})
    view = outlook(plan_pours(study, sessions=2, pours=3), pot="600 g")
    told, line = view.summary(), view.cautions.warnings[0]
    assert "It takes 3600 g of resin. How much" in told and "0 h" not in told
    assert line in view.sentence() and line not in told and "It takes" not in view.noticed()


@pytest.mark.slow
def test_pours_made_already_count_in_the_outlook(practice_castings):
    """One pour planned upon a log of twelve is nothing by itself; thirteen separate every setting."""
    plan = plan_pours(practice_castings.study, sessions=1, pours=1, castings=practice_castings)
    view = outlook(plan)
    assert "12 pours made already count too" in view.sentence()
    assert view.resin == 120.0  # of the one pour to make
    assert list(plan.table.index) == ["P13"]
    assert set(view.table["setting"]) == {plan.study.factor(name).words for name in plan.coding.names}
    assert np.isfinite(view.table["noticed_number"]).all()
    warm = outlook(plan_pours(practice_castings.study, sessions=1, pours=1, rooms=[18], castings=practice_castings))
    assert "12 pours made already count too" in warm.sentence()
    with pytest.raises(PlanConflict, match="1 pour cannot tell the 14 effects of this plan apart"):
        outlook(replace(plan, made=None))


def test_rooms_of_sessions_to_come_stand_behind_those_poured():
    assert _after_sessions(Axis("room", met=(0.1, -0.4)), 2).met == (0.0, 0.0, 0.1, -0.4)


def test_a_plan_gutted_by_hand_is_refused(study):
    plan = plan_pours(study, sessions=2, pours=5)
    gutted = plan.without(*plan.table.index[3:])
    with pytest.raises(PlanConflict, match="put a dropped pour back"):
        outlook(gutted)


@pytest.mark.parametrize("sessions, said, unsaid", [
    (1, "One pour in the middle shows whether it comes out between the ends", "one day from another"),
    (2, "one day from another", "One pour in the middle"),
])
def test_a_middle_pour_is_said_to_show_what_it_can(study, sessions, said, unsaid):
    plan = plan_pours(study, purpose="which settings matter", sessions=sessions, pours=8)
    assert said in plan.why and unsaid not in plan.why


def test_no_session_has_one_side_of_a_setting_to_itself(demo_study, monkeypatch):
    """8 pours added to the log of 18: two with a cover and two without on each day, and two low and two high of every other setting.

    The criterion alone put every cover on the second day; by numpy's determinant 95 in 100 of its D-efficiency are kept at least.
    """
    log, made = Logbook(demo_study, "sqlite://"), []
    with pytest.warns(Caution, match="146"):
        log.add_sheet(demo_study.folder / "castings.csv")

    def kept(problem, rows):
        made.extend([problem, rows, balanced_over_sessions(problem, rows)])
        return made[2]

    monkeypatch.setattr(purposes, "balanced_over_sessions", kept)
    table = plan_pours(demo_study, sessions=2, pours=4, purpose="sharpen what we know", castings=log.castings()).table
    for name in ("catalyst", "pigment", "thickness", "cover"):
        assert table.groupby("session")[name].agg(lambda values: (values == values.max()).sum()).tolist() == [2, 2], name
    problem, best, alike = made
    days = (problem.all_sessions[:, None] == problem.all_sessions) * problem.eta + np.eye(len(best))

    def log_determinant(coded):
        rows = np.prod(coded[:, None, :] ** np.array(problem.terms), axis=2)
        return np.linalg.slogdet(rows.T @ np.linalg.inv(days) @ rows + problem.prior)[1]

    assert 0 < log_determinant(best) - log_determinant(alike) <= -len(problem.terms) * np.log(0.95)


def test_only_beside_a_log_does_an_outlook_make_do_with_each_setting_by_itself():
    """Of a plan for squares and products, too few pours are left: a plan of its own is refused, one that goes on from a log tells the settings alone."""
    small = study_from({**STUDY, "factors": {name: STUDY["factors"][name] for name in ("catalyst", "thickness")}})
    plan = plan_pours(small, sessions=1, pours=8, purpose="map the good region")
    few, none = plan.table.iloc[: len(plan.terms) - 1], plan.table.iloc[:0]
    with pytest.raises(NotSeparated, match=f"^.*{len(few)} pours cannot tell the {len(plan.terms)} effects of this plan apart"):
        _coded_pours(replace(plan, table=few))
    assert max(map(sum, _coded_pours(replace(plan, table=few, made=none))[2])) == 1
    assert _coded_pours(replace(plan, made=none))[2] == plan.terms and max(map(sum, plan.terms)) == 2


@pytest.mark.parametrize("chosen, oven, hours, together, taken, refused", [
    (["catalyst", "post_cure_temperature"], ("20 degC", "60 degC"), ("0 h", "4 h"), True, 3, False),  # the other half is taken along
    (["post_cure_temperature", "post_cure_time"], ("40 degC", "60 degC"), ("1 h", "4 h"), False, 2, False),  # always baked: two settings
    (["catalyst"], ("20 degC", "60 degC"), ("0 h", "4 h"), False, 1, False),
    (["post_cure_time"], None, ("0 h", "4 h"), False, 1, True),  # no oven is ever warm
    (["post_cure_temperature"], ("20 degC", "60 degC"), None, False, 1, True),  # no time in it
])
def test_which_halves_of_a_post_cure_a_plan_moves_together(chosen, oven, hours, together, taken, refused):
    spans = {"post_cure_temperature": oven, "post_cure_time": hours}
    given = {name: dict(zip(("from", "to"), span, strict=True)) if span else {} for name, span in spans.items()}
    study, names, conflicts = study_from({"factors": {"catalyst": {"from": "1 %", "to": "2 %"}, **given}, "readings": {"tack": {}}}), list(chosen), []
    found = _post_cure(study, names, conflicts)
    assert (found is not None and found.name == "post_cure_time") == together
    assert len(names) == taken and bool(conflicts) == refused and all("No pour of this plan would be post-cured" in said for said in conflicts)


@pytest.mark.parametrize("session, meant, pours, wrong", [
    ("S7", "S7", ["P2", "P3"], ""), (1, "S3", ["P1", "P4"], ""), (2, "S7", ["P2", "P3"], ""), (None, "", [], "say which session; there are S3 and S7"),
    (3, "3", [], "session 3 is not here; there are S3 and S7"), (0, "0", [], "session 0 is not here"), ("2", "2", [], "session 2 is not here"),
])
def test_a_session_is_meant_by_its_name_or_its_number(session, meant, pours, wrong):
    """Pours of S3 and S7, mixed."""
    table, problems = pd.DataFrame({"session": ["S3", "S7", "S7", "S3"]}, ["P1", "P2", "P3", "P4"]), []
    named, found = session_pours(table, session, problems)
    assert (named, list(found.index)) == (meant, pours) and len(problems) == bool(wrong) and all(wrong in said for said in problems)


def test_the_only_session_needs_no_name_and_pours_need_their_own():
    one, problems = pd.DataFrame({"session": [4, 4]}, ["P1", "P2"]), []
    assert session_pours(one, None, problems)[0] == "4" and session_pours(one, 4, problems)[0] == session_pours(one, 1, problems)[0] == "4"
    assert session_pours(one.drop(columns="session"), None, problems)[0] == "1" and session_pours(one.drop(columns="session"), "S2", problems)[0] == "S2"
    assert not problems
    for bad in (one.iloc[:0], one.set_axis(["P1", "P1"])):
        assert session_pours(bad, 1, problems)[0] == ""
    assert problems == ["give at least one pour, each with a name of its own."] * 2


def test_the_terms_of_a_map_leave_out_what_a_plan_cannot_tell():
    """Of depth, a cover, an oven set once a session and the room as it is met: no square but that of depth, no effect of the room alone, and no product
    of oven and room, which both change from session to session only."""
    axes = (Axis("depth"), Axis("cover", levels=(-1.0, 1.0)), Axis("oven", hard=True), Axis("room", met=(0.2, -0.4)))
    singles = {(0, 0, 0, 0), (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0)}
    pairs = {(2, 0, 0, 0), (1, 1, 0, 0), (1, 0, 1, 0), (1, 0, 0, 1), (0, 1, 1, 0), (0, 1, 0, 1)}
    assert set(_terms(quadratic_terms, axes)) == singles | pairs and set(_terms(main_terms, axes)) == singles


@pytest.mark.parametrize("pours, sizes, wrong", [
    (3, (3, 3), ()), ([4, 2], (4, 2), ()), ([4], (4,), ("2 sessions but 1 number of pours",)),
    ([4, 0, True], (), ("pours: 0, True is not", "2 sessions but 3 numbers")),
    ("4", (), ("pours: '4' is not",)),
])
def test_one_number_of_pours_holds_for_every_session(pours, sizes, wrong):
    conflicts = []
    assert _sizes(2, pours, conflicts) == sizes and len(conflicts) == len(wrong) and all(said in one for said, one in zip(wrong, conflicts, strict=True))


def test_one_question_takes_turns_within_every_session(study):
    """Two castings that differ by 0.2 in the first setting and 0.9 in the second: the second is what is asked; the other begins no session."""
    this, that = np.array([0.5, -0.4, 0.3]), np.array([0.3, 0.5, 0.3])
    found = purposes.settle(purposes.PlanRequest(None, (3, 2)), this, that)
    assert found.rows.tolist() == [this.tolist(), that.tolist(), this.tolist(), this.tolist(), that.tolist()]
    assert found.sessions.tolist() == [0, 0, 0, 1, 1] and found.terms == ((0, 0, 0), (0, 1, 0))
    with pytest.raises(PlanConflict, match="at least 2 pours a session"):
        purposes.settle(purposes.PlanRequest(None, (3, 1)), this, that)


@pytest.mark.parametrize("ovens, said", [
    ([0.5], "One pour in the middle shows"), ([0.5, 0.5], "The same middle pour in every session shows how much equal pours differ"),
    ([0.5, -1.0], "the same but for oven."), ([0.5, -1.0, 0.5], "the same but for oven: sessions alike in that show how much equal pours differ"),
])
def test_middle_pours_show_how_much_equal_ones_differ_where_some_are_equal(ovens, said):
    """Depth in the middle of every pour, an oven as each session has it, and the room, which nobody sets."""
    axes = (Axis("depth"), Axis("oven", hard=True), Axis("kiln", hard=True, words="big kiln"))
    middle = np.column_stack([np.zeros(len(ovens)), ovens, np.full(len(ovens), 0.3)])
    assert said in _middle_words(axes, middle)


@pytest.mark.parametrize("left, noise", [(3, "taken as believed"), (4, "judged by the pours themselves")])
def test_noise_is_judged_by_the_pours_where_they_leave_a_degree_of_freedom(left, noise, study, monkeypatch):
    """Three degrees of freedom are the trade's own."""
    plan = plan_pours(study, sessions=1, pours=6, factors=["catalyst"])
    power = lambda *given: pd.DataFrame({"compared": "within sessions", "df": left, "half_width": 0.2, "smallest": 0.5}, ["catalyst"])
    monkeypatch.setattr(outlook_module, "plan_power", power)
    (row,) = outlook_module._reading_rows(plan, (None, None, plan.terms), study.reading("gel_time"))
    assert row["noise"] == noise and (row["interval_number"], row["noticed_number"]) == (0.2, 0.5)
