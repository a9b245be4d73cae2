"""The bench sheet: every pour and blank is on it, nothing in it is live, and it prints on one page."""

import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import pandas as pd
import pytest

from testpour.bench.amounts import WeighOutProblems
from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.weighing import weigh_out
from testpour.study.catalogue import catalogue
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from

CHROMIUM = shutil.which("chromium")
QUIET = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync"]


def study(**more):
    raw = {
        "name": "Knobs in the winter room",
        "question": "What gives a hard, dry knob by the next morning?",
        "factors": {name: {} for name in catalogue()["factors"]},
        "readings": {name: {} for name in catalogue()["readings"]},
        "aims": {"gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "48 h"}},
    }
    return study_from({**raw, **more})


def pours(**columns):
    table = {"catalyst": [1.0, 1.5, 2.0, 1.5], "pigment": [0.5, 0.2, 2.0, 0.0], "thickness": [6.0, 19, 6, 12],
             "cover": [1.0, 0, 1, 1], **columns}
    return pd.DataFrame(table, index=["P3", "P1", "P4", "P2"])


class Cells(HTMLParser):
    """Text of every table row, and every tag met."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.tags = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


def test_every_pour_is_weighed_out_in_run_order():
    sheet = bench_sheet(study(), pours(), resin=200, scale_resolution="0.01 g")
    rows = [row for row in Cells(sheet._repr_html_()).rows if row and row[0] in pours().index]
    assert [row[0] for row in rows] == ["P3", "P1", "P4", "P2"] * 2  # weigh-out, then readings
    assert [[text.strip() for text in row[2:5]] for row in rows[:4]] == [
        ["200.00", "1.00", "2.00"], ["200.00", "0.40", "3.00"], ["200.00", "4.00", "4.00"], ["200.00", "0.00", "3.00"],
    ]
    assert "thickness 6 mm; cover yes" in rows[0][1]


def test_a_table_typed_by_hand_is_weighed_out_as_written():
    """2.5 % of 100 g is 2.5 g, and so is 3 mm of 1/8 in (25.4 / 8 = 3.175); a column misspelt is no usual value."""
    typed = pd.DataFrame({"catalyst": ["2.5 %", "2"], "thickness": ["1/8 in", None], "cover": ["no", "yes"]}, index=["A", "B"])
    table = bench_sheet(study(), typed, resin="100 g").table
    assert table["catalyst_g"].tolist() == [2.5, 2.0]
    assert table["thickness"].tolist() == [pytest.approx(3.175), 10.0]
    assert table["cover"].tolist() == [0.0, 1.0]
    with pytest.raises(StudyProblems, match="Catalyst is not a factor of this study; catalyst may be meant"):
        bench_sheet(study(), typed.rename(columns={"catalyst": "Catalyst"}), resin="100 g")
    with pytest.raises(StudyProblems, match="catalyst: 'some' is not a number"):
        bench_sheet(study(), typed.assign(catalyst="some"), resin="100 g")


def test_a_study_without_pigment_has_none_to_weigh():
    text = bench_sheet(study(factors={"catalyst": {}}), pours()[["catalyst"]], resin=200)._repr_html_()
    rows = [[cell.strip() for cell in row] for row in Cells(text).rows if row and row[0] == "P3"]
    assert "igment" not in text.split('class="cautions"')[0] and rows[0][2:4] == ["200.0", "2.0"]


def test_amounts_are_those_of_the_weigh_out():
    sheet = bench_sheet(study(), pours(), mould_volume={"P3": 50, "P1": "1/2 US pint", "P4": 80, "P2": 90})
    mix = weigh_out(mould_volume="1/2 US pint", catalyst=1.5, pigment=0.2, study=study())
    row = sheet.table.loc["P1"]
    assert (row["resin_g"], row["catalyst_g"]) == (mix.resin_mass, mix.catalyst_mass)
    assert (row["catalyst_low"], row["catalyst_high"]) == mix.delivered
    assert row["room_temperature"] == 20.0


def test_a_cell_to_fill_for_every_reading_and_age():
    """Gel time two checks, three readings once, tack 24 and 48 h (its aim), hardness three ages, two grades: 12."""
    cells = Cells(bench_sheet(study(), pours(), resin=200)._repr_html_())
    filled = [row for row in cells.rows if row and row[0] == "P3"][1]
    assert len(filled) == 1 + 12 and not any(text.strip() for text in filled[1:])
    heads = " ".join(text for row in cells.rows for text in row)
    for words in ("not gelled", "first check", "24 h", "2 days", "7 days", "peak temperature"):
        assert words in heads


def test_blanks_aims_and_grades_are_printed():
    text = bench_sheet(study(), pours(), resin=200, date="24 November")._repr_html_()
    for words in ("Date", "24 November", "Initials", "Room, °C", "Humidity, %", "Resin lot", "Catalyst lot",
                  "Pigment lots", "gel time 15 to 45 min", "at 2 days", "3 wet", "Knobs in the winter room"):
        assert words in text


def test_the_sheet_says_when_to_look_so_that_the_aim_can_be_judged():
    """Gel time 15 to 45 min is the aim; checks at 10, 25 and 50 min alone could not tell a gel at 14 from one at 16."""
    text = bench_sheet(study(), pours(), resin=200)._repr_html_()
    assert "the first after; look at 15 min and at 45 min in any case, so that each pour shows whether the aim is met</li>" in text
    assert "in any case" not in bench_sheet(study(aims={}), pours(), resin=200)._repr_html_()


def test_a_reading_without_a_how_stands_with_its_grades_or_not_at_all():
    gloss = {"unit": "grade", "scale": "grades", "low": 0, "high": 1, "grades": ["mirror", "dull"]}
    text = bench_sheet(study(readings={"hardness": {"unit": "Barcol"}, "gloss": gloss}, aims={}), pours(), resin=200)._repr_html_()
    assert "<b>Gloss.</b> 0 mirror, 1 dull</li>" in text and "<b>Hardness.</b>" not in text


def test_warnings_name_their_pours():
    sheet = bench_sheet(study(), pours(catalyst=[0.8, 1.5, 3.0, 3.0]), resin=[200, 30][0])
    assert {tuple(names) for names in sheet.warnings.values()} == {("P3",), ("P4", "P2"), ("P1",)}  # 19 mm is believed to run hot
    assert "P4, P2:" in sheet._repr_html_() and "3 warnings" in sheet.sentence()


def test_a_coarse_scale_is_warned_about():
    sheet = bench_sheet(study(), pours(), resin=30)
    assert any("finer scale" in text for text in sheet.warnings)
    assert not any("scale" in text for text in bench_sheet(study(), pours(), resin=200).warnings)


def test_doses_that_weigh_the_same_are_named():
    """By hand, on a scale of 0.1 g: 1.5 % and 2 % of 12 g are 0.18 and 0.24 g, both 0.2 g; 1 % is 0.12 g, and 1.5 % of 40 g is 0.6 g."""
    table = pours().iloc[[0, 0, 0, 0]].assign(catalyst=[1.5, 2.0, 1.0, 1.5], pigment=1.0).set_axis(["P1", "P2", "P3", "P4"])
    sheet = bench_sheet(study(), table, resin={"P1": 12, "P2": 12, "P3": 12, "P4": 40})
    said = {text: names for text, names in sheet.warnings.items() if "the same on this scale" in text}
    text = "Catalyst weighs the same on this scale for 1.5 % and 2 % (0.2 g), so these pours cannot tell them apart. Mix more or use a finer scale."
    assert said == {text: ["P1", "P2"]}
    assert "Catalyst weighs the same" in sheet._repr_html_()


def test_each_pour_is_warned_of_what_the_scale_does_to_its_own_catalyst():
    """113 g on a 1 g scale: 2.5 % is 3 g, 2.5 / 113.5 to 3.5 / 112.5; 1 % is 1 g, 0.5 / 113.5 to 1.5 / 112.5, by hand."""
    table = pd.DataFrame({"catalyst": [2.5, 1.0], "pigment": [0.0, 0.0]}, index=["P01", "P02"])
    small = [(text, names) for text, names in bench_sheet(study(), table, resin="113 g", scale_resolution="1 g").warnings.items()
             if "catalyst for" in text]
    assert [names for _, names in small] == [["P01"], ["P02"]]
    assert small[0][0].endswith(f" {weigh_out('113 g', catalyst='2.5 %', scale_resolution='1 g').scale_warning()}")
    assert "2.20 to 3.11 % catalyst for 2.5 %. This is a small mix for this scale: mix at least 383 g" in small[0][0]
    assert "0.44 to 1.33 % catalyst for 1 %. This scale weighs" in small[1][0]
    assert "only from 956 g of resin up, more than one pot may hold. Use a finer scale." in small[1][0]


def test_a_sheet_for_a_scale_in_ounces_is_in_ounces_throughout():
    """1 and 2 % of 3 oz are 0.03 and 0.06 oz, 0.5 and 2 % of pigment 0.015, read as 0.02, and 0.06 oz: by hand. A hundredth of an ounce is 0.2835 g."""
    pours = pd.DataFrame({"catalyst": [1.0, 2.0], "pigment": [0.5, 2.0]}, index=["P1", "P2"])
    sheet = bench_sheet(study(factors={"catalyst": {}, "pigment": {}}, aims={}), pours, resin="3 oz", scale_resolution="0.01 oz")
    text = sheet._repr_html_()
    rows = [[cell.strip() for cell in row] for row in Cells(text).rows if row and row[0] in ("P1", "P2")][:2]
    assert [row[2:5] for row in rows] == [["3.00", "0.02", "0.03"], ["3.00", "0.06", "0.06"]]
    assert "on a scale that reads 0.01 oz." in text and "resin, oz<" in text and "resin, g<" not in text
    assert not re.search(r"\d g\b", " ".join(sheet.warnings)) and "2 pours with 6 oz of resin and 0.09 oz of catalyst" in sheet.sentence()
    assert "Session 1: 1 pour with 3 oz of resin" in replace(sheet, table=sheet.table[:1]).sentence()
    assert any("0.5 % is 0.015 oz, which a scale in steps of 0.01 oz rounds to 0.02 oz, or 0.667 %." in said for said in sheet.warnings)
    assert sheet.table.loc["P1", "resin_g"] == pytest.approx(3 * 28.349523125)  # the table of numbers stays in g


FILLED = {"catalyst": {}, "humidity": {}, "filler": {"unit": "%", "low": 0, "high": 60, "from": 0, "to": 40},
          "silica": {"unit": "phr", "low": 0, "high": 5, "from": 0, "to": 2}, "oven": {"unit": "degC", "low": 0, "high": 90, "usual": 20}}


def test_what_a_workshop_adds_by_the_weight_of_the_resin_has_its_grams():
    """30 % of 150 g are 45 g, 2 phr 3 g, and 0.2 phr 0.3 g; the humidity and an oven are no such thing."""
    table = pd.DataFrame({"catalyst": [1.5, 1.5], "filler": [30.0, 0.0], "silica": [2.0, 0.2]}, index=["P1", "P2"])
    sheet = bench_sheet(study(factors=FILLED, aims={}), table, resin="150 g")
    rows = [[cell.strip() for cell in row] for row in Cells(sheet._repr_html_()).rows if row and row[0] in ("pour", "P1", "P2")][:3]
    assert [text.partition(",")[0] for text in rows[0][2:6]] == ["resin", "filler", "silica", "catalyst"]
    assert [row[2:6] for row in rows[1:]] == [["150.0", "45.0", "3.0", "2.3"], ["150.0", "0.0", "0.3", "2.3"]]
    assert sheet.table.loc["P1", ["filler_g", "silica_g"]].tolist() == [45.0, 3.0] and "humidity_g" not in sheet.table
    assert not sheet.warnings


def test_a_filler_that_the_scale_cannot_show_or_that_overfills_the_mould_is_warned_about():
    """0.2 % of 110 g of resin, which 100 mL at 1.1 g/mL without waste take, are 0.22 g: nothing on a scale of 1 g."""
    table = pd.DataFrame({"catalyst": [2.0, 2.0], "filler": [30.0, 0.0], "silica": [0.0, 0.2]}, index=["P1", "P2"])
    sheet = bench_sheet(study(factors=FILLED, aims={}), table, mould_volume="100 mL", waste=0, scale_resolution="1 g")
    assert sheet.warnings["The resin is worked out to fill the mould without filler, so some of the mix will be left over."] == ["P1"]
    (silica,) = [text for text in sheet.warnings if text.startswith("Silica: 0.2 % is 0.22 g, which a scale in steps of 1 g rounds to no silica at all.")]
    assert sheet.warnings[silica] == ["P2"] and any("without silica" in text for text in sheet.warnings)


def test_refused_pours_are_all_named():
    with pytest.raises(WeighOutProblems) as caught:
        bench_sheet(study(), pours(catalyst=[5.0, 1.5, 1.5, 4.5], room_temperature=[20, 8.0, 20, 20]), resin=200)
    told = caught.value.problems
    assert [text[:2] for text in told] == ["P3", "P1", "P2"]
    assert "above 4 %" in told[0] and "below 10 °C" in told[1]


@pytest.mark.parametrize(
    "change, match",
    [
        ({"resin": None}, "P3: resin: give resin"),
        ({"resin": {"P3": 200}}, "P1: resin: give resin"),
        ({"resin": -1}, "above zero"),
        ({"pours": pours().iloc[:0]}, "at least one pour"),
        ({"study": study(factors={"thickness": {}})}, r"^Weigh-out: This study has no catalyst to weigh out. .*from = .1.5 %., to = .1.5 %. }, .*differ\.$"),
        ({"pours": pours(session=["a", "a", "b", "b"])}, "say which session; there are a and b"),
        ({"pours": pours(session=["a", "a", "b", "b"]), "session": 3}, "session 3 is not here; there are a and b"),
    ],
)
def test_refusals(change, match):
    asked = {"study": study(), "pours": pours(), "resin": 200, **change}
    with pytest.raises(WeighOutProblems, match=match):
        bench_sheet(asked.pop("study"), asked.pop("pours"), **asked)


@pytest.mark.parametrize("session", [2, "b"])
def test_one_session_of_a_plan(session):
    sheet = bench_sheet(study(), pours(session=["a", "a", "b", "b"]), session=session, resin=200)
    assert list(sheet.table.index) == ["P4", "P2"] and sheet.session == "b"


def test_what_people_write_is_escaped():
    evil = "<script>alert(1)</script>"
    table = pours().rename(index={"P3": "<i>P3</i>"})
    text = bench_sheet(study(name=evil, question='"><img src=x>'), table, resin=200, date=evil)._repr_html_()
    tags = {tag for tag, _ in Cells(text).tags}
    assert "script" not in tags and "img" not in tags and "&lt;i&gt;P3&lt;/i&gt;" in text


def test_saved_page_stands_alone(tmp_path):
    path = bench_sheet(study(), pours(), resin=200).save(tmp_path / "sheet.html")
    text = path.read_text("utf-8")
    tags = Cells(text).tags
    assert text.startswith("<!doctype html>") and 'charset="utf-8"' in text
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in tags}
    assert not any({"src", "href"} & set(attrs) for _, attrs in tags)
    assert not re.search(r"https?:|url\(|@import", text)


def test_the_pours_given_are_not_changed():
    table, before = pours(), pours()
    bench_sheet(study(), table, resin=200)
    pd.testing.assert_frame_equal(table, before)


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no browser here to print with")
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_four_pours_with_every_reading_print_on_one_page(tmp_path, size):
    path = bench_sheet(study(), pours(), resin=200).save(tmp_path / "sheet.html")
    path.write_text(path.read_text("utf-8").replace("size: auto", f"size: {size}"), "utf-8")
    pdf = tmp_path / "sheet.pdf"
    command = [CHROMIUM, *QUIET, f"--user-data-dir={tmp_path}/profile", "--no-pdf-header-footer"]
    subprocess.run([*command, f"--print-to-pdf={pdf}", str(path)], check=True, capture_output=True, timeout=120)
    assert re.findall(rb"/Count (\d+)", pdf.read_bytes()) == [b"1"]


def test_a_table_that_does_not_say_the_catalyst_is_not_weighed_out():
    """Called "cat", it was passed over, and every pour weighed out with the usual share."""
    own = study(factors={"catalyst": {"from": "1 %", "to": "2 %"}, "pigment": {}})
    with pytest.raises(WeighOutProblems, match="the table has no column catalyst: it has cat and pigment. Rename that column catalyst."):
        bench_sheet(own, pours()[["catalyst", "pigment"]].rename(columns={"catalyst": "cat"}), resin="100 g")
