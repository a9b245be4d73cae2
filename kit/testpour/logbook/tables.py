"""The log's tables, where they are, and every row they ever held, corrections and withdrawals too."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from testpour.common.problems import Problem
from testpour.study.study import Study

SCHEMA = 2  # the form of the tables; `migrations` brings an older log up to it
FILE = "sqlite:///"
UNDATED = dt.datetime(1971, 1, 1)  # stands for an unknown day, as the column may not be empty
AT_ONCE = 10_000  # rows in memory

METADATA = sa.MetaData()

FACTS = sa.Table("facts", METADATA, sa.Column("name", sa.Text, primary_key=True), sa.Column("value", sa.Text, nullable=False))


def _entries(name, looked_up, *columns):
    """A table to which a row is added for each thing logged, corrected or withdrawn, and none is ever changed.

    Two corrections cannot replace the same row: the second must be made to the first. `looked_up` names the index by pour.
    """
    return sa.Table(
        name,
        METADATA,
        sa.Column("entry", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("pour", sa.Text, nullable=False),
        *columns,
        sa.Column("supersedes", sa.Integer, sa.ForeignKey(f"{name}.entry")),
        sa.Column("void", sa.Boolean, nullable=False, server_default=sa.false()),
        sa.Column("logged_at", sa.DateTime, nullable=False),
        sa.Index(f"one_correction_of_a_{name.removesuffix('s')}", "supersedes", unique=True),
        sa.Index(looked_up, "pour"),
    )


def _text_column(name):
    """A column of text, empty where nothing was written."""
    return sa.Column(name, sa.Text, nullable=False, server_default="")


POURS = _entries(
    "pours",
    "rows_of_a_pour",
    _text_column("session"),
    sa.Column("made_at", sa.DateTime, nullable=False),
    _text_column("by"),
    _text_column("note"),
)

# Two benches cannot give new pours the same name; a correction repeats its pour's name.
sa.Index("one_first_entry", POURS.c.pour, unique=True, sqlite_where=POURS.c.supersedes.is_(None), postgresql_where=POURS.c.supersedes.is_(None))

SETTINGS = sa.Table(
    "settings",
    METADATA,
    sa.Column("entry", sa.Integer, sa.ForeignKey("pours.entry"), primary_key=True),
    sa.Column("factor", sa.Text, primary_key=True),
    sa.Column("number", sa.Double),
    sa.Column("text", sa.Text),
    sqlite_with_rowid=False,  # rows are stored in the order of their key, so a pour's settings are together
)

READINGS = _entries(
    "readings",
    "readings_of_a_pour",
    sa.Column("reading", sa.Text, nullable=False),
    sa.Column("low", sa.Double),
    sa.Column("high", sa.Double),
    sa.Column("age", sa.Double),
    _text_column("specimen"),
    _text_column("by"),
    sa.Column("known", sa.Text, nullable=False),
    _text_column("note"),
    sa.CheckConstraint("low IS NULL OR high IS NULL OR low <= high", name="ends_in_order"),
)

PHOTOS = _entries(
    "photos",
    "photos_of_a_pour",
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("age", sa.Double),
    _text_column("by"),
    _text_column("note"),
)


def _only_grows(table):
    """Let the database itself refuse to change or delete a row."""
    message = "the log only grows: a correction is a new row"
    for deed in ("UPDATE", "DELETE"):
        head = f"CREATE TRIGGER no_{deed.lower()}_of_{table.name} BEFORE {deed} ON {table.name}"
        sqlite = sa.DDL(f"{head} BEGIN SELECT RAISE(ABORT, '{message}'); END")
        server = sa.DDL(f"{head} FOR EACH ROW EXECUTE FUNCTION testpour_only_grows()")
        sa.event.listen(table, "after_create", sqlite.execute_if(dialect="sqlite"))
        sa.event.listen(table, "after_create", server.execute_if(dialect="postgresql"))


SERVER_REFUSAL = """CREATE OR REPLACE FUNCTION testpour_only_grows() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the log only grows: a correction is a new row'; END $$"""
sa.event.listen(METADATA, "before_create", sa.DDL(SERVER_REFUSAL).execute_if(dialect="postgresql"))
TABLES = (POURS, SETTINGS, READINGS, PHOTOS)  # each after the tables it refers to
for _table in TABLES:
    _only_grows(_table)
for _table in (*TABLES, FACTS):
    _truncate = f"CREATE TRIGGER no_truncate_of_{_table.name} BEFORE TRUNCATE ON {_table.name} EXECUTE FUNCTION testpour_only_grows()"
    sa.event.listen(_table, "after_create", sa.DDL(_truncate).execute_if(dialect="postgresql"))


class LogProblem(Problem):
    """The log cannot be opened, or an entry is refused."""


def address_of(study: Study, address: str | None = None) -> str:
    """Where the log is, as a database address: a file beside the study, unless it says otherwise."""
    text = str(address or study.log)
    return text if "://" in text else f"{FILE}{Path(study.folder) / text}"


def all_rows(connection: sa.Connection, table: sa.Table) -> Iterator[list[dict[str, Any]]]:
    """The rows of a table in the order of their numbers, in lists of dicts of at most `AT_ONCE`."""
    query = sa.select(table).order_by(*table.primary_key).execution_options(stream_results=True)
    for rows in connection.execute(query).partitions(AT_ONCE):
        yield [dict(row._mapping) for row in rows]


def put_rows(connection: sa.Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Put rows with their own numbers into an empty table; on a server the next number follows them."""
    if rows:
        connection.execute(table.insert(), rows)
    if connection.dialect.name == "postgresql" and "entry" in table.c and table is not SETTINGS:
        last = sa.select(sa.func.coalesce(sa.func.max(table.c.entry), 0) + 1).scalar_subquery()
        connection.execute(sa.select(sa.func.setval(f"{table.name}_entry_seq", last, False)))
