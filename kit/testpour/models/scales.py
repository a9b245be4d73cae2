"""The latent scale, on which a reading's scatter is even: the log's rows on it, and the way back."""

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from testpour.likelihood.observations import grade_edges
from testpour.study.columns import Reading

ADIABATIC_RISE = 175.0  # K: heat of cure near 300 kJ/kg over 1.7 kJ/(kg K); textbook values, from memory
PARTS = 8  # the unit of belief about a person's own reading is this part of its believable range
LEAST = 1e-6  # smallest such unit
NEARLY = 1e-9  # of an instrument's step: a bound this near to one lies on it


def to_latent(reading: Reading, values: np.ndarray, room: np.ndarray | pd.Series | None = None) -> np.ndarray:
    """Readings on their latent scale, with the room in °C on the rise scale; open ends as -inf and inf.

    A value at or beyond the end of the scale becomes an open end.
    """
    values = np.asarray(values, float)
    if reading.scale == "log":
        with np.errstate(divide="ignore"):
            return np.log(np.maximum(values, 0))
    low, width = _ends(reading, room)
    return values if width is None else logit(np.clip((values - low) / width, 0, 1))


def to_reading(reading: Reading, latent: np.ndarray, room: np.ndarray | pd.Series | None = None) -> np.ndarray:
    """Back from the latent scale to the reading's unit, clipped to its range; grades stay on their latent scale."""
    latent = np.asarray(latent, float)
    if reading.scale == "log":
        return np.exp(np.minimum(latent, 700))
    if reading.scale == "plain":
        return np.clip(latent, reading.low, reading.high)
    low, width = _ends(reading, room)
    return latent if width is None else low + width * expit(latent)


def _ends(reading, room):
    """Lower end and width of a bounded scale; no width on an unbounded one."""
    if reading.scale == "share":
        return reading.low, reading.high - reading.low
    if reading.scale == "rise":
        return np.asarray(20.0 if room is None else room, float), ADIABATIC_RISE
    return 0.0, None


def widen(reading: Reading, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """An exact reading from an instrument with steps is known to half a step only."""
    half = reading.resolution / 2
    exact = low == high
    return np.where(exact, low - half, low), np.where(exact, high + half, high)


def met_from_to(reading: Reading, at_least: float | None, at_most: float | None) -> tuple[float, float]:
    """The values between which a casting meets an aim, infinite if open; an instrument with steps rounds, and its reading is what counts."""
    low, high, step = -np.inf if at_least is None else at_least, np.inf if at_most is None else at_most, reading.resolution
    if reading.grades or not step:
        return low, high
    return (np.ceil(low / step - NEARLY) - 0.5) * step, (np.floor(high / step + NEARLY) + 0.5) * step


def latent_ends(reading: Reading, rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper ends (n,) of each row on the latent scale, infinite where open; for grades, the grades themselves."""
    low, high = rows["low"].to_numpy(float), rows["high"].to_numpy(float)
    if reading.grades:
        return low, high
    room = rows.get("room_temperature")
    low, high = (np.asarray(to_latent(reading, ends, room)) for ends in widen(reading, low, high))
    # A peak a whole step under the room, or over the full rise, leaves both ends open on one side: it is known
    # to lie in the first or the last step of the scale, no further.
    first, last = (to_latent(reading, end, room) for end in _last_steps_of_scale(reading, rows, room))
    return np.where(low == np.inf, last, low), np.where(high == -np.inf, first, high)


def ends_by_draw(reading: Reading, rows: pd.DataFrame, cuts: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Latent ends of each row for each draw of the cut-points (m, grades - 1): two arrays (m, rows).

    Without cut-points (None) the ends are the same for every draw: (1, rows).
    """
    low, high = latent_ends(reading, rows)
    if cuts is None:
        return low[None, :], high[None, :]
    edges = grade_edges(cuts)
    last = edges.shape[1] - 2
    return edges[:, np.clip(low, 0, last).astype(int)], edges[:, np.clip(high, 0, last).astype(int) + 1]


def _last_steps_of_scale(reading, rows, room):
    """The values one step inside either end of the scale, as arrays with one entry per row."""
    ends = (to_reading(reading, np.full(len(rows), end), room) for end in (-np.inf, np.inf))
    step = max(reading.resolution, 1e-6)
    return tuple(end + move for end, move in zip(ends, (step, -step), strict=True))


def as_read(reading: Reading, latent: np.ndarray, cuts: np.ndarray | None, room: np.ndarray | pd.Series | None) -> np.ndarray:
    """Castings (m, n) as read: in the reading's unit, or as the grade given by each draw of the cut-points."""
    if cuts is None:
        return to_reading(reading, latent, room)
    return (latent[:, :, None] > cuts[:, None, :]).sum(axis=2).astype(float)


def own_scale(reading: Reading, rows: pd.DataFrame | None = None) -> tuple[float, float]:
    """The centre of a person's own reading and one unit of change, on the latent scale.

    On a plain or log scale both come from its believable range, else from ``low`` and ``high`` of the log's `rows`; 0 and 1
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
