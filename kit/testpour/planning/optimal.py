"""Optimal plans: the pours that estimate the terms most precisely, found by coordinate exchange from many starts.

Criteria: "D" (small joint region for all coefficients; Bayesian D when the problem carries a prior) and "I"
(small average variance of predictions over the region: exact over the cube, sampled when limits cut it).
"""

from typing import Literal

import numpy as np

from testpour.planning.candidate_set import CandidateGroup
from testpour.planning.coordinate_exchange import Designs, exchange_pour, exchange_session
from testpour.planning.criteria import average_variance, information, log_determinant, model_rows
from testpour.planning.problem import DesignProblem, PlanConflict
from testpour.planning.starts import coarse_grid, coordinate_groups, free_places, random_settings

CHUNK = 250                                             # starts improved side by side
POLISHED = 4                                            # best starts whose continuous settings are refined off the grid
STEPS = (0.5, 0.15, 0.05, 0.015, 0.005, 0.0015, 0.0005)  # shrinking local moves of continuous factors


def optimal_plan(
    problem: DesignProblem, criterion: Literal["D", "I"] = "D", starts: int = 200, seed: int = 0
) -> np.ndarray:
    """Best pours for the terms of `problem`.

    Parameters
    ----------
    problem : DesignProblem
    criterion : {"D", "I"}
        "D" for telling effects apart, "I" for predicting well everywhere.
    starts : int
        Random starts; more are slower and surer. 2000 is the thorough setting for a split-plot plan.
    seed : int
        Same seed, same plan.

    Returns
    -------
    array, shape (n, k)
        Coded settings of every pour, those made already first.

    Raises
    ------
    PlanConflict
        When no plan can separate the terms within the limits.

    References
    ----------
    Meyer and Nachtsheim (1995), Technometrics 37, 60-69. Goos and Vandebroek (2003), J. Quality Technology
    35, 1-15, for pours in sessions. DuMouchel and Jones (1994), Technometrics 36, 37-47, for Bayesian D.
    """
    rng = np.random.default_rng(seed)
    aim = problem.moments() if criterion == "I" else None
    grid = coarse_grid(problem, criterion)
    chunks = [min(CHUNK, starts - done) for done in range(0, starts, CHUNK)]
    found = [_improve(problem, random_settings(problem, grid, size, rng), grid, aim) for size in chunks]
    settings = np.concatenate(found)
    score = _scores(problem, settings, aim)
    if any(axis.levels is None and axis.met is None for axis in problem.axes):
        settings, score = _polished(problem, settings, score, aim)
    if not np.isfinite(score.max()):
        said = "No set of pours within the limits tells all the effects apart: let fewer settings vary, or widen a span in study.toml."
        raise PlanConflict([said + problem.in_the_way()])
    return settings[int(score.argmax())] + 0.0  # no negative zeros


def _improve(problem, settings, grid, moments):
    """Exchange until no start improves any more; returns settings in the order they finished."""
    batch = Designs(problem, settings, moments)
    groups = coordinate_groups(problem, grid)
    pours, sessions = free_places(problem)
    done = []
    for _ in range(100):
        batch.refresh()
        for group in groups:
            for place in sessions if group.whole else pours:
                (exchange_session if group.whole else exchange_pour)(batch, place, group)
        done.append(batch.settings[~batch.changed])
        batch.keep(batch.changed)
        if not len(batch.settings):
            break
    return np.concatenate([*done, batch.settings])


def _polished(problem, settings, score, moments):
    """Refine the best distinct starts off the grid by local moves of shrinking size."""
    order = np.argsort(-score, kind="stable")
    _, first = np.unique(np.round(score[order], 7), return_index=True)
    top = order[np.sort(first)][:POLISHED]
    batch = Designs(problem, settings[top].copy(), moments)
    pours, sessions = free_places(problem)
    axes = [f for f, axis in enumerate(problem.axes) if axis.levels is None and axis.met is None]
    for step in STEPS:
        for _ in range(6):
            batch.refresh()
            for f in axes:
                for place in sessions if problem.axes[f].hard else pours:
                    _nudge(batch, f, place, step)
            if not batch.changed.any():
                break
    better = np.concatenate([settings, batch.settings])
    return better, np.concatenate([score, _scores(problem, batch.settings, moments)])


def _nudge(batch, f, place, step):
    """Try moving one continuous coordinate up and down by `step`."""
    hard = batch.problem.axes[f].hard
    row = np.flatnonzero(batch.session == place)[0] if hard else place
    values = np.clip(batch.settings[:, row, f][:, None] + step * np.array([-1, -0.5, 0.5, 1]), -1, 1)
    group = CandidateGroup([f], values[:, :, None], batch.terms, hard)
    (exchange_session if hard else exchange_pour)(batch, place, group)


def _scores(problem, settings, moments):
    """log determinant, or minus the average variance, of every start, computed afresh."""
    rows = model_rows(settings, problem.terms)
    matrix = information(rows, problem.all_sessions, problem.eta, problem.prior)
    if moments is None:
        return log_determinant(matrix)
    return np.array([-average_variance(m, moments) for m in matrix])
