"""Every row a log ever held, corrections and withdrawals too: read in one go, put into an empty log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from testpour.logbook.tables import PHOTOS, POURS, READINGS, SETTINGS

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from sqlalchemy import Connection, Engine, Table

TABLES = (POURS, SETTINGS, READINGS, PHOTOS)  # in an order that keeps what hangs together whole
AT_ONCE = 10_000  # rows in memory


def one_moment(engine: Engine) -> AbstractContextManager[Connection]:
    """A transaction that sees the log as it stood when it began, whatever others write meanwhile.

    In a file, whoever writes waits until the reader has done; PostgreSQL has to be asked.
    """
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    return engine.begin()


def all_rows(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    """The rows of a table in the order of their numbers, in lists of dicts of at most `AT_ONCE`."""
    query = sa.select(table).order_by(*table.primary_key).execution_options(stream_results=True)
    for rows in connection.execute(query).partitions(AT_ONCE):
        yield [dict(row._mapping) for row in rows]


def put_rows(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Put rows with their own numbers into an empty table; on a server the next number follows them."""
    if rows:
        connection.execute(table.insert(), rows)
    if connection.dialect.name == "postgresql" and "entry" in table.c and table is not SETTINGS:
        last = sa.select(sa.func.coalesce(sa.func.max(table.c.entry), 0) + 1).scalar_subquery()
        connection.execute(sa.select(sa.func.setval(f"{table.name}_entry_seq", last, False)))
