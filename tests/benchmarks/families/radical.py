"""A make written from radical chemistry: peroxide, promoter, inhibitor, oxygen, gel effect and glass, one heat balance.

Radicals are quasi-steady between peroxide on one side and inhibitor, oxygen and one another on the other (inhibition
time and order one half in turn: Stevenson, Polym. Eng. Sci. 26 (1986) 746; Batch and Macosko, J. Appl. Polym. Sci.
44 (1992) 1711; from memory, not read). Termination slows as the resin gels; propagation stops as the glass
transition (DiBenedetto's rule) passes the temperature of the casting. Heat: one temperature, one loss coefficient.
The face is a skin of its own, fed with oxygen where it is open. Hardness is a tanh of glass transition less room,
tack the same of the skin. All numbers are working guesses except these ranges:

gel at 1.5 %, 20 degC 4 to 60 min (the class, supplier data sheets); order in peroxide 0.5 to 1; apparent energy of
gel 40 to 65 kJ/mol; adiabatic rise 140 to 185 K (250 to 350 kJ/kg over 1.8 kJ/(kg K)); gel at 2 to 5 % conversion.

Contradictions: `cover` (an air-drying resin that needs oxygen at its face), `dose` (the peroxide's carrier plasticises
strongly), `warmth` (a warm room takes the styrene out of the face), `pigment` (a paste that promotes and fills).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

ROOM = 293.15
GAS = 8.314462618e-3
TIMES = np.concatenate([np.arange(0, 120, 0.5), np.arange(120, 480, 3), np.arange(480, 1440, 24), 1440 * np.geomspace(1, 7.2, 24)])  # min
CONTRADICTIONS = ("cover", "dose", "warmth", "pigment")


@dataclass(frozen=True)
class Radical:
    """One resin of this make; energies in kJ/mol, times in min, temperatures in degC or K of difference."""

    gel: float  # at 1.5 %, 20 degC
    inhibited: float  # share of it in which the inhibitor is used up
    at_gel: float  # conversion
    energies: tuple  # of decay, propagation, termination
    decay: float  # 1/min of the peroxide at 20 degC
    gel_effect: float
    rise: float
    loss: float  # W/(m2 K), both faces together
    lid: float  # share of it lost under a cover
    glass: tuple  # transition of the liquid and of the whole cure, degC, and DiBenedetto's ratio
    freeze: tuple  # how far the transition may pass the temperature, and over how many K it stops
    carrier: float  # K of transition lost per % of peroxide above 1
    paste: float  # the same per % of pigment
    scavenge: float  # share of the inhibitor that each % of pigment adds
    oxygen: float  # how well it stops the skin
    breath: float  # oxygen into an open face, as a share of the radicals made at 1.5 %, 20 degC
    leak: float  # share of that under a cover
    hardest: float
    softest: float
    mid: tuple  # transition less room at which it is half as hard, and over how many K
    sticky: tuple  # transition less room at which the skin is half tacky, and over how many K
    hiding: float
    drying: float  # K of the skin's transition that a day of air gives
    evaporation: float  # K of the skin's transition lost at 20 degC
    filler: float  # Shore D per % of pigment
    signs: tuple = ()

    def ideal(self, made):
        """Average readings on the scales of `bench`, a dict of arrays."""
        found = self._follow(made)
        room = made["room_temperature"]
        open_face = 1 - made["cover"]
        skin = self._glass(found["skin"] * (1 - np.minimum(0.7 * made["silicone"], 0.95)), found["top"]) - room + self._air(made, open_face)
        bulk = found["bulk"] - room - 12 * made["silicone"]
        hard = self.softest + (self.hardest - self.softest) * 0.5 * (1 + np.tanh((bulk - self.mid[0]) / self.mid[1]))
        half, width = self.sticky
        hidden = self.hiding * made["pigment"] * (made["thickness"] / 10) ** 0.7 + 0.35 * made["water"]
        return {
            "gel_time": found["gel"],
            "peak_temperature": found["peak"],
            "hardness": np.clip(hard + self.filler * made["pigment"], 1, 97),
            "tack": -0.5 + 4.2 / (1 + np.exp((skin - half) / width)),
            "opacity": 3.5 * (1 - np.exp(-hidden)) - 0.2,
        }

    def _air(self, made, open_face):
        """K of the skin's transition from what air does beside stopping radicals."""
        day = 1 - np.exp(-made["age"] / 12)
        taken = self.evaporation * np.exp(0.09 * (made["room_temperature"] - 20)) * (0.6 + 0.4 * open_face)
        return self.drying * day * (open_face + self.leak * made["cover"] - 0.5) - taken

    def _glass(self, cured, top):
        low, _, ratio = self.glass
        return low + (top - low) * ratio * cured / (1 - (1 - ratio) * cured)

    def _follow(self, made):
        """March every casting through `TIMES`: gel, peak, and bulk and skin at the ages asked for."""
        dose = made["catalyst"] * made["strength"] / (1 + 0.25 * made["water"])
        size, room = len(dose), made["room_temperature"]
        cured, skin, gel, peak = np.zeros(size), np.zeros(size), np.full(size, np.inf), room.copy()
        left, heat, air = dose.copy(), room.copy(), np.ones(size)
        per_min = self.gel * self.inhibited * 1.5
        stop = per_min * np.maximum(made["stale"] + self.scavenge * made["pigment"] + made["retard"] * made["pigment"], 0.05)
        top = self.glass[1] - self.carrier * np.maximum(dose - 1, 0) - self.paste * made["pigment"] - 9 * made["water"]
        cooling = 0.06 * self.loss * (1 - self.lid * made["cover"]) / (1.95 * made["thickness"])
        cooling = cooling / (1 + self.loss * made["thickness"] / 4000)
        rise = self.rise * (1 - 0.012 * made["pigment"])
        speed = self.at_gel / ((1 - self.inhibited) * self.gel * np.sqrt(1.5))
        stored = 0.15 * per_min  # oxygen dissolved at the start, in radicals it can stop
        inward = self.breath * 1.5 / stored * (1 - (1 - self.leak) * made["cover"])
        due, kept = 60 * made["age"], [None, None]
        for start, end in pairwise(TIMES):
            step, around = end - start, room + np.where(start > 300, made["night"], 0.0)
            decay, grow, end_rate = self._rates(heat)
            made_now = decay * left
            left = left * np.exp(-self.decay * decay * step)
            brake = 400 * np.maximum(stop, 0) / per_min
            slow = end_rate * np.exp(-self.gel_effect * cured)
            radicals = 2 * made_now / (brake + np.sqrt(brake**2 + 4 * slow * made_now))
            stop = np.maximum(stop - np.minimum(brake * radicals, made_now) * step, 0)
            more = self._grown(cured, speed * grow * radicals, step, heat, top)
            # the skin is cooler, and breathes
            cool = around + 0.35 * (heat - around)
            held = brake + self.oxygen * air
            slow_skin = end_rate * np.exp(-self.gel_effect * skin)
            free = 2 * made_now / (held + np.sqrt(held**2 + 4 * slow_skin * made_now))
            air = (air + inward * step) / (1 + inward * step + self.oxygen * free * step / stored)
            skin = skin + self._grown(skin, speed * grow * free, step, cool, top)
            before, cured = cured, cured + more
            heat = np.minimum(around + (heat - around) * np.exp(-cooling * step) + rise * more, 178.0)
            peak = np.maximum(peak, heat)
            passed = (cured >= self.at_gel) & (before < self.at_gel)
            share = (self.at_gel - before) / np.maximum(more, 1e-12)
            gel = np.where(passed, start + share * step, gel)
            kept = [
                now if old is None else np.where(end <= due, now, old)
                for old, now in zip(kept, (cured, skin), strict=True)
            ]
            if end > due.max():
                break
        with np.errstate(divide="ignore"):
            return {"gel": np.log(gel), "peak": peak, "bulk": self._glass(kept[0], top), "skin": kept[1], "top": top}

    def _rates(self, heat):
        warm = (1 / ROOM - 1 / (heat + 273.15)) / GAS
        return tuple(np.exp(energy * warm) for energy in self.energies)

    def _grown(self, cured, rate, step, heat, top):
        """Conversion gained in a step; a glass grows no more, and no step gains more than can be followed."""
        past, over = self.freeze
        rate = rate / (1 + np.exp(np.clip((self._glass(cured, top) - heat - past) / over, -50, 50)))
        return np.minimum((1 - cured) * -np.expm1(-rate * step), 0.05)


def draw(rng, contradicting=False):
    """A resin of this make; a contradicting one goes against the trade in two or more ways drawn at random."""
    u = rng.uniform
    odd = tuple(str(name) for name in rng.permutation(CONTRADICTIONS)[: rng.integers(2, 5)]) if contradicting else ()
    whole = u(88, 125)
    gel = float(np.exp(u(np.log(7), np.log(45))))
    dose, pigment, warmth, cover = ("dose" in odd), ("pigment" in odd), ("warmth" in odd), ("cover" in odd)
    return Radical(
        gel=gel,
        inhibited=float(1 - np.clip(u(5, 16) / gel, 0.15, 0.7)),
        at_gel=u(0.02, 0.05),
        energies=(u(50, 62), u(20, 26), u(4, 9)),
        decay=u(0.15, 0.45) / 60,
        gel_effect=u(4, 8),
        rise=u(140, 185),
        loss=u(17, 28),
        lid=u(0.0, 0.15),
        glass=(u(-70, -50), whole, u(0.35, 0.55)),
        freeze=(u(14, 26), u(4, 8)),
        carrier=u(14, 24) if dose else u(1.5, 4),
        paste=u(-2, 0.5) if pigment else u(1, 5),
        scavenge=-u(0.1, 0.15) if pigment else rng.normal(0.02, 0.05),
        oxygen=u(20, 80) * (0.05 if cover else 1.0),
        breath=u(0.8, 2.0),
        leak=u(0.0, 0.08),
        hardest=u(72, 92),
        softest=u(5, 30),
        mid=(u(-5, 12), u(16, 30)),
        sticky=(u(-6, 8), u(7, 14)),
        hiding=float(np.exp(u(np.log(0.15), np.log(1.2)))),
        drying=u(40, 70) if cover else 0.0,
        evaporation=u(14, 26) if warmth else u(0, 1.5),
        filler=u(1.0, 2.5) if pigment else 0.0,
        signs=odd,
    )
