"""Pooled draws against the exact posterior of the same model, which importance sampling gives where pools are small."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.optimum import optimum_of
from testpour.likelihood.posterior import sample
from testpour.models.reading_model import log_evidence
from testpour.pooling import draws, reading
from testpour.pooling.draws import sample_pool
from testpour.pooling.reading import fit_pooled
from testpour.study.study_file import study_from


def small_pool(kind, benches=6, sessions=4, pours=4, unit=1):
    """Rows of a few benches with sessions, known exactly (in any unit) or as grades."""
    rng, n = np.random.default_rng(0), benches * sessions * pours
    bench, session = np.repeat(np.arange(benches), n // benches), np.repeat(np.arange(benches * sessions), pours)
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    y = x @ [1, 0.5, -0.3] + 0.4 * rng.normal(size=benches)[bench] + 0.2 * rng.normal(size=session[-1] + 1)[session]
    y = y + 0.3 * rng.normal(size=n)
    groups = {"bench": bench, "session": session}
    if kind == "grades":
        grades = np.digitize(y / 0.5, [0, 2, 4]).astype(float)
        options = {"grades": 4, "cut_belief": ([0, 2, 4], [2, 2, 2]), "group_beliefs": dict.fromkeys(groups, 1.0)}
        return IntervalModel(grades, grades, x[:, 1:], groups=groups, belief=([0, 0], [2, 2]), **options), bench
    options = {"sd_belief": 0.5 * unit, "group_beliefs": dict.fromkeys(groups, 0.5 * unit)}
    belief = (unit * np.array([1, 0, 0]), unit * np.ones(3))
    return IntervalModel(unit * y, unit * y, x, groups=groups, belief=belief, **options), bench


def alike(found, exact, within):
    """Means within a share of the exact spread, spreads within the same share."""
    assert np.abs(found.mean(axis=0) - exact.mean(axis=0)).max() < within * exact.std(axis=0).max()
    np.testing.assert_allclose(found.std(axis=0), exact.std(axis=0), rtol=within)


def test_the_evidence_of_rows_in_seconds_is_that_of_the_same_in_minutes():
    """A density of n numbers sixty times as large is lower by n ln 60, whatever unit it is worked out in."""
    found = []
    for unit in (1, 60):
        model, bench = small_pool("exact", unit=unit)
        found.append(log_evidence(*optimum_of(model)[1:], len(model.groups)))
    assert found[0] - found[1] == pytest.approx(len(bench) * np.log(60), abs=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["exact", "grades"])
def test_draws_are_those_of_the_exact_posterior(kind):
    """Means, spreads and middles of everything a pool tells, within what sampling and the approximation leave."""
    model, bench = small_pool(kind)
    found, exact = sample_pool(model, bench), sample(model, draws=12000)
    alike(found.coefficients, exact.coefficients, 0.2)
    alike(found.group_effects["bench"], exact.group_effects["bench"], 0.2)
    for name in ("bench", "session"):
        ends = [np.quantile(one.group_sds[name], [0.25, 0.5, 0.75]) for one in (found, exact)]
        np.testing.assert_allclose(*ends, atol=0.25 * exact.group_sds[name].std(), rtol=0)


@pytest.mark.slow
def test_draws_along_straight_lines_are_those_of_the_weighed_places(monkeypatch):
    """Of many benches: both ways of drawing agree on spreads and coefficients."""
    model, bench = small_pool("exact", benches=40)
    weighed = sample_pool(model, bench)
    monkeypatch.setattr(draws, "MOST", 40)
    straight = sample_pool(model, bench)
    alike(straight.coefficients, weighed.coefficients, 0.15)
    for name in ("bench", "session"):
        ends = [np.quantile(one.group_sds[name], [0.25, 0.5, 0.75]) for one in (straight, weighed)]
        np.testing.assert_allclose(*ends, rtol=0.05)


@pytest.mark.slow
def test_a_few_benches_of_very_many_pours_are_drawn_too():
    """Too few to begin on some of them: 4 benches of 1,200 rows; the residual spread is known to a hundredth."""
    model, bench = small_pool("exact", benches=4, sessions=30, pours=40)
    found = sample_pool(model, bench, draws=400)
    assert found.sd.mean() == pytest.approx(0.3, rel=0.04)
    assert found.coefficients[:, 1].mean() == pytest.approx(0.5, abs=0.02)


def test_a_proposal_moves_half_way_where_ten_places_carry_the_weight():
    """Two places at 0 and 2, of equal weight, worth ten: middle 1 and variance 1; half of the way there from 5 and 2^2."""
    at, weights = np.array([[0.0], [2.0]]), np.array([0.5, 0.5])
    centre, root = draws._moved_proposal(at, weights, 10.0, np.array([5.0]), np.array([[2.0]]))
    assert centre == pytest.approx([3.0]) and root**2 == pytest.approx(np.array([[2.5]]))


def test_what_outer_parameters_are_drawn_from_is_a_t_of_six_degrees():
    """Its quartiles are 0.7176 from the middle (printed tables of Student's t), and its 5 % point 1.943; 4,096 evenly spread draws."""
    noise = draws._t_noise(2, 4096, np.random.default_rng(0))
    assert np.quantile(noise, [0.05, 0.25, 0.5, 0.75, 0.95], axis=0).T == pytest.approx(np.array([[-1.943, -0.7176, 0, 0.7176, 1.943]] * 2), abs=0.05)


@pytest.mark.parametrize("rows, benches, normal", [
    (2001, 12, False), (4000, 30, False), (4001, 29, False), (4001, 30, True), (100, 59, False), (100, 60, True),
])
def test_how_sds_are_drawn_goes_by_the_size_of_the_pool(rows, benches, normal, monkeypatch):
    """From sixty benches on, or thirty of more than 4,000 rows, as normal; else weighed place by place."""
    found = []
    monkeypatch.setattr(draws, "_normal_draws", lambda *given: found.append(True) or (0, (0, 0), 0))
    monkeypatch.setattr(draws, "_importance_draws", lambda *given: found.append(False) or (0, (0, 0), 0))
    monkeypatch.setattr(draws, "_as_posterior", lambda *given: None)
    monkeypatch.setattr(draws, "pooled_optimum", lambda *given: (None, None, SimpleNamespace(covariance=lambda least: np.eye(2))))
    sample_pool(SimpleNamespace(low=np.zeros(rows)), np.arange(rows) % benches)
    assert found == [normal]


@pytest.mark.parametrize("rows, benches, joint", [(2000, 12, True), (2001, 12, False), (2000, 13, False), (26, 13, False), (1, 1, True)])
def test_a_pool_of_few_benches_and_rows_is_drawn_as_one_log_is(rows, benches, joint, castings_of, study, monkeypatch):
    """Up to twelve benches and 2,000 rows."""
    found, names = [], [f"P{i}" for i in range(rows)]
    monkeypatch.setattr(reading, "_sampled", lambda *given: found.append(True) or (None, given[2], None))
    monkeypatch.setattr(reading, "sample_pool", lambda *given, **named: found.append(False))
    pours = pd.DataFrame({"session": "S1", "catalyst": 1.5}, index=names)
    read = pd.DataFrame({"pour": names, "reading": "gel_time", "low": 20.0, "high": 24.0, "known": "between"})
    castings, bench_of = castings_of(study, pours, read), pd.Series([f"B{i % benches}" for i in range(rows)], names)
    fit_pooled(castings, bench_of, study.reading("gel_time"), remainder=False)
    assert found == [joint]


def test_a_score_in_whole_numbers_is_one_in_a_pool_too(castings_of):
    """As in the fit of one log: "at most 2" is all that is read as 2 or less."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"bubbles": {"unit": "", "low": 0, "high": 10}}})
    names = [f"P{i}" for i in range(6)]
    read = pd.DataFrame({"pour": names, "reading": "bubbles", "low": [1, 2, 2, 3, 1, 4.0], "high": [1, 2, 2, 3, 1, 4.0], "known": "exact"})
    castings = castings_of(study, pd.DataFrame({"session": "S1", "catalyst": 1.5}, index=names), read)
    found = fit_pooled(castings, pd.Series(["A", "B"] * 3, names), study.reading("bubbles"), remainder=False)
    assert found.reading.resolution == 1 and found.average.assumed[0] == "Bubbles is taken as read in whole numbers."
