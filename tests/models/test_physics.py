"""The lot's numbers from the log, heat and cure as terms, and when they are taken."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import testpour.models.physics as physics_module
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.optimum import optimum_of
from testpour.models.beliefs import Belief, beliefs_for
from testpour.models.fits import fit_castings
from testpour.models.physics import PEAK, LotFit, _Evidence, _gauss_newton, _inverse_covariance_times, _noise_covariance, latent, learn_lot, lot_settings
from testpour.models.physics_choice import PeakColumn, _with_physics
from testpour.models.reading_model import log_evidence, rows_of
from testpour.models.scales import to_reading
from testpour.models.settings import settings_table
from testpour.models.terms import design
from testpour.physics.lots import UNKNOWNS, lots_at

READ = ("gel_time", "time_to_peak", PEAK)


def simulated(study, castings_of, seed, pours=12):
    """A log drawn from the model itself: a lot from belief, scatter as `beliefs.toml` puts it."""
    rng = np.random.default_rng(seed)
    place = np.clip(rng.standard_normal(len(UNKNOWNS)), -2, 2)
    index = [f"P{i:02d}" for i in range(pours)]
    table = pd.DataFrame({
        "catalyst": rng.uniform(1, 2.5, pours), "thickness": rng.uniform(5, 16, pours), "pigment": 0.5, "cover": 1.0, "humidity": 50.0,
        "room_temperature": np.repeat(rng.uniform(16, 25, 3), pours // 3), "session": np.repeat(["S1", "S2", "S3"], pours // 3),
    }, index)
    day, reads = {True: rng.normal(0, 0.12, 3), False: rng.normal(0, 0.2, 3)}, []
    wobble = {True: rng.normal(0, 0.1, pours), False: rng.normal(0, 0.2, pours)}
    for name in READ:
        reading, timed = study.reading(name), name != PEAK
        value = latent(name, lots_at(place), lot_settings(table))[0] + np.repeat(day[timed], pours // 3) + wobble[timed]
        value = value + rng.normal(0, 0.12 if timed else 0.2, pours)
        for pour, x, room in zip(index, value, table["room_temperature"], strict=True):
            seen = float(to_reading(reading, np.array([x]), np.array([room]))[0])
            low, high = (seen - 2, seen + 2) if timed else (seen, seen)
            reads.append({"pour": pour, "reading": name, "low": low, "high": high})
    return place, castings_of(study, table, pd.DataFrame(reads))


def test_an_empty_log_leaves_belief(study, castings_of):
    empty = castings_of(study, pd.DataFrame(columns=[f.name for f in study.factors]), pd.DataFrame(columns=["pour", "reading", "low", "high"]))
    lot = learn_lot(empty)
    np.testing.assert_array_equal(lot.place, np.zeros(9))
    np.testing.assert_array_equal(lot.covariance, np.eye(9))
    assert "trade's guesses" in lot.sentence()


@pytest.mark.slow
def test_the_truth_lies_where_the_lot_is_said_to_be(study, castings_of):
    """Lots drawn from belief, logs drawn from the lot: squared distance over covariance averages the dimension, 9.

    Chi-squared with 9 degrees: mean 9, variance 18, so over 40 logs 3 standard errors are 2.0; the straight
    line through a curved cliff earns as much again.
    """
    far = []
    for seed in range(40):
        place, castings = simulated(study, castings_of, seed)
        lot = learn_lot(castings)
        off = place - lot.place
        far.append(off @ np.linalg.solve(lot.covariance, off))
    assert 9 - 4 < np.mean(far) < 9 + 4


def test_a_log_narrows_what_it_can_see(study, castings_of):
    _, castings = simulated(study, castings_of, 1)
    lot = learn_lot(castings)
    assert lot.pours == 12 and lot.peaks == 12
    assert {"induction", "rate"} <= set(lot.narrowed)
    assert (np.diag(lot.covariance) < 1).all()
    assert "12 pours" in lot.sentence()


def test_what_the_log_narrows_little_is_not_called_a_guess_that_it_left_alone():
    """Thirteen pours move the belief in the exponent by 0.7 of its spread and leave 0.81 of that: no guess of the trade any more."""
    place, left = np.zeros(9), np.full(9, 0.4)
    place[UNKNOWNS.index("induction_exponent")], left[UNKNOWNS.index("induction_exponent")] = 0.7, 0.81
    lot = LotFit(place, np.diag(left**2), (place, np.diag(left**2)), pours=13, peaks=13)
    assert lot.sentence() == ("The resin's numbers rest on 13 pours of the log. In this calculation they hardly narrow what the trade "
                              "believes about how strongly catalyst shortens the gel.")


def test_scatter_shared_by_a_pour_or_a_session_is_counted_once(study, castings_of):
    """Against generalised least squares with the whole covariance written out pair by pair."""
    _, castings = simulated(study, castings_of, 2)
    lot = learn_lot(castings)
    read = castings.readings.assign(timed=castings.readings["reading"] != PEAK)
    rows = read.merge(castings.pours[["session"]], left_on="pour", right_index=True).sort_values("reading", ignore_index=True)
    scatter = {name: beliefs_for(study, study.reading(name)).scatter for name in READ}
    covariance = np.zeros((len(rows), len(rows)))
    for i, a in rows.iterrows():
        for j, b in rows.iterrows():
            shared = [name for name in ("pour", "session") if a["timed"] == b["timed"] and a[name] == b[name]]
            covariance[i, j] = sum(scatter[a["reading"]][name] * scatter[b["reading"]][name] for name in shared)
        width = np.log(a["high"] / a["low"]) if a["timed"] else 0.0
        covariance[i, i] += scatter[a["reading"]]["reading"] ** 2 + width**2 / 12
    slopes = np.empty((len(rows), 9))
    for name, part in rows.groupby("reading"):
        settings = lot_settings(castings.pours.loc[part["pour"]])
        ahead, behind = (latent(name, lots_at(lot.place + sign * 0.3 * np.eye(9)), settings) for sign in (1, -1))
        slopes[part.index] = (ahead - behind).T / 0.6
    spread = np.linalg.inv(slopes.T @ np.linalg.inv(covariance) @ slopes + np.eye(9))
    np.testing.assert_allclose(np.diag(lot.covariance), np.diag(spread), rtol=0.01)


def test_what_is_believed_of_pigment_is_taken_off_the_times(study, castings_of):
    """Believed for sure to slow a gel by 0.2 a per cent: 4 % more of it and times exp(0.8) as long say the same of the lot."""
    _, castings = simulated(study, castings_of, 3)
    believed = {name: {"pigment": {"mean": 0.0 if name == PEAK else 0.2, "sd": 1e-4}} for name in READ}
    times, read = castings.readings["reading"] != PEAK, castings.readings
    slower = read.assign(**{end: read[end].where(~times, read[end] * np.exp(0.8)) for end in ("low", "high")})
    slowed = replace(castings, pours=castings.pours.assign(pigment=4.5), readings=slower)
    np.testing.assert_allclose(learn_lot(slowed, believed).place, learn_lot(castings, believed).place, atol=1e-3)
    assert np.abs(learn_lot(slowed).place - learn_lot(castings).place).max() > 0.1  # the trade is not so sure


def test_the_terms_are_the_peak_at_the_lot_and_its_slopes(study, castings_of):
    """Along a direction the straight line must agree with the slab itself, half a standard deviation away."""
    _, castings = simulated(study, castings_of, 2)
    lot = learn_lot(castings)
    table = settings_table(study, pd.DataFrame({"thickness": [8.0, 12.0], "catalyst": [1.5, 2.0]}), room=20)
    direction = 0.5 * np.eye(9)[3]
    column = PeakColumn(tuple(lot.place), tuple(direction))(table)
    moved = [latent(PEAK, lots_at(lot.place + sign * direction / 2), lot_settings(table))[0] for sign in (1, -1)]
    np.testing.assert_allclose(column, moved[0] - moved[1], rtol=1e-9)


def test_belief_in_the_terms_is_belief_about_the_lot(study, castings_of):
    """Before any peak is read, the peak's spread over the terms is its spread over lots, to first order."""
    _, castings = simulated(study, castings_of, 3)
    castings = replace(castings, readings=castings.readings[castings.readings["reading"] != PEAK].reset_index(drop=True))
    lot = learn_lot(castings)
    reading = study.reading(PEAK)
    believed = _with_physics(study, beliefs_for(study, reading), lot)
    table = settings_table(study, pd.DataFrame({"thickness": [7.0, 10.0, 14.0], "catalyst": 1.6}), room=21)
    rows = design(believed.terms[1:4], table)  # the three directions
    spread = np.sqrt((rows**2).sum(axis=1))
    draws = latent(PEAK, lot.draws(800), lot_settings(table))
    assert spread == pytest.approx(draws.std(axis=0), rel=0.4)
    assert [b.mean for b in believed.beliefs[1:4]] == pytest.approx([0, 0, 0], abs=0.03)  # the climb stops within 0.02


def test_evidence_is_the_likelihood_averaged_over_belief():
    """Brute force: 200,000 draws from the beliefs, the normal density of four exact rows averaged."""
    rng = np.random.default_rng(0)
    x = np.array([-1.0, 0.0, 1.0, 2.0])
    y = np.array([0.3, 0.9, 1.2, 2.2])
    exog = pd.DataFrame({"level": np.ones(4), "slope": x})
    model = IntervalModel(y, y, exog, belief=(np.array([0.0, 1.0]), np.array([1.0, 0.5])), sd_belief=0.3)
    level, slope = rng.normal(0, 1, 200_000), rng.normal(1, 0.5, 200_000)
    sigma = np.abs(rng.normal(0, 0.3, 200_000))
    off = (y - level[:, None] - slope[:, None] * x) / sigma[:, None]
    density = np.exp(-(off**2).sum(axis=1) / 2 - 4 * np.log(sigma) - 2 * np.log(2 * np.pi))
    _, unit, top = optimum_of(model)
    assert log_evidence(unit, top, 0) == pytest.approx(np.log(density.mean()), abs=0.25)  # Laplace in one dimension


@pytest.fixture(scope="module")
def physical(study, castings_of):
    return simulated(study, castings_of, 5)[1]


def names(fits):
    return [term.name for term in fits[PEAK].believed.terms]


@pytest.mark.slow
def test_physics_is_taken_where_the_log_speaks_for_it(physical, practice_castings):
    """A log drawn from slabs, and one drawn from formulas that are none."""
    assert "physics" in names(fit_castings(physical))
    assert "physics" not in names(fit_castings(practice_castings))
    assert "Heat and cure" in fit_castings(physical)[PEAK].sentence()


@pytest.mark.slow
def test_physics_can_be_refused(physical):
    assert "physics" not in names(fit_castings(physical, physics=False))


@pytest.mark.slow
def test_where_plain_terms_stay_nothing_changes(practice_castings):
    free, without = fit_castings(practice_castings), fit_castings(practice_castings, physics=False)
    for name, fit in free.items():
        np.testing.assert_array_equal(fit.posterior.coefficients, without[name].posterior.coefficients)


@pytest.mark.slow
def test_other_readings_are_left_alone(physical):
    one, two = fit_castings(physical), fit_castings(physical, physics=False)
    np.testing.assert_array_equal(one["gel_time"].posterior.coefficients, two["gel_time"].posterior.coefficients)


def test_a_study_without_thickness_does_without(study, physical):
    small = replace(study, factors=tuple(f for f in study.factors if f.name != "thickness"))
    castings = replace(physical, study=small, pours=physical.pours.drop(columns="thickness"))
    assert "physics" not in names(fit_castings(castings))
    assert learn_lot(castings).pours == 0


@pytest.mark.slow
def test_a_pour_left_out_keeps_the_terms(physical):
    fit = fit_castings(physical)[PEAK]
    other = fit.without("P03")
    assert other.coefficients.shape[1] == len(fit.believed.terms)
    held = fit.rows[fit.rows["pour"] == "P03"]
    far, near = (np.mean(draws @ design(fit.believed.terms, held).T) for draws in (other.coefficients, fit.posterior.coefficients))
    read = fit.model.low[fit.labels["pour"] == "P03"].item()
    assert abs(far - read) > abs(near - read)


def test_nothing_is_double_counted(study, castings_of):
    """What gel times and times to peak say enters as belief; the peaks enter once, as rows."""
    _, castings = simulated(study, castings_of, 6)
    lot = learn_lot(castings)
    without = replace(castings, readings=castings.readings[castings.readings["reading"] != PEAK].reset_index(drop=True))
    alone = learn_lot(without)
    np.testing.assert_allclose(lot.by_times[0], alone.by_times[0], atol=1e-9)
    np.testing.assert_allclose(lot.by_times[1], alone.by_times[1], atol=1e-9)
    assert len(rows_of(castings, study.reading(PEAK))[0]) == 12


CEILING = UNKNOWNS.index("ceiling")


def test_the_ceiling_is_learnt_from_the_peaks_too(study, castings_of):
    """A stall earlier is heat not made: the peaks of a log narrow what is believed of heat and ceiling together."""
    _, castings = simulated(study, castings_of, 1)
    lot = learn_lot(castings)
    both = np.zeros(9)
    both[[UNKNOWNS.index("heat_of_cure"), CEILING]] = 1.0
    assert both @ lot.covariance @ both < 0.8 * 2


def test_a_study_that_names_no_lots_learns_from_its_castings(study, castings_of):
    """Twelve pours in three sessions, of which nobody wrote down the bottles."""
    _, castings = simulated(replace(study, factors=tuple(f for f in study.factors if not f.name.endswith("_lot"))), castings_of, 1)
    assert learn_lot(castings).pours == 12


def two_readings(study):
    """Three gel times, one between two checks and one not yet, and two peaks, of three pours in two sessions."""
    time = _Evidence(study.reading("gel_time"), np.log([20.0, 30.0, 40.0]), np.array([np.log(20.0), np.log(36.0), np.inf]), np.zeros((3, 3)), np.zeros(3),
                     Belief(0.1, 0.5), {"pour": np.array(["P1", "P2", "P3"]), "session": np.array(["S1", "S1", "S2"])},
                     {"reading": 0.3, "pour": 0.5, "session": 0.7})
    peak = _Evidence(study.reading("peak_temperature"), np.array([-1.1, -0.6]), np.array([-1.1, -0.6]), np.zeros((3, 2)), np.zeros(2),
                     Belief(-0.2, 0.4), {"pour": np.array(["P1", "P3"]), "session": np.array(["S1", "S2"])}, {"reading": 0.2, "pour": 0.6, "session": 0.8})
    return [time, peak]


def test_the_scatter_of_readings_as_one_matrix(study):
    """Between 30 and 36 min a twelfth of the squared log of 1.2 is added. What a pour or a day shares is shared by readings of a kind: times or peaks."""
    noise = _noise_covariance(two_readings(study))
    own = [0.09, 0.09 + np.log(1.2) ** 2 / 12, 0.09, 0.04, 0.04]
    pour, session = np.diag([0.25, 0.25, 0.25, 0.36, 0.36]), np.array([0.49, 0.49, 0.49, 0.64, 0.64])
    day = np.array([[1, 1, 0, 0, 0], [1, 1, 0, 0, 0], [0, 0, 1, 0, 0], [0, 0, 0, 1, 0], [0, 0, 0, 0, 1]]) * session
    whole = np.diag(own) + pour + day
    shared = noise[1].toarray()
    assert np.diag(noise[0]) + shared @ shared.T == pytest.approx(whole)
    used, right = np.array([0, 1, 3, 4]), np.array([[1.0, 0.3], [2.0, -0.4], [-1.0, 0.7], [0.5, 1.1]])
    assert _inverse_covariance_times(noise, used, right) == pytest.approx(np.linalg.solve(whole[np.ix_(used, used)], right))
    alone = (noise[0], noise[1][:, :0])
    assert _inverse_covariance_times(alone, used, right) == pytest.approx(right / noise[0][used, None])


def test_a_straight_line_is_learnt_as_bayes_has_it(study, monkeypatch):
    """Unknowns believed 0 give or take 1, and two effects of pigment 0.1 give or take 0.5 and -0.2 give or take 0.4; four of five readings tell,
    each a straight line of all: the precision is the sum of both, by numpy. No step is longer than 1, and none ends beyond 3."""
    parts, count = two_readings(study), len(UNKNOWNS)
    rng = np.random.default_rng(5)
    slopes, targets, used = rng.normal(0, 0.4, (5, count + 2)), np.array([0.4, -0.9, 5.0, 0.3, 0.8]), np.array([0, 1, 3, 4])
    monkeypatch.setattr(physics_module, "_linearised", lambda parts, at, count: (slopes, targets, used))
    place, covariance = _gauss_newton(parts)
    noise = _noise_covariance(parts)
    whole = np.diag(noise[0]) + (noise[1] @ noise[1].T).toarray()
    inverse = np.linalg.inv(whole[np.ix_(used, used)])
    sd, mean = np.r_[np.ones(count), 0.5, 0.4], np.r_[np.zeros(count), 0.1, -0.2]
    precision = slopes[used].T @ inverse @ slopes[used] + np.diag(1 / sd**2)
    top = np.linalg.solve(precision, slopes[used].T @ inverse @ targets[used] + mean / sd**2)
    assert place == pytest.approx(top[:count], abs=0.03) and covariance == pytest.approx(np.linalg.inv(precision)[:count, :count])
    for far, start, end in ((30.0, None, 3.0), (30.0, np.full(count, -2.0), 3.0)):
        monkeypatch.setattr(physics_module, "_linearised", lambda parts, at, count, far=far: (np.eye(5, count + 2) * 1e3, np.full(5, far * 1e3), used))
        assert _gauss_newton(parts, start)[0][used] == pytest.approx(np.full(4, end))
