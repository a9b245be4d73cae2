"""The log's current rows, read in bulk: the database leaves out what was corrected or withdrawn."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.known import how_known
from testpour.logbook.tables import FACTS, POURS, READINGS, SETTINGS, UNDATED, LogProblem
from testpour.study import Study, older_name

READING_COLUMNS = ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note")
NUMBERS = ("entry", "pour", "reading", "low", "high", "age")
WORDS = ("specimen", "by", "note")
PORTION = 50_000  # rows turned into columns at a time


def load_castings(study: Study, connection: sa.Connection) -> Castings:
    """`Castings` of a study from its log, superseded and withdrawn rows left out."""
    _refuse_other_units(study, connection)
    withdrawn = frozenset(connection.execute(sa.select(POURS.c.pour).where(POURS.c.void)).scalars())
    return Castings(study, _pours(study, connection), _readings(study, connection, withdrawn), withdrawn, _undeclared(study, connection, withdrawn))


def _undeclared(study, connection, withdrawn):
    """Settings and readings that the log holds and the study does not declare, with the number of pours that have them."""
    settings, readings = SETTINGS.c.factor, READINGS.c.reading
    of_pours = sa.select(settings, sa.func.count()).join(POURS, POURS.c.entry == SETTINGS.c.entry).where(standing(POURS), _none_of(settings, study.factors))
    read = sa.func.count(READINGS.c.pour.distinct())
    of_readings = sa.select(readings, read).where(standing(READINGS), READINGS.c.pour.not_in(withdrawn), _none_of(readings, study.readings))
    return {name: pours for query, name in ((of_pours, settings), (of_readings, readings)) for name, pours in connection.execute(query.group_by(name))}


def _none_of(name, columns):
    """The condition that a name of the log is none of these columns', now or under an older name."""
    older = [old for column in columns if (old := older_name(column.name))]
    return sa.and_(name.not_in([column.name for column in columns]), sa.func.lower(name).not_in(older))


def _refuse_other_units(study, connection):
    """Refuse to read under a new name what was kept in another unit under the name it had."""
    renamed = {f"unit of {older}": c for c in (*study.factors, *study.readings) if (older := older_name(c.name))}
    if not renamed:
        return
    for name, unit in connection.execute(sa.select(FACTS.c.name, FACTS.c.value)):
        column = renamed.get(name.casefold())
        if column and unit != column.unit:
            raise LogProblem(
                f"The log keeps {name.removeprefix('unit of ')} in {unit or 'plain numbers'}, the study file now declares {column.name} "
                f"in {column.unit or 'plain numbers'}. Write unit = {unit!r} for {column.name} in the study file."
            )


def standing(table: sa.Table) -> sa.ColumnElement[bool]:
    """The condition on a row that nothing supersedes and that is not withdrawn."""
    replaced = sa.select(table.c.supersedes).where(table.c.supersedes.is_not(None))
    return sa.and_(sa.not_(table.c.void), table.c.entry.not_in(replaced))


def _pours(study, connection):
    """One row a standing pour, in the order they were first logged, one column a factor of the study."""
    held = ("entry", "pour", "session", "made_at", *PEOPLE)
    older = POURS.alias()
    first = sa.select(older.c.entry).where(older.c.pour == POURS.c.pour, older.c.supersedes.is_(None))
    place = sa.case((POURS.c.supersedes.is_(None), POURS.c.entry), else_=first.scalar_subquery())
    query = sa.select(*(POURS.c[name] for name in held)).where(standing(POURS)).order_by(place)
    table = _table(connection, query, held, {"entry": int, "made_at": object})
    table["made_at"] = table["made_at"].to_numpy("datetime64[us]")  # SQLite keeps a moment as text
    table["made_at"] = table["made_at"].where(table["made_at"] != UNDATED)
    whole = table.join(_settings(study, connection), on="entry").set_index("pour")
    return whole[["session", "made_at", *(factor.name for factor in study.factors), *PEOPLE]]


def _settings(study, connection):
    """One row an entry, one column a factor; the database spreads them along their own key."""
    names, columns = ["entry"], [SETTINGS.c.entry]
    for factor in study.factors:
        said = SETTINGS.c["text" if factor.kind == "text" else "number"]
        names.append(factor.name)
        spread = sa.func.max(sa.case((SETTINGS.c.factor == factor.name, said)))
        if older := older_name(factor.name):
            spread = sa.func.coalesce(spread, sa.func.max(sa.case((sa.func.lower(SETTINGS.c.factor) == older, said))))
        columns.append(spread)
    kinds = {f.name: object if f.kind == "text" else float for f in study.factors} | {"entry": int}
    return _table(connection, sa.select(*columns).group_by(SETTINGS.c.entry), names, kinds).set_index("entry")


def _readings(study, connection, withdrawn):
    """One row a standing reading of a standing pour, in the order of entries."""
    older = {old: reading.name for reading in study.readings if (old := older_name(reading.name))}
    ours = READINGS.c.reading.in_([reading.name for reading in study.readings])
    held = [~READINGS.c.void, sa.or_(ours, sa.func.lower(READINGS.c.reading).in_(older)) if older else ours]
    numbers = {"entry": int, "low": float, "high": float, "age": float}
    table = _table(connection, _chosen(NUMBERS, held), NUMBERS, numbers)
    if older:
        table["reading"] = table["reading"].map(lambda name: older.get(name.casefold(), name)).astype("str")
    table["low"], table["high"] = table["low"].fillna(-np.inf), table["high"].fillna(np.inf)
    # Few readings have a specimen, initials or a note: only those are fetched.
    said = sa.or_(*(READINGS.c[name] != "" for name in WORDS))
    words = _table(connection, _chosen(("entry", *WORDS), [said, *held]), ("entry", *WORDS), {"entry": int})
    place = np.zeros(len(table), dtype=int)
    place[table["entry"].searchsorted(words["entry"])] = np.arange(1, len(words) + 1)
    for name in WORDS:
        table[name] = pd.array(["", *words[name]], dtype="str").take(place)
    table["known"] = how_known(table)
    gone = _gone(connection, table, withdrawn)
    return (table[~gone].reset_index(drop=True) if gone.any() else table)[list(READING_COLUMNS)]


def _gone(connection, table, withdrawn):
    """Which readings were superseded, or lie under a pour that was withdrawn.

    Both are few and looked up once: a server that has not counted its rows yet may otherwise look them up
    again for every reading. A pour once withdrawn is never logged again under its name.
    """
    replaced = connection.execute(sa.select(READINGS.c.supersedes).where(READINGS.c.supersedes.is_not(None))).scalars()
    return table["entry"].isin(replaced.all()) | table["pour"].isin(withdrawn)


def _chosen(names, conditions):
    """Columns of the readings that meet all conditions, in the order of entries."""
    return sa.select(*(READINGS.c[name] for name in names)).where(*conditions).order_by(READINGS.c.entry)


def _table(connection, query, names, kinds):
    """What a query finds, as a table of text columns, but for `kinds`."""
    # The driver's own rows: numbers and text need no conversion. There may be a million of them, so by portions.
    cursor = connection.execute(query).cursor
    kinds = {name: kinds.get(name, "str") for name in names}
    portions = [_typed(rows, kinds) for rows in iter(lambda: cursor.fetchmany(PORTION), [])] or [_typed([], kinds)]
    table = pd.concat(portions, ignore_index=True) if len(portions) > 1 else portions[0]
    for name in table.columns[table.dtypes == object]:
        table[name] = table[name].where(table[name].notna(), np.nan)
    return table


def _typed(rows, kinds):
    table = pd.DataFrame(rows, columns=list(kinds))
    return table.astype({name: kind for name, kind in kinds.items() if table[name].dtype != kind})
