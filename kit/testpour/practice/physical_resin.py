"""A practice resin from the cure model: each pour's heat and cure are integrated through its thickness.

Gel, time to peak and peak come from the integration; hardness and tack from the cure of the core and the face, and from
what the cure model leaves out: air, pigment, too much peroxide. Those rules are common practice put into numbers, no
source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from testpour.physics.casting import Casting, Face, post_cure_programme
from testpour.physics.resin import load_resin
from testpour.physics.slab import SLICES, cure_many
from testpour.practice.hidden import Difficulty, Draw, draw_hidden, either_sign, hidden, normal, ratio, uniform

OVEN_AFTER = 5.0  # h from mixing to the oven
FULL_SCALE = 240.0  # K: more than any casting rises
BOILED_OUT = 170.0  # K of rise above which styrene boils away; a working guess
NEVER = 1e4  # min, for a pot that neither gels nor peaks


def _like_resin(name: str, spread: float) -> Draw:
    """A lognormal draw about the value in `resin.toml`."""
    return lambda rng: ratio(getattr(load_resin(), name), spread)(rng)


@dataclass(frozen=True)
class PhysicalTruth:
    """The hidden truth: the resin, the faces and the bench, in the units of `resin.toml`."""

    induction: float = hidden(_like_resin("induction", 0.3))
    induction_exponent: float = hidden(uniform(0.5, 1.0), awkward=uniform(0.2, 0.35))
    induction_energy: float = hidden(uniform(42e3, 62e3), awkward=uniform(15e3, 30e3))
    rate: float = hidden(ratio(1.0, 0.3))  # both rates over those of `resin.toml`
    rate_exponent: float = hidden(uniform(0.4, 0.6))
    rate_energy: float = hidden(uniform(40e3, 50e3))
    heat_of_cure: float = hidden(_like_resin("heat_of_cure", 0.08))
    conductivity: float = hidden(uniform(0.17, 0.22))
    order_made: float = hidden(uniform(0.55, 0.65))
    order_left: float = hidden(uniform(1.3, 1.5))
    ceiling: float = hidden(uniform(0.77, 0.84))
    ceiling_slope: float = hidden(uniform(0.0026, 0.0034))
    film: float = hidden(ratio(10.0, 0.2))  # W/(m2 K), either face
    mould: float = hidden(uniform(0.0, 0.02))  # m2 K/W below the casting
    lid: float = hidden(uniform(0.0, 0.01))  # m2 K/W that a cover adds above
    pigment_gel: float = hidden(normal(0, 0.03), awkward=either_sign(0.08, 0.16))  # ln of gel time per % of pigment
    pigment_heat: float = hidden(uniform(0.0, 0.01))  # share of the heat lost per % of pigment
    hardest: float = hidden(uniform(83, 88))  # Shore D of the whole cure
    half_hard: float = hidden(uniform(0.50, 0.58))  # conversion at which it has half of that
    firming: float = hidden(uniform(0.07, 0.1))
    ageing: float = hidden(uniform(0.5, 1.5))
    overdose: float = hidden(uniform(5, 20))  # Shore D lost per ln of catalyst above 2.2 %
    inhibition: float = hidden(uniform(0.9, 2.2), awkward=uniform(-0.3, -0.8))  # steps of tack an open face adds
    pigment_softens: float = hidden(uniform(0.8, 2.0))  # steps of tack, times 4 Shore D, per % above the bend
    pigment_bend: float = hidden(uniform(2.0, 4.0), awkward=uniform(1.0, 2.5))
    session: float = hidden(uniform(0.05, 0.12), gentle=uniform(0.03, 0.05))  # scatter of gel time between sessions, a ratio
    reading: float = hidden(uniform(0.05, 0.10), gentle=uniform(0.03, 0.04))
    draught: float = hidden(uniform(0.08, 0.16), gentle=uniform(0.04, 0.06))  # scatter of the peak between sessions and pours, logit of its share
    shore: float = hidden(uniform(1.0, 2.0), gentle=uniform(0.5, 0.8))
    step: float = hidden(uniform(0.3, 0.5), gentle=uniform(0.15, 0.25))
    lot: float = hidden(uniform(0.03, 0.08), gentle=uniform(0.0, 0.02), awkward=uniform(0.2, 0.3))  # scatter between drums of wait and speed, a ratio

    def of_lot(self, seed: int, lot: str) -> PhysicalTruth:
        """The resin in the drum named `lot`: its induction and its rate each differ by a random ratio."""
        wait, speed = np.exp(self.lot * np.random.default_rng([seed, 31, *lot.encode()]).standard_normal(2))
        return replace(self, induction=self.induction * wait, rate=self.rate * speed)

    def day(self, rng: np.random.Generator) -> dict[str, float]:
        """The session's random shift on each scale of a reading, as `read_pour` takes it."""
        plain, grade, draught = rng.normal(0, 1.0), rng.normal(0, 0.2), rng.normal(0, self.draught)
        return {"log": rng.normal(0, self.session), "plain": plain, "grade": grade, "rise": draught}

    def peak(self, ideal: float, room: float, shared: Mapping[str, float], rng: np.random.Generator) -> float:
        """The highest temperature a probe showed, °C: at least the room's, and no higher than boiling allows."""
        latent = self.peak_scale(ideal, room)[0] + shared["rise"] + rng.normal(0, self.draught)
        shown = room + FULL_SCALE * expit(latent) + rng.normal(0, 1.0)
        return float(np.clip(shown, np.ceil(room), room + BOILED_OUT))

    def peak_scale(self, degC: float | np.ndarray, room: float | np.ndarray) -> tuple[np.ndarray, float]:
        """Peaks, °C, as the logit of their rise, where the scatter is constant, and their standard deviation there."""
        share = np.clip((np.asarray(degC, float) - room) / FULL_SCALE, 0.0, 1.0)
        with np.errstate(divide="ignore"):
            return logit(share), self.draught * np.sqrt(2)

    def ideal(self, t: pd.DataFrame) -> pd.DataFrame:
        """True average readings, in their units, one column each, at each row of a settings table with ``age`` in h."""
        cured_slab = self._cast(t)
        rise = np.maximum(cured_slab["peak_temperature"] - t["room_temperature"], 0.0).fillna(0.0)
        heavy = np.maximum(t["pigment"] - self.pigment_bend, 0.0)
        cured = 0.5 * (cured_slab["core_conversion"] + cured_slab["face_conversion"])
        old, over = np.log(t["age"] / 24.0), np.maximum(np.log(t["catalyst"] / 2.2), 0.0)
        hard = self.hardest * expit((cured - self.half_hard) / self.firming)
        soft = np.maximum(0.8 - cured_slab["face_conversion"], 0.0) / 0.08
        open_face = self.inhibition * (1 - t["cover"])
        depth = np.log(t["thickness"] / 10)
        return pd.DataFrame(
            {
                "gel_time": cured_slab["gel_time"].fillna(NEVER),
                "time_to_peak": cured_slab["time_to_peak"].fillna(NEVER),
                "peak_temperature": t["room_temperature"] + rise,
                "hardness": np.clip(hard - 4 * self.pigment_softens * heavy / 3 - self.overdose * over + self.ageing * old, 2, 97),
                "tack": soft + open_face + self.pigment_softens * heavy / 3 - 0.15 * old - 0.1,
                "opacity": 1.3 * np.log1p(t["pigment"] / 0.25) + 0.5 * depth,
                "defects": 3.0 * expit((rise - 105) / 18) - 0.2,
            },
            index=t.index,
        )

    def _cast(self, t):
        """`cure_many` of every row; equal rows are cast once."""
        columns = ["thickness", "catalyst", "room_temperature", "pigment", "cover", "post_cure_temperature", "post_cure_time", "age"]
        rows = pd.DataFrame({name: t.get(name, 0.0) for name in columns}, index=t.index)
        different = rows.drop_duplicates()
        castings = [self._casting(row) for row in different.itertuples()]
        curing = cure_many(castings, slices=SLICES).set_index(pd.MultiIndex.from_frame(different))
        return curing.loc[pd.MultiIndex.from_frame(rows)].set_index(t.index)

    def _casting(self, row):
        programme = ()
        if row.post_cure_time > 0 and row.post_cure_temperature > row.room_temperature:
            programme = post_cure_programme(row.room_temperature, row.post_cure_temperature, row.post_cure_time, OVEN_AFTER)
        return Casting(
            row.thickness, max(row.catalyst, 0.02), row.room_temperature, face=Face(self.film, self.lid * row.cover),
            other_face=Face(self.film, self.mould), programme=programme, hours=row.age, resin=self._resin(row.pigment),
        )

    def _resin(self, pigment):
        """The resin with pigment in it."""
        base = load_resin()
        own = {name: value for name, value in vars(self).items() if name in vars(base)}
        return replace(
            replace(base, **own), induction=float(self.induction * np.exp(self.pigment_gel * pigment)),
            first_rate=base.first_rate * self.rate, second_rate=base.second_rate * self.rate,
            heat_of_cure=self.heat_of_cure * max(1.0 - self.pigment_heat * pigment, 0.5),
        )


def draw_physical(seed: int, difficulty: Difficulty = "ordinary") -> PhysicalTruth:
    """A physical resin's hidden parameters, drawn around `resin.toml`; the same for the same seed."""
    return draw_hidden(PhysicalTruth, difficulty, np.random.default_rng([seed, 104729]))
