"""When each row of a trace was taken: elapsed times or clock times, with or without dates."""

import datetime as dt
import re
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from testpour.common.wording import count
from testpour.exchange.grid import Grid, cell_number
from testpour.logbook.text_and_dates import month_number

HMS = re.compile(r"(\d{1,4}):(\d{1,2})(?::(\d{1,2})(?:[.,](\d+))?)?\s*(?:([ap])\.?m\.?)?", re.IGNORECASE)
DATE = r"(?P<a>\d{1,4})(?P<mark>[-/.])(?P<b>\d{1,2})(?P=mark)(?P<c>\d{1,4})|(?P<day>\d{1,2})(?:\. ?|[- ])(?P<month>[^\W\d_]{3,9})\.?[- ](?P<year>\d{2}|\d{4})"
STAMP = re.compile(rf"(?:{DATE})(?:[T ,]+(?P<clock>{HMS.pattern}))?(?P<offset>Z|[+-]\d\d:?\d\d)?(?: (?P<zone>[a-z]{{3,5}}))?", re.IGNORECASE)
UNITS = {"s": 1 / 60, "sec": 1 / 60, "second": 1 / 60, "seconds": 1 / 60, "ms": 1 / 60_000, "msec": 1 / 60_000, "millis": 1 / 60_000,
         "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0, "h": 60.0, "hr": 60.0, "hrs": 60.0, "hour": 60.0, "hours": 60.0,
         "d": 1440.0, "day": 1440.0, "days": 1440.0}
TimeUnit = Literal["ms", "s", "min", "h", "d", "hh:mm", "mm:ss", "hh:mm:ss"]
SHAPES = ("hh:mm", "mm:ss", "hh:mm:ss")
ELAPSED = re.compile(r"\b(time|elapsed|duration|t|s|sec|seconds?|min|mins|minutes?|h|hrs?|hours?|zeit|temps|tiempo|tempo)\b", re.IGNORECASE)
WORD = re.compile(r"(?<![a-z\d])[a-z]+(?![a-z\d]| ?\d)")  # the s of S1 is the name of a channel
TEMPERATURE = re.compile(r"(?:[\[(°º˚]|\bdeg)\s*[cfk]\b", re.IGNORECASE)
COUNTER = re.compile(r"(no|nr|n|#|num|number|index|row|record|rec|sample|point|entry|id|count|scan|line)\.?", re.IGNORECASE)
DAY = 1440.0
SHORTEST = 5.0  # min: a trace that spans as much, read as minutes and seconds, may be of a casting
DAY_NUMBERS = (32_000, 62_000)  # of a spreadsheet; from 1987 to 2069


@dataclass(frozen=True)
class Times:
    """The time of each row."""

    minutes: np.ndarray | None  # from the earliest row; NaN where a cell cannot be read, None if the column cannot
    columns: frozenset  # those used, and those that only count rows
    midnight: float | None = None  # where rows have a time of day: the minute of the midnight before the first row
    date: dt.date | None = None  # of the first row, where it is stated and certain
    newest_first: bool = False


def read_times(grid: Grid, time: TimeUnit | None = None, day_first: bool | None = None) -> tuple[Times, list[str]]:
    """Find the time column and read it; and the problems. All rows may be newest first."""
    times, wrong = _read_down(grid, time, day_first)
    if not wrong:
        return times, []
    up, still = _read_down(replace(grid, rows=grid.rows[::-1]), time, day_first)
    return (times, wrong) if still else (replace(up, minutes=up.minutes[::-1], newest_first=True), [])


def _read_down(grid, time, day_first):
    columns = [grid.column(k) for k in range(len(grid.heads))]
    counters = {k for k, head in enumerate(grid.heads) if COUNTER.fullmatch(head.strip())}
    if time is not None and time not in SHAPES and time not in UNITS:
        return _unreadable(counters, f"time={time!r} is not one of {', '.join(['ms', 's', 'min', 'h', 'd', *SHAPES])}. Say how the time column is written.")
    stamped = _first_matching(columns, STAMP, counters)
    clocked = _first_matching(columns, HMS, counters)
    if stamped is None and clocked is None:
        return _elapsed_times(grid, columns, counters, time)
    # a growing column with a unit, or without a head and in steps of 1, only counts the rows or the time
    counters |= {k for k, head in enumerate(grid.heads) if _is_growing(grid, k) and (_units(head) or (not head and (_steps(grid, k) == 1).all()))}
    if stamped is None:
        return _clock_times(grid.heads[clocked], columns[clocked], counters | {clocked}, time)
    return _dated_times(columns, stamped, clocked, counters, day_first)


def _unreadable(columns, problem):
    """No times, from these columns, and why."""
    return Times(None, frozenset(columns)), [problem]


def _first_matching(columns, pattern, without):
    """The first column in which four of five filled cells match."""
    for k, cells in enumerate(columns):
        filled = [cell for cell in cells if cell]
        if k not in without and filled and sum(bool(pattern.fullmatch(c)) for c in filled) >= 0.8 * len(filled):
            return k
    return None


def minutes_of(cell: str, shape: str | None = "hh:mm:ss") -> float:
    """Minutes of a clock or elapsed time ``h:m:s``; NaN for anything else. `shape` says how two numbers are read."""
    match = HMS.fullmatch(cell)
    if not match:
        return np.nan
    first, second, third, part, half = match.groups()
    a, b, c = int(first), int(second), float(f"{third or 0}.{part or 0}")
    if third is None and shape == "mm:ss":
        return a + b / 60.0 if b < 60 else np.nan
    if b > 59 or c >= 60 or (half and not 1 <= a <= 12):
        return np.nan
    if half:
        a = a % 12 + 12 * (half.casefold() == "p")
    return 60.0 * a + b + c / 60.0


def _elapsed_times(grid, columns, counters, time):
    """A column of plain numbers that grows, with its unit."""
    candidates = [k for k in range(len(columns)) if k not in counters and not TEMPERATURE.search(grid.heads[k]) and _is_growing(grid, k)]
    candidates.sort(key=lambda k: (not _units(grid.heads[k]), not ELAPSED.search(grid.heads[k])))
    used = counters | set(candidates[:1])
    if not candidates:
        return _unreadable(used, "no column of times: none holds clock times, dates or numbers that only grow. Export the trace with a time column.")
    k = candidates[0]
    units = _units(grid.heads[k]) | {u for u in (cell_number(c, grid.decimal)[1] for c in columns[k] if cell_number(c, grid.decimal)) if u in UNITS}
    if time in SHAPES:
        return _unreadable(used, f"time={time!r}, but the time column holds plain numbers such as {columns[k][0]!r}. Say ms, s, min, h or d.")
    values = np.array([(cell_number(c, grid.decimal) or (np.nan,))[0] for c in columns[k]])
    if _are_day_numbers(values):
        problem = f"the time column holds day numbers such as {next(filter(None, columns[k]))!r}, as a spreadsheet keeps dates"
        return _unreadable(used, f"{problem}. Format it there as date and time, and export the trace again.")
    unit = time or (units.pop() if len(units) == 1 else None)
    if unit is None:
        head = f"headed {grid.heads[k]!r}" if grid.heads[k] else f"number {k + 1}"
        return _unreadable(used, f"the unit of the time column {head} is not stated. Say time='ms', time='s', time='min', time='h' or time='d'.")
    if time and units and {UNITS[u] for u in units} != {UNITS[time]}:
        return _unreadable(used, f"time={time!r}, but the time column says {grid.heads[k]!r}. Leave time= out, or correct the file.")
    return _from_first(values * UNITS[unit], used)


def _are_day_numbers(values):
    """Whether times are days since 1899-12-30, as a spreadsheet stores dates; any other count would span more."""
    first, last = np.nanmin(values), np.nanmax(values)
    return DAY_NUMBERS[0] <= first and last <= DAY_NUMBERS[1] and last - first <= 2.0


def _units(head):
    words = [] if TEMPERATURE.search(head) else WORD.findall(head.casefold())
    return {word for word in words if word in UNITS and word not in ("d", "day")}


def _is_growing(grid: Grid, k: int) -> bool:
    """Whether a column holds numbers that hardly ever fall."""
    cells = grid.column(k)
    steps = _steps(grid, k)
    return len(steps) + 1 > 0.8 * len(cells) and len(steps) > 0 and bool((steps >= 0).mean() > 0.98) and steps.sum() > 0


def _steps(grid, k):
    values = [cell_number(cell, grid.decimal) for cell in grid.column(k) if cell]
    return np.diff([value[0] for value in values if value])


def _clock_times(head, cells, used, time):
    """Hours, minutes and seconds without a date; a day is added at midnight."""
    head = head.casefold()
    parts = [HMS.fullmatch(c).groups() for c in cells if HMS.fullmatch(c)]
    two = all(p[2] is None for p in parts)
    shape = time if time in SHAPES else next((s for s in ("mm:ss", "hh:mm") if s in head and "hh:mm:ss" not in head), None)
    beyond = any(int(p[0]) > 23 for p in parts)
    from_zero = int(parts[0][0]) == 0 and not any(p[4] for p in parts)
    long = _minutes_spanned(cells) >= SHORTEST and not any(p[4] for p in parts)
    if two and shape not in ("hh:mm", "mm:ss") and (from_zero or beyond or long):
        return _unreadable(used, f"times such as {cells[-1] or cells[0]!r} may be hours and minutes or minutes and seconds. Say time='hh:mm' or time='mm:ss'.")
    elapsed = shape == "mm:ss" or beyond or bool(re.search(r"elapsed|duration", head))
    minutes = np.array([minutes_of(c, shape or "hh:mm:ss") for c in cells])
    if not elapsed:
        known = np.flatnonzero(np.isfinite(minutes))
        over = np.cumsum(np.diff(minutes[known], prepend=minutes[known[0]]) < -DAY / 2)
        minutes[known] += DAY * over
    return _from_first(minutes, used, clock=True)


def _minutes_spanned(cells):
    """Minutes from the first cell to the last; 0 or less if the clock passes midnight."""
    read = [minutes for cell in cells if np.isfinite(minutes := minutes_of(cell, "mm:ss"))]
    return read[-1] - read[0] if read else 0.0


def _dated_times(columns, stamped, clocked, counters, day_first):
    """Dates with their clock, in one column or two."""
    cells, used = columns[stamped], counters | {stamped} | ({clocked} - {None})
    if not any((stamps := STAMP.fullmatch(c)) and stamps["clock"] for c in cells):
        if clocked is None:
            return _unreadable(used, "the rows have a date and no time of day. Export the trace with the time of each row.")
        cells, used = [f"{a} {b}" if a and b else "" for a, b in zip(cells, columns[clocked], strict=True)], used | {clocked}
    stamps = [STAMP.fullmatch(cell) for cell in cells]
    zones = list(dict.fromkeys(f["zone"] or f["offset"] or "no zone" for f in stamps if f))
    if len(zones) > 1:
        return _unreadable(used, f"the clock changes from {zones[0]} to {zones[1]} between the rows. Export the trace by one clock, such as UTC.")
    orders = [o for o in (True, False) if day_first in (None, o)]
    reads = {}
    for order in orders:
        days = [_date(f, order) for f in stamps]
        if sum(d is None and f is not None for d, f in zip(days, stamps, strict=True)) == 0:
            reads[order] = days
    if not reads:
        which = "" if day_first is None else f" with day_first={day_first}"
        return _unreadable(used, f"dates such as {cells[0]!r} are not days of the calendar{which}. Check the file, or leave day_first= out.")
    spans = {order: _days_spanned(days) for order, days in reads.items()}
    likely = {order: days for order, days in reads.items() if 0 <= spans[order] <= 7} or reads
    ambiguous = len({tuple(days) for days in likely.values()}) > 1
    if ambiguous and len({spans[o] for o in likely}) > 1:
        return _unreadable(used, f"dates such as {cells[0]!r} may be day first or month first. Say day_first=True or day_first=False.")
    days = next(iter(likely.values()))
    first = next(d for d in days if d is not None)
    clock = np.array([minutes_of(f["clock"]) if f and f["clock"] else np.nan for f in stamps])
    clock[clock >= DAY] = np.nan
    minutes = clock + np.array([np.nan if d is None else DAY * (d - first).days for d in days])
    return _from_first(minutes, used, clock=True, date=None if ambiguous else first)


def _date(match, day_first):
    """The date of a matched stamp; None where it is not a day of the calendar."""
    if match is None:
        return None
    a, mark, b, c, day, month, year = match.group("a", "mark", "b", "c", "day", "month", "year")
    try:
        if month:
            return dt.date(_year(year), month_number(month), int(day))
        if len(a) == 4:
            return dt.date(int(a), int(b), int(c))
        first, second = (int(a), int(b)) if mark == "." or day_first else (int(b), int(a))
        return dt.date(_year(c), second, first)
    except ValueError:
        return None


def _year(text):
    return int(text) + (2000 if len(text) == 2 else 0)


def _days_spanned(days):
    known = [d for d in days if d is not None]
    return (known[-1] - known[0]).days if known else 0


def _from_first(minutes, used, clock=False, date=None):
    """Minutes from the first readable row; refused if they run backwards."""
    known = np.flatnonzero(np.isfinite(minutes))
    if len(known) < 2:
        return _unreadable(used, "fewer than two rows have a time that can be read. Export the trace from the logger again.")
    back = known[1:][np.diff(minutes[known]) < 0]
    if len(back):
        problem = f"the time runs backwards in {count(len(back), 'place')}, first at row {back[0] + 1} of the block. Put the rows in the order of their times"
        return _unreadable(used, f"{problem}; check for two traces in one file; on a twelve-hour clock without AM and PM write 13:00 for 1:00; "
                          "after a night in which the clocks went back, add the hour to the rows from there on.")
    first = minutes[known[0]]
    return Times(minutes - first, frozenset(used), -float(first) if clock else None, date), []
