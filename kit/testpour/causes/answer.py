"""Why one casting came out as it did."""

from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from testpour.causes.case import Case
from testpour.causes.complaint import Missed
from testpour.causes.delivered import Delivered
from testpour.causes.evidence import Piece, evidence
from testpour.causes.naming import named, remedy
from testpour.causes.questions import Asked, questions, would_change
from testpour.causes.reasoner import Weighed
from testpour.causes.saving import Saving, saving
from testpour.causes.signs import planned
from testpour.causes.split import Split, split
from testpour.causes.table import NOTHING, SETTINGS
from testpour.causes.telling import what_would_tell
from testpour.causes.verdict import ENOUGH, short_page, verdict
from testpour.causes.whole_log import noted_for
from testpour.logbook.book import Logbook
from testpour.wording import NoResult, in_days, in_html, in_hundred, table_html

SHOWN = 5  # causes shown
PLAINLY = 0.9  # share of the worst miss that a setting must explain to be named beside another cause of it; common practice, no source
UNREAD = "Nothing was read on {pour} yet, so there is nothing to explain. Read what its aims speak of, at their ages, then ask again."
EMPTY = "There is no casting in the log yet. Log the pour and what was read on it first, then ask again."


@dataclass(frozen=True, eq=False)
class Answer:
    """Why a casting came out as it did.

    Parameters
    ----------
    pour : str
        Empty where the log holds no casting yet; the chances are then the trade's, before any look.
    missed : tuple of Missed
        The aims it misses, the most telling first.
    weighed : Weighed
        Every cause with its chance and what made it.
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
        """For each cause its pieces of evidence, the weightiest first: dict of cause to tuple of `Piece`."""
        case = self.case
        return evidence(case.table, self.weighed, case.seen, case.signs, case.planned, case.telling(self.observed), self._worst)

    @cached_property
    def split(self) -> Split | NoResult:
        """What the settings explain of the reading complained of: a `Split`, or a `NoResult` where no aim is missed."""
        if self.missed:
            return split(self.case.fits, self._worst.aim.reading, self.pour, beside=self.case.beside)
        return self._unasked("there is no difference to explain")

    @cached_property
    def saving(self) -> Saving | NoResult:
        """The single change that would most likely have saved it: a `Saving`, or a `NoResult` where no aim is missed."""
        if not self.missed:
            return self._unasked("nothing needs saving")
        cause = self.case.table.causes[self.first]
        if cause.not_settings:
            return NoResult("As far as can be told its settings are not to blame, so no other setting is named as saving it.")
        return saving(self.case.fits, self.pour, self._worst, cause.no_help, cause.in_layers)

    @property
    def nothing_yet(self) -> str:
        """Why there is nothing to answer yet; empty where there is."""
        return EMPTY if not self.pour else "" if self.case.seen or self.observed else UNREAD.format(pour=self.pour)

    def _unasked(self, so):
        return NoResult(self.nothing_yet or f"{self.pour} misses no aim by what was read so far, so {so}.")

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
        """Names of the causes that the settings themselves brought about, as far as can be told."""
        causes, openly, parts = self.case.table.causes, self.weighed.table["openly"], self.case.planned
        settled = parts.expected and parts.of(NOTHING) > 0
        return tuple(name for name in causes if causes[name].openly and (settled if name == NOTHING else openly[name] > 0.5))

    @cached_property
    def foremost(self) -> str:
        """The setting that makes its miss the likelier most, beside the usual settings: its good neighbours may lie as far off; else beside those."""
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
        """Whether ordinary scatter is the likeliest of all."""
        return self.first == NOTHING

    @property
    def table(self) -> pd.DataFrame:
        """One row a cause: chance, for, against, remedy, care, source, confidence."""
        rows = {}
        for name, chance in self.chances.items():
            cause = self.case.table.causes[name]
            rows[named(self, name)] = {
                "chance": chance, "for": "; ".join(p.sentence() for p in self.evidence[name] if p.ratio > 1),
                "against": "; ".join(p.sentence() for p in self.evidence[name] if p.ratio < 1),
                "remedy": remedy(self, name),
                "care": cause.care, "source": cause.source, "confidence": cause.confidence,
            }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("cause")

    def ask(self) -> Asked | None:
        """The next question, the most informing one still open; None when no answer would change what to do."""
        still = self.questions
        return still[0] if still and would_change(self.case.table, self.chances, still, self.case.telling(self.observed)) else None

    @property
    def questions(self) -> tuple[Asked, ...]:
        """Questions still open, the most informing first."""
        return questions(self.case.table, self.chances, self.case.telling(self.observed), {*self.observed, *self.skipped, *self.case.settled}, self.case.signs)

    def observe(self, **observed: str) -> "Answer":
        """The answer with more observations: ``answer.observe(where="open face only")``.

        Parameters
        ----------
        **observed
            Question name to one of its answers, in the words of `questions`; an answer given before is
            replaced.

        Returns
        -------
        Answer

        Raises
        ------
        NoSuchName, Problem
            If there is no such question, or no such answer to it; each lists what there is.
        """
        said, weighed = self.case.under({**self.observed, **observed})
        return replace(self, weighed=weighed, observed=said)

    def skip(self, *names: str) -> "Answer":
        """The answer with questions set aside; without names, the one that `ask` gives.

        Parameters
        ----------
        *names
            Names of questions.

        Returns
        -------
        Answer
            The same chances; only what `ask` and `questions` offer differs.

        Raises
        ------
        NoSuchName
            If there is no such question; it lists what there is.
        """
        asked = None if names else self.ask()
        if asked:
            names = (asked.question.name,)
        for name in names:
            self.case.table.question(name)  # says which there are where it is none of them
        return replace(self, skipped=(*self.skipped, *names))

    def note(self) -> str:
        """The observations as a line for the log's note of this pour; `why` reads it there again."""
        if not self.observed:
            return ""
        return "observed: " + "; ".join(f"{name} = {said}" for name, said in self.observed.items()) + "."

    def keep(self, log: Logbook, by: str = "") -> str | NoResult:
        """Keep the observations in the log's note of this pour, where `why` finds them again.

        Parameters
        ----------
        log : Logbook
        by : str, optional
            Who saw it.

        Returns
        -------
        str or NoResult
            What was added to the note; a `NoResult` where nothing was observed, or the note holds it already.
        """
        if not self.pour:
            return NoResult(EMPTY)
        held = noted_for(log.castings(), self.pour)
        told = replace(self, observed={q: said for q, said in self.observed.items() if held.get(q) != said}).note()
        if told:
            log.correct_pour(self.pour, why=told, by=by)
        return told or NoResult(f"Nothing new was observed on {self.pour}, so its note stays as it is.")

    def sentence(self) -> str:
        """The answer in a few sentences: the likeliest causes, why, what would tell, what to do."""
        return self.nothing_yet or verdict(self)

    __repr__ = sentence

    def _repr_html_(self):
        if self.nothing_yet:
            return f"<p>{in_html(self.nothing_yet)}</p>"
        shown = self.table[self.table["chance"] >= ENOUGH].head(SHOWN)
        shown = shown.assign(chance=[f"{in_hundred(c)} in 100" for c in shown["chance"]])
        parts = [self.split, self.saving, self.scale]
        said = [part.sentence() for part in parts if part]
        said += [] if self.case.throughout else [what_would_tell(self.case.table, *self.chances.index[:2], self.openly)]
        said += [f"To look at next: {self.ask()}"] if self.ask() else []
        paragraphs = "".join(f"<p>{in_html(in_days(text))}</p>" for text in said)
        shown = shown.assign(**{name: shown[name].map(in_days) for name in ("for", "against", "remedy")})
        return f"{short_page(self)}<details><summary>More</summary>{paragraphs}{table_html(shown)}</details>"
