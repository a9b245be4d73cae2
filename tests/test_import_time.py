"""`import testpour` costs next to nothing: heavy libraries wait until a name that needs them is used."""

import subprocess
import sys
import time

import pytest

import testpour

HEAVY = ("numpy", "pandas", "scipy", "statsmodels", "matplotlib", "seaborn", "sqlalchemy", "pint", "emcee", "jinja2", "openpyxl")


def run(code):
    return subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout


def seconds(code):
    begun = time.perf_counter()
    run(code)
    return time.perf_counter() - begun


def loaded_after(code):
    return set(run(f"{code}\nimport sys\nprint(*[m for m in {HEAVY!r} if m in sys.modules])").split())


def test_importing_loads_nothing_heavy():
    assert loaded_after("import testpour") == set()


def test_listing_the_names_loads_nothing_heavy():
    assert loaded_after("import testpour; dir(testpour); testpour.__all__") == set()


def test_the_command_line_loads_nothing_heavier_than_numpy():
    assert loaded_after("import testpour.app.command; testpour.app.command._parser()") <= {"numpy"}


@pytest.mark.slow
def test_the_check_above_can_fail():
    assert "pandas" in loaded_after("import testpour; testpour.fit_castings")


def test_importing_takes_less_than_a_third_of_a_second():
    """Best of five each, so that a busy machine does not decide; measured 0.01 s."""
    bare = min(seconds("pass") for _ in range(5))
    assert min(seconds("import testpour") for _ in range(5)) - bare < 0.33


def test_an_unknown_name_says_what_there_is():
    try:
        testpour.plan_pour  # noqa: B018
    except AttributeError as problem:
        assert "plan_pours" in str(problem)
    else:
        raise AssertionError("an unknown name was found")
