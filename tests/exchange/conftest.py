"""Traces with a known truth: the kit's own heat and cure, seen through a noisy logger in a drifting room."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from testpour.physics.casting import Casting
from testpour.physics.lots import UNKNOWNS, face_of, lots_at, resin_of
from testpour.physics.slab import cure

NOISE, MISSING, HOURS = 0.5, 0.05, 6.0
ONSET = 3.0  # K above the same casting without heat of cure, both without noise


@dataclass(frozen=True)
class Seen:
    """A logged trace (minutes, degrees) and the truth behind it."""

    minutes: np.ndarray
    degrees: np.ndarray
    inert: np.ndarray
    peak: float
    time: float
    onset: float
    gel: float


def drifting(rng, room):
    """A room that swings by up to 0.75 K over hours and trends by up to 0.5 K/h, as (hour, degC)."""
    hour = np.linspace(0.01, HOURS, 25)
    swing, period, phase, trend = rng.uniform(0, 0.75), rng.uniform(2, 6), rng.uniform(0, 2 * np.pi), rng.uniform(-0.5, 0.5)
    air = room + swing * (np.sin(2 * np.pi * hour / period + phase) - np.sin(phase)) + trend * hour
    return tuple(zip(hour.tolist(), air.tolist(), strict=True))


def random_casting(rng):
    """8 to 40 mm, 1 to 2.5 %, 17 to 27 degC, a lot of its own, poured up to 1 K off its room."""
    lots, room = lots_at(0.7 * rng.standard_normal(len(UNKNOWNS))), rng.uniform(17, 27)
    programme = drifting(rng, room)
    return Casting(
        rng.uniform(8, 40), rng.uniform(1, 2.5), room, resin_temperature=room + rng.uniform(-1, 1), face=face_of(lots),
        resin=resin_of(lots), programme=programme, hours=HOURS,
    )


def logged(rng, last, step):
    """The instants a logger keeps: one every `step` minutes, 5 % missing in runs of up to two minutes."""
    t = np.arange(0.0, last, step)
    kept = np.ones(len(t), bool)
    while (~kept).mean() < MISSING:
        start = rng.integers(1, len(t))
        kept[start : start + rng.integers(1, max(2, int(2 / step)))] = False
    return t[kept]


def see(seed, least=20.0):
    """The first casting of this seed that warms itself by `least` K and peaks well within the run."""
    rng, minutes = np.random.default_rng([seed, 7]), np.arange(0.0, HOURS * 60, 1 / 20)
    while True:
        casting, step = random_casting(rng), rng.choice([5, 10, 15]) / 60
        run = cure(casting, minutes)
        if run.temperature.max() < casting.room_temperature + least:
            continue
        inert = cure(replace(casting, resin=replace(casting.resin, heat_of_cure=1e-3)), minutes).middle
        heating, top = run.middle - inert, int(np.argmax(run.middle))
        if heating[top] >= least and top < len(minutes) - 600:
            break
    t = logged(rng, min(minutes[top] * 1.6 + 20, HOURS * 60 - 1), step)
    degrees = np.interp(t, minutes, run.middle) + NOISE * rng.standard_normal(len(t))
    onset = minutes[np.argmax(heating > ONSET)]
    return Seen(t, degrees, np.interp(t, minutes, inert), run.middle[top], minutes[top], onset, run.gel_time)


def write_plainly(path, minutes, degrees):
    """The plainest file: minutes and degrees under heads that say so."""
    rows = [f"{m:.6f},{d:.4f}" for m, d in zip(minutes, degrees, strict=True)]
    path.write_text("\n".join(["time (min),middle (degC)", *rows]), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def plainly():
    return write_plainly


@pytest.fixture(scope="session")
def seen():
    """Forty traces, for the ordinary tests."""
    return [see(seed) for seed in range(40)]


@pytest.fixture(scope="session")
def seen_many():
    """Three hundred others, for the slow ones."""
    return [see(seed) for seed in range(1000, 1300)]
