"""A logger's file as text within size limits, and its rows and columns, found by what the cells look like."""

import csv
import re
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from testpour.common.problems import Problems
from testpour.common.text_file import SEPARATORS, TextProblem, decimal_marks, read_text
from testpour.logbook.workbook import read_workbook

GROUPING = r"[' \u00a0]"  # between groups of digits
FEWEST = 5  # rows of a trace
HUGE = 1e15  # no logger writes larger numbers, and sums of them overflow
LARGEST = 20_000_000  # bytes
MOST = 200_000  # lines; a row every 5 s for eleven days, or one every second for two
SAMPLE = 3000  # lines from which the separator is found
NUMBER = re.compile(r"[-+\u2212]?(?:\d[\d.,' \u00a0]*|[.,]\d+)(?:[eE][-+]?\d+)?")
QUANTITY = re.compile(rf"({NUMBER.pattern})\s*(°\s*[CFK]|º\s*[CFK]|deg(?:\s|\.)*[CF]|[CFK]|s|sec|min|h)?", re.IGNORECASE)
TIMELIKE = re.compile(
    r"\d{1,4}:\d{1,2}(:\d{1,2}([.,]\d+)?)?(\s*[ap]\.?m\.?)?|\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?![\d.,]).*"
    r"|\d{1,2}(?:\. ?|[- ])[^\W\d_]{3,9}\.?[- ]\d{2,4}(?!\d).*",
    re.IGNORECASE,
)
BLANK = {"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "open", "err", "error", "ol", "o.l", "over", "fault", "hi", "lo", "?"}


class TraceProblems(Problems):
    """A file cannot be read as a temperature trace; `problems` lists each reason."""


def trace_text(path: Path) -> str:
    """The file as text; TraceProblems if there is no such file, or it is empty, too long, or not text."""
    path = Path(path)
    try:
        text = _of_workbook(path) if path.suffix.casefold() == ".xlsx" else read_text(path, LARGEST)
    except TextProblem as problem:
        raise TraceProblems(path.name, [f"{problem} A trace is what a temperature logger wrote of one casting, as text or a workbook (.xlsx)."]) from None
    if not text.strip():
        raise TraceProblems(path.name, ["nothing is in it. Export the trace from the logger again."])
    if text.count("\n") + text.count("\r") > 2 * MOST or len(text.splitlines()) > MOST:
        raise TraceProblems(path.name, [f"more than {MOST:,} lines. Cut the trace down to one casting, or log a row every few seconds."])
    return text


def _of_workbook(path):
    """The rows of a workbook's first visible sheet, a line each, with tabs between cells."""
    if not path.is_file():
        return read_text(path, LARGEST)  # says what is there instead
    return "\n".join("\t".join(" ".join(cell.split()) for cell in row) for row in read_workbook(path)[0])


@dataclass(frozen=True)
class Grid:
    """The block of rows that holds the trace."""

    heads: tuple[str, ...]  # the header of each column, name and unit joined; "" if none
    rows: tuple[tuple[str, ...], ...]  # cells, stripped
    lines: tuple[int, ...]  # number of each row's line in the file
    preamble: str  # the text above the block, for a unit stated once for all
    decimal: str
    skipped: tuple[str, ...]  # numbers of lines within the block that are not rows of it

    def column(self, k: int) -> list[str]:
        """The cells of column `k`, blanks as ""."""
        return ["" if row[k].casefold().strip("#. ") in BLANK else row[k] for row in self.rows]


def find_grid(name: str, text: str) -> Grid:
    """Find the separator, the block, its heads and its decimal mark; TraceProblems if there is no such block."""
    lines, best, count, width = _separated(text.replace("\x00", "").splitlines())
    if count < FEWEST:
        raise TraceProblems(name, [
            (f"{count or 'no'} rows look like a time and a temperature; a trace needs {FEWEST} or more, separated by commas, semicolons, "
            "tabs or blanks. Export the trace from the logger as CSV and give that.")
        ])
    rows = _split(lines, best)
    block = [k for k, row in enumerate(rows) if _is_data(row) and len(row) == width]
    inside = [k for k in sorted({*range(block[0], block[-1])} - {*block}) if any(rows[k])]
    heads, above = _heads(rows, block[0], width)
    _refuse_two_commas(name, best, rows, block)
    data = tuple(tuple(rows[k]) for k in block)
    return Grid(heads, data, tuple(k + 1 for k in block), above, _decimal(name, data), tuple(k + 1 for k in inside))


def _separated(lines):
    """The lines, the separator of their cells, how many look like rows of a trace, and their width; blanks separate as a last resort."""
    for blanks in (None, r"\s{2,}", r"\s+"):
        tried = lines if blanks is None else [re.sub(blanks, "\t", line.strip()) for line in lines]
        scores = {separator: _score(_split(tried[:SAMPLE], separator)) for separator in SEPARATORS}
        best = max(SEPARATORS, key=lambda separator: scores[separator][0])
        if scores[best][0] >= FEWEST:
            return tried, best, *scores[best]
    return lines, best, *scores[best]


@lru_cache(maxsize=300_000)
def cell_number(cell: str, decimal: str) -> tuple[float, str] | None:
    """A stripped cell as a float and the unit after it ("" for none); None if it is not a number."""
    match = QUANTITY.fullmatch(cell)
    if not match:
        return None
    digits = re.sub(GROUPING, "", match[1]).replace("\u2212", "-").rstrip(".,")
    thousands = "," if decimal == "." else "."
    whole = re.fullmatch(rf"[-+]?\d{{1,3}}(\{thousands}\d{{3}})+(\{decimal}\d+)?", digits)
    digits = digits.replace(thousands, "") if whole else digits
    if thousands in digits or digits.count(decimal) > 1 or not re.search(r"\d", digits):
        return None
    value = float(digits.replace(decimal, "."))
    return (value, (match[2] or "").replace(" ", "")) if abs(value) < HUGE else None


def _split(lines, separator):
    """Cells of each line; an empty last column, from a separator at the end of every line, is dropped."""
    rows = []
    for line in lines:
        try:
            cells = next(csv.reader([line], delimiter=separator), [])
        except csv.Error:
            cells = []
        rows.append([cell.strip() for cell in cells])
    open_ended = [len(row) > 2 and not row[-1] for row in rows if len(row) > 1]
    if open_ended and sum(open_ended) > 0.9 * len(open_ended):
        rows = [row[:-1] if len(row) > 1 and not row[-1] else row for row in rows]
    return rows


def _is_value(cell):
    return bool(TIMELIKE.fullmatch(cell) or QUANTITY.fullmatch(cell))


def _is_data(row):
    """A time or number first, or second after a row's number, and something to measure."""
    filled = [cell for cell in row if cell]
    if len(row) < 2 or not filled or not any(_is_value(cell) for cell in row[:2]):
        return False
    good = sum(_is_value(cell) or cell.casefold().strip("#. ") in BLANK for cell in row)
    return good >= max(2, len(row) - 2)


def _score(rows):
    """How many rows of one width look like data, and that width."""
    widths = Counter(len(row) for row in rows if _is_data(row) and sum(map(_is_value, row)) >= 2)
    if not widths:
        return 0, 0
    width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
    return count, width


def _heads(rows, first, width):
    """The header of each column, from the last lines before the block, and everything above as one text."""
    heads = [""] * width
    for place, row in enumerate(reversed(rows[max(first - 3, 0) : first])):
        like = abs(len(row) - width) <= 1 if place == 0 else len(row) == width and not any(map(_is_value, row))
        if not like or sum(map(bool, row)) < 2 or _is_data(row):
            break
        heads = [f"{cell} {head}".strip() for cell, head in zip([*row, ""][:width], heads, strict=True)]
    return tuple(heads), "\n".join(" ".join(row) for row in rows[:first])


def _refuse_two_commas(name, separator, rows, block):
    """Refuse ``10:00,23,5`` under two heads, where the comma separates cells and marks decimals as well."""
    if separator != ",":
        return
    named = next((len(rows[k]) for k in range(block[0] - 1, max(block[0] - 4, -1), -1) if sum(map(bool, rows[k])) >= 2), None)
    width, whole = len(rows[block[0]]), not any("." in cell for k in block for cell in rows[k])
    if named and whole and named < width <= 2 * named:
        raise TraceProblems(name, [
            (f"there are {named} heads above rows of {width} cells: the comma seems to separate cells and to mark decimals too. "
            "Export again with semicolons or tabs between the cells, or with decimal points.")
        ])


def _decimal(name, data):
    """The decimal mark: the one that is not a mark of thousands."""
    cells = [cell for row in data for cell in row if QUANTITY.fullmatch(cell) and not TIMELIKE.fullmatch(cell)]
    with_both = [c for c in cells if "," in c and "." in c]
    if with_both:
        return max(",.", key=lambda mark: sum(c.rfind(mark) > c.rfind("." if mark == "," else ",") for c in with_both))
    marks = decimal_marks(re.sub(GROUPING, "", cell) for cell in cells)
    comma, point = marks.get((",", "decimal")), marks.get((".", "decimal"))
    if comma and point:
        raise TraceProblems(name, [f"decimals are marked by commas ({comma!r}) and by points ({point!r}). Export again with one of them."])
    if comma or point:
        return "," if comma else "."
    return "," if {mark for mark, _ in marks} == {","} else "."
