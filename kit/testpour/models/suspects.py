"""Pours that stand out, each with what is odd about it and what to look at.

A slip is named and counts all the same. Likelihoods that mix each row's own with one as wide as its scale (3 % of rows
slips, the sets of rows weighed by fits without them) did hold 36 slips in logs of twelve pours of two families left out:
scatter 1.02 times its size, not 1.34, and an aim's chance off by more than 0.1 in 3 of 100, not 39. But of two ordinary
radical worlds, picked because they looked poor, the share after 24 pours was 0.73 with it and 0.98 without, 0.44 and 0.77:
probably since readings were left aside that were right, where the resin does what nobody expects. A casting that is odd in
two readings counted in full in a later form, which was not raced.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.common.units import show
from testpour.common.wording import age_words, count, listed, said_in_markdown
from testpour.models.left_out import PredictiveDraws, tails
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import latent_ends, widen

BELIEVABLE = (0.3, 3.0)  # ratios of catalyst that a slip could explain
SLIGHT = 0.01  # step in the log of catalyst over which its effect is taken
APART = 3  # times the range of the others of its age by which a slip differs from the nearest of them: common practice, no source
ALONE = 0.5  # castings near a pour (see `ReadingFit.castings_near`) below which the others say little about it: a judgement, no source
MODEL = "so the model may be wrong there, not the pour."


@dataclass(frozen=True)
class Suspect:
    """One pour that stands out in one reading."""

    pour: str
    says: str  # what was seen, and where the other pours put it
    reasons: tuple[str, ...]  # possible explanations, likeliest first; a sentence each
    tail: float  # how often a casting would read this far out, 0 to 1
    alone: bool = False  # whether no other pour is close to it, so that the model may be wrong there instead

    def sentence(self) -> str:
        """The pour, what is odd about it, and where to look."""
        return f"{self.says} {' '.join(self.reasons)}"

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def suspects(fit: ReadingFit, seen: pd.DataFrame, luck: float) -> list[Suspect]:
    """The pours that stand out in a table from `left_out`, in the order of the log.

    `luck` is how many stand out on average in a log where nothing went wrong.
    """
    pours, far = seen["pour"].unique(), 2 * seen[["above", "below"]].min(axis=1)
    odd_pours = []
    for pour in pours:
        own = fit.labels["pour"] == str(pour)
        odd = own.sum() * far[own].min() < luck / len(pours)
        if not odd and own.sum() < 3:
            continue
        part = seen[own]
        slip = _odd_reading(fit, part, luck / len(seen))
        if slip is not None:
            odd_pours.append(_suspect_reading(fit, pour, part, slip))
        elif odd:
            odd_pours.append(_suspect_pour(fit, pour, part, far[own]))
    return odd_pours


def _odd_reading(fit, part, least):
    """Index of the one reading that contradicts the others of its pour, or None."""
    if len(part) < 3:
        return None
    rows = fit.rows.loc[part.index]
    posterior, mean = fit.posterior, fit.posterior.coefficients @ fit.columns[rows.index].T
    for name, labels in fit.groups.items():
        mean = mean + posterior.group_effects[name][:, np.searchsorted(posterior.group_levels[name], labels[rows.index])]
    known, even = PredictiveDraws(mean, np.zeros(len(mean)), posterior.sd, posterior.cuts), np.full(len(mean), 1 / len(mean))
    far = 2 * np.minimum(*tails(known, even, fit, rows))
    odd = np.flatnonzero(far < least)
    return part.index[odd[0]] if len(odd) == 1 and _apart_at_its_age(fit.reading, rows, part.index[odd[0]]) else None


def _apart_at_its_age(reading, rows, place):
    """Whether one of a pour's `rows` differs from the others of its age by far more than they do; True if there are none.

    In the reading's own unit. The model may be wrong about that age, and then all its readings there look alike odd.
    """
    low, high = (pd.Series(ends, rows.index) for ends in widen(reading, rows["low"].to_numpy(float), rows["high"].to_numpy(float)))
    others = rows.index[(rows.get("age", pd.Series(0.0, rows.index)) == rows.get("age", {place: 0.0})[place]) & (rows.index != place)]
    if not len(others):
        return True
    bottom, top = low[others].min(), high[others].max()
    return bool(max(low[place] - top, bottom - high[place]) > APART * (top - bottom))


def _suspect_pour(fit, pour, part, far):
    """A pour whose readings lie far from where the others put them."""
    place = far.idxmin()
    row = part.loc[place]
    says = f"{pour} read {_reading_in_words(fit, row)}; the other pours put it at {_range_in_words(fit, row)}."
    unlike, alone = _unlike_the_others(fit, pour)
    again = ", and pour it again only if you mean to cast near there" if alone else " and pour it again"
    last = f"Check how {pour} was weighed, stirred and read; if all was right, keep it{again}."
    reasons = [_catalyst_that_would_fit(fit, place), unlike, last]
    return Suspect(str(pour), says, tuple(r for r in reasons if r), float(min(far.min(), 1.0)), alone)


def _suspect_reading(fit, pour, part, place):
    """A pour with one reading that the rest of its readings contradict."""
    row = part.loc[place]
    says = f"{pour} read {_reading_in_words(fit, row)} once; its other {count(len(part) - 1, 'reading')} agree with one another."
    reason = "Look for a slip of the pen, a bubble or a soft spot under that one."
    return Suspect(str(pour), says, (reason,), float(2 * row[["above", "below"]].min()))


def _reading_in_words(fit, row):
    """A reading as it is known, for example ``"40 to 44 min"`` or ``"82 Shore D at 24 h"``."""
    reading, low, high = fit.reading, row["low"], row["high"]
    if low == high:
        text = reading.show(low)
    elif np.isinf(high):
        text = f"more than {reading.show(low)}"
    elif np.isinf(low):
        text = f"less than {reading.show(high)}"
    else:
        text = f"{low:g} to {reading.show(high)}"
    return text + (f" at {age_words(row['age'])}" if reading.ages else "")


def _range_in_words(fit, row):
    low, high = row["from"], row["to"]
    if fit.reading.grades:
        return fit.reading.show(low) if low == high else f"{fit.reading.show(low)} to {fit.reading.show(high)}"
    digits = 2 if high < 100 else 3
    return f"{show(low, '', digits)} to {show(high, fit.reading.unit, digits)}"


def _catalyst_that_would_fit(fit, place):
    """What catalyst would have given such a time, where the log knows what catalyst does."""
    reading = fit.reading
    if reading.scale != "log" or "catalyst" not in fit.believed.factors:
        return ""
    at = fit.rows.loc[[place]]
    ends = [float(end[0]) for end in latent_ends(reading, at)]
    known = [end for end in ends if np.isfinite(end)]
    off = np.mean(known) - float(fit.mean(at).mean()) if known else 0.0
    drawn = np.diff(fit.mean(pd.concat([at, at.assign(catalyst=at["catalyst"] * np.exp(SLIGHT))])), axis=1)[:, 0] / SLIGHT
    if abs(drawn.mean()) <= 2 * drawn.std():
        return ""
    ratio = float(np.exp(off / drawn.mean()))
    if not BELIEVABLE[0] < ratio < BELIEVABLE[1] or 0.9 < ratio < 1.1:
        return ""
    given, factor = float(at["catalyst"].iloc[0]), fit.study.factor("catalyst")
    return f"It looks as if {factor.show(round(given * ratio, 1))} catalyst had gone in, not {factor.show(given)}."


def _unlike_the_others(fit, pour):
    """What is unique to the pour, so that the model, or the day, may be at fault; and whether no other pour is close to it."""
    rows, own = fit.rows, fit.rows["pour"] == pour
    others = rows[~own]
    used = fit.believed.factors
    beyond = [
        f"{factor.words} {factor.show(value)}"
        for factor in fit.study.numeric
        if factor.name in used and len(others)
        for value in [float(rows.loc[own, factor.name].iloc[0])]
        if not others[factor.name].min() <= value <= others[factor.name].max()
    ]
    if beyond:
        return f"No other pour goes as far as {listed(beyond)}, {MODEL}", True
    if len(others) and fit.castings_near(rows[own].iloc[[0]])[0] - 1 < ALONE:
        return f"No other pour is close to it in all settings at once, {MODEL}", True
    if not others["session"].isin(rows.loc[own, "session"]).any():
        return "It is the only pour of its session, so the day may be the reason.", False
    return "", False
