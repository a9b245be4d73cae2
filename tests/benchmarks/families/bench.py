"""A bench with its habits: how it weighs, how often it looks at the pot, and how strictly it grades.

Nothing here knows a kit or a family of resins. A family gives the average readings of a casting as it was really
made (`ideal`); the bench adds what a person adds: scale steps, looks at the pot, a strict or a lax hand, scatter
between sessions, pours and readings, and now and then a reading far off. Ranges are common practice, no source.

Scales: gel time is the log of minutes (infinite where it never gels), peak temperature degC, hardness Shore D, tack
and opacity steps whose grades end at 0.5, 1.5 and 2.5.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

READINGS = ("gel_time", "peak_temperature", "hardness", "tack", "opacity")
GRADES = ("tack", "opacity")
LAST_LOOK = 480.0  # min: the pot is not looked at any longer
SETTINGS = {"catalyst": 1.5, "pigment": 0.5, "thickness": 10.0, "cover": 1.0, "room_temperature": 20.0, "age": 24.0}
# What nobody logs. `strength`: activity of the peroxide. `stale`: times the inhibitor of fresh resin. `night`: degC
# added to the room from the fifth hour. `water`: % in the mix. `silicone`: 0 to 1, a mould face that stops the cure.
# `retard`: times the inhibitor of fresh resin that each % of pigment brings.
HIDDEN = {"strength": 1.0, "stale": 1.0, "night": 0.0, "water": 0.0, "silicone": 0.0, "retard": 0.0}
PROBS = np.linspace(0.0, 1.0, 4001)


def columns(table):
    """A settings table (or dict) as a dict of float arrays, with every setting and hidden number filled in."""
    given = {name: np.asarray(table[name], float) for name in table if name in SETTINGS or name in HIDDEN}
    size = max((np.size(values) for values in given.values()), default=1)
    return {
        name: np.broadcast_to(given.get(name, usual), size).astype(float)
        for name, usual in {**SETTINGS, **HIDDEN}.items()
    }


def take(made, rows):
    """Some rows of a dict of arrays."""
    return {name: values[rows] for name, values in made.items()}


@dataclass(frozen=True)
class Bench:
    """One workshop's habits.

    Parameters
    ----------
    check_every : float
        Minutes between two looks at the pot.
    scale_step, pot : float
        Step of the scale and resin in a pot, g.
    places : int
        Readings of hardness a casting.
    strict : float
        Steps by which this hand grades tack worse than the average one.
    thermometer : float
        Scatter of the true room about the one logged, degC, one a session.
    session, pour, reading : dict
        Scatter (standard deviation) of each reading, on its scale.
    tails : float
        Degrees of freedom of one reading's scatter: few make heavy tails.
    """

    check_every: float
    scale_step: float
    pot: float
    places: int
    strict: float
    thermometer: float
    session: dict
    pour: dict
    reading: dict
    tails: float

    def weigh(self, catalyst, rng):
        """Catalyst (%) really delivered: the nearest mark of the scale, which shows no finer than its step."""
        return np.maximum(self._marked(catalyst) + rng.uniform(-0.5, 0.5, np.shape(catalyst)) * self.step, 0.0)

    @property
    def step(self):
        """The scale's step as % of the pot."""
        return 100 * self.scale_step / self.pot

    def _marked(self, catalyst):
        return np.round(np.asarray(catalyst, float) / self.step) * self.step

    def made(self, table):
        """A settings table as it may really be made, with the weight of each way: list of (weight, columns)."""
        asked, ways = columns(table), []
        doses, shares = np.polynomial.legendre.leggauss(3 if self.step > 0.15 else 1)  # a fine scale is hardly felt
        rooms, heights = np.polynomial.hermite_e.hermegauss(4 if self.step > 0.15 else 5)
        for node, share in zip(doses, shares / 2, strict=True):
            for off, height in zip(rooms, heights / heights.sum(), strict=True):
                dose = np.maximum(self._marked(asked["catalyst"]) + 0.5 * node * self.step, 0.0)
                room = asked["room_temperature"] + off * self.thermometer
                ways.append((share * height, {**asked, "catalyst": dose, "room_temperature": room}))
        return ways

    def noise(self, name, session=True):
        """Quantiles at `PROBS` of all scatter of one reading of one new casting, in a new session or not."""
        return _quantiles(self.session[name] if session else 0.0, self.pour[name], self.reading[name], self.tails)

    def below(self, name, limit, ideal, session=True):
        """Chance that a reading of this bench lies under `limit` where its average is `ideal`."""
        shift = self.strict if name == "tack" else 0.0
        with np.errstate(invalid="ignore"):
            gap = np.nan_to_num(limit - np.asarray(ideal, float) - shift, nan=-np.inf, posinf=1e9, neginf=-1e9)
        return np.interp(gap, self.noise(name, session), PROBS, left=0.0, right=1.0)

    def shared(self, rng):
        """What the readings of one session share."""
        return {name: self.session[name] * rng.standard_normal() for name in READINGS}

    def read(self, name, ideals, shared, rng):
        """Readings of one casting.

        Parameters
        ----------
        ideals : array
            Average reading at each place of the casting; an evenly mixed one has the same everywhere.
        shared : dict

        Yields
        ------
        dict
            ``value``, or ``between``, or ``not_yet``.
        """
        middle = shared[name] + self.pour[name] * rng.standard_normal() + (self.strict if name == "tack" else 0.0)
        for place in range(self.places if name == "hardness" else 1):
            ideal = ideals[place % len(ideals)] if name == "hardness" else ideals[0]
            value = ideal + middle + self.reading[name] * float(_tail(rng, self.tails, 1)[0])
            if name == "gel_time":
                yield self._looked(np.exp(value))
            elif name in GRADES:
                yield {"value": float(np.clip(np.round(value), 0, 3)) + 0.0}
            elif name == "hardness":
                yield {"value": float(np.clip(np.round(value), 0, 100))}
            else:
                yield {"value": float(np.round(np.clip(value, 6, 249)))}

    def _looked(self, minutes):
        if not minutes < LAST_LOOK:
            return {"not_yet": LAST_LOOK}
        step = self.check_every if minutes < 40 * self.check_every else 2 * self.check_every
        before = step * np.floor(minutes / step)
        return {"between": (max(float(before), 0.5), float(before + step))}


def _tail(rng, tails, size):
    """Scatter of one reading in units of its standard deviation."""
    return rng.standard_t(tails, size) / np.sqrt(tails / (tails - 2))


@cache
def _quantiles(session, pour, reading, tails):
    rng, size = np.random.default_rng(20), 40000
    total = np.hypot(session, pour) * rng.standard_normal(size) + reading * _tail(rng, tails, size)
    return np.quantile(total, PROBS)


def draw_bench(rng):
    """A bench: looks every 2 to 20 min, a scale of 0.1 to 1 g, a strict or a lax hand, little scatter or much."""
    u = rng.uniform
    scale = float(rng.choice([0.1, 0.1, 0.5, 1.0]))
    return Bench(
        check_every=float(rng.choice([2, 3, 5, 10, 20])),
        scale_step=scale,
        pot=float(u(100, 160) if scale < 0.5 else u(180, 320)),
        places=int(rng.integers(1, 6)),
        strict=float(rng.choice([-1, 1]) * u(0.0, 0.5)),
        thermometer=float(u(0.3, 1.0)),
        session={"gel_time": u(0.03, 0.12), "peak_temperature": u(1, 5), "hardness": u(0.3, 1.5), "tack": u(0.05, 0.25), "opacity": u(0.0, 0.15)},
        pour={"gel_time": u(0.02, 0.06), "peak_temperature": u(1, 4), "hardness": u(0.3, 1.2), "tack": u(0.1, 0.3), "opacity": u(0.05, 0.2)},
        reading={"gel_time": u(0.02, 0.06), "peak_temperature": u(0.5, 2.5), "hardness": u(0.7, 2.2), "tack": u(0.1, 0.3), "opacity": u(0.1, 0.25)},
        tails=float(rng.choice([3.0, 5.0, 30.0])),
    )
