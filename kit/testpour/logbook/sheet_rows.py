"""The rows below the headers of a sheet: which of them are pours, and what their cells say."""

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from testpour.common.units import PARTED, UnitProblem, measures, to_number, to_unit
from testpour.common.wording import first_few, listed
from testpour.logbook.entries import read_once
from testpour.logbook.headers import Head, is_age, without_age
from testpour.logbook.reading_text import one_number
from testpour.logbook.sheet_cells import BLANK, DITTO, ERRORS, NOTHING, is_summary, unescape_cell
from testpour.logbook.sheet_columns import doubtful_day, doubtful_ticks, doubtful_unit, mean_of_those_above, unaged, without_unit
from testpour.logbook.sheet_days import Days, counted_anew, may_stand_alone, of_two_origins, only_shared
from testpour.logbook.text_and_dates import clock, made_on
from testpour.logbook.workbook import COVERED, DATED
from testpour.study.columns import NIL, NO, YES

ADVICE = {"text": "", "yes/no": " Where it was not so, write no.", "number": " Where there was none of it, write 0."}
NAMELESS = (
    "has a reading, but neither the name of a pour nor a setting, so nobody can tell which pour it is of. Write the name of its pour in this row too, "
    "whether it is the pour above or another; a later reading of the same kind goes in a column of its own, such as hardness at 168 h."
)
AMOUNT = re.compile(r"[\d.,]+\s*(?P<unit>[a-zA-Z]*)\.?")
MADE = {  # why a date is refused, and how to correct a whole column of such dates
    "has a year of two digits": " For a whole column, format its cells as year-month-day in a spreadsheet program.",
    "is not a date": " If it names a day without its date, head the column Session; if it says how old a casting was, head it Age (h).",
}
UNNAMED = (
    "this row has no pour's name, while others have one. Write it in, or repeat the name above if the row belongs to that pour; delete an average "
    "or a sum, or write average or sum in its first cell."
)


def read_rows(
    heads: Sequence[Head | None], rows: Iterable[tuple[int, list[str]]], decimal: str | None, problems: list[tuple[Any, ...]]
) -> tuple[list[dict[str, Any]], list[str]]:
    """The pours of numbered rows, as `Logbook.add_all` takes them, and sentences on what was skipped.

    What is wrong is added to `problems`: where, column, value and problem.
    """
    entries: list[dict[str, Any]] = []
    passed: list[str] = []
    unsaid: dict[Head, list[str]] = {}
    above: dict[Head, str] = {}
    alone: list[str] = []
    aged = next(filter(is_age, heads), None)
    days = Days(lambda number, cells: _entry(cells, number, decimal, problems, aged))
    pours: list[tuple[int, dict[Head, str]]] = []
    further: set[int] = set()  # rows that go on with a pour above
    for number, row in rows:
        cells = [(head, cell.strip()) for head, cell in zip(heads, row, strict=False) if head]
        if name := _summary(row, cells):
            reason = "is taken for an average, a sum or an aim, so it was not read. If it is a pour, write something else there."
            if name.endswith(":") and not is_summary(name):
                reason = "ends in a colon, so it is taken for a remark and was not read. If it is a pour, leave the colon out."
            passed.append(f"row {number} ({name}) {reason}")
            continue
        for head, cell in cells:
            if head.kind == "factor" and cell and _blank(head, cell):
                unsaid.setdefault(head, []).append(f"{number} ({cell})")
        written = dict(cells)
        cells = [(head, cell) for head, cell in cells if not _blank(head, cell)]
        if _is_remark(cells):
            if may_stand_alone(cells):
                days.waiting.append((number, cells))
            elif len(cells) == 1 and cells[0][0].name == "pour" and len(cells[0][1].split()) == 1:
                alone.append(f"{number} ({cells[0][1]})")
            else:
                days.remark(number, [cell for _, cell in cells] or _beside(heads, row))
            continue
        if shared := only_shared(cells):
            problems.append((f"row {number}", "", "", shared))
            continue
        if entries and _only_readings(heads, cells):
            problems.append((f"row {number}", "", "", NAMELESS))
            continue
        pours.append((number, written))
        cells = list(_repeated(cells, above, number, problems))
        above = {head: cell for head, cell in above.items() if head.name == "session"} | dict(cells)
        entry = _entry(cells, number, decimal, problems, aged)
        if not entry["settings"] and entry.get("pour") in {one.get("pour") for one in entries} - {None}:
            further.add(number)
        days.complete(entry)
        entries.append(entry)
    days.close()
    problems += _doubts(pours, further, days, entries, decimal)
    return entries, [*passed, *days.said(entries), *without_unit(pours), *_taken_so(entries, alone, unsaid)]


def _doubts(pours, further, days, entries, decimal):
    """Problems that only all the pours of a sheet together show."""
    unnamed = _unnamed(pours)
    yield from ((f"row {number}", "pour", "", UNNAMED) for number in unnamed)
    yield from doubtful_ticks([pour for pour in pours if pour[0] not in further.union(unnamed)])
    yield from unaged(pours)
    yield from doubtful_day(pours)
    yield from doubtful_unit(pours, decimal)
    yield from mean_of_those_above(pours, decimal)
    yield from days.timed(entries)
    yield from days.doubtful(pours)
    yield from counted_anew([(entry["where"], entry["session"], entry["made_at"].date() if "made_at" in entry else None) for entry in entries])
    yield from of_two_origins([*days.alone, *((number, written.items()) for number, written in pours)])


def _taken_so(entries, alone, unsaid):
    """Sentences on rows with a name alone, on pours without data, and on settings taken as not written down."""
    if alone:
        yield f"not read, because a name is all there is: row {listed(alone)}. If it was poured, write what is known beside it."
    bare = [entry for entry in entries if not any(map(entry.get, ("settings", "readings", "note")))]
    empty = [f"{entry['where'].removeprefix('row ')} ({entry.get('pour', 'no name')})" for entry in bare]
    if empty:
        yield f"taken for a pour, though without a setting, reading or note: row {first_few(empty)}. If nothing was poured, delete it."
    for head, places in unsaid.items():
        yield f"{head.text} was taken as not written down in row {listed(places)}.{ADVICE[getattr(head.column, 'kind', 'text')]}"


def _beside(heads, row):
    """The cells of a row below no header of the study's."""
    return [cell.strip() for place, cell in enumerate(row) if cell.strip() not in ("", COVERED) and not any(heads[place : place + 1])]


def _summary(row, cells):
    """The word that makes a row one of averages, sums or aims: its first cell, the pour's name, or the note of a row without a name."""
    first = next((cell.strip() for cell in row if cell.strip()), "")
    own = {head.name: cell for head, cell in cells if head.kind == "own"}
    names = [first, own.get("pour") or own.get("note", "")]
    no_names = {cell for head, cell in cells if head.kind != "own" or head.name == "note"}
    return next((name for name in names if is_summary(name, name not in no_names)), "")


def _unnamed(pours):
    """Numbers of the rows without a pour's name, if others have one: they may not be pours at all."""
    unnamed = [number for number, written in pours if all(cell in NOTHING for head, cell in written.items() if head.name == "pour")]
    return unnamed if len(unnamed) < len(pours) else []


def _blank(head, cell):
    """Whether a cell says nothing; the word none may also mean no or 0, or be a grade."""
    if head.kind == "own":
        return cell in NOTHING
    if head.kind == "reading":
        meant = {*NIL, *(grade.casefold() for grade in head.column.grades)}
    else:
        meant = {"yes/no": NO, "number": NIL, "text": set()}[head.column.kind]
    return cell.casefold() in BLANK - meant


def _repeated(cells, above, number, problems):
    """The cells of a row, with each ditto mark replaced by the cell above."""
    for head, cell in cells:
        read = head.kind == "reading" and head.part == "value"
        if cell.casefold() not in DITTO:
            yield head, cell
        elif head in above and not read:
            yield head, above[head]
        else:
            problem = "but each pour has readings of its own. Write the reading out" if read else "which is empty. Write out what is meant"
            problems.append((f"row {number}", head.text, cell, f"{cell} repeats the cell above, {problem}, or leave it empty."))


def _is_remark(cells):
    """Whether a row is a remark: it has no data, unless it names a pour and says more about it."""
    own = {head.name for head, _ in cells if head.kind == "own"}
    without = all(head.kind == "own" or (cell == COVERED and "pour" not in own) for head, cell in cells)
    return without and not ("pour" in own and len(own) > 1)


def _only_readings(heads, cells):
    """Whether a row holds only readings, in a sheet that names its pours, so that nobody can tell which pour they are of."""
    named = any(head and head.name == "pour" for head in heads)
    return named and all(head.kind == "reading" or head.name in ("age", "note", "by") for head, _ in cells)


def _entry(cells, number, decimal, problems, aged):
    where = f"row {number}"
    entry, asides = {"where": where, "settings": {}, "readings": []}, {}
    age = _age_beside(cells, number, decimal, problems, aged) if aged else None
    for head, cell in cells:
        if head is aged:
            continue
        try:
            if cell.casefold() in ERRORS:
                raise UnitProblem(f"{cell} is what a formula that failed shows. Correct the formula, or empty the cell.")
            if head.kind == "own":
                entry[head.name] = OWN_CELLS.get(head.name, lambda text: unescape_cell(text.removesuffix("T00:00:00")))(cell)  # a session may be a day
            elif head.kind == "factor":
                text = _lot(head, cell) if head.column.kind == "text" else _with_unit(cell, head.unit)
                entry["settings"][head.name] = one_number(head.column, text, decimal)
            elif head.part != "value":
                asides[head.name, head.age, head.specimen, head.part] = unescape_cell(cell)
            else:
                entry["readings"] += list(_readings(head, cell, decimal, age))
        except UnitProblem as problem:
            hint = next((hint for sign, hint in MADE.items() if head.name == "made_at" and sign in str(problem)), "")
            problems.append((where, head.text, cell, f"{problem}{hint}"))
    for (*key, part), text in asides.items():
        for reading in entry["readings"]:
            if [reading["reading"], reading["head_age"], reading["specimen"]] == key:
                reading[part] = text
    return entry


def _lot(head, cell):
    """The name of a lot; under a shortened header, such as Resin, a number may be an amount."""
    words, amount = head.column.words, AMOUNT.fullmatch(cell)
    short = len(re.findall(r"\w+", head.text)) < len(re.findall(r"\w+", words))
    if short and amount and (not amount["unit"] or any(measures(amount["unit"], one) for one in ("g", "mL"))):
        raise UnitProblem(
            f"{words}: {cell!r} may be an amount. If it is a lot, name the column {words}; if it is an amount, put its "
            f"unit in the header, as in {head.text} (g)."
        )
    return _no_date(cell)


def _no_date(cell):
    """The text of a cell, unless a spreadsheet program has taken it for a date."""
    if DATED.fullmatch(cell):
        problem = "is a date: spreadsheet programs turn an entry such as 1-2 into one. Format the cell as text, and write it again."
        raise UnitProblem(f"{cell[:10]} {problem}")
    return unescape_cell(cell)


OWN_CELLS: dict[str, Callable[[str], Any]] = {"pour": _no_date, "made_at": made_on, "clock": clock, "made_anyway": lambda cell: cell.casefold() in YES}


def _age_beside(cells, number, decimal, problems, aged):
    """Hours that the age column gives for readings of a row whose headers give no age; None where it has none."""
    cell = dict(cells).get(aged, "")
    if not any(without_age(head) for head, _ in cells):
        return None
    try:
        if not cell:
            raise UnitProblem("is empty beside a reading that changes with age. Write how long after mixing it was read.")
        text = _with_unit(cell, aged.unit)
        if not to_number(text, aged.text, decimal)[1]:
            raise UnitProblem(f"{cell} has no unit. Write it after the number, as in {cell} h, or in the header, as in {aged.text} (h).")
        return to_unit(text, "h", aged.text, decimal)
    except UnitProblem as problem:
        problems.append((f"row {number}", aged.text, cell, str(problem)))
        return 1.0  # the row is refused already: without an age each of its readings would be refused too


def _readings(head, cell, decimal, beside):
    """The readings of a cell, which may hold several of hardness. `beside` is the age that the row gives."""
    reading, age = head.column, head.age if head.age is not None else beside
    if age is None and len(reading.ages) == 1:
        age = reading.ages[0]
    if age is None and reading.ages:
        age = 1.0  # `unaged` refuses the sheet; this shows what else is wrong with the cell
    once = read_once(reading)
    for part in [cell] if once else re.split(r"\s*;\s*|,\s+", cell):
        if not once and reading.resolution >= 1 and re.fullmatch(r"\d+,\d+", part):
            raise UnitProblem(
                f"{reading.words}: {part!r} may be two readings or one with a comma. Write two as "
                f"{part.replace(',', '; ')}, and one in whole numbers."
            )
        yield {
            "reading": reading.name, "value": _with_unit(part, head.unit), "age": age, "column": head.text,
            "decimal": decimal, "specimen": head.specimen, "head_age": head.age,
        }


def _with_unit(cell, unit):
    """A cell with the unit of its header, if it has none of its own."""
    _no_date(cell)
    return f"{cell} {unit}" if unit and re.search(r"[\d¼-¾⅐-⅞]$", cell) and not PARTED.fullmatch(cell) else cell
