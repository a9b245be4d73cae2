"""The rows of many benches as blocks: each bench's own effects are eliminated separately, so work grows linearly with the rows.

Inner parameters are the coefficients, which all benches share, then each bench's own standard effects
(bench, slopes, sessions, lots, hands), then the leaves: the levels of the finest group, one of which owns
each row. Their curvature is an arrow: leaves touch one bench, benches touch each other only through the
coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs


@dataclass(frozen=True)
class Bench:
    """One bench's rows, its own design, and the places of its effects and leaves."""

    rows: slice  # which of all rows are its own
    local: slice  # places of its effects among the inner parameters
    leaves: slice  # which of all leaves are its own
    design: np.ndarray  # (n, p + d): the coefficients' columns, then its own at unit sd
    owner: np.ndarray  # (d,): the component whose sd scales each of its own columns
    starts: np.ndarray  # first row of each leaf, within the bench
    codes: np.ndarray  # (n,): leaf of each row, within the bench


@dataclass(frozen=True)
class Blocks:
    """All benches."""

    benches: tuple[Bench, ...]
    shared: int  # how many coefficients there are
    leaf: int  # the component of the leaves, -1 for none
    size: int  # of the inner parameters
    components: int  # how many

    @property
    def first_leaf(self) -> int:
        """Place of the first leaf among the inner parameters."""
        return self.size - (self.benches[-1].leaves.stop if self.leaf >= 0 else 0)

    @property
    def dense(self) -> int:
        """Number of inner parameters that one dense matrix holds."""
        return self.shared

    def by_sd(self, inner: np.ndarray, slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives by each sd: of the predictor at `inner` (size,), and of the design's transpose times `slopes` (n,)."""
        shift, direct = np.zeros((len(slopes), self.components)), np.zeros((self.size, self.components))
        for bench in self.benches:
            member = bench.owner[:, None] == np.arange(self.components)
            own, score = bench.design[:, self.shared :], slopes[bench.rows]
            shift[bench.rows] = own @ (inner[bench.local, None] * member)
            direct[bench.local] = (own.T @ score)[:, None] * member
            if self.leaf >= 0:
                shift[bench.rows, self.leaf] = inner[self.first_leaf :][bench.leaves][bench.codes]
                direct[self.first_leaf :][bench.leaves, self.leaf] = np.add.reduceat(score, bench.starts)
        return shift, direct

    def at(self, sds: np.ndarray) -> BlockDesign:
        """The `BlockDesign` at signed `sds`, one per component."""
        return BlockDesign(self, sds)


def make_blocks(design: np.ndarray, bench: np.ndarray, components: list[tuple[np.ndarray, np.ndarray]]) -> Blocks:
    """Arrange rows, which are in the order of their `bench` numbers, by bench.

    Each component is a level number and a value for each row; no level occurs at two benches. The component with most
    levels, if all its values are 1 and its levels come in runs, becomes the leaves.
    """
    edges = np.r_[np.flatnonzero(np.r_[True, np.diff(bench) != 0]), len(bench)]
    leaf = _finest(components, len(edges) - 1)
    p, at, leaves, made = design.shape[1], design.shape[1], 0, []
    for first, last in pairwise(edges):
        rows = slice(first, last)
        columns, owner = [design[rows]], []
        for c, (codes, values) in enumerate(components):
            if c != leaf:
                levels, own = np.unique(codes[rows], return_inverse=True)
                columns.append(values[rows, None] * (own[:, None] == np.arange(len(levels))))
                owner += [c] * len(levels)
        starts = codes = np.zeros(0, int)
        if leaf >= 0:
            new = np.r_[True, np.diff(components[leaf][0][rows]) != 0]
            starts, codes = np.flatnonzero(new), np.cumsum(new) - 1
        local, own_leaves = slice(at, at + len(owner)), slice(leaves, leaves + len(starts))
        made.append(Bench(rows, local, own_leaves, np.hstack(columns), np.array(owner, int), starts, codes))
        at, leaves = local.stop, own_leaves.stop
    return Blocks(tuple(made), p, leaf, at + leaves, len(components))


def _finest(components, benches):
    """The intercept with most levels, among those whose levels come in runs; -1 if none is finer than the benches."""
    best, most = -1, benches
    for c, (codes, values) in enumerate(components):
        levels = len(np.unique(codes))
        runs = 1 + (np.diff(codes) != 0).sum()
        if (values == 1).all() and runs == levels and levels > most:
            best, most = c, levels
    return best


BenchParts: TypeAlias = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class BlockDesign:
    """The inner design of a pool at given sds, one per component."""

    layout: Blocks
    sds: np.ndarray

    def predictor(self, inner: np.ndarray) -> np.ndarray:
        """The design times `inner` (size, ...): row means (n, ...)."""
        blocks, sds, pieces = self.layout, self.sds, []
        for bench in blocks.benches:
            own = (sds[bench.owner] * inner[bench.local].T).T
            eta = bench.design @ np.concatenate([inner[: blocks.shared], own])
            if blocks.leaf >= 0:
                eta = eta + sds[blocks.leaf] * inner[blocks.first_leaf :][bench.leaves][bench.codes]
            pieces.append(eta)
        return np.concatenate(pieces)

    def transpose_times(self, slopes: np.ndarray) -> np.ndarray:
        """The design's transpose times `slopes` (n, ...): (size, ...)."""
        blocks, sds, p = self.layout, self.sds, self.layout.shared
        out = np.zeros((blocks.size, *slopes.shape[1:]))
        for bench in blocks.benches:
            part = slopes[bench.rows]
            both = bench.design.T @ part
            out[:p] += both[:p]
            out[bench.local] = (sds[bench.owner] * both[p:].T).T
            if blocks.leaf >= 0:
                out[blocks.first_leaf :][bench.leaves] = sds[blocks.leaf] * np.add.reduceat(part, bench.starts, axis=0)
        return out

    def factor(self, weights: np.ndarray, precision: np.ndarray) -> Arrow:
        """The `Arrow` at row `weights`, curvatures of the rows' log likelihoods, 0 or more, and the coefficients' belief `precision`."""
        blocks, sds, p = self.layout, self.sds, self.layout.shared
        total, log_determinant, parts = precision.copy(), 0.0, []
        for bench in blocks.benches:
            scale = np.r_[np.ones(p), sds[bench.owner]]
            weighed = bench.design * weights[bench.rows, None]
            matrix = bench.design.T @ weighed
            sums, level = np.zeros((0, len(scale))), np.zeros(0)
            if blocks.leaf >= 0:
                tau = sds[blocks.leaf]
                sums = np.add.reduceat(weighed, bench.starts, axis=0)
                level = 1 + tau**2 * np.add.reduceat(weights[bench.rows], bench.starts)
                matrix -= (sums * (tau**2 / level)[:, None]).T @ sums
                sums = sums * scale
                log_determinant += np.log(level).sum()
            matrix *= scale[:, None] * scale
            root = dpotrf(matrix[p:, p:] + np.eye(len(bench.owner)), lower=1)[0]
            link = forward_solve(root, matrix[p:, :p])
            total += matrix[:p, :p] - link.T @ link
            log_determinant += 2 * np.log(np.diag(root)).sum()
            parts.append((root, link, sums, level, scale))
        root = dpotrf(total, lower=1)[0]
        return Arrow(self, root, tuple(parts), log_determinant + 2 * np.log(np.diag(root)).sum())


@dataclass(frozen=True)
class Arrow:
    """The factored curvature of the inner parameters at row weights and sds."""

    design: BlockDesign
    root: np.ndarray  # lower Cholesky factor of the coefficients' curvature with all else integrated out
    # Of each bench: root of its own curvature, link to the coefficients, scaled leaf sums, leaf curvatures, column scales.
    parts: tuple[BenchParts, ...]
    log_determinant: float

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Curvature to the power -1 times `right` (size, ...)."""
        blocks, p, shape = self.design.layout, self.design.layout.shared, right.shape
        first, tau, right = blocks.first_leaf, self.design.sds[blocks.leaf], right.reshape(len(right), -1)
        out, top, kept = np.array(right, float), right[:p].copy(), []
        for bench, (root, link, sums, level, _) in zip(blocks.benches, self.parts, strict=True):
            own = right[bench.local]
            if blocks.leaf >= 0:
                away = tau * right[first + bench.leaves.start : first + bench.leaves.stop] / level[:, None]
                less = sums.T @ away
                top -= less[:p]
                own = own - less[p:]
            half = forward_solve(root, own)
            top -= link.T @ half
            kept.append(half)
        out[:p] = dpotrs(self.root, top, lower=1)[0]
        for bench, (root, link, sums, level, _), half in zip(blocks.benches, self.parts, kept, strict=True):
            own = back_solve(root, half - link @ out[:p])
            out[bench.local] = own
            if blocks.leaf >= 0:
                place = slice(first + bench.leaves.start, first + bench.leaves.stop)
                out[place] = (right[place] - tau * (sums @ np.vstack([out[:p], own]))) / level[:, None]
        return out.reshape(shape)

    def leverage(self) -> tuple[np.ndarray, np.ndarray]:
        """Variance of each row's predictor (n,), and its covariance with each component's own level there (n, components)."""
        blocks, p = self.design.layout, self.design.layout.shared
        tau, n = self.design.sds[blocks.leaf], blocks.benches[-1].rows.stop
        variance, own = np.zeros(n), np.zeros((n, blocks.components))
        for bench, part in zip(blocks.benches, self.parts, strict=True):
            _, _, sums, level, scale = part
            reach = bench.design * scale
            if blocks.leaf >= 0:
                reach = reach - ((tau**2 / level)[:, None] * sums)[bench.codes]
            covariance = reach @ self.inverse_block(part)
            variance[bench.rows] = (reach * covariance).sum(axis=1)
            member = bench.owner[:, None] == np.arange(blocks.components)
            own[bench.rows] = (bench.design[:, p:] * covariance[:, p:]) @ member
            if blocks.leaf >= 0:
                own[bench.rows, blocks.leaf] = tau * (1 - (sums[bench.codes] * covariance).sum(axis=1)) / level[bench.codes]
                variance[bench.rows] += tau**2 / level[bench.codes]
        return variance, own

    def inverse_block(self, part: BenchParts) -> np.ndarray:
        """Covariance of the coefficients and one bench's own effects, (p + d, p + d)."""
        root, link, *_ = part
        top = dpotrs(self.root, np.eye(len(self.root)), lower=1)[0]
        both = back_solve(root, np.hstack([link, np.eye(len(root))]))
        turn, roots = both[:, : link.shape[1]], both[:, link.shape[1] :]
        across = -turn @ top
        return np.block([[top, across.T], [across, roots @ roots.T + turn @ top @ turn.T]])


def forward_solve(root: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve ``root @ x = right``; straight to LAPACK, as there are hundreds of small systems."""
    return dtrtrs(root, right, lower=1)[0]


def back_solve(root: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve ``root.T @ x = right`` with a lower triangular root."""
    return dtrtrs(root, right, lower=1, trans=1)[0]
