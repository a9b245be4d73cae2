"""The answer a person gets to why one casting came out as it did."""

from dataclasses import replace
from functools import cached_property

import pandas as pd

from testpour.causes.naming import named, remedy
from testpour.causes.questions import what_would_tell
from testpour.causes.saving import Saving, saving
from testpour.causes.shapley import Split, split
from testpour.causes.verdict import ENOUGH, short_page, verdict
from testpour.causes.weighed_case import WeighedCase
from testpour.causes.whole_log import noted_for
from testpour.common.wording import NoResult, in_days, in_html, in_hundred, table_html
from testpour.logbook.book import Logbook

SHOWN = 5  # causes shown
UNREAD = "Nothing was read on {pour} yet, so there is nothing to explain. Take the readings that its aims are about, at their ages, then ask again."
EMPTY = "There is no casting in the log yet. Log the pour and what was read on it first, then ask again."


class Answer(WeighedCase):
    """Why a casting came out as it did: in words, as a table, and with more observations."""

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
            return NoResult("Its settings are most likely not to blame, so no other setting is proposed.")
        return saving(self.case.fits, self.pour, self._worst, cause.no_help, cause.in_layers)

    @property
    def nothing_yet(self) -> str:
        """Why no answer can be given yet; empty if one can."""
        return EMPTY if not self.pour else "" if self.case.seen or self.observed else UNREAD.format(pour=self.pour)

    def _unasked(self, so):
        return NoResult(self.nothing_yet or f"{self.pour} misses no aim so far, so {so}.")

    @property
    def table(self) -> pd.DataFrame:
        """One row per cause: chance, for, against, remedy, care, source, confidence."""
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
        """The answer with questions set aside; without names, the question that `ask` gives.

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
        """The answer in a few sentences: the likeliest causes, why, how to tell them apart, what to do."""
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
        said += [f"Check next: {self.ask()}"] if self.ask() else []
        paragraphs = "".join(f"<p>{in_html(in_days(text))}</p>" for text in said)
        shown = shown.assign(**{name: shown[name].map(in_days) for name in ("for", "against", "remedy")})
        return f"{short_page(self)}<details><summary>More</summary>{paragraphs}{table_html(shown)}</details>"
