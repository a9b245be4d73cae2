"""Values of a sheet that a careless reader would shift, drop or double, each worked out by hand."""

import datetime as dt
import re
from dataclasses import replace

import openpyxl
import pytest

from testpour.common.text_file import decimal_marks
from testpour.common.units import UnitProblem
from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems, check_entries
from testpour.logbook.spreadsheet import NotRead, read_sheet
from testpour.logbook.tables import LogProblem
from testpour.logbook.text_and_dates import clean, clock, moment, month_number
from testpour.study.columns import Factor

GAPS = ("no column gives", "taken as one session")  # most sheets here leave out a date and some settings, and are told so
pytestmark = [pytest.mark.filterwarnings(f"ignore:.*{said}:testpour.logbook.spreadsheet.NotRead") for said in GAPS]


def told_besides(said):
    """Warnings, but for those of `GAPS`."""
    return [one for one in said if not any(gap in str(one.message) for gap in GAPS)]



def sheet(folder, text):
    path = folder / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "thickness"),
    [
        ("pour;catalyst;thickness (mm)\nA;1.5;12.5\n", 12.5),  # separated by semicolons, yet with points
        ("pour;catalyst;thickness (mm)\nA;1,5;12,5\n", 12.5),
        ("pour;catalyst;thickness (mm)\nA;1,5;12,500\n", 12.5),  # the comma is sure from the row itself
        ("pour\tcatalyst\tthickness (in)\nA\t1.5\t1/2\n", 12.7),
    ],
)
def test_no_decimal_mark_moves(study, tmp_path, text, thickness):
    settings = read_sheet(study, sheet(tmp_path, text))[0]["settings"]
    assert settings == {"catalyst": 1.5, "thickness": pytest.approx(thickness, abs=1e-12)}


@pytest.mark.parametrize("cell", ["1/2 in", '"1/2"""'])
def test_a_first_pour_in_fractions_is_no_row_of_units(study, tmp_path, cell):
    entries = read_sheet(study, sheet(tmp_path, f"pour,catalyst (%),thickness,gel time (min)\nA,1.5,{cell},22\nB,2,10 mm,18\n"))
    assert [entry["settings"]["thickness"] for entry in entries] == [12.7, 10]  # an inch is 25.4 mm


@pytest.mark.parametrize("cell", ["78 D", "78D", "78 d"])
@pytest.mark.parametrize("row", ["A,1.5,", "A,,"])
def test_a_first_pour_with_its_scale_behind_the_hardness_is_no_row_of_units(study, tmp_path, row, cell):
    """The header has the age, and D is how a workshop writes Shore D."""
    entries = read_sheet(study, sheet(tmp_path, f"pour,catalyst (%),hardness 24 h\n{row}{cell}\nB,2,80 D\n"))
    assert [(one["readings"][0]["value"], one["readings"][0]["age"]) for one in entries] == [(cell, 24), ("80 D", 24)]
    assert [one["low"] for entry in check_entries(study, entries) for one in entry["readings"]] == [78, 80]


def test_a_scale_behind_a_hardness_without_an_age_is_told_what_it_lacks(study, tmp_path):
    with pytest.raises(LogProblems) as refused:
        read_sheet(study, sheet(tmp_path, "pour,catalyst (%),hardness\nA,1.5,78 D\nB,2,80 D\n"))
    assert len(refused.value.problems) == 1 and "hardness changes with age. Write its age in the header" in str(refused.value)


@pytest.mark.parametrize(
    ("cells", "marks"),
    [
        (["1,5 °C", "7"], {(",", "decimal")}),
        (["1,250"], {(",", "either")}),  # one and a quarter, or twelve hundred and fifty
        (["0,250", "1234,567"], {(",", "decimal")}),  # no group of thousands begins with 0 or has four digits
        (["-1,5", "-1.25"], {(",", "decimal"), (".", "decimal")}),
        (["1.250.000", "12.5.2024", "10:05", "gel, 1,5"], set()),  # a mark that comes twice marks no decimals
    ],
)
def test_what_commas_and_points_may_mark(cells, marks):
    assert set(decimal_marks(cells)) == marks


def test_thousands_points_beside_decimal_commas(study, tmp_path):
    (entry,) = read_sheet(study, sheet(tmp_path, "pour;catalyst;gel time;time to peak\nA;1,5;1.200;1.440\n"))
    found = check_entries(study, [entry])[0]["readings"]
    assert [reading["low"] for reading in found] == [1200, 1440]


def test_a_point_between_thousands_that_leaves_the_range_is_said_to_be_one(study, tmp_path):
    with pytest.raises(LogProblems, match="catalyst: 1.250 %, read as 1250 % because other numbers have a decimal comma, is outside 0 to 10 %. Check"):
        read_sheet(study, sheet(tmp_path, "pour;catalyst (%);thickness\nA;1,5;10\nB;1.250;10\n"))


def test_a_point_that_may_be_either_is_refused_where_both_marks_are_used(study, tmp_path):
    with pytest.raises(LogProblem, match="'1,5' has a decimal comma and '2.5' a decimal point, so '1.200' may be either of two numbers"):
        read_sheet(study, sheet(tmp_path, "pour;catalyst;gel time\nA;1,5;90\nB;2.5;1.200\n"))


def test_a_point_that_may_be_either_is_refused_where_no_other_number_tells(study, tmp_path):
    """Where points separate thousands, 1.200 min is twenty hours; read as 1.2 min nobody would notice."""
    with pytest.raises(LogProblem, match=r"'1.200 min' may be 1200 min or 1.2000 min, and no other"):
        read_sheet(study, sheet(tmp_path, "pour;catalyst;gel time\nA;2;1.200 min\n"))
    (entry,) = read_sheet(study, sheet(tmp_path, "pour;catalyst;gel time\nA;1.5;1.200\n"))  # another number tells
    assert entry["readings"][0]["value"] == "1.200"


def test_a_comma_that_may_be_either_is_refused(study, tmp_path):
    with pytest.raises(LogProblems, match="may be 1250 or 1.250"):
        read_sheet(study, sheet(tmp_path, 'pour,catalyst,gel time\nA,1,"1,250"\n'))


def test_two_readings_in_a_cell_are_not_one(study, tmp_path):
    with pytest.raises(LogProblems, match="two readings or one with a comma"):
        read_sheet(study, sheet(tmp_path, 'pour,catalyst,hardness at 24 h\nA,1,"76,78"\n'))


@pytest.mark.parametrize("text", [
    "pour;catalyst;peak temp (°C)\nA;1,5;84,5\n", "pour;catalyst;peak temp (°C)\nA;2;84,5\n", 'pour,catalyst,peak temp (°C)\nA,1.5,"84,5"\n',
])
def test_a_pour_has_one_peak_so_its_comma_is_a_decimal_mark(log, tmp_path, text):
    log.add_sheet(sheet(tmp_path, text))
    assert log.castings().readings["low"].tolist() == [84.5]


@pytest.mark.parametrize(
    ("name", "text", "row"),
    [
        ("a.tsv", 'pour\tsession\tresin lot\tcatalyst\tpigment\tthickness\nA\tMon\tR1\t1.5\t2\t12\nB\t"\t"\t2\t4\t12\n', 3),  # 2 % would land in the lot
        ("a.csv", 'pour,resin lot,catalyst,gel time\nA,R1,1.5,25\nB,",1.6,24\nC,R2,1.8,22\n', 3),  # B and C would be one lot
        ("a.csv", 'pour,resin lot,catalyst,gel time\nA,R1,1.5,25\nB,",1.6,24\nC,",1.8,22\nD,R2,2,20\n', 3),
        ("a.csv", 'pour,catalyst,gel time,note\nA,1.5,25,"film" left on\n', 2),
    ],
)
def test_a_quotation_mark_left_open_takes_no_cells_with_it(log, tmp_path, name, text, row):
    (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(LogProblem, match=f"{name}: row {row}: a cell begins with a quotation mark"):
        log.add_sheet(tmp_path / name)


@pytest.mark.parametrize("mark", ['""""', "do.", "Ditto", "〃", ' " ', "same", "Same", "↓", "|", "s/a", "idem"])
def test_a_ditto_mark_repeats_the_cell_above(log, tmp_path, mark):
    rows = f"A,Mon,R1,1.5,1/2,25\nB,{mark},{mark},2,{mark},20\nC,,R2,2,,18\nD,{mark},{mark},1,1/4,30\n"
    log.add_sheet(sheet(tmp_path, f"pour,session,resin lot,catalyst,thickness (in),gel time\n{rows}"))
    held = log.castings().pours
    assert held["session"].tolist() == ["Mon"] * 4 and held["resin_lot"].tolist() == ["R1", "R1", "R2", "R2"]
    assert held["thickness"].fillna(0).tolist() == [12.7, 12.7, 0, 6.35]  # an inch is 25.4 mm


@pytest.mark.parametrize("word", ["unknown", "Not known", "n.a."])
def test_a_lot_that_nobody_knows_is_no_lot(study, tmp_path, word):
    with pytest.warns(NotRead, match=rf"resin lot was taken as not written down in row 3 \({word}\)"):
        entries = read_sheet(study, sheet(tmp_path, f"pour,resin lot,catalyst,gel time\nA,R1,1.5,25\nB,{word},2,20\n"))
    assert [entry["settings"].get("resin_lot") for entry in entries] == ["R1", None]


HEADS = "date,session,pour,catalyst (%),room (C),gel time (min)\n"


def sessions_of(study, path):
    return [(entry["pour"], entry["session"], f"{entry['made_at']:%m-%d}" if "made_at" in entry else "") for entry in read_sheet(study, path)]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (",Monday,,,,\n", ",Tuesday,,,,\n", [("A", "Monday", ""), ("B", "Monday", ""), ("C", "Tuesday", "")]),
        ("2024-06-03,Mon,,,,\n", "2024-06-10,Tue,,,,\n", [("A", "Mon", "06-03"), ("B", "Mon", "06-03"), ("C", "Tue", "06-10")]),
        ("2024-06-03,,,,,\n,Mon,,,,\n", ",Tue,,,,\n", [("A", "Mon", "06-03"), ("B", "Mon", "06-03"), ("C", "Tue", "")]),
        ("2024-06-03,,,,,\n", "2024-06-10,,,,,\n", [("A", "2024-06-03", "06-03"), ("B", "2024-06-03", "06-03"), ("C", "2024-06-10", "06-10")]),
    ],
)
def test_a_session_or_date_in_a_row_of_its_own_holds_for_the_pours_below(study, tmp_path, first, second, expected):
    path = sheet(tmp_path, f"{HEADS}{first},,A,1.5,18,22\n,,B,2,18,18\n{second},,C,1.5,25,15\n")
    with pytest.warns(NotRead) as said:
        assert sessions_of(study, path) == expected
    assert re.search(r"taken to apply to the pours below: row 2 \(.*\)", str(told_besides(said)[0].message))


def test_a_date_alone_holds_beside_sessions_of_their_own(study, tmp_path):
    path = sheet(tmp_path, f"{HEADS}2024-06-03,,,,,\n,Mon,A,1.5,18,22\n2024-06-10,,,,,\n,Tue,B,2,18,18\n")
    with pytest.warns(NotRead):
        assert sessions_of(study, path) == [("A", "Mon", "06-03"), ("B", "Tue", "06-10")]


def test_a_remark_in_the_column_of_sessions_or_dates_is_no_session(study, tmp_path):
    rows = ",Mon,A,1.5,18,22\n,lamp off,,,,\n,Tue,B,2,18,18\nheater off until noon,,,,,\n,,C,2,18,18\n,window open,,,,\n"
    with pytest.warns(NotRead, match=r"it may be about one pour or several: row 3 \(lamp off\), 5 \(heater off until noon\) and 7 \(window open\)\."):
        entries = read_sheet(study, sheet(tmp_path, HEADS + rows))
    assert [(entry["session"], entry.get("note")) for entry in entries] == [("Mon", None), ("Tue", None), ("Tue", None)]


def test_a_row_of_its_own_that_may_be_a_session_or_a_remark_is_asked_about(study, tmp_path):
    with pytest.raises(LogProblems, match="row 3, session: Tue is in a row of its own, while other pours have their session beside them. Write it"):
        read_sheet(study, sheet(tmp_path, f"{HEADS},Mon,A,1.5,18,22\n,Tue,,,,\n,,B,2,18,18\n"))
    with pytest.raises(LogProblems, match="row 2, date: date: 'Monday' is not a date"):
        read_sheet(study, sheet(tmp_path, f"{HEADS}Monday,,,,,\n,,A,2,18,18\n"))


def test_a_row_of_what_a_session_shares_is_no_pour(study, tmp_path):
    says = r"row 2: this row holds only what all pours of a session share: date 2024-06-03, session 1 and room \(C\) 18\. If it applies"
    with pytest.raises(LogProblems, match=says) as found:
        read_sheet(study, sheet(tmp_path, f"{HEADS}2024-06-03,1,,,18,\n,,A,1.5,,22\n,,B,2,,18\n2024-06-10,2,,,25,\n,,C,2,,18\n"))
    assert found.value.problems["row"].tolist() == ["row 2", "row 5"]


def test_without_a_session_each_day_is_one(study, tmp_path):
    path = sheet(tmp_path, "pour,date,catalyst (%),gel time (min)\nA,,2,22\nB,2024-06-03,1.5,22\nC,,2,18\nD,2024-06-10,1.5,15\n")
    with pytest.warns(NotRead, match="no session is given, so the pours of each day were taken as one session"):
        assert sessions_of(study, path) == [("A", "", ""), ("B", "2024-06-03", "06-03"), ("C", "2024-06-03", "06-03"), ("D", "2024-06-10", "06-10")]


@pytest.mark.parametrize("time", ["Time", "Mixed at", "When"])
def test_a_time_beside_a_date_is_its_time_of_day(study, tmp_path, time):
    """A date written once applies to the pours below it, each at its own time."""
    rows = "A,Mon,2026-03-02,23:50,1\nB,Tue,2026-03-03,0:20,2\nC,Tue,,2.30 pm,1\nD,Tue,,,2\nE,Tue,3.3.2026,12:05:30 a.m.,2\n"
    entries = read_sheet(study, sheet(tmp_path, f"pour,session,Date,{time},catalyst,tack\n{rows}"))
    made = [dt.datetime(2026, 3, *day) for day in ((2, 23, 50), (3, 0, 20), (3, 14, 30), (3,), (3, 0, 5, 30))]
    assert [entry["made_at"] for entry in entries] == made and not any("clock" in entry for entry in entries)


def test_a_time_that_no_date_goes_with_for_sure_is_asked_about(study, tmp_path):
    text = ("A,Mon,,10:00,1\nB,Mon,2026-03-02,23:50,1\nC,Mon,,0:20,1\nD,Tue,2026-03-03 9:00,10:00,1\nE,Tue,2026-03-03,22,1\n"
            "F,Tue,2026-03-03,13:00 pm,1\nG,Wed,2026-03-04,5.59,1\n")
    with pytest.raises(LogProblems) as found:
        read_sheet(study, sheet(tmp_path, f"pour,session,Date,Time,catalyst,tack\n{text.replace(' 9:00', ' 09:00')}"))
    assert found.value.problems[["row", "problem"]].values.tolist() == [
        ["row 2", "10:00 has no date. Write the date beside it."],
        ["row 4", "00:20 is earlier than the time above, and has no date. Write the date beside it."],
        ["row 5", "10:00 is beside a date with another time, 09:00. Keep the right one."],
        ["row 6", "'22' is not a time of day. Write it like 14:30, or rename the column if it is something else."],
        ["row 7", "'13:00 pm' is not a time of day. Write it like 14:30, or rename the column if it is something else."],
        ["row 8", "'5.59' may be at night or in the afternoon. Write 05:59 or 17:59."]]


def test_a_ditto_mark_that_repeats_nothing_or_a_reading_is_refused(log, tmp_path):
    with pytest.raises(LogProblems) as found:
        log.add_sheet(sheet(tmp_path, "pour,resin lot,catalyst,gel time\nA,do.,1.5,25\nB,R1,2,do.\n"))
    table = found.value.problems
    assert table[["row", "column"]].values.tolist() == [["row 2", "resin lot"], ["row 3", "gel time"]]
    assert "which is empty" in table["problem"][0] and "each pour has readings of its own" in table["problem"][1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pour,resin lot,catalyst,gel time\nA,#N/A,1.5,25\n", "row 2, resin lot: #N/A is what a formula that failed shows. Correct the formula, or empty"),
        ("pour,catalyst,gel time,note\n#REF!,1.5,25,\n", "row 2, pour: #REF! is what"),
        ("pour,Resin,catalyst,gel time\nA,120,1.5,25\n",
         r"'120' may be an amount. If it is a lot, name the column resin lot; if it is an amount, put its unit in the header, as in Resin \(g\)"),
        ("pour,Resin,catalyst,gel time\nA,200 g,1.5,25\n", "'200 g' may be an amount"),
        ("pour,Resin,catalyst,gel time\nA,250 ml,1.5,25\n", "'250 ml' may be an amount"),
        ("pour,date,catalyst,gel time\nA,2162-03-01,1.5,25\n",
         "'2162-03-01' is not between 1950 and today, .* by the clock of this computer. Write the day the pour was made"),
        ("pour,date,catalyst,gel time\nA,1926-03-01,1.5,25\n", "is not between 1950 and today"),
        ("pour,catalyst,tack at 24 h\nA,1.5,2026-02-01T00:00:00\n",
         "2026-02-01 is a date: spreadsheet programs turn an entry such as 1-2 into one. Format the cell as text"),
        ("pour,thickness (in),tack at 24 h\nA,2026-02-01T00:00:00,0\n", "2026-02-01 is a date"),
    ],
)
def test_what_is_no_value_of_its_column_is_refused(study, tmp_path, text, words):
    with pytest.raises(LogProblems, match=words):
        read_sheet(study, sheet(tmp_path, text))


def test_a_lot_may_be_a_number_where_the_header_says_lot(study, tmp_path):
    (entry,) = read_sheet(study, sheet(tmp_path, "pour,resin lot,cat lot,catalyst,gel time\nA,120,12,1.5,25\n"))
    assert (entry["settings"]["resin_lot"], entry["settings"]["catalyst_lot"]) == ("120", "12")
    (entry,) = read_sheet(study, sheet(tmp_path, "pour,resin,catalyst,gel time\nA,B7,1.5,25\n"))
    assert entry["settings"]["resin_lot"] == "B7"


def test_a_time_in_two_parts_brings_its_unit(study, tmp_path):
    entries = read_sheet(study, sheet(tmp_path, "pour,catalyst,gel time (h)\nA,1,1h20\nB,1,1 h 30 min\nC,1,2\nD,1,22m30s\n"))
    assert [row["readings"][0]["low"] for row in check_entries(study, entries)] == [80, 90, 120, 22.5]


@pytest.mark.parametrize("word", ["none", "nil", "no film"])
def test_no_cover_is_no(study, tmp_path, word):
    assert read_sheet(study, sheet(tmp_path, f"pour,catalyst,cover\nA,1,{word}\n"))[0]["settings"]["cover"] == 0


@pytest.mark.parametrize("dash", ["-", "–", "—"])
def test_a_dash_is_not_written_down_in_every_column_of_settings(study, tmp_path, dash):
    text = f"pour,catalyst,cover,pigment,post-cure time (h),gel time\nA,1,yes,1,1,22\nB,1,{dash},{dash},{dash},22\nC,1,no,0,0,22\n"
    with pytest.warns(NotRead) as said:
        entries = read_sheet(study, sheet(tmp_path, text))
    assert entries[1]["settings"] == {"catalyst": 1} and entries[2]["settings"]["cover"] == 0
    assert [str(one.message).removeprefix("sheet.csv: ") for one in told_besides(said)] == [
        f"cover was taken as not written down in row 3 ({dash}). Where it was not so, write no.",
        f"pigment was taken as not written down in row 3 ({dash}). Where there was none of it, write 0.",
        f"post-cure time (h) was taken as not written down in row 3 ({dash}). Where there was none of it, write 0."]


def test_a_dash_beside_ticks_is_asked_about(study, tmp_path):
    with pytest.raises(LogProblems, match=r"cover: says yes in some rows and is empty or a dash in row 3\. Write no there if the answer is no"):
        read_sheet(study, sheet(tmp_path, "pour,catalyst,cover,gel time\nA,1,x,20\nB,1,-,21\n"))


def test_no_pigment_is_none_and_a_dash_is_said_to_be_not_known(study, tmp_path):
    with pytest.warns(NotRead, match=r"Pigment was taken as not written down in row 4 \(-\) and 5 \(\?\)\. Where there was none of it, write 0\.") as said:
        entries = read_sheet(study, sheet(tmp_path, "pour,catalyst,Pigment,hardness at 24 h\nA,1,none,70\nB,1,Nil,-\nC,1,-,71\nD,1,?,72\n"))
    assert len(told_besides(said)) == 1 and [entry["settings"].get("pigment") for entry in entries] == [0, 0, None, None]


def test_none_where_it_may_be_either_is_refused(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, sheet(tmp_path, "pour,catalyst,room temp,thickness,tack,hardness at 24 h\nA,1,none,none,none,none\n"))
    assert found.value.problems["problem"].tolist() == [
        "room temperature: 'none' is not a number. Write one from 5 to 40 °C, or leave it empty if it is not known.",
        "thickness: 'none' is not a number. Write one from 1 to 60 mm, or leave it empty if it is not known.",
        "tack: 'none' is not a grade. Grades are 0 dry, 1 slightly tacky, 2 tacky, 3 wet.",
        "hardness: 'none' is not a number. Write one from 0 to 100 Shore D, < and a number if it was too little to read, or leave it empty if nobody looked.",
    ]


def test_no_defects_is_a_grade_and_no_blank(log, tmp_path):
    log.add_sheet(sheet(tmp_path, "pour,catalyst,defects at 24 h,tack at 24 h\nA,1,none,-\n"))
    assert log.castings().readings[["reading", "low", "high"]].values.tolist() == [["defects", 0.0, 0.0]]


@pytest.mark.parametrize(("heads", "ages"), [
    ("age (h),tack,hardness 24 h", ("48", "72")), ("Age,tack,hardness 24 h", ("48 h", "3 d")), ("age at reading (days),tack,hardness 24 h", ("2", "3")),
    ("Age in h,tack (0-3),hardness 24 h", ("48", '"')),
])
def test_an_age_column_holds_for_the_readings_of_its_row_whose_headers_give_none(log, tmp_path, heads, ages):
    log.add_sheet(sheet(tmp_path, f"pour;catalyst;{heads.replace(',', ';')}\nA;1,5;{ages[0]};1;76\nB;1,5;{ages[1].replace(chr(34), 'ditto')};0;78\n"))
    second = 48 if ages[1] == '"' else 72
    expected = [["A", "tack", 48], ["A", "hardness", 24], ["B", "tack", second], ["B", "hardness", 24]]
    assert log.castings().readings[["pour", "reading", "age"]].values.tolist() == expected


def test_an_age_in_a_row_of_units_has_its_unit_there(log, tmp_path):
    log.add_sheet(sheet(tmp_path, "pour,catalyst,age,hardness\n,%,days,\nA,1.5,7,82\n"))
    assert log.castings().readings["age"].tolist() == [168]


def test_an_age_that_is_not_plain_is_asked_about(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, sheet(tmp_path, "pour,catalyst,Age,tack,hardness\nA,1.5,,1,\nB,1.5,48,0,78\nC,1.5,,,\nD,1.5,2 mm,1,\nE,1.5,0 h,1,\n"))
    assert found.value.problems[["row", "column", "problem"]].values.tolist() == [
        ["row 2", "Age", "is empty beside a reading that changes with age. Write how long after mixing it was read."],
        ["row 3", "Age", "48 has no unit. Write it after the number, as in 48 h, or in the header, as in Age (h)."],
        ["row 5", "Age", "Age: '2 mm' does not measure what h measures. Give it in h."],
        ["row 6", "tack", "tack: an age of 0 h is not possible. Give hours after mixing."]]


def test_an_age_column_without_such_a_reading_is_not_read(study, tmp_path):
    with pytest.warns(NotRead, match="not read: Age \\(months\\)"):
        read_sheet(study, sheet(tmp_path, "pour,catalyst,Age (months),tack 24 h\nA,1.5,3,1\n"))


def test_a_setting_called_age_is_that_setting(study, tmp_path):
    aged = replace(study, factors=(*study.factors, Factor("age_of_drum", "day", low=0, high=900)))
    (entry,) = read_sheet(aged, sheet(tmp_path, "pour,catalyst,Age (days),tack\nA,1.5,30,1\n"))
    assert entry["settings"]["age_of_drum"] == 30 and entry["readings"][0]["age"] == 24


def test_further_rows_of_a_pour_bring_its_further_readings(log, tmp_path):
    """Five readings of hardness in two pours, whose gel time counts once wherever it is written again."""
    rows = "A1,Mon,1.0,yes,25,60\nA1,,,,,61\nA2,Mon,2.0,no,15,78\nA1,Mon,1.0,yes,25,62\nA2,,2,,,79\n"
    with pytest.warns(NotRead, match=r"taken for further readings of a pour above: row 3 \(A1\), row 5 \(A1\) and row 6 \(A2\)\. If one is a pour"):
        assert log.add_sheet(sheet(tmp_path, f"pour,session,catalyst,cover,gel time,hardness 24 h\n{rows}")) == ["A1", "A2"]
    read = log.castings().readings
    assert [read.loc[read["pour"] == name, "low"].tolist() for name in ("A1", "A2")] == [[25, 60, 61, 62], [15, 78, 79]]


def test_a_further_row_may_give_another_age_and_a_note(log, tmp_path):
    text = "pour,catalyst,cover,age (h),hardness,note\nA1,1.5,x,24,76,\nA1,,,168,80,edge soft\nA2,1.5,x,24,75,\n"
    with pytest.warns(NotRead, match=r"row 3 \(A1\)"):
        log.add_sheet(sheet(tmp_path, text))
    assert told_ages(log) == [("A1", 24, 76), ("A1", 168, 80), ("A2", 24, 75)]
    assert log.castings().pours["note"].tolist() == ["edge soft", ""]


def told_ages(log):
    return list(log.castings().readings[["pour", "age", "low"]].itertuples(index=False, name=None))


def test_a_row_without_a_name_that_is_no_further_row_is_asked_about(study, tmp_path):
    """An average, or a pour whose name was forgotten; its empty cover is no further problem."""
    text = "pour,catalyst,cover,gel time,hardness 24 h\n,1.2,x,20,\nA1,1.5,x,25,76\n-,1.5,,,77\nA2,1,x,30,70\n,,,,\n,1.3,,,76.5\n"
    with pytest.raises(LogProblems) as found:
        read_sheet(study, sheet(tmp_path, text))
    table = found.value.problems
    assert table["row"].tolist() == ["row 2", "row 4", "row 7"]
    assert table["problem"][2] == (
        "this row has no pour's name, while others have one. Write it in, or repeat the name above if the row belongs to that pour; delete an average or a "
        "sum, or write average or sum in its first cell.")


@pytest.mark.parametrize(("row", "differs"), [
    ("A1,Mon,1.6,,,77", "has another catalyst and hardness"), ("A1,Tue,1.5,,,76", "has another session"), ("A1,Mon,1.5,,26,76", "has another gel time"),
    ("A1,Mon,1.5,no,,76", "says the same"), ("A1,Mon,1.5,,25,76", "says the same"),
])
def test_a_name_that_comes_again_with_anything_else_is_another_pour(study, tmp_path, row, differs):
    """Another setting, session or gel time, a setting that the first row leaves open, and a copy of the first row."""
    with pytest.raises(LogProblems, match=f"row 3, pour: A1 is listed twice: row 2 {differs}. Give each pour its own name. A further row"):
        read_sheet(study, sheet(tmp_path, f"pour,session,catalyst,cover,gel time,hardness 24 h\nA1,Mon,1.5,,25,76\n{row}\n"))


def test_a_reading_of_a_further_row_that_is_no_number_is_named_by_its_own_row(study, tmp_path):
    with pytest.raises(LogProblems) as found:
        read_sheet(study, sheet(tmp_path, "pour,catalyst,hardness 24 h\nA1,1.5,76\nA1,,760\nA2,9.5,70\n"))
    assert found.value.problems["row"].tolist() == ["row 3", "row 4"]


def test_two_columns_for_one_thing(study, tmp_path):
    with pytest.raises(LogProblems, match=r"a second column for catalyst, beside catalyst \(%\)\. Rename"):
        read_sheet(study, sheet(tmp_path, "pour,catalyst (%),catalyst,pigment\nA,1.5,2.5,1\n"))


def test_several_columns_of_hardness(log, tmp_path):
    log.add_sheet(sheet(tmp_path, "pour,catalyst,hardness 1 at 24 h,hardness 2 at 24 h\nA,1,76,78\n"))
    assert log.castings().readings[["specimen", "low"]].values.tolist() == [["1", 76.0], ["2", 78.0]]


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_specimens_initials_and_notes_of_readings_come_back(log, study_here, tmp_path, ending):
    log.add_pour("None", settings={"catalyst": 1.5}, session="007", by="AB", note="-")
    log.add_reading("None", "hardness", 77.5, age=24, specimen="left", by="CD", note="=edge, soft")
    log.add_reading("None", "hardness", 80, age=24, specimen="right")
    log.add_reading("None", "gel_time", between=("20.123456789 min", 25), note="n/a")
    again = Logbook(study_here, f"again-{ending}.sqlite")
    again.add_sheet(write_sheet(log.castings(), tmp_path / f"out.{ending}"))
    columns = ["reading", "low", "high", "age", "specimen", "by", "known", "note"]
    before, after = (book.castings().readings[columns].sort_values(columns[:5]) for book in (log, again))
    assert before.astype(object).fillna("").values.tolist() == after.astype(object).fillna("").values.tolist()
    assert again.castings().pours.loc["None", ["session", "by", "note"]].tolist() == ["007", "AB", "-"]
    assert again.castings().fingerprint() == log.castings().fingerprint()
    again.close()


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("2026-03-01 10:30", dt.datetime(2026, 3, 1, 10, 30)),
        ("1.3.2026 9:05", dt.datetime(2026, 3, 1, 9, 5)),
        ("12.03.25", dt.datetime(2025, 3, 12)),  # day, month and year, as the dots say
        ("Mi., 1.4.26 14.30 Uhr", dt.datetime(2026, 4, 1, 14, 30)),
        ("31/3/2026", dt.datetime(2026, 3, 31)),
        ("3/31/2026", dt.datetime(2026, 3, 31)),
        ("14 March 2025", dt.datetime(2025, 3, 14)),
        ("17-Mar-2025", dt.datetime(2025, 3, 17)),
        ("Mar 14 2025", dt.datetime(2025, 3, 14)),
        ("March 14th, 2025 9:05", dt.datetime(2025, 3, 14, 9, 5)),
        ("14 Mar 25", dt.datetime(2025, 3, 14)),
        ("14Mar'25", dt.datetime(2025, 3, 14)),
        ("Fri, 14th Sept. 2025 14.30", dt.datetime(2025, 9, 14, 14, 30)),
        ("14. März 2025", dt.datetime(2025, 3, 14)),
        ("1. Mai 2025", dt.datetime(2025, 5, 1)),
        ("2025/03/12", dt.datetime(2025, 3, 12)),  # Japan, Canada and forms filled in on the web
        ("2025.3.12 14h30", dt.datetime(2025, 3, 12, 14, 30)),
        ("2025/03/12 2:30:12 PM", dt.datetime(2025, 3, 12, 14, 30, 12)),
        ("12.3.2025, 2.30 p.m.", dt.datetime(2025, 3, 12, 14, 30)),
        ("12 March 2025 14:30 Uhr", dt.datetime(2025, 3, 12, 14, 30)),
    ],
)
def test_dates(text, made):
    assert moment(text) == made


@pytest.mark.parametrize(
    ("text", "words"),
    [("3/4/2026", "day first or month first"), ("31.2.2026", "not a day of the calendar"), ("soon", "not a date"),
     ("3/1/26", "'3/1/26' has a year of two digits. Write it like 2026-03-01"), ("14 March", "'14 March' has no year"),
     ("2025/13/03", "not a day of the calendar"), ("1.3.2026 2:30", "'2:30' may be at night or in the afternoon. Write 02:30 or 14:30"),
     ("12.03.255", "not a date"), ("31.02.25", "not a day of the calendar"), ("Mar 14 25", "not a date"), ("31 April 2025", "not a day of the calendar"),
     ("about 14 March 2025", "not a date"), ("14 Marble 2025", "not a date")],
)
def test_dates_refused(text, words):
    with pytest.raises(UnitProblem, match=words):
        moment(text)


def test_a_time_with_a_zone_is_the_same_instant_here():
    there = dt.datetime(2026, 3, 1, 10, 30, tzinfo=dt.timezone(dt.timedelta(hours=9)))
    assert moment(there).astimezone() == there and moment(there).tzinfo is None


def test_text_that_no_spreadsheet_can_hold_is_cleaned():
    assert clean("  a\x00b\ud800\ufffe\r\nc\x07 ") == "ab\nc" and clean(" a \n b ", line=True) == "a b"


@pytest.mark.parametrize("cells", ["✓x✓x", "yx✓n"])
def test_an_x_beside_ticks_may_be_no(study, tmp_path, cells):
    rows = "".join(f"{number},1.5,{cell}\n" for number, cell in enumerate(cells, start=1))
    with pytest.raises(LogProblems, match=r"cover: has x in row 3.* in others, so x may be yes or no\. Write yes or no in each cell"):
        read_sheet(study, sheet(tmp_path, f"pour,catalyst (%),cover\n{rows}"))


def test_an_x_that_is_the_only_mark_for_yes_is_yes(study, tmp_path):
    entries = read_sheet(study, sheet(tmp_path, "pour,catalyst (%),cover\n1,1.5,x\n2,1.5,no\n"))
    assert [entry["settings"]["cover"] for entry in entries] == [1, 0]


@pytest.mark.parametrize("headers", ["Reading,Value", "What,Result"])
def test_a_sheet_of_one_row_a_reading_is_refused_once_with_how_to_turn_it(study, tmp_path, headers):
    text = f"Pour,Catalyst (%),{headers},Unit,Age\nE1,1.5,gel time,22,min,\nE1,1.5,hardness,76,Shore D,24 h\nE2,2,gel time,17,min,\n"
    with pytest.raises(LogProblems, match="each row is one reading here. Write one row for each pour, and each reading in a column") as refused:
        read_sheet(study, sheet(tmp_path, text))
    assert len(refused.value.problems) == 1


@pytest.mark.parametrize(
    ("headers", "cells", "words"),
    [
        ("Room (F),Peak temp", "68,130", "Peak temp has no unit: taken as °C"),
        ("Room,Peak temp", "68 F,130", "Peak temp has no unit: taken as °C"),
        ("post-cure time", "30", "post-cure time has no unit: taken as h"),
        ("Demould", "60", "Demould has no unit: taken as min"),
    ],
)
def test_a_number_without_a_unit_is_told_of_where_it_may_have_another(tmp_path, study, headers, cells, words):
    study = replace(study, readings=(*study.readings, replace(study.reading("gel_time"), name="demould_time", words="demould time")))
    with pytest.warns(NotRead, match=words) as told:
        read_sheet(study, sheet(tmp_path, f"pour,catalyst (%),{headers}\nA,1.5,{cells}\nB,2,{cells}\n"))
    assert len(told_besides(told)) == 1


def test_this_moment_is_told_to_the_second():
    assert moment(None).microsecond == 0 and abs(moment(None) - dt.datetime.now()) < dt.timedelta(hours=1)


@pytest.mark.parametrize("text, time", [
    ("2:30 pm", dt.time(14, 30)), ("12:05 am", dt.time(0, 5)), ("12.05 pm", dt.time(12, 5)), ("14.30", dt.time(14, 30)), ("6:15", dt.time(6, 15)),
    ("0:45:10", dt.time(0, 45, 10)), ("01:20", dt.time(1, 20)), ("11:59:59 pm", dt.time(23, 59, 59)), ("23:07", dt.time(23, 7)), ("1:05 pm", dt.time(13, 5)),
])
def test_times_of_day(text, time):
    assert clock(text) == time


@pytest.mark.parametrize("text", ["24:00", "13:00 pm", "0:30 am", "7:60", "7:05:60", "2:30", "5:59", "soon", "12"])
def test_times_of_day_refused(text):
    with pytest.raises(UnitProblem, match="night or in the afternoon" if text in ("2:30", "5:59") else "not a time of day"):
        clock(text)


@pytest.mark.parametrize("word, number", [("mar", 3), ("March", 3), ("ma", 3), ("mai", 5), ("juni", 6), ("jul", 7), ("DEZ", 12), ("marble", 0), ("x", 0)])
def test_a_month_goes_by_the_first_letters_of_its_name(word, number):
    assert month_number(word) == number


@pytest.mark.parametrize("text, made", [("12/12/2026", (2026, 12, 12)), ("5-5-99", None), ("13/13/2026", None), ("12/13/2026", (2026, 12, 13)),
                                        ("13-12-2026", (2026, 12, 13)), ("7.8.99", (2099, 8, 7)), ("1/12/2026", None), ("46082.5", None), ("46082", None)])
def test_the_larger_number_of_a_date_with_strokes_is_its_day(text, made):
    """What may be two dates is asked about; 46,082 days from 30 December 1899 are 1 March 2026."""
    if made:
        assert moment(text) == dt.datetime(*made)
    else:
        with pytest.raises(UnitProblem, match="perhaps 2026-03-01" if text.startswith("46082") else "date: "):
            moment(text)


def test_a_reading_without_its_age_and_in_words_is_told_both_at_once(study, tmp_path):
    """Put right in one go: the age belongs into the header, once, and every cell is looked at too."""
    with pytest.raises(LogProblems) as refused:
        read_sheet(study, sheet(tmp_path, "pour,catalyst (%),hard?\nA,1.5,yes\nB,2,80\n"))
    age, word = refused.value.problems["problem"]
    assert age == "hardness changes with age. Write its age in the header, as in hardness at 24 h." and "'yes' is not a number" in word


def test_a_reading_in_a_row_of_its_own_is_told_to_name_its_pour(study, tmp_path):
    """Which is enough: a further row of a pour brings its readings."""
    rows = "pour,catalyst (%),gel time (min),tack at 24 h\nA,1.5,25,\n{},,,1\n"
    with pytest.raises(LogProblems, match="Write the name of its pour in this row too"):
        read_sheet(study, sheet(tmp_path, rows.format("")))
    with pytest.warns(NotRead, match="further readings of a pour above"):
        (entry,) = read_sheet(study, sheet(tmp_path, rows.format("A")))
    assert [one["reading"] for one in entry["readings"]] == ["gel_time", "tack"]


def test_a_time_that_may_be_the_reading_of_an_aim_is_asked_about(study, tmp_path):
    """In the words above Store where the sheet can be read, and among its problems where it must be put right anyway."""
    asks = r"no column gives gel time, which has an aim\. If Took is the gel time, head it gel time \(min\)\."
    rows = "pour,session,catalyst %,pigment %,thickness mm,cover,Took,Price,tack at 24 h\nA,Mon,1.5,1,10,no,40min,4,{}\nB,Mon,2,1,10,yes,3/4 h,5,0\n"
    with pytest.warns(NotRead) as caught:
        read_sheet(study, sheet(tmp_path, rows.format("1")))
    assert any(re.search(asks, str(one.message)) for one in caught)
    with pytest.raises(LogProblems) as refused:
        read_sheet(study, sheet(tmp_path, rows.format("bit tacky")))
    told, asked = refused.value.problems["problem"]
    assert "is not a grade" in told and re.fullmatch(asks, asked)
    with pytest.warns(NotRead) as caught:  # a column of its name that nobody filled in gives it as little as none
        read_sheet(study, sheet(tmp_path, rows.format("1").replace("Price", "Gelled at").replace(",4,", ",,").replace(",5,", ",,")))
    assert any(re.search(asks, str(one.message)) for one in caught)


def test_an_amount_of_one_setting_does_not_keep_another_from_being_asked_about(study, tmp_path):
    """Two columns in grams are put right in one go."""
    with pytest.raises(LogProblems) as refused:
        read_sheet(study, sheet(tmp_path, "pour,cat g,colour g,thickness mm,cover,gel time\nA,2.25,1.5,10,yes,25\n"))
    amount, unread = refused.value.problems["problem"]
    assert "gives an amount (g), not a percentage" in amount and "These columns were not read and may be it: colour g." in unread


def test_a_workbook_with_its_pours_on_a_later_sheet_is_not_told_to_use_tabs(study, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["My pours"])
    book.create_sheet("Data").append(["pour", "catalyst %"])
    book.save(tmp_path / "pours.xlsx")
    with pytest.raises(LogProblems) as refused:
        read_sheet(study, tmp_path / "pours.xlsx")
    assert "Only the first visible sheet of a workbook is read, not Data." in str(refused.value) and "tabs" not in str(refused.value)


def test_a_word_for_a_setting_is_told_what_to_write_where_nobody_knows_the_number(study, tmp_path):
    """A colour from a notebook, of which the per cent were never written down."""
    with pytest.raises(LogProblems, match=r"pigment: 'red' is not one number, which a setting needs\. .*or \? if nobody knows"):
        read_sheet(study, sheet(tmp_path, "pour,catalyst %,pigment,gel time\nA,1.5,red,25\n"))
