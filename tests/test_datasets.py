"""The data that come with the kit are described, invented, and made again digit for digit."""

import csv
import re
import runpy
import tomllib
from pathlib import Path

import pytest

DATASETS = Path(__file__).parents[1] / "datasets"


def headers(path, separator, row=0):
    rows = list(csv.reader(path.read_text("utf-8").splitlines(), delimiter=separator))
    return [re.sub(r"( at [\d, ]+h)?\s*(\(.*\))?$", "", head).strip() for head in rows[row]]


@pytest.mark.parametrize(
    "name, separator, row, fewest",
    [("demo-study/castings.csv", ",", 0, 9), ("workshop-sheet.csv", ";", 2, 9), ("thermocouple-trace.csv", ";", 2, 4)],
)
def test_every_column_is_described(name, separator, row, fewest):
    said = (DATASETS / "README.md").read_text("utf-8")
    heads = headers(DATASETS / name, separator, row)
    assert len(heads) >= fewest
    assert [head for head in heads if head not in said] == []


def test_invented_data_say_so():
    assert "invented" in (DATASETS / "demo-study" / "study.toml").read_text("utf-8")
    assert "Invented" in (DATASETS / "workshop-sheet.csv").read_text("utf-8")
    assert "invented" in (DATASETS / "thermocouple-trace.csv").read_text("utf-8")
    with open(DATASETS / "demo-study" / "castings.csv", encoding="utf-8") as file:
        assert all(row["note"] == "invented" for row in csv.DictReader(file))


def test_the_demo_log_is_made_again_digit_for_digit(tmp_path):
    made = runpy.run_path(str(DATASETS / "make_demo.py"))["make"](tmp_path / "castings.csv")
    assert made.read_bytes() == (DATASETS / "demo-study" / "castings.csv").read_bytes()


def test_the_trace_is_made_again_digit_for_digit(tmp_path):
    made = runpy.run_path(str(DATASETS / "make_trace.py"))["make"](tmp_path / "trace.csv")
    assert made.read_bytes() == (DATASETS / "thermocouple-trace.csv").read_bytes()


def test_what_is_installed_has_the_data_and_the_licences_and_not_the_scripts_that_made_the_data():
    root = DATASETS.parent
    told = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    taken = [root / name for name in told["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]]
    assert all(path.exists() for path in taken) and DATASETS not in taken
    shipped = {path for place in taken for path in ([place] if place.is_file() else place.rglob("*.*"))}
    assert {path for path in DATASETS.rglob("*.*") if path.is_file() and "__pycache__" not in path.parts} - shipped == set(DATASETS.glob("make_*.py"))
    named = re.findall(r"[\w.-]+", told["project"]["license"].replace(" AND ", " "))
    assert sorted(named) == sorted(path.stem for pattern in told["project"]["license-files"] for path in root.glob(pattern))
