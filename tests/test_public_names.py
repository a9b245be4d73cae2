"""Every public name resolves, is documented with what it takes and gives, and is listed where people look."""

import inspect
import re
from types import ModuleType

import pytest

import testpour

NAMES = testpour.__all__


def sections(doc):
    """Titles of the numpydoc sections of a docstring."""
    return set(re.findall(r"^ *(\w+)\n *-{3,}$", inspect.cleandoc(doc or ""), re.MULTILINE))


def parameters(thing):
    """Names of the parameters of a function or class, without self."""
    return [p for p in inspect.signature(thing).parameters if p not in ("self", "cls")]


def functions():
    """Public functions, and those of public modules."""
    for name in NAMES:
        found = getattr(testpour, name)
        if isinstance(found, ModuleType):
            yield from ((f"{name}.{inner}", getattr(found, inner)) for inner in found.__all__)
        else:
            yield name, found


def test_the_tour_lists_its_names_in_order_and_once():
    assert NAMES == sorted(set(NAMES))
    assert set(NAMES) <= set(dir(testpour))
    assert len(NAMES) >= 15


@pytest.mark.parametrize("name", NAMES)
def test_each_name_resolves_to_what_it_is_called(name):
    found = getattr(testpour, name)
    assert found.__name__.rpartition(".")[2] == name
    assert found.__module__.startswith("testpour.") if not isinstance(found, ModuleType) else found.__all__


@pytest.mark.parametrize("name, found", list(functions()), ids=lambda value: value if isinstance(value, str) else "")
def test_each_name_says_what_it_takes_and_gives(name, found):
    doc = inspect.cleandoc(found.__doc__ or "")
    assert doc.splitlines()[0].endswith((".", ":")), f"{name}: the first line is a sentence"
    taken = parameters(found)
    if taken:
        assert "Parameters" in sections(doc), f"{name} takes {taken} and does not describe them"
        listed = doc.split("Parameters\n", 1)[1]
        for parameter in taken:
            assert re.search(rf"^(?:[\w*]+, )*\*{{0,2}}{parameter}\b.*", listed, re.MULTILINE), f"{name}: {parameter}"
    if not inspect.isclass(found):
        assert {"Returns", "Yields"} & sections(doc), f"{name} does not say what it returns"


@pytest.mark.parametrize("name", ["read_study", "plan_pours", "bench_sheet", "Logbook", "fit_castings", "next_pours"])
def test_the_tour_names_the_main_path(name):
    assert name in testpour.__doc__
