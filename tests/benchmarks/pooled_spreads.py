"""The most likely spreads of a pool, which other programs give too: they prove its density, and the kit shows none of them."""

from dataclasses import replace

import numpy as np
from likeliest import Flat

from testpour.likelihood.laplace import Marginal, split_outer
from testpour.likelihood.optimum import find_optimum
from testpour.likelihood.scaling import scaled_problem
from testpour.pooling.climbing import _bench_marginal


def most_likely_spreads(model, bench):
    """Group name to standard deviation, coefficients integrated out: restricted maximum likelihood under flat beliefs."""
    return _spreads(model, *_bench_marginal(model, bench))


def spreads_of(one):
    """The same of one reading of a small pool, which is drawn from as one bench is."""
    problem, scale, start = scaled_problem(one.average.model)
    shape, spreads = split_outer(start[problem.design.shape[1] :], len(problem.groups))
    return _spreads(one.average.model, Marginal(problem), scale, np.r_[shape, np.minimum(spreads, problem.group_scales)])


def _spreads(model, marginal, scale, start):
    if not model.grades:
        marginal.problem = replace(marginal.problem, shape_belief=Flat())
    shape, spreads = split_outer(find_optimum(marginal, start).at, len(model.groups))
    found = dict(zip([group.name for group in model.groups], scale.unit * np.abs(spreads), strict=True))
    return found if scale.graded else found | {"reading": float(np.exp(scale.shape(shape)[0]))}
