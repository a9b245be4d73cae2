"""The cells of a spreadsheet as text, whatever program wrote it."""

import csv
import datetime as dt
from pathlib import Path

from testpour.logbook.tables import LogProblem

ACTIVE = ("=", "+", "-", "@", "\t", "\r")
SEPARATORS = ";\t,"


def read_cells(path):
    """Rows of text cells, and the decimal mark where the file tells it.

    Parameters
    ----------
    path : str or Path
        A .csv, .tsv, .txt or .xlsx file.

    Returns
    -------
    rows : list of list of str
    decimal : {".", ","} or None
        A comma where the cells are parted by semicolons, unknown otherwise.

    Raises
    ------
    LogProblem
        If the file is missing or of another kind.
    """
    path = Path(path)
    if not path.exists():
        raise LogProblem(f"No sheet at {path}. Give its path, or put it beside the study file.")
    if path.suffix.casefold() == ".xlsx":
        return _workbook(path), None
    if path.suffix.casefold() not in (".csv", ".tsv", ".txt"):
        raise LogProblem(f"{path.name} is neither CSV nor XLSX. Save the sheet as one of these.")
    return _text(path)


def _text(path):
    raw = path.read_bytes()
    for coding in ("utf-8-sig", "cp1252", "latin-1"):
        try:
            text = raw.decode(coding)
            break
        except UnicodeDecodeError:
            continue
    lines = [line for line in text.splitlines() if line.strip(" ;,\t")]
    head = max(lines[:20], key=lambda line: max(map(line.count, SEPARATORS)), default="")
    separator = max(SEPARATORS, key=head.count)
    try:
        rows = list(csv.reader(text.splitlines(keepends=True), delimiter=separator))
    except csv.Error as problem:
        raise LogProblem(f"{path.name} is not readable as CSV: {problem}. Save it again as CSV or XLSX.") from None
    return rows, "," if separator == ";" else None


def _workbook(path):
    from zipfile import BadZipFile

    import openpyxl

    try:
        book = openpyxl.load_workbook(path, data_only=True, read_only=True)
    except (BadZipFile, KeyError, ValueError, OSError) as problem:
        raise LogProblem(f"{path.name} is not readable as XLSX: {problem}. Save it again.") from None
    try:
        return [[_cell(cell) for cell in row] for row in book.worksheets[0].iter_rows()]
    finally:
        book.close()


def _cell(cell):
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        if "%" in (cell.number_format or ""):
            return f"{100 * value:.10g} %"
        return f"{value:.12g}"
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    return str(value)


def tame(text):
    """Text that a spreadsheet will show and not run: a leading quote before a sign it would act on."""
    return f"'{text}" if text[:1] in ACTIVE or text[:1] == "'" else text


def untame(text):
    """Back from `tame`."""
    return text[1:] if text[:1] == "'" and (text[1:2] in ACTIVE or text[1:2] == "'") and len(text) > 1 else text
