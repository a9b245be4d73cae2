"""Which question to ask next: the one whose answer is expected to leave least doubt."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.causes.table import CauseTable, Question
from testpour.wording import said_in_markdown

SURE = 0.9  # chance of the likeliest cause below which it is asked on
WORTH = 0.02  # bits a question must be expected to settle before it is asked


@dataclass(frozen=True)
class Asked:
    """A question worth asking.

    Parameters
    ----------
    question : Question
    worth : float
        Expected drop in uncertainty, bits.
    """

    question: Question
    worth: float

    def sentence(self) -> str:
        """The question with how to look, what to answer and how to say it."""
        asked = self.question
        answers = "; ".join(asked.answers)
        return f'{asked.ask} {asked.how} Answers: {answers}. Say it with observe({asked.name}="{asked.answers[0]}"), for example.'

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def doubt(chances: Sequence[float] | pd.Series | np.ndarray) -> float:
    """Uncertainty of some chances that add up to 1, in bits.

    Parameters
    ----------
    chances : list of float, Series or array
        0 to 1.

    Returns
    -------
    float
        0 where one of them is 1.
    """
    chances = np.asarray(chances, float)
    known = chances[chances > 0]
    return float(-np.sum(known * np.log2(known)))


def would_change(table: CauseTable, chances: pd.Series, asked: Iterable[Asked]) -> bool:
    """Whether asking on could change what to do.

    While the likeliest cause is not `SURE`, two answers together may still put another first; beyond that only where
    a single answer would.

    Parameters
    ----------
    table : CauseTable
    chances : Series
        Chance of each cause, likeliest first.
    asked : iterable of Asked

    Returns
    -------
    bool
    """
    asked = list(asked)
    if asked and chances.iloc[0] < SURE:
        return True
    for one in asked:
        says = np.array([table.says(c, one.question.name) for c in chances.index])
        if (np.argmax(chances.to_numpy()[:, None] * says, axis=0) != 0).any():
            return True
    return False


def questions(table: CauseTable, chances: pd.Series, done: Iterable[str] = ()) -> tuple[Asked, ...]:
    """Questions still open, the most informing first.

    Parameters
    ----------
    table : CauseTable
    chances : Series
        Chance of each cause.
    done : iterable of str
        Questions answered or skipped.

    Returns
    -------
    tuple of Asked
    """
    now, found = doubt(chances), []
    for question in table.questions.values():
        if question.name in done:
            continue
        says = np.array([table.says(c, question.name) for c in chances.index])
        joint = chances.to_numpy()[:, None] * says
        met = joint.sum(axis=0)
        after = sum(chance * doubt(joint[:, i] / chance) for i, chance in enumerate(met) if chance > 0)
        found.append(Asked(question, now - after))
    return tuple(sorted((a for a in found if a.worth >= WORTH), key=lambda a: -a.worth))
