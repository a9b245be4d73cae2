"""Heat conduction in slabs against textbook series."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from testpour.physics.casting import Casting, Face, Layer
from testpour.physics.kinetics import stir
from testpour.physics.march import Accuracy, CureState, HeatEquation, Room, march
from testpour.physics.network import build, cut, stack
from testpour.physics.resin import load_resin
from testpour.physics.slab import cure, cure_many

REFERENCE = Path(__file__).parents[1] / "reference"
FINE = Accuracy(temperature=1e-5, conversion=1e-6, seed=1e-9)
INERT = replace(
    load_resin(),
    density=1000.0,
    heat_capacity=1000.0,
    conductivity=1.0,
    heat_of_cure=0.0,
    induction=0.0,
    first_rate=0.0,
    second_rate=0.0,
    ceiling=1.0,
    ceiling_slope=0.0,
)
DIFFUSIVITY = 1e-6


def read_columns(name):
    lines = [line for line in (REFERENCE / name).read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def cooling(film, fourier, half=0.05, slices=200):
    """From 100 degC in air at 0 degC: the run at the Fourier numbers asked for, as shares of 100 degC."""
    minutes = np.asarray(fourier) * half**2 / DIFFUSIVITY / 60
    casting = Casting(2e3 * half, 1.0, 0.0, 100.0, Face(film), resin=INERT, hours=max(minutes) / 60)
    return cure(casting, minutes, slices, FINE)


@pytest.mark.parametrize("row", [0, *(pytest.param(row, marks=pytest.mark.slow) for row in range(1, 7)), 7])
def test_late_cooling_has_the_textbook_root_and_coefficient(row):
    """Incropera & DeWitt, Table 5.1 (see the reference file): printed to 4 decimals."""
    table = read_columns("cure_one_term_coefficients.csv")
    root, coefficient = table["slab_root"][row], table["slab_coefficient"][row]
    # Late enough that the second term of the series is below 1e-5, early enough to leave something to measure.
    late = min(0.8, 4 / root**2)
    fourier = np.array([late, late + 1 / root**2])
    middle = cooling(table["biot"][row] * 1.0 / 0.05, fourier).middle / 100
    found = np.sqrt(-np.log(middle[1] / middle[0]) / (fourier[1] - fourier[0]))
    assert found == pytest.approx(root, abs=1.5e-4)
    assert middle[0] * np.exp(found**2 * fourier[0]) == pytest.approx(coefficient, abs=3e-4)


def test_slab_with_fixed_faces_follows_the_series():
    """Carslaw & Jaeger, sec. 3.3-3.4, from memory, series recomputed."""
    table = read_columns("cure_fixed_face_series.csv")
    run = cooling(np.inf, table["fourier"], slices=200)
    assert run.middle / 100 == pytest.approx(table["centre"], abs=1e-4)
    assert run.temperature.mean(axis=1) / 100 == pytest.approx(table["mean"], abs=1e-4)


def test_uniform_heating_follows_the_series():
    """Carslaw & Jaeger, sec. 3.14, from memory: middle over q L^2 / 2k, series recomputed."""
    fourier = np.array([0.05, 0.1, 0.2, 0.5, 1.0, 2.0])
    series = np.array([0.099956, 0.197746, 0.370386, 0.699455, 0.912477, 0.992578])
    # A cure so slow that it never slackens, with a heat so large that the middle ends 100 K warmer.
    half, rate = 0.05, 1e-10
    heat = 100 * 2 * 1.0 / half**2 / (1000.0 * rate)
    steady = replace(INERT, heat_of_cure=heat, first_rate=rate, rate_energy=0.0, order_left=1.0)
    minutes = fourier * half**2 / DIFFUSIVITY / 60
    casting = Casting(2e3 * half, 1.0, 0.0, face=Face(np.inf), resin=steady, hours=max(minutes) / 60)
    coarse = Accuracy(temperature=2e-4, conversion=1.0, seed=1.0)
    assert cure(casting, minutes, 100, coarse).middle / 100 == pytest.approx(series, abs=1e-4)


class RanAway(Exception):
    pass


HOT = 26.85
STEEP = 2e6
UNIT = 8.314462618 * (HOT + 273.15) ** 2 / STEEP


def heated(severity, half=0.05, slices=60):
    """A body in air at `HOT` whose heating grows as exp(theta) without limit; `severity` is delta."""
    per_second = severity * UNIT * DIFFUSIVITY / half**2
    endless = {"heat_of_cure": 1000.0 * per_second * 1e12, "first_rate": 1e-12, "order_left": 1.0}
    resin = replace(INERT, rate_energy=STEEP, reference_temperature=HOT, **endless)
    network = stack([build(cut([half], slices)[0], resin, np.ones(slices, bool), None, Face(np.inf))])
    columns = {name: np.array([[getattr(resin, name)]]) for name in resin.__dataclass_fields__}
    room = Room(np.zeros((1, 1)), np.full((1, 1), HOT), np.zeros((1, 1)))
    problem = HeatEquation(
        network,
        stir(replace(resin, **columns), np.ones((1, 1))),
        room,
        np.array([100 * half**2 / DIFFUSIVITY]),
    )
    nodes = np.ones((1, slices))
    return problem, CureState(np.zeros(1), np.ones(1), HOT * nodes, 0 * nodes, nodes)


def runs_away(severity):
    """Whether the body passes theta = 4, well beyond the 1.2 to 1.6 at which it can still be steady."""

    def watch(rows, fresh, problem, state, slopes):
        if state.temperature.max() > HOT + 4 * UNIT:
            raise RanAway

    try:
        march(*heated(severity), watch, Accuracy(temperature=1e-3 * UNIT, conversion=1.0, seed=1.0))
    except RanAway:
        return True
    return False


def test_runaway_starts_at_the_critical_parameter():
    """Frank-Kamenetskii's critical value of a slab, 0.88, recomputed to more digits; held to 1 %."""
    assert not runs_away(0.99 * 0.8784577)
    assert runs_away(1.01 * 0.8784577)


def test_well_stirred_body_cools_as_newton_says():
    """exp(-t h / (rho c L)); worked by hand."""
    stirred = replace(INERT, conductivity=1e3)
    run = cure(Casting(20, 1.0, 0.0, 100.0, Face(20.0), resin=stirred, hours=0.5), [30.0], 10, FINE)
    assert run.middle == pytest.approx(100 * np.exp(-1800 * 20 / (1e6 * 0.01)), rel=2e-3)


def test_air_that_warms_steadily_is_followed_to_third_order():
    """Closed form of Newton's heating in air rising by b: T = b (t - s (1 - exp(-t / s))); s = rho c L / h."""
    stirred, seconds = replace(INERT, conductivity=1e6), 1e6 * 0.01 / 20
    casting = Casting(20, 1.0, 0.0, face=Face(20), resin=stirred, programme=((0, 0), (1, 100)), hours=1)
    steps, errors = [], []
    for allowed in (1e-2, 1e-3, 1e-4, 1e-5):
        run = cure(casting, slices=4, accuracy=Accuracy(temperature=allowed))
        clock = 60 * run.minutes
        steps.append(clock.size)
        errors.append(np.abs(run.middle - (clock - seconds * (1 - np.exp(-clock / seconds))) / 36).max())
    assert np.polyfit(np.log(steps), np.log(errors), 1)[0] == pytest.approx(-3, abs=0.4)
    assert errors[-1] < 1e-5


def test_middle_lies_on_the_level_parabola_of_its_neighbours():
    """Geometry only: no heat flows through the middle, so the profile there is an even parabola."""
    run = cooling(20.0, [0.3], slices=10)
    near = slice(8, 12)
    across = run.depth[near] - 50.0
    fitted = np.linalg.lstsq(np.c_[np.ones(4), across**2], run.temperature[0, near], rcond=None)[0][0]
    assert run.middle[0] == pytest.approx(fitted, abs=1e-9)


def test_a_slab_turned_over_is_the_same_slab():
    """By symmetry: swap the faces and read the depths backwards."""
    warm, bare = Face(10, 0.05), Face(200)
    minutes = [30.0, 60.0]
    up = cure(Casting(15, 1.5, 20.0, face=warm, other_face=bare, hours=2), minutes)
    down = cure(Casting(15, 1.5, 20.0, face=bare, other_face=warm, hours=2), minutes)
    assert up.temperature == pytest.approx(down.temperature[:, ::-1], abs=1e-6)
    assert up.temperature[0, 0] > up.temperature[0, -1] + 0.5


def test_light_mould_wall_is_a_weaker_film():
    """Resistances in a row add: 1/20 + 0.05 = 1/10."""
    wall = Casting(30, 1.5, 20.0, face=Face(20.0, mould_resistance=0.05))
    assert cure(wall).peak_temperature == pytest.approx(cure(replace(wall, face=Face(10.0))).peak_temperature)


def test_half_a_casting_tells_the_whole():
    """By symmetry a slab closed at the bottom is half of one twice as thick, open on both sides."""
    half = cure(Casting(10, 1.5, 20.0, face=Face(10), other_face=Face(0)), [60.0, 90.0], 40)
    whole = cure(Casting(20, 1.5, 20.0, face=Face(10)), [60.0, 90.0], 40)
    assert half.temperature == pytest.approx(whole.temperature[:, :40], abs=1e-6)


def test_two_layers_poured_at_once_are_one_slab():
    one = cure_many([Casting(20, 1.5, 20.0, other_face=Face(5))], slices=40)
    two = cure_many([Casting(10, 1.5, 20.0, other_face=Face(5), layers=(Layer(10, 1e-4, 1.5),))], slices=40)
    assert two.hottest[0] == pytest.approx(one.hottest[0], abs=0.05)
    assert two.face_conversion[0] == pytest.approx(one.face_conversion[0], abs=1e-3)
