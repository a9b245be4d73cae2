"""From one setting to another: the change of the average casting, in the reading's own terms."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from testpour.models.scales import grade_edges, to_reading
from testpour.units import shown_unit
from testpour.wording import listed

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading
    from testpour.models.reading_fit import ReadingFit
    from testpour.study import Study


@dataclass(frozen=True)
class Change:
    """The change of a reading between two settings, for each of m draws."""

    values: np.ndarray  # (m,): ratios, or differences of `each`
    ratio: bool  # whether `values` are ratios: for a reading that spreads by ratios
    each: np.ndarray  # (m, 2): the two averages in the reading's unit; for grades the chances or average grades
    good: tuple[int, int] | None = None  # the first and the last grade that meet the aim, where there are grades and an aim


def change(fit: ReadingFit, table: pd.DataFrame) -> Change:
    """The change from the first row of a complete settings table to the second."""
    latent = fit.mean(table)
    each = averages(fit, table, latent)
    if fit.posterior.cuts is None and fit.reading.scale == "log":
        return Change(np.exp(latent[:, 1] - latent[:, 0]), True, each)
    return Change(each[:, 1] - each[:, 0], False, each, good_grades(fit.study, fit.reading))


def averages(fit: ReadingFit, table: pd.DataFrame, latent: np.ndarray) -> np.ndarray:
    """The average casting at each of n settings, worked out of its `latent` mean there: both of shape (m, n).

    In the reading's unit; for grades the chances of one that meets the aim, or average grades.
    """
    reading, cuts = fit.reading, fit.posterior.cuts
    if cuts is None:
        return to_reading(reading, latent, table.get("room_temperature"))
    good = good_grades(fit.study, reading)
    if good is None:
        return ndtr(latent[:, :, None] - cuts[:, None, :]).sum(axis=2)
    edges = grade_edges(cuts)
    return ndtr(edges[:, [good[1] + 1]] - latent) - ndtr(edges[:, [good[0]]] - latent)


def change_unit(reading: Reading, good: tuple[int, int] | None = None) -> str:
    """The unit of a change in a sentence: %, "in 100" for the chance of `good` grades, grades without these, or the reading's own.

    A difference between two readings in % is in percentage points: 1 % less of a shrinkage of 3 % might be 2.97 %.
    """
    if reading.grades:
        return "grades" if good is None else "in 100"
    return "%" if reading.scale == "log" else "percentage points" if reading.unit == "%" else shown_unit(reading.unit)


def good_grades(study: Study, reading: Reading) -> tuple[int, int] | None:
    """The first and the last grade of a reading that meet the study's aim; None without grades or an aim."""
    aims = [aim for aim in study.aims if aim.reading == reading.name]
    if not reading.grades or not aims:
        return None
    least = max(aim.at_least or 0 for aim in aims)
    most = min(len(reading.grades) - 1 if aim.at_most is None else aim.at_most for aim in aims)
    return math.ceil(least), math.floor(most)


def good_words(reading: Reading, good: tuple[int, int]) -> str:
    """A reading and the grades of it that meet an aim: ``"tack 'tacky' or better"``, ``"opacity 'tinted' or 'milky'"``."""
    named = [repr(name) for name in reading.grades[good[0] : good[1] + 1]]
    best, worst = (good[0] == 0, named[-1]) if reading.better == "lower" else (good[1] == len(reading.grades) - 1, named[0])
    if reading.better != "window" and best:
        return f"{reading.words} {worst} or better"
    return f"{reading.words} {listed(named, 'or')}"
