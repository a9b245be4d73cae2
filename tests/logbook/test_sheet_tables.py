"""Sheets whose columns go by other names, whose headers stand in two rows, or which hold two tables; expected values are read off the sheets."""

import datetime as dt
import re
from dataclasses import dataclass

import openpyxl
import pytest
from openpyxl.styles import PatternFill

from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems, check_entries
from testpour.logbook.sheet_cells import _text_rows
from testpour.logbook.sheet_columns import mean_of_those_above
from testpour.logbook.sheet_heads import _spread
from testpour.logbook.sheet_rows import _beside
from testpour.logbook.spreadsheet import NotRead, read_sheet
from testpour.logbook.tables import LogProblem
from testpour.logbook.workbook import _fill_merged, _hidden
from testpour.study.study_file import study_from


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
    with pytest.warns(NotRead, match=r"was read as % of the resin: 1\.5 g per 100 g of resin is 1\.5 %\. If it is per 100 g of the whole mix"):
        entries = read(small, tmp_path, f"pour,session,{head},lid\nA,Mon,1.5,yes\n")
    assert entries[0]["settings"] == {"catalyst": 1.5, "cover": 1}


@pytest.mark.parametrize(("heads", "cells", "asked"), [
    ("Starter %,cover", "1.5,yes", r"These columns were not read and may be it: Starter %\. If one of them is the catalyst"),
    ("Starter,cover", "1.5 g,yes", r"no column gives catalyst, which this study varies\. These columns were not read and may be it: Starter\."),
    ("Starter,Drops,cover", "1.5,22,yes", r"may be it: Starter and Drops\."),
    ("catalyst,Sealed", "1.5,yes", r"may be it: Sealed\. If one of them is the cover, head it cover\. If not, .*write yes or no, or \? if nobody knows"),
])
def test_a_varied_setting_that_no_column_gives_beside_one_that_may_be_it_is_asked_about(small, tmp_path, heads, cells, asked):
    with pytest.raises(LogProblems) as refused:
        read(small, tmp_path, f"pour,session,room,gel min,{heads}\nA,Mon,20,22,{cells}\nB,Mon,20,18,{cells}\n")
    assert [row["row"] for _, row in refused.value.problems.iterrows()] == ["row 1"]
    with pytest.raises(LogProblems, match=asked):
        raise refused.value


@pytest.mark.parametrize("heads, cells", [("mood", "low"), ("Resin (g)", "150"), ("Mould (cm)", "12"), ("Left", "2026-03-09")])
def test_a_varied_setting_that_no_column_can_give_is_said_to_be_unknown(small, tmp_path, heads, cells):
    said = "no column gives catalyst, which this study varies, so it is unknown for these pours"
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
    with pytest.raises(LogProblem, match="no column gives catalyst, which this study varies"):
        log.add_sheet(sheet(tmp_path, "Starter,gel time (min),tack 24 h\n1.5,22,1\n2,18,0\n"))
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
     "a second column for hardness, beside Hardness. Above them are Mould 1 and Mould 2: write the difference in each header"),
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
    with pytest.warns(NotRead, match="skipped, because it repeats the headers: row 4"):
        entries = read(small, tmp_path, f"{head}A,Mon,1.5,yes,1\n\n{head}B,Mon,2,no,0\n")
    assert [entry["pour"] for entry in entries] == ["A", "B"]


def test_a_second_table_is_no_further_pours(small, tmp_path):
    with pytest.raises(LogProblems) as refused:
        read(small, tmp_path, "pour,catalyst %,cover\nA,1.5,yes\nB,2,no\n\npour,Tack 24 h,gel (min)\nA,1,3\nB,0,2\n")
    (problem,) = refused.value.problems.itertuples()
    assert problem.row == "row 5" and "this row has other headers (pour, Tack 24 h and gel (min)), so a second table begins" in problem.problem


def test_pours_without_date_and_session_are_said_to_be_one_session(small, tmp_path):
    with pytest.warns(NotRead, match="the pours of row 2 and 3 have no date and no session, so they were taken as one session, called 1"):
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


HEAD = "pour,session,catalyst %,cover,gel min\n"
POURS = "A,Mon,1.5,yes,22\nB,Mon,2,no,18\n"


@pytest.mark.parametrize(("head", "cell"), [("Starts to gel", "22"), ("Start", "10:05"), ("Verfestigt (min)", "20-25")])
def test_a_sheet_that_brings_no_reading_is_asked_which_column_may_be_one(small, tmp_path, head, cell):
    with pytest.raises(LogProblems, match=rf"no column gives a reading of this study, and these columns of figures were not read: {re.escape(head)}\."):
        read(small, tmp_path, f"pour,session,catalyst %,cover,{head}\nA,Mon,1.5,yes,{cell}\n")
    with pytest.warns(NotRead, match="not read: Resin"):
        read(small, tmp_path, "pour,session,catalyst %,cover,Resin (g)\nA,Mon,1.5,yes,150\n")


def test_a_german_sheet(study, tmp_path):
    text = "Nr.;Datum;Härter %;Farbpaste %;Dicke mm;Deckel;Raumtemp. °C;Gelzeit min;Härte 24 h;Bemerkungen\n1;12. März 2025;1,5;0,5;10;ja;19,5;22;76;\n"
    with pytest.warns(NotRead, match="no session is given"):
        (entry,) = read(study, tmp_path, f"{text}")
    assert entry["settings"] == {"catalyst": 1.5, "pigment": 0.5, "thickness": 10, "cover": 1, "room_temperature": 19.5}
    assert held([entry]) == [("1", ("gel_time", "22 min", None), ("hardness", "76", 24))]


@pytest.mark.parametrize(("row", "said"), [
    ("Best:,,1.5,yes,15", r"row 4 \(Best:\) is taken for an average, a sum or an aim"),
    ("Signed:,Kim,,,", r"row 4 \(Signed:\) ends in a colon, so it is taken for a remark and was not read"),
    ("Tack:,0 = dry,,,", r"row 4 \(Tack:\) ends in a colon"),
])
def test_what_stands_below_the_pours_under_a_heading_is_no_pour(small, tmp_path, row, said):
    with pytest.warns(NotRead, match=said):
        assert [entry["pour"] for entry in read(small, tmp_path, f"{HEAD}{POURS}{row}\n")] == ["A", "B"]


def test_a_pour_whose_name_ends_in_a_colon_comes_back(small, tmp_path):
    log = Logbook(small, "sqlite://")
    log.add_pour("Kim:", settings={"catalyst": 1.5, "cover": "yes"}, session="Mon", made_at="2026-03-02")
    assert [entry["pour"] for entry in read_sheet(small, write_sheet(log.castings(), tmp_path / "out.csv"))] == ["Kim:"]
    log.close()


@pytest.mark.parametrize(("rows", "named"), [
    (f"{POURS}\nA was stirred twice\nread by Kim\n", "row 5 (A was stirred twice) and 6 (read by Kim)"),
    (f"{POURS}film torn,,,,\nC,Mon,2,no,18\n", "row 4 (film torn)"),
    ("Blue resin,,,,\nA,Mon,1.5,yes,22\nRed resin,,,,\nB,Mon,2,no,18\n", "row 2 (Blue resin) and 4 (Red resin)"),
    ("A,Mon,1.5,yes,22\nSession 2 - 15 March 2025,,,\n", "row 3 (Session 2 - 15 March 2025)"),
    (f"{POURS}A2 set like A\n* read by Kim\n", "row 4 (A2 set like A) and 5 (* read by Kim)"),
])
def test_words_in_a_row_of_their_own_are_no_note_of_a_pour_and_are_named(small, tmp_path, rows, named):
    """A remark, a title or a footnote may be about the pour above it, about those below it or about all of them."""
    with pytest.warns(NotRead, match=re.escape(f"not read, because it may be about one pour or several: {named}.")):
        assert not any(entry.get("note") for entry in read(small, tmp_path, HEAD + rows))


@pytest.mark.parametrize(("last", "what"), [("1.75,1,20", "mean"), ("3.5,2,40", "sum"), ("1.75,1,20.05", "mean")])
def test_a_last_row_of_means_or_sums_in_a_sheet_without_names_is_asked_about(study, tmp_path, last, what):
    with pytest.raises(LogProblems, match=f"row 4: every number here is the {what} of those above it"):
        read(study, tmp_path, f"catalyst %,pigment %,gel min\n1.5,1,22\n2,1,18\n{last}\n")


@pytest.mark.filterwarnings("ignore:.*(no column gives|no date and no session):testpour.logbook.spreadsheet.NotRead")
@pytest.mark.parametrize("last", ["1.75,1,19", "2,1,20"])
def test_a_last_pour_between_those_above_is_a_pour(study, tmp_path, last):
    assert len(read(study, tmp_path, f"catalyst %,pigment %,gel min\n1.5,1,22\n2,1,18\n{last}\n")) == 3


@pytest.mark.parametrize("word", ["TBD", "not tested", "k.A.", "n/t"])
def test_words_for_no_reading_are_none(small, tmp_path, word):
    assert held(read(small, tmp_path, f"pour,session,catalyst %,cover,gel min,tack 24 h\nA,Mon,1.5,yes,{word},1\n")) == [("A", ("tack", "1", 24))]


def test_a_column_day_of_numbers_beside_a_reading_without_an_age_is_asked_about(small, tmp_path):
    with pytest.raises(LogProblems, match=r"Day: may be the day of pouring, or how old a casting was when Hardness was read\. Head it Session"):
        read(small, tmp_path, "pour,Day,catalyst %,cover,Hardness\nA,7,1.5,yes,80\nB,7,2,yes,81\n")
    assert held(read(small, tmp_path, "pour,Age (d),session,catalyst %,cover,Hardness\nA,7,Mon,1.5,yes,80\n")) == [("A", ("hardness", "80", 168))]
    assert read(small, tmp_path, "pour,Day,catalyst %,cover,Hardness 24 h\nA,7,1.5,yes,80\nB,7,2,yes,81\n")[0]["session"] == "7"


def test_hidden_columns_and_cells_of_a_colour_alone_are_named(small, tmp_path):
    book = openpyxl.Workbook()
    for row in (["pour", "session", "catalyst %", "cover", "gel min", None, "note"], *([name, "Mon", 1.5, None, 22] for name in "ABC")):
        book.active.append(row)
    green = PatternFill("solid", fgColor="00FF00")
    book.active["D2"].fill = green
    for cell in book.active[3]:  # a band over a whole row says nothing
        cell.fill = green
    book.active["F2"].fill = green  # nor does a colour beside the table
    for letter in "EFH":  # of which F and H are empty
        book.active.column_dimensions[letter].hidden = True
    book.save(tmp_path / "sheet.xlsx")
    with pytest.warns(NotRead) as said:
        read_sheet(small, tmp_path / "sheet.xlsx")
    assert [str(one.message).removeprefix("sheet.xlsx: ") for one in said] == [
        "Cells with a colour and nothing else were read as empty: D2. Write in them what the colour means.",
        "Hidden columns were read too: column E. Delete what should not count."]


def test_a_date_kept_as_a_number_is_told_so(small, tmp_path):
    """14 March 2025 is day 45730 of a spreadsheet, whose day 60 is 29 February 1900 (ECMA-376 part 1, 18.17.4.1)."""
    with pytest.raises(LogProblems, match="'45730' is a number, perhaps 2025-03-14, which a spreadsheet keeps so. Format its cell as a date"):
        read(small, tmp_path, "pour,date,catalyst %,cover,gel min\nA,45730,1.5,yes,22\n")


def test_depths_without_a_unit_that_fit_the_study_in_another_are_asked_about(study, tmp_path):
    """The study varies 5 to 18 mm: 1 cm is 10 mm, and no depth of 1 mm was planned."""
    with pytest.raises(LogProblems) as refused:
        read(study, tmp_path, "pour,session,catalyst %,pigment %,Depth,gel min\nA,Mon,1.5,1,1,22\nB,Mon,1.5,1,1.5,22\n")
    said = "has no unit: in mm all of it is outside what the study varies, 5 to 18 mm, and in cm inside. Write the unit in the header, in brackets."
    assert [(row.column, row.problem) for row in refused.value.problems.itertuples()] == [("Depth", said)]


@pytest.mark.filterwarnings("ignore:.*no column gives:testpour.logbook.spreadsheet.NotRead")
@pytest.mark.parametrize(("head", "cells"), [("Depth (mm)", ("1", "1.5")), ("Depth", ("1", "10")), ("Depth", ("2 mm", "1 mm")), ("Depth", ("3", "4"))])
def test_depths_that_may_be_in_the_unit_of_the_study_are_read_so(study, tmp_path, head, cells):
    rows = "".join(f"{name},Mon,1.5,1,{cell},22\n" for name, cell in zip("AB", cells, strict=True))
    entries = read(study, tmp_path, f"pour,session,catalyst %,pigment %,{head},gel min\n{rows}")
    assert [entry["settings"]["thickness"] for entry in entries] == [float(cell.removesuffix(" mm")) for cell in cells]


def test_one_part_to_fifty_is_told_as_per_cent(small, tmp_path):
    with pytest.raises(LogProblems, match=r"'1:50' is not one number\. Write it like 1\.5 %, or 2 % if it is 1 to 50\."):
        read(small, tmp_path, "pour,session,catalyst,cover,gel min\nA,Mon,1:50,yes,22\n")


def test_german_per_cent_and_time_of_day(small, tmp_path):
    with pytest.warns(NotRead, match="no session is given"):
        (entry,) = read(small, tmp_path, "Nr;Datum;Uhrzeit;Kat.;Deckel;Gelzeit\n1;14.03.2025;9:15;1,5 Gew.-%;nein;22 min\n")
    assert entry["settings"] == {"catalyst": 1.5, "cover": 0} and entry["made_at"] == dt.datetime(2025, 3, 14, 9, 15)


def test_depths_that_fit_the_study_in_either_unit_are_read_in_its_own(tmp_path):
    wide = study_from({"factors": {"catalyst": {}, "thickness": {"from": "2 mm", "to": "50 mm"}}, "readings": {"gel_time": {}}}, tmp_path / "study.toml")
    (entry,) = read(wide, tmp_path, "pour,session,catalyst %,Depth,gel min\nA,Mon,1.5,3,22\n")
    assert entry["settings"]["thickness"] == 3


def test_a_row_with_a_name_and_a_session_alone_is_said_to_be_taken(tmp_path):
    small = study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}}, tmp_path / "study.toml")
    with pytest.warns(NotRead, match=r"taken for a pour, though without a setting, reading or note: row 3 \(C\)\. If nothing was poured, delete it"):
        assert len(read(small, tmp_path, "pour,session,catalyst %,gel min\nA,Mon,1.5,22\nC,Tue,,\n")) == 2
    assert len(read(small, tmp_path, "pour,session,catalyst %,gel min,note\nA,Mon,1.5,22,\nC,Tue,,,dropped\n")) == 2


def test_a_cross_beside_ticks_is_no(small, tmp_path):
    entries = read(small, tmp_path, "pour,session,catalyst %,cover,gel min\nA,Mon,1.5,✓,22\nB,Mon,1.5,✗,22\n")
    assert [entry["settings"]["cover"] for entry in entries] == [1, 0]


def test_a_depth_that_is_no_one_number_is_refused_by_itself(study, tmp_path):
    with pytest.raises(LogProblems, match=r"'1,250' may be 1250 or 1\.250"):
        read(study, tmp_path, 'pour,session,catalyst %,pigment %,Depth,gel min\nA,Mon,1.5,1,"1,250",22\n')


@pytest.mark.parametrize(("heads", "days", "said"), [
    ("date,session", ["2025-03-01,1", "2025-03-01,2", "2025-03-02,1"], "1 is beside 2025-03-01 and 2025-03-02, .*as in 2025-03-01 1"),
    ("week,day", ["1,Mon", "1,Tue", "2,Mon"], "Mon is beside Week 1 and 2, .*as in Week 1 Mon"),
])
def test_sessions_counted_anew_on_each_day_or_in_each_week_are_not_taken_for_one(small, tmp_path, heads, days, said):
    rows = "".join(f"P{number},{day},1.5,yes,22\n" for number, day in enumerate(days))
    with pytest.raises(LogProblems, match=said.replace("Week", "week")):
        read(small, tmp_path, f"pour,{heads},catalyst,cover,gel min\n{rows}")


def test_a_session_past_midnight_stays_one(small, tmp_path):
    days = ["2025-03-01 23:30,S1", "2025-03-02 00:40,S1", "2025-03-02 10:00,S2"]
    rows = "".join(f"P{number},{day},1.5,yes,22\n" for number, day in enumerate(days))
    entries = read(small, tmp_path, f"pour,date,session,catalyst,cover,gel min\n{rows}")
    assert [entry["session"] for entry in entries] == ["S1", "S1", "S2"]


def test_a_session_that_is_called_by_its_day_is_not_one_counted_anew(small, tmp_path):
    """As the kit writes a pour that had a date and no session, beside a session of the same day that went on later."""
    days = ["2026-03-01,2026-03-01", "2026-03-01,home", "2026-03-31,home"]
    rows = "".join(f"P{number},{day},1.5,yes,22\n" for number, day in enumerate(days))
    entries = read(small, tmp_path, f"pour,date,session,catalyst,cover,gel min\n{rows}")
    assert [entry["session"] for entry in entries] == ["2026-03-01", "home", "home"]


def test_a_table_with_a_day_in_each_column_is_told_to_be_turned(small, tmp_path):
    with pytest.raises(LogProblems, match="are in the first column, one below the other. .* paste it transposed"):
        read(small, tmp_path, "Test,2025-03-03,2025-03-04\nCatalyst,1.5,2\nCover,yes,no\nGel time,22,18\n")


def test_a_table_whose_cells_only_blanks_or_strokes_part_is_told_so(small, tmp_path):
    for text in ("pour   catalyst   cover   gel time\nA   1.5   yes   22\n", "| pour | catalyst | cover |\n|---|---|---|\n| A | 1.5 | yes |\n"):
        with pytest.raises(LogProblems, match="has several cells. Separate them with tabs, semicolons or commas"):
            read(small, tmp_path, text)


@pytest.mark.parametrize(("cell", "said"), [
    ("Day 1 / Week 2", "is not a date. .* head the column Session; if it says how old a casting was, head it Age"), ("24 h", "head it Age"),
    ("12/03/25", "two digits. .* For a whole column, format its cells as year-month-day"),
])
def test_a_column_of_what_is_no_date_is_told_its_head(small, tmp_path, cell, said):
    with pytest.raises(LogProblems, match=said):
        read(small, tmp_path, f"pour,when,catalyst,cover,gel min\nA,{cell},1.5,yes,22\n")


def test_a_fraction_in_one_sign_is_read_in_the_unit_of_its_header(study, tmp_path):
    """25.4 mm an inch: 1 1/2 in are 38.1 mm."""
    (entry,) = read(study, tmp_path, "pour,day,catalyst (%),pigment (%),thickness (in),cover,gel min\nA,Mon,1½,½,1½,yes,22\n")
    assert [entry["settings"][name] for name in ("catalyst", "pigment", "thickness")] == [1.5, 0.5, 38.1]


def test_a_title_merged_over_a_sheet_stands_over_its_own_row_alone():
    rows, across = [["July", "", " "], ["pour", " catalyst ", "gel time"]], {(0, 1): 0, (0, 2): 0}
    assert _spread(rows, 0, across) == ["July"] * 3 and _spread(rows, 1, across) == ["pour", "catalyst", "gel time"]


def test_cells_that_a_merged_one_covers():
    """B2 is merged down to B5, of which row 4 is empty, and the sheet ends at row 5; A1 across to C1; an empty D2 and one beyond the sheet do nothing."""
    rows = [["July", "", "", ""], ["P1", "1.5", "x", ""], ["P2", "", "", ""], ["", "", "", ""], ["P3", "", "", "y"]]
    spans = ("B2:B9", "A1:C1", "D2:D3", "E2:E3", "A6:A7")
    found, across = _fill_merged([list(row) for row in rows], b"".join(b'<mergeCell ref="%s"/>' % span.encode() for span in spans))
    assert [row[1] for row in found] == ["", "1.5", "(merged)", "", "(merged)"] and [row[3] for row in found] == ["", "", "", "", "y"]
    assert across == {(0, 1): 0, (0, 2): 0}


def test_hidden_rows_and_columns_that_hold_anything_are_named():
    """Rows 2, 3, which is empty, and 9, beyond the sheet; columns A to C, of which B is blank, and D to F, of which only D is in the sheet."""
    rows = [["a", " ", "b", "c"], ["d", "", "", "e"], ["", "", "", ""], ["f", "", "", ""]]
    source = b"".join(b'<row r="%d" hidden="1">' % number for number in (2, 3, 9)) + b'<row r="4">'
    source += b'<col hidden="1" min="1" max="3"/><col hidden="true" min="4" max="6"/><col min="2" max="2"/>'
    by_row, by_column = _hidden(rows, source)
    assert "Hidden rows were read too: row 2." in by_row and re.search(r"Hidden columns were read too: column A, C(,| and) D\.", by_column)
    assert _hidden(rows, b'<row r="3" hidden="1"><col hidden="1" min="2" max="2"/>') == [] == _hidden([], source)


@dataclass(frozen=True)
class Held:
    """The head of a column."""

    name: str


@pytest.mark.parametrize("last, what", [((2.0, 1.5, 9.0), "mean"), ((6.0, 4.5, 27.0), "sum"), ((2.009, 1.5, 9.0), "mean"), ((2.02, 1.5, 9.0), ""),
                                        ((2.0, 1.6, 9.0), ""), ((2.0, None, 9.0), "mean"), ((2.0, None, None), "")])
def test_a_last_row_is_a_mean_or_a_sum_of_two_columns_that_differ_above_it(last, what):
    """Catalyst 1, 2 and 3 %, pigment 1, 1.5 and 2 %, depths of 8, 9 and 10 mm, covers all alike; within half a per cent."""
    heads = [Held(name) for name in ("catalyst", "pigment", "thickness", "cover")]
    above = [(1.0, 1.0, 8.0, 1.0), (2.0, 1.5, 9.0, 1.0), (3.0, 2.0, 10.0, 1.0)]
    pours = [(number, {head: "" if cell is None else f"{cell}" for head, cell in zip(heads, cells, strict=True)})
             for number, cells in enumerate([*above, (*last, 7.0)], start=2)]
    said = list(mean_of_those_above(pours, None))
    assert [(where, text.split(" of those above")[0].rsplit(" ", 1)[1]) for where, _, _, text in said] == ([("row 5", what)] if what else [])
    assert not list(mean_of_those_above(pours[-2:], None)) and not list(mean_of_those_above([*pours, (6, {Held("pour"): "X"})], None))


def test_cells_below_no_header_of_the_study():
    """Of six cells two stand below headers, one is blank, one covered, and the last stands beyond the headers."""
    assert _beside([None, "a head", None, None, "a head"], [" shelf ", "1.5", " ", "(merged)", "22", "windy"]) == ["shelf", "windy"]


def test_rows_of_separators_alone_do_not_say_what_parts_the_cells(tmp_path):
    (tmp_path / "sheet.csv").write_text("pour;catalyst (%);gel (min)\n,,,,,,\n,,,,,,\nA;1,5;22\n")
    assert _text_rows(tmp_path / "sheet.csv")[0] == ["pour", "catalyst (%)", "gel (min)"]
