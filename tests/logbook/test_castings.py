"""The castings table: its promised shape, a stable mark of the data, and nothing edited on the way."""

import contextlib
import hashlib
import sqlite3
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.logbook.book import Logbook
from testpour.logbook.castings import new_names
from testpour.study.columns import Factor, Reading
from testpour.study.study_file import study_from

POUR = {"settings": {"catalyst": 1.5, "room_temperature": 18}, "session": "S1", "made_at": "2026-03-02 10:00"}


def test_the_shape_it_promises(practice_castings, study):
    pours, readings = practice_castings.pours, practice_castings.readings
    factors = [f.name for f in study.factors]
    assert list(pours.columns) == ["session", "made_at", *factors, "by", "note"] and pours.index.name == "pour"
    assert list(readings.columns) == ["entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note"]
    assert pours[[f.name for f in study.factors if f.kind != "text"]].dtypes.eq(float).all()
    assert readings[["low", "high", "age"]].dtypes.eq(float).all()
    assert set(readings["known"]) <= {"exact", "between", "not yet", "already"}
    assert (readings["low"] <= readings["high"]).all() and set(readings["pour"]) == set(pours.index)
    assert set(pours["cover"]) == {0.0, 1.0}


def test_sentences(log, practice_castings):
    assert log.castings().sentence() == "The log is empty: no pour has been logged yet." and len(log.castings()) == 0
    log.add_pour(**POUR)
    assert repr(log.castings()) == "1 pour in 1 session, in a room at 18 °C, with 0 readings."
    assert practice_castings.sentence().startswith("12 pours in 2 sessions, in rooms from 17 to 22 °C, with ")


def test_wide_reads_like_a_bench_book(log):
    log.add_pour(settings={**POUR["settings"], "cover": "no", "resin_lot": "drum 3"}, session="S1")
    log.add_pour(settings={"catalyst": 2.25, "thickness": "1/4 in"}, session="S1")
    log.add_reading("P01", "gel_time", "did not gel by 2 h")
    log.add_reading("P02", "peak_temperature", "190 degF")
    for value in (77, 78):
        log.add_reading("P01", "hardness", value, age=24)
    wide = log.castings().wide()
    assert list(wide.columns)[:6] == ["session", "catalyst (%)", "thickness (mm)", "cover", "room temperature (°C)", "resin lot"]
    assert wide.loc["P01", ["catalyst (%)", "cover", "thickness (mm)", "resin lot"]].tolist() == ["1.5", "no", "", "drum 3"]
    assert wide.loc["P02", ["catalyst (%)", "thickness (mm)", "room temperature (°C)"]].tolist() == ["2.25", "6.35", ""]
    assert wide.loc["P01", "gel time (min)"] == "not yet at 120" and wide.loc["P02", "gel time (min)"] == ""
    assert wide.loc["P01", "hardness at 24 h (Shore D)"] == "77, 78" and wide.loc["P02", "peak temperature (°C)"] == "87.78"  # (190 - 32) / 1.8
    assert "humidity (%)" not in wide


def test_hostile_names_are_text_in_a_notebook(log):
    log.add_pour("<img src=x onerror=alert(1)>", **POUR)
    assert "<img" not in log.castings()._repr_html_() and "&lt;img" in log.castings()._repr_html_()


def test_the_bulk_load_says_what_a_replay_of_the_rows_says(log, study_here):
    """Peer: the rows read one by one with the standard library's sqlite3 and replayed in plain Python."""
    entries = [log.add_pour(**{**POUR, "settings": {"catalyst": 1 + i / 10, "resin_lot": f"drum {i}"}}) for i in range(5)]
    gels = [log.add_reading(pour, "gel_time", between=(20 + i, 30 + i)) for i, pour in enumerate(entries)]
    log.add_reading(entries[0], "hardness", 77, age=24, specimen="left", by="AB", note="soft edge")
    log.correct_reading(log.correct_reading(gels[0], 25, why="slip"), not_yet=40, why="slip again")
    log.correct_reading(gels[1], already=5, why="slip")
    log.withdraw_reading(gels[2], why="spilt")
    log.correct_pour(entries[1], settings={"catalyst": 2.0, "resin_lot": None}, why="scale")
    log.withdraw_pour(entries[4], why="wrong drum")
    castings = log.castings()
    seen = castings.pours.astype(object).fillna("unknown")
    pours, readings = replayed(study_here.folder / study_here.log)
    assert {pour: (row["catalyst"], row["resin_lot"]) for pour, row in seen.iterrows()} == pours
    assert list(castings.pours.index) == entries[:4]  # a corrected pour keeps its place
    columns = ["entry", "pour", "reading", "low", "high", "specimen", "by", "known", "note"]
    assert [tuple(row) for row in castings.readings[columns].itertuples(index=False)] == readings


def replayed(path):
    """What stands in a log file: catalyst and lot of each pour, and the rows of readings."""
    with contextlib.closing(sqlite3.connect(path)) as file:
        rows = file.execute("SELECT entry, pour, supersedes, void FROM pours ORDER BY entry").fetchall()
        held = {entry: [pour, void] for entry, pour, _, void in rows}
        for _, _, old, _ in rows:
            held.pop(old, None)
        pours = {}
        for entry, (pour, void) in held.items():
            known = dict.fromkeys(("catalyst", "resin_lot"), "unknown")
            for factor, number, text in file.execute("SELECT factor, number, text FROM settings WHERE entry = ?", [entry]):
                known[factor] = number if text is None else text
            if not void:
                pours[pour] = (known["catalyst"], known["resin_lot"])
        sql = "SELECT entry, pour, reading, low, high, specimen, by, known, note, supersedes, void FROM readings ORDER BY entry"
        found = {}
        for *row, old, void in file.execute(sql):
            found.pop(old, None)
            row[3], row[4] = (-np.inf if row[3] is None else row[3]), (np.inf if row[4] is None else row[4])
            found[row[0]] = (tuple(row), void)
    return pours, [row for row, void in found.values() if not void and row[1] in pours]


def test_a_long_log_shows_its_end_in_a_notebook(log):
    log.add_all([{"session": "S1", "settings": {"catalyst": 1 + i / 100}} for i in range(75)])
    page = log.castings()._repr_html_()
    assert "75 pours" in page and "The last 60 are listed" in page and "60 pours" not in page
    assert ">P75<" in page and ">P16<" in page and ">P15<" not in page


def test_looking_does_not_change_what_is_seen(practice_castings):
    pours, readings = practice_castings.pours.copy(deep=True), practice_castings.readings.copy(deep=True)
    practice_castings.wide(), practice_castings.fingerprint(), practice_castings._repr_html_()
    pd.testing.assert_frame_equal(practice_castings.pours, pours)
    pd.testing.assert_frame_equal(practice_castings.readings, readings)


def test_the_fingerprint_is_sixteen_hex_digits_and_stays(practice_log, practice_castings):
    mark = practice_castings.fingerprint()
    assert len(mark) == hashlib.sha256().digest_size // 2 and int(mark, 16) >= 0
    assert practice_log.castings().fingerprint() == practice_log.castings().fingerprint()


def test_the_fingerprint_does_not_mind_the_order_of_logging_or_who_logged(study, tmp_path):
    marks = []
    for number, names in enumerate((["A", "B"], ["B", "A"])):
        folder = tmp_path / str(number)
        folder.mkdir()
        book = Logbook(replace(study, folder=folder))
        for name in names:
            book.add_pour(name, **POUR, by=f"maker {number}", note=f"note {number}")
            book.add_reading(name, "gel_time", 20, by=f"maker {number}")
        marks.append(book.castings().fingerprint())
        book.close()
    assert marks[0] == marks[1]


def test_the_fingerprint_changes_with_the_data(log):
    log.add_pour(**POUR)
    marks = [log.castings().fingerprint()]
    entry = log.add_reading("P01", "gel_time", 20)
    marks.append(log.castings().fingerprint())
    entry = log.correct_reading(entry, "20 to 21", why="x")
    marks.append(log.castings().fingerprint())
    log.correct_pour("P01", settings={"catalyst": 1.6}, why="x")
    marks.append(log.castings().fingerprint())
    log.correct_pour("P01", session="S2", why="x")
    marks.append(log.castings().fingerprint())
    log.add_pour(**POUR)
    marks.append(log.castings().fingerprint())
    assert len(set(marks)) == len(marks)
    log.withdraw_pour("P02", why="x")
    assert log.castings().fingerprint() == marks[-2]  # withdrawn: as if it had not been
    log.withdraw_reading(entry, why="x")
    assert log.castings().fingerprint() not in marks


def test_the_fingerprint_is_that_of_units_and_grades_too(tmp_path):
    """The older mark is that of these data as the kit wrote itout units and grades, are accepted too."""

    def held(unit, grades):
        tack = {"ages": ["24 h"], "grades": grades, "low": 0, "high": 2}
        asked = {"factors": {"catalyst": {}}, "readings": {"hardness": {"unit": unit, "ages": ["24 h"]}, "tack": tack}}
        with contextlib.closing(Logbook(study_from(asked, tmp_path / f"{unit}{grades[1]}" / "study.toml"))) as log:
            log.add_pour("A1", settings={"catalyst": 1.5}, session="S1", made_at="2026-03-02 10:00")
            log.add_reading("A1", "hardness", 76, age=24)
            log.add_reading("A1", "tack", 1, age=24)
            return log.castings()

    for name in ("Shore Dtacky", "Shore Atacky", "Shore Dsticky"):
        (tmp_path / name).mkdir()
    each = [held("Shore D", ["dry", "tacky", "wet"]), held("Shore A", ["dry", "tacky", "wet"]), held("Shore D", ["dry", "sticky", "wet"])]
    marks = [one.fingerprint() for one in each]
    assert len(set(marks)) == 3 and all(one.has_fingerprint(mark) for one, mark in zip(each, marks, strict=True))
    assert each[0].has_fingerprint("0b19ff680682c489") and not each[0].has_fingerprint(marks[1])


def test_what_the_study_no_longer_reads_is_left_out(practice_log):
    small = replace(practice_log.study, readings=practice_log.study.readings[:1], factors=practice_log.study.factors[:2])
    book = Logbook(small)
    held = book.castings()
    assert set(held.readings["reading"]) == {"gel_time"} and "thickness" not in held.pours
    book.close()


def test_what_the_log_holds_and_the_study_no_longer_declares_is_said(study_here):
    """Of three pours with a filler one was withdrawn and one corrected; one reading was withdrawn."""
    own = (*study_here.factors, Factor("filler", "%", low=0, high=60)), (*study_here.readings, Reading("shrinkage", "mm", low=0, high=10))
    log = Logbook(replace(study_here, factors=own[0], readings=own[1]))
    for pour in "ABC":
        log.add_pour(pour, settings={"catalyst": 1.5, "filler": 10}, session="S")
        read = log.add_reading(pour, "shrinkage", 1)
    log.withdraw_reading(read, why="slip")
    log.correct_pour("A", settings={"filler": 20}, why="slip")
    log.withdraw_pour("B", why="spilt")
    assert not log.castings().undeclared
    log.close()
    later = Logbook(study_here)
    castings = later.castings()
    later.close()
    assert castings.undeclared == {"filler": 2, "shrinkage": 1}
    assert repr(castings) == (
        "2 pours in 1 session, with 0 readings. The log also holds filler for 2 pours and shrinkage for 1 pour, which the study file does not "
        "declare, so nothing is learnt from it. Declare it there again under the name it has in the log, or leave it if you gave it up.")


@pytest.mark.parametrize("ways, low, high", [({"not_yet": 120}, 120, np.inf), ({"already": 15}, -np.inf, 15)])
def test_open_ends_are_infinite(log, ways, low, high):
    log.add_pour(**POUR)
    log.add_reading("P01", "gel_time", **ways)
    assert log.castings().readings[["low", "high"]].values.tolist() == [[low, high]]


@pytest.mark.parametrize("change, told", [
    ({}, True),
    ({"hardness": [81.0, 81.0, 82.0]}, False),  # one of the three reads otherwise: two are a coincidence
    ({"catalyst": [1.5, 1.5, 1.6]}, False),
    ({"hardness": None}, False),  # grades and looks at the clock agree by themselves
])
def test_one_casting_entered_three_times_is_remarked_on(study, castings_of, change, told):
    names = ["A", "B", "C"]
    pours = pd.DataFrame({"catalyst": change.get("catalyst", 1.5), "room_temperature": 20.0}, index=names)
    hardness = change.get("hardness", 81.0)
    ends = {"gel_time": (18.0, 22.0), "tack": (1.0, 1.0), "opacity": (2.0, 2.0)}
    rows = [pd.DataFrame({"pour": names, "reading": name, "low": low, "high": high}) for name, (low, high) in ends.items()]
    if hardness is not None:
        rows.append(pd.DataFrame({"pour": names, "reading": "hardness", "low": hardness, "high": hardness}))
    castings = castings_of(study, pours, pd.concat(rows, ignore_index=True))
    said = (
        "A, B and C agree in every setting and every reading, which hardly ever happens. If one casting was entered 3 times, "
        "withdraw 2 of them, or it counts 3 times."
    )
    assert (said in castings.sentence()) == told and castings.copies() == ([["A", "B", "C"]] if told else [])


def test_many_entries_of_one_casting_are_not_all_named(study, castings_of):
    names = [f"P{number}" for number in range(1, 21)]
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0}, index=names)
    rows = [pd.DataFrame({"pour": names, "reading": name, "low": 81.0, "high": 81.0}) for name in ("hardness", "gel_time", "peak_temperature")]
    said = castings_of(study, pours, pd.concat(rows, ignore_index=True)).sentence()
    assert "P1, P2, P3, P4, P5, P6, P7, P8 and 12 more agree" in said and "withdraw 19 of them, or it counts 20 times" in said


def test_a_text_that_nobody_wrote_is_blank_as_a_number_is(log):
    """A lot written for one pour alone, and a reading without a specimen: a table of them shows NaN, never the word None."""
    log.add_all([{**POUR, "pour": "P01", "settings": {**POUR["settings"], "resin_lot": "A"}}, {**POUR, "pour": "P02"}])
    log.add_reading("P02", "gel_time", value="20 min")
    found = log.castings()
    assert found.pours["resin_lot"].map(type).tolist() == [str, float]
    assert not [name for table in (found.pours, found.readings) for name in table if (table[name].map(type) == type(None)).any()]


@pytest.mark.parametrize("taken, names", [
    ([], ["P01", "P02"]), (["P07", "P03-2", "xP30", "P30x"], ["P08", "P09"]), (["North bench P07", "South P11-2"], ["P12", "P13"]),
])
def test_new_pours_are_counted_on_from_the_highest_name_of_a_log_or_of_a_pool(taken, names):
    """A pool puts the bench before the name: its next pours were called P01 and on, which every bench had already."""
    assert new_names("P", 2, taken) == names
