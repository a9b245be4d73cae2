"""From one setting to another: the change of the average casting, in the reading's own terms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy.special import ndtr

from testpour.models.scales import to_reading

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading
    from testpour.likelihood.posterior import Posterior
    from testpour.study import Study


class Foretelling(Protocol):
    """A fit, or what stands for one, that says a reading's mean at given settings."""

    @property
    def study(self) -> Study:
        """The study it is of."""

    @property
    def reading(self) -> Reading:
        """The reading it foretells."""

    @property
    def posterior(self) -> Posterior:
        """What the mean is drawn from."""

    def mean(self, table: pd.DataFrame) -> np.ndarray:
        """Latent mean at each row of a settings table: shape (draws, rows).

        Parameters
        ----------
        table : DataFrame
            n rows, complete, in the factors' units.

        Returns
        -------
        array
        """


@dataclass(frozen=True)
class Change:
    """The change of a reading between two settings, for each of m draws.

    Parameters
    ----------
    values : array, shape (m,)
        A ratio for a reading that spreads by ratios; for grades a difference of chances where an aim says
        which grades are good, else of average grades; a difference in the reading's unit otherwise.
    ratio : bool
        Whether `values` are ratios.
    each : array, shape (m, 2)
        The two averages in the reading's unit; for grades the chances or average grades.
    bound : float or None
        The worst grade still counted as good, where `values` are chances.
    """

    values: np.ndarray
    ratio: bool
    each: np.ndarray
    bound: float | None = None


def change(fit: Foretelling, table: pd.DataFrame) -> Change:
    """The change from the first row of a settings table to the second: a `Change`.

    Parameters
    ----------
    fit : Foretelling
    table : DataFrame
        Two rows, complete, in the factors' units.

    Returns
    -------
    Change
    """
    latent = fit.mean(table)
    each, bound = averages(fit, table, latent)
    if fit.posterior.cuts is None and fit.reading.scale == "log":
        return Change(np.exp(latent[:, 1] - latent[:, 0]), True, each)
    return Change(each[:, 1] - each[:, 0], False, each, bound)


def averages(fit: Foretelling, table: pd.DataFrame, latent: np.ndarray) -> tuple[np.ndarray, float | None]:
    """The average casting at each row of a settings table, in the reading's own terms.

    Parameters
    ----------
    fit : Foretelling
    table : DataFrame
        n rows, complete, in the factors' units.
    latent : array, shape (m, n)
        Its mean there.

    Returns
    -------
    array, shape (m, n)
        In the reading's unit; for grades the chances of a good one, or average grades.
    float or None
        The worst grade still counted as good, where they are chances.
    """
    reading, cuts = fit.reading, fit.posterior.cuts
    if cuts is None:
        return to_reading(reading, latent, table.get("room_temperature")), None
    bound = min((a.at_most for a in fit.study.aims if a.reading == reading.name and a.at_most is not None), default=None)
    if bound is None:
        return ndtr(latent[:, :, None] - cuts[:, None, :]).sum(axis=2), None
    last = min(int(bound), cuts.shape[1])
    return ndtr(np.hstack([cuts, np.full((len(cuts), 1), np.inf)])[:, [last]] - latent), bound
