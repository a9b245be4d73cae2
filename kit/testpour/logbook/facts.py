"""What a log's numbers mean, kept in the log itself: the unit of every column, the grades of every reading."""

import json

import sqlalchemy as sa

from testpour.common.wording import numbered
from testpour.logbook.database import explained, writing
from testpour.logbook.tables import FACTS, READINGS, SETTINGS, LogProblem
from testpour.study.study import Study

UNIT, GRADES = "unit of ", "grades of "


def check_facts(engine: sa.Engine, study: Study) -> None:
    """Refuse a study whose units or grades differ from those the log was written in; store those of new columns.

    A column that was never logged may change, but not on a server: another bench may be about to log it as it was.
    """
    declared = {f"{UNIT}{c.name}": c.unit for c in (*study.factors, *study.readings)}
    declared |= {f"{GRADES}{r.name}": json.dumps(r.grades, ensure_ascii=False) for r in study.readings}
    with explained(engine, writing) as connection:
        stored = dict(connection.execute(sa.select(FACTS.c.name, FACTS.c.value)).all())
        names = declared.keys() & stored if engine.dialect.name != "sqlite" else _in_use(connection, declared.keys() & stored)
        wrong = [problem for name in names if (problem := _mismatch(name, stored[name], declared[name]))]
        if not wrong:
            _store(connection, declared, stored)
    if wrong:
        engine.dispose()
        raise LogProblem(" ".join(sorted(wrong)))


def _in_use(connection, names):
    """The facts of columns that have a value in the log, withdrawn and corrected ones included."""
    logged = {f"{UNIT}{name}" for column in (SETTINGS.c.factor, READINGS.c.reading) for (name,) in connection.execute(sa.select(column).distinct())}
    return {name for name in names if name in logged or name.replace(GRADES, UNIT, 1) in logged}


def _mismatch(name, logged, now):
    """How the study file contradicts the log; "" if it does not."""
    if name.startswith(GRADES):
        return _other_grades(name.removeprefix(GRADES), logged, now)
    if logged == now:
        return ""
    return (
        f"The log keeps {name.removeprefix(UNIT)} in {logged or 'plain numbers'}, the study file now declares "
        f"{now or 'plain numbers'}. Put {logged!r} back in the study file; a value may be given in any unit "
        "that converts, whatever the log keeps."
    )


def _other_grades(reading, logged, now):
    """A grade is logged by its place in the list, so a list may grow at its end and change in no other way."""
    before, after = json.loads(logged), json.loads(now)
    start = [word.casefold() for word in after[: len(before)]]
    if bool(before) == bool(after) and start == [word.casefold() for word in before]:
        return ""
    problem = (
        f"The log keeps {reading} {_in_words(before)}, the study file now declares it {_in_words(after)}: what was logged would "
        "read as something else. "
    )
    if not before:
        return f"{problem}Take the grades out of the study file, or declare them for a reading of another name."
    return (
        f"{problem}Put grades = {logged} back in the study file; a further grade may be added at the end; for any other change, "
        "declare a reading of another name."
    )


def _in_words(grades):
    return f"in the grades {numbered(grades)}" if grades else "in plain numbers"


def _store(connection, declared, stored):
    """Store the units and grades of new columns, and grades that were added at the end of a list."""
    new = [{"name": name, "value": value} for name, value in declared.items() if name not in stored]
    if new:
        connection.execute(FACTS.insert(), new)
    for name, value in declared.items():
        if stored.get(name, value) != value:
            connection.execute(FACTS.update().where(FACTS.c.name == name).values(value=value))
