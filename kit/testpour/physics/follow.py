"""Set up castings for the solver and integrate from one event to the next: pours, oven steps, the end."""

from __future__ import annotations

import numpy as np

from testpour.physics.casting import HOUR, MINUTE, Casting
from testpour.physics.events import ProbeRecord, Probes, WholeRecord
from testpour.physics.kinetics import stir
from testpour.physics.march import Accuracy, CureState, HeatEquation, Room, march
from testpour.physics.network import Slices, build, cut, stack
from testpour.physics.resin import Resin

FIRST_STEP = 1.0


def follow(castings: list[Casting], slices: int, accuracy: Accuracy, whole: bool = False) -> tuple[ProbeRecord, list[Slices]]:
    """March every casting to its end; `whole` keeps every slice of the one casting."""
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
    """Every casting just mixed and poured."""
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
        # Nothing flows through the middle, so the profile is level there.
        middle[[0, 1]] = 1.125, -0.125
        return middle, upper, upper
    lower[[0, 1]] = 1.5, -0.5
    place = 0.5e-3 * casting.thickness
    after = int(np.searchsorted(slices.centres, place))
    share = (place - slices.centres[after - 1]) / (slices.centres[after] - slices.centres[after - 1])
    middle[[after - 1, after]] = 1.0 - share, share
    return middle, lower, upper
