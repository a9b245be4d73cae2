"""Chances of a good casting beside the truth of hidden resins, told from a spread that is narrowed and from the whole."""

from dataclasses import replace

import numpy as np
import pytest
from families.hidden import KINDS
from families.report import brier, off
from families.world import World
from scipy.stats import qmc

from testpour.models import fits as models
from testpour.models.chance import chance
from testpour.models.fits import fit_castings

FAMILIES, SEED, ROOMS = ("algebraic", "radical", "surface", "gates"), 70, (17.0, 20.0, 23.0)  # a seed that chose nothing
LOW, HIGH = np.array([0.5, 0.0, 6.0, 0.0]), np.array([4.0, 6.0, 20.0, 1.0])


def poured(world):
    """The log of twelve castings spread over the spans, four a room."""
    spread = qmc.scale(qmc.Sobol(4, rng=5).random(16)[:12], LOW, HIGH).round(1)
    spread[:, 3] = spread[:, 3].round()
    for place, room in enumerate(ROOMS):
        world.pour(spread[4 * place : 4 * place + 4], f"S{place + 1}", room)
    return world.castings()


@pytest.fixture(scope="module")
def told():
    """Chances told, by the share of the spread they are told from, and the true ones, at settings of eight resins."""
    found = {share: [] for share in (0.75, 1.0)}
    with pytest.MonkeyPatch.context() as patch:
        for world in (World(family, kind, SEED) for family in FAMILIES for kind in KINDS):
            fits, rows = fit_castings(poured(world)), np.random.default_rng(SEED).choice(len(world.points), 300, replace=False)
            for share, each in found.items():
                patch.setattr(models, "NARROWED", share)
                each.append(np.column_stack([chance(replace(fits), world.points.iloc[rows]).draws.mean(axis=0), world.truth[rows]]))
    return {share: np.vstack(each).T for share, each in found.items()}


@pytest.mark.slow
def test_chances_in_the_middle_are_nearer_the_truth_than_from_the_whole_spread(told):
    """Chances of 0.2 to 0.9, where they decide something: too low from the whole spread by more than 5 points, and nearer narrowed."""
    middle = {share: (said, true) for share, (stated, truth) in told.items() for said, true in [_between(stated, truth)]}
    assert np.mean(np.subtract(*middle[1.0])) < -0.05
    assert off(*middle[0.75]) < off(*middle[1.0]) - 0.02


@pytest.mark.slow
def test_the_brier_score_is_better_than_from_the_whole_spread(told):
    assert brier(*told[0.75]) < brier(*told[1.0])
    assert brier(*told[0.75]) - brier(told[0.75][1], told[0.75][1]) < 0.05  # above that of the truth itself


def _between(stated, truth):
    some = (stated > 0.2) & (stated < 0.9)
    return stated[some], truth[some]
