"""Make the example trace: a calculated casting seen through an invented logger in an invented room.

Run from the checkout: python datasets/make_trace.py
"""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from testpour.physics.casting import Casting
from testpour.physics.slab import cure

HERE = Path(__file__).parent
START = datetime(2026, 3, 16, 21, 40)  # the logger is switched on
MIXED = 12.0  # min later the catalyst goes in
EVERY, LENGTH = 10.0, 170.0  # s, min
ROOM = ((0.0, 20.5), (0.5, 20.9), (1.0, 20.4), (2.0, 19.8), (3.0, 19.5))  # h after mixing, degC
HEAD = ["Thermocouple log (invented)", "Interval;10 s", "Date;Time;middle (°C);room (°C)"]


def shown(degrees):
    """One decimal with a comma; blank where the logger lost the wire."""
    return "" if np.isnan(degrees) else f"{degrees:.1f}".replace(".", ",")


def make(path):
    """Write the trace; returns its path."""
    rng = np.random.default_rng(16)
    minutes = np.arange(0.0, LENGTH, EVERY / 60) - MIXED
    casting = Casting(14.0, 1.4, 20.5, programme=ROOM, hours=3.0)
    room = np.interp(minutes / 60, *zip(*ROOM, strict=True))
    middle = np.where(minutes < 0, room, cure(casting, np.maximum(minutes, 0.0)).middle)
    middle, room = (y + spread * rng.standard_normal(len(y)) for y, spread in ((middle, 0.5), (room, 0.2)))
    for start in rng.integers(0, len(minutes), 8):
        middle[start : start + rng.integers(3, 13)] = np.nan
    stamps = [START + timedelta(minutes=float(m + MIXED)) for m in minutes]
    rows = [f"{s:%d.%m.%Y};{s:%H:%M:%S};{shown(m)};{shown(r)}" for s, m, r in zip(stamps, middle, room, strict=True)]
    path.write_text("\n".join([*HEAD, *rows]) + "\n", encoding="utf-8", newline="\n")
    return path


if __name__ == "__main__":
    print(make(HERE / "thermocouple-trace.csv"))
