"""Draw parameters from a close, heavy-tailed stand-in for the posterior, and say how likely each draw was."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.special import gammaln, logsumexp

OUTER_DEGREES = 5  # degrees of freedom of the outer t distribution
ADAPTED_DEGREES = 8  # the same once its shape has been seen
ROOT = 3  # cube roots of spreads are nearly normal (Wilson & Hilferty 1931, of variances)

RIDGE = 16 * np.finfo(float).eps  # what elimination may lose to rounding where a drawn spread is all but zero


@dataclass(frozen=True)
class Cloud:
    """Draws `outer` (m, k + G), `inner` (m, d), the noise (m, d) behind them, their `log_density` (m,)."""

    outer: np.ndarray
    inner: np.ndarray
    noise: np.ndarray
    log_density: np.ndarray


def join(clouds):
    """Return several clouds as one."""
    names = ("outer", "inner", "noise", "log_density")
    return Cloud(*(np.concatenate([getattr(cloud, name) for cloud in clouds]) for name in names))


@dataclass(frozen=True)
class Conditional:
    """The inner parameters given the outer ones, as Gaussian: one Newton step from a predicted mode.

    Exactly right when every row is exact. The largest group is eliminated level by level; the remaining
    r inner parameters are the `rest`.

    Attributes
    ----------
    rows : SpreadRows or GradeRows
    mode : ndarray, shape (k + G,)
        Outer parameters at the top.
    predictor, moves : ndarray, shapes (n,) and (n, k + G)
        Linear predictor at the top, and its change with the outer parameters.
    rest, big : ndarray, shapes (n, r) and (n, L)
        Unit-spread design of the rest and of the eliminated group.
    owner : ndarray, shape (r,)
        Group whose spread scales each rest parameter; -1 for a coefficient.
    eliminated : int
        The eliminated group; -1 when there are no groups.
    precision, linear : ndarray, shapes (r, r) and (r,)
        Belief about the rest parameters.
    order : ndarray, shape (d,)
        Positions of (rest, big) among the inner parameters.
    """

    rows: object
    mode: np.ndarray
    predictor: np.ndarray
    moves: np.ndarray
    rest: np.ndarray
    big: np.ndarray
    owner: np.ndarray
    eliminated: int
    precision: np.ndarray
    linear: np.ndarray
    order: np.ndarray

    def place(self, outer, noise, groups):
        """Return inner draws (m, d) for standard `noise` (m, d), and the log volume (m,) noise gains."""
        count = outer.shape[1] - groups
        spreads = np.pad(outer[:, count:], ((0, 0), (0, 1)), constant_values=1.0)
        scale, tau = spreads[:, self.owner], spreads[:, [self.eliminated]]
        eta = self.predictor + (outer - self.mode) @ self.moves.T
        score, weight = self.rows.score_and_weight(eta, outer[:, :count])
        pull = weight * eta + score
        matrix, cross, level = self._products(weight, scale, tau)
        level += 1
        matrix += RIDGE * np.diagonal(matrix, axis1=1, axis2=2)[:, :, None] * np.eye(matrix.shape[1])
        right, own = scale * (pull @ self.rest) + self.linear, tau * (pull @ self.big)
        matrix -= cross.transpose(0, 2, 1) @ (cross / level[:, :, None])
        right -= ((own / level)[:, None, :] @ cross)[:, 0]
        root = np.linalg.cholesky(matrix)
        noise = noise[:, self.order]
        r = self.rest.shape[1]
        rest = _backward(root, _forward(root, right) + noise[:, :r])
        levels = (own - (cross @ rest[:, :, None])[:, :, 0]) / level + noise[:, r:] / np.sqrt(level)
        inner = np.empty_like(noise)
        inner[:, self.order] = np.hstack([rest, levels])
        log_volume = -np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1) - np.log(level).sum(axis=1) / 2
        return inner, log_volume

    def _products(self, weight, scale, tau):
        """Weighted products of the design for each draw: (m, r, r), (m, L, r) and (m, L)."""
        count, r = len(weight), self.rest.shape[1]
        lower = np.tril_indices(r)
        half = weight @ (self.rest[:, lower[0]] * self.rest[:, lower[1]])
        matrix = np.empty((count, r, r))
        matrix[:, lower[0], lower[1]] = matrix[:, lower[1], lower[0]] = half
        matrix = matrix * scale[:, :, None] * scale[:, None, :] + self.precision
        cross = np.empty((count, self.big.shape[1], r))
        for level, member in enumerate(self.big.T > 0):  # each row has one level: skip all the zeros
            cross[:, level] = weight[:, member] @ self.rest[member]
        cross *= (tau * scale)[:, None, :]
        return matrix, cross, tau**2 * (weight @ self.big)


def conditional_at(marginal, top):
    """Return the `Conditional` of a restricted `Marginal` at its top."""
    inner = marginal.solve(top.at)
    groups, p = marginal.problem.groups, marginal.inner_fixed
    big = int(np.argmax([g.levels for g in groups])) if groups else -1
    dummies = [(g.codes[:, None] == np.arange(g.levels)).astype(float) for g in groups]
    whole = np.hstack([marginal.problem.design, *dummies])
    owner = np.r_[np.full(p, -1), np.repeat(np.arange(len(groups)), [g.levels for g in groups])].astype(int)
    chosen = owner == big if groups else np.zeros(len(owner), dtype=bool)
    precision, linear = marginal.precision()
    return Conditional(
        marginal.problem.rows,
        top.at,
        inner.design @ inner.at,
        marginal.predictor_moves(inner),
        whole[:, ~chosen],
        whole[:, chosen],
        owner[~chosen],
        big,
        precision[np.ix_(~chosen, ~chosen)],
        linear[~chosen],
        np.r_[np.flatnonzero(~chosen), np.flatnonzero(chosen)],
    )


@dataclass(frozen=True)
class Proposal:
    """Outer parameters from a t distribution, spreads folded at zero; then the inner ones given them.

    Attributes
    ----------
    conditional : Conditional
    groups : int
        Number of spreads G among the outer parameters; they come last.
    centre, axes : ndarray
        Location (k + G,) and scale root (k + G, k + G) of the outer t distribution.
    shift, stretch : ndarray, shape (d,)
        Mean and scale of the standardised inner noise; 0 and 1 until adapted.
    degrees : float
        Degrees of freedom of the inner noise.
    outer_degrees, root : int
        Degrees of freedom of the outer t distribution, and which root of the spreads it is about.
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

    def draw(self, count, rng):
        """Return a `Cloud` of `count` draws."""
        outer = self.centre + _t_noise(count, len(self.centre), self.outer_degrees, rng) @ self.axes.T
        first = len(self.centre) - self.groups
        outer[:, first:] = np.abs(outer[:, first:]) ** self.root
        noise = _t_noise(count, len(self.shift), self.degrees, rng)
        log_noise = _t_density((noise**2).sum(axis=1), len(self.shift), self.degrees)
        noise = self.shift + self.stretch * noise
        inner, log_volume = self.conditional.place(outer, noise, self.groups)
        log_density = self._outer_density(outer) + log_noise - np.log(self.stretch).sum() - log_volume
        return Cloud(outer, inner, noise, log_density)

    def _outer_density(self, outer):
        """Log density of the folded t: the sum over every choice of signs of the spreads' roots."""
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
        """Outer parameters with the spreads as their roots."""
        places = outer.copy()
        places[:, outer.shape[1] - self.groups :] **= 1 / root
        return places

    def adapted(self, cloud, weights):
        """Return a proposal moved towards the weighted `cloud`, the less the fewer draws carry weight."""
        effective = 1 / (weights**2).sum()
        trust = effective / (effective + 30)
        places = self._roots(cloud.outer, ROOT)
        blend = trust * weights + (1 - trust) / len(weights)
        centre = blend @ places
        spread = ((places - centre).T * blend) @ (places - centre)
        shift = weights @ cloud.noise
        stretch = np.sqrt(weights @ (cloud.noise - shift) ** 2)
        return replace(
            self,
            centre=centre,
            axes=np.linalg.cholesky(spread),
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


def _forward(root, right):
    """Solve ``root @ x = right`` for many lower triangular roots (m, r, r) at once."""
    x = np.empty_like(right)
    for i in range(right.shape[1]):
        done = (root[:, i, :i] * x[:, :i]).sum(axis=1)
        x[:, i] = (right[:, i] - done) / root[:, i, i]
    return x


def _backward(root, right):
    """Solve ``root.T @ x = right`` for many lower triangular roots (m, r, r) at once."""
    x = np.empty_like(right)
    for i in reversed(range(right.shape[1])):
        done = (root[:, i + 1 :, i] * x[:, i + 1 :]).sum(axis=1)
        x[:, i] = (right[:, i] - done) / root[:, i, i]
    return x
