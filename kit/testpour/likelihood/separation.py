"""Find out, before fitting, whether flat beliefs leave some estimate without a finite value."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

if TYPE_CHECKING:
    from testpour.likelihood.interval import IntervalModel

TOLERANCE = 1e-7


def runaway(model: IntervalModel) -> np.ndarray:
    """Return the direction in which the likelihood never stops rising, one entry per parameter.

    In the coefficients divided by sigma, one over sigma, and the cut-points, the log-likelihood is
    concave (Olsen 1978) and has no finite maximum exactly when some direction lowers it in no row and
    raises it in one. Linear programming finds such a direction (after Albert and Anderson 1984). Only
    parameters with flat beliefs may move.

    Parameters
    ----------
    model : IntervalModel

    Returns
    -------
    ndarray, shape (p + 1,) or (p + K - 1,)
        Coefficients, then 1/sigma or the cut-points; zeros when every estimate is finite.
    """
    lower, upper, exact = _row_moves(model)
    size = model.exog.shape[1]
    free = np.isfinite(model.belief[1])
    extra = np.isfinite(model.cut_belief[1]) if model.grades is not None else [not _sigma_free(model)]
    held = np.r_[free, extra].astype(bool)
    if held.all():
        return np.zeros(len(held))
    columns = np.maximum(np.abs(np.vstack([lower, upper, exact])).max(axis=0, initial=0.0), 1e-300)
    moves = np.vstack([lower, -upper]) / columns
    gain = -moves.sum(axis=0)
    if model.grades is None and len(exact):
        gain[size] += 1.0
    moves = np.vstack([moves, _order(model) / columns])
    bounds = [(0, 0) if h else (-1, 1) for h in held]
    if model.grades is None and not held[size]:
        bounds[size] = (0, 1)
    equal = {"A_eq": exact / columns, "b_eq": np.zeros(len(exact))} if len(exact) else {}
    unequal = {"A_ub": moves, "b_ub": np.zeros(len(moves))} if len(moves) else {}
    answer = linprog(-gain, **unequal, **equal, bounds=bounds)
    if answer.status != 0 or -answer.fun < TOLERANCE:
        return np.zeros(len(held))
    return np.where(np.abs(answer.x) > TOLERANCE, answer.x / columns, 0.0)


def _sigma_free(model):
    """Sigma may run to zero only when neither it nor any coefficient is held by a belief."""
    return not np.isfinite(model.spread_belief) and not np.isfinite(model.belief[1]).any()


def _order(model):
    """Cut-points stay in order: no gap between neighbours may shrink for ever."""
    p = model.exog.shape[1]
    if model.grades is None:
        return np.zeros((0, p + 1))
    cuts = np.eye(model.grades - 1)
    return np.hstack([np.zeros((model.grades - 2, p)), cuts[:-1] - cuts[1:]])


def _row_moves(model):
    """How each finite end moves, standardised, along each parameter: lower ends, upper ends, exact rows."""
    keep = model.informative
    low, high, design = model.low[keep], model.high[keep], model.exog[keep]
    if model.grades is None:
        exact = low == high
        with_low, with_high = np.isfinite(low) & ~exact, np.isfinite(high) & ~exact
        picks = ((with_low, low), (with_high, high), (exact, low))
        return tuple(np.column_stack([-design[pick], end[pick]]) for pick, end in picks)
    cuts = np.eye(model.grades + 1)[:, 1:-1]
    lower = np.column_stack([-design, cuts[low.astype(int)]])[low > 0]
    upper = np.column_stack([-design, cuts[high.astype(int) + 1]])[high < model.grades - 1]
    return lower, upper, np.zeros((0, lower.shape[1]))


def refuse_improper(model: IntervalModel) -> None:
    """Refuse a model with anything that neither a belief nor the rows hold in place, naming all of it.

    Parameters
    ----------
    model : IntervalModel

    Raises
    ------
    ValueError
    """
    problems = []
    if model.informative.any():
        direction = runaway(model)
        loose = [name for name, d in zip(model.parameter_names, direction, strict=False) if d]
    else:
        flat = np.r_[
            np.isinf(model.belief[1]),
            np.isinf(model.cut_belief[1]) if model.grades else [np.isinf(model.spread_belief)],
        ]
        loose = [name for name, f in zip(model.parameter_names, flat, strict=False) if f]
    if loose:
        problems.append(f"Neither a belief nor these rows limit {', '.join(loose)}: give a belief.")
    for group, scale in zip(model.groups, model.group_beliefs, strict=True):
        if np.isfinite(scale):
            continue
        seen = len(np.unique(group.codes[model.informative]))
        if seen < 3:
            problems.append(
                f"Group {group.name!r} has {seen} level(s) with readings; its sd needs a "
                "belief, or at least three levels."
            )
    if problems:
        raise ValueError(" ".join(problems))
