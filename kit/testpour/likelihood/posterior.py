"""Equally weighted draws of everything unknown in an interval model, exact under its beliefs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.likelihood.chains import run_chains
from testpour.likelihood.conditional import conditional_at, parts
from testpour.likelihood.laplace import JointDensity
from testpour.likelihood.observations import cuts_of
from testpour.likelihood.optimum import summit
from testpour.likelihood.prior_draws import draw_beliefs
from testpour.likelihood.proposal import Proposal, join
from testpour.likelihood.separation import runaway

if TYPE_CHECKING:
    from testpour.likelihood.interval import IntervalModel

GOOD = 0.6  # effective share of proposed draws above which a proposal needs no adapting
AIM = 0.6  # effective share of the wanted draws that is sampled for
ENOUGH = 0.5  # effective share of the wanted draws at which sampling stops
POOR = 0.25  # effective share of the wanted draws below which the answer is left to chains
ROUNDS = (3, 4, 6)  # times the draws wanted: the most that each adapted proposal is asked for


@dataclass(frozen=True)
class Posterior:
    """What beliefs and rows together say: m equally weighted draws, in the model's own latent units.

    Attributes
    ----------
    coefficients : ndarray, shape (m, p)
    spread : ndarray, shape (m,)
        Sigma; 1 for grades.
    cuts : ndarray, shape (m, K-1), or None
    group_spread : dict
        Name to (m,) standard deviations between levels.
    group_effects : dict
        Name to (m, levels) effects, in the order of `group_levels`.
    group_levels : dict
        Name to the labels of the levels.
    effective : float
        Number of independent draws these are worth.
    method : str
        "importance", or "chains" where importance sampling was too thin.
    seed : int
    """

    coefficients: np.ndarray
    spread: np.ndarray
    cuts: np.ndarray | None
    group_spread: dict[str, np.ndarray]
    group_effects: dict[str, np.ndarray]
    group_levels: dict[str, Sequence[Any]]
    effective: float
    method: str
    seed: int

    def __len__(self):
        return len(self.coefficients)


@dataclass(frozen=True)
class Target:
    """Joint log density of outer (shape, sds) and inner (coefficients, standard effects) parameters."""

    problem: JointDensity

    def __call__(self, outer: np.ndarray, inner: np.ndarray) -> np.ndarray:
        """Return log densities (m,) of `outer` (m, k + G) and `inner` (m, p + levels)."""
        some = parts(len(outer), len(self.problem.design))
        return np.concatenate([self._few(outer[part], inner[part]) for part in some])

    def _few(self, outer, inner):
        problem, p = self.problem, self.problem.design.shape[1]
        count = len(problem.groups)
        shape, sds = outer[:, : outer.shape[1] - count], np.abs(outer[:, outer.shape[1] - count :])
        eta, start = inner[:, :p] @ problem.design.T, p
        for g, group in enumerate(problem.groups):
            effects = inner[:, start : start + group.levels] * sds[:, [g]]
            eta += group.at(effects.T).T
            start += group.levels
        residual = inner[:, :p] @ problem.root.T - problem.target
        value = problem.rows.log_likelihood(eta, shape) + problem.shape_belief.many(shape)
        value -= (residual**2).sum(axis=1) / 2 + (inner[:, p:] ** 2).sum(axis=1) / 2
        return value - ((sds / problem.group_scales) ** 2).sum(axis=1) / 2


def sample(model: IntervalModel, draws: int, seed: int) -> Posterior:
    """Return the `Posterior` of an `IntervalModel`.

    Importance sampling (Kong, Liu and Wong 1994 for the effective sample size) from a t distribution at
    the marginal mode of sds and cut-points, then a Gaussian given those; adapted if thin; where it is
    still too thin, its draws are the start of chains (see `chains`).

    Parameters
    ----------
    model : IntervalModel
    draws : int
        Draws of equal weight that are kept.
    seed : int

    Returns
    -------
    Posterior

    Raises
    ------
    ValueError
        When flat beliefs and these rows together leave something without any limit.
    """
    rng = np.random.default_rng(seed)
    _refuse_improper(model)
    if not model.informative.any():
        outer, inner, scale = draw_beliefs(model, draws, rng)
        return _describe(model, scale, outer, inner, draws, "importance", seed)
    marginal, scale, top = summit(model)
    target = Target(marginal.problem)
    proposal = _first_proposal(marginal, top)
    cloud, weights, effective = _weigh(proposal, target, (draws + 3) // 4, rng, 1)
    for most in ROUNDS:
        if effective < GOOD * len(weights):
            proposal = proposal.adapted(cloud, weights)
        cloud, weights, effective = _weigh(proposal, target, draws, rng, most)
        if effective >= ENOUGH * draws:
            break
    picked = resample(weights, draws, rng)
    outer, inner, method = cloud.outer[picked], cloud.inner[picked], "importance"
    if effective < POOR * draws:
        outer, inner, effective = run_chains(proposal, target, (outer, inner), draws, rng)
        method = "chains"
    return _describe(model, scale, outer, inner, min(effective, draws), method, seed)


def _first_proposal(marginal, top):
    roots, axes = np.linalg.eigh(top.curvature)
    roots = np.maximum(roots, 0.05)
    factor = np.linalg.cholesky((axes / roots) @ axes.T)
    degrees = np.inf if marginal.problem.rows.exact.all() else max(12.0, 2.0 * marginal.size)
    still, plain = np.zeros(marginal.size), np.ones(marginal.size)
    groups = len(marginal.problem.groups)
    return Proposal(conditional_at(marginal, top), groups, top.at, factor, still, plain, degrees)


def _weigh(proposal, target, draws, rng, most):
    """Draw until worth `AIM` times `draws` independent ones, or `most` times `draws`; return them with weights."""
    count, clouds, logs = draws, [], []
    while count > 0:
        cloud = proposal.draw(count, rng)
        clouds.append(cloud)
        logs.append(target(cloud.outer, cloud.inner) - cloud.log_density)
        weights = np.concatenate(logs)
        weights = np.exp(np.where(np.isfinite(weights), weights, -np.inf) - np.nanmax(weights))
        weights /= weights.sum()
        effective = 1 / (weights**2).sum()
        wanted = int(1.1 * AIM * draws / effective * len(weights))
        count = min(wanted, most * draws) - len(weights) if effective < AIM * draws else 0
    return join(clouds), weights, effective


def resample(weights: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Systematic resampling, in random order.

    Parameters
    ----------
    weights : array, shape (m,)
        They add up to 1.
    draws : int
        How many to pick.
    rng : Generator

    Returns
    -------
    array, shape (draws,)
        Numbers of the rows picked.

    References
    ----------
    Kitagawa (1996), Journal of Computational and Graphical Statistics 5, 1-25, from memory, not read.
    """
    points = (rng.random() + np.arange(draws)) / draws
    picked = np.minimum(np.searchsorted(np.cumsum(weights), points), len(weights) - 1)
    return rng.permutation(picked)


def _describe(model, scale, outer, inner, effective, method, seed):
    """Bring draws to the model's own units."""
    p, count = model.exog.shape[1], len(model.groups)
    shape = scale.shape(outer[:, : outer.shape[1] - count])
    sds = scale.unit * np.abs(outer[:, outer.shape[1] - count :])
    ends = p + np.cumsum([0] + [g.levels for g in model.groups])
    names = [g.name for g in model.groups]
    return Posterior(
        coefficients=scale.unit * inner[:, :p] @ scale.turn.T,
        spread=np.ones(len(outer)) if scale.graded else np.exp(shape[:, 0]),
        cuts=cuts_of(shape) if scale.graded else None,
        group_spread={name: sds[:, g] for g, name in enumerate(names)},
        group_effects={
            name: sds[:, [g]] * inner[:, ends[g] : ends[g + 1]] for g, name in enumerate(names)
        },
        group_levels=dict(model.group_levels),
        effective=float(effective),
        method=method,
        seed=seed,
    )


def _refuse_improper(model):
    """Raise ValueError naming everything that neither a belief nor the rows hold in place."""
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
