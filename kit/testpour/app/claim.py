"""One JupyterLab per study folder: finding a free port, a server that runs already, and a lock against a second start."""

import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from urllib.request import ProxyHandler, build_opener

FIRST_PORT = 8888
HERE = "127.0.0.1"


class LabProblem(RuntimeError):
    """JupyterLab did not start; the message says why."""


class PortLost(LabProblem):
    """Another program took the port between the check and the start."""


def free_port(port: int | None = None, ip: str = HERE) -> int:
    """A free port: `port` itself, or the first free one from 8888 up.

    Raises `LabProblem` if `ip` is not an address of this computer, `port` is taken, or a hundred ports are.
    """
    _check_address(ip)
    for candidate in [port] if port is not None else range(FIRST_PORT, FIRST_PORT + 100):
        with socket.socket() as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with suppress(OSError, OverflowError):
                probe.bind((ip, candidate))
                return probe.getsockname()[1]
    where = f"Port {port} at {ip}" if port is not None else f"Every port from {FIRST_PORT} to {FIRST_PORT + 99} at {ip}"
    raise LabProblem(f"{where} is taken or not allowed. Give another with --port, for instance --port 9100.")


def _check_address(ip):
    """Refuse an address at which this computer can open no port."""
    with socket.socket() as probe:
        try:
            probe.bind((ip, 0))
        except (OSError, UnicodeError, ValueError):
            raise LabProblem(
                f"--ip: {ip!r} is not an address of this computer. Give one that it has on the network of the class, "
                f"0.0.0.0 for all it has, or leave --ip out for this computer alone."
            ) from None


def running(folder: str | Path) -> str | None:
    """The address, token included, of a JupyterLab that serves a study folder already.

    None if none runs, or only one that another user of this computer started.
    """
    from jupyter_server.serverapp import list_running_servers  # takes a second or two to load

    folder = Path(folder).expanduser()
    for found in list_running_servers():
        if folder.exists() and Path(found["root_dir"]).exists() and folder.samefile(found["root_dir"]) and answers(found["url"]):
            return f"{found['url']}?token={found['token']}"  # which leads on to the notebook it was started with
    return None


def answers(url: str, what: str = "api") -> bool:
    """Whether a server at `url` answers for `what`; the file that lists a server may outlive it after a power cut."""
    with suppress(OSError), build_opener(ProxyHandler({})).open(f"{url}{what}", timeout=5):
        return True
    return False


@contextmanager
def claimed(folder: Path, patience: float = 150, waits: Callable[[], None] = lambda: None) -> Iterator[str | None]:
    """Hold a study folder for one start, so that a second one made before the first answers waits for it.

    The claim is an operating-system lock on a hidden file of the folder: it ends with the process that holds it,
    however that ends, so a file left behind claims nothing. Yields None if the folder is free to be served, else
    the address at which it is served already. If another start holds it, `waits` is called
    once; `LabProblem` is raised if nothing answers within `patience` seconds.
    """
    with _claim_file(folder) as file:
        deadline, said = time.monotonic() + patience, False
        while not _lock(file):
            if address := running(folder):
                yield address
                return
            if time.monotonic() > deadline:
                raise LabProblem(
                    f"{folder} is being opened by another testpour start, which did not answer in {patience:g} s. "
                    "Stop that one with Ctrl-C in its window, then start again."
                )
            if not said:
                waits()
                said = True
            time.sleep(0.5)
        yield running(folder)


def _claim_file(folder):
    """The open lock file; a null context if the folder cannot be written."""
    place = Path(folder, ".testpour")
    try:
        place.mkdir(exist_ok=True)
        return (place / "start.lock").open("a")
    except OSError:
        return nullcontext()


def _lock(file):
    """Whether the open file could be locked, until it is closed. Without a file or locks, nobody waits."""
    if file is None:
        return True
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # on Windows it is held; elsewhere the network drive has no locks
        return os.name != "nt"
    return True
