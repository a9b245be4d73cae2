"""A close, heavy-tailed proposal for the posterior: its draws and the density of each."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.special import gammaln

from testpour.likelihood.conditional import Conditional
from testpour.likelihood.weights import effective_size

OUTER_DEGREES = 5  # degrees of freedom of the outer t distribution
ADAPTED_DEGREES = 8  # the same once it has been adapted
ROOT = 3  # cube roots of sds are nearly normal (Wilson & Hilferty 1931, of variances)


@dataclass(frozen=True)
class ProposalDraws:
    """Draws `outer` (m, k + G), e `inner` ones for each (m, e, d), the noise behind them, their `log_density` (m, e)."""

    outer: np.ndarray
    inner: np.ndarray
    noise: np.ndarray
    log_density: np.ndarray


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

    def draw(self, count: int, each: int, rng: np.random.Generator) -> ProposalDraws:
        """Return a `ProposalDraws` of `count` outer draws, with `each` inner ones; 0 for their mode alone, density 1 there."""
        outer = self.centre + _t_noise((count, len(self.centre)), self.outer_degrees, rng) @ self.axes.T
        first = len(self.centre) - self.groups
        outer[:, first:] = np.abs(outer[:, first:]) ** self.root
        inner, noise, log_density = self.draw_inner(outer, each, rng)
        return ProposalDraws(outer, inner, noise, self._outer_density(outer)[:, None] + log_density)

    def draw_inner(self, outer: np.ndarray, each: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return inner draws (m, each, d) given `outer`, the noise behind them, and their log density (m, each).

        `outer` (m, k): draws of shape parameters and group standard deviations. `each`: inner draws for each outer one;
        with 0 their mode, whose density is the height of Laplace's normal.
        """
        size = len(self.shift)
        noise, log_noise = np.zeros((len(outer), 1, size)), 0.0
        if each:
            noise = _t_noise((len(outer), each, size), self.degrees, rng)
            log_noise = t_density((noise**2).sum(axis=2), size, self.degrees) - np.log(self.stretch).sum()
            noise = self.shift + self.stretch * noise
        inner, log_volume = self.conditional.draw_given(outer, noise, self.groups)
        return inner, noise, log_noise - log_volume[:, None]

    def _outer_density(self, outer):
        """Log density of the folded t: the sum over every choice of signs of the sds' roots."""
        size = len(self.centre)
        signs = np.array([(1.0,) * (size - self.groups) + each for each in product((1.0, -1.0), repeat=self.groups)])
        away = self._roots(outer, self.root) * signs[:, None] - self.centre
        squared = (np.linalg.solve(self.axes, away.reshape(-1, size).T) ** 2).sum(axis=0).reshape(len(signs), -1)
        logs = t_density(squared, size, self.outer_degrees)
        density = np.logaddexp.reduce(logs, axis=0) - np.log(np.diag(self.axes)).sum()
        steep = (1 / self.root - 1) * np.log(outer[:, size - self.groups :]) - np.log(self.root)
        return density + steep.sum(axis=1)

    def _roots(self, outer, root):
        """Outer parameters with the sds as their roots."""
        places = outer.copy()
        places[:, outer.shape[1] - self.groups :] **= 1 / root
        return places

    def recentred(self, outer: np.ndarray, weights: np.ndarray) -> Proposal:
        """Return a proposal moved towards weighted `outer` draws, less so if few carry the weight.

        `outer` (m, k + G), `weights` (m,): they add up to 1.
        """
        trust = _trust(weights)
        places = self._roots(outer, ROOT)
        blend = trust * weights + (1 - trust) / len(weights)
        centre = blend @ places
        covariance = ((places - centre).T * blend) @ (places - centre)
        axes = np.linalg.cholesky(covariance)
        return replace(self, centre=centre, axes=axes, outer_degrees=ADAPTED_DEGREES, root=ROOT)

    def for_model(self, conditional: Conditional, ratio: float, graded: bool) -> Proposal:
        """Return the proposal for another model of nearly the same rows, with unadapted inner draws.

        `conditional` is of that model and `ratio` this one's unit over its; cut-points of `graded` rows have no unit.
        """
        size = len(conditional.order)
        centre = in_other_unit(self.centre, self.groups, ratio, graded, self.root)
        axes = self.axes.copy()
        axes[len(centre) - self.groups :] *= ratio ** (1 / self.root)
        return replace(self, conditional=conditional, centre=centre, axes=axes, shift=np.zeros(size), stretch=np.ones(size))

    def reshaped(self, noise: np.ndarray, weights: np.ndarray) -> Proposal:
        """Return a proposal whose inner draws follow the weighted `noise` of earlier ones.

        `noise` (m, d): standardised. `weights` (m,): they add up to 1.
        """
        trust = _trust(weights)
        shift = weights @ noise
        stretch = np.sqrt(weights @ (noise - shift) ** 2)
        unadapted = self.conditional.many_levels  # with so many levels each adaptation would follow noise, and together much of it
        shift[unadapted], stretch[unadapted] = 0.0, 1.0
        return replace(self, shift=trust * shift, stretch=np.exp(trust * np.log(np.clip(stretch, 0.5, 2.0))))


def in_other_unit(outer: np.ndarray, groups: int, ratio: float, graded: bool, root: int = 1) -> np.ndarray:
    """Outer parameters of one working scale on another.

    `outer` (k + G,) holds shape parameters, then the given `root` of each of the G sds. `ratio` is the first unit over
    the other; `graded` shape parameters are cut-points, which have no unit.
    """
    first = len(outer) - groups
    shape = outer[:first] if graded else outer[:first] + np.log(ratio)
    return np.concatenate([shape, outer[first:] * ratio ** (1 / root)])


def _trust(weights):
    """How strongly to adapt to weighted draws: little if few carry the weight."""
    return effective_size(weights) / (effective_size(weights) + 30)


def _t_noise(shape, degrees, rng):
    noise = rng.standard_normal(shape)
    if np.isfinite(degrees):
        noise *= np.sqrt(degrees / rng.chisquare(degrees, (*shape[:-1], 1)))
    return noise


def t_density(squared: np.ndarray, size: int, degrees: float) -> np.ndarray:
    """Log density of a standard multivariate t (or normal) at squared distance `squared`."""
    if not np.isfinite(degrees):
        return -squared / 2 - size * np.log(2 * np.pi) / 2
    half = (degrees + size) / 2
    constant = gammaln(half) - gammaln(degrees / 2) - size * np.log(degrees * np.pi) / 2
    return constant - half * np.log1p(squared / degrees)
