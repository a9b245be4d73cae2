"""The clocks of the resin against closed forms and published gel times."""

import csv
import tomllib
from dataclasses import fields, replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from testpour.physics.casting import Casting, Face, Layer
from testpour.physics.kinetics import induction_time, stir
from testpour.physics.march import Accuracy
from testpour.physics.resin import Resin, load_resin
from testpour.physics.slab import cure

REFERENCE = Path(__file__).parents[1] / "reference"
FINE = Accuracy(temperature=1e-3, conversion=1e-6, seed=1e-11)

# Cup gel times, min, as printed (lowest, highest) at (catalyst %, degC): supplier data sheet, promoted
# isophthalic laminating resin; 77 degF and 65 degF converted.
PRINTED_GEL = {
    (1.25, 25.0): (20, 25),
    (0.6, 25.0): (40, 50),
    (1.25, 18.333): (35, 45),
    (0.6, 18.333): (55, 65),
}


def read_columns(name):
    lines = [line for line in (REFERENCE / name).read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return {key: np.array([float(row[key] or "nan") for row in rows]) for key in rows[0]}


def cold_resin(**changes):
    """A resin that gives off no heat and waits for nothing: cure at one temperature."""
    plain = {
        "heat_of_cure": 0.0,
        "induction": 0.0,
        "first_rate": 0.0,
        "second_rate": 0.0,
        "ceiling": 1.0,
        "ceiling_slope": 0.0,
    }
    return replace(load_resin(), **(plain | changes))


def conversion_at(resin, minutes, hours):
    run = cure(Casting(10, 1.0, 25.0, resin=resin, hours=hours), minutes, slices=4, accuracy=FINE)
    return run.conversion[:, 0]


@pytest.mark.parametrize(("column", "made"), [("m_0524", 0.524), ("m_05", 0.5)])
def test_self_speeding_cure_follows_its_closed_form(column, made):
    """Closed form for m + n = 2, see the reference file; the small first rate only starts the cure."""
    table = read_columns("cure_closed_form_conversion.csv")
    known = np.isfinite(table[column])
    resin = cold_resin(first_rate=1e-9, second_rate=1e-3, order_made=made, order_left=2.0 - made)
    got = conversion_at(resin, table["rate_time"][known] * 1e3 / 60, hours=6)
    assert got == pytest.approx(table[column][known], abs=2e-5)


def test_first_order_cure():
    """Closed form: a = 1 - exp(-k t)."""
    minutes = np.array([1.0, 5.0, 20.0, 60.0])
    got = conversion_at(cold_resin(first_rate=1e-3, order_left=1.0), minutes, hours=1)
    assert got == pytest.approx(1 - np.exp(-1e-3 * 60 * minutes), abs=1e-5)


def test_logistic_cure():
    """Closed form for (k1 + k2 a)(1 - a) from a = 0: b = (a + r)/(1 + r), r = k1/k2, is a logistic curve."""
    minutes, first, second = np.array([10.0, 60.0, 100.0, 200.0]), 1e-5, 1e-3
    r = first / second
    b = 1 / (1 + np.exp(-(first + second) * 60 * minutes) / r)
    got = conversion_at(
        cold_resin(first_rate=first, second_rate=second, order_made=1.0, order_left=1.0), minutes, 4
    )
    assert got == pytest.approx(b * (1 + r) - r, abs=1e-5)


def test_cure_stops_at_the_ceiling():
    """First order towards a ceiling c: a = c (1 - exp(-k t)); worked by hand."""
    resin = cold_resin(first_rate=1e-3, order_left=1.0, ceiling=0.8, ceiling_slope=0.002)
    run = cure(Casting(10, 1.0, 35.0, resin=replace(resin, rate_energy=0.0), hours=6), [20.0, 360.0], 4, FINE)
    assert run.conversion[:, 0] == pytest.approx(0.82 * (1 - np.exp([-1.2, -21.6])), abs=1e-5)


@pytest.mark.parametrize(
    ("degrees", "wait", "marks"),
    [(20.0, 29.200, (65.60, 94.64, 256.99, 652.1)), (25.0, 20.000, (48.13, 69.44, 188.56, 478.5))],
)
def test_steady_temperature_reference(degrees, wait, marks):
    """Synthetic reference set, two independent codes agreed; minutes after the wait to 5, 10, 50 and 90 %."""
    resin = cold_resin(induction=20.0, induction_energy=55e3, first_rate=2e-6, second_rate=2e-4)
    assert induction_time(resin, degrees, 1.0) == pytest.approx(wait, abs=5e-4)
    run = cure(
        Casting(3, 1.0, degrees, resin=resin, hours=14), wait + np.array(marks), slices=4, accuracy=FINE
    )
    assert run.conversion[:, 0] == pytest.approx([0.05, 0.1, 0.5, 0.9], abs=2e-5)


def test_gel_time_law_fits_published_cup_gels():
    """Log-linear fit to the printed midpoints: t = exp(-15.515) c^-0.748 exp(5625.3 / T), within 7.2 %."""
    resin = load_resin()
    per_cent, degrees = np.array(list(PRINTED_GEL)).T
    middle = np.array([np.mean(pair) for pair in PRINTED_GEL.values()])
    design = np.c_[np.ones(4), np.log(per_cent), 1 / (degrees + 273.15)]
    start, slope, warmth = np.linalg.lstsq(design, np.log(middle), rcond=None)[0]
    assert (slope, warmth) == (pytest.approx(-0.748, abs=0.002), pytest.approx(5625.3, abs=15))
    at_one = np.exp(start + warmth / 298.15)
    fitted = replace(
        resin,
        induction=at_one,
        induction_exponent=-slope,
        induction_energy=warmth * 8.314462618,
        reference_temperature=25.0,
    )
    assert np.log(induction_time(fitted, degrees, per_cent) / middle) == pytest.approx(0, abs=0.073)


def test_default_resin_slows_as_the_data_sheet_says():
    """Ratios of printed cup gel times (see PRINTED_GEL) must hold the default's ratios."""
    resin, (base, *others) = load_resin(), PRINTED_GEL
    for other in others:
        ratio = induction_time(resin, other[1], other[0]) / induction_time(resin, base[1], base[0])
        assert (
            PRINTED_GEL[other][0] / PRINTED_GEL[base][1]
            <= ratio
            <= PRINTED_GEL[other][1] / PRINTED_GEL[base][0]
        )


def test_default_resin_gels_as_a_casting_resin_does():
    """20 to 30 min at 1.5 % and 23 degC: common practice, no source."""
    assert 20 <= cure(Casting(12, 1.5, 23.0)).gel_time <= 30


def test_slopes_agree_with_differences():
    """Central differences of the rate itself."""
    mix, eps = stir(load_resin(), 1.3), 1e-5
    temperature, conversion = np.array([20.0, 60.0, 80.0, 120.0]), np.array([1e-3, 0.3, 0.85, 0.95])
    rate, by_temperature, by_conversion = mix.rate_slopes(temperature, conversion)
    assert rate == pytest.approx(mix.rate(temperature, conversion), rel=1e-12)
    up, down = (mix.rate(temperature + d, conversion) for d in (eps, -eps))
    assert by_temperature == pytest.approx((up - down) / (2 * eps), rel=1e-6)
    up, down = (mix.rate(temperature, conversion + d) for d in (eps, -eps))
    assert by_conversion == pytest.approx((up - down) / (2 * eps), rel=1e-5)


def test_the_cure_ends_at_a_ceiling_that_never_passes_one():
    """By hand: 0.8 at 25 degC, 0.003 more a degree: 0.95 at 75 degC, and all of it at 500 degC."""
    mix = stir(replace(load_resin(), ceiling=0.8, ceiling_slope=0.003), 1.0)
    at, ends = np.array([25.0, 75.0, 500.0]), np.array([0.8, 0.95, 1.0])
    assert (mix.rate(at, ends - 0.01) > 0).all() and mix.rate(at, ends + 1e-12) == pytest.approx([0, 0, 0])


def test_four_times_the_dose_cures_in_half_the_time():
    """A rate that goes as the square root of the dose; worked by hand."""
    resin = cold_resin(first_rate=1e-4, second_rate=1e-3, rate_exponent=0.5)
    single = cure(Casting(5, 1.0, 25.0, resin=resin, hours=2), [40.0, 80.0], 4, FINE)
    fourfold = cure(Casting(5, 4.0, 25.0, resin=resin, hours=2), [20.0, 40.0], 4, FINE)
    assert fourfold.conversion[:, 0] == pytest.approx(single.conversion[:, 0], abs=1e-6)


def test_every_layer_has_its_own_dose_and_clock():
    """First order once the wait since pouring is over: a = 1 - exp(-k sqrt(dose) t); worked by hand."""
    wait = {"induction": 12.0, "induction_exponent": 0.5}
    resin = cold_resin(first_rate=1e-4, order_left=1.0, rate_exponent=0.5, **wait)
    layers = (Layer(5, 30, 4.0), Layer(5, 60, 9.0))
    run = cure(Casting(5, 1.0, 25.0, layers=layers, resin=resin, hours=2), [90.0], 30, FINE)
    bottom, middle, top = (
        run.conversion[0, np.abs(run.depth - depth).argmin()] for depth in (12.5, 7.5, 2.5)
    )
    expected = 1 - np.exp(-1e-4 * 60 * np.array([(90 - 12) * 1, (60 - 6) * 2, (30 - 4) * 3]))
    assert [bottom, middle, top] == pytest.approx(expected, abs=1e-5)


def test_wait_adds_up_while_the_resin_cools():
    """The integral of dt / t_z over Newton's cooling, by quadrature: warm resin spread thin in a cold room."""
    resin = cold_resin(
        induction=20.0, induction_energy=55e3, first_rate=1e-3, order_left=1.0, conductivity=100.0
    )
    span = resin.density * resin.heat_capacity * 0.01 / 20.0
    clock = np.linspace(0, 7200, 200_001)
    speed = 1 / (60 * induction_time(resin, 15 + 30 * np.exp(-clock / span), 1.0))
    spent = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(clock))])
    wait = np.interp(1.0, spent, clock) / 60
    casting = Casting(
        20, 1.0, 15.0, resin_temperature=45.0, face=Face(20), resin=replace(resin, rate_energy=0.0)
    )
    run = cure(casting, [wait + 5.0])
    # First order after the wait, so the conversion tells when it began: 1 - exp(-k t).
    assert wait + 5.0 + np.log(1 - run.conversion[0, 0]) / (60 * 1e-3) == pytest.approx(wait, abs=0.02)


def test_every_default_has_unit_source_and_confidence():
    table = tomllib.loads(files("testpour.physics").joinpath("resin.toml").read_text())
    assert set(table) == {field.name for field in fields(Resin)}
    for entry in table.values():
        assert set(entry) == {"value", "unit", "source", "confidence"}
        assert entry["source"] and entry["confidence"] in {"high", "medium", "low"}


def test_adiabatic_rise():
    """Hu/cp: 300 kJ/kg over 1700 J/(kg K) is 176.47 K, so 196.47 degC from 20 degC; any hand can redo it."""
    resin = replace(
        load_resin(),
        heat_of_cure=300e3,
        heat_capacity=1700.0,
        ceiling=1.0,
        ceiling_slope=0.0,
        induction=20.0,
        induction_energy=55e3,
        first_rate=2e-6,
        second_rate=2e-4,
    )
    closed = Casting(10, 1.0, 20.0, face=Face(film=0.0), resin=resin, hours=12)
    assert cure(closed, slices=4, accuracy=FINE).middle.max() == pytest.approx(196.47, abs=0.01)
    minutes = 29.2 + np.linspace(84.2, 86.2, 401)
    run = cure(closed, minutes, slices=4, accuracy=FINE)
    fastest = np.gradient(run.conversion[:, 0], minutes).argmax()
    # Synthetic reference set, two independent codes agreed: fastest 85.2 min after the wait, at 154.3 degC.
    assert minutes[fastest] - 29.2 == pytest.approx(85.2, abs=0.06)
    assert run.middle[fastest] == pytest.approx(154.3, abs=1.0)
