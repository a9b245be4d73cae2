"""The table of slabs against the integration it replaces."""

import runpy
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from testpour.physics.atlas import DEPTHS, FIELDS, FILMS, ROOMS, _place, minutes_until, rise_of
from testpour.physics.casting import Casting, Face
from testpour.physics.kinetics import induction_time
from testpour.physics.lots import UNKNOWNS, Lots, face_of, lot_beliefs, lots_at, resin_of
from testpour.physics.resin import load_resin
from testpour.physics.slab import cure, cure_many


def one_by_one(lots):
    """A `Lots` of shape (n, 1) as one of shape (n,): each lot with its own casting."""
    return Lots(*(getattr(lots, name)[:, 0] for name in UNKNOWNS))


def test_believed_lots_in_the_trades_settings_are_within_a_few_degrees():
    """Lots drawn from belief, settings from the trade's spans, each integrated afresh by `cure_many`."""
    rng = np.random.default_rng(3)
    n = 150
    lots = lots_at(np.clip(rng.standard_normal((n, len(UNKNOWNS))), -2.5, 2.5))
    thickness, catalyst, room = np.exp(rng.uniform(np.log(4), np.log(30), n)), rng.uniform(1, 2.5, n), rng.uniform(15, 26, n)
    castings = [
        Casting(float(thickness[k]), float(catalyst[k]), float(room[k]), face=face_of(lots, k), resin=resin_of(lots, k))
        for k in range(n)
    ]
    true, at = cure_many(castings), (one_by_one(lots), thickness, catalyst, room)
    off = np.abs(rise_of(*at) + room - true["peak_temperature"].to_numpy())
    assert np.median(off) < 0.5
    assert np.quantile(off, 0.9) < 5.0
    assert np.abs(minutes_until("gel", *at) / true["gel_time"].to_numpy() - 1).max() < 0.01
    assert np.quantile(np.abs(minutes_until("peak_time", *at) / true["time_to_peak"].to_numpy() - 1), 0.9) < 0.02


def test_the_default_lot_is_nearer_still():
    """With heat and energy at their middles only interpolation errs."""
    depths = np.arange(4.0, 31.0)
    found = rise_of(lots_at(np.zeros(9)), depths, np.full(27, 1.5), np.full(27, 21.0))[0] + 21.0
    true = cure_many([Casting(float(d), 1.5, 21.0) for d in depths])["peak_temperature"]
    assert np.abs(found - true).max() < 5.0
    assert np.median(np.abs(found - true)) < 0.5


def test_the_two_groups_are_all_that_counts():
    """Four times as fast, half as thick, twice the film: the same peak, in a quarter of the time (dimensional analysis)."""
    base = load_resin()
    slow = replace(base, induction=0.0)
    quick = replace(slow, first_rate=4 * base.first_rate, second_rate=4 * base.second_rate)
    one = cure(Casting(16.0, 1.0, 20.0, face=Face(8.0), resin=slow))
    two = cure(Casting(8.0, 1.0, 20.0, face=Face(16.0), resin=quick))
    assert two.peak_temperature == pytest.approx(one.peak_temperature, abs=0.05)
    assert 4 * two.time_to_peak == pytest.approx(one.time_to_peak, rel=1e-3)


def test_times_have_the_closed_wait_in_them():
    one, two = (replace(lots_at(np.zeros(9)), induction=np.array([[minutes]])) for minutes in (19.0, 38.0))
    at = (np.array([10.0]), np.array([1.7]), np.array([18.0]))
    wait = induction_time(load_resin(), 18.0, 1.7)
    for event in ("gel", "peak_time"):
        assert minutes_until(event, two, *at) - minutes_until(event, one, *at) == pytest.approx(wait, rel=1e-9)


def test_places_are_standard_deviations_of_belief():
    """ln for ratios, plain for the rest, as `lot.toml` says."""
    up = lots_at(np.eye(9))
    assert up.induction[0, 0] == pytest.approx(load_resin().induction * np.exp(lot_beliefs()["induction"]["sd"]))
    assert up.rate_energy[5, 0] == pytest.approx(load_resin().rate_energy + lot_beliefs()["rate_energy"]["sd"])
    assert up.film[6, 0] == pytest.approx(10.0 * np.exp(lot_beliefs()["film"]["sd"]))


def test_a_node_of_the_file_is_the_slab_it_says():
    """Depth 20, film 6, room 3 integrated by hand: unit speed in its room, no wait, the default's ceiling there."""
    base = load_resin()
    room = float(ROOMS[3])
    resin = replace(base, induction=0.0, reference_temperature=room, ceiling=base.ceiling + base.ceiling_slope * (room - 25.0))
    run = cure(Casting(float(np.exp(DEPTHS[20])), 1.0, room, face=Face(float(np.exp(FILMS[6]))), resin=resin))
    with np.load(files("testpour").joinpath("physics/atlas.npz")) as held:
        share = 1 / (1 + np.exp(-held["peak"][0, 20, 6, 3]))
        assert share * base.heat_of_cure / base.heat_capacity + room == pytest.approx(run.peak_temperature, abs=0.1)
        assert np.exp(held["peak_time"][0, 20, 6, 3]) == pytest.approx(run.time_to_peak, abs=0.1)
        assert sorted(held) == sorted(FIELDS)


@pytest.mark.slow
def test_the_file_is_what_the_script_makes():
    made = runpy.run_path(str(Path(__file__).parents[2] / "datasets" / "make_atlas.py"))["make_atlas"]()
    with np.load(files("testpour").joinpath("physics/atlas.npz")) as held:
        for name in FIELDS:
            np.testing.assert_allclose(held[name], made[name], atol=5e-4)


def test_where_a_lot_lies_in_the_table_by_hand():
    """Four times the speed: twice the depth and half the film at unit speed; an eighth part more heat and more of the ceiling move the steep part as
    `RUNAWAY` and `STALL` say, 0.8 a natural log and 3 a unit. One lot, in the room where rates are stated; then another 10 K warmer, at 2 %."""
    base, usual = load_resin(), lots_at(np.zeros(9))
    room = np.array([base.reference_temperature, base.reference_temperature + 10])
    changed = {"rate": 4.0, "film": 6.0, "heat_of_cure": 1.125 * base.heat_of_cure, "ceiling": base.ceiling + 0.06}
    lot = replace(usual, **{name: np.array([[value]]) for name, value in changed.items()})
    speed, (depth, film, warm), (heat, energy, ceiling) = _place(lot, np.array([12.0, 12.0]), np.array([1.0, 2.0]), room)
    cold = 1 / (room[1] + 273.15) - 1 / (room[0] + 273.15)
    quick = 4 * 2 ** base.rate_exponent * np.exp(-base.rate_energy / 8.314462618 * cold)
    assert speed[0] == pytest.approx([4, quick])
    moved = 0.8 * np.log(1.125) + 3 * 0.06
    assert depth[0] == pytest.approx((np.log([24, 12 * np.sqrt(quick)]) + moved - np.log(1.5)) * 42 / np.log(100 / 1.5))
    assert film[0] == pytest.approx((np.log([3, 6 / np.sqrt(quick)]) - np.log(1.5)) * 10 / np.log(60 / 1.5))
    assert warm == pytest.approx((room - 8) / 7)
    assert (heat[0, 0], energy[0, 0], ceiling[0, 0]) == pytest.approx((np.log(1.125) / 0.15, 0, 2))
