"""The joint density of rows and beliefs on a scale on which every parameter is near one, and the transformation back."""

from dataclasses import dataclass

import numpy as np

from testpour.likelihood.elimination import Group, Smooth
from testpour.likelihood.observations import GradeRows, NormalRows, cut_jacobian, cuts_of

LOG_2PI = np.log(2 * np.pi)


@dataclass(frozen=True)
class Scale:
    """How scaled parameters map back: coefficients are ``unit * turn @ scaled``, sds ``unit * scaled``.

    Grades have no unit of their own: theirs is 1.
    """

    unit: float
    turn: np.ndarray
    graded: bool

    def shape(self, scaled: np.ndarray) -> np.ndarray:
        """Return shape parameters in the model's own units, from those on the working scale, `scaled` (..., k)."""
        return scaled if self.graded else scaled + np.log(self.unit)

    @property
    def log_volume(self) -> float:
        """Log Jacobian of the model's own coefficients by the scaled ones."""
        return np.log(np.abs(np.diag(self.turn))).sum() + len(self.turn) * np.log(self.unit)


@dataclass(frozen=True)
class SigmaPrior:
    """Half-normal belief about sigma, as a density in scaled ``log(sigma)``."""

    scale: float
    unit: float

    def __call__(self, shape: np.ndarray) -> tuple[float, np.ndarray]:
        """Return log density and gradient at ``[log(sigma)]``."""
        return self.many(shape[None])[0], np.array([1 - self._squared(shape[0])])

    def _squared(self, log_sigma):
        return np.exp(2 * (log_sigma + np.log(self.unit))) / self.scale**2

    def many(self, shapes: np.ndarray) -> np.ndarray:
        """Return log densities (m,) of `shapes` (m, 1): log(sigma) on the working scale."""
        constant = np.log(2 / self.scale) - LOG_2PI / 2 if np.isfinite(self.scale) else 0.0
        return constant - self._squared(shapes[:, 0]) / 2 + shapes[:, 0] + np.log(self.unit)


@dataclass(frozen=True)
class CutPrior:
    """Normal belief about ordered cut-points, as a density in ``[first cut, log gaps]``."""

    mean: np.ndarray
    sd: np.ndarray

    def __call__(self, shape: np.ndarray) -> tuple[float, np.ndarray]:
        """Return log density and gradient at ``[first cut, log gaps]``."""
        slope = cut_jacobian(shape).T @ ((self.mean - cuts_of(shape)) / self.sd**2)
        return self.many(shape[None])[0], slope + np.r_[0.0, np.ones(len(shape) - 1)]

    def many(self, shapes: np.ndarray) -> np.ndarray:
        """Return log densities (m,) of `shapes` (m, K-1): first cut and log gaps."""
        proper = self.sd[np.isfinite(self.sd)]
        constant = -(np.log(proper) + LOG_2PI / 2).sum()
        return constant - (((cuts_of(shapes) - self.mean) / self.sd) ** 2).sum(axis=1) / 2 + shapes[:, 1:].sum(axis=1)


@dataclass(frozen=True)
class JointDensity:
    """A likelihood with its beliefs, on a scale where all numbers are near one.

    The beliefs about the coefficients c are ``-|root @ c - target|**2 / 2``; flat ones have no row in `root`.

    Attributes
    ----------
    rows : NormalRows or GradeRows
    design : ndarray, shape (n, p)
    root, target : ndarray, shapes (r, p) and (r,)
    groups : tuple of Group or Smooth
    shape_belief : SigmaPrior or CutPrior
        ``shape -> (log density, gradient)``; `many` gives the log density of draws.
    group_scales : ndarray, shape (G,)
        Half-normal scale of each group's sd; inf is flat.
    constant : float
        What the change of scale adds to the log density.
    """

    rows: NormalRows | GradeRows
    design: np.ndarray
    root: np.ndarray
    target: np.ndarray
    groups: tuple[Group | Smooth, ...]
    shape_belief: SigmaPrior | CutPrior
    group_scales: np.ndarray
    constant: float = 0.0
