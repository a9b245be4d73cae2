"""The design and curvature of the inner parameters; a group of very many levels is eliminated level by level.

Each row touches one level of a group, so the group's block of the curvature is diagonal: what is left
is a small dense matrix (its Schur complement), and work grows with the rows, not with the levels' square.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.linalg import cho_solve, cholesky
from scipy.sparse import csr_array

MANY = 40  # levels above which elimination is faster than one dense matrix


@dataclass(frozen=True)
class Group:
    """A random intercept: `codes` (n,) give each row's level, 0 .. `levels` - 1."""

    name: str
    codes: np.ndarray
    levels: int

    @property
    def design(self) -> np.ndarray:
        """The (n, levels) indicator matrix of each row's level."""
        return (self.codes[:, None] == np.arange(self.levels)).astype(float)

    def at(self, effects: np.ndarray) -> np.ndarray:
        """The effect of each row's level; `effects` (levels,) or (levels, ...)."""
        return effects[self.codes]

    def added(self, values: np.ndarray) -> np.ndarray:
        """Row values (n,) added up by level."""
        return np.bincount(self.codes, values, self.levels)

    def subset(self, rows: np.ndarray) -> Group:
        """The same group on some of the rows."""
        return Group(self.name, self.codes[rows], self.levels)


@dataclass(frozen=True)
class Smooth:
    """Columns (n, levels) of a smooth function, whose coefficients share one standard deviation."""

    name: str
    design: np.ndarray

    @property
    def levels(self) -> int:
        """Number of columns."""
        return self.design.shape[1]

    def at(self, effects: np.ndarray) -> np.ndarray:
        """The function at each row, for coefficients (levels,)."""
        return self.design @ effects

    def added(self, values: np.ndarray) -> np.ndarray:
        """Row values (n,) times the columns: (levels,)."""
        return self.design.T @ values

    def subset(self, rows: np.ndarray) -> Smooth:
        """The same function on some of the rows."""
        return Smooth(self.name, self.design[rows])


def most_levels(groups: Sequence[Group | Smooth]) -> int:
    """Number of the random intercept with most levels; -1 when there is none."""
    levels = [group.levels if isinstance(group, Group) else -1 for group in groups]
    return int(np.argmax(levels)) if max(levels, default=-1) >= 0 else -1


def level_indicator(group: Group) -> csr_array:
    """The transposed design of a random intercept as a sparse matrix (levels, n), which sums rows by level."""
    ones, rows = np.ones(len(group.codes)), np.arange(len(group.codes))
    return csr_array((ones, (group.codes, rows)), shape=(group.levels, len(rows)))


def predictor_draws(design: np.ndarray, groups: Sequence[Group | Smooth], inner: np.ndarray, sds: np.ndarray) -> np.ndarray:
    """Linear predictors (m, n) of m draws: `inner` (m, p + levels), coefficients and then each group's standard effects, and `sds` (m, G)."""
    start = design.shape[1]
    eta = inner[:, :start] @ design.T
    for sd, group in zip(np.abs(sds).T, groups, strict=True):
        eta += group.at((inner[:, start : start + group.levels] * sd[:, None]).T).T
        start += group.levels
    return eta


@dataclass(frozen=True)
class Layout:
    """The places of the inner parameters: coefficients, then each group's levels; one group may be eliminated.

    Attributes
    ----------
    groups : tuple of Group
    big : int
        The eliminated group; -1 for none.
    kept : ndarray, shape (n, r)
        Unit-sd design of what is kept.
    owner : ndarray, shape (r,)
        Group whose sd scales each kept column; -1 for a coefficient.
    place : slice
        Of the eliminated levels among the inner parameters.
    adder : array or sparse matrix, shape (L, n)
        Adds rows up by eliminated level; L is 0 where there are none.
    """

    groups: tuple[Group | Smooth, ...]
    big: int
    kept: np.ndarray
    owner: np.ndarray
    place: slice
    adder: csr_array | np.ndarray

    @cached_property
    def offsets(self) -> np.ndarray:
        """Where the levels of each group begin among the inner parameters, and where the last end: (G + 1,)."""
        return (self.owner == -1).sum() + np.cumsum([0, *(group.levels for group in self.groups)])

    @cached_property
    def size(self) -> int:
        """Number of inner parameters."""
        return int(self.offsets[-1])

    @property
    def dense(self) -> int:
        """Number of those that one dense matrix holds."""
        return len(self.owner)

    def by_sd(self, inner: np.ndarray, slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives by each sd: of the predictor at `inner` (d,), (n, G), and of the design's transpose times `slopes` (n,), (d, G)."""
        shift, direct = np.zeros((len(slopes), len(self.groups))), np.zeros((self.size, len(self.groups)))
        for g, (group, ends) in enumerate(zip(self.groups, pairwise(self.offsets), strict=True)):
            shift[:, g], direct[slice(*ends), g] = group.at(inner[slice(*ends)]), group.added(slopes)
        return shift, direct

    def at(self, sds: np.ndarray) -> InnerDesign:
        """Return the `InnerDesign` at signed `sds` (G,)."""
        return InnerDesign(self, self.kept * np.append(sds, 1.0)[self.owner], sds[self.big] if self.big >= 0 else 0.0)

    def part(self, inner: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Kept and eliminated among `inner` (d, ...)."""
        return np.concatenate([inner[: self.place.start], inner[self.place.stop :]]), inner[self.place]

    def join(self, kept: np.ndarray, levels: np.ndarray) -> np.ndarray:
        """The inverse of `part`.

        Of `kept` (r, ...) and `levels` (levels, ...) it makes (d, ...).
        """
        first = self.place.start
        return np.concatenate([kept[:first], levels, kept[first:]])


def layout(design: np.ndarray, groups: tuple[Group | Smooth, ...], many: int = MANY) -> Layout:
    """Return the `Layout` of coefficients' `design` (n, f) and `groups`, the largest eliminated above `many` levels.

    Of one with `many` levels or fewer nothing is eliminated.
    """
    big = most_levels(groups)
    big = big if big >= 0 and groups[big].levels > many else -1
    kept = [g for g in range(len(groups)) if g != big]
    columns = np.hstack([design, *(groups[g].design for g in kept)])
    owner = np.r_[np.full(design.shape[1], -1), np.repeat(kept, [groups[g].levels for g in kept])].astype(int)
    eliminated = groups[big] if big >= 0 else None
    if not isinstance(eliminated, Group):  # `most_levels` ignores smooth functions
        return Layout(groups, big, columns, owner, slice(len(owner), len(owner)), np.zeros((0, len(design))))
    first = design.shape[1] + sum(group.levels for group in groups[:big])
    return Layout(groups, big, columns, owner, slice(first, first + eliminated.levels), level_indicator(eliminated))


@dataclass(frozen=True)
class InnerDesign:
    """The inner design at given sds: `kept` columns (n, r), and the sd `tau` of the eliminated levels."""

    layout: Layout
    kept: np.ndarray
    tau: float

    def predictor(self, inner: np.ndarray) -> np.ndarray:
        """The design times `inner` (d, ...): (n, ...)."""
        kept, levels = self.layout.part(inner)
        return self.kept @ kept + self.layout.adder.T @ (self.tau * levels)

    def transpose_times(self, slopes: np.ndarray) -> np.ndarray:
        """The design's transpose times `slopes` (n, ...): (d, ...)."""
        return self.layout.join(self.kept.T @ slopes, self.tau * (self.layout.adder @ slopes))

    def factor(self, weights: np.ndarray, precision: np.ndarray) -> Factored:
        """The `Factored` curvature at row `weights` (n,) and the kept parameters' belief `precision` (r, r).

        Eliminated levels are standard normal by belief. `weights` (n,): curvature of each row's log likelihood, 0 or
        more. `precision` (r, r).
        """
        weighed = self.kept.T * weights
        matrix = weighed @ self.kept + precision
        sums = self.tau * (self.layout.adder @ weighed.T)
        level = 1 + self.tau**2 * (self.layout.adder @ weights)
        matrix -= sums.T @ (sums / level[:, None])
        return Factored(self, cholesky(matrix, lower=True, check_finite=False), sums, level)


@dataclass(frozen=True)
class Factored:
    """A factored curvature of the inner parameters.

    Attributes
    ----------
    design : InnerDesign
    root : ndarray, shape (r, r)
        Lower Cholesky factor of the kept parameters' curvature, the eliminated levels integrated out.
    sums, level : ndarray, shapes (L, r) and (L,)
        Curvature between eliminated and kept, and of each eliminated level.
    """

    design: InnerDesign
    root: np.ndarray
    sums: np.ndarray
    level: np.ndarray

    @property
    def log_determinant(self) -> float:
        """Log determinant of the whole curvature."""
        return 2 * np.log(np.diag(self.root)).sum() + np.log(self.level).sum()

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Curvature to the power -1 times `right` (d, ...)."""
        kept, levels = self.design.layout.part(right)
        kept = cho_solve((self.root, True), kept - self.sums.T @ (levels.T / self.level).T, check_finite=False)
        return self.design.layout.join(kept, ((levels - self.sums @ kept).T / self.level).T)

    def leverage(self) -> tuple[np.ndarray, np.ndarray]:
        """Variance of each row's predictor (n,), and its covariance with each group's own level there (n, G)."""
        design, layout, by_row = self.design, self.design.layout, self.design.layout.adder.T
        away = design.tau / self.level
        reach = design.kept - by_row @ (self.sums * away[:, None])
        covariance = cho_solve((self.root, True), reach.T, check_finite=False).T
        own = np.empty((len(covariance), len(layout.groups)))
        for g, group in enumerate(layout.groups):
            if g != layout.big:
                first = np.searchsorted(layout.owner, g)
                own[:, g] = (group.design * covariance[:, first : first + group.levels]).sum(axis=1)
        if layout.big >= 0:
            own[:, layout.big] = by_row @ away - (by_row @ (self.sums / self.level[:, None]) * covariance).sum(axis=1)
        return (reach * covariance).sum(axis=1) + by_row @ (design.tau * away), own
