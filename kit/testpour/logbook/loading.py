"""The rows of the log that stand, read in bulk: the database sorts them out and spreads the settings."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.tables import POURS, READINGS, SETTINGS

READING_COLUMNS = ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note")
NUMBERS = ("entry", "pour", "reading", "low", "high", "age")
WORDS = ("specimen", "by", "note")


def load_castings(study, connection):
    """`Castings` of a study from its log, superseded and withdrawn rows left out."""
    return Castings(study, _pours(study, connection), _readings(study, connection))


def standing(table):
    """The condition on a row that nothing supersedes and that is not withdrawn."""
    replaced = sa.select(table.c.supersedes).where(table.c.supersedes.is_not(None))
    return sa.and_(sa.not_(table.c.void), table.c.entry.not_in(replaced))


def _pours(study, connection):
    """One row a standing pour, in the order they were first logged, one column a factor of the study."""
    spread = [
        sa.func.max(sa.case((SETTINGS.c.factor == f.name, SETTINGS.c["text" if f.kind == "text" else "number"])))
        for f in study.factors
    ]
    names = [f.name for f in study.factors]
    settings = sa.select(SETTINGS.c.entry, *(s.label(n) for s, n in zip(spread, names, strict=True)))
    settings = settings.group_by(SETTINGS.c.entry).subquery()
    held = [POURS.c.pour, POURS.c.session, POURS.c.made_at, *(settings.c[n] for n in names), *(POURS.c[p] for p in PEOPLE)]
    first = sa.select(POURS.c.pour, sa.func.min(POURS.c.entry).label("entry")).group_by(POURS.c.pour).subquery()
    query = sa.select(*held).join(first, first.c.pour == POURS.c.pour)
    query = query.join(settings, settings.c.entry == POURS.c.entry, isouter=True)
    kinds = {f.name: object if f.kind == "text" else float for f in study.factors} | {"made_at": "datetime64[us]"}
    rows = connection.execute(query.where(standing(POURS)).order_by(first.c.entry)).fetchall()
    return _table(rows, ("pour", "session", "made_at", *names, *PEOPLE), kinds).set_index("pour")


def _readings(study, connection):
    """One row a standing reading of a standing pour, in the order of entries."""
    held = sa.and_(
        standing(READINGS),
        READINGS.c.pour.in_(sa.select(POURS.c.pour).where(standing(POURS))),
        READINGS.c.reading.in_([reading.name for reading in study.readings]),
    )
    numbers = {"entry": int, "low": float, "high": float, "age": float}
    table = _fetched(connection, NUMBERS, held, numbers)
    table["low"], table["high"] = table["low"].fillna(-np.inf), table["high"].fillna(np.inf)
    # Few readings have a specimen, initials or a note: only those are fetched.
    said = sa.or_(*(READINGS.c[name] != "" for name in WORDS))
    words = _fetched(connection, ("entry", *WORDS), sa.and_(held, said), {"entry": int}).set_index("entry")
    place = table["entry"].searchsorted(words.index)
    for name in WORDS:
        column = np.full(len(table), "", dtype=object)
        column[place] = words[name]
        table[name] = pd.Series(column, dtype="str")
    ways = [table["low"] == table["high"], table["high"] == np.inf, table["low"] == -np.inf]
    known = np.select(ways, ["exact", "not yet", "already"], "between").astype(object)
    table["known"] = pd.Series(known, dtype="str")
    return table[list(READING_COLUMNS)]


def _fetched(connection, names, condition, kinds):
    """Columns of the readings that meet a condition, in the order of entries."""
    query = sa.select(*(READINGS.c[name] for name in names)).where(condition).order_by(READINGS.c.entry)
    # The driver's own rows: numbers and text need no conversion, and there may be a million of them.
    return _table(connection.execute(query).cursor.fetchall(), names, kinds)


def _table(rows, names, kinds):
    """Rows as a table of text columns, but for `kinds`."""
    columns = list(zip(*rows, strict=True)) or [()] * len(names)
    table = {}
    for name, values in zip(names, columns, strict=True):
        column = pd.Series(values, dtype=kinds.get(name, "str"))
        table[name] = column.where(column.notna(), np.nan) if column.dtype == object else column
    return pd.DataFrame(table)
