"""Optimal plans: the pours that estimate the terms most precisely, found by coordinate exchange from many starts.

Criteria: "D" (small joint region for all coefficients; Bayesian D when the problem carries a prior) and "I"
(small average variance of predictions over the region: exact over the cube, sampled when limits cut it).
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

from testpour.planning.candidate_set import CandidateGroup
from testpour.planning.coordinate_exchange import Designs, exchange_pour, exchange_session
from testpour.planning.criteria import average_variance, information, log_determinant, model_rows
from testpour.planning.problem import DesignProblem, PlanConflict
from testpour.planning.starts import coarse_grid, coordinate_groups, free_places, random_settings

CHUNK = 250                                             # starts improved side by side
POLISHED = 4                                            # best starts whose continuous settings are refined off the grid
STEPS = (0.5, 0.15, 0.05, 0.015, 0.005, 0.0015, 0.0005)  # shrinking local moves of continuous factors


@dataclass(frozen=True, eq=False)
class OptimalPlan:
    """The best plan found, with what it promises.

    Attributes
    ----------
    table : DataFrame
        One row per pour, fixed pours first; columns session, one per factor (coded), fixed (True for
        pours already made).
    log_det : float
        log |X'V^-1X| (plus prior precision).
    i_value : float
        Average variance of a prediction over the region, in units of the variance between pours.
    """

    problem: DesignProblem = field(repr=False)
    table: pd.DataFrame = field(repr=False)
    log_det: float
    i_value: float

    @property
    def rows(self) -> np.ndarray:
        """Coded settings of every pour, shape (n, k)."""
        return self.table[self.problem.names].to_numpy(float)


def optimal_plan(
    problem: DesignProblem, criterion: Literal["D", "I"] = "D", starts: int = 200, seed: int = 0
) -> OptimalPlan:
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
    OptimalPlan

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
    moments = problem.moments()
    aim = moments if criterion == "I" else None
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
    return _result(problem, settings, score, moments)


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


def _result(problem, settings, score, moments):
    best = settings[int(score.argmax())]
    matrix = information(model_rows(best, problem.terms), problem.all_sessions, problem.eta, problem.prior)
    table = pd.DataFrame(best + 0.0, columns=problem.names)
    table.insert(0, "session", problem.all_sessions)
    table["fixed"] = np.arange(len(best)) < len(problem.kept)
    return OptimalPlan(problem, table, float(log_determinant(matrix)), average_variance(matrix, moments))
