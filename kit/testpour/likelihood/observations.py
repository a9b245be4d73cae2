"""Log-likelihood of each row, a normal value known to lie in an interval, with its derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from testpour.likelihood.truncated import LOG_ROOT_2PI, log_interval_probability, rough_moments, truncated_moments


def interval_middles(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Middle of each interval; its closed end if the other is open."""
    return np.where(np.isinf(low), high, np.where(np.isinf(high), low, (low + high) / 2))


@dataclass(frozen=True)
class RowDerivatives:
    """Row log-likelihoods and derivatives; n rows, k shape parameters.

    Attributes
    ----------
    value, eta1, eta2, eta3 : ndarray, shape (n,)
        The log-likelihood and its first three derivatives in the linear predictor.
    shape1, shape_eta, shape_eta2 : ndarray, shape (n, k)
        Derivatives in the shape parameters: plain, of `eta1`, of `eta2`.
    """

    value: np.ndarray
    eta1: np.ndarray
    eta2: np.ndarray
    eta3: np.ndarray
    shape1: np.ndarray
    shape_eta: np.ndarray
    shape_eta2: np.ndarray


@dataclass(frozen=True)
class NormalRows:
    """Rows with known ends on a latent scale; the one shape parameter is ``log(sigma)``."""

    low: np.ndarray
    high: np.ndarray

    @property
    def exact(self) -> np.ndarray:
        """True for rows whose value is known exactly."""
        return self.low == self.high

    @property
    def open_ended(self) -> np.ndarray:
        """True for rows with an open end: their curvature changes with the predictor, see `_working_values`."""
        return np.isinf(self.low) | np.isinf(self.high)

    def subset(self, rows: np.ndarray) -> NormalRows:
        """Some of the rows."""
        return NormalRows(self.low[rows], self.high[rows])

    def derivatives(self, eta: np.ndarray, shape: np.ndarray) -> RowDerivatives:
        """Return `RowDerivatives` at linear predictor `eta` and ``shape = [log(sigma)]``.

        With z the standardised value, the score in eta is E[z]/sigma and in log(sigma) is E[z**2] - 1, expectations
        over the row's interval; the rest follows by differentiating those moments.
        """
        sigma = np.exp(shape[0])
        value, m, v, m3, m4 = self._moments(eta, shape[0], sigma)
        shape_eta = (2 * m * v + m3 - 2 * m) / sigma
        shape_eta2 = (2 * m * m3 + m4 - v**2 - 4 * v + 2) / sigma**2
        return RowDerivatives(value, m / sigma, (v - 1) / sigma**2, m3 / sigma**3, (m**2 + v - 1)[:, None], shape_eta[:, None], shape_eta2[:, None])

    def _moments(self, eta, log_sigma, sigma):
        exact = self.exact
        low = (self.low - eta) / sigma
        value = -log_sigma - low**2 / 2 - LOG_ROOT_2PI
        moments = [low.copy(), *np.zeros((3, len(low)))]
        if not exact.all():
            known = ~exact
            inside = truncated_moments(low[known], (self.high[known] - eta[known]) / sigma)
            value[known] = inside.log_probability
            parts = (inside.mean, inside.variance, inside.third, inside.fourth)
            for whole, part in zip(moments, parts, strict=True):
                whole[known] = part
        return value, *moments

    def log_likelihood(self, eta: np.ndarray, shape: np.ndarray) -> np.ndarray:
        """Return the log-likelihood of each of m draws, summed over the rows: (m,). `eta` (m, n), `shape` (m, 1): log(sigma)."""
        sigma = np.exp(shape)
        exact = self.exact
        z = (self.low[exact] - eta[:, exact]) / sigma
        total = -(shape[:, 0] + LOG_ROOT_2PI) * exact.sum() - (z**2).sum(axis=1) / 2
        above, below = np.isposinf(self.high), np.isneginf(self.low)
        for rows, end, sign in ((above, self.low[above], -1.0), (below, self.high[below], 1.0)):
            total += log_ndtr(sign * (end - eta[:, rows]) / sigma).sum(axis=1)
        both = np.isfinite(self.low) & np.isfinite(self.high) & ~exact
        if both.any():
            low, high = (self.low[both] - eta[:, both]) / sigma, (self.high[both] - eta[:, both]) / sigma
            total += log_interval_probability(low, high).sum(axis=1)
        return total

    def working_response_and_weight(self, eta: np.ndarray, shape: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return weighted working responses and working weights of the rows, as of reweighted least squares, near enough to draw by; see `_working_values`.

        `eta` (m, n): read only where a row has an open end. `shape` (m, 1): log(sigma) of each draw. `pull`, `weight`
        (m, n): minus second derivative in `eta`, and first derivative plus that times `eta`.
        """
        return _working_values(self.low, self.high, eta, np.exp(shape))


def grade_edges(cuts: np.ndarray) -> np.ndarray:
    """Latent ends of all grades, open at either side, of cut-points (..., grades - 1): (..., grades + 1)."""
    return np.pad(cuts, [(0, 0)] * (cuts.ndim - 1) + [(1, 1)], constant_values=(-np.inf, np.inf))


def cuts_of(shape: np.ndarray) -> np.ndarray:
    """Return cut-points from their free form, ``[first cut, log gaps]``; the last axis holds both."""
    first, gaps = shape[..., :1], np.exp(shape[..., 1:])
    return first + np.concatenate([np.zeros_like(first), np.cumsum(gaps, axis=-1)], axis=-1)


def shape_of(cuts: np.ndarray) -> np.ndarray:
    """Return the free form of ordered cut-points, ``[first cut, log gaps]``; the last axis holds both."""
    return np.concatenate([cuts[..., :1], np.log(np.diff(cuts))], axis=-1)


def cut_jacobian(shape: np.ndarray) -> np.ndarray:
    """Derivatives (K-1, K-1) of the cuts in their free form."""
    return np.tril(np.ones((len(shape), len(shape)))) * np.r_[1.0, np.exp(shape[1:])]


def _working_values(low: np.ndarray, high: np.ndarray, eta: np.ndarray, sigma: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weighted working responses and working weights of rows whose ends (n,) or (m, n) lie about predictors `eta` (m, n), near enough to draw by.

    Between two ends the likelihood, as a density of the predictor, is a uniform and a normal variable added up: it
    is taken for a normal one of the same mean and variance. With one end open its own derivatives are used.
    """
    open_ended = ~np.isfinite(np.atleast_2d(high - low)[0])  # the same rows in every draw
    with np.errstate(invalid="ignore"):
        weight = 1 / (sigma**2 + (high - low) ** 2 / 12)
        pull = weight * ((low + high) / 2)
    if open_ended.any():
        low, high, eta = (part[..., open_ended] for part in (low, high, eta))
        mean, variance = rough_moments((low - eta) / sigma, (high - eta) / sigma)
        weight[..., open_ended] = (1 - variance) / sigma**2
        pull[..., open_ended] = weight[..., open_ended] * eta + mean / sigma
    return pull, weight


@dataclass(frozen=True)
class GradeRows:
    """Rows known as grades ``low..high`` (whole numbers); sigma is 1, the shape is ``[cut, log gaps]``."""

    low: np.ndarray
    high: np.ndarray
    grades: int

    @property
    def exact(self) -> np.ndarray:
        """No row's latent value is known exactly."""
        return np.zeros(len(self.low), dtype=bool)

    @property
    def open_ended(self) -> np.ndarray:
        """True for rows of the lowest or the highest grade."""
        return (self.low == 0) | (self.high == self.grades - 1)

    def subset(self, rows: np.ndarray) -> GradeRows:
        """Some of the rows."""
        return GradeRows(self.low[rows], self.high[rows], self.grades)

    def ends(self, shape: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the ends of each row's interval.

        For `shape` (..., K-1) they are (..., n), infinite at the lowest and the highest grade.
        """
        edges = grade_edges(cuts_of(shape))
        return edges[..., self.low], edges[..., self.high + 1]

    def derivatives(self, eta: np.ndarray, shape: np.ndarray) -> RowDerivatives:
        """Return `RowDerivatives` at linear predictor `eta` and ``shape = [first cut, log gaps]``."""
        low, high = (end - eta for end in self.ends(shape))
        t = truncated_moments(low, high)
        a, b = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
        m, v, p, q = t.mean, t.variance, t.at_low, t.at_high
        turn = cut_jacobian(shape)
        return RowDerivatives(
            t.log_probability,
            m,
            v - 1,
            t.third,
            self._spread_out(-p, q) @ turn,
            self._spread_out(p * (m - a), q * (b - m)) @ turn,
            self._spread_out(p * (v - (a - m) ** 2), q * ((b - m) ** 2 - v)) @ turn,
        )

    def _spread_out(self, at_low, at_high):
        """Put each row's two end derivatives into the columns of their cuts."""
        columns = np.zeros((len(self.low), self.grades + 1))
        rows = np.arange(len(self.low))
        columns[rows, self.low] += at_low
        columns[rows, self.high + 1] += at_high
        return columns[:, 1:-1]

    def log_likelihood(self, eta: np.ndarray, shape: np.ndarray) -> np.ndarray:
        """Return the log-likelihood of each of m draws, summed over the rows: (m,). `eta` (m, n), `shape` (m, K-1): first cut and log gaps."""
        return log_interval_probability(*(end - eta for end in self.ends(shape))).sum(axis=1)

    def working_response_and_weight(self, eta: np.ndarray, shape: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return weighted working responses and working weights of the rows; see `NormalRows.working_response_and_weight`.

        `eta` (m, n), `shape` (m, K-1): first cut and log gaps of each draw. `pull`, `weight` (m, n).
        """
        return _working_values(*self.ends(shape), eta, np.ones((len(shape), 1)))
