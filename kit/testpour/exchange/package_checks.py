"""Whether the tables of a package can be a log of their study: names that meet, ends in order, values believable."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from testpour.study import Study

SHOWN = 5  # rows named in a problem


def check_castings(
    study: Study, pours: pd.DataFrame, readings: pd.DataFrame, units: Sequence[str], problems: list[str]
) -> None:
    """Add to `problems` what in the tables cannot be.

    Parameters
    ----------
    study : Study
    pours, readings : DataFrame
        As `Castings` holds them, but for the index.
    units : list of str
        The unit each reading says it is in.
    problems : list of str
    """
    def refuse(table, wrong, words):
        rows = np.flatnonzero(np.asarray(wrong, dtype=bool)) + 2  # the header is row 1
        if len(rows):
            more = f" and {len(rows) - SHOWN} more" if len(rows) > SHOWN else ""
            problems.append(f"{table}.csv row {', '.join(map(str, rows[:SHOWN]))}{more}: {words}")

    refuse("pours", pours["pour"].duplicated(), "a pour of that name stands above. Each has a name of its own.")
    refuse("readings", readings["entry"].duplicated(), "an entry of that number stands above.")
    refuse("readings", ~readings["pour"].isin(pours["pour"]), "no such pour in pours.csv.")
    refuse("readings", ~readings["reading"].isin([r.name for r in study.readings]), "no such reading in the study.")
    refuse("readings", readings["known"] != _known(readings), "low, high and known do not go together.")
    for factor in study.factors:
        if factor.kind == "number":
            wrong = ~pours[factor.name].isna() & ~pours[factor.name].between(factor.low, factor.high)
            refuse("pours", wrong, f"{factor.words} is outside {factor.range_words}.")
    for reading in study.readings:
        mine = readings["reading"] == reading.name
        refuse("readings", mine & (pd.Series(units, dtype=object).fillna("") != reading.unit),
               f"{reading.words} is in another unit than {reading.unit or 'plain numbers'}.")
        refuse("readings", mine & _beyond(readings, reading), f"{reading.words} is outside {reading.range_words}.")
        ages = readings["age"]
        wrong = ~(ages > 0) if reading.ages else ages.notna()
        refuse("readings", mine & wrong, f"{reading.words} {'needs an age above 0 h' if reading.ages else 'has no age'}.")


def _known(readings):
    """How each reading is known, from its ends."""
    low, high = readings["low"], readings["high"]
    ways = [np.isinf(low) & np.isinf(high), low > high, low == high, high == np.inf, low == -np.inf]
    return np.select(ways, ["nothing", "nothing", "exact", "not yet", "already"], "between")


def _beyond(readings, reading):
    """Ends that cannot be believed, or grades that are none."""
    wrong = pd.Series(False, index=readings.index)
    for end in (readings["low"], readings["high"]):
        closed = np.isfinite(end)
        wrong |= closed & ~end.between(reading.low, reading.high)
        if reading.grades:
            wrong |= closed & (end % 1 != 0)
    return wrong
