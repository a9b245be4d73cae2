"""Recording each casting while the solver marches, and finding the events in the record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from testpour.physics.march import CureState, HeatEquation, Slopes
from testpour.physics.network import PerCasting

COLUMNS = ("time", "centre", "warming", "core", "curing", "face", "hottest", "spread")


@dataclass(frozen=True)
class Probes(PerCasting):
    """Weights that interpolate a place from the slices; each (castings, slices)."""

    centre: np.ndarray
    lower: np.ndarray
    upper: np.ndarray


class ProbeRecord:
    """The record of many castings, one row per step."""

    def __init__(self, castings: int) -> None:
        self.values = np.full((castings, 256, len(COLUMNS)), np.nan)
        self.count = np.zeros(castings, dtype=int)
        self.rows: np.ndarray
        self.probes: Probes  # both from `begin`

    def begin(self, rows: np.ndarray, probes: Probes) -> None:
        """From now on the solver's castings are `rows` of all, read at `probes`."""
        self.rows, self.probes = rows, probes

    def __call__(self, rows: np.ndarray, fresh: np.ndarray, problem: HeatEquation, state: CureState, slopes: Slopes) -> None:
        """Record the castings that have moved; see `march`."""
        values = _read(problem, state, slopes, self.probes.take(rows))
        rows, values = self.rows[rows[fresh]], values[fresh]
        self._grow(self.count[rows].max() + 1)
        self.values[rows, self.count[rows]] = values
        self.count[rows] += 1

    def _grow(self, steps: int) -> None:
        """Make room for `steps` steps."""
        while self.values.shape[1] < steps:
            self.values = np.concatenate([self.values, np.full_like(self.values, np.nan)], axis=1)

    def end(self) -> None:
        """Called after each stretch of marching."""

    def column(self, name: str) -> np.ndarray:
        """One of `COLUMNS`, (castings, steps); NaN after a casting's last step."""
        return self.values[:, : self.count.max(), COLUMNS.index(name)]


class WholeRecord(ProbeRecord):
    """One casting, with every slice kept at every step, evaluated at the end of each stretch."""

    def __init__(self) -> None:
        super().__init__(1)
        self.stretch: list[tuple[np.ndarray, ...]] = []
        self.stretches: list[Moments] = []
        self.problem: HeatEquation

    def __call__(self, rows: np.ndarray, fresh: np.ndarray, problem: HeatEquation, state: CureState, slopes: Slopes) -> None:
        """Keep the state of the casting; see `march`."""
        self.problem = problem
        self.stretch.append((state.time, state.temperature, state.conversion, slopes.warming, slopes.rate))

    def end(self) -> None:
        """Evaluate the stretch just marched."""
        now = Moments(*(np.concatenate(column) for column in zip(*self.stretch, strict=True)))
        after = self.count[0] + now.time.size
        self._grow(after)
        self.values[0, self.count[0] : after] = _read(self.problem, now, now, self.probes)
        self.count[0] = after
        self.stretches.append(now)
        self.stretch = []

    def history(self) -> Moments:
        """Every step of the run, as one `Moments`."""
        names = Moments.__dataclass_fields__
        return Moments(*(np.concatenate([getattr(part, name) for part in self.stretches]) for name in names))


@dataclass(frozen=True)
class Moments:
    """Times in s (steps,), and at each every slice's state and rates of change (steps, slices)."""

    time: np.ndarray
    temperature: np.ndarray
    conversion: np.ndarray
    warming: np.ndarray
    rate: np.ndarray


def _read(problem: HeatEquation, state: CureState | Moments, slopes: Slopes | Moments, probes: Probes) -> np.ndarray:
    """The row of `COLUMNS` for every casting, (castings, columns); temperatures in degC, times in s."""
    poured, temperature, conversion = problem.network.poured, state.temperature, state.conversion
    ends = [_at(place, temperature) for place in (probes.lower, probes.upper)]
    hottest = np.maximum(np.where(poured, temperature, -np.inf).max(axis=1), np.maximum(*ends))
    coolest = np.minimum(np.where(poured, temperature, np.inf).min(axis=1), np.minimum(*ends))
    return np.stack(
        [
            state.time,
            _at(probes.centre, temperature),
            _at(probes.centre, slopes.warming),
            _at(probes.centre, conversion),
            _at(probes.centre, slopes.rate),
            np.clip(np.minimum(_at(probes.lower, conversion), _at(probes.upper, conversion)), 0.0, 1.0),
            hottest,
            hottest - coolest,
        ],
        axis=1,
    )


def _at(weights, slices):
    return (weights * slices).sum(axis=1)


def first_crossing(time: np.ndarray, value: np.ndarray, slope: np.ndarray, level: np.ndarray) -> np.ndarray:
    """When `value` (castings, steps) first reaches `level` (castings,), in the unit of `time`; NaN where it never does.

    Steps are NaN after a casting's last one.
    """
    above = value >= level[:, None]
    reached = above.any(axis=1)
    after = np.maximum(above.argmax(axis=1), 1)
    pieces = _interval(time, value, slope, after)
    low, high = np.zeros(len(level)), np.ones(len(level))
    for _ in range(40):
        middle = 0.5 * (low + high)
        under = hermite(middle, *pieces[1:]) < level
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.where(reached, pieces[0] + high * pieces[1], np.nan)


def largest(time: np.ndarray, value: np.ndarray, slope: np.ndarray, within: np.ndarray) -> tuple[np.ndarray, ...]:
    """Largest `value` among the steps marked `within`, between steps too: when, and how large, each (castings,).

    NaN where no step is marked, or it is still rising at the last one.
    """
    rows = np.arange(len(within))
    final = within.shape[1] - 1 - within[:, ::-1].argmax(axis=1)
    top = np.where(within, value, -np.inf).argmax(axis=1)
    turned = within.any(axis=1) & ~((top == final) & (slope[rows, final] > 0.0))
    rising = slope[rows, top] > 0.0
    after = np.clip(np.where(rising, top + 1, top), 1, time.shape[1] - 1)
    start, width, y0, y1, m0, m1 = _interval(time, value, slope, after)
    peaked = (m0 > 0.0) & (m1 <= 0.0) & np.isfinite(y1)
    share = np.where(peaked, _top_of_cubic(width, y0, y1, m0, m1), np.where(after == top, 1.0, 0.0))
    when, best = start + share * width, hermite(share, width, y0, y1, m0, m1)
    best, when = np.where(peaked, best, value[rows, top]), np.where(peaked, when, time[rows, top])
    return np.where(turned, when, np.nan), np.where(turned, best, np.nan)


def _interval(time, value, slope, after):
    """Start, width, and the ends' values and slopes of the step that ends at `after`."""
    rows = np.arange(len(after))
    start, y0, m0 = (column[rows, after - 1] for column in (time, value, slope))
    end, y1, m1 = (column[rows, after] for column in (time, value, slope))
    return start, end - start, y0, y1, m0, m1


def _top_of_cubic(width, y0, y1, m0, m1):
    """Share of the step at which the cubic through both ends turns from rising to falling."""
    a = 6.0 * (y0 - y1) + 3.0 * width * (m0 + m1)
    b = -6.0 * (y0 - y1) - width * (4.0 * m0 + 2.0 * m1)
    c = width * m0
    return 2.0 * c / np.maximum(-b + np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0)), 1e-300)


def hermite(share: np.ndarray, width: np.ndarray, y0: np.ndarray, y1: np.ndarray, m0: np.ndarray, m1: np.ndarray) -> np.ndarray:
    """The cubic through both ends of a step, with values y0, y1 and slopes m0, m1, at `share` (0 to 1) of its `width`."""
    left = 1.0 - share
    bend = share * left * (left * (width * m0 - (y1 - y0)) - share * (width * m1 - (y1 - y0)))
    return y0 * left + y1 * share + bend
