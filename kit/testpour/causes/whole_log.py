"""What a whole log says of its castings: the aims that nearly all of them miss, those that came out good, and which lie near."""

from collections.abc import Iterable
from functools import lru_cache

import numpy as np
import pandas as pd

from testpour.causes.complaint import Missed, aims_of, misses
from testpour.logbook.castings import Castings
from testpour.study import Aim

THROUGHOUT = 0.75  # share of a log's castings that miss an aim from which on the study itself is in question


def fails_throughout(castings: Castings, pour: str, found: Iterable[Missed]) -> Missed | None:
    """The aim missed by a casting that nearly the whole log misses: a `Missed`, or None.

    At least two other castings must have been read for it, and three in four of all that were miss it, this one included.
    What was read well before its age is not due yet, and says nothing of the study.

    Parameters
    ----------
    castings : Castings
    pour : str
        Its name.
    found : iterable of Missed
        The aims it misses.

    Returns
    -------
    Missed or None
    """
    due = (miss for miss in found if not miss.early)
    return next((miss for miss in due if pour in misses(castings, miss.aim) and missed_by_most(castings, miss.aim)), None)


def missed_by_most(castings: Castings, aim: Aim) -> bool:
    """Whether three in four castings that were read miss an aim; three or more must have been read.

    Parameters
    ----------
    castings : Castings
    aim : Aim

    Returns
    -------
    bool
    """
    bad = misses(castings, aim)
    return len(bad) > 2 and bool(np.mean(list(bad.values())) >= THROUGHOUT)


def good_pours(castings: Castings) -> list[str]:
    """Names of the castings that were read and miss no aim.

    Parameters
    ----------
    castings : Castings

    Returns
    -------
    list of str
    """
    return list(castings.pours.index[_good(castings)])


@lru_cache(maxsize=16)  # one casting after another is asked about
def _good(castings):
    """Whether each casting was read and misses no aim: array of bool, in the order of the pours."""
    bad = {pour for aim in aims_of(castings.study) for pour, missed in misses(castings, aim).items() if missed}
    return castings.pours.index.isin(set(castings.readings["pour"]) - bad)


def worse_than_others(castings: Castings, column: str, pour: str) -> bool:
    """Whether the castings that share a lot or a session with `pour`, two or more, mostly miss an aim while others mostly do not.

    Parameters
    ----------
    castings : Castings
    column : str
        Of its pours: a lot, or ``"session"``.
    pour : str
        Its name.

    Returns
    -------
    bool
    """
    named, good = castings.pours[column].fillna("").astype(str).to_numpy(object), _good(castings)
    own = named[castings.pours.index.get_loc(pour)]
    mine, others = named == own, (named != own) & (named != "")
    return bool(own and mine.sum() > 1 and others.sum() > 1 and good[mine].mean() <= 1 / 3 < good[others].mean())


def neighbours(castings: Castings, pour: str, count: int = 3) -> pd.DataFrame:
    """The good castings whose settings lie nearest to those of `pour`, each factor by its span.

    Parameters
    ----------
    castings : Castings
    pour : str
        Its name.
    count : int, optional
        Of neighbours at most.

    Returns
    -------
    DataFrame
        Rows of ``castings.pours``, nearest first; empty where no other casting came out good.
    """
    good, away = _good(castings).copy(), np.zeros(len(castings.pours))
    place = castings.pours.index.get_loc(pour)
    for factor in castings.study.factors:
        if factor.kind != "text":
            values = castings.pours[factor.name].to_numpy(float)
            values = np.where(np.isnan(values), factor.usual, values)
            away += ((values - values[place]) / _width(factor)) ** 2
    good[place] = False
    nearest = np.argsort(np.where(good, away, np.inf), kind="stable")
    return castings.pours.iloc[nearest[: min(count, good.sum())]]


def _width(factor):
    span = factor.span if len(set(factor.span)) == 2 else (factor.low, factor.high)
    width = span[1] - span[0]
    return width if np.isfinite(width) and width > 0 else 1.0
