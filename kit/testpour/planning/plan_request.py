"""The arguments of a plan, read from text or numbers, with every conflict noted before one is raised."""

import math
from collections.abc import Mapping, Sequence
from numbers import Integral

import numpy as np
import pandas as pd

from testpour.common.units import show
from testpour.common.wording import count, listed, shortened
from testpour.models.settings import settings_table
from testpour.planning import purposes
from testpour.planning.coding import Coding, coding_for, each_of, is_list
from testpour.planning.pour_cautions import pour_cautions
from testpour.planning.problem import PlanConflict
from testpour.planning.study_design import settings_refused
from testpour.study.scale import weighable
from testpour.study.study import Study, StudyProblems

TWO = 'compare=({"catalyst": "1 %"}, {"catalyst": "2 %"})'  # how two settings are given


def read_request(
    study: Study, sessions: int, pours: int | Sequence[int], purpose: str | None, factors: Sequence[str] | None,
    rooms: str | float | Sequence[str | float] | None, moulds: Sequence[str | float] | None,
    compare: Sequence[Mapping[str, str | float]] | None, resin: str | float | None, pot: str | float
) -> tuple[tuple[int, ...], Coding, pd.DataFrame | None]:
    """Pours of each session, coding, and the two complete settings to compare; raises a PlanConflict with every conflict.

    Parameters are those of `plan_pours`.
    """
    conflicts: list[str] = []
    days = _sessions(sessions, conflicts)
    sizes = _sizes(days, pours, conflicts)
    _check_budget(sum(sizes), resin, pot, conflicts)
    _check_purpose(purpose, compare, conflicts)
    sides = None
    try:
        coding = coding_for(study, days, factors, rooms, moulds, given=compare is not None)
        conflicts += [f"{text} Change it in study.toml, or in what you ask for." for text in settings_refused(coding)]
        sides = _settings_to_compare(coding, compare, conflicts) if _is_pair(compare) else None
    except PlanConflict as wrong:
        conflicts += wrong.problems
    if conflicts:
        raise PlanConflict(dict.fromkeys(conflicts))
    return sizes, coding, sides


def _is_whole(value):
    return isinstance(value, Integral) and not isinstance(value, bool)


def _sessions(sessions, conflicts):
    """The number of sessions; 0 if it is unclear."""
    if not _is_whole(sessions):
        conflicts.append(f"sessions: {shortened(repr(sessions))} is not a number of sessions. Give 1, 2, 3 ...")
    elif sessions < 1:
        conflicts.append("A plan needs at least one session: ask for sessions=1 or more.")
    else:
        return int(sessions)
    return 0


def _sizes(sessions, pours, conflicts):
    """Pours of each session; empty if unclear."""
    given, alone = each_of(pours), not is_list(pours)
    wrong = [size for size in given if not _is_whole(size) or size < 1]
    if wrong:
        quoted = ", ".join(dict.fromkeys(shortened(repr(size)) for size in wrong))
        conflicts.append(f"pours: {quoted} is not a number of pours. Give 1, 2, 3 ..., and leave an empty session out.")
    if sessions and not alone and len(given) != sessions:
        conflicts.append(f"{count(sessions, 'session')} but {count(len(given), 'number')} of pours: give one for each session.")
    return () if wrong else tuple(int(size) for size in given) * (sessions if alone else 1)


def _check_budget(pours, resin, pot, conflicts):
    """Note amounts that cannot be read, and a plan that the resin at hand cannot fill."""
    grams = weighable(conflicts, pot, "g", "pot")
    have = math.inf if resin is None else weighable(conflicts, resin, "g", "resin")
    if pours * grams > have:
        fits = f"plan {count(int(have // grams), 'pour')}, or pots" if have >= grams else "plan pots"
        conflicts.append(
            f"{count(pours, 'pour')} of {show(grams, 'g')} need {show(pours * grams, 'g')} of resin and there are "
            f"{show(have, 'g')}: {fits} of {show(have / pours, 'g')}."
        )


def _is_pair(compare):
    return isinstance(compare, Sequence) and len(compare) == 2 and all(isinstance(side, Mapping) for side in compare)


def _check_purpose(purpose, compare, conflicts):
    """Note an unknown purpose, and settings to compare that are missing or would be ignored."""
    if purpose and purpose not in purposes.PURPOSES:
        conflicts.append(f"No purpose {purpose!r}; choose one of: {'; '.join(purposes.PURPOSES)}.")
    if (compare is not None or purpose == purposes.SETTLE) and not _is_pair(compare):
        conflicts.append(f"To settle one question, say which two settings: {TWO}.")
    elif compare is not None and purpose in purposes.PICK:
        conflicts.append(f"Two settings are compared only to {purposes.SETTLE}: leave purpose out, or leave compare out.")


def _settings_to_compare(coding, compare, conflicts):
    """The two settings to compare as a table; reasons why one cannot be poured are noted."""
    tables = []
    for number, side in enumerate(compare, start=1):
        try:
            table = settings_table(coding.study, dict(side))
            wrong = [*_why_not_poured(coding, side, table.iloc[0]), *_refused(coding, table.iloc[0])]
            tables.append(table)
        except StudyProblems as problem:
            wrong = problem.problems
        conflicts += [f"Setting {number}: {text}" for text in wrong]
    return pd.concat(tables) if len(tables) == 2 else None


def _why_not_poured(coding, side, row):
    """Why a setting to compare is not poured by this plan: not varied in it, outside a span, or in no mould."""
    if still := [name for name in side if name not in coding.names]:
        yield f"{', '.join(still)} is not varied in this plan; it varies {', '.join(coding.names)}."
    for factor in coding.factors:
        low, high = factor.span
        if factor.name in side and not low - 1e-6 <= row[factor.name] <= high + 1e-6:
            yield (f"{factor.words} {factor.show(row[factor.name])} is outside the study's {factor.between(low, high)}: "
                   "widen the span in study.toml, or compare within it.")
        if factor.name == "thickness" and coding.depths and not np.isclose(coding.depths, row[factor.name]).any():
            yield f"{factor.words} {factor.show(row[factor.name])} is in no mould: give one of {listed(map(factor.show, coding.depths))}."


def _refused(coding, row):
    """What is refused of a setting to compare, in each room of the plan."""
    for room in coding.rooms or (row.get("room_temperature"),):
        at = row.drop("age").to_dict() | ({} if room is None else {"room_temperature": room})
        yield from pour_cautions(coding.study, at).refusals
