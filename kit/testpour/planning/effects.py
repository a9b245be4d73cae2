"""Effects of a finished two-level set, and which of them stand clear of the noise."""

from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import pandas as pd
from scipy.stats import t as student

from testpour.planning.factorial import LETTERS, word_name
from testpour.wording import said_in_markdown


def two_level_effects(rows, readings, names=None, order=None):
    """Effects of a finished two-level set: mean at +1 less mean at -1, for every column told apart.

    Parameters
    ----------
    rows : array (n, k)
        Coded settings -1, 1, orthogonal.
    readings : array (n,)
    names : sequence of str, optional
    order : int, optional
        Largest interaction looked at; all by default.

    Returns
    -------
    Series
        Indexed by effect, in standard order of size; of effects that share a column only the shortest is listed.
    """
    rows, readings = np.asarray(rows, float), np.asarray(readings, float)
    n, k = rows.shape
    names = tuple(names or LETTERS[:k])
    columns, found = [np.ones(n)], {}
    for size in range(1, (order or k) + 1):
        for choice in combinations(range(k), size):
            column = rows[:, choice].prod(axis=1)
            if all(abs(column @ other) < 1e-9 * n for other in columns):
                columns.append(column)
                found[word_name(choice, names)] = 2 * (column @ readings) / n
    return pd.Series(found, name="effect")


@dataclass(frozen=True)
class Lenth:
    """Margins for effects of an unreplicated set.

    Attributes
    ----------
    pse : float
        Pseudo standard error, in the unit of the reading.
    me, sme : float
        Margin of error for one effect named beforehand, and for the largest of all, at `level`.
    effects : Series
    """

    pse: float
    me: float
    sme: float
    level: float
    effects: pd.Series = field(repr=False)

    @property
    def active(self):
        """Effects beyond the margin for the largest of all."""
        return tuple(self.effects.index[self.effects.abs() > self.sme])

    def sentence(self):
        """Which effects stand clear of the noise."""
        clear = ", ".join(self.active)
        margin = f"beyond {self.sme:.3g}, {len(self.effects)} effects looked at"
        if not clear:
            return f"No effect stands clear of the noise ({margin})."
        return f"Clear of the noise: {clear} ({margin})."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def lenth(effects, level=0.95):
    """Lenth's margins, which judge effects without a repeat by the small ones among them.

    References
    ----------
    Lenth (1989), Technometrics 31, 469-473.
    """
    effects = pd.Series(effects, dtype=float)
    sizes, m = effects.abs(), len(effects)
    first = 1.5 * sizes.median()
    pse = float(1.5 * sizes[sizes < 2.5 * first].median()) if first > 0 else 0.0
    one = student.ppf((1 + level) / 2, m / 3)
    every = student.ppf((1 + level ** (1 / m)) / 2, m / 3)
    return Lenth(pse, float(one * pse), float(every * pse), level, effects)
