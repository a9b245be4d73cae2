"""A temperature trace that can be drawn, and logged as readings of a pour."""

import numpy as np

from testpour.common.arguments import checked_methods
from testpour.common.problems import noted
from testpour.common.wording import listed
from testpour.exchange.grid import TraceProblems
from testpour.exchange.judged_trace import GEL, PEAK, TIME, JudgedTrace
from testpour.logbook.book import Logbook
from testpour.logbook.known import Known
from testpour.logbook.reading_text import known
from testpour.study.picture import BELIEF, INK, LOG, SECOND, Picture, drawable, new_picture

LOGGED = (GEL, TIME, PEAK)
DIGITS = 1  # after the point
CONVENTION = (
    "Time from catalyst in, and peak, after ASTM D2471 (withdrawn 2008); gel from the start of self-heating, after the "
    "temperature-rise convention of ISO 584. State the mass and the cup."
)


@checked_methods("trace")
class Trace(JudgedTrace):
    """A temperature trace of one casting, read and judged, which can be drawn and logged."""

    def show(self) -> Picture:
        """The trace as a figure; see `figures.show_trace`."""
        return show_trace(self)

    def log_into(self, logbook: Logbook, pour: str, *, by: str = "", why: str | None = None) -> dict[str, int]:
        """Log the gel time, time to peak and peak temperature of a pour.

        Parameters
        ----------
        logbook : Logbook
        pour : str
        by : str
            Initials.
        why : str, optional
            If the pour has these readings already: why the trace is better; each is then corrected.

        Returns
        -------
        dict of str to int
            Reading name to entry number.

        Raises
        ------
        TraceProblems
            If the trace has nothing to log, the study measures none of it, or the pour has one of the readings
            already and `why` is not given, or a reading is out of range. Nothing is stored then.
        LogProblem
            If the pour is not in the log.
        """
        measured = {reading.name for reading in logbook.study.readings}
        wanted = [name for name in LOGGED if name in self.readings.index and name in measured]
        if self.state == "flat":
            raise TraceProblems(self.source, [f"there is nothing to log. {self.verdict()}"])
        if not wanted:
            raise TraceProblems(self.source, [f"the study measures none of {listed(LOGGED)}. Add one under [readings] in its file."])
        readings = logbook.castings().readings
        entries = readings[readings["pour"] == pour].groupby("reading")["entry"].agg(list)
        logged = [name for name in wanted if name in entries]
        if several := [name for name in logged if len(entries[name]) > 1]:
            raise TraceProblems(self.source, [
                (f"{pour} has more than one {listed(several)} in the log, and the trace can replace only one. Withdraw the others with "
                f"withdraw_reading and the entry number from history({pour!r}).")
            ])
        if logged and why is None:
            raise TraceProblems(self.source, [
                (f"{pour} has {listed(logged)} in the log already. To put the trace in their place, say why: "
                f'log_into(log, {pour!r}, why="read from the trace").')
            ])
        ends = self.readings[["low", "high"]].round(DIGITS)
        ways = {name: Known(*map(float, ends.loc[name])).way() for name in wanted}
        _refuse_out_of_range(self, logbook.study, ways)
        note = f"From the temperature trace {self.source}, channel {self.channel}. {CONVENTION}"
        written = {}
        for name, way in ways.items():
            if name in entries:
                written[name] = logbook.correct_reading(entries[name][0], why=f"{why} ({note})", by=by, **way)
            else:
                written[name] = logbook.add_reading(pour, name, by=by, note=note, **way)
        return written


def _refuse_out_of_range(trace, study, ways):
    """Refuse what the log would refuse, before the first reading is stored: all or nothing."""
    problems = []
    for name, way in ways.items():
        with noted(problems):
            known(study.reading(name), **way)
    if problems:
        raise TraceProblems(trace.source, problems)


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
        shown without cure. Dotted: the room, if logged. Hatched band: the gel time, by the warming alone. Marks: the
        onset with its 90 % interval, and the peak.

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
    picture.legend(loc="outside lower left", ncols=2, frameon=False)  # on the trace it would hide the time of the catalyst
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
        ax.axvspan(low, high, facecolor="none", edgecolor=BELIEF, hatch="//", linewidth=0, zorder=0, label=f"gel after {trace.words('gel_time')}")
    if "onset" in found.index:
        value, low, high = found.loc["onset", ["value", "low", "high"]].astype(float)
        seen = trace.table.dropna(subset="temperature")
        height = np.interp(value, seen["minutes"], seen["temperature"])
        ax.errorbar(value, height, xerr=[[max(value - low, 0)], [max(min(high, last) - value, 0)]], fmt="s", color=SECOND, markersize=6, capsize=4,
                    zorder=5, label=f"self-heating begins after {trace.words('onset')}")
    if "time_to_peak" in found.index and trace.state == "peaked":
        ax.plot(found.loc["time_to_peak", "value"], found.loc["peak_temperature", "value"], "D", color=SECOND, markersize=7, zorder=5,
                label=f"peak, {trace.words('peak_temperature')} after {trace.words('time_to_peak')}")
