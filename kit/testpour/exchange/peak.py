"""The hottest instant of a trace, and whether the trace reaches it."""

from dataclasses import dataclass

import numpy as np

from testpour.exchange.onset import RISE, running_mean

TOP = 0.05  # share of the rise, below the highest mean, that is fitted
FALLEN = 1.5  # K below the peak before a trace counts as past it
SHARP = 1.0  # min either side: a peak known this closely is logged as exact
RESTED = 10  # fewest equal rows that may be a clipped top or a stuck probe
NINETY = 1.645  # standard deviations either side of the mean that hold nine in ten


@dataclass(frozen=True)
class Peak:
    """The peak of a trace: the top of a fitted curve, or the highest one-minute mean if the trace is not past its peak."""

    minute: float
    degrees: float
    minute_either_side: float  # nine in ten peaks lie within it
    passed: bool  # whether the trace falls off again
    hole: tuple[float, float] | None = None  # minutes between which the peak may hide: a clipped top, a gap, or too few rows


def find_peak(minutes: np.ndarray, degrees: np.ndarray, noise: float) -> Peak:
    """Fit a cubic to the top of the trace and find its summit; `noise` is the standard deviation of one row, K."""
    rough, top, low, high = highest(minutes, degrees, noise)
    slow = running_mean(minutes, degrees, 3.0)
    passed = slow[top:].max() - slow[-1] >= max(FALLEN, 3.0 * noise)
    x, y = minutes[low : high + 1] - minutes[top], degrees[low : high + 1]
    cut = clipped(degrees)
    hole = (float(minutes[cut[0]]), float(minutes[cut[1]])) if cut else _gap_at_top(minutes, low, high)
    if hole is None and len(x) < 5:
        hole = _neighbours(minutes, top)
    if not passed or len(x) < 5 or hole:
        sway = 0.5 * (x[-1] - x[0])
        return Peak(float(minutes[top]), float(rough[top]), float(sway), bool(passed), hole)
    at, height, either = _summit(x, y, float(minutes[top]), noise)
    return Peak(at, height, either, True)


def highest(minutes: np.ndarray, degrees: np.ndarray, noise: float) -> tuple[np.ndarray, int, int, int]:
    """The one-minute mean about each row, the row of the highest, and the first and last row of the stretch near it."""
    rough = running_mean(minutes, degrees, 1.0)
    top = int(np.argmax(rough))
    depth = max(TOP * (rough[top] - rough.min()), 4.0 * noise)
    return rough, top, *_shoulders(rough, top, rough[top] - depth)


def two_warmings(minutes: np.ndarray, degrees: np.ndarray) -> tuple[int, int, int] | None:
    """The rows of a first top, of the valley after it and of a higher top, if a trace fell far between two tops; else None."""
    slow = running_mean(minutes, degrees, 3.0)
    top = int(np.argmax(slow))
    rise = slow[: top + 1] - np.minimum.accumulate(slow[: top + 1])
    fall = slow[: top + 1] - np.minimum.accumulate(slow[top::-1])[::-1]
    first = int(np.argmax(np.minimum(rise, fall)))
    return (first, first + int(np.argmin(slow[first : top + 1])), top) if min(rise[first], fall[first]) >= 2.0 * RISE else None


def step_of(degrees: np.ndarray) -> float:
    """The smallest step between two readings, K; 0 if all are equal."""
    steps = np.abs(np.diff(np.unique(degrees)))
    return float(steps[steps > 1e-6].min()) if (steps > 1e-6).any() else 0.0


def clipped(degrees: np.ndarray) -> tuple[int, int] | None:
    """First and last row of a top beyond the logger's range: one value, reached and left too fast for a round top; else None."""
    tops = np.flatnonzero(degrees == degrees.max())
    rows = max(map(len, np.split(tops, np.flatnonzero(np.diff(tops) > 1) + 1)))
    first, last, near = int(tops[0]), int(tops[-1]), min(rows // 2, RESTED)
    if rows < RESTED or first < near or last + near >= len(degrees):
        return None
    return (first, last) if degrees[first] - max(degrees[first - near], degrees[last + near]) > 5.0 * step_of(degrees) else None


def stuck_from(minutes: np.ndarray, degrees: np.ndarray) -> int | None:
    """The row from which a trace shows one value to its end, although it was rising fast; else None."""
    first = int(np.flatnonzero(degrees != degrees[-1]).max(initial=-1)) + 1
    if first < RESTED or len(degrees) - first < 2 * RESTED:
        return None
    start = min(int(np.searchsorted(minutes, minutes[first] - SHARP)), first - RESTED)
    return first if degrees[first] - degrees[start] > max(1.0, 10.0 * step_of(degrees)) else None


def _shoulders(rough, top, level):
    """First and last row of the stretch about `top` that stays above `level`."""
    below = np.flatnonzero(rough <= level)
    before, after = below[below < top], below[below > top]
    return (before[-1] + 1 if len(before) else 0), (after[0] - 1 if len(after) else len(rough) - 1)


def _gap_at_top(minutes, low, high):
    """A gap of two minutes and five rows or more, at the top."""
    step = np.median(np.diff(minutes))
    first, last = max(low - 1, 0), min(high + 1, len(minutes) - 1)
    wide = np.flatnonzero(np.diff(minutes[first : last + 1]) > max(2.0, 5.0 * step)) + first
    return next(((float(minutes[k]), float(minutes[k + 1])) for k in wide), None)


def _neighbours(minutes, top):
    """The minutes of the rows before and after a top, if they are too far apart for an exact peak; else None."""
    first, last = float(minutes[max(top - 1, 0)]), float(minutes[min(top + 1, len(minutes) - 1)])
    return (first, last) if last - first > 2.0 * SHARP else None


def _summit(x, y, middle, noise):
    """Minute, degrees and nine-in-ten half-width (min) of the top of a cubic."""
    half = np.abs(x).max()
    design = np.vander(x / half, 4, increasing=True)
    coefficients = np.linalg.lstsq(design, y, rcond=None)[0]
    for _ in range(3):
        off = np.abs(y - design @ coefficients) / noise
        root_weight = np.sqrt(np.minimum(1.0, 2.5 / np.maximum(off, 1e-9)))
        coefficients = np.linalg.lstsq(design * root_weight[:, None], y * root_weight, rcond=None)[0]
    fine = np.linspace(x[0], x[-1], 2001) / half
    height = np.vander(fine, 4, increasing=True) @ coefficients
    at = fine[np.argmax(height)]
    bend = 2.0 * coefficients[2] + 6.0 * coefficients[3] * at
    covariance = noise**2 * np.linalg.pinv(design.T @ design)
    slope = np.array([0.0, 1.0, 2.0 * at, 3.0 * at**2])
    sway = half * np.sqrt(slope @ covariance @ slope) / max(abs(bend), 1e-9)
    widest = 0.5 * (x[-1] - x[0])
    either = min(max(NINETY * float(sway), float(np.median(np.diff(x)))), float(widest))
    return middle + float(at * half), float(height.max()), either
