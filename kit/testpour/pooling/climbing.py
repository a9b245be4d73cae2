"""Maximise the pooled posterior density; a large pool starts from some of its benches."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from testpour.likelihood.climb import Optimum, climb, difference_curvature
from testpour.likelihood.density import Scale
from testpour.likelihood.elimination import Group
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import Marginal, split_outer
from testpour.likelihood.scaling import scaled_problem
from testpour.pooling.blocks import make_blocks

GREAT = 4000  # rows above which the search begins with part of the benches
PART = 1500  # rows that it begins with, about
REACH = 1.5  # largest step of the outer parameters over which the inner mode is extrapolated linearly


@dataclass(frozen=True)
class Slope:
    """A coefficient that differs by bench: `column` of the design, `scale` of the half-normal belief."""

    column: int
    scale: float


@dataclass(frozen=True)
class NormalScoreDensity:
    """A marginal as a density of ``[shape, scores]``: each sd as the normal score of its prior.

    Under its prior alone a score is standard normal, so the posterior stays close to normal even if the rows say little
    about an sd. An sd without a prior enters as its logarithm.
    """

    marginal: Marginal

    @property
    def believed(self) -> np.ndarray:
        """Which sds have a prior."""
        return np.isfinite(self.marginal.problem.group_scales)

    @property
    def scales(self) -> np.ndarray:
        """Half-normal scale of each sd's prior; 1 if it has none."""
        return np.where(self.believed, self.marginal.problem.group_scales, 1.0)

    def _parts(self, at):
        shape, scores = split_outer(at, len(self.scales))
        return shape, np.clip(scores, -12, 12)

    def plain(self, at: np.ndarray) -> np.ndarray:
        """The outer parameters, with sds in place of scores, from shape parameters and one score per component."""
        shape, scores = self._parts(at)
        return np.concatenate([shape, np.where(self.believed, -self.scales * ndtri(ndtr(-scores) / 2), np.exp(scores))])

    def scores(self, outer: np.ndarray) -> np.ndarray:
        """The inverse of `plain`."""
        shape, sds = split_outer(outer, len(self.scales))
        return np.concatenate([shape, np.where(self.believed, -ndtri(2 * ndtr(-sds / self.scales)), np.log(sds))])

    def log_stretch(self, at: np.ndarray) -> np.ndarray:
        """Log derivative of each sd by its score."""
        (_, scores), (_, sds) = self._parts(at), split_outer(self.plain(at), len(self.scales))
        even = np.log(self.scales) - np.log(2) - scores**2 / 2 + (sds / self.scales) ** 2 / 2
        return np.where(self.believed, even, scores)

    def __call__(self, at):
        outer = self.plain(at)
        value, slope = self.marginal(outer)
        (shape, scores), (_, sds), stretch = self._parts(at), split_outer(outer, len(self.scales)), self.log_stretch(at)
        grows = np.exp(stretch)
        turn = np.where(self.believed, -scores + sds / self.scales**2 * grows, 1.0)
        return value + stretch.sum(), np.concatenate([slope[: len(shape)], slope[len(shape) :] * grows + turn])


def _bench_marginal(model: IntervalModel, bench: np.ndarray, slopes: Sequence[Slope] = ()) -> tuple[Marginal, Scale, np.ndarray]:
    """The `Marginal` of a model, its `Scale` and a start for its outer parameters."""
    problem, scale, start = scaled_problem(model)
    kept, design = bench[model.informative], model.exog[model.informative]
    ones, levels = np.ones(len(kept)), int(bench.max()) + 1
    components = [(group.codes, ones) for group in problem.groups if isinstance(group, Group)]
    components += [(kept, design[:, slope.column]) for slope in slopes]
    problem = replace(
        problem,
        groups=problem.groups + tuple(Group(f"slope {s.column}", kept, levels) for s in slopes),
        group_scales=np.r_[problem.group_scales, [slope.scale / scale.unit for slope in slopes]],
        constant=problem.constant - len(slopes) * np.log(scale.unit),
    )
    outer = np.r_[start[problem.design.shape[1] :], np.full(len(slopes), 0.5)]
    sds = slice(len(outer) - len(problem.groups), None)
    outer[sds] = np.minimum(outer[sds], problem.group_scales)
    return Marginal(problem, make_blocks(problem.design, kept, components), REACH), scale, outer


def pooled_optimum(model: IntervalModel, bench: np.ndarray, slopes: Sequence[Slope]) -> tuple[NormalScoreDensity, Scale, Optimum]:
    """The density of a pool's sds as scores, its scale, and its maximum.

    `bench` numbers each row's bench; `slopes` are the coefficients that differ by bench.
    """
    marginal, scale, outer = _bench_marginal(model, bench, slopes)
    density, part = NormalScoreDensity(marginal), _some_benches(bench)
    if len(model.low) <= GREAT or part.all():
        return density, scale, climb(density, density.scores(outer), difference_curvature(density), quasi_newton=True)
    first = pooled_optimum(_subset(model, part), np.unique(bench[part], return_inverse=True)[1], slopes)
    curvature = first[2].curvature * len(np.unique(bench)) / len(np.unique(bench[part]))
    return density, scale, climb(density, _start_from(first, scale), lambda *_: curvature, quasi_newton=True, steps=8)


def _start_from(near, scale):
    """A maximum as a start on another scale; the score of an sd with a prior has no unit."""
    density, before, top = near
    shape, _ = split_outer(top.at, len(density.scales))
    has_unit = np.r_[np.full(len(shape), not scale.graded), ~density.believed]
    return top.at + has_unit * np.log(before.unit / scale.unit)


def _some_benches(bench):
    """A mask of the rows of evenly chosen benches, about `PART` rows in all."""
    levels = np.unique(bench)
    step = max(1, int(len(bench) / PART))
    chosen = levels[::step] if len(levels) / step >= 8 else levels[:: max(1, len(levels) // 8)]
    return np.isin(bench, chosen)


def _subset(model, rows):
    """The same model on some of its rows."""
    groups = {group.name: model.group_levels[group.name][group.codes[rows]] for group in model.groups}
    return IntervalModel(
        model.low[rows], model.high[rows], model.exog[rows], grades=model.grades, groups=groups,
        belief=model.belief, cut_belief=model.cut_belief if model.grades else None,
        sd_belief=None if model.grades else model.sd_belief,
        group_beliefs=dict(zip(groups, model.group_beliefs, strict=True)),
    )
