"""Several readings of one specimen: means and spreads worked by hand, figures of the methods as published summaries say."""

import pytest

from testpour.bench.methods import method_for, several
from testpour.common.units import UnitProblem
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading

HARDNESS = catalogue()["readings"]["hardness"]


def test_figures_of_the_durometer_method():
    """5 readings, 3 mm allowed for type D, 12 mm from an edge: published summaries of ASTM D2240, standard not read."""
    method = method_for(HARDNESS)
    assert (method.readings, method.thickness, method.edge, method.drop) == (5, 3.0, 12.0, 0)
    assert "D2240" in method.standard and method.confidence


def test_mean_and_spread():
    """76, 79, 78, 77, 80: mean 78, squares of differences 4+1+0+1+4 = 10, over 4 = 2.5, root 1.58."""
    found = several(HARDNESS, "76 79; 78, 77 80")
    assert found.values == (76, 79, 78, 77, 80) and found.enough
    said = "5 readings: mean 78.0 Shore D, spread 1.6 (standard deviation), 76 to 80. Enough for the method."
    assert found.sentence() == said


def test_too_few_says_how_many_more():
    found = several(HARDNESS, "76,5 79")
    assert found.values == (76.5, 79.0) and not found.enough
    assert "The method needs 5: 3 more." in found.sentence()


@pytest.mark.parametrize(("text", "value"), [("0,4 µm", 0.4), ("0.4um", 0.4), ("400 nm", 0.4), ("0.0004 mm", 0.4), ("7", 7.0)])
def test_one_reading_may_stand_with_any_unit_of_its_kind(text, value):
    assert several(Reading("roughness", "um", 0, 50), text).values == (value,)


def test_one_reading_has_no_spread():
    assert "spread" not in several(HARDNESS, "76").sentence()


@pytest.mark.parametrize("thickness, edge, words", [
    ("2.5", "", ["Too thin: 2.5 mm"]), ("0.1 in", "", ["Too thin: 2.54 mm"]), ("3", "12", []), ("6", "11.9 mm", ["Too near an edge: 11.9 mm"]),
    (1.0, 1.0, ["Too thin", "Too near an edge"]), (None, float("nan"), []),
])
def test_flags(thickness, edge, words):
    flags = several(HARDNESS, "76", thickness, edge).flags
    assert len(flags) == len(words) and all(word in flag for word, flag in zip(words, flags, strict=True))


@pytest.mark.parametrize("text", ["76 Barcol", "76 Shore A", "76 hard", "120"])
def test_another_scale_or_what_is_no_number_is_refused(text):
    with pytest.raises(UnitProblem):
        several(HARDNESS, text)


def test_a_length_that_cannot_be_is_refused():
    with pytest.raises(UnitProblem, match="thickness"):
        several(HARDNESS, "76", "0 mm")


def test_highest_and_lowest_are_left_out_where_the_trade_does_so():
    """Fabricators' practice for the impressor: 10 readings, highest and lowest dropped; (1..10 without 1 and 10) mean 5.5."""
    from dataclasses import replace

    barcol = replace(HARDNESS, unit="Barcol")
    assert method_for(barcol).drop == 1
    said = several(barcol, [40.0, 1.0, *range(31, 39)]).sentence()
    assert "mean 34.5 Barcol, highest and lowest left out" in said  # 31 to 38
    assert "mean 20.5" in several(barcol, [40.0, 1.0]).sentence(), "too few to drop any"


def test_a_scale_without_a_method_is_just_averaged():
    from dataclasses import replace

    found = several(replace(HARDNESS, unit="points"), "3 5")
    assert found.method is None and found.enough
    assert found.sentence() == "2 readings: mean 4.0 points, spread 1.4 (standard deviation), 3 to 5."
