"""The tables of a Data Package: values to text and back by the column's declared type, and checks that they can be a log."""

import datetime as dt
import io
import json
import math
import warnings
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.text_file import json_depth
from testpour.common.wording import ESCAPED
from testpour.exchange.package_schema import Table
from testpour.logbook.castings import formatted
from testpour.logbook.known import how_known
from testpour.logbook.sheet_cells import escape_cell, unescape_cell
from testpour.logbook.tables import UNDATED
from testpour.study.study import Study

SHOWN = 20  # cells of a column named one by one
ROWS_SHOWN = 5  # rows named in a problem


def package_csv(table: Table, columns: Mapping[str, Sequence[Any]]) -> bytes:
    """Columns as the bytes of a CSV file; None, NaN, infinities and unknown days become blank cells."""
    written = {}
    for field in table.fields:
        written[field["name"]] = formatted(pd.Series(columns[field["name"]], dtype=object), partial(_cell, field=field))
    return pd.DataFrame(written, dtype=object).to_csv(index=False, lineterminator="\n").encode("utf-8")


def _cell(value, field):
    if value is None or (isinstance(value, float) and not math.isfinite(value)) or value is pd.NaT or value == UNDATED:
        return ""
    return WRITE[field["type"]](value, field)


WRITE = {
    "string": lambda value, field: escape_cell(value),
    "integer": lambda value, field: str(int(value)),
    "number": lambda value, field: repr(float(value)),
    "boolean": lambda value, field: field.get("trueValues" if value else "falseValues", ["true" if value else "false"])[0],
    "datetime": lambda value, field: value.isoformat(),
    "array": lambda value, field: json.dumps(list(value), ensure_ascii=False).translate(ESCAPED),
}


def from_csv(table: Table, data: bytes, problems: list[str]) -> dict[str, list[Any]] | None:
    """Columns of values by name from the bytes of a CSV file, or None if it does not have these columns.

    Each cell that is not of its column's type is added to `problems`. A blank cell is None.
    """
    expected = [field["name"] for field in table.fields]
    if b"\0" in data or data[: data.find(b"\n")].count(b",") > 3 * len(expected) + 50:
        problems.append(f"{table.path}: not readable as CSV in UTF-8 (no table of {len(expected)} columns). Ask for it again.")
        return None
    try:
        text = io.StringIO(data.decode("utf-8"), newline="")
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a row too long is only warned about
            frame = pd.read_csv(text, dtype=str, keep_default_na=False, skip_blank_lines=False, index_col=False)
    except (ValueError, pd.errors.ParserWarning, OverflowError) as problem:
        problems.append(f"{table.path}: not readable as CSV in UTF-8 ({problem}). Ask for it again.")
        return None
    if list(frame.columns) != expected:
        odd = [name for name in frame.columns if name not in expected] or ["their order"]
        lacking = [name for name in expected if name not in frame.columns]
        message = f"lacks {', '.join(lacking)}" if lacking else f"has other columns than it declares: {', '.join(odd)}"
        problems.append(f"{table.path}: {message}. Another version of testpour may have written it: update testpour, or ask for it again.")
        return None
    return {f["name"]: _column(table.path, f, frame[f["name"]], problems) for f in table.fields}


def _column(path, field, cells, problems):
    """The values of a column; a distinct cell is read only once, since most repeat."""
    place, different = pd.factorize(cells.astype(object), use_na_sentinel=False)
    read = [_value(text, field) for text in different]
    if any(problem for _, problem in read):
        wrong = ((row, read[number][1]) for row, number in enumerate(place, start=2))  # the header is row 1
        lines = [f"{path} row {row}, {field['name']}: {problem}" for row, problem in wrong if problem]
        problems += [*lines[:SHOWN], *([f"{path}, {field['name']}: {len(lines) - SHOWN} more cells."] if len(lines) > SHOWN else [])]
    return [read[number][0] for number in place]


def _value(text, field):
    """The value of a cell, None if it is blank, and what is wrong with it."""
    if not isinstance(text, str) or (not text and field.get("constraints", {}).get("required")):
        return None, "nothing there. Every row needs one."
    try:
        return (READ[field["type"]](text, field) if text else None), ""
    except (ValueError, KeyError, RecursionError):
        return None, f"{text[:60]!r} is not a valid {field['type']}."


def _number(text, _):
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _integer(text, _):
    value = int(text)
    if abs(value) >= 2**53:  # larger than any entry number, and than a table can hold
        raise ValueError(text[:60])
    return value


def _datetime(text, _):
    value = dt.datetime.fromisoformat(text)
    if value.tzinfo:
        raise ValueError(text)
    return value


def _array(text, _):
    if text[:1] != "[" or len(text) > 10_000 or json_depth(text) > 2:
        raise ValueError(text)
    return json.loads(text)


READ = {
    "string": lambda text, _: unescape_cell(text),
    "integer": _integer,
    "number": _number,
    "boolean": lambda text, field: {field.get("trueValues", ["true"])[0]: True, field.get("falseValues", ["false"])[0]: False}[text],
    "datetime": _datetime,
    "array": _array,
}


def check_castings(study: Study, pours: pd.DataFrame, readings: pd.DataFrame, units: Sequence[str], problems: list[str]) -> None:
    """Add to `problems` what cannot be: names that do not match, ends out of order, values out of range.

    `units` has the stated unit of each reading.
    """
    def refuse(table, wrong, words):
        rows = np.flatnonzero(np.asarray(wrong, dtype=bool)) + 2  # the header is row 1
        if len(rows):
            more = f" and {len(rows) - ROWS_SHOWN} more" if len(rows) > ROWS_SHOWN else ""
            problems.append(f"{table}.csv row {', '.join(map(str, rows[:ROWS_SHOWN]))}{more}: {words}")

    refuse("pours", pours["pour"].duplicated(), "an earlier row has a pour of that name. Give each pour a name of its own.")
    refuse("readings", readings["entry"].duplicated(), "an earlier row has that entry number.")
    refuse("readings", ~readings["pour"].isin(pours["pour"]), "no such pour in pours.csv.")
    refuse("readings", ~readings["reading"].isin([r.name for r in study.readings]), "no such reading in the study.")
    nothing = (readings["low"] > readings["high"]) | np.isinf(readings[["low", "high"]]).all(axis=1)
    refuse("readings", nothing | (readings["known"] != how_known(readings)), "low, high and known do not agree.")
    for factor in study.factors:
        if factor.kind == "number":
            wrong = ~pours[factor.name].isna() & ~pours[factor.name].between(factor.low, factor.high)
            refuse("pours", wrong, f"{factor.words} is outside {factor.range_words}.")
    for reading in study.readings:
        of_reading = readings["reading"] == reading.name
        refuse("readings", of_reading & (pd.Series(units, dtype=object).fillna("") != reading.unit),
               f"{reading.words} is not in {reading.unit or 'plain numbers'}.")
        refuse("readings", of_reading & _out_of_range(readings, reading), f"{reading.words} is outside {reading.range_words}.")
        ages = readings["age"]
        wrong = ~(ages > 0) if reading.ages else ages.notna()
        refuse("readings", of_reading & wrong, f"{reading.words} {'needs an age above 0 h' if reading.ages else 'has no age'}.")


def _out_of_range(readings, reading):
    """Whether an end is out of range, or not a grade."""
    wrong = pd.Series(False, index=readings.index)
    for end in (readings["low"], readings["high"]):
        closed = np.isfinite(end)
        wrong |= closed & ~end.between(reading.low, reading.high)
        if reading.grades:
            wrong |= closed & (end % 1 != 0)
    return wrong
