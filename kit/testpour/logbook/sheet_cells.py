"""The cells of a spreadsheet as text, whatever program wrote it."""

import csv
import datetime as dt
import io
import re
from pathlib import Path

from testpour.logbook.tables import LogProblem
from testpour.wording import SHOWN

ACTIVE = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # starts of a formula; the wide forms count in East Asia
SPELT = re.compile(rf"\[(U\+(005B|{'|'.join(f'{one:04X}' for one in SHOWN)})\])")  # a character written out
SEPARATORS = ";\t,"
BLANK = {"", "-", "–", "—", "n/a", "na", "none", "?", "nan"}  # nothing here


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
        A comma where cells of a text file show it and none shows a point; unknown otherwise.

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
    wide = ("utf-16",) if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ()
    for coding in (*wide, "utf-8-sig", "cp1252", "latin-1"):
        try:
            text = raw.decode(coding)
            break
        except UnicodeDecodeError:
            continue
    lines = [line for line in text.splitlines() if line.strip(" ;,\t")]
    head = max(lines[:20], key=lambda line: max(map(line.count, SEPARATORS)), default="")
    separator = max(SEPARATORS, key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as problem:
        raise LogProblem(f"{path.name} is not readable as CSV: {problem}. Save it again as CSV or XLSX.") from None
    return rows, _decimal(rows)


def _decimal(rows):
    """A decimal comma where it is sure: ``1,5`` or ``0,250`` is there, and no ``1.5``."""
    cells = [cell.strip() for row in rows for cell in row]
    point = any(re.match(r"\d+\.\d+(?![\d.])(\s*\D|$)", cell) for cell in cells)
    comma = any(re.match(r"(\d+,(\d{1,2}|\d{4,})|0,\d{3})(?![\d,])(\s*[^\s\d]|$)", cell) for cell in cells)
    return "," if comma and not point else None


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
    """Text that a spreadsheet will show and not run: a leading quote before a sign it would act on.

    Text that a sheet uses for "nothing here" gets one too, so that a pour called None keeps its name. Characters
    that turn the order of words are written out, such as [U+202E].
    """
    text = SPELT.sub(r"[U+005B]\1", text).translate(SHOWN)
    return f"'{text}" if text[:1] in ACTIVE or text[:1] == "'" or text.casefold() in BLANK - {""} else text


def untame(text):
    """Back from `tame`."""
    rest = text[1:]
    text = rest if text[:1] == "'" and (rest[:1] in (*ACTIVE, "'") or rest.casefold() in BLANK) and rest else text
    return SPELT.sub(lambda found: chr(int(found[2], 16)), text)
