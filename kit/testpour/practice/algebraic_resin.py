"""A practice resin written in formulas: quick, and shaped as the trade expects or against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from testpour.models.terms import post_cure, warmth

PEAK_SCATTER = 1.5  # degC between alike castings


@dataclass(frozen=True)
class Truth:
    """What nobody at the bench can see: the resin's own numbers, on the scales a bench would measure."""

    gel: float  # min at 1.5 %, 20 °C
    exponent: float
    activation: float  # kJ/mol
    thickness_gel: float
    pigment_gel: float
    peak_level: float  # logit of the share of the full rise at 10 mm, 1.5 %, 20 °C
    peak_thickness: float
    cure_best: float  # % catalyst at which the casting ends hardest
    cure_width: float
    cold: float  # share of hardness lost in a room 10 °C colder
    thin: float
    hardest: float  # Shore D at one day
    ageing: float
    inhibition: float  # steps of tack an open face adds
    pigment_softens: float
    pigment_bend: float  # % above which pigment softens
    oven: float
    session: float  # scatter between sessions, as a share of gel time
    reading: float
    shore: float  # scatter of one hardness reading, Shore D
    step: float  # scatter of tack, in steps

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
        """What one session's readings share, as `read_pour` takes it: the day's shift on each scale of a reading."""
        return {"log": rng.normal(0, self.session), "plain": rng.normal(0, 1.0), "grade": rng.normal(0, 0.2)}

    def of_lot(self, seed: int, lot: str) -> Truth:
        """The same resin: every drum of it is alike."""
        return self

    def peak(self, ideal: float, room: float, shared: Mapping[str, float], rng: np.random.Generator) -> float:
        """A peak, °C, as a probe shows it where the true one is `ideal`."""
        return ideal + rng.normal(0, PEAK_SCATTER)

    def peak_scale(
        self, degC: float | np.ndarray, room: float | np.ndarray
    ) -> tuple[float | np.ndarray, float]:
        """Peaks, °C, on the scale on which they scatter evenly, and their standard deviation there."""
        return degC, PEAK_SCATTER


def draw_truth(seed: int, odd: bool = False) -> Truth:
    """A resin's hidden numbers, from the range real resins show; the same for the same seed.

    An `odd` one goes against belief: another exponent, a pigment that slows or speeds the gel, a cover that harms.
    """
    rng = np.random.default_rng([seed, 7919])
    u, n = rng.uniform, rng.normal
    return Truth(
        gel=float(np.exp(n(np.log(26), 0.25))),
        exponent=u(0.2, 0.35) if odd else u(0.5, 1.0),
        activation=u(15, 30) if odd else u(42, 62),
        thickness_gel=n(-0.05, 0.03),
        pigment_gel=rng.choice([-1, 1]) * u(0.08, 0.16) if odd else n(0.0, 0.03),
        peak_level=n(-1.3, 0.5),
        peak_thickness=u(1.8, 2.8),
        cure_best=u(1.4, 2.2),
        cure_width=u(0.6, 0.9),
        cold=u(0.02, 0.1),
        thin=u(0.01, 0.06),
        hardest=u(79, 85),
        ageing=u(1.0, 3.0),
        inhibition=-u(0.3, 0.8) if odd else u(0.9, 2.2),
        pigment_softens=u(0.8, 2.0),
        pigment_bend=u(1.0, 2.5) if odd else u(2.0, 4.0),
        oven=u(0.8, 2.0),
        session=u(0.05, 0.15),
        reading=u(0.05, 0.1),
        shore=u(1.0, 2.0),
        step=u(0.3, 0.5),
    )
