"""Side by side: the same censored log-normal fit by the kit and by a plainly written likelihood class."""

import time

import numpy as np
import pytest
from scipy.stats import norm
from statsmodels.base.model import GenericLikelihoodModel

from testpour.likelihood.interval import IntervalModel

pytestmark = pytest.mark.slow


class PlainCensored(GenericLikelihoodModel):
    """What one would write in an afternoon: the log-likelihood alone, differences for the rest."""

    def __init__(self, low, high, exog):
        super().__init__(low, exog, extra_params_names=["log_sigma"])
        self.low, self.high = low, high

    def loglikeobs(self, params):
        eta, sigma = self.exog @ params[:-1], np.exp(params[-1])
        exact = self.low == self.high
        low, high = (self.low - eta) / sigma, (self.high - eta) / sigma
        chance = np.maximum(norm.cdf(high) - norm.cdf(low), 1e-300)
        return np.where(exact, norm.logpdf(low) - np.log(sigma), np.log(chance))


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


def plain_fit(low, high, design):
    middle = np.where(np.isinf(high), low, (low + high) / 2)
    start = np.r_[np.linalg.lstsq(design, middle)[0], np.log(0.5)]
    return PlainCensored(low, high, design).fit(start, method="bfgs", disp=0)


def test_same_answer_in_no_more_time_than_a_plain_class():
    """Peer: statsmodels GenericLikelihoodModel with BFGS and numerical derivatives, ten data sets."""
    ours, plain = 0.0, 0.0
    for seed in range(10):
        low, high, design = data(seed)
        spent, fit = seconds(lambda d=(low, high, design): IntervalModel(*d).fit())
        ours += spent
        spent, other = seconds(lambda d=(low, high, design): plain_fit(*d))
        plain += spent
        np.testing.assert_allclose(fit.params, other.params, atol=2e-3)
        assert fit.llf >= other.llf - 1e-9
    print(f"ours {ours:.3f} s, plain {plain:.3f} s, ratio {plain / ours:.1f}")
    assert ours < 1.2 * plain


def test_two_thousand_draws_take_less_time_than_a_short_emcee_run():
    """Peer: emcee, 32 walkers and 1000 steps, on the plain likelihood with the same beliefs."""
    import emcee

    low, high, design = data(1)
    model = IntervalModel(low, high, design, belief=([3, 0, 0, 0], [1] * 4), spread_belief=0.5)
    ours, found = seconds(lambda: model.posterior(2000, seed=1), 3)
    plain = PlainCensored(low, high, design)

    def density(at):
        belief = norm.logpdf(at[:4], [3, 0, 0, 0], 1).sum() + norm.logpdf(np.exp(at[4]), 0, 0.5) + at[4]
        return plain.loglikeobs(at).sum() + belief

    sampler = emcee.EnsembleSampler(32, 5, density)
    start = np.r_[found.coefficients.mean(axis=0), np.log(found.spread).mean()]
    peer, _ = seconds(
        lambda: sampler.run_mcmc(start + 0.05 * np.random.default_rng(1).normal(size=(32, 5)), 1000), 1
    )
    print(f"ours {ours:.3f} s, emcee {peer:.3f} s, ratio {peer / ours:.0f}")
    chain = sampler.get_chain(discard=300, flat=True)
    np.testing.assert_allclose(found.coefficients.std(axis=0), chain[:, :4].std(axis=0), rtol=0.25)
    assert ours < peer / 5
