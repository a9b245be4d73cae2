"""Which settings go beyond what was poured: there a model is drawn on from the last pour, and says so."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from testpour.models.terms import one_post_cure
from testpour.units import show

if TYPE_CHECKING:
    import pandas as pd

    from testpour.models.reading_fit import ReadingFit

NOTHING = "nothing poured yet"
ROUNDING = 1.01  # an age within a hundredth of one read counts as read


def beyond(fit: ReadingFit, table: pd.DataFrame) -> list[str]:
    """What of each setting lies outside the pours a fit rests on, for example ``"catalyst 0.8 % (poured 1 to 2.5 %)"``.

    One text a row of settings, with ``age`` in hours; empty where the row lies inside. Half the finest step worth setting is
    not called outside.
    """
    if not len(fit.rows):
        return [NOTHING] * len(table)
    used = {name for term in fit.believed.terms for name in term.factors}
    words: list[list[str]] = [[] for _ in range(len(table))]
    poured, asked = one_post_cure(fit.rows), one_post_cure(table)
    for factor in fit.study.factors:
        if factor.name in used and factor.name in table:
            _note(words, factor, poured[factor.name], asked[factor.name])
    if "age" in used:
        read = fit.rows["age"]
        low, high = read.min() / ROUNDING, read.max() * ROUNDING
        span = f"{read.min():g} to {read.max():g} h" if read.min() < read.max() else f"{read.min():g} h"
        for place in np.flatnonzero((table["age"] < low) | (table["age"] > high)):
            words[place].append(f"age {show(table['age'].iloc[place], 'h')} (read at {span})")
    return ["; ".join(each) for each in words]


def _note(words, factor, poured, asked):
    """Add what of one factor lies outside the values poured."""
    low, high, margin = poured.min(), poured.max(), factor.step / 2 + 1e-9
    asked = asked.to_numpy(float)
    span = factor.between(low, high)
    for place in np.flatnonzero((asked < low - margin) | (asked > high + margin)):
        if factor.kind == "yes/no":
            words[place].append(f"{'with' if asked[place] else 'without'} {factor.words} (never poured)")
        else:
            words[place].append(f"{factor.words} {factor.show(asked[place])} (poured {span})")
