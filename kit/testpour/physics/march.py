"""Step many castings through time together, each with its own step length.

A linearly implicit (Rosenbrock) method of third order, stiffly accurate, with a second-order
companion for the error. The cure of a slice depends on that slice alone, so it is eliminated by
hand, and what is left is one tridiagonal system for the temperatures. The systems of all castings
are laid end to end and solved in one LAPACK call.

References
----------
Sandu, Verwer, Blom, Spee, Carmichael & Potra, "Benchmarking stiff ODE solvers for atmospheric
chemistry problems II: Rosenbrock solvers", Atmospheric Environment 31 (1997) 3459: method RODAS3
(coefficients from memory; the tests show the order).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dgttrf, dgttrs

from testpour.physics.kinetics import Mix
from testpour.physics.network import Network, PerCasting

SPENT = 1.0 - 1e-6
SHORTEST_STEP = 1e-6
SHORTEST_WAIT = 1.0
SHORT_WAIT = 20.0
STRIDE = 0.95
SAFETY = 0.75
AFTER_RELEASE = 5.0
FULL_ENOUGH = 0.7
LONGEST_STEP = 7200.0
MOST_STEPS = 20_000


@dataclass(frozen=True)
class Accuracy:
    """Error allowed in one step: `temperature` in K, `conversion` as a share of what has cured plus `seed`."""

    temperature: float = 0.03
    conversion: float = 2e-4
    seed: float = 1e-7


@dataclass
class CureState(PerCasting):
    """The state of the castings: `time` and `step` in s (castings,), the rest (castings, slices).

    `temperature` in degC, `conversion` 0 to 1, `spent` the share of inhibitor used up.
    """

    time: np.ndarray
    step: np.ndarray
    temperature: np.ndarray
    conversion: np.ndarray
    spent: np.ndarray

    def put(self, rows: np.ndarray, other: CureState) -> None:
        """Write the state of some of the castings, numbered or masked by `rows`, back."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[rows] = getattr(other, name)


@dataclass(frozen=True)
class Room(PerCasting):
    """Air temperature `start` (degC) at time `since` (s), rising by `slope` (K/s); each (castings, 1)."""

    since: np.ndarray
    start: np.ndarray
    slope: np.ndarray

    def at(self, time: np.ndarray) -> np.ndarray:
        """Air temperature (castings, 1), °C, at `time` (castings,) in s."""
        return self.start + self.slope * (time[:, None] - self.since)


@dataclass(frozen=True)
class HeatEquation(PerCasting):
    """All that stays fixed while marching: network, mix (`stir`) and room of every casting, end time in s."""

    network: Network
    mix: Mix
    room: Room
    end: np.ndarray


@dataclass(frozen=True)
class Slopes:
    """Rates of change of a state, and their derivatives for the implicit step; each (castings, slices)."""

    uninhibited: np.ndarray
    rate: np.ndarray
    by_temperature: np.ndarray
    by_conversion: np.ndarray
    warming: np.ndarray


def march(problem: HeatEquation, state: CureState, record: Callable, accuracy: Accuracy) -> None:
    """Integrate `state`, in place, to ``problem.end``; a RuntimeError if a casting needs more than `MOST_STEPS` steps.

    ``record(rows, fresh, problem, state, slopes)`` is called at every step taken, with the castings it is about (`rows`, of
    which those marked `fresh` have moved), their state and how fast it changes.
    """
    rows = np.arange(state.time.size)
    now = state.take(rows)
    fresh = np.ones(rows.size, dtype=bool)
    for _ in range(MOST_STEPS):
        if fresh.any():
            slopes = _slopes(problem, now)
            record(rows, fresh, problem, now, slopes)
        going = now.time < problem.end - SHORTEST_STEP
        if going.mean() < FULL_ENOUGH or not going.any():
            state.put(rows, now)
            rows, problem, now = rows[going], problem.take(going), now.take(going)
            if rows.size == 0:
                return
            slopes = _slopes(problem, now)
        fresh = _step(problem, now, slopes, accuracy)
    raise RuntimeError(
        f"The cure did not finish in {MOST_STEPS} steps; at {now.time[0] / 60:.0f} min the hottest slice is at "
        f"{now.temperature.max():.0f} degC. Check the resin's rates and the thickness."
    )


def _flow(network, temperature, air):
    """Warming by conduction and by the air, K/s."""
    warming = network.sink * air - network.total * temperature
    warming[:, 1:] += network.lower[:, 1:] * temperature[:, :-1]
    warming[:, :-1] += network.upper[:, :-1] * temperature[:, 1:]
    return warming


def _slopes(problem, state):
    """Rates and their slopes at the state of the castings."""
    network = problem.network
    uninhibited = network.poured & (state.spent >= SPENT)
    pieces = problem.mix.rate_slopes(state.temperature, state.conversion)
    rate, by_temperature, by_conversion = (piece * uninhibited for piece in pieces)
    warming = _flow(network, state.temperature, problem.room.at(state.time)) + network.heating * rate
    return Slopes(uninhibited, rate, by_temperature, by_conversion, warming)


def _step(problem, state, slopes, accuracy):
    """Try one step in every casting; return which of them moved."""
    left = problem.end - state.time
    inhibited = problem.network.poured & ~slopes.uninhibited
    waiting = inhibited.any()
    length = np.minimum(state.step, left)
    if waiting:
        inhibitor_rate = problem.mix.inhibitor_rate_at(state.temperature)
        length = np.minimum(length, _wait(inhibited, state.spent, inhibitor_rate))
    length = np.maximum(length, SHORTEST_STEP)
    temperature, conversion, miss = _stages(problem, state, slopes, length, accuracy)
    moved = (miss <= 1.0) & (left > SHORTEST_STEP)
    keep = moved[:, None]
    if waiting:
        after = problem.mix.inhibitor_rate_at(temperature)
        mean = (inhibitor_rate + 4.0 * np.sqrt(inhibitor_rate * after) + after) / 6.0
        state.spent = np.where(keep & inhibited, state.spent + length[:, None] * mean, state.spent)
        released = (inhibited & (state.spent >= SPENT)).any(axis=1)
    state.temperature = np.where(keep, temperature, state.temperature)
    state.conversion = np.where(keep, np.minimum(np.maximum(conversion, 0.0), 1.0), state.conversion)
    state.time = np.where(moved, state.time + length, state.time)
    state.step = _next_step(state.step, length, miss)
    if waiting:
        state.step = np.where(released, np.minimum(state.step, AFTER_RELEASE), state.step)
    return moved


def _next_step(step, length, miss):
    """The step to try next, s; one cut short by an event does not reduce it."""
    change = SAFETY * np.maximum(miss, 1e-6) ** (-1.0 / 3.0)
    better = length * np.minimum(np.maximum(change, 0.2), 4.0)
    return np.minimum(np.where(miss < 0.3, np.maximum(better, step), better), LONGEST_STEP)


def _wait(inhibited, spent, inhibitor_rate):
    """Longest step, s, before the inhibitor of the next slice is used up.

    The rate jumps there, so the last step before it is kept short: the cubic drawn through its ends then
    sees little of the jump.
    """
    wait = np.where(inhibited, (1.0 - spent) / inhibitor_rate, np.inf).min(axis=1)
    return np.maximum(np.where(wait < SHORT_WAIT, wait, STRIDE * wait), SHORTEST_WAIT)


def _stages(problem, state, slopes, length, accuracy):
    """The four stages: new temperature, new conversion, and the error relative to the tolerance."""
    network, room = problem.network, problem.room
    h = length[:, None]
    solve = _solver(network, slopes, h)
    drift = network.sink * room.slope
    air = room.at(state.time + length)
    t1, a1 = solve(slopes.warming + 0.5 * h * drift, slopes.rate)
    t2, a2 = solve(slopes.warming + 1.5 * h * drift + 4.0 / h * t1, slopes.rate + 4.0 / h * a1)
    t, a = state.temperature + 2.0 * t1, state.conversion + 2.0 * a1
    warming, rate = _rates(problem, slopes.uninhibited, t, a, air)
    past, gone = (t1 - t2) / h, (a1 - a2) / h
    t3, a3 = solve(warming + past, rate + gone)
    t, a = t + t3, a + a3
    warming, rate = _rates(problem, slopes.uninhibited, t, a, air)
    back = 8.0 / 3.0 / h
    t4, a4 = solve(warming + past - back * t3, rate + gone - back * a3)
    allowed = accuracy.seed + accuracy.conversion * state.conversion
    miss = np.maximum(np.abs(t4) / accuracy.temperature, np.abs(a4) / allowed).max(axis=1)
    return t + t4, a + a4, np.where(np.isfinite(miss), miss, 1e6)


def _rates(problem, uninhibited, temperature, conversion, air):
    """Warming (K/s) and cure (1/s) at a stage."""
    rate = problem.mix.rate(temperature, conversion) * uninhibited
    return _flow(problem.network, temperature, air) + problem.network.heating * rate, rate


def _solver(network, slopes, h):
    """Factorise the step's matrix once; the returned function gives the changes for a right-hand side."""
    s = 2.0 / h
    # A slice whose cure accelerates faster than the step can follow would make the pivot zero.
    own = np.minimum(slopes.by_conversion, 0.5 * s)
    pivot = 1.0 / (s - own)
    diagonal = s + network.total - network.heating * slopes.by_temperature * s * pivot
    shape = diagonal.shape
    factors = dgttrf(-network.lower.ravel()[1:], diagonal.ravel(), -network.upper.ravel()[:-1])[:5]
    share = network.heating * own * pivot

    def solve(warming, rate):
        change = dgttrs(*factors, (warming + share * rate).ravel())[0].reshape(shape)
        return change, (rate + slopes.by_temperature * change) * pivot

    return solve
