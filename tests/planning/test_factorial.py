"""Two-level sets against known fractions and hand counts."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from testpour.planning.factorial import (
    _full_factorial,
    _word_name,
    best_generators,
    block_two_level,
    fractional_factorial,
)

REFERENCE = Path(__file__).parents[1] / "reference"
PATTERNS = pd.read_csv(REFERENCE / "plan_word_lengths.csv", comment="#")


@pytest.mark.parametrize("k", [1, 3])
def test_full_factorial_has_every_combination_once(k):
    rows = _full_factorial(k)
    assert rows.shape == (2**k, k)
    assert len(np.unique(rows, axis=0)) == 2**k
    assert rows[0].tolist() == [-1] * k and rows[1, 0] > rows[0, 0]


@pytest.mark.parametrize("case", list(PATTERNS.itertuples()), ids=lambda c: f"{c.k} in 2^{c.base}")
def test_searched_fractions_have_the_known_word_lengths(case):
    fraction = fractional_factorial(case.k, best_generators(case.k, case.base))
    lengths = [len(word) for word in fraction.relation]
    assert [lengths.count(length) for length in range(3, len(fraction.names) + 1)] == [int(number) for number in str(case.pattern).split()]
    assert fraction.rows.shape == (2**case.base, case.k)


@pytest.mark.parametrize("k, base", [(5, 3), (6, 4), (7, 4), (7, 3)])
def test_relation_and_aliases_hold_in_the_rows(k, base):
    """Every word multiplies to one, every other product of columns sums to zero: counted from the rows."""
    fraction = fractional_factorial(k, best_generators(k, base))
    for size in range(1, k + 1):
        for choice in combinations(range(k), size):
            total = fraction.rows[:, choice].prod(axis=1).sum()
            assert total == len(fraction.rows) * (frozenset(choice) in fraction.relation)


def test_aliases_are_written_in_names():
    """By hand: D = AB, E = AC gives I = ABD = ACE = BCDE."""
    fraction = fractional_factorial(5, ["D=AB", "E=AC"])
    assert fraction.resolution == 3
    assert fraction.aliases() == ("A+BD+CE", "B+AD", "C+AE", "D+AB", "E+AC", "BC+DE", "BE+CD")
    named = fractional_factorial(3, ["C=AB"], names=["catalyst", "cover", "pigment"])
    assert named.aliases()[0] == "catalyst+cover:pigment"


def test_nothing_is_mixed_from_resolution_five_on():
    fraction = fractional_factorial(5, ["E=ABCD"])
    assert fraction.aliases() == () and fraction.resolution == 5
    assert fractional_factorial(3, []).resolution == 4  # a full set mixes nothing: one more than its factors


@pytest.mark.parametrize("k, base, sessions, lost", [
    (3, 3, 2, ("ABC",)),                      # by hand
    (4, 4, 2, ("ABCD",)),                     # by hand
    (4, 4, 4, 3),                             # one two-factor and two three-factor effects, by hand
    (5, 5, 4, 3),
])
def test_sessions_are_even_and_give_up_the_longest_effects(k, base, sessions, lost):
    fraction = fractional_factorial(k, best_generators(k, base) if base < k else ())
    numbers, names = block_two_level(fraction, sessions)
    assert np.bincount(numbers).tolist() == [2**base // sessions] * sessions
    assert names == lost if isinstance(lost, tuple) else len(names) == lost
    for session in range(sessions):
        assert np.abs(fraction.rows[numbers == session].sum(axis=0)).max() == 0      # main effects untouched
    for name in names:                                                               # given up: constant in session
        column = fraction.rows[:, ["ABCDE".index(x) for x in name]].prod(axis=1)
        assert all(np.ptp(column[numbers == s]) == 0 for s in range(sessions))


def test_four_sessions_of_a_sixteen_lose_one_short_effect():
    _, names = block_two_level(fractional_factorial(4), 4)
    assert sorted(map(len, names)) == [2, 3, 3]


def test_what_cannot_be_split_is_refused():
    with pytest.raises(ValueError, match="8 pours cannot be split evenly into 3 sessions"):
        block_two_level(fractional_factorial(3), 3)
    with pytest.raises(ValueError, match="4 pours of 3 factors in 2 sessions give up a main effect"):
        block_two_level(fractional_factorial(3, ["C=AB"]), 2)


@pytest.mark.parametrize("names, says", [("ABC", "AC"), (["A", "cover", "C"], "A:C"), (["catalyst", "cover", "pigment"], "catalyst:pigment")])
def test_letters_are_joined_and_longer_names_set_apart(names, says):
    assert _word_name({2, 0}, names) == says
