"""Readings that may be slips: the posterior against quadrature over the whole mixture, written anew here."""

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.stats import norm

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.posterior import sample
from testpour.likelihood.slips import Slips, slip_log_odds

SEEN = np.array([3.0, 3.1, 2.9, 3.05, 2.95, 3.1, 4.2])
SHARE, WIDE = 0.03, -2.0


def model(seen=SEEN, share=SHARE, low=None, high=None):
    """One mean with belief Normal(3, 2), a scatter with belief half-normal of scale 0.2; a slip has density e^-2."""
    wide = np.full(len(seen), WIDE)
    slips = Slips(share, wide, seen if low is None else low, seen if high is None else high) if share else None
    return IntervalModel(seen, seen, np.ones((len(seen), 1)), belief=([3.0], [2.0]), spread_belief=0.2, slips=slips)


def by_quadrature(seen):
    """Mean and sd of the mean, mean scatter, and the chance that the last row is a slip: every row a mixture, no set left out."""
    mean, sigma = np.meshgrid(np.linspace(2.0, 4.5, 401), np.geomspace(0.01, 2.0, 200), indexing="ij")
    own = norm.pdf(seen[:, None, None], mean, sigma)
    rows = (1 - SHARE) * own + SHARE * np.exp(WIDE)
    height = rows.prod(axis=0) * norm.pdf(mean, 3.0, 2.0) * np.exp(-((sigma / 0.2) ** 2) / 2)

    def over(values):
        return trapezoid(trapezoid(values * height, sigma, axis=1), mean[:, 0])

    total = over(1.0)
    centre = over(mean) / total
    slip = over(SHARE * np.exp(WIDE) / rows[-1]) / total
    return centre, np.sqrt(over((mean - centre) ** 2) / total), over(sigma) / total, slip


@pytest.mark.parametrize("last", [3.7, 4.2])
def test_the_posterior_is_that_of_the_mixture(last):
    """A row that may or may not be a slip, and one that is: within four standard errors of a thousand draws, 0.13 sd."""
    seen = np.append(SEEN[:-1], last)
    found, (centre, sd, scatter, slip) = model(seen).posterior(seed=3), by_quadrature(seen)
    assert found.slips[-1] == pytest.approx(slip, abs=0.05) and 0.1 < slip and not found.slips[:-1].any()
    assert found.coefficients.mean() == pytest.approx(centre, abs=0.13 * sd)
    assert found.coefficients.std() == pytest.approx(sd, rel=0.12)
    assert found.spread.mean() == pytest.approx(scatter, rel=0.1)
    plain = model(seen, share=0).posterior(seed=3)
    assert plain.slips is None and plain.spread.mean() > 1.3 * scatter


def test_where_no_row_looks_like_a_slip_the_draws_are_those_without():
    """To the last bit: what is published of the plain likelihood holds."""
    seen = np.append(SEEN[:-1], 3.02)
    held, plain = (model(seen, share).posterior(500, seed=1) for share in (SHARE, 0))
    np.testing.assert_array_equal(held.coefficients, plain.coefficients)
    assert held.slips is None


def test_a_row_near_enough_to_its_mean_is_no_slip():
    """3.0 lies between 2.9 and 5: the odd row may be read so."""
    ends = np.full(7, 2.9), np.full(7, 5.0)
    assert model(low=ends[0], high=ends[1]).posterior(500, seed=1).slips is None
    assert model().posterior(500, seed=1).slips is not None


@pytest.mark.parametrize("times", [2, 3])
def test_readings_that_agree_with_one_another_are_no_slips(times):
    """Every reading of one casting far from eleven other castings': the casting differs. One reading of a casting: a slip."""
    rng = np.random.default_rng(5)
    casting = np.repeat(np.arange(12), times)
    seen = np.append(0.1 * rng.standard_normal(11), -1.5)[casting] + 0.1 * rng.standard_normal(12 * times)

    def told(seen):
        slips = Slips(SHARE, np.full(len(seen), WIDE), seen, seen)
        given = {"belief": ([0.0], [1.0]), "spread_belief": 0.2, "group_beliefs": {"casting": 0.2}, "slips": slips}
        model = IntervalModel(seen, seen, np.ones((len(seen), 1)), groups={"casting": casting}, **given)
        return model.posterior(500, seed=2).slips, slip_log_odds(model, sample(model, 500, 2))

    slips, odds = told(seen)
    assert (slips is None or slips.max() < 0.2) and odds.max() < np.log(0.2)
    one = np.where(casting == 11, seen + 1.5, seen)
    one[4] += 1.5
    assert np.flatnonzero(told(one)[0] > 0.9).tolist() == [4]


def test_grades_and_rows_known_between_two_looks():
    """Fourteen castings of grade 0 and one of grade 3 at settings alike; and one gel seen far later than nine others."""
    grades = np.array([0.0] * 14 + [3.0])
    slips = Slips(SHARE, np.full(15, np.log(0.25)), grades, grades)
    cuts = {"grades": 4, "cut_belief": ([1.0, 3.0, 5.0], [1.0, 1.0, 1.0])}
    found = IntervalModel(grades, grades, np.zeros((15, 0)), slips=slips, **cuts).posterior(500, seed=1)
    assert found.slips[-1] > 0.3 and not found.slips[:-1].any()
    low = np.log([20.0] * 9 + [90.0])
    high = np.log([24.0] * 9 + [94.0])
    slips = Slips(SHARE, np.log((high - low) / 8), low, high)
    found = IntervalModel(low, high, np.ones((10, 1)), belief=([3.2], [0.7]), spread_belief=0.12, slips=slips).posterior(500, seed=1)
    assert found.slips[-1] > 0.9 and not found.slips[:-1].any()
