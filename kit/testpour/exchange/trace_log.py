"""Logging the readings of a trace."""

from __future__ import annotations

from typing import TYPE_CHECKING

from testpour.exchange.grid import TraceProblems
from testpour.logbook.known import known
from testpour.units import UnitProblem
from testpour.wording import listed

if TYPE_CHECKING:
    from testpour.exchange.trace import Trace
    from testpour.logbook.book import Logbook

GEL, TIME, PEAK = "gel_time", "time_to_peak", "peak_temperature"
LOGGED = (GEL, TIME, PEAK)
DIGITS = 1  # after the point
CONVENTION = (
    "Time from catalyst in, and peak, after ASTM D2471 (withdrawn 2008); gel from the start of self-heating, after the "
    "temperature-rise convention of ISO 584. State the mass and the cup."
)


def log_trace(
    trace: Trace, logbook: Logbook, pour: str, *, by: str = "", why: str | None = None
) -> dict[str, int]:
    """Log what a trace says about one pour; returns reading name to entry number.

    Where the pour has these readings already, `why` says why the trace is the better one, and each is corrected. Without
    it, or where the trace has nothing to log, the study measures none of it or a reading is out of range, TraceProblems
    say so and nothing is stored.
    """
    measured = {reading.name for reading in logbook.study.readings}
    wanted = [name for name in LOGGED if name in trace.readings.index and name in measured]
    if trace.state == "flat":
        raise TraceProblems(trace.source, [f"there is nothing to log. {trace.verdict()}"])
    if not wanted:
        raise TraceProblems(trace.source, [f"the study measures none of {listed(LOGGED)}. Add one under [readings] in its file."])
    held = _standing(logbook, pour)
    twice = [name for name in wanted if name in held]
    if twice and why is None:
        raise TraceProblems(trace.source, [
            (f"{pour} has {listed(twice)} in the log already. To put the trace in their place, say why: "
            f'log_into(log, {pour!r}, why="read from the trace").')
        ])
    ways = {name: _way(trace.readings.loc[name]) for name in wanted}
    _refuse_out_of_range(trace, logbook.study, ways)
    note = f"From the temperature trace {trace.source}, channel {trace.channel}. {CONVENTION}"
    written = {}
    for name, way in ways.items():
        if name in held:
            written[name] = logbook.correct_reading(held[name], why=f"{why} ({note})", by=by, **way)
        else:
            written[name] = logbook.add_reading(pour, name, by=by, note=note, **way)
    return written


def _refuse_out_of_range(trace, study, ways):
    """All or nothing: what the log would refuse is refused before the first is stored."""
    problems = []
    for name, way in ways.items():
        try:
            known(study.reading(name), **way)
        except UnitProblem as problem:
            problems.append(str(problem))
    if problems:
        raise TraceProblems(trace.source, problems)


def _way(row):
    """A row of the trace's readings as `Logbook.add_reading` takes it."""
    low, high = round(float(row["low"]), DIGITS), round(float(row["high"]), DIGITS)
    if row["known"] == "exact":
        return {"value": low}
    if row["known"] == "already":
        return {"already": high}
    return {"between": (low, high)} if row["known"] == "between" else {"not_yet": low}


def _standing(logbook, pour):
    """Reading name to the number of the entry that counts now."""
    rows = logbook.history(pour)
    over = set(rows["supersedes"].dropna())
    rows = rows[(rows["what"] != "pour") & ~rows["entry"].isin(over) & ~rows["void"].astype(bool)]
    return dict(zip(rows["what"], rows["entry"].astype(int), strict=True))
