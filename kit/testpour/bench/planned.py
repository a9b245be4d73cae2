"""The planned pours of one session as a form needs them: what to set and what to weigh."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from testpour.bench.bench_sheet import WEIGHED, BenchSheet, is_number
from testpour.bench.weighing import check_pigment
from testpour.cautions import check_batch, check_delivered
from testpour.planning.plan import Plan, session_pours
from testpour.planning.pour_cautions import apart
from testpour.problems import Problems
from testpour.scale import decimals
from testpour.study import Study
from testpour.units import show


class FormProblem(Problems):
    """A session form cannot be made of what was given; `problems` lists each reason."""

    def __init__(self, problems: Iterable[str]) -> None:
        super().__init__("Session form", problems)


@dataclass(frozen=True)
class PlannedPour:
    """One planned pour."""

    pour: str
    settings: Mapping[str, float | str]  # chosen factors in their declared units, as the log takes them
    said: tuple[str, ...]  # what to set besides the mix, in words
    weigh: tuple[dict[str, str], ...]  # ``what``, ``amount`` and ``more`` in words, in the order of weighing
    # About the amounts; those about the settings depend on today's room, see `Desk.cautions`.
    warnings: tuple[str, ...] = ()


def planned_pours(
    study: Study, source: Plan | BenchSheet | pd.DataFrame, session: int | str | None = None
) -> tuple[str, tuple[PlannedPour, ...]]:
    """The session's name and its planned pours in run order.

    With grams where `source` is a bench sheet, with percentages otherwise; `session` is a number from 1, or a
    name. Raises `FormProblem` if it is not clear which session is meant, there is no pour in it, or its pours
    cannot share a session.
    """
    table = source.table if isinstance(source, Plan | BenchSheet) else source
    if not isinstance(table, pd.DataFrame):
        raise FormProblem(["give a plan, a bench sheet or a table with one row a pour."])
    if isinstance(source, BenchSheet):
        if session not in (None, source.session):
            raise FormProblem([f"the bench sheet is of session {source.session}, not {session}. Leave session out."])
        session = source.session
    problems: list[str] = []
    name, table = session_pours(table, session, problems)
    if problems or (why := apart(study, name, table)):
        raise FormProblem(problems or [why])
    step = source.scale_resolution if isinstance(source, BenchSheet) else 0.1
    varied = {f.name for f in study.varied}
    chosen = [f for f in study.factors if f.role == "chosen" and f.name in table]
    pours = []
    for pour, row in table.iterrows():
        settings = {f.name: float(row[f.name]) for f in chosen if is_number(row[f.name])}
        said = [f"{f.words} {f.show(settings[f.name])}" for f in chosen if f.name in settings and f.name not in WEIGHED
                and (f.name in varied or settings[f.name] != f.usual)]
        pours.append(PlannedPour(str(pour), settings, tuple(said), tuple(_weigh(row, settings, step)), _amount_warnings(row, settings, step)))
    return name, tuple(pours)


def _amount_warnings(row, settings, step):
    """What is warned about the grams of a bench sheet's row; nothing where it has none."""
    if "resin_g" not in row.index:
        return ()
    found = check_batch(row["resin_g"] + row["catalyst_g"]) + check_delivered(row["catalyst_high"])
    return (found + check_pigment(row["resin_g"], settings.get("pigment", 0.0), step)).warnings


def _weigh(row, settings, step):
    """The lines to weigh from top to bottom: grams where the sheet has them, else parts of the resin."""
    grams = {name: f"{row[f'{name}_g']:.{decimals(step)}f} g" for name in ("resin", *WEIGHED) if f"{name}_g" in row.index}
    if "resin" in grams:
        yield {"what": "Resin", "amount": grams["resin"], "more": ""}
    if settings.get("pigment"):
        part = f"{show(settings['pigment'], '%')} of the resin"
        yield {"what": "Pigment", "amount": grams.get("pigment", part), "more": "stir to no streak"}
    if "catalyst" in settings:
        part = f"{show(settings['catalyst'], '%')} of the resin"
        more = f"{part}; this scale gives {row['catalyst_low']:.2f} to {row['catalyst_high']:.2f} %" if grams else ""
        yield {"what": "Catalyst", "amount": grams.get("catalyst", part), "more": more}
