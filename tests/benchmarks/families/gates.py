"""A make written as a workshop would: a table of gel times, and gates that a casting passes or does not.

Gel time is read off a table of catalyst and room, between its lines. The heat runs away or does not. The bulk is hard
when dose, warmth and depth together pass a gate, soft when they do not, and the gates are steep; too much catalyst
shuts one again. Tack counts the gates of the face that were missed. Nothing is smooth in the middle of a span and
little moves outside the steps, so that a straight line in any setting is wrong.

Ranges: table entries follow an order of 0.5 to 1 and 40 to 65 kJ/mol with 8 % scatter an entry; gel at 1.5 %, 20 degC
4 to 60 min; least catalyst 0.6 to 1.6 % at 10 mm, falling with depth as a printed label has it (to the power 0.55);
hard plateau 74 to 92 Shore D, soft plateau 15 to 35 below. Contradictions: `cover`, `dose`, `warmth`, `pigment`, `thickness`.
"""

from dataclasses import dataclass

import numpy as np

DOSES, ROOMS = np.log([0.05, 0.5, 1.0, 2.0, 4.0, 8.0]), np.array([5.0, 15.0, 20.0, 25.0, 35.0])
CONTRADICTIONS = ("cover", "dose", "warmth", "pigment", "thickness")


def gate(margin, steep):
    """0 to 1: how far a gate is open."""
    return 1 / (1 + np.exp(-np.clip(steep * margin, -60, 60)))


@dataclass(frozen=True)
class Gates:
    """One resin of this make."""

    table: np.ndarray  # log of minutes, one row a dose, one column a room
    thick_gel: float
    pigment_gel: float
    least: float  # % catalyst that cures through at 10 mm, 20 degC, one day
    warm_helps: float  # share by which a degree lowers it
    deep_helps: float  # power of depth by which it falls
    most: float  # % catalyst above which the bulk is soft again
    burnt: float  # mm above which the bulk is soft for heat; large where it never is
    loaded: float  # % pigment above which the bulk is soft
    hard: float
    lost: float  # Shore D between hard and soft
    firm: float  # Shore D a % of pigment adds
    steep: float
    face: dict
    runaway: tuple  # power of depth, of dose, degrees per ln, and where it lies
    ripens: float  # h to be through at twice the least dose
    tinted: tuple
    signs: tuple = ()

    def ideal(self, made):
        """Average readings on the scales of `bench`, a dict of arrays."""
        dose = np.maximum(made["catalyst"] * made["strength"], 0.02)
        spoilt = made["stale"] ** 0.4 * (1 + 0.5 * made["water"] + 0.35 * made["retard"] * made["pigment"])
        room = made["room_temperature"] + 0.6 * made["night"]
        depth = made["thickness"] / 10
        need = self.least * depth**-self.deep_helps * np.exp(-self.warm_helps * (room - 20)) * spoilt
        ripe = 0.35 * np.log(np.maximum(made["age"], 0.5) / self.ripens)
        through = np.log(dose / need) + np.minimum(ripe, 0.5)
        passed = gate(through, self.steep) * gate(np.log(self.most / dose), self.steep)
        passed = passed * gate(self.loaded - made["pigment"], 1.5 * self.steep / 4) * gate(self.burnt - made["thickness"], 0.8)
        soft = self.lost * (1 - passed)
        return {
            "gel_time": self._gel(made, dose, spoilt),
            "peak_temperature": self._peak(made, dose / spoilt**1.5),
            "hardness": np.clip(self.hard + self.firm * made["pigment"] - soft - 8 * made["silicone"], 2, 97),
            "tack": self._tack(made, room, passed, through),
            "opacity": self._opacity(made),
        }

    def _gel(self, made, dose, spoilt):
        row, far = _between(DOSES, np.log(dose))
        column, along = _between(ROOMS, made["room_temperature"])
        low = self.table[row, column] * (1 - along) + self.table[row, column + 1] * along
        high = self.table[row + 1, column] * (1 - along) + self.table[row + 1, column + 1] * along
        late = 1.2 * np.log(spoilt) + 0.6 * np.log(made["stale"]) + self.pigment_gel * made["pigment"]
        minutes = low * (1 - far) + high * far + late + self.thick_gel * np.log(made["thickness"] / 10)
        return np.where(dose < 0.1 * self.least, np.inf, minutes)

    def _peak(self, made, dose):
        depth, by_dose, by_room, at = self.runaway
        push = depth * np.log(made["thickness"] / 10) + by_dose * np.log(dose / 1.5) + by_room * (made["room_temperature"] - 20) - at
        smoulder = 6 + 12 * gate(push + 1.5, 1.0)
        return made["room_temperature"] + smoulder + 95 * gate(push, 4.0) + 22 * gate(push - 0.8, 2.0)

    def _tack(self, made, room, passed, through):
        face = self.face
        missed = face["through"] * (1 - passed) + face["cold"] * gate(face["cold below"] - room, 1.2)
        missed = missed + face["warm"] * gate(room - face["warm above"], 1.2) + 1.4 * made["silicone"] + 0.4 * made["water"]
        sealed = gate(through - face["sealed from"], self.steep)
        opened = face["open"] * (1 - face["sealed"] * sealed)
        return face["level"] + missed + (1 - made["cover"]) * opened

    def _opacity(self, made):
        first, second = self.tinted
        amount = made["pigment"] * np.sqrt(made["thickness"] / 10)
        return (
            -0.2 + 1.2 * gate(amount - first, 6 / first) + 1.1 * gate(amount - second, 6 / second)
            + 0.9 * gate(amount - 2.2 * second, 4 / second) + 0.5 * np.tanh(made["water"])
        )


def _between(lines, value):
    """Line below and share of the way to the next; the outermost lines are carried on."""
    place = np.clip(np.searchsorted(lines, value) - 1, 0, len(lines) - 2)
    return place, (value - lines[place]) / (lines[place + 1] - lines[place])


def draw(rng, contradicting=False):
    """A resin of this make; a contradicting one goes against the trade in two or more ways drawn at random."""
    u = rng.uniform
    odd = tuple(str(name) for name in rng.permutation(CONTRADICTIONS)[: rng.integers(2, 5)]) if contradicting else ()
    gel, order, energy = np.exp(u(np.log(6), np.log(45))), u(0.5, 1.0), u(40, 65)
    warm = energy / 8.314462618e-3 * (1 / (ROOMS + 273.15) - 1 / 293.15)
    table = np.log(gel) - order * (DOSES[:, None] - np.log(1.5)) + warm + 0.08 * rng.standard_normal((len(DOSES), len(ROOMS)))
    warmth, dose = "warmth" in odd, "dose" in odd
    first = float(np.exp(u(np.log(0.2), np.log(1.2))))
    return Gates(
        table=table,
        thick_gel=rng.normal(-0.05, 0.04),
        pigment_gel=float(rng.choice([-1, 1]) * u(0.08, 0.18)) if "pigment" in odd else rng.normal(0, 0.02),
        least=u(0.3, 0.6) if dose else u(0.6, 1.4),
        warm_helps=-u(0.04, 0.08) if warmth else u(0.02, 0.06),
        deep_helps=u(0.3, 0.7),
        most=u(1.1, 1.8) if dose else u(2.6, 4.5),
        burnt=u(9, 14) if "thickness" in odd else 99.0,
        loaded=99.0 if "pigment" in odd else u(3, 7),
        hard=u(74, 92),
        lost=u(15, 35),
        firm=u(0.8, 1.6) if "pigment" in odd else -u(0, 0.5),
        steep=u(4, 9),
        face={
            "level": u(-0.4, 0.5), "through": u(0.8, 2.4), "cold": 0.0 if warmth else u(0, 0.7), "cold below": u(16, 19),
            "warm": u(0.6, 1.4) if warmth else 0.0, "warm above": u(18, 23), "open": -u(0.6, 1.5) if "cover" in odd else u(0.8, 2.4),
            "sealed": u(0, 0.4), "sealed from": u(0.5, 1.0),
        },
        runaway=(u(1.5, 2.8), u(0.8, 1.5), u(0.04, 0.1), rng.normal(0.2, 0.5)),
        ripens=u(6, 20),
        tinted=(first, first * u(1.8, 3.5)),
        signs=odd,
    )
