"""The log's tables, and where they lie."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from testpour.problems import Problem

if TYPE_CHECKING:
    from testpour.study import Study

SCHEMA = 2  # the form of the tables; `migrations` brings an older log up to it
FILE = "sqlite:///"
UNDATED = dt.datetime(1971, 1, 1)  # stands for a day that is not known, where every form of the log wants one

METADATA = sa.MetaData()

FACTS = sa.Table(
    "facts",
    METADATA,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)

POURS = sa.Table(
    "pours",
    METADATA,
    sa.Column("entry", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("pour", sa.Text, nullable=False),
    sa.Column("session", sa.Text, nullable=False, server_default=""),
    sa.Column("made_at", sa.DateTime, nullable=False),
    sa.Column("by", sa.Text, nullable=False, server_default=""),
    sa.Column("note", sa.Text, nullable=False, server_default=""),
    sa.Column("supersedes", sa.Integer, sa.ForeignKey("pours.entry")),
    sa.Column("void", sa.Boolean, nullable=False, server_default=sa.false()),
    sa.Column("logged_at", sa.DateTime, nullable=False),
)

# Two benches cannot name a first entry alike; a correction carries its pour's name again. Nor can two
# corrections replace the same row: the second must be made to the first.
sa.Index(
    "one_first_entry",
    POURS.c.pour,
    unique=True,
    sqlite_where=POURS.c.supersedes.is_(None),
    postgresql_where=POURS.c.supersedes.is_(None),
)
sa.Index("one_correction_of_a_pour", POURS.c.supersedes, unique=True)

SETTINGS = sa.Table(
    "settings",
    METADATA,
    sa.Column("entry", sa.Integer, sa.ForeignKey("pours.entry"), primary_key=True),
    sa.Column("factor", sa.Text, primary_key=True),
    sa.Column("number", sa.Double),
    sa.Column("text", sa.Text),
    sqlite_with_rowid=False,  # rows lie in the order of their key: a pour's settings are read in one look
)

READINGS = sa.Table(
    "readings",
    METADATA,
    sa.Column("entry", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("pour", sa.Text, nullable=False),
    sa.Column("reading", sa.Text, nullable=False),
    sa.Column("low", sa.Double),
    sa.Column("high", sa.Double),
    sa.Column("age", sa.Double),
    sa.Column("specimen", sa.Text, nullable=False, server_default=""),
    sa.Column("by", sa.Text, nullable=False, server_default=""),
    sa.Column("known", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False, server_default=""),
    sa.Column("supersedes", sa.Integer, sa.ForeignKey("readings.entry")),
    sa.Column("void", sa.Boolean, nullable=False, server_default=sa.false()),
    sa.Column("logged_at", sa.DateTime, nullable=False),
    sa.CheckConstraint("low IS NULL OR high IS NULL OR low <= high", name="ends_in_order"),
)
sa.Index("one_correction_of_a_reading", READINGS.c.supersedes, unique=True)
sa.Index("rows_of_a_pour", POURS.c.pour)
sa.Index("readings_of_a_pour", READINGS.c.pour)

PHOTOS = sa.Table(
    "photos",
    METADATA,
    sa.Column("entry", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("pour", sa.Text, nullable=False),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("age", sa.Double),
    sa.Column("by", sa.Text, nullable=False, server_default=""),
    sa.Column("note", sa.Text, nullable=False, server_default=""),
    sa.Column("supersedes", sa.Integer, sa.ForeignKey("photos.entry")),
    sa.Column("void", sa.Boolean, nullable=False, server_default=sa.false()),
    sa.Column("logged_at", sa.DateTime, nullable=False),
)
sa.Index("one_correction_of_a_photo", PHOTOS.c.supersedes, unique=True)
sa.Index("photos_of_a_pour", PHOTOS.c.pour)


def _only_grows(table):
    """Let the database itself refuse to change or delete a row."""
    said = "the log only grows: a correction is a new row"
    for deed in ("UPDATE", "DELETE"):
        head = f"CREATE TRIGGER no_{deed.lower()}_of_{table.name} BEFORE {deed} ON {table.name}"
        sqlite = sa.DDL(f"{head} BEGIN SELECT RAISE(ABORT, '{said}'); END")
        server = sa.DDL(f"{head} FOR EACH ROW EXECUTE FUNCTION testpour_only_grows()")
        sa.event.listen(table, "after_create", sqlite.execute_if(dialect="sqlite"))
        sa.event.listen(table, "after_create", server.execute_if(dialect="postgresql"))


SERVER_REFUSAL = """CREATE OR REPLACE FUNCTION testpour_only_grows() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the log only grows: a correction is a new row'; END $$"""
sa.event.listen(METADATA, "before_create", sa.DDL(SERVER_REFUSAL).execute_if(dialect="postgresql"))
for _table in (POURS, SETTINGS, READINGS, PHOTOS):
    _only_grows(_table)


class LogProblem(Problem):
    """The log cannot be opened, or what was to be logged cannot be taken."""


def address_of(study: Study, address: str | None = None) -> str:
    """Where the log lies, as a database address: a file beside the study, unless it says otherwise."""
    text = str(address or study.log)
    return text if "://" in text else f"{FILE}{Path(study.folder) / text}"
