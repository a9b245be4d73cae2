"""The standard normal between two ends: its log probability and its moments, far into the tails."""

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

LOG_ROOT_2PI = 0.5 * np.log(2 * np.pi)
NODES, NODE_WEIGHTS = np.polynomial.legendre.leggauss(48)
NARROW = 0.25  # intervals narrower than this lose digits in the closed form of the moments
TAIL = 5.0  # and so do those beyond this many standard deviations
REACH = 40.0  # exp(-40) is below double precision: no need to integrate further into a tail


@dataclass(frozen=True)
class Truncated:
    """Moments of a standard normal known to lie in an interval; every field has the interval's shape.

    Attributes
    ----------
    log_probability : ndarray
        ``log(Phi(high) - Phi(low))``.
    mean, variance, third, fourth : ndarray
        Mean and central moments of the truncated variable.
    at_low, at_high : ndarray
        Density of the truncated variable at its ends; 0 at an open end.
    """

    log_probability: np.ndarray
    mean: np.ndarray
    variance: np.ndarray
    third: np.ndarray
    fourth: np.ndarray
    at_low: np.ndarray
    at_high: np.ndarray


def log_interval_probability(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return ``log(Phi(high) - Phi(low))``, good to 12 digits or more in either tail.

    Ends are in standard deviations, low below high, and infinite where open.
    """
    low, high = np.broadcast_arrays(np.asarray(low, float), np.asarray(high, float))
    flip = low > -high  # work in the lower tail, where Phi is precise
    near, far = np.where(flip, -low, high), np.where(flip, -high, low)
    below = ndtr(near)
    chance = below - ndtr(far)
    delicate = (near < -30) | (chance < 1e-3 * below)
    with np.errstate(divide="ignore"):
        logs = np.log(chance)
    if delicate.any():
        logs[delicate] = _delicate_log_probability(near[delicate], far[delicate])
    return logs


def _delicate_log_probability(near, far):
    """The same for narrow or far intervals: logs of Phi, or the midpoint rule to second order."""
    upper = log_ndtr(near)
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = np.where(np.isneginf(far), -np.inf, log_ndtr(far) - upper)
        logs = upper + np.log(-np.expm1(drop))
    width = near - far
    narrow = (width < 1e-5) & (width * np.abs(near) < 1e-3)
    middle = (near[narrow] + far[narrow]) / 2
    width = width[narrow]
    curve = np.log1p((middle**2 - 1) * width**2 / 24)  # the next term is of order width**4
    with np.errstate(divide="ignore"):  # two equal ends have probability 0
        logs[narrow] = np.log(width) - middle**2 / 2 - LOG_ROOT_2PI + curve
    return logs


def truncated_moments(low: np.ndarray, high: np.ndarray) -> Truncated:
    """Return the `Truncated` moments of a standard normal known to lie between `low` and `high`.

    Wide intervals use the closed form through the densities at the ends; narrow ones and those beyond five standard
    deviations, where the closed form cancels, use 48-point Gauss-Legendre quadrature. Ends are standardised, low below
    high, infinite where open, and broadcast.
    """
    low, high = np.broadcast_arrays(np.asarray(low, float), np.asarray(high, float))
    log_probability = log_interval_probability(low, high)
    with np.errstate(over="ignore"):
        at_low = np.exp(-(low**2) / 2 - LOG_ROOT_2PI - log_probability)
        at_high = np.exp(-(high**2) / 2 - LOG_ROOT_2PI - log_probability)
    moments = _closed_moments(low, high, at_low, at_high)
    delicate = (high - low < NARROW) | (low > TAIL) | (high < -TAIL)
    if delicate.any():
        for whole, part in zip(moments, _quadrature_moments(low[delicate], high[delicate]), strict=True):
            whole[delicate] = part
    mean, variance, third, fourth = moments
    return Truncated(log_probability, mean, variance, third, fourth, at_low, at_high)


def rough_moments(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and variance only, by the closed form alone: fast, and good enough to steer draws.

    Ends are standardised, low below high, and infinite where open.
    """
    logs = log_interval_probability(low, high)
    at_low = np.exp(np.minimum(-(low**2) / 2 - LOG_ROOT_2PI - logs, REACH))  # ends may nearly coincide
    at_high = np.exp(np.minimum(-(high**2) / 2 - LOG_ROOT_2PI - logs, REACH))
    a, b = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
    mean = np.clip(at_low - at_high, low, high)
    return mean, np.clip(1 + a * at_low - b * at_high - mean**2, 0.0, 1.0 - 1e-9)


def _closed_moments(low, high, at_low, at_high):
    """Raw moments by the recursion M_k = (k-1) M_(k-2) + low^(k-1) p - high^(k-1) q, then centred."""
    a = np.where(np.isfinite(low), low, 0.0)
    b = np.where(np.isfinite(high), high, 0.0)
    mean = at_low - at_high
    second = 1 + a * at_low - b * at_high
    third = 2 * mean + a**2 * at_low - b**2 * at_high
    fourth = 3 * second + a**3 * at_low - b**3 * at_high
    variance = second - mean**2
    central3 = third - 3 * mean * second + 2 * mean**3
    central4 = fourth - 4 * mean * third + 6 * mean**2 * second - 3 * mean**4
    return mean, variance, central3, central4


def _quadrature_moments(low, high):
    """The same moments by quadrature from the end nearest zero outwards."""
    flip = low < -high
    start = np.where(flip, -high, low)
    stop = np.minimum(np.where(flip, -low, high), start + REACH / np.maximum(np.abs(start), 1.0))
    half = (stop - start) / 2
    steps = half[:, None] * (NODES + 1)
    logs = -start[:, None] * steps - steps**2 / 2
    mass = NODE_WEIGHTS * np.exp(logs - logs.max(axis=1, keepdims=True))
    mass /= mass.sum(axis=1, keepdims=True)
    centre = (mass * steps).sum(axis=1)
    apart = steps - centre[:, None]
    central = [(mass * apart**k).sum(axis=1) for k in (2, 3, 4)]
    sign = np.where(flip, -1.0, 1.0)
    return sign * (start + centre), central[0], sign * central[1], central[2]
