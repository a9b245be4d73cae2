"""Make the atlas of slabs that `testpour.physics.atlas` looks castings up in: a minute or less.

Run it where the kit is installed, after a change to the resin or the integration: python datasets/make_atlas.py
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from testpour.physics.atlas import (
    CEILING_STEP,
    DEPTHS,
    ENERGY_STEP,
    FIELDS,
    FILE,
    FILMS,
    HEAT_STEP,
    ROOMS,
    RUNAWAY,
    STALL,
)
from testpour.physics.casting import Casting, Face
from testpour.physics.resin import load_resin
from testpour.physics.slab import cure_many


def make_atlas():
    """Integrate every slab of the table; a minute or less.

    Returns
    -------
    dict
        Field name to an array (6, depths, films, rooms): level, slope and bend per step of heat, slope per
        step of energy, slope and bend per step of ceiling. Times as natural logs of minutes, the peak as
        the logit of its share of the whole rise.
    """
    level = _integrated()
    heat, energy, ceiling = ([_integrated(**{name: step}) for step in (1, -1)] for name in ("heat", "energy", "ceiling"))
    made = {}
    for name in FIELDS:
        (slope, bend), (tilt, _), (lift, arch) = (_parts(level[name], *(table[name] for table in pair)) for pair in (heat, energy, ceiling))
        made[name] = np.stack([level[name], slope, bend, tilt, lift, arch]).astype(np.float32)
    return made


def _parts(level, more, less):
    """Slope and bend per step, from one step up and one down."""
    return (more - less) / 2, (more + less) / 2 - level


def _integrated(heat=0, energy=0, ceiling=0):
    """Every field over the table, at a number of steps of heat, energy and ceiling from the default resin."""
    grid = np.stack(np.meshgrid(DEPTHS, FILMS, ROOMS, indexing="ij"), axis=-1)
    found = cure_many([_slab(*point, heat, energy, ceiling) for point in grid.reshape(-1, 3)])
    resin = _resin(ROOMS[0], heat, energy, ceiling)
    share = (found["peak_temperature"] - grid[..., 2].ravel()) * resin.heat_capacity / resin.heat_of_cure
    columns = {
        "gel": np.log(found["gel_time"]),
        "peak_time": np.log(found["time_to_peak"]),
        "peak": np.log(share / (1.0 - share)),
    }
    return {name: column.to_numpy().reshape(grid.shape[:-1]) for name, column in columns.items()}


def _slab(depth, film, room, *steps):
    heat, energy, ceiling = steps
    depth = depth - RUNAWAY * (heat * HEAT_STEP + energy * ENERGY_STEP) - STALL * ceiling * CEILING_STEP
    return Casting(float(np.exp(depth)), 1.0, float(room), face=Face(float(np.exp(film))), resin=_resin(room, *steps))


def _resin(room, heat, energy, ceiling):
    """The default resin some steps aside, with no wait, its speed quoted at `room`, its ceiling there as it was."""
    base = load_resin()
    ceiling = base.ceiling + ceiling * CEILING_STEP + base.ceiling_slope * (room - base.reference_temperature)
    return replace(
        base, induction=0.0, reference_temperature=float(room), ceiling=float(ceiling),
        heat_of_cure=float(base.heat_of_cure * np.exp(heat * HEAT_STEP)), rate_energy=float(base.rate_energy * np.exp(energy * ENERGY_STEP)),
    )  # fmt: skip


if __name__ == "__main__":
    np.savez_compressed(Path(__file__).parents[1] / "kit" / "testpour" / FILE, **make_atlas())
