"""Effects of finished two-level sets against printed examples."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from testpour.planning.effects import lenth, two_level_effects
from testpour.planning.factorial import fractional_factorial, full_factorial

REFERENCE = Path(__file__).parents[1] / "reference"
PRINTED = pd.read_csv(REFERENCE / "plan_two_level_effects.csv", comment="#")


def readings_of(name):
    return np.array(PRINTED.set_index("set").readings[name].split(), float)


@pytest.mark.parametrize("case", list(PRINTED.itertuples()), ids=lambda case: case.set)
def test_printed_effects(case):
    """Sources stand in the file; printed values are exact fractions of the readings."""
    readings = np.array(case.readings.split(), float)
    effects = two_level_effects(full_factorial(len(readings).bit_length() - 1), readings)
    assert readings.mean() == pytest.approx(case.mean, abs=1e-12)
    for name, value in (pair.split("=") for pair in case.effects.split()):
        assert effects[name] == pytest.approx(float(value), abs=1e-10), name


def test_half_fraction_of_the_reactor():
    """Box, Hunter & Hunter, half fraction I = ABCDE of the reactor set (from memory, not re-read in print)."""
    fraction = fractional_factorial(5, ["E=ABCD"])
    whole = full_factorial(5)
    place = [int(np.flatnonzero((whole == row).all(1))[0]) for row in fraction.rows]
    effects = two_level_effects(fraction.rows, readings_of("reactor")[place])
    printed = {"A": -2.0, "B": 20.5, "C": 0.0, "D": 12.25, "E": -6.25, "BD": 10.75, "DE": -9.5}
    assert effects[list(printed)].to_dict() == pytest.approx(printed, abs=1e-10)
    assert len(effects) == 15


def test_lenth_margins_of_filtration():
    """Montgomery, filtration example: PSE 2.625, ME 6.748, SME 13.699 (from memory, not re-read in print)."""
    found = lenth(two_level_effects(full_factorial(4), readings_of("filtration")))
    assert found.pse == pytest.approx(2.625, abs=1e-12)
    assert found.me == pytest.approx(6.748, abs=5e-4)
    assert found.sme == pytest.approx(13.699, abs=5e-4)
    assert found.active == ("A", "D", "AC", "AD")
    assert "A, D, AC, AD" in found.sentence()


def test_lenth_says_when_nothing_stands_clear():
    found = lenth({"A": 1.0, "B": -1.1, "C": 0.9, "AB": 1.2, "AC": -0.8, "BC": 1.0, "ABC": 1.05})
    assert found.active == ()
    assert found.sentence().startswith("No effect stands clear")
