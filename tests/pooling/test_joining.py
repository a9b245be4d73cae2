"""Joining logs: what is refused and why, what is converted, what is dropped, and pours named once."""

import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.common.problems import Problem
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import read_package
from testpour.logbook.book import Logbook
from testpour.logbook.spreadsheet import NotRead
from testpour.pooling.joinable import PoolProblems
from testpour.pooling.joining import join_logs
from testpour.study.study_file import save_study


def refused(given, **options):
    with pytest.raises(PoolProblems) as found:
        join_logs(given, **options)
    return found.value


def test_pours_sessions_lots_and_readers_carry_their_bench(bench):
    joined = join_logs([bench(1), bench(2)])
    pours = joined.castings.pours
    assert "Bench 2 P3" in pours.index and pours.index.is_unique and len(pours) == 12
    assert set(pours["session"]) == {"Bench 1 S1", "Bench 1 S2", "Bench 2 S1", "Bench 2 S2"}
    assert set(pours["resin_lot"]) == {"Bench 1 L1", "Bench 2 L1"}
    assert joined.bench_of["Bench 2 P3"] == "Bench 2"
    assert joined.benches["pours"].tolist() == [6, 6]


def test_names_and_notes_are_dropped(bench):
    dropped = join_logs([bench(1)]).castings
    assert set(dropped.pours["by"]) == {"Bench 1 reader 1"} and set(dropped.pours["note"]) == {""}
    assert set(dropped.readings["by"]) == {"Bench 1 reader 1"}


def test_what_was_given_is_left_as_it_was(bench):
    given = bench(1)
    before = given.pours.copy(), given.readings.copy()
    join_logs([given, bench(2)])
    assert given.pours.equals(before[0]) and given.readings.equals(before[1])


def test_another_hardness_scale_is_never_converted(bench):
    other = bench(3, readings={"gel_time": {}, "hardness": {"unit": "Shore A"}, "tack": {}})
    problem = refused([bench(1), bench(2), other])
    row = problem.table.iloc[0]
    assert (row["bench"], row["part"], row["here"], row["in the pool"]) == ("Bench 3", "hardness", "Shore A", "Shore D")
    assert "No scale converts to another" in str(problem)
    joined = join_logs([bench(1), bench(2), other], leave_out=True)
    rows = joined.castings.readings
    mine = rows["pour"].str.startswith("Bench 3")
    assert set(rows[mine]["reading"]) == {"gel_time", "tack"} and len(joined.left_out) == 1


def test_a_reading_on_another_scale_stays_out_by_whatever_words_its_bench_calls_it(bench, declared):
    """Its values were joined as if on the pool's scale where the words differed."""
    other = bench(3, readings={"gel_time": {}, "hardness": {"unit": "Shore A"}, "tack": {}})
    rows = join_logs([bench(1), bench(2), declared(other, "readings", "hardness", words="softness")], leave_out=True).castings.readings
    assert set(rows[rows["pour"].str.startswith("Bench 3")]["reading"]) == {"gel_time", "tack"}


@pytest.mark.parametrize(("which", "own"), [("readings", {"low": 0, "high": 5}), ("factors", {"low": 0, "high": 5, "from": 1, "to": 4})])
def test_a_score_out_of_five_is_not_joined_with_one_out_of_ten(bench, declared, which, own):
    """A number without a unit says something in its range only."""
    parts = {"readings": {"gel_time": {}, "score": own}} if which == "readings" else {"factors": {"catalyst": {}, "room_temperature": {}, "score": own}}
    logs = [bench(number, aims={}, **parts) for number in (1, 2, 3)]
    if which == "factors":
        logs = [replace(log, pours=log.pours.assign(score=2.0)) for log in logs]
    join_logs(logs)
    problem = refused([*logs[:2], declared(logs[2], which, "score", high=10.0)])
    row = problem.table.iloc[0]
    assert (row["bench"], row["part"], row["what"], row["here"], row["in the pool"]) == (
        "Bench 3", "score", "is counted in other terms", *(("plain numbers from 0 to 10 (plain scale)", "plain numbers from 0 to 5 (plain scale)")
                                                           if which == "readings" else ("0 to 10", "0 to 5")))


def test_every_reason_at_once(bench, tmp_path):
    odd = bench(2, resin={"kind": "epoxy"})
    soft = bench(4, readings={"hardness": {"unit": "Shore A"}, "tack": {}})
    given = {"A": bench(1), "B": odd, "C": tmp_path / "nothing", "D": soft, "E": bench(5), "F": 7}
    problem = refused(given)
    assert set(problem.table["bench"]) == {"B", "C", "D", "F"}
    said = "\n".join(problem.problems)
    assert "another kind of resin" in said and "no such file or folder" in said
    assert "another scale" in said and "a int holds no log" in said
    assert "<table" in problem._repr_html_()
    rest = join_logs({"A": bench(1), "B": odd, "C": tmp_path / "nothing", "E": bench(5)}, leave_out=True)
    assert rest.benches.index.tolist() == ["A", "E"] and len(rest.left_out) == 2


def test_nothing_left_is_refused_even_when_leaving_out(tmp_path):
    assert "no such file or folder" in str(refused([tmp_path / "nothing"], leave_out=True))
    with pytest.raises(Problem, match="nothing to pool"):
        join_logs([])


def test_units_that_convert_are_converted(bench, declared):
    """90 min are 1.5 h: arithmetic."""
    hours = bench(3)
    rows = hours.readings.copy()
    gel = rows["reading"] == "gel_time"
    rows.loc[gel, ["low", "high"]] /= 60
    hours = declared(replace(hours, readings=rows), "readings", "gel_time", unit="h", low=0.01, high=24.0)
    joined = join_logs([bench(1), bench(2), hours]).castings
    mine = joined.readings[joined.readings["pour"].str.startswith("Bench 3") & (joined.readings["reading"] == "gel_time")]
    np.testing.assert_allclose(mine[["low", "high"]].to_numpy(), 60 * rows.loc[gel, ["low", "high"]].to_numpy())


@pytest.mark.parametrize(("most", "at_most", "step"), [("cm", 2.0, 0.5), ("mm", 20.0, 5.0)])
def test_the_aim_of_the_first_bench_and_the_steps_of_all_are_in_the_unit_of_the_pool(bench, most, at_most, step):
    """At most 20 mm are at most 2 cm, and half a centimetre is coarser than a millimetre: arithmetic."""
    ways = {"mm": ({"unit": "mm", "low": 0, "high": 100, "resolution": 1}, 20), "cm": ({"unit": "cm", "low": 0, "high": 10, "resolution": 0.5}, 1)}
    logs = [bench(n, readings={"gel_time": {}, "bow": ways[unit][0]}, aims={"bow": {"at_most": ways[unit][1]}}) for n, unit in enumerate(("mm", most, "cm"), 1)]
    study = join_logs(logs).castings.study
    assert (study.reading("bow").unit, study.aims[0].at_most, study.reading("bow").resolution) == (most, at_most, step)


def test_an_aim_on_a_scale_that_is_left_out_is_not_taken_for_one_on_the_pools(bench):
    """At least 90 Shore A asked for 90 Shore D."""
    logs = [bench(n, readings={"gel_time": {}, "hardness": {"unit": unit}}, aims={"hardness": {"at_least": least}}, ready={"sand": 60})
            for n, (unit, least) in enumerate((("Shore A", 90), ("Shore D", 70), ("Shore D", 70)), 1)]
    study = join_logs(logs, leave_out=True).castings.study
    assert study.reading("hardness").unit == "Shore D" and not study.aims and not study.ready
    assert join_logs(logs[1:]).castings.study.aims[0].at_least == 70 and join_logs(logs[1:]).castings.study.ready == {"sand": 60}


@pytest.mark.parametrize("place", [0, 1])
def test_a_choice_that_any_bench_declares_is_one_of_the_pool(bench, place):
    """Where the first bench listed no choice, a pool could recommend both moulds for one casting."""
    moulds = {name: {"kind": "yes/no"} for name in ("silicone", "glass")}
    choice = {"one_of": {"mould": list(moulds)}}
    logs = [bench(n, factors={"catalyst": {}, "room_temperature": {}, **moulds}, **(choice if n == place else {})) for n in range(2)]
    logs = [replace(log, pours=log.pours.assign(silicone=1.0, glass=0.0)) for log in logs]
    assert join_logs(logs).castings.study.one_of == {"mould": ("silicone", "glass")}


def test_fahrenheit_rooms_are_converted_and_open_ends_stay_open(bench, declared):
    """68 degF are 20 degC, by definition of the scales."""
    warm = bench(3)
    warm = replace(warm, pours=warm.pours.assign(room_temperature=68.0))
    warm = declared(warm, "factors", "room_temperature", unit="degF", low=40.0, high=104.0)
    joined = join_logs([bench(1), bench(2), warm]).castings
    assert joined.pours.loc["Bench 3 P1", "room_temperature"] == pytest.approx(20.0)
    rows = bench(4).readings.assign(high=np.inf)
    there = join_logs([bench(1), bench(2), replace(bench(4), readings=rows)]).castings.readings
    assert np.isinf(there[there["pour"].str.startswith("Bench 3")]["high"]).all()


@pytest.mark.parametrize("order", [["Clear", "Opaque"], ["Opaque", "Clear"]])
def test_a_bench_that_did_not_write_a_setting_down_is_taken_at_its_own_usual_value(bench, declared, order):
    """Opaque casts at 86 degF without writing it down, which is 30 degC; Clear at its 19 degC, as read, and once unread at its 20 degC."""
    clear, opaque = bench(1), bench(2)
    clear = replace(clear, pours=clear.pours.assign(room_temperature=[19.0] * 5 + [np.nan]))
    opaque = declared(replace(opaque, pours=opaque.pours.assign(room_temperature=np.nan)),
                      "factors", "room_temperature", unit="degF", low=40.0, high=104.0, usual=86.0)
    clear = declared(clear, "factors", "room_temperature", usual=20.0)
    given = {"Clear": clear, "Opaque": opaque, "Third": declared(bench(3), "factors", "room_temperature", usual=20.0)}
    joined = join_logs({name: given[name] for name in [*order, "Third"]})
    rooms = joined.castings.pours["room_temperature"]
    assert rooms[[f"Opaque P{i}" for i in range(1, 7)]].tolist() == pytest.approx([30.0] * 6)
    assert rooms[["Clear P5", "Clear P6"]].tolist() == [19.0, 20.0]
    assert set(joined.assumed) == {"room temperature 20 °C for 1 pour of Clear", "room temperature 86 °F for 6 pours of Opaque"}


def test_a_setting_that_a_bench_does_not_know_is_said_to_be_assumed(bench):
    """Bench 2 alone weighs filler, from 0 to 20 %; the other's is taken as none, which may not be so."""
    filled = bench(2, factors={"catalyst": {}, "room_temperature": {}, "resin_lot": {}, "filler": {"unit": "%", "low": 0, "high": 60, "from": 0, "to": 20}})
    filled = replace(filled, pours=filled.pours.assign(filler=[0.0, 10.0, 20.0] * 2))
    joined = join_logs([bench(1), filled])
    assert joined.assumed == ("filler 0 % for 6 pours of Bench 1",)
    assert joined.castings.pours["filler"].isna().sum() == 6


def test_a_file_that_is_no_log_is_refused_with_what_to_give(bench, tmp_path):
    """A study folder zipped by hand, a sheet and a findings page: each as people send them."""
    (tmp_path / "north").mkdir()
    with zipfile.ZipFile(tmp_path / "north.zip", "w") as packed:
        packed.writestr("north/study.toml", "")
    for name in ("south.csv", "west.html"):
        (tmp_path / name).write_text("pour,catalyst\nP1,1.5\n")
    zipped, sheet, page = refused([tmp_path / name for name in ("north.zip", "south.csv", "west.html")]).table["what"]
    assert zipped.endswith("or a study.toml, unpack it and give that folder")
    assert "Read a spreadsheet into a study folder, under 2-pour-and-log, and give that folder" in sheet and sheet == page


def test_the_usual_value_of_a_pool_is_that_of_most_benches_and_of_two_the_lower(bench, declared):
    """Two rooms of 25 °C and one of 15 °C, then one of each, either of them named first."""
    low, high, other = (declared(bench(n), "factors", "room_temperature", usual=usual) for n, usual in ((1, 15.0), (2, 25.0), (3, 25.0)))
    for logs, usual in (([low, high, other], 25.0), ([low, high], 15.0), ([high, low], 15.0)):
        assert join_logs(logs).castings.study.factor("room_temperature").usual == usual
    again = replace(high, readings=high.readings[::-1])  # a log given twice has one voice
    assert join_logs([low, high, again], leave_out=True).castings.study.factor("room_temperature").usual == 15.0


@pytest.mark.parametrize("unit", ["g", ""])
def test_a_factor_in_a_unit_that_does_not_convert_keeps_the_whole_bench_out(bench, declared, unit):
    other = declared(bench(3), "factors", "catalyst", unit=unit)
    assert refused([bench(1), bench(2), other]).table.iloc[0]["what"] == "is in another unit"
    assert join_logs([bench(1), bench(2), other], leave_out=True).benches.index.tolist() == ["Bench 1", "Bench 2"]


def test_a_factor_that_only_a_bench_left_out_declares_is_none_of_the_pool(bench, declared):
    """It ended in "min() arg is an empty sequence"."""
    other = bench(3, factors={"catalyst": {}, "room_temperature": {}, "resin_lot": {}, "speed": {"from": 1, "to": 4, "low": 0, "high": 5}})
    other = declared(replace(other, pours=other.pours.assign(speed=2.0)), "factors", "catalyst", unit="g")
    study = join_logs([bench(1), bench(2), other], leave_out=True).castings.study
    assert [factor.name for factor in study.factors] == ["catalyst", "room_temperature", "resin_lot"]


def test_a_reading_that_only_a_second_copy_of_a_log_declares_is_none_of_the_pool(bench):
    """It ended in "max() arg is an empty sequence"."""
    again = replace(bench(1), study=bench(1, readings={"gel_time": {}, "hardness": {"unit": "Shore D"}, "tack": {}, "opacity": {}}).study)
    study = join_logs([bench(1), bench(2), again], leave_out=True).castings.study
    assert [reading.name for reading in study.readings] == ["gel_time", "hardness", "tack"]


@pytest.mark.parametrize(
    "name, parts, here",
    [
        ("tack", {"grades": ("dry", "wet"), "high": 1.0}, "the grades dry, wet"),
        ("gel_time", {"scale": "plain"}, "min (plain scale)"),
        ("hardness", {"high": 90.0}, "Shore D from 0 to 90 (share scale)"),
    ],
)
def test_readings_declared_differently_are_refused(bench, declared, name, parts, here):
    other = declared(bench(3), "readings", name, **parts)
    problem = refused([bench(1), bench(2), other])
    assert problem.table["here"].tolist() == [here]
    assert f"is counted in other terms. The pool has {bench(1).study.reading(name).counted_in}: count and declare it so" in str(problem)


def test_the_same_log_twice_is_found_by_content_whatever_it_is_called(bench):
    again = bench(1)
    names = {name: f"X{name}" for name in again.pours.index}
    again = replace(
        again,
        pours=again.pours.rename(index=names).assign(session="Monday", by="Bob", note=""),
        readings=again.readings.assign(pour=again.readings["pour"].map(names))[::-1].reset_index(drop=True),
    )
    problem = refused([bench(1), bench(2), again])
    assert problem.table.iloc[0]["bench"] == "Bench 3"
    assert "has 6 pours of 6 that Bench 1 gave already" in problem.problems[0]
    assert "two copies of one log, write one as a spreadsheet and read that into the other" in problem.problems[0]
    assert join_logs([bench(1), bench(2), again], leave_out=True).benches.index.tolist() == ["Bench 1", "Bench 2"]


def test_some_pours_twice_leave_the_others(bench):
    whole = bench(1, pours=8)
    part = bench(1, pours=8)
    keep = part.pours.index[:4]
    first = replace(part, pours=part.pours.loc[keep], readings=part.readings[part.readings["pour"].isin(keep)])
    joined = join_logs([first, whole, bench(2)], leave_out=True)
    assert joined.benches["pours"].tolist() == [4, 4, 6]
    assert "4 pours of 8" in joined.left_out.iloc[0]["what"]


def test_two_benches_at_the_same_settings_with_one_grade_alike_are_not_the_same(bench):
    """Equal coarse readings at equal settings on one day are coincidence."""
    only = {"tack": {}}
    first, second = bench(1, readings=only), bench(2, readings=only)
    rows = second.readings.copy()
    rows["low"] = rows["high"] = np.where(np.arange(6) < 3, first.readings["low"], 1 - first.readings["low"])
    second = replace(second, readings=rows, pours=first.pours)
    assert len(join_logs([first, second]).castings) == 12


def test_a_sheet_without_dates_at_two_benches_is_the_same_log_twice(study, tmp_path, monkeypatch):
    """Each bench entered it on a day of its own, which is not taken for the day of the pours."""
    days = iter(pd.date_range("2026-03-01", periods=9))
    monkeypatch.setattr("testpour.logbook.entries.made_on", lambda _: next(days))
    (tmp_path / "sheet.csv").write_text("Catalyst %,Gel (min),Hardness 24 h\n1.5,31,76\n2,24,78\n1.2,28,75\n", "utf-8")
    logs = []
    for bench in ("north", "south"):
        log = Logbook(replace(study, name=bench), "sqlite://")
        with pytest.warns(NotRead) as said:
            log.add_sheet(tmp_path / "sheet.csv")
        assert any("the pours" in str(warning.message) for warning in said)
        logs.append(log.castings())
    assert "has 3 pours of 3 that Bench 1 gave already" in refused(logs).problems[0]


def test_each_bench_keeps_the_step_of_its_own_instrument(bench, declared):
    """A durometer read in whole numbers is known to half a one; one read in fives to two and a half."""
    coarse = declared(bench(3), "readings", "hardness", resolution=5.0)
    rows = join_logs([bench(1), bench(2), coarse]).castings.readings
    width = (rows["high"] - rows["low"])[rows["reading"] == "hardness"]
    assert set(width) == {1.0, 5.0}


def test_study_folders_open_logs_and_castings_are_all_read(bench, study_here, practice_log):
    save_study(study_here, study_here.folder / "study.toml")
    by_path = join_logs([study_here.folder]).castings
    by_log = join_logs([practice_log]).castings
    assert isinstance(practice_log, Logbook)
    assert len(by_path) == 12 and by_path.fingerprint() == by_log.fingerprint()
    assert by_log.fingerprint() == join_logs([practice_log.castings()]).castings.fingerprint()


def test_a_data_package_is_read(study_here, practice_log, tmp_path):
    write_package(practice_log, tmp_path / "bench.zip")
    joined = join_logs([tmp_path / "bench.zip"])
    assert joined.benches["pours"].tolist() == join_logs([read_package(tmp_path / "bench.zip")]).benches["pours"].tolist() == [12]
    assert joined.castings.fingerprint() == join_logs([practice_log]).castings.fingerprint()
