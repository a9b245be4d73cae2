"""Every template notebook runs without an error in a study folder as `testpour start` makes it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

from testpour.folder import make_folder, templates

NAMES = [path.name for path in templates()]


def run(notebook):
    """Run one notebook cell by cell with nbval, in its own folder; the report names notebook and cell."""
    line = [
        sys.executable, "-m", "pytest", "--nbval-lax", "--nbval-current-env", "--nbval-cell-timeout=300",
        "-p", "no:cacheprovider", "-p", "no:python", "--rootdir", str(notebook.parent), "-q", "-rfE", notebook.name,
    ]  # fmt: skip
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST_")}
    return subprocess.run(line, cwd=notebook.parent, env={**plain, **threads}, capture_output=True, text=True, check=False)


def count_code(notebook):
    return sum(c.cell_type == "code" for c in nbformat.read(notebook, as_version=4).cells)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One study folder for all, as a reader walks through it."""
    return make_folder(tmp_path_factory.mktemp("study") / "my-study").path


def test_there_are_notebooks():
    assert len(NAMES) >= 5


@pytest.mark.parametrize("name", NAMES)
def test_notebook_runs(folder, name):
    ran = run(folder / name)
    assert ran.returncode == 0, f"{name} does not run in a fresh study folder:\n{ran.stdout[-6000:]}{ran.stderr}"
    assert f"{count_code(folder / name)} passed" in ran.stdout


def test_a_broken_cell_is_noticed_and_named(folder, tmp_path):
    broken = Path(shutil.copy(folder / NAMES[0], tmp_path / NAMES[0]))
    shutil.copy(folder / "study.toml", tmp_path)
    book = nbformat.read(broken, as_version=4)
    book.cells = [c for c in book.cells if c.cell_type == "code"][:1]
    book.cells.append(nbformat.v4.new_code_cell("assert study is None, 'broken on purpose'"))
    nbformat.write(book, broken)
    ran = run(broken)
    assert ran.returncode == 1
    assert f"{NAMES[0]}::Cell 1" in ran.stdout
    assert "broken on purpose" in ran.stdout
