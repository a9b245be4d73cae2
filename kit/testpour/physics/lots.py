"""Parameters that differ from one lot, room and bench to the next, and their prior.

A lot is a place in nine coordinates, each in standard deviations of belief from the default resin.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from testpour.common.toml_file import own_toml
from testpour.physics.casting import Face
from testpour.physics.resin import Resin, load_resin


@dataclass(frozen=True)
class Lots:
    """Unknowns of one or many lots; each a float or an array of shape (lots, 1)."""

    induction: float | np.ndarray  # min at 1 % catalyst and the reference temperature
    induction_exponent: float | np.ndarray
    induction_energy: float | np.ndarray  # J/mol
    rate: float | np.ndarray  # both rates of cure over those of `resin.toml`
    rate_exponent: float | np.ndarray
    rate_energy: float | np.ndarray  # J/mol
    film: float | np.ndarray  # heat that either face gives to the room, W/(m2 K)
    heat_of_cure: float | np.ndarray  # J/kg
    ceiling: float | np.ndarray  # conversion at which cure stalls at the reference temperature of `resin.toml`


UNKNOWNS = tuple(Lots.__dataclass_fields__)


def lot_beliefs() -> dict:
    """The prior of each unknown, as the tables of `lot.toml`."""
    return own_toml("physics/lot.toml")


@cache
def _scale():
    """Middle, sd and kind (True for a ratio) of each unknown."""
    resin, table = load_resin(), lot_beliefs()
    middles = {"rate": 1.0, "film": Face().film}
    middle = np.array([middles.get(name) or getattr(resin, name) for name in UNKNOWNS])
    ratio = np.array([table[name]["kind"] == "ratio" for name in UNKNOWNS])
    return middle, np.array([table[name]["sd"] for name in UNKNOWNS]), ratio


def lots_at(places: np.ndarray) -> Lots:
    """The lots at places of shape (lots, 9) or (9,), in standard deviations from the default, in the order of `UNKNOWNS`."""
    places = np.atleast_2d(places)
    middle, sd, ratio = _scale()
    values = np.where(ratio, middle * np.exp(sd * places * ratio), middle + sd * places)
    return Lots(*(values[:, [k]] for k in range(len(UNKNOWNS))))


def resin_of(lots: Lots, k: int = 0) -> Resin:
    """The `Resin` of the k-th lot."""
    base = load_resin()
    value = {name: float(getattr(lots, name)[k, 0]) for name in UNKNOWNS}
    rate = value.pop("rate")
    value.pop("film")
    return replace(base, **value, first_rate=base.first_rate * rate, second_rate=base.second_rate * rate)


def face_of(lots: Lots, k: int = 0) -> Face:
    """The `Face` of the k-th lot's bench."""
    return Face(float(np.asarray(lots.film)[k, 0]))
