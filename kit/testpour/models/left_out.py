"""Each pour as the other pours predict it, mostly without fitting the model again for every one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import logsumexp, ndtr

from testpour.likelihood.truncated import log_interval_probability
from testpour.likelihood.weights import effective_size, normal_scores, pareto_smoothed
from testpour.models.scales import as_read, ends_by_draw

if TYPE_CHECKING:
    import pandas as pd

    from testpour.likelihood.posterior import Posterior
    from testpour.models.reading_fit import ReadingFit

# Share of its draws that a pour's weights must be worth, else the model is fitted again: on 378 left-out pours of four logs chances
# were then out by .019 (root mean square; at most .15), as much as a new fit of 300 draws is. The shape of the tail alone told less.
WORTH = 0.5
THIN = 4  # every so many draws are used where a pour was read more than once
REACH = np.linspace(-8, 8, 17)  # of a pour's shift about a draw of it, in its standard deviations


@dataclass(frozen=True)
class PredictiveDraws:
    """What m draws say of k readings of one pour."""

    mean: np.ndarray  # (m, k): latent, with the effects of sessions, lots and hands that other pours share
    own: np.ndarray  # (m,): standard deviation of the shift that all its readings share
    sd: np.ndarray  # (m,): standard deviation of one reading
    shift: np.ndarray  # (m,): the shift as drawn, for a pour the model has seen; zero for one it has not
    cuts: np.ndarray | None  # (m, grades - 1)

    def thinned(self, step: int) -> PredictiveDraws:
        """Every `step`-th draw."""
        cuts = None if self.cuts is None else self.cuts[::step]
        return PredictiveDraws(self.mean[::step], self.own[::step], self.sd[::step], self.shift[::step], cuts)


def left_out(fit: ReadingFit, level: float) -> pd.DataFrame:
    """Each reading beside the interval in which the log's other pours expect it with chance `level`.

    One row a reading, as `fit.rows`: pour, age, low, high, from, to, above (chance of reading at least as high), below (at least
    as low), inside (share of what is seen that lies in the interval).

    Draws from the whole log are weighted by one over the pour's own likelihood, its shift integrated out
    weights, _ = pareto_smoothed(leave_out_weights(_likelihood(seen, fit, rows)))
    if effective_size(weights) < WORTH * len(weights):
    """
    table = fit.rows[[c for c in ("pour", "age", "low", "high") if c in fit.rows]].copy()
    seen = fit.rows[[c for c in ("low", "high", "room_temperature") if c in fit.rows]]
    said = np.empty((len(table), 5))
    for pour in table["pour"].unique():
        mine = fit.labels["pour"] == str(pour)
        said[mine] = _one(fit, pour, seen[mine], level)
    return table.assign(**dict(zip(("from", "to", "above", "below", "inside"), said.T, strict=True)))


def predictive_draws(posterior: Posterior, fit: ReadingFit, rows: pd.DataFrame) -> PredictiveDraws:
    """What the draws of a `posterior`, that of `fit` or the one without the pour, say of the `rows` of one pour."""
    at, own, shift = rows.index.to_numpy(), np.zeros(len(posterior)), np.zeros(len(posterior))
    mean, pours = posterior.coefficients @ fit.columns[at].T, fit.labels["pour"]
    others = pours != pours[at[0]]
    for name, all_labels in fit.groups.items():
        mine = all_labels[at]
        sd = posterior.group_sds.get(name, np.full(len(own), fit.believed.scatter[name]))
        if name in posterior.group_sds and set(mine) <= set(all_labels[others]):
            levels = np.searchsorted(posterior.group_levels[name], mine)
            mean = mean + posterior.group_effects[name][:, levels]
            continue
        own = own + sd**2
        if posterior is fit.posterior:
            shift = shift + posterior.group_effects[name][:, np.searchsorted(posterior.group_levels[name], mine[0])]
    return PredictiveDraws(mean, np.sqrt(own), posterior.sd, shift, posterior.cuts)


def _one(fit, pour, rows, level):
    """The predicted columns of one pour's readings, shape (k, 5)."""
    seen = predictive_draws(fit.posterior, fit, rows)
    seen = seen.thinned(THIN) if len(rows) > 1 else seen
    weights, _ = pareto_smoothed(leave_out_weights(_likelihood(seen, fit, rows)))
    if effective_size(weights) < WORTH * len(weights):
        seen = predictive_draws(fit.without(pour), fit, rows)
        weights = np.full(len(seen.own), 1 / len(seen.own))
    above, below = tails(seen, weights, fit, rows)
    start = 1 - above
    edge = (1 - level) / 2
    common = np.minimum(below, 1 - edge) - np.maximum(start, edge)
    within = (start >= edge) & (below <= 1 - edge)
    inside = np.where(within, 1.0, np.clip(common / np.maximum(below - start, 1e-12), 0, 1))
    return np.column_stack([*_interval(seen, weights, fit, rows, level), above, below, inside])


def leave_out_weights(log_likelihood: np.ndarray) -> np.ndarray:
    """Weights (m,) that take a pour's likelihood out of m equally weighted draws again; they add up to 1."""
    weights = np.exp(np.min(log_likelihood) - log_likelihood)
    return weights / weights.sum()


def tails(seen: PredictiveDraws, weights: np.ndarray, fit: ReadingFit, rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Chances, by weighted draws, of reading at least as high as each of a pour's k `rows` and at least as low: two arrays (k,)."""
    low, high = ends_by_draw(fit.reading, rows, seen.cuts)
    whole = np.hypot(seen.own, seen.sd)[:, None]
    return weights @ ndtr((seen.mean - low) / whole), weights @ ndtr((high - seen.mean) / whole)


def _likelihood(seen, fit, rows):
    """Log-likelihood of the pour's readings for each draw, its own shift integrated out: shape (m,)."""
    low, high = ends_by_draw(fit.reading, rows, seen.cuts)
    if len(rows) == 1:
        whole = np.hypot(seen.own, seen.sd)
        return _log_chance(low - seen.mean, high - seen.mean, whole[:, None])[:, 0]
    width = np.where(np.isfinite(high - low), high - low, np.inf)
    known = (1 / (seen.sd[:, None] ** 2 + width**2 / 12)).sum(axis=1)
    own = np.maximum(seen.own, 1e-6)
    step = 1 / np.sqrt(1 / own**2 + known)
    heights = []
    for reach in REACH:
        shift = seen.shift + reach * step
        at = seen.mean + shift[:, None]
        rows_value = _log_chance(low - at, high - at, seen.sd[:, None]).sum(axis=1)
        heights.append(rows_value - (shift / own) ** 2 / 2 - np.log(own))
    return logsumexp(heights, axis=0) + np.log(step)


def _log_chance(low, high, sd):
    """Log chance of each interval; log density where a reading is exact."""
    low, high, sd = np.broadcast_arrays(low / sd, high / sd, sd)
    exact = low == high
    if not exact.any():
        return log_interval_probability(low, high)
    chance = np.where(exact, -(low**2) / 2 - np.log(sd), 0.0)
    chance[~exact] = log_interval_probability(low[~exact], high[~exact])
    return chance


def _interval(seen, weights, fit, rows, level):
    """Where a casting at each row's settings should read: two arrays (k,) in the reading's unit."""
    count = 2000
    picked = np.searchsorted(np.cumsum(weights), (np.arange(count) + 0.5) / count).clip(max=len(weights) - 1)
    scores = normal_scores(count)[:, None]
    latent = seen.mean[picked] + np.hypot(seen.own, seen.sd)[picked, None] * scores
    values = as_read(fit.reading, latent, seen.cuts if seen.cuts is None else seen.cuts[picked], rows.get("room_temperature"))
    return np.quantile(values, [(1 - level) / 2, (1 + level) / 2], axis=0)
