"""The planned pours of one session: what to set and what to weigh; kept with the study, so that the form can be reopened."""

import contextlib
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import pandas as pd

from testpour.bench.bench_sheet import coarse_scale_warning
from testpour.bench.printed_sheet import WEIGHED, BenchSheet, own_shares
from testpour.bench.weighing import weigh_out
from testpour.common.files import Kind, beginning, put
from testpour.common.problems import Problems
from testpour.common.units import show
from testpour.common.wording import capital
from testpour.logbook.book import Logbook
from testpour.logbook.database import in_memory
from testpour.models.settings import cells_read
from testpour.planning.plan import Plan, session_pours
from testpour.planning.pour_cautions import session_conflict
from testpour.study.cautions import check_batch, check_delivered
from testpour.study.scale import GRAMS, check_weighed, mass_shown
from testpour.study.study import Study

FOLDER = "sessions"
FILE = Kind("the plan of a session", lambda path: beginning(path).startswith(b'{\n "session": "'))


class FormProblem(Problems):
    """A session form cannot be made from what was given; `problems` lists each reason."""

    def __init__(self, problems: Iterable[str]) -> None:
        super().__init__("Session form", problems)


@dataclass(frozen=True)
class PlannedPour:
    """One planned pour."""

    pour: str
    settings: Mapping[str, float | str]  # chosen factors in their declared units, as the log takes them
    said: tuple[str, ...]  # what to set besides the mix, in words
    weigh: tuple[dict[str, str], ...]  # ``what``, ``amount`` and ``more`` in words, in the order of weighing
    # About the amounts; those about the settings depend on today's room, see `SessionState.cautions`.
    warnings: tuple[str, ...] = ()


def planned_pours(study: Study, source: Plan | BenchSheet | pd.DataFrame, session: int | str | None = None) -> tuple[str, tuple[PlannedPour, ...]]:
    """The session's name and its planned pours in run order.

    With grams if `source` is a bench sheet, else with percentages; `session` is a number from 1, or a name.
    Raises `FormProblem` if it is unclear which session is meant, it has no pour, or its pours cannot share a session.
    """
    table = source.table if isinstance(source, Plan | BenchSheet) else source
    if isinstance(source, BenchSheet):
        if session not in (None, source.session):
            raise FormProblem([f"the bench sheet is of session {source.session}, not {session}. Leave session out."])
        session = source.session
    problems: list[str] = []
    name, table = session_pours(table, session, problems)
    if problems or (why := session_conflict(study, name, table)):
        raise FormProblem(problems or [why])
    scale = (source.scale_resolution, source.unit) if isinstance(source, BenchSheet) else (0.1, GRAMS)
    chosen = [f for f in study.factors if f.role == "chosen" and f.name in table]
    pours = []
    for pour, row in cells_read(study, table).iterrows():
        settings = {f.name: float(row[f.name]) for f in chosen if not math.isnan(row[f.name])}
        in_words = [f"{f.words} {f.show(settings[f.name])}" for f in chosen if f.name in settings and f.name not in WEIGHED
                and (f.span or settings[f.name] != f.usual)]
        own = {f.name: f.words for f in own_shares(study) if settings.get(f.name) and f"{f.name}_g" in row.index}
        weigh, warnings = tuple(_weigh(row, settings, own, *scale)), _amount_warnings(row, settings, own, *scale)
        pours.append(PlannedPour(str(pour), settings, tuple(in_words), weigh, warnings))
    return name, tuple(pours)


def _amount_warnings(row, settings, own, step, unit):
    """Warnings about the grams of a bench sheet's row, if it has any."""
    if "resin_g" not in row.index:
        return ()
    cautions = check_batch(row["resin_g"] + row["catalyst_g"]) + check_delivered(row["catalyst_high"])
    for name, words in {"pigment": "pigment", **own}.items():
        cautions += check_weighed(row["resin_g"], settings.get(name, 0.0), step, unit, what=words)
    scale = f"{step / unit[1]:.9g} {unit[0]}"
    return (*cautions.warnings, *coarse_scale_warning(weigh_out(row["resin_g"], catalyst=settings["catalyst"], scale_resolution=scale)))


def _weigh(row, settings, own, step, unit):
    """The lines to weigh, in order: amounts if the sheet has them, else parts of the resin."""
    grams = {name: mass_shown(row[f"{name}_g"], step, unit) for name in ("resin", *WEIGHED, *own) if f"{name}_g" in row.index}
    if "resin" in grams:
        yield {"what": "Resin", "amount": grams["resin"], "more": ""}
    if settings.get("pigment"):
        part = f"{show(settings['pigment'], '%')} of the resin"
        yield {"what": "Pigment", "amount": grams.get("pigment", part), "more": "stir to no streak"}
    for name, words in own.items():
        yield {"what": capital(words), "amount": grams[name], "more": "by the resin's weight"}
    if "catalyst" in settings:
        part = f"{show(settings['catalyst'], '%')} of the resin"
        more = f"{part}; this scale gives {row['catalyst_low']:.2f} to {row['catalyst_high']:.2f} %" if grams else ""
        yield {"what": "Catalyst", "amount": grams.get("catalyst", part), "more": more}


def keep(logbook: Logbook, session: str, planned: Sequence[PlannedPour]) -> None:
    """Write the planned pours of a session into the study folder, unless the log is only in memory.

    Raises `FormProblem` if the folder cannot be written.
    """
    if in_memory(logbook.address):
        return
    name = re.sub(r"[^\w-]", lambda sign: f"%{ord(sign[0]):x}", session)  # escapes characters that a file name may not have
    path = _folder(logbook) / f"{name}.json"
    text = json.dumps({"session": session, "pours": [asdict(one) for one in planned]}, indent=1)
    try:
        path.parent.mkdir(exist_ok=True)
        put(path, text, FILE)
    except OSError as problem:  # `put` raises one without strerror if something else is there
        reason = f"the plan cannot be kept in {path.parent}: {problem.strerror}. Check the folder." if problem.strerror else str(problem)
        raise FormProblem([reason]) from problem


def kept_sessions(logbook: Logbook) -> list[str]:
    """Names of the sessions saved beside the study, the latest first."""
    return [plan["session"] for plan in _plans(logbook)]


def kept(logbook: Logbook, session: int | str | None = None) -> tuple[str, tuple[PlannedPour, ...]]:
    """Name and planned pours of a kept session, by default the latest. Raises `FormProblem` if there is none."""
    plans = _plans(logbook)
    chosen_plan = next((plan for plan in plans if session in (None, plan["session"])), None)
    if chosen_plan is None:
        there = f"saved are {', '.join(plan['session'] for plan in plans)}" if plans else "none is saved yet"
        raise FormProblem([f"no session to open again: {there}. Give a plan or a bench sheet."])
    pours = [PlannedPour(p["pour"], p["settings"], tuple(p["said"]), tuple(p["weigh"]), tuple(p["warnings"])) for p in chosen_plan["pours"]]
    return chosen_plan["session"], tuple(pours)


def _plans(logbook):
    """The kept plans, latest first; other files are skipped."""
    plans = []
    for path in [] if in_memory(logbook.address) else _folder(logbook).glob("*.json"):
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            plan = json.loads(path.read_text("utf-8"))
            plans.append((path.stat().st_mtime, plan["session"], plan))
    return [plan for *_, plan in sorted(plans, key=lambda dated: dated[:2], reverse=True)]


def _folder(logbook):
    return Path(logbook.study.folder) / FOLDER
