"""Headers as people write them; the expected column of each is plain reading of the words."""

from dataclasses import replace

import pytest

from testpour.logbook.headers import HeaderProblem, read_head
from testpour.study.columns import Factor


@pytest.mark.parametrize(
    ("text", "name", "unit", "age", "specimen"),
    [
        ("Catalyst (%)", "catalyst", "%", None, ""),
        ("cat %", "catalyst", "%", None, ""),
        ("Thickness in mm", "thickness", "mm", None, ""),
        ("THICKNESS [in]", "thickness", "in", None, ""),
        ("Room (degF)", "room_temperature", "degF", None, ""),
        ("room temp", "room_temperature", "", None, ""),
        ("post cure temp", "post_cure_temperature", "", None, ""),
        ("Post-cure (h)", "post_cure_time", "h", None, ""),
        ("Room temp. (°C)", "room_temperature", "°C", None, ""),
        ("Peak temp., °C", "peak_temperature", "°c", None, ""),
        ("Gel time, min", "gel_time", "min", None, ""),
        ("Cat. %", "catalyst", "%", None, ""),
        ("Hardn. 24 h.", "hardness", "", 24.0, ""),
        ("No.", "pour", "", None, ""),
        ("covered?", "cover", "", None, ""),
        ("MEKP %", "catalyst", "%", None, ""),
        ("hardener", "catalyst", "", None, ""),
        ("Kat.", "catalyst", "", None, ""),
        ("peroxide wt%", "catalyst", "wt %", None, ""),
        ("catalyst g per 100 g", "catalyst", "g per 100 g", None, ""),
        ("pigment % by weight", "pigment", "% by weight", None, ""),
        ("Sticky?", "tack", "", None, ""),
        ("Exotherm temp.", "peak_temperature", "", None, ""),
        ("MEKP batch", "catalyst_lot", "", None, ""),
        ("gelled at", "gel_time", "", None, ""),
        ("Barcol 24 h", "hardness", "Barcol", 24.0, ""),
        ("MEKP lot", "catalyst_lot", "", None, ""),
        ("Hardener type", None, "", None, ""),
        ("Colour paste (%)", "pigment", "%", None, ""),
        ("Depth (in)", "thickness", "in", None, ""),
        ("Ambient temp. (°F)", "room_temperature", "°F", None, ""),
        ("Shore D 24 h", "hardness", "Shore D", 24.0, ""),
        ("Shore A at 24 h", "hardness", "Shore A", 24.0, ""),
        ("Date poured", "made_at", "", None, ""),
        ("Poured on", "made_at", "", None, ""),
        ("Date of casting", "made_at", "", None, ""),
        ("Pigment load (%)", "pigment", "%", None, ""),
        ("pour no", "pour", "", None, ""),
        ("Pour No.", "pour", "", None, ""),
        ("#", "pour", "", None, ""),
        ("cast no", "pour", "", None, ""),
        ("Test #", "pour", "", None, ""),
        ("No. of pours", None, "", None, ""),
        ("Day 1", None, "", None, ""),
        ("Gel (min)", "gel_time", "min", None, ""),
        ("hardness 24h", "hardness", "", 24.0, ""),
        ("Hardness at 7 days (Shore D)", "hardness", "Shore D", 168.0, ""),
        ("Tack (24 h)", "tack", "", 24.0, ""),
        ("hardness 3 at 24 h", "hardness", "", 24.0, "3"),
        ("hardness #2", "hardness", "", None, "2"),
        ("hardness, specimen left at 4 h (Shore D)", "hardness", "Shore D", 4.0, "left"),
        ("hardness 2", "hardness", "", None, "2"),
        ("Hardness (1 week)", "hardness", "", 168.0, ""),
        ("Tack (grade)", "tack", "", None, ""),
        ("Post-cure time (days)", "post_cure_time", "days", None, ""),
        ("Tack #48", "tack", "", None, "48"),
        ("hardness 5 at 24 h", "hardness", "", 24.0, "5"),
        ("Tack (0-3)", "tack", "", None, ""),
        ("Tack (0 to 3) at 24 h", "tack", "", 24.0, ""),
        ("Resin (g)", None, "", None, ""),
        ("Resin g", None, "", None, ""),
        ("Resin oz", None, "", None, ""),
        ("Resin (drum)", "resin_lot", "", None, ""),
        ("mood", None, "", None, ""),
        ("", None, "", None, ""),
    ],
)
def test_what_a_header_means(study, text, name, unit, age, specimen):
    head = read_head(study, text)
    found = (head.name, head.unit, head.age, head.specimen) if head else (None, "", None, "")
    assert found == (name, unit, age, specimen)


@pytest.mark.parametrize("part", ["note", "by"])
def test_a_reading_may_have_a_column_for_its_note_and_initials(study, part):
    head = read_head(study, f"gel time, {part}")
    assert (head.kind, head.name, head.part) == ("reading", "gel_time", part)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("post cure", "may be post-cure temperature or post-cure time"),
        ("thicknes at", "looks like thickness"),
        ("pigmnet", "looks like pigment"),
        ("Tack 48", "48 may be an age or a place. Write tack at 48 h or 48 d for the age, or tack #48 for the place"),
        ("Tack 1", "1 may be an age or a place. Write tack at 1 h or 1 d for the age, or tack #1 for the place"),
        ("Tack (one week)", r"\(one week\) is not the scale of tack. Write its age in figures, as in tack at 24 h, and leave out other words"),
        ("Tack (next morning)", "is not the scale of tack"),
        ("Tack (after a month)", "is not the scale of tack"),
        ("Defects (before sanding)", "is not the scale of defects"),
        ("Room temp after 24 h (degC)",
         r"gives an age \(24 h\), but room temperature has none. "
         + "Rename the column if it is something else, or write room temperature alone and the time in a column"),
        ("Post-cure 4 h (degC)", r"gives an age \(4 h\), but post-cure temperature has none"),
        ("Humidity (2 d)", "gives an age"),
        ("Peak at 24 h", r"gives an age \(24 h\), but peak temperature has none"),
        ("Hardness (24)", "24 may be an age or a place"),
        ("Thickness (1/8 in)", r"\(1/8 in\) begins with a number, so it is not a unit of thickness. Write a unit alone, such as \(mm\)"),
        ("Hardness 7 d old", "looks like hardness. Write it so and with its age, as in hardness at 24 h, or rename the column"),
        ("Hardness day 7", r"may give an age \(day 7\). Write it in figures, counted from mixing, as in hardness at 7 d, or rename the column if it"),
        ("Hardness (week 2)", "may give an age .week 2.. Write it in figures, counted from mixing, as in hardness at 14 d,"),
        ("Sticky after a week", "may give an age .week.. Write it in figures, counted from mixing, as in tack at 7 d,"),
        ("Tack one week later", "may give an age .week.. Write it in figures, counted from mixing, as in tack at 7 d,"),
        ("Gel time 2 (min)", "has a number, but a pour has only one gel time. Write gel time alone, and another casting in a row of its own"),
        ("Peak temp #1 (°C)", "has a number, but a pour has only one peak temperature"),
        ("Tack (1-5)", r"Write \(0-3\), and grades as 0 dry, 1 slightly tacky, 2 tacky, 3 wet"),
    ],
)
def test_a_header_that_looks_like_data_is_never_passed_over(study, text, words):
    with pytest.raises(HeaderProblem, match=words):
        read_head(study, text)


@pytest.mark.parametrize("text", [
    "Catalyst g", "Catalyst ml", "Catalyst in g", "Catalyst (g)", "cat. oz", "Catalyst drops/oz", "Catalyst in pot", "Catalyst [fl oz]",
])
def test_an_amount_is_no_percentage_and_no_lot(study, text):
    """2.25 g in 150 g stored as 2.25 % would be half as much again as was poured: 100 x 2.25 / 150 is 1.5."""
    with pytest.raises(HeaderProblem, match=r"not a percentage. Write per cent of the resin by weight, 100 x catalyst / resin, in a column cat") as refused:
        read_head(study, text)
    assert "lot" not in str(refused.value)
    assert ("For mL, multiply by the density" in str(refused.value)) is any(unit in text for unit in ("ml", "drops", "fl oz"))


def test_an_age_in_the_name_of_a_factor_is_no_age(study):
    factors = (*study.factors, Factor(name="soak_2_h", words="soak 2 h", unit="degC", low=0, high=100))
    assert read_head(replace(study, factors=factors), "Soak 2 h (degC)").name == "soak_2_h"


def test_a_setting_of_the_study_called_hardener_is_that_setting(study):
    own = Factor("hardener", unit="%", low=0, high=5)
    assert read_head(replace(study, factors=(*study.factors, own)), "Hardener (%)").name == "hardener"


def test_grams_are_refused_of_any_setting_that_is_a_share_of_the_resin(study):
    own = Factor("silica", unit="phr", low=0, high=10)
    with pytest.raises(HeaderProblem, match="gives an amount"):
        read_head(replace(study, factors=(*study.factors, own)), "Silica (g)")
    met = Factor("silica", unit="phr", low=0, high=10, role="met")
    assert read_head(replace(study, factors=(*study.factors, met)), "Silica (g)").unit == "g"
