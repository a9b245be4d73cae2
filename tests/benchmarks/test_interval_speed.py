"""Side by side: draws of the same censored log-normal by the kit and by a sampler on a plainly written likelihood."""

import time

import numpy as np
import pytest
from scipy.stats import norm

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.posterior import sample

pytestmark = pytest.mark.slow


def log_likelihood(low, high, design, params):
    """What one would write in an afternoon."""
    eta, sigma = design @ params[:-1], np.exp(params[-1])
    exact = low == high
    below, above = (low - eta) / sigma, (high - eta) / sigma
    chance = np.maximum(norm.cdf(above) - norm.cdf(below), 1e-300)
    return np.where(exact, norm.logpdf(below) - np.log(sigma), np.log(chance)).sum()


def data(seed, n=30):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.normal(size=(n, 3))])
    y = design @ [3.0, 0.4, -0.3, 0.2] + 0.3 * rng.normal(size=n)
    low, high = y.copy(), y.copy()
    low[:6], high[:6], high[6:12] = y[:6] - 0.2, y[:6] + 0.1, np.inf
    return low, high, design


def seconds(action, repeats=5):
    """Shortest of several runs, and the last answer."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        answer = action()
        times.append(time.perf_counter() - start)
    return min(times), answer


def test_two_thousand_draws_take_less_time_than_a_short_emcee_run():
    """Peer: emcee, 32 walkers and 1000 steps, on the plain likelihood with the same beliefs."""
    import emcee

    low, high, design = data(1)
    model = IntervalModel(low, high, design, belief=([3, 0, 0, 0], [1] * 4), sd_belief=0.5)
    ours, found = seconds(lambda: sample(model, 2000, seed=1), 3)

    def density(at):
        belief = norm.logpdf(at[:4], [3, 0, 0, 0], 1).sum() + norm.logpdf(np.exp(at[4]), 0, 0.5) + at[4]
        return log_likelihood(low, high, design, at) + belief

    sampler = emcee.EnsembleSampler(32, 5, density)
    start = np.r_[found.coefficients.mean(axis=0), np.log(found.sd).mean()]
    peer, _ = seconds(
        lambda: sampler.run_mcmc(start + 0.05 * np.random.default_rng(1).normal(size=(32, 5)), 1000), 1
    )
    print(f"ours {ours:.3f} s, emcee {peer:.3f} s, ratio {peer / ours:.0f}")
    chain = sampler.get_chain(discard=300, flat=True)
    np.testing.assert_allclose(found.coefficients.std(axis=0), chain[:, :4].std(axis=0), rtol=0.25)
    assert ours < peer / 5
