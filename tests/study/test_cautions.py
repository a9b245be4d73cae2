"""What is refused and warned, at and on both sides of each limit, and the text that is always printed."""

import html
import math
import re
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from testpour.bench.amounts import WeighOutProblems
from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.weighing import weigh_out
from testpour.common.problems import NoSuchName
from testpour.common.units import UnitProblem
from testpour.planning.pour_cautions import by_pour
from testpour.study.caution_rules import Cautions, rules, safety_text
from testpour.study.cautions import check_ends, check_gel_time, check_peak, check_settings, check_shares, check_table
from testpour.study.mixing import _cup, check_note, check_resin, check_study
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from

# Limits as stated by the sources named beside them in cautions.toml: 1 to 2.5 % is the range of a supplier data
# sheet (pre-accelerated orthophthalic resin), 4 % that of a supplier's buying guide, 15 °C that of a data sheet,
# 10 % pigment that of a casting manual; 10 °C, 35 °C and 80 °C are common practice, no source.
VERDICTS = [
    ("catalyst", 1.0, ""), ("catalyst", 2.5, ""), ("catalyst", 0.99, "warn"), ("catalyst", 2.51, "warn"),
    ("catalyst", 4.0, "warn"), ("catalyst", 4.001, "refuse"), ("catalyst", 0.4, "warn"),
    ("catalyst", math.inf, "refuse"), ("catalyst", 0.1 * 3 + 0.7, ""), ("catalyst", math.nan, "warn"),
    ("room_temperature", 15.0, ""), ("room_temperature", 14.9, "warn"), ("room_temperature", 10.0, "warn"),
    ("room_temperature", 9.9, "refuse"), ("room_temperature", 35.0, ""), ("room_temperature", 35.1, "warn"),
    ("pigment", 10.0, ""), ("pigment", 10.1, "warn"),
    ("post_cure_temperature", 80.0, ""), ("post_cure_temperature", 81.0, "warn"),
    ("thickness", 38.0, ""), ("thickness", 38.1, "warn"), ("humidity", 99.0, ""),
    ("post_cure_temperature", 120.0, "warn"), ("post_cure_temperature", 120.1, "refuse"),
    ("pot_mass", 500.0, ""), ("pot_mass", 500.1, "warn"), ("pot_mass", 5000.0, "warn"),
]


def study(**tables):
    given_tables = {"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"tack": {}, "gel_time": {}}}
    return study_from({**given_tables, **tables})


def verdict(found):
    assert bool(found) == bool(found.refusals)
    return "refuse" if found.refusals else "warn" if found.warnings else ""


@pytest.mark.parametrize("name, value, expected", VERDICTS)
def test_limits(name, value, expected):
    assert verdict(check_settings(None, {name: value})) == expected


@pytest.mark.parametrize("span, value, doubted", [
    (("0.5 %", "3 %"), 0.02, True), (("0.5 %", "3 %"), 0.004, False), (("0.5 %", "3 %"), 0.031, False), (("0.5 %", "3 %"), 0.5, False),
    (("0 %", "4 %"), 0.02, True), (("0 %", "4 %"), 0.0, False), (("0 %", "4 %"), 0.1, False), (("0.02 %", "4 %"), 0.02, False),
])
def test_a_pigment_a_hundred_times_too_small_for_its_study_may_be_a_share(span, value, doubted):
    factors = {"catalyst": {}, "pigment": dict(zip(("from", "to"), span, strict=True)), "humidity": {}}
    found = check_shares(study(factors=factors), {"pigment": value, "catalyst": 1.5, "humidity": 0.5})
    assert verdict(found) == ("warn" if doubted else "")
    if value == 0.02 and doubted:
        assert "Pigment 0.02 % may be a share of the resin" in found.warnings[0] and found.warnings[0].endswith("Write a share of 0.02 as 2 %.")


@pytest.mark.parametrize("value, doubted", [(0.03, True), (0.099, True), (0.1, False), (0.3, False), (0.9, False), (-1.0, False)])
def test_only_a_catalyst_that_sets_no_resin_may_be_a_share(value, doubted):
    """Below 0.1 %; that 0.3 % is below the trade's 0.5 and 1 % is said elsewhere."""
    assert verdict(check_shares(study(), {"catalyst": value})) == ("warn" if doubted else "")


@pytest.mark.parametrize(
    "check, value, expected",
    [
        (check_gel_time, 5.0, ""),  # ASTM D2471-99 (withdrawn 2008): valid above 5 min
        (check_gel_time, 4.9, "warn"),
        (check_gel_time, "6 min", ""),
        (check_gel_time, math.nan, "warn"),
        (check_peak, 109.9, ""),
        (check_peak, 110.0, "warn"),  # supplier data sheets: peaks of 110 to 140 °C, softening at 65 to 70 °C
        (check_peak, 144.9, "warn"),
        (check_peak, 145.0, "refuse"),  # boiling point of styrene, from memory, not read
        (check_peak, math.inf, "refuse"),
        (check_peak, math.nan, "warn"),
    ],
)
def test_predictions(check, value, expected):
    assert verdict(check(value)) == expected


@pytest.mark.parametrize("check, value, said", [
    (check_peak, 189.197, "Predicted peak temperature 189 °C is at or above 145 °C"),
    (check_peak, 144.97, "Predicted peak temperature 144 °C is at or above 110 °C"),
    (check_gel_time, 4.73291, "Predicted gel time 4.7 min is below 5 min"),
])
def test_a_prediction_is_told_no_finer_than_it_is_known_and_never_up_to_a_limit(check, value, said):
    assert said in check(value).sentence()


def test_only_the_furthest_limit_of_a_side_speaks():
    found = check_settings(None, {"catalyst": 4.5})
    assert len(found.refusals) == 1 and not found.warnings
    assert "below 0.5 %" in check_settings(None, {"catalyst": 0.3}).sentence()
    assert len(check_settings(None, {"catalyst": 0.3}).warnings) == 1


@pytest.mark.parametrize("share", [0.01, 0.015, 0.04])
def test_a_catalyst_written_as_a_share_is_told_how_per_cent_are_written(share):
    """1 %, 1.5 % and 4 % of the resin as shares of it; 0.1 % may be meant as it stands."""
    says = f"Catalyst {share:g} % is below 0.1 %. So little sets no resin, so a share of the resin may have been written where per cent is meant."
    assert f"{says} Write a share of 0.015 as 1.5 %." in check_settings(None, {"catalyst": share}).warnings
    with pytest.raises(WeighOutProblems, match=r"rounds to nothing.*Write a share of 0\.015 as 1\.5 %"):
        weigh_out("100 g", catalyst=share)
    assert "share" not in check_settings(None, {"catalyst": 0.1}).sentence()


def test_a_sentence_names_setting_value_limit_reason_and_remedy():
    text = check_settings(None, {"room_temperature": 12.5}).warnings[0]
    for part in ("Room temperature", "12.5 °C", "15 °C", "cold resin", "Warm the room"):
        assert part in text


@given(st.floats(4.0001, 1e6), st.floats(-50, 9.999))
def test_nothing_dangerous_passes(catalyst, room):
    found = check_settings(None, {"catalyst": catalyst, "room_temperature": room, "pigment": None})
    assert len(found.refusals) == 2


def test_settings_of_a_study_and_its_units():
    plain = study()
    assert verdict(check_settings(plain, plain.settings())) == ""
    with pytest.raises(StudyProblems, match="room_temperature is kept in °C"):  # values may be degF, the column not
        study(factors={"catalyst": {}, "room_temperature": {"unit": "degF", "low": 32, "high": 110, "usual": 68}})
    for written, expected in (("70 degF", ""), ("58 degF", "warn"), ("49 degF", "refuse")):  # 21, 14.4, 9.4 °C
        assert verdict(check_settings(plain, plain.settings(room_temperature=written))) == expected


@pytest.mark.parametrize(
    "kind, expected",
    [
        ("casting polyester, promoted", ""), ("unsaturated polyester", ""), ("UPR", ""), ("water-clear", "warn"),
        ("epoxy", "refuse"), ("Epoxide", "refuse"), ("polyurethane", "refuse"), ("PU", "refuse"),
        ("acrylic", "refuse"), ("vinyl ester", "refuse"), ("vinylester", "refuse"), ("vinyl-ester", "refuse"),
    ],
)
def test_resins(kind, expected):
    assert verdict(check_resin(kind)) == expected
    assert verdict(check_settings(study(resin={"kind": kind}), {})) == expected


OWN = {"unit": "%", "low": 0, "high": 15, "usual": 0}


@pytest.mark.parametrize(
    "factor, expected, says",
    [
        ({"accelerator": OWN}, "warn", "fully into the resin first"),
        ({"cobalt_blue": OWN}, "", "No limit is broken"),
        ({"acetone": OWN}, "refuse", "Peroxide and acetone"),
        ({"solvent_red_24": OWN}, "", "No limit is broken"),  # a dye by its name in the Colour Index
        ({"dye": {**OWN, "words": "Solvent Blue 35 paste"}}, "", "No limit is broken"),
        ({"dye": {**OWN, "words": "Solvent Red 24 in solvent"}}, "refuse", "Peroxide and acetone"),
        ({"solvent_red": OWN}, "refuse", "Peroxide and acetone"),
        ({"thinner": {**OWN, "words": "white spirit"}}, "refuse", "Peroxide and acetone"),
        ({"microwave_time": {**OWN, "unit": "min"}}, "refuse", "microwave oven"),
        ({"cup": {"kind": "text", "role": "carried", "words": "polystyrene cup"}}, "refuse", "styrene dissolves polystyrene"),
        ({"stirring": {**OWN, "unit": "min", "how": "stirred in a foam cup"}}, "warn", "styrene dissolves polystyrene"),
        ({"stirring": {**OWN, "unit": "min", "how": "no acetone, never a microwave"}}, "", "No limit is broken"),
    ],
)
def test_the_parts_a_study_names_are_asked_about(factor, expected, says):
    named = study(factors={"catalyst": {}, "room_temperature": {}, **factor})
    found = check_settings(named, {"catalyst": 1.5})
    assert verdict(found) == expected and says in found.sentence()


def test_a_hardener_is_held_to_the_limits_of_the_catalyst():
    named = study(factors={"hardener": {**OWN, "words": "hardener"}, "catalyst_lot": {}})
    assert "Hardener 9 % is above 4 %" in check_settings(named, {"hardener": 9.0}).refusals[0]
    assert verdict(check_settings(named, {"hardener": 2.0})) == ""


@pytest.mark.parametrize(
    "note, says",
    [("thinned with acetone", "solvent"), ("warmed in the microwave", "microwave"), ("mixed in a polystyrene cup", "dissolves"),
     ("2 drops of cobalt", "Accelerator"), ("cleaned without acetone", ""), ("cobalt blue", ""), ("foam at the edge", "")],
)
def test_a_note_is_warned_about_and_never_refused(note, says):
    found = check_note(note)
    assert not found.refusals
    assert says in " ".join(found.warnings) and bool(found.warnings) == bool(says)


def test_a_pot_kept_in_another_unit_is_held_to_the_same_limit():
    """The limit is 500 g: 0.6 kg are above it, 0.4 kg are not."""
    named = study(factors={"catalyst": {}, "pot_mass": {"unit": "kg", "low": 0, "high": 2, "usual": 0.2}})
    assert "600 g is above 500 g" in check_settings(named, {"pot_mass": 0.6}).warnings[0]
    assert verdict(check_settings(named, {"pot_mass": 0.4})) == ""


def test_every_value_of_a_table_is_looked_at_and_of_a_figure_both_ends():
    """4.5 % is above 4 %, 9 °C below 10 °C; between 0.9 and 4.5 % only the ends are drawn."""
    pours = pd.DataFrame({"catalyst": [1.5, 2.0, 4.5], "room_temperature": [20.0, 9.0, math.nan]})
    found = check_table(None, pours)
    assert [text.split(" is ")[0] for text in found.refusals] == ["Catalyst 4.5 %", "Room temperature 9 °C"]
    ends = check_ends(None, pd.DataFrame({"catalyst": [0.9, 2.7, 4.5], "pour": ["A", "B", "C"]}))
    assert [text.split(" is ")[0] for text in ends.refusals] == ["Catalyst 4.5 %"]
    assert [text.split(" is ")[0] for text in ends.warnings] == ["Catalyst 0.9 %"]


def test_a_misspelt_setting_is_said_not_to_be_checked():
    found = check_settings(study(), {"catalst": 9.0})
    assert "catalst is not a setting known here, so it was not checked; catalyst may be meant" in found.warnings[0]
    assert "catalyst, room_temperature" in check_settings(study(), {"xyzzy": 1.0}).warnings[0]
    assert verdict(check_settings(study(), {"age": 24.0, "session": "S1", "catalyst": 1.5})) == ""


def test_an_oven_no_polyester_stands_is_refused_whatever_the_study_says():
    """Above the 100 °C of the hottest post-cure a supplier's data sheet gives, by 20 °C: common practice, no source."""
    wide = study(factors={"catalyst": {}, "post_cure_temperature": {"high": 400, "from": 20, "to": 300}})
    assert "300 °C is above 120 °C" in check_settings(wide, {"post_cure_temperature": 300.0}).refusals[0]


def test_a_scale_that_may_deliver_more_than_is_refused_is_warned_about():
    """3.5 % of 30 g is 1.05 g, 1 g on a scale of 1 g: up to 1.5 / 29.5 = 5.085 %; on one of 0.1 g, 1.15 / 29.95 = 3.84 %."""
    coarse = weigh_out("30 g", catalyst="3.5 %", scale_resolution="1 g")
    assert "up to 5.085 % of catalyst" in coarse.sentence() and "above 4 %" in coarse.sentence()
    assert "may deliver up to" not in weigh_out("30 g", catalyst="3.5 %", scale_resolution="0.1 g").sentence()


def test_findings_add_up_once_each():
    both = Cautions(("a",), ("w",)) + Cautions(("a", "b"), ("w",))
    assert both == Cautions(("a", "b"), ("w",))
    assert Cautions().sentence().startswith("No limit is broken")
    assert Cautions(("<b>",))._repr_html_() == "<ul><li>Refused: &lt;b&gt;</li></ul>"


def test_every_limit_and_topic_has_a_source():
    for entry in (*rules()["limits"], *rules()["topics"]):
        assert entry["source"].strip()
    for limit in rules()["limits"]:
        assert limit["level"] in ("refuse", "warn")
        assert len({"above", "below", "from"} & set(limit)) == 1


# What must be on every sheet, in words that no paraphrase may lose.
MUST_SAY = {
    "eyes": ("goggles", "15 min", "medical help"),
    "accelerator": ("accelerator", "explode", "first"),
    "solvent": ("acetone", "peroxide"),
    "vapour": ("vapour", "flame"),
    "fire": ("leftover", "melt", "bin"),
    "spills": ("spills", "sawdust"),
    "waste": ("waste", "local rules", "drain"),
    "dust": ("dust", "wet"),
    "wheels": ("wheel", "face shield", "gloves"),
    "oven": ("oven", "food"),
    "deference": ("safety data sheets", "local law", "licensed"),
}


def bench_html():
    pours = pd.DataFrame({"catalyst": [1.5]}, index=["P1"])
    return bench_sheet(study(), pours, resin=200)._repr_html_()


@pytest.mark.parametrize("topic", MUST_SAY)
@pytest.mark.parametrize("where", ["bench", "notebook", "page", "sheet"])
def test_every_topic_is_said_everywhere(topic, where):
    text = html.unescape(bench_html()) if where == "sheet" else safety_text(where)
    page = where == "page"
    for words in MUST_SAY[topic]:
        assert words in text.casefold() or (page and words == "medical help" and "doctor" in text), words


def test_topics_are_all_listed_above():
    assert {topic["name"] for topic in rules()["topics"]} | {"deference"} == set(MUST_SAY)
    sheet = html.unescape(bench_html())
    for topic in (*rules()["topics"], rules()["deference"]):
        assert topic["title"] in safety_text("page") and topic["title"] in sheet
        assert topic["bench"] in sheet and topic["bench"] in safety_text("notebook")


def test_safety_text_forms():
    assert "\n" not in safety_text("bench") and len(safety_text("bench").split()) < 300
    assert safety_text("notebook").startswith("- **")
    assert len(safety_text("page")) > 2 * len(safety_text("bench"))
    for kind, opens, closes in [("bench", "<p %s><span>", "</span></p>"), ("page", "<ul %s><li>", "</li></ul>"), ("notebook", "<ul %s><li>", "</li></ul>")]:
        shown = safety_text(kind, html=True)
        assert shown.startswith(opens % 'class="cautions"') and shown.endswith(closes)
    with pytest.raises(NoSuchName, match="bench, page, notebook"):
        safety_text("poster")


@pytest.mark.parametrize("unit, dose, words", [
    ("g/kg", 90, "Refused: Hardener 9 % is above 4 %"),  # 90 g in 1000 g is 9 in 100
    ("permille", 41, "Refused: Hardener 4.1 % is above 4 %"),
    ("mL", 2, "Warning: Hardener is given in mL, so the limits of peroxide were not checked"),
])
def test_a_share_of_peroxide_is_one_in_any_unit(unit, dose, words):
    study = study_from({"factors": {"hardener": {"kind": "number", "unit": unit, "low": 0, "high": 200, "usual": 15}}, "readings": {"gel_time": {}}})
    assert [line.startswith(words) for line in check_settings(study, {"hardener": dose}).lines()] == [True]


@pytest.mark.parametrize("value, asks", [(0.5, True), ("0.65", True), (3, False), (150, False)])
def test_a_humidity_written_as_a_share_is_asked_about(value, asks):
    with pytest.raises(UnitProblem) as found:
        study_from({"factors": {"humidity": {}}, "readings": {"gel_time": {}}}).factor("humidity").parse(value)
    assert f"humidity: {value} is outside 5 to 100 %" in str(found.value)
    assert (f"Is it a share, where per cent is meant? Then write {float(value):.0%}".replace("%", " %.") in str(found.value)) == asks


@pytest.mark.parametrize("name", ["catalyst", "thickness", "room_temperature", "peak_temperature"])
def test_a_warning_of_one_pour_has_two_colons_at_most_and_sentences_of_its_own(name):
    """As it stands before the reader: "Warning: P01: ..."."""
    high = {"catalyst": 3.0, "thickness": 45.0, "room_temperature": 14.0, "peak_temperature": 120.0}[name]
    found = check_peak(high) if name == "peak_temperature" else check_settings(None, {name: high})
    assert found.lines()
    for line in by_pour({"P01": found}).lines():
        assert line.count(": ") == 2 and not re.search(r"[.] [a-z]", line), line


@pytest.mark.parametrize("words, refused", [("polystyrene beads", True), ("vinyl chips", False), ("foam beads", False)])
def test_a_factor_is_taken_for_a_plastic_only_by_a_name_that_means_nothing_else(words, refused):
    """Names of five letters and fewer, such as vinyl and foam, are of records, gloves and bubbles too; common practice, no source."""
    assert bool(check_study(study(factors={"filler": {**OWN, "words": words}})).lines()) is refused


@pytest.mark.parametrize("judged, own_factor, expected", [
    ("refuse", True, "refuse"), ("refuse", False, "warn"), ("warn", True, "warn"), ("warn", False, ""), ("use", True, ""), ("use", False, ""),
])
def test_a_cup_is_judged_more_strictly_where_it_is_a_factor_than_where_a_note_names_it(judged, own_factor, expected):
    found = _cup(SimpleNamespace(verdict=judged, sentence=lambda: "Polystyrene (code 6) must not hold it."), own_factor)
    assert verdict(found) == expected and all("Use polypropylene (code 5)" in said for said in found.lines())


def test_two_values_beyond_one_limit_are_one_sentence():
    """38 mm is the deepest single layer of a catalyst label; 0.3 and 0.4 % of catalyst lie below 0.5 %, 0.8 % only below 1 %."""
    found = check_table(None, pd.DataFrame({"thickness": [40.0, 60.0, 10.0], "catalyst": [0.3, 0.4, 0.8]})).warnings
    assert [text.split(" mm. ")[0].split(" %. ")[0] for text in found] == [
        "Thickness 40 to 60 mm is above 38", "Catalyst 0.3 to 0.4 % is below 0.5", "Catalyst 0.8 % is below 1",
    ]
