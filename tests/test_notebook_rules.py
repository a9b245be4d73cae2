"""The rules for template notebooks: short, mostly prose, nothing computed by hand, nothing left over."""

import ast
import re
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).parents[1]
FILES = sorted((ROOT / "notebooks").glob("*.ipynb"))
by_name = pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)


def cells(path, kind=None):
    book = nbformat.read(path, as_version=4)
    return [c for c in book.cells if kind in (None, c.cell_type)]


def statements(path):
    return [node for c in cells(path, "code") for node in ast.walk(ast.parse(c.source))]


def test_there_are_notebooks():
    assert len(FILES) >= 5
    assert FILES[0].name == "0-start-here.ipynb"


@by_name
def test_it_is_a_valid_notebook_for_any_python_3(path):
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    assert book.metadata.kernelspec.name == "python3"
    assert set(book.metadata) <= {"kernelspec", "language_info"}


@by_name
def test_it_has_12_to_25_cells(path):
    assert 12 <= len(cells(path)) <= 25


@by_name
def test_it_has_nearly_as_much_prose_as_code(path):
    assert len(cells(path, "markdown")) >= 0.75 * len(cells(path, "code"))
    kinds = "".join(c.cell_type[0] for c in cells(path))
    assert "ccc" not in kinds, "three code cells in a row without a word"


@by_name
def test_code_cells_are_three_lines_at_most(path):
    for c in cells(path, "code"):
        assert len(c.source.strip().splitlines()) <= (5 if "import" in c.source else 3), c.id


@by_name
def test_functions_and_classes_live_in_the_package(path):
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)
    assert not [node for node in statements(path) if isinstance(node, kinds)]


@by_name
def test_it_imports_testpour_and_little_else(path):
    imported = {a.name for node in statements(path) if isinstance(node, ast.Import) for a in node.names}
    assert "testpour" in imported
    assert imported <= {"testpour", "pandas"}


@by_name
def test_nothing_is_left_over_from_a_run(path):
    for c in cells(path, "code"):
        assert c.outputs == [] and c.execution_count is None, c.id
    for c in cells(path):
        assert set(c.metadata) <= {"tags", "jupyter"}, c.id
        assert c.metadata.get("jupyter", {}) in ({}, {"source_hidden": True}), c.id


@by_name
def test_cell_ids_are_words(path):
    ids = [c.id for c in cells(path)]
    assert len(set(ids)) == len(ids)
    for one in ids:
        assert re.fullmatch(r"[a-z]+(-[a-z0-9]+)*", one), one
        assert not re.fullmatch(r"[0-9a-f]{8}(-.*)?", one), f"{one} looks like a random number"


@by_name
def test_it_checks_itself(path):
    checks = [node for node in statements(path) if isinstance(node, ast.Assert)]
    assert checks
    assert all(check.msg is not None for check in checks), "an assert says what went wrong"


@by_name
def test_prose_types_no_results(path):
    for c in cells(path, "markdown"):
        prose = re.sub(r"`[^`]*`|^#+.*$", "", c.source, flags=re.MULTILINE)
        assert not re.search(r"\d[.,]\d", prose), f"{c.id}: computed numbers belong in code"


@by_name
def test_its_title_is_a_question_or_a_task_and_it_says_what_you_need_and_get(path):
    first = cells(path)[0]
    assert first.cell_type == "markdown" and first.source.startswith("# ")
    assert "You need" in first.source and "You get" in first.source


PANELS = {
    "0-start-here.ipynb": ["round", "begin"], "1-plan.ipynb": ["plan"], "2-pour-and-log.ipynb": ["pour"],
    "3-what-the-log-says.ipynb": ["look"], "4-next-pours.ipynb": ["today", "pour"], "why-tacky.ipynb": ["why"],
    "5-share-findings.ipynb": ["share"],
}


@pytest.mark.parametrize("name", PANELS)
def test_a_panel_opens_in_a_folded_cell_of_its_own_and_a_line_above_says_how_to_show_it(name):
    found = cells(ROOT / "notebooks" / name)
    places = [k for k, c in enumerate(found) if c.cell_type == "code" and c.source.startswith("tp.") and c.source.endswith("_panel()")]
    assert [found[k].source for k in places] == [f"tp.{panel}_panel()" for panel in PANELS[name]]
    for k in places:
        assert found[k].metadata.get("jupyter") == {"source_hidden": True}
        assert "**Run All, then tap.**" in found[k - 1].source and "click its three dots to show it" in found[k - 1].source


@pytest.mark.parametrize("name", [name for name, panels in PANELS.items() if "pour" in panels])
def test_beside_the_form_log_is_the_log_of_the_study(name):
    """What the form asks for, such as log.correct_pour(...), must not go into a trial log."""
    code = [c.source for c in cells(ROOT / "notebooks" / name, "code")]
    assert re.findall(r"^log = .*", "\n".join(code), re.MULTILINE) == ["log = tp.Logbook(study)"] == code[0].splitlines()[2:3]


@by_name
def test_only_cells_that_open_a_panel_are_folded(path):
    folded = [c.source for c in cells(path, "code") if c.metadata.get("jupyter")]
    assert folded == [f"tp.{panel}_panel()" for panel in PANELS.get(path.name, [])]


def test_the_first_notebook_leads_to_every_other_one():
    prose = "\n".join(c.source for c in cells(FILES[0], "markdown"))
    assert set(re.findall(r"\]\(([^)]+)\)", prose)) == {path.name for path in FILES[1:]}


@pytest.mark.parametrize("name", ["0-start-here.ipynb", "1-plan.ipynb"])
def test_the_cautions_are_printed_before_anything_is_begun_or_planned(name):
    text = "\n".join(c.source for c in cells(ROOT / "notebooks" / name, "code"))
    begun = [text.find(call) for call in ("begin_panel(", "plan_panel(", "plan_pours(") if call in text]
    assert begun
    assert 0 <= text.find("safety_text(") < min(begun)
