"""How JupyterLab is started: on this machine only, quiet, without its token where others can read it."""

import json
import os
import socket
import subprocess
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import pytest

from testpour.app import claim
from testpour.app import lab as labs
from testpour.app.claim import LabProblem, claimed, free_port, running
from testpour.app.command import main
from testpour.app.lab import Lab, serving
from testpour.exchange.folder import make_folder


class Answering(BaseHTTPRequestHandler):
    """Answers every request, as a running server would."""

    def do_GET(self):
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_):
        pass


class Strict(Answering):
    """Lets nobody in who has not its own token, as another study's server would."""

    def do_GET(self):
        self.send_response(200 if self.path == "/api" else 403)
        self.end_headers()


@pytest.fixture
def strict():
    """The port of another study's server."""
    with HTTPServer(("127.0.0.1", 0), Strict) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_port
        server.shutdown()


@pytest.fixture
def taken():
    """A port that somebody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield listener.getsockname()[1]


def test_the_address_opens_the_notebook_with_its_token(tmp_path):
    lab = Lab(tmp_path, "1-plan.ipynb", 8890, token="abc")
    assert lab.address == "http://127.0.0.1:8890/lab/tree/1-plan.ipynb?token=abc"
    assert Lab(tmp_path, "my plan?.ipynb", 1).start_page == "/lab/tree/my%20plan%3F.ipynb"
    assert Lab(tmp_path, "", 1, token="t").address == "http://127.0.0.1:1/lab?token=t"


def test_tokens_are_long_and_differ_and_are_not_shown(tmp_path):
    one, two = Lab(tmp_path, "", 1), Lab(tmp_path, "", 1)
    assert one.token != two.token and len(one.token) >= 32
    assert one.token not in repr(one)


def test_the_command_line_is_local_and_keeps_the_token_out(tmp_path):
    lab = Lab(tmp_path, "1-plan.ipynb", 8890)
    line = lab.command("/runtime", browser=False)
    assert line[:3] == [sys.executable, "-m", "jupyterlab"]
    assert "--ServerApp.ip=127.0.0.1" in line and "--ServerApp.open_browser=False" in line
    assert lab.token not in " ".join(line)


@pytest.mark.parametrize("user, allowed", [(0, True), (1000, False)])
def test_root_is_allowed_only_where_it_is_root(tmp_path, monkeypatch, user, allowed):
    monkeypatch.setattr(labs.os, "geteuid", lambda: user, raising=False)
    assert ("--allow-root" in Lab(tmp_path, "", 1).command("/runtime", browser=False)) is allowed


def test_a_taken_port_is_refused_with_what_to_do(taken):
    with pytest.raises(LabProblem, match=f"Port {taken} at 127.0.0.1 is taken.*--port"):
        free_port(taken)


@pytest.mark.parametrize("port", [-1, 70000])
def test_a_port_that_cannot_be_is_refused(port):
    with pytest.raises(LabProblem, match="--port"):
        free_port(port)


def test_the_first_free_port_is_taken(taken, monkeypatch):
    monkeypatch.setattr(claim, "FIRST_PORT", taken)
    assert taken < free_port() < taken + 100


def test_a_taken_port_makes_no_folder(taken, tmp_path, capsys):
    assert main(["start", str(tmp_path / "s"), "--no-browser", "--port", str(taken)]) == 1
    assert list(tmp_path.iterdir()) == []
    assert capsys.readouterr().err.count("\n") == 1


def test_a_server_that_ends_says_its_last_words(tmp_path, monkeypatch):
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", "print('one'); print('no room')"])
    with pytest.raises(LabProblem, match="ended at once. The last it wrote: no room"), serving(Lab(tmp_path, "", free_port())):
        pass


ANSWERS_ONCE = """
import sys
from http.server import BaseHTTPRequestHandler
from socketserver import TCPServer

class Answering(BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200)
        self.end_headers()

TCPServer(("127.0.0.1", int(sys.argv[1])), Answering).handle_request()
"""


@pytest.fixture
def lost(strict, monkeypatch):
    """A port that was free when it was looked at, and is another's when the server wants it."""
    ports, look = [strict], claim.free_port
    monkeypatch.setattr(claim, "free_port", lambda port=None, ip=claim.HERE: ports.pop() if ports else look(port, ip))
    monkeypatch.setattr(Lab, "command", lambda lab, *_, **__: [sys.executable, "-c", ANSWERS_ONCE, str(lab.port)])
    return strict


def test_a_port_lost_to_a_start_beside_this_one_is_changed_for_another(lost, tmp_path, capsys):
    assert main(["start", str(tmp_path / "s"), "--no-browser"]) == 0
    said = capsys.readouterr().out
    assert "Open http://127.0.0.1:" in said and f":{lost}/" not in said


def test_a_port_asked_for_and_lost_is_refused(lost, tmp_path, capsys):
    assert main(["start", str(tmp_path / "s"), "--no-browser", "--port", str(lost)]) == 1
    assert f"Port {lost} at 127.0.0.1 is taken" in capsys.readouterr().err


def test_a_silent_server_is_stopped(tmp_path, monkeypatch):
    processes = []
    begin = labs.subprocess.Popen
    monkeypatch.setattr(labs.subprocess, "Popen", lambda *a, **k: processes.append(begin(*a, **k)) or processes[-1])
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", "import time; time.sleep(60)"])
    with pytest.raises(LabProblem, match="did not answer in 0.5 s"), serving(Lab(tmp_path, "", free_port()), patience=0.5):
        pass
    assert processes[0].poll() is not None


def test_the_server_gets_settings_that_keep_it_quiet_and_its_token(tmp_path, monkeypatch):
    """The server is replaced by a line that writes down what it was given."""
    seen = tmp_path / "seen.json"
    code = f"""
import json, os, pathlib
first = os.environ["JUPYTER_CONFIG_PATH"].split(os.pathsep)[0]
text = pathlib.Path(first, "labconfig", "default_setting_overrides.json").read_text()
pathlib.Path({str(seen)!r}).write_text(json.dumps([os.environ["JUPYTER_TOKEN"], json.loads(text)]))
"""
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", code])
    lab = Lab(tmp_path, "", free_port())
    with pytest.raises(LabProblem), serving(lab):
        pass
    token, settings = json.loads(Path(seen).read_text())
    assert token == lab.token
    assert settings["@jupyterlab/apputils-extension:notification"] == {"fetchNews": "false", "checkForUpdates": False}


@pytest.mark.parametrize("ip", ["300.1.1.1", "no such host", "203.0.113.7", "192.168.1"])
def test_a_bad_address_is_called_one(tmp_path, capsys, ip):
    """203.0.113.0/24 is set aside for documentation (RFC 5737), so no computer has an address of it."""
    assert main(["start", str(tmp_path / "s"), "--no-browser", "--ip", ip]) == 1
    said = capsys.readouterr().err
    assert said.startswith(f"--ip: {ip!r} is not an address of this computer. Give one") and "taken" not in said
    assert list(tmp_path.iterdir()) == []


def test_listening_on_a_network_says_that_others_can_read_the_traffic(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", "pass"])
    assert main(["start", str(tmp_path / "s"), "--no-browser", "--ip", "0.0.0.0"]) == 1
    assert "The traffic is not encrypted: others on the network can read it" in capsys.readouterr().err


@pytest.fixture
def told(tmp_path, monkeypatch):
    """``told(folder, port)``: a JupyterLab on `folder` that wrote down where it listens, as its library does."""
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path / "runtime"))
    (tmp_path / "runtime").mkdir()

    def write(folder, port):
        entry = {"pid": os.getpid(), "url": f"http://127.0.0.1:{port}/", "root_dir": str(folder), "token": "abc"}
        (tmp_path / "runtime" / f"jpserver-{os.getpid()}.json").write_text(json.dumps(entry))

    return write


def test_a_second_start_says_that_one_is_running_and_where(tmp_path, told, capsys):
    study, other = make_folder(tmp_path / "s", demo=False).path, tmp_path / "other"
    other.mkdir()
    with HTTPServer(("127.0.0.1", 0), Answering) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        port = server.server_port
        told(study, port)
        assert running(other) is None
        assert main(["start", str(study), "--no-browser"]) == 0
        server.shutdown()
    said = capsys.readouterr().out
    assert "open in JupyterLab already, so no second one was started" in said
    assert said.endswith(f"Open http://127.0.0.1:{port}/?token=abc\n")


@pytest.mark.slow
def test_another_server_at_the_port_is_not_taken_for_ours(strict, tmp_path, monkeypatch):
    """It took the port meanwhile."""
    monkeypatch.setattr(Lab, "command", lambda *_, **__: [sys.executable, "-c", "import time; time.sleep(60)"])
    with pytest.raises(LabProblem, match="did not answer"), serving(Lab(tmp_path, "", strict), patience=1):
        pass


def test_a_server_that_wrote_itself_down_and_is_gone_is_not_taken_for_running(tmp_path, told):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        told(tmp_path, free.getsockname()[1])
    assert running(tmp_path) is None


@pytest.mark.slow
def test_a_second_start_before_the_first_answers_waits_and_is_told_where(tmp_path, told):
    folder, waited = make_folder(tmp_path / "s", demo=False).path, []
    with HTTPServer(("127.0.0.1", 0), Answering) as server, claimed(folder) as first:
        assert first is None
        Thread(target=server.serve_forever, daemon=True).start()

        def comes_up():
            waited.append("once")
            told(folder, server.server_port)

        with claimed(folder, patience=20, waits=comes_up) as second:
            assert second == f"http://127.0.0.1:{server.server_port}/?token=abc"
        server.shutdown()
    assert waited == ["once"]


def test_a_start_that_never_answers_is_named(tmp_path, told):
    folder = make_folder(tmp_path / "s", demo=False).path
    with claimed(folder), pytest.raises(LabProblem, match="being opened by another testpour start.*Ctrl-C"), claimed(folder, patience=0.1):
        pass


@pytest.mark.slow
def test_what_a_killed_start_left_behind_holds_nobody_up(tmp_path, told):
    """The first start is a process of its own, ended by force while it holds the folder."""
    folder = make_folder(tmp_path / "s", demo=False).path
    code = f"from testpour.app.claim import claimed\nwith claimed({str(folder)!r}): print('held', flush=True); input()"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "held\n"
        with pytest.raises(LabProblem), claimed(folder, patience=0):
            pass
        process.kill()
    assert (folder / ".testpour" / "start.lock").exists()
    with claimed(folder, patience=0) as free:
        assert free is None
