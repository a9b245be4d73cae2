"""Climbs on functions whose top, height and curvature are known."""

import numpy as np
import pytest

from testpour.likelihood.climb import Optimum, climb, difference_curvature, newton, warm_start


def bowl(at):
    """7 less x^2 / 2 and 2 y^2: top at the origin, curvature 1 and 4."""
    return 7 - at[0] ** 2 / 2 - 2 * at[1] ** 2, np.array([-at[0], -4 * at[1]])


def two_tops(at):
    """Minus the square of x^2 - 1: tops of curvature 8 at -1 and 1, a valley between them."""
    return -((at[0] ** 2 - 1) ** 2), -4 * at * (at**2 - 1)


def exactly(at, gradient=None):
    return np.diag(12 * at**2 - 4)


@pytest.mark.parametrize("quasi_newton", [False, True])
def test_a_climb_ends_at_the_top(quasi_newton):
    """Steps are one long at most, so that 5 take five of them and a last one; a curvature ten times too steep is put right on the way."""
    tried = []
    steep = (lambda at, gradient: 10 * np.eye(2)) if quasi_newton else (lambda at, gradient: np.diag([1.0, 4.0]))
    found = climb(lambda at: tried.append(at) or bowl(at), np.array([5.0, -0.4]), steep, quasi_newton=quasi_newton)
    assert found.at == pytest.approx([0, 0], abs=1e-6) and found.value == pytest.approx(7, abs=1e-9) and found.converged
    assert np.abs(np.diff(tried, axis=0)).max() <= 1 + 1e-12 and (quasi_newton or len(tried) < 12)


@pytest.mark.parametrize("start, top", [(0.1, 1.0), (-0.2, -1.0), (2.5, 1.0)])
def test_a_climb_out_of_a_valley_goes_up(start, top):
    """At 0.1 the curvature is below 0: a plain Newton step would go to the bottom of the valley."""
    found = climb(two_tops, np.array([start]), exactly)
    assert (found.at[0], found.value, found.curvature[0, 0]) == pytest.approx((top, 0, 8), abs=1e-6) and found.converged


def test_a_summit_that_is_moved_is_climbed_from_again():
    found = climb(two_tops, np.array([-0.6]), exactly, settle=lambda at, value: np.abs(at) + 0.2)
    assert found.at[0] == pytest.approx(1, abs=1e-6)


def test_a_climb_that_may_miss_a_little_height_stops_as_soon_as_it_does():
    """At 1.4 a Newton step gains 0.98; of that or more it may miss none, of 1 all, and the last step is taken all the same."""
    counts = []
    for tolerance in (0.97, 1.0):
        tried = []
        found = climb(lambda at, tried=tried: tried.append(1) or bowl(at), np.array([1.4, 0.0]), lambda at, gradient: np.diag([1.0, 4.0]), tolerance=tolerance)
        counts.append(len(tried))
        assert found.value == pytest.approx(7) and found.converged
    assert counts[0] > counts[1] == 2


def test_a_climb_of_too_few_steps_says_that_it_has_not_arrived():
    found = climb(bowl, np.array([5.0, 0.0]), lambda at, gradient: np.diag([1.0, 4.0]), steps=2)
    assert not found.converged and found.at == pytest.approx([3, 0])


def test_curvature_by_differences():
    """Of x^2 y + y^3 at (2, 3): minus the second derivatives 2 y, 2 x and 6 y. With the slope at the place given,
    differences are one-sided and off by half a step times the third derivative: 6 in y, and 2 and 0 of the two that are averaged."""
    def slope(at):
        x, y = at
        return x**2 * y + y**3, np.array([2 * x * y, x**2 + 3 * y**2])

    at, exact = np.array([2.0, 3.0]), -np.array([[6.0, 4.0], [4.0, 18.0]])
    found, one_sided = difference_curvature(slope)(at), difference_curvature(slope)(at, slope(at)[1])
    assert found == pytest.approx(exact, abs=1e-6)
    assert one_sided == pytest.approx(exact - 1e-4 * np.array([[0, 0.5], [0.5, 3]]), abs=1e-7)


def test_directions_that_nothing_is_known_of_stay_finite():
    """Curvatures of 4 and 0.01 along the diagonals, of which the flat one counts as 0.25: variances of 1/4 and 4."""
    axes = np.array([[1.0, 1.0], [1.0, -1.0]]) / np.sqrt(2)
    found = Optimum(np.zeros(2), 0.0, axes @ np.diag([4.0, 0.01]) @ axes.T, True).covariance(0.25)
    assert found == pytest.approx(axes @ np.diag([0.25, 4.0]) @ axes.T)


@pytest.mark.parametrize("last, outer, there", [
    (None, [1.0, 1.0], [0, 0, 0]),
    (([1.0, 1.0], [5.0, 6.0, 7.0], [[1.0, 0.0], [0.0, 2.0], [0.0, 0.0]]), [1.5, 0.8], [5.5, 5.6, 7]),  # moved by 0.5 and -0.2 along its slopes
    (([1.0, 1.0], [5.0, 6.0, 7.0], [[1.0, 0.0], [0.0, 2.0], [0.0, 0.0]]), [1.0, 2.0], [5, 6, 7]),  # a step of 1 is too far to follow
    (([1.0, 1.0], [5.0, 6.0, 7.0], 0.0), [1.5, 0.8], [5, 6, 7]),
])
def test_an_inner_mode_is_sought_where_it_was_last_moved_along_with_the_outer_place(last, outer, there):
    last = last and tuple(np.asarray(part) for part in last)
    assert warm_start(last, np.array(outer), 3, 1.0) == pytest.approx(there)


@pytest.mark.parametrize("start, tolerance, end", [(1.3, 0.18, 0.0), (1.3, 0.19, 1.3), (-2.0, 0.0, 0.0)])
def test_a_climb_ends_where_a_step_would_gain_less_than_a_share_of_the_height(start, tolerance, end):
    """9 - x^2 / 2 at 1.3 is 8.155; a step to the top gains 0.845, said here as 1.69, twice that: 0.18 of 1 + 8.155 is 1.648, 0.19 of it 1.739."""
    (at, height), curvature = newton(lambda x: (x, 9 - x**2 / 2), lambda place: (-place[0], place[0] ** 2, 1.0), start, tolerance)
    assert (at, height, curvature) == pytest.approx((end, 9 - end**2 / 2, 1.0))


def test_a_step_of_a_climb_that_loses_height_is_halved():
    """On -|x| steps of -8, -4 and -2 from 1 lead to -7, -3 and -1: only the last is no lower than the start."""
    tried = []
    newton(lambda x: (x, tried.append(x) or -abs(x)), lambda place: (-8.0, float(len(tried) == 1), 1.0), 1.0, 0.0)
    assert tried == [1.0, -7.0, -3.0, -1.0]
