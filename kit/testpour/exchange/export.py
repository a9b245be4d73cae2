"""Castings as a table that spreadsheets and other programs open."""

import io
import re
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pandas as pd

from testpour.common.files import Kind, free_for, put
from testpour.common.problems import Problem
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.known import known_of
from testpour.logbook.sheet_cells import escape_cell

MAKER = "testpour, table of castings"
LONGEST = 100_000  # bytes read to recognise an earlier table


def write_sheet(castings: Castings | Logbook, path: str | Path) -> Path:
    """Write the castings as a table for other programs, units in the headers; returns the path.

    Parameters
    ----------
    castings : Castings or Logbook
    path : str or Path
        Ending in .csv or .xlsx: one row per pour, as `read_sheet` reads it. Ending in .parquet: one row per
        reading, with the settings of its pour beside it; a pour without readings has one row.

    Returns
    -------
    Path

    Raises
    ------
    Problem
        If the ending is a different one, a note is too long for XLSX, or Parquet is not installed.
    FileNotFoundError
        If the folder of `path` does not exist.
    FileExistsError
        If there is anything but an earlier table of castings at `path`.

    Notes
    -----
    Cells that a spreadsheet would take for a formula get a leading quote, which `read_sheet` removes again. Initials
    and notes of single readings get a column of their own; if several readings share a cell, theirs are left out.
    Parquet has them all, and text without quotes.

    Examples
    --------
    >>> tp.write_sheet(castings, "castings.xlsx").name
    'castings.xlsx'
    """
    path = Path(path)
    write, known = WRITERS.get(path.suffix.casefold(), (None, None))
    if write is None or known is None:
        raise Problem(f"{path.name}: write to a name ending in .csv, .xlsx or .parquet.")
    kind = Kind("a table of castings", known)
    free_for(path, kind)
    return put(path, write(castings.castings() if isinstance(castings, Logbook) else castings, path), kind)


def _csv(castings, path):
    return _table(castings).to_csv(index=False).encode("utf-8")


def _xlsx(castings, path):
    table = _table(castings)
    _refuse_long(table, path)
    buffer = io.BytesIO()
    with pd.ExcelWriter(buffer, engine="openpyxl") as book:
        table.map(_as_number).to_excel(book, index=False)
        book.book.properties.creator = MAKER
    return buffer.getvalue()


def _parquet(castings, path):
    """Typed columns, each with its unit as metadata of the field."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise Problem(f'{path.name}: Parquet needs pyarrow. Install it with: pip install "testpour[parquet]"') from None
    study = castings.study
    pours = castings.pours.assign(**{
        f.name: castings.pours[f.name].map({1.0: True, 0.0: False}) if f.kind == "yes/no" else
        castings.pours[f.name].astype(object if f.kind == "text" else float) for f in study.factors
    })
    units = {reading.name: reading.unit for reading in study.readings}
    readings = castings.readings.replace([np.inf, -np.inf], np.nan).rename(columns={"by": "read by", "note": "read note"})
    readings = readings.assign(unit=readings["reading"].map(units))
    whole = pours.reset_index(names="pour").merge(readings, on="pour", how="left", sort=False)
    whole = whole.astype({"entry": "Int64"} if "entry" in whole else {})
    table = pa.Table.from_pandas(whole, preserve_index=False)
    unit_of = {f.name: f.unit for f in study.factors} | {"age": "h"}
    fields = [field.with_metadata({"unit": unit_of[field.name]}) if unit_of.get(field.name) else field for field in table.schema]
    buffer = io.BytesIO()
    pq.write_table(table.cast(pa.schema(fields, metadata={**table.schema.metadata, b"creator": MAKER.encode()})), buffer)
    return buffer.getvalue()


def _is_csv(path):
    """Whether the first line of a file is the header of such a table."""
    with open(path, "rb") as file:
        head = file.readline(LONGEST).rstrip(b"\r\n")
    return head.startswith(b"pour,session,made at,") and head.endswith(b",by,note")


def _is_xlsx(path):
    """Whether the properties of a file name this kit as its maker."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open("docProps/core.xml") as file:
            return f"<dc:creator>{MAKER}</dc:creator>".encode() in file.read(LONGEST)
    except (OSError, ValueError, KeyError, RuntimeError, zipfile.BadZipFile, zlib.error):
        return False


def _is_parquet(path):
    import pyarrow.parquet as pq

    try:
        return (pq.read_schema(path).metadata or {}).get(b"creator") == MAKER.encode()
    except (OSError, ValueError):
        return False


def _refuse_long(table, path):
    """XLSX holds 32,767 characters in a cell (ECMA-376 leaves it open, spreadsheet programs do not)."""
    longest = max((len(cell) for name in table for cell in table[name]), default=0)
    if longest > 32767:
        raise Problem(f"{path.name}: a note of {longest} characters does not fit an XLSX cell. Write to .csv.")


def _as_number(cell):
    """A plain number as a number, so that a spreadsheet can calculate with it; names such as 007 stay text."""
    if re.fullmatch(r"-?(0|[1-9]\d{0,11})(\.\d{1,12})?", cell) and f"{float(cell):.12g}" == cell:
        return float(cell)
    return cell


def _table(castings):
    pours, columns = castings.pours, {}
    columns["pour"] = [escape_cell(str(name)) for name in pours.index]
    columns["session"] = [escape_cell(text) for text in pours["session"]]
    columns["made at"] = ["" if pd.isna(made) else made.isoformat(sep=" ") for made in pours["made_at"]]
    for factor in castings.study.factors:
        head = f"{factor.words} ({factor.unit})" if factor.unit else factor.words
        never_no = factor.kind == "yes/no" and 1 in set(pours[factor.name]) and 0 not in set(pours[factor.name])
        columns[head] = [_setting_cell(factor, value) or "?" * never_no for value in pours[factor.name]]  # empty cells beside yes may be no
    for (name, age, specimen), rows in castings.readings.groupby(["reading", "age", "specimen"], sort=False, dropna=False):
        reading = castings.study.reading(name)
        words = reading.words + (f", specimen {specimen}" if specimen else "")
        words += f" at {age:.12g} h" if pd.notna(age) else ""
        columns[f"{words} ({reading.unit})" if reading.unit else words] = _joined(pours, rows, lambda row, reading=reading: known_of(row).words(reading, 15))
        if not rows["pour"].duplicated().any():
            for part in ("by", "note"):
                if (rows[part] != "").any():
                    columns[f"{words}, {part}"] = _joined(pours, rows, lambda row, p=part: escape_cell(getattr(row, p)))
    for name in ("by", "note"):
        columns[name] = [escape_cell(text) for text in pours[name]]
    return pd.DataFrame({escape_cell(head): cells for head, cells in columns.items()})


def _joined(pours, rows, say):
    """One cell per pour; several readings are separated by semicolons."""
    words = {}
    for row in rows.itertuples():
        words.setdefault(row.pour, []).append(say(row))
    return ["; ".join(words.get(pour, [])) for pour in pours.index]


def _setting_cell(factor, value):
    text = factor.bare(value, 15)
    return escape_cell(text) if factor.kind == "text" else text


WRITERS = {".csv": (_csv, _is_csv), ".xlsx": (_xlsx, _is_xlsx), ".parquet": (_parquet, _is_parquet)}
