"""The cells of a Data Package: values as text by the column's declared type, and back."""

import datetime as dt
import io
import json
import math
import warnings

import pandas as pd

from testpour.logbook.sheet_cells import tame, untame


def to_csv(table, columns):
    """Columns as the bytes of a CSV file.

    Parameters
    ----------
    table : Table
    columns : mapping
        Values by column name; None, NaN and the infinities become blank cells.
    """
    written = {}
    for field in table.fields:
        write = WRITE[field["type"]]
        written[field["name"]] = [_cell(value, write, field) for value in columns[field["name"]]]
    return pd.DataFrame(written, dtype=object).to_csv(index=False, lineterminator="\n").encode("utf-8")


def _cell(value, write, field):
    if value is None or (isinstance(value, float) and not math.isfinite(value)) or value is pd.NaT:
        return ""
    return write(value, field)


WRITE = {
    "string": lambda value, field: tame(value),
    "integer": lambda value, field: str(int(value)),
    "number": lambda value, field: repr(float(value)),
    "boolean": lambda value, field: field.get("trueValues" if value else "falseValues", ["true" if value else "false"])[0],
    "datetime": lambda value, field: value.isoformat(),
    "array": lambda value, field: json.dumps(list(value), ensure_ascii=False),
}


def from_csv(table, data, problems):
    """Columns of values by name from the bytes of a CSV file, or None where it is of another shape.

    Each cell that is not of its column's type is added to `problems`. A blank cell is None.
    """
    try:
        text = io.StringIO(data.decode("utf-8"), newline="")
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a row too long is only warned about
            held = pd.read_csv(text, dtype=str, keep_default_na=False, skip_blank_lines=False, index_col=False)
    except (ValueError, pd.errors.ParserWarning) as problem:
        problems.append(f"{table.path}: not readable as CSV in UTF-8 ({problem}).")
        return None
    expected = [field["name"] for field in table.fields]
    if list(held.columns) != expected:
        odd = [name for name in held.columns if name not in expected] or ["their order"]
        lacking = [name for name in expected if name not in held.columns]
        said = f"lacks {', '.join(lacking)}" if lacking else f"has other columns than it declares: {', '.join(odd)}"
        problems.append(f"{table.path}: {said}.")
        return None
    return {f["name"]: _column(table.path, f, held[f["name"]], problems) for f in table.fields}


def _column(path, field, cells, problems):
    read, values = READ[field["type"]], []
    required = field.get("constraints", {}).get("required")
    for number, text in enumerate(cells, start=2):
        value = None
        try:
            if isinstance(text, str) and text:
                value = read(text, field)
            elif required or not isinstance(text, str):
                problems.append(f"{path} row {number}, {field['name']}: nothing there. Every row needs one.")
        except (ValueError, KeyError, RecursionError):
            problems.append(f"{path} row {number}, {field['name']}: {text[:60]!r} is no {field['type']}.")
        values.append(value)
    return values


def _number(text, _):
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
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
    if text[:1] != "[":
        raise ValueError(text)
    return json.loads(text)


READ = {
    "string": lambda text, _: untame(text),
    "integer": lambda text, _: int(text),
    "number": _number,
    "boolean": _truth,
    "datetime": _moment,
    "array": _array,
}
