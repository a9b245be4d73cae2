"""How to tell causes apart: the question whose answer should help most in naming the right one, and the cheapest test pour."""

from collections.abc import Collection, Container, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import rel_entr

from testpour.causes.reasoner import showing
from testpour.causes.table import NOTHING, SETTINGS, CauseTable, Question, TellingPour
from testpour.common.wording import said_in_markdown

SURE = 0.94  # chance of the likeliest cause below which more questions are asked
WORTH = 0.02  # bits a question must be expected to settle before it is asked
SECOND = 0.5  # the right cause named second counts as half of it named first
BITS = 0.05  # a bit settled counts as so much chance of the right cause first: only where answers change no name yet
CLOSE = 3.0  # times likelier than the runner-up below which two causes are not told apart


@dataclass(frozen=True)
class Asked:
    """A question worth asking.

    Parameters
    ----------
    question : Question
    worth : float
        Expected drop in uncertainty, bits.
    names : float
        Expected rise of the chance that the right cause comes first, a second place counting `SECOND`.
    """

    question: Question
    worth: float
    names: float = 0.0

    def sentence(self) -> str:
        """The question with how to look, the answers and how to give one."""
        asked = self.question
        answers = "; ".join(asked.answers)
        return f'{asked.ask} {asked.how} Answers: {answers}. Answer with observe({asked.name}="{asked.answers[0]}"), for example.'

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def _named(chances):
    """Chance of the likeliest cause, plus `SECOND` times that of the next, for each column; causes are rows."""
    second, first = np.partition(chances, -2, axis=0)[-2:]
    return first + SECOND * second


def would_change(table: CauseTable, chances: pd.Series, asked: Iterable[Asked], observed: Mapping[str, str]) -> bool:
    """Whether more questions could change what to do.

    While the likeliest cause is not `SURE`, two answers together may still put another first; beyond that only where
    a single answer would.
    """
    asked = list(asked)
    if asked and chances.iloc[0] < SURE:
        return True
    for one in asked:
        says = np.array([table.says(c, one.question.name, observed) for c in chances.index])
        if (np.argmax(chances.to_numpy()[:, None] * says, axis=0) != 0).any():
            return True
    return False


def questions(
    table: CauseTable, chances: pd.Series, observed: Mapping[str, str] | None = None, done: Iterable[str] = (), signs: Collection[str] = ()
) -> tuple[Asked, ...]:
    """Questions still open, the most helpful first.

    Ranked by what an answer is expected to do for naming the right cause, so that telling rare causes from one
    another does not come before telling the likely ones apart, times how often it can be given.
    `observed` is what was answered, `done` questions that are not asked besides. One that depends on the answer to another waits for it.
    `signs` are those of the casting: an answer may take one away, as a face that alone is tacky does with its cover in the log.
    """
    found, likely = [], chances.to_numpy(float)
    known = observed or {}
    for question in table.questions.values():
        if question.name in {*done, *known} or not question.unless.keys() <= known.keys() or not question.has_a_point(known):
            continue
        says = np.array([table.says(c, question.name, observed) for c in chances.index])
        joint = likely[:, None] * says * _with_signs(table, chances.index, question, known, signs)
        joint /= joint.sum()
        met, before = joint.sum(axis=0), joint.sum(axis=1)
        worth = float(rel_entr(joint, before[:, None] * met).sum() / np.log(2))
        found.append(Asked(question, worth, float(_named(joint).sum() - _named(before))))
    return tuple(sorted((a for a in found if a.worth >= WORTH), key=lambda a: -a.question.met * (a.names + BITS * a.worth)))


def _with_signs(table, causes, question, observed, signs):
    """How many times likelier each cause becomes by the signs that each answer brings or takes away: shape (causes, answers)."""
    now, times = showing(table, signs, observed), np.ones((len(causes), len(question.answers)))
    for place, answer in enumerate(question.answers):
        then = showing(table, signs, {**observed, question.name: answer})
        for sign, power in [*((sign, 1.0) for sign in then - now), *((sign, -1.0) for sign in now - then)]:
            times[:, place] *= np.array([table.causes[name].odds.get(sign, 1.0) for name in causes]) ** power
    return times


def cheapest_test(table: CauseTable, first: str, second: str, openly: Container[str] = ()) -> TellingPour | None:
    """The cheapest test whose casting changes if one of two causes is right and not if the other is.

    The settings themselves brought about the causes in `openly`. If weighing is then not to blame, the same mix made again would
    only bring them about again: the test is another setting.
    """
    one, other = (tested(table, name, openly) for name in (first, second))
    fit = [t for t in table.tests.values() if (one in t.tells) != (other in t.tells)]
    return min(fit, key=lambda t: t.cost, default=None)


def told_apart(chances: pd.Series) -> bool:
    """Whether the likeliest cause is well ahead of the runner-up."""
    return chances.iloc[0] >= CLOSE * chances.iloc[1]


def what_would_tell(table: CauseTable, first: str, second: str, openly: Container[str] = ()) -> str:
    """The test in a sentence: what to do, and which cause each outcome points to."""
    test = cheapest_test(table, first, second, openly)
    if test is None:
        return f"No test pour in the table tells {table.causes[first].words!r} from {table.causes[second].words!r}."
    shown, other = (first, second) if tested(table, first, openly) in test.tells else (second, first)
    return (
        f"To tell them apart, {test.words}: a clear difference points to {table.causes[shown].words!r}, "
        f"none to {table.causes[other].words!r}."
    )


def tested(table: CauseTable, name: str, openly: Container[str] = ()) -> str:
    """The cause whose tests stand in for another's: the settings, for one that they brought about where weighing is not to blame."""
    return SETTINGS if name in openly and name != NOTHING and table.causes[name].next_time_openly else name
