"""Find where the pooled likelihood and beliefs are highest; a great pool begins on some of its benches."""

from dataclasses import dataclass, replace

import numpy as np

from testpour.models.climb import climb, difference_curvature
from testpour.models.interval import IntervalModel
from testpour.models.laplace import Group
from testpour.models.optimum import reach_top
from testpour.models.scaling import scaled_problem
from testpour.pooling.blocks import make_blocks
from testpour.pooling.marginal import BenchMarginal

GREAT = 4000  # rows above which a climb begins on part of the benches
PART = 1500  # rows it begins on, about


@dataclass(frozen=True)
class Slope:
    """A coefficient that differs by bench: `column` of the design, `scale` of the half-normal belief."""

    column: int
    scale: float


@dataclass(frozen=True)
class LogSpreads:
    """A marginal as a density of ``[shape, log spreads]``, smooth and with one top also near zero spread."""

    marginal: BenchMarginal

    def plain(self, at):
        """The outer parameters with their spreads as they are."""
        k = len(at) - self.marginal.blocks.components
        return np.concatenate([at[:k], np.exp(np.clip(at[k:], -15, 15))])

    def __call__(self, at):
        outer = self.plain(at)
        value, slope = self.marginal(outer)
        k = len(at) - self.marginal.blocks.components
        return value + at[k:].sum(), np.concatenate([slope[:k], slope[k:] * outer[k:] + 1])


def bench_marginal(model, bench, slopes=(), sampling=True):
    """The `BenchMarginal` of a model, its `Scale` and a start for its outer parameters.

    Parameters
    ----------
    model : IntervalModel
        Its groups have no level at two benches; rows come bench by bench.
    bench : ndarray of int, shape (n,)
        Bench of each row, rising.
    slopes : sequence of Slope
    sampling : bool
        As for `scaled_problem`.
    """
    problem, scale, start = scaled_problem(model, sampling=sampling)
    kept, design = bench[model.informative], model.exog[model.informative]
    ones, levels = np.ones(len(kept)), int(bench.max()) + 1
    components = [(group.codes, ones) for group in problem.groups]
    components += [(kept, design[:, slope.column]) for slope in slopes]
    problem = replace(
        problem,
        groups=problem.groups + tuple(Group(f"slope {s.column}", kept, levels) for s in slopes),
        group_scales=np.r_[problem.group_scales, [slope.scale / scale.unit for slope in slopes]],
        constant=problem.constant - len(slopes) * np.log(scale.unit),
    )
    outer = np.r_[start[problem.design.shape[1] :], [min(0.5, slope.scale / scale.unit) for slope in slopes]]
    return BenchMarginal(problem, make_blocks(problem.design, kept, components)), scale, outer


def pooled_top(marginal, start):
    """Climb in signed spreads, where zero is an ordinary place: restricted maximum likelihood under flat beliefs."""
    return reach_top(marginal, start)


def pooled_log_top(model, bench, slopes):
    """The highest place of the density of log spreads.

    Returns
    -------
    density : LogSpreads
    scale : Scale
    top : Top
    """
    marginal, scale, outer = bench_marginal(model, bench, slopes)
    k = len(outer) - marginal.blocks.components
    density, start = LogSpreads(marginal), np.r_[outer[:k], np.log(outer[k:])]
    if len(model.low) <= GREAT:
        return density, scale, climb(density, start, difference_curvature(density), thrifty=True)
    part = _some_benches(bench)
    first, unit, below = pooled_log_top(_picked(model, part), _renumbered(bench[part]), slopes)
    moved = below.at.copy()
    shift = np.log(unit.unit / scale.unit)
    moved[:k] += 0.0 if scale.graded else shift
    moved[k:] += shift
    share = len(marginal.blocks.benches) / len(first.marginal.blocks.benches)
    curvature = below.curvature * share
    return density, scale, climb(density, moved, lambda *_: curvature, thrifty=True, steps=8)


def _some_benches(bench):
    """Rows of enough benches, evenly taken, to hold about `PART` rows."""
    levels = np.unique(bench)
    step = max(1, int(len(bench) / PART))
    chosen = levels[::step] if len(levels) / step >= 8 else levels[:: max(1, len(levels) // 8)]
    return np.isin(bench, chosen)


def _renumbered(bench):
    return np.unique(bench, return_inverse=True)[1]


def _picked(model, rows):
    """The same model on some of its rows."""
    groups = {group.name: model.group_levels[group.name][group.codes[rows]] for group in model.groups}
    return IntervalModel(
        model.low[rows], model.high[rows], model.exog[rows], grades=model.grades, groups=groups,
        belief=model.belief, cut_belief=model.cut_belief if model.grades else None,
        spread_belief=None if model.grades else model.spread_belief,
        group_beliefs=dict(zip(groups, model.group_beliefs, strict=True)),
    )  # fmt: skip
