"""Shared by all tests: the demo study, and a log of it made from a practice resin."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.practice.practice import practice_resin
from testpour.study.study_file import read_study

# Logs are made by the thousand, and each waits for the disk: in memory, where there is room, the tests take a third less.
MEMORY = Path("/dev/shm")
if MEMORY.is_dir() and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > 4 * 2**30:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

# Invented cases are the same in every run and have no time limit: a busy machine says nothing about the kit.
# With --hypothesis-profile=search they are new ones each time.
for name, alike in {"same": True, "search": False}.items():
    settings.register_profile(name, deadline=None, derandomize=alike, database=None,
                              suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
settings.load_profile("same")

DATASETS = Path(__file__).parents[1] / "datasets"

# Two sessions of six pours, catalyst, pigment, thickness and cover all varied; invented.
SESSIONS = {"S1": 17.0, "S2": 22.0}
POURS = pd.DataFrame(
    {
        "catalyst": [1.0, 1.0, 1.5, 2.0, 2.5, 2.5],
        "pigment": [0.5, 3.0, 1.0, 0.5, 3.5, 0.5],
        "thickness": [6.0, 15.0, 10.0, 18.0, 6.0, 12.0],
        "cover": [1.0, 0.0, 1.0, 0.0, 1.0, 1.0],
    }
)


def pytest_xdist_auto_num_workers(config):
    """All processors for the whole suite; one process for tests named on the command line, and where `-s` is to be seen."""
    whole = config.args_source is not pytest.Config.ArgsSource.ARGS
    return None if whole and config.getoption("capture") != "no" else 0


@pytest.fixture(scope="session")
def demo_study():
    """The demo study, as `datasets/demo-study/study.toml` declares it; no folder of tests has another of that name."""
    return read_study(DATASETS / "demo-study" / "study.toml")


@pytest.fixture(scope="session")
def study(demo_study):
    """The demo study, where a folder of tests has none of its own."""
    return demo_study


@pytest.fixture
def study_here(study, tmp_path):
    """The demo study in a folder of its own, so that its log lies there too."""
    return replace(study, folder=tmp_path)


@pytest.fixture
def log(study_here):
    """An empty log of the demo study."""
    book = Logbook(study_here)
    yield book
    book.close()


def practice_entries(study, seed=3, **options):
    """Twelve practice pours in two sessions, as `Logbook.add_all` takes them."""
    resin = practice_resin(study, seed=seed, **options)
    for number, (session, room) in enumerate(SESSIONS.items()):
        plan = POURS.set_axis([f"P{6 * number + i:02d}" for i in range(1, 7)])
        for made in resin.pour(plan.assign(room_temperature=room), session):
            yield {**made, "session": session}


@pytest.fixture
def practice_log(log):
    """A log of twelve pours of a practice resin, read as a bench would read them."""
    log.add_all(list(practice_entries(log.study)))
    return log


@pytest.fixture(scope="session")
def practice_castings(demo_study, tmp_path_factory):
    """The castings of `practice_log`, made once for tests that only read them."""
    book = Logbook(replace(demo_study, folder=tmp_path_factory.mktemp("practice")))
    book.add_all(list(practice_entries(demo_study)))
    castings = book.castings()
    book.close()
    return castings


@pytest.fixture(scope="session")
def practice_fits(practice_castings):
    """The fits of `practice_castings`, made once for tests that only read them."""
    return fit_castings(practice_castings)


@pytest.fixture(scope="session")
def plain_fits(practice_castings):
    """The same by the trade's terms alone, for arithmetic on their coefficients."""
    return fit_castings(practice_castings, remainder=False)


def make_castings(study, pours, readings):
    """Castings from plain tables, for tests of the models that need no log.

    `pours` has an index of names and any of the study's factors; `readings` has pour, reading, low, high.
    """
    blank = {"session": "S1", "made_at": pd.Timestamp("2026-03-01"), "by": "", "note": ""}
    blank |= {f.name: "" if f.kind == "text" else np.nan for f in study.factors}
    whole = pours.assign(**{name: value for name, value in blank.items() if name not in pours})
    rest = {"age": np.nan, "specimen": "", "by": "", "known": "between", "note": ""}
    rows = readings.assign(**{name: value for name, value in rest.items() if name not in readings})
    return Castings(study, whole, rows.assign(entry=np.arange(1, len(rows) + 1)))


@pytest.fixture(scope="session")
def castings_of():
    """`make_castings`, for tests in folders below."""
    return make_castings
