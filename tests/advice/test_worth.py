"""The value of a pour, against plain integration, against reweighted draws, and against what must hold."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import norm

from testpour.advice import contexts
from testpour.advice import worth as worth_module
from testpour.advice.contexts import chances_by_draw
from testpour.advice.prospect import Prospect, Side, State, _sides_of, _state_of, prospect, states_of
from testpour.advice.worth import Information, Sharpened, Worth, _grade_information, _nearest_cut, _scenarios, information_of
from testpour.models.chance import chance
from testpour.models.scales import to_latent
from testpour.models.settings import settings_table
from testpour.models.terms import Term
from testpour.study.study import Aim

CENTRE, SPREAD = np.array([0.3, -0.2]), np.array([[0.8, 0.3], [0.3, 0.5]])
OBSERVED, NOISE = np.array([1.0, 0.6]), 0.4
ASKED = np.array([[1.0, 0.0], [1.0, 1.2]])  # two settings that may be recommended
OFFSET, SCATTER = np.array([-0.1, 0.1]), 0.7


def small_case():
    """Two unknowns, one candidate pour, two settings to recommend between; met where the gap is above 0."""
    state = State(None, CENTRE, SPREAD)
    side = Side("any", ASKED, OFFSET, SCATTER, True)
    gap = ASKED @ CENTRE + OFFSET
    variance = np.einsum("ij,jk,ik->i", ASKED, SPREAD, ASKED)
    return state, Information(OBSERVED[None], np.array([NOISE])), [(side, gap, variance)]


def brute_force(points=161, outcomes=401):
    """Best mean chance after the pour, by Bayes' rule on a grid: no formula for a normal posterior is used."""
    axes = [np.linspace(c - 6 * s, c + 6 * s, points) for c, s in zip(CENTRE, np.sqrt(np.diag(SPREAD)), strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
    away = grid - CENTRE
    prior = np.exp(-0.5 * np.einsum("ij,jk,ik->i", away, np.linalg.inv(SPREAD), away))
    prior /= prior.sum()
    met = ndtr((grid @ ASKED.T + OFFSET) / SCATTER)
    seen = grid @ OBSERVED
    wide = np.sqrt(NOISE + prior @ (seen - prior @ seen) ** 2)
    outcome = prior @ seen + wide * np.linspace(-7, 7, outcomes)
    weight = prior[None] * norm.pdf(outcome[:, None], seen[None], np.sqrt(NOISE))
    return float((weight @ met).max(axis=1).sum() * (outcome[1] - outcome[0]))


@pytest.mark.slow
def test_value_of_a_pour_is_that_of_plain_integration():
    """Brute-force quadrature over unknowns and outcomes, here; and the one-dimensional integral it reduces to."""
    state, told, sides = small_case()
    scores = _scenarios(4096, 1, seed=0)[:, 0]
    ours = Sharpened(state, told, sides, 4096).met(np.array([0]), scores)[0].max(axis=1).mean()
    pull = ASKED @ SPREAD @ OBSERVED / np.sqrt(OBSERVED @ SPREAD @ OBSERVED + NOISE)
    gap, variance = ASKED @ CENTRE + OFFSET, np.einsum("ij,jk,ik->i", ASKED, SPREAD, ASKED)
    left = np.sqrt(variance - pull**2 + SCATTER**2)
    exact = quad(lambda z: norm.pdf(z) * ndtr((gap + pull * z) / left).max(), -9, 9, points=[0], limit=200)[0]
    assert brute_force() == pytest.approx(exact, abs=2e-5)
    assert ours == pytest.approx(exact, abs=2e-4)  # 4096 Sobol points on a kinked integrand


@pytest.mark.slow
def test_scenarios_are_even_enough_for_the_value_of_a_pour():
    """The 64 scenarios in use, against the integral: within half a point in a hundred."""
    state, told, sides = small_case()
    for seed in range(5):
        count = worth_module.SCENARIOS
        scores = _scenarios(count, 1, seed)[:, 0]
        ours = Sharpened(state, told, sides, count).met(np.array([0]), scores)[0].max(axis=1).mean()
        assert ours == pytest.approx(brute_force(outcomes=101), abs=0.005)


def test_a_pour_taken_as_made_leaves_the_covariance_of_the_normal_posterior():
    """Conjugate normal update, inverse covariances added (textbook closed form)."""
    state, told, sides = small_case()
    sharp = Sharpened(state, told, sides, 8)
    sharp.add(0, np.zeros(8))
    exact = np.linalg.inv(np.linalg.inv(SPREAD) + np.outer(OBSERVED, OBSERVED) / NOISE)
    assert sharp.covariance == pytest.approx(exact, abs=1e-12)
    assert sharp.variances[0] == pytest.approx(np.einsum("ij,jk,ik->i", ASKED, exact, ASKED), abs=1e-12)


def test_a_pour_taken_as_made_moves_the_chance_as_it_was_foreseen():
    """In each scenario the chance once the pour is made is the one it was said to promise."""
    state, told, sides = small_case()
    sharp, scores = Sharpened(state, told, sides, 5), np.array([-2.0, -0.5, 0.0, 1.0, 2.5])
    foreseen = sharp.met(np.array([0]), scores)[0]
    sharp.add(0, scores)
    assert sharp.now() == pytest.approx(foreseen, abs=1e-12)
    assert np.ptp(foreseen, axis=0).min() > 0.1


def test_doubt_is_the_variance_of_the_chance_to_first_order():
    """The chance's slope along the gap is a normal density; its square times the gap's variance, added up over settings."""
    state, told, sides = small_case()
    gap, variance = ASKED @ CENTRE + OFFSET, np.einsum("ij,jk,ik->i", ASKED, SPREAD, ASKED)
    slope = norm.pdf(gap, scale=np.sqrt(variance + SCATTER**2))
    pull = ASKED @ SPREAD @ OBSERVED / np.sqrt(OBSERVED @ SPREAD @ OBSERVED + NOISE)
    sharp = Sharpened(state, told, sides, 3)
    assert sharp.doubt() == pytest.approx(slope**2 @ variance, rel=1e-9)
    assert sharp.doubt([0]) == pytest.approx([slope**2 @ pull**2], rel=1e-9)


def test_a_session_not_yet_held_is_as_doubtful_as_sessions_differ(fits):
    """The mean squared session sd of the draws."""
    spread = fits["gel_time"].posterior.group_sds["session"]
    assert _state_of(fits["gel_time"]).covariance[-1, -1] == pytest.approx(np.mean(spread**2), rel=1e-12)


def test_what_a_pour_may_show_leaves_the_chance_the_same_on_average(fits):
    """The mean over outcomes of tomorrow's chance is today's (law of total expectation), setting by setting."""
    study, states = fits.study, states_of(fits)
    table = settings_table(study, [{"catalyst": c, "thickness": t} for c in (1.2, 1.8, 2.4) for t in (6, 15)], room=18)
    at = prospect(states, study, table)
    for aim, sides in zip(study.aims, at.aims, strict=True):
        state = states[aim.reading]
        sharp = Sharpened(state, information_of(state, table, aim, True), [(s, *at.gap(s)) for s in sides], 4096)
        later = sharp.met(np.arange(len(table)), _scenarios(4096, 1, 0)[:, 0]).mean(axis=1)
        for candidate in later:
            assert candidate == pytest.approx(at.met(sides), abs=1e-3)


def test_the_summed_up_chance_is_that_of_the_draws(fits):
    """Mean chance from means and covariances, against the mean over all draws of the fits themselves."""
    table = settings_table(fits.study, [{"catalyst": c, "thickness": t, "cover": v} for c in (1, 1.5, 2, 2.5)
                                        for t in (6, 10, 15) for v in (0, 1)], room=19)
    drawn = chance(fits, table).draws.mean(axis=0)
    assert prospect(states_of(fits), fits.study, table).chance() == pytest.approx(drawn, abs=0.04)


def test_an_aim_is_judged_at_its_own_age(fits):
    """Hardness at 2 h and at 168 h: each as the draws have it at that age, the two far apart."""
    table = settings_table(fits.study, [{"catalyst": "1.5 %"}])
    aims = tuple(Aim("hardness", at_least=70.0, age=age) for age in (2.0, 168.0))
    early, late = prospect(states_of(fits), replace(fits.study, aims=aims), table).by_aim()[:, 0]
    drawn = [fits.calibrated["hardness"].chances(table.assign(age=aim.age), at_least=70.0).mean() for aim in aims]
    assert [early, late] == pytest.approx(drawn, abs=0.04) and late > early + 0.3


def test_an_aim_is_judged_as_the_gauge_reads(fits):
    """A gauge in steps of 20 Shore D reads 80 from 70 on: as the draws have it from there."""
    table = settings_table(fits.study, [{"catalyst": "1.5 %"}])
    states = states_of(fits)
    coarse = replace(states["hardness"], fit=replace(states["hardness"].fit, reading=replace(fits["hardness"].reading, resolution=20.0)))
    study = replace(fits.study, aims=(Aim("hardness", at_least=80.0, age=24.0),))
    fine = replace(states["hardness"], fit=replace(states["hardness"].fit, reading=replace(fits["hardness"].reading, resolution=0.0)))
    from_70 = prospect({"hardness": fine}, replace(study, aims=(Aim("hardness", at_least=70.0, age=24.0),)), table).chance()
    assert prospect({"hardness": coarse}, study, table).chance() == pytest.approx(from_70, rel=1e-9)
    assert prospect({"hardness": fine}, study, table).chance() < from_70 - 0.1


def test_a_window_of_grades_is_met_by_its_grades_alone(fits):
    """At least grade 1 and at most grade 2, by means and covariances, against the draws of the fit."""
    table = settings_table(fits.study, [{"catalyst": c, "cover": v} for c in (1, 1.5, 2.2) for v in (0, 1)], room=19)
    study = replace(fits.study, aims=(Aim("tack", at_least=1, at_most=2, age=24.0),))
    drawn = fits.calibrated["tack"].chances(table.assign(age=24.0), 1, 2).mean(axis=0)
    assert drawn.max() > 0.4
    assert prospect(states_of(replace(fits, study=study)), study, table).chance() == pytest.approx(drawn, abs=0.04)


def reweighted_gain(fits, row, contenders, outcomes, rng):
    """The gain of one pour read for gel time alone, by weighting the draws of its fit with imagined readings."""
    fit, aim = fits["gel_time"], next(a for a in fits.study.aims if a.reading == "gel_time")
    low, high = (to_latent(fit.reading, np.full(len(contenders), b)) for b in (aim.at_least, aim.at_most))
    spread = np.sqrt(np.mean(fit.scatter() ** 2))
    mean = fit.mean(contenders)
    met = ndtr((high - mean) / spread) - ndtr((low - mean) / spread)
    seen = fit.mean(row)[:, 0]
    noise = np.sqrt(information_of(states_of(fits)["gel_time"], row, aim, False).noise[0])
    truth = rng.integers(0, len(seen), outcomes)
    shown = seen[truth] + noise * rng.standard_normal(outcomes)
    weight = np.exp(-0.5 * ((shown[:, None] - seen[None]) / noise) ** 2)
    weight /= weight.sum(axis=1, keepdims=True)
    return float((weight @ met).max(axis=1).mean() - met.mean(axis=0).max())


def test_gain_agrees_with_reweighted_draws(unpoured):
    """Another road to the same number: importance weights on the draws, 3000 imagined readings."""
    study = unpoured.study
    alone = replace(study, aims=tuple(aim for aim in study.aims if aim.reading == "gel_time"))
    states = states_of(replace(unpoured, study=alone))
    contenders = settings_table(alone, [{"catalyst": c} for c in (1.0, 1.4, 1.8, 2.4)], room=18)
    row = settings_table(alone, {"catalyst": 1.5}, room=18)
    worth = Worth(alone, states, row, [contenders], 1)
    ours = worth.gains(np.array([0]))[0][0]
    other = reweighted_gain(unpoured, row, contenders, 3000, np.random.default_rng(1))
    assert other > 0.05
    assert ours == pytest.approx(other, abs=0.03)


def test_information_of_one_grade_in_two_is_that_of_probit_regression():
    """2/pi at the cut (closed form: phi(0)^2 / (1/2 x 1/2)); far from every cut a grade tells nothing."""
    cut = np.array([[0.0]])
    assert _grade_information(np.array([[0.0]]), cut)[0, 0] == pytest.approx(2 / np.pi)
    away = norm.pdf(1.3) ** 2 / (norm.cdf(1.3) * norm.sf(1.3))
    assert _grade_information(np.array([[1.3]]), cut)[0, 0] == pytest.approx(away)
    assert _grade_information(np.array([[9.0]]), cut)[0, 0] < 1e-8


def test_many_fine_grades_tell_as_much_as_the_hidden_value():
    """In the limit of fine grades the information is that of the normal value itself: 1."""
    cuts = np.linspace(-8, 8, 400)[None]
    assert _grade_information(np.array([[0.2]]), cuts)[0, 0] == pytest.approx(1.0, abs=1e-3)


def test_pours_on_one_day_tell_less_about_a_new_day_than_pours_on_two(fits):
    """Readings of one session share its error: the second pour of the day settles less than one of another day."""
    study, states = fits.study, states_of(fits)
    row = settings_table(study, {"catalyst": 1.5}, room=20)
    pair = pd.concat([row, row], ignore_index=True)
    aim = next(a for a in study.aims if a.reading == "gel_time")
    state = states["gel_time"]
    left = {}
    for other_day in (False, True):
        told = information_of(state, pair, aim, np.array([True, not other_day]))
        at = prospect(states, study, row)
        sharp = Sharpened(state, told, [(s, *at.gap(s)) for s in at.aims[0]], 4)
        sharp.add(0, np.zeros(4))
        sharp.add(1, np.zeros(4))
        left[other_day] = sharp.variances[0][0]
    assert left[True] < left[False]


def test_draws_of_the_summed_up_states_have_its_mean(fits):
    table = settings_table(fits.study, [{"catalyst": c} for c in (1, 2)], room=18)
    at = prospect(states_of(fits), fits.study, table)
    assert chances_by_draw(at, 4000, 0).mean(axis=0) == pytest.approx(at.chance(), abs=0.02)


@pytest.mark.parametrize("aim, cut", [
    ({"at_most": 0.0}, 0), ({"at_most": 1.0}, 1), ({"at_most": 3.0}, 2), ({"at_least": 1.0}, 0), ({"at_least": 3.0}, 2), ({"at_least": 0.0}, 0),
])
def test_a_grade_is_told_by_the_cut_point_that_its_aim_lies_at(aim, cut):
    """Of grades 0 to 3, cut-points 0, 1 and 2 between them: at most 1 is below cut-point 1, at least 3 above cut-point 2."""
    fit = SimpleNamespace(reading=SimpleNamespace(grades=("dry", "little", "some", "wet")))
    assert _nearest_cut(fit, Aim("tack", **aim)) == cut


def test_the_settings_kept_are_those_that_are_best_in_some_draw_with_the_best_on_the_whole(fits, monkeypatch):
    """Two kept of each. At 6 mm 1 % is refused; 2 % is best in one draw, 4 % in four, 3 % in none but on the whole: 3 and 4 %. At 12 mm 4 % is
    refused, 3 % is best throughout, and of those best in no draw 2 % is better on the whole: 3 and 2 %."""
    mean = np.array([0.50, 0.55, 0.52, 0.20, 0.40, 0.60])
    drawn = np.array([[0.9, 0.1, 0.2], *[[0.3, 0.5, 0.6]] * 4])
    monkeypatch.setattr(contexts, "CONTENDERS", 2)
    def spread(free, row, count, seed):
        assert "thickness" not in [factor.name for factor in free]
        return row.loc[row.index.repeat(4)].assign(catalyst=[1.0, 2.0, 3.0, 4.0])

    monkeypatch.setattr(contexts, "spread_settings", spread)
    monkeypatch.setattr(contexts, "allowed", lambda fits, table: table["catalyst"].to_numpy() != (1 if table["thickness"].iloc[0] == 6 else 4))
    monkeypatch.setattr(contexts, "prospect", lambda *given: SimpleNamespace(chance=lambda: mean))
    monkeypatch.setattr(contexts, "chances_by_draw", lambda at, draws, seed: np.hstack([drawn, drawn[:, [1, 1, 2]]]))
    kept = contexts.contenders(fits, {}, pd.DataFrame({"thickness": [6.0, 12.0]}), fits.study.varied)
    assert [table[["thickness", "catalyst"]].to_numpy().tolist() for table in kept] == [[[6, 3], [6, 4]], [[12, 3], [12, 2]]]


def test_middles_of_three_parts_of_a_span_stand_for_it(fits):
    assert contexts._nodes(replace(fits.study.factor("thickness"), span=(5.0, 65.0))).tolist() == [15, 35, 55]


@pytest.mark.parametrize("aim, upper, offset", [
    (Aim("hardness", at_least=75.0, at_most=90.0), [True, False], [np.log(0.905 / 0.095), -np.log(0.745 / 0.255)]),
    (Aim("hardness", at_least=75.0, age=24.0), [False], [-np.log(0.745 / 0.255)]),
])
def test_the_sides_of_an_aim_by_hand(aim, upper, offset, fits):
    """Hardness, read to 1 of 100: 75 is read from 74.5 on, 90 up to 90.5. Mean 0.4 + 0.6 times the log of a twelfth of the age, the
    aim's where it has one; scatter the mean of 0.3 and 0.5. Unknowns: the two coefficients, and today's session, which an advised casting does not
    share. Chances by scipy's normal."""
    terms = (Term("level", "", (), lambda table: np.ones(2)),
             Term("age", "", (), lambda table: np.log(table["age"] / 12)))
    posterior = SimpleNamespace(coefficients=np.zeros((2, 2)))
    fit = SimpleNamespace(
        reading=fits.study.reading("hardness"), believed=SimpleNamespace(terms=terms), posterior=posterior, scatter=lambda: np.array([0.3, 0.5]))
    state = State(fit, np.array([0.4, 0.6, 0.0]), np.array([[0.5, 0.1, 0], [0.1, 0.2, 0], [0, 0, 0.7]]))
    columns = {"age": np.array([6.0, 18.0])}
    sides = tuple(_sides_of({"hardness": state}, 2, columns, aim))
    slope = np.log(np.array([24.0, 24.0] if aim.age else [6.0, 18.0]) / 12)
    assert [side.upper for side in sides] == upper and [side.scatter for side in sides] == [0.4] * len(upper)
    for side, at in zip(sides, offset, strict=True):
        sign = -1 if side.upper else 1
        assert side.rows == pytest.approx(sign * np.array([[1, slope[0], 0], [1, slope[1], 0]])) and side.offset == pytest.approx(np.full(2, at))
    mean, sd = 0.4 + 0.6 * slope, np.sqrt(0.5 + 0.2 * slope + 0.2 * slope**2 + 0.16)
    least, most = np.log(0.745 / 0.255), np.log(0.905 / 0.095) if aim.at_most else np.inf
    found = Prospect({"hardness": state}, (sides, sides[-1:]), 2)
    met = norm(mean, sd).cdf(most) - norm(mean, sd).cdf(least)
    assert found.by_aim() == pytest.approx(np.array([met, norm(mean, sd).sf(least)])) and found.chance() == pytest.approx(met * norm(mean, sd).sf(least))
    drawn = {"hardness": np.array([[0.2, 1.1, 0.9], [1.5, -0.3, 0.9]])}
    each = np.array([[0.2], [1.5]]) + np.array([[1.1], [-0.3]]) * slope
    assert found.met(sides, drawn) == pytest.approx(norm(each, 0.4).cdf(most) - norm(each, 0.4).cdf(least))


@pytest.mark.parametrize("graded", [False, True])
def test_what_a_pour_tells_of_a_reading_by_hand(graded, fits):
    """Today it shares the session's effect, variance 0.7, on another day it has one of its own; a pour's own is 0.1, the mean of 0.2 squared and 0.4
    squared. One reading: 0.17, the mean of 0.3 squared and 0.5 squared, of which a pour has 1.5 at 24 h, and a twelfth of the mean squared width, 0.4
    and 0. A grade: Fisher's information of its four chances, by scipy, on average over two draws."""
    ratio = lambda table: np.log(table["catalyst"] / table["age"])
    terms = (Term("level", "", (), lambda table: np.ones(2)), Term("catalyst", "", (), ratio))
    rows = pd.DataFrame({"pour": ["P1", "P1", "P2", "P2"], "age": [24.0, 24.0, 24.0, 48.0], "low": [1.0, 2.0, np.e, -np.inf]})
    rows["high"] = [1.0, 2.0, np.e**1.4, 3.0]
    reading = replace(fits.study.reading("gel_time"), low=0.1) if not graded else fits.study.reading("tack")
    cuts = np.array([[-0.5, 0.8, 1.9], [-0.2, 0.7, 2.2]]) if graded else None
    draws = type("Draws", (SimpleNamespace,), {"__len__": lambda self: 2})
    posterior = draws(coefficients=np.array([[0.3, 1.2], [0.5, 0.8]]), sd=np.array([0.3, 0.5]), group_sds={"pour": np.array([0.2, 0.4])}, cuts=cuts)
    fit = SimpleNamespace(reading=reading, believed=SimpleNamespace(terms=terms), posterior=posterior, rows=rows)
    size = 6 if graded else 3
    covariance = np.diag([0.5, 0.4, 0.3, 0.2, 0.1, 0.7][:size])
    covariance[-1, -1] = 0.7
    aim = Aim("tack", at_most=1.0, age=24.0) if graded else Aim("gel_time", at_least=15.0, age=24.0)
    found = information_of(State(fit, np.zeros(size), covariance), pd.DataFrame({"catalyst": [36.0, 60.0]}), aim, np.array([True, False]))
    slope = np.log(np.array([1.5, 2.5]))
    cut = [[0, -1, 0]] * 2 if graded else [[]] * 2
    assert found.rows == pytest.approx(np.array([[1, slope[0], *cut[0], 1], [1, slope[1], *cut[1], 0]]))
    if graded:
        ends = np.column_stack([[-np.inf] * 2, cuts, [np.inf] * 2])[:, None] - (posterior.coefficients @ np.array([[1, 1], slope]))[..., None]
        one = 1 / (np.diff(norm.pdf(ends)) ** 2 / np.diff(norm.cdf(ends))).sum(axis=2).mean(axis=0)
    else:
        one = 0.17 / 1.5 + 0.4**2 / 3 / 12
    assert found.noise == pytest.approx(one + 0.1 + np.array([0.0, 0.7]))


def test_the_best_chance_of_each_room_is_averaged_over_rooms_and_outcomes(monkeypatch):
    """Of 0.2 and 0.5 or 0.6 and 0.1 the best is 0.5 or 0.6, in another room 0.4 or 0.3: 0.55 and 0.35 on average."""
    monkeypatch.setattr(worth_module, "SCENARIOS", 2)
    worth = Worth.__new__(Worth)
    worth.ends, worth.size, worth.before, worth.doubt = np.array([2]), 3, 0.33, 0.8
    chance = np.array([[[0.2, 0.5, 0.4], [0.6, 0.1, 0.3]]])
    assert worth.value(chance) == pytest.approx([0.45])
    halves = [SimpleNamespace(met=lambda places, scores: np.sqrt(chance) * scores, doubt=lambda places: np.array([0.3])),
              SimpleNamespace(met=lambda places, scores: np.sqrt(chance) / scores, doubt=lambda places: np.array([0.1]))]
    worth.readings, worth.scores = halves, [[2.0, 2.0], [3.0, 5.0]]
    gain, doubt = worth.gains(np.array([0]))
    assert gain == pytest.approx([0.12]) and doubt == pytest.approx([0.5])
