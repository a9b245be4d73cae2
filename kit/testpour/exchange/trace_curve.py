"""What a thermocouple saw: the trace, its gaps, the room, and the readings taken from it."""

import numpy as np

from testpour.exchange.judged_trace import JudgedTrace
from testpour.study.picture import BELIEF, INK, LOG, SECOND, Picture, drawable, new_picture


def show_trace(trace: JudgedTrace) -> Picture:
    """A temperature trace with what was read from it.

    Parameters
    ----------
    trace : JudgedTrace
        From `read_trace`.

    Returns
    -------
    Picture
        A matplotlib Figure. Line: the thermocouple, broken where rows are missing. Dashed: what it would have
        shown without cure. Dotted: the room, where logged. Hatched band: where the gel lies by the warming
        alone. Marks: the onset with its 90 % interval, and the peak.

    Examples
    --------
    >>> tp.figures.show_trace(tp.read_trace("thermocouple-trace.csv")).says
    'It began to warm itself after 46 to 48 min and peaked at 120 °C after 99 min. ...'
    """
    picture, axes = new_picture(trace.verdict(), height=5.0)
    ax, table = axes[0, 0], trace.table
    ax.plot(*_broken(table["minutes"], table["temperature"]), color=LOG, linewidth=1.3, label=drawable(f"thermocouple, {trace.channel}"))
    if "room" in table:
        ax.plot(*_broken(table["minutes"], table["room"]), color=BELIEF, linestyle=":", linewidth=1.6, label="room")
    if np.isfinite(trace.inert).any():
        ax.plot(table["minutes"], trace.inert, color=INK, linestyle="--", linewidth=1.2, label="without cure")
    _draw_readings(ax, trace)
    if table["minutes"].iloc[0] < 0:
        ax.axvline(0, color=INK, linestyle="-.", linewidth=1.2, label="catalyst in")
    ax.set(xlabel=f"Minutes after {'mixing' if trace.mixed_said else 'the first row'}", ylabel="Temperature (°C)")
    picture.legend(loc="outside lower left", ncols=2, frameon=False)  # over the trace it would hide when the catalyst went in
    return picture


def _broken(minutes, values):
    """Times and values with a break at each gap."""
    seen = values.notna().to_numpy()
    x, y = minutes.to_numpy()[seen], values.to_numpy()[seen]
    if len(x) < 3:
        return x, y
    wide = np.flatnonzero(np.diff(x) > 4.0 * np.median(np.diff(x))) + 1
    return np.insert(x, wide, np.nan), np.insert(y, wide, np.nan)


def _draw_readings(ax, trace):
    found, last = trace.readings, trace.table["minutes"].iloc[-1]
    if "gel_time" in found.index:
        low, high = found.loc["gel_time", "low"], min(found.loc["gel_time", "high"], last)
        ax.axvspan(low, high, facecolor="none", edgecolor=BELIEF, hatch="//", linewidth=0, zorder=0,
                   label=f"gel after {trace.words('gel_time')}")
    if "onset" in found.index:
        value, low, high = found.loc["onset", ["value", "low", "high"]].astype(float)
        seen = trace.table.dropna(subset="temperature")
        height = np.interp(value, seen["minutes"], seen["temperature"])
        ax.errorbar(value, height, xerr=[[max(value - low, 0)], [max(min(high, last) - value, 0)]], fmt="s", color=SECOND, markersize=6, capsize=4,
                    zorder=5, label=f"self-heating begins after {trace.words('onset')}")
    if "time_to_peak" in found.index and trace.state == "peaked":
        ax.plot(found.loc["time_to_peak", "value"], found.loc["peak_temperature", "value"], "D", color=SECOND, markersize=7, zorder=5,
                label=f"peak, {trace.words('peak_temperature')} after {trace.words('time_to_peak')}")
