"""Every path and command that DEVELOPERS.md names exists, and it stays one screen."""

import ast
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
WALK = re.findall(r"^\| `(kit/[\w/]+\.py)` \| `(\w+)`: ", TEXT, re.MULTILINE)
GLOSSARY = re.findall(r"^\| [^|`]+ \| [^|`]+ \| (.*) \|$", TEXT, re.MULTILINE)
KIT = "\n".join(path.read_text("utf-8") for path in (ROOT / "kit").rglob("*.py"))
MODULES = {"pytest": "pytest", "ruff": "ruff", "pip": "pip", "jupyter": "nbconvert"}


def test_it_is_one_screen():
    assert len(TEXT.splitlines()) <= 60


def test_it_names_paths_and_commands():
    assert len(PATHS) > 20
    assert len(COMMANDS) >= 5


@pytest.mark.parametrize("path", PATHS)
def test_every_path_exists(path):
    assert (ROOT / path).exists()


def test_the_walk_enters_each_of_a_dozen_files_once():
    """From the study file to the recipe chart; each file defines what the walk says it does."""
    files = [file for file, _ in WALK]
    assert (files[0], files[-1]) == ("kit/testpour/study/study_file.py", "kit/testpour/advice/chart.py")
    assert len(files) == len(set(files)) <= 12
    for file, name in WALK:
        assert re.search(rf"^(def|class) {name}\b", (ROOT / file).read_text("utf-8"), re.MULTILINE), f"{file} has no {name}"


def test_every_word_of_the_glossary_is_in_the_code():
    """Names no other word is taken for: those of classes, and functions of two words."""
    names = [name for row in GLOSSARY for name in re.findall(r"`([A-Z]\w*|\w+_\w+)`", row)]
    assert len(GLOSSARY) >= 10 and len(names) >= 8
    assert [name for name in names if not re.search(rf"^(class|def) {name}\b", KIT, re.MULTILINE)] == []


def test_the_packages_stand_as_the_test_of_imports_has_them():
    told = re.search(r"checks: (.*?)\. Each", TEXT, re.DOTALL).group(1)
    floors = [re.findall(r"`(\w+)`", floor) for floor in told.split("<")]
    held = ast.parse((ROOT / "tests" / "test_imports.py").read_text("utf-8"))
    declared = next(node.value for node in held.body if isinstance(node, ast.Assign) and node.targets[0].id == "FLOORS")
    assert floors == [[name for name in floor if name] for floor in ast.literal_eval(declared)]


@pytest.mark.slow
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


@pytest.mark.slow
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
    assert all(not c.get("outputs") and c.get("execution_count") is None for c in cleaned.cells)
    assert all(c.metadata.keys() <= {"jupyter"} for c in cleaned.cells)  # which cells are folded
