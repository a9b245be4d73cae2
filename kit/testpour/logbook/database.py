"""The database that holds a log: how it is opened, and its errors in plain words."""

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import sqlalchemy as sa

from testpour.logbook.logfile import DAMAGED, NO_LOG, check_file, check_whole, count_connection, make_one_file, open_here
from testpour.logbook.migrations import bring_forward
from testpour.logbook.server import connecting, in_plain_words, patient_connect, split_address
from testpour.logbook.tables import FACTS, FILE, LogProblem

PATIENCE = 30  # seconds to wait for other benches
EXAMPLE = "postgresql+psycopg://class@SERVER/class"
LOCK = 7402193  # key of the advisory lock for which writers on a server queue; any number will do


def open_database(address: str) -> sa.Engine:
    """The database at an address, its tables made where they are missing.

    The address is ``sqlite:///`` and a path, or ``postgresql://user@server/name``.
    """
    try:
        engine = sa.create_engine(_url_of(address), **_pool(address))
        try:
            _begin_log(engine, address)
        except BaseException:
            engine.dispose()
            raise
    except LogProblem:
        raise
    except (sa.exc.ArgumentError, ValueError):
        raise LogProblem(f"The log's address cannot be read: {address_words(address)}. Check it in study.toml.") from None
    except sa.exc.SQLAlchemyError as problem:
        raise LogProblem(_explanation(problem, address)) from problem
    except OSError as problem:
        raise LogProblem(f"The log at {address_words(address)} cannot be read: {problem.strerror}. Check its path.") from problem
    except ModuleNotFoundError as problem:
        raise LogProblem(
            f"The log at {address_words(address)} needs {problem.name}, which is not installed. "
            'Install it with: pip install "testpour[postgres]"'
        ) from problem
    return engine


def in_memory(address: str) -> bool:
    """Whether a log is kept in memory alone, and is gone once it is closed."""
    return address.rstrip("/") == "sqlite:" or ":memory:" in address


def _pool(address):
    """How connections are kept: all threads share the one to a log in memory; others are tested before use.

    A notebook may handle a widget in another thread than its cells, where a new connection to memory would open an
    empty database. A server may have been restarted.
    """
    if in_memory(address):
        return {"poolclass": sa.StaticPool, "connect_args": {"check_same_thread": False}}
    return {"pool_pre_ping": True} | ({"connect_args": connecting(_url_of(address))} if on_server(address) else {})


def on_server(address: str) -> bool:
    """Whether a log is on a server."""
    return address.startswith("postgres")


def _begin_log(engine, address):
    if engine.dialect.name == "sqlite":
        if not in_memory(address):
            path = engine.url.database
            if not open_here(path):
                _check(path)
            sa.event.listen(engine, "connect", lambda *_: count_connection(path, 1))
            sa.event.listen(engine, "close", lambda *_: count_connection(path, -1))
        sa.event.listen(engine, "connect", _configure)
        sa.event.listen(engine, "begin", _begin)
    else:
        sa.event.listen(engine, "begin", _wait_for_turn)
        if on_server(address):
            sa.event.listen(engine, "do_connect", patient_connect)
    with writing(engine) as connection:
        _refuse_other(connection, address)
        bring_forward(connection, address_words(address))


def _check(path):
    check_file(path)
    if Path(path).is_file():
        make_one_file(path)
        try:
            check_whole(path)
        except sqlite3.OperationalError:  # locked by another bench, or read-only: the first write reports it
            return
        except sqlite3.DatabaseError as problem:
            raise LogProblem(f"The log at {path} {meaning(str(problem)) or DAMAGED}") from problem


def _url_of(address: str) -> sa.URL:
    """The address for SQLAlchemy: a file name is taken as it is, even with ? or % in it."""
    if address.startswith(FILE):
        return sa.URL.create("sqlite", database=address.removeprefix(FILE))
    return sa.make_url(address) if address.startswith("sqlite") else split_address(address)


def _refuse_other(connection, address):
    """Refuse a database file that belongs to another program."""
    tables = set(sa.inspect(connection).get_table_names())
    if connection.dialect.name == "sqlite" and tables and FACTS.name not in tables:
        raise LogProblem(
            f"{address_words(address)} is a database, but not a log: it holds {', '.join(sorted(tables)[:5])}. "
            "Give the log another file name."
        )


def address_words(address: str) -> str:
    """An address without its password, to be shown."""
    try:
        url = _url_of(address)
    except (sa.exc.ArgumentError, ValueError):
        return f"{address.partition('://')[0]}://... is not one; write it like {EXAMPLE}"
    if url.drivername.startswith("sqlite"):
        return url.database or "memory"
    return url.set(query={}).render_as_string(hide_password=True)


def writing(engine: sa.Engine) -> AbstractContextManager[sa.Connection]:
    """A transaction that will write: it waits for the lock at once, and is committed at the end of its block."""
    return engine.execution_options(writes=True).begin()


def one_moment(engine: sa.Engine) -> AbstractContextManager[sa.Connection]:
    """A transaction that sees the log as it was when it began, whatever others write meanwhile.

    In a file, writers wait until the reader is done; PostgreSQL needs an isolation level for it.
    """
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    return engine.begin()


def _configure(connection, _record):
    """Set up a connection: a write is on the disk before it is reported as saved, other benches are waited for, and pysqlite's own BEGIN is off."""
    connection.isolation_level = None
    # EXTRA syncs the folder too, or a power cut could bring back a deleted journal, and with it undo the write.
    for pragma in (f"busy_timeout={1000 * PATIENCE}", "synchronous=EXTRA", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection):
    if not connection.get_execution_options().get("writes"):
        connection.exec_driver_sql("BEGIN")
        return
    # SQLite itself tries less often the longer it waits, so that one bench of twenty may wait half a minute while
    # others write twice. If each tries again every few hundredths of a second, all have the same chance.
    deadline, raw = time.monotonic() + PATIENCE, connection.connection.driver_connection
    raw.execute("PRAGMA busy_timeout=40").close()
    try:
        while not _became_writer(connection, deadline):
            pass
    finally:
        raw.execute(f"PRAGMA busy_timeout={1000 * PATIENCE}").close()


def _became_writer(connection, deadline):
    """Whether this bench may write now; after the deadline, SQLite's own error is raised."""
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    except sa.exc.OperationalError as problem:
        if "locked" not in str(problem.orig) or time.monotonic() > deadline:
            raise
        return False
    return True


def _wait_for_turn(connection):
    """Let one writer at a time into a server too, so that two benches cannot take the same next name."""
    if connection.get_execution_options().get("writes") and connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")


MEANINGS = {
    "not a database": NO_LOG,
    "malformed": DAMAGED,
    "unable to open": "cannot be opened: the folder is missing or may not be written to. Check the path.",
    "readonly": "may not be written to. Give yourself write permission, or copy the study to a folder of yours.",
    "disk is full": "cannot grow: the disk is full. Free some space and log it again; nothing was stored.",
    "disk I/O error": "could not be written: the disk failed or is full. Nothing was stored.",
    "locked": "has been in use by another program for more than half a minute. Close it there and try again.",
}


def meaning(text: str) -> str | None:
    """What a database error means, as the end of a sentence about a log; None if that is not known."""
    return in_plain_words(text) or next((words for sign, words in MEANINGS.items() if sign in text), None)


def _explanation(problem, address):
    """A database error in words."""
    text = str(getattr(problem, "orig", problem))
    if meaning(text):
        return f"The log at {address_words(address)} {meaning(text)}"
    if getattr(problem, "connection_invalidated", False):
        return (
            f"The connection to the log at {address_words(address)} was lost. An entry is stored whole or not at all: check with "
            "history(pour) whether it is there, and log it again if not."
        )
    return f"The log at {address_words(address)} could not be used: {text.splitlines()[0]}. An entry is stored whole or not at all."


@contextmanager
def explained(engine: sa.Engine, begin: Callable[[sa.Engine], AbstractContextManager[sa.Connection]] = sa.Engine.begin) -> Iterator[sa.Connection]:
    """A transaction whose database errors, including the driver's, are explained in words."""
    try:
        with begin(engine) as connection:
            yield connection
    except (sa.exc.SQLAlchemyError, engine.dialect.loaded_dbapi.Error) as problem:
        raise LogProblem(_explanation(problem, engine.url.render_as_string(hide_password=False))) from problem
