"""The kit's one likelihood: a normal latent value known to lie in an interval."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from statsmodels.base.model import (
    GenericLikelihoodModel,
    GenericLikelihoodModelResults,
    LikelihoodModelResults,
)

from testpour.likelihood.elimination import Group, Smooth
from testpour.likelihood.intake import check_beliefs, check_columns, check_rows, pair, shape_names
from testpour.likelihood.laplace import Marginal
from testpour.likelihood.observations import cuts_of
from testpour.likelihood.optimum import find_optimum, joint_curvature
from testpour.likelihood.scaling import plain_problem

if TYPE_CHECKING:
    from testpour.likelihood.climb import Top
    from testpour.likelihood.optimum import Optimum
    from testpour.likelihood.posterior import Posterior
    from testpour.likelihood.proposal import Proposal
    from testpour.likelihood.scaling import Scale


class IntervalModel(GenericLikelihoodModel):
    """Rows whose normal latent value is known to lie in ``[low, high]``.

    Latent ``y* = X b + sum of group effects + e`` with ``e ~ N(0, sigma**2)``; a gel time seen only as
    "not yet at two hours" has ``high = inf``. With `grades`, sigma is 1 and grade g is the latent interval
    between cut-points g and g + 1, which are fitted; then `exog` must hold no constant.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Ends on the latent scale; equal when exact, infinite when open. With `grades`, the
        lowest and highest grade the row may have, 0 .. `grades` - 1.
    exog : array_like or DataFrame, shape (n, p)
        Columns of the effects; a DataFrame names them.
    grades : int, optional
        Number of grades K.
    groups : dict, optional
        Name to (n,) labels or codes: one random intercept each.
    belief : tuple of array_like, optional
        Means and sds (p,) of Normal beliefs about the coefficients; an sd of inf is flat.
    spread_belief : float, optional
        Half-normal scale of the belief about sigma, latent units; None or inf is flat.
    group_beliefs : dict, optional
        Name to half-normal scale of the belief about that group's sd; missing or inf is flat.
    cut_belief : tuple of array_like, optional
        Means and sds (K-1,) of Normal beliefs about the cut-points, kept in order.
    smooth : tuple, optional
        Columns (n, q) of a smooth function whose coefficients are Normal(0, s**2), and the half-normal scale
        of the belief about s; it is kept as the last group, ``"smooth"``.

    Raises
    ------
    ValueError
        When ends are reversed or missing, grades out of range, lengths differ, or flat beliefs leave a
        column that these rows cannot tell from the others. Every problem found is listed.

    Notes
    -----
    `params` are the coefficients, then ``log(sigma)`` or ``[first cut, log gaps between cuts]``, then one
    sd per group.
    """

    def __init__(
        self,
        low: ArrayLike,
        high: ArrayLike,
        exog: ArrayLike | pd.DataFrame,
        *,
        grades: int | None = None,
        groups: dict | None = None,
        belief: tuple[np.ndarray, np.ndarray] | None = None,
        spread_belief: float | None = None,
        group_beliefs: dict | None = None,
        cut_belief: tuple[np.ndarray, np.ndarray] | None = None,
        smooth: tuple | None = None,
    ) -> None:
        self.found: tuple[Marginal, Scale, Top] | None = None  # what `optimum.summit` keeps
        self.drawn: tuple[Proposal, Scale] | None = None  # what `posterior.sample` ended with
        table = exog if isinstance(exog, pd.DataFrame) else pd.DataFrame(np.asarray(exog, dtype=float))
        self.coefficient_names = [f"x{c}" if table is not exog else str(c) for c in table.columns]
        groups, group_beliefs = dict(groups or {}), dict(group_beliefs or {})
        self.grades, count = grades, 0 if grades is None else grades - 1
        self.belief, self.cut_belief = pair(belief, table.shape[1]), pair(cut_belief, count)
        self.spread_belief = np.inf if spread_belief is None else float(spread_belief)
        self.low, self.high = np.array(low, dtype=float), np.array(high, dtype=float)
        self.exog = table.to_numpy(dtype=float)
        check_rows(self.low, self.high, self.exog, grades, groups)
        coefficients = len(self.coefficient_names), self.belief
        check_beliefs(coefficients, (count, self.cut_belief), self.spread_belief, groups, group_beliefs)
        self._take_groups(groups, group_beliefs)
        if smooth is not None:
            self._take_smooth(*smooth)
        self.informative = self._close_ends()
        extra = shape_names(grades) + [f"spread {group.name}" for group in self.groups]
        self.parameter_names = self.coefficient_names + extra
        if len(self.low):
            self._set_up(extra)
        check_columns(self)

    def _take_groups(self, groups, group_beliefs):
        """Number the levels of every group, in sorted order, and line up the beliefs about their sds."""
        self.group_beliefs = np.array([float(group_beliefs.get(name, np.inf)) for name in groups])
        self.group_levels = {name: np.unique(np.asarray(labels)) for name, labels in groups.items()}
        self.groups = tuple(
            Group(
                name,
                np.searchsorted(self.group_levels[name], np.asarray(labels)),
                len(self.group_levels[name]),
            )
            for name, labels in groups.items()
        )

    def _take_smooth(self, columns, scale):
        """Add a smooth function as the last group."""
        self.groups += (Smooth("smooth", np.asarray(columns, dtype=float)),)
        self.group_beliefs = np.append(self.group_beliefs, float(scale))
        self.group_levels["smooth"] = np.arange(self.groups[-1].levels)

    def _close_ends(self):
        """Bring open grade ends to the first and last grade; return which rows say anything."""
        if self.grades is None:
            return np.isfinite(self.low) | np.isfinite(self.high)
        self.low, self.high = np.maximum(self.low, 0), np.minimum(self.high, self.grades - 1)
        return (self.low > 0) | (self.high < self.grades - 1)

    def with_beliefs(self, **beliefs: tuple[np.ndarray, np.ndarray]) -> IntervalModel:
        """Return a copy with `belief` or `cut_belief` replaced by other (means, sds).

        Parameters
        ----------
        **beliefs
            ``belief`` or ``cut_belief``, each an array of means and one of standard deviations.

        Returns
        -------
        IntervalModel
        """
        other = copy.copy(self)
        other.__dict__.update(beliefs, found=None, drawn=None)
        return other

    def _set_up(self, extra):
        """Hand the rows to statsmodels, which needs at least one."""
        low = np.where(np.isinf(self.low), self.high, self.low)
        middle = (low + np.where(np.isinf(self.high), low, self.high)) / 2
        exog = pd.DataFrame(self.exog, columns=self.coefficient_names)
        super().__init__(np.where(np.isfinite(middle), middle, 0.0), exog, hasconst=False)
        self.k_constant = 0
        self._set_extra_params_names(extra)
        self.df_model = float(len(self.coefficient_names))
        self.df_resid = float(len(self.low) - self.nparams)

    def loglike(self, params: np.ndarray) -> float:
        """Return the log-likelihood at `params`, group effects integrated out, beliefs left out.

        Parameters
        ----------
        params : array
            Coefficients, shape parameters and group standard deviations, in the model's own units.

        Returns
        -------
        float
        """
        return Marginal(plain_problem(self), restricted=False)(np.asarray(params, dtype=float))[0]

    def score(self, params: np.ndarray) -> np.ndarray:
        """Return the gradient of `loglike`, analytic also where effects are integrated out.

        Parameters
        ----------
        params : array, shape (k,)
            As for `loglike`.

        Returns
        -------
        array, shape (k,)
        """
        return Marginal(plain_problem(self), restricted=False)(np.asarray(params, dtype=float))[1]

    def hessian(self, params: np.ndarray) -> np.ndarray:
        """Return second derivatives of `loglike`: analytic without groups, else differences of the score.

        Parameters
        ----------
        params : array, shape (k,)
            As for `loglike`.

        Returns
        -------
        array, shape (k, k)
        """
        marginal = Marginal(plain_problem(self), restricted=False)
        return -joint_curvature(marginal)(np.asarray(params, dtype=float))

    def fit(self, restricted: bool | None = None) -> IntervalResults:
        """Return the estimates as `IntervalResults`.

        Parameters
        ----------
        restricted : bool, optional
            True integrates the coefficients out before the sds (or cut-points) are estimated, as
            restricted maximum likelihood does; False maximises over everything but the group effects.
            By default True when there are groups or any belief, else False: plain maximum likelihood.

        Returns
        -------
        IntervalResults

        Notes
        -----
        With a belief about sigma or the cut-points, the most likely value is sought in log sigma or the
        log gaps, where it cannot sit at an sd or gap of zero.
        """
        if not len(self.low):
            raise ValueError(
                "There are no rows to fit. Log a reading, or call posterior(), which then "
                "returns the beliefs themselves."
            )
        if restricted is None:
            restricted = bool(self.groups) or self.has_belief
        return IntervalResults(self, find_optimum(self, restricted))

    @property
    def has_belief(self) -> bool:
        """True when any coefficient, sigma or cut-point has a belief that is not flat."""
        scales = (self.belief[1], self.cut_belief[1], self.group_beliefs, [self.spread_belief])
        return any(np.isfinite(s).any() for s in scales)

    @property
    def shape_believed(self) -> bool:
        """True when sigma, or every cut-point, has a belief that is not flat."""
        return bool(np.isfinite(self.cut_belief[1]).all() if self.grades else np.isfinite(self.spread_belief))

    def posterior(self, draws: int = 2000, seed: int = 0, near: IntervalModel | None = None) -> Posterior:
        """Return a `Posterior`: equally weighted draws of everything unknown, beliefs and rows together.

        Parameters
        ----------
        draws : int
            Number of draws.
        seed : int
            The same seed gives the same draws.
        near : IntervalModel, optional
            A model of nearly the same rows that was drawn from before; it saves seeking where to draw.

        Returns
        -------
        Posterior
        """
        from testpour.likelihood.posterior import sample

        return sample(self, draws, seed, near)


class IntervalResults(GenericLikelihoodModelResults):
    """Estimates of an `IntervalModel`, as statsmodels reports them, and what else is worth knowing.

    Attributes
    ----------
    spread : float
        Estimate of sigma (1 for grades), latent units.
    cuts : ndarray, shape (K-1,), or None
    group_spread : dict
        Name to standard deviation, latent units; exactly 0 where the log shows no such difference.
    group_effects : dict
        Name to (levels,) most likely effects.
    criterion : float
        The log density that was maximised: restricted if `restricted`, with beliefs.
    diverges : tuple of str
        Parameters without a finite estimate; their `params` are infinite or missing, not pretended.
    converged, restricted : bool
    """

    def __init__(self, model: IntervalModel, optimum: Optimum) -> None:
        core = LikelihoodModelResults(model, optimum.params, optimum.covariance, scale=1.0)
        core.mle_retvals = {"converged": optimum.converged}
        core.mle_settings = {"optimizer": "damped Newton"}
        super().__init__(model, core)
        p = len(model.coefficient_names)
        shape = optimum.params[p : len(optimum.params) - len(model.groups)]
        self.spread = 1.0 if model.grades else float(np.exp(shape[0]))
        with np.errstate(invalid="ignore"):  # a cut between two infinities is missing
            self.cuts = cuts_of(shape) if model.grades else None
        names = [g.name for g in model.groups]
        self.group_spread = dict(zip(names, optimum.params[len(optimum.params) - len(names) :], strict=True))
        self.group_effects = dict(zip(names, optimum.effects, strict=True))
        self.criterion, self.diverges = optimum.value, optimum.diverges
        self._log_likelihood = optimum.log_likelihood
        self.converged, self.restricted = optimum.converged, optimum.restricted

    @property
    def llf(self) -> float:
        """Log-likelihood at the estimates; where some are infinite, its limit."""
        return self._log_likelihood

    def report(self) -> str:
        """Return in words what is infinite, and which groups show no difference; empty when neither."""
        words = []
        if self.diverges:
            words.append(
                f"These rows put no limit on {', '.join(self.diverges)}: the estimate runs off to infinity. "
                "Give it a belief, or log a pour that breaks the pattern."
            )
        words += [
            f"The rows show no difference between levels of {name} beyond chance: its sd is zero."
            for name, spread in self.group_spread.items()
            if spread == 0
        ]
        return " ".join(words)
