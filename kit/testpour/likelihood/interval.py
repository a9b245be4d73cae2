"""The kit's one likelihood: a normal latent value known to lie in an interval."""

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from testpour.likelihood.climb import Optimum
from testpour.likelihood.density import Scale
from testpour.likelihood.elimination import Group, Smooth
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.proposal import Proposal


class IntervalModel:
    """Rows whose normal latent value is known to lie in ``[low, high]``.

    Latent ``y* = X b + sum of group effects + e`` with ``e ~ N(0, sigma**2)``; a gel time seen only as
    "not yet at two hours" has ``high = inf``. With `grades`, sigma is 1 and grade g is the latent interval
    between cut-points g and g + 1, which are fitted; then `exog` must hold no constant. Where a belief is
    flat the rows alone must hold what it is about, which nothing checks: `models.beliefs` lets no flat one in.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Ends on the latent scale; equal when exact, infinite when open. With `grades`, the
        lowest and highest grade the row may have, 0 .. `grades` - 1.
    exog : array_like or DataFrame, shape (n, p)
        Columns of the effects; a DataFrame names them.
    grades : int, optional
        Number of grades K.
    groups : dict, optional
        Name to (n,) labels or codes: one random intercept each.
    belief : tuple of array_like, optional
        Means and sds (p,) of Normal beliefs about the coefficients; an sd of inf is flat.
    sd_belief : float, optional
        Half-normal scale of the belief about sigma, latent units; None or inf is flat.
    group_beliefs : dict, optional
        Name to half-normal scale of the belief about that group's sd; missing or inf is flat.
    cut_belief : tuple of array_like, optional
        Means and sds (K-1,) of Normal beliefs about the cut-points, kept in order.
    smooth : dict, optional
        Name to columns (n, q) of a function whose coefficients are Normal(0, s**2), and the half-normal scale
        of the belief about s; each is kept as a group, after `groups`.

    Raises
    ------
    ValueError
        When ends are reversed or missing, grades out of range, or lengths differ. Every problem found is listed.
    """

    def __init__(
        self, low: ArrayLike, high: ArrayLike, exog: ArrayLike | pd.DataFrame, *, grades: int | None = None,
        groups: dict | None = None, belief: tuple[np.ndarray, np.ndarray] | None = None, sd_belief: float | None = None,
        group_beliefs: dict | None = None, cut_belief: tuple[np.ndarray, np.ndarray] | None = None,
        smooth: dict[str, tuple[np.ndarray, float]] | None = None,
    ) -> None:
        self.optimum: tuple[Marginal, Scale, Optimum] | None = None  # what `optimum.optimum_of` keeps
        self.proposal: tuple[Proposal, Scale] | None = None  # what `posterior.sample` ended with
        table = exog if isinstance(exog, pd.DataFrame) else pd.DataFrame(np.asarray(exog, dtype=float))
        self.coefficient_names = [f"x{c}" if table is not exog else str(c) for c in table.columns]
        groups, group_beliefs = dict(groups or {}), dict(group_beliefs or {})
        self.grades, count = grades, 0 if grades is None else grades - 1
        self.belief, self.cut_belief = _pair(belief, table.shape[1]), _pair(cut_belief, count)
        self.sd_belief = np.inf if sd_belief is None else float(sd_belief)
        self.low, self.high = np.array(low, dtype=float), np.array(high, dtype=float)
        self.exog = table.to_numpy(dtype=float)
        pairs = {"belief": (table.shape[1], self.belief), "cut_belief": (count, self.cut_belief)}
        rows = _row_problems(self.low, self.high, self.exog, grades, groups)
        if problems := [*rows, *_belief_problems(pairs, self.sd_belief, groups, group_beliefs)]:
            raise ValueError(" ".join(problems))
        self._take_groups(groups, group_beliefs, smooth or {})
        self.informative = self._close_ends()

    def _take_groups(self, groups, group_beliefs, smooth):
        """Number the levels of every group, in sorted order, and line up the beliefs about their sds; smooth functions come last."""
        self.group_beliefs = np.array([float(group_beliefs.get(name, np.inf)) for name in groups])
        coded = {name: np.unique(np.asarray(labels), return_inverse=True) for name, labels in groups.items()}
        self.group_levels = {name: levels for name, (levels, _) in coded.items()}
        self.groups = tuple(Group(name, codes, len(levels)) for name, (levels, codes) in coded.items())
        for name, (columns, scale) in smooth.items():
            self.groups += (Smooth(name, np.asarray(columns, dtype=float)),)
            self.group_beliefs = np.append(self.group_beliefs, float(scale))
            self.group_levels[name] = np.arange(self.groups[-1].levels)

    def _close_ends(self):
        """Move open grade ends to the first and last grade; return which rows are informative."""
        if self.grades is None:
            return np.isfinite(self.low) | np.isfinite(self.high)
        self.low, self.high = np.maximum(self.low, 0), np.minimum(self.high, self.grades - 1)
        return (self.low > 0) | (self.high < self.grades - 1)


def _pair(belief: tuple[np.ndarray, np.ndarray] | None, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Means and sds as arrays of `count`; None is flat."""
    if belief is None:
        return np.zeros(count), np.full(count, np.inf)
    return np.array(belief[0], dtype=float), np.array(belief[1], dtype=float)


def _row_problems(low: np.ndarray, high: np.ndarray, exog: np.ndarray, grades: int | None, groups: dict) -> Iterator[str]:
    """Why rows cannot be used, a sentence each, with the place and what is allowed."""
    n = len(low)
    sizes = {"high": len(high), "exog": len(exog)} | {f"group {k!r}": len(v) for k, v in groups.items()}
    for name, size in sizes.items():
        if size != n:
            yield f"{name} has {size} rows, low has {n}: give one each."
    if len(high) == n:
        wrong = np.flatnonzero(~(low <= high))
        if len(wrong):
            i = wrong[0]
            yield (
                f"{len(wrong)} of {n} rows have ends missing or reversed, first row {i}: "
                f"low {low[i]:g}, high {high[i]:g}. Open ends are -inf and inf."
            )
        endless = np.flatnonzero((low == high) & np.isinf(low))
        if len(endless):
            yield f"Row {endless[0]} has both ends at {low[endless[0]]:g}: an exact value must be finite."
    if grades is not None:
        ends = np.concatenate([low[np.isfinite(low)], high[np.isfinite(high)]])
        outside = ends[(ends != np.round(ends)) | (ends < 0) | (ends > grades - 1)]
        if grades < 2:
            yield f"grades = {grades}: at least two grades are needed."
        elif len(outside):
            yield f"Grade {outside[0]:g} is not one of the whole numbers 0 to {grades - 1}."
    bad = np.argwhere(~np.isfinite(exog))
    if len(bad):
        yield f"exog has {len(bad)} missing or infinite entries, first row {bad[0, 0]}, column {bad[0, 1]}."


def _belief_problems(pairs: dict, sd_belief: float, group_names: Iterable[str], group_beliefs: dict[str, float]) -> Iterator[str]:
    """A sentence on each belief with the wrong length, a missing mean or an sd not above 0.

    `pairs` has, by the name of a belief, how many means and sds there must be, and those given.
    """
    for what, (size, (mean, sd)) in pairs.items():
        if mean.shape != (size,) or sd.shape != (size,):
            yield f"{what} needs {size} means and {size} standard deviations, not {mean.size} and {sd.size}."
        elif not np.isfinite(mean).all() or not (sd > 0).all():
            yield f"{what}: means must be finite and standard deviations above 0 (inf is flat)."
    if not sd_belief > 0:
        yield f"sd_belief = {sd_belief:g}: must be above 0 (inf is flat)."
    if strange := sorted(set(group_beliefs) - set(group_names)):
        yield f"group_beliefs names {strange}, but the groups are {sorted(group_names)}."
    for name, scale in group_beliefs.items():
        if not scale > 0:
            yield f"group_beliefs[{name!r}] = {scale:g}: must be above 0 (inf is flat)."
