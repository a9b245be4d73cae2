"""From settings to a session at the bench: names that are free, a bench sheet, and the session form."""

from __future__ import annotations

import re

import pandas as pd

import testpour as tp
from testpour.bench.kept import kept, kept_sessions
from testpour.bench.session_form import SessionForm
from testpour.panels.make_plan import kept_plan
from testpour.panels.workshop import Needed, Workshop


def next_names(workshop: Workshop, count: int) -> tuple[list[str], str]:
    """Names for so many new pours and for a new session: none that is in the log, in the plan or in an open session.

    Parameters
    ----------
    workshop : Workshop
    count : int

    Returns
    -------
    tuple
        List of pour names, and the session's name.
    """
    castings, plan = workshop.castings(), kept_plan(workshop)
    pours, sessions = [*map(str, castings.pours.index)], [*map(str, castings.pours["session"].unique())]
    if plan is not None:
        pours, sessions = [*pours, *map(str, plan.index)], [*sessions, *map(str, plan["session"])]
    for session in kept_sessions(workshop.log):
        sessions.append(session)
        pours += [one.pour for one in kept(workshop.log, session)[1]]
    last, day = _highest(pours, "P"), _highest(sessions, "S")
    return [f"P{last + k:02d}" for k in range(1, count + 1)], f"S{day + 1}"


def _highest(names, letter):
    return max((int(found[1]) for name in names if (found := re.fullmatch(rf"{letter}(\d+)(?:-\d+)?", name))), default=0)


def begin_session(workshop: Workshop, pours: pd.DataFrame, session: str, resin: float | None, scale: str) -> SessionForm:
    """The session form for some pours; with grams where the resin is known, else with percentages.

    Parameters
    ----------
    workshop : Workshop
    pours : DataFrame
        One row a pour, indexed by name, with the study's settings.
    session : str
    resin : float or None
        g in each pour.
    scale : str
        Step of the scale.

    Returns
    -------
    SessionForm

    Raises
    ------
    Needed
        If the resin of a pour is not known: a session is weighed, so it is asked for.
    """
    if resin is None:
        raise Needed("Say first how much resin goes into one pour; the form shows grams.")
    table = pours.drop(columns=[c for c in ("age", "session") if c in pours])
    sheet = tp.bench_sheet(workshop.study, table, session=session, resin=resin, scale_resolution=scale)
    return tp.session_form(workshop.log, sheet)
