"""Chains for the rare posterior that importance sampling cannot cover."""

import numpy as np

STEPS = 2000  # steps of one round of chains
ROUNDS = 4


def run_chains(target, outer, inner, draws, rng):
    """Return outer draws, inner draws and how many independent ones they are worth.

    Parameters
    ----------
    target : Target
    outer, inner : ndarray, shapes (m, k + G) and (m, d)
        Rough draws to start the walkers from.
    draws : int
        Draws to return.

    Notes
    -----
    Affine-invariant ensemble with differential-evolution moves (emcee), in the logarithm of the group
    spreads. The first half is dropped; the number of independent draws is the chain length over the
    integrated autocorrelation time, the longest over the parameters.
    """
    import emcee

    split, groups = outer.shape[1], len(target.problem.groups)
    logged = np.arange(split - groups, split)
    start = np.hstack([outer, inner])
    start[:, logged] = np.log(np.maximum(start[:, logged], 1e-3))
    size = start.shape[1]
    walkers = max(4 * size, 64)
    start = start[rng.choice(len(start), walkers)] + 1e-2 * rng.standard_normal((walkers, size))
    moves = [
        (emcee.moves.DEMove(), 0.8),
        (emcee.moves.StretchMove(), 0.2),
    ]  # the snooker move of 3.1 is biased
    sampler = emcee.EnsembleSampler(
        walkers, size, _density(target, split, logged), vectorize=True, moves=moves
    )
    sampler.random_state = np.random.RandomState(rng.integers(2**31)).get_state()
    state = start
    for _ in range(ROUNDS):
        state = sampler.run_mcmc(state, STEPS)
        chain = sampler.get_chain(discard=sampler.iteration // 2)
        lag = emcee.autocorr.integrated_time(chain, quiet=True, tol=0).max()
        if len(chain) > 50 * lag and len(chain) * walkers > draws * lag:
            break
    flat = chain.reshape(-1, size)
    picked = flat[rng.choice(len(flat), draws, replace=len(flat) < draws)]
    picked[:, logged] = np.exp(picked[:, logged])
    return picked[:, :split], picked[:, split:], len(flat) / lag


def _density(target, split, logged):
    """The target as a density of one array of parameters, group spreads in logarithms."""

    def density(at):
        outer = at[:, :split].copy()
        outer[:, logged] = np.exp(at[:, logged])
        values = target(outer, at[:, split:]) + at[:, logged].sum(axis=1)
        return np.where(np.isfinite(values), values, -np.inf)

    return density
