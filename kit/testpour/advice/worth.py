"""What a batch of pours is worth: the rise it promises in the chance of the settings then recommended.

The value of information for correlated normal beliefs (Frazier, Powell and Dayanik 2009, INFORMS J. Computing
21(4), 599), with the chance of a good casting as the value, averaged over the rooms and thicknesses of the study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from testpour.advice.prospect import Side, State, prospect
from testpour.models.scales import to_latent
from testpour.models.terms import design
from testpour.study.study import Aim, Study

DRAWS = 400  # draws over which the information of a grade is averaged
LEAST_TOLD = 1e-4  # information of a grade below which a pour tells nothing
SCENARIOS = 64  # simulated outcomes; Sobol points need a power of two


@dataclass(frozen=True)
class Information:
    """What one pour at each of some settings would tell about one reading."""

    rows: np.ndarray  # (settings, states)
    noise: np.ndarray  # (settings,): variance of the reading about rows @ state; inf where it tells nothing


def information_of(state: State, table: pd.DataFrame, aim: Aim, today: bool | np.ndarray) -> Information:
    """What a pour at each row of a settings table would tell about the reading of an aim.

    `today` says for each whether it shares today's session effect or has its own.
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
    """Mean number of readings per pour at the age of the aim."""
    rows = fit.rows if aim.age is None or "age" not in fit.rows else fit.rows[fit.rows["age"] == aim.age]
    return max(len(rows) / max(rows["pour"].nunique(), 1), 1.0)


def _blur(fit):
    """Variance added by interval readings: a twelfth of the squared width on the latent scale."""
    rows = fit.rows
    if not len(rows):
        return 0.0
    room = rows.get("room_temperature")
    low, high = (to_latent(fit.reading, rows[end].to_numpy(float), room) for end in ("low", "high"))
    known = np.isfinite(low) & np.isfinite(high)
    width = high[known] - low[known]
    return float(np.mean(width**2)) / 12 if len(width) else 0.0


def _scenarios(count: int, columns: int, seed: int) -> np.ndarray:
    """Normal scores for simulated outcomes, evenly spread and centred: shape (count, columns); `count` should be a power of two."""
    points = qmc.Sobol(columns, rng=np.random.default_rng([seed, 11])).random(count)
    scores = ndtri(np.clip(points, 1e-9, 1 - 1e-9))
    return scores - scores.mean(axis=0)


class Sharpened:
    """One reading as pours are added: its covariance, and in each of `count` scenarios the gap at each setting.

    `information` is what a pour at each candidate would tell; `sides` have gap and variance at the settings that may be recommended.
    """

    def __init__(self, state: State, information: Information, sides: Sequence[tuple[Side, np.ndarray, np.ndarray]], count: int) -> None:
        self.information, self.covariance = information, state.covariance.copy()
        self.sides = [side for side, _, _ in sides]
        self.gaps = [np.tile(gap, (count, 1)) for _, gap, _ in sides]
        self.variances = [variance.copy() for _, _, variance in sides]

    def _pulls(self, places):
        """How far one standard deviation of surprise at each candidate moves the gaps: one (settings, candidates) array per side."""
        rows = self.information.rows[places]
        moved = self.covariance @ rows.T
        unit = np.sqrt(np.einsum("ij,ji->i", rows, moved) + self.information.noise[places])
        return moved / unit, [side.rows @ (moved / unit) for side in self.sides]

    def now(self) -> np.ndarray:
        """Chance of the aim in each scenario with the batch so far: (scenarios, settings)."""
        left = [np.sqrt(v + side.scatter**2) for side, v in zip(self.sides, self.variances, strict=True)]
        return self._inside([gap / spread for gap, spread in zip(self.gaps, left, strict=True)])

    def met(self, places: np.ndarray, scores: np.ndarray) -> np.ndarray:
        """Chance of the aim in each scenario once a pour is added: (candidates, scenarios, settings).

        `scores` say what the pour reads, one normal score per scenario.
        """
        ratios = []
        for side, gap, variance, pull in zip(self.sides, self.gaps, self.variances, self._pulls(places)[1], strict=True):
            left = np.sqrt(np.maximum(variance[:, None] - pull**2, 0.0) + side.scatter**2)
            ratios.append((gap + scores[:, None] * pull.T[:, None, :]) / left.T[:, None, :])
        return self._inside(ratios)

    def doubt(self, places: np.ndarray | list[int] | None = None) -> Any:
        """Variance of the aim's chance, summed over settings; with `places`, the part that a pour at each would remove."""
        pulls = self._pulls(places)[1] if places is not None else [None] * len(self.sides)
        total = 0.0
        for side, gap, variance, pull in zip(self.sides, self.gaps, self.variances, pulls, strict=True):
            variances = variance + side.scatter**2
            slope = np.exp(-(gap.mean(axis=0) ** 2) / variances) / (2 * np.pi * variances)
            total = total + slope @ (variance if pull is None else pull**2)
        return total

    def _inside(self, ratios):
        below, above = np.ones((1, 1)), 0.0
        for side, ratio in zip(self.sides, ratios, strict=True):
            met = ndtr(ratio)
            below, above = (met, above) if side.upper else (below, 1.0 - met)
        return np.maximum(below - above, 0.0)

    def add(self, place: int, scores: np.ndarray) -> np.ndarray:
        """Add the pour at a candidate; returns how much it settles each unknown that matters.

        `scores` say what it reads, one normal score per scenario.
        """
        moved, pulls = self._pulls(np.array([place]))
        settled = moved[:, 0] ** 2 * sum(((side.rows**2).mean(axis=0) for side in self.sides), 0.0)
        self.covariance = self.covariance - moved @ moved.T
        for i, pull in enumerate(pulls):
            self.gaps[i] = self.gaps[i] + scores[:, None] * pull[:, 0]
            self.variances[i] = np.maximum(self.variances[i] - pull[:, 0] ** 2, 0.0)
        return settled


class Worth:
    """The worth of a batch of pours among `pourable` settings, built one pour at a time.

    `contexts` hold, for each room and thickness considered, the settings that might be recommended there. At most `pours`
    will be added; the readings of `pending` pours, made but not yet read, are simulated first.

    Attributes
    ----------
    before : float
        Best mean chance, averaged over the contexts, before any pour is added.
    doubt : float
        Variance of the chance of each aim at these settings, summed, before any pour is added.
    added : list of int
        Indices of the candidates added.
    lessons : list of (int, ndarray)
        For each, the index of the aim it tells most about, and how much it settles each unknown.
    """

    def __init__(
        self, study: Study, states: dict[str, State], pourable: pd.DataFrame, contexts: list[pd.DataFrame],
        pours: int, pending: pd.DataFrame | None = None, seed: int = 0
    ) -> None:
        first = 0 if pending is None else len(pending)
        table = pourable if not first else pd.concat([pourable, pending], ignore_index=True)
        today = np.arange(len(table)) < len(pourable)
        at = prospect(states, study, pd.concat(contexts, ignore_index=True))
        self.ends = np.cumsum([len(context) for context in contexts])[:-1]
        self.size, self.readings = at.size, []
        for aim, sides in zip(study.aims, at.aims, strict=True):
            information = information_of(states[aim.reading], table, aim, today)
            parts = [(side, *at.gap(side)) for side in sides]
            self.readings.append(Sharpened(states[aim.reading], information, parts, SCENARIOS))
        self.scores = self._scores(study, pours + first, seed)
        self.before = 0.0
        self.added: list[int] = []
        self.lessons: list[tuple[int, np.ndarray]] = []
        for place in np.flatnonzero(~today):
            self.add(int(place))
        self.before = float(self.value(self._now()[None])[0])
        self.doubt = float(sum(reading.doubt() for reading in self.readings))
        self.added, self.lessons = [], []

    def _scores(self, study, pours, seed):
        """One normal score per scenario, pour and aim; aims of the same reading share theirs."""
        names = list(dict.fromkeys(aim.reading for aim in study.aims))
        scores = _scenarios(SCENARIOS, pours * len(names), seed).reshape(SCENARIOS, pours, len(names))
        return list(scores[:, :, [names.index(aim.reading) for aim in study.aims]].transpose(1, 2, 0))

    def _now(self):
        """Chance in each scenario with the batch so far: (scenarios, settings)."""
        return reduce(np.multiply, (reading.now() for reading in self.readings))

    def value(self, chance: Any) -> np.ndarray:
        """Best chance in each context, averaged over contexts and scenarios, for each candidate."""
        parts = np.split(np.broadcast_to(chance, (len(chance), SCENARIOS, self.size)), self.ends, axis=2)
        return np.mean([part.max(axis=2).mean(axis=1) for part in parts], axis=0)

    def gains(self, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """With each candidate added: rise in the best mean chance, and share of doubt removed."""
        pairs = zip(self.readings, self.scores[0], strict=True)
        chance = np.prod([reading.met(places, scores) for reading, scores in pairs], axis=0)
        doubt = sum(reading.doubt(places) for reading in self.readings) / max(self.doubt, 1e-12)
        return self.value(chance) - self.before, doubt

    def add(self, place: int) -> None:
        """Add a candidate to the batch, and note what it tells most about."""
        most = int(np.argmax([float(np.sum(reading.doubt([place]))) for reading in self.readings]))
        scores = self.scores.pop(0)
        settled = [reading.add(place, score) for reading, score in zip(self.readings, scores, strict=True)]
        self.added.append(int(place))
        self.lessons.append((most, settled[most]))
