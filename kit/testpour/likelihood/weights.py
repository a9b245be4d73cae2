"""Importance weights: effective number, Pareto smoothing, tempering and resampling; and normal scores."""

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import genpareto

FEWEST = 5  # fewest weights for estimating the shape of a tail


def effective_size(weights: np.ndarray) -> float:
    """The effective number of weighted draws (Kong, Liu and Wong 1994).

    `weights` (m,): they add up to 1.
    """
    return 1 / (weights**2).sum()


def importance_weights(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weights of outer draws, each the mean over its inner ones, and the share of each inner draw in it.

    `logs` (m, e) are of target over proposal. Shares come back first, whose rows add up to 1, or to 0 where there is no
    weight; then weights (m,), which add up to 1.
    """
    logs = np.where(np.isfinite(logs), logs, -np.inf)
    tallest = np.maximum(logs.max(axis=1, keepdims=True), -np.finfo(float).max)
    parts = np.exp(logs - tallest)
    sums = parts.sum(axis=1)
    weights = np.exp(tallest[:, 0] - tallest.max()) * sums
    return parts / np.maximum(sums, np.finfo(float).tiny)[:, None], weights / weights.sum()


def pick_by_share(shares: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """For each row one column, drawn by the row's shares.

    Each row of `shares` (m, e) adds up to 1.
    """
    steps = np.cumsum(shares, axis=1)
    return np.minimum((steps < rng.random((len(shares), 1))).sum(axis=1), shares.shape[1] - 1)


def pareto_smoothed(weights: np.ndarray) -> tuple[np.ndarray, float]:
    """Weights whose largest are replaced by the quantiles of a Pareto tail, and the shape of that tail.

    A few draws from where a stand-in is too thin would otherwise carry most of the weight. Weights (m,) add up to 1
    before and after. A shape above 0.7 had better not be trusted; it is minus infinity where there is no tail, infinity
    where a handful of draws has all the weight. Vehtari, Simpson, Gelman, Yao and Gabry, Pareto smoothed importance
    sampling (2015 onwards, arXiv:1507.02646); from memory, not read.
    """
    count = int(min(0.2 * len(weights), 3 * np.sqrt(len(weights))))
    order = np.argsort(weights)
    tail, cut = order[len(order) - count :], weights[order[-count - 1]]
    above = weights[tail] - cut
    if above[-1] <= 0:
        return weights, -np.inf
    if (above > 0).sum() < FEWEST:
        return weights, np.inf
    tail, above = tail[above > 0], above[above > 0]
    count = len(tail)
    shape, scale = _pareto_tail(above)
    heights = genpareto.ppf((np.arange(count) + 0.5) / count, shape, scale=scale)
    smoothed = weights.copy()
    smoothed[tail] = np.minimum(cut + heights, weights[order[-1]])
    return smoothed / smoothed.sum(), shape


def _pareto_tail(above: np.ndarray) -> tuple[float, float]:
    """Shape and scale of a generalised Pareto distribution of values `above` 0, ascending.

    The shape is drawn towards 0.5 as by ten more values: Zhang and Stephens, Technometrics 51 (2009) 316; the last step
    as Vehtari et al. Both from memory, not read.
    """
    n, grid = len(above), 30 + int(np.sqrt(len(above)))
    quarter = above[int(n / 4 + 0.5) - 1]
    rates = (1 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))) / (3 * quarter) + 1 / above[-1]
    shapes = np.log1p(-rates[:, None] * above).mean(axis=1)
    heights = n * (np.log(-rates / shapes) - shapes - 1)
    blend = np.exp(heights - heights.max())
    rate = (rates * blend).sum() / blend.sum()
    shape = np.log1p(-rate * above).mean()
    return (n * shape + 10 * 0.5) / (n + 10), -shape / rate


def tempered(weights: np.ndarray, least: float) -> np.ndarray:
    """Weights raised to the power, at most 1, at which their effective number is `least`.

    A stand-in that is still far off is moved by steps it can follow, as in annealed importance sampling (Neal 2001,
    Statistics and Computing 11, 125; from memory, not read). Weights (m,) add up to 1 before and after; `least` is
    above 1 and below m.
    """
    with np.errstate(divide="ignore"):
        logs = np.log(weights / weights.max())

    def lack(power):
        return np.exp(power * logs).sum() ** 2 / np.exp(2 * power * logs).sum() - least

    power = 1.0 if lack(1.0) >= 0 or lack(1e-6) <= 0 else float(brentq(lack, 1e-6, 1.0, xtol=1e-4))
    raised = np.exp(power * logs)
    return raised / raised.sum()


def resample(weights: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Systematic resampling, in random order.

    Weights (m,) add up to 1; the numbers of the rows picked come back. Kitagawa (1996), Journal of Computational and
    Graphical Statistics 5, 1-25, from memory, not read.
    """
    points = (rng.random() + np.arange(draws)) / draws
    picked = np.minimum(np.searchsorted(np.cumsum(weights), points), len(weights) - 1)
    return rng.permutation(picked)


def normal_scores(count: int, rng: np.random.Generator | None = None) -> np.ndarray:
    """Evenly spaced scores of a standard normal in a shuffled order: quieter than random ones.

    Without an `rng` they are the same every time.
    """
    return (rng or np.random.default_rng(0)).permutation(ndtri((np.arange(count) + 0.5) / count))
