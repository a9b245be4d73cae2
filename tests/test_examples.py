"""The examples in the docstrings of the public functions, run on the demonstration study in a study folder of its own."""

import doctest
import inspect
import os
import warnings
from contextlib import closing

import matplotlib.pyplot as plt
import pytest

import testpour as tp
from testpour.exchange.folder import make_folder

# What has no example: classes, a module, and the panels, which are there to be tapped.
SHOWN = sorted(name for name in tp.__all__ if not name.endswith("_panel") and inspect.isfunction(getattr(tp, name)))


@pytest.fixture(scope="module")
def at_hand(tmp_path_factory):
    """What the walk in the README has made by the time a function is called; the folder is the present one."""
    folder, before = tmp_path_factory.mktemp("examples") / "study", os.getcwd()
    make_folder(folder)
    os.chdir(folder)
    study = tp.read_study("study.toml")
    with closing(tp.Logbook(study)) as log:
        castings = log.castings()
        yield {"tp": tp, "study": study, "log": log, "castings": castings, "fits": tp.fit_castings(castings)}
    os.chdir(before)


@pytest.mark.slow
@pytest.mark.parametrize("name", [*SHOWN, *(f"figures.{name}" for name in tp.figures.__all__)])
def test_the_example_of_a_public_function_is_true(name, at_hand):
    where, _, name = name.rpartition(".")
    function = getattr(getattr(tp, where) if where else tp, name)
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE | doctest.FAIL_FAST
    (example,) = doctest.DocTestFinder(recurse=False).find(inspect.unwrap(function), name, module=False, globs=dict(at_hand))
    assert example.examples, f"{name} has no example"
    said = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # cautions about invented pours
        result = doctest.DocTestRunner(optionflags=flags).run(example, out=said.append)
    plt.close("all")
    assert not result.failed, "".join(said)
