"""Each pour as predicted by the other pours, mostly without refitting the model."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, softmax

from testpour.likelihood.posterior import Posterior
from testpour.likelihood.together import log_joint_likelihood
from testpour.likelihood.weights import effective_size, normal_scores, pareto_smoothed
from testpour.models.reading_fit import ReadingFit
from testpour.models.reading_model import labels_of
from testpour.models.scales import as_read, ends_by_draw

# Share of its draws that a pour's weights must be worth, else the model is fitted again: on 378 left-out pours of four logs chances
# were then out by .019 (root mean square; at most .15), as much as a new fit of 300 draws is. The shape of the tail alone told less.
LEAST_WORTH = 0.5


@dataclass(frozen=True)
class PredictiveDraws:
    """The predictive distribution of k readings of one pour, as m draws."""

    mean: np.ndarray  # (m, k): latent, including effects of sessions, lots and readers shared with other pours
    own: np.ndarray  # (m,): standard deviation of the pour's own shift
    sd: np.ndarray  # (m,): standard deviation of one reading
    cuts: np.ndarray | None  # (m, grades - 1)


def left_out(fit: ReadingFit, level: float) -> pd.DataFrame:
    """Each reading with the interval that the other pours predict with chance `level`.

    One row per reading, as in `fit.rows`: pour, age, low, high, from, to, above (chance of reading at least as high), below
    (at least as low), inside (share of what is seen that lies in the interval).
    Draws from the whole log are weighted by one over the pour's own likelihood, its shift integrated out
    (Gelfand, Dey and Chang 1992, Bayesian Statistics 4), with the largest weights smoothed (`weights.pareto_smoothed`); if
    that leaves too few draws, the model is fitted again without the pour.
    """
    table = fit.rows[[c for c in ("pour", "age", "low", "high") if c in fit.rows]].copy()
    columns = np.empty((len(table), 5))
    for pour in table["pour"].unique():
        own_rows = fit.labels["pour"] == str(pour)
        columns[own_rows] = _predicted(fit, pour, fit.rows[own_rows], level)
    return table.assign(**dict(zip(("from", "to", "above", "below", "inside"), columns.T, strict=True)))


def predictive_draws(posterior: Posterior, fit: ReadingFit, rows: pd.DataFrame) -> PredictiveDraws:
    """Predictive draws for the `rows` of one pour, from the `posterior` of `fit` or the one without the pour."""
    effects, own = shared_effects(posterior, fit, labels_of(rows))
    return PredictiveDraws(posterior.coefficients @ fit.columns[rows.index].T + effects, np.sqrt(own), posterior.sd, posterior.cuts)


def shared_effects(
    posterior: Posterior, fit: ReadingFit, labels: dict[str, np.ndarray], apart: Collection[str] = ()
) -> tuple[np.ndarray, np.ndarray]:
    """Group effects that a pour's k readings share with other pours (m, k), and the variance of those they do not (m,).

    `labels` are those of the readings (see `labels_of`), `apart` the groups to leave out of both.
    """
    pour, count = labels["pour"][0], len(labels["pour"])
    others = fit.labels["pour"] != pour
    effects, own = np.zeros((len(posterior), count)), np.zeros(len(posterior))
    for name in dict.fromkeys((*fit.groups, *(["pour"] if count > 1 else []))):
        if name in apart:
            continue
        if not set(labels[name]) <= set(fit.labels[name][others]):
            own = own + posterior.group_sds.get(name, fit.believed.scatter[name]) ** 2
        elif name in posterior.group_sds:
            effects = effects + posterior.group_effects[name][:, np.searchsorted(posterior.group_levels[name], labels[name])]
    return effects, own


def _predicted(fit, pour, rows, level):
    """The predicted columns of one pour's readings, shape (k, 5)."""
    draws = predictive_draws(fit.posterior, fit, rows)
    weights, _ = pareto_smoothed(leave_out_weights(_likelihood(draws, fit, rows)))
    if effective_size(weights) < LEAST_WORTH * len(weights):
        draws = predictive_draws(fit.without(pour), fit, rows)
        weights = np.full(len(draws.own), 1 / len(draws.own))
    above, below = tails(draws, weights, fit, rows)
    start = 1 - above
    edge = (1 - level) / 2
    common = np.minimum(below, 1 - edge) - np.maximum(start, edge)
    within = (start >= edge) & (below <= 1 - edge)
    inside = np.where(within, 1.0, np.clip(common / np.maximum(below - start, 1e-12), 0, 1))
    return np.column_stack([*_predictive_interval(draws, weights, fit, rows, level), above, below, inside])


def leave_out_weights(log_likelihood: np.ndarray) -> np.ndarray:
    """Weights (m,) that remove a pour's likelihood from m equally weighted draws; they add up to 1."""
    return softmax(-log_likelihood)


def tails(draws: PredictiveDraws, weights: np.ndarray, fit: ReadingFit, rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Chances, by weighted draws, of reading at least as high as each of a pour's k `rows` and at least as low: two arrays (k,)."""
    low, high = ends_by_draw(fit.reading, rows, draws.cuts)
    whole = np.hypot(draws.own, draws.sd)[:, None]
    return weights @ ndtr((draws.mean - low) / whole), weights @ ndtr((high - draws.mean) / whole)


def _likelihood(draws, fit, rows):
    """Log-likelihood of the pour's readings for each draw, its own shift integrated out: shape (m,)."""
    low, high = ends_by_draw(fit.reading, rows, draws.cuts)
    return log_joint_likelihood(low - draws.mean, high - draws.mean, draws.own, draws.sd)


def _predictive_interval(draws, weights, fit, rows, level):
    """Where a casting at each row's settings should read: two arrays (k,) in the reading's unit."""
    count = 2000
    picked = np.searchsorted(np.cumsum(weights), (np.arange(count) + 0.5) / count).clip(max=len(weights) - 1)
    scores = normal_scores(count)[:, None]
    latent = draws.mean[picked] + np.hypot(draws.own, draws.sd)[picked, None] * scores
    values = as_read(fit.reading, latent, draws.cuts if draws.cuts is None else draws.cuts[picked], rows.get("room_temperature"))
    return np.quantile(values, [(1 - level) / 2, (1 + level) / 2], axis=0)
