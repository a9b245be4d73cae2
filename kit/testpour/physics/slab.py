"""Curing one casting or many: temperature and conversion through the thickness over time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.interpolate import CubicHermiteSpline

from testpour.physics.casting import HOUR, MINUTE, Casting
from testpour.physics.events import ProbeRecord, Probes, WholeRecord, first_crossing, largest
from testpour.physics.kinetics import stir
from testpour.physics.march import Accuracy, CureState, HeatEquation, Room, march
from testpour.physics.network import build, cut, stack
from testpour.physics.resin import Resin

SLICES = 24
UNEVEN_SLICES = 48
FIRST_STEP = 1.0  # s
SUMMARY = ("gel_time", "time_to_peak", "peak_temperature", "hottest", "core_conversion", "face_conversion", "largest_difference")


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
    """Follow one casting through its cure, at `minutes` after mixing, or by default at the solver's own steps.

    `slices` go through the thickness, or half of it where both sides are alike: by default 24, or 48 where the sides differ
    or layers follow. `accuracy` is the error allowed in a step.
    """
    trace, cuts = _follow([casting], slices or _slices([casting]), accuracy or Accuracy(), whole=True)
    summary = _summary([casting], trace)
    times, temperature, conversion = _history(trace, minutes)
    middle = temperature @ trace.probes.centre[0]
    depth, temperature, conversion = _through(casting, cuts[0], temperature, conversion)
    summary_values = (float(summary[name][0]) for name in ("gel_time", "time_to_peak", "peak_temperature", "largest_difference"))
    return CureRun(times / MINUTE, depth, middle, temperature, conversion, *summary_values)


def cure_many(castings: Sequence[Casting], slices: int | None = None) -> pd.DataFrame:
    """Follow many castings at once and keep only a summary: one row per casting, with the columns of `SUMMARY`.

    Times are in min, temperatures in °C, conversions 0 to 1.
    """
    castings = list(castings)
    if not castings:
        return pd.DataFrame(columns=list(SUMMARY), dtype=float)
    trace, _ = _follow(castings, slices or _slices(castings), Accuracy())
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
    if minutes is None:
        return run.time, run.temperature, run.conversion
    wanted = np.atleast_1d(np.asarray(minutes, dtype=float)) * MINUTE
    time, first = np.unique(run.time, return_index=True)  # the end of one stretch is the start of the next
    return wanted, *(CubicHermiteSpline(time, y[first], slope[first])(wanted) for y, slope in ((run.temperature, run.warming), (run.conversion, run.rate)))


def _through(casting, slices, temperature, conversion):
    """Depth in mm from the top, and both histories sorted by it."""
    depth = 1e3 * (slices.edges[-1] - slices.centres)
    if not casting.even:
        return depth[::-1], temperature[:, ::-1], conversion[:, ::-1]
    depth = np.concatenate([depth[::-1], casting.thickness - depth])
    return depth, *(np.concatenate([y[:, ::-1], y], axis=1) for y in (temperature, conversion))


def _follow(castings, slices, accuracy, whole=False):
    """The record of every casting marched to its end, from one event to the next (pours, oven steps), and how each is cut; `whole` keeps every slice of one."""
    cuts = [_cut(casting, slices) for casting in castings]
    breaks = [[*casting.breaks, casting.hours * HOUR] for casting in castings]
    layers = [np.array([pour.catalyst for pour in casting.pours]) for casting in castings]
    catalyst = np.array([doses[owner] for doses, (_, owner) in zip(layers, cuts, strict=True)])  # % of every slice, (castings, slices)
    state = _start(castings, slices)
    trace = WholeRecord() if whole else ProbeRecord(len(castings))
    for phase in range(max(map(len, breaks)) - 1):
        rows = np.array([row for row, times in enumerate(breaks) if phase < len(times) - 1])
        some = [(castings[row], *cuts[row], *breaks[row][phase : phase + 2]) for row in rows]
        problem = _problem(some, catalyst[rows])
        weights = [_weights(casting, slices, _poured(casting, owner, start)) for casting, slices, owner, start, _ in some]
        trace.begin(rows, Probes(*(np.array(place) for place in zip(*weights, strict=True))))
        part = state.take(rows)
        part.step[:] = FIRST_STEP
        march(problem, part, trace, accuracy)
        trace.end()
        state.put(rows, part)
    return trace, [slices for slices, _ in cuts]


def _cut(casting, count):
    """The slices of a casting and the number of the layer each belongs to."""
    metres = [1e-3 * pour.thickness for pour in casting.pours]
    return cut([0.5 * metres[0]] if casting.even else metres, count)


def _start(castings, count):
    """The state of every casting just after pouring."""
    temperature = np.repeat([[casting.start_temperature] for casting in castings], count, axis=1)
    spent = np.repeat([[float(casting.resin.induction == 0.0)] for casting in castings], count, axis=1)
    clock = np.zeros(len(castings))
    return CureState(clock, np.full(len(castings), FIRST_STEP), temperature, np.zeros(temperature.shape), spent)


def _problem(some, catalyst):
    """What stays fixed between two breaks, of castings with their slices, the layer of each, start and end (s)."""
    parts, air = [], []
    for casting, slices, owner, start, end in some:
        below = None if casting.even else casting.other_face or casting.face
        parts.append(build(slices, casting.resin, _poured(casting, owner, start), below, casting.face))
        first, last = casting.air(start + 1e-6), casting.air(end - 1e-6)
        air.append((start, first, (last - first) / (end - start)))
    room = Room(*np.array(air).T[:, :, None])
    resins = Resin(**{name: np.array([[float(getattr(casting.resin, name))] for casting, *_ in some]) for name in Resin.__dataclass_fields__})
    return HeatEquation(stack(parts), stir(resins, catalyst), room, np.array([end for *_, end in some]))


def _poured(casting, owner, time):
    """Which slices are in the mould from `time` (s) on."""
    return np.array([pour.minute * MINUTE <= time for pour in casting.pours])[owner]


def _weights(casting, slices, poured):
    """Weights of the middle, the lower face and the upper face of one casting."""
    middle, lower, upper = np.zeros((3, poured.size))
    top = int(np.flatnonzero(poured)[-1])
    upper[[top, top - 1]] = 1.5, -0.5
    if casting.even:
        # No heat flows through the middle, so the profile is flat there.
        middle[[0, 1]] = 1.125, -0.125
        return middle, upper, upper
    lower[[0, 1]] = 1.5, -0.5
    place = 0.5e-3 * casting.thickness
    after = int(np.searchsorted(slices.centres, place))
    share = (place - slices.centres[after - 1]) / (slices.centres[after] - slices.centres[after - 1])
    middle[[after - 1, after]] = 1.0 - share, share
    return middle, lower, upper
