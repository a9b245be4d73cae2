"""From one setting to another: the change of the average casting, in the reading's own terms."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.common.units import shown_unit
from testpour.common.wording import listed, rounded
from testpour.likelihood.observations import grade_edges
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import to_reading
from testpour.study.columns import Reading
from testpour.study.study import Study

NOTHING = 0.5  # castings in 100, or per cent: below this it rounds to nothing


@dataclass(frozen=True)
class Change:
    """The change of a reading between two settings, for each of m draws."""

    values: np.ndarray  # (m,): ratios, or differences of `averages`
    ratio: bool  # whether `values` are ratios: for a reading that spreads by ratios
    averages: np.ndarray  # (m, 2): the average casting at either setting, in the reading's unit; for grades the chances or average grades
    good: tuple[int, int] | None = None  # the first and the last grade that meet the aim, where there are grades and an aim


def change(fit: ReadingFit, table: pd.DataFrame) -> Change:
    """The change from the first row of a complete settings table to the second."""
    latent = fit.mean(table)
    both = averages(fit, table, latent)
    if fit.posterior.cuts is None and fit.reading.scale == "log":
        return Change(np.exp(latent[:, 1] - latent[:, 0]), True, both)
    return Change(both[:, 1] - both[:, 0], False, both, good_grades(fit.study, fit.reading))


def in_points(values: Any, ratio: bool, good: tuple[int, int] | None) -> Any:
    """Changes as they are shown: per cent of a ratio, castings in 100 for the chance of `good` grades, else as they are."""
    if ratio:
        return 100 * (values - 1)
    return values if good is None else 100 * values


def size_words(size: float, castings: bool) -> str:
    """A size as digits: whole `castings` in 100 but never 0; else two digits below ten."""
    if castings:
        return "under 1" if size < NOTHING else f"{size:.0f}"
    return rounded(size)


def averages(fit: ReadingFit, table: pd.DataFrame, latent: np.ndarray) -> np.ndarray:
    """The average casting at each of n settings from its `latent` mean there, both of shape (m, n).

    In the reading's unit; for grades the chance of meeting the aim, or average grades if there is none.
    """
    good, cuts = good_grades(fit.study, fit.reading), fit.posterior.cuts
    if good is None or cuts is None:
        return average_readings(fit, table, latent)
    edges = grade_edges(cuts)
    return ndtr(edges[:, [good[1] + 1]] - latent) - ndtr(edges[:, [good[0]]] - latent)


def average_readings(fit: ReadingFit, table: pd.DataFrame, latent: np.ndarray) -> np.ndarray:
    """The same in the reading's unit, ignoring any aim: for grades the average grade."""
    cuts = fit.posterior.cuts
    if cuts is None:
        return to_reading(fit.reading, latent, table.get("room_temperature"))
    return ndtr(latent[:, :, None] - cuts[:, None, :]).sum(axis=2)


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
