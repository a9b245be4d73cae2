"""Problems of a sheet that only a whole column shows."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from statistics import fmean

from testpour.common.units import SPELLINGS, UnitProblem, measures, shown_unit, to_number, to_unit
from testpour.common.wording import BY_TAPPING, first_few, listed
from testpour.logbook.headers import COUNTED, Head, is_age, is_amount, last_unit, without_age
from testpour.logbook.sheet_cells import BLANK, NOTHING, bare
from testpour.logbook.text_and_dates import CLOCK
from testpour.study.columns import NO, OTHERS, YES, Factor, Reading
from testpour.study.study import Study

Pours = Sequence[tuple[int, dict[Head, str]]]  # number of the row, and its cells
LOOSE = ("post_cure_time", "demould_time")  # as often in minutes as in hours
FIGURE = re.compile(r"[~≈<>]?\s*\d+(?:[.,]\d+)?(?:\s*(?:-|/|to)\s*\d+(?:[.,]\d+)?)?\s*[^\d\s]{0,4}")  # a number or a range with a unit, and no date


def _columns(pours):
    """The cells below each header, by the number of their row."""
    heads = {head: None for _, written in pours for head in written}
    return {head: {number: written.get(head, "") for number, written in pours} for head in heads}


def doubtful_ticks(pours: Pours) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each yes/no column in which an empty cell or an x may mean no."""
    for head, cells in _columns(pours).items():
        if not isinstance(head.column, Factor) or head.column.kind != "yes/no":
            continue
        answers = {cell.casefold() for cell in cells.values()}
        empty = [str(number) for number, cell in cells.items() if cell in NOTHING]
        crossed = [str(number) for number, cell in cells.items() if cell.casefold() == "x"]
        if crossed and (other := answers & YES - {"x"}):
            words = f"has x in row {listed(crossed)} and {listed(sorted(other))} in others, so x may be yes or no. Write yes or no in each cell."
            yield "", head.text, "", words
        elif empty and answers & YES and not answers & NO:
            words = f"says yes in some rows and is empty or a dash in row {listed(empty)}. Write no there if the answer is no, or ? if nobody knows."
            yield "", head.text, "", words


def lists_readings(study: Study, rows: Sequence[Sequence[str]], start: int, heads: Sequence[Head | None]) -> str:
    """What is wrong if each row of a sheet is one reading, named in one of its cells; "" if it is not."""
    headers = [cell.strip().casefold() for cell in rows[start]]
    names = {form.casefold() for reading in study.readings for form in (reading.name, reading.words)}
    below = [[row[place].strip().casefold() for row in rows[start + 1 :] if row[place:] and row[place].strip()] for place in range(len(headers))]
    named = any(head is None and len(cells) > 1 and names.issuperset(cells) for head, cells in zip(heads, below, strict=True))
    if not named and not {"reading", "value"}.issubset(headers):
        return ""
    return "each row is one reading here. Write one row for each pour, and each reading in a column of its own, such as hardness at 24 h (Shore D)."


def not_given(
    study: Study, texts: Sequence[str], heads: Sequence[Head | None], rows: Sequence[Sequence[str]], misread: Mapping[str, str]
) -> tuple[list[str], list[str], list[str]]:
    """Problems, remarks and questions about settings that the study varies, and readings with an aim, that no column gives.

    `texts` are the headers, `rows` the cells of the pours. It is a problem if a column that was not read may hold such a
    setting, under a name that is not known here. `misread` is what is wrong already with a header, and so with its column.
    """
    columns = (*study.factors, *study.readings)
    doubted = {one.name for one in columns if one.words in " ".join(misread.values())}
    named = {head.name for head in heads if head} | doubted
    unread = {text: [row[place].strip() for row in rows if row[place:] and row[place].strip() not in NOTHING]
              for place, (text, head) in enumerate(zip(map(str.strip, texts), heads, strict=True))
              if text not in ("", *misread) and head is None and bare(text).strip(".") not in COUNTED}
    wrong, unknown = [], []
    figures = [text for text, cells in unread.items() if any(all(_may_be(reading, text, cell) for cell in cells) and cells for reading in study.readings)]
    if figures and named.isdisjoint(reading.name for reading in study.readings):
        known = first_few([reading.label for reading in study.readings])
        wrong.append(
            f"no column gives a reading of this study, and these columns of figures were not read: {listed(figures)}. Head each reading as the study "
            f"calls it, with its age if it changes: {known}. If there are none yet, add an empty column for one."
        )
    for factor in (factor for factor in study.varied if factor.name not in named):
        candidates = [text for text, cells in unread.items() if cells and all(_may_be(factor, text, cell) for cell in cells)]
        if candidates:
            nil = ", 0 where there was none" if factor.is_share and factor.name != "catalyst" else ""
            empty = "yes or no" if factor.kind == "yes/no" else "what it was"
            wrong.append(
                f"no column gives {factor.words}, which this study varies. These columns were not read and may be it: {listed(candidates)}. If one of "
                f"them is the {factor.words}, head it {factor.label}. If not, add a column {factor.label}, and write {empty}{nil}, or ? if nobody knows."
            )
        else:
            unknown.append(factor.words)
    sentence = f"no column gives {listed(unknown)}, which this study varies, so it is unknown for these pours. If you know it, add a column for it."
    asked, filled = [], {head.name for place, head in enumerate(heads) if head and any("".join(row[place : place + 1]).strip() for row in rows)}
    for reading in (study.reading(name) for name in dict.fromkeys(aim.reading for aim in study.aims) if name not in filled | doubted):
        if candidates := [text for text, cells in unread.items() if _measured_so(reading, text, cells)]:
            asked.append(f"no column gives {reading.words}, which has an aim. If {listed(candidates, 'or')} is the {reading.words}, head it {reading.label}.")
    return wrong, [sentence] if unknown else [], asked


def _measured_so(reading, text, cells):
    """Whether a column holds figures with a unit of the reading, in its header or a cell."""
    units = [last_unit(text), *(re.sub(r"^[\d.,/\s-]+", "", cell) for cell in cells)]
    return all(_may_be(reading, text, cell) for cell in cells) and any(measures(unit, reading.unit) for unit in units)


def _may_be(column, text, cell):
    """Whether a cell of a column headed `text` may be a value of a setting or reading: a number that its unit does not rule out, or yes or no."""
    if getattr(column, "kind", "") == "yes/no":
        return cell.casefold() in YES | NO and not cell[:1].isdigit()
    unit = last_unit(text)
    share = getattr(column, "is_share", False) and is_amount(unit)
    number = FIGURE.fullmatch(cell) or (isinstance(column, Reading) and CLOCK.match(cell))
    return bool(number) and (not unit or measures(unit, column.unit) or (share and not re.match(r"resin|mix|total", text, re.IGNORECASE)))


def unaged(pours: Pours) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each column of a reading taken at several ages, if neither its header nor a column gives the age."""
    columns = _columns(pours)
    for head, cells in columns.items():
        read = any(cell.casefold() not in BLANK for cell in cells.values())
        if without_age(head) and len(head.column.ages) > 1 and read and not any(map(is_age, columns)):
            words = head.column.words
            yield "", head.text, "", f"{words} changes with age. Write its age in the header, as in {words} at 24 h."


def doubtful_day(pours: Pours) -> Iterator[tuple[str, str, str, str]]:
    """A problem if a column Day holds numbers beside readings without an age: it may be the age of the casting."""
    columns = _columns(pours)
    aged = listed(dict.fromkeys(head.text for head in columns if without_age(head)))
    for head, cells in columns.items():
        filled = [cell for cell in cells.values() if cell]
        if aged and head.name == "session" and bare(head.text) == "day" and filled and all(re.fullmatch(r"\d{1,3}", cell) for cell in filled):
            problem = f"may be the day of pouring, or how old a casting was when {aged} was read. Head it Session for the first, or Age (d) for the second."
            yield "", head.text, "", problem


def doubtful_unit(pours: Pours, decimal: str | None) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each setting of bare numbers that are all outside the study's span, and in another unit all inside it."""
    for head, column in _columns(pours).items():
        factor, cells = head.column, [cell for cell in column.values() if cell not in NOTHING]
        if head.unit or not (isinstance(factor, Factor) and factor.span and cells and all(re.fullmatch(r"\d+(?:[.,]\d+)?", cell) for cell in cells)):
            continue
        low, high = min(factor.span), max(factor.span)
        try:
            numbers = [to_number(cell, decimal=decimal)[0] for cell in cells]
            fit = [unit for unit in OTHERS.get(factor.unit, ()) if all(low <= to_unit(f"{number} {unit}", factor.unit) <= high for number in numbers)]
        except UnitProblem:  # a cell that is refused by itself
            continue
        if fit and all(factor.low <= number <= factor.high and not low <= number <= high for number in numbers):  # one outside the range is refused anyway
            doubt = f"all of it is outside what the study varies, {factor.between(low, high)}, and in {' or '.join(fit)} inside"
            yield "", head.text, "", f"has no unit: in {shown_unit(factor.unit)} {doubt}. Write the unit in the header, in brackets."


def mean_of_those_above(pours: Pours, decimal: str | None) -> Iterator[tuple[str, str, str, str]]:
    """A problem if the last row of a sheet without names holds the means or sums of those above it, and so may not be a pour."""
    if len(pours) < 3 or any(head.name == "pour" for _, written in pours for head in written):
        return
    columns = []
    for head in pours[-1][1]:
        try:
            columns.append([to_number(written[head], decimal=decimal)[0] for _, written in pours if written.get(head) not in NOTHING])
        except (UnitProblem, KeyError):
            continue
    varied = [column for column in columns if len(column) == len(pours) and len(set(column[:-1])) > 1]
    for what, of in (("mean", fmean), ("sum", sum)):
        if len(varied) > 1 and all(math.isclose(last, of(above), rel_tol=0.005) for *above, last in varied):
            advice = f"Delete the row, or write {what} in its first cell; if it was poured, name the pours."
            yield f"row {pours[-1][0]}", "", "", f"every number here is the {what} of those above it. {advice}"


def without_unit(pours: Pours) -> Iterator[str]:
    """A sentence on each column whose unit is a guess: the numbers have none, and the sheet or the trade uses several, or they are per 100 g."""
    columns = {head: [cell for cell in cells.values() if cell] for head, cells in _columns(pours).items() if head.kind != "own" and head.part == "value"}
    units = [head.unit for head in columns] + [re.sub(r"^[\d.,/\s-]+", "", cell) for cells in columns.values() for cell in cells]
    used = {SPELLINGS.get(unit.casefold(), unit) for unit in units}
    for head in columns:
        if "100" in head.unit and "resin" not in head.unit:
            yield (
                f"{head.text} was read as % of the resin: 1.5 g per 100 g of resin is 1.5 %. If it is per 100 g of the whole mix, work out the per cent of "
                f"the resin; correct what is in the log already {BY_TAPPING} or with correct_pour."
            )
    for head, cells in columns.items():
        unit = head.column.unit if head.column else ""
        bare = not head.unit and any(re.search(r"\d$", cell) and cell.strip("0.,") for cell in cells)  # 0 min are 0 h
        others = {SPELLINGS.get(one.casefold(), one) for one in OTHERS.get(unit, ()) if not measures(unit, "h")}
        if bare and (head.name in LOOSE or others & used):
            yield (
                f"{head.text} has no unit: taken as {shown_unit(unit)}. If it is another, write it in the header, in brackets; "
                f"correct what is in the log already {BY_TAPPING} or with correct_pour and correct_reading."
            )
