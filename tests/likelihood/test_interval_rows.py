"""Each row's log-likelihood and derivatives, against high-precision arithmetic and differences."""

import mpmath as mp
import numpy as np
import pytest
from scipy.stats import truncnorm

from testpour.likelihood.observations import GradeRows, NormalRows
from testpour.likelihood.truncated import log_interval_probability, rough_moments, truncated_moments

mp.mp.dps = 60
INF = np.inf
INTERVALS = [
    (-1, 1),
    (-INF, 0.3),
    (2, INF),
    (30, 31),
    (30, INF),
    (200, INF),
    (-INF, -400),
    (0, 1e-3),
    (8, 8.001),
    (1, 1 + 1e-7),
    (-3, 9),
    (4.9, 5.95),
    (-1e4, -1e4 + 1),
    (37, 200),
    (-0.5, 0.5),
    (3000, 3000.001),
    (-38.5, -38),
    (-6, 6),
    (0.5, 1.49),
]


def precise(low, high):
    """Log probability, mean, variance and third central moment with 60 digits, by the defining formulas."""
    low, high = mp.mpf(low), mp.mpf(high)
    sign = -1 if low + high < 0 else 1
    near, far = (low, high) if sign > 0 else (-high, -low)
    upper = lambda z: mp.erfc(z / mp.sqrt(2)) / 2
    chance = upper(near) - upper(far)
    density = lambda z: mp.exp(-z * z / 2) / mp.sqrt(2 * mp.pi) / chance if mp.isfinite(z) else mp.mpf(0)
    a, b = (z if mp.isfinite(z) else mp.mpf(0) for z in (near, far))
    p, q = density(near), density(far)
    raw = [mp.mpf(1), p - q, 1 + a * p - b * q]
    raw.append(2 * raw[1] + a**2 * p - b**2 * q)
    third = raw[3] - 3 * raw[1] * raw[2] + 2 * raw[1] ** 3
    return mp.log(chance), sign * raw[1], raw[2] - raw[1] ** 2, sign * third


@pytest.mark.parametrize("low, high", INTERVALS)
def test_log_probability_and_moments_reach_the_tails(low, high):
    """mpmath, 60 digits, at ends as far out as 10,000 standard deviations and as close as 1e-7."""
    found = truncated_moments(np.array([float(low)]), np.array([float(high)]))
    logs, mean, variance, third = precise(low, high)
    assert found.log_probability[0] == pytest.approx(float(logs), rel=2e-12, abs=1e-15)
    assert found.mean[0] == pytest.approx(float(mean), rel=1e-13, abs=1e-15)
    assert found.variance[0] == pytest.approx(float(variance), rel=1e-11)
    assert found.third[0] == pytest.approx(float(third), rel=1e-7, abs=1e-25)


def test_log_probability_of_many_shapes():
    low = np.array([[-INF, 0.0], [1.0, -INF]])
    high = np.array([[0.0, INF], [2.0, INF]])
    expected = [[np.log(0.5), np.log(0.5)], [float(precise(1, 2)[0]), 0.0]]
    np.testing.assert_allclose(log_interval_probability(low, high), expected, rtol=1e-14, atol=1e-16)


LOW = np.array([0.2, -INF, 1.0, -0.5, -0.5, 3.0])
HIGH = np.array([0.2, 0.4, INF, 0.1, -0.5, 3.01])


def differences(function, at, step=1e-5):
    """Central differences of an array-valued function of a vector, the parameter last."""
    columns = []
    for j in range(len(at)):
        move = np.zeros(len(at))
        move[j] = step
        columns.append((function(at + move) - function(at - move)) / (2 * step))
    return np.stack(columns, axis=-1)


@pytest.mark.parametrize(
    "rows, shape",
    [
        (NormalRows(LOW, HIGH), np.array([-0.4])),
        (
            GradeRows(np.array([0, 1, 2, 3, 0, 2]), np.array([0, 1, 2, 3, 1, 3]), 4),
            np.array([-0.7, 0.2, -0.5]),
        ),
    ],
)
def test_every_derivative_is_that_of_the_value(rows, shape):
    """Central differences of the level below, one level at a time."""
    eta = np.linspace(-0.6, 0.9, 6)
    found = rows.derivatives(eta, shape)
    near = {"rtol": 1e-6, "atol": 1e-7}
    for lower, higher in (("value", "eta1"), ("eta1", "eta2"), ("eta2", "eta3")):
        slope = np.diag(differences(lambda e, f=lower: getattr(rows.derivatives(e, shape), f), eta))
        np.testing.assert_allclose(getattr(found, higher), slope, **near)
    for plain, turned in (("value", "shape1"), ("eta1", "shape_eta"), ("eta2", "shape_eta2")):
        slope = differences(lambda s, f=plain: getattr(rows.derivatives(eta, s), f), shape)
        np.testing.assert_allclose(getattr(found, turned), slope, **near)
    many = rows.log_likelihood(np.stack([eta, eta + 0.1]), np.stack([shape, shape]))
    assert many[0] == pytest.approx(found.value.sum(), rel=1e-12)
    assert many[1] == pytest.approx(rows.derivatives(eta + 0.1, shape).value.sum(), rel=1e-12)
    pull, weight = rows.working_response_and_weight(eta[None], shape[None])
    # These steer draws, whose weights put right what is rough: narrow intervals count as evenly filled.
    np.testing.assert_allclose(pull[0] - weight[0] * eta, found.eta1, atol=5e-3)
    np.testing.assert_allclose(weight[0], -found.eta2, atol=2e-2)


def test_rough_moments_are_those_of_a_truncated_normal():
    """scipy's truncnorm as the other library, where the closed form keeps its digits; two ends that all but coincide stay in bounds."""
    low, high = np.array([-1.0, -np.inf, 0.5, -2.0, 2.0]), np.array([1.0, 0.3, np.inf, -0.4, 3.5])
    mean, variance = rough_moments(low, high)
    known = [truncnorm.stats(a, b, moments="mv") for a, b in zip(low, high, strict=True)]
    assert mean == pytest.approx([m for m, _ in known], abs=1e-9) and variance == pytest.approx([v for _, v in known], abs=1e-9)
    mean, variance = rough_moments(np.array([1.0]), np.array([1.0 + 1e-12]))
    assert mean == pytest.approx([1.0]) and 0 <= variance[0] < 1
