"""The two practice resins the kit ships, read by the same benches as the other makes.

Their truth is kit code, and shares terms with the kit's models: a family to be told apart from the others, not one to
judge alone. They know nothing of old peroxide or a wet mould, so hidden faults reach them as the nearest thing they do
know, and the rest as steps of tack and Shore D.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.practice.algebraic_resin import draw_truth
from testpour.practice.physical_resin import draw_physical


@dataclass(frozen=True)
class Practised:
    """A practice resin; `truth` is the kit's own."""

    truth: object
    signs: tuple = ()

    def ideal(self, made):
        """Average readings on the scales of `bench`, a dict of arrays."""
        table = pd.DataFrame({name: made[name] for name in ("pigment", "thickness", "cover", "age")})
        spoilt = made["stale"] * (1 + 0.35 * made["retard"] * made["pigment"]) * (1 + 0.2 * made["water"])
        table["catalyst"] = np.maximum(made["catalyst"] * made["strength"] / spoilt**0.6, 0.02)
        table = table.assign(post_cure_temperature=20.0, post_cure_time=0.0, humidity=50.0)
        warm = self.truth.ideal(table.assign(room_temperature=made["room_temperature"]))
        night = self.truth.ideal(table.assign(room_temperature=made["room_temperature"] + 0.6 * made["night"])) if made["night"].any() else warm
        with np.errstate(divide="ignore"):
            gel = np.where(table["catalyst"] < 0.05, np.inf, np.log(warm["gel_time"]) + 0.4 * np.log(spoilt))
        return {
            "gel_time": gel,
            "peak_temperature": warm["peak_temperature"].to_numpy(float),
            "hardness": np.clip(night["hardness"].to_numpy(float) - 7 * made["silicone"] - 3 * made["water"], 1, 97),
            "tack": night["tack"].to_numpy(float) + 1.6 * made["silicone"] + 0.6 * made["water"],
            "opacity": warm["opacity"].to_numpy(float) + 0.8 * np.tanh(made["water"]),
        }


def draw_algebraic(rng, contradicting=False):
    """The practice resin in formulas."""
    return Practised(draw_truth(int(rng.integers(2**31)), contradicting), ("cover", "dose", "warmth", "pigment") if contradicting else ())


def draw_slab(rng, contradicting=False):
    """The practice resin that is cast."""
    difficulty = "awkward" if contradicting else "ordinary"
    return Practised(draw_physical(int(rng.integers(2**31)), difficulty), ("cover", "dose", "warmth", "pigment") if contradicting else ())
