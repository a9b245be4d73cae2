"""What a trace shows: noise, onset, gel and peak, known as in the log."""

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view

from testpour.exchange.onset import RISE, find_onset, running_mean
from testpour.exchange.peak import FALLEN, SHARP, find_peak, highest, step_of
from testpour.logbook.known import how_known

BEFORE = 3.0  # min of trace needed before an onset
PACE = 60.0  # min within which self-heating must rise to be told from a warming room
COOLING = 10.0  # K/min: calculated castings of 8 to 60 mm cool by 6 at most, though they warm far faster
AHEAD = 2.0  # min over which a fall from the top is measured
STEEPEST = 0.5  # min over which a probe that came out falls most
WARM = 40.0  # degC: warmer than any room, and than resin is poured
FEW = 4  # fewest rows up to the peak for finding an onset
RUN = 5  # most rows of a glitch


def find_readings(minutes: np.ndarray, degrees: np.ndarray, room: np.ndarray | None = None) -> tuple[pd.DataFrame, str, float, np.ndarray]:
    """Readings, state, noise and the trace without cure, from rows after mixing, in order and without gaps; see `Trace`."""
    noise = _noise_of(degrees)
    peak = find_peak(minutes, degrees, noise)
    before = minutes <= max(peak.minute, minutes[0])
    inert = np.full(len(minutes), np.nan)
    hot = peak.passed and _began_hot(minutes, degrees)
    if hot and peak.degrees - degrees[before][0] < max(FALLEN, 3.0 * noise):
        return _began_after(peak, minutes), "peaked", noise, inert
    enough_rows = not hot and before.sum() >= FEW
    onset = find_onset(minutes[before], degrees[before], noise, None if room is None else room[before]) if enough_rows else None
    if not hot and not _stands_out(minutes, degrees, onset, peak, before):
        return _table({}), "flat", noise, inert
    if onset is not None:
        inert[before] = onset.inert
    return _readings(onset, peak, minutes), "peaked" if peak.passed else "rising", noise, inert


def _noise_of(degrees: np.ndarray) -> float:
    """Standard deviation of one row, K, from second differences, in which a slope cancels."""
    from statsmodels.robust.scale import mad  # takes a second to load

    bends = np.diff(degrees, 2)
    return float(max(mad(bends, center=0) / np.sqrt(6.0) if len(bends) else 0.0, min(step_of(degrees), 1.0) / np.sqrt(12.0), 0.03))


def glitches(minutes: np.ndarray, degrees: np.ndarray) -> np.ndarray:
    """Which rows jump away and back faster than a casting cools, in runs of `RUN` rows or fewer.

    In such a run each row is far from the mean of the rows before and after the run, and those two agree.
    """
    found, least = np.zeros(len(degrees), bool), 8.0 * _noise_of(degrees) + 2.0
    fast = np.abs(np.diff(degrees)) > COOLING * np.diff(minutes)
    for size in range(1, min(RUN, len(degrees) - 2) + 1):
        before, after = degrees[: -size - 1], degrees[size + 1 :]
        off = np.abs(sliding_window_view(degrees[1:-1], size) - 0.5 * (before + after)[:, None]).min(axis=1)
        starts = np.flatnonzero((off > least + 1.5 * np.abs(after - before)) & fast[: len(off)] & fast[size:]) + 1
        found[(starts[:, None] + np.arange(size)).ravel()] = True
    return found


def left_the_casting(minutes: np.ndarray, degrees: np.ndarray) -> int | None:
    """The last row before a thermocouple came out of the casting near its peak, after which the trace falls faster than a casting cools.

    None if it stayed in until the trace had fallen from its top.
    """
    rough, top, _, high = highest(minutes, degrees, _noise_of(degrees))
    for row in range(top, high + 1):
        later = int(np.searchsorted(minutes, minutes[row] + AHEAD))
        if later < len(minutes) and rough[row] - rough[later] > COOLING * (minutes[later] - minutes[row]):
            after = np.searchsorted(minutes, minutes[row : later + 1] + STEEPEST).clip(max=len(minutes) - 1)
            return row + int(np.argmax(degrees[row : later + 1] - degrees[after]))
    return None


def _stands_out(minutes, degrees, onset, peak, before):
    """Whether there is self-heating of `RISE` or more, faster than a room warms."""
    if onset is None or not np.isfinite(onset.between("minutes", 0.5)) or peak.degrees - onset.inert[-1] < RISE:
        return _steep(minutes, degrees, before) >= 2.0 * RISE
    return _steep(minutes, degrees, before) >= RISE


def _steep(minutes, degrees, before):
    """Largest rise of the smoothed trace within `PACE` minutes, up to the peak."""
    t, y = minutes[before], running_mean(minutes, degrees, 3.0)[before]
    start = np.searchsorted(t, t - PACE)
    return max(y[k] - y[i : k + 1].min() for k, i in enumerate(start))


def _began_hot(minutes, degrees):
    """Whether a trace begins warmer than resin is poured, and then cools faster than a room."""
    first = degrees[minutes <= minutes[0] + PACE]
    return first[0] > WARM and first[0] - first.min() >= 2.0 * RISE


def _began_after(peak, minutes):
    """The readings of a trace that only cools: the peak is at least its highest row, and no later than that."""
    rows = {"peak_temperature": _interval(peak.degrees, np.inf)}
    if minutes[0] > 0.0:  # else the first row was taken as the time of mixing, and says nothing about the time to peak
        by = peak.hole[1] if peak.hole else peak.minute + peak.minute_either_side
        rows = {"time_to_peak": (by, -np.inf, by), **rows}
    return _table(rows)


def _readings(onset, peak, minutes):
    rows = {}
    low, middle, high = (onset.between("minutes", share) if onset else np.inf for share in (0.05, 0.5, 0.95))
    if BEFORE <= middle - minutes[0] < np.inf:
        rows["onset"] = (middle, low, high)
        first, last = max(onset.between("leaves", 0.05), 0.5), onset.between("gelled", 0.95)
        rows["gel_time"] = _interval(first, max(min(last, peak.minute), first) if peak.passed else last)
    if peak.hole or not peak.passed:
        rows["time_to_peak"] = _interval(*(peak.hole if peak.passed else (minutes[-1], np.inf)))
        rows["peak_temperature"] = _interval(peak.degrees, np.inf)
    else:
        near, ends = peak.minute_either_side, (peak.minute - peak.minute_either_side, peak.minute + peak.minute_either_side)
        rows["time_to_peak"] = (peak.minute, peak.minute, peak.minute) if near <= SHARP else _interval(*ends)
        rows["peak_temperature"] = (peak.degrees, peak.degrees, peak.degrees)
    return _table(rows)


def _table(rows):
    found = pd.DataFrame.from_dict(rows, orient="index", columns=["value", "low", "high"], dtype=float).rename_axis("reading")
    return found.assign(known=how_known(found))


def _interval(low, high):
    return (0.5 * (low + high) if np.isfinite(high) else low), low, high
