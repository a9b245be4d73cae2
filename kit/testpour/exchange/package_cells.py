"""The cells of a Data Package: values as text by the column's declared type, and back."""

from __future__ import annotations

import datetime as dt
import io
import json
import math
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from testpour.logbook.sheet_cells import tame, untame
from testpour.text_file import nested
from testpour.wording import ESCAPED

if TYPE_CHECKING:
    from testpour.exchange.package_schema import Table


SHOWN = 20  # cells of a column named one by one


def to_csv(table: Table, columns: Mapping[str, Sequence[Any]]) -> bytes:
    """Columns as the bytes of a CSV file.

    Parameters
    ----------
    table : Table
    columns : mapping
        Values by column name; None, NaN and the infinities become blank cells.
    """
    written = {}
    for field in table.fields:
        # A value that comes again, as most do, is spelt once.
        place, different = pd.factorize(pd.Series(columns[field["name"]], dtype=object), use_na_sentinel=False)
        written[field["name"]] = np.array([_cell(value, field) for value in different], dtype=object)[place]
    return pd.DataFrame(written, dtype=object).to_csv(index=False, lineterminator="\n").encode("utf-8")


def _cell(value, field):
    if value is None or (isinstance(value, float) and not math.isfinite(value)) or value is pd.NaT:
        return ""
    return WRITE[field["type"]](value, field)


WRITE = {
    "string": lambda value, field: tame(value),
    "integer": lambda value, field: str(int(value)),
    "number": lambda value, field: repr(float(value)),
    "boolean": lambda value, field: field.get("trueValues" if value else "falseValues", ["true" if value else "false"])[0],
    "datetime": lambda value, field: value.isoformat(),
    "array": lambda value, field: json.dumps(list(value), ensure_ascii=False).translate(ESCAPED),
}


def from_csv(table: Table, data: bytes, problems: list[str]) -> dict[str, list[Any]] | None:
    """Columns of values by name from the bytes of a CSV file, or None where it is of another shape.

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
            held = pd.read_csv(text, dtype=str, keep_default_na=False, skip_blank_lines=False, index_col=False)
    except (ValueError, pd.errors.ParserWarning, OverflowError) as problem:
        problems.append(f"{table.path}: not readable as CSV in UTF-8 ({problem}). Ask for it again.")
        return None
    if list(held.columns) != expected:
        odd = [name for name in held.columns if name not in expected] or ["their order"]
        lacking = [name for name in expected if name not in held.columns]
        said = f"lacks {', '.join(lacking)}" if lacking else f"has other columns than it declares: {', '.join(odd)}"
        problems.append(f"{table.path}: {said}.")
        return None
    return {f["name"]: _column(table.path, f, held[f["name"]], problems) for f in table.fields}


def _column(path, field, cells, problems):
    """The values of a column; a cell that comes again, as most do, is read once."""
    place, different = pd.factorize(cells.astype(object), use_na_sentinel=False)
    read = [_value(text, field) for text in different]
    if any(said for _, said in read):
        wrong = ((row, read[number][1]) for row, number in enumerate(place, start=2))  # the header is row 1
        lines = [f"{path} row {row}, {field['name']}: {said}" for row, said in wrong if said]
        problems += [*lines[:SHOWN], *([f"{path}, {field['name']}: {len(lines) - SHOWN} more cells."] if len(lines) > SHOWN else [])]
    return [read[number][0] for number in place]


def _value(text, field):
    """The value of a cell, None where it is blank, and what is wrong with it."""
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


def _whole(text, _):
    value = int(text)
    if abs(value) >= 2**53:  # no log counts so far, and no table holds it
        raise ValueError(text[:60])
    return value


def _truth(text, field):
    words = {field.get("trueValues", ["true"])[0]: True, field.get("falseValues", ["false"])[0]: False}
    return words[text]


def _moment(text, _):
    value = dt.datetime.fromisoformat(text)
    if value.tzinfo:
        raise ValueError(text)
    return value


def _array(text, _):
    if text[:1] != "[" or len(text) > 10_000 or nested(text) > 2:
        raise ValueError(text)
    return json.loads(text)


READ = {
    "string": lambda text, _: untame(text),
    "integer": _whole,
    "number": _number,
    "boolean": _truth,
    "datetime": _moment,
    "array": _array,
}
