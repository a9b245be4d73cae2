"""The log's tables, and the door to the database they lie in."""

from pathlib import Path

import sqlalchemy as sa

SCHEMA = 1

METADATA = sa.MetaData()

FACTS = sa.Table(
    "facts",
    METADATA,
    sa.Column("name", sa.String(40), primary_key=True),
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


class LogProblem(ValueError):
    """The log cannot be opened, or what was to be logged cannot be taken."""


def address_of(study, address=None):
    """Where the log lies, as a database address: a file beside the study, unless it says otherwise."""
    text = str(address or study.log)
    return text if "://" in text else f"sqlite:///{Path(study.folder) / text}"


def open_database(address):
    """The database at an address, its tables made where they are missing.

    Raises
    ------
    LogProblem
        If it cannot be opened, is no database, or was written by a newer kit.
    """
    try:
        engine = sa.create_engine(address)
        if engine.dialect.name == "sqlite":
            sa.event.listen(engine, "connect", _careful)
            sa.event.listen(engine, "begin", _begin)
        with writing(engine) as connection:
            METADATA.create_all(connection)
            held = connection.execute(sa.select(FACTS.c.value).where(FACTS.c.name == "schema")).scalar()
            if held is None:
                connection.execute(FACTS.insert().values(name="schema", value=str(SCHEMA)))
            elif int(held) > SCHEMA:
                raise LogProblem(
                    f"The log at {shown(address)} was written by a newer kit (its form is {held}, this kit knows "
                    f"{SCHEMA}). Update testpour; the log is untouched."
                )
    except sa.exc.SQLAlchemyError as problem:
        raise LogProblem(_why(problem, address)) from problem
    except ModuleNotFoundError as problem:
        raise LogProblem(
            f"The log at {shown(address)} needs {problem.name}, which is not installed. "
            'Install it with: pip install "testpour[postgres]"'
        ) from problem
    return engine


def shown(address):
    """An address as it may be shown: a password is never printed."""
    url = sa.make_url(address)
    return url.database or "memory" if url.drivername.startswith("sqlite") else url.render_as_string(hide_password=True)


def writing(engine):
    """A transaction that will write: on SQLite it takes its place in the queue at once."""
    return engine.execution_options(writes=True).begin()


def _careful(connection, _record):
    """Durable before it is said to be saved; patient with other benches; pysqlite's own BEGIN off."""
    connection.isolation_level = None
    for pragma in ("busy_timeout=10000", "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection):
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


WHY = {
    "not a database": "is not a log: the file holds something else. Give the path of a log, or move the file away.",
    "malformed": "is damaged. Keep the file, and go back to the last copy made with: testpour backup",
    "unable to open": "cannot be opened: the folder is missing or may not be written to. Check the path.",
    "readonly": "may not be written to. Give yourself write permission, or copy the study to a folder of yours.",
    "disk is full": "cannot grow: the disk is full. Free some space and log it again; nothing was half-stored.",
    "disk I/O error": "could not be written: the disk failed or is full. Nothing was half-stored.",
    "locked": "is held by another program for longer than ten seconds. Close it there and try again.",
}


def _why(problem, address):
    """A database error in words."""
    text = str(getattr(problem, "orig", problem))
    for sign, words in WHY.items():
        if sign in text:
            return f"The log at {shown(address)} {words}"
    return f"The log at {shown(address)} could not be used: {text.splitlines()[0]}. Nothing was half-stored."


class Explained:
    """A transaction whose database errors are said in words."""

    def __init__(self, engine, begin):
        self._engine, self._begin = engine, begin

    def __enter__(self):
        try:
            self._context = self._begin(self._engine)
            return self._context.__enter__()
        except sa.exc.SQLAlchemyError as problem:
            raise self._said(problem) from problem

    def __exit__(self, kind, problem, trace):
        try:
            self._context.__exit__(kind, problem, trace)
        except sa.exc.SQLAlchemyError as other:
            raise self._said(other) from other
        if isinstance(problem, sa.exc.SQLAlchemyError):
            raise self._said(problem) from problem

    def _said(self, problem):
        return LogProblem(_why(problem, self._engine.url.render_as_string(hide_password=False)))
