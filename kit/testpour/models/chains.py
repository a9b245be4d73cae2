"""Chains for the rare posterior that importance sampling cannot cover."""

import numpy as np

STEPS = 1500  # steps of one round of chains
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
    Affine-invariant ensemble with differential-evolution moves (emcee). The first half is dropped; the
    number of independent draws is the chain length over the integrated autocorrelation time, largest
    over the parameters.
    """
    import emcee

    split = outer.shape[1]
    start = np.hstack([outer, inner])
    size = start.shape[1]
    walkers = max(4 * size, 64)
    start = start[rng.choice(len(start), walkers)]
    start = start + 1e-2 * rng.standard_normal(start.shape)
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)]
    sampler = emcee.EnsembleSampler(
        walkers, size, lambda at: _finite(target(at[:, :split], at[:, split:])), vectorize=True, moves=moves)
    sampler.random_state = np.random.RandomState(rng.integers(2**31)).get_state()
    state = start
    for _ in range(ROUNDS):
        state = sampler.run_mcmc(state, STEPS)
        chain = sampler.get_chain(discard=sampler.iteration // 2)
        lag = emcee.autocorr.integrated_time(chain, quiet=True, tol=0).max()
        if len(chain) > 50 * lag and chain.shape[0] * walkers / lag > draws:
            break
    flat = chain.reshape(-1, size)
    picked = rng.choice(len(flat), draws, replace=len(flat) < draws)
    return flat[picked, :split], flat[picked, split:], len(flat) / lag


def _finite(values):
    return np.where(np.isfinite(values), values, -np.inf)
