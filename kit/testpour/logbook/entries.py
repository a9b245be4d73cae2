"""Checks of entries before they are logged: many together, with every problem named at once, or a single one."""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import pandas as pd

from testpour.common.problems import listed_below
from testpour.common.units import UnitProblem, to_unit
from testpour.common.wording import count, in_html, listed, shortened, table_html
from testpour.logbook.reading_text import known
from testpour.logbook.tables import UNDATED, LogProblem
from testpour.logbook.text_and_dates import clean, made_on, missing, plain_name
from testpour.study.cautions import check_settings, check_shares
from testpour.study.columns import Reading
from testpour.study.mixing import check_note
from testpour.study.study import Study, StudyProblems

COLUMNS = ["row", "column", "value", "problem"]
CONFIRMED = (True,)  # of made_anyway: text such as "no" is true to Python
EXAMPLE = '{"pour": "P01", "session": "1", "settings": {"catalyst": "1.5 %"}, "readings": [{"reading": "gel_time", "value": "25 min"}]}'


class LogProblems(LogProblem):
    """Entries were refused and nothing was stored; `problems` is a table of what is wrong."""

    def __init__(self, problems: Sequence[tuple[Any, ...]]) -> None:
        self.problems = pd.DataFrame(problems, columns=COLUMNS)
        first = self.problems.iloc[0]
        place = ", ".join(str(p) for p in (first["row"], first["column"]) if p)
        words = ": ".join(filter(None, ("First", place, first["problem"])))
        super().__init__(f"{count(len(self.problems), 'problem')}; nothing was stored. {words} The table `.problems` lists them all.")

    def _render_traceback_(self):
        """In a notebook, every problem instead of a traceback."""
        rows = self.problems.itertuples(index=False)
        lines = [", ".join(str(part) for part in (*row[:2], row.problem) if part) for row in rows]
        return listed_below(f"{count(len(self.problems), 'problem')}; nothing was stored.", lines)

    def _repr_html_(self):
        return f"<p>{in_html(str(self))}</p>{table_html(self.problems, index=False)}"


def check_entries(study: Study, entries: Iterable[Mapping[str, Any]], problems: Sequence[tuple[Any, ...]] = ()) -> list[dict[str, Any]]:
    """The entries as rows for the log, as `Ledger.add` takes them; `LogProblems` has every problem, in their order.

    `problems` are those already found while reading them, reported with the rest.
    """
    problems, checked = list(problems), []
    seen: dict[Any, tuple[str, dict[str, Any]]] = {}
    entries = list(entries) if isinstance(entries, Iterable) else [entries]
    for item in (item for entry in entries for item in (entry, *(entry.get("readings", ()) if isinstance(entry, Mapping) else ()))):
        if not isinstance(item, Mapping):
            raise LogProblem(f"{shortened(repr(item))} is neither a pour nor a reading. Write a list of pours like {EXAMPLE}.")
    for place, entry in enumerate(entries, start=1):
        where = entry.get("where", f"pour {entry.get('pour') or place}")
        pour = _pour(study, entry, where, problems)
        name = entry.get("pour")
        pour["readings"] = list(_readings(study, entry, where, problems))
        key = plain_name(pour["pour"] or "")
        if name and key in seen:
            advice = "Give each pour its own name. A further row of a pour may add readings; everything else in it must be as in the first row, or empty."
            other, first = seen[key]
            other += f" ({first['pour']})" if first["pour"] != pour["pour"] else ""
            differs = f"has another {listed(names)}" if (names := _differing(first, pour)) else "says the same"
            problems.append((where, "pour", name, f"{name} is listed twice: {other} {differs}. {advice}"))
        seen.setdefault(key, (entry.get("where", f"pour {place} of these"), pour))
        problems += _given_twice(study, pour["readings"], where)
        checked.append(pour)
    if problems:
        order = {item.get("where"): place for place, entry in enumerate(entries) for item in (*entry.get("readings", ()), entry)}
        raise LogProblems(sorted(problems, key=lambda problem: order.get(problem[0], -1)))
    return checked


def _differing(*rows):
    """The fields that two checked rows of one name both have, with different values."""
    read = [{one["reading"]: (one["low"], one["high"]) for one in row["readings"]} for row in rows]
    first, second = ({**row, **row["settings"], **each, "settings": None, "readings": None, "pour": None} for row, each in zip(rows, read, strict=True))
    return [name.replace("_", " ") for name in second if name in first and first[name] != second[name]]


def _pour(study, entry, where, problems):
    row, made_at, given = {}, UNDATED, {}
    try:
        given = study.named(entry.get("settings", {}))
    except StudyProblems as problem:
        problems.append((where, "settings", entry["settings"], problem.problems[0]))
    for name, value in given.items():
        try:
            row |= settings_row(study, {name: value})
        except StudyProblems as problem:
            problems.append((where, _column_words(study, name), value, problem.problems[0]))
    try:
        made_at = UNDATED if missing(entry.get("made_at")) else made_on(entry["made_at"])
    except UnitProblem as problem:
        problems.append((where, "made at", entry["made_at"], str(problem)))
    note = clean(entry.get("note"))
    refusals = [text for text in check_settings(study, row).refusals if text not in note]
    for refusal in refusals if entry.get("made_anyway") not in CONFIRMED else ():
        problems.append((where, "", "", f"{refusal} If it was poured anyway, say so in a made_anyway column."))
    row = _pour_row(entry, made_at, row, refusals)
    return {**row, "session": row["session"] or "1"}


def settings_row(study: Study, given: Mapping[str, Any]) -> dict[str, float | str]:
    """Settings as the log keeps them: what is not known (None, NaN) is left out, never made up."""
    given = study.named(given)
    stated = {name: value for name, value in given.items() if not missing(value)}
    whole = study.settings({**dict.fromkeys(given), **stated})
    return {name: clean(v, line=True) if isinstance(v := whole[name], str) else v for name in stated}


def _readings(study, entry, where, problems):
    for reading in entry.get("readings", ()):
        try:
            yield reading_row(study, reading)
        except (UnitProblem, KeyError) as problem:
            column = reading.get("column") or _column_words(study, reading["reading"])
            problems.append((reading.get("where", where), column, reading.get("value"), str(problem.args[0])))


def _given_twice(study, rows, where):
    """Problems of readings that one pour can have only once."""
    seen = set()
    for row in rows:
        reading = study.reading(row["reading"])
        key = (row["reading"], row["age"], row["specimen"])
        if key in seen and read_once(reading):
            yield where, reading.words, "", f"{reading.words} is given twice. Keep the right one."
        seen.add(key)


def _column_words(study, name):
    columns = {c.name: c.words for c in (*study.factors, *study.readings)}
    return columns.get(name, name)


def reading_row(study: Study, entry: Mapping[str, Any]) -> dict[str, Any]:
    """One reading as a row for the log, without its ``pour``; ends in the reading's unit, age in h.

    `entry` holds ``reading``, one of ``value``, ``between``, ``not_yet`` and ``already``, and if known ``age`` (h),
    ``specimen``, ``by``, ``note``. Raises a UnitProblem if it is not possible or needs an age; a NoSuchName if the study
    has no such reading.
    """
    reading = study.reading(entry["reading"])
    result = known(reading, **{way: entry.get(way) for way in ("value", "between", "not_yet", "already", "decimal")})
    hours = None
    if reading.ages:
        if missing(entry.get("age")):
            raise UnitProblem(f"{reading.words} changes with age: say how long after mixing, for example age=\"24 h\".")
        hours = to_unit(entry["age"], "h", "age")
        if not 0 < hours <= 24 * 3650:
            raise UnitProblem(f"{reading.words}: an age of {hours:g} h is not possible. Give hours after mixing.")
    return {
        "reading": reading.name,
        "low": None if math.isinf(result.low) else result.low,
        "high": None if math.isinf(result.high) else result.high,
        "known": result.how,
        "age": hours,
        "specimen": _specimen(entry.get("specimen", "")),
        "by": clean(entry.get("by"), line=True),
        "note": clean(entry.get("note")),
    }


def pour_row(study: Study, pour: str | None, given: Mapping[str, Any], made_anyway: bool) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A pour as an entry for the ledger, and warnings about its settings.

    `given` has settings, session, made_at, by and note, as `Logbook.add_pour` takes them.
    """
    row = settings_of(study, given["settings"])
    cautions = check_settings(study, row) + check_shares(study, row) + check_note(clean(given["note"]))
    if cautions.refusals and made_anyway not in CONFIRMED:
        raise LogProblem(" ".join(cautions.refusals) + " If it was poured anyway, log it with made_anyway=True.")
    return _pour_row({"pour": pour, **given}, moment_of(given["made_at"]), row, cautions.refusals), cautions.warnings


def _pour_row(entry, made_at, settings, refusals):
    """A pour as the ledger adds it, its texts cleaned."""
    return {
        "pour": clean(entry.get("pour"), line=True) or None,
        "session": clean(entry.get("session"), line=True),
        "made_at": made_at,
        "by": clean(entry.get("by"), line=True),
        "note": with_refusals(clean(entry.get("note")), refusals),
        "settings": settings,
    }


@contextmanager
def as_log_problem() -> Iterator[None]:
    """Raise a problem with a study, a quantity or a date as a LogProblem."""
    try:
        yield
    except StudyProblems as problem:
        raise LogProblem(" ".join(problem.problems)) from None
    except (UnitProblem, KeyError) as problem:
        raise LogProblem(str(problem.args[0])) from None


# The same for a single pour or reading, whose problem is raised at once.
settings_of = as_log_problem()(settings_row)
moment_of = as_log_problem()(made_on)
reading_of = as_log_problem()(reading_row)


def read_once(reading: Reading) -> bool:
    """Whether a pour has only one such reading at each age; hardness is read at several places."""
    return not reading.ages or bool(reading.grades)


def with_refusals(note: str, refusals: Iterable[str]) -> str:
    """A note that keeps, once, what the cautions refused."""
    return " ".join([note, *(f"Refused by the cautions: {text}" for text in refusals if text not in note)]).strip()


def _specimen(text):
    """The name of a place or piece: one short word, so that it fits into a header."""
    text = clean(text, line=True)
    if not re.fullmatch(r"[\w.#/-]{0,20}", text):
        raise UnitProblem(f"specimen: {text!r} is not one word of letters, digits or . - / #. Write it like 2 or left.")
    return text
