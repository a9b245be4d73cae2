"""Read a thermocouple logger's file, in any of the usual shapes."""

import datetime as dt
import re
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from testpour.common.problems import noted
from testpour.common.units import UnitProblem, show, to_unit
from testpour.common.wording import count
from testpour.exchange.channels import read_channels
from testpour.exchange.clock import DAY, HMS, TimeUnit, minutes_of, read_times
from testpour.exchange.grid import FEWEST, TraceProblems, find_grid, trace_text
from testpour.exchange.onset import running_mean
from testpour.exchange.peak import clipped, stuck_from, two_warmings
from testpour.exchange.trace import Trace
from testpour.exchange.trace_readings import find_readings, glitches, left_the_casting
from testpour.logbook.text_and_dates import moment

LONGEST = 30 * DAY  # min
TWO_WAYS = re.compile(r"([01]?\d|2[0-3])[.,]([0-5]\d)")  # a time of day as some write it, or minutes with a fraction
OFFSET = re.compile(r":\d\d(?:\.\d+)?\s*(?:Z|[+-]\d\d:?\d\d)$", re.IGNORECASE)  # of a time of day from UTC
PAUSE = 2.0  # min without a row, or ten usual steps, that are reported
ROOM = 5.0  # min over which a room is averaged: a casting does not follow it faster


def read_trace(
    path: str | Path, *, channel: str | int | None = None, room: str | int | None = None,
    unit: Literal["degC", "degF", "K"] | None = None, time: TimeUnit | None = None,
    day_first: bool | None = None, mixed_at: str | float | dt.datetime | None = None, until: str | float | None = None
) -> Trace:
    """Read a temperature trace and say what it shows.

    Separators, decimal marks, heads, units, dates and encoding are found from the file. What may be read in two ways is
    refused, with the argument that settles it.

    Parameters
    ----------
    path : str or Path
        A text file with rows of times and temperatures, separated by commas, semicolons, tabs or blanks, or a workbook (.xlsx).
    channel, room : str or int, optional
        Which channel is in the casting and which in the room, by name or by number from 1. Needed if several may
        be meant.
    unit : {"degC", "degF", "K"}, optional
        Unit of the temperatures, if the file does not state it.
    time : {"ms", "s", "min", "h", "d", "hh:mm", "mm:ss", "hh:mm:ss"}, optional
        How elapsed times are written, if the file does not state it.
    day_first : bool, optional
        Whether 3/4 is the third of April, if the dates do not show it.
    mixed_at : float, str or datetime, optional
        When the catalyst went in: minutes after the first row (below 0 before it), text with a unit, a time on
        the logger's clock (``"10:05"``), or a date and time. The first row by default.
    until : float or str, optional
        Minutes after mixing, or text with a unit, after which the trace is ignored: an oven, a second layer.
        Needed if the trace gets hotter again after it has cooled.

    Returns
    -------
    Trace

    Raises
    ------
    TraceProblems
        If the file is not a trace, or may be read in two ways; every problem found, with what to do.

    Examples
    --------
    >>> tp.read_trace("thermocouple-trace.csv")
    thermocouple-trace.csv, channel middle: 962 readings from 0 to 170 min ... It began to warm itself after 46 to 48 min
    and peaked at 120 °C after 99 min. ...
    """
    path = Path(path)
    grid = find_grid(path.name, trace_text(path))
    times, wrong = read_times(grid, time, day_first)
    found, more = read_channels(grid, times, channel, room, unit)
    problems, mixed, end = [*wrong, *more], 0.0, np.inf
    with noted(problems):
        mixed = _mixing_minute(mixed_at, times) if mixed_at is not None and not wrong else mixed
    with noted(problems):
        end = _minutes(until, "until") if until is not None else end
    if problems or times.minutes is None or found is None:
        raise TraceProblems(path.name, problems)
    chosen, beside = found
    table = _table(times.minutes - mixed, chosen, beside, end)
    notes = [*_notes(grid, times, chosen), *_pauses(table["minutes"].to_numpy()), *_without_glitches(table), *_until_pulled_out(table), *_until_stuck(table)]
    problems = _too_little(table, mixed_at is not None) or _two_castings(table)
    if problems:
        raise TraceProblems(path.name, problems)
    return _trace_of(path.name, chosen.name, table, mixed_at is not None, notes, "" if beside is None else beside.name)


def _trace_of(source, channel, table, mixed_said, notes, room_channel):
    seen = table["temperature"].notna() & (table["minutes"] >= 0.0)
    used = table[seen]
    room = None
    if "room" in table and used["room"].notna().sum() >= 2:
        room = running_mean(used["minutes"].to_numpy(), used["room"].interpolate(limit_direction="both").to_numpy(), ROOM)
    readings, state, noise, inert = find_readings(used["minutes"].to_numpy(), used["temperature"].to_numpy(), room)
    whole = np.full(len(table), np.nan)
    whole[seen.to_numpy()] = inert
    return Trace(source, channel, table, mixed_said, noise, whole, readings, state, tuple(notes), room_channel)


def _table(minutes, casting, room, end):
    table = pd.DataFrame({"minutes": minutes, "temperature": casting.degrees})
    if room is not None:
        table["room"] = room.degrees
    table = table[np.isfinite(table["minutes"]) & (table["minutes"] <= end)]
    # A logger that records whole minutes writes several rows with one time: they are averaged.
    return table.groupby("minutes", as_index=False).mean()


def _too_little(table, mixed_said):
    seen = table["minutes"][table["temperature"].notna()]
    after = seen[seen >= 0.0]
    if len(after) < FEWEST:
        hint = "; check mixed_at= and until=" if mixed_said else ""
        return [f"{count(len(after), 'row')} with a time and a temperature after mixing; a trace needs {FEWEST} or more{hint}."]
    if seen.iloc[-1] - seen.iloc[0] > LONGEST:
        return [f"it runs over {(seen.iloc[-1] - seen.iloc[0]) / DAY:.0f} days. Check the unit of its times, or cut it down to one casting."]
    return []


def _notes(grid, times, casting):
    if times.newest_first:
        yield "The newest row comes first, so the rows were read from the last one up."
    if grid.skipped:
        yield f"Left out as unreadable: {count(len(grid.skipped), 'line')} among the rows, the first at line {grid.skipped[0]}."
    if casting.unread:
        row = casting.unread[0]
        yield f"{count(len(casting.unread), 'cell')} held no temperature that a casting can have, first in line {grid.lines[row]}; treated as missing."
    untimed = int((~np.isfinite(times.minutes)).sum())
    if untimed:
        yield f"Left out without a readable time: {count(untimed, 'row')}."


def _pauses(minutes):
    """A sentence on stretches without a row: the logger paused, or its clock was set."""
    steps = np.diff(minutes)
    wide = np.flatnonzero(steps > max(PAUSE, 10.0 * np.median(steps))) if len(steps) else steps
    if len(wide):
        first, last = show(minutes[wide[0]]), show(minutes[wide[0] + 1], "min")
        more = f", and {count(len(wide) - 1, 'such gap')} later" if len(wide) > 1 else ""
        yield (
            f"No row between {first} and {last}{more}. If the logger did not pause, but its clock was set, every time after that "
            "is wrong: correct them in the file."
        )


def _measured(table):
    """The rows with a temperature, their minutes and their temperatures."""
    rows = np.flatnonzero(table["temperature"].notna())
    return rows, table["minutes"].to_numpy()[rows], table["temperature"].to_numpy()[rows]


def _without_glitches(table):
    """Remove from the table jumps that no casting can make, and yield a sentence on them."""
    rows, minutes, temperatures = _measured(table)
    wrong = rows[glitches(minutes, temperatures)]
    if len(wrong):
        minute, degrees = table.loc[wrong[0], ["minutes", "temperature"]]
        table.loc[wrong, "temperature"] = np.nan
        yield (
            f"{count(len(wrong), 'row')} jumped away and back faster than a casting cools, first to {show(degrees, 'degC')} after "
            f"{show(minute, 'min')}; treated as missing."
        )


def _until_pulled_out(table):
    """Remove from the table what follows once a thermocouple came out of the casting, and yield a sentence on it."""
    rows, minutes, temperatures = _measured(table)
    if len(rows) and (last := left_the_casting(minutes, temperatures)) is not None:
        table.loc[rows[last + 1 :], "temperature"] = np.nan
        yield (
            f"The thermocouple seems to have left the casting after {show(minutes[last], 'min')}: from there it falls "
            "faster than a casting cools. What follows is treated as missing."
        )


def _until_stuck(table):
    """Remove from the table what a stuck thermocouple shows, and yield a sentence on it, or on a top that the logger cut off."""
    rows, minutes, temperatures = _measured(table)
    if len(rows) and (first := stuck_from(minutes, temperatures)) is not None:
        table.loc[rows[first + 1 :], "temperature"] = np.nan
        yield (
            f"From {show(minutes[first], 'min')} on every row shows exactly {temperatures[-1]:.1f} °C, like a stuck thermocouple or logger. "
            "What follows is treated as missing."
        )
    elif len(rows) and (cut := clipped(temperatures)):
        yield f"The top is cut off at {temperatures[cut[0]]:.1f} °C, row after row, like the limit of a logger: the peak is that or higher."


def _two_castings(table):
    """The problem of a trace that warms up, cools and then warms up further: a second casting, or an oven."""
    _, minutes, temperatures = _measured(table[table["minutes"] >= 0.0])
    rows = two_warmings(minutes, temperatures)
    if rows is None:
        return []
    first, valley, top = ((show(minutes[row]), f"{temperatures[row]:.0f} °C") for row in rows)
    return [
        (f"it warms up twice: to {first[1]} at {first[0]} min and, after it had cooled to {valley[1]}, to {top[1]} at {top[0]} min. Say "
         f"until={float(valley[0]):g} to read the first, if an oven or a second layer came after it; for a second casting, say "
         "mixed_at= with the minutes after the first row at which its catalyst went in.")
    ]


def _minutes(value, what):
    """An argument in minutes; a UnitProblem if it is not a time."""
    found = to_unit(value, "min", what)
    if not np.isfinite(found):
        raise UnitProblem(f"{what}: {value!r} is not a time. Give minutes.")
    return found


def _mixing_minute(mixed_at, times):
    """Minutes from the first row to mixing; a UnitProblem if that is not clear."""
    text = mixed_at.strip() if isinstance(mixed_at, str) else ""
    if times.midnight is not None and (two := TWO_WAYS.fullmatch(text)):
        message = f"mixed_at={mixed_at!r} may be {two[1]}:{two[2]} by the clock, or {text} min after the first row"
        raise UnitProblem(f"{message}. Write '{two[1]}:{two[2]}' or '{text} min'.")
    if HMS.fullmatch(text):
        if times.midnight is None:
            raise UnitProblem(f"mixed_at={mixed_at!r} is a time of day and the trace has elapsed times. Give minutes after its first row.")
        after = minutes_of(text) + times.midnight
        if not np.isfinite(after):
            raise UnitProblem(f"mixed_at={mixed_at!r} is not a time of day.")
        return after - DAY * round(after / DAY)
    if not isinstance(mixed_at, dt.date) and not re.search(r"\d[-/.]\d+[-/.]\d|\d:\d", text):
        return _minutes(mixed_at, "mixed_at")
    if times.date is None:
        raise UnitProblem("mixed_at is a date, but the trace has no certain date. Give the time of day, or minutes after its first row.")
    if OFFSET.search(str(mixed_at)):
        raise UnitProblem(f"mixed_at={str(mixed_at)!r} has an offset from UTC. Give the time by the logger's clock, without it.")
    try:
        when = moment(mixed_at)
    except UnitProblem as problem:
        raise UnitProblem(f"mixed_at: {problem}") from None
    first = dt.datetime.combine(times.date, dt.time()) - dt.timedelta(minutes=times.midnight)
    return (when - first).total_seconds() / 60.0
