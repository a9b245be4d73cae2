"""A pour as the others predict it: its own scatter, its chances and its likelihood worked out by hand."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm

from testpour.exchange.folder import make_folder
from testpour.logbook.book import Logbook
from testpour.models.fits import fit_castings
from testpour.models.left_out import (
    PredictiveDraws,
    _likelihood,
    _predicted,
    leave_out_weights,
    left_out,
    predictive_draws,
    tails,
)
from testpour.models.reading_fit import _without, fit_rows
from testpour.study.catalogue import catalogue
from testpour.study.study_file import read_study, study_from

GEL = study_from({"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"gel_time": {}}})
READ = SimpleNamespace(reading=catalogue()["readings"]["gel_time"])  # its latent scale is the natural log of minutes


@pytest.fixture(scope="module")
def fit(castings_of):
    """Nine pours in three sessions, the last session a single pour."""
    minutes = 24 * np.exp([0.1, -0.1, 0.05, 0.0, 0.2, 0.1, 0.15, 0.05, -0.2])
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0, "session": ["S1"] * 4 + ["S2"] * 4 + ["S3"]},
                         index=[f"P{i}" for i in range(9)])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes})
    return fit_castings(castings_of(GEL, pours, read), remainder=False)["gel_time"]


def rows_of(fit, pour):
    return fit.rows[fit.rows["pour"] == pour]


def test_a_session_shared_with_others_is_known_and_one_of_its_own_is_not(fit):
    posterior = fit.posterior
    shared, alone = predictive_draws(fit.posterior, fit, rows_of(fit, "P0")), predictive_draws(fit.posterior, fit, rows_of(fit, "P8"))
    assert (shared.own == 0).all()
    level = fit.mean(rows_of(fit, "P0"))[:, 0]
    assert shared.mean[:, 0] == pytest.approx(level + posterior.group_effects["session"][:, 0], abs=1e-12)
    assert alone.mean[:, 0] == pytest.approx(level, abs=1e-12)
    assert alone.own == pytest.approx(posterior.group_sds["session"], abs=1e-12)


def test_without_a_pour_is_a_fit_to_the_rows_of_the_others(fit):
    """Fitted anew to eight rows, 2,000 draws: means of the coefficients and of the scatter agree to four errors of the fewer draws."""
    others = fit.rows[fit.rows["pour"] != "P8"].reset_index(drop=True)
    anew, found = fit_rows(fit.study, fit.reading, fit.believed, others, remainder=False).posterior, fit.without("P8")
    assert len(found) == 300 and list(found.group_levels["session"]) == ["S1", "S2"]
    for one, other in ((found.coefficients, anew.coefficients), (np.log(found.sd), np.log(anew.sd))):
        assert (np.abs(one.mean(axis=0) - other.mean(axis=0)) < 4 * other.std(axis=0) / np.sqrt(found.effective)).all()


def test_the_chance_of_reading_as_high_or_as_low_is_normal_with_both_scatters():
    """Scatter 0.3 of its own and 0.4 of a reading make 0.5; two draws weigh a quarter and three quarters."""
    seen = PredictiveDraws(np.array([[3.0], [3.2]]), np.full(2, 0.3), np.full(2, 0.4), None)
    rows = pd.DataFrame({"low": [20.0], "high": [22.0]})
    above, below = tails(seen, np.array([0.25, 0.75]), READ, rows)
    means = norm([3.0, 3.2], 0.5)
    assert above == pytest.approx(means.sf(np.log(20)) @ [0.25, 0.75], rel=1e-9)
    assert below == pytest.approx(means.cdf(np.log(22)) @ [0.25, 0.75], rel=1e-9)


def test_readings_that_share_a_shift_are_jointly_normal():
    """Against scipy's multivariate normal density."""
    minutes = np.array([20.0, 22.0, 27.0])
    mean, own, spread = np.array([[3.0, 3.0, 3.1], [3.2, 3.1, 3.2], [2.8, 3.0, 3.3]]), np.array([0.3, 0.1, 0.6]), np.array([0.2, 0.1, 0.15])
    seen = PredictiveDraws(mean, own, spread, None)
    found = _likelihood(seen, READ, pd.DataFrame({"low": minutes, "high": minutes}))
    exact = [multivariate_normal(m, o**2 + s**2 * np.eye(3)).logpdf(np.log(minutes)) for m, o, s in zip(mean, own, spread, strict=True)]
    assert found == pytest.approx(exact, abs=4e-3)


def test_weights_take_the_likelihood_out_again():
    """Draws three, one and two times as likely weigh 2, 6 and 3 elevenths."""
    assert leave_out_weights(np.log([0.3, 0.1, 0.2])) == pytest.approx(np.array([2, 6, 3]) / 11)


def test_an_exact_reading_is_inside_its_interval_or_outside(fit):
    """At 60 % some of nine readings lie outside: each is inside just where it lies between the ends."""
    table = left_out(fit, 0.6)
    between = (table["low"] >= table["from"]) & (table["high"] <= table["to"])
    clear = (np.minimum(abs(np.log(table["low"] / table["from"])), abs(np.log(table["high"] / table["to"]))) > 0.02).to_numpy()
    assert 0 < between[clear].sum() < clear.sum()
    assert table["inside"].to_numpy()[clear] == pytest.approx(between.to_numpy(float)[clear])


@pytest.mark.slow
@pytest.mark.parametrize("reading", ["gel_time", "peak_temperature"])
def test_weighting_a_pour_out_is_near_to_fitting_without_it(tmp_path, monkeypatch, reading):
    """Every pour of the demonstration, by new fits of 3,000 draws each, whose own error is about 0.01."""
    study = read_study(make_folder(tmp_path / "demo").path)
    fit = fit_castings(Logbook(study).castings())[reading]
    quick = left_out(fit, 0.9)
    monkeypatch.setattr("testpour.models.left_out.LEAST_WORTH", np.inf)
    monkeypatch.setattr("testpour.models.reading_fit.FEWER_DRAWS", 3000)
    _without.cache_clear()
    slow = left_out(fit, 0.9)
    away = (quick[["above", "below"]] - slow[["above", "below"]]).abs().to_numpy()
    assert len(away) >= 18 and away.max() < 0.12 and np.sqrt((away**2).mean()) < 0.03


@pytest.mark.parametrize("low, high, inside", [
    (0.2, 0.6, 1), (0.9, 0.99, 0.05 / 0.09), (0.96, 0.99, 0), (0.02, 0.08, 0.03 / 0.06), (0.01, 0.99, 0.90 / 0.98),
])
def test_how_much_of_what_was_seen_lies_in_the_interval_by_hand(low, high, inside, monkeypatch):
    """The others say 3 with spread hypot(0.3, 0.4) on the log of minutes; ends of the reading are given as the chance below each."""
    told = PredictiveDraws(np.full((1000, 1), 3.0), np.full(1000, 0.3), np.full(1000, 0.4), None)
    monkeypatch.setattr("testpour.models.left_out.predictive_draws", lambda *given: told)
    rows = pd.DataFrame({"low": [np.exp(norm.ppf(low, 3, 0.5))], "high": [np.exp(norm.ppf(high, 3, 0.5))]})
    found = _predicted(SimpleNamespace(reading=READ.reading, posterior=None), "P0", rows, 0.9)
    assert found[0, 2:] == pytest.approx([1 - low, high, inside], abs=1e-9)
    assert found[0, :2] == pytest.approx(np.exp(3 + 0.5 * np.array([-1.6449, 1.6449])), rel=2e-3)
