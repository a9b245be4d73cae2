"""Readings that share a shift: against scipy's multivariate normal and its quadrature."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from testpour.likelihood.together import log_joint_likelihood


def test_exact_readings_are_jointly_normal():
    ends, own, one = np.array([[0.2, -0.5, 0.9], [1.0, 1.1, 1.3]]), np.array([0.6, 0.1]), np.array([0.3, 0.2])
    exact = [multivariate_normal(np.zeros(3), o**2 + s**2 * np.eye(3)).logpdf(x) for x, o, s in zip(ends, own, one, strict=True)]
    assert log_joint_likelihood(ends, ends, own, one) == pytest.approx(exact, abs=4e-3)


@pytest.mark.parametrize(("low", "high"), [([-0.2, 0.4], [0.5, 0.9]), ([0.3, 0.3, 0.3], [0.8, 0.8, 0.8]), ([0.1, 0.5], [0.6, np.inf])])
def test_of_intervals_and_open_ends_the_shift_is_integrated_out(low, high):
    """By adaptive quadrature over the shift; five nodes are within a hundredth of it."""
    low, high, own, one = np.array(low), np.array(high), 0.5, 0.4
    exact, _ = quad(lambda u: norm.pdf(u, 0, own) * np.prod(norm.cdf((high - u) / one) - norm.cdf((low - u) / one)), -6, 6, epsabs=1e-12)
    found = log_joint_likelihood(low[None], high[None], np.array([own]), np.array([one]))
    assert found == pytest.approx(np.log(exact), abs=0.01)


def test_a_reading_alone_scatters_by_both():
    found = log_joint_likelihood(np.array([[-0.5]]), np.array([[1.0]]), np.array([0.3]), np.array([0.4]))
    assert found == pytest.approx(np.log(norm.cdf(2.0) - norm.cdf(-1.0)), rel=1e-12)
