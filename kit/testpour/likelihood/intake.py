"""Check what an interval model is given, before any arithmetic."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np


def pair(belief: tuple[np.ndarray, np.ndarray] | None, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return means and sds as arrays of `count`; None is flat.

    Parameters
    ----------
    belief : tuple of array or None
        Means and standard deviations, each of shape (count,) or one number for all.
    count : int

    Returns
    -------
    tuple of array
    """
    if belief is None:
        return np.zeros(count), np.full(count, np.inf)
    return np.array(belief[0], dtype=float), np.array(belief[1], dtype=float)


def check_rows(low: np.ndarray, high: np.ndarray, exog: np.ndarray, grades: int | None, groups: dict) -> None:
    """Raise ValueError listing every problem with the rows; each says where and what is allowed.

    Parameters
    ----------
    low, high : array, shape (n,)
        Ends; infinite where open.
    exog : array, shape (n, p)
        Model matrix.
    grades : int or None
        How many; None where the reading is a number.
    groups : dict
        Group name to the labels (n,) of its rows.
    """
    problems = []
    n = len(low)
    sizes = {"high": len(high), "exog": len(exog)} | {f"group {k!r}": len(v) for k, v in groups.items()}
    problems += [
        f"{name} has {size} rows, low has {n}: give one each." for name, size in sizes.items() if size != n
    ]
    if len(high) == n:
        wrong = np.flatnonzero(~(low <= high))
        if len(wrong):
            i = wrong[0]
            problems.append(
                f"{len(wrong)} row(s) have ends missing or reversed, first row {i}: "
                f"low {low[i]:g}, high {high[i]:g}. Open ends are -inf and inf."
            )
        endless = np.flatnonzero((low == high) & np.isinf(low))
        if len(endless):
            problems.append(
                f"Row {endless[0]} has both ends at {low[endless[0]]:g}: an exact value must be finite."
            )
    if grades is not None:
        problems += _grade_problems(low, high, grades)
    bad = np.argwhere(~np.isfinite(exog))
    if len(bad):
        problems.append(
            f"exog has {len(bad)} missing or infinite entries, first row {bad[0, 0]}, column {bad[0, 1]}."
        )
    if problems:
        raise ValueError(" ".join(problems))


def _grade_problems(low, high, grades):
    if grades < 2:
        return [f"grades = {grades}: at least two grades are needed."]
    ends = np.concatenate([low[np.isfinite(low)], high[np.isfinite(high)]])
    outside = ends[(ends != np.round(ends)) | (ends < 0) | (ends > grades - 1)]
    if len(outside):
        return [f"Grade {outside[0]:g} is not one of the whole numbers 0 to {grades - 1}."]
    return []


def check_beliefs(coefficients: tuple, cuts: tuple, spread_belief: float, group_names: Iterable[str], group_beliefs: dict[str, float]) -> None:
    """Raise ValueError listing every belief with the wrong length, a missing mean or an sd not above 0.

    `coefficients` and `cuts` are each (how many, (means, sds)).

    Parameters
    ----------
    coefficients, cuts : tuple
    spread_belief : float
        Half-normal scale of one reading's standard deviation; infinite is flat.
    group_names : iterable of str
        Of the groups.
    group_beliefs : dict
        Group name to the half-normal scale of its standard deviation.
    """
    problems = []
    for what, (size, (mean, sd)) in (("belief", coefficients), ("cut_belief", cuts)):
        if mean.shape != (size,) or sd.shape != (size,):
            problems.append(
                f"{what} needs {size} means and {size} standard deviations, not {mean.size} and {sd.size}."
            )
        elif not np.isfinite(mean).all() or not (sd > 0).all():
            problems.append(f"{what}: means must be finite and standard deviations above 0 (inf is flat).")
    if not spread_belief > 0:
        problems.append(f"spread_belief = {spread_belief:g}: must be above 0 (inf is flat).")
    strange = sorted(set(group_beliefs) - set(group_names))
    if strange:
        problems.append(f"group_beliefs names {strange}, but the groups are {sorted(group_names)}.")
    problems += [
        f"group_beliefs[{name!r}] = {scale:g}: must be above 0 (inf is flat)."
        for name, scale in group_beliefs.items()
        if not scale > 0
    ]
    if problems:
        raise ValueError(" ".join(problems))
