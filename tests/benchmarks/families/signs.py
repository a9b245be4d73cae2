"""What the trade expects of a resin, checked on a hidden one: which expectations it breaks.

Used to keep ordinary resins ordinary and to see that contradicting ones contradict. The expectations: supplier data
sheets and trade pages (more peroxide and warmth shorten the gel, thick castings run hotter, open faces stay tackier,
thin and cold ones softer, heavy pigment softens); how much counts as broken is common practice, no source.
"""

import numpy as np

from families.bench import columns

BASES = [(room, depth) for room in (17.0, 23.0) for depth in (8.0, 14.0)]
MOVES = {
    "dose": ("catalyst", 1.0, 2.5),
    "weak": ("catalyst", 0.6, 1.8),
    "cover": ("cover", 1.0, 0.0),
    "warmth": ("room_temperature", 16.0, 25.0),
    "pigment": ("pigment", 0.5, 5.0),
    "thickness": ("thickness", 6.0, 16.0),
}


def moved(resin):
    """Average change of each reading over rooms and depths when one setting is moved, by the move's name."""
    rows = {name: [] for name in ("catalyst", "pigment", "thickness", "cover", "room_temperature")}
    for setting, *ends in MOVES.values():
        for end in ends:
            for room, depth in BASES:
                made = {"catalyst": 1.5, "pigment": 0.5, "cover": 1.0, "room_temperature": room, "thickness": depth, setting: end}
                for name, column in rows.items():
                    column.append(made[name])
    found = resin.ideal(columns(rows))
    change = {name: {} for name in MOVES}
    for reading, values in found.items():
        split = np.reshape(np.asarray(values, float), (len(MOVES), 2, len(BASES)))
        with np.errstate(invalid="ignore"):
            for name, (low, high) in zip(MOVES, split, strict=True):
                change[name][reading] = float(np.mean(high - low))
    return change


def broken(resin):
    """Names of the trade's expectations that a resin breaks."""
    change = moved(resin)
    checks = {name: change[name]["tack"] > 0.4 or change[name]["hardness"] < -4 for name in ("dose", "warmth", "thickness")} | {
        "cover": change["cover"]["tack"] < -0.2,
        "pigment": change["pigment"]["hardness"] > 2 or abs(change["pigment"]["gel_time"]) > 0.35,
        "gel": not (change["dose"]["gel_time"] < -0.3 and change["warmth"]["gel_time"] < -0.2),
        "heat": change["thickness"]["peak_temperature"] < 5,
        "weak": change["weak"]["tack"] > 0.1 or change["weak"]["hardness"] < -1,
    }
    return {name for name, found in checks.items() if found}


def ordinary(resin):
    """Whether a resin does all that the trade expects, and an open face is clearly tackier."""
    return not broken(resin) and moved(resin)["cover"]["tack"] > 0.3


def contradicting(resin):
    """Whether a resin breaks two or more of what the trade says of dose, warmth, pigment, cover and thickness."""
    return len(broken(resin) & {"dose", "warmth", "pigment", "cover", "thickness"}) >= 2
