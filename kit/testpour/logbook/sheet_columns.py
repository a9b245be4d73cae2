"""What only a whole column of a sheet tells."""

import re
from collections.abc import Iterator, Sequence

from testpour.columns import NO, YES, Factor
from testpour.logbook.headers import Head, is_amount, last_unit
from testpour.logbook.sheet_cells import NOTHING
from testpour.study import Study
from testpour.units import SPELLINGS, measures, shown_unit
from testpour.wording import listed

Pours = Sequence[tuple[int, dict[Head, str]]]  # number of the row, and its cells
LOOSE = ("post_cure_time", "demould_time")  # as often in minutes as in hours
OTHER = {"degC": "degF", "mm": "inch"}  # the unit that some workshops have instead


def doubtful_ticks(pours: Pours) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each yes/no column in which an empty cell or an x may mean no."""
    for head in {head: None for _, written in pours for head in written if isinstance(head.column, Factor) and head.column.kind == "yes/no"}:
        said = {written.get(head, "").casefold() for _, written in pours}
        empty = [str(number) for number, written in pours if written.get(head, "") in NOTHING]
        crossed = [str(number) for number, written in pours if written.get(head, "").casefold() == "x"]
        if crossed and (other := said & YES - {"x"}):
            words = f"has x in row {listed(crossed)} and {listed(sorted(other))} in others, so x may be yes or no. Write yes or no in each cell."
            yield "", head.text, "", words
        elif empty and said & YES and not said & NO:
            words = f"says yes in some rows and is empty or a dash in row {listed(empty)}. Write no there if it was not so, or ? if nobody knows."
            yield "", head.text, "", words


def lists_readings(study: Study, rows: Sequence[Sequence[str]], start: int, heads: Sequence[Head | None]) -> str:
    """What is wrong where each row of a sheet is one reading, named in one of its cells; "" where none is."""
    headers = [cell.strip().casefold() for cell in rows[start]]
    names = {form.casefold() for reading in study.readings for form in (reading.name, reading.words)}
    below = [[row[place].strip().casefold() for row in rows[start + 1 :] if row[place:] and row[place].strip()] for place in range(len(headers))]
    named = any(head is None and len(cells) > 1 and names.issuperset(cells) for head, cells in zip(heads, below, strict=True))
    if not named and not {"reading", "value"}.issubset(headers):
        return ""
    return "each row is one reading here. Write one row a pour, and each reading into a column of its own, such as hardness at 24 h (Shore D)."


def not_given(
    study: Study, texts: Sequence[str], heads: Sequence[Head | None], rows: Sequence[Sequence[str]]
) -> tuple[list[str], list[str]]:
    """What is wrong, and what is to be said, of settings that the study varies and no column gives.

    `texts` are the headers, `rows` the cells of the pours. A column that was not read and may hold such a setting is asked about: it may
    go by a name that is not known here.
    """
    given = {head.name for head in heads if head}
    unread = {text.strip(): [row[place].strip() for row in rows if row[place:] and row[place].strip() not in NOTHING]
              for place, (text, head) in enumerate(zip(texts, heads, strict=True)) if text.strip() and head is None}
    wrong, unknown = [], []
    for factor in (factor for factor in study.varied if factor.name not in given):
        held = [text for text, cells in unread.items() if cells and all(_may_be(factor, text, cell) for cell in cells)]
        if held:
            nil = "" if factor.name == "catalyst" or not factor.low <= 0 else ", 0 where there was none"
            empty = "no" if factor.kind == "yes/no" else "what it was"
            wrong.append(
                f"no column gives {factor.words}, which this study varies, and {listed(held)} was not read. If one of these is the {factor.words}, "
                f"head it {factor.label}. If not, add a column {factor.label}, and write {empty}{nil} or, where nobody knows, ?."
            )
        else:
            unknown.append(factor.words)
    said = f"no column gives {listed(unknown)}, which this study varies, so it is not known of these pours. Where it is, add a column for it."
    return wrong, [said] if unknown else []


def _may_be(factor, text, cell):
    """Whether a cell of a column headed `text` may be a value of a setting: a number that its unit does not rule out, or yes or no."""
    if factor.kind == "yes/no":
        return cell.casefold() in YES | NO and not cell[:1].isdigit()
    unit = last_unit(text)
    share = factor.is_share and is_amount(unit)
    number = re.fullmatch(r"[~≈]?\s*\d[\d.,/ ]*\s*\S{0,4}", cell)
    return bool(number) and (not unit or measures(unit, factor.unit) or (share and not re.match(r"resin|mix|total", text, re.IGNORECASE)))


def without_unit(pours: Pours) -> Iterator[str]:
    """A sentence on each column whose unit may be another: the numbers have none, and the sheet or the trade has several, or they are to 100 g."""
    heads = {head: None for _, written in pours for head in written if head.kind != "own" and head.part == "value"}
    written = {head: [cells[head] for _, cells in pours if cells.get(head)] for head in heads}
    units = [head.unit for head in heads] + [re.sub(r"^[\d.,/\s-]+", "", cell) for cells in written.values() for cell in cells]
    used = {SPELLINGS.get(unit.casefold(), unit) for unit in units}
    for head in heads:
        if "100" in head.unit and "resin" not in head.unit:
            yield (
                f"{head.text} was read as % of the resin: 1.5 g to 100 g of resin is 1.5 %. If it is to 100 g of the whole mix, work out the per cent of "
                "the resin; what is in the log already is put right with correct_pour."
            )
    for head, cells in written.items():
        unit = head.column.unit if head.column else ""
        bare = not head.unit and any(re.search(r"\d$", cell) and cell.strip("0.,") for cell in cells)  # 0 min are 0 h
        if bare and (head.name in LOOSE or unit in OTHER and OTHER[unit] in used):
            yield (
                f"no unit stands in {head.text}: taken as {shown_unit(unit)}. If it is another, write it into the header, in brackets; "
                "what is in the log already is put right with correct_pour or correct_reading."
            )
