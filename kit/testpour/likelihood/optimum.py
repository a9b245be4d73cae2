"""Find the best parameters of an interval model, or say which have no finite best."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from testpour.likelihood.climb import climb, difference_curvature
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.scaling import scaled_problem
from testpour.likelihood.separation import runaway

if TYPE_CHECKING:
    from testpour.likelihood.climb import Top
    from testpour.likelihood.interval import IntervalModel
    from testpour.likelihood.laplace import JointDensity
    from testpour.likelihood.scaling import Scale

FAR = 12.0  # a log sigma or log gap this far from its start has no finite estimate
ROUGH = 1e-6  # share of its height by which a top that is only drawn around may be missed
WEAK = 1e4  # prior sd, in residual sds, that holds a runaway coefficient for the sake of the rest


class OuterDensity(Protocol):
    """A log density of outer parameters with its gradient, the inner ones integrated: a `Marginal`, or a pool's."""

    problem: JointDensity
    size: int

    def split(self, outer: np.ndarray) -> tuple[np.ndarray, ...]:
        """The parts of an outer vector, the standard deviations last.

        Parameters
        ----------
        outer : array, shape (k,)

        Returns
        -------
        tuple of array
        """

    def __call__(self, outer: np.ndarray) -> tuple[float, np.ndarray]: ...


@dataclass(frozen=True)
class Optimum:
    """The best parameters in the model's own units, with covariance and a verdict."""

    params: np.ndarray
    covariance: np.ndarray
    effects: tuple[np.ndarray, ...]
    value: float
    log_likelihood: float
    converged: bool
    restricted: bool
    diverges: tuple[str, ...]


def joint_curvature(marginal: OuterDensity) -> Callable[..., np.ndarray]:
    """Return ``outer -> minus second derivatives``: analytic when nothing is integrated, else differences.

    Parameters
    ----------
    marginal : OuterDensity

    Returns
    -------
    callable
        At a place (k,), and its gradient where known, it gives an array of shape (k, k).
    """
    if marginal.size:
        return difference_curvature(marginal)

    def curvature(outer, gradient=None):
        problem = marginal.problem
        coefficients, shape, _ = marginal.split(outer)
        rows = problem.rows.derivatives(problem.design @ coefficients, shape)
        across = problem.design.T @ rows.shape_eta
        plain = (problem.design.T * rows.eta2) @ problem.design - problem.root.T @ problem.root
        return -np.block([[plain, across], [across.T, rows.shape2 + problem.shape_belief(shape)[2]]])

    return curvature


def reach_top(marginal: OuterDensity, start: np.ndarray, near: float = 1e-16) -> Top:
    """Climb from `start`; sds that do better at zero are set to exactly zero.

    Parameters
    ----------
    marginal : OuterDensity
    start : array, shape (k,)
        Where to begin.
    near : float
        See `climb`.

    Returns
    -------
    Top
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

    top = climb(marginal, start, joint_curvature(marginal), thrifty=marginal.size > 0, settle=settle, near=near)
    settled = top.at.copy()
    settled[sds] = np.where(np.abs(settled[sds]) < 1e-7, 0.0, np.abs(settled[sds]))
    return replace(top, at=settled)


def summit(model: IntervalModel) -> tuple[Marginal, Scale, Top]:
    """The `Marginal` of a model to draw from, its `Scale` and its `Top`; sought once a model.

    Parameters
    ----------
    model : IntervalModel

    Returns
    -------
    tuple of Marginal, Scale and Top
    """
    if model.found is None:
        problem, scale, start = scaled_problem(model, sampling=True)
        marginal = Marginal(problem, restricted=True)
        model.found = marginal, scale, reach_top(marginal, start[problem.design.shape[1] :], ROUGH)
    return model.found


def find_optimum(model: IntervalModel, restricted: bool) -> Optimum:
    """Return the `Optimum` of `model`; runaway parameters are held weakly so that the rest are right.

    Parameters
    ----------
    model : IntervalModel
    restricted : bool
        Whether the coefficients are integrated out.

    Returns
    -------
    Optimum
    """
    direction = runaway(model)
    held = model if not direction.any() else _held(model, direction)
    problem, scale, start = scaled_problem(held, sampling=model.shape_believed)
    marginal = Marginal(problem, restricted)
    top = reach_top(marginal, start if not restricted else start[problem.design.shape[1] :])
    inner = marginal.solve(top.at)
    params, covariance = _own_units(marginal, scale, top, inner)
    log_likelihood = model.loglike(params)
    params, diverges = _mark(model, params, direction, top, marginal)
    _, _, sds = marginal.split(top.at)
    lost = ~np.isfinite(params)
    lost[len(params) - len(sds) :] |= sds == 0
    covariance[lost], covariance[:, lost] = np.nan, np.nan
    effects = tuple(
        scale.unit * s * inner.at[a:b]
        for s, a, b in zip(sds, marginal.offsets[:-1], marginal.offsets[1:], strict=True)
    )
    value = top.value + (scale.log_volume if restricted else 0.0)
    return Optimum(params, covariance, effects, value, log_likelihood, top.converged, restricted, diverges)


def _held(model, direction):
    """The same model with a weak belief on each runaway coefficient or cut-point."""
    p = model.exog.shape[1]
    size = np.maximum(np.abs(model.exog).max(axis=0, initial=0.0), 1e-300)
    weak = WEAK * scaled_problem(model)[1].unit / size
    sd = np.where(direction[:p] != 0, np.minimum(model.belief[1], weak), model.belief[1])
    cuts = model.cut_belief
    if model.grades:
        cuts = cuts[0], np.where(direction[p:] != 0, np.minimum(cuts[1], WEAK), cuts[1])
    return model.with_beliefs(belief=(model.belief[0], sd), cut_belief=cuts)


def _own_units(marginal, scale, top, inner):
    """Parameters and covariance in the model's units.

    The coefficients' covariance is that given the sds when they were integrated out, as is usual for
    restricted maximum likelihood.
    """
    coefficients, shape, sds = marginal.split(top.at)
    covariance = _inverse(top.curvature)
    p = marginal.problem.design.shape[1]
    total = p + len(shape) + len(sds)
    if marginal.restricted:
        coefficients = inner.at[:p]
        joint = np.zeros((total, total))
        joint[:p, :p] = inner.factor.solve(np.eye(marginal.size, p))[:p]
        joint[p:, p:] = covariance
        covariance = joint
    turn = np.eye(total)
    turn[:p, :p] = scale.unit * scale.turn
    turn[total - len(sds) :, total - len(sds) :] *= 1.0 if scale.graded else scale.unit
    params = np.concatenate(
        [scale.unit * scale.turn @ coefficients, scale.shape(shape), scale.unit * sds]
    )
    return params, turn @ covariance @ turn.T


def _inverse(curvature):
    """Inverse curvature; missing where the top is not a proper peak."""
    try:
        np.linalg.cholesky(curvature)
    except np.linalg.LinAlgError:
        return np.full(curvature.shape, np.nan)
    return np.linalg.inv(curvature)


def _mark(model, params, direction, top, marginal):
    """Put infinities where the likelihood runs off, and name those parameters."""
    p = model.exog.shape[1]
    params, marks = params.copy(), np.zeros(len(params))
    marks[:p] = direction[:p]
    _, shape, _ = marginal.split(top.at)
    if model.grades is None:
        marks[p] = -direction[p] if direction[p] else np.where(np.abs(shape[0]) > FAR, np.sign(shape[0]), 0)
        if direction[p]:
            marks[:p] = 0.0
    else:
        marks[p : p + len(shape)] = _cut_marks(direction[p:], shape)
    params[marks != 0] = np.sign(marks[marks != 0]) * np.inf
    return params, tuple(np.array(model.parameter_names)[marks != 0].tolist())


def _cut_marks(direction, shape):
    """Signs of runaway among ``[first cut, log gaps]``: gaps that open without end, or close."""
    opening = np.r_[direction[0], np.diff(direction)]
    closing = np.r_[False, shape[1:] < -FAR]
    return np.where(closing, -1.0, np.where(np.abs(opening) > 1e-9, opening, 0.0))
