"""Where a search begins: the coarse grid, the groups of coordinates that move together, random allowed starts."""

from collections.abc import Sequence

import numpy as np

from testpour.planning.candidate_set import CandidateGroup
from testpour.planning.problem import DesignProblem, PlanConflict
from testpour.wording import listed

POOL = 90          # most candidate settings scored at once for one pour


def coarse_grid(problem: DesignProblem, criterion: str) -> list[np.ndarray | None]:
    """Coarse values each axis may take during the search, None for met axes.

    Parameters
    ----------
    problem : DesignProblem
    criterion : {"D", "I"}

    Returns
    -------
    list of array or None
        −1 to 1.
    """
    degree = np.asarray(problem.terms, int).max(axis=0)
    out = []
    for axis, most in zip(problem.axes, degree, strict=True):
        count = 5 if criterion == "I" or problem.constrained or most > 2 else 3
        values = axis.levels if axis.levels is not None else np.linspace(-1, 1, max(count, 2 * most + 1))
        out.append(None if axis.met is not None else np.asarray(sorted(values), float))
    return out


def _every_combination(values: Sequence[np.ndarray | Sequence[float]]) -> np.ndarray:
    """Every combination of the given values, one row each."""
    return np.stack(np.meshgrid(*values, indexing="ij"), -1).reshape(-1, len(values))


def coordinate_groups(
    problem: DesignProblem, grid: Sequence[np.ndarray | None]
) -> list[CandidateGroup]:
    """Pack easy axes, then axes set once per session, into groups of at most POOL candidates.

    Parameters
    ----------
    problem : DesignProblem
    grid : list of array or None
        From `coarse_grid`.

    Returns
    -------
    list of CandidateGroup
    """
    terms = np.asarray(problem.terms, int)
    groups = []
    for whole, most in ((False, POOL), (True, 27)):
        axes = [f for f, v in enumerate(grid) if v is not None and problem.axes[f].hard is whole]
        for pack in _packs(axes, grid, most):
            groups.append(CandidateGroup(pack, _every_combination([grid[f] for f in pack]), terms, whole))
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


def random_settings(
    problem: DesignProblem, grid: Sequence[np.ndarray | None], starts: int, rng: np.random.Generator
) -> np.ndarray:
    """Random allowed settings (starts, n, k); session-wide factors shared, fixed and met values in place.

    Parameters
    ----------
    problem : DesignProblem
    grid : list of array or None
        From `coarse_grid`.
    starts : int
        How many.
    rng : Generator

    Returns
    -------
    array

    Raises
    ------
    PlanConflict
        If a session has no allowed setting.
    """
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
    lost = sorted({int(s) + 1 for s in session[todo.any(0)]})
    said = f"No settings that may be poured were found for session {listed(map(str, lost))}: plan a cooler room, or move its pours to another session."
    raise PlanConflict([said + problem.in_the_way()])


def _place_fixed(problem, settings):
    """Write the pours already made, and the session-wide values they impose on new pours."""
    kept, session = problem.kept, problem.all_sessions
    settings[:, : len(kept)] = kept
    for f, axis in enumerate(problem.axes):
        if axis.hard:
            for i in range(len(kept)):
                settings[:, session == session[i], f] = kept[i, f]


def free_places(problem: DesignProblem) -> tuple[range, list[int]]:
    """Pours that may change, and sessions without a fixed pour.

    Parameters
    ----------
    problem : DesignProblem

    Returns
    -------
    tuple
        Numbers of the pours, and of the sessions.
    """
    kept, session = len(problem.kept), problem.all_sessions
    free = sorted(set(session.tolist()) - set(session[:kept].tolist()))
    return range(kept, len(session)), free
