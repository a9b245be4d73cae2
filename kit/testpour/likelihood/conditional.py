"""Gaussian approximations of the inner parameters given the sds, for many draws at once: Newton steps from a predicted mode."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array, csr_array, hstack

from testpour.likelihood.elimination import MANY, Group, level_indicator, most_levels
from testpour.likelihood.laplace import Marginal, split_outer
from testpour.likelihood.observations import GradeRows, NormalRows

RIDGE = 16 * np.finfo(float).eps  # rounding error of elimination when a drawn sd is nearly zero
ROOM = 3_000_000  # numbers in one array of many draws: 24 MB, of which about a dozen exist at a time
DIGITS = 9  # to which design rows are compared: further ones are rounding errors
STEPS = 2  # Newton steps if some row has an open end; otherwise one is enough (see `_working_values`)


@dataclass(frozen=True)
class Conditional:
    """The inner parameters given the outer ones, as Gaussian: a Newton step or two from a predicted mode.

    Exactly right when every row is exact. The largest group is eliminated level by level; the remaining
    r inner parameters are the `rest`.

    Attributes
    ----------
    rows : NormalRows or GradeRows
        Those of one predictor side by side.
    starts : ndarray, shape (u + 1,)
        Where the rows of each of the u different predictors begin.
    mode : ndarray, shape (k + G,)
        Outer parameters where it was made.
    predictor, moves : ndarray, shapes (u,) and (u, k + G)
        Linear predictor there, and its change with the outer parameters.
    rest : ndarray, shape (u, r)
        Unit-sd design of the rest.
    pairs : Pairs
        Products of its columns.
    adder : sparse matrix, shape (L, u)
        Adds up by level of the eliminated group, whose predictors lie side by side.
    owner : ndarray, shape (r,)
        Group whose sd scales each rest parameter; -1 for a coefficient.
    eliminated : int
        The eliminated group; -1 when there are no groups.
    precision, linear : ndarray, shapes (r, r) and (r,)
        Belief about the rest parameters.
    order : ndarray, shape (d,)
        Positions of (rest, big) among the inner parameters.
    """

    rows: NormalRows | GradeRows
    starts: np.ndarray
    mode: np.ndarray
    predictor: np.ndarray
    moves: np.ndarray
    rest: np.ndarray
    pairs: Pairs
    adder: csr_array
    owner: np.ndarray
    eliminated: int
    precision: np.ndarray
    linear: np.ndarray
    order: np.ndarray

    @property
    def many_levels(self) -> np.ndarray:
        """Positions among the inner parameters of the levels of groups that have very many."""
        owner = np.append(self.owner, np.full(self.adder.shape[0], self.eliminated))
        groups, counts = np.unique(owner, return_counts=True)
        return self.order[np.isin(owner, groups[(groups >= 0) & (counts > MANY)])]

    def draw_given(self, outer: np.ndarray, noise: np.ndarray, groups: int) -> tuple[np.ndarray, np.ndarray]:
        """Return inner draws (m, e, d) for standard `noise` (m, e, d), and the log volume (m,) noise gains.

        `outer` (m, k): draws of shape parameters and group standard deviations. `noise` (m, e, d): of e inner draws for
        each outer one. `groups`: how many of the last outer parameters are standard deviations.
        """
        width = max(noise[0].size, self.starts[-1], self.adder.shape[0] * self.rest.shape[1])
        parts = [self._draw_given(outer[part], noise[part], groups) for part in chunks(len(outer), width)]
        inner, volume = (np.concatenate(pieces) for pieces in zip(*parts, strict=True))
        return inner, volume

    def _draw_given(self, outer, noise, groups):
        root, half, own, cross, level = self._factored(outer, groups)
        noise, r = noise[:, :, self.order], self.rest.shape[1]
        rest = _backward(root, half[:, None] + noise[:, :, :r])
        levels = (own[:, None] - rest @ cross.transpose(0, 2, 1)) / level[:, None] + noise[:, :, r:] / np.sqrt(level)[:, None]
        inner = np.empty_like(noise)
        inner[:, :, self.order] = np.concatenate([rest, levels], axis=2)
        log_volume = -np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1) - np.log(level).sum(axis=1) / 2
        return inner, log_volume

    def _factored(self, outer, groups):
        """Curvature and slopes at the mode of the rest and of the eliminated levels, for each outer draw."""
        shape, sds = split_outer(outer, groups)
        sds = np.pad(sds, ((0, 0), (0, 1)), constant_values=1.0)
        scale, tau = sds[:, self.owner], sds[:, [self.eliminated]]
        eta = self.predictor + (outer - self.mode) @ self.moves.T
        for left in reversed(range(STEPS if self.rows.open_ended.any() else 1)):
            pull, weight = self._summed(*self.rows.working_response_and_weight(self._each_row(eta), shape))
            matrix, cross, level = self._products(weight, scale, tau)
            level += 1
            np.einsum("mii->mi", matrix)[:] *= 1 + RIDGE
            right, own = scale * (pull @ self.rest) + self.linear, tau * (self.adder @ pull.T).T
            matrix -= cross.transpose(0, 2, 1) @ (cross / level[:, :, None])
            right -= ((own / level)[:, None, :] @ cross)[:, 0]
            root = np.linalg.cholesky(matrix)
            half = _forward(root, right)
            if left:
                rest = _backward(root, half[:, None])[:, 0]
                levels = (own - (cross @ rest[:, :, None])[:, :, 0]) / level
                eta = (scale * rest) @ self.rest.T + (self.adder.T @ (tau * levels).T).T
        return root, half, own, cross, level

    def _each_row(self, eta):
        """Predictors (m, u) at each row: (m, n)."""
        return eta if eta.shape[1] == self.starts[-1] else np.repeat(eta, np.diff(self.starts), axis=1)

    def _summed(self, *arrays):
        """Arrays (m, n) added up over the rows of each predictor: (m, u)."""
        if len(self.predictor) == self.starts[-1]:
            return arrays
        return [np.add.reduceat(part, self.starts[:-1], axis=1) for part in arrays]

    def _products(self, weight, scale, tau):
        """Weighted products of the design for each draw: (m, r, r), (m, L, r) and (m, L)."""
        matrix = self.pairs.weighted_sum(weight)
        matrix *= scale[:, :, None]  # in place: it is the largest array
        matrix *= scale[:, None, :]
        matrix += self.precision
        cross, ends = np.empty((len(weight), self.adder.shape[0], self.rest.shape[1])), self.adder.indptr
        for level in range(cross.shape[1]):  # each predictor has one level: skip all the zeros
            member = slice(ends[level], ends[level + 1])
            cross[:, level] = weight[:, member] @ self.rest[member]
        cross *= (tau * scale)[:, None, :]
        return matrix, cross, tau**2 * (self.adder @ weight.T).T


@dataclass(frozen=True)
class Pairs:
    """Products (n, q) of the pairs (q,) of the r columns of a design; `one` never comes before the `other`."""

    products: np.ndarray | csc_array
    one: np.ndarray
    other: np.ndarray
    size: int

    def weighted_sum(self, weight: np.ndarray) -> np.ndarray:
        """Rows added up with weights (m, n): (m, r, r), of which only the lower triangle is filled."""
        matrix = np.zeros((len(weight), self.size, self.size))
        matrix[:, self.one, self.other] = weight @ self.products
        return matrix


def _pairs_of(design: np.ndarray) -> Pairs:
    """The `Pairs` of a design (n, r); of very many columns only those pairs that share a row."""
    size = design.shape[1]
    one, other = np.tril_indices(size)
    if size <= MANY:
        return Pairs(design[:, one] * design[:, other], one, other, size)
    sparse = csc_array(design)
    products = hstack([sparse[:, : a + 1].multiply(design[:, [a]]) for a in range(size)], format="csc")
    products.eliminate_zeros()
    met = np.diff(products.indptr) > 0
    return Pairs(products[:, met], one[met], other[met], size)


def chunks(count: int, width: int, room: int | None = None) -> list[slice]:
    """Slices of `count` draws, few enough at a time that `width` numbers for each find room.

    That is `room` numbers at a time, or else `ROOM`.
    """
    step = max(1, (room or ROOM) // max(width, 1))
    return [slice(first, first + step) for first in range(0, count, step)]


def conditional_at(marginal: Marginal, at: np.ndarray) -> Conditional:
    """Return the `Conditional` of a `Marginal` about one place, best its top.

    `at` (k + G,): outer parameters.
    """
    inner = marginal.solve(at)
    groups, p = marginal.problem.groups, marginal.inner_fixed
    big = most_levels(groups)
    rest = np.hstack([marginal.problem.design, *(g.design for i, g in enumerate(groups) if i != big)])
    owner = np.r_[np.full(p, -1), np.repeat(np.arange(len(groups)), [g.levels for g in groups])].astype(int)
    chosen = owner == big if big >= 0 else np.zeros(len(owner), dtype=bool)
    precision, linear = marginal.precision(int((~chosen).sum()))
    most = groups[big] if big >= 0 else None
    codes = most.codes if isinstance(most, Group) else np.zeros(len(rest), dtype=int)
    order, starts = _equal_rows_together(codes, rest)
    first = order[starts[:-1]]
    rest = rest[first]
    return Conditional(
        marginal.problem.rows.subset(order),
        starts,
        at,
        inner.eta[first],
        marginal.derivatives(inner)[2][first],
        rest,
        _pairs_of(rest),
        level_indicator(most.subset(first)) if isinstance(most, Group) else csr_array((0, len(rest))),
        owner[~chosen],
        big,
        precision,
        linear,
        np.r_[np.flatnonzero(~chosen), np.flatnonzero(chosen)],
    )


def _equal_rows_together(codes, design):
    """An order of rows that puts rows of one level and design side by side, and where each such set begins, and the last ends."""
    rounded = np.round(design, DIGITS)
    order = np.lexsort((*rounded.T, codes))
    new = (np.diff(rounded[order], axis=0) != 0).any(axis=1) | (np.diff(codes[order]) != 0)
    return order, np.r_[0, np.flatnonzero(new) + 1, len(order)]


def _forward(root, right):
    """Solve ``root @ x = right`` for many lower triangular roots (m, r, r) at once."""
    x = np.empty_like(right)
    for i in range(right.shape[1]):
        done = (root[:, i, :i] * x[:, :i]).sum(axis=1)
        x[:, i] = (right[:, i] - done) / root[:, i, i]
    return x


def _backward(root, right):
    """Solve ``root.T @ x = right`` for many lower triangular roots (m, r, r) at once, e right sides each (m, e, r)."""
    x = np.empty_like(right)
    for i in reversed(range(right.shape[2])):
        done = (x[:, :, i + 1 :] @ root[:, i + 1 :, i, None])[:, :, 0]
        x[:, :, i] = (right[:, :, i] - done) / root[:, i, i, None]
    return x
