"""JupyterLab on a study folder: by default on this machine only, without news, and stopped with its kernels."""

import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from testpour.app.claim import HERE, LabProblem, PortLost, answers, free_port

QUIET = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    # A cell that is run before the kernel is up waits for it, and nobody is asked to choose one.
    "@jupyterlab/notebook-extension:tracker": {"autoStartDefaultKernel": True},
}


@dataclass(frozen=True)
class Lab:
    """A JupyterLab to be started."""

    folder: Path  # of the study
    notebook: str  # that it opens on; "" for none
    port: int
    ip: str = HERE  # where it listens; this machine only unless told otherwise
    # What the browser must show to be let in; never on the command line, where other users can read it.
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
        """The command line that starts it, its workspaces kept in the folder `runtime`."""
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


@contextmanager
def serving(lab: Lab, browser: bool = True, patience: float = 120) -> Iterator[subprocess.Popen[bytes]]:
    """Start a `Lab`, yield its process once it answers, and stop it at the end of the block.

    With `browser`, JupyterLab opens the browser. Raises `PortLost` if it ends and another program
    listens at its port; `LabProblem` if it ends otherwise or stays silent for `patience` seconds, with the last
    line it wrote.
    """
    with tempfile.TemporaryDirectory(prefix="testpour-lab-", ignore_cleanup_errors=True) as runtime:
        overrides = Path(runtime, "labconfig", "default_setting_overrides.json")
        overrides.parent.mkdir()
        overrides.write_text(json.dumps(QUIET), encoding="utf-8")
        environment = {
            **os.environ,
            "JUPYTER_CONFIG_PATH": os.pathsep.join(filter(None, [runtime, os.environ.get("JUPYTER_CONFIG_PATH")])),
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
    """Leave the study's log whole in its one file, even if a kernel was ended in the middle of a write."""
    from testpour.logbook.logfile import close_log
    from testpour.study.study_file import read_study

    with suppress(ValueError, OSError):  # opening the study reports what is wrong with it
        close_log(read_study(folder))


def _apart():
    """Keep Ctrl-C for us: the server would ask for confirmation."""
    if os.name == "posix":
        return {"start_new_session": True}
    return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}


def _await_answer(process, lab, journal, patience):
    host = HERE if lab.ip in ("0.0.0.0", "") else lab.ip
    deadline = time.monotonic() + patience
    while process.poll() is None and time.monotonic() < deadline:
        # With the token: another server may have taken the port meanwhile, and would answer without it.
        if answers(f"http://{host}:{lab.port}/", f"api/status?token={lab.token}"):
            return
        time.sleep(0.1)
    if process.poll() is not None:
        try:
            free_port(lab.port, lab.ip)
        except LabProblem as lost:
            raise PortLost(str(lost)) from None
    lines = journal.read_text("utf-8", errors="replace").strip().splitlines() or ["nothing"]
    state = "ended at once" if process.poll() is not None else f"did not answer in {patience:g} s"
    raise LabProblem(f"JupyterLab {state}. The last it wrote: {lines[-1]}")


def _stop(process):
    """Ask the server to stop its kernels and itself; kill it after 15 s."""
    process.terminate()
    try:
        process.wait(15)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
