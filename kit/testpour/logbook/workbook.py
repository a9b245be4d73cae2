"""The first visible sheet of a workbook as rows of text."""

import datetime as dt
import io
import posixpath
import re
import warnings
from contextlib import closing
from pathlib import Path

from testpour.common.archive import Archive
from testpour.common.text_file import TextProblem
from testpour.common.wording import first_few, listed, shortened
from testpour.logbook.number_format import as_shown

LARGEST = 20_000_000  # bytes, unpacked
MOST = 200_000  # cells; ten thousand pours with twenty columns
ROWS, COLUMNS = 50_000, 500  # a filled cell beyond is a slip
LAST = 1_048_576  # rows of a sheet (ECMA-376 leaves it open, spreadsheet programs do not)
COVERED = "(merged)"  # written in the cells that a merged cell covers below its first row
DATED = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")  # a date as a cell keeps it
SOME = 5  # cells that a message names
# What openpyxl leaves out when it reads row by row (ECMA-376 part 1, 18.3.1.4 and 18.3.1.55). A text formula with an
# empty result has an empty value and the type "str".
FORMULA = re.compile(rb"<(?:\w+:)?c\b([^<>]*)>\s*<(?:\w+:)?f\b[^<>]*(?:/>|>[^<]*</(?:\w+:)?f>)\s*(<(?:\w+:)?v\s*(?:/>|>\s*</(?:\w+:)?v>))?\s*</(?:\w+:)?c>")
HIDDEN = re.compile(rb'<(?:\w+:)?row\s(?=[^<>]*\bhidden="(?:1|true)")[^<>]*?\br="(\d+)"')
HIDDEN_COLUMNS = re.compile(rb'<(?:\w+:)?col\s(?=[^<>]*\bhidden="(?:1|true)")(?=[^<>]*\bmin="(\d+)")[^<>]*\bmax="(\d+)"')
COMMENTS = re.compile(rb'<(?:\w+:)?Relationship\s(?=[^<>]*\bType="[^"]*/comments")[^<>]*?\bTarget="([^"]+)"')
COMMENTED = re.compile(rb'<(?:\w+:)?comment\s[^<>]*?\bref="([A-Z]+\d+)"')
FONTED = re.compile(rb"<(?:\w+:)?(?:strike|vertAlign)\b")  # a font of a part of a cell that may change what it says (18.4.10 and 18.4.14)
MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^<>]*?\bref="([A-Z]+\d+:[A-Z]+\d+)"')


class Figures(str):
    """A number that a cell stores as a number, in figures with a decimal point."""

    __slots__ = ()


def read_workbook(path: Path) -> tuple[list[list[str]], dict[tuple[int, int], int], list[str]]:
    """The filled cells of the first visible sheet as text, the cells beside a merged one, and sentences on what was not read.

    A number has the unit that its format shows. A cell merged over several rows leaves "(merged)" in each of these
    rows that holds anything else. One merged over several columns leaves their cells empty; the dictionary maps row
    and column of each of these, counted from 0, to the column in which the merged cell begins.
    """
    import openpyxl  # takes a while, and few sheets need it

    parts = Archive(path, "XLSX", LARGEST)
    parts.refuse_markup()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about parts that do not matter here, such as charts and input rules
        try:
            with closing(openpyxl.load_workbook(io.BytesIO(parts.raw), data_only=True, read_only=True, keep_links=False, rich_text=True)) as book:
                first = next((sheet for sheet in book.worksheets if sheet.sheet_state == "visible"), book.worksheets[0])
                others = [sheet for sheet in book.worksheets if sheet is not first and _holds_anything(sheet)]
                place = first._worksheet_path.lstrip("/")
                source = parts.read(place) or b""
                _refuse_formulas(source)
                _refuse_fonts(source)
                rows, struck, coloured = _filled(first)
                said = _unread(struck, others) + _only_coloured(rows, coloured) + _hidden(rows, source) + _commented(parts, place)
                return *_fill_merged(rows, source), said
        except (TextProblem, MemoryError):
            raise
        except Exception as problem:  # noqa: BLE001  a damaged workbook fails anywhere in a library that expects a whole one
            said = " ".join(str(problem).split())[:100] or type(problem).__name__
            raise TextProblem(f"not readable as XLSX ({said}). Open it in a spreadsheet program and save it again.") from None


def _unread(struck, others):
    """Sentences on what was not read."""
    lines = []
    if struck:
        lines.append(f"What is struck out was not read: {', '.join(struck)}. If it counts after all, remove the line through it.")
    if others:
        names = listed(f"{sheet.title} (hidden)" if sheet.sheet_state != "visible" else sheet.title for sheet in others)
        lines.append(
            f"Only the first visible sheet of a workbook is read, not {names}. Save a further sheet of pours as a file of its own "
            "and read it too."
        )
    return lines


def _hidden(rows, source):
    """Sentences on hidden rows or columns that were read."""
    from openpyxl.utils import get_column_letter

    numbers = [number for number in map(int, HIDDEN.findall(source)) if number <= len(rows) and any(rows[number - 1])]
    names = first_few([str(number) for number in numbers], SOME)
    lines = [f"Hidden rows were read too: row {names}. Delete what should not count."] if numbers else []
    width = len(rows[0]) if rows else 0
    places = [place for low, high in HIDDEN_COLUMNS.findall(source) for place in range(int(low), min(int(high), width) + 1)]
    letters = first_few([get_column_letter(place) for place in places if any(row[place - 1].strip() for row in rows)], SOME)
    return lines + ([f"Hidden columns were read too: column {letters}. Delete what should not count."] if letters else [])


def _commented(parts, place):
    """A sentence on comments that were not read."""
    folder, name = posixpath.split(place)
    targets = [found.decode() for found in COMMENTS.findall(parts.read(f"{folder}/_rels/{name}.rels") or b"")]
    texts = [parts.read(posixpath.normpath(posixpath.join("/", folder, target)).lstrip("/")) or b"" for target in targets]
    cells = [cell.decode() for text in texts for cell in COMMENTED.findall(text)]
    return [f"Comments on cells were not read: {first_few(cells, SOME)}. Write what should count in the cells."] if cells else []


def _filled(sheet):
    """Rows of cells as text, without empty cells at the end and empty rows below the last; what is struck out; coloured empty cells."""
    sheet.reset_dimensions()  # the size that a sheet gives may be wrong
    rows, crossed, mixed, coloured, seen, last = [], [], [], [], 0, 0
    for number, row in enumerate(sheet.iter_rows(), start=1):
        seen += len(row)
        texts, struck = _texts(row)
        mixed += [cell.coordinate for cell in row if _is_mixed(cell)]
        coloured += _coloured(row)
        crossed += [f"row {number}"] if struck and not any(texts) else struck
        while texts and not texts[-1].strip():
            texts.pop()
        if texts and (number > ROWS or len(texts) > COLUMNS):
            place = f"row {number}, column {len(texts)}"
            raise TextProblem(f"the cell in {place} ({texts[-1][:20]!r}) is far from any pour. Delete it and what is around it.")
        if seen > MOST:
            raise TextProblem(f"more than {MOST:,} cells. Keep one row for each pour, and delete what is not a pour.")
        if number > LAST:
            break
        if number <= ROWS:
            rows.append(texts)
        last = number if texts else last
    _refuse_mixed(mixed)
    width = max(map(len, rows[:last]), default=0)
    return [row + [""] * (width - len(row)) for row in rows[:last]], crossed, coloured


def _coloured(row):
    """The empty cells of a row with a colour that most of its other cells do not have."""
    fills = [(cell, getattr(cell, "fill", None)) for cell in row]
    shades = [(cell, fill.fgColor if fill and fill.fill_type else None) for cell, fill in fills]
    written = [shade for cell, shade in shades if cell.value is not None]
    return [cell for cell, shade in shades if shade and cell.value is None and 2 * written.count(shade) < len(written)]


def _only_coloured(rows, cells):
    """A sentence on empty cells below a header whose colour may mean something, which was not read."""
    columns = {column for row in rows for column, text in enumerate(row, start=1) if text.strip()}
    names = first_few([cell.coordinate for cell in cells if cell.column in columns], SOME)
    return [f"Cells with a colour and nothing else were read as empty: {names}. Write in them what the colour means."] if names else []


def _texts(row):
    """The cells of a row as text, without those struck out; and the names of these, each with its text."""
    texts, struck = [], []
    for cell in row:
        text = _cell(cell)
        if text.strip() and not isinstance(cell.value, list) and cell.font.strike:
            struck.append(f"{cell.coordinate} ({shortened(text.strip(), 20)})")
            text = ""
        texts.append(text)
    return texts, struck


def _is_mixed(cell):
    """Whether a part of a cell is struck out or raised, so that 251 may be 25 with a footnote mark; cm2 and H2O are clear."""
    text = ""
    for run in cell.value if isinstance(cell.value, list) else ():
        font = getattr(run, "font", cell.font)
        unit = text[-1:].isalpha() and (font.vertAlign == "subscript" or str(run) in ("2", "3"))
        if font.strike or (font.vertAlign in ("superscript", "subscript") and str(run).strip()[:1].isdigit() and not unit):
            return True
        text += str(run)
    return False


def _refuse_mixed(names):
    if names:
        raise TextProblem(f"a part of the text is struck out, raised or lowered: {first_few(names, SOME)}. Write only what counts, in one font.")


def _holds_anything(sheet):
    sheet.reset_dimensions()
    return any(cell.value is not None for row in sheet.iter_rows() for cell in row)


def _refuse_formulas(source):
    """Refuse a sheet with formulas that were never worked out: their cells would look empty."""
    cells = [re.search(rb'\br="([A-Z]+\d+)"', tag) for tag, value in FORMULA.findall(source) if not (value and b't="str"' in tag)]
    names = [found[1].decode() for found in cells if found]
    if names:
        raise TextProblem(
            f"formulas without a result: {first_few(names, SOME)}. Open it in a spreadsheet program and save it again, "
            "or write the values in their place."
        )


def _refuse_fonts(source):
    """Refuse cells with text in several fonts, where openpyxl joins 25 and a raised 1 into 251."""
    cells = [cell for cell in re.split(rb"</(?:\w+:)?c>", source) if b'"inlineStr"' in cell and FONTED.search(cell)]
    _refuse_mixed([name.decode() for cell in cells for name in re.findall(rb'\br="([A-Z]+\d+)"', cell)[-1:]])


def _fill_merged(rows, source):
    """`rows` with `COVERED` wherever a filled cell is merged downwards over a row that holds anything else, and what is merged across."""
    from openpyxl.utils import range_boundaries

    filled, across = [any(row) for row in rows], {}
    for span in MERGED.findall(source):
        column, top, right, bottom = range_boundaries(span.decode())
        if top > len(rows) or column > len(rows[0]) or not rows[top - 1][column - 1].strip():
            continue
        for row in range(top, min(bottom, len(rows))):
            if filled[row]:
                rows[row][column - 1] = COVERED
        across |= {(top - 1, place): column - 1 for place in range(column, min(right, len(rows[0])))}
    return rows, across


def _cell(cell):
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return Figures(as_shown(value, cell.number_format or ""))
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    if isinstance(value, dt.timedelta):  # a time of day that passed midnight, or one of more hours than a day has
        return f"{value // dt.timedelta(hours=1)}:{value // dt.timedelta(minutes=1) % 60:02}:{value.seconds % 60:02}"
    return str(value)
