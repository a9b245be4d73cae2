"""The unit of a column, in the brackets of its header or in a row of its own below the headers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from testpour.units import UnitProblem, shown_unit, to_unit
from testpour.wording import listed

if TYPE_CHECKING:
    from testpour.columns import Column
    from testpour.logbook.headers import Head
    from testpour.study import Study


class HeaderProblem(ValueError):
    """A header may mean one of several columns, or is a slip of one."""


def checked_unit(column: Column, unit: str) -> str:
    """The unit of a header; ``""`` for a scale such as (0-3), which the grades of a reading have anyway.

    A HeaderProblem where it begins with a number, which would join the number of every cell, or stands where grades have
    none.
    """
    grades = getattr(column, "grades", ())
    if grades and (re.fullmatch(rf"0\s*(?:-|–|to|\.\.+)\s*{len(grades) - 1}", unit) or unit.casefold() in (column.unit.casefold(), "grades")):
        return ""
    if unit[:1].isdigit():
        allowed = f"a unit alone, such as ({shown_unit(column.unit)}), and the values in it" if column.unit else "the name alone"
        if grades:
            allowed = f"(0-{len(grades) - 1}), and grades as {listed(f'{k} {word}' for k, word in enumerate(grades))}"
        raise HeaderProblem(f"({unit}) begins with a number, so it is not a unit of {column.words}. Write {allowed}.")
    if grades and unit:
        raise HeaderProblem(
            f"({unit}) is not the scale of {column.words}. Write its age in figures, as in {column.words} at 24 h, and leave out other "
            "words, or rename the column if it is something else."
        )
    return unit


def units_below(study: Study, heads: Sequence[Head | None], row: Sequence[str]) -> tuple[list[Head | None], list[tuple[str, str, str]]] | None:
    """The heads with the units that stand in a row of their own below the headers, or None where the row is no such row.

    With them come header, cell and problem of each unit that cannot be taken.
    """
    texts = [text.strip().strip("()[]").strip() for text in row] + [""] * len(heads)
    asked = [(head, text, _measured_by(study, head)) for head, text in zip(heads, texts, strict=False)]
    if not any(column and _fits(text, column) for _, text, column in asked):
        return None
    found, problems = [], []
    for head, text, column in asked:
        if head and column and text:
            said = _wrong_unit(head, column, text)
            if said:
                problems.append((head.text, text, said))
            elif not head.unit:
                head = replace(head, unit=checked_unit(column, text))
        found.append(head)
    return found, problems


def _wrong_unit(head, column, text):
    """Why a unit below a header cannot be taken, or ``""``."""
    try:
        unit = checked_unit(column, text)
    except HeaderProblem as problem:
        return str(problem)
    if head.unit and not (measures(text, head.unit) and to_unit(f"1 {text}", head.unit) == 1):
        said = f"is another unit than the header gives ({head.unit})"
    elif unit and not _fits(unit, column):
        said = f"is not a unit of {column.words}"
    else:
        return ""
    return f"{text!r} below the header {said}. Write the unit once, in the header, as in {column.label}."


def _measured_by(study, head):
    """The column of a head whose cells are numbers; None for any other."""
    if head is None or head.kind == "own" or head.part != "value":
        return None
    column = study.factor(head.name) if head.kind == "factor" else study.reading(head.name)
    return column if getattr(column, "kind", "number") == "number" else None


def _fits(unit, column):
    return unit.casefold() == column.unit.casefold() != "" or measures(unit, column.unit)


def measures(unit: str, other: str) -> bool:
    """Whether one unit can be turned into another; no unit cannot."""
    if not unit or not other:
        return False
    try:
        to_unit(f"1 {unit}", other)
    except UnitProblem:
        return False
    return True
