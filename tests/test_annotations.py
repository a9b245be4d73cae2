"""What is public says its types; what a user of the kit meets says in its docstring what each parameter is and what comes back."""

import ast
import re
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest
from mypy import api

import testpour

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


def packages():
    return sorted(path.parent.name for path in KIT.glob("*/__init__.py"))


@pytest.mark.parametrize("package", packages())
def test_everything_public_says_its_types(package):
    found = {f"{path.name}: {name}": untyped(node) for path in (KIT / package).glob("*.py")
             for name, node in public(parsed(path))}
    assert len(found) > 20
    assert {name: left for name, left in found.items() if left} == {}


WALK = """
import testpour as tp
study = tp.read_study("study.toml")
reveal_type(study)
fits = tp.fit_castings(tp.Logbook(study).castings())
reveal_type(tp.chance(fits, {"catalyst": "1.5 %"}, room="68 degF"))
reveal_type(tp.figures.show_effects)
tp.chance(fits, room="68 degF", cast="1.5 %")
"""


@pytest.mark.slow
def test_a_type_checker_knows_what_the_public_names_give(tmp_path):
    """Names are loaded when first used, which no type checker follows: it reads the stub beside them."""
    (tmp_path / "walk.py").write_text(WALK, "utf-8")
    said, _, _ = api.run([str(tmp_path / "walk.py"), "--config-file", str(ROOT / "pyproject.toml"), "--cache-dir", str(tmp_path)])
    told = re.findall(r'walk.py:\d+: note: Revealed type is "(.*)"', said)
    assert [kind.partition("(")[0] for kind in told] == ["testpour.study.study.Study", "testpour.models.chance.Chance", "def "], said
    assert 'Unexpected keyword argument "cast" for "chance"' in said


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


def module_of(path):
    return ".".join(path.relative_to(KIT.parent).with_suffix("").parts)


def classes_in(annotation):
    """Names that may be classes in an annotation of what comes back."""
    return set(re.findall(r"\w+", ast.unparse(annotation))) if annotation else set()


def met():
    """What a user of the kit meets: the public names, what these build on, the classes of what they give back, and so on from their methods.

    Yields what each is called and its function. Helpers are left out: a sentence and their annotations say enough of them.
    """
    named = [getattr(place, name) for place in (testpour, testpour.figures) for name in place.__all__]
    homes = {(found.__module__, found.__name__) for found in named if not isinstance(found, ModuleType)}
    nodes = {(module_of(path), node.name): node for path in KIT.rglob("*.py") for node in parsed(path).body
             if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    defined = {name: node for (_, name), node in nodes.items() if isinstance(node, ast.ClassDef)}
    functions = [nodes[home] for home in homes if isinstance(nodes[home], ast.FunctionDef)]
    yield from ((node.name, node) for node in functions)
    built_on = (ast.unparse(base) for home in homes if isinstance(nodes[home], ast.ClassDef) for base in nodes[home].bases)
    wanted = {name for _, name in homes}.union(built_on, *(classes_in(node.returns) for node in functions))
    seen = set()
    while more := (wanted & set(defined)) - seen:
        seen |= more
        for name in sorted(more):
            for method in defined[name].body:
                if isinstance(method, ast.FunctionDef) and not method.name.startswith("_"):
                    wanted |= classes_in(method.returns)
                    yield f"{name}.{method.name}", method


def test_everything_a_user_meets_says_what_it_takes_and_what_it_gives_back():
    found = {name: undescribed(node) for name, node in met()}
    assert len(found) > 200 and {"plan_pours", "Plan.without", "show_age", "OpenLog.photos", "Recommendation.sentence"} <= set(found)
    assert {name: left for name, left in found.items() if left} == {}


@pytest.mark.parametrize("doc, left", [
    ("Words.", ["a", "more", "Returns"]),
    ("Words.\n\n    Parameters\n    ----------\n    a, **more : int\n\n    Returns\n    -------\n    str\n    ", []),
    ("Words.\n\n    Parameters\n    ----------\n    a : int\n        more : said of a\n\n    Returns\n    -------\n    str\n    ", ["more"]),
    ("Words.\n\n    Parameters\n    ----------\n    a : int\n    **more\n    ", ["Returns"]),
])
def test_a_parameter_that_is_not_described_is_found(doc, left):
    (_, node), = public(ast.parse(f'def f(a: int, **more: int) -> str:\n    """{doc}"""'))
    assert undescribed(node) == left
