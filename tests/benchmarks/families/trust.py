"""How far chances can be trusted: what was said beside what turned out."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import beta

from testpour.common.wording import count, in_hundred


@dataclass(frozen=True, eq=False)
class Trust:
    """Chances said, beside how often they were right.

    Parameters
    ----------
    table : DataFrame
        One row a range of chances that was used: ``said`` (their average), ``right`` (share that was), ``low``,
        ``high`` (90 % interval of that share), ``times``.
    error : float
        Expected calibration error: the gap between said and right, averaged over all chances.
    """

    table: pd.DataFrame
    error: float

    def sentence(self):
        """How far the chances can be trusted."""
        times = self.table["times"]
        said, right = ((self.table[name] * times).sum() / times.sum() for name in ("said", "right"))
        return (
            f"{count(int(times.sum()), 'answer')}: {in_hundred(said)} in 100 said to be right, {in_hundred(right)} in 100 were; "
            f"chances are off by {100 * self.error:.1f} in 100 on average."
        )

    __repr__ = sentence


def trust(said, right, bins=10):
    """How far chances can be trusted, once it is known how things turned out.

    Parameters
    ----------
    said : array_like
        Chances, 0 to 1.
    right : array_like of bool
        Whether what was said turned out so.
    bins : int
        Equal ranges of chances.

    Returns
    -------
    Trust

    Notes
    -----
    Expected calibration error over equal ranges (Naeini, Cooper and Hauskrecht 2015, from memory); the interval
    of a share is Jeffreys'.
    """
    said, right = np.asarray(said, float), np.asarray(right, bool)
    place = np.minimum((said * bins).astype(int), bins - 1)
    rows = pd.DataFrame({"said": said, "right": right, "times": 1}).groupby(place)
    table = rows.agg({"said": "mean", "right": "mean", "times": "sum"}).rename_axis("range")
    hits = table["right"] * table["times"]
    low, high = (beta.ppf(q, hits + 0.5, table["times"] - hits + 0.5) for q in (0.05, 0.95))
    error = float((table["times"] * (table["said"] - table["right"]).abs()).sum() / len(said))
    return Trust(table.assign(low=low, high=high)[["said", "right", "low", "high", "times"]], error)
