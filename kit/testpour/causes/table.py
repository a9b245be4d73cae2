"""The table of causes: what is known before any casting is looked at."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from testpour.common.problems import NoSuchName, Problem

NOTHING = "nothing"
LATER = "later"  # the question whether it went on hardening
SETTINGS = "settings"  # the cause that stands for every setting of which `causes.toml` names none
SURE = 0.5  # chance from which on a cause is acted upon in a way that cannot be undone, and ordinary scatter is the answer to a missed aim
AGAIN = "a day later"  # when to read a casting again, where its aim speaks of no later age
SELDOM = 0.1  # how much rarer an answer becomes that the readings all but rule out; common practice, no source
SINCE = 0.3  # how often what goes on hardening has hardened by the time somebody looks; common practice, no source


@dataclass(frozen=True)
class Question:
    """Something a person can look at."""

    name: str
    ask: str
    how: str
    answers: tuple[str, ...]
    otherwise: tuple[float, ...]  # how often each answer is met under a cause that states nothing of its own
    # the same under a cause that works on the whole mix alike, where the casting is soft and, as `firm`, where it is hard but tacky; empty
    # where it makes no difference
    soft: tuple[float, ...] = ()
    firm: tuple[float, ...] = ()
    # what a casting that is soft, hard but tacky (`firm`) or hard and dry (`dry`) all but rules out: answer to the one given instead, or to
    # "" where its share falls to all others
    ruled_out: dict[str, dict[str, str]] = field(default_factory=dict)
    met: float = 1.0  # how often there is something to look at, so that it can be answered
    of_one: bool = False  # whether it is asked of this very casting, so that an answer says nothing of others that went the same way
    since: tuple[float, ...] = ()  # how often each answer is met where the casting has hardened since it was read; empty: as hard and dry
    past: dict[str, Any] = field(default_factory=dict)  # its lines that differ where the reading in question is of a moment that is past
    said: tuple[str, ...] = ()  # each answer in a few words that make sense alone, as evidence
    unless: dict[str, str] = field(default_factory=dict)  # other question to the answer to it after which there is nothing to look at here

    def has_a_point(self, observed: Mapping[str, str]) -> bool:
        """Whether the answers given to other questions leave anything to look at."""
        return all(observed.get(question) != answer for question, answer in self.unless.items())

    def left(self, shares: np.ndarray, state: str) -> np.ndarray:
        """How often each answer is met of a casting in that state, where it is met in `shares` of any: shape (answers,)."""
        shares = shares.copy()
        for answer, instead in self.ruled_out.get(state, {}).items():
            gone = (1 - SELDOM) * shares[self.answers.index(answer)]
            shares[self.answers.index(answer)] -= gone
            if instead:
                shares[self.answers.index(instead)] += gone
        return shares / shares.sum()


@dataclass(frozen=True)
class TellingPour:
    """A test pour that tells causes apart: `tells` are the causes whose casting would change in it."""

    name: str
    words: str
    cost: float
    tells: tuple[str, ...]
    past: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Cause:
    """One reason why a casting went wrong, as given in `causes.toml`; see the head of that file."""

    name: str
    words: str
    prior: float
    says: dict[str, list[float]] = field(default_factory=dict)
    sizes: tuple[float, ...] = ()
    as_if: dict[str, Any] = field(default_factory=dict)
    shift: dict[str, float] = field(default_factory=dict)
    blur: dict[str, float] = field(default_factory=dict)
    spread: dict[str, float] = field(default_factory=dict)
    one_of: dict[str, float] = field(default_factory=dict)
    one_place: dict[str, float] = field(default_factory=dict)
    other_way: dict[str, Any] = field(default_factory=dict)
    alike: bool = False
    fades: bool = False
    runs: str = ""
    in_layers: bool = False
    not_settings: bool = False
    no_help: tuple[str, ...] = ()
    planned: tuple[dict, ...] = ()
    openly: str = ""
    odds: dict[str, float] = field(default_factory=dict)
    hints: dict[str, list[str]] = field(default_factory=dict)  # a sign that shows it to the questions that only hint at it where nothing shows
    now: str = ""
    meanwhile: str = ""
    now_soft: str = ""
    now_unheated: str = ""
    next_time: str = ""
    next_time_openly: str = ""
    next_time_lean: str = ""
    try_first: str = ""
    past: dict[str, Any] = field(default_factory=dict)
    care: str = ""
    source: str = ""
    confidence: str = ""

    @property
    def of_the_log(self) -> bool:
        """Whether the fault is in what was written down, so that the casting itself may be sound."""
        return bool(self.one_of or self.blur) and not (self.as_if or self.shift)

    @property
    def ways(self) -> tuple["Cause", ...]:
        """The cause once for each of the ways in which it moves the readings."""
        if not self.other_way:
            return (self,)
        blur = self.blur | self.other_way.get("blur", {})
        return self, replace(self, **{"as_if": {}, "shift": {}} | self.other_way | {"blur": blur, "other_way": {}})

    def afterwards(self, openly: bool) -> str:
        """What to do from now on; `openly`, where the settings themselves brought it about."""
        return openly and self.next_time_openly or self.next_time

    def at_once(self, chance: float, again: str = AGAIN) -> str:
        """What to do with this casting: nothing that cannot be undone on less than half the chance. `again` is when to read it again."""
        return (self.meanwhile if self.meanwhile and chance < SURE else self.now).replace("{again}", again)

    def remedy(self, openly: bool, chance: float, again: str = AGAIN) -> str:
        """What to do next time, and with this casting.

        `openly` is as in `afterwards`, `chance` and `again` as in `at_once`.
        """
        return ". This casting: ".join(part for part in (self.afterwards(openly), self.at_once(chance, again)) if part)


@dataclass(frozen=True)
class CauseTable:
    """Everything that is known before any casting is looked at."""

    causes: dict[str, Cause]  # by name, as the next two
    questions: dict[str, Question]
    tests: dict[str, TellingPour]
    signs: dict[str, dict]  # name to what the settings must show, as a dict
    slip: float = 0.0  # how often an answer is a slip, whatever the cause
    together: float = 0.0  # how often two causes meet in one casting, beside what two independent ones would
    most: float = np.inf  # log of the odds beyond which no single reading counts against a cause
    readings: float = 1.0  # power to which the chance of the readings is raised
    # reading name to how far a resin's response to a change may lie from the model's, as a standard deviation
    misfit: dict[str, float] = field(default_factory=dict)
    lag: dict[str, float] = field(default_factory=dict)  # the same to how much further off one too soft for its gauge may lie than the last, times its hours
    found: tuple[float, float, float] = (0.5, 0.25, 0.25)  # chances that the casting is soft, hard but tacky, hard and dry, by what was read
    tacky: bool = False  # whether it was read as too tacky or too soft

    def says(self, cause: str, question: str, observed: Mapping[str, str] | None = None) -> np.ndarray:
        """How often each answer to a question is given under a cause, slips included: shape (answers,), adding up to 1.

        Answers given before, `observed`, show the state of the casting, and so what the next answer will be: one who
        pressed and found it hard will find the cup and an offcut hard too.
        """
        states = self._states(cause, observed or {})
        return states @ self._in_each(cause, question) / states.sum()

    def log_chance(self, observed: Mapping[str, str]) -> np.ndarray:
        """Log of how often all these answers are given together under each cause: shape (causes,)."""
        return np.log([self._states(name, observed).sum() for name in self.causes])

    def with_signs(self, signs: Collection[str]) -> "CauseTable":
        """The table of a casting that shows these signs: what only hints at a cause that a sign shows is answered as under any other."""
        def known(cause):
            hinted = {question for sign in cause.hints.keys() & set(signs) for question in cause.hints[sign]}
            return replace(cause, says={question: says for question, says in cause.says.items() if question not in hinted})

        return replace(self, causes={name: known(cause) if cause.hints else cause for name, cause in self.causes.items()})

    def brought_about(self, factor: str, side: str) -> list[str]:
        """Names of the causes that a setting brings about on that side, ``"above"`` or ``"below"``."""
        return [name for name, cause in self.causes.items() if {"factor": factor, "side": side} in cause.planned]

    def _states(self, cause, observed):
        """Chance of each state of the casting together with the answers given: soft, tacky, dry, and hardened since it was read, shape (4,)."""
        hardens = 0.0
        if self.tacky and LATER in self.questions and not self.causes[cause].of_the_log:
            hardens = self.causes[cause].says.get(LATER, self.questions[LATER].otherwise)[0]
        states = np.array([*(1 - SINCE * hardens) * np.array(self.found), SINCE * hardens])
        for question, answer in observed.items():
            states = states * self._in_each(cause, question)[:, self.question(question).answers.index(self.answer(question, answer))]
        return states

    @cached_property
    def _worked(self):
        """What `_in_each` has worked already: dict by cause and question."""
        return {}

    def _in_each(self, cause, question):
        """How often each answer is given in each state under a cause: shape (4, answers)."""
        if (cause, question) not in self._worked:
            self._worked[cause, question] = self._shares(cause, question)
        return self._worked[cause, question]

    def _shares(self, cause, question):
        known, by = self.question(question), self.causes[cause]
        own = np.array(by.says.get(question, known.otherwise))
        soft, firm, dry = own, own, own
        if question not in by.says and by.alike and known.soft:
            soft, firm, dry = np.array(known.soft), np.array(known.firm), np.array(self.causes[NOTHING].says.get(question, known.otherwise))
        elif question in by.says and self.tacky and not by.of_the_log:
            soft, firm = known.left(own, "soft"), known.left(own, "firm")
        dry = known.left(dry, "dry")
        return (1 - self.slip) * np.array([soft, firm, dry, known.since or dry]) + self.slip / len(dry)

    def chances(self, question: str, answer: str) -> dict[str, float]:
        """How often `answer` is given under each cause: dict of cause name to chance."""
        place = self.question(question).answers.index(self.answer(question, answer))
        return {name: float(self.says(name, question)[place]) for name in self.causes}

    def question(self, name: str) -> Question:
        """The question of that name; a NoSuchName that lists the names otherwise."""
        if name not in self.questions:
            raise NoSuchName(f"No question {name!r}; there are {', '.join(self.questions)}.")
        return self.questions[name]

    def still_asked(self, noted: Mapping[str, str]) -> dict[str, str]:
        """The answers in a note that the table knows: a study's own questions may be gone since it was written."""
        spelt = {(name, answer.casefold()): answer for name, question in self.questions.items() for answer in question.answers}
        return {name: spelt[name, said.casefold()] for name, said in noted.items() if (name, said.casefold()) in spelt}

    def answer(self, question: str, answer: str) -> str:
        """`answer` as the table spells it; a Problem that lists the answers otherwise."""
        known = self.question(question).answers
        for one in known:
            if str(answer).strip().casefold() == one.casefold():
                return one
        raise Problem(
            f"{self.question(question).ask} {answer!r} is not an answer to it. Its answers are: {'; '.join(known)}. "
            f"Where you cannot say, leave it out or set it aside with skip({question!r})."
        )
