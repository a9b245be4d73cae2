"""Quantities: text with units is read here; everywhere else a number is a plain float in the unit its column declares.

Only this module uses Pint, so that offset temperatures, ounces and fractions of an inch are dealt with once.
"""

from __future__ import annotations

import math
import re
import unicodedata
from contextlib import suppress
from functools import cache
from tokenize import TokenError
from typing import TYPE_CHECKING

import numpy as np

from testpour.common.problems import Problem
from testpour.common.wording import capital, shortened

if TYPE_CHECKING:
    from pint import UnitRegistry

NUMBER = re.compile(
    r"""^\s*
    (?P<sign>[-+\u2212]?)\s*
    (?:(?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+)  # 1 1/4, 1/4
      |(?P<plain>\d+(?:[.,]\d+)*|[.,]\d+)(?P<power>[eE][-+]?\d+)?)
    \s*(?P<unit>.*?)\s*$""",
    re.VERBOSE,
)

VULGAR = re.compile(r"\s*([¼-¾⅐-⅞])")  # a fraction in one character, as programs write 1/2
# How a workshop writes a unit, and how Pint spells it.
SPELLINGS = {
    "°c": "degC", "c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC",
    "°f": "degF", "f": "degF", "degf": "degF", "deg f": "degF", "fahrenheit": "degF", "k": "kelvin",
    "percent": "%", "pct": "%", "phr": "%", "%": "%", "wt%": "%", "wt %": "%", "wt-%": "%", "wt.%": "%", "wt.-%": "%", "w/w": "%",
    **dict.fromkeys((f"g{per}100{g}" for per in (" per ", "/", " / ") for g in ("g", " g", " g resin", " g of resin")), "%"),
    "per 100": "%", "parts per 100": "%", "parts per hundred": "%", "pph": "%",
    "gew.-%": "%", "gew-%": "%", "gew.%": "%", "gew%": "%",
    "% w/w": "%", "%w/w": "%", "w/w%": "%", "w/w %": "%", "mass%": "%", "mass %": "%", "% by weight": "%", "% by mass": "%",
    '"': "inch", "in": "inch", "inches": "inch", "”": "inch", "″": "inch",
    "ml": "mL", "millilitre": "mL", "millilitres": "mL", "cc": "cm**3", "cm3": "cm**3", "cm³": "cm**3",
    "l": "L", "litre": "L", "litres": "L",
    "oz": "ounce", "lb": "pound", "lbs": "pound", "gram": "g", "grams": "g", "gr": "g", "kilo": "kg",
    "fl oz": "fluid_ounce", "fl. oz": "fluid_ounce", "floz": "fluid_ounce",
    "h": "hour", "hr": "hour", "hrs": "hour", "hours": "hour", "d": "day", "days": "day",
    "min": "minute", "mins": "minute", "minutes": "minute", "'": "minute", "′": "minute", "s": "second", "sec": "second",
    "g/ml": "g/mL", "g/cm3": "g/cm**3", "g/cm³": "g/cm**3", "kg/l": "kg/L",
    "drops/ml": "drops/mL", "drops": "drops", "drop": "drops",
}

# Units that a workshop divides into halves, quarters and so on, to sixty-fourths; 20/25 min is not a fraction.
HALVED = {"inch", "foot", "feet", "ft", "ounce", "pound", "fluid_ounce", "cup", "pint", "quart", "gallon", "kg", "l", "hour", "day"}

CLOCK = re.compile(r"\s*(\d{1,4}):(\d\d)(?::(\d\d)(?:\.\d+)?)?\b")

RATIO = re.compile(r"\s*(\d{1,4})\s*:\s*(\d{1,4})\s*$")

# A time in two parts: 1h20, 1 h 20 min, 20 min 30 s, 20m30s.
PARTED = re.compile(
    r"\s*(?:(?P<hours>\d{1,4}\s*h(?:rs?|ours?)?)\s*(?P<minutes>[0-5]?\d)\s*(?:m|mins?|minutes?)?"
    r"|(?P<whole>\d{1,4})\s*(?:m|mins?|minutes?)\s*(?P<seconds>[0-5]?\d)\s*s(?:ecs?|econds?)?)\.?\s*",
    re.IGNORECASE,
)
# What an error gives as an example of a quantity in a unit.
EXAMPLES = {"min": "25 min or 1.5 h", "h": "24 h or 7 d", "%": "1.5 %", "degC": "20 °C or 68 °F", "mm": "12 mm or 1/2 in",
            "Shore D": "75 Shore D", "Shore A": "90 Shore A", "Barcol": "40 Barcol", "grade": "1"}  # hardnesses of a cured casting: common practice, no source
SCALES = ("Shore", "Barcol", "grade")  # scales to which nothing converts
GRAMS = " For mL, multiply by the density in g/mL to get grams; for drops, weigh 50 of them first."
LONGEST = 100  # characters; no quantity is longer, and the patterns would take hours on a pasted page


class UnitProblem(Problem):
    """A quantity could not be understood, or its unit does not fit."""


class NotANumber(UnitProblem):
    """The text for a quantity is not a number."""

    def __init__(self, what: str, text: str, like: str) -> None:
        self.what, self.text = what, shortened(text, LONGEST)
        super().__init__(f"{what}: {self.text!r} is not a number with a unit. Write it like {like}.")


def beside_field(problem: Exception, unit: str = "") -> str:
    """The message to show beside a form field and its `unit`: without advice to edit the study file, and with °C and °F for degC and degF."""
    words = str(problem.args[0])
    if isinstance(problem, NotANumber):
        found = f"{problem.text!r} is not a number" if problem.text else "nothing is written"
        words = f"{problem.what}: {found}. Write it in figures{f', in {unit}' if unit else ''}."
    return capital(words.replace("; if it is right, widen the range in the study file", "").replace("degC", "°C").replace("degF", "°F"))


@cache
def _registry() -> UnitRegistry:
    """The one Pint registry of the package, made on first use because it takes a quarter of a second."""
    import pint

    units: UnitRegistry = pint.UnitRegistry()
    units.define("drops = [drop_count]")
    return units


def to_number(text: str, what: str = "value", decimal: str | None = None, like: str = "1.5 % or 68 °F") -> tuple[float, str]:
    """A number as people write it, and the text after it: ``"1.5"``, ``"1,5 %"``, ``"1/4 in"``, ``"1 1/2 oz"``.

    `what` and `like` are for the UnitProblem: what the number is, and an example. `decimal` is the decimal mark, if known.
    If not, ``"1,5"`` is one and a half and ``"1,250"`` is refused, because it is ambiguous.
    """
    text = str(text).strip()
    text = VULGAR.sub(lambda one: f" {unicodedata.normalize('NFKC', one[1])}".replace("\u2044", "/"), text[: LONGEST + 1]).strip()
    found = NUMBER.match(text) if len(text) <= LONGEST else None
    if not found:
        raise NotANumber(what, text, like)
    part = found.groupdict()
    if part["top"]:
        if int(part["bottom"]) == 0:
            raise UnitProblem(f"{what}: {text!r} divides by nothing. Write it like 1/4 in.")
        number = int(part["whole"] or 0) + int(part["top"]) / int(part["bottom"])
    else:
        number = float(_with_point(part["plain"], what, decimal) + (part["power"] or ""))
    if math.isinf(number):
        raise UnitProblem(f"{what}: {text!r} is too large. Check its power of ten.")
    return (-number if part["sign"] in ("-", "\u2212") and number else number), part["unit"].rstrip(".")


def _with_point(digits, what, decimal):
    """`digits` with a decimal point and without thousands separators."""
    if decimal:
        thousands, this, other = (",", "comma", "point") if decimal == "." else (".", "point", "comma")
        if thousands in digits and not re.fullmatch(rf"\d{{1,3}}(\{thousands}\d{{3}})+(\{decimal}\d*)?", digits):
            raise UnitProblem(
                f"{what}: {digits!r} has a {this} that does not separate thousands, but other numbers have a decimal {other}. Write it with a {other}."
            )
        digits = digits.replace(thousands, "").replace(decimal, ".")
    elif "," in digits and "." in digits:
        last = max(",.", key=digits.rfind)
        digits = digits.replace("." if last == "," else ",", "").replace(last, ".")
    elif re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        raise UnitProblem(f"{what}: {digits!r} may be {digits.replace(',', '')} or {digits.replace(',', '.')}. Write it without the comma or with a point.")
    else:
        digits = digits.replace(",", ".")
    if digits.count(".") > 1:
        raise UnitProblem(f"{what}: {digits!r} has more than one decimal mark. Write it like 1.5.")
    return digits


def to_unit(value: str | float, unit: str, what: str = "value", decimal: str | None = None) -> float:
    """A quantity as a plain float in `unit`; ``"68 degF"`` in ``"degC"`` is 20.0.

    Text such as ``"1/4 in"``, ``"2 %"``, ``"1,5 %"``; without a unit it is taken to be in `unit`, as a number is.
    Fractions are read for inches, ounces, hours and the like; a time may have two parts: ``"1h20"``, ``"20 min 30 s"``.
    `unit` is any that Pint knows, ``""`` for a plain number, or a hardness scale by its name, to which nothing converts.
    `what` is what the value is, for the UnitProblem.
    """
    if not isinstance(value, str):
        try:
            if isinstance(value, bool | np.bool_) or hasattr(value, "units"):  # Python would take True, or a quantity of another library, for a number
                raise TypeError
            return float(value)
        except (TypeError, ValueError, OverflowError):
            raise UnitProblem(f"{what}: {shortened(repr(value))} is not a number. Write it like {example(unit)}.") from None
    if parts := PARTED.fullmatch(value[:LONGEST]):
        hours, minutes, whole, seconds = parts.groups()
        return sum(to_unit(part, unit, what) for part in ((hours, f"{minutes} min") if hours else (f"{whole} min", f"{seconds} s")))
    _refuse_clock(value, unit, what)
    number, written = to_number(value, what, decimal, example(unit))
    target = SPELLINGS.get(unit.casefold(), unit)
    source = SPELLINGS.get(written.casefold(), written) or target
    if source == "m" and target == "minute":  # 22m of a time
        return number
    _refuse_fraction(value, number, source, what)
    if source == target or written.casefold() == unit.casefold():
        return number
    return _converted(number, source, target, f"{what}: {value!r}", shown_unit(unit))


def example(unit: str) -> str:
    """A sensible quantity in a unit, as an example in an error: ``"75 Shore D"``, ``"25 min or 1.5 h"``."""
    return EXAMPLES.get(unit) or show(1.5, unit)


def measures(unit: str, other: str) -> bool:
    """Whether one unit converts to another; false for an empty unit, and for a quantity such as 1/2 in."""
    if not unit or not other or unit[0].isnumeric():
        return False
    with suppress(UnitProblem):
        to_unit(f"1 {unit}", other)
        return True
    return False


def _refuse_clock(text, unit, what):
    """Refuse 1:35, which may be hours and minutes, minutes and seconds, or one part to thirty-five; 1:35:00 may be 1:35 as stored by a program."""
    found = (RATIO if unit == "%" else CLOCK).match(text[:LONGEST])
    if not found:
        return
    first, second, *rest = (int(part or 0) for part in found.groups())
    said = f"{what}: {text.strip()!r} is not one number. Write"
    if SPELLINGS.get(unit.casefold(), unit) not in ("second", "minute", "hour", "day"):
        share = f", or {show(100 * first / second, '%')} if it is {first} to {second}" if unit == "%" and second else ""
        raise UnitProblem(f"{said} it like {example(unit)}{share}.")
    if any(rest):
        minutes = 60 * first + second + rest[0] / 60
        raise UnitProblem(f"{said} {minutes:.6g} min or {minutes / 60:.4g} h: it is {first} h {second} min {rest[0]} s.")
    raise UnitProblem(
        f"{said} {60 * first + second} min or {first + second / 60:.3g} h if it is {first} h {second} min, and "
        f"{first + second / 60:.3g} min if it is {first} min {second} s; if it is a time of day, the minutes from the catalyst to then."
    )


def _refuse_fraction(text, number, unit, what):
    """Refuse two numbers with a slash between them that may not be a fraction."""
    found = re.search(r"(\d+)/(\d+)", text)
    if not found:
        return
    top, bottom = map(int, found.groups())
    halved = unit.casefold().rstrip("s") in HALVED and bottom in (2, 4, 8, 16, 32, 64)
    if not halved or top > bottom or top % 2 == 0:
        raise UnitProblem(
            f"{what}: {text.strip()!r} may be {top} to {bottom}, {top} of {bottom} or the fraction {number:.3g}. "
            "Write the one that is meant; only inches, ounces, hours and the like are read in halves, quarters, eighths and so on."
        )


def _converted(number, source, target, where, shown):
    """`number` from one Pint unit to another; a refusal names the second as it was declared."""
    import pint

    if target.split(" ")[0] in SCALES:
        if re.search(r"\d", source):
            several = "Write a grade alone" if target == "grade" else "In a sheet, write several readings as 75; 76; 77, and elsewhere one at a time"
            raise UnitProblem(f"{where} has more than one number. {several}.")
        if target == "grade":
            raise UnitProblem(f"{where} has {source!r} after the grade. Write the grade alone, and anything else as a note.")
        other = f", or choose {source} in the notebook 0-start-here where all are read in that" if source.split(" ")[0] in SCALES else ""
        raise UnitProblem(f"{where} is not on the {target} scale, and no scale converts to another. Read it in {target}{other}.")
    if not target:
        raise UnitProblem(f"{where} is more than a number. Write the number alone.")
    if "%" in (source, target):
        such = ", as 1.5 % for 2.25 g in 150 g" if target == "%" else ""
        grams = GRAMS if target == "%" and any(measures(source, one) for one in ("mL", "drops")) else ""
        raise UnitProblem(f"{where} does not turn into {shown}. Give it in {shown}{such}.{grams}")
    try:
        converted = _registry().Quantity(number, _unit(source)).to(_unit(target)).magnitude
        converted = float(f"{converted:.12g}")  # 68 degF is 20 degC, not 20.000000000000057
    except pint.errors.DimensionalityError:
        raise UnitProblem(f"{where} does not measure what {shown} measures. Give it in {shown}.") from None
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, ArithmeticError, TokenError):
        raise UnitProblem(f"{where} has a unit that is not known. Give it in {shown}, without other words.") from None
    if math.isinf(converted):
        raise UnitProblem(f"{where} is too large in {shown}. Check its power of ten.")
    return converted


def _unit(text):
    """A Pint unit; text that does not look like one is never handed to Pint's parser."""
    text = re.sub("[\u00b5\u03bc]", "u", text)  # the sign for micro, and the Greek letter
    if not re.fullmatch(r"[A-Za-z_]{1,14}(\*\*[23])?(/[A-Za-z_]{1,14}(\*\*[23])?)?", text):
        raise ValueError(text)
    return _registry().Unit(text)


def show(value: float, unit: str = "", digits: int = 3) -> str:
    """A number with its unit, as it reads in a sentence: ``"20 °C"``, ``"1.5 %"``, ``"75 Shore D"``.

    Whole numbers with more than `digits` digits, and those above a thousand, are shown in full.
    """
    text = f"{value:.{digits}g}" if abs(value) < min(1000, 10**digits - 0.5) else f"{value:.0f}"
    text = text.replace("-", "\u2212") if text.startswith("-") else text
    return f"{text} {shown_unit(unit)}".strip()


def shown_unit(unit: str) -> str:
    """A declared unit as screens and sheets write it: ``"°C"`` for ``"degC"``, ``"°F"`` for ``"degF"``."""
    return re.sub(r"^deg(?=[CF]$)", "°", unit)


def unit_words(unit: str) -> str:
    """A unit to put after a number, with a blank before it: ``" °C"``."""
    return f" {shown_unit(unit)}".rstrip()
