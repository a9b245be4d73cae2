"""Optimal plans: the pours that estimate the terms most precisely, found by coordinate exchange from many starts.

Criteria: "D" (small joint region for all coefficients; Bayesian D when the problem carries a prior) and "I"
(small average variance of predictions over the region: exact over the cube, sampled when limits cut it).
"""

from collections.abc import Sequence
from itertools import combinations, product
from typing import Literal

import numpy as np

from testpour.common.wording import listed
from testpour.planning.coordinate_exchange import CandidateGroup, Designs, exchange_pour, exchange_session
from testpour.planning.criteria import average_variance, information, log_determinant, model_rows
from testpour.planning.problem import DesignProblem, PlanConflict

POOL = 90                                               # most candidate settings scored at once for one pour
CHUNK = 250                                             # starts improved side by side
POLISHED = 4                                            # best starts whose continuous settings are refined off the grid
KEPT = 0.95                                             # least share of the D-efficiency to keep when balancing sessions
STEPS = (0.5, 0.15, 0.05, 0.015, 0.005, 0.0015, 0.0005)  # shrinking local moves of continuous factors


def optimal_plan(problem: DesignProblem, criterion: Literal["D", "I"] = "D", starts: int = 200, seed: int = 0) -> np.ndarray:
    """Best pours for the terms of `problem`, coded, those already made first.

    Criterion "D" separates effects best, "I" predicts best everywhere. More random starts are slower and safer: use 2000
    to be thorough with a split-plot plan. Raises PlanConflict if no plan within the limits can separate the terms.
    Meyer and Nachtsheim (1995), Technometrics 37, 60-69. Goos and Vandebroek (2003), J. Quality Technology 35, 1-15, for
    pours in sessions. DuMouchel and Jones (1994), Technometrics 36, 37-47, for Bayesian D.
    """
    rng = np.random.default_rng(seed)
    target_moments = problem.moments() if criterion == "I" else None
    grid = _coarse_grid(problem, criterion)
    chunks = [min(CHUNK, starts - done) for done in range(0, starts, CHUNK)]
    batches = [_improve(problem, _random_settings(problem, grid, size, rng), grid, target_moments) for size in chunks]
    settings = np.concatenate(batches)
    score = _scores(problem, settings, target_moments)
    if any(axis.levels is None and axis.met is None for axis in problem.axes):
        settings, score = _polished(problem, settings, score, target_moments)
    if not np.isfinite(score.max()):
        refusal = "No set of pours within the limits tells all the effects apart: let fewer settings vary, or widen a span in study.toml."
        raise PlanConflict([refusal + problem.in_the_way()])
    return settings[int(score.argmax())] + 0.0  # no negative zeros


def balanced_over_sessions(problem: DesignProblem, settings: np.ndarray) -> np.ndarray:
    """A D plan, coded (n, k), with its new pours rearranged so that no session has one side of a setting to itself if that costs little.

    Pours of different sessions are swapped while that brings session means closer and keeps 95 % of the D-efficiency. Once a log has
    shown a setting's effect, the criterion may confound that setting with the day, which would mislead whoever reads the log.
    """
    soft, new = [f for f, axis in enumerate(problem.axes) if not axis.whole], np.arange(len(settings)) >= len(problem.kept)
    session, least = problem.all_sessions, _scores(problem, settings[None], None)[0] + len(problem.terms) * np.log(KEPT)
    pairs = [(i, j) for i, j in combinations(np.flatnonzero(new), 2) if session[i] != session[j]]

    def unlike(rows):
        means = [rows[new & (session == number)][:, soft].mean(axis=0) for number in np.unique(session[new])]
        return float(np.var(means, axis=0).sum())

    while pairs:
        tried = np.repeat(settings[None], len(pairs), axis=0)
        for one, (i, j) in zip(tried, pairs, strict=True):
            one[i, soft], one[j, soft] = settings[j, soft], settings[i, soft]
        scores = _scores(problem, tried, None)
        able = problem.allowed(tried).all(axis=1) & (scores >= least)
        order = [(unlike(one), -score, place) for place, (one, score) in enumerate(zip(tried, scores, strict=True)) if able[place]]
        if not order or min(order)[0] > unlike(settings) - 1e-9:
            break
        settings = tried[min(order)[2]]
    return settings


def _improve(problem, settings, grid, moments):
    """Exchange until no start improves; returns settings in the order they finished."""
    batch = Designs(problem, settings, moments)
    groups = _coordinate_groups(problem, grid)
    pours, sessions = _free_places(problem)
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
    pours, sessions = _free_places(problem)
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


def _coarse_grid(problem: DesignProblem, criterion: str) -> list[np.ndarray | None]:
    """Coarse values (−1 to 1) each axis may take during the search, None for met axes."""
    degree = np.asarray(problem.terms, int).max(axis=0)
    out = []
    for axis, most in zip(problem.axes, degree, strict=True):
        count = 5 if criterion == "I" or problem.constrained or most > 2 else 3
        values = axis.levels if axis.levels is not None else np.linspace(-1, 1, max(count, 2 * most + 1))
        out.append(None if axis.met is not None else np.asarray(sorted(values), float))
    return out


def _coordinate_groups(problem: DesignProblem, grid: Sequence[np.ndarray | None]) -> list[CandidateGroup]:
    """Pack easy axes, then axes set once per session, into groups of at most POOL candidates."""
    terms, groups = np.asarray(problem.terms, int), []
    for whole, most in ((False, POOL), (True, 27)):
        axes = [f for f, v in enumerate(grid) if v is not None and problem.axes[f].hard is whole]
        for pack in _packs(axes, grid, most):
            groups.append(CandidateGroup(pack, np.array(list(product(*(grid[f] for f in pack)))), terms, whole))
    return groups


def _packs(axes, grid, most):
    packs, size = [], most + 1
    for f in axes:
        if size * len(grid[f]) > most:
            packs.append([])
            size = 1
        packs[-1].append(f)
        size *= len(grid[f])
    return packs


def _random_settings(problem: DesignProblem, grid: Sequence[np.ndarray | None], starts: int, rng: np.random.Generator) -> np.ndarray:
    """Random allowed settings (starts, n, k); session-wide factors shared, fixed and met values in place."""
    session, kept = problem.all_sessions, problem.kept
    n, new = len(session), np.arange(len(session)) >= len(kept)
    out = np.zeros((starts, n, len(problem.axes)))
    todo = np.broadcast_to(new, (starts, n)).copy()
    for attempt in range(400):
        for f, (axis, values) in enumerate(zip(problem.axes, grid, strict=True)):
            if axis.met is not None:
                out[:, :, f] = np.asarray(axis.met, float)[session]
            elif values is None:
                continue
            elif not axis.hard:
                out[:, :, f] = np.where(todo, rng.choice(values, (starts, n)), out[:, :, f])
            elif attempt % 20 == 0:
                fresh = rng.choice(values, (starts, session.max() + 1))
                stuck = np.zeros(fresh.shape, bool)
                np.logical_or.at(stuck.T, session, todo.T)
                out[:, :, f] = np.where(stuck[:, session], fresh[:, session], out[:, :, f])
        _place_fixed(problem, out)
        todo = ~problem.allowed(out) & new
        if not todo.any():
            return out
    sessions = sorted({int(s) + 1 for s in session[todo.any(0)]})
    refusal = f"No settings that may be poured were found for session {listed(map(str, sessions))}: plan a cooler room, or move its pours to another session."
    raise PlanConflict([refusal + problem.in_the_way()])


def _place_fixed(problem, settings):
    """Write the pours already made, and the session-wide values they impose on new pours."""
    kept, session = problem.kept, problem.all_sessions
    settings[:, : len(kept)] = kept
    for f, axis in enumerate(problem.axes):
        if axis.hard:
            for i in range(len(kept)):
                settings[:, session == session[i], f] = kept[i, f]


def _free_places(problem: DesignProblem) -> tuple[range, list[int]]:
    """Numbers of the pours that may change, and of the sessions without a fixed pour."""
    kept, session = len(problem.kept), problem.all_sessions
    free = sorted(set(session.tolist()) - set(session[:kept].tolist()))
    return range(kept, len(session)), free
