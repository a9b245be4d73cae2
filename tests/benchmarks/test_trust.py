"""Chances against what turned out: by hand, and against scikit-learn and scipy."""

import numpy as np
import pytest
from families.trust import trust
from scipy.stats import beta
from sklearn.calibration import calibration_curve


def test_by_hand():
    """Two ranges: 0.2, 0.2 said and one of them right; 0.9 said twice and both right: (2 * 0.3 + 2 * 0.1) / 4."""
    found = trust([0.2, 0.2, 0.9, 0.9], [True, False, True, True])
    assert found.error == pytest.approx(0.2)
    assert found.table["times"].tolist() == [2, 2] and found.table["right"].tolist() == [0.5, 1.0]
    assert found.sentence() == "4 answers: 55 in 100 said to be right, 75 in 100 were; chances are off by 20.0 in 100 on average."


def test_against_scikit_learn():
    rng = np.random.default_rng(3)
    said = rng.uniform(0.01, 0.99, 5000)
    right = rng.random(5000) < said
    found = trust(said, right)
    share, mean = calibration_curve(right, said, n_bins=10)
    np.testing.assert_allclose(found.table[["right", "said"]].to_numpy().T, [share, mean], atol=1e-12)
    assert found.error < 0.07 < trust(said**3, right).error


def test_the_interval_is_that_of_a_beta_distribution():
    row = trust([0.55] * 20, [True] * 13 + [False] * 7).table.iloc[0]
    assert (row["low"], row["high"]) == pytest.approx(beta(13.5, 7.5).interval(0.9))
