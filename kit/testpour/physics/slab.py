"""Cure a casting, or a thousand: temperature and conversion through the thickness, minute by minute."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.physics.casting import MINUTE, Casting
from testpour.physics.events import first_crossing, hermite, largest
from testpour.physics.follow import follow
from testpour.physics.march import Accuracy

SLICES = 24
UNEVEN_SLICES = 48
SUMMARY = (
    "gel_time", "time_to_peak", "peak_temperature", "hottest", "core_conversion", "face_conversion", "largest_difference",
)


@dataclass(frozen=True)
class CureRun:
    """One casting followed through its cure."""

    minutes: np.ndarray  # after mixing (times,)
    depth: np.ndarray  # mm below the top (depths,)
    middle: np.ndarray  # temperature in the middle (of the first layer), °C (times,)
    temperature: np.ndarray  # °C (times, depths)
    conversion: np.ndarray  # 0 to 1 (times, depths)
    gel_time: float  # min until the middle gels; NaN if it does not
    # Min until the middle is hottest between its gel and the oven (or the end); NaN if it does not gel, or is still warming.
    time_to_peak: float
    peak_temperature: float  # °C, in the middle, at `time_to_peak`
    largest_difference: float  # largest temperature difference across the casting at any time, K


def cure(casting: Casting, minutes: np.ndarray | None = None, slices: int | None = None, accuracy: Accuracy | None = None) -> CureRun:
    """Follow one casting through its cure, at `minutes` after mixing; at the solver's own steps where none are given.

    `slices` go through the thickness, or half of it where both sides are alike: by default 24, or 48 where the sides differ
    or layers follow. `accuracy` is the error allowed in a step.
    """
    trace, cuts = follow([casting], slices or _slices([casting]), accuracy or Accuracy(), whole=True)
    summary = _summary([casting], trace)
    times, temperature, conversion = _history(trace, minutes)
    middle = temperature @ trace.probes.centre[0]
    depth, temperature, conversion = _through(casting, cuts[0], temperature, conversion)
    told = (float(summary[name][0]) for name in ("gel_time", "time_to_peak", "peak_temperature", "largest_difference"))
    return CureRun(times / MINUTE, depth, middle, temperature, conversion, *told)


def cure_many(castings: Sequence[Casting], slices: int | None = None) -> pd.DataFrame:
    """Follow many castings at once and keep only what the bench would note: one row a casting, the columns of `SUMMARY`.

    Times are in min, temperatures in °C, conversions 0 to 1.
    """
    castings = list(castings)
    if not castings:
        return pd.DataFrame(columns=list(SUMMARY), dtype=float)
    trace, _ = follow(castings, slices or _slices(castings), Accuracy())
    return pd.DataFrame(_summary(castings, trace))


def _slices(castings):
    return SLICES if all(casting.even for casting in castings) else UNEVEN_SLICES


def _summary(castings, trace):
    """The columns of `SUMMARY`, each (castings,)."""
    time, centre, core = (trace.column(name) for name in ("time", "centre", "core"))
    level = np.array([casting.resin.gel_conversion for casting in castings])
    gel = first_crossing(time, core, trace.column("curing"), level)
    window = np.array([[casting.end_of_room + 1e-6] for casting in castings])
    within = (time >= gel[:, None]) & (time <= window)
    peak_time, peak = largest(time, centre, trace.column("warming"), within)
    last = (np.arange(len(castings)), trace.count - 1)
    hottest, spread = (np.nanmax(trace.column(name), axis=1) for name in ("hottest", "spread"))
    hottest = np.fmax(hottest, peak)
    ends = core[last], trace.column("face")[last]
    return dict(zip(SUMMARY, (gel / MINUTE, peak_time / MINUTE, peak, hottest, *ends, spread), strict=True))


def _history(trace, minutes):
    """Times (s), temperature and conversion (times, slices) of the one casting that was kept whole."""
    run = trace.history()
    time = run.time
    if minutes is None:
        return time, run.temperature, run.conversion
    wanted = np.atleast_1d(np.asarray(minutes, dtype=float)) * MINUTE
    after = np.clip(np.searchsorted(time, wanted), 1, time.size - 1)
    width = (time[after] - time[after - 1])[:, None]
    share = (wanted - time[after - 1])[:, None] / np.maximum(width, 1e-12)
    reports = (
        hermite(share, width, y[after - 1], y[after], m[after - 1], m[after])
        for y, m in ((run.temperature, run.warming), (run.conversion, run.rate))
    )
    return wanted, *reports


def _through(casting, slices, temperature, conversion):
    """Depth in mm from the top, and both histories sorted by it."""
    depth = 1e3 * (slices.edges[-1] - slices.centres)
    if not casting.even:
        return depth[::-1], temperature[:, ::-1], conversion[:, ::-1]
    depth = np.concatenate([depth[::-1], casting.thickness - depth])
    return depth, *(np.concatenate([y[:, ::-1], y], axis=1) for y in (temperature, conversion))
