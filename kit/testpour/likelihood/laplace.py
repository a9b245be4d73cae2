"""Laplace's approximation: inner Newton steps integrate out everything nearly normal, inside an outer climb."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from testpour.likelihood.climb import newton, warm_start
from testpour.likelihood.density import LOG_2PI, JointDensity
from testpour.likelihood.elimination import layout
from testpour.likelihood.observations import RowDerivatives

SHORT = 0.5  # longest outer step over which the inner mode is extrapolated linearly


class InnerLayout(Protocol):
    """The places of the inner parameters: a `Layout`, or a pool's `blocks.Blocks`."""

    @property
    def size(self) -> int:
        """Number of inner parameters."""

    @property
    def dense(self) -> int:
        """Number of those that one dense matrix holds."""

    def at(self, sds: np.ndarray) -> LinearDesign:
        """The design at signed sds."""

    def by_sd(self, inner: np.ndarray, slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives by each sd: of the predictor (n, G), and of the design's transpose times `slopes` (n,), (d, G)."""


class LinearDesign(Protocol):
    """The inner design at given sds."""

    def predictor(self, inner: np.ndarray) -> np.ndarray:
        """The design times `inner` (d, ...): (n, ...)."""

    def transpose_times(self, slopes: np.ndarray) -> np.ndarray:
        """The design's transpose times `slopes` (n, ...): (d, ...)."""

    def factor(self, weights: np.ndarray, precision: np.ndarray) -> Curvature:
        """The curvature at row `weights` (n,) and the belief `precision` of what one dense matrix holds."""


class Curvature(Protocol):
    """A factored curvature of the inner parameters."""

    @property
    def design(self) -> LinearDesign:
        """The design it is of."""

    @property
    def log_determinant(self) -> float:
        """Log determinant of the whole curvature."""

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Curvature to the power -1 times `right` (d, ...)."""

    def leverage(self) -> tuple[np.ndarray, np.ndarray]:
        """Variance of each row's predictor (n,), and its covariance with each group's own level there (n, G)."""


@dataclass
class Marginal:
    """Log density of the outer parameters, the inner ones integrated by Laplace's approximation.

    Outer: the shape, then one signed sd per group. Inner: the coefficients, then one standard normal v
    per level, whose effect is sd * v.
    Written so, the density is smooth and even in each sd, and an sd of zero is an ordinary point.
    The approximation is exact when every row is exact.
    """

    problem: JointDensity
    own_layout: InnerLayout | None = None  # by default a `Layout`
    reach: float = SHORT  # longest outer step over which the inner mode is extrapolated linearly
    last: tuple | None = field(default=None, repr=False)

    def __post_init__(self):
        self.inner_fixed = self.problem.design.shape[1]
        self.layout = self.own_layout or layout(self.problem.design, self.problem.groups)

    @property
    def size(self) -> int:
        """Number of inner parameters."""
        return self.layout.size

    def precision(self, size: int) -> tuple[np.ndarray, np.ndarray]:
        """Return prior precision (size, size) and its linear term (size,) of coefficients, then standard effects.

        `size`: of the kept inner parameters.
        """
        precision, linear = np.eye(size), np.zeros(size)
        root, k = self.problem.root, self.inner_fixed
        precision[:k, :k] = root.T @ root
        linear[:k] = root.T @ self.problem.target
        return precision, linear

    def solve(self, outer: np.ndarray, tolerance: float = 1e-18) -> Inner:
        """Return the inner mode by safe Newton steps as an `Inner`; the likelihood is concave in it.

        `outer`: shape parameters, then group standard deviations. Steps end where the next would gain less than `tolerance` of the
        height: a value minds an error in the mode only by its square, a gradient in full.
        """
        shape, sds = split_outer(outer, len(self.problem.groups))
        design, k = self.layout.at(sds), self.inner_fixed
        precision, linear = self.precision(self.layout.dense)

        def evaluate(at):
            eta = design.predictor(at)
            rows = self.problem.rows.derivatives(eta, shape)
            pull = np.concatenate([linear[:k] - precision[:k, :k] @ at[:k], -at[k:]])
            return at, eta, rows, pull, rows.value.sum() + at @ pull / 2 + linear[:k] @ at[:k] / 2

        def newton_step(place):
            _, _, rows, pull, _ = place
            factor = design.factor(-rows.eta2, precision)
            slope = design.transpose_times(rows.eta1) + pull
            step = factor.solve(slope)
            return step, slope @ step, factor

        start = warm_start(self.last, outer, self.size, self.reach)
        (at, eta, rows, *_), factor = newton(evaluate, newton_step, start, tolerance)
        self.last = outer, at, 0.0
        return Inner(at, eta, rows, factor)

    def __call__(self, outer: np.ndarray) -> tuple[float, np.ndarray]:
        """Return log density and gradient at `outer`."""
        inner = self.solve(outer)
        shape, sds = split_outer(outer, len(self.problem.groups))
        belief = np.concatenate([self.problem.shape_belief(shape)[1], half_normal(sds, self.problem.group_scales)[1]])
        return self.value_at(inner, outer), self._gradient(inner) + belief

    def value_at(self, inner: Inner, outer: np.ndarray) -> float:
        """Log density at `outer`, whose inner mode is `inner`."""
        shape, sds = split_outer(outer, len(self.problem.groups))
        coefficients, effects = inner.at[: self.inner_fixed], inner.at[self.inner_fixed :]
        residual = self.problem.root @ coefficients - self.problem.target
        value = inner.rows.value.sum() + self.problem.constant
        value += -(residual @ residual) / 2 - len(residual) * LOG_2PI / 2
        value -= effects @ effects / 2
        value += self.inner_fixed * LOG_2PI / 2 - inner.factor.log_determinant / 2
        return value + self.problem.shape_belief(shape)[0] + half_normal(sds, self.problem.group_scales)[0]

    def _gradient(self, inner):
        """Gradient of likelihood and log determinant, by implicit differentiation of the inner mode."""
        rows, k = inner.rows, inner.rows.shape1.shape[1]
        shift, slopes, moved = self.derivatives(inner)
        self.last = (*self.last[:2], slopes)
        variance, own = inner.factor.leverage()
        bend = rows.eta3[:, None] * moved
        bend[:, :k] += rows.shape_eta2
        trace = variance @ -bend
        trace[k:] += 2 * -rows.eta2 @ own
        return np.concatenate([rows.shape1.sum(axis=0), shift.T @ rows.eta1]) - trace / 2

    def derivatives(self, inner: Inner) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Derivatives of the predictor by each sd (n, G), and of the inner mode (d, k + G) and its predictor (n, k + G) by each outer parameter."""
        rows, k = inner.rows, inner.rows.shape1.shape[1]
        shift, direct = self.layout.by_sd(inner.at, rows.eta1)
        pull = inner.factor.design.transpose_times(np.hstack([rows.shape_eta, rows.eta2[:, None] * shift]))
        pull[:, k:] += direct
        slopes = inner.factor.solve(pull)
        moved = inner.factor.design.predictor(slopes)
        moved[:, k:] += shift
        return shift, slopes, moved


@dataclass(frozen=True)
class Inner:
    """An inner mode `at` with its predictor `eta` (n,), row derivatives and factored curvature."""

    at: np.ndarray
    eta: np.ndarray
    rows: RowDerivatives
    factor: Curvature


def split_outer(outer: np.ndarray, groups: int) -> tuple[np.ndarray, np.ndarray]:
    """Shape parameters and the sds of the groups, which come last, of outer parameters (..., k + groups)."""
    count = outer.shape[-1] - groups
    return outer[..., :count], outer[..., count:]


def half_normal(sds: np.ndarray, scales: np.ndarray) -> tuple[float, np.ndarray]:
    """Log density and slope (G,) of half-normal beliefs about signed `sds` (G,), by their `scales` (G,); a scale of inf is flat."""
    proper = scales[np.isfinite(scales)]
    constant = (np.log(2 / proper) - LOG_2PI / 2).sum()
    return constant - ((sds / scales) ** 2).sum() / 2, -sds / scales**2
