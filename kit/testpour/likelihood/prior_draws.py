"""Draws from the priors alone, for a log without a single informative row."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from testpour.likelihood.scaling import Scale

if TYPE_CHECKING:
    from testpour.likelihood.interval import IntervalModel

TRIES = 1000


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
        shape = np.log(model.spread_belief * np.abs(rng.standard_normal((draws, 1))))
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
            cuts = kept[:draws]
            return np.hstack([cuts[:, :1], np.log(np.diff(cuts, axis=1))])
    raise ValueError(
        f"The beliefs put the {len(mean)} cut-points in order less than once in {TRIES} tries; "
        "their means must rise from grade to grade."
    )
