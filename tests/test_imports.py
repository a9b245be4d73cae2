"""The packages of the kit stand one on the other: what a module imports lies below it, and no circle closes."""

import ast
import re
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

KIT = Path(__file__).parents[1] / "kit" / "testpour"
# From the ground up; a package uses those of the floors below its own, never one beside it. "" is `__init__.py`, which
# loads the public names. Declared here, not read from the code.
FLOORS = [
    ["common"],
    ["", "study"],
    ["likelihood", "physics", "logbook"],
    ["models", "exchange"],
    ["planning", "causes", "pooling"],
    ["bench"],
    ["advice"],
    ["practice"],
    ["report"],
    ["panels"],
    ["app"],
]


def imports(root):
    """Module to the modules of the same package that it imports, anywhere in its text, for types only too."""
    files = {".".join((root.name, *p.relative_to(root).with_suffix("").parts)).removesuffix(".__init__"): p for p in root.rglob("*.py")}
    found = {}
    for module, path in files.items():
        named = set()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                named |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert not node.level, f"{path}: imports are written out in full"
                inside = {f"{node.module}.{alias.name}" for alias in node.names}
                named |= {name if name in files else node.module for name in inside}
        found[module] = named & files.keys() - {module}
    return found


def package(module, packages):
    second = module.split(".")[1:2]
    return second[0] if second and second[0] in packages else ""


def against_the_way(graph, floors):
    """Imports that do not lead down, as "module imports module"."""
    height = {name: number for number, floor in enumerate(floors) for name in floor}
    wrong = []
    for module, named in graph.items():
        for other in named:
            here, there = package(module, height), package(other, height)
            if here != there and height[there] >= height[here]:
                wrong.append(f"{module} imports {other}")
    return sorted(wrong)


def circle(graph):
    """The modules of one circle, or nothing."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return error.args[1]
    return []


@pytest.fixture(scope="module")
def graph():
    return imports(KIT)


def test_every_package_has_its_floor():
    folders = {path.parent.name for path in KIT.glob("*/__init__.py")}
    assert folders == {name for floor in FLOORS for name in floor} - {""}


@pytest.mark.slow
def test_imports_lead_down(graph):
    assert sum(map(len, graph.values())) > 500
    assert against_the_way(graph, FLOORS) == []


@pytest.mark.slow
def test_no_modules_import_each_other_in_a_circle(graph):
    """Not for a type either: what two modules name lies below both."""
    assert circle(graph) == []


@pytest.mark.parametrize("name", [name for floor in FLOORS for name in floor if name])
def test_a_package_says_what_it_is_for_what_comes_in_and_what_goes_out(name):
    said = ast.get_docstring(ast.parse((KIT / name / "__init__.py").read_text("utf-8"))).splitlines()
    assert len(said) == 4 and said[1] == ""
    assert said[2].startswith("In: ") and said[3].startswith("Out: ")


def made_up(folder, texts):
    """A package of two floors, as files."""
    for name, text in texts.items():
        path = folder / "made_up" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    return imports(folder / "made_up")


@pytest.mark.parametrize("text", [
    "from made_up.upper.two import b",
    "from made_up.upper import two",
    "import made_up.upper.two",
    "def late():\n    from made_up.upper.two import b",
    "from made_up.beside import c",
])
def test_an_import_against_the_way_is_found(tmp_path, text):
    graph = made_up(tmp_path, {
        "__init__.py": "", "lower/__init__.py": "", "upper/__init__.py": "", "beside/__init__.py": "c = 1",
        "lower/one.py": text, "upper/two.py": "b = 1",
    })
    wrong = against_the_way(graph, [[""], ["lower", "beside"], ["upper"]])
    assert len(wrong) == 1 and wrong[0].startswith("made_up.lower.one imports made_up.")


@pytest.mark.parametrize("back", ["def f():\n    from made_up.a import g", "if TYPE_CHECKING:\n    from made_up.a import g"])
def test_a_circle_is_found(tmp_path, back):
    graph = made_up(tmp_path, {"__init__.py": "", "a.py": "import made_up.b", "b.py": back})
    assert {"made_up.a", "made_up.b"} <= set(circle(graph))


def shared_names(root):
    """Names that two classes or two modules of a package have, to the files they stand in."""
    names = {}
    for path in sorted(root.rglob("*.py")):
        for name in {*re.findall(r"^ *class (\w+)[:(]", path.read_text("utf-8"), re.MULTILINE), path.stem} - {"__init__"}:
            names.setdefault(name, []).append(str(path.relative_to(root)))
    assert names
    return {name: places for name, places in names.items() if len(places) > 1}


def test_two_classes_never_share_a_name_nor_two_modules():
    assert shared_names(KIT) == {}


def test_a_name_that_is_taken_twice_is_found(tmp_path):
    made_up(tmp_path, {"__init__.py": "", "a/one.py": "class A:\n    ...", "b/one.py": "def f():\n    class B(A): ...", "b/two.py": "class B: ..."})
    assert shared_names(tmp_path / "made_up") == {"one": ["a/one.py", "b/one.py"], "B": ["b/one.py", "b/two.py"]}
