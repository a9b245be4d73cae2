"""One casting with every cause weighed: which is likeliest, the evidence, what its settings did, what to ask next."""

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from testpour.causes.case import Case
from testpour.causes.complaint import Missed
from testpour.causes.delivered import Delivered
from testpour.causes.evidence import Piece, evidence
from testpour.causes.questions import Asked, questions, would_change
from testpour.causes.reasoner import Weighed
from testpour.causes.signs import planned
from testpour.causes.table import NOTHING, SETTINGS
from testpour.common.wording import NoResult

PLAINLY = 0.9  # share of the worst miss that a setting must explain to be named beside another cause of it; common practice, no source


@dataclass(frozen=True, eq=False)
class WeighedCase:
    """One casting with what it misses, and every cause of that weighed.

    Parameters
    ----------
    pour : str
        Empty where the log holds no casting yet; the chances are then the trade's, before any look.
    missed : tuple of Missed
        The aims it misses, the most informative first.
    weighed : Weighed
        Every cause with its chance and where that comes from.
    scale : Delivered or NoResult
        What the scale really delivered.
    observed : dict
        Answers given so far, question to answer.
    skipped : tuple of str
    case : Case
    """

    pour: str
    missed: tuple[Missed, ...]
    weighed: Weighed
    scale: Delivered | NoResult
    observed: dict[str, str]
    skipped: tuple[str, ...]
    case: Case

    @cached_property
    def evidence(self) -> dict[str, tuple[Piece, ...]]:
        """For each cause its pieces of evidence, the strongest first: dict of cause to tuple of `Piece`."""
        case = self.case
        return evidence(case.table, self.weighed, case.seen, case.signs, case.planned, case.telling(self.observed), self._worst)

    @property
    def _worst(self):
        return self.missed[0] if self.missed else None

    @property
    def chances(self) -> pd.Series:
        """Chance of each cause, likeliest first: Series by cause name."""
        return self.weighed.chances

    @property
    def first(self) -> str:
        """Name of the likeliest cause."""
        return self.chances.index[0]

    @property
    def together(self) -> tuple[str, str] | None:
        """Names of two causes that fit better together than any cause alone, the likelier first; None where no two do."""
        pairs, alone = self.weighed.pairs, self.weighed.table["alone"]
        return tuple(sorted(pairs.index[0], key=self.chances.index.get_loc)) if len(pairs) and pairs.iloc[0] > alone.max() else None

    @cached_property
    def openly(self) -> tuple[str, ...]:
        """Names of the causes that the settings themselves most likely brought about."""
        causes, openly, parts = self.case.table.causes, self.weighed.table["openly"], self.case.planned
        settled = parts.expected and parts.of(NOTHING) > 0
        return tuple(name for name in causes if causes[name].openly and (settled if name == NOTHING else openly[name] > 0.5))

    @cached_property
    def foremost(self) -> str:
        """The setting that adds most to the chance of its miss, compared with the usual settings or else with its good neighbours."""
        case, none = self.case, self.case.fits.castings.pours.iloc[:0]
        return planned(case.table, case.fits, self.pour, self._worst, none).foremost or case.planned.foremost

    @cached_property
    def by_settings(self) -> tuple[tuple[str, str], ...]:
        """Of the aims it misses, those that its settings mostly explain by another cause than the likeliest: the reading in words, and that cause."""
        case, found = self.case, []
        for miss in () if case.throughout or case.table.causes[self.first].of_the_log else self.missed:
            shares = planned(case.table, case.fits, self.pour, miss, case.beside).shares or {}
            name = max(shares, key=lambda cause: shares[cause], default="")
            if name not in (SETTINGS, self.first) and shares.get(name, 0.0) > (PLAINLY if miss is self._worst else 0.5):
                found.append((case.fits.study.reading(miss.aim.reading).words, name))
        return tuple(found)

    @property
    def healthy(self) -> bool:
        """Whether ordinary scatter is the likeliest cause."""
        return self.first == NOTHING

    def ask(self) -> Asked | None:
        """The most informative question still open; None when no answer would change what to do."""
        still = self.questions
        return still[0] if still and would_change(self.case.table, self.chances, still, self.case.telling(self.observed)) else None

    @property
    def questions(self) -> tuple[Asked, ...]:
        """Questions still open, the most informative first."""
        return questions(self.case.table, self.chances, self.case.telling(self.observed), {*self.observed, *self.skipped, *self.case.settled}, self.case.signs)
