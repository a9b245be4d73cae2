"""A practice resin given by formulas: fast, and behaving as the trade expects or not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from testpour.models.terms import post_cure, warmth
from testpour.practice.hidden import draw_hidden, either_sign, hidden, normal, ratio, uniform

PEAK_SCATTER = 1.5  # degC between alike castings


@dataclass(frozen=True)
class Truth:
    """The hidden truth: the resin's own parameters, on the scales a bench would measure."""

    gel: float = hidden(ratio(26, 0.25))  # min at 1.5 %, 20 °C
    exponent: float = hidden(uniform(0.5, 1.0), awkward=uniform(0.2, 0.35))
    activation: float = hidden(uniform(42, 62), awkward=uniform(15, 30))  # kJ/mol
    thickness_gel: float = hidden(normal(-0.05, 0.03))
    pigment_gel: float = hidden(normal(0.0, 0.03), awkward=either_sign(0.08, 0.16))
    peak_level: float = hidden(normal(-1.3, 0.5))  # logit of the share of the full rise at 10 mm, 1.5 %, 20 °C
    peak_thickness: float = hidden(uniform(1.8, 2.8))
    cure_best: float = hidden(uniform(1.4, 2.2))  # % catalyst at which the casting ends hardest
    cure_width: float = hidden(uniform(0.6, 0.9))
    cold: float = hidden(uniform(0.02, 0.1))  # share of hardness lost in a room 10 °C colder
    thin: float = hidden(uniform(0.01, 0.06))
    hardest: float = hidden(uniform(79, 85))  # Shore D at one day
    ageing: float = hidden(uniform(1.0, 3.0))
    inhibition: float = hidden(uniform(0.9, 2.2), awkward=uniform(-0.3, -0.8))  # steps of tack an open face adds
    pigment_softens: float = hidden(uniform(0.8, 2.0))
    pigment_bend: float = hidden(uniform(2.0, 4.0), awkward=uniform(1.0, 2.5))  # % above which pigment softens
    oven: float = hidden(uniform(0.8, 2.0))
    session: float = hidden(uniform(0.05, 0.15))  # scatter between sessions, as a share of gel time
    reading: float = hidden(uniform(0.05, 0.1))
    shore: float = hidden(uniform(1.0, 2.0))  # scatter of one hardness reading, Shore D
    step: float = hidden(uniform(0.3, 0.5))  # scatter of tack, in steps

    def ideal(self, t: pd.DataFrame) -> pd.DataFrame:
        """True average readings, in their units, one column each, at each row of a settings table with ``age`` in h."""
        share = np.log(np.maximum(t["catalyst"], 0.05) / 1.5)
        warm = warmth(t["room_temperature"])
        depth = np.log(t["thickness"] / 10)
        rate = self.exponent * share + self.activation * warm
        gel = self.gel * np.exp(-rate + self.thickness_gel * depth + self.pigment_gel * t["pigment"])
        rise = expit(self.peak_level + self.peak_thickness * depth + 1.3 * rate)
        lack = self._lack_of_cure(t, share, warm, depth)
        return pd.DataFrame(
            {
                "gel_time": gel,
                "time_to_peak": gel * (1.25 + 0.6 * np.exp(-depth)),
                "peak_temperature": t["room_temperature"] + 175 * rise,
                "hardness": np.clip(self.hardest - 9 * lack + self.ageing * np.log(t["age"] / 24), 5, 97),
                "tack": 1.6 * lack + self.inhibition * (1 - t["cover"]) - 0.15 * np.log(t["age"] / 24) - 0.2,
                "opacity": 1.3 * np.log1p(t["pigment"] / 0.25) + 0.5 * depth,
                "defects": 3.2 * rise**2 - 0.2,
            },
            index=t.index,
        )

    def _lack_of_cure(self, t, share, warm, depth):
        """How far the casting is from its best cure: 0 at the best, 1 clearly soft."""
        off = (share - np.log(self.cure_best / 1.5)) / self.cure_width
        cold = self.cold * 12 * np.maximum(-warm / 0.0137, -0.7)
        thin = self.thin * 12 * np.maximum(-depth, -0.6)
        heavy = self.pigment_softens * np.maximum(t["pigment"] - self.pigment_bend, 0) / 3
        baked = self.oven * 0.3 * post_cure(t["post_cure_temperature"], t["post_cure_time"])
        under = np.where(off < 0, off**2, 0.35 * off**2)
        return np.maximum(under + cold + thin + heavy - baked, -0.25)

    def day(self, rng: np.random.Generator) -> dict[str, float]:
        """The session's random shift on each scale of a reading, as `read_pour` takes it."""
        return {"log": rng.normal(0, self.session), "plain": rng.normal(0, 1.0), "grade": rng.normal(0, 0.2)}

    def of_lot(self, seed: int, lot: str) -> Truth:
        """The same resin: every drum of it is alike."""
        return self

    def peak(self, ideal: float, room: float, shared: Mapping[str, float], rng: np.random.Generator) -> float:
        """A peak, °C, as a probe shows it if the true one is `ideal`."""
        return ideal + rng.normal(0, PEAK_SCATTER)

    def peak_scale(self, degC: float | np.ndarray, room: float | np.ndarray) -> tuple[float | np.ndarray, float]:
        """Peaks, °C, on the scale with constant scatter, and their standard deviation there."""
        return degC, PEAK_SCATTER


def draw_truth(seed: int, odd: bool = False) -> Truth:
    """A resin's hidden parameters, from the range of real resins; the same for the same seed.

    An `odd` one contradicts the beliefs: another exponent, a pigment that slows or speeds the gel, a cover that harms.
    """
    return draw_hidden(Truth, "awkward" if odd else "ordinary", np.random.default_rng([seed, 7919]))
