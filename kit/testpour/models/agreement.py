"""Log against belief, and the whole log checked at once: what stands out, and what to look at first."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr
from scipy.stats import chi2

from testpour.models.check import check_fit
from testpour.models.effects import effects
from testpour.wording import count, in_markdown, listed, said_in_markdown

TAUGHT = 0.1  # share of a belief's variance the log must have removed before the two are compared
RARE = 0.05  # chance of one of a reading's effects being pulled this far, were the beliefs right, that is told
RARER = 0.02  # the same for level and all effects together


@dataclass(frozen=True)
class Agreement:
    """Whether one reading's log pulls the model further from belief than belief itself expects.

    Parameters
    ----------
    reading : Reading
    chance : float
        Chance of a pull at least this strong, were the beliefs right; 1 where the log has taught nothing.
    strange : tuple of Effect
        Effects pulled further than one of a reading's effects should be in one log of twenty.
    """

    reading: object
    chance: float
    strange: tuple

    @property
    def warns(self):
        """Whether the reader is told."""
        return bool(self.strange) or self.chance < RARER

    def sentence(self):
        """The agreement in a sentence."""
        words = self.reading.words
        if self.strange:
            factors = listed(effect.factor.words for effect in self.strange)
            return (
                f"What {factors} did to {words} is not what the trade expects. Check the weighing of the pours that "
                "differ in it; if it was right, trust the log: it overrules the trade as it grows."
            )
        if self.chance < RARER:
            return (
                f"{words.capitalize()} of this resin lies far from what the trade expects of its like. Check units "
                "and labels; if they are right, trust the log."
            )
        return f"{words.capitalize()}: log and belief agree."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def agreement(fit):
    """Whether a reading's log and the beliefs under it agree.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Agreement

    Notes
    -----
    The pull is the posterior mean less the believed mean. Were the beliefs right, its covariance would be
    believed less posterior covariance, so that its size is chi-square (prior-data conflict after Evans and
    Moshonov 2006, Bayesian Analysis 1, 893); directions the log has taught nothing about are left out.
    """
    drawn, believed = fit.posterior.coefficients / fit.believed.sd, fit.believed.mean / fit.believed.sd
    if fit.reading.grades:
        drawn = np.column_stack([drawn, fit.posterior.cuts[:, 0] / fit.believed.cuts.sd])
        believed = np.append(believed, fit.believed.cuts.mean / fit.believed.cuts.sd)
    chance = 1.0
    if len(fit.rows) and drawn.shape[1]:
        left, turn = np.linalg.eigh(np.atleast_2d(np.cov(drawn.T)))
        taught = 1 - left > TAUGHT
        pull = (turn.T @ (drawn.mean(axis=0) - believed))[taught]
        chance = float(chi2.sf((pull**2 / (1 - left[taught])).sum(), taught.sum())) if taught.any() else 1.0
    each = [effect for effect in effects(fit).each if effect.poured]
    strange = tuple(e for e in each if 2 * ndtr(-e.disagreement) * len(each) < RARE)
    return Agreement(fit.reading, chance, strange)


@dataclass(frozen=True)
class CheckedLog:
    """Everything in a log that deserves a second look.

    Parameters
    ----------
    checked : dict
        Reading name to `Checked`.
    agreements : dict
        Reading name to `Agreement`.
    """

    checked: dict
    agreements: dict

    @property
    def table(self):
        """One row a pour and reading that stands out: pour, reading, how often a casting reads so far out, says."""
        rows = [
            {"pour": suspect.pour, "reading": one.reading.words, "by luck": suspect.tail, "says": suspect.sentence()}
            for one in self.checked.values()
            for suspect in one.suspects
        ]
        return pd.DataFrame(rows, columns=["pour", "reading", "by luck", "says"])

    @property
    def odd(self):
        """Names of the pours that stand out, those odd in most readings first."""
        return self.table["pour"].value_counts().index.tolist()

    def sentence(self):
        """What stands out, in a sentence or two."""
        where = self.table.groupby("pour", sort=False)["reading"].agg(listed)
        odd = listed(f"{pour} ({where[pour]})" for pour in self.odd)
        strange = listed(one.reading.words for one in self.agreements.values() if one.warns)
        strained = listed(one.reading.words for one in self.checked.values() if one.strained)
        said = [f"{count(len(self.odd), 'pour')} to look at again: {odd}." if odd else "No pour stands out."]
        said.append(f"Log and trade differ about {strange}." if strange else "Log and trade agree.")
        if strained:
            said.append(f"Intervals of {strained} are narrower than this log deserves: something is at work that is not logged.")
        return " ".join(said)

    __repr__ = sentence

    def _repr_markdown_(self):
        lines = [suspect for one in self.checked.values() for suspect in one.suspects]
        lines += [one for one in self.agreements.values() if one.warns]
        return f"**{in_markdown(self.sentence())}**\n\n" + "".join(f"- {in_markdown(line.sentence())}\n" for line in lines)


def check_log(fits):
    """Pours that stand out in any reading, and readings where log and belief disagree.

    Parameters
    ----------
    fits : Fits

    Returns
    -------
    CheckedLog
        Its table has one row a pour and reading that stands out; nothing is left out of any fit.
    """
    read = {name: fit for name, fit in fits.items() if len(fit.rows)}
    return CheckedLog(
        {name: check_fit(fit) for name, fit in read.items()}, {name: agreement(fit) for name, fit in read.items()}
    )
