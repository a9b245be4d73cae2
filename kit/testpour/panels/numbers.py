"""Numbers typed by a person, read by the same rules as everywhere; temperatures are also answered in the unit typed."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from testpour.common.units import UnitProblem, beside_field, show, shown_unit, to_unit
from testpour.common.wording import in_every_text
from testpour.study.cautions import check_settings
from testpour.study.materials import to_mass
from testpour.study.study import Study

# A temperature in a sentence, of a room or as a limit; not a difference between two.
LEVEL = re.compile(r"\b((?:room(?: temperature)?(?: at)?|temperature|at or above|above|below|at most) )(\u2212?\d+(?:\.\d+)?) °C(?! \()", re.IGNORECASE)
LEVELS = re.compile(r"\b(from )(\u2212?\d+(?:\.\d+)?) to (\u2212?\d+(?:\.\d+)?) °C(?! \()")
MINUS = "\u2212"
AS_TYPED = {"kind", "name", "value", "options", "path", "src", "mark", "data"}  # keys of a part that hold names, files and what was typed


@dataclass(frozen=True)
class Field:
    """A number to type."""

    name: str
    label: str
    unit: str = ""
    hint: str = ""
    factor: str = ""  # factor of the study whose range and cautions apply
    resin: bool = False  # an amount of resin, by weight or by volume
    low: float = 0.0  # lowest believable value if it is no factor
    high: float = 100_000.0
    whole: bool = False  # only whole numbers make sense


@dataclass(frozen=True)
class Typed:
    """A number that was typed: its value or None, what is wrong with it, and how it was understood."""

    value: float | None = None
    problem: str = ""
    read: str = ""


def typed(words: str, parse: Callable[[str], float], unit: str = "") -> Typed:
    """What was typed in a field, read by `parse` in `unit`; also how it was understood, if that looks different, as with ``"2,5"`` or ``"1/2 in"``."""
    try:
        value = parse(words)
    except UnitProblem as problem:
        return Typed(problem=beside_field(problem, shown_unit(unit)))
    read = show(value, unit, 4)
    alike = words.replace(" ", "") in (read.replace(" ", ""), read.partition(" ")[0])
    return Typed(value, read="" if alike else f"read as {read}")


def typed_number(study: Study, field: Field, words: str) -> Typed:
    """What was typed in a field of a panel."""
    words = str(words).strip()
    if not words:
        return Typed()
    factor = study.factor(field.factor) if field.factor and study.has(field.factor) else None
    unit = factor.unit if factor else {"°C": "degC"}.get(field.unit, field.unit)
    found = typed(words, factor.parse if factor else lambda text: _parsed(study, field, text, unit), unit)
    if found.value is not None and field.whole and found.value != round(found.value):
        return Typed(problem=f"{field.label}: {words} is not a whole number. Write 1, 2, 3 ...")
    refused = check_settings(study, {field.factor: found.value}).refusals if field.factor and found.value is not None else ()
    return Typed(problem=refused[0]) if refused else found


def _parsed(study, field, words, unit):
    """The value of a field that is no setting of the study."""
    value = to_mass(words, study.resin["density"], field.label) if field.resin else to_unit(words, unit, field.label)
    if not field.low <= value <= field.high or (field.resin and value <= 0):
        raise UnitProblem(f"{field.label}: {words} is outside {field.low:g} to {show(field.high, unit)}. Check the number.")
    return value


def with_fahrenheit(shown: Any) -> Any:
    """Parts of a panel with room temperatures and temperature limits in °F too: ``"a room at 20 °C (68 °F)"``.

    Differences between temperatures stay as they are, and so does what was typed.
    """
    return in_every_text(shown, _in_both, AS_TYPED)


def _in_both(text):
    def warm(words):
        return f"{to_unit(words.replace(MINUS, '-') + ' degC', 'degF'):.0f}".replace("-", MINUS)

    text = LEVELS.sub(lambda found: f"{found[0]} ({warm(found[2])} to {warm(found[3])} °F)", text)
    return LEVEL.sub(lambda found: f"{found[0]} ({warm(found[2])} °F)", text)
