"""A group of very many levels is eliminated: the same numbers as one dense matrix."""

from types import SimpleNamespace

import numpy as np
import pytest
from likeliest import log_likelihood
from scipy.sparse import csr_array
from scipy.stats import multivariate_normal

from testpour.likelihood.conditional import Conditional, _backward, _forward, _pairs_of, chunks, conditional_at
from testpour.likelihood.elimination import Group, Smooth, layout, most_levels
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.optimum import ROUGH, find_optimum, optimum_of
from testpour.likelihood.posterior import sample
from testpour.likelihood.scaling import scaled_problem


def model_of(kind, pours=60, count=200, seed=0):
    """Rows of `pours` pours in four sessions with three lots crossed; `kind` says how they are known."""
    rng = np.random.default_rng(seed)
    pour = np.r_[np.arange(pours), rng.integers(0, pours, count - pours)]
    exog = rng.normal(size=(count, 3))
    y = exog @ [1.0, 0.5, 0.0] + rng.normal(size=pours)[pour] + 0.5 * rng.normal(size=count)
    low, high, grades = y, y, None
    if kind == "between":
        low, high = np.floor(2 * y) / 2, np.where(np.arange(count) < 20, np.inf, np.floor(2 * y) / 2 + 0.5)
    if kind == "grades":
        low, grades = np.digitize(y, [-1, 0, 1]), 4
        high = low
    groups = {"session": pour % 4, "pour": pour, "lot": rng.integers(0, 3, count)}
    return IntervalModel(
        low, high, exog, grades=grades, groups=groups, belief=([0, 0, 0], [1, 1, 1]), group_beliefs={"pour": 1.0}
    )


@pytest.mark.parametrize("kind", ["exact", "between", "grades"])
def test_value_and_gradient_are_those_of_one_dense_matrix(kind):
    """Peer: the same marginal with nothing eliminated, its whole inner matrix factored at once."""
    problem, _, start = scaled_problem(model_of(kind))
    start, thin, dense = start[3:], Marginal(problem), Marginal(problem)
    dense.layout = layout(dense.layout.kept[:, : dense.inner_fixed], problem.groups, many=np.inf)
    assert (thin.layout.big, dense.layout.big) == (1, -1)
    rng = np.random.default_rng(1)
    for away in (0.0, 0.3):
        at = start + away * rng.normal(size=len(start))
        (value, gradient), (known, slope) = thin(at), dense(at)
        assert value == pytest.approx(known, abs=1e-9) and gradient == pytest.approx(slope, abs=1e-9)


def test_factored_curvature_is_the_matrix_itself():
    """Solutions, log determinant and leverages, worked out by numpy on the whole matrix."""
    rng = np.random.default_rng(2)
    groups = (Group("pour", rng.integers(0, 7, 50), 7), Group("lot", rng.integers(0, 3, 50), 3))
    exog, weights, spreads = rng.normal(size=(50, 2)), rng.uniform(0.1, 2, 50), np.array([-0.7, 0.4])
    design = layout(exog, groups, many=5).at(spreads)
    whole = design.predictor(np.eye(12))
    scaled = [s * (g.codes[:, None] == np.arange(g.levels)) for g, s in zip(groups, spreads, strict=True)]
    assert np.array_equal(whole, np.hstack([exog, *scaled]))
    assert design.transpose_times(np.eye(50)) == pytest.approx(whole.T)
    factored, matrix = design.factor(weights, np.eye(5)), (whole.T * weights) @ whole + np.eye(12)
    assert factored.solve(np.eye(12)) == pytest.approx(np.linalg.inv(matrix), abs=1e-12)
    assert factored.log_determinant == pytest.approx(np.linalg.slogdet(matrix)[1], abs=1e-12)
    variance, own = factored.leverage()
    hat = whole @ np.linalg.inv(matrix)
    assert variance == pytest.approx((hat * whole).sum(axis=1), abs=1e-12)
    assert own[:, 0] == pytest.approx(hat[np.arange(50), 2 + groups[0].codes], abs=1e-12)
    assert own[:, 1] == pytest.approx(hat[np.arange(50), 9 + groups[1].codes], abs=1e-12)


def test_nothing_kept_beside_the_eliminated_levels():
    """No coefficients and no other group: the density of exact rows is the multivariate normal's."""
    rng = np.random.default_rng(3)
    pour, y = np.repeat(np.arange(50), 3), rng.normal(size=150)
    model = IntervalModel(y, y, np.zeros((150, 0)), groups={"pour": pour})
    covariance = 0.7**2 * (pour[:, None] == pour) + 0.4**2 * np.eye(150)
    known = multivariate_normal(np.zeros(150), covariance).logpdf(y)
    assert log_likelihood(model, [np.log(0.4), 0.7]) == pytest.approx(known, abs=1e-9)


def test_pairs_that_share_no_row_are_left_out():
    """Many levels side by side: the sum over rows written plainly."""
    rng = np.random.default_rng(4)
    design = np.hstack([rng.normal(size=(90, 2)), np.repeat(np.eye(45), 2, axis=0)])
    pairs, weight = _pairs_of(design), rng.uniform(size=(3, 90))
    assert len(pairs.one) == 3 + 2 * 45 + 45
    assert pairs.weighted_sum(weight) == pytest.approx(np.tril(np.einsum("mn,na,nb->mab", weight, design, design)), abs=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["exact", "between", "grades"])
def test_draws_do_not_depend_on_how_many_are_placed_at_a_time(kind, monkeypatch):
    """The same noise, all at once and a few at a time."""
    model, few = model_of(kind), "testpour.likelihood.conditional.ROOM"
    monkeypatch.setattr("testpour.likelihood.posterior.POOR_SHARE", 0.0)  # a chain magnifies what rounding changes
    whole = sample(model, 200, seed=5)
    monkeypatch.setattr(few, 5000)
    assert len(chunks(200, 200)) == 8
    again = sample(model, 200, seed=5)
    assert again.coefficients == pytest.approx(whole.coefficients, abs=1e-9)
    assert again.group_effects["pour"] == pytest.approx(whole.group_effects["pour"], abs=1e-9)


def test_exact_rows_of_many_pours_are_drawn_from_their_own_distribution():
    """Effects given the rows, known in closed form at each draw's spreads: a normal mean under a normal belief."""
    model = model_of("exact", pours=80, count=320)
    model = IntervalModel(
        model.low, model.low, model.exog, groups={"pour": model.groups[1].codes}, belief=(np.zeros(3), np.ones(3)),
        sd_belief=1.0, group_beliefs={"pour": 1.0},
    )
    drawn = sample(model, 2000, seed=1)
    assert drawn.method == "importance" and drawn.effective > 1000
    tau, sigma = drawn.group_sds["pour"][:, None], drawn.sd[:, None]
    left = model.low - drawn.coefficients @ model.exog.T
    sums = np.stack([left[:, model.groups[0].codes == level].sum(axis=1) for level in range(80)], axis=1)
    precision = np.bincount(model.groups[0].codes) / sigma**2 + 1 / tau**2
    scores = (drawn.group_effects["pour"] - sums / sigma**2 / precision) * np.sqrt(precision)
    assert scores.mean() == pytest.approx(0, abs=0.02) and scores.std() == pytest.approx(1, abs=0.02)


def test_summit_keeps_no_matrix_of_rows_by_levels():
    """A thousand levels: what the marginal holds grows with the rows, not with rows times levels."""
    marginal, _, top = optimum_of(thrice_read(1000))
    assert top.converged and marginal.layout.kept.shape == (3000, 1) and marginal.size == 1001


def test_readings_of_one_predictor_are_added_up_first():
    """Two exact readings of a pour and one known only from below: the mode, found with every row by itself."""
    model = thrice_read(50)
    high = np.where(np.arange(150) % 3 == 2, np.inf, model.high)
    order = np.random.default_rng(1).permutation(150)
    model = IntervalModel(
        model.low[order], high[order], model.exog[order], groups={"pour": model.groups[0].codes[order]},
        belief=([0], [1]), group_beliefs={"pour": 1.0},
    )
    marginal, at = Marginal(scaled_problem(model)[0]), np.array([-0.3, 0.8])
    close = conditional_at(marginal, at)
    assert close.rest.shape == (50, 1) and np.diff(close.starts).tolist() == [3] * 50
    mode = close.draw_given(at[None], np.zeros((1, 1, 51)), 1)[0][0, 0]
    assert mode == pytest.approx(marginal.solve(at).at, abs=1e-8)


@pytest.mark.parametrize("kind", ["exact", "between", "grades"])
def test_a_top_to_draw_around_is_missed_by_a_hundredth_at_most(kind):
    """Against the same climb to the end, in natural logarithms."""
    problem, _, start = scaled_problem(model_of(kind))
    assert optimum_of(model_of(kind))[2].value == pytest.approx(find_optimum(Marginal(problem), start[3:]).value, abs=ROUGH)


@pytest.mark.parametrize("kind", ["exact", "between", "grades"])
def test_a_top_to_draw_around_is_found_soon(kind, monkeypatch):
    """Curvatures worked out anew after each longer step took 63 to 82 evaluations; four or six parameters are one each."""
    seen, found = [], Marginal.__call__
    monkeypatch.setattr(Marginal, "__call__", lambda self, outer: seen.append(outer) or found(self, outer))
    assert optimum_of(model_of(kind))[2].converged
    assert len(seen) <= 45


def thrice_read(pours):
    rng = np.random.default_rng(6)
    pour = np.repeat(np.arange(pours), 3)
    y = rng.normal(size=pours)[pour] + 0.5 * rng.normal(size=len(pour))
    return IntervalModel(
        y, y, np.ones((len(pour), 1)), groups={"pour": pour}, belief=([0], [1]), group_beliefs={"pour": 1.0}
    )


@pytest.mark.parametrize("levels, smooth, most", [((), 9, -1), ((1,), 9, 0), ((2, 5, 3), 9, 1), ((), 0, -1)])
def test_only_a_random_intercept_is_eliminated(levels, smooth, most):
    """Group by group as many levels as said, then a smooth part of more columns, or none."""
    groups = [Group(f"g{count}", np.arange(count), count) for count in levels]
    assert most_levels([*groups, *([Smooth("r", np.ones((9, smooth)))] if smooth else [])]) == most


def test_weighted_products_of_a_design_are_those_of_the_dense_one():
    """A coefficient, two levels of a small group and three of the eliminated one, five rows, two draws of weights and sds: numpy's products."""
    rng = np.random.default_rng(3)
    rest, weight = rng.normal(size=(5, 3)), rng.uniform(0.2, 2.0, (2, 5))
    scale, tau, belief = np.array([[1.0, 0.7, 0.7], [1.0, 1.6, 1.6]]), np.array([[0.4], [1.3]]), np.diag([0.3, 1.0, 1.0])
    level = np.eye(3)[[0, 0, 1, 2, 2]]
    made = SimpleNamespace(pairs=_pairs_of(rest), precision=belief, adder=csr_array(level.T), rest=rest)
    matrix, cross, own = Conditional._products(made, weight, scale, tau)
    for draw in range(2):
        scaled, levels = rest * scale[draw], level * tau[draw]
        weighted = weight[draw][:, None] * scaled
        assert np.tril(matrix[draw]) == pytest.approx(np.tril(scaled.T @ weighted + belief))
        assert cross[draw] == pytest.approx(levels.T @ weighted) and own[draw] == pytest.approx((levels**2).T @ weight[draw])


def test_many_triangular_roots_are_solved_at_once():
    """Two roots of three unknowns, one right side each and two: numpy's solution of each."""
    rng = np.random.default_rng(4)
    root = np.tril(rng.normal(size=(2, 3, 3))) + 2 * np.eye(3)
    one, two = rng.normal(size=(2, 3)), rng.normal(size=(2, 2, 3))
    assert _forward(root, one) == pytest.approx(np.array([np.linalg.solve(a, b) for a, b in zip(root, one, strict=True)]))
    assert _backward(root, two) == pytest.approx(np.array([np.linalg.solve(a.T, b.T).T for a, b in zip(root, two, strict=True)]))
