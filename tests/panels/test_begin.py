"""The study by tapping: what is written, what is kept, and what is said beside a field that is wrong."""

import difflib
import re
import tomllib
from importlib.resources import files

import pytest

import testpour as tp
from testpour.panels.begin import smallest_plan_words
from testpour.planning.problem import PlanConflict

OPEN = {"plan": tp.plan_panel, "pour": tp.pour_panel, "look": tp.look_panel, "today": tp.today_panel, "why": tp.why_panel, "share": tp.share_panel}


def changed(before, after):
    """Lines taken out and lines put in."""
    lines = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [line[2:] for line in lines if line.startswith("- ")], [line[2:] for line in lines if line.startswith("+ ")]


@pytest.mark.slow
def test_an_empty_folder_becomes_a_study_by_tapping(tmp_path, hand):
    at = hand(tp.begin_panel(tmp_path))
    assert not list(tmp_path.iterdir())  # looking writes nothing
    at.type("name", "Blue knobs")
    at.type("to_catalyst", "2,2")
    at.type("way_pigment", "stays the same")
    at.type("same_pigment", "1")
    at.type("durometer", "")
    assert at.tap("write").startswith("Written to")
    study = tp.read_study(tmp_path)
    assert study.name == "Blue knobs"
    assert study.factor("catalyst").span == (1.0, 2.2)
    assert study.factor("pigment").span == (1.0, 1.0)
    assert study.factor("pigment").usual == 1.0
    assert "hardness" not in {reading.name for reading in study.readings}
    assert "pigment" not in {factor.name for factor in study.varied}


@pytest.mark.slow
def test_only_the_line_that_was_changed_changes(own, hand):
    before = (own / "study.toml").read_text("utf-8")
    at = hand(tp.begin_panel(own))
    at.type("to_catalyst", "2 %")
    at.tap("write")
    out, new = changed(before, (own / "study.toml").read_text("utf-8"))
    assert out == ['catalyst = { from = "1 %", to = "2.5 %" } # the data sheet allows this much']
    assert new == ['catalyst = { from = "1 %", to = "2 %" } # the data sheet allows this much']
    assert (own / "panels" / "study-before.toml").read_text("utf-8") == before


def test_a_reading_no_longer_taken_stays_as_a_note(own, hand):
    at = hand(tp.begin_panel(own))
    at.type("read_tack", "no")
    at.tap("write")
    after = (own / "study.toml").read_text("utf-8")
    assert "# tack = { at_most = 1, age = \"24 h\" }" in after
    assert set(tomllib.loads(after)["readings"]) == {"gel_time"}
    assert "# a filler of my own" in after


def test_a_study_that_says_it_already_is_not_written_again(own, hand):
    at = hand(tp.begin_panel(own))
    assert at.part("write")["off"] == "study.toml already says this."


@pytest.mark.parametrize(
    "name, typed, says",
    [
        ("to_catalyst", "20 %", "outside 0 to 10 %"),
        ("to_catalyst", "9 %", "4 %"),  # believable, and refused by the cautions
        ("to_catalyst", "a lot", "not a number"),
        ("to_catalyst", "0.5 %", "must end above where it begins"),
        ("resin_density", "11", "cannot be the density"),
        ("name", " ", "needs a name"),
        ("at_most_gel_time", "10", "below the lower limit"),
        ("age_tack", "-1", "above 0"),
    ],
)
def test_a_bad_entry_is_said_beside_its_field_and_kept(own, hand, name, typed, says):
    before = (own / "study.toml").read_bytes()
    at = hand(tp.begin_panel(own))
    part = at.type(name, typed)
    assert says in part["problem"]
    assert part["value"] == typed.strip() or part["value"] == typed
    assert at.part("write")["off"]
    at.tap("write")
    assert (own / "study.toml").read_bytes() == before
    assert hand(tp.begin_panel(own)).part(name)["problem"] == part["problem"]  # after a restart too


@pytest.mark.parametrize("typed, found", [("lid", "'lid' is neither yes nor no"), ("", "'' is neither yes nor no")])
def test_a_word_that_is_neither_yes_nor_no_keeps_its_field(own, hand, typed, found):
    at = hand(tp.begin_panel(own))
    at.type("way_cover", "stays the same")
    assert found in at.type("same_cover", typed)["problem"]
    assert [part["title"][0] for part in at.parts("step")] == list("123456")
    assert "First correct: cover." in at.words() and at.part("write")["off"]
    assert at.type("same_cover", "no")["problem"] == ""
    at.tap("write")
    assert tp.read_study(own).factor("cover").span == (0, 0)


def test_a_setting_that_may_differ_begins_with_the_usual_span(own, hand):
    """The post-cure as the lines say that are switched off in a new study.toml, catalyst as the catalogue says."""
    file = own / "study.toml"
    file.write_text(file.read_text("utf-8").replace('{ from = "1 %", to = "2.5 %" }', '{ from = "1.5 %", to = "1.5 %" }'), "utf-8")
    at = hand(tp.begin_panel(own))
    for name, low, high in (("catalyst", "1", "2.5"), ("post_cure_temperature", "20", "60"), ("post_cure_time", "0", "4")):
        at.type(f"way_{name}", "may differ")
        assert [(part["value"], part["problem"]) for part in (at.part(f"from_{name}"), at.part(f"to_{name}"))] == [(low, ""), (high, "")]
    assert not at.part("write")["off"]
    at.tap("write")
    off = (files("testpour") / "study" / "new_study.toml").read_text("utf-8").replace("# post_cure", "post_cure")
    new = tomllib.loads(off)["factors"]
    for factor in map(tp.read_study(own).factor, ("post_cure_temperature", "post_cure_time")):
        assert factor.span == tuple(factor.parse(new[factor.name][end]) for end in ("from", "to"))


def test_another_resin_is_refused_as_it_is_typed(own, hand):
    before = (own / "study.toml").read_bytes()
    at = hand(tp.begin_panel(own))
    assert "is epoxy" in at.type("resin_kind", "epoxy, clear")["problem"]
    assert at.part("write")["off"] and "First correct: the resin." in at.words()
    at.tap("write")
    assert (own / "study.toml").read_bytes() == before
    at.type("resin_kind", "clear casting resin")
    assert at.words().count("does not say that it is unsaturated polyester") == 1


def test_a_study_of_a_refused_resin_is_put_right_at_the_resin_alone(own, hand):
    """A file as one may write it by hand."""
    file = own / "study.toml"
    file.write_text(file.read_text("utf-8").replace("unsaturated polyester, casting grade (invented)", "epoxy casting resin"), encoding="utf-8")
    at = hand(tp.begin_panel(own))
    assert [part["name"] for part in at.parts("entry") if part["problem"]] == ["resin_kind"]
    at.type("resin_kind", "unsaturated polyester")
    assert at.tap("write").startswith("Written to")
    assert tp.read_study(own).resin["kind"] == "unsaturated polyester"


def test_a_number_in_another_unit_is_said_as_it_was_read(own, hand):
    """3/4 in of 25.4 mm are 19.05 mm."""
    assert hand(tp.begin_panel(own)).type("to_thickness", "3/4 in")["read"] == "read as 19.05 mm"


@pytest.mark.slow
def test_an_aim_is_said_and_written_as_it_was_read(own, hand):
    """230 °F are 110 °C by (230 - 32) 5/9; two days are 48 h."""
    at = hand(tp.begin_panel(own))
    at.type("read_peak_temperature", "yes")
    at.type("durometer", "Shore A")
    assert at.type("at_most_peak_temperature", "230 °F")["read"] == "read as 110 °C"
    at.type("at_least_hardness", "75 shore a")
    assert at.type("age_hardness", "2 days")["read"] == "read as 48 h"
    said = [part["text"] for part in at.parts("text")]
    assert "Peak temperature at most 110 °C (230 °F)" in said and "Hardness at least 75 Shore A at 2 days" in said
    assert "Gel time 15 to 45 min" in said and "Tack at most grade 1 (slightly tacky) at 24 h" in said
    at.tap("write")
    aims = {aim.reading: aim for aim in tp.read_study(own).aims}
    assert aims["peak_temperature"].at_most == 110.0
    assert (aims["hardness"].at_least, aims["hardness"].age) == (75.0, 48.0)


@pytest.mark.slow
def test_another_durometer_asks_for_its_own_aim(own, hand):
    at = hand(tp.begin_panel(own))
    at.type("durometer", "Shore D")
    at.type("at_least_hardness", "75")
    at.tap("write")
    at.type("durometer", "Shore A")
    assert at.part("at_least_hardness")["value"] == "" and not at.parts("caution")
    assert at.tap("write").startswith("Written to")
    study = tp.read_study(own)
    assert study.reading("hardness").unit == "Shore A" and "hardness" not in {aim.reading for aim in study.aims}
    assert '# hardness = {at_least = "75 Shore D"' in (own / "study.toml").read_text("utf-8")


def test_the_same_figure_in_another_unit_is_another_aim(own, hand):
    """Forty-five seconds are 0.75 min, and the file says at most 45 min."""
    file = own / "study.toml"
    file.write_text(file.read_text("utf-8").replace('at_least = "15 min", ', ""), encoding="utf-8")
    at = hand(tp.begin_panel(own))
    at.type("at_most_gel_time", "45 s")
    at.tap("write")
    assert {aim.reading: aim.at_most for aim in tp.read_study(own).aims}["gel_time"] == 0.75


def test_a_scale_in_ounces_is_offered_and_answered_in_ounces(own, hand):
    """955 steps of resin take 10 of catalyst, which may be 10.5 / 954.5 = 1.10005 %; of 956 they are 10.5 / 955.5 = 1.0989 %, within a tenth."""
    at = hand(tp.begin_panel(own))
    assert "0.01 oz" in [value for value, _ in at.part("scale")["options"]]
    at.type("scale", "0.01 oz")
    assert "With a scale that reads in steps of 0.01 oz, and 1 % of catalyst, weigh at least 9.56 oz of resin" in at.words()


def test_it_says_how_many_pours_the_settings_need(own, hand):
    """A mean and 5 effects are 6 unknowns: 2 days of 2 pours are too few, 2 days of 3 just enough."""
    at = hand(tp.begin_panel(own))
    assert "5 settings differ: the smallest plan that tells them apart has 3 pours on each of 2 days." in at.words()


def test_one_setting_is_one_that_differs(own):
    file = own / "study.toml"
    file.write_text(re.sub(r'(pigment|thickness|cover|filler) = .*\n', "", file.read_text("utf-8")), encoding="utf-8")
    assert smallest_plan_words(tp.read_study(own)).startswith("1 setting differs: the smallest plan that shows what it does has 2 pours on each of 2 days.")


def test_a_study_that_cannot_be_planned_is_told_why(own, monkeypatch):
    def refuse(study, **options):
        raise PlanConflict(["No setting is left."])

    monkeypatch.setattr(tp, "plan_pours", refuse)
    assert smallest_plan_words(tp.read_study(own)).endswith("would do. No setting is left.")


def test_a_file_that_cannot_be_read_is_left_alone(own, hand):
    (own / "study.toml").write_text("name = Knobs\n", encoding="utf-8")
    at = hand(tp.begin_panel(own))
    assert "Correct the file" in at.words()
    assert (own / "study.toml").read_text("utf-8") == "name = Knobs\n"


@pytest.mark.parametrize("name", OPEN)
def test_an_empty_folder_says_what_is_needed_first(tmp_path, hand, name):
    panel = OPEN[name](tmp_path)
    assert "There is no study in this folder yet" in hand(panel).words()
    assert "begin_panel" in repr(panel)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["look", "today", "why", "share"])
def test_a_study_without_pours_says_what_is_needed_first(own, hand, name):
    assert "Nothing is poured yet" in hand(OPEN[name](own)).words()


@pytest.mark.slow
def test_two_panels_on_one_study_show_the_same(own, hand):
    one, other = hand(tp.begin_panel(own)), hand(tp.begin_panel(own))
    for words in ("Is it dry?", "Is it hard?"):
        one.type("question", words)
        assert other.wait().part("question")["value"] == words


def test_the_usual_dose_stands_beside_the_field(own, hand):
    """Of catalyst 1 to 2.5 %, as the catalogue has it from a data sheet; a filler of one's own has no usual span."""
    at = hand(tp.begin_panel(own))
    assert at.part("from_catalyst")["hint"] == "usually 1 to 2.5 %; the label comes first"
    assert not at.part("to_catalyst").get("hint") and not at.part("from_filler").get("hint")


@pytest.mark.slow
def test_both_ends_of_a_span_beyond_one_limit_are_told_in_one_sentence(own, hand):
    at = hand(tp.begin_panel(own))
    at.type("to_thickness", "60")
    at.type("from_thickness", "40")
    assert at.words().count("No catalyst label known here") == 1 and "Thickness 40 to 60 mm is above 38 mm." in at.words()


def test_whoever_changes_an_aim_reads_that_it_judges_what_was_poured_before(own, hand):
    assert "judged by the aims that stand here now, those poured before a change too." in hand(tp.begin_panel(own)).words()
