"""Two studies compared: worlds that are alike, worlds that differ by a known amount, and worlds that say too little."""

import numpy as np
import pandas as pd
import pytest

from testpour.common.problems import Problem
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.report.overlap import overlap_of
from testpour.report.study_comparison import _verdict, compare_studies
from testpour.study.study_file import study_from

FACTORS = {"catalyst": {"from": "1 %", "to": "2.5 %"}, "cover": {}, "room_temperature": {}, "thickness": {"from": "5 mm", "to": "18 mm"}}
READINGS = {"gel_time": {}, "tack": {}}


def bench(name="One", power=-0.8, level=30.0, pours=16, seed=1, catalyst=(1.0, 2.5), thickness=10.0, readings=READINGS, chalk=None, aim=1):
    """The fits of a bench whose gel time is level * (catalyst / 1.5)**power * exp(-0.06 (room - 20)), 5 % scatter."""
    factors = FACTORS if chalk is None else {**FACTORS, "chalk": {"unit": "%", "low": 0, "high": 50, "from": 0, "to": 40}}
    study = study_from({"name": name, "factors": factors, "readings": readings, "aims": {"tack": {"at_most": aim, "age": "24 h"}}})
    rng, rows, read = np.random.default_rng(seed), [], []
    for i in range(pours):
        share, room = np.linspace(*catalyst, 4)[i % 4], 17.0 + 5 * (i // 4 % 2)
        rows.append({"pour": f"P{i}", "session": f"S{i // 4}", "made_at": pd.Timestamp("2026-03-02"), "catalyst": share, "cover": 1.0,
                     "room_temperature": room, "thickness": thickness, "chalk": chalk, "by": "", "note": ""})
        gel = level * (share / 1.5) ** power * np.exp(-0.06 * (room - 20) + 0.05 * rng.standard_normal())
        more = {"specimen": "", "by": "", "known": "exact", "note": ""}
        read.append({"pour": f"P{i}", "reading": "gel_time", "low": gel, "high": gel, "age": np.nan, **more})
    columns = ["pour", "session", "made_at", *factors, "by", "note"]
    readings = pd.DataFrame(read, columns=["pour", "reading", "low", "high", "age", "specimen", "by", "known", "note"])
    return fit_castings(Castings(study, pd.DataFrame(rows, columns=columns).set_index("pour"), readings))


@pytest.fixture(scope="module")
def one():
    return bench()


def test_worlds_that_are_alike_agree_on_what_was_poured(one):
    found = compare_studies(one, bench("Two", seed=2))
    assert found.table.loc[("gel time", "catalyst"), "verdict"] == "agree"
    assert "They agree on gel time (" in found.sentence() and "They differ" not in found.sentence()


def test_a_known_difference_is_found_with_its_size(one):
    """At power -0.8 going from 1 to 2.5 % changes gel time by 2.5**-0.8 - 1 = -52 %, at -0.2 by -17 %: arithmetic."""
    found = compare_studies(one, bench("Two", power=-0.2, seed=2))
    row = found.table.loc[("gel time", "catalyst")]
    assert row["verdict"] == "differ"
    assert row["first"] == pytest.approx(100 * (2.5**-0.8 - 1), abs=5)
    assert row["second"] == pytest.approx(100 * (2.5**-0.2 - 1), abs=8)
    assert row["low"] < 100 * (2.5**0.6 - 1) < row["high"]  # the second effect over the first
    assert "They differ on what catalyst does to gel time (1 to 2.5 %): −" in found.sentence()


def test_a_bench_that_is_slower_everywhere_differs_in_level(one):
    """Twice the level is 100 % longer, whatever the settings."""
    row = compare_studies(one, bench("Two", level=60.0, seed=2)).table.loc[("gel time", "level")]
    assert row["verdict"] == "differ" and row["low"] < 100 < row["high"]


@pytest.mark.parametrize(("slower", "verdict"), [(1.0, "agree"), (1.12, "cannot tell")])
def test_levels_whose_difference_is_small_and_most_likely_there_do_not_agree(one, slower, verdict):
    """Within a quarter of each other, and the interval of the difference lies beside 0: no reader would call it agreement."""
    row = compare_studies(one, bench("Two", level=30.0 * slower, seed=2)).table.loc[("gel time", "level")]
    assert row["verdict"] == verdict


def test_few_pours_cannot_tell_and_no_pours_are_belief(one):
    few = compare_studies(one, bench("Two", pours=1, seed=2))
    assert "both poured" in few.sentence() or "no range of a setting in common" in few.sentence()
    assert set(few.table["verdict"]) <= {"cannot tell", "belief only"}
    none = compare_studies(bench("Two", pours=0), bench("Three", pours=0))
    assert "no range of a setting in common" in none.sentence()
    assert set(none.table["verdict"]) == {"belief only"} and "Known from belief alone: gel time (level)" in none.sentence()


def test_settings_poured_apart_are_named_and_not_compared(one):
    other = bench("Two", catalyst=(2.6, 3.2), thickness=14.0, seed=2)
    found = compare_studies(one, other)
    assert "Poured over ranges that do not meet: catalyst 1 to 2.5 % and 2.6 to 3.2 %; thickness 10 mm and 14 mm" in found.sentence()
    assert ("gel time", "catalyst") not in found.table.index
    assert overlap_of(one, other).spans["room_temperature"] == (17.0, 22.0)


def test_settings_of_one_study_alone_are_named_with_what_they_are_held_at(one):
    """The level stands at the middle of what both poured: 1.75 % (1.8 on the scale), 19.5 °C, 10 mm; chalk is Two's own."""
    filled = compare_studies(one, bench("Two", level=60.0, chalk=20.0, seed=2))
    assert "Only Two wrote down chalk (held at 20 %)." in filled.sentence() and "Only One" not in filled.sentence()
    assert "gel time at catalyst 1.8 %, cover yes, room temperature 19.5 °C and thickness 10 mm: +" in filled.sentence()
    assert "same settings" not in filled.sentence()


def test_no_level_is_compared_where_a_setting_was_poured_nowhere_alike(one):
    """Twice as long at 14 mm as at 10 mm: the depth may be behind it, while catalyst works as at -0.8 in both."""
    found = compare_studies(one, bench("Two", level=60.0, thickness=14.0, seed=2))
    assert ("gel time", "level") not in found.table.index and found.table.loc[("gel time", "catalyst"), "verdict"] == "agree"
    assert "So the average castings are not compared, only what the other settings do." in found.sentence()


@pytest.mark.parametrize("second, hangs, verdict", [(92, False, "differ"), (92, True, "cannot tell"), (-92, True, "differ")])
def test_sizes_that_hang_on_settings_poured_nowhere_alike_are_no_difference(second, hangs, verdict):
    """A cover is worth 18 castings in 100 where most come out dry anyway and 92 where none does; only its sign is its own."""
    draws = [np.full(100, 18.0), np.full(100, float(second))]
    assert _verdict(draws, draws[1] - draws[0], [True, True], hangs) == verdict


@pytest.mark.parametrize("aim, grade", [(0, "'slightly tacky' or better"), (1, None)])
def test_grades_are_held_to_one_aim_which_is_named_where_the_two_differ(one, aim, grade):
    """One log under two names: whatever the second is made for, it is as tacky as the first."""
    found = compare_studies(one, bench("Two", aim=aim))
    row = found.table.loc[("tack", "level")]
    assert row["first"] == row["second"] and row["of"] == "the chance of tack 'slightly tacky' or better"
    told = f"Their aims ask for different grades: both are held to tack {grade}." in found.sentence()
    assert told is (grade is not None) and ("different grades" in found.sentence()) is told


def test_readings_on_other_scales_are_left_out(one):
    other = bench("Two", seed=2, readings={"gel_time": {}, "tack": {"grades": ["dry", "wet"], "low": 0, "high": 1}})
    found = compare_studies(one, other)
    assert "Read on different scales: tack." in found.sentence()
    assert set(found.table.index.get_level_values("reading")) == {"gel time"}


@pytest.mark.parametrize(("top", "alike"), [(5, True), (10, False)])
def test_a_score_out_of_ten_is_not_compared_with_one_out_of_five(top, alike):
    """A number without a unit says something in its range only, as for a pool."""
    one, two = (bench(name, pours=4, readings={**READINGS, "score": {"low": 0, "high": high}}) for name, high in (("One", 5), ("Two", top)))
    found = overlap_of(one, two)
    assert ("score" in found.readings) == alike and found.unlike == (() if alike else ("score",))


def test_it_is_the_other_way_round_when_asked_the_other_way_round(one):
    other = bench("Two", power=-0.2, seed=2)
    there, back = (compare_studies(*pair).table.loc[("gel time", "catalyst")] for pair in ((one, other), (other, one)))
    assert there["verdict"] == back["verdict"]
    assert (1 + there["difference"] / 100) * (1 + back["difference"] / 100) == pytest.approx(1, abs=0.01)


def test_two_of_one_name_are_refused_and_the_figure_says_the_sentence(one):
    with pytest.raises(Problem, match="Both studies are called 'One'"):
        compare_studies(one, one)
    with pytest.raises(Problem, match=r"1 names? for two studies. Give names="):
        compare_studies(one, one, names=["One"])
    found = compare_studies(one, bench("Two", seed=2), names=("the old shed", "the new shed"))
    picture = found.figure()
    assert picture.says == found.sentence() and picture.says.startswith("the old shed and the new shed: both poured")
    assert len(picture.to_bytes()) > 5000
    assert "verdict" in found._repr_markdown_()
