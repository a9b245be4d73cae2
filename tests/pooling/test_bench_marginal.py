"""The block-by-bench likelihood against the dense one, itself held to published and exact values."""

from dataclasses import replace

import numpy as np
import pytest

from testpour.likelihood.elimination import Group
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.scaling import scaled_problem
from testpour.pooling.blocks import make_blocks


def guild_rows(seed=0, benches=4, sessions=3, pours=4, twice=2):
    """Labels of rows in runs: bench, session, pour, and a lot that crosses sessions within a bench."""
    rng = np.random.default_rng(seed)
    n = benches * sessions * pours * twice
    bench = np.repeat(np.arange(benches), n // benches)
    session = np.repeat(np.arange(benches * sessions), pours * twice)
    pour = np.repeat(np.arange(n // twice), twice)
    lot = 2 * bench + pour % 2
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    y = x @ [1, 0.5, -0.3] + rng.normal(size=benches)[bench] + 0.4 * rng.normal(size=60)[session]
    return bench, {"bench": bench, "session": session, "lot": lot, "pour": pour}, x, y + 0.5 * rng.normal(size=n)


def model_of(kind, leaf=True):
    bench, groups, x, y = guild_rows()
    if not leaf:
        groups = {name: groups[name] for name in ("bench", "lot")}
    options = {"belief": ([0, 0, 0], [2, 1, 1]), "group_beliefs": dict.fromkeys(groups, 1.0)}
    if kind == "grades":
        grades = np.digitize(y - y.mean(), [-1, 0, 1]).astype(float)
        cuts = ([-1, 0, 1], [2, 2, 2])
        model = IntervalModel(grades, grades, x[:, 1:], groups=groups, grades=4, cut_belief=cuts,
                              belief=([0, 0], [1, 1]), group_beliefs=options["group_beliefs"])
        return model, bench
    low, high = y.copy(), y.copy()
    if kind == "intervals":
        low, high = np.floor(2 * y) / 2, np.floor(2 * y) / 2 + 0.5
        high[::8], low[3::8] = np.inf, -np.inf
    return IntervalModel(low, high, x, groups=groups, sd_belief=1.0, **options), bench


@pytest.mark.parametrize("leaf", [True, False])
@pytest.mark.parametrize("kind", ["exact", "intervals", "grades"])
def test_value_and_gradient_are_those_of_the_dense_marginal(kind, leaf):
    model, bench = model_of(kind, leaf)
    problem, _, start = scaled_problem(model)
    blocks = make_blocks(problem.design, bench, [(g.codes, np.ones(len(bench))) for g in problem.groups])
    assert blocks.leaf == (3 if leaf else -1)
    outer = start[problem.design.shape[1] :] + 0.1
    value, slope = Marginal(problem)(outer)
    found, found_slope = Marginal(problem, blocks)(outer)
    assert found == pytest.approx(value, rel=1e-9)
    np.testing.assert_allclose(found_slope, slope, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("kind", ["exact", *(pytest.param(kind, marks=pytest.mark.slow) for kind in ("intervals", "grades"))])
def test_gradient_with_slopes_against_differences(kind):
    """A slope by bench is a component whose values are a column: central differences of the value."""
    model, bench = model_of(kind)
    problem, _, start = scaled_problem(model)
    components = [(g.codes, np.ones(len(bench))) for g in problem.groups] + [(bench, model.exog[:, -1])]
    problem = replace(
        problem,
        groups=(*problem.groups, Group("bench slope", bench, 4)),
        group_scales=np.append(problem.group_scales, 0.5),
    )
    marginal = Marginal(problem, make_blocks(problem.design, bench, components))
    outer = np.append(start[problem.design.shape[1] :], 0.3)
    steps = 1e-4 * np.eye(len(outer))
    slope = [(marginal(outer + s)[0] - marginal(outer - s)[0]) / 2e-4 for s in steps]
    np.testing.assert_allclose(marginal(outer)[1], slope, rtol=2e-5, atol=2e-5)


def test_the_arrow_solves_and_inverts_as_one_dense_matrix():
    """The arrow's solution, determinant and blocks of the inverse against numpy on the whole matrix."""
    model, bench = model_of("exact")
    problem, *_ = scaled_problem(model)
    blocks = make_blocks(problem.design, bench, [(g.codes, np.ones(len(bench))) for g in problem.groups])
    spreads, weights = np.array([0.7, 0.4, 0.2, 0.3]), np.linspace(0.5, 2, len(bench))
    precision = 0.3 * np.eye(3)
    design = blocks.at(spreads)
    arrow, whole = design.factor(weights, precision), design.predictor(np.eye(blocks.size))
    dense = (whole.T * weights) @ whole + np.eye(blocks.size)
    dense[:3, :3] += precision - np.eye(3)
    right = np.random.default_rng(1).normal(size=(blocks.size, 2))
    np.testing.assert_allclose(arrow.solve(right), np.linalg.solve(dense, right), rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(arrow.solve(right[:, 0]), np.linalg.solve(dense, right[:, 0]), rtol=1e-9, atol=1e-10)
    slopes = np.random.default_rng(2).normal(size=(len(bench), 2))
    np.testing.assert_allclose(design.transpose_times(slopes), whole.T @ slopes, rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(design.transpose_times(slopes[:, 0]), whole.T @ slopes[:, 0], rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(arrow.leverage()[0], (whole @ np.linalg.inv(dense) * whole).sum(axis=1), rtol=1e-8, atol=1e-10)
    assert arrow.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-10)
    place = np.r_[0:3, blocks.benches[2].local]
    block = np.linalg.inv(dense)[np.ix_(place, place)]
    np.testing.assert_allclose(arrow.inverse_block(arrow.parts[2]), block, rtol=1e-8, atol=1e-10)
