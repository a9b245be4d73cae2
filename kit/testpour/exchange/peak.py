"""The hottest instant of a trace, and whether the trace has seen it."""

from dataclasses import dataclass

import numpy as np

from testpour.exchange.onset import smoothed

TOP = 0.05  # share of the rise, below the highest mean, that is fitted
FALLEN = 1.5  # K below the peak before a trace counts as past it
SHARP = 1.0  # min either side: a peak known so closely is logged as read off
NINETY = 1.645  # standard deviations either side that hold nine in ten


@dataclass(frozen=True)
class Peak:
    """The peak of a trace: where a fitted curve is highest, or the highest mean of a minute where it is not past it."""

    minute: float
    degrees: float
    minute_either_side: float  # nine in ten peaks lie within it
    passed: bool  # whether the trace falls off again
    hole: tuple[float, float] | None = None  # minutes between which the peak may hide: a gap, or too few rows


def find_peak(minutes: np.ndarray, degrees: np.ndarray, noise: float) -> Peak:
    """Fit a cubic to the top of the trace and read off its summit; `noise` is the standard deviation of one row, K."""
    rough, top, low, high = highest(minutes, degrees, noise)
    slow = smoothed(minutes, degrees, 3.0)
    passed = slow[top:].max() - slow[-1] >= max(FALLEN, 3.0 * noise)
    x, y = minutes[low : high + 1] - minutes[top], degrees[low : high + 1]
    hole = _hole(minutes, low, high, top) or (_beside(minutes, top) if len(x) < 5 else None)
    if not passed or len(x) < 5 or hole:
        spread = 0.5 * (x[-1] - x[0])
        return Peak(float(minutes[top]), float(rough[top]), float(spread), bool(passed), hole)
    at, height, either = _summit(x, y, float(minutes[top]), noise)
    return Peak(at, height, either, True)


def highest(minutes: np.ndarray, degrees: np.ndarray, noise: float) -> tuple[np.ndarray, int, int, int]:
    """The means of a minute about each row, the row of the highest, and the first and last row of the stretch near it."""
    rough = smoothed(minutes, degrees, 1.0)
    top = int(np.argmax(rough))
    depth = max(TOP * (rough[top] - rough.min()), 4.0 * noise)
    return rough, top, *_shoulders(rough, top, rough[top] - depth)


def _shoulders(rough, top, level):
    """First and last row of the stretch about `top` that stays above `level`."""
    below = np.flatnonzero(rough <= level)
    before, after = below[below < top], below[below > top]
    return (before[-1] + 1 if len(before) else 0), (after[0] - 1 if len(after) else len(rough) - 1)


def _hole(minutes, low, high, top):
    """A gap of two minutes and five rows or more, at the top."""
    step = np.median(np.diff(minutes))
    first, last = max(low - 1, 0), min(high + 1, len(minutes) - 1)
    wide = np.flatnonzero(np.diff(minutes[first : last + 1]) > max(2.0, 5.0 * step)) + first
    return next(((float(minutes[k]), float(minutes[k + 1])) for k in wide), None)


def _beside(minutes, top):
    """The rows before and after a top of few rows, where they lie further apart than a peak that is read off; else None."""
    first, last = float(minutes[max(top - 1, 0)]), float(minutes[min(top + 1, len(minutes) - 1)])
    return (first, last) if last - first > 2.0 * SHARP else None


def _summit(x, y, middle, noise):
    """Minute, degrees and nine-in-ten half-width (min) of the top of a cubic."""
    half = np.abs(x).max()
    design = np.vander(x / half, 4, increasing=True)
    found = np.linalg.lstsq(design, y, rcond=None)[0]
    for _ in range(3):
        off = np.abs(y - design @ found) / noise
        held = np.sqrt(np.minimum(1.0, 2.5 / np.maximum(off, 1e-9)))
        found = np.linalg.lstsq(design * held[:, None], y * held, rcond=None)[0]
    fine = np.linspace(x[0], x[-1], 2001) / half
    height = np.vander(fine, 4, increasing=True) @ found
    at = fine[np.argmax(height)]
    bend = 2.0 * found[2] + 6.0 * found[3] * at
    spread = noise**2 * np.linalg.pinv(design.T @ design)
    slope = np.array([0.0, 1.0, 2.0 * at, 3.0 * at**2])
    sway = half * np.sqrt(slope @ spread @ slope) / max(abs(bend), 1e-9)
    widest = 0.5 * (x[-1] - x[0])
    either = min(max(NINETY * float(sway), float(np.median(np.diff(x)))), float(widest))
    return middle + float(at * half), float(height.max()), either
