"""The practice resin: heat and cure against direct integration, the bench against counting, worlds that stay put."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import solve_ivp

from testpour.common.problems import Problem
from testpour.models.settings import settings_table
from testpour.physics.casting import Casting, Face, post_cure_programme
from testpour.physics.resin import load_resin
from testpour.physics.slab import cure
from testpour.practice.algebraic_resin import draw_truth
from testpour.practice.bench_habits import weighed_dose
from testpour.practice.physical_resin import OVEN_AFTER, draw_physical
from testpour.practice.practice import PracticeResin, practice_resin

GAS = 8.314462618  # J/(mol K), CODATA 2018
SETTINGS = {"catalyst": 1.6, "pigment": 1.0, "thickness": 12.0, "cover": 1.0, "room_temperature": 19.0}


def table_of(study, *rows, age=24.0):
    return settings_table(study, pd.DataFrame([{**SETTINGS, **row} for row in rows])).assign(age=age)


def slim(study, *names):
    """The study with some readings and aims only."""
    return replace(
        study, readings=tuple(r for r in study.readings if r.name in names), aims=tuple(a for a in study.aims if a.reading in names)
    )


def test_the_same_seed_is_the_same_world(study):
    plan = table_of(study, {}, {"thickness": 6.0}).drop(columns="age")
    one, two, other = (practice_resin(study, seed, kind="physical").pour(plan) for seed in (5, 5, 6))
    assert one == two
    assert one != other


def test_gel_is_the_wait_and_the_way_to_two_per_cent(study):
    """A slab of 0.2 mm stays at room temperature: Arrhenius by hand, then scipy's solve_ivp on the rate law."""
    truth = draw_physical(3)
    base = load_resin()
    row = table_of(study, {"thickness": 0.2})
    cold = 1 / 292.15 - 1 / 298.15
    wait = truth.induction * np.exp(truth.pigment_gel) * 1.6**-truth.induction_exponent * np.exp(truth.induction_energy / GAS * cold)
    speed = truth.rate * 1.6**truth.rate_exponent * np.exp(-truth.rate_energy / GAS * cold)
    ceiling = truth.ceiling + truth.ceiling_slope * (19.0 - 25.0)

    def rate(_, a):
        return speed * (base.first_rate + base.second_rate * a**truth.order_made) * (ceiling - a) ** truth.order_left

    def gelled(_, a):
        return a[0] - base.gel_conversion

    way = solve_ivp(rate, (0, 36000), [0.0], events=gelled, rtol=1e-8, atol=1e-12).t_events[0][0] / 60
    assert truth.ideal(row)["gel_time"].iloc[0] == pytest.approx(wait + way, abs=0.15)


def test_peak_and_cure_are_those_of_the_casting(study):
    """The same pour built by hand and followed alone, twice as many slices."""
    truth = draw_physical(8, "awkward")
    row = table_of(study, {"post_cure_temperature": 60.0, "post_cure_time": 2.0})
    base = load_resin()
    resin = replace(
        base, induction=truth.induction * np.exp(truth.pigment_gel), first_rate=base.first_rate * truth.rate,
        second_rate=base.second_rate * truth.rate, heat_of_cure=truth.heat_of_cure * (1 - truth.pigment_heat),
        **{n: getattr(truth, n) for n in ("induction_exponent", "induction_energy", "rate_exponent", "rate_energy",
                                         "conductivity", "order_made", "order_left", "ceiling", "ceiling_slope")},
    )
    run = cure(Casting(
        12.0, 1.6, 19.0, face=Face(truth.film, truth.lid), other_face=Face(truth.film, truth.mould), resin=resin,
        programme=post_cure_programme(19.0, 60.0, 2.0, OVEN_AFTER),
    ))
    found = truth.ideal(row).iloc[0]
    assert found["peak_temperature"] == pytest.approx(run.peak_temperature, abs=0.3)
    assert found["time_to_peak"] == pytest.approx(run.time_to_peak, abs=0.3)
    thin = truth.ideal(table_of(study, {"thickness": 5.0}, {"thickness": 5.0, "post_cure_temperature": 60.0, "post_cure_time": 2.0}))
    assert thin["hardness"].iloc[1] > thin["hardness"].iloc[0] + 1


def test_thicker_warmer_and_stronger_pours_peak_higher(study):
    """Heat balance: more resin behind each face, and faster, leaves less time to lose heat."""
    for seed in range(4):
        truth = draw_physical(seed)
        peaks = truth.ideal(table_of(study, {}, {"thickness": 16.0}, {"room_temperature": 24.0}, {"catalyst": 2.4}))["peak_temperature"]
        assert (peaks.iloc[1:] > peaks.iloc[0]).all()


def test_readings_without_scatter_hold_the_truth(study):
    """A bench that never errs still reads between checks, in whole numbers and in grades."""
    truth = replace(draw_physical(2), session=0.0, reading=0.0, draught=0.0, step=1e-9)
    resin = PracticeResin(study, 2, truth, scale_resolution=1e-9)
    table = table_of(study, {})
    made = resin.pour(table.drop(columns="age"))[0]["readings"]
    ideal = truth.ideal(table).iloc[0]
    said = {answer["reading"]: answer for answer in made if answer["reading"] in ("gel_time", "time_to_peak", "peak_temperature")}
    for name in ("gel_time", "time_to_peak"):
        low, high = said[name]["between"]
        assert low <= ideal[name] <= high
        assert high - low in (4.0, 10.0)
    assert said["peak_temperature"]["value"] == pytest.approx(ideal["peak_temperature"], abs=4)  # the probe's own error: 1 °C
    grades = [answer["value"] for answer in made if answer["reading"] in ("tack", "opacity", "defects")]
    assert all(grade in (0, 1, 2, 3) for grade in grades)
    assert len([1 for answer in made if answer["reading"] == "hardness"]) == 9  # three places at each of three ages


def test_a_scale_is_off_by_at_most_half_a_step():
    """1.5 % of 120 g is 1.8 g; half a step of 0.1 g is 0.05 g on either weighing."""
    got = weighed_dose(np.full(2000, 1.5), 0.1, np.random.default_rng(0))
    assert got.min() >= 100 * 1.75 / 120.05
    assert got.max() <= 100 * 1.85 / 119.95
    assert got.std() == pytest.approx(100 * 0.1 / 120 / np.sqrt(12), rel=0.1)  # uniform over one step


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["algebraic", "physical"])
def test_the_true_chance_is_the_share_of_pours_that_are_good(study, kind):
    """Counted over sessions; the bound on gel lies on a check of the pot, so that what is read tells."""
    small = slim(study, "gel_time", "peak_temperature")
    resin = practice_resin(small, 1, kind=kind)
    row = table_of(small, {"thickness": 13.0 if kind == "physical" else 17.0, "catalyst": 1.6})
    ideal = resin.ideal(row).iloc[0]
    small = replace(small, aims=(replace(small.aims[0], at_least=None, at_most=4 * np.round(ideal["gel_time"] / 4)),
                                 replace(small.aims[-1], at_most=np.round(ideal["peak_temperature"]) + 2.5)))
    resin = replace(resin, study=small, scale_resolution=1e-9)
    good, sessions = 0, 120
    for session in range(sessions):
        gel, peak = resin.pour(row.drop(columns="age"), f"S{session}")[0]["readings"]
        good += gel["between"][1] <= small.aims[0].at_most and peak["value"] <= small.aims[1].at_most
    chance = resin.true_chance(row)[0]
    assert 0.15 < chance < 0.85
    # Three standard errors, and what the two scatters of the probe leave out of the formula.
    assert good / sessions == pytest.approx(chance, abs=3 * np.sqrt(chance * (1 - chance) / sessions) + 0.05)


@pytest.mark.slow
def test_the_true_chance_of_hardness_is_the_share_of_readings_that_are_hard(study):
    """Counted over sessions, each with a scatter of its own beside that of the pour and of the reading."""
    small = slim(study, "hardness")
    resin, row = practice_resin(small, 2), table_of(small, {"thickness": 12.0})
    end = np.floor(resin.ideal(row.assign(age=24.0))["hardness"].iloc[0]) + 1.5  # between two whole numbers
    small = replace(small, aims=(replace(small.aims[0], at_least=end, at_most=None),))
    resin = replace(resin, study=small, scale_resolution=1e-9)
    made = [resin.pour(row.drop(columns="age"), f"S{session}")[0]["readings"] for session in range(300)]
    hard = np.mean([[a["value"] >= end for a in one if a["age"] == 24.0] for one in made])
    chance = resin.true_chance(row)[0]
    assert 0.1 < chance < 0.9
    assert hard == pytest.approx(chance, abs=3 * np.sqrt(chance * (1 - chance) / 300))


def test_drums_differ_most_where_it_is_awkward():
    def spread(difficulty):
        truth = draw_physical(4, difficulty)
        return np.std([np.log(truth.of_lot(4, f"drum {i}").induction / truth.induction) for i in range(40)])

    assert spread("gentle") < spread("ordinary") < spread("awkward")
    assert draw_physical(4, "awkward").of_lot(4, "drum 2") == draw_physical(4, "awkward").of_lot(4, "drum 2")


def test_the_lot_is_logged_where_it_is_said(study):
    plan = table_of(study, {}).drop(columns="age")
    resin = practice_resin(study, 4, kind="physical")
    assert "resin_lot" not in resin.pour(plan)[0]["settings"]
    assert resin.pour(plan, lot="drum 2")[0]["settings"]["resin_lot"] == "drum 2"


def test_gentle_scatters_least_and_awkward_contradicts_belief():
    """Belief on the gel exponent: 0.75 give or take 0.3 (`beliefs.toml`); awkward resins lie outside."""
    gentle, ordinary, awkward = ([draw_physical(seed, d) for seed in range(20)] for d in ("gentle", "ordinary", "awkward"))
    assert max(t.session for t in gentle) <= min(t.session for t in ordinary)
    assert all(t.induction_exponent < 0.45 and t.inhibition < 0 for t in awkward)
    assert all(0.45 < t.induction_exponent < 1.05 and t.inhibition > 0 for t in ordinary)


def test_difficulty_of_an_algebraic_resin(study):
    assert practice_resin(study, 9, difficulty="awkward").truth == draw_truth(9, True)
    assert practice_resin(study, 9).truth == draw_truth(9)
    assert practice_resin(study, 9, difficulty="gentle").truth.session < draw_truth(9).session


def test_an_unknown_kind_or_difficulty_is_named(study):
    with pytest.raises(Problem, match="kind 'wax' is not one of algebraic, physical; difficulty 'cruel'"):
        practice_resin(study, 1, kind="wax", difficulty="cruel")


@pytest.fixture(scope="module")
def round_played(study, castings_of):
    """Three sessions of a physical resin as castings."""
    resin, pours, reads = practice_resin(study, 11, kind="physical", difficulty="gentle"), [], []
    plan = pd.DataFrame({"catalyst": [1.0, 2.5, 1.6], "pigment": [0.2, 4.0, 1.0], "thickness": [6.0, 16.0, 11.0], "cover": [1.0, 0.0, 1.0]})
    for number, room in enumerate((17.0, 21.0, 23.0)):
        for made in resin.pour(plan.set_axis([f"P{number}{i}" for i in range(3)]), f"day {number}", room=room):
            pours.append({"pour": made["pour"], "session": f"day {number}", **made["settings"]})
            for answer in made["readings"]:
                low, high = answer.get("between") or (answer.get("not_yet", answer.get("value")), answer.get("value", np.inf))
                reads.append({"pour": made["pour"], "reading": answer["reading"], "low": low, "high": high, "age": answer["age"] or np.nan})
    return resin, castings_of(study, pd.DataFrame(pours).set_index("pour"), pd.DataFrame(reads))


@pytest.mark.slow
def test_a_lesson_says_what_each_session_taught(round_played):
    resin, castings = round_played
    found = resin.lesson(castings, {"thickness": "12 mm"}, room="18 degC")
    table = found.table
    assert list(table.index) == ["day 0", "day 1", "day 2"]
    assert list(table["pours"]) == [3, 6, 9]
    assert ((0 <= table["true"]) & (table["true"] <= found.best)).all()
    by_hand = np.diff([found.start, *table["true"]]) / 3
    assert table["per pour"].to_numpy() == pytest.approx(by_hand)
    assert "after 9 pours" in found.sentence()


def test_a_lesson_before_any_pour_is_refused(study, castings_of):
    empty = castings_of(study, pd.DataFrame(columns=[f.name for f in study.factors]), pd.DataFrame(columns=["pour", "reading", "low", "high"]))
    with pytest.raises(Problem, match="Nothing has been poured yet"):
        practice_resin(study, 1).lesson(empty)


def test_the_true_chance_is_of_what_a_gauge_in_whole_numbers_reads(study):
    """At least 70 and at least 69.2 ask for the same: a reading of 70. At least 70.2 asks for 71."""
    resin, row = practice_resin(slim(study, "hardness"), 2), table_of(slim(study, "hardness"), {"thickness": 12.0})
    end = np.floor(resin.ideal(row.assign(age=24.0))["hardness"].iloc[0])
    aims = [replace(resin.study.aims[0], at_least=end + more, at_most=None) for more in (-0.8, 0.0, 0.2)]
    same, also, harder = (replace(resin, study=replace(resin.study, aims=(aim,))).true_chance(row)[0] for aim in aims)
    assert same == also > harder + 0.05


def test_a_resin_looked_at_keeps_its_numbers_hidden(study):
    resin = practice_resin(study, seed=3)
    assert repr(resin) == f"A practice resin, number 3, for {study.name}. What it does is hidden: pour it, and see with reveal() at the end."
    assert "truth" not in repr(resin) and len(resin.reveal()) > 5
