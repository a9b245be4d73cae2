"""Find the maximum of a density from which everything nearly normal is integrated out."""

from dataclasses import replace
from functools import partial

import numpy as np

from testpour.likelihood.climb import Optimum, climb, difference_curvature
from testpour.likelihood.density import Scale
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.scaling import scaled_problem

ROUGH = 0.01  # error in log density that is allowed for an optimum on which draws are only centred


def find_optimum(marginal: Marginal, start: np.ndarray, tolerance: float = 0.0) -> Optimum:
    """Climb from `start`; sds that do better at zero are set to exactly zero.

    `start` (k,): where to begin. `tolerance`: see `climb`.
    """
    sds = np.arange(len(start) - len(marginal.problem.groups), len(start))

    def settle(at, value):
        at = at.copy()
        at[sds] = np.abs(at[sds])
        for j in sds[at[sds] < 0.05]:
            trial = at.copy()
            trial[j] = 0.0
            at = trial if marginal(trial)[0] >= value - 1e-9 else at
        return at

    seek = partial(climb, marginal, curvature=difference_curvature(marginal), quasi_newton=True, settle=settle, tolerance=tolerance)
    top = seek(start)
    top = top if top.converged else seek(top.at)  # a quasi-Newton curvature may report convergence too early
    settled = top.at.copy()
    settled[sds] = np.where(np.abs(settled[sds]) < 1e-7, 0.0, np.abs(settled[sds]))
    return replace(top, at=settled)


def optimum_of(model: IntervalModel) -> tuple[Marginal, Scale, Optimum]:
    """The `Marginal` of a model to draw from, its `Scale` and its `Optimum`; found once per model."""
    if model.optimum is None:
        problem, scale, start = scaled_problem(model)
        marginal = Marginal(problem)
        model.optimum = marginal, scale, find_optimum(marginal, start[problem.design.shape[1] :], ROUGH)
    return model.optimum
