"""The rows of headers of a sheet: where they stand, what each of their cells heads, and the units below them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from testpour.logbook.entries import read_once
from testpour.logbook.headers import AGE, Head, HeaderProblem, checked_unit, is_age, read_head, without_age
from testpour.logbook.sheet_cells import untame
from testpour.logbook.workbook import COVERED
from testpour.study import Study
from testpour.units import UnitProblem, measures, to_unit

HIGHEST = 40  # rows in which the headers are looked for


def find_heads(
    study: Study, rows: Sequence[Sequence[str]], across: Mapping[tuple[int, int], int]
) -> tuple[int, list[Head | None] | None, list[tuple[str, str, str, str]]]:
    """Number of the header row, what each of its cells heads, and the problems of the headers."""
    for place, texts in enumerate(rows[:HIGHEST]):
        heads, problems = [], []
        for text in texts:
            head, problem = _head(study, text.strip())
            heads.append(head)
            problems += [(f"row {place + 1}", text.strip(), "", problem)] if problem else []
        poured = any(head.name == "pour" for head in heads if head)  # whose later readings one column may bring
        if len(_named(heads)) + len(problems) + poured >= 2 and (_named(heads) or problems):
            for (row, column), first in across.items():  # a header merged over several columns heads those that hold anything
                if row == place and any(below[column].strip() for below in rows[place + 1 :]):
                    heads[column] = heads[first]
            heads = _with_clock(heads)
            problems += _twice(filter(None, heads), place)
            asked = any(without_age(head) for head in heads if head)
            return place, [None if is_age(head) and not asked else head for head in heads], problems
    return 0, None, []


def _head(study, text):
    """What a cell heads, and what is wrong with it as a header; "" where nothing is."""
    try:
        return read_head(study, untame(text)), ""
    except (HeaderProblem, UnitProblem) as problem:
        return None, str(problem)


def _named(heads):
    """The settings and readings that headers name."""
    return [(head.kind, head.name) for head in heads if head and head.kind != "own"]


def lies_on_its_side(study: Study, heads: Sequence[Head | None], rows: Sequence[Sequence[str]]) -> bool:
    """Whether the first column names more settings and readings than the row taken for that of the headers, which names one there too."""
    down = _named(_head(study, row[0].strip())[0] for row in rows[:HIGHEST] if row)
    return bool(_named(heads[:1])) and len(set(down)) > max(2, len(_named(heads)))


def _with_clock(heads):
    """The heads, the second of two columns for when a pour was made taken for its time of day, where the other is called Date."""
    made = [head for head in heads if head and (head.kind, head.name) == ("own", "made_at")]
    clocks = [head for head in made if not re.search(r"\bdat(?:e|um)\b", head.text, re.IGNORECASE)]
    return [replace(head, name="clock") if head and [head] == clocks and len(made) == 2 else head for head in heads]


def _twice(heads, place):
    """Problems of two columns for one thing; hardness at several places may have several."""
    seen = {}
    for head in heads:
        key = (head.kind, head.name, head.age, head.specimen, head.part)
        once = head.kind != "reading" or head.part != "value" or read_once(head.column)
        if key in seen and once:
            said = f"a second column for {head.name.replace('_', ' ')}, beside {seen[key]}. Rename or remove one of them."
            return [(f"row {place + 1}", head.text, "", said)]
        seen[key] = head.text
    return []


def below(
    heads: Sequence[Head | None], rows: Sequence[Sequence[str]], start: int, problems: list[tuple[str, str, str, str]]
) -> tuple[int, list[Head | None]]:
    """Where the pours begin below the headers, and the heads with the units of a row of units."""
    if len(rows) == start + 1:
        return start + 1, list(heads)
    row = ["" if cell == COVERED else cell for cell in rows[start + 1]]  # a header may be merged over two rows
    found = _units_below(heads, row)
    if found is None:
        return start + 1 + (not any(row)), list(heads)
    problems += [(f"row {start + 2}", *problem) for problem in found[1]]
    return start + 2, found[0]


def _units_below(heads: Sequence[Head | None], row: Sequence[str]) -> tuple[list[Head | None], list[tuple[str, str, str]]] | None:
    """The heads with the units that stand in a row of their own below the headers, or None where the row is no such row.

    With them come header, cell and problem of each unit that cannot be taken.
    """
    texts = [text.strip().strip("()[]").strip() for text in row] + [""] * len(heads)
    asked = [(head, text, _measured_by(head)) for head, text in zip(heads, texts, strict=False)]
    if not _are_units([one for one in asked if one[2]]):
        return None
    found, problems = [], []
    for head, text, column in asked:
        if head and column and text:
            try:
                head = replace(head, unit=_unit_below(head, column, text))
            except HeaderProblem as problem:
                problems.append((head.text, text, str(problem)))
        found.append(head)
    return found, problems


def _are_units(asked):
    """Whether a row gives units or ages; 78 D below an age that the header gives, or beside other figures, is a hardness."""
    aged = any(_is_age(text, column) and head.age is None for head, text, column in asked)
    figures = any(text[:1].isdigit() and not _is_age(text, column) for _, text, column in asked)
    return (aged and not figures) or any(_fits(text, column) for _, text, column in asked)


def _unit_below(head, column, text):
    """The unit of a head, from its header or else the text below it; a HeaderProblem where that cannot be taken."""
    if _is_age(text, column):
        raise HeaderProblem(f"{text} is an age. Write it into the header itself, as in {column.words} at {text}.")
    unit = checked_unit(column, text)
    if head.unit and not (measures(text, head.unit) and to_unit(f"1 {text}", head.unit) == 1):
        said = f"is another unit than the header gives ({head.unit})"
    elif unit and not _fits(unit, column):
        said = f"is not a unit of {column.words}"
    else:
        return head.unit or unit
    raise HeaderProblem(f"{text!r} below the header {said}. Write the unit once, in the header, as in {column.label}.")


def _measured_by(head):
    """The column of a head whose cells are numbers; None for any other."""
    return head.column if head and head.part == "value" and getattr(head.column, "kind", "number") == "number" else None


def _is_age(text, column):
    return bool(getattr(column, "ages", ())) and re.fullmatch(AGE, text, re.IGNORECASE) is not None


def _fits(unit, column):
    return unit.casefold() == column.unit.casefold() != "" or measures(unit, column.unit)
