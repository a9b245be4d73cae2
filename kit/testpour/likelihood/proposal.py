"""Draw parameters from a close, heavy-tailed stand-in for the posterior, and say how likely each draw was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.special import gammaln, logsumexp

from testpour.likelihood.conditional import Conditional

OUTER_DEGREES = 5  # degrees of freedom of the outer t distribution
ADAPTED_DEGREES = 8  # the same once its shape has been seen
ROOT = 3  # cube roots of sds are nearly normal (Wilson & Hilferty 1931, of variances)


@dataclass(frozen=True)
class Cloud:
    """Draws `outer` (m, k + G), `inner` (m, d), the noise (m, d) behind them, their `log_density` (m,)."""

    outer: np.ndarray
    inner: np.ndarray
    noise: np.ndarray
    log_density: np.ndarray


def join(clouds: Sequence[Cloud]) -> Cloud:
    """Return several clouds as one.

    Parameters
    ----------
    clouds : list of Cloud
        At least one.

    Returns
    -------
    Cloud
    """
    names = ("outer", "inner", "noise", "log_density")
    return Cloud(*(np.concatenate([getattr(cloud, name) for cloud in clouds]) for name in names))


@dataclass(frozen=True)
class Proposal:
    """Outer parameters from a t distribution, sds folded at zero; then the inner ones given them.

    Attributes
    ----------
    conditional : Conditional
    groups : int
        Number of sds G among the outer parameters; they come last.
    centre, axes : ndarray
        Location (k + G,) and scale root (k + G, k + G) of the outer t distribution.
    shift, stretch : ndarray, shape (d,)
        Mean and scale of the standardised inner noise; 0 and 1 until adapted.
    degrees : float
        Degrees of freedom of the inner noise.
    outer_degrees, root : int
        Degrees of freedom of the outer t distribution, and which root of the sds it is about.
    """

    conditional: Conditional
    groups: int
    centre: np.ndarray
    axes: np.ndarray
    shift: np.ndarray
    stretch: np.ndarray
    degrees: float
    outer_degrees: int = OUTER_DEGREES
    root: int = 1

    def draw(self, count: int, rng: np.random.Generator) -> Cloud:
        """Return a `Cloud` of `count` draws.

        Parameters
        ----------
        count : int
        rng : Generator

        Returns
        -------
        Cloud
        """
        outer = self.centre + _t_noise(count, len(self.centre), self.outer_degrees, rng) @ self.axes.T
        first = len(self.centre) - self.groups
        outer[:, first:] = np.abs(outer[:, first:]) ** self.root
        inner, noise, log_density = self.draw_inner(outer, rng)
        return Cloud(outer, inner, noise, self._outer_density(outer) + log_density)

    def draw_inner(self, outer: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return inner draws (m, d) given `outer`, the noise behind them, and their log density (m,).

        Parameters
        ----------
        outer : array, shape (m, k)
            Draws of shape parameters and group standard deviations.
        rng : Generator

        Returns
        -------
        tuple of array
        """
        noise = _t_noise(len(outer), len(self.shift), self.degrees, rng)
        log_noise = _t_density((noise**2).sum(axis=1), len(self.shift), self.degrees)
        noise = self.shift + self.stretch * noise
        inner, log_volume = self.conditional.place(outer, noise, self.groups)
        return inner, noise, log_noise - np.log(self.stretch).sum() - log_volume

    def _outer_density(self, outer):
        """Log density of the folded t: the sum over every choice of signs of the sds' roots."""
        size, logs = len(self.centre), []
        places = self._roots(outer, self.root)
        for signs in product((1.0, -1.0), repeat=self.groups):
            away = places * np.r_[np.ones(size - self.groups), signs] - self.centre
            squared = (np.linalg.solve(self.axes, away.T) ** 2).sum(axis=0)
            logs.append(_t_density(squared, size, self.outer_degrees))
        density = logsumexp(logs, axis=0) - np.log(np.abs(np.diag(self.axes))).sum()
        steep = (1 / self.root - 1) * np.log(outer[:, size - self.groups :]) - np.log(self.root)
        return density + steep.sum(axis=1)

    def _roots(self, outer, root):
        """Outer parameters with the sds as their roots."""
        places = outer.copy()
        places[:, outer.shape[1] - self.groups :] **= 1 / root
        return places

    def adapted(self, cloud: Cloud, weights: np.ndarray) -> Proposal:
        """Return a proposal moved towards the weighted `cloud`, the less the fewer draws carry weight.

        Parameters
        ----------
        cloud : Cloud
            m draws.
        weights : array, shape (m,)
            They add up to 1.

        Returns
        -------
        Proposal
        """
        effective = 1 / (weights**2).sum()
        trust = effective / (effective + 30)
        places = self._roots(cloud.outer, ROOT)
        blend = trust * weights + (1 - trust) / len(weights)
        centre = blend @ places
        covariance = ((places - centre).T * blend) @ (places - centre)
        shift = weights @ cloud.noise
        stretch = np.sqrt(weights @ (cloud.noise - shift) ** 2)
        alone = self.conditional.many_levels  # each would be moved by mere chance, and all of them far
        shift[alone], stretch[alone] = 0.0, 1.0
        return replace(
            self,
            centre=centre,
            axes=np.linalg.cholesky(covariance),
            shift=trust * shift,
            stretch=np.exp(trust * np.log(np.clip(stretch, 0.5, 2.0))),
            outer_degrees=ADAPTED_DEGREES,
            root=ROOT,
        )


def _t_noise(count, size, degrees, rng):
    noise = rng.standard_normal((count, size))
    if np.isfinite(degrees):
        noise *= np.sqrt(degrees / rng.chisquare(degrees, (count, 1)))
    return noise


def _t_density(squared, size, degrees):
    """Log density of a standard multivariate t (or normal) at squared distance `squared`."""
    if not np.isfinite(degrees):
        return -squared / 2 - size * np.log(2 * np.pi) / 2
    half = (degrees + size) / 2
    constant = gammaln(half) - gammaln(degrees / 2) - size * np.log(degrees * np.pi) / 2
    return constant - half * np.log1p(squared / degrees)
