"""Screening sets against printed generator rows and their defining properties."""

from itertools import combinations

import numpy as np
import pytest

from testpour.planning.screening import (
    conference_matrix,
    hadamard_matrix,
    three_level_screening,
    two_level_screening,
)

# Plackett & Burman (1946), Biometrika 33, 305-325: generator rows (from memory, not re-read in print).
GENERATORS = {
    8: "+++-+--",
    12: "++-+++---+-",
    20: "++--++++-+-+----++-",
    24: "+++++-+-++--++--+-+----",
}


@pytest.mark.parametrize("runs", list(GENERATORS))
def test_cyclic_sets_start_from_the_printed_row(runs):
    rows = hadamard_matrix(runs)[:, 1:]
    printed = np.array([1.0 if sign == "+" else -1.0 for sign in GENERATORS[runs]])
    shifts = {tuple(np.roll(way, i)) for i in range(runs - 1) for way in (printed, printed[::-1])}
    assert {tuple(row) for row in rows[:-1]} <= shifts
    assert (rows[-1] == -1).all()


@pytest.mark.parametrize("runs", [4, 8, 12, 16, 20, 24, 32, 40])
def test_two_level_columns_are_orthogonal(runs):
    matrix = hadamard_matrix(runs)
    assert (np.abs(matrix) == 1).all()
    assert np.array_equal(matrix.T @ matrix, runs * np.eye(runs))


@pytest.mark.parametrize("k, runs", [(3, 4), (4, 8), (7, 8), (11, 12), (12, 16), (19, 20), (23, 24)])
def test_smallest_two_level_set(k, runs):
    assert two_level_screening(k).shape == (runs, k)


@pytest.mark.parametrize("order", [4, 6, 8, 10, 12, 14, 18])
def test_conference_matrices(order):
    """The definition: C'C = (order - 1) I with zero diagonal and -1, 1 elsewhere. Order 10 needs the field of 9."""
    matrix = conference_matrix(order)
    assert np.array_equal(matrix.T @ matrix, (order - 1) * np.eye(order))
    assert np.array_equal(np.abs(matrix), 1 - np.eye(order))


@pytest.mark.parametrize("k, runs", [(3, 9), (4, 9), (5, 13), (6, 13), (7, 17), (8, 17), (9, 21), (10, 21), (13, 29)])
def test_three_level_main_effects_are_clear(k, runs):
    """Jones & Nachtsheim (2011): main effects orthogonal to each other, to squares and to interactions."""
    rows = three_level_screening(k)
    assert rows.shape == (runs, k)
    cross = rows.T @ rows
    assert np.array_equal(cross, np.diag(np.diag(cross)))
    second = np.stack([rows[:, i] * rows[:, j] for i in range(k) for j in range(i, k)], axis=1)
    assert np.abs(rows.T @ second).max() == 0
    assert np.linalg.matrix_rank(np.column_stack([np.ones(runs), rows, rows**2])) == 2 * k + 1
    for i, j in combinations(range(k), 2):
        assert {(a, b) for a, b in rows[:, [i, j]].tolist()} >= {(1, 1), (1, -1), (-1, 1), (-1, -1)}


def test_refusals_say_what_would_work():
    with pytest.raises(ValueError, match="at most 11 factors: use 16 pours for 12"):
        two_level_screening(12, 12)
    with pytest.raises(ValueError, match="at least 3 factors"):
        three_level_screening(2)
    with pytest.raises(ValueError, match="even order"):
        conference_matrix(5)
    with pytest.raises(ValueError, match="field with 21 elements"):
        conference_matrix(22)
    with pytest.raises(ValueError, match="try 32"):
        hadamard_matrix(28)
