"""Does a model agree with its log: each pour against what all other pours say of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from testpour.models.left_out import left_out
from testpour.models.suspects import Suspect, suspects
from testpour.wording import count, listed, said_in_markdown

if TYPE_CHECKING:
    from testpour.catalogue import Reading
    from testpour.models.fits import ReadingFit

LEVEL = 0.9
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
    """

    reading: Reading
    table: pd.DataFrame
    suspects: tuple[Suspect, ...] = ()

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
        text = (
            f"{self.inside:.0f} of {count(readings, 'reading')} of {words} lie where the other pours put "
            f"nine castings in ten"
        )
        if self.strained:
            text += ": fewer than it should be, so trust its intervals less"
        if not self.suspects:
            return f"{text}. No pour stands out."
        return f"{text}. Outside: {listed(self.odd)}. {' '.join(s.sentence() for s in self.suspects)}"

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
    the pours of the log: a log where nothing went wrong names a pour one time in ten.
    """
    if not len(fit.rows):
        empty = pd.DataFrame(columns=["pour", "age", "low", "high", "from", "to", "above", "below", "inside", "odd"])
        return Checked(fit.reading, empty)
    seen = left_out(fit, LEVEL)
    found = suspects(fit, seen, LUCK)
    return Checked(fit.reading, seen.assign(odd=seen["pour"].isin([s.pour for s in found])), tuple(found))


__all__ = ["Checked", "Suspect", "check_fit"]
