"""What single change of a setting would most likely have saved a casting."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.causes.complaint import Missed
from testpour.causes.shapley import settings_of
from testpour.common.wording import in_days, in_hundred, said_in_markdown
from testpour.models.fits import Fits
from testpour.models.settings import other_half, post_cure_words, repeated
from testpour.study.cautions import check_settings, clash

LEVELS = 25  # values tried of each setting
AS_GOOD = 0.03  # chance by which a smaller change may be worse than the best
FIXED = ("thickness",)  # the mould decides it
THIRD = 2 / 3  # share of the catalyst, and 1 %: no less is advised where it ran too hot
LEAST = 1.0
WORTH = 0.05  # gain in chance below which no change is named


@dataclass(frozen=True, eq=False)
class Saving:
    """The changes that would have helped.

    Parameters
    ----------
    aim : str
        The aim missed, in words.
    before : float
        Chance of meeting it at the casting's settings.
    table : DataFrame
        One row per setting that could have been changed alone, best first: ``from``, ``to`` (words), ``before``,
        ``after`` (chance of meeting the aim), ``low``, ``high`` (90 % interval of ``after``), ``says``.
    """

    aim: str
    before: float
    table: pd.DataFrame

    def sentence(self) -> str:
        """The best change, or that none is certain yet, or that no setting would have saved it."""
        if not len(self.table) or self.table["after"].iloc[0] - self.before < WORTH:
            return (
                f"No change of a single setting would have helped much: at its settings {in_hundred(self.before)} "
                f"castings in 100 meet {self.aim}."
            )
        row = self.table.iloc[0]
        said = "Most likely to have saved it"
        if row["low"] - row["before"] < WORTH:  # its interval holds that it would have done nothing
            said = "Cannot tell yet what would have saved it. The likeliest change"
        return (
            f"{said}: {row['says']}; chance of {self.aim} from {in_hundred(row['before'])} to "
            f"{in_hundred(row['after'])} in 100 (90 % interval {in_hundred(row['low'])} to {in_hundred(row['high'])})."
        )

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def saving(fits: Fits, pour: str, missed: Missed, without: Iterable[str] = (), hot: bool = False) -> Saving:
    """Which single change would most likely have met a missed aim.

    Each setting is moved alone, but for heat and hours of a post-cure where there was none, no further than the study's span and
    what was poured, past no refusal; of the values within 3 points of the best, the one nearest to what was poured. Those in
    `without` are not named, since the cause found forbids them; where it ran too `hot` it might have been poured in layers, and
    no more than a third of the catalyst left out.
    """
    fit, aim = fits[missed.aim.reading], missed.aim
    here = settings_of(fits, fit.reading, pour)
    before = float(fit.chances(here, aim.at_least, aim.at_most).mean())
    rows = {}
    for factor in fits.study.factors:
        if factor.name in without or factor.name in FIXED and not hot:
            continue
        values = _values(fits, factor, here)
        if hot and factor.name in (*FIXED, "catalyst"):
            values = _cooler(factor.name, values, float(here[factor.name].iloc[0]))
        if len(values):
            beside = other_half(factor.name, here, lambda other: _most(fits, fits.study.factor(other), here))
            chances = fit.chances(repeated(here, **{factor.name: values}).assign(**beside), aim.at_least, aim.at_most)
            near = np.flatnonzero(chances.mean(axis=0) >= chances.mean(axis=0).max() - AS_GOOD)
            now = float(here[factor.name].iloc[0])
            best = near[np.abs(values[near] - now).argmin()]
            low, high = np.quantile(chances[:, best], [0.05, 0.95])
            rows[factor.words] = {
                "from": factor.show(now), "to": factor.show(float(values[best])), "before": before,
                "after": float(chances[:, best].mean()), "low": low, "high": high,
                "says": post_cure_words(fits.study, {factor.name: float(values[best]), **beside}) if beside
                else _says(factor, now, float(values[best])),
            }
    columns = ["from", "to", "before", "after", "low", "high", "says"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("setting")
    asked = in_days(aim.words(fit.reading))
    return Saving(asked, before, table.sort_values("after", ascending=False, kind="stable"))


def _values(fits, factor, here):
    """Values of a setting that could have been chosen instead."""
    if factor.kind == "text" or factor.name == "humidity" or len(set(factor.span)) != 2:
        return np.zeros(0)
    poured = fits.castings.pours[factor.name].astype(float)
    low, high = min(factor.span[0], poured.min()), max(factor.span[1], poured.max())
    now = float(here[factor.name].iloc[0])
    values = np.unique(factor.rounded(np.linspace(low, high, 2 if factor.kind == "yes/no" else LEVELS)))
    values = values[np.abs(values - now) > 1e-9]
    study, others = fits.study, here.iloc[0].to_dict()
    return np.array([v for v in values if not check_settings(study, {factor.name: float(v)}).refusals and not clash(study, {**others, factor.name: v})])


def _most(fits, factor, here):
    """The most of a setting that could have been chosen instead; None where none could."""
    values = _values(fits, factor, here)
    return float(values.max()) if len(values) else None


def _cooler(name, values, now):
    """The values allowed as a remedy for a pour that ran too hot: thinner, as in layers, and not too little catalyst."""
    if name in FIXED:
        return values[values < now]
    return values[values >= min(max(THIRD * now, LEAST), now)]


def _says(factor, now, then):
    """The change in words."""
    if factor.name in FIXED:
        return f"poured in layers of {factor.show(then)} instead of {factor.show(now)} at once"
    if factor.kind == "yes/no":
        return f"{'a' if then else 'no'} {factor.words}"
    return f"{factor.words} {factor.show(then)} instead of {factor.show(now)}"
