"""Every path and command that DEVELOPERS.md names exists, and it stays one screen."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PATHS = sorted(set(re.findall(r"`((?:kit|tests|notebooks|datasets|\.ci)/[\w./-]*)`", TEXT)))
COMMANDS = [line for block in re.findall(r"^```sh\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL) for line in block.splitlines()]
MODULES = {"pytest": "pytest", "ruff": "ruff", "pip": "pip", "jupyter": "nbconvert"}


def test_it_is_one_screen():
    assert len(TEXT.splitlines()) <= 60


def test_it_names_paths_and_commands():
    assert len(PATHS) > 20
    assert len(COMMANDS) >= 5


@pytest.mark.parametrize("path", PATHS)
def test_every_path_exists(path):
    assert (ROOT / path).exists()


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_exists(line):
    for part in line.split(" && "):
        words = shlex.split(part)
        if words[0] == "bash":
            assert (ROOT / words[1]).exists()
        elif words[0].startswith(".venv/bin/"):
            tool = words[2] if words[1] == "-m" else Path(words[0]).name
            ran = subprocess.run([sys.executable, "-m", MODULES[tool], "--version"], capture_output=True, check=False)
            assert ran.returncode == 0, part
        else:
            assert words[:3] == ["python3", "-m", "venv"]


def test_the_cleaning_command_cleans_a_notebook(tmp_path):
    """Run on a copy with an output and execution times, as JupyterLab leaves them."""
    nbformat = pytest.importorskip("nbformat")
    source = min((ROOT / "notebooks").glob("*.ipynb"))
    book = nbformat.read(source, as_version=4)
    cell = next(c for c in book.cells if c.cell_type == "code")
    cell.outputs = [nbformat.v4.new_output("stream", text="left over")]
    cell.execution_count = 7
    cell.metadata["execution"] = {"iopub.status.busy": "2026-01-01T00:00:00Z"}
    copy = tmp_path / source.name
    nbformat.write(book, copy)
    line = next(line for line in COMMANDS if "nbconvert" in line)
    words = [w for w in shlex.split(line)[1:] if not w.endswith("*.ipynb")]
    subprocess.run([sys.executable, "-m", "jupyter", *words, str(copy)], check=True, capture_output=True)
    cleaned = nbformat.read(copy, as_version=4)
    assert [(c.id, c.source) for c in cleaned.cells] == [(c.id, c.source) for c in book.cells]
    assert all(not c.get("outputs") and c.get("execution_count") is None and not c.metadata for c in cleaned.cells)
