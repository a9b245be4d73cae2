"""JupyterLab on a study folder: on this machine only, quiet, and stopped with what it started."""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.error import URLError
from urllib.parse import quote
from urllib.request import ProxyHandler, build_opener

if TYPE_CHECKING:
    from subprocess import Popen

FIRST_PORT = 8888
HERE = "127.0.0.1"
QUIET = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    # Who runs a cell before the kernel is up waits for it, and is not asked to choose one.
    "@jupyterlab/notebook-extension:tracker": {"autoStartDefaultKernel": True},
}


class LabProblem(RuntimeError):
    """JupyterLab did not start; the message says why."""


@dataclass(frozen=True)
class Lab:
    """A JupyterLab to be started.

    Parameters
    ----------
    folder : Path
        The study folder.
    notebook : str
        The notebook it opens on; ``""`` for none.
    port : int
    ip : str
        Where it listens; this machine only unless told otherwise.
    token : str
        What the browser must show to be let in; never on the command line, where other users can read it.
    """

    folder: Path
    notebook: str
    port: int
    ip: str = HERE
    token: str = field(default_factory=lambda: secrets.token_hex(24), repr=False)

    @property
    def start_page(self) -> str:
        """The page it opens on, without the host."""
        return f"/lab/tree/{quote(self.notebook)}" if self.notebook else "/lab"

    @property
    def address(self) -> str:
        """What to type into a browser."""
        host = socket.gethostname() if self.ip in ("0.0.0.0", "") else self.ip
        return f"http://{host}:{self.port}{self.start_page}?token={self.token}"

    def command(self, runtime: str, browser: bool) -> list[str]:
        """The command line that starts it, its workspaces kept in the folder `runtime`.

        Parameters
        ----------
        runtime : str
            Folder for its workspaces.
        browser : bool
            Whether it opens a browser.

        Returns
        -------
        list of str
            Program and arguments.
        """
        line = [
            sys.executable, "-m", "jupyterlab",
            f"--ServerApp.root_dir={self.folder}",
            f"--ServerApp.ip={self.ip}",
            f"--ServerApp.port={self.port}",
            "--ServerApp.port_retries=0",
            f"--ServerApp.open_browser={browser}",
            f"--LabApp.default_url={self.start_page}",
            f"--LabApp.workspaces_dir={runtime}/workspaces",
            "--LabApp.extension_manager=readonly",
            "--LabApp.news_url=None",
            "--LabApp.check_for_updates_class=jupyterlab.handlers.announcements.NeverCheckForUpdate",
        ]
        root = hasattr(os, "geteuid") and os.geteuid() == 0
        return line + ["--allow-root"] if root else line


def free_port(port: int | None = None, ip: str = HERE) -> int:
    """A port nobody listens on: `port` itself, or the first free one from 8888 up.

    Parameters
    ----------
    port : int, optional
        The one to use, and no other; by default any free one.
    ip : str, optional
        Address of this computer on which it must be free.

    Returns
    -------
    int

    Raises
    ------
    LabProblem
        If `ip` is no address of this computer, `port` is taken, or a hundred ports are.
    """
    _check_address(ip)
    for candidate in [port] if port is not None else range(FIRST_PORT, FIRST_PORT + 100):
        with socket.socket() as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((ip, candidate))
                return probe.getsockname()[1]
            except (OSError, OverflowError):
                continue
    where = f"Port {port} at {ip}" if port is not None else f"Every port from {FIRST_PORT} to {FIRST_PORT + 99} at {ip}"
    raise LabProblem(f"{where} is taken or not allowed. Give another with --port, for instance --port 9100.")


def _check_address(ip):
    """Refuse what no port of this computer can be opened at, before ports are blamed for it."""
    with socket.socket() as probe:
        try:
            probe.bind((ip, 0))
        except (OSError, UnicodeError, ValueError):
            raise LabProblem(
                f"--ip: {ip!r} is not an address of this computer. Give one that it has on the network of the class, "
                f"0.0.0.0 for all it has, or leave --ip out for this computer alone."
            ) from None


def running(folder: str | Path) -> str | None:
    """The address of a JupyterLab that serves a study folder already.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    str or None
        With its token; None where none runs, or one that another person of this computer started.
    """
    from jupyter_server.serverapp import list_running_servers  # takes a second or two to load

    folder = Path(folder).expanduser()
    for found in list_running_servers():
        if folder.exists() and Path(found["root_dir"]).exists() and folder.samefile(found["root_dir"]) and _answers(found["url"]):
            return f"{found['url']}lab?token={found['token']}"
    return None


def _answers(url, what="api"):
    """Whether a server at `url` gives `what`; what one wrote down about itself outlives a power cut."""
    try:
        with build_opener(ProxyHandler({})).open(f"{url}{what}", timeout=5):
            return True
    except (URLError, OSError):
        return False


@contextmanager
def claimed(
    folder: Path, patience: float = 150, waits: Callable[[], None] = lambda: None
) -> Iterator[str | None]:
    """Hold a study folder for one start, so that a second one made before the first answers waits for it.

    The claim is a lock of the operating system on a hidden file of the folder: it ends with the process that holds
    it, however that ends, so a file left behind claims nothing.

    Parameters
    ----------
    folder : Path
    patience : float
        Seconds to wait for the server that another start is bringing up.
    waits : callable
        Called once where another start holds the folder.

    Yields
    ------
    str or None
        None where the folder is free to be served; else the address where it is served already.

    Raises
    ------
    LabProblem
        If another start holds the folder and nothing answers.
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
    """The file that is locked, open; nothing to lock where the folder cannot be written."""
    place = Path(folder, ".testpour")
    try:
        place.mkdir(exist_ok=True)
        return (place / "start.lock").open("a")
    except OSError:
        return nullcontext()


def _lock(file):
    """Whether the open file could be locked; it stays so until it is closed. Without file or locks, nobody waits."""
    if file is None:
        return True
    if os.name == "nt":
        import msvcrt

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # some network drives have no locks
        return True
    return True


@contextmanager
def serving(lab: Lab, browser: bool = True, patience: float = 120) -> Iterator[Popen[bytes]]:
    """Start a `Lab`, hand over its process once it answers, and stop it on the way out.

    Parameters
    ----------
    lab : Lab
    browser : bool
        Whether JupyterLab opens the browser itself.
    patience : float
        Seconds to wait for an answer.

    Yields
    ------
    subprocess.Popen

    Raises
    ------
    LabProblem
        If it ends or stays silent; with the last line it wrote.
    """
    with tempfile.TemporaryDirectory(prefix="testpour-lab-", ignore_cleanup_errors=True) as runtime:
        overrides = Path(runtime, "labconfig", "default_setting_overrides.json")
        overrides.parent.mkdir()
        overrides.write_text(json.dumps(QUIET), encoding="utf-8")
        paths = [runtime, os.environ.get("JUPYTER_CONFIG_PATH", "")]
        environment = {
            **os.environ,
            "JUPYTER_CONFIG_PATH": os.pathsep.join(p for p in paths if p),
            "JUPYTER_TOKEN": lab.token,
        }
        journal = Path(runtime, "server.txt")
        with journal.open("wb") as output:
            process = subprocess.Popen(
                lab.command(runtime, browser), env=environment, cwd=lab.folder, stdin=subprocess.DEVNULL,
                stdout=output, stderr=subprocess.STDOUT, **_apart(),
            )
            try:
                _await_answer(process, lab, journal, patience)
                yield process
            finally:
                _stop(process)
                _close_log(lab.folder)


def _close_log(folder):
    """Leave the study's log whole in its one file, though a kernel was ended in the middle of a write."""
    from testpour.logbook.logfile import close_log
    from testpour.study_file import read_study

    with suppress(ValueError, OSError):  # whoever opens the study next is told what is wrong with it
        close_log(read_study(folder))


def _apart():
    """Keep Ctrl-C for us: the server would answer it with a question of its own."""
    if os.name == "posix":
        return {"start_new_session": True}
    return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}


def _await_answer(process, lab, journal, patience):
    host = HERE if lab.ip in ("0.0.0.0", "") else lab.ip
    deadline = time.monotonic() + patience
    while time.monotonic() < deadline:
        if process.poll() is not None:
            break
        # With the token: another server may have taken the port meanwhile, and would answer without it.
        if _answers(f"http://{host}:{lab.port}/", f"api/status?token={lab.token}"):
            return
        time.sleep(0.1)
    lines = journal.read_text("utf-8", errors="replace").strip().splitlines() or ["nothing"]
    state = "ended at once" if process.poll() is not None else f"did not answer in {patience:g} s"
    raise LabProblem(f"JupyterLab {state}. The last it wrote: {lines[-1]}")


def _stop(process, patience=15):
    """Ask the server to stop its kernels and itself; insist after `patience` seconds."""
    process.terminate()
    try:
        process.wait(patience)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
