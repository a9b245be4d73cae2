"""The pooled model's likelihood with everything that is nearly normal integrated out, bench by bench.

The same approximation as `likelihood.laplace.Marginal` with the coefficients integrated out, and the same
numbers; only the arithmetic goes block by block, so that its cost grows with the rows and not with the
square of the benches.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from testpour.likelihood.climb import carried_along, newton
from testpour.likelihood.laplace import LOG_2PI, JointDensity, half_normal, split_outer
from testpour.likelihood.observations import RowDerivatives
from testpour.pooling.blocks import Arrow, Blocks, factor

REACH = 1.5  # an outer step short enough to carry the inner mode along a straight line


@dataclass(frozen=True)
class Place:
    """An inner mode `at` with its predictor `eta`, row derivatives and factored curvature."""

    at: np.ndarray
    eta: np.ndarray
    rows: RowDerivatives
    arrow: Arrow


@dataclass
class BenchMarginal:
    """Log density of ``[shape, signed sds]``; the coefficients and all effects are integrated out.

    `problem` is from `scaling.scaled_problem`, its `groups` one a component; `blocks` holds the same rows and components.
    """

    problem: JointDensity
    blocks: Blocks
    last: tuple[np.ndarray, np.ndarray, np.ndarray | float] | None = field(default=None, repr=False)

    def __post_init__(self):
        self.size = self.blocks.size
        root = self.problem.root
        self.precision, self.linear = root.T @ root, root.T @ self.problem.target

    def predictor(self, at: np.ndarray, sds: np.ndarray) -> np.ndarray:
        """Row means (n, ...) of inner parameters `at` (size, ...)."""
        blocks, p = self.blocks, self.blocks.shared
        pieces = []
        for bench in blocks.benches:
            own = (sds[bench.owner] * at[bench.local].T).T
            eta = bench.design @ np.concatenate([at[:p], own])
            if blocks.leaf >= 0:
                leaves = at[blocks.first_leaf :][bench.leaves]
                eta = eta + sds[blocks.leaf] * leaves[bench.codes]
            pieces.append(eta)
        return np.concatenate(pieces)

    def pull(self, slopes: np.ndarray, sds: np.ndarray) -> np.ndarray:
        """The design's transpose times `slopes` (n, r): (size, r)."""
        blocks, p = self.blocks, self.blocks.shared
        out = np.zeros((self.size, slopes.shape[1]))
        for bench in blocks.benches:
            part = slopes[bench.rows]
            both = bench.design.T @ part
            out[:p] += both[:p]
            out[bench.local] = sds[bench.owner, None] * both[p:]
            if blocks.leaf >= 0:
                summed = np.add.reduceat(part, bench.starts, axis=0)
                out[blocks.first_leaf :][bench.leaves] = sds[blocks.leaf] * summed
        return out

    def solve(self, outer: np.ndarray, near: float = 1e-17) -> Place:
        """The inner mode by safe Newton steps, as a `Place`; the likelihood is concave in it.

        Steps end where the next would gain less than `near` of the height: a value minds an error in the mode
        only by its square, a gradient in full.
        """
        (shape, sds), p = split_outer(outer, self.blocks.components), self.blocks.shared

        def look(at):
            eta = self.predictor(at, sds)
            rows = self.problem.rows.derivatives(eta, shape)
            return at, eta, rows, rows.value.sum() + self._belief(at)

        def step_from(place):
            at, _, rows, _ = place
            arrow = factor(self.blocks, -rows.eta2, sds, self.precision)
            prior = np.concatenate([self.precision @ at[:p] - self.linear, at[p:]])
            slope = self.pull(rows.eta1[:, None], sds)[:, 0] - prior
            step = arrow.solve(slope[:, None])[:, 0]
            return step, slope @ step, arrow

        start = carried_along(self.last, outer, self.size, REACH)
        (at, eta, rows, _), arrow = newton(look, step_from, start, near)
        self.last = outer, at, 0.0
        return Place(at, eta, rows, arrow)

    def _belief(self, at):
        p = self.blocks.shared
        residual = self.problem.root @ at[:p] - self.problem.target
        return -(residual @ residual + at[p:] @ at[p:]) / 2

    def value_at(self, place: Place, outer: np.ndarray) -> float:
        """Log density at `outer`, whose inner mode is `place`."""
        shape, sds = split_outer(outer, self.blocks.components)
        value = place.rows.value.sum() + self._belief(place.at) + self.problem.constant
        value += (self.blocks.shared - len(self.problem.target)) * LOG_2PI / 2 - place.arrow.log_determinant / 2
        return value + self.problem.shape_belief(shape)[0] + half_normal(sds, self.problem.group_scales)[0]

    def __call__(self, outer):
        """Log density and gradient at `outer`."""
        place = self.solve(outer)
        shape, sds = split_outer(outer, self.blocks.components)
        belief = np.concatenate([self.problem.shape_belief(shape)[1], half_normal(sds, self.problem.group_scales)[1]])
        return self.value_at(place, outer), self._gradient(place, shape, sds) + belief

    def _gradient(self, place, shape, sds):
        """By implicit differentiation of the inner mode, as in `likelihood.laplace`."""
        rows, k = place.rows, len(shape)
        shift, direct = self._directions(place, k)
        turned, bent = np.zeros_like(shift), np.zeros_like(shift)
        turned[:, :k], bent[:, :k] = rows.shape_eta, rows.shape_eta2
        pull = self.pull(rows.eta2[:, None] * shift + turned, sds)
        slopes = place.arrow.solve(pull + direct)
        moved = shift + self.predictor(slopes, sds)
        self.last = (*self.last[:2], slopes)
        leverage, own = self._leverage(place, sds)
        trace = leverage @ -(rows.eta3[:, None] * moved + bent)
        trace[k:] += 2 * own
        plain = np.r_[rows.shape1.sum(axis=0), np.zeros(len(sds))]
        return shift.T @ rows.eta1 + plain - trace / 2

    def _directions(self, place, k):
        """How each outer parameter moves the rows (n, outer), and the inner score (size, outer) directly."""
        blocks, p = self.blocks, self.blocks.shared
        count = k + blocks.components
        shift, direct = np.zeros((len(place.eta), count)), np.zeros((self.size, count))
        for bench in blocks.benches:
            member = bench.owner[:, None] == np.arange(blocks.components)
            own = bench.design[:, p:]
            shift[bench.rows, k:] = own @ (place.at[bench.local, None] * member)
            score = place.rows.eta1[bench.rows]
            direct[bench.local, k:] = (own.T @ score)[:, None] * member
            if blocks.leaf >= 0:
                leaves = place.at[blocks.first_leaf :][bench.leaves]
                shift[bench.rows, k + blocks.leaf] = leaves[bench.codes]
                summed = np.add.reduceat(score, bench.starts)
                direct[blocks.first_leaf :][bench.leaves, k + blocks.leaf] = summed
        return shift, direct

    def _leverage(self, place, sds):
        """Variance of each row's mean (n,), and the weighted share in it of each component's unit design (C,)."""
        blocks, p = self.blocks, self.blocks.shared
        weights, leverage = -place.rows.eta2, np.zeros(len(place.eta))
        shares = np.zeros(blocks.components)
        for bench, part in zip(blocks.benches, place.arrow.parts, strict=True):
            _, _, sums, level, scale = part
            reach = bench.design * scale
            if blocks.leaf >= 0:
                tau = sds[blocks.leaf]
                reach = reach - ((tau**2 / level)[:, None] * sums)[bench.codes]
            held = reach @ place.arrow.inverse_block(part)
            weight = weights[bench.rows]
            leverage[bench.rows] = (reach * held).sum(axis=1)
            columns = weight @ (bench.design[:, p:] * held[:, p:])
            shares += np.bincount(bench.owner, columns, blocks.components)
            if blocks.leaf >= 0:
                inside = tau * (1 - (sums[bench.codes] * held).sum(axis=1)) / level[bench.codes]
                leverage[bench.rows] += tau**2 / level[bench.codes]
                shares[blocks.leaf] += weight @ inside
        return leverage, shares
