"""What an imagined pour would tell about each reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from testpour.advice.prospect import State
from testpour.models.scales import to_latent
from testpour.models.terms import design

if TYPE_CHECKING:
    import pandas as pd

    from testpour.study import Aim

DRAWS = 400  # draws over which the information of a grade is averaged
LEAST_TOLD = 1e-4  # information of a grade below which a pour tells nothing


@dataclass(frozen=True)
class Information:
    """What one pour at each of some settings would tell about one reading."""

    rows: np.ndarray  # (settings, states)
    noise: np.ndarray  # (settings,): variance of the reading about rows @ state; inf where it tells nothing


def information_of(state: State, table: pd.DataFrame, aim: Aim, today: bool | np.ndarray) -> Information:
    """What a pour at each row of a settings table would tell about the reading of an aim.

    `today` says of each whether it shares today's session effect, or has one of its own.
    """
    fit, posterior = state.fit, state.fit.posterior
    at = table.assign(age=aim.age) if aim.age is not None else table
    rows = np.zeros((len(table), len(state.centre)))
    rows[:, : state.terms] = design(fit.believed.terms, at)
    rows[:, -1] = today
    pour = np.mean(posterior.group_sds.get("pour", np.zeros(1)) ** 2)
    own = pour + np.where(today, 0.0, state.covariance[-1, -1])
    cuts = posterior.cuts
    if cuts is None:  # not a graded reading
        one = np.mean(posterior.sd**2) / _repeats(fit, aim) + _blur(fit)
        return Information(rows, np.full(len(table), one) + own)
    cut = _nearest_cut(fit, aim)
    rows[:, state.terms + cut] = -1.0
    some = slice(None, None, max(len(posterior) // DRAWS, 1))
    mean = posterior.coefficients[some] @ rows[:, : state.terms].T
    informed = _grade_information(mean, cuts[some]).mean(axis=0)
    with np.errstate(divide="ignore"):
        return Information(rows, np.where(informed > LEAST_TOLD, 1 / informed, np.inf) + own)


def _grade_information(mean: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    """Fisher information that one grade carries about the mean (draws, settings) of a probit scale with `cuts` (draws, K - 1).

    At most 1, what the hidden value itself would carry (McCullagh 1980, for ordered grades).
    """
    distance = cuts[:, None, :] - mean[:, :, None]
    below, height = ndtr(distance), np.exp(-0.5 * distance**2) / np.sqrt(2 * np.pi)
    edge = np.zeros((*mean.shape, 1))
    share = np.diff(np.concatenate([edge, below, edge + 1], axis=2), axis=2)
    slope = np.diff(np.concatenate([edge, height, edge], axis=2), axis=2)
    return (slope**2 / np.maximum(share, 1e-9)).sum(axis=2)


def _nearest_cut(fit, aim):
    last = len(fit.reading.grades) - 2
    cut = int(np.floor(aim.at_most)) if aim.at_most is not None else int(np.ceil(aim.at_least)) - 1
    return min(max(cut, 0), last)


def _repeats(fit, aim):
    """How often the log reads one pour at the age of the aim."""
    rows = fit.rows if aim.age is None or "age" not in fit.rows else fit.rows[fit.rows["age"] == aim.age]
    return max(len(rows) / max(rows["pour"].nunique(), 1), 1.0)


def _blur(fit):
    """Variance that checks some minutes apart add: a twelfth of the squared width on the latent scale."""
    rows = fit.rows
    if not len(rows):
        return 0.0
    room = rows.get("room_temperature")
    low, high = (to_latent(fit.reading, rows[end].to_numpy(float), room) for end in ("low", "high"))
    known = np.isfinite(low) & np.isfinite(high)
    width = high[known] - low[known]
    return float(np.mean(width**2)) / 12 if len(width) else 0.0
