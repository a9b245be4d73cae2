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
    assert FILES[0].name == "1-plan.ipynb"


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
        assert set(c.metadata) <= {"tags"}, c.id


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


def test_the_first_notebook_prints_the_cautions_before_anything_is_planned():
    text = "\n".join(c.source for c in cells(FILES[0], "code"))
    assert 0 <= text.find("safety_text(") < text.find("plan_pours(")
