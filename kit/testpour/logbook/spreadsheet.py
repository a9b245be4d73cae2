"""Sheets in and out: a spreadsheet as people keep one, read whole or not at all."""

import re
import warnings
from pathlib import Path

import pandas as pd

from testpour.catalogue import YES
from testpour.logbook.door import moment
from testpour.logbook.entries import Entries, LogProblems, read_once
from testpour.logbook.headers import HeaderProblem, read_head
from testpour.logbook.sheet_cells import BLANK, read_cells, tame, untame
from testpour.units import UnitProblem


class IgnoredColumns(UserWarning):
    """A sheet has columns that are nothing of the study's; they were not read."""


def read_sheet(study, path):
    """Read a spreadsheet of pours.

    One row a pour. A header names a factor or a reading, by its name or its words, with a unit in
    brackets and an age where it matters: ``Thickness (in)``, ``hardness at 24 h (Shore D)``. Decimal
    commas, blank rows, rows with a remark only, "20-25", "did not gel by 2 h" and several hardness readings in a
    cell ("76; 78; 77") are understood. A session written once holds until the next one. Headers may be
    shortened: "Room (degF)", "post cure temp", "Hardness 24 h", "hardness 2".

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

    Warns
    -----
    IgnoredColumns
        Naming the columns that are nothing of the study's.
    """
    rows, decimal = read_cells(path)
    start, heads, problems = _find_heads(study, rows)
    if heads is None:
        names = ", ".join(c.words for c in (*study.factors, *study.readings))
        said = f"no row of {Path(path).name} has headers of this study. Headers may be: {names}."
        raise LogProblems([*problems, ("", "", "", said)])
    entries, session = [], ""
    for number, row in enumerate(rows[start + 1 :], start=start + 2):
        cells = [(head, cell.strip()) for head, cell in zip(heads, row, strict=False) if head]
        cells = [(head, cell) for head, cell in cells if not _blank(study, head, cell)]
        if _is_remark(cells):
            if entries and cells:  # a remark across the sheet belongs to the pour above it
                entries[-1]["note"] = " ".join([entries[-1].get("note", ""), *(untame(c) for _, c in cells)]).strip()
            continue
        entry = _entry(study, cells, number, decimal, problems)
        session = entry["session"] = entry.get("session") or session
        entries.append(entry)
    Entries(study).check(entries, problems)
    ignored = [text.strip() for head, text in zip(heads, rows[start], strict=True) if head is None and text.strip()]
    if ignored:
        warnings.warn(f"{Path(path).name}: not read: {', '.join(ignored)}.", IgnoredColumns, stacklevel=2)
    return entries


def _blank(study, head, cell):
    """Whether a cell says nothing; a grade may be called "none"."""
    if head.kind == "reading" and cell.casefold() in (g.casefold() for g in study.reading(head.name).grades):
        return False
    return cell in ("", "-", "–", "—") if head.kind == "own" else cell.casefold() in BLANK


def _is_remark(cells):
    """A row without data is a remark, unless it names a pour and more about it."""
    own = {head.name for head, _ in cells}
    return all(head.kind == "own" for head, _ in cells) and not ("pour" in own and own & {"made_at", "by"})


def _find_heads(study, rows):
    """Number of the header row, what each of its cells heads, and the problems of the headers."""
    for place, row in enumerate(rows[:40]):
        heads, problems = [], []
        for text in map(str.strip, row):
            try:
                heads.append(read_head(study, text))
            except (HeaderProblem, UnitProblem) as problem:
                heads.append(None)
                problems.append((f"row {place + 1}", text, "", str(problem)))
        ours = [head for head in heads if head is not None]
        if sum(head.kind != "own" for head in ours) >= 2:
            return place, heads, problems + _twice(study, ours, place)
    return 0, None, []


def _twice(study, heads, place):
    """Problems of two columns for one thing; hardness at several places may have several."""
    seen = set()
    for head in heads:
        key = (head.kind, head.name, head.age, head.specimen, head.part)
        once = head.kind != "reading" or head.part != "value" or read_once(study.reading(head.name))
        if key in seen and once:
            said = f"a second column for {head.name.replace('_', ' ')}. Rename or remove one of them."
            return [(f"row {place + 1}", head.text, "", said)]
        seen.add(key)
    return []


def _entry(study, cells, number, decimal, problems):
    where = f"row {number}"
    entry, asides = {"where": where, "settings": {}, "readings": []}, {}
    for head, cell in cells:
        try:
            if head.kind == "own":
                entry[head.name] = OWN_CELLS.get(head.name, untame)(cell)
            elif head.kind == "factor":
                factor = study.factor(head.name)
                text = untame(cell) if factor.kind == "text" else _with_unit(cell, head.unit)
                entry["settings"][head.name] = factor.parse(text, decimal)
            elif head.part != "value":
                asides[head.name, head.age, head.specimen, head.part] = untame(cell)
            else:
                entry["readings"] += list(_readings(study.reading(head.name), head, cell, decimal))
        except UnitProblem as problem:
            problems.append((where, head.text, cell, str(problem)))
    for (*key, part), text in asides.items():
        for reading in entry["readings"]:
            if [reading["reading"], reading["head_age"], reading["specimen"]] == key:
                reading[part] = text
    return entry


def _readings(reading, head, cell, decimal):
    """The readings of a cell; several hardness readings may stand in one."""
    age = head.age if head.age is not None else (reading.ages[0] if len(reading.ages) == 1 else None)
    for part in [cell] if read_once(reading) else re.split(r"\s*;\s*|,\s+", cell):
        if reading.resolution >= 1 and re.fullmatch(r"\d+,\d+", part):
            raise UnitProblem(
                f"{reading.words}: {part!r} may be two readings or one with a comma. Write two as "
                f"{part.replace(',', '; ')}, and one in whole numbers."
            )
        yield {
            "reading": reading.name, "value": _with_unit(part, head.unit), "age": age, "column": head.text,
            "decimal": decimal, "specimen": head.specimen, "head_age": head.age,
        }  # fmt: skip


def _with_unit(cell, unit):
    """A cell with the unit of its header, where it brings none of its own."""
    return f"{cell} {unit}" if unit and re.search(r"\d$", cell) else cell


OWN_CELLS = {"made_at": moment, "made_anyway": lambda cell: cell.casefold() in YES}


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
    off again. Initials and notes of single readings get a column of their own; where several places share
    a cell, theirs stay in the log.
    """
    path = Path(path)
    table = _table(castings)
    if path.suffix.casefold() == ".xlsx":
        _refuse_long(table, path)
        table.map(_as_number).to_excel(path, index=False)
    elif path.suffix.casefold() == ".csv":
        table.to_csv(path, index=False)
    else:
        raise ValueError(f"{path.name}: write to a name ending in .csv or .xlsx.")
    return path


def _refuse_long(table, path):
    """XLSX holds 32,767 characters in a cell (ECMA-376 leaves it open, spreadsheet programs do not)."""
    longest = max((len(cell) for name in table for cell in table[name]), default=0)
    if longest > 32767:
        raise ValueError(f"{path.name}: a note of {longest} characters does not fit an XLSX cell. Write to .csv.")


def _as_number(cell):
    """A plain number as a number, so that a spreadsheet can reckon with it; names such as 007 stay text."""
    if re.fullmatch(r"-?(0|[1-9]\d{0,11})(\.\d{1,12})?", cell) and f"{float(cell):.12g}" == cell:
        return float(cell)
    return cell


def _table(castings):
    pours, columns = castings.pours, {}
    columns["pour"] = [tame(str(name)) for name in pours.index]
    columns["session"] = [tame(text) for text in pours["session"]]
    columns["made at"] = [made.isoformat(sep=" ") for made in pours["made_at"]]
    for factor in castings.study.factors:
        head = f"{factor.words} ({factor.unit})" if factor.unit else factor.words
        columns[head] = [_written(factor, value) for value in pours[factor.name]]
    for (name, age, specimen), rows in castings.readings.groupby(["reading", "age", "specimen"], sort=False, dropna=False):
        reading = castings.study.reading(name)
        words = reading.words + (f", specimen {specimen}" if specimen else "")
        words += f" at {age:.12g} h" if pd.notna(age) else ""
        columns[f"{words} ({reading.unit})" if reading.unit else words] = _joined(pours, rows, _reading_words)
        if not rows["pour"].duplicated().any():
            for part in ("by", "note"):
                if (rows[part] != "").any():
                    columns[f"{words}, {part}"] = _joined(pours, rows, lambda row, p=part: tame(getattr(row, p)))
    for name in ("by", "note"):
        columns[name] = [tame(text) for text in pours[name]]
    return pd.DataFrame(columns)


def _joined(pours, rows, say):
    """One cell a pour; several readings parted by semicolons."""
    words = {}
    for row in rows.itertuples():
        words.setdefault(row.pour, []).append(say(row))
    return ["; ".join(words.get(pour, [])) for pour in pours.index]


def _written(factor, value):
    if factor.kind == "text":
        return tame(value) if isinstance(value, str) else ""
    if pd.isna(value):
        return ""
    return factor.show(value) if factor.kind == "yes/no" else f"{value:.15g}"


def _reading_words(row):
    ends = {"exact": "{0:.15g}", "between": "{0:.15g} to {1:.15g}", "not yet": "not yet at {0:.15g}"}
    return ends.get(row.known, "already by {1:.15g}").format(row.low, row.high)
