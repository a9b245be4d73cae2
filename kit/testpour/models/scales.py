"""The scale on which a reading's scatter is even: its latent scale, and the way back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading

ADIABATIC_RISE = 175.0  # K: heat of cure near 300 kJ/kg over 1.7 kJ/(kg K); textbook values, from memory


def to_latent(reading: Reading, values: np.ndarray, room: np.ndarray | pd.Series | None = None) -> np.ndarray:
    """Readings on their latent scale, with the room in °C on the rise scale; open ends as -inf and inf.

    A value at or beyond the end of the scale becomes an open end.
    """
    values = np.asarray(values, float)
    if reading.scale == "log":
        with np.errstate(divide="ignore"):
            return np.log(np.maximum(values, 0))
    low, width = _ends(reading, room)
    if width is None:
        return values
    share = np.clip((values - low) / width, 0, 1)
    with np.errstate(divide="ignore"):
        return np.log(share) - np.log1p(-share)


def to_reading(
    reading: Reading, latent: np.ndarray, room: np.ndarray | pd.Series | None = None
) -> np.ndarray:
    """Back from the latent scale to the reading's unit, held to its range; grades stay on their latent scale."""
    latent = np.asarray(latent, float)
    if reading.scale == "log":
        return np.exp(np.minimum(latent, 700))
    if reading.scale == "plain":
        return np.clip(latent, reading.low, reading.high)
    low, width = _ends(reading, room)
    return latent if width is None else low + width / (1 + np.exp(-np.clip(latent, -700, 700)))


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
