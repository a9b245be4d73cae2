"""Which column holds the casting's temperature, which the room's, and in what unit."""

import re
from dataclasses import dataclass
from numbers import Integral
from typing import Literal

import numpy as np

from testpour.common.wording import listed
from testpour.exchange.clock import Times
from testpour.exchange.grid import Grid, cell_number
from testpour.exchange.trace_readings import WARM

ROOM = re.compile(r"\b(room|ambient|air|shop|workshop|raum|umgebung|luft|ambiante|ambiente)\b", re.IGNORECASE)
OTHER = re.compile(r"%|\b(rh|humidity|hygro\w*|dew|volts?|mv|battery|batt|pressure|h?pa|mbar|event|status|cold junction|cj)\b", re.IGNORECASE)
KIND = re.compile(r"\b(type|typ|tc|thermocouple|ch|channel|probe|sensor)\s*[-:_]?\s*[\[(]?[ckf]\b[\])]?|\b[kf]\s*[- ]?type\b", re.IGNORECASE)
UNITS = {
    "degC": re.compile(r"[°º˚]\s*C\b|\bdeg(rees?)?[\s._]*C\b|\bcelsius\b|\bcentigrade\b|[\[(]\s*C\s*[\])]|(?<=[\s_,])C\s*$|^C$", re.IGNORECASE),
    "degF": re.compile(r"[°º˚]\s*F\b|\bdeg(rees?)?[\s._]*F\b|\bfahrenheit\b|[\[(]\s*F\s*[\])]|(?<=[\s_,])F\s*$|^F$", re.IGNORECASE),
    "K": re.compile(r"[°º˚]\s*K\b|\bkelvins?\b|[\[(]\s*K\s*[\])]|(?<=[\s_,])K\s*$|^K$", re.IGNORECASE),
}
SPELLINGS = {"degc": "degC", "°c": "degC", "c": "degC", "celsius": "degC", "degf": "degF", "°f": "degF", "f": "degF", "fahrenheit": "degF",
         "k": "K", "kelvin": "K"}
TO_C = {"degC": lambda v: v, "degF": lambda v: (v - 32.0) / 1.8, "K": lambda v: v - 273.15}
IN_TURN, ALWAYS = 12, 0.95  # most channels whose rows may alternate, and the share of rows that must do so
COLDEST, HOTTEST = -30.0, 320.0  # degC: beyond these a wire is broken, not hot
USUAL = (-5.0, 60.0)  # degC: range of a trace's coolest row in a workshop


@dataclass(frozen=True)
class Channel:
    """One column of temperatures."""

    name: str
    degrees: np.ndarray  # degC; NaN where blank, unreadable or out of range
    unread: tuple[int, ...]  # rows whose cell is filled but not a possible temperature


def read_channels(
    grid: Grid, times: Times, channel: str | int | None = None, room: str | int | None = None,
    unit: Literal["degC", "degF", "K"] | None = None
) -> tuple[tuple[Channel, Channel | None] | None, list[str]]:
    """Find the casting's channel and the room's, None where there is none; and the problems.

    `channel` and `room` are a name, or a number from 1; what is not given must be clear from the file.
    """
    offered = {k: _name(grid, k) for k in range(len(grid.heads)) if k not in times.columns and _is_numeric(grid, k)}
    if not offered:
        return None, ["no column of temperatures beside the time. Export the trace with the thermocouple's readings as numbers."]
    if names := _in_turn(grid, times, offered):
        return None, [(f"its rows alternate between {len(names)} channels, {listed(map(repr, names))}. Keep the rows of the channel in the casting, or "
                       "export the trace with a column for each channel.")]
    if unit is not None and str(unit).casefold() not in SPELLINGS:
        return None, [f"unit={unit!r} is not one of degC, degF, K. Say what the thermocouple was read in."]
    chosen, reasons = _chosen(grid, offered, channel, room)
    beside, more = (None, []) if room is None else _named_channel(offered, room, "room")
    if reasons or more:
        return None, reasons + more
    rooms = [k for k in offered if ROOM.search(offered[k].replace("_", " ")) and k != chosen]
    beside = rooms[0] if room is None and len(rooms) == 1 else beside
    if beside == chosen:
        return None, [f"channel and room are both {offered[chosen]!r}. Say which channel is in the resin."]
    found, problems = [], []
    for k in (chosen, beside):
        one, reasons = (None, []) if k is None else _degrees(grid, k, offered[k], SPELLINGS.get(str(unit).casefold()))
        found.append(one)
        problems += reasons
    return (None, problems) if problems else ((found[0], found[1]), [])


def _in_turn(grid, times, offered):
    """The names or numbers that a column repeats, a row for each channel; none where each row holds all channels."""
    for k in range(len(grid.heads)):
        cells = grid.column(k)
        names = list(dict.fromkeys(cells))
        if k in times.columns or not 2 <= len(names) <= IN_TURN or len(cells) < 4 * len(names):
            continue
        if k in offered and (len(offered) == 1 or not all(name.isdigit() for name in names)):
            continue  # temperatures: a steady room may flicker between two tenths
        apart = zip(cells, cells[1:], cells[len(names):], strict=False)
        if np.mean([one != after and one == again for one, after, again in apart]) > ALWAYS:
            return names
    return []


def _name(grid, k):
    """The head without its unit; a thermocouple's type is not a unit."""
    kind = KIND.search(grid.heads[k])
    before, after = (grid.heads[k][: kind.end()], grid.heads[k][kind.end() :]) if kind else ("", grid.heads[k])
    for pattern in UNITS.values():
        after = pattern.sub("", after)
    return before + re.sub(r"[\[(]\s*[\])]", "", after).rstrip(" ,;:_-/\"'") or f"column {k + 1}"


def _is_numeric(grid, k):
    cells = [cell for cell in grid.column(k) if cell]
    return bool(cells) and not OTHER.search(grid.heads[k]) and sum(cell_number(c, grid.decimal) is not None for c in cells) >= 0.5 * len(cells)


def _chosen(grid, offered, channel, room):
    if channel is not None:
        return _named_channel(offered, channel, "channel")
    taken = set() if room is None else {_named_channel(offered, room, "room")[0]}
    left = [k for k in offered if k not in taken and not ROOM.search(offered[k].replace("_", " "))]
    left = left or [k for k in offered if k not in taken]
    if len(left) == 1:
        return left[0], []
    return None, [f"{len(left)} channels may be the casting: {listed(repr(offered[k]) for k in left)}. Say channel=, by name or by number from 1."]


def _named_channel(offered, wanted, what):
    """A channel by name, or by its place among the channels."""
    names = list(offered)
    if isinstance(wanted, Integral) and not isinstance(wanted, bool) and 1 <= wanted <= len(names):
        return names[wanted - 1], []
    same = [k for k in names if str(wanted).strip().casefold() == offered[k].casefold()]
    if len(same) == 1:
        return same[0], []
    how = "is the name of several channels" if same else "is not in the file"
    return None, [f"{what}={wanted!r} {how}; it has {listed(repr(n) for n in offered.values())}. Name one, or give its number from 1."]


def _degrees(grid, k, name, unit):
    """A column in degC; its unit is found from the argument, the head, the cells, the lines above, or the values."""
    cells = grid.column(k)
    read = [cell_number(cell, grid.decimal) if cell else None for cell in cells]
    values = np.array([np.nan if r is None else r[0] for r in read])
    in_cells = {one[1].casefold().replace("º", "°").replace("deg.", "deg") for one in read if one}
    stated = _units_in(grid.heads[k]) or {SPELLINGS[unit] for unit in in_cells & SPELLINGS.keys()} or _units_in(grid.preamble)
    if unit and _units_in(grid.heads[k]) - {unit}:
        return None, [f"unit={unit!r}, but channel {name!r} is headed {grid.heads[k]!r}. Leave unit= out, or correct the file."]
    units = {unit} if unit else stated or _plausible_units(values)
    if len(units) != 1:
        return None, [(f"the unit of channel {name!r} is not {'clear' if stated else 'stated'}, and its values may be in "
                      f"{listed(sorted(units)) or 'none known'}. Say unit='degC', unit='degF' or unit='K'.")]
    if not unit and units == {"degC"} and (warm := _may_be_fahrenheit(values)):
        return None, [(f"channel {name!r} begins at {warm:.1f}, and in °C neither a room nor resin as poured is that warm. If it is °F, "
                      "put °F in place of °C in the file; if the casting was that warm, say unit='degC'.")]
    degrees = TO_C[next(iter(units))](values)
    beyond = (degrees < COLDEST) | (degrees > HOTTEST)
    unread = tuple(np.flatnonzero(beyond | (np.isnan(degrees) & np.array([bool(c) for c in cells]))))
    degrees[beyond] = np.nan
    if np.isfinite(degrees).sum() < 0.5 * max(np.isfinite(values).sum(), 1):
        return None, [f"most values of channel {name!r} would lie outside {COLDEST:g} to {HOTTEST:g} °C in {next(iter(units))}. Check the unit."]
    return Channel(name, degrees, unread), []


def _may_be_fahrenheit(values):
    """The first value, in °C, of a trace that begins hotter than resin is poured, but normal if read as °F; else None."""
    degrees = values[np.isfinite(values)]
    if not len(degrees) or not degrees[0] > WARM or not USUAL[0] <= TO_C["degF"](degrees[0]) <= WARM:
        return None
    low, high = np.quantile(degrees, (0.02, 0.98))
    return degrees[0] if low > WARM and degrees[0] - low < high - degrees[0] else None


def _units_in(text):
    text = "\n".join(KIND.sub(" ", line) for line in text.splitlines())
    return {unit for unit, pattern in UNITS.items() if any(pattern.search(line.strip()) for line in text.splitlines())}


def _plausible_units(values):
    """The units in which the coolest rows would suit a workshop."""
    known = values[np.isfinite(values)]
    if not len(known):
        return set()
    low = np.quantile(known, 0.05)
    return {unit for unit, convert in TO_C.items() if USUAL[0] <= convert(low) <= USUAL[1]}
