"""Sheets whose columns go by other names, whose headers stand in two rows, or which hold two tables; expected values are read off the sheets."""

import openpyxl
import pytest

from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems, check_entries
from testpour.logbook.spreadsheet import NotRead, read_sheet
from testpour.logbook.tables import LogProblem
from testpour.study_file import study_from


@pytest.fixture
def small(tmp_path):
    """A study that varies catalyst and cover, and reads hardness at one age only."""
    asked = {"factors": {"catalyst": {}, "cover": {}, "room_temperature": {}}, "readings": {"gel_time": {}, "tack": {}, "hardness": {"ages": ["24 h"]}}}
    return study_from(asked, tmp_path / "study.toml")


def sheet(folder, text):
    path = folder / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def read(study, folder, text):
    return read_sheet(study, sheet(folder, text))


def held(entries):
    return [(entry["pour"], *((one["reading"], one["value"], one["age"]) for one in entry["readings"])) for entry in entries]


@pytest.mark.parametrize("head", ["MEKP %", "Hardener", "Kat. %", "peroxide wt%", "Catalyst (g per 100 g of resin)"])
def test_the_catalyst_by_another_name(small, tmp_path, head):
    entries = read(small, tmp_path, f"no.,session,{head},lid\nA,Mon,1.5,yes\nB,Mon,2,no\n")
    assert [(entry["pour"], entry["settings"]) for entry in entries] == [("A", {"catalyst": 1.5, "cover": 1}), ("B", {"catalyst": 2, "cover": 0})]


@pytest.mark.parametrize("head", ["Catalyst (g per 100 g)", "Catalyst g/100g", "MEKP (per 100)"])
def test_grams_to_a_hundred_are_per_cent_of_the_resin_and_said_to_be(small, tmp_path, head):
    with pytest.warns(NotRead, match=r"was read as % of the resin: 1\.5 g to 100 g of resin is 1\.5 %\. If it is to 100 g of the whole mix"):
        entries = read(small, tmp_path, f"pour,session,{head},lid\nA,Mon,1.5,yes\n")
    assert entries[0]["settings"] == {"catalyst": 1.5, "cover": 1}


@pytest.mark.parametrize(("heads", "cells", "asked"), [
    ("Starter %,cover", "1.5,yes", r"Starter % was not read\. If one of these is the catalyst, head it catalyst \(%\)\. If not, add a column "),
    ("Starter,cover", "1.5 g,yes", "no column gives catalyst, which this study varies, and Starter was not read"),
    ("Starter,Drops,cover", "1.5,22,yes", "and Starter and Drops was not read"),
    ("catalyst,Sealed", "1.5,yes", r"no column gives cover, which this study varies, and Sealed was not read.*head it cover.*write no"),
])
def test_a_varied_setting_that_no_column_gives_beside_one_that_may_be_it_is_asked_about(small, tmp_path, heads, cells, asked):
    with pytest.raises(LogProblems) as refused:
        read(small, tmp_path, f"pour,session,room,{heads}\nA,Mon,20,{cells}\nB,Mon,20,{cells}\n")
    assert [row["row"] for _, row in refused.value.problems.iterrows()] == ["row 1"]
    with pytest.raises(LogProblems, match=asked):
        raise refused.value


@pytest.mark.parametrize("heads, cells", [("mood", "low"), ("Resin (g)", "150"), ("Mould (cm)", "12"), ("Left", "2026-03-09")])
def test_a_varied_setting_that_no_column_can_give_is_said_to_be_unknown(small, tmp_path, heads, cells):
    said = "no column gives catalyst, which this study varies, so it is not known of these pours"
    with pytest.warns(NotRead, match=said), pytest.warns(NotRead, match="not read"):
        entries = read(small, tmp_path, f"pour,session,room,cover,{heads}\nA,Mon,20,yes,{cells}\n")
    assert entries[0]["settings"] == {"room_temperature": 20, "cover": 1}


def test_a_later_sheet_of_readings_alone_is_asked_for_no_settings(small, tmp_path):
    assert held(read(small, tmp_path, "pour,hardness 24 h\nA,78\n")) == [("A", ("hardness", "78", 24))]


def test_pours_that_are_new_to_an_empty_log_need_their_settings(small, tmp_path):
    """Under headers that are not known here, all settings would be lost."""
    log = Logbook(small, "sqlite://")
    with pytest.warns(NotRead, match="not read: Starter"), pytest.raises(LogProblem, match="A is not in the log, which is empty, and has no settings here"):
        log.add_sheet(sheet(tmp_path, "pour,Starter,gel time (min)\nA,1.5,22\nB,2,18\n"))
    assert len(log.castings()) == 0
    log.close()


@pytest.mark.parametrize("text", [
    "pour,session,catalyst %,cover,24 h,24 h,7 d\n,,,,Hardness,Tack,Hardness\n",
    "pour,session,catalyst,cover,24 h,24 h,7 d\n,,%,,Hardness,Tack,Hardness\n",
    ",,,,24 h,24 h,7 d\npour,session,catalyst %,cover,Hardness,Tack,Hardness\n",
    ",,,,24 h,,7 d\npour,session,catalyst %,cover,Hardness,Tack,Hardness\n",
    "Run,,Settings,,After 24 h,,After 7 d\npour,session,catalyst %,cover,Hardness,Tack,Hardness\n",
])
def test_headers_in_two_rows_are_read_together(small, tmp_path, text):
    with pytest.warns(NotRead, match=r"row 1 and row 2 were read together as headers: .*ness (After )?24 h, Tack (After )?24 h and Hardness (After )?7 d\."):
        entries = read(small, tmp_path, f"{text}A,Mon,1.5,yes,70,1,80\n")
    assert held(entries) == [("A", ("hardness", "70", 24), ("tack", "1", 24), ("hardness", "80", 168))]
    assert entries[0]["settings"] == {"catalyst": 1.5, "cover": 1}


def workbook(folder, rows, *merged):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for span in merged:
        book.active.merge_cells(span)
    book.save(folder / "sheet.xlsx")
    return folder / "sheet.xlsx"


def test_labels_merged_over_headers_hold_for_each_of_them(small, tmp_path):
    rows = [[None, None, None, None, "24 h", None, None, "7 d"], ["pour", "session", "catalyst %", "cover", "Hardness", "Notes", "Tack", "Hardness"],
            ["A", "Mon", 1.5, "yes", 70, "clear", 1, 80]]
    with pytest.warns(NotRead, match="Hardness 24 h, Tack 24 h and Hardness 7 d"):
        entries = read_sheet(small, workbook(tmp_path, rows, "E1:G1"))
    assert held(entries) == [("A", ("hardness", "70", 24), ("tack", "1", 24), ("hardness", "80", 168))]


def test_a_title_merged_over_all_columns_gives_no_age(small, tmp_path):
    rows = [["Week 12", None, None, None, None], ["pour", "session", "catalyst %", "cover", "Hardness"], ["A", "Mon", 1.5, "yes", 70]]
    with pytest.warns(NotRead, match=r"not read, because above the headers: row 1 \(Week 12\)"):
        entries = read_sheet(small, workbook(tmp_path, rows, "A1:E1"))
    assert held(entries) == [("A", ("hardness", "70", 24))]


@pytest.mark.parametrize(("text", "words"), [
    (",,,Day 1,Week 1\npour,catalyst %,cover,Hardness,Hardness\n", r"Hardness Week 1: may give an age \(Week 1\)\. Write it in figures.*as in hardness at 7 d"),
    (",,,Mould 1,Mould 2\npour,catalyst %,cover,Hardness,Hardness\n",
     "a second column for hardness, beside Hardness. Above them stand Mould 1 and Mould 2: write into each header what tells them apart"),
])
def test_labels_above_headers_that_are_not_plain_are_asked_about(small, tmp_path, text, words):
    with pytest.raises(LogProblems) as refused:
        read(small, tmp_path, f"{text}A,1.5,yes,70,80\n")
    said = [f"{row.column}: {row.problem}" for row in refused.value.problems.itertuples()]
    with pytest.raises(AssertionError, match=words):
        raise AssertionError("; ".join(said))


def test_the_title_of_a_sheet_gives_no_age(small, tmp_path):
    with pytest.warns(NotRead, match=r"not read, because above the headers: row 1 \(Week 12\)"):
        entries = read(small, tmp_path, "Week 12,,,,\npour,session,catalyst %,cover,Hardness\nA,Mon,1.5,yes,70\n")
    assert held(entries) == [("A", ("hardness", "70", 24))]


def test_a_column_that_counts_the_pours_is_left_out_beside_their_names(small, tmp_path):
    with pytest.warns(NotRead, match="not read: #"):
        entries = read(small, tmp_path, "#,Pour,session,catalyst %,cover\n1,A,Mon,1.5,yes\n2,B,Mon,2,no\n")
    assert [entry["pour"] for entry in entries] == ["A", "B"]


def test_headers_that_stand_again_on_the_next_page_are_no_pour(small, tmp_path):
    head = "pour,session,catalyst %,cover,Tack 24 h\n"
    with pytest.warns(NotRead, match="the headers stand again in row 4, and were passed over there"):
        entries = read(small, tmp_path, f"{head}A,Mon,1.5,yes,1\n\n{head}B,Mon,2,no,0\n")
    assert [entry["pour"] for entry in entries] == ["A", "B"]


def test_a_second_table_is_no_further_pours(small, tmp_path):
    with pytest.raises(LogProblems) as refused:
        read(small, tmp_path, "pour,catalyst %,cover\nA,1.5,yes\nB,2,no\n\npour,Tack 24 h,gel (min)\nA,1,3\nB,0,2\n")
    (problem,) = refused.value.problems.itertuples()
    assert problem.row == "row 5" and "other headers stand here (pour, Tack 24 h and gel (min)), so a second table begins" in problem.problem


def test_pours_without_date_and_session_are_said_to_be_one_session(small, tmp_path):
    with pytest.warns(NotRead, match="no date and no session stands beside the pours of row 2 and 3, so they were taken as poured in one session, called 1"):
        entries = read(small, tmp_path, "pour,catalyst %,cover\nA,1.5,yes\nB,2,no\n")
    assert [row["session"] for row in check_entries(small, entries)] == ["1", "1"]
    read(small, tmp_path, "pour,session,catalyst %,cover\nA,Mon,1.5,yes\nB,,2,no\n")  # a warning would fail the test


@pytest.mark.parametrize("cell", ["1.5-2", "1.5 to 2 %", "~2", "about 2", "ca. 1.5 %", "2 ?", "< 2", "1.5 ± 0.1"])
def test_a_setting_that_is_a_range_or_a_guess_is_told_that_it_needs_one_number(small, tmp_path, cell):
    with pytest.raises(LogProblems, match="catalyst: .* is not one number, which a setting needs. Write the one that was used, as near as it was weighed"):
        read(small, tmp_path, f"pour,session,catalyst (%),cover\nA,Mon,{cell},yes\n")


def test_a_depth_of_an_inch_and_a_half_with_a_dash_is_no_range(study, tmp_path):
    assert read(study, tmp_path, "pour,session,catalyst,pigment,thickness (in),cover\nA,Mon,1.5,1,1-1/2,yes\n")[0]["settings"]["thickness"] == 38.1


@pytest.mark.parametrize("cell", ["22m", "22 m", "22 min"])
def test_minutes_may_be_written_as_m(small, tmp_path, cell):
    entries = read(small, tmp_path, f"pour,session,catalyst,cover,gel time\nA,Mon,1.5,yes,{cell}\n")
    assert check_entries(small, entries)[0]["readings"][0]["low"] == 22


@pytest.mark.parametrize(("head", "cell", "words"), [
    ("room", "68", r"room temperature: 68 is outside 5 to 40 °C\. Is it °F \(20 °C\)\? Then write that unit with it\."),  # (68 - 32) / 1.8
    ("thickness", "0.5", r"Is it in \(12\.7 mm\) or cm \(5 mm\)\?"),
    ("post-cure time", "90", r"Is it min \(1\.5 h\)\?"),
    ("gel time", "0.4", r"Is it h \(24 min\)\?"),
])
def test_a_bare_number_that_fits_in_another_unit_is_asked_about(study, tmp_path, head, cell, words):
    with pytest.raises(LogProblems, match=words):
        read(study, tmp_path, f"pour,session,catalyst,{head}\nA,Mon,1.5,{cell}\n")


@pytest.mark.parametrize(("head", "cell"), [("room (°C)", "68"), ("room", "68 °C"), ("room", "300"), ("catalyst", "68")])
def test_a_number_with_its_unit_is_not_asked_about(study, tmp_path, head, cell):
    with pytest.raises(LogProblems, match=r"is outside [\d.]+ to [\d.]+ (?:°C|%)\. Check"):
        read(study, tmp_path, f"pour,session,{head}\nA,Mon,{cell}\n")
