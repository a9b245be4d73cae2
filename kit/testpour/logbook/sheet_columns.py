"""What only a whole column of a sheet tells."""

import re
from collections.abc import Iterator, Sequence

from testpour.columns import NO, YES, Factor
from testpour.logbook.headers import Head
from testpour.logbook.sheet_cells import NOTHING
from testpour.study import Study
from testpour.units import SPELLINGS, shown_unit
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


def without_unit(pours: Pours) -> Iterator[str]:
    """A sentence on each column whose numbers have no unit, where the sheet or the trade has more than one for them."""
    heads = {head: None for _, written in pours for head in written if head.kind != "own" and head.part == "value"}
    written = {head: [cells[head] for _, cells in pours if cells.get(head)] for head in heads}
    units = [head.unit for head in heads] + [re.sub(r"^[\d.,/\s-]+", "", cell) for cells in written.values() for cell in cells]
    used = {SPELLINGS.get(unit.casefold(), unit) for unit in units}
    for head, cells in written.items():
        unit = head.column.unit if head.column else ""
        bare = not head.unit and any(re.search(r"\d$", cell) and cell.strip("0.,") for cell in cells)  # 0 min are 0 h
        if bare and (head.name in LOOSE or unit in OTHER and OTHER[unit] in used):
            yield (
                f"no unit stands in {head.text}: taken as {shown_unit(unit)}. If it is another, write it into the header, in brackets; "
                "what is in the log already is put right with correct_pour or correct_reading."
            )
