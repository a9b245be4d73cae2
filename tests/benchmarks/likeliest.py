"""The most likely parameters of an interval model, which other programs give too: they prove its density, and the kit shows none of them."""

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
from scipy.optimize import minimize

from testpour.likelihood.climb import climb, difference_curvature
from testpour.likelihood.density import JointDensity
from testpour.likelihood.laplace import Marginal, split_outer
from testpour.likelihood.observations import GradeRows, NormalRows, cuts_of
from testpour.likelihood.optimum import find_optimum
from testpour.likelihood.scaling import scaled_problem


class Flat:
    """No belief about sigma or the cut-points."""

    def __call__(self, shape):
        return 0.0, np.zeros(len(shape))


@dataclass(frozen=True)
class Shifted:
    """Rows whose linear predictor has a known part."""

    rows: NormalRows | GradeRows
    by: np.ndarray

    def derivatives(self, eta, shape):
        return self.rows.derivatives(eta + self.by, shape)


def log_likelihood(model, params):
    """At coefficients, shape and sds in the model's own units, group effects integrated out, beliefs left out."""
    params, keep = np.asarray(params, dtype=float), model.informative
    p, low, high = model.exog.shape[1], model.low[keep], model.high[keep]
    rows = GradeRows(low.astype(int), high.astype(int), model.grades) if model.grades else NormalRows(low, high)
    groups = tuple(group.subset(keep) for group in model.groups)
    shifted, none = Shifted(rows, model.exog[keep] @ params[:p]), np.zeros((len(low), 0))
    problem = JointDensity(shifted, none, np.zeros((0, 0)), np.zeros(0), groups, Flat(), np.full(len(groups), np.inf))
    return Marginal(problem)(params[p:])[0]


def likeliest(model):
    """Maximum likelihood of a model without groups: `params`, their errors `bse`, `spread`, `cuts` and the height `llf`."""
    problem, scale, start = scaled_problem(model)
    design, p = problem.design, model.exog.shape[1]

    def height(at):
        rows = problem.rows.derivatives(design @ at[:p], at[p:])
        return rows.value.sum() + problem.constant, np.r_[design.T @ rows.eta1, rows.shape1.sum(axis=0)]

    top = climb(height, start, difference_curvature(height))
    shape, turn = scale.shape(top.at[p:]), np.eye(len(start))
    turn[:p, :p] = scale.unit * scale.turn
    return SimpleNamespace(
        params=np.r_[turn[:p, :p] @ top.at[:p], shape], bse=np.sqrt(np.diag(turn @ np.linalg.inv(top.curvature) @ turn.T)),
        spread=None if model.grades else np.exp(shape[0]), cuts=cuts_of(shape) if model.grades else None, llf=top.value,
    )


def restricted(model):
    """Restricted maximum likelihood: the coefficients integrated out before sigma and the sds are sought."""
    problem, scale, start = scaled_problem(model)
    p = model.exog.shape[1]
    marginal = Marginal(replace(problem, shape_belief=Flat()))
    top = find_optimum(marginal, start[p:])
    inner, (shape, sds) = marginal.solve(top.at), split_outer(top.at, len(marginal.problem.groups))
    turn, names = scale.unit * scale.turn, [group.name for group in model.groups]
    covariance = turn @ inner.factor.solve(np.eye(marginal.size, p))[:p] @ turn.T
    ends = zip(sds, marginal.layout.offsets[:-1], marginal.layout.offsets[1:], strict=True)
    return SimpleNamespace(
        params=turn @ inner.at[:p], covariance=covariance, bse=np.sqrt(np.diag(covariance)),
        spread=np.exp(scale.shape(shape)[0]), criterion=top.value + scale.log_volume,
        group_sds=dict(zip(names, scale.unit * sds, strict=True)),
        group_effects=dict(zip(names, (scale.unit * sd * inner.at[a:b] for sd, a, b in ends), strict=True)),
    )


def likeliest_with_groups(model, start):
    """Maximum likelihood over coefficients, shape and sds from `start`: the place and its height."""
    found = minimize(lambda params: -log_likelihood(model, params), start)
    return found.x, -found.fun
