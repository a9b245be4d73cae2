"""What is wrong with a casting by its own readings, and which castings of the log came out good."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.logbook.known import Known
from testpour.study import Aim

FIRST = ("tack", "hardness", "defects", "peak_temperature", "gel_time", "time_to_peak", "opacity")
TRADE = (Aim("tack", at_most=1.0), Aim("defects", at_most=1.0))  # where a study states no aim of its own


@dataclass(frozen=True)
class Missed:
    """An aim that a casting misses.

    Parameters
    ----------
    aim : Aim
    seen : str
        What was read, in words.
    age : float
        Hours after mixing at which it was read; NaN for a reading with one moment of its own.
    """

    aim: Aim
    seen: str
    age: float

    def words(self, study):
        """For example ``"tack grade 2 (tacky) at 24 h, where at most grade 1 (slightly tacky) is asked"``."""
        reading = study.reading(self.aim.reading)
        at = f" at {self.age:g} h" if np.isfinite(self.age) else ""
        asked = Aim(self.aim.reading, self.aim.at_least, self.aim.at_most).words(reading)
        return f"{reading.words} {self.seen}{at}, where {asked.removeprefix(reading.words + ' ')} is asked"


def aims_of(study):
    """The study's aims, and the trade's for tack and defects where it states none about them."""
    stated = {aim.reading for aim in study.aims}
    have = {reading.name for reading in study.readings}
    return (*study.aims, *(aim for aim in TRADE if aim.reading in have - stated))


def missed(castings, pour):
    """The aims a casting misses by its readings, the most telling first: tuple of `Missed`."""
    readings = castings.readings[castings.readings["pour"] == pour]
    found = []
    for aim in aims_of(castings.study):
        rows = at_age(readings[readings["reading"] == aim.reading], aim.age)
        if _missing(aim, rows):
            reading = castings.study.reading(aim.reading)
            found.append(Missed(aim, seen_words(reading, rows), float(rows["age"].iloc[0])))
    return tuple(sorted(found, key=lambda m: FIRST.index(m.aim.reading) if m.aim.reading in FIRST else len(FIRST)))


def at_age(rows, age):
    """The rows of each casting that were read nearest the age an aim speaks of."""
    if age is None or not len(rows):
        return rows
    away = (rows["age"] - age).abs().fillna(np.inf)
    nearest = rows.loc[away.groupby(rows["pour"]).idxmin()].set_index("pour")["age"]
    wanted = rows["pour"].map(nearest)
    return rows[(rows["age"] == wanted) | (rows["age"].isna() & wanted.isna())]


def seen_words(reading, rows):
    """Readings of one moment in words; several numbers as their range."""
    if len(rows) == 1:
        row = rows.iloc[0]
        words = Known(row["low"], row["high"], row["known"]).words(reading)
        return reading.show(row["low"]) if reading.grades and row["low"] == row["high"] else words
    return f"{rows['low'].min():g} to {reading.show(rows['high'].max())}"


def _missing(aim, rows):
    """Names of the castings whose average reading certainly misses the aim."""
    mean = rows.groupby("pour", sort=False)[["low", "high"]].mean()
    over = mean["low"] > (np.inf if aim.at_most is None else aim.at_most)
    under = mean["high"] < (-np.inf if aim.at_least is None else aim.at_least)
    return set(mean.index[over | under])


def good_pours(castings):
    """Names of the castings that were read and miss no aim."""
    readings, bad = castings.readings, set()
    for aim in aims_of(castings.study):
        bad |= _missing(aim, at_age(readings[readings["reading"] == aim.reading], aim.age))
    read = set(readings["pour"])
    return [pour for pour in castings.pours.index if pour in read and pour not in bad]


def neighbours(castings, pour, count=3):
    """The good castings whose settings lie nearest to those of `pour`, each factor by its span.

    Returns
    -------
    DataFrame
        Rows of ``castings.pours``, nearest first; empty where no other casting came out good.
    """
    good = castings.pours.loc[[name for name in good_pours(castings) if name != pour]]
    away = pd.Series(0.0, good.index)
    for factor in castings.study.factors:
        if factor.kind != "text":
            values = good[factor.name].astype(float).fillna(factor.usual)
            own = castings.pours.loc[[pour], factor.name].astype(float).fillna(factor.usual).iloc[0]
            away += ((values - own) / _width(factor)) ** 2
    return good.loc[away.sort_values(kind="stable").index[:count]]


def _width(factor):
    span = factor.span if len(set(factor.span)) == 2 else (factor.low, factor.high)
    width = span[1] - span[0]
    return width if np.isfinite(width) and width > 0 else 1.0
