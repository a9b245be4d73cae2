"""Causes weighed by how often each occurs and by the settings, the readings and the answers."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from testpour.causes.likelihood import Likelihoods
from testpour.causes.signs import Planned
from testpour.causes.table import NOTHING, CauseTable


@dataclass(frozen=True, eq=False)
class Weighed:
    """Every cause with its chance, and where that comes from."""

    # one row per cause, likeliest first: ``chance``; ``alone`` (of it without any other); ``prior``; ``signs`` (odds from the settings);
    # ``readings`` and ``answers`` (log chance of each under the cause); ``planned`` (share of the miss that the settings explain by
    # it); ``before`` (weight before readings and answers); ``openly`` (how much of its chance comes by way of the settings)
    table: pd.DataFrame
    each: pd.DataFrame  # log chance of each reading (columns) and each answer (columns ``question: ...``) under each cause
    # chance that two causes together are behind it, by the two names, likeliest first. Each of the two is given half of it in `table`,
    # so that the chances there add up to 1
    pairs: pd.Series

    @property
    def chances(self) -> pd.Series:
        """Chance of each cause, likeliest first."""
        return self.table["chance"]

    def ratios(self) -> pd.DataFrame:
        """How many times likelier each reading or answer is under a cause than under the others together.

        One row per cause, one column per piece of evidence.
        """
        before = self.table["before"].to_numpy()[:, None]
        logs = self.each.loc[self.table.index].to_numpy(float)
        chance = np.exp(logs - logs.max(axis=0, initial=-np.inf))
        others = (before * chance).sum(axis=0) - before * chance
        rest = before.sum() - before
        ratios = chance / np.maximum(others / np.maximum(rest, 1e-300), 1e-300)
        return pd.DataFrame(ratios.clip(1e-12, 1e12), self.table.index, self.each.columns)


def weigh(table: CauseTable, likely: Likelihoods, signs: set[str], planned: Planned, observed: dict[str, str]) -> Weighed:
    """Weigh every cause by what is known about a casting.

    A cause is behind a casting in one of two ways. Unseen: its prior, times the odds of its signs, times the share
    of such misses that the settings leave open, times the chance of the readings with its shift, times the chance of the answers. Openly, by the settings: the
    chance of the readings with no shift at all, times the share of such misses that the setting explains.

    Two causes together weigh the product of their weights times ``together``; each reading and each answer
    then comes from one of the two, either as likely, before the power ``readings`` is taken. A wrong reading is no fault of the
    casting and is not paired.
    """
    names, signs = list(table.causes), showing(table, signs, observed)
    nothing = names.index(NOTHING)
    said = {f"question: {q}": np.log(list(table.chances(q, answer).values())) for q, answer in observed.items()}
    answers = table.log_chance(observed)
    prior = np.array([cause.prior for cause in table.causes.values()])
    odds = np.array([np.prod([cause.odds.get(sign, 1.0) for sign in signs]) for cause in table.causes.values()])
    shares = np.maximum([planned.of(name) for name in names], 0.0)
    unseen, openly = prior * odds * (1 - planned.whole), prior[nothing] * shares
    unseen[nothing] = 0.0
    openly[nothing] *= odds[nothing]  # evidence against ordinary scatter is no evidence against the settings
    before = unseen + openly
    whole, open_part = _either_way(unseen, openly, likely.whole.to_numpy(float), nothing)
    each, _ = _either_way(unseen[:, None], openly[:, None], likely.each.to_numpy(float), nothing)
    each = pd.DataFrame(each - _log(before)[:, None], names, likely.each.columns).assign(**said)
    power = np.where(each.columns.isin(list(said)), 1.0, table.readings)
    first, second, both = _pairs(table, (unseen, openly, shares, prior * odds), each, power)
    total = logsumexp(np.concatenate([whole + answers, both]))
    alone, both = np.exp(whole + answers - total), np.exp(both - total)  # chances that add up to 1 together
    chance = alone + sum(np.bincount(side, both, len(names)) / 2 for side in (first, second))
    found = pd.DataFrame(
        {"chance": chance, "alone": alone, "prior": prior, "signs": odds, "planned": shares, "before": before,
         "readings": whole - _log(before), "answers": answers, "openly": np.exp(open_part - whole)}, names
    )
    found.loc[NOTHING, "openly"] = 0.0
    order, called = np.argsort(-both, kind="stable"), np.array(names)
    pairs = pd.Series(both[order], pd.MultiIndex.from_arrays([called[first[order]], called[second[order]]]))
    return Weighed(found.sort_values("chance", ascending=False, kind="stable").rename_axis("cause"), each, pairs)


def _pairs(table, weights, each, power):
    """The places of every two causes, two arrays, and the log of their weight together, each piece of evidence with its own power.

    What the settings explain is no second mishap: it comes with an unseen cause, as often as that is met, in its share of such misses.
    """
    able = np.flatnonzero([name != NOTHING and not cause.one_of for name, cause in table.causes.items()])
    first, second = (able[side] for side in np.triu_indices(len(able), 1))
    logs, (unseen, openly, shares, met) = each.to_numpy(float), weights
    weight = unseen[first] * unseen[second] + shares[first] * met[second] + met[first] * shares[second] + openly[first] * openly[second]
    either = (power * (np.logaddexp(logs[first] / power, logs[second] / power) - np.log(2))).sum(axis=1)
    return first, second, either + _log(weight) + float(_log(table.together))


def showing(table: CauseTable, signs: Collection[str], observed: Mapping[str, str]) -> set[str]:
    """The signs that still show when something has been observed: set of str."""
    def stands(sign):
        stated = table.signs[sign]
        unless, once = stated.get("but", {}).items(), stated.get("only", {}).items()
        return all(observed.get(q, usual) == usual for q, usual in unless) and all(observed.get(q) == said for q, said in once)

    return {sign for sign in signs if stands(sign)}


def _either_way(unseen, openly, logs, nothing):
    """Log weight of each cause, unseen or by the settings, and of the latter alone."""
    by_settings = _log(openly) + logs[nothing]
    return np.logaddexp(_log(unseen) + logs, by_settings), by_settings


def _log(values):
    return np.log(np.maximum(values, 1e-300))
