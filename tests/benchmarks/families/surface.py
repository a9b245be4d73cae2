"""A make drawn blindly: smooth surfaces that keep the trade's signs and nothing else of it.

Each setting works through a random increasing shape with plateaus; shapes add up, some multiply, and a small random
wave (random Fourier features: Rahimi and Recht, 2007, from memory, not read) bends the sum where no sign is at stake.
There is no chemistry in it, no order of reaction and no heat balance. Readings mature along a stretched exponential.

Ranges: gel at 1.5 %, 20 degC 4 to 60 min; 1 to 4 % shortens it to a quarter to a half, 15 to 26 degC to about a half;
peaks from a few degrees over the room to 165 degC, with a cliff somewhere between 6 and 20 mm; best hardness 70 to
92 Shore D; an open face adds 0.6 to 2.5 steps of tack. Contradictions: `cover`, `dose`, `warmth`, `pigment`, `thickness`.
"""

from dataclasses import dataclass

import numpy as np

CONTRADICTIONS = ("cover", "dose", "warmth", "pigment", "thickness")


def coded(made):
    """Dose, pigment, thickness and room as shares of a usual span: 0 to 1, more outside it."""
    dose = np.log(np.maximum(made["catalyst"] * made["strength"], 0.02) / 0.5) / np.log(8)
    depth = np.log(np.maximum(made["thickness"], 1.0) / 6) / np.log(20 / 6)
    return {"dose": dose, "pigment": made["pigment"] / 6, "depth": depth, "room": (made["room_temperature"] - 15) / 11}


@dataclass(frozen=True)
class Shape:
    """An increasing curve through 0 and 1: part bow, part step with plateaus beside it."""

    bow: float
    step: float
    middle: float
    steep: float

    def __call__(self, share):
        share = np.asarray(share, float)
        inside = np.clip(share, 0, 1.4)
        logistic = 1 / (1 + np.exp(-self.steep * (share - self.middle)))
        ends = 1 / (1 + np.exp(-self.steep * (np.array([0.0, 1.0]) - self.middle)))
        stepped = (logistic - ends[0]) / (ends[1] - ends[0])
        return (1 - self.step) * (inside**self.bow + np.minimum(share, 0)) + self.step * stepped


def draw_shape(rng, late=False):
    u = rng.uniform
    return Shape(u(1.3, 3.0) if late else u(0.4, 1.2), u(0.2, 0.8), u(0.5, 0.8) if late else u(0.1, 0.7), u(6, 16))


@dataclass(frozen=True)
class Wave:
    """A small smooth random function of the four numbers."""

    rates: np.ndarray
    turns: np.ndarray
    heights: np.ndarray

    def __call__(self, share):
        points = np.stack([share[name] for name in ("dose", "pigment", "depth", "room")], axis=-1)
        return np.cos(points @ self.rates + self.turns) @ self.heights


def draw_wave(rng, size, count=24):
    return Wave(rng.normal(0, 2.0, (4, count)), rng.uniform(0, 2 * np.pi, count), size * np.sqrt(2 / count) * rng.standard_normal(count))


@dataclass(frozen=True)
class Lack:
    """How far a casting is from its best cure: 0 at the best, 1 clearly soft."""

    shapes: dict
    sizes: dict
    wave: Wave

    def __call__(self, share):
        short = {name: 1 - self.shapes[name](share[name]) for name in ("dose", "room", "depth")}
        total = sum(self.sizes[name] * short[name] for name in short)
        total = total + self.sizes["cold thin"] * short["room"] * short["depth"] + self.sizes["cold weak"] * short["room"] * short["dose"]
        over = np.maximum(share["dose"] - self.sizes["over from"], 0)
        return (
            total
            + self.sizes["over"] * over
            + self.sizes["pigment"] * self.shapes["pigment"](share["pigment"])
            + self.wave(share)
        )


def draw_lack(rng, odd):
    u = rng.uniform
    dose, warmth, thick = ("dose" in odd), ("warmth" in odd), ("thickness" in odd)
    sizes = {
        "dose": u(0.1, 0.3) if dose else u(0.5, 1.3),
        "over": u(1.2, 2.2) if dose else u(0.0, 0.5),
        "over from": u(0.2, 0.35) if dose else u(0.65, 0.9),
        "room": -u(0.6, 1.2) if warmth else u(0.2, 0.9),
        "depth": -u(0.5, 1.0) if thick else u(0.1, 0.7),
        "cold thin": 0.0 if warmth or thick else u(0.0, 0.6),
        "cold weak": 0.0 if warmth or dose else u(0.0, 0.6),
        "pigment": -u(0.3, 0.8) if "pigment" in odd else u(0.1, 0.9),
    }
    shapes = {name: draw_shape(rng, late=name == "pigment") for name in ("dose", "room", "depth", "pigment")}
    return Lack(shapes, sizes, draw_wave(rng, u(0.02, 0.08)))


@dataclass(frozen=True)
class Surface:
    """One resin of this make."""

    gel: float
    gel_sizes: dict
    gel_shapes: dict
    gel_wave: Wave
    heat: dict
    heat_wave: Wave
    soft: Lack
    skin: Lack
    hardest: float
    drop: float
    bend: float
    tack: tuple
    open_face: dict
    age: tuple
    hiding: tuple
    signs: tuple = ()

    def ideal(self, made):
        """Average readings on the scales of `bench`, a dict of arrays."""
        share = coded(made)
        spoilt = 0.5 * made["water"] + 0.25 * np.log(made["stale"]) + 0.35 * made["retard"] * made["pigment"]
        night = {**share, "room": share["room"] + 0.6 * made["night"] / 11}
        young = np.exp(-((made["age"] / self.age[0]) ** self.age[1]))
        soft = self.soft(night) + spoilt + 0.5 * made["silicone"] + self.age[2] * young
        skin = self.skin(night) + spoilt + 1.2 * made["silicone"] + self.age[3] * young
        soft, skin = (np.maximum(lack + 0.3, 0) for lack in (soft, skin))
        return {
            "gel_time": self._gel(made, share),
            "peak_temperature": self._peak(made, share),
            "hardness": np.clip(self.hardest - self.drop * soft**self.bend, 2, 97),
            "tack": self.tack[0] + self.tack[1] * np.tanh(skin / self.tack[2]) + (1 - made["cover"]) * self._opened(share),
            "opacity": self._opacity(made),
        }

    def _gel(self, made, share):
        total = np.log(self.gel) + self.gel_wave(share)
        for name, size in self.gel_sizes.items():
            usual = {"dose": np.log(3) / np.log(8), "room": 5 / 11, "depth": np.log(10 / 6) / np.log(20 / 6), "pigment": 1 / 12}[name]
            shape = self.gel_shapes[name]
            total = total - size * (0.6 * (share[name] - usual) + 0.4 * (shape(share[name]) - shape(usual)))
        late = np.log(made["stale"]) + np.log1p(0.5 * made["retard"] * made["pigment"]) + 0.15 * made["water"]
        weak = np.maximum(0.15 - made["catalyst"] * made["strength"], 0) * 40  # hardly any peroxide: no gel at all
        return total + late + weak

    def _peak(self, made, share):
        push = self.heat["level"] + self.heat_wave(share) + self.heat["depth"] * (share["depth"] - 0.42)
        push = push + self.heat["dose"] * (share["dose"] - 0.53) + self.heat["room"] * (share["room"] - 0.45)
        push = push - self.heat["pigment"] * share["pigment"] - 0.6 * np.log(made["stale"]) - 0.5 * made["water"] - 0.4 * made["retard"] * made["pigment"]
        return made["room_temperature"] + self.heat["most"] / (1 + np.exp(-push))

    def _opened(self, share):
        size = self.open_face
        return size["level"] * (1 + size["room"] * (share["room"] - 0.5) + size["depth"] * (share["depth"] - 0.5) + size["dose"] * (share["dose"] - 0.5))

    def _opacity(self, made):
        level, rate, depth = self.hiding
        return level * np.tanh(rate * made["pigment"] * (made["thickness"] / 10) ** depth) - 0.2 + 0.6 * np.tanh(made["water"])


def draw(rng, contradicting=False):
    """A resin of this make; a contradicting one goes against the trade in two or more ways drawn at random."""
    u = rng.uniform
    odd = tuple(str(name) for name in rng.permutation(CONTRADICTIONS)[: rng.integers(2, 5)]) if contradicting else ()
    pigment_gel = rng.choice([-1, 1]) * u(0.5, 1.0) if "pigment" in odd else rng.normal(0, 0.12)
    skin = draw_lack(rng, odd)
    return Surface(
        gel=float(np.exp(u(np.log(6), np.log(45)))),
        gel_sizes={"dose": u(0.5, 1.0) * np.log(8), "room": u(0.45, 0.85), "depth": rng.normal(0.05, 0.08), "pigment": pigment_gel},
        gel_shapes={name: draw_shape(rng) for name in ("dose", "room", "depth", "pigment")},
        gel_wave=draw_wave(rng, u(0.01, 0.06)),
        heat={"level": rng.normal(-0.4, 0.8), "depth": u(2.5, 6), "dose": u(1, 3), "room": u(0.5, 2), "pigment": u(0, 0.6), "most": u(120, 160)},
        heat_wave=draw_wave(rng, u(0.05, 0.3)),
        soft=draw_lack(rng, odd),
        skin=skin,
        hardest=u(72, 92),
        drop=u(8, 20),
        bend=u(0.8, 1.6),
        tack=(u(-0.6, 0.1), u(2.0, 3.6), u(1.2, 2.4)),
        open_face={"level": -u(0.6, 1.6) if "cover" in odd else u(0.8, 2.4), "room": u(-0.3, 0.3), "depth": u(-0.5, 0.1), "dose": u(-0.6, 0.1)},
        age=(u(4, 14), u(0.6, 1.2), u(0.5, 1.5), u(0.3, 1.2)),
        hiding=(u(2.6, 3.6), float(np.exp(u(np.log(0.2), np.log(1.5)))), u(0.2, 0.9)),
        signs=odd,
    )
