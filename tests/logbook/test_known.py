"""How a reading is known: what people write, in both ways, and refusals for what nobody can mean."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from testpour.common.units import UnitProblem
from testpour.logbook.known import Known
from testpour.logbook.reading_text import known
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading

READINGS = catalogue()["readings"]
GEL, TACK, HARD, PEAK = (READINGS[name] for name in ("gel_time", "tack", "hardness", "peak_temperature"))
INF = math.inf

WRITTEN = [
    (GEL, "22", 22, 22, "exact"), (GEL, "22 min", 22, 22, "exact"), (GEL, "1/2 h", 30, 30, "exact"), (GEL, "0.5h", 30, 30, "exact"),
    (GEL, "1h20", 80, 80, "exact"), (GEL, "1 h 20 min", 80, 80, "exact"), (GEL, "80'", 80, 80, "exact"), (GEL, "20 min 30 s", 20.5, 20.5, "exact"),
    (GEL, "22m30s", 22.5, 22.5, "exact"), (GEL, "22 m 30 sec", 22.5, 22.5, "exact"), (GEL, "22m30s-24m00s", 22.5, 24, "between"),
    (GEL, "1h20-1h40", 80, 100, "between"), (GEL, "not yet at 1 h 20", 80, INF, "not yet"), (GEL, "20 hrs 5", 1205, 1205, "exact"),
    (GEL, "20-25", 20, 25, "between"), (GEL, "20 - 25 min", 20, 25, "between"), (GEL, "20–25", 20, 25, "between"),
    (GEL, "20 to 25", 20, 25, "between"), (GEL, "between 20 and 25 min", 20, 25, "between"), (GEL, "20..25", 20, 25, "between"),
    (GEL, "0 to 5 min", -INF, 5, "already"), (GEL, "1 to 2 h", 60, 120, "between"),
    (GEL, "50 min to 1 h", 50, 60, "between"), (GEL, "20 to 20", 20, 20, "exact"),
    (GEL, "not yet at 2 h", 120, INF, "not yet"), (GEL, "did not gel by 2 h", 120, INF, "not yet"), (GEL, ">10", 10, INF, "not yet"),
    (GEL, "> 10 min", 10, INF, "not yet"), (GEL, "over 2 hours", 120, INF, "not yet"), (GEL, "more than 90", 90, INF, "not yet"),
    (GEL, "had not gelled after 3 h", 180, INF, "not yet"), (GEL, "no gel at 60 min", 60, INF, "not yet"),
    (GEL, "not yet at 25", 25, INF, "not yet"), (GEL, "not by 25", 25, INF, "not yet"), (GEL, "not gelled at 25 min", 25, INF, "not yet"),
    (GEL, "hasn’t set yet by 25", 25, INF, "not yet"), (GEL, "never gelled by 3 h", 180, INF, "not yet"), (GEL, "still runny at 20", 20, INF, "not yet"),
    (GEL, "already by 15", -INF, 15, "already"), (GEL, "<15 min", -INF, 15, "already"), (GEL, "under 15", -INF, 15, "already"),
    (GEL, "already hard at 12", -INF, 12, "already"), (GEL, "before 0.5 h", -INF, 30, "already"),
    (PEAK, "212 degF", 100, 100, "exact"), (PEAK, "200 to 210 °F", 93.3333333333, 98.8888888889, "between"),
    (PEAK, "> 150 °C", 150, INF, "not yet"), (HARD, "at most 60", -INF, 60, "already"), (HARD, "over 75", 75, INF, "not yet"),
    (TACK, "> 1", 2, 3, "between"), (TACK, "more than 2", 3, 3, "exact"), (TACK, "at least 1", 1, 3, "between"), (TACK, ">= 2", 2, 3, "between"),
    (TACK, "< 1", 0, 0, "exact"), (TACK, "less than 2", 0, 1, "between"), (TACK, "at most 1", 0, 1, "between"), (TACK, "≤1", 0, 1, "between"),
    (HARD, "78", 78, 78, "exact"), (HARD, "78 Shore D", 78, 78, "exact"), (HARD, "76 to 78", 76, 78, "between"),
    (TACK, "2", 2, 2, "exact"), (TACK, "slightly tacky", 1, 1, "exact"), (TACK, "WET", 3, 3, "exact"), (TACK, "0 to 1", 0, 1, "between"),
]


@pytest.mark.parametrize("reading, text, low, high, how", WRITTEN, ids=[w[1] for w in WRITTEN])
def test_as_people_write_it(reading, text, low, high, how):
    found = known(reading, text)
    assert (found.low, found.high, found.how) == (pytest.approx(low), pytest.approx(high), how)


@pytest.mark.parametrize(
    "ways, low, high, how",
    [({"value": 20}, 20, 20, "exact"), ({"value": 20.5}, 20.5, 20.5, "exact"), ({"between": (20, "25 min")}, 20, 25, "between"),
     ({"between": [20, 20]}, 20, 20, "exact"), ({"not_yet": "2 h"}, 120, INF, "not yet"), ({"between": (0, 5)}, -INF, 5, "already"),
     ({"between": ("0 min", "5 min")}, -INF, 5, "already"), ({"already": 15}, -INF, 15, "already")],
)
def test_as_it_is_said_in_code(ways, low, high, how):
    found = known(GEL, **ways)
    assert (found, found.how) == (Known(low, high), how)


def test_a_decimal_mark_that_is_known():
    assert known(GEL, "20,5-25,5", decimal=",") == Known(20.5, 25.5)
    with pytest.raises(UnitProblem, match="may be 1250 or 1.250"):
        known(GEL, "1,250")
    assert known(GEL, "1,250", decimal=",").low == 1.25


@pytest.mark.parametrize("text", ["> 20.5", "not yet at 20.5", "1.2500", "1.25.000"])
def test_a_point_that_parts_no_thousands_is_not_passed_over(text):
    """In a sheet with decimal commas "> 20.5" was stored as above 205."""
    with pytest.raises(UnitProblem, match="has a point that does not separate thousands, but other numbers have a decimal comma. Write it with a comma"):
        known(GEL, text, decimal=",")
    assert known(GEL, "> 1.250", decimal=",").low == 1250


@pytest.mark.parametrize("reading, text", [(w[0], w[1]) for w in WRITTEN if w[0].unit != "degC"])
def test_its_words_are_understood_again(reading, text):
    found = known(reading, text)
    assert known(reading, found.words(reading)) == found


@pytest.mark.parametrize(
    "ways, words",
    [
        ({}, "give exactly one of a value, between="),
        ({"value": 20, "not_yet": 20}, "give exactly one of a value, between="),
        ({"value": "soon"}, "'soon' has no number"),
        ({"value": "25-20"}, "25 to 20 runs backwards. Give the earlier check first"),
        ({"between": (25, 20)}, "runs backwards"),
        ({"value": "20-25-30"}, "'20-25-30' has more than two numbers. Write the two it lies between, as in 20-25 min"),
        ({"value": "20-1h"}, "'20-1h' runs backwards if h is the unit of both. Write one after both, as in 20 min to 1 h"),
        ({"value": "0:25:30"}, "'0:25:30' is not one number. Write 25.5 min or 0.425 h: it is 0 h 25 min 30 s"),
        ({"between": (20,)}, "between takes two checks"),
        ({"between": "2025"}, "between takes two checks"),
        ({"value": 0.1}, "0.1 is outside 0.5 to 1440 min"),
        ({"value": "3 d"}, "3 d is outside 0.5 to 1440 min"),
        ({"value": math.nan}, "outside"),
        ({"not_yet": math.inf}, "outside"),
        ({"value": "20 g"}, "does not measure what min"),
        ({"value": "~15"}, "'~15' does not say how sure it is. Write the numbers it lies between, as in 12-18, > 12 if it is more than that, or"),
        ({"value": "not yet"}, "'not yet' has no number. Write one, as in 25 min, or the last look, as in not yet at 2 h; leave it empty if nobody looked"),
        ({"value": "did not gel"}, "has no number"),
        ({"value": "none"}, "has no number"),
        ({"value": "1:35"}, "'1:35' is not one number. Write 95 min or 1.58 h if it is 1 h 35 min, and 1.58 min if it is 1 min 35 s; if it is a time of day"),
        ({"value": "00:25:00"}, "Write 25 min or 0.417 h if it is 0 h 25 min"),
        ({"value": "1:35-1:50"}, "Write 95 min or 1.58 h"),
        ({"value": "overnight"}, "'overnight' has no number. Write one, as in 25 min, or the last look"),
        ({"value": "25 mn"}, r"'25 mn' has a unit that is not known. Give it in min, without other words"),
        ({"value": "1 to 1h20"}, "'1 to 1h20' has no unit after its first time. Write one after both"),
        ({"value": "1h75"}, "unit that is not known"),
        ({"value": "20 min 30"}, "unit that is not known"),
        ({"value": "about 15 min"}, "does not say how sure it is"),
    ],
)
def test_refused(ways, words):
    with pytest.raises(UnitProblem, match=words):
        known(GEL, **ways)


def test_what_is_too_little_to_read_is_asked_for_as_such():
    """Styrene spreads by ratios as times do, and nobody looks at it for 25 min."""
    styrene = Reading("styrene", "mg/L", 0.1, 1000, scale="log")
    with pytest.raises(UnitProblem, match=r"'n.d.' is not a number. Write one from 0.1 to 1000 mg/L, < and a number if it was too little to read, or"):
        known(styrene, "n.d.")
    assert known(styrene, "< 0.5") == Known(-INF, 0.5)


@pytest.mark.parametrize("reading, text, said", [
    (TACK, "> 3", "'> 3' leaves no grade. Grades are 0 dry"), (TACK, "< 0", "'< 0' leaves no grade"),
    (TACK, "not yet at 1", "'not yet at 1' may mean more or less than 1. Write > 1 or < 1"), (HARD, "not yet at 75", "Write > 75 or < 75"),
    (HARD, "already 75", "Write > 75 or < 75"), (PEAK, "before 90 °C", "may mean more or less than 90 °C"),
])
def test_of_what_is_no_time_words_for_a_time_are_asked_about(reading, text, said):
    with pytest.raises(UnitProblem, match=said):
        known(reading, text)


def test_a_grade_has_no_last_look():
    for way in ({"not_yet": 1}, {"already": 1}):
        with pytest.raises(UnitProblem, match=r"tack: not_yet= and already= are for times. Give a grade, or several as between=\(2, 3\)"):
            known(TACK, **way)
    assert known(HARD, not_yet=75).low == 75  # as a trace logs a peak that it ends before


@pytest.mark.parametrize("reading, text, said", [
    (TACK, "> 1", "grade 2 to 3"), (TACK, "1", "grade 1"), (HARD, "> 75", "at least 75 Shore D"), (PEAK, "< 90", "at most 90 °C"),
    (GEL, "> 20", "not yet at 20 min"),
])
def test_what_it_says_in_a_sentence(reading, text, said):
    assert known(reading, text).said(reading) == said


def test_a_time_of_ones_own_has_not_come_yet():
    """Its scale is plain unless it is declared otherwise."""
    own = Reading("crack_time", "h", low=0, high=500)
    assert known(own, "not yet at 90 min") == Known(1.5, INF)
    assert known(own, "> 3 h").said(own) == "not yet at 3 h"


@pytest.mark.parametrize(
    "text",
    ["no longer flows at 25 min", "no strings at 25 min", "not flowing at 25 min", "no longer runny at 25 min", "not liquid at 25 min",
     "no problem, gelled at 25 min", "after 25 min", "no mark at 25 min", "no sticking at 25 min", "not gelled until 25 min", "not after 25 min",
     "still firm at 25 min", "already thickening at 25 min"],
)
def test_words_that_may_mean_it_had_happened_are_asked_about(text):
    """Gel is when the mix no longer flows and strings break, demoulded is what left its mould without a mark: so the catalogue."""
    for name in ("gel_time", "demould_time"):
        said = "may mean that it had happened or that it had not. Write not yet at 25 min if it had not, already by 25 min if it had, and 25 min alone"
        with pytest.raises(UnitProblem, match=f"{text}' {said}"):
            known(READINGS[name], text)


@pytest.mark.parametrize("value", [1.5, "0.5", "2 to 2.5", "a bit", "sticky", "++", ""])
def test_grades_are_whole(value):
    with pytest.raises(UnitProblem, match="is not a grade. Grades are 0 dry, 1 slightly tacky, 2 tacky, 3 wet"):
        known(TACK, value)


@pytest.mark.parametrize("mark", ["+", "?", " ?", "±2", "+-2", " (est.)"])
def test_a_mark_of_doubt_behind_a_number_is_asked_about(mark):
    for reading, number in ((GEL, "25"), (GEL, "25 min"), (HARD, "75"), (TACK, "1")):
        with pytest.raises(UnitProblem, match="does not say how sure it is"):
            known(reading, number + mark)
    assert known(GEL, "2.5e+1").low == 25


@pytest.mark.parametrize("text", ["40 Barcol", "78 Shore A", "78 %"])
def test_hardness_scales_never_convert(text):
    with pytest.raises(UnitProblem, match="no scale converts to another"):
        known(HARD, text)


TEXT = st.one_of(st.text(max_size=40), st.text("0123456789-–.,<> tobyandinhrmgel", max_size=25))


@pytest.mark.slow
@given(st.sampled_from([GEL, TACK, HARD, PEAK]), TEXT)
def test_any_text_is_known_or_refused(reading, text):
    try:
        found = known(reading, text)
    except UnitProblem:
        return
    assert found.low <= found.high
    for end in (found.low, found.high):
        assert math.isinf(end) or reading.low <= end <= reading.high


def test_long_times_keep_all_their_figures(study):
    """A week is 10,080 min."""
    assert Known(10080.0, 20160.4).words(study.reading("gel_time"), 4) == "10080 to 20160"
