"""A log on a PostgreSQL server: how long a bench waits for it, what its refusals mean, and how its clock is compared."""

import datetime as dt
import os
import re
import socket
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import sqlalchemy as sa

from testpour.common.wording import hours_words

SILENCE = 20  # seconds of silence from the server after which the bench hangs up
# Chosen here, no source. The lock timeout is longer than logging any sheet takes; the server ends a statement before
# the bench hangs up, and frees the locks of a bench that went to sleep (idle).
WAITS = {
    "connect_timeout": 5, "keepalives": 1, "keepalives_idle": 10, "keepalives_interval": 3, "keepalives_count": 3,
    "tcp_user_timeout": 10_000,
    "options": "-c lock_timeout=8s -c statement_timeout=15s -c idle_in_transaction_session_timeout=60s",
}
APART = 5  # seconds by which a bench's clock may differ from the server's without a word

MEANINGS = {
    "lock timeout": "has been in use by another bench or program for more than eight seconds. Try again; if it goes on, find out who has it open.",
    "statement timeout": "did not answer within fifteen seconds. Try again; if it goes on, look at the server.",
    "no password supplied": "asks for a password and none was given. {how}",
    "password authentication failed": "refused the password, or does not know the user name. Check both. {how}",
    "no pg_hba.conf entry": "does not let this computer in: its address is not among those the server allows. Add it to pg_hba.conf on the server.",
    "Connection refused": "cannot be reached: no database server answers there. Check that it runs, and the host and port.",
    "is shutting down": "cannot be reached: the database server is stopping. Wait a minute, or find out who stopped it.",
    r"port \d+ failed: (server closed the connection|.*(Connection reset by peer|Broken pipe))":
        "cannot be reached: the database server stopped while connecting. Wait a minute, or find out who stopped it.",
    "is starting up": "cannot be reached: the database server is starting. Try again in a minute.",
    "could not translate host name|failed to resolve host": "cannot be reached: no computer of that name is known. Check the host in the address.",
    "timeout expired": "cannot be reached: no answer within five seconds. Check the network, and that the server is on.",
    "Network is unreachable": "cannot be reached: the network is down. Check the network.",
    "No route to host": "cannot be reached: there is no way to that computer. Check the network, and that the server is on.",
}
HOW = (
    "Write it as a line SERVER:5432:class:class:PASSWORD in {file}, readable by you alone, or set PGPASSWORD; in the "
    "address itself write % as %25."
)


def split_address(address: str) -> sa.URL:
    """A server's address as SQLAlchemy's, even if the password has ``@``, ``/``, ``:`` or ``?`` in it.

    Everything before the last ``@`` is user and password, so no part of a password is taken for a host.
    """
    scheme, _, rest = address.partition("://")
    split = re.fullmatch(r"(.*?)(\?(?=\w+=)|$)(.*)", rest, re.DOTALL)
    rest, query = (split[1], split[3]) if split else (rest, "")
    who, mark, place = rest.rpartition("@")
    url = sa.make_url(f"{'postgresql+psycopg' if scheme in ('postgresql', 'postgres') else scheme}://{place}")
    url = url.update_query_string(query) if query else url
    if not mark:
        return url
    user, colon, password = who.partition(":")
    return url.set(username=unquote(user), password=unquote(password) if colon else None)


def connecting(url: sa.URL) -> dict[str, Any]:
    """Parameters of libpq that a connection is made with; what the address itself says comes first."""
    return {name: value for name, value in WAITS.items() if name not in url.query}


def patient_connect(_dialect: sa.Dialect, _record: Any, given: Sequence[Any], named: dict[str, Any]) -> Any:
    """A connection that hangs up if the server is silent: a dead link or a frozen server never says so.

    The parameters are those of SQLAlchemy's event ``do_connect``.
    """
    import psycopg

    class Patient(psycopg.Connection):
        def wait(self, *parts, **more):
            watch = threading.Timer(SILENCE, _hang_up, [self.pgconn.socket])
            watch.daemon = True
            watch.start()
            try:
                return super().wait(*parts, **more)
            finally:
                watch.cancel()

    return Patient.connect(*given, **named)


def _hang_up(number):
    """End a connection by its file number; whoever waits for it is told at once."""
    with suppress(OSError), socket.socket(fileno=os.dup(number)) as line:
        line.shutdown(socket.SHUT_RDWR)


def in_plain_words(text: str) -> str | None:
    """What a server's error means; None if that is not known."""
    sign = next((sign for sign in MEANINGS if re.search(sign, text)), None)
    return sign and MEANINGS[sign].format(how=_password_advice() if "{how}" in MEANINGS[sign] else "")


def _password_advice():
    """Where a password belongs, and what keeps the one that is there from being used."""
    file = Path(os.environ.get("PGPASSFILE") or Path.home() / ".pgpass")
    if os.name == "posix" and file.is_file() and file.stat().st_mode & 0o077:
        return f"{file} may be read by others, so it was not used; make it yours alone with: chmod 600 {file}"
    return HOW.format(file=file)


def zone(moment: dt.datetime | None = None) -> str:
    """The zone of this computer's clock at a moment, now by default, to be shown beside a time: ``"UTC+01:00"``."""
    offset = f"{(moment or dt.datetime.now()).astimezone():%z}"
    return f"UTC{offset[:3]}:{offset[3:5]}"


def clock_words(connection: sa.Connection) -> str:
    """In words, by how much this computer's clock differs from the server's; ``""`` if they agree or the log is a file."""
    if connection.dialect.name != "postgresql":
        return ""
    before = time.time()
    there = connection.exec_driver_sql("SELECT EXTRACT(EPOCH FROM clock_timestamp())::double precision").scalar_one()
    ahead = (before + time.time()) / 2 - there
    if abs(ahead) <= APART:
        return ""
    way = "ahead of" if ahead > 0 else "behind"
    return (
        f"This computer's clock is {hours_words(ahead / 3600)} {way} the server's. Set it right: times logged here would not "
        "fit those of the other benches."
    )
