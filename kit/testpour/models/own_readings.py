"""A person's own reading: no trade belief exists, so its own range, or else its readings, set the scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading

PARTS = 8  # a belief's unit is this part of the believable range
LEAST = 1e-6


def own_scale(reading: Reading, rows: pd.DataFrame | None = None) -> tuple[float, float]:
    """Where a person's own reading may lie, and what counts as one unit of change, on the latent scale.

    On a plain or log scale its believable range says it; one without is read off ``low`` and ``high`` of the log's `rows`. 0 and 1
    on scales that have a natural unit.
    """
    if reading.scale not in ("plain", "log"):
        return 0.0, 1.0
    log = reading.scale == "log"
    ends = np.array([reading.low, reading.high])
    if np.isfinite(ends).all() and (ends[0] > 0 or not log):
        ends = np.log(ends) if log else ends
        return float(ends.mean()), 1.0 if log else float(np.diff(ends)[0]) / PARTS or 1.0
    known = [] if rows is None else rows[["low", "high"]].to_numpy(float).ravel()
    known = np.array([value for value in known if np.isfinite(value) and (value > 0 or not log)])
    if not len(known):
        return 0.0, 1.0
    known = np.log(known) if log else known
    centre = float(np.median(known))
    if known.min() == known.max():  # one value says how large a reading is, not by how much it may move
        return centre, 1.0 if log else abs(centre) / PARTS or 1.0
    return centre, 1.0 if log else max(float(known.std()), abs(centre) / 100, LEAST)
