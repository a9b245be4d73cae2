"""Equally weighted posterior draws of an interval model, by importance sampling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from testpour.likelihood.chains import run_chains
from testpour.likelihood.conditional import chunks, conditional_at
from testpour.likelihood.density import JointDensity, Scale
from testpour.likelihood.elimination import predictor_draws
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal, split_outer
from testpour.likelihood.observations import cuts_of
from testpour.likelihood.optimum import optimum_of
from testpour.likelihood.proposal import Proposal, ProposalDraws, in_other_unit
from testpour.likelihood.scaling import draw_beliefs, scaled_problem
from testpour.likelihood.weights import effective_size, importance_weights, pareto_smoothed, pick_by_share, resample, tempered

TRIAL, TRIALS = 250, 6  # outer draws of a trial, and the most trials, for adapting the proposal to the weights
WIDE = 1.5  # initial width of the proposal, relative to the curvature at the optimum: a narrow one is slow to widen
MOVE_WORTH = 80  # effective draws needed for adapting a proposal
GOOD_SHARE = 0.5  # effective share of a trial's draws at which a proposal is good enough
AIM_SHARE = 0.5  # effective share of the wanted draws at which sampling stops
LEAST_SHARE = 0.4  # effective share of the wanted draws below which they are drawn again
POOR_SHARE = 0.25  # effective share of the wanted draws below which chains are used instead
UNSTABLE = 0.7  # shape of the weights' tail above which they are drawn again; see `weights.pareto_smoothed`
NO_MEAN = 1.0  # shape from which weights have no mean at all: chains are used instead
MOST_TIMES = 4  # most outer draws, as a multiple of those wanted
THIN_SHARE = 0.05  # effective share of the draws below which a proposal is adapted at once
MOST_MOVES = 6  # most times that the proposal is adapted to draws of too small an effective number
CACHE_NUMBERS = 50_000  # numbers in one array that fit the processor's cache: each is read some thirty times
INNER_DRAWS = 4  # inner draws for each outer one: nearly free, and they steady the weights
FEW, FEW_INNER = 250, 2  # up to this many wanted draws, as for one bench of many, fewer inner ones do as well in a quarter less time
CHEAP_ROWS = 1500  # rows times inner draws up to which they are nearly free


@dataclass(frozen=True)
class Posterior:
    """The posterior from beliefs and rows: m equally weighted draws, in the model's own latent units.

    Attributes
    ----------
    coefficients : ndarray, shape (m, p)
    sd : ndarray, shape (m,)
        Sigma; 1 for grades.
    cuts : ndarray, shape (m, K-1), or None
    group_sds : dict
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
    sd: np.ndarray
    cuts: np.ndarray | None
    group_sds: dict[str, np.ndarray]
    group_effects: dict[str, np.ndarray]
    group_levels: dict[str, Sequence[Any]]
    effective: float
    method: str
    seed: int

    def __len__(self):
        return len(self.coefficients)

    def narrowed(self, share: float) -> Posterior:
        """The same draws with every standard deviation multiplied by a share: of coefficients and cut-points about their means, and all scatter."""
        means = self.coefficients.mean(axis=0)
        cuts = None if self.cuts is None else self.cuts.mean(axis=0) + share * (self.cuts - self.cuts.mean(axis=0))
        sds = {name: share * sd for name, sd in self.group_sds.items()}
        return replace(self, coefficients=means + share * (self.coefficients - means), cuts=cuts, sd=share * self.sd, group_sds=sds)


@dataclass(frozen=True)
class Target:
    """Joint log density of outer (shape, sds) and inner (coefficients, standard effects) parameters."""

    problem: JointDensity

    def __call__(self, outer: np.ndarray, inner: np.ndarray) -> np.ndarray:
        """Return log densities (m, e) of `outer` (m, k + G) with e `inner` draws each (m, e, p + levels)."""
        inner_draws = inner.shape[1]
        some = chunks(len(outer), inner_draws * len(self.problem.design), CACHE_NUMBERS)
        densities = [self._of_batch(np.repeat(outer[part], inner_draws, axis=0), np.concatenate(inner[part])) for part in some]
        return np.concatenate(densities).reshape(-1, inner_draws)

    def _of_batch(self, outer, inner):
        problem, p = self.problem, self.problem.design.shape[1]
        shape, sds = split_outer(outer, len(problem.groups))
        eta = predictor_draws(problem.design, problem.groups, inner, sds)
        residual = inner[:, :p] @ problem.root.T - problem.target
        value = problem.rows.log_likelihood(eta, shape) + problem.shape_belief.many(shape)
        value -= (residual**2).sum(axis=1) / 2 + (inner[:, p:] ** 2).sum(axis=1) / 2
        return value - ((sds / problem.group_scales) ** 2).sum(axis=1) / 2


def sample(model: IntervalModel, draws: int = 2000, seed: int = 0, near: IntervalModel | None = None) -> Posterior:
    """Return a `Posterior`: equally weighted draws of everything unknown, beliefs and rows together. The same seed gives the same draws.

    Importance sampling from a t distribution of sds and cut-points, moved to where they carry weight by a few trials
    with the rest integrated out by Laplace's approximation; then, given those, a few draws each of the rest from their
    Gaussian. The largest weights are smoothed (see `weights.pareto_smoothed`); where draws are still worth too little, they
    are the start of chains (see `chains`). The proposal of a model `near`, of nearly the same rows and drawn from
    before, saves seeking one; where it serves badly, one is sought after all. Draws are worth one over the sum of
    their squared weights (Kong, Liu and Wong 1994).
    """
    rng = np.random.default_rng(seed)
    if not model.informative.any():
        outer, inner, scale = draw_beliefs(model, draws, rng)
        return _as_posterior(model, scale, outer, inner, effective=draws, method="importance", seed=seed)
    reused = _reused_proposal(near, model)
    proposal, target, scale = reused or _new_proposal(model, rng)
    for turn in reversed(range(MOST_MOVES + 1)):
        proposed, shares, weights, shape = _draw_and_weigh(proposal, target, draws, rng, THIN_SHARE if turn else 0.0)
        if not turn or not _inadequate(weights, shape, LEAST_SHARE * draws, UNSTABLE):
            break
        proposal = _reshaped_once(proposal, proposed, shares, weights)
    poor = _inadequate(weights, shape, POOR_SHARE * draws, NO_MEAN)
    if poor and reused:
        return sample(model, draws, seed)
    model.proposal, effective, method = (proposal, scale), effective_size(weights), "importance"
    picked = resample(weights, draws, rng)
    outer, inner = proposed.outer[picked], proposed.inner[picked, pick_by_share(shares[picked], rng)]
    if poor:
        outer, inner, effective = run_chains(proposal, target, (outer, inner), draws, rng)
        method = "chains"
    return _as_posterior(model, scale, outer, inner, effective=min(effective, draws), method=method, seed=seed)


def _new_proposal(model, rng):
    """A proposal about the maximum of the model's density, its target, and the model's `Scale`."""
    marginal, scale, top = optimum_of(model)
    target = Target(marginal.problem)
    return _adapted_proposal(_first_proposal(marginal, top), target, rng), target, scale


def _reused_proposal(near, model):
    """The same, from an earlier model of nearly the same rows; None if there is none."""
    if near is None or near.proposal is None or [g.name for g in near.groups] != [g.name for g in model.groups]:
        return None
    (proposal, before), (problem, scale, _) = near.proposal, scaled_problem(model)
    ratio = before.unit / scale.unit
    at = in_other_unit(proposal.conditional.mode, len(model.groups), ratio, scale.graded)
    conditional = conditional_at(Marginal(problem), at)
    return proposal.for_model(conditional, ratio, scale.graded), Target(problem), scale


def _first_proposal(marginal, top):
    factor = WIDE * np.linalg.cholesky(top.covariance(0.05))
    degrees = np.inf if marginal.problem.rows.exact.all() else max(12.0, 2.0 * marginal.size)
    shift, stretch = np.zeros(marginal.size), np.ones(marginal.size)
    return Proposal(conditional_at(marginal, top.at), len(marginal.problem.groups), top.at, factor, shift, stretch, degrees)


def _adapted_proposal(proposal, target, rng):
    """The proposal adapted to the weights of its draws, over a few trials; the last one also reshapes its inner draws."""
    for _ in range(TRIALS):
        draws = proposal.draw(TRIAL, 0, rng)
        weights = importance_weights(target(draws.outer, draws.inner) - draws.log_density)[1]
        if effective_size(weights) > GOOD_SHARE * TRIAL:
            break
        proposal = proposal.recentred(draws.outer, tempered(weights, MOVE_WORTH))
    draws = proposal.draw(TRIAL, _inner_per_outer(target, INNER_DRAWS), rng)
    return _reshaped_once(proposal, draws, *importance_weights(target(draws.outer, draws.inner) - draws.log_density))


def _inner_per_outer(target, most):
    """Inner draws for each outer one: fewer if many rows make them costly, and the proposal close."""
    return int(np.clip(CHEAP_ROWS // len(target.problem.design), 1, most))


def _reshaped_once(proposal, drawn, shares, weights):
    """The proposal adapted to weighted outer draws and to their inner draws."""
    weights = tempered(weights, MOVE_WORTH)
    both = shares * weights[:, None]
    return proposal.recentred(drawn.outer, weights).reshaped(np.concatenate(drawn.noise), both.ravel())


def _inadequate(weights, shape, least, steepest):
    """Whether the effective number of draws is too small, or the tail of their weights too heavy."""
    return effective_size(weights) < least or shape > steepest


def _draw_and_weigh(proposal, target, draws, rng, thin):
    """Draw until the effective number is `AIM_SHARE` times `draws`, or until `MOST_TIMES` times `draws`, or the effective share is below `thin`.

    Returns the cloud, inner draws' shares (m, e) of their outer draw's weight, outer weights (m,), and the shape of
    the largest weights' tail.
    """
    most = FEW_INNER if draws <= FEW else INNER_DRAWS
    each = 1 if target.problem.rows.exact.all() else _inner_per_outer(target, most)  # exact rows leave the rest exactly normal
    count, batches, logs = draws if each == 1 else draws // 2, [], []
    while count > 0:
        batches.append(proposal.draw(count, each, rng))
        logs.append(target(batches[-1].outer, batches[-1].inner) - batches[-1].log_density)
        shares, weights = importance_weights(np.concatenate(logs))
        weights, shape = pareto_smoothed(weights)
        effective, made = effective_size(weights), len(weights)
        wanted = int(1.1 * AIM_SHARE * draws / effective * made)
        more = thin * made <= effective < AIM_SHARE * draws
        count = min(max(wanted - made, draws // 4), MOST_TIMES * draws - made) if more else 0
    names = ("outer", "inner", "noise", "log_density")
    whole = ProposalDraws(*(np.concatenate([getattr(cloud, name) for cloud in batches]) for name in names))
    return whole, shares, weights, shape


def _as_posterior(model, scale, outer, inner, **kept):
    """The `Posterior` of draws of the outer and the inner parameters of a model."""
    names = [group.name for group in model.groups]
    ends = model.exog.shape[1] + np.cumsum([0, *(group.levels for group in model.groups)])[:-1]
    coefficients, *effects = np.split(inner, ends, axis=1)
    return in_own_units(scale, outer, coefficients, names, dict(zip(names, effects, strict=True)), dict(model.group_levels), **kept)


def in_own_units(
    scale: Scale, outer: np.ndarray, coefficients: np.ndarray, groups: Sequence[str], effects: dict[str, np.ndarray],
    levels: dict[str, Sequence[Any]], *, effective: float, method: str, seed: int
) -> Posterior:
    """The `Posterior` of m draws on a working scale, brought to the model's own units.

    `outer` (m, k + G) has the sds of the `groups` last, `coefficients` (m, p); standard `effects` (m, levels) are by the name
    of their group.
    """
    shape, sds = split_outer(outer, len(groups))
    shape, sds = scale.shape(shape), scale.unit * np.abs(sds)
    group_sds = {name: sds[:, g] for g, name in enumerate(groups)}
    return Posterior(
        coefficients=scale.unit * coefficients @ scale.turn.T,
        sd=np.ones(len(outer)) if scale.graded else np.exp(shape[:, 0]),
        cuts=cuts_of(shape) if scale.graded else None,
        group_sds=group_sds,
        group_effects={name: group_sds[name][:, None] * effect for name, effect in effects.items()},
        group_levels=levels, effective=float(effective), method=method, seed=seed,
    )
