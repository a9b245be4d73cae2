"""Markov chains for a posterior that importance sampling covers too thinly."""

from collections.abc import Callable

import numpy as np

from testpour.likelihood.proposal import Proposal

WALKERS = 400
STEPS = 80  # moves of every walker; the first half is dropped
BIG = 10  # one move in this many is a full difference, to jump between modes


def run_chains(
    proposal: Proposal, target: Callable[[np.ndarray, np.ndarray], np.ndarray], start: tuple[np.ndarray, ...], draws: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return outer draws, inner draws and how many independent ones they are worth.

    `target` gives the log density of outer draws (m, k + G) with e inner ones each (m, e, d). Walkers start from the rough
    draws `start`, of shapes (m, k + G) and (m, d). Differential evolution (ter Braak 2006, Stat. Comput. 16, 239) moves the
    outer parameters, each half of the walkers by differences within the other; the inner ones are drawn anew from their close
    stand-in, whose density the acceptance takes back. An sd that would fall
    below zero is reflected.
    """
    picked = rng.choice(len(start[0]), WALKERS, replace=len(start[0]) < WALKERS)
    outer, inner, groups = start[0][picked], start[1][picked], proposal.groups
    weight = np.full(WALKERS, -np.inf)  # so that every walker takes its first move: inner density unknown till then
    kept_outer, kept_inner = [], []
    halves = np.split(rng.permutation(WALKERS), 2)
    for step in range(2 * STEPS):
        walkers, others = halves if step % 2 else halves[::-1]
        moved = _moved(outer[walkers], outer[others], groups, step, rng) if np.isfinite(weight[walkers]).all() else outer[walkers]
        drawn, _, density = proposal.draw_inner(moved, 1, rng)
        weights_there = (target(moved, drawn) - density)[:, 0]
        accepted = np.log(rng.random(len(walkers))) < np.nan_to_num(weights_there - weight[walkers], nan=-np.inf)
        outer[walkers[accepted]], inner[walkers[accepted]], weight[walkers[accepted]] = moved[accepted], drawn[accepted, 0], weights_there[accepted]
        if step % 2 and step >= STEPS:
            kept_outer.append(outer.copy())
            kept_inner.append(inner.copy())
    chain = np.array(kept_outer)
    effective = chain.shape[0] * WALKERS / _lag(chain)
    picked_draws = rng.choice(chain.shape[0] * WALKERS, draws, replace=False)
    return np.concatenate(kept_outer)[picked_draws], np.concatenate(kept_inner)[picked_draws], effective


def _moved(walkers, others, groups, step, rng):
    """Walkers moved by differences of others."""
    one = rng.integers(len(others), size=len(walkers))
    other = (one + rng.integers(1, len(others), size=len(walkers))) % len(others)
    length = 1.0 if step // 2 % BIG == 0 else 2.38 / np.sqrt(2 * walkers.shape[1])
    jitter = 1e-3 * rng.standard_normal(walkers.shape)
    moved = walkers + length * (others[one] - others[other]) + jitter
    first = walkers.shape[1] - groups
    moved[:, first:] = np.abs(moved[:, first:])
    return moved


def _lag(chain):
    """Longest integrated autocorrelation time, in moves, over the outer parameters of a chain (steps, walkers, k)."""
    away = chain - chain.mean(axis=(0, 1))
    variance = (away**2).mean(axis=(0, 1))
    total = np.ones(chain.shape[2])
    for lag in range(1, len(chain)):
        share = (away[lag:] * away[:-lag]).mean(axis=(0, 1)) / np.maximum(variance, 1e-300)
        total += 2 * np.maximum(share, 0.0)
        if share.max() < 0.05:
            break
    return float(total.max())
