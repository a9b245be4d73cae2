"""What the fits expect at chosen settings, as normal distributions that a simulated pour can sharpen.

Each reading's draws are summarised by their mean and covariance. A simulated reading then narrows them in
closed form, and the chance of a good casting is a product of normal probabilities, because the readings
are fitted separately. No draws are reweighted, so none are lost when a pour would tell much.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.models.chance import check_aims
from testpour.models.fits import Fits
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import met_from_to, to_latent
from testpour.models.terms import design
from testpour.study.study import Aim, Study

TODAY = "session"


@dataclass(frozen=True)
class Side:
    """One side of an aim at each of some settings: met if gap = rows @ state + offset is above 0."""

    reading: str
    rows: np.ndarray  # (settings, states)
    offset: np.ndarray  # (settings,)
    scatter: float  # sd of one new casting in a new session, on the latent scale
    upper: bool


@dataclass(frozen=True)
class State:
    """Normal summary of everything unknown about one reading."""

    fit: ReadingFit
    centre: np.ndarray  # (states,): coefficients, then cut-points of a graded reading, then today's session effect
    covariance: np.ndarray  # (states, states)

    @property
    def terms(self) -> int:
        """Number of coefficients."""
        return self.fit.posterior.coefficients.shape[1]


def _state_of(fit: ReadingFit) -> State:
    """Mean and covariance of a fit's draws, extended by the effect of today's session."""
    posterior = fit.posterior
    draws = posterior.coefficients
    if posterior.cuts is not None:
        draws = np.hstack([draws, posterior.cuts])
    size = draws.shape[1]
    covariance = np.zeros((size + 1, size + 1))
    covariance[:size, :size] = np.cov(draws.T)
    covariance[size, size] = np.mean(posterior.group_sds.get(TODAY, fit.believed.scatter[TODAY]) ** 2)
    return State(fit, np.append(draws.mean(axis=0), 0.0), covariance)


def latent_moments(fit: ReadingFit, table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance over the draws of a fit's latent mean at each row of a settings table: two arrays."""
    rows, draws = design(fit.believed.terms, table), fit.posterior.coefficients
    covariance = np.atleast_2d(np.cov(draws.T))
    return rows @ draws.mean(axis=0), np.einsum("ij,ij->i", rows @ covariance, rows)


def states_of(fits: Fits) -> dict[str, State]:
    """One `State` for each reading that has an aim, by name, from the calibrated models; raises NoAims if the study has none."""
    check_aims(fits.study)
    return {name: _state_of(fits.calibrated[name]) for name in dict.fromkeys(aim.reading for aim in fits.study.aims)}


def _sides_of(states: dict[str, State], size: int, columns: dict[str, np.ndarray], aim: Aim) -> Iterator[Side]:
    """The one or two sides of an aim at each of `size` rows of a settings table, given by its columns."""
    state = states[aim.reading]
    reading = state.fit.reading
    at = columns | {"age": np.full(size, aim.age)} if aim.age is not None else columns
    base = np.zeros((size, len(state.centre)))
    base[:, : state.terms] = design(state.fit.believed.terms, at)
    scatter = float(np.mean(state.fit.scatter()))
    for bound, upper in ((aim.at_most, True), (aim.at_least, False)):
        if bound is None:
            continue
        sign = 1.0 if upper else -1.0
        rows, offset = -sign * base, np.zeros(size)
        if reading.grades:
            cut = int(np.floor(bound)) if upper else int(np.ceil(bound)) - 1
            if not 0 <= cut < len(reading.grades) - 1:
                continue
            rows[:, state.terms + cut] = sign
        else:
            ends = to_latent(reading, np.full(size, met_from_to(reading, aim.at_least, aim.at_most)[upper]), columns.get("room_temperature"))
            offset = sign * np.asarray(ends, float)
        yield Side(aim.reading, rows, offset, scatter, upper)


@dataclass(frozen=True)
class Prospect:
    """Aims and states at each row of a settings table."""

    states: dict[str, State]  # by name of the reading
    aims: tuple[tuple[Side, ...], ...]  # the sides of each aim, empty if every casting meets it
    size: int  # rows of the table

    def by_aim(self) -> np.ndarray:
        """Chance of meeting each aim alone: shape (aims, settings)."""
        return np.array([self.met(sides) for sides in self.aims])

    def chance(self) -> np.ndarray:
        """Chance of a good casting at each setting: shape (settings,)."""
        return np.prod(self.by_aim(), axis=0)

    def met(self, sides: Sequence[Side], drawn: dict[str, np.ndarray] | None = None) -> np.ndarray:
        """Chance of one aim, given by its sides, at each setting: shape (settings,).

        With `drawn` states (name to draws) one row per draw.
        """
        below = above = np.ones(self.size)
        for side in sides:
            if drawn is None:
                gap, variance = self.gap(side)
            else:
                gap, variance = drawn[side.reading] @ side.rows.T + side.offset, np.zeros(self.size)
            met = ndtr(gap / np.sqrt(variance + side.scatter**2))
            below, above = (met, above) if side.upper else (below, met)
        least, most = np.minimum(below, above), np.maximum(below, above)
        return np.maximum(least - (1.0 - most), 0.0)  # 1 - (1 - least) would make every chance below 1e-16 zero

    def gap(self, side: Side) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of a side's gap at each setting, on the latent scale."""
        state = self.states[side.reading]
        variance = np.einsum("ij,ij->i", side.rows @ state.covariance, side.rows)
        return side.rows @ state.centre + side.offset, variance


def prospect(states: dict[str, State], study: Study, table: pd.DataFrame) -> Prospect:
    """The `Prospect` of a study's aims at each row of a settings table."""
    size, columns = len(table), {str(name): table[name].to_numpy(float) for name in table}
    return Prospect(states, tuple(tuple(_sides_of(states, size, columns, aim)) for aim in study.aims), size)
