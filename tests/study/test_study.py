"""The study file: read with every problem named, written back the same, and settings made complete."""

import string
import time
import tomllib
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from IPython.utils.capture import capture_output

from testpour.common.problems import NoSuchName
from testpour.common.toml_file import _mistakes
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import read_package
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem
from testpour.study.catalogue import catalogue
from testpour.study.cautions import check_ends, check_settings, check_table, clash
from testpour.study.study import Aim, Study, StudyProblems
from testpour.study.study_file import read_study, save_study, study_from

ROOT = Path(__file__).parents[2]
DEMO, NEW = ROOT / "datasets" / "demo-study", ROOT / "kit" / "testpour" / "study" / "new_study.toml"
LEAST = {"factors": {"catalyst": {}}, "readings": {"gel_time": {}}}


def problems_of(**tables):
    with pytest.raises(StudyProblems, match=r"^study\.toml: ") as found:
        study_from({**LEAST, **tables})
    return found.value.problems


def test_the_demo_study_reads_as_written(study):
    assert study.name == "Coat-hook knobs, spring term"
    assert [f.name for f in study.varied] == ["catalyst", "pigment", "thickness", "cover"]
    assert study.factor("thickness").span == (5.0, 18.0)
    assert study.resin["density"] == 1.10 and study.resin["catalyst_density"] == 1.12
    assert study.aims == (
        Aim("gel_time", 15.0, 45.0), Aim("tack", None, 1.0, 24.0), Aim("hardness", 75.0, None, 24.0),
        Aim("peak_temperature", None, 110.0),
    )


def test_the_demo_study_has_the_factors_of_its_file_alone(study):
    assert study.has("room_temperature") and not study.has("filler") and not study.has("gel_time")


def test_the_demo_study_in_sentences(study):
    said = study.sentence()
    assert "catalyst 1 to 2.5 %; " not in said and "catalyst 1 to 2.5 %, pigment 0.2 to 4 %, thickness 5 to 18 mm, cover" in said
    assert "gel time 15 to 45 min; tack at most grade 1 (slightly tacky) at 24 h" in said
    assert "hardness at least 75 Shore D at 24 h; peak temperature at most 110 °C" in said
    assert repr(study) == said
    page = study._repr_markdown_()
    assert "- catalyst (%): mass of peroxide solution" in page and "- gel time 15 to 45 min" in page


@pytest.mark.parametrize("hours, said", [(4.0, "4 h"), (24.0, "24 h"), (30.0, "30 h"), (168.0, "7 days"), (170.5, "170.5 h")])
def test_the_age_of_an_aim_is_said_as_makers_state_it(study, hours, said):
    assert Aim("hardness", 75.0, None, hours).words(study.reading("hardness")) == f"hardness at least 75 Shore D at {said}"


def test_both_bounds_of_an_aim_are_rounded_alike():
    """180 and 250 °F are 82.22 and 121.11 °C."""
    peak = catalogue()["readings"]["peak_temperature"]
    assert Aim("peak_temperature", 740 / 9, 1090 / 9).words(peak) == "peak temperature 82.2 to 121 °C"


def test_a_study_without_aims_or_spans_says_so():
    bare = study_from({"factors": {"resin_lot": {}}, "readings": {"gel_time": {}}})
    assert bare.sentence().endswith("Varied: nothing yet. A good casting: no aim stated yet.")
    assert "nothing yet." in bare._repr_markdown_() and "no aim stated yet." in bare._repr_markdown_()


def test_round_trip_of_the_demo_study(study, tmp_path):
    again = read_study(save_study(study, tmp_path / "study.toml"))
    assert replace(again, folder=study.folder) == study


def test_round_trip_of_a_study_with_everything_of_its_own(tmp_path):
    mine = study_from(
        {
            "name": 'Tilé "blau" — 70 % \\ n',
            "question": "Does stirring longer\nmatter?",
            "log": "postgresql://bench@server/log",
            "resin": {"kind": "polyester, promoted", "density": "1.21 kg/L"},
            "factors": {
                "stirring": {"unit": "min", "low": 0, "high": 10, "from": "30 s", "to": 4, "how": "by hand", "step": 0.5},
                "mould": {"kind": "text", "role": "carried"},
                "warmed": {"kind": "yes/no", "role": "met"},
                "thickness": {"from": "1/4 in", "to": "1/2 in"},
            },
            "readings": {
                "hardness": {"unit": "Barcol", "ages": ["1 day"]},
                "gloss": {"low": 0, "high": 100, "scale": "share", "better": "higher"},
                "haze": {"scale": "grades", "grades": ["none", "some", "all"], "low": 0, "high": 2, "ages": [2]},
            },
            "aims": {"hardness": {"at_least": 40}, "haze": {"at_most": 1, "age": "2 days"}},
        },
        tmp_path / "study.toml",
    )
    assert mine.factor("stirring").span == (0.5, 4.0) and mine.factor("stirring").usual == 0.5
    assert mine.aims == (Aim("hardness", 40.0, None, 24.0), Aim("haze", None, 1.0, 48.0))
    assert read_study(save_study(mine)) == mine


def test_a_yes_or_no_of_ones_own_is_chosen_between_unless_said_otherwise():
    given = {"wax": {"kind": "yes/no"}, "warmed": {"kind": "yes/no", "role": "met"}, "vented": {"kind": "yes/no", "from": 1, "to": 1}}
    study = study_from({**LEAST, "factors": given})
    assert [study.factor(name).span for name in given] == [(0, 1), (), (1, 1)]
    assert [factor.name for factor in study.varied] == ["wax"] and study.factor("wax").usual == 0


@pytest.mark.slow
@given(st.text(max_size=30), st.text(max_size=80), st.text(max_size=20))
def test_any_text_comes_back(name, question, kind):
    """Names and questions are stored as TOML basic strings: whatever is typed is read back."""
    text = "".join(c for c in name + question + kind if not "\ud800" <= c <= "\udfff")
    study = study_from({**LEAST, "name": text, "question": text, "resin": {"kind": text}})
    with TemporaryDirectory() as folder:
        again = read_study(save_study(study, Path(folder) / "study.toml"))
    assert (again.name, again.question, again.resin["kind"]) == (text, text, text)


def test_a_folder_will_do_for_its_file(study, tmp_path):
    save_study(study, tmp_path / "study.toml")
    assert read_study(tmp_path).folder == tmp_path
    assert read_study(str(tmp_path / "study.toml")).name == study.name


def test_no_file(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"No study file at .*study\.toml.*testpour new"):
        read_study(tmp_path)


# What people write by mistake, and the words that must explain it; TOML 1.0.0, toml.io, says what is allowed.
MISWRITTEN = [
    ("name = Knobs", 'line 1: name = Knobs lacks its quotes. Write name = "Knobs".'),
    ("[factors", r"line 1: the bracket of \[factors is not closed. Write \[factors\]"),
    ("name = 'a\n", "line 1: a quote is opened and not closed in name = 'a"),
    ('name = "a\nquestion = "b"\n', 'line 1: a quote is opened and not closed in name = "a'),
    ("\ufeffname = 3 3", "line 1: name = 3 3 is not a plain number. A number with its unit needs quotes"),
    ('log = "C:\\Users\\me\\log.sqlite"', r"line 1: the backslash in .* has a special meaning between these quotes. Write / in its place"),
    ('log = "C:\\temp\\new.sqlite"', "log holds a tab or a line break, as a backslash makes it. Write / between folders"),
    ("name: Knobs\nfactors:\n  catalyst: 1\n", "line 1: name: Knobs is written as YAML, with a colon. Write name = "),
    ("---\nname: x\n", "line 1: --- is written as YAML"),
    ("name = \u201cKnobs\u201d", "line 1: curly quotes \u201c as a word processor sets them"),
    ("[factors]\ncatalyst = { from = 1 %, to = 2 % }", "line 2: from = 1 % is not a plain number. .*needs quotes"),
    ("[factors]\ncatalyst = { from = 1,5, to = 2 }", "line 2: from = 1,5 has a decimal comma. Write 1.5."),
    ("[factors]\ncatalyst = {}\ncatalyst = {}", "not readable as TOML: a name is used twice in one table.* Keep one of them"),
    ("[factors]\n[factors]", "not readable as TOML: a table or a name is used twice"),
    ("[factors]\ncover = { by_session = True }", "line 2: by_session = True is spelt with a capital. Write true."),
    ("[factors]\ncatalyst =\n", "line 2: nothing follows catalyst ="),
    ("[factors]\ncatalyst {}\n", "line 2: catalyst {} has no =. Write a line as name = value"),
    ('[aims]\ntack = { at_least = "0" at_most = 1 }', "line 2: a comma is missing before at_most =. Write one between two parts."),
    ("[aims]\ntack = { at_least = 0 at_most = 1 }", "line 2: a comma is missing before at_most ="),
    ('[readings]\ntack = { ages = ["24 h"] unit = "x" }', "line 2: a comma is missing before unit ="),
    ('[aims]\ntack = { at_most = 1, age = "24 h"\n', "line 2: { is opened and not closed. Write } where that part ends"),
    ('[readings]\ntack = { ages = ["24 h" }', r"line 2: \[ is opened and not closed. Write \] where"),
    ('[factors]\ncatalyst = { from = "1 %", }', "line 2: the comma before } is one too many. Remove it."),
    ("[factors]\ncover = {},", "line 2: the comma at its end is one too many. Remove it."),
    ('[factors]\ncatalyst: { from = "1 %" }', "line 2: catalyst: has a colon. Write catalyst = "),
    ("[readings]\nglänz = {}", 'line 2: glänz = has a letter that a name may have only in quotes. Write "glänz" = '),
    ("[aims]\ntack = { at most = 1 }", "line 2: at most = has a space in its name. Write at_most = "),
    ('[factors]\nwax content = { unit = "%" }', "line 2: wax content = has a space in its name. Write wax_content = "),
    ('{"name": "Knobs"}', "not readable as TOML: this is JSON"),
    ("x = " + "[" * 50_000, "nested too deeply"),
    ("x = " + "9" * 5_000, "not readable as TOML"),
    ("a." * 20_000 + "b = 1", "more than 60 parts with dots"),
    ("\0\0\0\0\0", "this is not text"),
    ("# " + "x" * 600_000, r"more than 0\.5 MB"),
]


@pytest.mark.parametrize("text, words", MISWRITTEN, ids=[str(i) for i in range(len(MISWRITTEN))])
def test_a_mistake_of_writing_is_explained_by_what_it_is(tmp_path, text, words):
    least = "" if "factors" in text or "readings" in text else "\n[factors]\ncatalyst = {}\n[readings]\ngel_time = {}\n"
    (tmp_path / "study.toml").write_text(text + (least if text.startswith("log") else ""), "utf-8")
    begun = time.process_time()
    with pytest.raises(StudyProblems, match=words) as found:
        read_study(tmp_path)
    assert time.process_time() - begun < 2.0
    assert len(str(found.value)) < 400


def test_every_mistake_of_writing_is_named_at_once_and_what_is_right_is_not(tmp_path):
    text = (DEMO / "study.toml").read_text("utf-8")
    wrong = text.replace('kind = "unsaturated', "kind = unsaturated").replace('"1 %"', "1 %").replace("cover = {}", "cover: {}")
    (tmp_path / "study.toml").write_text(wrong, "utf-8")
    with pytest.raises(StudyProblems) as found:
        read_study(tmp_path)
    lines = [text[: text.index(part)].count("\n") + 1 for part in ("kind = ", '"1 %"', "cover = {}")]
    assert [line.split(":")[0] for line in found.value.problems] == [f"line {number}" for number in lines]
    for path in (DEMO / "study.toml", NEW):
        assert _mistakes(path.read_text("utf-8")) == [], "right lines are called wrong"


def test_in_a_notebook_all_problems_stand_without_a_traceback():
    """IPython shows what `_render_traceback_` gives in place of the traceback (IPython.core.interactiveshell)."""
    shell = pytest.importorskip("IPython.core.interactiveshell").InteractiveShell.instance()
    with capture_output() as shown:
        shell.run_cell("from testpour.study.study_file import study_from\nstudy_from({'a': 1, 'b': 2, 'factors': {'catalyst': {'step': -1}}})")
    said = shown.stdout + shown.stderr
    assert "Traceback" not in said and "study_file.py" not in said
    assert said.count("\n- ") == 4 and "[a] is" in said and "[b] is" in said and "step -1 is below 0" in said


@pytest.mark.parametrize("cell, says", [
    ("from testpour.common.units import to_unit\nto_unit('7 dl', '%')",
     ("UnitProblem: value: '7 dl' does not turn into %. Give it in %, as 1.5 % for 2.25 g in 150 g. For mL, "
      "multiply by the density in g/mL to get grams; for drops, weigh 50 of them first.")),
    ("from testpour.common.problems import NoSuchName\nraise NoSuchName(\"No pour 'P99' in the log.\")", "NoSuchName: No pour 'P99' in the log."),
    ("import testpour as tp\ntp.example_study().reading('tac')",
     "NoSuchName: No reading 'tac' in this study; it has gel_time, peak_temperature, tack, hardness, defects."),
    ("from testpour.planning.problem import PlanConflict\nraise PlanConflict(['One.', 'Two.'])", "PlanConflict: One. Two."),
])
def test_in_a_notebook_a_refusal_is_a_sentence(cell, says):
    shell = pytest.importorskip("IPython.core.interactiveshell").InteractiveShell.instance()
    with capture_output() as shown:
        shell.run_cell(cell)
    assert (shown.stdout + shown.stderr).strip() == says


def test_a_file_saved_by_an_editor_with_a_byte_order_mark(tmp_path, study):
    path = save_study(study, tmp_path / "study.toml")
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_study(path).name == study.name


def test_a_file_in_another_coding(tmp_path):
    (tmp_path / "study.toml").write_bytes('name = "Kn\xf6pfe"'.encode("latin-1"))
    with pytest.raises(StudyProblems, match="not readable as TOML: .*UTF-8"):
        read_study(tmp_path)


REFUSED = [
    ({"factor": {}}, r"\[factor\] is not a part of a study; allowed are aims, factors, log, name"),
    ({"factors": {}}, "needs at least one factor and one reading"),
    ({"readings": {}}, "needs at least one factor and one reading"),
    ({"factors": {"stir time": {}}}, r"\[factors\] stir time: use letters, digits and _"),
    ({"factors": {"catalyst": {"colour": 1}}}, r"\[factors\] catalyst: colour is not recognised"),
    ({"factors": {"catalyst": {"from": "1 g"}}}, r"\[factors\] catalyst, from: '1 g' does not turn into %"),
    ({"factors": {"catalyst": {"from": 3, "to": 2}}}, r"\[factors\] catalyst: from 3 to 2 runs backwards. Swap"),
    ({"factors": {"catalyst": {"to": 12}}}, r"from 1 to 12 is not inside 0 to 10 %"),
    ({"factors": {"catalyst": {"low": 11}}}, "low 11 is above high 10"),
    ({"factors": {"catalyst": {"role": "free"}}}, "role 'free' must be one of chosen, met, carried"),
    ({"factors": {"catalyst": {"kind": "colour"}}}, "kind 'colour' must be one of number, yes/no, text"),
    ({"factors": {"catalyst": 3}}, r"\[factors\] catalyst: 3 says too little"),
    ({"factors": ["catalyst"]}, r"\[factors\] must be a table"),
    ({"factors": {"colour": {"kind": "text"}}}, r'\[factors\] colour: a setting chosen in words is not planned. Write role = "carried"'),
    ({"factors": {"colour": {"kind": "text", "role": "chosen"}}}, 'as in red = { kind = "yes/no" }'),
    ({"readings": {"gel_time": {"scale": "cubic"}}}, "scale 'cubic' must be one of log, plain, share, rise, grades"),
    ({"readings": {"gel_time": {"better": "nicer"}}}, "better 'nicer' must be one of lower, higher, window"),
    ({"aims": {"tack": {"at_most": 1}}}, r"\[aims\] tack is not read in this study; add it under \[readings\] or drop the aim"),
    ({"aims": {"gel tme": {"at_most": 1}}}, r"\[aims\] gel tme is not read in this study; write gel_time if that is meant"),
    ({"aims": {"gel_time": {}}}, r"\[aims\] gel_time: .* is no aim .* Write it like gel_time = { at_least = ..., at_most = ... }"),
    ({"aims": {"gel_time": {"age": 24}}}, r"\[aims\] gel_time: .* is no aim .* Write it like gel_time = { at_least = ..., at_most = ... }"),
    ({"aims": {"gel_time": {"at_least": 1, "above": 3}}}, r"\[aims\] gel_time: .* is no aim .* Write it like gel_time = { at_least = ..., at_most = ... }"),
    ({"aims": {"gel_time": {"at_least": "1 g"}}}, "gel_time, at_least: '1 g' does not measure what min"),
    ({"aims": {"gel_time": {"at_least": 45, "at_most": 15}}}, "at_least 45 is above at_most 15. Exchange the two, or leave one out"),
    ({"aims": {"gel_time": {"at_least": 0.1}}}, "0.1 is outside 0.5 to 1440 min"),
    ({"readings": {"tack": {}}, "aims": {"tack": {"at_most": 1, "age": 0}}}, "an age of 0 h is not possible"),
    ({"aims": {"gel_time": 20}}, r"\[aims\] gel_time: .* is no aim .* Write it like gel_time = { at_least = ..., at_most = ... }"),
    ({"aims": 20}, r"\[aims\] must be a table"),
    ({"resin": {"viscosity": 3}}, r"\[resin\] viscosity is not recognised; allowed are kind, density"),
    ({"resin": {"density": "heavy"}}, r"\[resin\] density: 'heavy' is not a number"),
    ({"resin": {"density": "1 g"}}, r"\[resin\] density: '1 g' does not measure what g/mL"),
    ({"resin": {"density": -1}}, r"\[resin\] density: -1 g/mL cannot be the density of a resin"),
    ({"resin": {"density": "1100 g/mL"}}, r"\[resin\] density: 1100 g/mL cannot be the density of a resin"),
    ({"resin": {"kind": 3}}, r"\[resin\] kind = 3 must be text in quotes"),
    ({"factors": {"catalyst": {"to": True}}}, r"\[factors\] catalyst, to: true is not a number"),
    ({"factors": {"catalyst": {"step": -1}}}, r"\[factors\] catalyst: step -1 is below 0"),
    ({"factors": {"catalyst": {"usual": 12}}}, "catalyst: usual 12 is outside 0 to 10 %"),
    ({"factors": {"catalyst": {"usual": float("nan")}}}, "catalyst, usual: nan is not a finite number"),
    ({"factors": {"catalyst": {"high": float("inf")}}}, "catalyst, high: inf is not a finite number"),
    ({"factors": {"catalyst": {"high": 10**400}}}, "catalyst, high: .* is not a number"),
    ({"factors": {"stir": {"unit": "min"}}}, "stir: nothing says what is usual"),
    ({"factors": {"who": {}}}, 'who: nothing says what is usual. .* for a name or a word kind = "text", role = "carried"'),
    ({"readings": {"bubbles": {"from": 0, "to": 5}}}, "bubbles: from, to is not recognised; write low and high for the range of a reading"),
    ({"readings": {"bubbles": "0 to 5"}}, r"bubbles: '0 to 5' says too little. Write bubbles = \{\}, or \{ low = 0, high = 5 \}"),
    ({"factors": {"stir": {"low": 0}, "Stir": {"low": 0}}}, "Stir and stir are both called 'stir'"),
    ({"factors": {"gel": {"low": 0, "words": "gel time"}}}, "are both called 'gel time'"),
    ({"readings": {"tack": {"ages": [-3]}}}, "tack: an age of -3 h is not possible"),
    ({"readings": {"tack": {"ages": [True]}}}, "tack, ages: true is not a number"),
    ({"readings": {"tack": {"ages": [24, "1 d"]}}}, "tack: an age is listed twice in 24, 24 h"),
    ({"readings": {"tack": {"grades": []}}}, "tack: grades is empty"),
    ({"readings": {"shine": {"grades": ["mirror"]}}}, "shine: grades holds one grade only"),
    ({"readings": {"shine": {"grades": ["mirror", "dull"], "scale": "plain"}}}, "shine: grades are given, and the scale is 'plain'"),
    ({"readings": {"shine": {"grades": ["mirror", "dull"], "low": 1, "high": 2}}}, "shine: 2 grades run from 0 to 1, not from 1 to 2"),
    ({"readings": {"gel_time": {"grades": ["slow", "fast"]}}}, "gel_time: grades are given, and the scale is 'log'. Leave grades out"),
    ({"readings": {"tack": {"grades": ["dry", "dry", "wet", "soft"]}}}, "tack: two grades have one name"),
    ({"readings": {"tack": {"grades": ["dry", "wet"]}}}, "tack: 2 grades run from 0 to 1, not from 0 to 3"),
    ({"readings": {"tack": {"grades": [1, 2]}}}, "tack: grades = .* must be a list of words in quotes"),
    ({"readings": {"haze": {"scale": "grades"}}}, "haze: grades is empty"),
    ({"readings": {"gel_time": {"resolution": -1}}}, "gel_time: resolution -1 is below 0"),
    ({"aims": {"gel_time": {"at_least": True}}}, r"\[aims\] gel_time, at_least: true is not a number"),
    ({"readings": {"own": {}}, "aims": {"own": {"at_most": float("inf")}}}, r"own, at_most: inf is not a finite number"),
    ({"resin": {"density": True}}, r"\[resin\] density: true is not a number"),
    ({"name": 3}, "name = 3 must be text in quotes"),
    ({"log": ["a"]}, r"log = \['a'\] must be text in quotes"),
]


@pytest.mark.parametrize("tables, said", [
    ({"factors": {"cover": {"usual": "maybe"}}}, "[factors] cover, usual: 'maybe' is neither yes nor no. Write yes or no."),
    ({"readings": {"tack": {}}, "aims": {"tack": {"at_most": "a bit"}}},
     "[aims] tack, at_most: 'a bit' is not a grade. Grades are 0 dry, 1 slightly tacky, 2 tacky, 3 wet."),
    ({"readings": {"opacity": {}}, "aims": {"opacity": {"at_least": 1.2, "at_most": 1.8}}},
     "[aims] opacity: no grade is between 1.2 and 1.8. Grades are 0 clear, 1 tinted, 2 milky, 3 opaque."),
    ({"readings": {"gel_time": {"unit": "h"}}, "aims": {"gel_time": {"at_most": 40}}},
     "[readings] gel_time is kept in min, which its range and the trade's beliefs rest on. Leave unit out; a value may be written with a unit"),
    ({"readings": {"gel_time": {"unit": "mm"}}}, "[readings] gel_time is kept in min, which its range and the trade's beliefs rest on. Leave unit out."),
    ({"readings": {"hardness": {"step": 3}}, "ready": {"demould": 60}}, "[readings] hardness: step is not recognised"),
    ({"factors": ["catalyst"]}, "[factors] must be a table"),
])
def test_one_mistake_is_one_problem_in_the_words_of_its_own_column(tables, said):
    problems = problems_of(**tables)
    assert len(problems) == 1 and problems[0].startswith(said)


@pytest.mark.parametrize("name, table, usual", [
    ("thickness", {"from": 25, "to": 45}, 35.0), ("catalyst", {"from": 0.5, "to": 1}, 0.8), ("room_temperature", {"from": 26, "to": 36}, 31.0),
    ("thickness", {"from": 5, "to": 18}, 10.0), ("thickness", {}, 10.0), ("thickness", {"from": 12, "to": 12}, 12.0),
    ("thickness", {"from": 25, "to": 45, "usual": 10}, 10.0), ("post_cure_temperature", {"from": 40, "to": 80}, 20.0),
])
def test_the_usual_value_lies_within_the_span_unless_it_was_stated_or_means_none(name, table, usual):
    """The middle of the span, to the bench's step, where the catalogue's lies outside; no oven stays no oven."""
    assert study_from({**LEAST, "factors": {name: table}}).factor(name).usual == usual


@pytest.mark.parametrize("least, most, says", [
    (1, 2, "opacity grade 1 (tinted) to grade 2 (milky) at 24 h"), (2, 2, "opacity grade 2 (milky) at 24 h"),
    (2, None, "opacity at least grade 2 (milky) at 24 h"),
])
def test_an_aim_on_grades_names_them(least, most, says):
    opacity = catalogue()["readings"]["opacity"]
    assert Aim("opacity", least, most, 24.0).words(opacity) == says


def test_yes_no_and_grades_may_be_written_as_words():
    study = study_from({
        "factors": {"catalyst": {}, "cover": {"usual": "no", "from": "No", "to": "yes"}}, "readings": {"tack": {}},
        "aims": {"tack": {"at_least": 0, "at_most": "Slightly tacky"}},
    })
    assert (study.factor("cover").usual, study.factor("cover").span) == (0.0, (0.0, 1.0))
    assert study.aims == (Aim("tack", 0.0, 1.0, 24.0),)


def test_a_reading_of_ones_own_that_names_its_grades_is_graded():
    shine = study_from({**LEAST, "readings": {"shine": {"grades": ["mirror", "satin", "dull"]}}}).reading("shine")
    assert (shine.scale, shine.low, shine.high) == ("grades", 0.0, 2.0)


@pytest.mark.parametrize("name, grades, turned", [
    ("tack", ["wet", "tacky", "slightly tacky", "dry"], True),
    ("tack", ["soaking", "sticky", "hint", "bone dry"], True),
    ("tack", ["Wet", "a", "b", "c"], True),
    ("tack", ["tacky", "slightly", "hardly", "not tacky"], True),
    ("defects", ["spoilt", "visible", "buffs out", "none"], True),
    ("opacity", ["opaque", "milky", "tinted", "clear"], True),
    ("tack", ["no mark", "drags", "prints", "wets the glove"], False),
    ("tack", ["touch dry", "nearly dry", "tacky", "not dry"], False),
    ("tack", ["not wet", "a", "b", "soaking"], False),
    ("shine", ["wet", "dull", "dry"], False),
])
def test_grades_of_a_known_reading_run_the_way_of_the_trade(name, grades, turned):
    """Grade 0 is the best of tack and defects and the clearest of opacity in the catalogue; a reading of one's own runs as it likes."""
    tables = {**LEAST, "readings": {name: {"grades": grades}}}
    if not turned:
        assert study_from(tables).reading(name).grades == tuple(grades)
        return
    (said,) = problems_of(**tables)
    assert said.startswith(f"[readings] {name}: its grades run from {grades[0]} to {grades[-1]}, and the trade's from ")
    assert "Write grades = [" + ", ".join(f'"{grade}"' for grade in reversed(grades)) + "]" in said


AGAINST = [("tack", {"at_least": 1}, "at_least grade 1 (slightly tacky)", "at_most", "higher"),
           ("hardness", {"at_most": "70 Shore D"}, "at_most 70 Shore D", "at_least", "lower"),
           ("demould_time", {"at_least": "2 h"}, "at_least 120 min", "at_most", "higher")]


@pytest.mark.parametrize("name, aim, said, meant, other", AGAINST)
def test_an_aim_against_what_is_better_is_questioned_and_may_be_meant(name, aim, said, meant, other):
    tables = {**LEAST, "readings": {name: {}}, "aims": {name: aim}}
    (problem,) = problems_of(**tables)
    assert problem.startswith(f"[aims] {name}: {said} asks for castings as bad as that or worse")
    assert f"Write {meant}, or both for a range" in problem and f'write better = "{other}"' in problem
    assert len(study_from({**tables, "readings": {name: {"better": other}}}).aims) == 1
    assert len(study_from({**tables, "aims": {name: {"at_least": 10, "at_most": 90} if name != "tack" else {"at_least": 1, "at_most": 2}}}).aims) == 1


@pytest.mark.parametrize("tables, words", REFUSED, ids=[str(i) for i in range(len(REFUSED))])
def test_every_refusal_says_what_and_where(tables, words):
    with pytest.raises(StudyProblems, match=words):
        study_from({**LEAST, **tables})


@pytest.mark.parametrize("section, name, entry, meant", [
    ("factors", "catalist", {"from": "1 %", "to": "2 %"}, "catalyst"), ("factors", "catalist", {"from": 1, "to": 2}, "catalyst"),
    ("factors", "room_temprature", {}, "room_temperature"), ("factors", "room-temperature", {}, "room_temperature"),
    ("readings", "geltime", {}, "gel_time"), ("factors", "room_temp", {"from": 15, "to": 25}, "room_temperature"),
    ("factors", "catalyst_pct", {"from": 1, "to": 2}, "catalyst"), ("factors", "thick", {"unit": "in", "from": 0.2, "to": 0.5}, "thickness"),
    ("factors", "post_cure_temp", {"from": 20, "to": 60}, "post_cure_temperature"), ("readings", "peak_temp_c", {}, "peak_temperature"),
    ("factors", "thick_mm", {"from": 4, "to": 12}, "thickness"), ("readings", "hard", {"unit": "Shore D"}, "hardness"),
    ("factors", "MEKP", {"unit": "%", "low": 0, "high": 10, "from": 1, "to": 2.5}, "catalyst"), ("readings", "exotherm", {"unit": "degF"}, "peak_temperature"),
    ("factors", "hardener", {"kind": "text", "role": "carried"}, ""), ("factors", "peroxide", {"low": 0, "words": "peroxide of the old tin"}, ""),
    ("factors", "room", {"kind": "text", "role": "carried"}, ""), ("factors", "resin", {"unit": "g", "low": 100}, ""),
    ("factors", "catalyst_brand", {"kind": "text", "role": "carried"}, ""),
    ("factors", "post_cure", {"kind": "yes/no"}, ""), ("factors", "thick", {"low": 1, "words": "thick paste"}, ""),
    ("factors", "oven_temperature", {"low": 20}, ""), ("factors", "catalyst_2", {"low": 0}, ""),
    ("factors", "pigments", {"low": 0, "words": "number of pigments"}, ""),
])
def test_a_name_that_is_nearly_a_known_one_is_asked_about(section, name, entry, meant):
    least = {"factors": {"cover": {}} if meant else {"catalyst": {}}, "readings": {"tack": {}}}
    tables = {**least, section: {**least[section], name: entry}}
    if meant:
        assert problems_of(**tables) == [f'[{section}] {name} looks like {meant}. Write it so; if it is something else, say what in its line: words = "...".']
    else:
        assert name in {column.name for column in study_from(tables).factors}


def test_a_name_that_may_be_two_known_ones_is_not_told_to_be_the_wrong_one():
    """Told to be the time, 20 to 60 °C would be hours."""
    said = "[factors] post_cure looks like post_cure_temperature or post_cure_time. Write the one that is meant; if it is something else, say"
    (found,) = problems_of(factors={"catalyst": {}, "post_cure": {"from": 20, "to": 60}}, readings={"tack": {}})
    assert found.startswith(said)


def test_a_name_that_was_said_to_be_something_else_stays_so_in_a_file_written_anew(tmp_path):
    """The words that said so are those the name would have without them."""
    study = study_from({"factors": {"catalyst": {}, "thick": {"from": 1, "to": 3, "words": "thick"}}, "readings": {"tack": {}}})
    assert read_study(save_study(study, tmp_path / "study.toml")).factor("thick") == study.factor("thick")


def test_all_problems_of_one_column_are_named_at_once():
    found = problems_of(factors={"catalyst": {"to": True, "usual": "warm"}, "pigment": {"step": -1, "usual": 99, "from": 3, "to": 1}})
    for word in ("to: true", "'warm'", "step -1", "usual 99", "runs backwards"):
        assert sum(word in line for line in found) == 1, word


def test_all_problems_are_named_at_once():
    found = problems_of(
        extra={}, factors={"catalyst": {"to": "12 %"}, "two words": {}},
        readings={"gel_time": {"scale": "cubic"}, "tack": {}}, aims={"tack": {"at_most": 7}, "gloss": {"at_most": 1}},
        resin={"density": "1 mm"},
    )
    assert len(found) == 7
    for word in ("extra", "from 1 to 12", "two words", "cubic", "7 is outside", "gloss", "1 mm"):
        assert sum(word in line for line in found) == 1


def test_the_error_counts_the_others():
    with pytest.raises(StudyProblems, match=r"^study.toml: .*\(2 in all; see `.problems`\)$"):
        study_from({**LEAST, "a": 1, "b": 2})


def test_settings_are_completed_with_usual_values(study):
    row = study.settings({"catalyst": "2 %", "thickness": "1/2 in"}, cover="no", resin_lot=" drum 3 ")
    assert row == {
        "catalyst": 2.0, "pigment": 0.5, "thickness": 12.7, "cover": 0.0, "post_cure_temperature": 20.0,
        "post_cure_time": 0.0, "room_temperature": 20.0, "humidity": 50.0, "resin_lot": "drum 3",
    }
    assert study.settings({"catalyst": None})["catalyst"] == 1.5


def test_settings_name_every_problem(study):
    with pytest.raises(StudyProblems, match=r"^Settings: .*\(4 in all") as found:
        study.settings({"catalyst": "2 g", "thickness": "1 m", "cover": "perhaps", "colour": "red"})
    for said, word in zip(found.value.problems, ["colour is not a factor", "'2 g'", "1 to 60 mm", "yes or no"], strict=True):
        assert word in said


def test_asking_for_what_is_not_there_lists_what_is(study):
    with pytest.raises(NoSuchName, match="No factor 'colour' in this study; it has catalyst, pigment"):
        study.factor("colour")
    with pytest.raises(NoSuchName, match="No reading 'gloss' in this study; it has gel_time"):
        study.reading("gloss")


SCALARS = st.one_of(st.text(string.printable, max_size=6), st.integers(-3, 30), st.floats(), st.booleans())
VALUES = st.recursive(SCALARS, lambda v: st.one_of(st.lists(v, max_size=2), st.dictionaries(st.sampled_from(
    ["from", "to", "low", "high", "unit", "usual", "scale", "grades", "ages", "at_least", "at_most", "age", "kind",
     "catalyst", "tack", "gel_time", "own", "density"]), v, max_size=3)), max_leaves=8)


@given(st.dictionaries(st.sampled_from(["name", "factors", "readings", "aims", "resin", "log", "x"]), VALUES, max_size=5))
def test_any_tables_give_a_study_or_all_its_problems(raw):
    try:
        assert isinstance(study_from(raw), Study)
    except StudyProblems as problem:
        assert all(isinstance(line, str) and line for line in problem.problems)


@pytest.mark.parametrize("low, high, step", [(0, 25, 0.5), (0, 24, 0.2), (0, 30, 0.5), (0, 60, 1.0), (5, 6, 0.02), (0, 1000, 20.0), (20, 30, 0.2)])
def test_a_factor_of_ones_own_is_set_on_a_plain_step(low, high, step):
    """The largest 1, 2 or 5, times a power of ten, of which the span holds fifty or more: by hand."""
    raw = {**LEAST, "factors": {"filler": {"low": 0, "high": 2000, "from": low, "to": high}}}
    assert study_from(raw).factor("filler").step == pytest.approx(step, rel=1e-12)
    stated = study_from({**raw, "factors": {"filler": {**raw["factors"]["filler"], "step": 0.3}}})
    assert stated.factor("filler").step == 0.3


def moulded(**choices):
    moulds = {name: {"kind": "yes/no", "words": f"{name} mould"} for name in ("silicone", "glass")}
    return {**LEAST, "factors": {"catalyst": {}, "taps": {"low": 0, "high": 9}, **moulds}, "one_of": choices or {"mould": ["silicone", "glass"]}}


def test_two_of_a_choice_are_refused_and_logged_only_where_it_was_so(tmp_path):
    study = replace(study_from(moulded()), folder=tmp_path)
    assert read_study(save_study(study)).one_of == {"mould": ("silicone", "glass")}
    table = pd.DataFrame({"silicone": [1.0, 1.0, 0.0, np.nan], "glass": [1.0, 0.0, 0.0, 1.0]})
    assert clash(study, table).tolist() == [True, False, False, False] and not clash(study, {"silicone": 1.0}) and not clash(study, {})
    assert not check_settings(study, {"silicone": 1.0, "glass": 0.0}).refusals
    log, both = Logbook(study), {"catalyst": 1.5, "silicone": "yes", "glass": "yes"}
    with pytest.raises(LogProblem, match=r"Silicone mould and glass mould are chosen together, and \[one_of\]"):
        log.add_pour("P1", settings=both, session="1")
    log.add_pour("P1", settings=both, session="1", made_anyway=True)
    assert read_package(write_package(log, tmp_path / "a.zip").path).study.one_of == study.one_of
    log.close()


@pytest.mark.parametrize("names", [["silicone"], ["silicone", "taps"], ["silicone", "pvc"], "silicone", ["silicone", {}]])
def test_a_choice_that_names_no_two_yes_no_factors_is_refused(names):
    with pytest.raises(StudyProblems, match=r"\[one_of\] mould = .*list two or more of the yes/no factors.*; it has silicone, glass\."):
        study_from(moulded(mould=names))


def test_two_of_a_choice_are_not_both_usual():
    raw = moulded()
    raw["factors"] |= {name: {"kind": "yes/no", "usual": "yes"} for name in ("silicone", "glass")}
    with pytest.raises(StudyProblems, match="mould: silicone and glass are both usual. Write usual = \"no\" for all but one"):
        study_from(raw)


def test_the_examples_of_ones_own_in_a_new_study_can_be_switched_on():
    text = NEW.read_text("utf-8")
    for name in ("filler", "who_poured", "bubbles", "silicone", "glass"):
        assert f"# {name} = " in text
        text = text.replace(f"# {name} = ", f"{name} = ")
    study = study_from(tomllib.loads(text))
    assert study.factor("who_poured").kind == "text" and study.reading("bubbles").resolution == 1
    with_choice = study_from(tomllib.loads(text.replace("# [one_of]", "[one_of]").replace("# mould = ", "mould = ")))
    assert with_choice.one_of == {"mould": ("silicone", "glass")}


CHOICES = {
    "factors": {"catalyst": {}, **{name: {"kind": "yes/no"} for name in ("silicone", "glass", "red", "blue")}}, "readings": {"tack": {}},
    "one_of": {"mould": ["silicone", "glass"], "colour": ["red", "blue"]},
}


@pytest.mark.parametrize("yes", ["yes", 1.0])
def test_only_what_clashes_is_named_and_yes_may_be_written(yes):
    """Red was named beside two moulds, and "yes" ended in an error of Python's."""
    found = check_settings(study_from(CHOICES), {"silicone": yes, "glass": yes, "red": yes, "blue": None})
    assert [text.split(" are chosen together")[0] for text in found.refusals] == ["Silicone and glass"]


def test_a_factor_listed_twice_in_one_choice_is_refused():
    """Every pour in silicone was refused for two moulds."""
    with pytest.raises(StudyProblems, match="mould = .*: list two or more of the yes/no factors of this study, each once"):
        study_from({**CHOICES, "one_of": {"mould": ["silicone", "silicone", "glass"]}})


def test_two_of_a_choice_in_any_row_of_a_table_are_refused_once_and_the_ends_of_a_figure_are_none():
    """A figure's lowest and highest of each setting are no casting: silicone in one row and glass in another is fine."""
    study = study_from(moulded())
    apart, both = pd.DataFrame({"silicone": [1.0, 0.0], "glass": [0.0, 1.0]}), pd.DataFrame({"silicone": [0.0, 1.0, 1.0], "glass": [1.0, 1.0, 1.0]})
    assert not check_table(study, apart).refusals and not check_ends(study, apart).refusals
    assert [text.split(" are ")[0] for text in check_table(study, both).refusals] == ["Silicone mould and glass mould"]
