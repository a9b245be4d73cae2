"""Which question to ask next: the one whose answer is expected to leave least doubt."""

from dataclasses import dataclass

import numpy as np

from testpour.wording import said_in_markdown

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

    question: object
    worth: float

    def sentence(self):
        """The question with how to look, what to answer and how to say it."""
        asked = self.question
        answers = "; ".join(asked.answers)
        return f'{asked.ask} {asked.how} Answers: {answers}. Say it with observe({asked.name}="{asked.answers[0]}"), for example.'

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def doubt(chances):
    """Uncertainty of some chances that add up to 1, in bits."""
    chances = np.asarray(chances, float)
    known = chances[chances > 0]
    return float(-np.sum(known * np.log2(known)))


def would_change(table, chances, asked):
    """Whether some answer to some of these questions would put another cause first.

    Parameters
    ----------
    table : CauseTable
    chances : Series
        Chance of each cause, likeliest first.
    asked : iterable of Asked
    """
    for one in asked:
        says = np.array([table.says(c, one.question.name) for c in chances.index])
        if (np.argmax(chances.to_numpy()[:, None] * says, axis=0) != 0).any():
            return True
    return False


def questions(table, chances, done=()):
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
