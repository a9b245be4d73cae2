"""Posterior draws for a pool of many benches: sds weighted by their marginal density, the rest normal given them.

Nested Laplace approximation: Rue, Martino & Chopin, J. R. Stat. Soc. B 71 (2009) 319. In a large pool of many benches
the sds themselves are nearly normal, and the mode of the rest depends on them nearly linearly.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import softmax
from scipy.stats import chi2, norm, qmc

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.posterior import Posterior, in_own_units
from testpour.likelihood.proposal import t_density
from testpour.likelihood.weights import effective_size, resample
from testpour.pooling.blocks import back_solve
from testpour.pooling.climbing import Slope, pooled_optimum

DEGREES = 6  # of the t distribution that sds are drawn from
POINTS = 64  # points at which the marginal density is evaluated
ROUNDS = 3  # most rounds of adapting the proposal
TOLERANCE = 1e-9  # see `Marginal.solve`
GOOD = 0.5  # effective share of the points at which no further round is needed
LARGE = 4000  # rows of a large pool
MANY, MOST = 30, 60  # benches from which scores of sds are taken as normal: in a large pool, and in any


def sample_pool(model: IntervalModel, bench: np.ndarray, slopes: Sequence[Slope] = (), *, draws: int = 2000, seed: int = 0) -> Posterior:
    """A `Posterior` of a pooled model; of the group effects only those of benches and their slopes are kept.

    `bench` numbers each row's bench. One group of the model is "bench"; no level of another occurs at two benches; rows
    come bench by bench.
    """
    density, scale, top = pooled_optimum(model, bench, slopes)
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(top.covariance(0.3))
    rows, benches = len(model.low), len(np.unique(bench))
    if benches >= MOST or (rows > LARGE and benches >= MANY):
        outer, inner, effective = _normal_draws(density, top, root, draws, rng)
    else:
        outer, inner, effective = _importance_draws(density, top, root, draws, rng)
    coefficients, effects = inner
    return _as_posterior(model, scale, slopes, outer, coefficients, effects, effective, seed)


def _importance_draws(density, top, root, draws, rng):
    """Draw outer parameters from a t distribution, weight them by their density, and draw the rest given each."""
    density(top.at)
    near = density.marginal.last  # each inner mode is sought from that at the maximum, extrapolated linearly
    centre = top.at
    for _ in range(ROUNDS):
        noise = _t_noise(len(centre), POINTS, rng)
        at, logs, places = centre + noise @ root.T, [], []
        for one, apart in zip(at, noise, strict=True):
            density.marginal.last, outer = near, density.plain(one)
            place = density.marginal.solve(outer, TOLERANCE)
            height = density.marginal.value_at(place, outer) + density.log_stretch(one).sum()
            logs.append(height - t_density(apart @ apart, len(apart), DEGREES))
            places.append((outer, place))
        weights = softmax(logs)
        effective = effective_size(weights)
        if effective >= GOOD * POINTS:
            break
        centre, root = _moved_proposal(at, weights, effective, centre, root)
    picked, counts = np.unique(resample(weights, draws, rng), return_counts=True)
    outer = np.repeat([places[i][0] for i in picked], counts, axis=0)
    still = np.zeros((1, density.marginal.layout.first_leaf))
    inner = [_inner_draws(density.marginal, places[i][1], n, rng, still) for i, n in zip(picked, counts, strict=True)]
    return outer, tuple(np.concatenate(part) for part in zip(*inner, strict=True)), effective


def _moved_proposal(at, weights, effective, centre, root):
    """Centre and root moved towards the weighted points, less so if few carry the weight."""
    trust = effective / (effective + 10)
    mean = weights @ at
    covariance = ((at - mean).T * weights) @ (at - mean)
    covariance = trust * covariance + (1 - trust) * root @ root.T
    return trust * mean + (1 - trust) * centre, np.linalg.cholesky(covariance)


def _t_noise(size, points, rng):
    """Standard t draws from scrambled Sobol points: (points, size)."""
    cube = np.clip(qmc.Sobol(size + 1, seed=rng).random(points), 1e-9, 1 - 1e-9)
    return norm.ppf(cube[:, :size]) * np.sqrt(DEGREES / chi2.ppf(cube[:, [size]], DEGREES))


def _inner_draws(marginal, place, count, rng, moved):
    """Coefficients (m, p) and benches' standard effects (m, components, benches), normal given outer parameters.

    `moved` (m, inner without leaves) shifts the inner mode of each draw.
    """
    blocks, p = marginal.layout, marginal.layout.shared
    away = back_solve(place.factor.root, rng.standard_normal((p, count)))
    effects = np.zeros((count, blocks.components, len(blocks.benches)))
    for b, (bench, part) in enumerate(zip(blocks.benches, place.factor.parts, strict=True)):
        root, link = part[:2]
        own = rng.standard_normal((len(root), count)) - link @ away
        own = back_solve(root, own).T + place.at[bench.local] + moved[:, bench.local]
        single = np.bincount(bench.owner, minlength=blocks.components) == 1
        effects[:, np.flatnonzero(single), b] = own[:, single[bench.owner]]
    return place.at[:p] + away.T + moved[:, :p], effects


def _normal_draws(density, top, root, draws, rng):
    """Draw outer parameters from a normal distribution; the mode of the rest depends on them linearly."""
    marginal, outer = density.marginal, density.plain(top.at)
    marginal(outer)
    stretch = np.exp(density.log_stretch(top.at))
    slopes = marginal.last[2][: marginal.layout.first_leaf] * np.r_[np.ones(len(top.at) - len(stretch)), stretch]
    place = marginal.solve(outer)
    step = rng.standard_normal((draws, len(top.at))) @ root.T
    drawn = np.array([density.plain(top.at + one) for one in step])
    return drawn, _inner_draws(marginal, place, draws, rng, step @ slopes.T), draws


def _as_posterior(model, scale, slopes, outer, coefficients, effects, effective, seed):
    """The `Posterior` of the draws; of the effects of groups it keeps those of benches and of their slopes."""
    names = [group.name for group in model.groups] + [f"bench {model.coefficient_names[slope.column]}" for slope in slopes]
    kept = {name: effects[:, c] for c, name in enumerate(names) if name == "bench" or c >= len(model.groups)}
    levels = dict.fromkeys(kept, model.group_levels["bench"])
    return in_own_units(scale, outer, coefficients, names, kept, levels, effective=effective, method="nested", seed=seed)
