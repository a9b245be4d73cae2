"""Reading a spreadsheet as people keep one, all or nothing."""

import re
from pathlib import Path
from typing import Any

from testpour.common.problems import warn
from testpour.common.wording import listed, shortened
from testpour.logbook.entries import LogProblems, check_entries, read_once
from testpour.logbook.headers import WHEN
from testpour.logbook.sheet_cells import bare, read_cells
from testpour.logbook.sheet_columns import lists_readings, not_given
from testpour.logbook.sheet_days import counted_anew
from testpour.logbook.sheet_heads import find_heads, is_transposed, only_table, with_units_below
from testpour.logbook.sheet_rows import read_rows
from testpour.study.study import Study


class NotRead(UserWarning):
    """Something of a sheet was not read, and the rest was."""


def read_sheet(study: Study, path: str | Path) -> list[dict[str, Any]]:
    """Read a spreadsheet of pours.

    One row per pour; a further row of its name may have more readings of it. A header names a factor or a reading, by
    its name, its words or those of the trade, such as MEKP, with a unit in brackets and an age where it matters:
    ``Thickness (in)``, ``hardness at 24 h (Shore D)``; ages may stand in a row above the headers. Decimal commas, blank
    rows, "20-25", "did not gel by 2 h" and several hardness readings in a cell ("76; 78; 77")
    are understood. A session written once, beside a pour or in a row of its own, holds until the next one, and so does
    its date; without sessions, each day is one. A ditto mark repeats the cell above, except for a reading. Units may
    stand in a row below the headers. Headers may be shortened: "Room temp. (degF)", "post cure temp", "Hardness 24 h",
    "hardness 2". A column "Time" beside "Date" is the time of day; a column "Age (h)" gives the age of the readings of
    its row whose headers give none.

    Parameters
    ----------
    study : Study
    path : str or Path

    Returns
    -------
    list of dict
        Entries as `Logbook.add_all` takes them.

    Raises
    ------
    LogProblem
        If the file cannot be read, or has no header of this study.
    LogProblems
        With a table of every problem found: row as the spreadsheet numbers it, column, value, problem. Among them are
        a second table, and a setting that the study varies and no column gives, if one that was not read may be it.

    Warns
    -----
    NotRead
        Naming the lines above the headers, two rows of headers read together, settings that no column gives, the
        columns that are nothing of the study's or have no header, the rows taken for further readings of a pour above,
        the rows of averages, sums and aims, those that hold a remark alone, the rows and days that gave pours a
        session or a date, pours without either, the settings taken as not written down, what a workbook has struck out,
        hidden or coloured, and its further sheets.

    Examples
    --------
    >>> [entry["pour"] for entry in tp.read_sheet(study, "workshop-sheet.csv")]
    ['W1', 'W2', 'W3', 'W4', 'W5']
    """
    rows, decimal, across, unread = read_cells(path)
    headers = find_heads(study, rows, across)
    if is_transposed(study, headers.heads if headers else (), rows):
        advice = "the names of settings and readings are in the first column, one below the other. Write one row for each pour, below a row of these names: "
        raise LogProblems([("", "", "", advice + "copy the table in a spreadsheet program, and paste it transposed.")])
    if headers is None:
        names = ", ".join(c.words for c in (*study.factors, *study.readings))
        advice = f"no row of {Path(path).name} has headers of this study. Write one row for each pour, below a row of headers. Headers may be: {names}."
        if max(map(len, rows), default=0) == 1 and Path(path).suffix.casefold() != ".xlsx":
            advice = f"no row of {Path(path).name} has several cells. Separate them with tabs, semicolons or commas, not blanks or bars."
        raise LogProblems([("", "", "", " ".join([advice, *unread]))])
    start, texts, problems = headers.last, headers.texts, headers.problems
    if listing := lists_readings(study, rows, start, headers.heads):
        raise LogProblems([(f"row {start + 1}", "", "", listing)])
    first, heads = with_units_below(headers.heads, rows, start, problems)
    table_rows, repeated = only_table(study, headers, rows, first, problems)
    misread = {text: problem for _, text, _, problem in problems}
    entries, passed_over = read_rows(heads, enumerate(table_rows, start=first + 1), decimal, problems)
    pour_rows = [(entry["where"], rows[int(entry["where"].removeprefix("row ")) - 1]) for entry in entries]
    later = any("pour" in entry for entry in entries) and not any(entry["settings"] for entry in entries)  # readings of pours in the log
    asked: list[str] = []
    if not later:
        wrong, unknown, asked = not_given(study, texts, heads, [row for _, row in pour_rows], misread)
        problems += [(f"row {start + 1}", "", "", advice) for advice in wrong]
        passed_over += [*unknown, *asked]
    for place, text in enumerate(texts):
        if bare(text) in ("week", "woche", "kw", "month", "monat", "term"):
            weeks = ["".join(row[place : place + 1]).strip() or None for _, row in pour_rows]
            problems += counted_anew([(one["where"], one["session"], week) for one, week in zip(entries, weeks, strict=True)], text.strip())
    nameless = list(_without_header(texts, start, across, pour_rows, problems))
    entries, further = _joined(study, entries)
    try:
        check_entries(study, entries, problems)
    except LogProblems as refused:  # the sheet is refused anyway, so the questions are added
        raise LogProblems([*refused.problems.itertuples(index=False, name=None), *((f"row {start + 1}", "", "", words) for words in asked)]) from None
    ignored = [text.strip() for head, text in zip(heads, texts, strict=True) if head is None and text.strip()]
    if ignored:
        passed_over.insert(0, f"not read: {', '.join(ignored)}.")
    if further:
        advice = "If one is a pour of its own, give it another name; if it is an average, delete it."
        passed_over.append(f"taken for further readings of a pour above: {listed(further)}. {advice}")
    for text in (*_above(rows[: headers.first]), *filter(None, [headers.said]), *repeated, *nameless, *passed_over, *unread):
        warn(f"{Path(path).name}: {text}", NotRead)
    return entries


def _above(rows):
    """A sentence on lines above the headers that may be more than a title."""
    lines = []
    for number, row in enumerate(rows, start=1):
        filled = [cell.strip() for cell in row if cell.strip()]
        if len(filled) > 1 or re.search(r"[\d:=]|\b(?:all|each|every)\b", "".join(filled), re.IGNORECASE) or WHEN.search("".join(filled)):
            lines.append(f"row {number} ({shortened(', '.join(filled))})")
    if lines:
        yield f"not read, because above the headers: {listed(lines)}. Write what applied to every pour in a column of its own, in each row."


def _joined(study, entries):
    """One entry per pour, a further row of its name added to it; and the rows that were added, with the names."""
    joined, by_name, further = [], {}, []
    for entry in entries:
        first = by_name.setdefault(entry.get("pour") or entry["where"], entry)
        if first is entry or not _continues(study, first, entry):
            joined.append(entry)
            continue
        new_readings = [read for read in entry["readings"] if not (read_once(study.reading(read["reading"])) and _earlier_value(first, read))]
        first["readings"] += [{**read, "where": entry["where"]} for read in new_readings]
        if entry.get("note", "") not in first.get("note", ""):
            first["note"] = f"{first.get('note', '')} {entry['note']}".strip()
        further.append(f"{entry['where']} ({entry['pour']})")
    return joined, further


def _continues(study, first, entry):
    """Whether a row of the same name agrees with the first row of the pour, and is not a copy of it."""
    alike = all(entry.get(name, first.get(name)) == first.get(name) for name in ("session", "made_at", "by", "made_anyway"))
    pairs = [(read, _earlier_value(first, read)) for read in entry["readings"]]
    again = any(earlier not in (None, read["value"]) and read_once(study.reading(read["reading"])) for read, earlier in pairs)
    new = not entry["settings"] or any(earlier != read["value"] for read, earlier in pairs)
    return alike and new and not again and entry["settings"].items() <= first["settings"].items()


def _earlier_value(entry, read):
    """The value an entry has for a reading at the same age and place: the same one if it is among them; None if there is none."""
    keys = ("reading", "age", "specimen")
    values = [one["value"] for one in entry["readings"] if all(one[key] == read[key] for key in keys)]
    return read["value"] if read["value"] in values else next(iter(values), None)


def _without_header(texts, start, across, poured, problems):
    """A problem for each column of figures without a header, and a sentence on those of words."""
    words = []
    for column in range(max((len(row) for _, row in poured), default=0)):
        if (start, column) in across or "".join(texts[column : column + 1]).strip():
            continue
        filled = [(where, row[column].strip()) for where, row in poured if "".join(row[column : column + 1]).strip()]
        figures = [(where, cell) for where, cell in filled if re.search(r"\d", cell)]
        if figures and column:  # the first may just count the rows
            where, cell = figures[0]
            problem = f"{shortened(cell)} is in a column without a header. Write above it what it is, or delete it."
            problems.append((where, _column(column), cell, problem))
        elif filled:
            words.append(f"{_column(column)} ({shortened(filled[0][1])})")
    if words:
        yield f"not read, because without a header: {listed(words)}."


def _column(place):
    """A column as spreadsheet programs name it."""
    from openpyxl.utils import get_column_letter  # takes a while, and few sheets need it

    return f"column {get_column_letter(place + 1)}"
