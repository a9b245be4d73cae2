"""Quantities as people write them: exact conversions, refusals in words, and nothing that breaks the door."""

import math
from decimal import Decimal

import numpy as np
import pandas as pd
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testpour.common.units import UnitProblem, beside_field, show, to_number, to_unit
from testpour.panels.numbers import with_fahrenheit

# Exact by definition: inch 25.4 mm, avoirdupois pound 453.59237 g and ounce a sixteenth of it (international
# yard and pound agreement, 1959); US liquid gallon 231 cubic inches, a fluid ounce a 128th of it (NIST Handbook
# 44, Appendix C); degree Fahrenheit 5/9 K from 32 at the ice point; litre a cubic decimetre (SI brochure).
EXACT = [
    ("68 degF", "degC", 20.0), ("68 °F", "degC", 20.0), ("68F", "degC", 20.0), ("212 deg F", "degC", 100.0),
    ("-40 degF", "degC", -40.0), ("\u221240 °F", "degC", -40.0), ("293.15 K", "degC", 20.0), ("0 °C", "degF", 32.0),
    ("1/4 in", "mm", 6.35), ('1/4"', "mm", 6.35), ("1 1/2 inches", "mm", 38.1), ("1-1/2 in", "mm", 38.1),
    ("3/8 ″", "mm", 9.525), ("1.2 cm", "mm", 12.0), ("0,5 in", "mm", 12.7), (".5 in", "mm", 12.7),
    ("1½ %", "%", 1.5), ("¼ in", "mm", 6.35), ("1 ½″", "mm", 38.1), ("⅜ in", "mm", 9.525), ("-½ in", "mm", -12.7),
    ("1 oz", "g", 28.349523125), ("2 lb", "g", 907.18474), ("1 1/2 oz", "g", 42.5242846875), ("0.5 kg", "g", 500.0),
    ("1 fl oz", "mL", 128**-1 * 231 * 2.54**3), ("1 fl. oz", "mL", 29.5735295625), ("3 cc", "mL", 3.0),
    ("2 cm³", "mL", 2.0), ("0.25 L", "mL", 250.0),
    ("2 h", "min", 120.0), ("90 sec", "min", 1.5), ("1 day", "h", 24.0), ("7 days", "h", 168.0), ("30 mins", "h", 0.5),
    ("1.1 kg/L", "g/mL", 1.1), ("1.1 g/cm3", "g/mL", 1.1), ("25 drops/ml", "drops/mL", 25.0),
    ("2 %", "%", 2.0), ("2 percent", "%", 2.0), ("2 phr", "%", 2.0), ("75 Shore D", "Shore D", 75.0),
    ("25 min.", "min", 25.0), ("0.5 in.", "mm", 12.7), ("1.5 wt%", "%", 1.5), ("1.5 % w/w", "%", 1.5),
    ("75 shore d", "Shore D", 75.0), ("1/2 h", "min", 30.0), ("3/4", "h", 0.75), ("2 1/2 pounds", "g", 1133.980925), ("63/64", "inch", 0.984375),
]

# What the words of to_number promise about decimal marks.
NUMBERS = [
    ("1.5", None, 1.5), ("1,5", None, 1.5), ("0,250", None, 0.25), ("1.250", None, 1.25), ("1,2345", None, 1.2345),
    ("1,250.5", None, 1250.5), ("1.250,5", None, 1250.5), ("1,250", ",", 1.25), ("1,250", ".", 1250.0),
    ("1.250", ",", 1250.0), ("1.250,75", ",", 1250.75), ("1250", None, 1250.0), ("2e2", None, 200.0),
    ("2E-1", None, 0.2), ("+3", None, 3.0), ("\u22123", None, -3.0), ("- 3", None, -3.0), ("-0", None, 0.0),
]

REFUSED = [
    ("1,250 g", "g", "may be 1250 or 1.250"),
    ("1.2.3", "%", "more than one decimal mark"),
    ("1,2,3", "%", "more than one decimal mark"),
    ("three", "%", "not a number"),
    ("", "%", "not a number"),
    ("about 3 g", "g", "not a number"),
    ("20/25 min", "min", "may be 20 to 25, 20 of 25 or the fraction 0.8. Write the one that is meant"),
    ("1:50", "%", "'1:50' is not one number. Write it like 1.5 %"),
    ("1:30", "h", "Write 90 min or 1.5 h if it is 1 h 30 min"),
    ("1.5 vol%", "%", "does not turn into %"),
    ("2/100", "%", "may be 2 to 100, 2 of 100 or the fraction 0.02"),
    ("1/2", "min", "may be 1 to 2"),
    ("3/3", "grade", "may be 3 to 3"),
    ("78/80", "Shore D", "may be 78 to 80"),
    ("2/3 h", "h", "may be 2 to 3"),
    ("2/4 in", "mm", "may be 2 to 4"),
    ("5/4 in", "mm", "may be 5 to 4"),
    ("1/0 in", "mm", "divides by nothing"),
    ("1 1/0 in", "mm", "divides by nothing"),
    ("20 g", "mL", "does not measure what mL measures"),
    ("20 min", "degC", "does not measure what °C measures"),
    ("3 drops", "mL", "does not measure what mL measures"),
    ("3 dollops", "g", "unit that is not known"),
    ("3 g to 4 g", "g", "unit that is not known"),
    ("2 g", "%", "does not turn into %. Give it in %, as 1.5 % for 2.25 g in 150 g"),
    ("2 ml", "%", "as 1.5 % for 2.25 g in 150 g. For mL, multiply by the density in g/mL to get grams"),
    ("1:100", "%", "'1:100' is not one number. Write it like 1.5 %, or 1 % if it is 1 to 100"),
    ("2 %", "g", "does not turn into g"),
    ("2 mm", "", "is more than a number. Write the number alone"),
    ("75 Shore A", "Shore D", "no scale converts to another"),
    ("40 Barcol", "Shore D", "Read it in Shore D, or choose Barcol in the notebook 0-start-here where all are read in that."),
    ("75 %", "Shore D", "no scale converts to another. Read it in Shore D."),
    ("75 Shore D", "Barcol", "no scale converts to another"),
    ("2 g", "grade", "'2 g' has 'g' after the grade. Write the grade alone, and anything else as a note"),
    ("1 crack", "grade", "'1 crack' has 'crack' after the grade"),
    ("1 2", "grade", "'1 2' has more than one number. Write a grade alone"),
    ("75 / 76 / 77 Shore D", "Shore D", "has more than one number. In a sheet, write several readings as 75; 76; 77, and elsewhere one at a time"),
]

# Text that would have Pint or Python work for hours, or break in places nobody foresaw.
HOSTILE = [
    "g**99999", "1 g**99999", "1 g**g**g", "1 (((((((g", "1 9**9**9**9", "1 m**1e999", "1e9999", "1e9999 g", "-1e9999 g",
    "1e-9999 g", "9" * 400, "9" * 5000, "9" * 5000 + "/3 in", "1/" + "9" * 5000, "1/" + "9" * 400, "9" * 400 + "/2 g",
    "1 " + "g" * 10_000, "1 " + "(" * 10_000, " " * 50_000 + "x", "1" + " " * 50_000 + "x\n", "1 g\x00", "\x00",
    "1 g\n2 g", "1,1" * 3_000, "-" * 10_000, "1 __import__('os')", "1 {0}", "1 %s", "½ in", "²", "1²", "٣ g", "१/४ in",
    "๑,๕ %", "1/²", "1 ℃", "1 µm", "nan", "inf", "1 nan", "1 inf", "1 degC*degC", "1 g/0", "1 delta_degC", "1 =", "1 1",
    "1 \ud800",
]


@pytest.mark.parametrize("text, unit, expected", EXACT)
def test_exact_conversions(text, unit, expected):
    assert to_unit(text, unit) == pytest.approx(expected, rel=1e-11, abs=1e-11)


@pytest.mark.parametrize("unit", ["um", "\u00b5m", "\u03bcm"])
@pytest.mark.parametrize("text, expected", [("5 \u00b5m", 5), ("5 \u03bcm", 5), ("5 um", 5), ("5", 5), ("0.005 mm", 5), ("5000 nm", 5)])
def test_micro_is_read_in_every_way_it_is_written(text, unit, expected):
    """The sign for micro, the Greek letter that looks the same, and u for want of either."""
    assert to_unit(text, unit) == pytest.approx(expected)


@pytest.mark.parametrize("text, decimal, expected", NUMBERS)
def test_decimal_marks(text, decimal, expected):
    assert to_number(text, decimal=decimal) == (expected, "")


@pytest.mark.parametrize("text, unit, words", REFUSED)
def test_refusals_say_what_is_wrong_and_where(text, unit, words):
    with pytest.raises(UnitProblem, match=words) as refused:
        to_unit(text, unit, "amount")
    assert str(refused.value).startswith("amount: ") and str(refused.value).endswith(".")


@pytest.mark.parametrize("text, unit, shown, says", [
    ("soon", "min", "min", "Gel time: 'soon' is not a number. Write it in figures, in min."),
    ("", "g/mL", "g/mL", "Gel time: nothing is written. Write it in figures, in g/mL."),
    ("1.5 or so", "", "", "Gel time: '1.5 or so' is more than a number. Write the number alone."),
    ("3 dollops", "degC", "°C", "Gel time: '3 dollops' has a unit that is not known. Give it in °C, without other words."),
])
def test_beside_a_field_a_refusal_is_about_the_field(text, unit, shown, says):
    with pytest.raises(UnitProblem) as refused:
        to_unit(text, unit, "gel time")
    assert beside_field(refused.value, shown) == says


@pytest.mark.parametrize("value, expected", [(3, 3.0), (2.5, 2.5), (np.float32(2.5), 2.5), (Decimal("2.5"), 2.5)])
def test_numbers_are_in_the_declared_unit_already(value, expected):
    assert to_unit(value, "mm") == expected
    assert to_unit("3", "degC") == 3.0


@pytest.mark.parametrize("value", [True, np.False_, pint.Quantity(1.5, "percent"), pd.NA])
def test_what_python_takes_for_a_number_and_a_person_does_not_is_refused(value):
    """True is 1 to Python, and 1.5 % of a units library is 0.015."""
    with pytest.raises(UnitProblem, match="is not a number. Write it like 1.5 %"):
        to_unit(value, "%", "catalyst")


@pytest.mark.parametrize("unit", ["g", "degC", "%", "", "Shore D", "min"])
@pytest.mark.parametrize("text", HOSTILE, ids=[str(i) for i in range(len(HOSTILE))])
def test_hostile_text_gives_a_number_or_a_refusal(text, unit):
    answers_or_refuses(text, unit)


NUMBERLIKE = st.text("0123456789.,/-+eE\u2212 %gmC°FinozShore*()²½٣", max_size=30)


@pytest.mark.slow
@settings(max_examples=400)
@given(st.one_of(st.text(max_size=60), NUMBERLIKE), st.sampled_from(["g", "degC", "%", "", "Shore D", "mm", "h", "grade"]))
def test_any_text_gives_a_number_or_a_refusal(text, unit):
    answers_or_refuses(text, unit)


def answers_or_refuses(text, unit):
    for decimal in (None, ".", ","):
        try:
            number = to_unit(text, unit, decimal=decimal)
        except UnitProblem as problem:
            assert str(problem).endswith(".")
        else:
            assert isinstance(number, float)


@given(st.floats(-200, 500), st.sampled_from([("degC", "degF"), ("mm", "inch"), ("g", "ounce"), ("min", "h")]))
def test_there_and_back(number, pair):
    here, there = pair
    back = to_unit(f"{to_unit(f'{number!r} {here}', there)!r} {there}", here)
    assert back == pytest.approx(number, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize(
    "value, unit, text",
    [(20.0, "degC", "20 °C"), (86.0, "degF", "86 °F"), (1.5, "%", "1.5 %"), (75, "Shore D", "75 Shore D"), (-3.0, "degC", "\u22123 °C"),
     (1234.5, "g", "1234 g"), (12.345, "mm", "12.3 mm"), (0, "", "0")],
)
def test_shown_as_in_a_sentence(value, unit, text):
    assert show(value, unit) == text


@pytest.mark.parametrize(("value", "text"), [(215 / 1.8 - 32 / 1.8, "102 °C"), (99.6, "100 °C"), (99.4, "99 °C"), (999.7, "1000 °C")])
def test_a_whole_number_is_never_shown_with_an_exponent(value, text):
    """215 °F is 101.7 °C."""
    assert show(value, "degC", 2) == text and "e" not in show(999.7, "mm")


def test_a_number_from_text_is_finite_or_refused():
    """A quantity that overflows is a slip of the pen, not infinity."""
    for text in ("1e9999", "1e9999 g", "-1e400 kg", "1e308 kg"):
        with pytest.raises(UnitProblem, match="too large"):
            to_unit(text, "g")
    assert math.isfinite(to_unit("1e300 g", "g"))


@pytest.mark.parametrize("text, both", [
    ("In a room at 20 °C, pour with 1.5 % catalyst.", "In a room at 20 °C (68 °F), pour with 1.5 % catalyst."),
    ("Warning: Room temperature 14.5 °C is below 15 °C: cold resin.", "Warning: Room temperature 14.5 °C (58 °F) is below 15 °C (59 °F): cold resin."),
    ("in rooms from 16 to 22.5 °C, with", "in rooms from 16 to 22.5 °C (61 to 72 °F), with"),
    ("a room at \u221240 °C", "a room at \u221240 °C (\u221240 °F)"),
    ("raises peak temperature by 14 °C, by at least 5 °C or 3 to 9 °C", None),  # differences: 14 °C more are 25 °F more
    ("a room at 20 °C (68 °F)", None),
])
def test_temperatures_and_no_differences_are_said_in_fahrenheit_too(text, both):
    """By hand: °F = 1.8 °C + 32."""
    assert with_fahrenheit(text) == (both or text)


@pytest.mark.parametrize("unit, like", [("Shore D", "75 Shore D"), ("Barcol", "40 Barcol"), ("grade", "1"), ("%", "1.5 %"), ("g", "1.5 g")])
def test_an_example_is_one_that_a_person_could_read(unit, like):
    for typed in ("hard", None):
        with pytest.raises(UnitProblem, match=f"Write it like {like}\\."):
            to_unit(typed, unit, "reading")
