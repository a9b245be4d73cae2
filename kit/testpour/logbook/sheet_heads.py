"""The rows of headers of a sheet: where they are, what each of their cells heads, and the units below them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from testpour.common.units import UnitProblem, measures, to_unit
from testpour.common.wording import listed, shortened
from testpour.logbook.entries import read_once
from testpour.logbook.headers import AGE, COUNTED, WHEN, Head, HeaderProblem, checked_unit, is_age, last_unit, read_head, without_age
from testpour.logbook.sheet_cells import unescape_cell
from testpour.logbook.workbook import COVERED
from testpour.study.study import Study

HIGHEST = 40  # rows in which the headers are looked for
AGED = re.compile(rf"(?:[^\W\d]+ )?(?:{AGE}|{WHEN.pattern})(?: \w+)?", re.IGNORECASE)  # a label above headers that gives an age


@dataclass(frozen=True)
class Headers:
    """The row of headers of a sheet, or two rows read together."""

    first: int  # its row, counted from 0
    last: int  # the same, or the second of two
    texts: list[str]
    heads: list[Head | None]
    problems: list[tuple[str, str, str, str]]
    said: str = ""  # how two rows were read together


def find_heads(study: Study, rows: Sequence[Sequence[str]], across: Mapping[tuple[int, int], int]) -> Headers | None:
    """The headers of a sheet, None if it has none; `across` is what is merged across, as `read_cells` returns it."""
    for place, texts in enumerate(rows[:HIGHEST]):
        if not _are_headers(study, texts):
            continue
        labels = _spread(rows, place - 1, across) if place else [""] * len(texts)
        first = last = place
        if place + 1 < len(rows) and _names_more(study, texts, rows[place + 1]):
            last, labels = place + 1, _spread(rows, place, across)
            texts = _together(study, labels, rows[last])
        elif any(AGED.fullmatch(label) for label in labels) and (joined := _together(study, labels, texts)) != list(texts):
            first, texts = place - 1, joined
        return _headers(study, rows, (first, last), texts, labels, across)
    return None


def _headers(study, rows, span, texts, labels, across):
    """The `Headers` in rows from first to last of `span`, with these texts and the labels above them."""
    first, last = span
    heads, problems = [], []
    for text in texts:
        head, problem = _head(study, text.strip())
        heads.append(head)
        problems += [(f"row {last + 1}", text.strip(), "", problem)] if problem else []
    for (row, column), origin in across.items():  # a header merged over several columns heads those that hold anything
        if row == last and any(below[column].strip() for below in rows[last + 1 :]):
            heads[column] = heads[origin]
    heads = _with_clock(_without_counter(heads))
    problems += _duplicates(heads, labels, last)
    asked = any(without_age(head) for head in heads if head)
    changed = [new for new, *old in zip(texts, *rows[first : last + 1], strict=False) if new not in old]
    sentence = f"row {first + 1} and row {last + 1} were read together as headers: {listed(changed)}." if changed else ""
    return Headers(first, last, list(texts), [None if is_age(head) and not asked else head for head in heads], problems, sentence)


def _are_headers(study, texts):
    """Whether a row is one of headers: one of its cells names a setting or a reading, and another does so too, or the pour."""
    found = [_head(study, text.strip()) for text in texts]
    heads, problems = [head for head, _ in found], [problem for _, problem in found if problem]
    poured = any(head.name == "pour" for head in heads if head)  # whose later readings one column may bring
    return len(_named(heads)) + len(problems) + poured >= 2 and bool(_named(heads) or problems)


def _spread(rows, place, across):
    """The cells of a row, one that is merged across in each of its columns."""
    origins = {column: first for (row, column), first in across.items() if row == place}
    return [rows[place][origins.get(column, column)].strip() for column in range(len(rows[place]))]


def _names_more(study, upper, lower):
    """Whether a row below headers names settings or readings too, in columns that the headers leave open, and holds no figures."""
    return _may_head(lower) and any(_named([_head(study, low.strip())[0]]) and not _head(study, up.strip())[0] for up, low in zip(upper, lower, strict=False))


def _together(study, labels, texts):
    """The headers of two rows read together: an age also applies to the readings to its right with nothing above them."""
    both, aged = [], ""
    named = [(label, _named([_head(study, text.strip())[0]])) for label, text in zip(labels, texts, strict=False)]
    titles = {label for label, found in named if found and found[0][0] == "factor"}  # over settings too, as the title of a sheet
    for label, text in zip(labels, map(str.strip, texts), strict=False):
        head = _head(study, text)[0]
        if label or (head and head.kind != "reading"):
            aged = label if AGED.fullmatch(label) and label not in titles else ""
        if not text or text == COVERED:
            both.append(label)
        elif head and without_age(head) and aged:
            both.append(f"{text} {aged}")
        elif head or not label or AGED.fullmatch(label):
            both.append(text)
        else:
            both.append(label if last_unit(label) else f"{label} ({text})" if last_unit(text) == text else f"{label} {text}")
    return both


def _without_counter(heads):
    """The heads without that of a column that counts the pours, if another gives their names."""
    named = [head for head in heads if head and (head.kind, head.name) == ("own", "pour")]
    counters = [head for head in named if head.text.casefold().strip(" .:") in COUNTED]
    return [None if head in counters and len(named) > len(counters) == 1 else head for head in heads]


def _head(study, text):
    """The `Head` of a header cell, and what is wrong with it; "" if nothing is."""
    try:
        return read_head(study, unescape_cell(text)), ""
    except (HeaderProblem, UnitProblem) as problem:
        return None, str(problem)


def _named(heads):
    """The settings and readings that headers name."""
    return [(head.kind, head.name) for head in heads if head and head.kind != "own"]


def is_transposed(study: Study, heads: Sequence[Head | None], rows: Sequence[Sequence[str]]) -> bool:
    """Whether a table is transposed: its first column names more settings and readings than the row of headers, if any, which names one there too."""
    down = _named(_head(study, row[0].strip())[0] for row in rows[:HIGHEST] if row)
    return (not heads or bool(_named(heads[:1]))) and len(set(down)) > max(2, len(_named(heads)))


def _with_clock(heads):
    """The heads; of two columns for when a pour was made, the one not called Date is taken for its time of day."""
    made = [head for head in heads if head and (head.kind, head.name) == ("own", "made_at")]
    clocks = [head for head in made if not re.search(r"\bdat(?:e|um)\b", head.text, re.IGNORECASE)]
    return [replace(head, name="clock") if head and [head] == clocks and len(made) == 2 else head for head in heads]


def _duplicates(heads, labels, place):
    """Problems of two columns for one thing; hardness at several places may have several, unless their labels differ."""
    seen = {}
    for head, label in zip(heads, labels, strict=False):
        if not head:
            continue
        key = (head.kind, head.name, head.age, head.specimen, head.part)
        once = head.kind != "reading" or head.part != "value" or read_once(head.column)
        other, above = seen.get(key, (head, label))
        if key in seen and (once or above != label):
            apart = f" Above them are {above or 'nothing'} and {label or 'nothing'}: write the difference in each header." if above != label else ""
            problem = f"a second column for {head.name.replace('_', ' ')}, beside {other.text}.{apart} Rename or remove one of them."
            return [(f"row {place + 1}", head.text, "", problem)]
        seen[key] = (head, label)
    return []


def only_table(
    study: Study, found: Headers, rows: Sequence[list[str]], first: int, problems: list[tuple[str, str, str, str]]
) -> tuple[list[list[str]], list[str]]:
    """The rows from `first` on that are below these headers, and a sentence on rows that repeat them.

    Other headers below them begin a second table: that is added to `problems`, and no row of it is read.
    """
    rows_below: list[list[str]] = []
    repeated: list[str] = []
    for number, row in enumerate(rows[first:], start=first + 1):
        if not _may_head(row) or not _are_headers(study, row):
            rows_below.append(row)
        elif [cell.strip() for cell in row] == [text.strip() for text in rows[found.last]]:
            rows_below.append([""] * len(row))
            repeated.append(str(number))
        else:
            problem = f"this row has other headers ({shortened(listed(filter(None, map(str.strip, row))))}), so a second table begins."
            advice = "Save it as a sheet of its own and read that too, or copy its columns beside the first table, in the row of each pour."
            problems.append((f"row {number}", "", "", f"{problem} {advice}"))
            break
    return rows_below, [f"skipped, because it repeats the headers: row {listed(repeated)}."] if repeated else []


def _may_head(row):
    """Whether a row of two filled cells or more holds no figures but ages."""
    filled = [cell.strip() for cell in row if cell.strip()]
    return len(filled) > 1 and not any(cell[0].isdigit() and not re.fullmatch(AGE, cell, re.IGNORECASE) for cell in filled)


def with_units_below(
    heads: Sequence[Head | None], rows: Sequence[Sequence[str]], start: int, problems: list[tuple[str, str, str, str]]
) -> tuple[int, list[Head | None]]:
    """Where the pours begin below the headers, and the heads with the units of a row of units."""
    if len(rows) == start + 1:
        return start + 1, list(heads)
    row = ["" if cell == COVERED else cell for cell in rows[start + 1]]  # a header may be merged over two rows
    found = _units_below(heads, row)
    if found is None:
        return start + 1 + (not any(row)), list(heads)
    problems += [(f"row {start + 2}", *problem) for problem in found[1]]
    return start + 2, found[0]


def _units_below(heads: Sequence[Head | None], row: Sequence[str]) -> tuple[list[Head | None], list[tuple[str, str, str]]] | None:
    """The heads with the units in a row below the headers, or None if it is not a row of units.

    With them come header, cell and problem of each unit that is refused.
    """
    texts = [text.strip().strip("()[]").strip() for text in row] + [""] * len(heads)
    columns = [(head, text, _measured_by(head)) for head, text in zip(heads, texts, strict=False)]
    if not _are_units([one for one in columns if one[2]]):
        return None
    new_heads, problems = [], []
    for head, text, column in columns:
        if head and column and text:
            try:
                head = replace(head, unit=_unit_below(head, column, text))
            except HeaderProblem as problem:
                problems.append((head.text, text, str(problem)))
        new_heads.append(head)
    return new_heads, problems


def _are_units(asked):
    """Whether a row gives units or ages; 78 D below an age that the header gives, or beside other figures, is a hardness."""
    aged = any(_is_age(text, column) and head.age is None for head, text, column in asked)
    figures = any(text[:1].isdigit() and not _is_age(text, column) for _, text, column in asked)
    return (aged and not figures) or any(_fits(text, column) for _, text, column in asked)


def _unit_below(head, column, text):
    """The unit of a head, from its header or else the text below it; raises a HeaderProblem if that is refused."""
    if _is_age(text, column):
        raise HeaderProblem(f"{text} is an age. Write it in the header itself, as in {column.words} at {text}.")
    unit = checked_unit(column, text)
    if head.unit and not (measures(text, head.unit) and to_unit(f"1 {text}", head.unit) == 1):
        problem = f"differs from the unit in the header ({head.unit})"
    elif unit and not _fits(unit, column):
        problem = f"is not a unit of {column.words}"
    else:
        return head.unit or unit
    raise HeaderProblem(f"{text!r} below the header {problem}. Write the unit once, in the header, as in {column.label}.")


def _measured_by(head):
    """The column of a head whose cells are numbers; None for any other."""
    return head.column if head and head.part == "value" and getattr(head.column, "kind", "number") == "number" else None


def _is_age(text, column):
    return bool(getattr(column, "ages", ())) and re.fullmatch(AGE, text, re.IGNORECASE) is not None


def _fits(unit, column):
    return unit.casefold() == column.unit.casefold() != "" or measures(unit, column.unit)
