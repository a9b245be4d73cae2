"""Newton's method for the maximum of a smooth function: damped for any, plain for a concave one."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Optimum:
    """Where a climb ended: `at`, its `value` and `curvature` (minus second derivatives)."""

    at: np.ndarray
    value: float
    curvature: np.ndarray
    converged: bool

    def covariance(self, least: float) -> np.ndarray:
        """Inverse of the curvature, no principal curvature taken as less than `least`: directions the rows say nothing of stay finite."""
        roots, axes = np.linalg.eigh(self.curvature)
        return (axes / np.maximum(roots, least)) @ axes.T


STEP = 1e-4  # between two gradients whose difference is a curvature
REACH = 1.0  # longest step of a climb, in scaled parameters


def difference_curvature(function: Callable[[np.ndarray], tuple[float, np.ndarray]]) -> Callable[..., np.ndarray]:
    """Return a function giving minus the second derivatives, by differences of the gradient.

    Central ones; one-sided ones, at half the price, where the gradient at the place is handed over. `function` gives
    its value and gradient (k,) at a place (k,); what comes back, a matrix (k, k).
    """

    def curvature(at, gradient=None):
        columns = []
        for j in range(len(at)):
            ahead, behind = at.copy(), at.copy()
            ahead[j] += STEP
            behind[j] -= STEP
            if gradient is None:
                columns.append((function(behind)[1] - function(ahead)[1]) / (2 * STEP))
            else:
                columns.append((gradient - function(ahead)[1]) / STEP)
        matrix = np.array(columns).reshape(len(at), len(at))
        return (matrix + matrix.T) / 2

    return curvature


def climb(
    function: Callable, start: np.ndarray, curvature: Callable, quasi_newton: bool = False, steps: int = 200,
    settle: Callable | None = None, tolerance: float = 0.0,
) -> Optimum:
    """Return the `Optimum` reached from `start`.

    Levenberg's damping: the curvature is made positive, steps are at most `REACH` long, and a step that loses height is
    shortened by more damping, so the climb cannot jump to a worse point. Parameters (d,) are scaled so that one is a
    large step. `function` is ``at -> (value, gradient)``; `curvature` is ``at, gradient -> (d, d)``, minus second
    derivatives, as exact as it can without the gradient. A `quasi_newton` climb corrects it by the BFGS formula after each
    step. At most `steps` are tried. `settle` is ``at, value -> at``: where it moves a summit, the climb goes on. `tolerance`
    is a height that may be missed: the climb ends with the Newton step that would gain less.
    """
    at = np.asarray(start, dtype=float)
    value, gradient = function(at)
    matrix = curvature(at, gradient)
    how = (curvature, quasi_newton, steps, tolerance)
    at, value, gradient, matrix = _ascend(function, at, value, gradient, matrix, how)
    moved = at if settle is None else settle(at, value)
    if not np.array_equal(moved, at):
        value, gradient = function(moved)
        at, value, gradient, matrix = _ascend(function, moved, value, gradient, matrix, how)
    matrix = curvature(at, gradient if tolerance else None)
    left = _predicted_gain(*np.linalg.eigh(matrix), gradient)
    converged = left < max(1e-9 * (1 + abs(value)), 2 * tolerance)
    if converged and left > 0:
        at, value = _polish(function, at, value, gradient, matrix)
    return Optimum(at, value, matrix, bool(converged))


def _ascend(function, at, value, gradient, matrix, how):
    """Climb until no gain is left; return place, value, gradient and curvature."""
    (curvature, quasi_newton, steps, tolerance), damping = how, 0.0
    for _ in range(steps):
        roots, axes = np.linalg.eigh(matrix)
        if _predicted_gain(roots, axes, gradient) < max(1e-16 * (1 + abs(value)), tolerance):
            break
        step, reached, damping = _damped_step(function, at, value, (roots, axes, gradient), damping)
        if step is None:
            break
        change = gradient - reached[1]
        gained = reached[0] - value
        at, (value, gradient) = at + step, reached
        if gained <= 1e-14 * (1 + abs(value)) and np.abs(step).max() < 1e-9:
            break
        matrix = _bfgs(matrix, step, change) if quasi_newton and change @ step > 0 else curvature(at, gradient)
    return at, value, gradient, matrix


def _polish(function, at, value, gradient, matrix):
    """One last Newton step, too short to change the height measurably: kept if it reduces the gradient."""
    step = np.linalg.solve(matrix, gradient)
    reached = function(at + step)
    if np.abs(reached[1] @ step) < np.abs(gradient @ step):
        return at + step, reached[0]
    return at, value


def _damped_step(function, at, value, slopes, damping):
    """Return a step that loses no height, the place it reached, and the next damping; None if there is none."""
    for _ in range(30):
        step = _newton_step(*slopes, damping)
        reached = function(at + step)
        if np.isfinite(reached[0]) and reached[0] >= value - 1e-13 * (1 + abs(value)):
            return step, reached, damping / 16 if damping > 1e-6 else 0.0
        damping = max(4 * damping, 1e-3 * np.abs(slopes[0]).max())
    return None, None, damping


def _bfgs(matrix, step, change):
    moved = matrix @ step
    return matrix + np.outer(change, change) / (change @ step) - np.outer(moved, moved) / (step @ moved)


def _predicted_gain(roots, axes, gradient):
    """Height a Newton step would gain; infinite when the curvature is not positive."""
    if len(roots) and roots.min() <= 0:
        return np.inf if np.abs(gradient).max() > 1e-9 else 0.0
    return (((axes.T @ gradient) ** 2) / roots).sum() / 2


def _newton_step(roots, axes, gradient, damping):
    floor = 1e-8 * max(np.abs(roots).max(), 1e-300)
    step = axes @ ((axes.T @ gradient) / (np.maximum(np.abs(roots), floor) + damping))
    length = np.abs(step).max()
    return step if length <= REACH else step * (REACH / length)


def newton(evaluate: Callable, newton_step: Callable, start: np.ndarray, tolerance: float) -> tuple[tuple, Any]:
    """The maximiser of a concave function, and the curvature there.

    `evaluate` is ``at -> place``, a tuple that begins with `at` (d,) and ends with the height there; `newton_step` is ``place
    -> (step, slope along it, curvature)``. The climb ends where the next step would gain less than the share `tolerance` of
    the height.
    """
    place = evaluate(start)
    for _ in range(100):
        step, gain, curvature = newton_step(place)
        if not gain > tolerance * (1 + abs(place[-1])):
            break
        place = _safe_step(evaluate, place, step)
    return place, curvature


def _safe_step(evaluate, place, step):
    """Halve the step until it loses no height."""
    at, height = place[0], place[-1]
    for shrink in 0.5 ** np.arange(40):
        reached = evaluate(at + shrink * step)
        if reached[-1] >= height - 1e-13 * (1 + abs(height)):
            break
    return reached


def warm_start(last: tuple | None, outer: np.ndarray, size: int, reach: float) -> np.ndarray:
    """Where to start for an inner mode: at the last one, extrapolated for an outer step no longer than `reach`.

    `last` is the outer place, the inner mode and its slopes there (0.0 where they are not known); None at first. The
    mode has `size` numbers, `outer` (k,) is where to look now.
    """
    if last is None:
        return np.zeros(size)
    before, at, slopes = last
    step = outer - before
    return at + slopes @ step if np.ndim(slopes) and np.abs(step).max() < reach else at
