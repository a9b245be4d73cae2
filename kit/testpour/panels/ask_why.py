"""Why a casting came out as it did, by tapping: causes as bars that move with each answer."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.causes.answer import SHOWN, Answer
from testpour.causes.complaint import missed
from testpour.causes.naming import also_missed, from_now_on, named, of_its_own, order
from testpour.causes.verdict import ENOUGH, cannot_tell, unsure
from testpour.common.wording import capital, in_hundred, listed, within
from testpour.logbook.tables import LogProblem
from testpour.panels.numbers import Field
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, bars, button, caution, choice, fold, pick, row, step, text
from testpour.panels.workshop import SCALES, Needed

PICTURE_WIDTH = 420  # pixels of the photograph
POT = Field("pot", "Resin that was in the pot", "g", "leave empty if not known", resin=True, high=20_000)


class WhyPanel(Panel):
    """Why one casting came out as it did; see `why_panel`."""

    name, title = "why", "Why did it come out like this?"
    lead = "Choose the casting, look at it, and answer what you are asked. Nothing goes into the log until you tap Save."

    def fields(self) -> list[Part]:
        castings, faults = self.workshop.poured(), self._missed()
        read = set(castings.readings["pour"].astype(str))
        others = {str(p): "no aim missed" if str(p) in read else "not read yet" for p in castings.pours.index if str(p) not in faults}
        options = [("", "choose a casting"), *((name, f"{name}: {words}") for name, words in {**faults, **others}.items())]
        scale = choice("scale", "Step of the scale", self.memory.scale, SCALES)
        return [step("Which casting?", pick("pour", "Casting", self.typed("pour"), options, hint="those that missed an aim come first"),
                     *self._photograph(), fold("What was in the pot, if you know", row(self.field(POT), scale)))]

    def parts(self) -> Iterator[Part]:
        yield from self.fields()
        answer = self.answer()
        if answer.nothing_yet:
            yield text(answer.nothing_yet, "needed")
            yield step("If you have looked at it already", *self._question(answer))
            return
        yield step("Likeliest causes", self._bars(answer), fold("Evidence for and against each", *_evidence(answer)))
        yield step("Look at it again", *self._question(answer))
        yield step("What to do", *self._advice(answer))
        yield row(button("save", "Save what I saw in the log", main=True, off="" if self._draft()[0] else "Nothing new to save."))

    def answer(self) -> Answer:
        """The answer for the chosen casting, given what was tapped."""
        castings, pour = self.workshop.poured(), self.typed("pour")
        if not pour:
            raise Needed("Choose a casting above.")
        (batch,) = self.complete(POT)
        if pour not in castings.pours.index:
            raise Needed(f"{pour} is not in the log any more. Choose another casting.")
        fits = self.fits()
        scale = {"batch": batch, "scale_resolution": self.memory.scale} if batch else {}
        first = self._first(fits, pour, scale)
        seen, passed = self._draft()

        def make():
            found = first.observe(**{**first.observed, **seen}) if seen else first
            return found.skip(*passed) if passed else found

        return self._last.of((first, seen, passed), make)  # needed several times in one tap

    def _first(self, fits, pour, scale):
        """The answer before any tap, together with what no tap changes."""
        notes = self.workshop.castings().pours["note"].astype(str)  # earlier answers saved there count, on any casting

        def make():
            found = tp.why(fits, pour, **scale)
            return found, found.saving, found.split

        found, self._saving, self._split = self.work_out("Weighing the causes", make, pour, repr(scale), *notes)
        return found

    @property
    def table(self) -> pd.DataFrame:
        """One row per cause: chance, for, against, remedy."""
        with self._at_once():
            return self.answer().table

    def summary(self) -> str:
        return self.answer().sentence()

    def _tap_say(self, which: str) -> None:
        """Take an answer: ``question|place of the answer``, counted from 0."""
        name, place = which.rsplit("|", 1)
        seen, passed = self._draft()
        question = self.answer().case.table.questions[name]
        self._save_draft({**seen, name: question.answers[int(place)]}, passed)

    def _tap_pass(self, name: str) -> None:
        """Skip a question that cannot be answered."""
        seen, passed = self._draft()
        self._save_draft(seen, [*passed, name])

    def _tap_back(self, name: str) -> None:
        """Take back an answer that was not saved."""
        seen, passed = self._draft()
        self._save_draft({q: said for q, said in seen.items() if q != name}, [p for p in passed if p != name])

    def _tap_save(self) -> str:
        """Keep what was seen in the log's note of the casting."""
        answer = self.answer()
        kept_words = answer.keep(self.workshop.log)
        self._save_draft({}, [])
        return f"Kept in the log's note of {answer.pour}: {kept_words or 'it held all of it already'}"

    def _draft(self):
        """What was tapped for the chosen casting but not saved yet: answers by question, and the questions skipped."""
        draft = self.memory.get("drafts", {}).get(self.typed("pour"), {})
        return draft.get("seen", {}), draft.get("passed", [])

    def _save_draft(self, seen, passed):
        self.memory.put(drafts={**self.memory.get("drafts", {}), self.typed("pour"): {"seen": seen, "passed": passed}})

    def _missed(self):
        """What each casting that missed an aim misses, in words."""
        castings = self.workshop.poured()

        def make():
            found = {str(pour): missed(castings, pour) for pour in castings.pours.index}
            return {pour: listed(one.read(castings.study) for one in misses) for pour, misses in found.items() if misses}

        return self.work_out("Looking at every casting", make)

    def _photograph(self):
        pour = self.typed("pour")
        photos = self.workshop.log.photos(pour) if pour in self.workshop.castings().pours.index else []
        for photo in photos[-1:]:
            with contextlib.suppress(LogProblem):
                return [{"kind": "picture", "src": photo.thumbnail(PICTURE_WIDTH), "alt": photo.caption}]
        return [text("No photograph of it in the log; the session form takes one.", "hint")] if pour else []

    def _bars(self, answer):
        shown = [(name, chance) for name, chance in answer.chances.items() if name == answer.first or chance >= ENOUGH][:SHOWN]
        return bars(f"Chance of each cause, {answer.pour}", [
            {"words": capital(named(answer, name)), "share": float(chance), "says": f"{in_hundred(chance)} in 100"} for name, chance in shown
        ], ("0 in 100", "100 in 100"))

    def _question(self, answer):
        seen, _ = self._draft()
        questions = answer.case.table.questions
        for name, said in answer.observed.items():
            yield row(text(f"{questions[name].ask} {capital(said)}."), button(f"back:{name}", "Take back") if name in seen else text("in the log", "hint"))
        asked = answer.ask()
        if asked is None:
            yield text("No further look would tell much more.", "strong")
            return
        question = asked.question
        yield text(question.ask, "strong")
        yield text(question.how, "hint")
        yield row(*[button(f"say:{question.name}|{place}", capital(said)) for place, said in enumerate(question.answers)],
                  button(f"pass:{question.name}", "Cannot say"))

    def _advice(self, answer):
        """What to do about the likeliest causes, and about settings that plainly did harm too, each with its caution."""
        behind = () if unsure(answer) else answer.together or (answer.first,)
        orders = from_now_on(answer, behind)
        if unsure(answer):
            yield text(f"{cannot_tell(answer)}{' Answer what is asked above first.' if answer.ask() else ''}", "strong")
        for name in behind:
            now = order(answer, name) if name == behind[0] else ""
            at_once = f"This casting: {within(now)}" if now else ""
            does = ". ".join(filter(None, (orders[name], at_once)))
            yield from _cause_parts(answer, name, f"{capital(named(answer, name))}{does and f'. {does}'}.")
        if also_missed(answer):
            yield text(also_missed(answer))
        for words, name in answer.by_settings:
            if name in orders and name not in behind:
                yield from _cause_parts(answer, name, f"{of_its_own(answer, words, name)}{orders[name] and f' {orders[name]}.'}")
        if self._saving:
            yield text(self._saving.sentence())
        yield fold("The whole answer in words", text(answer.sentence()), text(self._split.sentence()) if self._split else None,
                   text(answer.scale.sentence()) if self.value(POT) and answer.scale is not None else None)


def _cause_parts(answer, name, words):
    """One cause, what to do about it, and its caution."""
    yield text(words, "strong")
    if care := answer.case.table.causes[name].care:
        yield caution(f"{care}.")


def _evidence(answer: Answer) -> Iterator[Part]:
    """The evidence for and against the likeliest causes, as paragraphs: three columns of sentences are too wide for a phone."""
    for cause, line in answer.table.head(SHOWN).iterrows():
        yield text(capital(cause), "strong")
        for what in filter(line.get, ("for", "against")):
            yield text(f"{capital(what)}: {line[what]}.")
        if not line["for"] and not line["against"]:
            yield text("Nothing read or seen counts for or against it.")


def why_panel(folder: str | Path = ".") -> WhyPanel:
    """Ask by tapping why a casting came out as it did; answers are kept in the log only by a tap on Save.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    WhyPanel
        A widget. ``.table`` has a row for each cause.
    """
    return WhyPanel(folder)
