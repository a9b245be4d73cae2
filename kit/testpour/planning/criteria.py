"""What makes a set of coded pours good: its information, D and I values, for any list of terms.

Settings are coded -1..1. A term is a tuple with one exponent per factor: ``(1, 0)`` is the first factor,
``(1, 1)`` the interaction, ``(0, 2)`` the curvature of the second. Pours of one session share a random
error whose variance is `eta` times the variance between pours: V = I + eta ZZ'.
"""

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import TypeAlias

import numpy as np
from scipy.stats import qmc

POINTS = 4096  # of a region
Exponents: TypeAlias = tuple[int, ...]  # of each factor in one term


def main_terms(k: int) -> list[Exponents]:
    """The constant and one straight-line term per factor, as exponent tuples."""
    return [(0,) * k] + [tuple(row) for row in np.eye(k, dtype=int).tolist()]


def _interaction_terms(k: int) -> list[Exponents]:
    """Main terms plus every two-factor interaction."""
    eye = np.eye(k, dtype=int)
    return main_terms(k) + [tuple((eye[i] + eye[j]).tolist()) for i, j in combinations(range(k), 2)]


def quadratic_terms(k: int) -> list[Exponents]:
    """Interaction terms plus the square of every factor: the full quadratic."""
    return _interaction_terms(k) + [tuple(row) for row in (2 * np.eye(k, dtype=int)).tolist()]


def term_name(term: Sequence[int], names: Sequence[str]) -> str:
    """A term in factor names: ``"1"``, ``"A"``, ``"A:B"`` or ``"A^2"``."""
    parts = [n if e == 1 else f"{n}^{e}" for n, e in zip(names, term, strict=True) if e]
    return ":".join(parts) or "1"


def model_rows(settings: np.ndarray, terms: Sequence[Exponents] | np.ndarray) -> np.ndarray:
    """Model matrix, shape ``(..., p)``, of coded `settings` with shape ``(..., k)``."""
    return np.prod(np.asarray(settings, float)[..., None, :] ** np.asarray(terms, int), axis=-1)


def information(rows: np.ndarray, sessions: np.ndarray | None = None, eta: float = 0.0, prior: np.ndarray | None = None) -> np.ndarray:
    """X'V^-1 X (plus the prior precision) of model rows with shape ``(..., n, p)``.

    `eta` is the variance between sessions over the variance between pours; `prior` (p, p) is the prior precision times
    the variance between pours.
    """
    matrix = np.swapaxes(rows, -1, -2) @ rows
    if sessions is not None and eta > 0:
        members = np.eye(np.max(sessions) + 1)[np.asarray(sessions)]
        shrink = eta / (1 + eta * members.sum(0))
        sums = members.T @ rows
        matrix = matrix - np.swapaxes(sums, -1, -2) @ (shrink[:, None] * sums)
    return matrix if prior is None else matrix + prior


def log_determinant(matrix: np.ndarray) -> np.ndarray:
    """log determinant of information; minus infinity when it cannot separate the terms."""
    sign, size = np.linalg.slogdet(matrix)
    p = np.shape(matrix)[-1]
    scale = p * np.log(np.maximum(np.trace(matrix, axis1=-2, axis2=-1) / p, 1e-300))
    return np.where((sign > 0) & (size > scale - 28 - 8 * p), size, -np.inf)


def average_variance(matrix: np.ndarray, moments: np.ndarray) -> float:
    """Average of x'M^-1 x over the region whose moment matrix is `moments`; infinite if M is singular.

    In units of the variance of one pour.
    """
    if not np.isfinite(log_determinant(matrix)):
        return np.inf
    return float(np.trace(np.linalg.solve(matrix, moments)))


def cube_moments(terms: Sequence[Exponents], levels: Sequence[tuple[float, ...] | None] | None = None) -> np.ndarray:
    """Exact average of f(x)f(x)' over the cube -1..1, shape (p, p).

    A factor with `levels` (a sequence of allowed values instead of None) is averaged over those values
    equally; every other factor over the whole interval.
    """
    exponents = np.asarray(terms, int)
    total = exponents[:, None, :] + exponents[None, :, :]
    out = np.ones(total.shape[:2])
    for f in range(exponents.shape[1]):
        power = total[:, :, f]
        values = None if levels is None else levels[f]
        if values is None:
            out *= np.where(power % 2 == 0, 1 / (power + 1), 0)
        else:
            out *= np.mean(np.asarray(values, float)[:, None, None] ** power, axis=0)
    return out


def region_points(
    k: int, levels: Sequence[tuple[float, ...] | None] | None = None,
    allowed: Callable[[np.ndarray], np.ndarray] | None = None
) -> np.ndarray:
    """Evenly spread points of the allowed region (Sobol sequence, unscrambled), shape (m, k).

    `allowed` takes points (m, k) and returns a boolean per point. Factors with levels take them equally.
    """
    points = qmc.Sobol(k, scramble=False).random(POINTS)
    coded = 2 * points - 1
    for f, values in enumerate(levels or []):
        if values is not None:
            steps = np.asarray(values, float)
            coded[:, f] = steps[np.minimum((points[:, f] * len(steps)).astype(int), len(steps) - 1)]
    return coded if allowed is None else coded[allowed(coded)]
