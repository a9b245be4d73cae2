"""Integrate out everything that is nearly normal: an inner Newton step inside an outer climb."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from testpour.likelihood.climb import carried_along, newton
from testpour.likelihood.elimination import Factored, Group, InnerDesign, Smooth, layout
from testpour.likelihood.observations import GradeRows, NormalRows, RowDerivatives

if TYPE_CHECKING:
    from testpour.likelihood.scaling import CutPrior, SigmaPrior

LOG_2PI = np.log(2 * np.pi)
SHORT = 0.5  # an outer step short enough to carry the inner mode along a straight line


@dataclass(frozen=True)
class JointDensity:
    """A likelihood with its beliefs, on a scale where all numbers are near one.

    The beliefs about the coefficients c are ``-|root @ c - target|**2 / 2``; flat ones have no row in `root`.

    Attributes
    ----------
    rows : NormalRows or GradeRows
    design : ndarray, shape (n, p)
    root, target : ndarray, shapes (r, p) and (r,)
    groups : tuple of Group or Smooth
    shape_belief : SigmaPrior or CutPrior
        ``shape -> (log density, gradient)``; `many` gives the log density of draws.
    group_scales : ndarray, shape (G,)
        Half-normal scale of each group's sd; inf is flat.
    constant : float
        What the change of scale adds to the log density.
    """

    rows: NormalRows | GradeRows
    design: np.ndarray
    root: np.ndarray
    target: np.ndarray
    groups: tuple[Group | Smooth, ...]
    shape_belief: SigmaPrior | CutPrior
    group_scales: np.ndarray
    constant: float = 0.0


@dataclass
class Marginal:
    """Log density of the outer parameters, the inner ones integrated by Laplace's approximation.

    Outer: the shape, then one signed sd per group. Inner: the coefficients, then one standard normal v
    per level, whose effect is sd * v.
    Written so, the density is smooth and even in each sd, and an sd of zero is an ordinary point.
    The approximation is exact when every row is exact.
    """

    problem: JointDensity
    last: tuple | None = field(default=None, repr=False)

    def __post_init__(self):
        self.inner_fixed = self.problem.design.shape[1]
        ends = np.cumsum([0] + [group.levels for group in self.problem.groups])
        self.offsets = self.inner_fixed + ends
        self.size = int(self.offsets[-1])
        self.layout = layout(self.problem.design, self.problem.groups)

    def precision(self, size: int) -> tuple[np.ndarray, np.ndarray]:
        """Return prior precision (size, size) and its linear term (size,) of coefficients, then standard effects.

        `size`: of the kept inner parameters.
        """
        precision, linear = np.eye(size), np.zeros(size)
        root, k = self.problem.root, self.inner_fixed
        precision[:k, :k] = root.T @ root
        linear[:k] = root.T @ self.problem.target
        return precision, linear

    def solve(self, outer: np.ndarray) -> Inner:
        """Return the inner mode by safe Newton steps as an `Inner`; the likelihood is concave in it.

        `outer`: shape parameters, then group standard deviations.
        """
        shape, sds = split_outer(outer, len(self.problem.groups))
        design, k = self.layout.at(sds), self.inner_fixed
        precision, linear = self.precision(design.kept.shape[1])

        def look(at):
            eta = design.predictor(at)
            rows = self.problem.rows.derivatives(eta, shape)
            pull = np.concatenate([linear[:k] - precision[:k, :k] @ at[:k], -at[k:]])
            return at, eta, rows, pull, rows.value.sum() + at @ pull / 2 + linear[:k] @ at[:k] / 2

        def step_from(place):
            _, _, rows, pull, _ = place
            factor = design.factor(-rows.eta2, precision)
            slope = design.pull(rows.eta1) + pull
            step = factor.solve(slope)
            return step, slope @ step, factor

        start = carried_along(self.last, outer, self.size, SHORT)
        (at, eta, rows, *_), factor = newton(look, step_from, start, near=1e-18)
        self.last = outer, at, 0.0
        return Inner(at, eta, rows, design, factor)

    def __call__(self, outer: np.ndarray) -> tuple[float, np.ndarray]:
        """Return log density and gradient at `outer`."""
        inner = self.solve(outer)
        shape, sds = split_outer(outer, len(self.problem.groups))
        value = inner.rows.value.sum() + self.problem.constant
        residual = self.problem.root @ inner.at[: self.inner_fixed] - self.problem.target
        value += -(residual @ residual) / 2 - len(residual) * LOG_2PI / 2
        value -= inner.at[self.inner_fixed :] @ inner.at[self.inner_fixed :] / 2
        value += self.inner_fixed * LOG_2PI / 2 - inner.factor.log_determinant / 2
        shape_value, shape_slope = self.problem.shape_belief(shape)
        sd_value, sd_slope = half_normal(sds, self.problem.group_scales)
        return value + shape_value + sd_value, self._gradient(inner) + np.concatenate([shape_slope, sd_slope])

    def _gradient(self, inner):
        """Gradient of likelihood and log determinant, by implicit differentiation of the inner mode."""
        rows, weight = inner.rows, -inner.rows.eta2
        shift, plain, turned, bent = self._directions(inner)
        slopes = self._slopes(inner, shift, turned)
        moved = shift + inner.design.predictor(slopes)
        self.last = (*self.last[:2], slopes)
        variance, own = inner.factor.leverage()
        trace = variance @ -(rows.eta3[:, None] * moved + bent)
        trace[len(trace) - own.shape[1] :] += 2 * weight @ own
        return shift.T @ rows.eta1 + plain - trace / 2

    def _slopes(self, inner, shift, turned):
        """How the inner mode moves with each outer parameter, (d, outer)."""
        pull = inner.design.pull(inner.rows.eta2[:, None] * shift + turned)
        first = shift.shape[1] - len(self.problem.groups)
        for g, group in enumerate(self.problem.groups):
            block = slice(self.offsets[g], self.offsets[g + 1])
            pull[block, first + g] += group.added(inner.rows.eta1)
        return inner.factor.solve(pull)

    def predictor_moves(self, inner: Inner) -> np.ndarray:
        """Return how the predictor at the `Inner` mode moves with each outer parameter, (n, outer).

        `inner`: from `solve`.
        """
        shift, _, turned, _ = self._directions(inner)
        return shift + inner.design.predictor(self._slopes(inner, shift, turned))

    def _directions(self, inner):
        """How each outer parameter moves the rows: predictor, likelihood, score and curvature."""
        n, k = inner.rows.shape1.shape
        ends = zip(self.offsets[:-1], self.offsets[1:], strict=True)
        effects = [group.at(inner.at[a:b]) for group, (a, b) in zip(self.problem.groups, ends, strict=True)]
        shift = np.column_stack([np.zeros((n, k)), *effects])
        plain, turned, bent = np.zeros(shift.shape[1]), np.zeros_like(shift), np.zeros_like(shift)
        plain[:k] = inner.rows.shape1.sum(axis=0)
        turned[:, :k], bent[:, :k] = inner.rows.shape_eta, inner.rows.shape_eta2
        return shift, plain, turned, bent


@dataclass(frozen=True)
class Inner:
    """An inner mode `at` with its predictor `eta` (n,), row derivatives, design and factored curvature."""

    at: np.ndarray
    eta: np.ndarray
    rows: RowDerivatives
    design: InnerDesign
    factor: Factored


def split_outer(outer: np.ndarray, groups: int) -> tuple[np.ndarray, np.ndarray]:
    """Shape parameters and the sds of the groups, which come last, of outer parameters (..., k + groups)."""
    count = outer.shape[-1] - groups
    return outer[..., :count], outer[..., count:]


def half_normal(sds: np.ndarray, scales: np.ndarray) -> tuple[float, np.ndarray]:
    """Log density and slope of half-normal beliefs about signed sds; a scale of inf is flat.

    Both are of shape (G,), as is the slope.
    """
    proper = scales[np.isfinite(scales)]
    constant = (np.log(2 / proper) - LOG_2PI / 2).sum()
    return constant - ((sds / scales) ** 2).sum() / 2, -sds / scales**2
