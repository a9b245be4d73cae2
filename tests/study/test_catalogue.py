"""Every declaration of the trade's catalogue is complete, and a declaration that cannot work is refused."""

import math
import string

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from testpour.common.units import UnitProblem, to_unit
from testpour.study.catalogue import catalogue, declare
from testpour.study.columns import Column, ColumnProblem, Factor, Reading

FACTORS, READINGS = catalogue()["factors"], catalogue()["readings"]
EVERY = [*FACTORS.values(), *READINGS.values()]
NUMBERS = [c for c in EVERY if getattr(c, "kind", "number") == "number"]
GRADED = [r for r in READINGS.values() if r.grades]


def names(columns):
    return [c.name for c in columns]


def test_the_catalogue_holds_the_trades_factors_and_readings():
    assert set(FACTORS) == {
        "catalyst", "pigment", "thickness", "cover", "post_cure_temperature", "post_cure_time",
        "room_temperature", "humidity", "resin_lot", "catalyst_lot",
    }
    assert set(READINGS) == {
        "gel_time", "time_to_peak", "demould_time", "peak_temperature", "tack", "hardness", "opacity", "defects",
    }


def test_a_pour_that_stayed_in_the_coldest_room_can_be_logged_without_a_post_cure():
    """Room temperature means no post-cure, as the setting itself says."""
    assert "room temperature means no post-cure" in FACTORS["post_cure_temperature"].how
    assert FACTORS["post_cure_temperature"].low <= FACTORS["room_temperature"].low


@pytest.mark.parametrize("column", EVERY, ids=names(EVERY))
def test_every_entry_says_how_it_is_measured_and_after_what(column):
    assert len(column.how.split()) >= 5
    assert column.source or column.standard
    assert column.words and "_" not in column.words


@pytest.mark.parametrize("column", NUMBERS, ids=names(NUMBERS))
def test_every_number_has_a_unit_that_is_known_and_a_range(column):
    assert column.unit and -math.inf < column.low < column.high < math.inf
    scale = column.unit.split()[0]
    if scale not in ("Shore", "grade", "%"):
        assert math.isfinite(to_unit(f"1 {column.unit}", {"degC": "kelvin", "min": "s", "h": "s", "mm": "m"}[column.unit]))


@pytest.mark.parametrize("factor", FACTORS.values(), ids=FACTORS)
def test_every_factor_has_a_role_and_a_usual_value_inside_its_range(factor):
    assert factor.role in ("chosen", "met", "carried")
    if factor.kind == "text":
        assert factor.role == "carried"
    else:
        assert factor.low <= factor.usual <= factor.high
        assert not factor.span or factor.low <= factor.span[0] < factor.span[1] <= factor.high
    if factor.kind == "number":
        assert factor.step > 0 and factor.rounded(factor.usual) == pytest.approx(factor.usual)


@pytest.mark.parametrize("reading", READINGS.values(), ids=READINGS)
def test_every_reading_has_a_scale_that_fits_it(reading):
    assert reading.scale in ("log", "plain", "share", "rise", "grades")
    assert reading.better in ("lower", "higher", "window")
    assert (reading.scale == "grades") == bool(reading.grades)
    assert reading.scale != "log" or reading.low > 0
    assert all(age > 0 for age in reading.ages)


@pytest.mark.parametrize("reading", GRADED, ids=names(GRADED))
def test_grades_have_a_word_each(reading):
    assert (reading.low, reading.high) == (0, len(reading.grades) - 1)
    assert reading.show(reading.high) == f"grade {reading.high:g} ({reading.grades[-1]})"


@pytest.mark.parametrize("column", NUMBERS, ids=names(NUMBERS))
def test_the_range_is_kept_at_both_ends(column):
    assert column.parse(column.low) == column.low
    assert column.parse(f"{column.high} {column.unit}") == column.high
    for beyond in (np.nextafter(column.low, -math.inf), np.nextafter(column.high, math.inf), math.nan):
        with pytest.raises(UnitProblem, match="is outside .* Check the number and its unit"):
            column.parse(float(beyond))


@pytest.mark.parametrize("text, value", [("66 degF", 18.8888888889), ("20,5 °C", 20.5), ("293.15 K", 20.0), ("18", 18.0)])
def test_a_room_in_any_scale(text, value):
    assert FACTORS["room_temperature"].parse(text) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize("word, value", [("yes", 1), ("X", 1), (" Covered ", 1), (1.0, 1), (True, 1), ("no", 0),
                                         ("open", 0), (0, 0), (False, 0)])
def test_yes_and_no(word, value):
    assert FACTORS["cover"].parse(word) == value
    assert FACTORS["cover"].show(value) == ("yes" if value else "no")


@pytest.mark.parametrize("word", ["maybe", "", "2", "0.5", "yes and no", None])
def test_neither_yes_nor_no(word):
    with pytest.raises(UnitProblem, match="neither yes nor no"):
        FACTORS["cover"].parse(word)


def test_none_is_no_temperature():
    assert Factor("filler", "%", 0, 40).parse("none") == 0
    with pytest.raises(UnitProblem, match="mould: 'none' is not a number. Write one from 0 to 80 °C, or leave it empty"):
        Factor("mould", "degC", 0, 80).parse("none")


def test_a_lot_is_text_whatever_it_looks_like():
    assert FACTORS["resin_lot"].parse(" 0012 ") == "0012"
    assert FACTORS["resin_lot"].show("0012") == "0012"


@pytest.mark.parametrize("step, value, expected", [(0.1, 1.4449, 1.4), (5.0, 52.6, 55.0), (0.5, 19.76, 20.0), (0.0, 1.23, 1.23)])
def test_rounded_to_the_finest_step_worth_setting(step, value, expected):
    assert Factor("x", step=step).rounded(value) == pytest.approx(expected)


@pytest.mark.parametrize("value, expected", [(6.35, 6.35), (6.3500000000000005, 6.35), (6.45, 6.35), (6.9, 7.0), (12.7, 12.7), (12.6, 12.7),
                                             (12.4, 12.0), (9.525, 9.525), (9.6, 10.0), (20.2, 20.0)])
def test_the_ends_of_a_span_and_what_is_given_are_not_rounded(value, expected):
    """From a quarter to half an inch, 6.35 to 12.7 mm, with a mould of three eighths, 9.525 mm; beyond the span the step alone counts."""
    factor = Factor("depth", "mm", 1, 60, span=(6.35, 12.7), step=1.0)
    assert factor.rounded(value, given=[9.525]) == expected
    assert list(factor.rounded(np.array([value, 8.4]), [9.525])) == [expected, 8.0]


def test_words_label_and_range():
    assert Column("stirring_time", "min", 0, 10).words == "stirring time"
    assert READINGS["peak_temperature"].label == "peak temperature (°C)"
    assert Column("count").label == "count"
    assert FACTORS["catalyst"].range_words == "0 to 10 %"
    with pytest.raises(ColumnProblem, match="low 5 is above high 1. Swap them"):
        Column("x", "", 5, 1)


def test_another_scale_is_not_read_as_the_catalogue_says():
    """A Barcol impressor has no type D; ISO 868 is about durometers."""
    barcol = declare(Reading, "hardness", {"unit": "Barcol"}, READINGS["hardness"])
    assert (barcol.how, barcol.standard) == ("", "")
    assert declare(Reading, "hardness", {"unit": "Barcol", "how": "ten places"}, READINGS["hardness"]).how == "ten places"
    assert declare(Reading, "hardness", {"high": 90}, READINGS["hardness"]).how == READINGS["hardness"].how


def test_a_declaration_on_top_of_the_catalogue_changes_only_what_it_says():
    factor = declare(Factor, "catalyst", {"to": "2 %", "usual": "1.2 %"}, FACTORS["catalyst"])
    assert factor.span == (1.0, 2.0) and factor.usual == 1.2
    assert factor.how == FACTORS["catalyst"].how and FACTORS["catalyst"].span == (1.0, 2.5)


def test_a_declaration_in_other_units():
    factor = declare(Factor, "thickness", {"from": "1/4 in", "to": "1/2 in"}, FACTORS["thickness"])
    assert factor.span == pytest.approx((6.35, 12.7))
    reading = declare(Reading, "hardness", {"ages": ["1 day", "1 week"]}, READINGS["hardness"])
    assert reading.ages == (24.0, 168.0)


@pytest.mark.parametrize(
    "entry, kind, words",
    [
        ({"colour": 1}, ColumnProblem, "colour is not recognised; allowed are from, to,"),
        ({"name": "other"}, ColumnProblem, "name is not recognised"),
        ({"from": 1}, ColumnProblem, "give both from and to"),
        ({"span": [1]}, ColumnProblem, "give both from and to"),
        ({"span": 1}, ColumnProblem, r"x: span = 1 must be a list in \[ \]"),
        ({"words": 3}, ColumnProblem, "x: words = 3 must be text in quotes"),
        ({"by_session": "yes"}, ColumnProblem, "x: by_session = 'yes' must be true or false"),
        (3, ColumnProblem, r"x: 3 says too little. Write x = \{\}"),
        ({"low": [1]}, UnitProblem, r"x, low: \[1\] is not a number"),
        ({"low": 3, "high": 1}, ColumnProblem, "low 3 is above high 1"),
        ({"low": "warm"}, UnitProblem, "x, low: 'warm' is not a number"),
        ({"unit": "mm", "high": "3 g"}, UnitProblem, "x, high: '3 g' does not measure what mm measures"),
        ({"unit": "mm", "from": "1 mm", "to": "1,250"}, UnitProblem, "x, to: '1,250' may be"),
    ],
)
def test_declarations_that_cannot_work(entry, kind, words):
    with pytest.raises(kind, match=words):
        declare(Factor, "x", entry)


@given(st.dictionaries(st.sampled_from(["unit", "low", "high", "usual", "step", "from", "to", "words", "how", "span", "kind", "by_session"]),
                       st.one_of(st.text(string.printable, max_size=8), st.integers(-5, 5), st.floats(), st.booleans(),
                                 st.lists(st.integers(0, 3), max_size=3)), max_size=4))
def test_any_table_gives_a_factor_or_a_refusal(entry):
    try:
        assert isinstance(declare(Factor, "x", entry), Factor)
    except (ColumnProblem, UnitProblem):
        pass


def test_a_unit_of_the_trade_stays_and_a_hardness_scale_may_change():
    with pytest.raises(ColumnProblem, match="thickness is kept in mm.*a value may be written with a unit of its own, such as \"1 in\""):
        declare(Factor, "thickness", {"unit": "in"}, catalogue()["factors"]["thickness"])
    other = declare(Reading, "hardness", {"unit": "Barcol 934-1"}, catalogue()["readings"]["hardness"])
    assert other.unit == "Barcol 934-1"
