"""Upgrades of an older log's tables: one numbered step for each version, all in one transaction."""

import datetime as dt
import sqlite3
from pathlib import Path

import sqlalchemy as sa

from testpour.logbook.logfile import check_pages, copy_file
from testpour.logbook.tables import FACTS, METADATA, SCHEMA, LogProblem

GROWS = "the log only grows: a correction is a new row"


def bring_forward(connection: sa.Connection, where: str) -> None:
    """Create the tables if there are none, or upgrade those of an older log to the form this kit knows.

    All in the transaction of the connection: if a step fails, nothing is changed. A log of a newer kit is refused and
    left untouched.
    """
    held = None
    if sa.inspect(connection).has_table(FACTS.name):
        held = connection.execute(sa.select(FACTS.c.value).where(FACTS.c.name == "schema")).scalar()
    if held is None:
        METADATA.create_all(connection)
        connection.execute(FACTS.insert().values(name="schema", value=str(SCHEMA)))
        return
    if not held.isdecimal() or not 1 <= int(held) <= SCHEMA:
        raise LogProblem(
            f"The log at {where} was written by a newer kit (its form is {held}, this kit knows "
            f"{SCHEMA}). Update testpour; the log is untouched."
        )
    if int(held) < SCHEMA:
        _keep_a_copy(connection, held)
        for number in range(int(held) + 1, SCHEMA + 1):
            for line in STEPS[number][connection.dialect.name]:
                connection.exec_driver_sql(line)
        connection.execute(FACTS.update().where(FACTS.c.name == "schema").values(value=str(SCHEMA)))


def _keep_a_copy(connection, form):
    """A copy of a log in a file beside it, before anything is changed; a server has copies of its own."""
    path = connection.engine.url.database
    if connection.dialect.name != "sqlite" or not path or path == ":memory:":
        return
    source = Path(path)
    stamp = dt.datetime.now().strftime("%Y-%m-%d-%H%M%S")
    target = source.with_name(f"{source.stem}-form-{form}-{stamp}.sqlite")
    try:
        copy_file(source, target)
        check_pages(target)
    except sqlite3.Error as problem:
        target.unlink(missing_ok=True)
        raise LogProblem(
            f"The log at {source} needs an upgrade, but no copy of it could be made first ({problem}), so it "
            "was left as it is. Free some space on the disk and open it again."
        ) from problem


# Form 1 to 2: photographs, and indexes that find a pour's rows in a long log. A step is never edited: an
# old log must always upgrade to the same tables. The first logs of form 1 had no triggers against changes, so these
# are added if missing.
_INDEXES = (
    "CREATE INDEX IF NOT EXISTS rows_of_a_pour ON pours (pour)",
    "CREATE INDEX IF NOT EXISTS readings_of_a_pour ON readings (pour)",
    "CREATE UNIQUE INDEX IF NOT EXISTS one_correction_of_a_photo ON photos (supersedes)",
    "CREATE INDEX IF NOT EXISTS photos_of_a_pour ON photos (pour)",
)
_GUARDED = [(deed, table) for table in ("pours", "settings", "readings", "photos") for deed in ("UPDATE", "DELETE")]
STEPS = {
    2: {
        "sqlite": (
            """CREATE TABLE photos (entry INTEGER NOT NULL PRIMARY KEY, pour TEXT NOT NULL, file TEXT NOT NULL,
            age DOUBLE, "by" TEXT DEFAULT '' NOT NULL, note TEXT DEFAULT '' NOT NULL,
            supersedes INTEGER REFERENCES photos (entry), void BOOLEAN DEFAULT 0 NOT NULL, logged_at DATETIME NOT NULL)""",
            *_INDEXES,
            *(f"CREATE TRIGGER IF NOT EXISTS no_{deed.lower()}_of_{table} BEFORE {deed} ON {table} "
              f"BEGIN SELECT RAISE(ABORT, '{GROWS}'); END" for deed, table in _GUARDED),
        ),
        "postgresql": (
            "ALTER TABLE facts ALTER COLUMN name TYPE TEXT",
            """CREATE TABLE photos (entry SERIAL NOT NULL PRIMARY KEY, pour TEXT NOT NULL, file TEXT NOT NULL,
            age DOUBLE PRECISION, "by" TEXT DEFAULT '' NOT NULL, note TEXT DEFAULT '' NOT NULL,
            supersedes INTEGER REFERENCES photos (entry), void BOOLEAN DEFAULT false NOT NULL,
            logged_at TIMESTAMP WITHOUT TIME ZONE NOT NULL)""",
            *_INDEXES,
            f"""CREATE OR REPLACE FUNCTION testpour_only_grows() RETURNS trigger LANGUAGE plpgsql AS
            $$ BEGIN RAISE EXCEPTION '{GROWS}'; END $$""",
            *(f"CREATE OR REPLACE TRIGGER no_{deed.lower()}_of_{table} BEFORE {deed} ON {table} "
              "FOR EACH ROW EXECUTE FUNCTION testpour_only_grows()" for deed, table in _GUARDED),
        ),
    },
}
