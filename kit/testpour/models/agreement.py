"""Log against belief: whether the beliefs could have given a log like this one."""

from dataclasses import dataclass

import numpy as np

from testpour.common.wording import listed, said_in_markdown
from testpour.likelihood.elimination import predictor_draws
from testpour.likelihood.laplace import split_outer
from testpour.likelihood.observations import cuts_of, interval_middles
from testpour.likelihood.scaling import draw_beliefs
from testpour.models.beliefs import GRADE
from testpour.models.effect import to_check
from testpour.models.reading_fit import ReadingFit
from testpour.models.reading_model import model_of
from testpour.study.columns import Factor, Reading

LEAST_LEARNABLE = 0.1  # share of a belief's variance a log must be able to remove before the two are compared
RARE = 0.02  # p-value below which there is a warning: with five readings, one false alarm in ten logs
REPLICATES = 999  # logs drawn from the beliefs
WIDENED = 100.0  # uninformative beliefs are widened by this factor, so that no log contradicts them


@dataclass(frozen=True)
class Agreement:
    """Whether one reading's log is one that the beliefs could have given."""

    reading: Reading
    chance: float  # share of logs drawn from the beliefs that are at least as strange; 1 if nothing can be compared
    strange: tuple[Factor, ...]  # settings whose believed effect the log contradicts
    believed: bool = True  # whether the trade expects anything of the reading

    @property
    def warns(self) -> bool:
        """Whether to warn."""
        return self.chance < RARE

    def sentence(self) -> str:
        """The agreement in a sentence."""
        words = self.reading.words
        if not self.believed:
            return f"{words.capitalize()}: the trade has no view of it."
        if not self.warns:
            return f"{words.capitalize()}: nothing in the log contradicts belief so far."
        if self.strange:
            factors = listed(factor.words for factor in self.strange)
            return (
                f"What {factors} did to {words} is not what the trade expects. Check {to_check(self.strange)} of the pours that "
                "differ in it; if it was right, trust the log: it overrules the trade as it grows."
            )
        return (
            f"{words.capitalize()} of this resin lies far from what the trade expects of its like. Check units "
            "and labels; if they are right, trust the log."
        )

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def agreement(fit: ReadingFit) -> Agreement:
    """Whether a reading's log and the beliefs under it agree.

    Prior-predictive check (Box 1980, J. R. Statist. Soc. A 143, 383; Evans and Moshonov 2006, Bayesian Analysis
    1, 893). Logs of the same pours are drawn from the beliefs, the remainder left out. In each, and in the log
    itself, the pull on every belief is computed, and the distance of the whole log from the beliefs. A log is as
    strange as its strangest pull; its rank among the drawn logs is the chance. Terms without an informative
    belief, such as a person's own factor, are not tested.
    """
    believed = fit.believed.without_remainder()
    informative = any(belief.informative for belief in believed.beliefs)
    if not len(fit.rows) or not informative:
        return Agreement(fit.reading, 1.0, (), informative)
    model = model_of(fit.study, fit.reading, believed, fit.rows, remainder=False)
    drawn = _simulated_logs(model, np.random.default_rng([0, 31]))
    pulls, terms = _standardised_pulls(model, believed, np.vstack([_observed_log(model), drawn]))
    tails = _tail_chances(pulls)
    least = tails.min(axis=1)
    chance = float(np.mean(least <= least[0]))
    threshold = np.sort(least)[max(int(RARE * len(least)) - 1, 0)]
    names = dict.fromkeys(name for term, tail in zip(terms, tails[0], strict=False) if tail <= threshold for name in term.factors)
    known = {factor.name: factor for factor in fit.study.factors}
    return Agreement(fit.reading, chance, tuple(known[name] for name in names if name in known))


def _simulated_logs(model, rng):
    """Logs drawn from the beliefs for the same rows, censored where the log is: (`REPLICATES`, n)."""
    outer, inner, _ = draw_beliefs(model, REPLICATES, rng)
    shape, sds = split_outer(outer, len(model.groups))
    latent = predictor_draws(model.exog, model.groups, inner, sds)
    noise = rng.standard_normal(latent.shape)
    if model.grades:
        return _grades_at_middles(model, ((latent + noise)[:, :, None] > cuts_of(shape)[:, None, :]).sum(axis=2))
    latent = latent + np.exp(shape) * noise
    only_low, only_high = np.isinf(model.high), np.isinf(model.low)
    latent = np.where(only_low, np.minimum(latent, model.low), latent)
    return np.where(only_high, np.maximum(latent, model.high), latent)


def _observed_log(model):
    """The log's own readings, one number per row."""
    middles = interval_middles(model.low, model.high)
    return _grades_at_middles(model, middles) if model.grades else middles


def _grades_at_middles(model, grades):
    """Grades at the middle of their believed intervals."""
    cuts = model.cut_belief[0]
    width = cuts[1] - cuts[0] if len(cuts) > 1 else GRADE
    return cuts[0] + width * (np.asarray(grades, float) - 0.5)


def _standardised_pulls(model, believed, logs):
    """How far each log (m, n) pulls each belief that it can teach about, in standard deviations, and the terms.

    The last column is the distance of the whole log from what is believed.
    """
    informative = np.array([belief.informative for belief in believed.beliefs])
    columns, sd = model.exog, np.where(informative, model.belief[1], WIDENED * model.belief[1])
    own = 1.0 if model.grades else model.sd_belief**2
    noise = own * np.eye(len(columns))
    for group, scale in zip(model.groups, model.group_beliefs, strict=True):
        noise += scale**2 * group.design @ group.design.T
    covariance = noise + (columns * sd**2) @ columns.T
    away = np.linalg.solve(covariance, (logs - model.exog @ model.belief[0]).T)
    reach = np.sqrt(np.einsum("nk,nk->k", columns, np.linalg.solve(covariance, columns))) * sd
    taught = informative & (reach**2 > LEAST_LEARNABLE)
    pulls = (columns.T @ away).T[:, taught] * sd[taught] / reach[taught]
    whole = np.einsum("mn,nm->m", logs - model.exog @ model.belief[0], away)
    terms = [term for term, learnable in zip(believed.terms, taught, strict=False) if learnable]
    return np.column_stack([pulls, whole]), terms


def _tail_chances(pulls):
    """Two-sided tail of each pull among all logs, one-sided of the distance: shape (m, k)."""
    ranks = np.argsort(np.argsort(pulls, axis=0), axis=0) + 0.5
    share = ranks / len(pulls)
    return np.column_stack([2 * np.minimum(share, 1 - share)[:, :-1], 1 - share[:, -1]])
