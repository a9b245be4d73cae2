"""Causes weighed: how often each is met, what the settings, the readings and the answers say."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from testpour.causes.likelihood import Likelihoods
from testpour.causes.signs import Planned
from testpour.causes.table import NOTHING, CauseTable


@dataclass(frozen=True, eq=False)
class Weighed:
    """Every cause with its chance, and what made it.

    Parameters
    ----------
    table : DataFrame
        One row a cause, likeliest first: ``chance``; ``alone`` (of it without any other); ``prior``; ``signs`` (odds from the settings);
        ``readings`` and ``answers`` (log chance of each under the cause); ``planned`` (share of the miss that
        the settings explain by it); ``before`` (weight before readings and answers); ``openly`` (how much of
        its chance comes by way of the settings).
    each : DataFrame
        Log chance of each reading (columns) and each answer (columns ``question: ...``) under each cause.
    pairs : Series
        Chance that two causes together are behind it, by the two names, likeliest first. Each of the two is
        given half of it in `table`, so that the chances there add up to 1.
    """

    table: pd.DataFrame
    each: pd.DataFrame
    pairs: pd.Series

    @property
    def chances(self) -> pd.Series:
        """Chance of each cause, likeliest first."""
        return self.table["chance"]

    def ratios(self) -> pd.DataFrame:
        """How many times likelier each reading or answer is under a cause than under the others together.

        One row a cause, one column a piece of evidence.
        """
        before = self.table["before"].to_numpy()[:, None]
        logs = self.each.loc[self.table.index].to_numpy(float)
        chance = np.exp(logs - logs.max(axis=0, initial=-np.inf))
        others = (before * chance).sum(axis=0) - before * chance
        rest = before.sum() - before
        ratios = chance / np.maximum(others / np.maximum(rest, 1e-300), 1e-300)
        return pd.DataFrame(ratios.clip(1e-12, 1e12), self.table.index, self.each.columns)


def weigh(table: CauseTable, likely: Likelihoods, signs: set[str], planned: Planned, observed: dict[str, str]) -> Weighed:
    """Put together what is known about a casting.

    Parameters
    ----------
    table : CauseTable
    likely : Likelihoods
    signs : set of str
    planned : Planned
    observed : dict
        Question to answer.

    Returns
    -------
    Weighed

    Notes
    -----
    A cause is behind a casting in one of two ways. Unseen: its prior, times the odds of its signs, times the share
    of such misses that the settings leave open, times the chance of the readings with its shift, times the chance of the answers. Openly, by the settings: the
    chance of the readings with no shift at all, times the share of such misses that the setting explains.

    Two causes together weigh the product of their weights times ``together``; each reading and each answer
    then comes from one of the two, either as likely, before the power ``readings`` is taken. A wrong reading is no fault of the
    casting and is not paired.
    All weights are then raised to the power ``sharp``, so that chances are as high as the answers prove right.
    """
    names = list(table.causes)
    signs = showing(table, signs, observed)
    said = {f"question: {q}": np.log(pd.Series(table.chances(q, answer))) for q, answer in observed.items()}
    answers = sum(said.values(), pd.Series(0.0, names))
    prior = pd.Series({name: cause.prior for name, cause in table.causes.items()})
    odds = pd.Series({n: float(np.prod([c.odds.get(s, 1.0) for s in signs])) for n, c in table.causes.items()})
    shares = pd.Series({name: planned.of(name) for name in names}).clip(lower=0)
    unseen, openly = prior * odds * (1 - planned.whole), prior[NOTHING] * odds[NOTHING] * shares
    unseen[NOTHING] = 0.0
    before = unseen + openly
    whole, open_part = _either_way(unseen, openly, likely.whole)
    each = _each(unseen, openly, likely.each)
    each = each.assign(**said)
    power = np.where(each.columns.isin(list(said)), 1.0, table.readings)
    alone, pairs = _shared_out(table.sharp * (whole + answers), table.sharp * _pairs(table, before, each, power))
    chance = alone + sum(pairs.groupby(level=side).sum().reindex(names, fill_value=0.0) / 2 for side in (0, 1))
    found = pd.DataFrame(
        {"chance": chance, "alone": alone, "prior": prior, "signs": odds, "planned": shares, "before": before,
         "readings": whole - _log(before), "answers": answers, "openly": np.exp(open_part - whole)}
    )
    found.loc[NOTHING, "openly"] = 0.0
    order = found.sort_values("chance", ascending=False, kind="stable").index
    return Weighed(found.loc[order].rename_axis("cause"), each, pairs.sort_values(ascending=False, kind="stable"))


def _pairs(table, before, each, power):
    """Log weight of every two causes together, each piece of evidence with its own power: Series by the two names."""
    able = [name for name, cause in table.causes.items() if name != NOTHING and not cause.one_of]
    first, second = np.triu_indices(len(able), 1)
    logs, weight = each.loc[able].to_numpy(float), _log(before[able]).to_numpy()
    either = (power * (np.logaddexp(logs[first] / power, logs[second] / power) - np.log(2))).sum(axis=1)
    places = pd.MultiIndex.from_arrays([np.array(able)[first], np.array(able)[second]])
    return pd.Series(either + weight[first] + weight[second] + float(_log(table.together)), places)


def _shared_out(alone, pairs):
    """Log weights of the causes alone and of the pairs as chances that add up to 1 together."""
    whole = logsumexp(np.concatenate([alone, pairs]))
    return np.exp(alone - whole), np.exp(pairs - whole)


def showing(table: CauseTable, signs: set[str], observed: dict[str, str]) -> set[str]:
    """The signs that still show when something has been observed: set of str.

    Parameters
    ----------
    table : CauseTable
    signs : set of str
        Names of the signs that show by the log.
    observed : dict
        Question name to the answer given.

    Returns
    -------
    set of str
    """
    def stands(sign):
        return all(observed.get(q, usual) == usual for q, usual in table.signs[sign].get("but", {}).items())

    return {sign for sign in signs if stands(sign)}


def _each(unseen, openly, logs):
    """Log chance of each reading alone under each cause, come about either way."""
    weights = np.logaddexp(
        _log(unseen).to_numpy()[:, None] + logs, _log(openly).to_numpy()[:, None] + logs.loc[NOTHING].to_numpy()
    )
    return weights - _log(unseen + openly).to_numpy()[:, None]


def _either_way(unseen, openly, logs):
    """Log weight of each cause, unseen or by the settings, and of the latter alone."""
    by_settings = _log(openly) + logs[NOTHING]
    return np.logaddexp(_log(unseen) + logs, by_settings), by_settings


def _log(values):
    return np.log(np.maximum(values, 1e-300))
