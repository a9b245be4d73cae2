"""The most likely spreads of a pool, which other programs give too: they prove its density, and the kit shows none of them."""

from dataclasses import replace

import numpy as np
from likeliest import Flat

from testpour.likelihood.laplace import split_outer
from testpour.likelihood.optimum import find_optimum
from testpour.pooling.climbing import _bench_marginal


def most_likely_spreads(model, bench):
    """Group name to standard deviation, coefficients integrated out: restricted maximum likelihood under flat beliefs."""
    marginal, scale, start = _bench_marginal(model, bench)
    if not model.grades:
        marginal.problem = replace(marginal.problem, shape_belief=Flat())
    shape, spreads = split_outer(find_optimum(marginal, start).at, len(model.groups))
    found = dict(zip([group.name for group in model.groups], scale.unit * np.abs(spreads), strict=True))
    return found if scale.graded else found | {"reading": float(np.exp(scale.shape(shape)[0]))}


def spreads_of(one):
    """The same of one reading of a pool, whose coefficients do not differ by bench."""
    model = one.average.model
    return most_likely_spreads(model, next(group.codes for group in model.groups if group.name == "bench"))
