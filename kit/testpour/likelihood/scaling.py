"""A model on a scale on which every parameter is near one; and draws from its beliefs alone."""

import numpy as np
from scipy.linalg import solve_triangular
from scipy.stats import norm

from testpour.likelihood.density import CutPrior, JointDensity, Scale, SigmaPrior
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.observations import GradeRows, NormalRows, interval_middles, shape_of

TRIES = 1000  # attempts to draw cut-points in order


def scaled_problem(model: IntervalModel) -> tuple[JointDensity, Scale, np.ndarray]:
    """Return the `JointDensity` of an `IntervalModel` on its working scale, its `Scale`, and a start.

    Rows open at both ends say nothing and are left out.
    """
    keep = model.informative
    low, high, design = model.low[keep], model.high[keep], model.exog[keep]
    mean, sd = model.belief
    believed = np.isfinite(sd)
    root = (np.eye(len(sd)) / np.where(believed, sd, 1.0))[believed]
    target = mean[believed] / sd[believed]
    coefficients, unit = _start(model, low, high, design, root, target)
    stacked, turned = np.linalg.qr(np.vstack([design, unit * root]))
    turn = solve_triangular(turned, np.eye(len(turned)))
    scale = Scale(unit, turn, model.grades is not None)
    rows, shape, belief = _rows(model, low, high, unit)
    groups = tuple(g.subset(keep) for g in model.groups)
    constant = -(low == high).sum() * np.log(unit) * (not scale.graded) - np.log(sd[believed]).sum()
    constant -= np.isfinite(model.group_beliefs).sum() * np.log(unit)
    design, root = stacked[: len(design)], stacked[len(design) :]
    problem = JointDensity(rows, design, root, target, groups, belief, model.group_beliefs / unit, constant)
    return problem, scale, np.concatenate([turned @ coefficients / unit, shape, np.full(len(groups), 0.5)])


def _rows(model, low, high, unit):
    """The scaled rows, a start for their shape parameters, and the belief about those."""
    if model.grades is None:
        return NormalRows(low / unit, high / unit), np.zeros(1), SigmaPrior(model.sd_belief, unit)
    rows = GradeRows(low.astype(int), high.astype(int), model.grades)
    return rows, _grade_start(model, low, high), CutPrior(*model.cut_belief)


def _start(model, low, high, design, root, target):
    """Least squares on interval middles, beliefs as extra rows, and a residual sd; grades start at 0."""
    p = design.shape[1]
    if model.grades is not None:
        return np.where(np.isfinite(model.belief[1]), model.belief[0], 0.0), 1.0
    middle = interval_middles(low, high)
    guess = model.sd_belief
    if not np.isfinite(guess):
        guess = max(middle.std(), 1e-12) if len(low) else 1.0
    unit = guess
    for _ in range(2):
        stacked, known = np.vstack([design, unit * root]), np.r_[middle, unit * target]
        coefficients = np.linalg.lstsq(stacked, known, rcond=None)[0]
        left = middle - design @ coefficients
        unit = np.sqrt((left @ left + 0.1 * unit**2) / (max(len(low) - p, 0) + 0.5)) if len(low) else unit
        unit = float(np.clip(unit, 1e-3 * guess, 1e2 * guess))
    return coefficients, unit


def _grade_start(model, low, high):
    """Cut-points as believed; if a belief is flat, from the observed shares, with half a row added to each grade."""
    if np.isfinite(model.cut_belief[1]).all():
        mean = np.sort(model.cut_belief[0])
        return shape_of(mean + 1e-3 * np.arange(len(mean)))
    counts = np.array([0.5 + ((low <= g) & (g <= high)).sum() for g in range(model.grades)])
    return shape_of(norm.ppf(np.cumsum(counts)[:-1] / counts.sum()))


def draw_beliefs(model: IntervalModel, draws: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, Scale]:
    """Return outer and inner draws from the beliefs, and the `Scale` they are on (the model's own).

    The model has proper beliefs only.
    """
    mean, sd = model.belief
    graded = model.grades is not None
    coefficients = mean + sd * rng.standard_normal((draws, len(mean)))
    if graded:
        shape = _ordered_cuts(*model.cut_belief, draws, rng)
    else:
        shape = np.log(model.sd_belief * np.abs(rng.standard_normal((draws, 1))))
    sds = model.group_beliefs * np.abs(rng.standard_normal((draws, len(model.groups))))
    effects = rng.standard_normal((draws, sum(g.levels for g in model.groups)))
    scale = Scale(1.0, np.eye(len(mean)), graded)
    return np.hstack([shape, sds]), np.hstack([coefficients, effects]), scale


def _ordered_cuts(mean, sd, draws, rng):
    """Normal cut-points kept only when in order, in their free form."""
    kept = np.zeros((0, len(mean)))
    for _ in range(TRIES):
        trial = mean + sd * rng.standard_normal((draws, len(mean)))
        kept = np.vstack([kept, trial[(np.diff(trial, axis=1) > 0).all(axis=1)]])
        if len(kept) >= draws:
            return shape_of(kept[:draws])
    raise ValueError(f"The beliefs put the {len(mean)} cut-points in order less than once in {TRIES} tries; their means must rise from grade to grade.")
