"""From settings to a session at the bench: names that are free, a bench sheet, and the session form."""

import io
from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

import testpour as tp
from testpour.bench.desk import Desk
from testpour.bench.session_form import SessionForm
from testpour.logbook.castings import Castings, names_planned, new_names
from testpour.panels.workshop import Memory, Needed, Workshop
from testpour.planning.plan import Plan
from testpour.study.study import Study


def next_names(workshop: Workshop, count: int) -> tuple[list[str], str]:
    """Names for `count` new pours and for a new session, not used in the log, the plan or an open session."""
    castings, (pours, sessions) = workshop.castings(), planned_names(workshop)
    return new_names("P", count, [*castings.names, *pours]), new_names("S", 1, [*castings.pours["session"], *sessions])[0]


def planned_names(workshop: Workshop) -> tuple[list[str], list[str]]:
    """Names of the pours and of the sessions in the plan and in open sessions, poured or not."""
    plan, opened = kept_plan(workshop), workshop.opened()
    pours = [name for names in opened.values() for name in names]
    return (pours, [*opened]) if plan is None else ([*pours, *plan.index], [*opened, *plan["session"]])


def with_free_names(plan: Plan, castings: Castings, taken: dict[str, list[str]]) -> Plan:
    """The plan, its pours and sessions renumbered after those of the log and open sessions if a name would be used twice.

    `taken` maps each open session to the names of its pours.
    """
    pours = [name for names in taken.values() for name in names]
    if not (set(plan.table.index) & set(pours) or set(plan.sessions) & set(taken)):
        return plan
    days = new_names("S", len(plan.sessions), [*castings.pours["session"], *taken])
    names = dict(zip(plan.sessions, days, strict=True))
    index = pd.Index(new_names("P", len(plan.table), [*castings.names, *pours]), name=plan.table.index.name)
    return replace(plan, table=plan.table.assign(session=plan.table["session"].map(names)).set_axis(index))


def as_kept(pours: pd.DataFrame) -> pd.DataFrame:
    """The pours as they are after a round trip through the file."""
    return _from_csv(pours.to_csv())


def kept_plan(workshop: Workshop) -> pd.DataFrame | None:
    """The plan kept in the study folder, one row per pour; None if there is none."""
    csv = Memory(workshop.folder, "kept-plan").get("table", None)
    return None if not csv else _from_csv(csv)


def _from_csv(csv):
    return pd.read_csv(io.StringIO(csv), index_col=0, dtype={"session": str, "pour": str})


def shown_plan(study: Study, pours: pd.DataFrame) -> pd.DataFrame:
    """The pours in words: the session and every setting that differs."""
    shown = pd.DataFrame({"session": pours["session"]}, index=pours.index)
    for factor in study.factors:
        if factor.name in pours and pours[factor.name].nunique() > 1:
            shown[factor.words] = [factor.show(value) for value in pours[factor.name]]
    return shown.rename_axis("pour")


def unpoured(plan: pd.DataFrame, castings: Castings) -> pd.DataFrame:
    """The pours of a kept plan that are not in the log, not even under a name such as P02-2."""
    return plan[~plan.index.isin(names_planned(castings.pours.index))]


def begin_session(workshop: Workshop, pours: pd.DataFrame, session: str, resin: float | Mapping[str, float] | None, scale: str, room: str) -> SessionForm:
    """The session form for some pours, with the grams to weigh.

    `resin` is g in each pour: one for all, or pour to g. `room` is its temperature as typed in the panel, which
    the form shows until it is saved there. Raises `Needed` if `resin` is None.
    """
    if resin is None:
        raise Needed("First say how much resin goes into one pour; the form then shows what to weigh.")
    table = pours.drop(columns=[c for c in ("age", "session") if c in pours])
    sheet = tp.bench_sheet(workshop.study, table, session=session, resin=resin, scale_resolution=scale)
    return SessionForm(Desk(workshop.log, sheet, typed={"room_temperature": room}))
