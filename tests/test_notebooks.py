"""Every template notebook runs in study folders as `testpour start` and `testpour new` make them.

The fast tests run the cells of most in the demonstration's folder in this process; the slow ones run the others there, and in
every state. Real kernels run all of them before the first pour here, and in the demonstration in `tests/browser/test_lab.py`.
"""

import ast
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import nbformat
import pytest

from testpour.exchange.folder import make_folder, templates
from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study

NAMES = [path.name for path in templates()]
MADE_UP = {"pool-the-guild.ipynb", "practice.ipynb"}  # a guild and a resin of their own: the same whatever the log holds
POURS = {"before the first pour": 0, "after one pour": 1, "after four pours": 4, "demonstration": None}
SHOWS = ("_repr_mimebundle_", "_repr_html_", "_repr_markdown_", "_repr_png_", "__repr__")


def made(folder, pours):
    """A new study folder whose log holds some pours, each with only a gel time; the demonstration for None."""
    make_folder(folder, demo=pours is None)
    with closing(Logbook(read_study(folder))) as log:
        for number in range(pours or 0):
            settings = {"catalyst": 1.2 + 0.2 * number, "thickness": 6 + 2 * number, "room_temperature": 19}
            pour = log.add_pour(f"P{number + 1:02d}", settings=settings, session="S1")
            log.add_reading(pour, "gel_time", between=(30 - 4 * number, 34 - 4 * number))
    return folder


def code(notebook):
    """Sources of the code cells, by id."""
    return {c.id: c.source for c in nbformat.read(notebook, as_version=4).cells if c.cell_type == "code"}


def run_here(notebook):
    """Run the cells in this process; what the last expression of each shows, by cell id."""
    names, shown = {"__name__": "__main__"}, {}
    for cell, source in code(notebook).items():
        body = ast.parse(source, cell).body
        last = body.pop() if isinstance(body[-1], ast.Expr) else None
        exec(compile(ast.Module(body, []), f"{notebook.name}, cell {cell}", "exec"), names)  # noqa: S102 - our own cells
        value = eval(compile(ast.Expression(last.value), f"{notebook.name}, cell {cell}", "eval"), names) if last else None
        if value is not None:
            shown[cell] = [str(getattr(value, how)()) for how in SHOWS if hasattr(value, how)] + [getattr(value, "says", "")]
    return shown


def held(log):
    """Everything in a log file, as SQL."""
    with closing(sqlite3.connect(log)) as opened:
        return list(opened.iterdump())


def run(notebook):
    """Run one notebook cell by cell with nbval, in its own folder; the report names notebook and cell."""
    line = [
        sys.executable, "-m", "pytest", "--nbval-lax", "--nbval-current-env", "--nbval-cell-timeout=300",
        "-p", "no:cacheprovider", "-p", "no:python", "--rootdir", str(notebook.parent), "-q", "-rfE", notebook.name,
    ]
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST_")}
    return subprocess.run(line, cwd=notebook.parent, env={**plain, **threads}, capture_output=True, text=True, check=False)


def runs():
    """Each notebook in each state; slow but for the demonstration, and those that take long there."""
    for state in POURS:
        for name in NAMES:
            if name in MADE_UP and state != "demonstration":
                continue
            slow = name in MADE_UP or name.startswith(("1-", "3-", "4-", "5-", "why")) or (state != "demonstration" and name != "0-start-here.ipynb")
            yield pytest.param(state, name, marks=pytest.mark.slow if slow else (), id=f"{state}, {name}")


def test_there_are_notebooks():
    assert len(NAMES) >= 5 and set(NAMES) > MADE_UP


@pytest.mark.parametrize("state, name", list(runs()))
def test_notebook_runs_and_leaves_the_log_alone(state, name, tmp_path, monkeypatch):
    """No cell logs what nobody saw: the log is the same before and after, and no second log appears."""
    folder = made(tmp_path / "my-study", POURS[state])
    monkeypatch.chdir(folder)
    before = held(folder / "log.sqlite")
    shown = run_here(folder / name)
    assert len(shown) >= 3
    assert [cell for cell, texts in shown.items() if any(">-0.0<" in text for text in texts)] == []
    assert held(folder / "log.sqlite") == before
    assert {path.name for path in folder.glob("*.sqlite")} == {"log.sqlite"}


NEEDED = {
    "3-what-the-log-says.ipynb": {"castings": "no pour has been logged yet", "odd": "Log one gel time first"},
    "why-tacky.ipynb": {
        "pour": "Log the pour and what was read on it first", "keep": "no casting in the log yet",
        "split": "no casting in the log yet", "all": "Log one reading first",
    },
}


# As the panel of the first notebook writes it for a school with fingertips and a clock; its one setting is not the resin's usual.
OTHER = """
[factors]
catalyst = { from = "0.3 %", to = "1 %" }
room_temperature = {}
[readings]
demould_time = {}
[aims]
demould_time = { at_most = "24 h" }
"""


# The supplier fixes the catalyst, and the room is not written down.
FIXED = """
[factors]
pigment = {}
thickness = {}
[readings]
gel_time = {}
tack = {}
[aims]
gel_time = { at_least = "15 min", at_most = "45 min" }
tack = { at_most = 1, age = "24 h" }
"""


def with_study(folder, text):
    """A new study folder with that study file."""
    make_folder(folder, demo=False)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", [
    "2-pour-and-log.ipynb", "read-a-trace.ipynb",
    *(pytest.param(name, marks=pytest.mark.slow) for name in ("3-what-the-log-says.ipynb", "4-next-pours.ipynb", *sorted(MADE_UP))),
])
def test_notebook_runs_whatever_the_study_reads(name, tmp_path, monkeypatch):
    folder = with_study(tmp_path / "my-study", OTHER)
    monkeypatch.chdir(folder)
    assert len(run_here(folder / name)) >= 3


INSTEAD = {
    "1-plan.ipynb": {"sheet": "no catalyst to weigh out. Say in 0-start-here how much goes in"},
    "3-what-the-log-says.ipynb": {"map": "no room temperature to draw the chance over"},
    "4-next-pours.ipynb": {"use": "pour with", "chart": "this study does not vary it"},
    "5-share-findings.ipynb": {"page": "findings.html", "chart": "this study does not vary it"},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", INSTEAD)
def test_a_study_without_catalyst_and_room_is_told_what_to_do(name, tmp_path, monkeypatch):
    folder = with_study(tmp_path / "my-study", FIXED)
    monkeypatch.chdir(folder)
    shown = run_here(folder / name)
    for cell, words in INSTEAD[name].items():
        assert any(words in text.replace("Pour", "pour") for text in shown[cell]), f"{name}, {cell}: {shown[cell]}"


@pytest.mark.slow
@pytest.mark.parametrize("name", NEEDED)
def test_before_the_first_pour_cells_say_what_is_needed(name, tmp_path, monkeypatch):
    folder = made(tmp_path / "my-study", 0)
    monkeypatch.chdir(folder)
    shown = run_here(folder / name)
    for cell, words in NEEDED[name].items():
        assert any(words in text for text in shown[cell]), f"{name}, {cell}: {shown[cell]}"


def test_a_failing_cell_and_a_result_that_cannot_show_itself_are_noticed(tmp_path):
    """The runner itself: an error in a cell, and one in what a notebook calls to show a result, come through."""
    wrong = {"fails": "assert 1 == 2, 'broken on purpose'", "hides": "class A:\n    def _repr_html_(self): return 1 / 0\nA()"}
    for cell, error in (("fails", AssertionError), ("hides", ZeroDivisionError)):
        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(wrong[cell], id=cell)])
        nbformat.write(book, tmp_path / "wrong.ipynb")
        with pytest.raises(error):
            run_here(tmp_path / "wrong.ipynb")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One new study folder for all, as a reader walks through it."""
    return made(tmp_path_factory.mktemp("study") / "my-study", 0)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_notebook_runs_in_a_kernel(folder, name):
    before = held(folder / "log.sqlite")
    ran = run(folder / name)
    assert ran.returncode == 0, f"{name} does not run in a fresh study folder:\n{ran.stdout[-6000:]}{ran.stderr}"
    assert f"{len(code(folder / name))} passed" in ran.stdout
    assert held(folder / "log.sqlite") == before


@pytest.mark.slow
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
