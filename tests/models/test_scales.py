"""Latent scales: known points by hand, one the inverse of the other, open ends kept open."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from testpour.models.scales import ADIABATIC_RISE, met_from_to, own_scale, to_latent, to_reading, widen
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading

READINGS = catalogue()["readings"]
GEL, PEAK, HARD = READINGS["gel_time"], READINGS["peak_temperature"], READINGS["hardness"]
PLAIN = Reading("gloss", "", -100, 200)
SCORE = Reading("score", "", 1, 10)
MINE = Reading("shrinkage", "%", 2, 10, scale="share")


@pytest.mark.parametrize(
    "reading, value, room, latent",
    [
        (GEL, 1.0, None, 0.0), (GEL, np.e, None, 1.0), (GEL, 20.0, None, np.log(20)),
        (HARD, 50.0, None, 0.0), (HARD, 80.0, None, np.log(4)), (HARD, 10.0, None, -np.log(9)),
        (MINE, 4.0, None, -np.log(3)),  # a quarter of the range 2 to 10
        (PEAK, 20 + 175 / 2, 20.0, 0.0), (PEAK, 15 + 175 * 0.8, 15.0, np.log(4)), (PEAK, 20 + 175 / 2, None, 0.0),
        (PLAIN, -3.5, None, -3.5),
    ],
)
def test_known_points(reading, value, room, latent):
    """Logarithm, logit of a share, and logit of the share of the full rise, by hand."""
    assert to_latent(reading, value, room) == pytest.approx(latent, abs=1e-12)
    assert to_reading(reading, latent, room) == pytest.approx(value, rel=1e-12)


@given(st.sampled_from([GEL, HARD, MINE, PEAK, PLAIN]), st.floats(0.001, 0.999), st.floats(5, 40))
def test_one_is_the_inverse_of_the_other(reading, share, room):
    ends = {"rise": (room, room + ADIABATIC_RISE), "log": (0.01, 3000.0)}
    low, high = ends.get(reading.scale, (reading.low, reading.high))
    value = low + share * (high - low)
    assert to_reading(reading, to_latent(reading, value, room), room) == pytest.approx(value, rel=1e-9)


@given(st.sampled_from([GEL, HARD, MINE, PEAK, PLAIN]), st.lists(st.floats(-20, 20), min_size=2, max_size=5), st.floats(5, 40))
def test_the_way_back_first_and_never_out_of_order(reading, latent, room):
    latent = np.sort(latent)
    values = to_reading(reading, latent, room)
    assert to_latent(reading, values, room) == pytest.approx(latent, rel=1e-4, abs=1e-4)
    assert (np.diff(values) >= 0).all()


@pytest.mark.parametrize(
    "reading, value, latent",
    [(GEL, 0.0, -np.inf), (GEL, -np.inf, -np.inf), (GEL, np.inf, np.inf), (HARD, 0.0, -np.inf), (HARD, 100.0, np.inf),
     (HARD, 100.5, np.inf), (HARD, -0.5, -np.inf), (PEAK, 19.0, -np.inf), (PEAK, 200.0, np.inf), (PLAIN, np.inf, np.inf)],
)
def test_at_and_beyond_the_ends_the_scale_is_open(reading, value, latent):
    assert to_latent(reading, value, 20.0) == latent


@pytest.mark.parametrize("reading, low, high", [(GEL, 0, None), (HARD, 0, 100), (MINE, 2, 10), (PEAK, 17, 192), (SCORE, 1, 10)])
def test_nothing_is_ever_shown_beyond_the_ends(reading, low, high):
    far = to_reading(reading, [-1e4, 1e4], 17.0)
    assert far[0] == pytest.approx(low, abs=1e-9) and np.isfinite(far).all()
    assert high is None or far[1] == pytest.approx(high)


def test_each_row_has_its_own_room():
    shares = to_latent(PEAK, [100.0, 100.0], np.array([15.0, 25.0]))
    assert shares == pytest.approx([np.log(85 / 90), np.log(75 / 100)])


def test_an_exact_reading_is_known_to_half_a_step():
    low, high = widen(HARD, np.array([77.0, 70.0, -np.inf]), np.array([77.0, 75.0, 60.0]))
    assert low.tolist() == [76.5, 70.0, -np.inf] and high.tolist() == [77.5, 75.0, 60.0]
    assert widen(GEL, np.array([20.0]), np.array([20.0]))[0] == 20.0


@pytest.mark.parametrize(
    "reading, aim, meets",
    [
        (HARD, (70, None), (69.5, np.inf)), (HARD, (70.5, None), (70.5, np.inf)), (HARD, (70.2, 80), (70.5, 80.5)), (PEAK, (None, 90), (-np.inf, 90.5)),
        (Reading("run", "mm", resolution=0.1), (0.3, 0.7), (0.25, 0.75)), (GEL, (15, 45), (15, 45)),
    ],
)
def test_an_aim_is_met_by_what_the_instrument_reads(reading, aim, meets):
    """A gauge in whole Shore D reads 70 from 69.5 on, and 71 from 70.5 on, which is the first that meets 70.2: by hand."""
    assert met_from_to(reading, *aim) == pytest.approx(meets, rel=1e-12)


@pytest.mark.parametrize("scale, ends, known, centre, unit", [
    ("plain", (0.0, 80.0), [], 40.0, 10.0), ("log", (1.0, 100.0), [], np.log(10), 1.0), ("share", (0.0, 100.0), [20.0], 0.0, 1.0),
    ("plain", (None, None), [], 0.0, 1.0), ("log", (None, None), [], 0.0, 1.0),
    ("plain", (None, None), [80.0], 80.0, 10.0), ("plain", (None, None), [0.0], 0.0, 1.0), ("log", (None, None), [80.0], np.log(80), 1.0),
    ("plain", (None, None), [10.0, 20.0], 15.0, 5.0), ("log", (None, None), [10.0, 40.0], np.log(20), 1.0),
])
def test_where_an_own_reading_lies_and_what_is_much_of_it(scale, ends, known, centre, unit):
    """By hand: the middle and an eighth of the range stated, else the median and the standard deviation of what was read; factors on a log scale."""
    low, high = (np.nan if end is None else end for end in ends)
    rows = pd.DataFrame({"low": known, "high": known}, dtype=float)
    assert own_scale(Reading("gloss", "", low, high, scale=scale), rows) == pytest.approx((centre, unit))
