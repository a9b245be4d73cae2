"""The cells of a spreadsheet as text, whatever program wrote it."""

import csv
import io
import re
from pathlib import Path

from testpour.common.text_file import SEPARATORS, TextProblem, decimal_marks, read_text
from testpour.common.wording import SHOWN, shortened
from testpour.logbook.tables import LogProblem
from testpour.logbook.workbook import COVERED, LARGEST, MOST, Figures, read_workbook

SPELT = re.compile(rf"\[(U\+(005B|{'|'.join(f'{one:04X}' for one in SHOWN)})\])")  # a character written out
ACTIVE = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # starts of a formula; the wide forms count in East Asia
GUARDED = (*ACTIVE, "'", *SEPARATORS)  # starts of a text that gets a leading quote
NOTHING = ("", "-", "–", "—")  # nothing, in any column; other words for it may be a name or a remark
BLANK = {"", "-", "–", "—", "n/a", "n.a.", "na", "none", "?", "nan", "unknown", "not known",
         "n/t", "n/m", "k.a.", "tbd", "tbc", "not tested", "not measured", "not taken", "not recorded"}  # nothing here
DITTO = {
    '"', "'", "''", "”", "“", "„", "〃", '-"-', "|", "↓", "do.", "dto.", "ditto", "idem", "same", "s/a", "as above", "same as above", COVERED,
}  # the same as the cell above
ERRORS = {"#n/a", "#ref!", "#div/0!", "#value!", "#name?", "#num!", "#null!", "#spill!", "#calc!"}  # what a formula that failed shows
AVERAGE = (
    r"(?:(?:(?:grand|overall|sub)[\s-]*)?(?:average|avg|mean|median|total|sum|ø|mittel|mittelw|mittelwert|durchschnitt|summe|gesamt|moyenne"
    r"|promedio|media|mediana|totale|somme|suma|somma)s?\.?)"
)
SUMMARY = re.compile(
    rf"{AVERAGE}(?:\s+(?:of|for|from|de|des|du|di|von|der|aus)\b.*|\s+\S*\d.*)?|s\.?d\.?|std\.?(?:\s*dev\.?)?|stdev"
    r"|standard deviation|min|max|minimum|maximum|range|count|n\s*=\s*\d+|targets?|aims?|goals?|best|worst|ideal|optimum|recommended"
)  # the first cell of a row that is not a pour: Average, Mean of 2, Ø A1-A2
AVERAGED = re.compile(rf"{AVERAGE}\s.*")  # and where pours have their names: Mean gel time, Subtotal Monday


def read_cells(path: str | Path) -> tuple[list[list[str]], str | None, dict[tuple[int, int], int], list[str]]:
    """Rows of text cells, the decimal mark if the file shows it, and for a workbook what is merged across and what was not read."""
    path = Path(path)
    if not path.exists():
        raise LogProblem(f"No sheet at {path}. Give its path, or put it beside the study file.")
    if path.suffix.casefold() not in (".csv", ".tsv", ".txt", ".xlsx"):
        raise LogProblem(f"{path.name} is neither a text file (.csv, .tsv, .txt) nor a workbook .xlsx. Open it where it was made, choose Save As, "
                         "take the file type that ends in .xlsx, and read that file.")
    try:
        if path.suffix.casefold() == ".xlsx":
            rows, across, unread = read_workbook(path)
            decimal = _decimal(cell for row in rows for cell in row if not isinstance(cell, Figures))
            if decimal == ",":  # in texts; a number of the workbook has a point so far
                rows = [[cell.replace(".", ",") if isinstance(cell, Figures) else cell for cell in row] for row in rows]
            return rows, decimal, across, unread
        rows = _text_rows(path)
        return rows, _decimal(cell for row in rows for cell in row), {}, []
    except TextProblem as problem:
        raise LogProblem(f"{path.name}: {problem}") from None


def _text_rows(path):
    text = read_text(path, LARGEST)
    lines = [line for line in text.splitlines() if line.strip(" ;,\t")][:20]
    # Pours have as many separators as their headers; a title above may hold more commas, but is a single row.
    separator = max(SEPARATORS, key=lambda mark: sorted((line.count(mark) for line in lines), reverse=True)[1::-1])
    if text.count(separator) + text.count("\n") > MOST:
        raise TextProblem(f"more than {MOST:,} cells. Keep one row for each pour, and delete what is not a pour.")
    return _split(text, separator)


def _split(text, separator):
    """Rows of cells. An open quotation mark would swallow the cells after it, so it is refused."""
    rows, ends = [], f"{separator}\r\n"
    try:
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True):
            bare = [cell.strip(" ") for cell in row]
            if any(cell and cell[0] in ends and cell[-1] in ends for cell in bare):  # two such marks, taken for one pair
                raise csv.Error
            rows.append(row)
    except csv.Error as problem:
        message = (
            f"a cell has more than {csv.field_size_limit():,} characters. Shorten it." if "limit" in str(problem) else
            'a cell begins with a quotation mark (") that does not close where the cell ends. Delete the mark; if it '
            "means the same as above, write ditto."
        )
        raise TextProblem(f"row {len(rows) + 1}: {message}") from None
    return rows


def _decimal(cells):
    """A decimal comma if it is certain: ``1,5`` or ``0,250`` is there, and no ``1.5``; ``1.200`` is then 1200."""
    marks = decimal_marks(cell.strip() for cell in cells)
    comma, point, either = (marks.get(key) for key in ((",", "decimal"), (".", "decimal"), (".", "either")))
    if comma and point and either:
        raise TextProblem(
            f"{shortened(comma)!r} has a decimal comma and {shortened(point)!r} a decimal point, so {shortened(either)!r} may be "
            "either of two numbers. Write all numbers with one of these marks, and none between thousands."
        )
    if either and not comma and not point:
        whole, part = (re.sub(r"\.(\d{3})", mark, shortened(either), count=1) for mark in (r"\1", r".\g<1>0"))
        raise TextProblem(
            f"{shortened(either)!r} may be {whole} or {part}, and no other number in the sheet shows which. Write it as the one that is meant."
        )
    return "," if comma and not point else None


def bare(text: str) -> str:
    """A cell as it is compared with the words of a sheet: in small letters, without a colon at its end."""
    return text.strip().casefold().removesuffix(":")


def is_summary(text: str, name: bool = False) -> bool:
    """Whether a cell names a row of averages, sums or aims; as the `name` of a pour also if other words follow, or if it ends in a colon.

    A small n alone counts the pours; a capital one may be the pour after M.
    """
    if name and (text.strip() == "n" or re.fullmatch(r"[^'].*[^\W\d_]\W*:", text.strip()) or AVERAGED.fullmatch(bare(text))):
        return True
    return SUMMARY.fullmatch(bare(text)) is not None


def _has_meaning(text):
    """Whether these words mean more to a sheet than their text."""
    return bare(text) in BLANK | DITTO | ERRORS or is_summary(text, name=True)


def escape_cell(text: str) -> str:
    """Text that a spreadsheet will show and not run: with a quote before a sign that begins a formula.

    Text that a sheet uses for "nothing here", "the same as above" or a row of averages gets one too, so that a pour
    called None keeps its name, and so does text that begins with a separator. Characters that reverse the order of words
    are written out, such as [U+202E].
    """
    text = SPELT.sub(r"[U+005B]\1", text).translate(SHOWN)
    meant = bool(bare(text)) and _has_meaning(text) and text != "min"  # the unit, which tables for other programs hold
    return f"'{text}" if text[:1] in GUARDED or meant else text


def unescape_cell(text: str) -> str:
    """Back from `escape_cell`."""
    rest = text[1:]
    text = rest if text[:1] == "'" and (rest[:1] in GUARDED or _has_meaning(rest)) and rest else text
    return SPELT.sub(lambda found: chr(int(found[2], 16)), text)
