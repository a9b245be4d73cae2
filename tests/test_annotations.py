"""What a caller meets of the kit says its types: parameters, results and fields, in every room.

What a notebook calls says in its docstring what each parameter is and what comes back.
"""

import ast
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
KIT = ROOT / "kit" / "testpour"
VAGUE = {"object", "tuple", "dict", "list", "callable", "Callable", "Any"}  # no type for a field: of what?


@cache
def parsed(path):
    return ast.parse(path.read_text("utf-8"))


def public(tree):
    """Public functions and methods, `__init__` among them, and fields of public classes."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node.name, node
        if isinstance(node, ast.ClassDef):
            for inner in node.body:
                named = inner.name if isinstance(inner, ast.FunctionDef) else ""
                if isinstance(inner, ast.AnnAssign) or named and (named == "__init__" or not named.startswith("_")):
                    yield f"{node.name}.{named or ast.unparse(inner.target)}", inner


def untyped(node):
    """What a function or field leaves unsaid, in words; nothing where it says all."""
    if isinstance(node, ast.AnnAssign):
        return [f"is any {found}"] if (found := ast.unparse(node.annotation)) in VAGUE else []
    given = node.args
    each = [*given.posonlyargs, *given.args, *given.kwonlyargs, *filter(None, [given.vararg, given.kwarg])]
    left = [one.arg for one in each if one.annotation is None and one.arg not in ("self", "cls")]
    return left + ["result"] * (node.returns is None)


def rooms():
    return sorted({path.parent.name for path in KIT.glob("*/__init__.py")} | {""})


@pytest.mark.parametrize("room", rooms())
def test_everything_public_says_its_types(room):
    found = {f"{path.name}: {name}": untyped(node) for path in (KIT / room).glob("*.py")
             for name, node in public(parsed(path))}
    assert len(found) > 20
    assert {name: left for name, left in found.items() if left} == {}


def test_mypy_reads_every_room_that_says_its_types():
    read = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["mypy"]["files"]
    assert {place.removeprefix("kit/testpour/").removesuffix("*.py") for place in read} == set(rooms())


@pytest.mark.parametrize("text, left", [
    ("def f(a: int) -> str: ...", []),
    ("def f(a) -> str: ...", ["a"]),
    ("def f(*, a: int): ...", ["result"]),
    ("def f(*given, **more) -> None: ...", ["given", "more"]),
    ("class C:\n    a: tuple = ()", ["is any tuple"]),
    ("class C:\n    a: tuple[int, ...] = ()", []),
    ("class C:\n    def __init__(self, a): ...", ["a", "result"]),
])
def test_what_is_left_unsaid_is_found(text, left):
    (_, node), = public(ast.parse(text))
    assert untyped(node) == left


def section(text, title):
    """The lines of a section of a numpydoc docstring, its underline left out; none where there is no such section."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^[A-Z]\w+\n-+\n|\Z)", text, re.MULTILINE | re.DOTALL)
    return found[1].splitlines() if found else []


def undescribed(node):
    """Parameters of a function that its docstring does not list, and "Returns" where that is left out."""
    text = ast.get_docstring(node) or ""
    given = node.args
    names = [one.arg for one in [*given.posonlyargs, *given.args, *given.kwonlyargs, *filter(None, [given.vararg, given.kwarg])]]
    heads = [line.partition(" : ")[0] for line in section(text, "Parameters") if line and not line.startswith(" ")]
    listed = {name.strip(" *") for head in heads for name in head.split(",")}
    silent = node.returns is None or ast.unparse(node.returns) == "None" or section(text, "Returns") or section(text, "Yields")
    left = [name for name in names if name not in listed | {"self", "cls"}]
    return left + ["Returns"] * (not silent and bool({*names} - {"self", "cls"}))


def exported(trees):
    """Name and definition of what the kit exports; of a module that is exported, what it names in turn."""
    homes = next(ast.literal_eval(node.value) for node in trees["__init__"].body if ast.unparse(node).startswith("_HOMES ="))
    for name, home in homes.items():
        own = [node for node in trees[home].body if getattr(node, "name", "") == name]
        for node in trees[home].body if not own else ():
            if isinstance(node, ast.ImportFrom) and node.module.startswith("testpour."):
                names = {alias.name for alias in node.names if home.endswith(f".{name}") or alias.name == name}
                own += [one for one in trees[node.module.removeprefix("testpour.")].body if getattr(one, "name", "") in names]
        assert own, f"testpour.{name} is not in {home}"
        yield from ((node.name, node) for node in own)


def called():
    """What a notebook calls: the functions the kit exports, and the methods of its classes and of those that these give back."""
    trees = {".".join(path.relative_to(KIT).with_suffix("").parts): parsed(path) for path in KIT.rglob("*.py")}
    classes = {node.name: node for tree in trees.values() for node in tree.body if isinstance(node, ast.ClassDef)}
    ahead, found = [*exported(trees)], {}
    while ahead:
        name, node = ahead.pop()
        if name in found:
            continue
        found[name] = node
        more = node.bases if isinstance(node, ast.ClassDef) else [node.returns] * (node.returns is not None)
        ahead += [(one, classes[one]) for part in more for one in re.findall(r"\w+", ast.unparse(part)) if one in classes]
        if isinstance(node, ast.ClassDef):
            ahead += [(f"{name}.{one.name}", one) for one in node.body if isinstance(one, ast.FunctionDef) and not one.name.startswith("_")]
    return {name: node for name, node in found.items() if isinstance(node, ast.FunctionDef)}


def test_everything_a_notebook_calls_says_what_it_takes_and_gives_back():
    found = called()
    assert {"plan_pours", "Logbook.add_pour", "Answer.observe", "Factor.parse"} <= set(found)
    assert {name: left for name, node in found.items() if (left := undescribed(node))} == {}


@pytest.mark.parametrize("doc, left", [
    ("Words.", ["a", "more", "Returns"]),
    ("Words.\n\n    Parameters\n    ----------\n    a, **more : int\n\n    Returns\n    -------\n    str\n    ", []),
    ("Words.\n\n    Parameters\n    ----------\n    a : int\n        more : said of a\n\n    Returns\n    -------\n    str\n    ", ["more"]),
    ("Words.\n\n    Parameters\n    ----------\n    a : int\n    **more\n    ", ["Returns"]),
])
def test_a_parameter_that_is_not_described_is_found(doc, left):
    (_, node), = public(ast.parse(f'def f(a: int, **more: int) -> str:\n    """{doc}"""'))
    assert undescribed(node) == left
