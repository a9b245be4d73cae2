"""One pour or one reading on its way into the log, checked; what is wrong with it is said as one problem."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from testpour.cautions import check_settings
from testpour.logbook.door import clean, moment
from testpour.logbook.entries import Entries, with_refusals
from testpour.logbook.tables import LogProblem
from testpour.mixing import check_note
from testpour.study import Study, StudyProblems
from testpour.units import UnitProblem

if TYPE_CHECKING:
    import datetime as dt


def one_pour(
    study: Study, pour: str | None, given: Mapping[str, Any], made_anyway: bool
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A pour as an entry for the ledger, and what its settings call care for.

    `given` has settings, session, made_at, by and note, as `Logbook.add_pour` takes them.
    """
    row = settings_of(study, given["settings"])
    found = check_settings(study, row) + check_note(given["note"] or "")
    if found.refusals and not made_anyway:
        raise LogProblem(" ".join(found.refusals) + " If this pour was made all the same, log it with made_anyway=True.")
    entry = {
        "pour": clean(pour, line=True) or None, "session": clean(given["session"], line=True),
        "made_at": moment_of(given["made_at"]), "by": clean(given["by"], line=True),
        "note": with_refusals(clean(given["note"]), found.refusals), "settings": row,
    }
    return entry, found.warnings


def settings_of(study: Study, given: Mapping[str, Any]) -> dict[str, float | str]:
    """Settings as the log keeps them; see `Entries.settings`."""
    try:
        return Entries(study).settings(given)
    except StudyProblems as problem:
        raise LogProblem(" ".join(problem.problems)) from None


def moment_of(made_at: str | dt.datetime | None) -> dt.datetime:
    """A date and time on the workshop's clock; see `moment`."""
    try:
        return moment(made_at)
    except UnitProblem as problem:
        raise LogProblem(str(problem)) from None


def reading_of(study: Study, entry: Mapping[str, Any]) -> dict[str, Any]:
    """A reading as a row for the log; see `Entries.reading`."""
    try:
        return Entries(study).reading(entry)
    except (UnitProblem, KeyError) as problem:
        raise LogProblem(str(problem.args[0])) from None
