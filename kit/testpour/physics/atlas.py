"""Interpolating castings in a table of slabs, by their two scaling numbers, instead of integrating them.

Nothing warms before the inhibitor is gone, so the wait has a closed form (`kinetics.induction_time`) and
what follows depends on it no more. After it, a slab in a steady room depends on the speed of cure K, the
thickness L and the film h only through L sqrt(K) and h / sqrt(K), its times going as 1 / K: the groups
are Fourier's and Biot's numbers with the cure as clock. The table spans those two and the room; heat of
cure and its ceiling enter by a slope and a bend, activation energy by a slope. It was made by `datasets/make_atlas.py`
and is checked against the integration it replaces.

References
----------
Broyer & Macosko, AIChE J. 22 (1976) 268, for the groups (citation from memory, not read).
"""

from dataclasses import replace
from functools import cache
from importlib.resources import as_file, files

import numpy as np
from scipy.ndimage import map_coordinates, spline_filter
from scipy.special import expit

from testpour.physics.kinetics import GAS_CONSTANT, ZERO_CELSIUS, induction_time
from testpour.physics.lots import Lots
from testpour.physics.resin import load_resin

DEPTHS = np.linspace(np.log(1.5), np.log(100.0), 43)  # ln mm at unit speed
FILMS = np.linspace(np.log(1.5), np.log(60.0), 11)  # ln W/(m2 K) at unit speed
ROOMS = np.linspace(8.0, 36.0, 5)  # degC
HEAT_STEP, ENERGY_STEP = 0.15, 0.12  # ln of heat of cure and of activation energy over the default's
CEILING_STEP = 0.03  # ceiling of cure beyond the default's
RUNAWAY = 0.8  # ln mm by which the steep part shifts per ln of heat or energy: between 1/2 (faces held) and 1
STALL = 3.0  # ln mm by which it shifts per unit of ceiling: found by trial, for the smallest error two steps away
FIELDS = ("gel", "peak_time", "peak")
FILE = "physics/atlas.npz"


def rise_of(lots: Lots, thickness: np.ndarray, catalyst: float | np.ndarray, room: np.ndarray) -> np.ndarray:
    """Peak in the middle above the room, K, of slabs in a steady room: shape (lots, castings).

    `thickness` is in mm, `catalyst` in % of resin by mass, `room` in °C; beyond the table its edge is taken.
    """
    _, place, aside = _place(lots, thickness, catalyst, room)
    whole = lots.heat_of_cure / load_resin().heat_capacity  # the rise if no heat were lost and all cured
    return whole * expit(_read("peak", place, aside))


def minutes_until(event: str, lots: Lots, thickness: np.ndarray, catalyst: float | np.ndarray, room: np.ndarray) -> np.ndarray:
    """When slabs in a steady room reach an `event` of `FIELDS`, min after the catalyst went in: (lots, castings).

    Settings as in `rise_of`.
    """
    speed, place, aside = _place(lots, thickness, catalyst, room)
    return _wait(lots, catalyst, room) + np.exp(_read(event, place, aside)) / speed


def _wait(lots, catalyst, room):
    resin = replace(load_resin(), induction=lots.induction, induction_exponent=lots.induction_exponent, induction_energy=lots.induction_energy)
    return induction_time(resin, room, catalyst)


def _place(lots, thickness, catalyst, room):
    """Speed of cure in the room relative to the default's, its place in the table, and the three other steps."""
    base = load_resin()
    cold = 1.0 / (room + ZERO_CELSIUS) - 1.0 / (base.reference_temperature + ZERO_CELSIUS)
    speed = lots.rate * catalyst**lots.rate_exponent * np.exp(-lots.rate_energy / GAS_CONSTANT * cold)
    heat, energy = np.log(lots.heat_of_cure / base.heat_of_cure), np.log(lots.rate_energy / base.rate_energy)
    ceiling = lots.ceiling - base.ceiling
    depth = np.log(thickness) + 0.5 * np.log(speed) + RUNAWAY * (heat + energy) + STALL * ceiling
    film = np.log(lots.film) - 0.5 * np.log(speed)
    place = [(x - axis[0]) / (axis[1] - axis[0]) for axis, x in ((DEPTHS, depth), (FILMS, film), (ROOMS, room))]  # in steps of each axis
    return speed, place, (heat / HEAT_STEP, energy / ENERGY_STEP, ceiling / CEILING_STEP)


def _read(name, place, aside):
    """One field at places of the table: shape (lots, castings)."""
    heat, energy, ceiling = aside
    weights = (1.0, heat, heat**2, energy, ceiling, ceiling**2)
    at = np.broadcast_arrays(*place)
    parts = (map_coordinates(part, at, order=3, mode="nearest", prefilter=False) for part in _splines()[name])
    return sum(weight * part for weight, part in zip(weights, parts, strict=True))


@cache
def _splines():
    """Spline coefficients of every field: name to its parts, as `datasets/make_atlas.py` makes them."""
    with as_file(files("testpour").joinpath(FILE)) as path, np.load(path) as stored:
        return {name: [spline_filter(part.astype(float), mode="nearest") for part in stored[name]] for name in FIELDS}
