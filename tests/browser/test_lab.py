"""`testpour start` in a real browser: the first notebook opens, runs, and nothing else happens."""

import signal
import socket
from urllib.parse import urlsplit

import nbformat
import pytest

from testpour.exchange.folder import templates

NAMES = [path.name for path in templates()]
FIRST, *OTHERS = NAMES


def check_run(lab, name, picture):
    """Run an open notebook and look at what it left on the page and in the file."""
    book = lab.run_all(name)
    lab.page.screenshot(path=picture)
    print(f"screenshot of {name}: {picture}")
    cells = [c for c in book.cells if c.cell_type == "code"]
    failed = [(c.id, o.ename, o.evalue) for c in cells for o in c.outputs if o.output_type == "error"]
    assert failed == []
    warned = [(c.id, o.text) for c in cells for o in c.outputs if o.get("name") == "stderr"]
    assert warned == [], "a cell printed a warning"
    assert sum(bool(c.outputs) for c in cells) >= 3
    assert lab.page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-OutputArea-output").count() >= 1
    assert lab.page.locator(".jp-Dialog").count() == 0
    assert lab.strangers() == []
    assert len(lab.requests) > 20, "the watch on requests saw nothing"


def test_the_first_notebook_opens_by_itself_and_runs(lab, tmp_path):
    lab.page.goto(lab.address)
    lab.wait_until_ready()
    assert lab.page.locator(".lm-TabBar-tab.lm-mod-current .lm-TabBar-tabLabel", has_text=FIRST).count() == 1
    assert lab.page.locator(".jp-Dialog, .jp-toast-button, .Toastify__toast").count() == 0, "a pop-up"
    check_run(lab, FIRST, tmp_path / "first.png")


@pytest.mark.slow
@pytest.mark.parametrize("name", OTHERS)
def test_every_other_notebook_runs(lab, name, tmp_path):
    lab.open(name)
    check_run(lab, name, tmp_path / "page.png")


def test_a_failing_cell_is_seen_and_no_kernel_asked_for(lab):
    """The check on errors can fail; a notebook that names no kernel gets the one there is, without a question."""
    book = nbformat.read(lab.folder / FIRST, as_version=4)
    book.cells = [nbformat.v4.new_code_cell("1 / 0", id="wrong")]
    book.metadata.clear()
    nbformat.write(book, lab.folder / "broken.ipynb")
    lab.open("broken.ipynb")
    outputs = lab.run_all("broken.ipynb").cells[0].outputs
    assert [o.ename for o in outputs if o.output_type == "error"] == ["ZeroDivisionError"]


def test_it_listens_on_this_machine_only_and_asks_for_its_token(lab):
    where = urlsplit(lab.address)
    assert where.hostname == "127.0.0.1"
    with socket.create_connection(("127.0.0.1", where.port), timeout=5):
        pass
    for address in {i[4][0] for i in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}:
        with pytest.raises(OSError):
            socket.create_connection((address, where.port), timeout=2).close()
    refused = lab.page.request.get(f"http://127.0.0.1:{where.port}/api/contents", headers={"Cookie": ""})
    assert refused.status == 403


def test_interrupting_it_ends_it_and_its_server(tmp_path, start_lab):
    with start_lab(tmp_path / "one", tmp_path) as (process, address):
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
        assert "Everything logged is kept." in process.stdout.read()
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", urlsplit(address).port), timeout=2).close()
