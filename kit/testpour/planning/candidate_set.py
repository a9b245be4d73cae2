"""Candidate settings for a few coordinates of a pour, and the products that score them all at once."""

from dataclasses import dataclass

import numpy as np

from testpour.planning.criteria import model_rows

RIDGE = 1e-8       # keeps singular random starts invertible; never part of a reported value


def inverse_of(matrix: np.ndarray) -> np.ndarray:
    """Inverse of information (..., p, p), with a trace of ridge so that a singular random start has one too."""
    p = matrix.shape[-1]
    ridge = RIDGE * np.trace(matrix, axis1=-2, axis2=-1) / p
    return np.linalg.inv(matrix + ridge[..., None, None] * np.eye(p))


@dataclass
class CandidateGroup:
    """Axes that move together and the values they may take.

    `values` has shape (C, g), or (B, C, g) when every start has its own candidates.
    """

    axes: list[int]
    values: np.ndarray
    terms: np.ndarray
    whole: bool = False

    def __post_init__(self):
        k = self.terms.shape[1]
        self.others = [f for f in range(k) if f not in self.axes]
        self.rows = model_rows(self.values, self.terms[:, self.axes])

    def rest(self, settings: np.ndarray) -> np.ndarray:
        """What the other axes contribute to each term, shape (..., p)."""
        return model_rows(settings[..., self.others], self.terms[:, self.others])

    def linear(self, vector: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """y'v for every start and candidate, shape (B, C), of vectors (B, p) and what `rest` gave."""
        return (self.rows @ (vector * rest)[:, :, None])[:, :, 0]

    def quadratic(self, matrix: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """y'Qy for every start and candidate, shape (B, C), of matrices (B, p, p) and what `rest` gave."""
        matrix = matrix * rest[:, :, None] * rest[:, None, :]
        return ((self.rows @ matrix) * self.rows).sum(-1)

    def pick(self, starts: np.ndarray, best: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Values and model-row factors of candidate `best` for the given starts, shapes (b, axes) and (b, p)."""
        place = best if self.rows.ndim == 2 else (starts, best)
        return self.values[place], self.rows[place]
