"""What is known of a reading, from the value in a form, a sheet or code."""

import math
import re

from testpour.common.units import PARTED, NotANumber, UnitProblem, to_number
from testpour.common.wording import numbered, shortened
from testpour.logbook.known import Known, is_time
from testpour.study.columns import Factor, Reading

BETWEEN = re.compile(r"^(?:(?:between|from)\s+)?(?P<low>\d.*?)\s*(?:\bto\b|\band\b|–|—|(?<=[\d\w%])\s*-\s*(?=\d)|\.\.+)\s*(?P<high>\d.*)$", re.IGNORECASE)
# Only words that cannot mean the opposite: what "no longer flows at 25 min" has gelled, "no mark at 90 min" has left its mould.
EVENT = r"(?:gel\w*|set|kick\w*|peak\w*|demou?ld\w*|releas\w*|ready|done)"
UNDONE = r"(?:wet|runny|liquid|fluid|flowing|stringy|soft|sticky|tacky|stuck|uncured|rising|climbing|warming|heating)"
NOT_YET = re.compile(
    r"^(?:(?P<sign>>\s*=?|≥|over|above|at least|more than|longer than)"
    rf"|still\s+{UNDONE}\s+(?:at|after)"
    rf"|(?:(?:did|had|has|was|is)?\s*(?:not|n['’]t)|no|never)(?:(?:\s+(?:yet|{EVENT}))+\s+(?:at|by|after|within)|\s+(?:at|by|within)))"
    r"\s*(?P<low>\d.*)$",
    re.IGNORECASE,
)
ALREADY = re.compile(
    rf"^(?:(?P<sign><\s*=?|≤|under|below|at most|less than)|before|within|already(?:\s+(?:{EVENT}|hard|firm|solid|cured|dry))?(?:\s+(?:at|by|before))?"
    r"|(?:gelled|hard|dry)?\s*by)\s*(?P<high>\d.*)$",
    re.IGNORECASE,
)
UNSURE = re.compile(r"^(?:not|no|never|none|nil|still|after|already|(?:did|has|had|is|was)(?:n['’]t| not))\b", re.IGNORECASE)
OR_EQUAL = re.compile(r".*=|[≥≤]|at (?:least|most)", re.IGNORECASE)
WHEN = re.compile(r"\d+(?:[.,]\d+)?(?:\s*[a-z]+)?$", re.IGNORECASE)
ABOUT = re.compile(
    r"^(?:(?:~|≈|about|around|approx\w*\.?|ca\.?|circa|roughly)\s*\d|\d[\d.,]*\s*[a-z%°]*\s*(?:\+(?!\d)|\?|±|\(?est\b))", re.IGNORECASE
)


def known(
    reading: Reading, value: str | float | None = None, *,
    between: tuple[str | float, str | float] | None = None, not_yet: str | float | None = None,
    already: str | float | None = None, decimal: str | None = None
) -> Known:
    """What is known of a reading, in its unit, from exactly one of four ways to say it; else a UnitProblem.

    `value` is the number read; text may also be ``"20-25 min"`` or ``"not yet at 2 h"``. `between` has the last check
    before and the first check after; for a time, a first check at 0 is the same as `already`.
    """
    stated = [way for way in (value, between, not_yet, already) if way is not None]
    if len(stated) != 1:
        raise UnitProblem(f"{reading.words}: give exactly one of a value, between=(before, after), not_yet=, already=.")
    if isinstance(value, str):
        return _from_text(reading, value.strip(), decimal)
    if between is not None:
        if not isinstance(between, list | tuple) or len(between) != 2:
            raise UnitProblem(f"{reading.words}: between takes two checks, as in between=(20, 25).")
        return _between(reading, *between, decimal)
    if reading.grades and value is None:
        raise UnitProblem(f"{reading.words}: not_yet= and already= are for times. Give a grade, or several as between=(2, 3).")
    if not_yet is not None:
        return Known(_end(reading, not_yet, decimal), math.inf)
    if already is not None:
        return Known(-math.inf, _end(reading, already, decimal))
    return _read_off(reading, value, decimal)


def one_number(factor: Factor, text: str, decimal: str | None = None) -> float | str:
    """A setting from the text of a cell; a UnitProblem for a range, a guess or a word, which only a reading may be."""
    try:
        return factor.parse(text, decimal)
    except UnitProblem as problem:
        doubtful = isinstance(problem, NotANumber) or any(pattern.match(text) for pattern in (BETWEEN, ABOUT, NOT_YET, ALREADY))
        if factor.kind != "number" or not doubtful:
            raise
    raise UnitProblem(
        f"{factor.words}: {shortened(text)!r} is not one number, which a setting needs. Write the one that was used, as near as it was weighed or "
        "measured, and the rest in the notes; or ? if nobody knows."
    )


def _read_off(reading, value, decimal):
    number = _end(reading, value, decimal)
    return Known(number, number)


def _from_text(reading, text, decimal):
    grades = [word.casefold() for word in reading.grades]
    if text.casefold() in grades:
        return _read_off(reading, grades.index(text.casefold()), decimal)
    if match := BETWEEN.match(text):
        low, high = match["low"], match["high"]
        if BETWEEN.match(high):
            raise UnitProblem(f"{reading.words}: {shortened(text)!r} has more than two numbers. Write the two it lies between, as in 20-25 min.")
        if not to_number(low, reading.words, decimal)[1]:  # "20 to 25 min": the unit stands once
            if PARTED.fullmatch(high):
                raise UnitProblem(f"{reading.words}: {shortened(text)!r} has no unit after its first time. Write one after both.")
            unit = to_number(high, reading.words, decimal)[1]
            if unit and to_number(low, reading.words, decimal)[0] > to_number(high, reading.words, decimal)[0]:
                raise UnitProblem(f"{reading.words}: {shortened(text)!r} runs backwards if {unit} is the unit of both. Write one after both, "
                                  "as in 20 min to 1 h, and the earlier check first.")
            low = f"{low} {unit}"
        return _between(reading, low, high, decimal)
    match = NOT_YET.match(text) or ALREADY.match(text)
    if match:
        return _open(reading, match, decimal)
    if ABOUT.match(text):
        raise UnitProblem(
            f"{reading.words}: {shortened(text)!r} does not say how sure it is. Write the numbers it lies between, as in 12-18, > 12 if "
            "it is more than that, or the number alone if it was read exactly."
        )
    if not reading.grades and (UNSURE.match(text) or not re.search(r"\d", text)):
        raise UnitProblem(f"{reading.words}: {shortened(text)!r} {_what_is_missing(reading, text)}")
    return _read_off(reading, text, decimal)


def _open(reading, match, decimal):
    """What a one-sided text such as > 20 says; of grades, those it leaves, with the one it names only if it says so."""
    above = match.re is NOT_YET
    sign, number = match["sign"], match["low" if above else "high"]
    if not sign and not is_time(reading):
        raise UnitProblem(
            f"{reading.words}: {shortened(match[0])!r} may mean more or less than {number}. Write > {number} or < {number}, or leave it empty "
            "if nobody looked."
        )
    end = _end(reading, number, decimal)
    if not reading.grades:
        return Known(end, math.inf) if above else Known(-math.inf, end)
    beside = 0 if OR_EQUAL.match(sign) else 1
    low, high = (end + beside, len(reading.grades) - 1.0) if above else (0.0, end - beside)
    if low > high:
        raise UnitProblem(f"{reading.words}: {shortened(match[0])!r} leaves no grade. Grades are {numbered(reading.grades)}.")
    return Known(low, high)


def _what_is_missing(reading, text):
    """What to write in place of words that do not give the reading, as the end of a sentence."""
    when = WHEN.search(text)
    if not is_time(reading):
        return f"is not a number. Write one from {reading.range_words}, < and a number if it was too little to read, or leave it empty if nobody looked."
    if not when:
        return "has no number. Write one, as in 25 min, or the last look, as in not yet at 2 h; leave it empty if nobody looked."
    return (
        f"may mean that it had happened or that it had not. Write not yet at {when[0]} if it had not, already by {when[0]} if it "
        f"had, and {when[0]} alone if it happened then."
    )


def _between(reading, low, high, decimal):
    first = to_number(low, reading.words, decimal)[0] if isinstance(low, str) else low
    if reading.scale == "log" and first == 0:  # a check as the catalyst went in says nothing: it had happened by the next check
        return Known(-math.inf, _end(reading, high, decimal))
    low, high = _end(reading, low, decimal), _end(reading, high, decimal)
    if low > high:
        raise UnitProblem(f"{reading.words}: {low:g} to {high:g} runs backwards. Give the earlier check first.")
    return Known(low, high)


def _end(reading, value, decimal):
    if isinstance(value, str) and reading.unit.startswith("Shore "):
        value = _on_its_scale(value, reading.unit)
    worded = bool(reading.grades) and isinstance(value, str) and not re.match(r"[+-]?\.?\d", value)
    number = math.nan if worded else reading.parse(value, decimal)
    if reading.grades and number != round(number, 0):
        shown = repr(shortened(str(value))) if worded else f"{number:g}"
        raise UnitProblem(f"{reading.words}: {shown} is not a grade. Grades are {numbered(reading.grades)}.")
    return number


def _on_its_scale(text, scale):
    """``"Shore D 78"`` and ``"78 D"`` as ``"78"``; any other text as it is, for the unit's own refusal."""
    letter = scale.split()[-1]
    match = re.fullmatch(rf"\s*(?:{scale}\s*)?([\d.,]+)\s*(?:{scale}|{letter})?\s*", text, re.IGNORECASE)
    return match[1] if match else text
