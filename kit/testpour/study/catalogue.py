"""Declared columns: the trade's own in `catalogue.toml`, which a study may override or add to."""

import math
from dataclasses import fields, replace
from functools import cache
from typing import Any

from testpour.common.problems import noted
from testpour.common.toml_file import own_toml
from testpour.common.units import SCALES, UnitProblem, measures, shown_unit, to_unit
from testpour.common.wording import shortened
from testpour.study.columns import C, Column, ColumnProblem, Factor, Reading, truth

# Other trade words for a setting or a reading, as patterns for the start of a header in small letters, and the catalogue's.
TRADE = (
    (r"resin batch", "resin lot"), (r"(?:catalyst|mek ?p|peroxide|hardener|initiator) batch", "catalyst lot"),
    (r"mek ?p|mek peroxide|peroxide|hardener|initiator|kat|katalysator|härter|haerter", "catalyst"),
    (r"(?:pigment|colou?r) (?:paste|load(?:ing)?)|paste|farbpaste", "pigment"),
    (r"depth|thk|dicke", "thickness"),
    (r"covered|lid|deckel|abgedeckt", "cover"),
    (r"(?:ambient|shop|workshop|air)(?= temp)|ambient$", "room"),
    (r"raum ?temp(?:eratur)?", "room temperature"),
    (r"rh|rel(?:ative)? humidity", "humidity"),
    (r"demold", "demould"),
    (r"(?:peak )?exotherm(?: temp(?:erature)?)?|max(?:imum)? temp(?:erature)?", "peak temperature"),
    (r"gelzeit|gelled (?:at|after|in)(?!\S)", "gel time"), (r"sticky|stickiness|tackiness", "tack"), (r"härte|haerte", "hardness"),
)
WRITTEN = {str: (str, "text in quotes"), tuple: (list | tuple, "a list in [ ]"), bool: (bool, "true or false")}


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """The trade's own declarations: ``{"factors": {name: Factor}, "readings": {name: Reading}}``."""
    raw = own_toml("study/catalogue.toml")
    kinds: dict[str, type[Column]] = {"factors": Factor, "readings": Reading}
    return {section: {name: declare(kind, name, entry) for name, entry in raw[section].items()} for section, kind in kinds.items()}


def declare(kind: type[C], name: str, entry: Any, base: C | None = None) -> C:
    """A `Factor` or `Reading` from a table of a TOML file, on top of `base` if given.

    Raises a ColumnProblem that names unknown keys and values of the wrong type, or a UnitProblem that names every bound
    that cannot be read.
    """
    if not isinstance(entry, dict):
        example = "{ from = 1, to = 2 }" if kind is Factor else "{ low = 0, high = 5 }"
        raise ColumnProblem(f"{name}: {shortened(repr(entry))} says too little. Write {name} = {{}}, or {example}.")
    entry = dict(entry)
    if kind is Factor and ("from" in entry or "to" in entry):
        entry["span"] = [entry.pop("from", None), entry.pop("to", None)]
    _check_entry(kind, name, entry)
    if entry.get("grades") and base is None:
        entry.setdefault("scale", "grades")
    unit = entry.get("unit", base.unit if base else "")
    if base and unit != base.unit and unit.split(" ")[0] not in SCALES:
        own = f'; a value may be written with a unit of its own, such as "1 {unit}"' if measures(unit, base.unit) else ""
        raise ColumnProblem(
            f"{name} is kept in {shown_unit(base.unit) or 'plain numbers'}, which its range and the trade's beliefs rest on. Leave unit out{own}."
        )
    if base and unit != base.unit:
        entry = {"how": "", "standard": "", **entry}  # on another scale it is measured in another way
    entry = _in_units(name, entry, unit, base)
    column = replace(base or kind(name=name), **entry)
    every_pour = isinstance(base, Factor) and base.span  # not for an oven, which stays off unless it is declared
    return _usual_within(column) if every_pour and "usual" not in entry else column


def _usual_within(factor):
    """The factor, with the middle of its span as the usual value if the catalogue's is outside it."""
    low, high = factor.span or (factor.usual, factor.usual)
    if low <= factor.usual <= high:
        return factor
    return replace(factor, usual=float(factor.rounded((low + high) / 2)))


def _in_units(name, entry, unit, base):
    """The entry with its numbers as floats in `unit`, and its lists as tuples; raises a UnitProblem with every number that is not one."""
    yes_no = entry.get("kind", base.kind if isinstance(base, Factor) else "") == "yes/no"
    wrong = []

    def number(value, key, its_unit=unit):
        with noted(wrong):
            words = yes_no and isinstance(value, bool | str)
            return truth(value, f"{name}, {key}") if words else amount(value, its_unit, f"{name}, {key}")
        return math.nan

    for key in ("low", "high", "usual", "resolution", "step"):
        if key in entry:
            entry[key] = number(entry[key], key)
    if "span" in entry:
        entry["span"] = tuple(map(number, _ends(name, entry["span"], base), ("from", "to")))
    if "ages" in entry:
        entry["ages"] = tuple(number(value, "ages", "h") for value in entry["ages"])
    if "grades" in entry:
        entry["grades"] = tuple(entry["grades"])
    if wrong:
        raise UnitProblem(*wrong)
    return entry


def amount(value: str | float, unit: str, what: str) -> float:
    """A number of a study file, or text with a unit, in `unit`; true, false, inf and nan are refused.

    `what` is what the number is, for the UnitProblem.
    """
    if isinstance(value, bool):
        raise UnitProblem(f"{what}: {str(value).casefold()} is not a number. Write it like 1.5 or '1.5 %'.")
    number = to_unit(value, unit, what)
    if not math.isfinite(number):
        raise UnitProblem(f"{what}: {number} is not a finite number. Give one, or leave the part out.")
    return number


def _check_entry(kind, name, entry):
    """Refuse unknown keys, and values of the wrong type."""
    allowed = ["from", "to"] * (kind is Factor) + sorted({f.name for f in fields(kind)} - {"name"})
    if unknown := sorted(set(entry) - set(allowed)):
        instead = "write low and high for the range of a reading" if {"from", "to"} & set(unknown) else f"allowed are {', '.join(allowed)}"
        raise ColumnProblem(f"{name}: {', '.join(unknown)} is not recognised; {instead}.")
    wrong = []
    for part in fields(kind):
        form, words = WRITTEN.get(type(part.default), (object, ""))
        if part.name in entry and not isinstance(entry[part.name], form):
            wrong.append(f"{name}: {part.name} = {shortened(repr(entry[part.name]))} must be {words}.")
    if isinstance(entry.get("grades"), list | tuple) and not all(isinstance(g, str) and g.strip() for g in entry["grades"]):
        wrong.append(f"{name}: grades = {shortened(repr(entry['grades']))} must be a list of words in quotes, one for each grade.")
    if isinstance(entry.get("span"), list | tuple) and len(entry["span"]) not in (0, 2):
        wrong.append(f"{name}: give both from and to.")
    if wrong:
        raise ColumnProblem(*wrong)


def _ends(name, values, base):
    """The ends of a span; an end that is left out comes from the catalogue."""
    known = base.span if base and base.span else (None, None)
    ends = [end if value is None else value for value, end in zip(values, known, strict=False)]
    if None in ends:
        raise ColumnProblem(f"{name}: give both from and to.")
    return ends
