"""Sheets as people keep them: every value by hand, round trips, every problem named, nothing half-stored."""

import csv
import datetime as dt
import re
import string
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.xml.constants import SHARED_STRINGS, SHEET_MAIN_NS

import testpour as tp
from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems, check_entries
from testpour.logbook.log_warnings import Caution
from testpour.logbook.spreadsheet import NotRead, read_sheet
from testpour.logbook.tables import LogProblem

SHEET = Path(__file__).parents[2] / "datasets" / "workshop-sheet.csv"
TAPPING = 'by tapping in the notebook 2-pour-and-log, under "Put right what is in the log", or with '
INF = np.inf

# By hand from the sheet: an inch is 25.4 mm; 66 and 69 °F are 34/1.8 and 37/1.8 °C; a comma is a decimal mark.
BY_HAND = pd.DataFrame(
    [
        ["14 March", 1.5, 0.5, 6.35, 1, 34 / 1.8, ""],
        ["14 March", 2.0, 0.5, 6.35, 0, 34 / 1.8, "open face dragged a little"],
        ["14 March", 1.0, 2.0, 12.7, 1, 34 / 1.8, "left overnight"],
        ["15 March", 1.8, 1.0, 12.0, 1, 20.5, "three places, all dry; the heater was off until noon"],
        ["15 March", 2.4, 0.2, 19.05, 1, 37 / 1.8, "not read the next day; class was out"],
    ],
    index=pd.Index(["W1", "W2", "W3", "W4", "W5"], name="pour"),
    columns=["session", "catalyst", "pigment", "thickness", "cover", "room_temperature", "note"],
)
READ_BY_HAND = [
    ("W1", "gel_time", 20, 25, None), ("W1", "hardness", 76, 76, 24), ("W1", "tack", 0, 0, 24),
    ("W2", "gel_time", 14, 18, None), ("W2", "hardness", 79, 79, 24), ("W2", "tack", 1, 1, 24),
    ("W3", "gel_time", 120, INF, None), ("W3", "hardness", 61, 61, 24), ("W3", "tack", 3, 3, 24),
    ("W4", "gel_time", 24, 24, None), ("W4", "hardness", 78, 78, 24), ("W4", "hardness", 77, 77, 24),
    ("W4", "hardness", 80, 80, 24), ("W4", "tack", 0, 0, 24), ("W5", "gel_time", 10, INF, None),
]


# Most sheets here leave out a date and some settings or have a remark in a row of its own, and are told so.
GAPS = ("no column gives", "taken as one session", "may be about one pour or several")
pytestmark = [pytest.mark.filterwarnings(f"ignore:.*{said}:testpour.logbook.spreadsheet.NotRead") for said in GAPS]


def told_besides(said):
    """Warnings, but for those of `GAPS`."""
    return [one for one in said if not any(gap in str(one.message) for gap in GAPS)]


def told(castings):
    rows = castings.readings[["pour", "reading", "low", "high", "age"]].values.tolist()
    return [(*row[:4], None if np.isnan(row[4]) else row[4]) for row in rows]


def test_the_workshop_sheet_cell_by_cell(log):
    assert log.add_sheet(SHEET) == ["W1", "W2", "W3", "W4", "W5"]
    held = log.castings()
    pd.testing.assert_frame_equal(held.pours[list(BY_HAND)], BY_HAND, check_dtype=False, rtol=1e-10, check_index_type=False,
                                  check_column_type=False)
    assert held.pours[["humidity", "post_cure_time"]].isna().all(axis=None)
    assert told(held) == READ_BY_HAND


def test_the_same_sheet_as_a_workbook_is_the_same_log(log, study_here):
    book = openpyxl.Workbook()
    with open(SHEET, encoding="utf-8", newline="") as file:
        for row in csv.reader(file, delimiter=";"):
            book.active.append(row)
    book.save(study_here.folder / "sheet.xlsx")
    log.add_sheet("sheet.xlsx")  # found beside the study
    assert told(log.castings()) == READ_BY_HAND
    assert log.castings().pours["room_temperature"].tolist() == pytest.approx(BY_HAND["room_temperature"].tolist())


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_round_trip(practice_log, tmp_path, ending):
    before = practice_log.castings()
    path = write_sheet(before, tmp_path / f"castings.{ending}")
    folder = tmp_path / "other"
    folder.mkdir()
    again = Logbook(replace(practice_log.study, folder=folder))
    again.add_sheet(path)
    after = again.castings()
    again.close()
    pd.testing.assert_frame_equal(after.pours, before.pours)
    columns = ["pour", "reading", "low", "high", "age", "specimen", "known"]
    order = ["pour", "reading", "age", "entry"]
    left, right = (c.readings.sort_values(order)[columns].reset_index(drop=True) for c in (after, before))
    pd.testing.assert_frame_equal(left, right)
    assert after.fingerprint() == before.fingerprint()


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_cover_that_nobody_knows_beside_covered_pours_comes_back(log, study_here, tmp_path, ending):
    for name, cover in (("A", "yes"), ("B", None)):
        log.add_pour(name, settings={"catalyst": 1.5, "cover": cover}, session="S1", made_at="2026-03-02")
    path = write_sheet(log.castings(), tmp_path / f"out.{ending}")
    again = Logbook(study_here, "sqlite://")
    with pytest.warns(NotRead, match=r"cover was taken as not written down in row 3 \(\?\)"):
        again.add_sheet(path)
    pd.testing.assert_frame_equal(again.castings().pours, log.castings().pours)
    again.close()


@pytest.fixture
def undated(log, tmp_path):
    """A sheet without a date, in the log, as castings."""
    (tmp_path / "sheet.csv").write_text("Catalyst %,Gel (min),Tack\n1.5,31,0\n2,24,1\n", "utf-8")
    log.add_sheet(tmp_path / "sheet.csv")
    return log.castings()


def test_a_day_that_a_sheet_does_not_give_is_not_known(log, undated):
    assert undated.pours["made_at"].isna().tolist() == [True, True]
    log.correct_pour("P02", made_at="2026-03-02", why="it was on the mould")
    assert log.castings().pours["made_at"].isna().tolist() == [True, False]
    assert log.castings().pours["made_at"]["P02"] == pd.Timestamp("2026-03-02")
    log.correct_pour("P01", settings={"catalyst": 1.6}, why="misread")
    assert log.castings().pours["made_at"].isna().tolist() == [True, False]


def test_a_date_written_once_holds_for_its_session(log, tmp_path):
    rows = ["P1,2026-03-02,Mon,1.5", "P2,,,2", "P3,,Mon,1.2", "P4,,Tue,1.5", "P5,2026-03-04,Wed,1.5", "P6,2026-03-05,,2", "P7,,,1.2"]
    (tmp_path / "sheet.csv").write_text("\n".join(["Pour,Date,Session,Catalyst %,Gel (min)", *(f"{row},30" for row in rows)]), "utf-8")
    log.add_sheet(tmp_path / "sheet.csv")
    days = log.castings().pours["made_at"].dt.day.fillna(0).tolist()
    assert days == [2, 2, 2, 0, 4, 5, 5]


def test_a_sheet_read_before_is_refused_row_by_row(log, undated, tmp_path):
    sheet = tmp_path / "sheet.csv"
    for more in ("", "1.2,not yet at 2 h,0\n"):
        sheet.write_text(f"Catalyst %,Gel (min),Tack\n1.5,31,0\n2,24,1\n{more}", "utf-8")
        with pytest.raises(LogProblems, match="the log already has everything in this row, as P01. Delete the row;") as found:
            log.add_sheet(sheet)
        assert found.value.problems["row"].tolist() == ["row 2", "row 3"] and len(log.castings()) == 2
    sheet.write_text("Catalyst %,Gel (min),Tack\n1.2,not yet at 2 h,0\n", "utf-8")
    log.add_sheet(sheet)
    with pytest.raises(LogProblems, match="as P03"):
        log.add_sheet(sheet)


@pytest.mark.parametrize("row", ["Mon,,1.6,31,0,", "Tue,,1.5,31,0,", "Mon,2026-03-09,1.5,31,0,", "Mon,,1.5,31-32,0,", "Mon,,1.5,31,1,76"])
def test_what_differs_from_a_pour_of_the_log_is_another_pour(log, tmp_path, row):
    """Session, day, setting, or a reading of those that both have."""
    sheet = tmp_path / "sheet.csv"
    for cells in ("Mon,2026-03-02,1.5,31,0,", row):
        sheet.write_text(f"Session,Date,Catalyst %,Gel (min),Tack,Hardness 24 h\n{cells}\n", "utf-8")
        log.add_sheet(sheet)
    assert len(log.castings()) == 2


def test_a_sheet_typed_up_further_does_not_bring_its_pours_again(log, undated, tmp_path):
    """Rows without names, with the hardness of a week later: whose it is has to be said, and is then added."""
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("Catalyst %,Gel (min),Tack,Hardness 7 d\n1.5,31,0,80\n2,24,1,82\n1.2,40,0,78\n", "utf-8")
    with pytest.raises(LogProblems, match="P01 in the log has the same settings and some of these readings. Write P01 in a pour column") as found:
        log.add_sheet(sheet)
    assert found.value.problems["row"].tolist() == ["row 2", "row 3"] and len(log.castings()) == 2
    sheet.write_text("Pour,Catalyst %,Gel (min),Tack,Hardness 7 d\nP01,1.5,31,0,80\nP02,2,24,1,82\nP03,1.2,40,0,78\n", "utf-8")
    with pytest.warns(NotRead, match="P01 and P02 are in the log already: 2 later readings added, 4 already there skipped"):
        assert log.add_sheet(sheet) == ["P01", "P02", "P03"]
    assert len(log.castings()) == 3 and len(log.castings().readings) == 9


def test_a_pour_with_a_name_of_its_own_may_read_like_another(log, undated, tmp_path):
    (tmp_path / "sheet.csv").write_text("Pour,Catalyst %,Gel (min),Tack\nX1,1.5,31,0\n", "utf-8")
    assert log.add_sheet(tmp_path / "sheet.csv") == ["X1"]


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_day_that_is_not_known_is_blank_in_a_sheet_and_comes_back_so(study_here, undated, tmp_path, ending):
    path = write_sheet(undated, tmp_path / f"castings.{ending}")
    again = Logbook(study_here, "sqlite://")
    again.add_sheet(path)
    pd.testing.assert_frame_equal(again.castings().pours, undated.pours)


NOTES = [
    "=1+1", "+1", "-x", "@x", "=HYPERLINK(\"http://x\",\"y\")", "'quoted", "''", "'=1", "=", "-", "none", "n/a", "?",
    "<b>bold</b> & co", "'); DROP TABLE pours; --", "\u202eright to left \u05e9\u05dc\u05d5\u05dd", "🧪👩🏽‍🔬", "semi; colon, comma",
    "two\nlines", '"', "ditto", "Average", "Sum:", "Mean of 3", "Mean trick", "n", "same", ",", ", cooled,",
    "0012", "1e5", "TRUE", "2026-03-01", "1,5", "ünïcode", "\ufb01 \u00a0x", "#REF!",
]


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@pytest.mark.parametrize("text", NOTES, ids=range(len(NOTES)))
def test_text_of_every_kind_comes_back(log, study_here, tmp_path, text, ending):
    line = text.replace("\n", " ")
    log.add_pour(line, settings={"catalyst": 1, "room_temperature": 20, "resin_lot": line}, session=line, by=line, note=text)
    path = write_sheet(log.castings(), tmp_path / f"out.{ending}")
    folder = tmp_path / "other"
    folder.mkdir()
    again = Logbook(replace(study_here, folder=folder))
    again.add_sheet(path)
    pd.testing.assert_frame_equal(again.castings().pours, log.castings().pours)
    again.close()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-x", "@x", "\t=1"])
def test_nothing_in_a_sheet_is_run(log, tmp_path, text):
    """A cell that begins with = + - @ or a tab is acted on by spreadsheet programs (OWASP, CSV injection)."""
    log.add_pour(settings={"catalyst": 1, "room_temperature": 20}, session="S", note=text, by="x")
    with open(write_sheet(log.castings(), tmp_path / "out.csv"), encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not any(cell[:1] in ("=", "+", "-", "@", "\t") for cell in cells)
    sheet = openpyxl.load_workbook(write_sheet(log.castings(), tmp_path / "out.xlsx")).active
    assert not any(cell.data_type == "f" for row in sheet.iter_rows() for cell in row)


def write(folder, text, name="sheet.csv"):
    path = folder / name
    path.write_text(text, "utf-8")
    return path


BAD = """\
Spring term,,,,
,,,,
pour,catalyst (%),thickness (mm),gel time (min),tack at 24 h
A,1.5,10,20,0
B,2 g,10,25-20,1
C,9.5,900,20,7

D,1.5,10,soon,dry
A,1.5,10,20,0
"""
# Row as a spreadsheet numbers it, the header, and a word of what is wrong.
PROBLEMS = [
    ("row 5", "catalyst (%)", "does not turn into %"), ("row 5", "gel time (min)", "runs backwards"),
    ("row 6", "thickness (mm)", "1 to 60 mm"), ("row 6", "tack at 24 h", "0 to 3 grade"), ("row 6", "", "above 4 %"),
    ("row 8", "gel time (min)", "has no number"), ("row 9", "pour", "A is listed twice"),
]


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_every_problem_of_a_bad_sheet_at_once(log, tmp_path, ending):
    path = write(tmp_path, BAD)
    if ending == "xlsx":
        book = openpyxl.Workbook()
        for row in csv.reader(BAD.splitlines()):
            book.active.append(row)
        path = tmp_path / "sheet.xlsx"
        book.save(path)
    with pytest.raises(LogProblems, match=r"^7 problems; nothing was stored. First: row 5,") as found:
        log.add_sheet(path)
    table = found.value.problems
    for row, column, word in PROBLEMS:
        at = table[(table["row"] == row) & (table["column"] == column)]
        assert at["problem"].str.contains(word, regex=False).any(), (row, column, word)
    assert table["row"].tolist() == sorted(table["row"])
    assert len(log.castings()) == 0


def test_a_pour_already_in_the_log_stops_the_whole_sheet(log):
    log.add_pour("W4", settings={"catalyst": 1}, session="S")
    with pytest.raises(LogProblem, match="W4 is in the log already"):
        log.add_sheet(SHEET)
    assert log.castings().pours.index.tolist() == ["W4"]


FIRST = "pour,session,catalyst (%),gel time,hardness 24 h\nA1,Mon,1.5,25,75\nA2,Mon,1.2,31,70; 72\n"


@pytest.fixture
def read_before(log, tmp_path):
    log.add_sheet(write(tmp_path, FIRST))
    return log


@pytest.mark.parametrize(("text", "added", "passed"), [
    ("pour,session,catalyst (%),gel time,hardness 24 h,hardness 7 d\nA1,Mon,1.5,25,75,80\nA2,Mon,1.2,31,70; 72,77\n", 2, 5),
    ("pour,hardness 7 d\nA2,77\nA1,80\n", 2, 0),
    ("pour,hardness 24 h,hardness 7 d\nA2,70,77\nA1,75,80\n", 2, 2),
    (FIRST, 0, 5),
])
def test_a_sheet_read_again_later_adds_what_the_log_lacks(read_before, tmp_path, text, added, passed):
    before = told(read_before.castings())
    said = rf"^A[12] and A[12] are in the log already: {added} later readings added, {passed} already there skipped\.$"
    with pytest.warns(NotRead, match=said):
        assert sorted(read_before.add_sheet(write(tmp_path, text))) == ["A1", "A2"]
    later = [("A1", "hardness", 80, 80, 168), ("A2", "hardness", 77, 77, 168)]
    held = read_before.castings()
    assert len(told(held)) == 5 + added and set(told(held)) == {*before, *later[:added]}
    assert held.pours[["session", "catalyst"]].values.tolist() == [["Mon", 1.5], ["Mon", 1.2]]


def test_the_same_figure_read_at_another_place_is_another_reading(log, tmp_path):
    log.add_sheet(write(tmp_path, "pour,session,catalyst (%),hardness 24 h #1\nA1,Mon,1.5,75\nA2,Mon,1.2,70\n"))
    with pytest.warns(NotRead, match="2 later readings added, 2 already there skipped"):
        log.add_sheet(write(tmp_path, "pour,hardness 24 h #1,hardness 24 h #2\nA1,75,75\nA2,70,71\n"))
    assert sorted(log.castings().readings["specimen"]) == ["1", "1", "2", "2"]


def test_a_sheet_may_bring_new_pours_beside_later_readings(read_before, tmp_path):
    text = "pour,session,catalyst (%),hardness 24 h,note\nB1,Tue,2,81,\nA1,Mon,1.5,75; 76,soft edge\n"
    with pytest.warns(NotRead, match="A1 is in the log already: 1 later reading added, 1 already there skipped. Notes and initials that differ"):
        assert read_before.add_sheet(write(tmp_path, text)) == ["B1", "A1"]
    held = read_before.castings()
    assert held.pours.index.tolist() == ["A1", "A2", "B1"] and told(held)[-2:] == [("B1", "hardness", 81, 81, 24), ("A1", "hardness", 76, 76, 24)]


@pytest.mark.parametrize(("head", "row", "words"), [
    ("catalyst,hardness 7 d", "A1,1.6,80", "row 2, catalyst: A1 is in the log already, with catalyst 1.5 %. Write the same or nothing here."),
    ("pigment,hardness 7 d", "A1,2,80", "row 2, pigment: A1 is in the log already, without pigment"),
    ("session,hardness 7 d", "A1,Tue,80", "row 2, session: A1 is in the log already, with session Mon"),
    ("session,date,hardness 7 d", "A1,Mon,2026-03-09,80", "row 2, made at: A1 is in the log already, without made at"),
    ("gel time,hardness 7 d", "A1,26,80",
     "25 min in the log. Write the same or nothing here; if the log is wrong, correct it " + TAPPING + "correct_reading; another pour needs another name"),
    ("hardness 24 h,hardness 7 d", "A2,70; 73,80", "row 2, hardness at 24 h: A2 has hardness at 24 h 70 Shore D and 72 Shore D in the log"),
    ("gel time,hardness 7 d", "A11,,80", "row 2, pour: A11 is not in the log, which has A1 and A2, and has no settings here. Correct the name"),
])
def test_a_sheet_that_says_otherwise_than_the_log_is_refused(read_before, tmp_path, head, row, words):
    before = told(read_before.castings())
    with pytest.raises(LogProblems, match=re.escape(words)):
        read_before.add_sheet(write(tmp_path, f"pour,{head}\n{row}\n"))
    assert told(read_before.castings()) == before


def test_a_reading_that_was_withdrawn_does_not_come_back_by_a_sheet(read_before, tmp_path):
    entry = int(read_before.castings().readings.query("reading == 'gel_time' and pour == 'A1'")["entry"].iloc[0])
    read_before.withdraw_reading(entry, why="another cup")
    with pytest.raises(LogProblems, match="row 2, gel time: gel time 25 min of A1 was withdrawn in the log. Empty the cell, or log it again"):
        read_before.add_sheet(write(tmp_path, FIRST))


@pytest.mark.parametrize(
    "text, words",
    [
        ("pour,colour\nA,red\n", "no row of sheet.csv has headers of this study. Write one row for each pour, below a row of headers. Headers may be"),
        ("", "no row of sheet.csv has headers"),
        ("pour,what,value\nA,catalyst,1.5\nA,gel time,25\n", "Write one row for each pour, below a row of headers. Headers may be"),
        ("casting,1,2\ncatalyst (%),1.5,2\nthickness (mm),10,12\ngel time,25,20\ntack,dry,tacky\n",
         "First: the names of settings and readings are in the first column, one below the other. Write one row for each pour"),
        ("pour,catalyst,gel time,gel time\nA,1,20,21\n", "a second column for gel time"),
        ("pour,catalist,gel time,tack at 24 h\nA,1,20,0\n", "looks like catalyst. Write it so"),
        ("pour,catalyst,post cure,gel time\nA,1,2,20\n", "may be post-cure temperature or post-cure time"),
        ("pour,catalyst (g),gel time\nA,1.5,20\n", "gives an amount .g., not a percentage"),
        ("pour,catalyst,hardness\nA,1.5,70\n", "hardness changes with age"),
        ("pour,catalyst,hardness at 24 h (Barcol)\nA,1.5,40\n", "no scale converts to another"),
        ("pour,catalyst,hardness at 24 h\nA,1.5,\"77,5\"\n", "may be two readings or one with a comma"),
        ("pour,catalyst,gel time\nA,1.5,\"1,250\"\n", "may be 1250 or 1.250"),
        ("pour,date,catalyst,gel time\nA,2/3/2026,1,20\n", "may be day first or month first"),
        ("pour,catalyst,gel time,cover\nA,1,20,half\n", "neither yes nor no"),
        ("pour,catalyst,age,hardness\nA,1.5,24 h,70\n,,168 h,78\n", "row 3.*has a reading, but neither the name of a pour nor a setting"),
    ],
)
def test_refused_sheets(log, tmp_path, text, words):
    with pytest.raises(LogProblem, match=words):
        log.add_sheet(write(tmp_path, text))
    assert len(log.castings()) == 0


def test_files_that_are_no_sheets(study, tmp_path):
    with pytest.raises(LogProblem, match="No sheet at .*nowhere.csv. Give its path"):
        read_sheet(study, tmp_path / "nowhere.csv")
    with pytest.raises(LogProblem, match=r"nor a workbook \.xlsx\. Open it where it was made, choose Save As, take the file type that ends in \.xlsx"):
        read_sheet(study, write(tmp_path, "x", "sheet.ods"))
    with pytest.raises(LogProblem, match="sheet.xlsx: not readable as XLSX"):
        read_sheet(study, write(tmp_path, "pour,catalyst", "sheet.xlsx"))


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_whatever_program_wrote_it(study, tmp_path, coding, mark):
    rows = [["Pour", "Catalyst (%)", "Room (°C)", "Gel time (min)", "Note"], ["Ä1", "1.5", "18", "20", "Fläche"]]
    path = tmp_path / "sheet.csv"
    path.write_bytes("\r\n".join(mark.join(row) for row in rows).encode(coding))
    (entry,) = read_sheet(study, path)
    assert (entry["pour"], entry["note"]) == ("Ä1", "Fläche")
    assert entry["settings"] == {"catalyst": 1.5, "room_temperature": 18.0}


def test_a_cell_shown_as_per_cent_is_read_as_it_is_shown(study, tmp_path):
    """A workbook keeps 0.015 in a cell that shows 1.5 %; a cell with the plain number 1.5 is 1.5 % too."""
    book = openpyxl.Workbook()
    for row in (["pour", "catalyst", "gel time (min)"], ["A", 0.015, 20], ["B", 1.5, 20]):
        book.active.append(row)
    book.active["B2"].number_format = "0.0%"
    book.save(tmp_path / "sheet.xlsx")
    assert [entry["settings"]["catalyst"] for entry in read_sheet(study, tmp_path / "sheet.xlsx")] == [1.5, 1.5]


@pytest.mark.parametrize(
    ("column", "value", "shown", "expected"),
    [
        ("pigment", 0.05, '0.00"%"', 0.05), ("pigment", 0.05, "0.00\\%", 0.05), ("pigment", 0.015, "0.0 %", 1.5), ("pigment", 1.5, "General", 1.5),
        ("thickness", 0.5, '0.00" in"', 12.7), ("thickness", 1.5, '# ?/?" in"', 38.1), ("thickness", 1.2, '0.0\\ "cm"', 12),
        ("room temp", 68, '0" °F";-0" °F"', 20), ("room temp", 20, '#,##0.0_-;[Red]-#,##0.0', 20),
    ],
)
def test_a_unit_that_the_format_of_a_cell_shows_is_the_unit(study, tmp_path, column, value, shown, expected):
    """As the cell shows itself: 0.05%, 1.5 %, 1 1/2 in; an inch is 25.4 mm, 68 °F are 20 °C."""
    path = workbook(tmp_path, [["pour", column, "gel time"], ["A", value, 1.5]], shown={"B2": shown, "C2": '0.0" h"'})
    (entry,) = read_sheet(study, path)
    assert list(entry["settings"].values()) == [pytest.approx(expected)] and entry["readings"][0]["value"] == "1.5 h"


@pytest.mark.parametrize("shown", ['0.0"‰"', '[<1]0" min";0" h"', '0.0" g"', "0.00 [$€-407]"])
def test_a_format_that_shows_no_unit_of_the_column_is_refused(study, tmp_path, shown):
    with pytest.raises(LogProblems, match="row 2, pigment: "):
        read_sheet(study, workbook(tmp_path, [["pour", "pigment", "gel time"], ["A", 1.2, 20]], shown={"B2": shown}))


def test_a_lot_of_many_figures_keeps_them_all(study, tmp_path):
    """As a program stores them that keeps every number with a decimal point, and one that does not; 0.1 + 0.2 is shown as 0.3."""
    path = workbook(tmp_path, [["pour", "resin lot", "pigment"], ["A", 20240603001234, 0.1 + 0.2], ["B", 20240603001236.0, 2]])
    assert [list(entry["settings"].values()) for entry in read_sheet(study, path)] == [["20240603001234", 0.3], ["20240603001236", 2]]


def test_thousands_points_in_a_workbook_are_read_as_in_a_text_file(study, tmp_path):
    """Beside 1,5 as text 1.080 is 1080 and 1.200,5 is 1200.5, as in a CSV file; what the workbook keeps as a number has its own point."""
    rows = [["pour", "catalyst", "gel time", "time to peak"], ["A", "1,5", "1.080 min", "1.200,5"], ["B", 1.5, 20.125, 1.5]]
    entries = read_sheet(study, workbook(tmp_path, rows))
    assert [entry["settings"]["catalyst"] for entry in entries] == [1.5, 1.5]
    assert [[one["low"] for one in entry["readings"]] for entry in check_entries(study, entries)] == [[1080, 1200.5], [20.125, 1.5]]


def test_a_point_in_a_text_of_a_workbook_that_may_be_either_is_refused_as_in_a_text_file(study, tmp_path):
    with pytest.raises(LogProblem, match=r"'1\.080' may be 1080 or 1\.0800, and no other number in the sheet shows which"):
        read_sheet(study, workbook(tmp_path, [["pour", "catalyst", "gel time"], ["A", 1.5, "1.080"]]))
    (entry,) = read_sheet(study, workbook(tmp_path, [["pour", "catalyst", "gel time"], ["A", "1.5", "1.080"]]))  # another number tells
    assert check_entries(study, [entry])[0]["readings"][0]["low"] == 1.08


def test_a_lot_keeps_the_zeros_that_its_format_shows(study, tmp_path):
    """As the cells show themselves: 00123, R-0042, and 12 minutes whose format asks for three figures."""
    rows = [["pour", "resin lot", "catalyst lot", "gel time"], ["A", 123, 42, 12]]
    (entry,) = read_sheet(study, workbook(tmp_path, rows, shown={"B2": "00000", "C2": '"R-"0000', "D2": "000"}))
    assert list(entry["settings"].values()) == ["00123", "R-0042"] and check_entries(study, [entry])[0]["readings"][0]["low"] == 12


def test_a_name_or_a_lot_that_has_become_a_date_is_refused(study, tmp_path):
    """1-2 and 24-11 as a spreadsheet program takes them; a session may well be a day."""
    day = dt.datetime(2026, 2, 1)
    with pytest.raises(LogProblems) as found:
        rows = [["pour", "session", "resin lot", "gel time"], [day, day, dt.datetime(2026, 11, 24), 12], ["1-3", day, "24-11", 13]]
        read_sheet(study, workbook(tmp_path, rows))
    assert found.value.problems[["row", "column"]].values.tolist() == [["row 2", "pour"], ["row 2", "resin lot"]]
    said = "2026-02-01 is a date: spreadsheet programs turn an entry such as 1-2 into one. Format the cell as text, and write it again."
    assert found.value.problems["problem"][0] == said
    (entry,) = read_sheet(study, workbook(tmp_path, [["pour", "session", "resin lot", "gel time"], ["1-2", day, "24-11", 12]]))
    assert (entry["pour"], entry["session"], entry["settings"]) == ("1-2", "2026-02-01", {"resin_lot": "24-11"})


def workbook(folder, rows, merged=(), further=(), shown=None, struck=()):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for cells in merged:
        book.active.merge_cells(cells)
    for cell, number_format in (shown or {}).items():
        book.active[cell].number_format = number_format
    for cell in struck:
        book.active[cell].font = openpyxl.styles.Font(strike=True)
    for title in further:
        book.create_sheet(title).append(["pour", "catalyst (%)", "gel time"] if title != "Empty" else [])
    book.save(folder / "sheet.xlsx")
    return folder / "sheet.xlsx"


def test_dates_of_which_some_are_text_may_have_day_and_month_swapped(study, tmp_path):
    """A day-first sheet opened in a program that puts the month first: 11/04 became the 4th of November, 13/04 stayed text."""
    days = [dt.datetime(2025, 11, 4), dt.datetime(2025, 12, 12), "13/04/2025", dt.datetime(2025, 4, 25)]
    book = openpyxl.Workbook()
    for row in (["Session", "Date", "Catalyst %", "Gel (min)"], [None, dt.datetime(2025, 12, 4)], *([f"S{day}", day, 1.5, 22] for day in days)):
        book.active.append(row)
    book.save(tmp_path / "sheet.xlsx")
    with pytest.raises(LogProblems) as found:
        read_sheet(study, tmp_path / "sheet.xlsx")
    assert found.value.problems[["row", "column", "value"]].values.tolist() == [["row 2", "Date", "2025-12-04"], ["row 3", "Date", "2025-11-04"]]
    assert found.value.problems["problem"][1] == (
        "2025-11-04 may be 2025-04-11: 13/04/2025 is left as text, so a spreadsheet program may have taken days for months. "
        "Write every date of the column like 2026-03-01.")
    for row, day in enumerate(("2025-04-12", "2025-04-11", "2025-12-12", "2025-04-13"), start=2):
        book.active.cell(row, 2).value = day
    book.save(tmp_path / "sheet.xlsx")
    with pytest.warns(NotRead, match=r"taken to apply to the pours below: row 2 \(2025-04-12\)"):
        assert [entry["made_at"].day for entry in read_sheet(study, tmp_path / "sheet.xlsx")] == [11, 12, 13, 25]


def test_filled_sheets_behind_the_first_are_named(study, tmp_path):
    rows = [["pour", "catalyst (%)", "gel time"], ["A", 1, 20]]
    with pytest.warns(NotRead, match="sheet.xlsx: Only the first visible sheet of a workbook is read, not Thursday and Friday. Save a further sheet"):
        assert len(read_sheet(study, workbook(tmp_path, rows, further=["Thursday", "Empty", "Friday"]))) == 1
    with pytest.raises(LogProblems, match="Only the first visible sheet of a workbook is read, not Pours"):
        read_sheet(study, workbook(tmp_path, [["My shop"]], further=["Pours"]))


def test_a_hidden_sheet_is_passed_over_and_named(study, tmp_path):
    book = openpyxl.load_workbook(workbook(tmp_path, [["pour", "catalyst (%)", "gel time"], ["A", 2.4, 12]], further=["Pours"]))
    book.worksheets[0].title, book.worksheets[0].sheet_state = "old", "hidden"
    book["Pours"].append(["A", 1.5, 25])
    book.save(tmp_path / "sheet.xlsx")
    with pytest.warns(NotRead, match=r"Only the first visible sheet of a workbook is read, not old \(hidden\)\."):
        assert [entry["settings"]["catalyst"] for entry in read_sheet(study, tmp_path / "sheet.xlsx")] == [1.5]


def test_hidden_rows_and_comments_are_named(study, tmp_path):
    book = openpyxl.load_workbook(workbook(tmp_path, [["pour", "catalyst (%)", "gel time"], ["A", 2, 12], ["B", 1, 25], ["C", 1.5]]))
    for row in (2, 4, 6):  # nothing stands in row 6, and not all in row 4
        book.active.row_dimensions[row].hidden = True
    book.active["B4"].comment = openpyxl.comments.Comment("really 2, a slip", "AB")
    book.save(tmp_path / "sheet.xlsx")
    with pytest.warns(NotRead) as told:
        assert len(read_sheet(study, tmp_path / "sheet.xlsx")) == 3
    assert [str(one.message) for one in told_besides(told)] == [
        "sheet.xlsx: Hidden rows were read too: row 2 and 4. Delete what should not count.",
        "sheet.xlsx: Comments on cells were not read: B4. Write what should count in the cells.",
    ]


def test_a_title_full_of_commas_does_not_tell_the_separator(study, tmp_path):
    title = "Made by the evening class, room upstairs, window open, resin from the old drum, new bottle, by hand"
    (entry,) = read_sheet(study, write(tmp_path, f"{title}\nPour;Catalyst (%);Thickness (mm);Cover;Gel time\nA1;1,5;10;yes;25\n"))
    assert entry["settings"] == {"catalyst": 1.5, "thickness": 10, "cover": 1}


def test_what_is_struck_out_is_left_out_and_named(study, tmp_path):
    rows = [["pour", "catalyst (%)", "gel time", "note"], ["A", 1, 12, "hot"], ["B", 2, 20], ["C", 1.5, 25]]
    path = workbook(tmp_path, rows, struck=["C2", "A3", "B3", "C3"])
    with pytest.warns(NotRead, match=r"What is struck out was not read: C2 \(12\), row 3\. If it counts after all, remove the line through it"):
        entries = read_sheet(study, path)
    assert [(entry["pour"], len(entry["readings"])) for entry in entries] == [("A", 0), ("C", 1)]


def runs(*parts):
    """A cell of several fonts: what is raised, lowered or struck out is given with the font's own word for it."""
    fonts = {"strike": {"strike": True}, "superscript": {"vertAlign": "superscript"}, "subscript": {"vertAlign": "subscript"}}
    return CellRichText(*(part if isinstance(part, str) else TextBlock(InlineFont(**fonts[part[0]]), part[1]) for part in parts))


def shared(path):
    """The same workbook with its texts in a table of their own, as spreadsheet programs keep them."""
    texts, place = [], path.with_name("shared.xlsx")

    def moved(found):
        texts.append(found[1])
        return f't="s"><v>{len(texts) - 1}</v>'

    with zipfile.ZipFile(path) as held, zipfile.ZipFile(place, "w") as made:
        cells = re.sub(r't="inlineStr"><is>(.*?)</is>', moved, held.read("xl/worksheets/sheet1.xml").decode())
        kind = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{SHARED_STRINGS}" /></Types>'
        kinds = held.read("[Content_Types].xml").decode().replace("</Types>", kind)
        for name in held.namelist():
            made.writestr(name, {"xl/worksheets/sheet1.xml": cells, "[Content_Types].xml": kinds}.get(name, held.read(name)))
        made.writestr("xl/sharedStrings.xml", f'<sst xmlns="{SHEET_MAIN_NS}">{"".join(f"<si>{text}</si>" for text in texts)}</sst>')
    return place


def test_a_part_of_a_cell_that_is_struck_out_or_may_mark_a_footnote_is_refused(study, tmp_path):
    """25 with a footnote 1 is no 251, and a 1.5 struck out before 2 no 1.52; cm2 and H2O mean the same at any height."""
    half = runs("1", ("superscript", "1"), "/", ("subscript", "2"))
    rows = [["pour", "catalyst (%)", "thickness (in)", "gel time", "note"],
            ["A", 1, half, runs("25", ("superscript", "1")), runs("4 cm", ("superscript", "2"), " of H", ("subscript", "2"), "O")],
            [runs("B", ("superscript", "2)")), runs(("strike", "1.5"), "2"), "1/2", 9, None]]
    path = workbook(tmp_path, rows)
    said = r"a part of the text is struck out, raised or lowered: {}\. Write only what counts, in one font"
    with pytest.raises(LogProblem, match=said.format("C2, D2, A3 and B3")):
        read_sheet(study, shared(path))
    with pytest.raises(LogProblem, match=said.format("C2, D2, E2, A3 and B3")):  # cells that openpyxl does not read by its parts
        read_sheet(study, path)
    (entry,) = read_sheet(study, shared(workbook(tmp_path, [rows[0], ["A", 1, "1/2", 9, rows[1][4]]])))
    assert entry["note"] == "4 cm2 of H2O"


def test_a_merged_cell_holds_for_every_pour_it_covers(study, tmp_path):
    rows = [["day", "pour", "catalyst (%)", "cover", "gel time", "note"], [], ["Mon", "A", 2.2, "no", 25], [None, "B", None, None, 24],
            [None, None, None, None, None, "lamp off"], [None, "C", None, None, 22], ["Tue", "D", 1, "yes", 21]]
    path = workbook(tmp_path, rows, ["A1:A2", "B1:B2", "A3:A6", "C3:C4", "C5:C6", "D3:D6"])
    entries = read_sheet(study, path)
    assert [entry["pour"] for entry in entries] == ["A", "B", "C", "D"]
    assert [entry["settings"] for entry in entries] == [{"catalyst": 2.2, "cover": 0}, {"catalyst": 2.2, "cover": 0}, {"cover": 0}, {"catalyst": 1, "cover": 1}]
    assert [entry["session"] for entry in entries] == ["Mon", "Mon", "Mon", "Tue"]


def test_a_header_merged_over_several_columns_heads_each_that_holds_anything(log, tmp_path):
    rows = [["Hardness", *[None] * 6], ["pour", "catalyst (%)", "thickness (mm)", None, "hardness 24 h", None, None, "gel time (min)"],
            ["A", 1.5, 10, None, 75, 77, 70, 22]]
    log.add_sheet(workbook(tmp_path, rows, ["A1:H1", "C2:D2", "E2:G2"]))
    assert told(log.castings()) == [
        ("A", "hardness", 75, 75, 24), ("A", "hardness", 77, 77, 24), ("A", "hardness", 70, 70, 24), ("A", "gel_time", 22, 22, None),
    ]


def test_a_setting_whose_header_is_merged_over_two_filled_columns_is_asked_about(study, tmp_path):
    rows = [["pour", "thickness (mm)", None, "gel time"], ["A", 10, 12, 22]]
    with pytest.raises(LogProblems, match="row 1, thickness .mm.: a second column for thickness"):
        read_sheet(study, workbook(tmp_path, rows, ["B1:C1"]))


def test_figures_in_a_column_without_a_header_are_asked_about(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, write(tmp_path, "pour,catalyst,hardness 24 h,,,gel time\nA,1.5,75,,soft,22\nB,2,76,70,68,18,9\n"))
    where = found.value.problems[["row", "column", "value"]].values.tolist()
    assert where == [["row 3", "column D", "70"], ["row 3", "column E", "68"], ["row 3", "column G", "9"]]
    assert found.value.problems["problem"][0] == "70 is in a column without a header. Write above it what it is, or delete it."


def test_words_in_columns_without_a_header_are_named(study, tmp_path):
    with pytest.warns(NotRead, match=r"not read, because without a header: column A \(0\), column E \(spongy\) and column F \(see photo\)\."):
        read_sheet(study, write(tmp_path, ",pour,catalyst,gel time,,\n0,A,1.5,22,spongy,see photo\n1,B,1.5,22,,\n"))


def test_a_reading_merged_over_several_pours_is_refused(study, tmp_path):
    path = workbook(tmp_path, [["pour", "catalyst (%)", "gel time"], ["A", 1, 20], ["B", 2, None]], ["C2:C3"])
    with pytest.raises(LogProblems, match=r"row 3, gel time: \(merged\) repeats the cell above, but each pour has readings of its own"):
        read_sheet(study, path)


@pytest.mark.parametrize(("time", "words"), [
    (dt.time(0, 25), "'00:25:00' is not one number. Write 25 min"),
    (dt.timedelta(hours=25, minutes=5), "'25:05:00' is not one number. Write 1505 min or 25.1 h"),
])
def test_a_time_of_day_is_no_number_of_minutes(study, tmp_path, time, words):
    with pytest.raises(LogProblems, match=words):
        read_sheet(study, workbook(tmp_path, [["pour", "catalyst (%)", "gel time"], ["A", 1, time]]))


def test_a_formula_without_a_result_is_no_empty_cell(study, tmp_path):
    path = workbook(tmp_path, [["pour", "catalyst (%)", "gel time", "sum"], ["A", "=1+1", 20, "=B2"], ["B", 2, "=10*2", None]])
    with pytest.raises(LogProblem, match="sheet.xlsx: formulas without a result: B2, D2 and C3. Open it in a spreadsheet program and save it again"):
        read_sheet(study, path)


def test_a_formula_that_comes_out_empty_is_an_empty_cell(study, tmp_path):
    """As spreadsheet programs store =IF(A2="","",...): a text without letters."""
    path = workbook(tmp_path, [["pour", "catalyst (%)", "gel time"], ["A", "=1+1", 20], ["B", 2, 15]])
    with zipfile.ZipFile(path) as held, zipfile.ZipFile(tmp_path / "worked-out.xlsx", "w") as made:
        for name in held.namelist():
            made.writestr(name, held.read(name).replace(b'<c r="B2">', b'<c r="B2" t="str">'))
    assert [entry["settings"] for entry in read_sheet(study, tmp_path / "worked-out.xlsx")] == [{}, {"catalyst": 2}]


def test_a_workbook_without_a_cell_is_told_what_to_write(study, tmp_path):
    with pytest.raises(LogProblems, match="no row of sheet.xlsx has headers of this study. Write one row for each pour, below a row of headers"):
        read_sheet(study, workbook(tmp_path, []))


def test_columns_that_are_nothing_of_ours_are_named(study, tmp_path):
    with pytest.warns(NotRead, match="sheet.csv: not read: weather, mood"):
        assert len(read_sheet(study, write(tmp_path, "pour,weather,catalyst,mood,gel time\nA,dull,1,low,20\n"))) == 1


def test_a_row_of_units_below_the_headers(log, tmp_path):
    """By hand: half an inch is 12.7 mm, 68 °F 20 °C, 190 °F (190 - 32)/1.8 °C."""
    log.add_sheet(write(tmp_path, "Pour,Catalyst,Thickness,Room,Gel,Peak,Tack,Cover\n,%,(in),°F,min,°F,0-3\nD1,1.5,0.5,68,22,190,1,yes\n"))
    held = log.castings()
    assert held.pours.loc["D1", ["catalyst", "thickness", "room_temperature"]].tolist() == [1.5, pytest.approx(12.7), pytest.approx(20)]
    peak = pytest.approx(158 / 1.8)
    assert told(held) == [("D1", "gel_time", 22, 22, None), ("D1", "peak_temperature", peak, peak, None), ("D1", "tack", 1, 1, 24)]


def test_ages_below_the_headers_belong_into_them(study, tmp_path):
    for catalyst in ("%", ""):
        with pytest.raises(LogProblems) as found:
            read_sheet(study, write(tmp_path, f"pour,catalyst,hardness,tack\n,{catalyst},24 h,(7 d)\nA,1.5,75,1\n"))
        assert found.value.problems["problem"].tolist() == [
            "24 h is an age. Write it in the header itself, as in hardness at 24 h.", "7 d is an age. Write it in the header itself, as in tack at 7 d.",
            "hardness changes with age. Write its age in the header, as in hardness at 24 h."]


def test_a_row_of_units_that_do_not_fit_is_refused(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, write(tmp_path, "pour,catalyst,thickness (mm),room temp,gel time (min)\n,%,in,g,mins\nA,1.5,12,20,22\n"))
    assert found.value.problems[["row", "column", "value"]].values.tolist() == [["row 2", "thickness (mm)", "in"], ["row 2", "room temp", "g"]]
    assert "'in' below the header differs from the unit in the header (mm)" in found.value.problems["problem"][0]
    unknown = "'g' below the header is not a unit of room temperature. Write the unit once, in the header, as in room temperature (°C)"
    assert unknown in found.value.problems["problem"][1]


@pytest.mark.parametrize("name", [
    "Average", "Mittelwert", "TOTAL:", "Averages", "Average of 2", "Mean of A and B", "Moyenne", "Promedio", "Media", "Ø A-B2", "avg. 1-2",
    "Mean gel time", "Grand total", "Subtotal a", "Std. dev.", "n", "n = 2", "Overall mean", "Target", "Mittelw.", "Average gel",
])
def test_a_row_of_averages_or_sums_is_no_pour(study, tmp_path, name):
    text = f"day,pour,catalyst,gel time\nMon,A,1,20\n,B,2,10\nMon,{name},1.5,15\n{name},,1.5,15\n"
    with pytest.warns(NotRead, match=rf"row [45] \({re.escape(name)}\) is taken for an average, a sum or an aim, so it was not read") as said:
        assert [entry["pour"] for entry in read_sheet(study, write(tmp_path, text))] == ["A", "B"]
    assert len(told_besides(said)) == 2


def test_a_sum_named_in_the_remarks_is_no_pour_and_a_pour_of_middling_tack_is_one(study, tmp_path):
    with pytest.warns(NotRead, match=r"row 4 \(total\) is taken for an average, a sum or an aim"):
        assert len(read_sheet(study, write(tmp_path, "catalyst,gel time,remarks\n1,20,\n2,10,mean trick\n3,30,total\n"))) == 2
    rows = "Max 2,1,20,average\nSummer2,2,10,\nSumo 1,2,11,\nN,2,12,mean trick\nStandard,2,12,\n"
    entries = read_sheet(study, write(tmp_path, f"pour,catalyst,gel time,remarks\n{rows}"))
    assert [entry["pour"] for entry in entries] == ["Max 2", "Summer2", "Sumo 1", "N", "Standard"]
    assert len(read_sheet(study, write(tmp_path, "cover,catalyst,gel time\nn,1,20\ny,2,10\n"))) == 2


def test_lines_above_the_headers_are_named_unless_they_are_a_title(study, tmp_path):
    rows = "pour,catalyst,gel time\nA,1,20\n"
    above = r"not read, because above the headers: row 2 \(Room temp, 66 °F\) and row 3 \(Cover: yes\)\. "
    with pytest.warns(NotRead, match=above + "Write what applied to every pour in a column"):
        assert len(read_sheet(study, write(tmp_path, f"Test series March,,\nRoom temp,66 °F,\nCover: yes,,\n,,\n{rows}"))) == 1
    assert len(read_sheet(study, write(tmp_path, f"Test series March,,\n{rows}"))) == 1
    for line in ("Readings taken one week after pouring", "All with film"):
        with pytest.warns(NotRead, match=rf"not read, because above the headers: row 1 \({line}\)"):
            read_sheet(study, write(tmp_path, f"{line},,\n{rows}"))


def test_a_column_that_never_says_no_with_empty_cells_is_asked_about(study, tmp_path):
    text = "pour,catalyst,cover,gel time\nA,1,{},20\nB,1,,21\nC,1,?,22\nlamp off,,,\nD,1,,23\n"
    says = r"First: cover: says yes in some rows and is empty or a dash in row 3 and 6. Write no there if the answer is no, or \? if nobody knows"
    for tick in ("x", "✓", "yes", "1", "covered"):
        with pytest.raises(LogProblems, match=says):
            read_sheet(study, write(tmp_path, text.format(tick)))
    with pytest.warns(NotRead, match=r"cover was taken as not written down in row 4"):
        assert [e["settings"].get("cover") for e in read_sheet(study, write(tmp_path, text.format("no")))] == [0, None, None, None]
    entries = read_sheet(study, write(tmp_path, "pour,catalyst,cover,gel time\nA,1,✓,20\nB,1,no,21\nC,1,,21\n"))
    assert [e["settings"].get("cover") for e in entries] == [1, 0, None]


def test_a_pour_with_a_note_and_no_reading_keeps_its_name(study, tmp_path):
    text = "pour,day,catalyst,gel time,remarks\nK1,Mon,1.5,25,good\nK2,,,,mould leaked - lost\nlamp off,,,,\nK3,Tue,,,\nK4,,,,\n"
    alone = r"not read, because a name is all there is: row 6 \(K4\). If it was poured, write what is known beside it"
    with pytest.warns(NotRead, match=alone), pytest.warns(NotRead, match=r"taken for a pour, though without a setting, reading or note: row 5 \(K3\)"):
        entries = read_sheet(study, write(tmp_path, text))
    assert [(e["pour"], e["session"], e.get("note")) for e in entries] == [
        ("K1", "Mon", "good"), ("K2", "Mon", "mould leaked - lost"), ("K3", "Tue", None)]


def test_headers_that_are_all_refused_are_named(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, write(tmp_path, "pour,tack 24,tack 48\nA,1,0\n"))
    assert found.value.problems["column"].tolist() == ["tack 24", "tack 48"]


def test_a_pour_that_was_made_although_refused(log, tmp_path):
    log.add_sheet(write(tmp_path, "pour,catalyst,gel time,made anyway,note\nA,5,9,yes,slip of the scale\n"))
    assert log.castings().pours.loc["A", "note"].startswith("slip of the scale Refused by the cautions: Catalyst 5 %")


def test_a_sheet_is_cautioned_like_a_single_pour(log, tmp_path):
    with pytest.warns(Caution) as said:
        log.add_sheet(write(tmp_path, "pour,catalyst,gel time\nA,0.02,90\nB,0.02,95\nC,1.5,20\n"))
    (one,) = [str(warning.message) for warning in told_besides(said)]
    assert one.startswith("A and B: Catalyst 0.02 % is below 0.1 %")
    assert {Path(warning.filename) for warning in said} == {Path(__file__)}
    text = "pour,catalyst,gel time,time to peak\nD,0.02,90,35\nE,1.5,20,40\n"
    with pytest.warns(Caution) as said:
        log.add_all(tp.read_sheet(log.study, write(tmp_path, text)))
    told = [str(warning.message) for warning in told_besides(said)]
    assert [one.partition(",")[0][:34] for one in told] == ["D: Catalyst 0.02 % is below 0.1 %.", "D: Time to peak 35 min is before g"]
    assert {Path(warning.filename) for warning in said} == {Path(__file__)}


CELLS = st.one_of(
    st.text(string.printable + "äµ½٣°\u202e🧪", max_size=12),
    st.sampled_from(["1", "1.5", "1,5", "20-25", ">10", "yes", "no", "dry", "1/4 in", "66 degF", "=1+1", "1e999", "-", "nan", "inf",
                     "2026-03-01", "78; 77", "g**99999", "9" * 400]),
)
HEADS = st.sampled_from(["pour", "session", "date", "note", "by", "catalyst (%)", "Thickness (in)", "cover", "Room (degF)", "gel time",
                         "hardness at 24 h (Shore D)", "tack at 24 h", "made anyway", "resin lot", "post cure", "", "x (", "at 3 h"])


GOOD = st.permutations(["pour", "catalyst (%)", "gel time", "tack at 24 h", "note", "cover"]).map(lambda heads: list(heads))


@pytest.mark.slow
@settings(max_examples=250)
@pytest.mark.filterwarnings("ignore::testpour.logbook.spreadsheet.NotRead")
@given(
    st.one_of(GOOD, st.lists(HEADS, min_size=1, max_size=7)).flatmap(
        lambda heads: st.tuples(st.just(heads), st.lists(st.lists(CELLS, min_size=0, max_size=len(heads) + 1), max_size=4))
    ),
    st.sampled_from([",", ";", "\t"]),
)
def test_any_sheet_is_taken_or_refused_in_words(study, tmp_path, table, mark):
    heads, rows = table
    path = tmp_path / "any.csv"
    with open(path, "w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=mark).writerows([heads, *rows])
    try:
        entries = read_sheet(study, path)
    except LogProblem as problem:
        assert str(problem)
    else:
        assert len(entries) <= len(rows)


@pytest.mark.slow
@settings(max_examples=100)
@pytest.mark.filterwarnings("ignore::testpour.logbook.spreadsheet.NotRead")
@given(st.one_of(st.binary(max_size=300), st.text(max_size=200).map(lambda t: t.encode("utf-8", "surrogatepass"))),
       st.sampled_from(["csv", "tsv", "txt", "xlsx"]))
def test_any_bytes_are_taken_or_refused_in_words(study, tmp_path, data, ending):
    path = tmp_path / f"any.{ending}"
    path.write_bytes(data)
    with pytest.raises(LogProblem):  # no bytes drawn here make two headers of a study
        read_sheet(study, path)
