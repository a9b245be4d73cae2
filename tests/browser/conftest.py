"""JupyterLab as `testpour start` serves it, and a browser that watches where requests go."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import nbformat
import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]


def pytest_collection_modifyitems(items):
    """Every test in a browser is slow: the ordinary run needs neither Chromium nor a minute of starting it."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents and "slow" not in item.keywords:
            item.add_marker(pytest.mark.slow)


@dataclass
class RunningLab:
    """A study folder served by `testpour start`, with a browser on it."""

    folder: Path
    address: str
    page: object
    requests: list = field(default_factory=list)

    def open(self, name):
        """Open a notebook by name, alone, and wait until its kernel is ready."""
        self.page.goto(re.sub(r"/lab(/tree/[^?]*)?\?", f"/lab/tree/{name}?reset&", self.address))
        self.page.wait_for_selector(f".lm-TabBar-tab.lm-mod-current .lm-TabBar-tabLabel:text-is('{name}')", timeout=120_000)
        self.wait_until_ready()

    def wait_until_ready(self):
        """Wait for the kernel itself: before there is one, the page says idle too."""
        shown = ".jp-NotebookPanel:not(.lm-mod-hidden)"
        self.page.wait_for_selector(f"{shown} .jp-Notebook .jp-Cell", timeout=120_000)
        self.page.wait_for_selector(f"{shown} .jp-Toolbar-kernelName:has-text('Python 3')", timeout=120_000)
        self.page.wait_for_timeout(300)  # the indicator turns to connecting just after the name is there
        idle = f"{shown} .jp-Notebook-ExecutionIndicator[data-status='idle']"
        self.page.wait_for_selector(idle, timeout=120_000, state="attached")

    def run_all(self, name, patience=240):
        """Run all cells of the open notebook; the notebook as saved once every cell has run or one failed."""
        self.page.get_by_role("menuitem", name="Run", exact=True).click()
        self.page.locator("#jp-mainmenu-run").get_by_text("Run All Cells", exact=True).click()
        deadline = time.monotonic() + patience
        while time.monotonic() < deadline:
            self.page.wait_for_timeout(1000)
            self.page.keyboard.press("Control+s")
            self.page.wait_for_timeout(500)
            asked = self.page.locator(".jp-Dialog").all_inner_texts()
            assert asked == [], f"a dialog stands in the way: {asked}"
            try:
                book = nbformat.reads((self.folder / name).read_text("utf-8"), as_version=4)
            except nbformat.reader.NotJSONError:  # caught while it was being saved
                continue
            if errors(book) or all(c.execution_count for c in code(book)):
                return book
        raise AssertionError(f"{name} was still running after {patience} s")

    def strangers(self):
        """Requests that left this machine."""
        here = {"127.0.0.1", "localhost"}
        return [url for url in self.requests if urlsplit(url).scheme in ("http", "https", "ws", "wss")
                and urlsplit(url).hostname not in here]


def code(book):
    """The code cells that hold something."""
    return [c for c in book.cells if c.cell_type == "code" and c.source.strip()]


def errors(book):
    """Cell id and message of every error output."""
    return [(c.id, o.ename, o.evalue) for c in code(book) for o in c.outputs if o.output_type == "error"]


@contextmanager
def started(folder, home, *options):
    """`testpour start` as a process of its own, with nobody's settings; the process and the address it printed."""
    plain = {key: value for key, value in os.environ.items() if not key.startswith(("JUPYTER", "PYTEST_"))}
    environment = {**plain, "HOME": str(home), "OMP_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
    line = [sys.executable, "-m", "testpour.app.command", "start", str(folder), "--no-browser", *options]
    process = subprocess.Popen(line, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                               stderr=subprocess.STDOUT, text=True)
    try:
        said = []
        for text in process.stdout:
            said.append(text)
            if text.startswith("Open "):
                break
        else:
            raise AssertionError(f"testpour start printed no address: {''.join(said)}")
        yield process, said[-1].removeprefix("Open ").strip()
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
            process.wait(60)
        process.stdout.close()


@contextmanager
def browsed(folder, home):
    """A study folder in JupyterLab in Chromium; the demonstration study where there is none."""
    if CHROMIUM is None:
        pytest.skip("needs Chromium: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    with started(folder, home) as (_, address), playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1400, "height": 1000})
        running = RunningLab(folder, address, page)
        page.on("request", lambda request: running.requests.append(request.url))
        page.on("websocket", lambda socket: running.requests.append(socket.url))
        yield running
        browser.close()


@pytest.fixture(scope="session")
def browse():
    """The context manager `browsed`, for tests that open more than one."""
    return browsed


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A fresh demonstration study in JupyterLab in Chromium."""
    with browsed(tmp_path_factory.mktemp("lab") / "my-study", tmp_path_factory.mktemp("home")) as running:
        yield running


@pytest.fixture(scope="session")
def start_lab():
    """The context manager `started`, for tests that end the server themselves."""
    return started
