"""Priors of sigma, of the cut-points and of the sds of groups: values by scipy, slopes by differences."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from testpour.likelihood.density import CutPrior, SigmaPrior
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal, half_normal, split_outer
from testpour.likelihood.observations import cuts_of
from testpour.likelihood.optimum import optimum_of
from testpour.likelihood.scaling import _grade_start, _ordered_cuts, _start, scaled_problem

STEP = 1e-5


def slopes(function, at):
    """Central differences of a function of a vector, the parameter last."""
    return np.stack([(function(at + m) - function(at - m)) / (2 * STEP) for m in STEP * np.eye(len(at))], axis=-1)


def derivatives_hold(prior, at):
    """The gradient of a prior is that of its value."""
    assert prior(at)[1] == pytest.approx(slopes(lambda x: np.array(prior(x)[0]), at), abs=1e-7)


def test_sigma_is_half_normal_in_its_own_unit():
    """Scaled sigma 0.8 with unit 3 is 2.4; as a density in log sigma it gains the Jacobian, log 2.4."""
    prior, at = SigmaPrior(1.7, 3.0), np.array([np.log(0.8)])
    assert prior(at)[0] == pytest.approx(stats.halfnorm.logpdf(2.4, scale=1.7) + np.log(2.4), rel=1e-12)
    derivatives_hold(prior, at)


def test_cut_points_are_normal_each():
    """Cuts -0.5, 0.3 and 1.6: gaps 0.8 and 1.3; as a density in the log gaps it gains the log of each gap."""
    mean, sd, cuts = np.array([-1.0, 0.2, 1.0]), np.array([0.5, 0.7, 0.9]), np.array([-0.5, 0.3, 1.6])
    prior, at = CutPrior(mean, sd), np.array([-0.5, np.log(0.8), np.log(1.3)])
    jacobian = np.log(0.8) + np.log(1.3)
    assert prior(at)[0] == pytest.approx(stats.norm.logpdf(cuts, mean, sd).sum() + jacobian, rel=1e-12)
    derivatives_hold(prior, at)


def test_sds_of_groups_are_half_normal_and_a_flat_one_adds_nothing():
    sds, scales = np.array([0.4, 1.5, 0.7]), np.array([0.5, np.inf, 2.0])
    value, slope = half_normal(sds, scales)
    assert value == pytest.approx(stats.halfnorm.logpdf(sds[[0, 2]], scale=scales[[0, 2]]).sum(), rel=1e-12)
    assert slope == pytest.approx(slopes(lambda x: np.array(half_normal(x, scales)[0]), sds), abs=1e-7)


def test_the_density_under_all_beliefs_has_its_own_gradient():
    """Every belief at once, rows exact, between two ends and open: central differences of the value."""
    rng = np.random.default_rng(12)
    design = np.column_stack([np.ones(12), rng.normal(size=12)])
    y = design @ [1, 0.5] + rng.normal(size=12)
    low, high = y - 0.2 * (np.arange(12) < 4), np.where(np.arange(12) == 5, np.inf, y)
    model = IntervalModel(
        low, high, design, groups={"session": np.arange(12) // 4}, belief=([1, 0], [1, 0.5]), sd_belief=0.7,
        group_beliefs={"session": 0.4},
    )
    problem, _, start = scaled_problem(model)
    marginal = Marginal(problem)
    at = start[2:]
    assert marginal(at)[1] == pytest.approx(slopes(lambda x: np.array(marginal(x)[0]), at), abs=1e-6)


def test_the_restricted_criterion_is_the_density_of_all_that_was_seen():
    """Exact rows under normal beliefs: a multivariate normal density, times those of the half-normal beliefs.

    The belief about sigma is a density in log sigma, so its Jacobian counts too.
    """
    rng = np.random.default_rng(13)
    day = np.arange(12) // 4
    design = np.column_stack([np.ones(12), rng.normal(size=12)])
    y = design @ [1, 0.5] + np.array([0.6, -0.5, 0.2])[day] + 0.3 * rng.normal(size=12)
    mean, sd = np.array([1.0, 0.0]), np.array([1.0, 0.5])
    model = IntervalModel(
        y, y, design, groups={"session": day}, belief=(mean, sd), sd_belief=0.7, group_beliefs={"session": 0.4}
    )
    marginal, scale, top = optimum_of(model)
    shape, sds = split_outer(top.at, len(marginal.problem.groups))
    tau, sigma = scale.unit * sds[0], float(np.exp(scale.shape(shape)[0]))
    seen = sigma**2 * np.eye(12) + tau**2 * (day[:, None] == day) + (design * sd**2) @ design.T
    by_hand = stats.multivariate_normal.logpdf(y, design @ mean, seen) + stats.halfnorm.logpdf(tau, scale=0.4)
    by_hand += stats.halfnorm.logpdf(sigma, scale=0.7) + np.log(sigma)
    assert tau > 0.1
    assert top.value + scale.log_volume == pytest.approx(by_hand, abs=1e-8)


def test_cut_points_are_sought_from_their_beliefs():
    """Cuts -1, 0 and 2 in their free form, by hand, whatever the share of each grade; with a flat belief, where thirds part."""
    grade = np.array([0, 0, 0, 0])
    model = IntervalModel(grade, grade, np.zeros((4, 0)), grades=4, cut_belief=([-1, 0, 2], [1, 1, 1]))
    assert scaled_problem(model)[2] == pytest.approx([-1, np.log(1.001), np.log(2.001)])
    flat = IntervalModel([0, 1, 2], [0, 1, 2], np.zeros((3, 0)), grades=3)
    assert scaled_problem(flat)[2] == pytest.approx([-0.430727, np.log(2 * 0.430727)], abs=1e-5)


@pytest.mark.parametrize("root, target, coefficient, unit", [(0.0, 0.0, 2.0, np.sqrt(2.14 / 1.5)), (1.0, 0.0, 4 / (2 + 2.988889 / 1.5), 1.671695)])
def test_where_a_fit_begins_by_hand(root, target, coefficient, unit):
    """Two readings, 1 and 3, of one mean. Without a belief 2 with residuals of 1: twice (2 + a tenth of the last variance) / 1.5. With a belief of 0 and
    sd 1 from 4 / 3, where 26 / 9 + 0.1 = 2.988889 is left over 1.5, to 4 / (2 + 1.992593), whose residuals leave 3.992587 + 0.1992593."""
    model = SimpleNamespace(grades=None, sd_belief=1.0)
    found, residual = _start(model, np.array([1.0, 2.5]), np.array([1.0, 3.5]), np.ones((2, 1)), np.array([[root]]), np.array([target]))
    assert found == pytest.approx([coefficient]) and residual == pytest.approx(unit, rel=1e-5)


def test_grades_begin_at_the_observed_shares_where_nothing_is_believed():
    """Two of grade 0, one of 1 and one of 2, half a row more for each: 2.5 and 4 of 5.5 lie below the cut-points."""
    model, grades = SimpleNamespace(grades=3, cut_belief=(np.zeros(2), np.full(2, np.inf))), np.array([0.0, 0, 1, 2])
    assert cuts_of(_grade_start(model, grades, grades)) == pytest.approx(stats.norm.ppf([2.5 / 5.5, 4 / 5.5]))
    model.cut_belief = (np.array([2.0, -1.0]), np.ones(2))
    assert cuts_of(_grade_start(model, grades, grades)) == pytest.approx([-1, 2.001])


def test_cut_points_out_of_order_are_drawn_again_and_no_more_than_needed():
    """Far apart, the first draws are taken as they come; of ones alike, those of the first draws that are in order come first."""
    first = np.random.default_rng(0).standard_normal((5, 2))
    rng, again = np.random.default_rng(0), np.random.default_rng(0)
    assert cuts_of(_ordered_cuts(np.array([0.0, 90.0]), np.ones(2), 5, rng)) == pytest.approx(first + [0, 90])
    assert rng.standard_normal() == again.standard_normal(11)[10]
    alike = cuts_of(_ordered_cuts(np.zeros(2), np.ones(2), 5, np.random.default_rng(0)))
    good = first[first[:, 0] < first[:, 1]]
    assert alike[: len(good)] == pytest.approx(good) and (alike[:, 0] < alike[:, 1]).all() and len(alike) == 5
