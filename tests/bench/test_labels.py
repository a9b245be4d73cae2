"""Labels: one for each pour at its place on the sheet, its code says the name, and nothing in it is live."""

from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
import segno

from testpour.bench.label_fit import FINEST, QUIET, Box
from testpour.bench.label_sheet import SHEETS, LabelProblems, label_sheet
from testpour.bench.labels import labels
from testpour.logbook.castings import Castings
from testpour.planning.plan import plan_pours

LETTER = "Letter, 30 of 66.7 x 25.4 mm"


@pytest.fixture(scope="module")
def plan(study):
    return plan_pours(study, sessions=2, pours=4)


def named(castings, names):
    """A log of as many pours, under other names."""
    pours = castings.pours.iloc[: len(names)].set_axis(pd.Index(names, name="pour"))
    return Castings(castings.study, pours, castings.readings.iloc[:0])


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.words.append(data.strip())


@pytest.mark.parametrize(
    "name, across, down",
    [  # left edges and top edges by hand: (paper - labels - gaps) / 2, then label and gap again and again
        ("A4, 24 of 70 x 37 mm", [0, 70, 140], [0.5, 37.5, 259.5]),
        ("A4, 21 of 63.5 x 38.1 mm", [7.21, 73.25, 139.29], [15.15, 53.25, 243.75]),
        (LETTER, [4.7625, 74.6125, 144.4625], [12.7, 38.1, 241.3]),
    ],
)
def test_a_sheet_lies_in_the_middle_of_its_paper(name, across, down):
    sheet = label_sheet(name)
    assert [sheet.place(n)[0] for n in (1, 2, 3)] == pytest.approx(across)
    last = sheet.count - sheet.columns + 1
    assert [sheet.place(n)[1] for n in (1, 4, last)] == pytest.approx(down)
    assert f"{sheet.count} of" in name


def test_a_sheet_of_ones_own_is_measured_with_units():
    own = {"paper": "A4", "columns": 2, "rows": 5, "width": "9.9 cm", "height": 57, "left": "1/4 in", "top": 5, "gap_down": 1}
    sheet = label_sheet(own)
    assert sheet.place(1) == pytest.approx((6.35, 5))
    assert sheet.place(10) == pytest.approx((6.35 + 99, 5 + 4 * 58))


@pytest.mark.parametrize(
    "given, said",
    [
        ("A5", "is not known; there are"),
        ({"paper": "A4", "columns": 3, "rows": 8, "width": 80, "height": 37}, "need 240 mm across"),
        ({"paper": "A4", "columns": 2, "rows": 8, "width": 80, "height": 30, "top": 60}, "need 240 mm down from 60 mm"),
        ({"paper": "A5", "columns": 2.5, "rows": 8, "width": "wide"}, "in all"),
        ({"paper": "A4", "columns": 8, "rows": 20, "width": 25, "height": 14}, "no room for a name and a code"),
        ({"paper": "A4", "columns": 0, "rows": 2, "width": 50, "height": 30}, "at least one column"),
        ({"paper": "A4", "columns": 1, "rows": 2, "width": 50, "height": 30, "margin": 3}, "margin is not a measure"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(given, said):
    with pytest.raises(LabelProblems, match=said):
        label_sheet(given)


def test_a_plan_and_its_log_get_one_label_a_pour_in_run_order(plan, practice_castings, practice_log):
    assert list(labels(plan).table["pour"]) == list(plan.table.index)
    assert list(labels(practice_castings).table["pour"]) == list(practice_castings.pours.index)
    assert list(labels(practice_log).table["pour"]) == list(practice_castings.pours.index)


def test_session_and_names_choose_the_pours(plan):
    second = labels(plan, session=2).table
    assert list(second["pour"]) == list(plan.session(2).index)
    assert set(labels(plan, session=plan.sessions[0]).table["session"]) == {plan.sessions[0]}
    assert list(labels(plan, only=plan.table.index[2]).table["pour"]) == [plan.table.index[2]]


def test_a_part_used_sheet_is_filled_from_its_first_free_label(plan):
    made = labels(plan, start=22, copies=2)
    assert list(made.table["position"]) == [22, 23, 24, *range(1, 14)]
    assert list(made.table["page"]) == [1] * 3 + [2] * 13
    assert made.pages == 2 and "11 left over" in made.sentence()
    assert list(made.table["pour"][:2]) == [plan.table.index[0]] * 2


def test_a_printer_that_is_off_is_put_right(plan):
    moved = labels(plan, shift=("0.5 mm", "-1 mm")).table[["left", "top"]] - labels(plan).table[["left", "top"]]
    assert np.allclose(moved, [0.5, -1.0])
    assert labels(plan, shift=("1 cm", "-10 mm")).table["left"].min() == pytest.approx(labels(plan).table["left"].min() + 10)


def test_the_code_says_the_study_and_the_pour_and_the_settings_are_in_words(plan):
    made, pour = labels(plan), plan.table.index[1]
    row = made.table.iloc[1]
    assert row["text"] == f"{plan.study.name}\n{pour}"
    shown = plan.study.factor("catalyst").show(plan.table.loc[pour, "catalyst"])
    assert f"catalyst {shown}" in row["settings"].replace("\N{NO-BREAK SPACE}", " ")
    assert row["settings"].endswith("cover")


def test_a_log_knows_the_day_and_a_plan_is_told_it(plan, practice_castings):
    dated = replace(practice_castings, pours=practice_castings.pours.assign(made_at=pd.Timestamp("2026-03-02 09:00")))
    assert set(labels(dated).table["made"]) == {"2 Mar 2026"}
    assert set(labels(plan, date="Friday").table["made"]) == {"Friday"}


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("name", ["P1", "W" * 60, "ب" * 50, "\U0001f9ea" * 30, "plain words " * 8])
def test_the_code_keeps_the_whole_name_and_modules_that_can_be_read(practice_castings, sheet, name):
    made = labels(named(replace(practice_castings, study=replace(practice_castings.study, name="Long " * 60)), [name]), sheet=sheet)
    text = made.table["text"].iloc[0]
    assert text.split("\n", 1)[1] == name
    code = segno.make(text, error="m", micro=False, encoding="utf-8", boost_error=False)
    assert 20.9 / code.symbol_size(border=QUIET)[0] >= FINEST


@pytest.mark.slow
def test_a_name_too_long_for_any_code_is_refused_by_name(practice_castings):
    with pytest.raises(LabelProblems, match=r"the name W{20}… has 900 characters"):
        labels(named(practice_castings, ["W" * 900]))


def test_the_name_of_the_study_stands_in_the_code_as_the_log_would_keep_it(practice_castings):
    """On one line, without the bell and without half a character, which no code can hold."""
    made = labels(replace(practice_castings, study=replace(practice_castings.study, name="Kn\x07obs\n and\ud800\tdishes")))
    assert made.table["text"].iloc[0].split("\n")[0] == "Knobs and dishes"


def test_a_name_that_is_cut_keeps_both_ends_and_is_said(practice_castings):
    made = labels(named(practice_castings, ["a" * 90 + "-12"]), sheet=LETTER)
    name = made.table["name"].iloc[0]
    assert name.startswith("aaa") and "…" in name and name.endswith("-12")
    assert "shortened in the middle" in made.sentence()
    assert not labels(named(practice_castings, ["P12"])).table["cut"].any()


def test_nothing_typed_is_live_and_the_file_stands_alone(practice_castings, tmp_path):
    evil = "<script>alert(1)</script>"
    log = named(replace(practice_castings, study=replace(practice_castings.study, name=evil)), [evil, "<img src=x>"])
    log = replace(log, pours=log.pours.assign(session=evil))
    text = labels(log, date=evil).save(tmp_path / "labels.html").read_text("utf-8")
    page = Tags(text)
    assert not {"script", "img", "link", "iframe"} & set(page.tags)
    assert page.tags.count("svg") == 2 and evil in page.words
    assert "default-src 'none'" in text and "http://www.w3.org/2000/svg" not in text.split("<svg")[0]


def test_a_notebook_shows_the_first_sheet_only(plan):
    shown = Tags(labels(plan, start=22)._repr_html_())
    assert shown.tags.count("article") == 3 and "html" not in shown.tags


def test_everything_that_cannot_be_is_said_at_once(plan, study):
    with pytest.raises(LabelProblems) as refused:
        labels(plan, session="S9", only="P99", start=25, copies=0, shift="left")
    assert len(refused.value.problems) == 5
    with pytest.raises(LabelProblems, match="more than any printer is off"):
        labels(plan, shift=(10.1, 0))
    with pytest.raises(LabelProblems, match="holds no pours"):
        labels(study)


def test_an_empty_log_is_refused(log):
    with pytest.raises(LabelProblems, match="no pour yet"):
        labels(log)


@pytest.mark.parametrize("columns, width, height, side, lines, rooms", [
    (3, 70.0, 37.0, 25.0, 5, (38.4 / (20 * 25.4 / 72), 2 * 38.4 / (10.5 * 25.4 / 72) - 1.5)),  # the largest code
    (4, 50.0, 40.0, 21.0, 6, (22.4 / (20 * 25.4 / 72), 2 * 22.4 / (10.5 * 25.4 / 72) - 1.5)),  # 0.42 of the width
    (4, 50.0, 20.4, 16.0, 1, (0.0, 27.4 / (10.5 * 25.4 / 72))),  # all of the height
])
def test_the_room_for_words_and_code_by_hand(columns, width, height, side, lines, rooms):
    """2.2 mm are kept bare inside each edge and between code and words; of the height inside, 0.3 is for the name, whose lines are 1.1 of its size apart,
    and what the session and the study (15 pt, each line 1.15 high) leave is for lines of 7 pt. A line that breaks loses 1.5 em."""
    box = Box(label_sheet({"paper": "A4", "columns": columns, "rows": 2, "width": width, "height": height}))
    assert (box.side, box.lines) == (pytest.approx(side), lines)
    assert (box._room(20), box._room(10.5)) == pytest.approx(rooms)


def test_a_short_name_is_no_larger_than_a_line_of_its_room():
    """4.8 mm are for the name: 12 pt, a line of 4.66 mm, fits; 14 pt, 5.43 mm, does not."""
    assert Box(label_sheet({"paper": "A4", "columns": 4, "rows": 2, "width": 50, "height": 20.4})).fitted("A") == (12, "A")
