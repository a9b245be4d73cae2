"""Two settings side by side: against arithmetic on the fits' own power laws, and every branch of the words."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import testpour.models.compare as compare_module
from testpour.common.problems import NoSuchName
from testpour.models.chance import chance
from testpour.models.change import Change
from testpour.models.compare import compare
from testpour.models.fits import fit_castings
from testpour.models.settings import beyond, settings_table
from testpour.models.terms import warmth
from testpour.study.study import Aim, StudyProblems


@pytest.fixture(scope="module")
def fits(plain_fits):
    return plain_fits


def test_a_dose_divides_gel_time_by_its_power(fits):
    """From 1 to 2 % the log of gel time moves by ln 2 times the exponent and by (ln(2/1.5)**2 - ln(1/1.5)**2) times the bend, each draw."""
    row = compare(fits, {"catalyst": 1}, {"catalyst": 2}).table.loc["gel time"]
    fit = fits["gel_time"]
    names = [t.name for t in fit.believed.terms]
    exponent, bend = fit.posterior.coefficients[:, [names.index("catalyst"), names.index("catalyst_bend")]].T
    moved = np.log(2) * exponent + (np.log(2 / 1.5) ** 2 - np.log(1 / 1.5) ** 2) * bend
    expected = 100 * (np.exp(np.quantile(moved, [0.05, 0.5, 0.95])) - 1)
    np.testing.assert_allclose(row[["low", "difference", "high"]].astype(float), expected, rtol=1e-7)
    assert (row["way"], row["sure"], row["unit"]) == ("shorter", 1.0, "%")
    assert row["that"] / row["this"] == pytest.approx(np.exp(np.median(moved)), rel=0.01)


def test_a_reading_without_a_unit_leaves_no_gap(fits):
    found = compare(fits, {"catalyst": "1 %"}, {"catalyst": "2 %"})
    row = {"way": "higher", "difference": 1.5, "low": 0.5, "high": 2.5, "unit": ""}
    assert found._in_words("score", row) == "score higher by about 1.5 (90 % interval 0.5 to 2.5)"


@pytest.mark.parametrize("difference, low, high, says", [
    (3.5, 4e-7, 75.2, "by about 4 in 100 (90 % interval under 1 to 75)"), (-0.02, -1.1, -4e-5, "by under 1 in 100 (90 % interval under 1 to 1)"),
])
def test_chances_are_compared_in_whole_castings(fits, difference, low, high, says):
    row = {"way": "likelier", "difference": difference, "low": low, "high": high, "unit": "in 100"}
    assert compare(fits, {}, {"catalyst": 2})._in_words("tack 'dry' or better", row) == f"tack 'dry' or better likelier {says}"


@pytest.mark.parametrize("unit, low, high, counts", [
    ("in 100", -0.4, -0.1, False), ("in 100", -0.2, 0.49, False), ("in 100", -3.0, -0.1, True), ("%", -0.4, -0.1, True),
])
def test_a_difference_of_under_half_a_casting_in_a_hundred_is_none_however_sure(fits, unit, low, high, counts):
    found = compare(fits, {}, {"catalyst": 2})
    row = {"difference": (low + high) / 2, "low": low, "high": high, "unit": unit, "way": "rarer", "sure": 1.0, "beyond": ""}
    said = replace(found, table=pd.DataFrame([row], index=["wet"])).sentence()
    assert ("No difference that counts: wet." in said) != counts and ("wet rarer by" in said) == counts


def test_turned_round_the_answer_turns_round(fits):
    there, back = (compare(fits, *pair) for pair in (("P01", "P06"), ("P06", "P01")))
    assert (1 + there.table.loc["gel time", "difference"] / 100) * (1 + back.table.loc["gel time", "difference"] / 100) == pytest.approx(1, abs=0.002)
    assert back.table.loc["hardness", "difference"] == pytest.approx(-there.table.loc["hardness", "difference"])
    np.testing.assert_allclose(there.table["sure"].astype(float), back.table["sure"].astype(float))
    np.testing.assert_allclose(there.chances, back.chances[:, ::-1])


def test_pours_keep_their_room_unless_one_is_given(fits):
    """P01 was poured at 17 °C, P07 of the same settings at 22 °C: the room is the only difference."""
    found = compare(fits, "P01", "P07")
    assert found.differ == ["room temperature 22 °C instead of 17 °C"]
    fit = fits["gel_time"]
    energy = fit.posterior.coefficients[:, [t.name for t in fit.believed.terms].index("warmth")]
    expected = 100 * np.expm1(np.median(energy) * (warmth(22.0) - warmth(17.0)))
    assert found.table.loc["gel time", "difference"] == pytest.approx(expected, rel=1e-6)
    same = compare(fits, "P01", "P07", room=20)
    assert same.sentence() == "P01 and P07 have the same settings: only scatter can make them differ."
    assert (same.table["sure"] == 0.5).all()


def test_chances_are_those_of_the_two_settings(fits):
    found = compare(fits, {"catalyst": 1.2}, {"catalyst": 2}, room="18 degC")
    np.testing.assert_allclose(found.chances, chance(fits, [{"catalyst": 1.2}, {"catalyst": 2}], room=18).draws)


def test_an_aim_between_two_grades_is_compared_by_the_chance_of_lying_between_them(fits):
    aimed = replace(fits, study=(study := replace(fits.study, aims=(Aim("opacity", 1.0, 2.0, 24.0),))),
                    models={name: replace(fit, study=study) for name, fit in fits.items()})
    row = compare(aimed, {"pigment": 0}, {"pigment": 4}).table.loc["opacity 'tinted' or 'milky'"]
    whole = compare(aimed, {"pigment": 0}, {"pigment": 4}).chances  # the only aim: of a good casting, with the scatter of days
    assert row["unit"] == "in 100" and row["way"] == ("likelier" if np.diff(whole.mean(axis=0)) > 0 else "rarer")


def test_what_is_not_moved_not_told_and_beyond_is_said(fits):
    said = compare(fits, {}, {"cover": "no"}, room=12).sentence()
    assert "Not moved by these settings: gel time, time to peak, opacity and defects." in said
    assert "Beyond what was poured: room temperature 12 °C (poured 17 to 22 °C)." in said
    warmed = fits["gel_time"].rows.assign(room_temperature=lambda rows: rows["room_temperature"] + 7 / 9)  # 64 °F is 17.7778 °C
    (text,) = beyond(fits.study, warmed, fits["gel_time"].believed.factors, settings_table(fits.study, room=12))
    assert text == "room temperature 12 °C (poured 17.8 to 22.8 °C)"
    tiny = compare(fits, {"thickness": 10}, {"thickness": 10.5}).sentence()
    assert "Cannot tell yet" in tiny or "no reading differs for sure yet" in tiny


def test_the_age_is_the_aims_or_the_one_asked_for(fits):
    at_aim, late = (compare(fits, {}, {"catalyst": 2}, age=age).table for age in (None, 168))
    assert late.loc["hardness", "this"] > at_aim.loc["hardness", "this"]
    assert at_aim.loc["hardness", "this"] == compare(fits, {}, {"catalyst": 2}, age="24 h").table.loc["hardness", "this"]


def test_an_empty_log_compares_beliefs_and_says_so(practice_castings):
    none = replace(practice_castings, pours=practice_castings.pours[:0], readings=practice_castings.readings[:0])
    said = compare(fit_castings(none, remainder=False), {"catalyst": 1}, {"catalyst": 2}).sentence()
    assert "gel time shorter by about" in said and "Beyond what was poured" not in said and "Never read yet: gel time, " in said


def test_after_one_pour_each_setting_beyond_it_is_said_once(practice_castings):
    """P01: 1 % catalyst, 0.5 % pigment, 6 mm, 17 °C; its hardness was not read."""
    one = replace(practice_castings, pours=practice_castings.pours[:1])
    read = practice_castings.readings
    fits = fit_castings(replace(one, readings=read[(read["pour"] == "P01") & (read["reading"] != "hardness")]), remainder=False)
    said = compare(fits, {"catalyst": 2, "thickness": 6}, {"catalyst": 1, "pigment": 2, "thickness": 6}, room=17).sentence()
    outside = "catalyst 2 % (poured 1 %); pigment 2 % (poured 0.5 %)"
    assert f" Beyond what was poured: {outside}. Never read yet: hardness." in said and "nothing poured" not in said
    assert said.count("pigment 2 % (poured") == said.count("catalyst 2 % (poured") == 1


def test_refusals_name_what_there_is(fits):
    with pytest.raises(NoSuchName, match="No pour 'P99' in the log; it has P01, P02, .* and P12."):
        compare(fits, "P01", "P99")
    with pytest.raises(StudyProblems, match="colour is not a factor"):
        compare(fits, {"colour": "red"}, {})


def test_comparing_edits_nothing(fits, practice_castings):
    before = practice_castings.pours.copy()
    compare(fits, "P01", "P02", room=25)
    assert before.equals(practice_castings.pours)


@pytest.mark.parametrize("values, way, sure", [
    ([-0.3, 0.1, 0.2, 0.0], "higher", 0.625), ([0.3, -0.1, -0.2, -0.4], "lower", 0.75), ([-0.1, 0.1, -0.2, 0.2], "higher", 0.5),
])
def test_how_sure_a_difference_is_by_hand(values, way, sure, fits, monkeypatch):
    """Draws of a difference of hardness, one that is none half for either way; the middle and the ends are numpy's quantiles."""
    averages = np.array([[70.0, 71.0], [72.0, 75.0], [74.0, 76.0], [79.0, 90.0]])
    monkeypatch.setattr(compare_module, "change", lambda fit, table: Change(np.array(values), False, averages))
    table = settings_table(fits.study, [{"catalyst": 1}, {"catalyst": 2}])
    row = compare_module._comparison_row(fits["hardness"], table.drop(columns="age"), None)
    assert (row["way"], row["sure"], row["this"], row["that"], row["unit"]) == (way, sure, 73.0, 75.5, "Shore D")
    assert [row[name] for name in ("low", "difference", "high")] == pytest.approx(np.quantile(values, [0.05, 0.5, 0.95]))
