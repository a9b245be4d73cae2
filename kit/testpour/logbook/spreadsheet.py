"""Sheets in and out: a spreadsheet as people keep one, read whole or not at all."""

import datetime as dt
import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from testpour.catalogue import YES
from testpour.logbook.entries import Entries, LogProblems
from testpour.logbook.sheet_cells import read_cells, tame, untame
from testpour.units import UnitProblem, to_unit

BLANK = {"", "-", "–", "—", "n/a", "na", "none", "?", "nan"}
OWN = {
    "pour": ("pour", "name", "casting", "no", "nr", "number"),
    "session": ("session", "day"),
    "made_at": ("made at", "made_at", "date", "mixed at", "time", "when"),
    "by": ("by", "initials", "who"),
    "note": ("note", "notes", "remarks", "comment", "comments"),
    "made_anyway": ("made anyway", "made_anyway"),
}
HEAD = re.compile(r"^(?P<words>.*?)(?:\s+at\s+(?P<age>[\d.,]+\s*\w+))?\s*(?:\((?P<unit>[^)]*)\))?\s*(?:#?\d+)?\s*$")


@dataclass(frozen=True)
class Head:
    """What a column of the sheet holds.

    Parameters
    ----------
    kind : {"own", "factor", "reading"}
    name, unit, text : str
    age : float or None
        Hours, from a header such as "hardness at 24 h".
    """

    kind: str
    name: str
    unit: str
    text: str
    age: float | None = None


def read_sheet(study, path):
    """Read a spreadsheet of pours.

    One row a pour. A header names a factor or a reading, by its name or its words, with a unit in
    brackets and an age where it matters: ``Thickness (in)``, ``hardness at 24 h (Shore D)``. Decimal
    commas, blank rows, rows with a remark only, "20-25", "did not gel by 2 h" and several hardness readings in a
    cell ("76; 78; 77") are understood. A session written once holds until the next one.

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
        If the file cannot be read, or no header is of this study.
    LogProblems
        With a table of every problem found: row as the spreadsheet numbers it, column, value, problem.
    """
    rows, decimal = read_cells(path)
    start, heads = _find_heads(study, rows)
    if heads is None:
        names = ", ".join(c.words for c in (*study.factors, *study.readings))
        raise LogProblems([("", "", "", f"no row of {Path(path).name} has headers of this study. Headers may be: {names}.")])
    entries, problems, session = [], [], ""
    for number, row in enumerate(rows[start + 1 :], start=start + 2):
        cells = [(head, cell.strip()) for head, cell in zip(heads, row, strict=False) if head]
        cells = [(head, cell) for head, cell in cells if cell.casefold() not in BLANK]
        if not any(head.kind != "own" for head, _ in cells):
            if entries and cells:  # a remark across the sheet belongs to the pour above it
                entries[-1]["note"] = " ".join([entries[-1].get("note", ""), *(c for _, c in cells)]).strip()
            continue
        entry = _entry(study, cells, number, decimal, problems)
        session = entry["session"] = entry.get("session") or session
        entries.append(entry)
    Entries(study).check(entries, problems)
    return entries


def _find_heads(study, rows):
    """The first row with at least two headers of the study, and what each of its cells heads."""
    for place, row in enumerate(rows[:40]):
        heads = [_head(study, cell.strip()) for cell in row]
        if sum(head is not None and head.kind != "own" for head in heads) >= 2:
            return place, heads
    return 0, None


def _head(study, text):
    found = HEAD.match(text)
    words = re.sub(r"[\s_]+", " ", found["words"]).strip().casefold() if found else ""
    if not words:
        return None
    for name, aliases in OWN.items():
        if words in aliases:
            return Head("own", name, "", text)
    for kind, columns in (("factor", study.factors), ("reading", study.readings)):
        column = _named(columns, words)
        if column is not None:
            age = to_unit(found["age"], "h", text) if found["age"] else None
            return Head(kind, column.name, (found["unit"] or "").strip(), text, age)
    return None


def _named(columns, words):
    """The column of that name or words, or the only one that begins so."""
    exact = [c for c in columns if words in (c.name.replace("_", " ").casefold(), c.words.casefold())]
    begins = [c for c in columns if len(words) > 2 and c.words.casefold().startswith(words)]
    return exact[0] if exact else begins[0] if len(begins) == 1 else None


def _entry(study, cells, number, decimal, problems):
    where = f"row {number}"
    entry = {"where": where, "settings": {}, "readings": []}
    for head, cell in cells:
        try:
            if head.kind == "own":
                entry[head.name] = OWN_CELLS.get(head.name, untame)(cell)
            elif head.kind == "factor":
                factor = study.factor(head.name)
                text = untame(cell) if factor.kind == "text" else _with_unit(cell, head.unit)
                entry["settings"][head.name] = factor.parse(text, decimal)
            else:
                entry["readings"] += list(_readings(study.reading(head.name), head, cell, decimal))
        except UnitProblem as problem:
            problems.append((where, head.text, cell, str(problem)))
    return entry


def _readings(reading, head, cell, decimal):
    """The readings of a cell; several hardness readings may stand in one."""
    age = head.age if head.age is not None else (reading.ages[0] if len(reading.ages) == 1 else None)
    parts = re.split(r"\s*;\s*|,\s+", cell) if reading.ages and not reading.grades else [cell]
    for part in parts:
        yield {
            "reading": reading.name, "value": _with_unit(part, head.unit), "age": age, "column": head.text,
            "decimal": decimal,
        }  # fmt: skip


def _with_unit(cell, unit):
    """A cell with the unit of its header, where it brings none of its own."""
    return f"{cell} {unit}" if unit and re.search(r"\d$", cell) else cell


def _moment(cell):
    """A date and time: 2026-03-01 10:30, 1.3.2026 or 01/03/2026 only where the day is past the twelfth."""
    for form in (None, "%d.%m.%Y %H:%M", "%d.%m.%Y"):
        try:
            moment = dt.datetime.fromisoformat(cell) if form is None else dt.datetime.strptime(cell, form)
            return moment.replace(tzinfo=None)
        except ValueError:
            continue
    raise UnitProblem(f"date: {cell!r} is not a date. Write it like 2026-03-01 10:30.")


OWN_CELLS = {"made_at": _moment, "made_anyway": lambda cell: cell.casefold() in YES}


def write_sheet(castings, path):
    """Write the castings table as a spreadsheet, units in the headers; returns the path.

    Parameters
    ----------
    castings : Castings
    path : str or Path
        Ending in .csv or .xlsx.

    Returns
    -------
    Path

    Notes
    -----
    Cells that begin with a sign a spreadsheet would act on get a leading quote, which `read_sheet` takes
    off again. Initials and notes of single readings stay in the log.
    """
    path = Path(path)
    table = _table(castings)
    if path.suffix.casefold() == ".xlsx":
        table.to_excel(path, index=False)
    elif path.suffix.casefold() == ".csv":
        table.to_csv(path, index=False)
    else:
        raise ValueError(f"{path.name}: write to a name ending in .csv or .xlsx.")
    return path


def _table(castings):
    pours, columns = castings.pours, {}
    columns["pour"] = [tame(str(name)) for name in pours.index]
    columns["session"] = [tame(text) for text in pours["session"]]
    columns["made at"] = [moment.isoformat(sep=" ") for moment in pours["made_at"]]
    for factor in castings.study.factors:
        head = f"{factor.words} ({factor.unit})" if factor.unit else factor.words
        columns[head] = [_written(factor, value) for value in pours[factor.name]]
    for (name, age), rows in castings.readings.groupby(["reading", "age"], sort=False, dropna=False):
        reading = castings.study.reading(name)
        head = f"{reading.words} at {age:g} h ({reading.unit})" if pd.notna(age) else f"{reading.words} ({reading.unit})"
        words = {}
        for row in rows.itertuples():
            words.setdefault(row.pour, []).append(_reading_words(row))
        columns[head] = ["; ".join(words.get(pour, [])) for pour in pours.index]
    for name in ("by", "note"):
        columns[name] = [tame(text) for text in pours[name]]
    return pd.DataFrame(columns)


def _written(factor, value):
    if factor.kind == "text":
        return tame(value) if isinstance(value, str) else ""
    if pd.isna(value):
        return ""
    return factor.show(value) if factor.kind == "yes/no" else f"{value:.12g}"


def _reading_words(row):
    ends = {"exact": "{0:.12g}", "between": "{0:.12g} to {1:.12g}", "not yet": "not yet at {0:.12g}"}
    return ends.get(row.known, "already by {1:.12g}").format(row.low, row.high)
