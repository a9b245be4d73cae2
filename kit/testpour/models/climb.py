"""A damped Newton climb to the top of a smooth function."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Top:
    """Where a climb ended: `at`, its `value`, `gradient`, `curvature` (minus second derivatives)."""

    at: np.ndarray
    value: float
    gradient: np.ndarray
    curvature: np.ndarray
    converged: bool


def difference_curvature(function, step=1e-4):
    """Return a function giving minus the second derivatives, by central differences of the gradient."""

    def curvature(at):
        columns = []
        for j in range(len(at)):
            ahead, behind = at.copy(), at.copy()
            ahead[j] += step
            behind[j] -= step
            columns.append((function(behind)[1] - function(ahead)[1]) / (2 * step))
        matrix = np.array(columns).reshape(len(at), len(at))
        return (matrix + matrix.T) / 2

    return curvature


def climb(function, start, curvature, steps=200, reach=2.0):
    """Return the `Top` reached from `start`.

    Levenberg's damping: the curvature is made positive, steps are at most `reach` long, and a step that
    loses height is shortened by more damping, so the climb cannot jump to a worse point.

    Parameters
    ----------
    function : callable
        ``at -> (value, gradient)``.
    start : ndarray, shape (d,)
        Parameters scaled so that one is a large step.
    curvature : callable
        ``at -> (d, d)`` minus second derivatives.
    """
    at = np.asarray(start, dtype=float)
    value, gradient = function(at)
    damping = 0.0
    for _ in range(steps):
        matrix = curvature(at)
        roots, axes = np.linalg.eigh(matrix)
        if _predicted(roots, axes, gradient) < 1e-16 * (1 + abs(value)):
            return Top(at, value, gradient, matrix, True)
        moved = False
        for _ in range(30):
            step = _step(roots, axes, gradient, damping, reach)
            new_value, new_gradient = function(at + step)
            if np.isfinite(new_value) and new_value >= value - 1e-13 * (1 + abs(value)):
                moved = True
                break
            damping = max(4 * damping, 1e-3 * np.abs(roots).max())
        if not moved:
            break
        gained = new_value - value
        at, value, gradient, damping = at + step, new_value, new_gradient, damping / 16
        if gained <= 1e-14 * (1 + abs(value)) and np.abs(step).max() < 1e-9:
            return Top(at, value, gradient, curvature(at), True)
    small = _predicted(*np.linalg.eigh(curvature(at)), gradient) < 1e-10 * (1 + abs(value))
    return Top(at, value, gradient, curvature(at), bool(small))


def _predicted(roots, axes, gradient):
    """Height a Newton step would gain; infinite when the curvature is not positive."""
    if len(roots) and roots.min() <= 0:
        return np.inf if np.abs(gradient).max() > 1e-9 else 0.0
    return (((axes.T @ gradient) ** 2) / roots).sum() / 2


def _step(roots, axes, gradient, damping, reach):
    floor = 1e-8 * max(np.abs(roots).max(), 1e-300)
    step = axes @ ((axes.T @ gradient) / (np.maximum(np.abs(roots), floor) + damping))
    length = np.abs(step).max()
    return step if length <= reach else step * (reach / length)
