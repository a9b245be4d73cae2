"""Does a model agree with its log: each pour against what all other pours say of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.stats import chi2

from testpour.models.fits import check_one_reading
from testpour.models.left_out import left_out
from testpour.models.scales import latent_ends
from testpour.models.suspects import Suspect, suspects
from testpour.wording import count, listed, said_in_markdown

if TYPE_CHECKING:
    from testpour.columns import Reading
    from testpour.models.reading_fit import ReadingFit

LEVEL = 0.9
FEWEST = 3  # repeats, below which they say nothing of scatter
LACK = 0.05  # chance below which repeats agree too closely for the model's scatter to be scatter alone
LUCK = 0.1  # pours that may stand out in a log where nothing went wrong, on average


@dataclass(frozen=True, eq=False)
class Checked:
    """Predicted against seen for one reading.

    Parameters
    ----------
    reading : Reading
    table : DataFrame
        One row a reading: pour, age, low and high as seen, ``from`` and ``to`` of the 90 % interval that the
        other pours put round it, ``above`` and ``below`` (chance of reading at least as high, at least as
        low), ``inside`` (share of it in the interval, for a reading known only between two values) and
        ``odd``.
    suspects : tuple of Suspect
        The pours that stand out, with what is odd about each.
    repeats : int
        Pours that repeat another of their session, setting by setting: what is known of scatter without any model.
    closer : float
        Chance that repeats agree as closely as these did where the model's scatter is right; NaN with fewer
        than `FEWEST` repeats.
    """

    reading: Reading
    table: pd.DataFrame
    suspects: tuple[Suspect, ...] = ()
    repeats: int = 0
    closer: float = float("nan")

    @property
    def odd(self) -> list[str]:
        """Names of the pours that stand out."""
        return [suspect.pour for suspect in self.suspects]

    @property
    def inside(self) -> float:
        """How many readings lie in their 90 % interval, those half in it counted by half."""
        return float(self.table["inside"].sum())

    @property
    def strained(self) -> bool:
        """Whether fewer lie inside than luck allows one log in forty."""
        pours = max(self.table["pour"].nunique(), 1)  # readings of one pour stand or fall together
        allowed = 2 * np.sqrt(LEVEL * (1 - LEVEL) / pours)
        return bool(len(self.table) and self.inside / len(self.table) < LEVEL - allowed)

    def sentence(self) -> str:
        """The check in a few sentences."""
        words, readings = self.reading.words, len(self.table)
        if not readings:
            return f"No {words} in the log yet, so nothing can be checked."
        if self.table["pour"].nunique() == 1:
            return f"Only one pour has {words} in the log, so there is no other to foretell it from."
        text = (
            f"{self.inside:.0f} of {count(readings, 'reading')} of {words} lie where the other pours put "
            f"nine castings in ten"
        )
        if self.strained:
            text += ": fewer than it should be, so trust its intervals less"
        alone = f" {self._pure_error()}" if self.repeats >= FEWEST else ""
        if not self.suspects:
            return f"{text}. No pour stands out.{alone}"
        return f"{text}. Outside: {listed(self.odd)}. {' '.join(s.sentence() for s in self.suspects)}{alone}"

    def _pure_error(self):
        """What castings poured alike say of the model: whether its scatter hides a shape it does not follow."""
        if self.closer < LACK:
            return (
                f"Castings poured alike agree more closely than the model follows the settings ({count(self.repeats, 'repeat')}): "
                "it does not fit everywhere, so trust it near what was poured and no further."
            )
        return f"Castings poured alike differ as much as its scatter says ({count(self.repeats, 'repeat')})."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def check_fit(fit: ReadingFit) -> Checked:
    """Each reading of the log against what the model expects of it when it has not seen that pour.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Checked

    Notes
    -----
    A pour is odd when a reading as far out as its own would come in fewer than `LUCK` of n pours, n being
    the pours of the log: a log where nothing went wrong names a pour one time in ten. Repeats are held
    against the drawn scatter by the chi-square of their sum of squares (the pure error of a test of lack of
    fit; Box, Hunter and Hunter, Statistics for Experimenters; citation from memory), a step of the reading
    counted as scatter.
    """
    check_one_reading(fit, "check_fit")
    if not len(fit.rows):
        empty = pd.DataFrame(columns=["pour", "age", "low", "high", "from", "to", "above", "below", "inside", "odd"])
        return Checked(fit.reading, empty)
    seen = left_out(fit, LEVEL)
    found = suspects(fit, seen, LUCK)
    return Checked(fit.reading, seen.assign(odd=seen["pour"].isin([s.pour for s in found])), tuple(found), *_repeated(fit))


def _repeated(fit):
    """How many pours repeat another, and the chance that they agree so closely by luck."""
    low, high = latent_ends(fit.reading, fit.rows)
    known = np.isfinite(low) & np.isfinite(high)
    if fit.reading.grades or not known.any():
        return 0, float("nan")
    used = [name for term in fit.believed.terms for name in term.factors if name in fit.rows]
    names = list(dict.fromkeys([*used, *(["age"] if fit.reading.ages else []), "session", "pour"]))
    rows = fit.rows.loc[known, names].assign(at=((low + high) / 2)[known], step=((high - low) ** 2 / 12)[known])
    pours = rows.groupby(names, dropna=False).agg(at=("at", "mean"), step=("step", "mean"), reads=("at", "size")).reset_index()
    alike = pours.groupby(names[:-1], dropna=False)
    squares = float(((pours["at"] - alike["at"].transform("mean")) ** 2).sum())
    repeats = int(len(pours) - alike.ngroups)
    if repeats < FEWEST:
        return repeats, float("nan")
    posterior, again = fit.posterior, pours[alike["at"].transform("size") > 1]
    one = posterior.spread**2 / again["reads"].mean() + posterior.group_spread.get("pour", np.zeros(1)) ** 2 + again["step"].mean()
    return repeats, float(chi2.cdf(squares / one, repeats).mean())

