"""The log's current rows, read in bulk: the database leaves out what was corrected or withdrawn."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.known import how_known
from testpour.logbook.tables import POURS, READINGS, SETTINGS, UNDATED
from testpour.study.study import Study

READING_COLUMNS = ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note")
READING_TYPES = {
    "entry": "int64", "pour": "str", "reading": "str", **dict.fromkeys(("low", "high", "age"), "float64"), **dict.fromkeys(("specimen", "by", "note"), "str"),
}


def setting_types(study: Study) -> dict[str, str]:
    """The type of each setting's column in the castings."""
    return {factor.name: "object" if factor.kind == "text" else "float64" for factor in study.factors}


def load_castings(study: Study, connection: sa.Connection) -> Castings:
    """`Castings` of a study from its log, superseded and withdrawn rows left out."""
    withdrawn = frozenset(connection.execute(sa.select(POURS.c.pour).where(POURS.c.void)).scalars())
    return Castings(study, _pours(study, connection), _readings(study, connection, withdrawn), withdrawn, _undeclared(study, connection, withdrawn))


def _undeclared(study, connection, withdrawn):
    """Settings and readings that the log holds and the study does not declare, with the number of pours that have them."""
    setting, reading = SETTINGS.c.factor, READINGS.c.reading
    of_pours = sa.select(setting, sa.func.count()).join(POURS, POURS.c.entry == SETTINGS.c.entry)
    of_pours = of_pours.where(is_current(POURS), setting.not_in([factor.name for factor in study.factors])).group_by(setting)
    of_readings = sa.select(reading, sa.func.count(READINGS.c.pour.distinct()))
    of_readings = of_readings.where(is_current(READINGS), READINGS.c.pour.not_in(withdrawn), _undeclared_reading(study)).group_by(reading)
    return {name: pours for query in (of_pours, of_readings) for name, pours in connection.execute(query)}


def _undeclared_reading(study):
    return READINGS.c.reading.not_in([reading.name for reading in study.readings])


def is_current(table: sa.Table) -> sa.ColumnElement[bool]:
    """The condition on a row that nothing supersedes and that is not withdrawn."""
    replaced = sa.select(table.c.supersedes).where(table.c.supersedes.is_not(None))
    return sa.and_(sa.not_(table.c.void), table.c.entry.not_in(replaced))


def _pours(study, connection):
    """One row for each pour that counts, in the order they were first logged, one column per factor of the study."""
    first_row = POURS.alias()
    first = sa.select(first_row.c.entry).where(first_row.c.pour == POURS.c.pour, first_row.c.supersedes.is_(None))
    place = sa.case((POURS.c.supersedes.is_(None), POURS.c.entry), else_=first.scalar_subquery())
    columns = {"entry": "int64", "pour": "str", "session": "str", "made_at": "datetime64[us]", **dict.fromkeys(PEOPLE, "str")}
    pours = _table(connection, sa.select(*(POURS.c[name] for name in columns)).where(is_current(POURS)).order_by(place), columns)
    pours["made_at"] = pours["made_at"].where(pours["made_at"] != UNDATED)
    whole = pours.join(_settings(study, connection), on="entry").set_index("pour")
    return whole[["session", "made_at", *(factor.name for factor in study.factors), *PEOPLE]]


def _settings(study, connection):
    """One row per entry, one column per factor; the database does the pivot, along the table's key."""
    columns = [SETTINGS.c.entry]
    for factor in study.factors:
        value = SETTINGS.c["text" if factor.kind == "text" else "number"]
        columns.append(sa.func.max(sa.case((SETTINGS.c.factor == factor.name, value))).label(factor.name))
    query = sa.select(*columns).group_by(SETTINGS.c.entry)
    return _table(connection, query, {"entry": "int64", **setting_types(study)}).set_index("entry")


def _readings(study, connection, withdrawn):
    """One row for each reading that counts, of a pour that does, in the order of entries.

    Superseded entries are looked up here, once: a server without statistics on its tables may look them up again for
    every reading.
    """
    query = sa.select(*(READINGS.c[name] for name in READING_TYPES)).where(~READINGS.c.void, ~_undeclared_reading(study)).order_by(READINGS.c.entry)
    readings = _table(connection, query, READING_TYPES)
    readings["low"], readings["high"] = readings["low"].fillna(-np.inf), readings["high"].fillna(np.inf)
    readings["known"] = how_known(readings)
    superseded = connection.execute(sa.select(READINGS.c.supersedes).where(READINGS.c.supersedes.is_not(None))).scalars()
    dropped = readings["entry"].isin(superseded.all()) | readings["pour"].isin(withdrawn)
    return readings.loc[~dropped, list(READING_COLUMNS)].reset_index(drop=True)


def _table(connection, query, types):
    """The result of a query, as a table with columns of these types."""
    table = pd.read_sql_query(query, connection, dtype=types)
    objects = [name for name, kind in types.items() if kind == "object"]
    return table.assign(**{name: table[name].where(table[name].notna(), np.nan) for name in objects})
