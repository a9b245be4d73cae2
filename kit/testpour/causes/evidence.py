"""Evidence for and against each cause, in plain words."""

from dataclasses import dataclass

import numpy as np

from testpour.causes.complaint import Missed, seen_words
from testpour.causes.predicted import Predicted
from testpour.causes.reasoner import Weighed, showing
from testpour.causes.signs import Planned
from testpour.causes.table import NOTHING, CauseTable
from testpour.common.wording import in_hundred

SPEAKS = 2.0  # times likelier, or less likely, from which on a piece of evidence is shown
MOST = 999  # times beyond which it only says "more than"


@dataclass(frozen=True)
class Piece:
    """One piece of evidence about a cause.

    Parameters
    ----------
    words : str
    ratio : float
        How many times likelier it is under this cause than under the others; below 1 it is evidence against it.
    usual : bool
        A reading that came out as expected.
    """

    words: str
    ratio: float
    usual: bool = False

    def sentence(self) -> str:
        """The evidence with its weight, the likelihood ratio, for example ``"12 to 1"``."""
        times = max(self.ratio, 1 / max(self.ratio, 1e-12))
        odds = f"over {MOST}" if times > MOST else f"{times:.2g}" if times < 10 else f"{times:.0f}"
        return f"{self.words}, {odds} to 1"

    __repr__ = sentence


def evidence(
    table: CauseTable, weighed: Weighed, seen: dict[str, Predicted], signs: set[str], planned: Planned, observed: dict[str, str], missed: Missed | None
) -> dict[str, tuple[Piece, ...]]:
    """For each cause, its pieces of evidence, the weightiest first: dict of cause to tuple of `Piece`."""
    readings = {name: _reading_words(predicted) for name, predicted in seen.items()}
    found, ratios, signs = {}, weighed.ratios(), showing(table, signs, observed)
    for question, answer in observed.items():
        asked = table.questions[question]
        readings[f"question: {question}"] = asked.said[asked.answers.index(answer)]
    for name, cause in table.causes.items():
        pieces = [Piece(words, float(ratios.loc[name, piece]), ", as expected, " in words) for piece, words in readings.items()]
        pieces += [Piece(table.signs[s]["words"], cause.odds[s]) for s in sorted(signs) if cause.odds.get(s, 0) > 0]
        pieces += _planned_words(planned, name, missed, weighed)
        told = [p for p in pieces if not 1 / SPEAKS < p.ratio < SPEAKS]
        found[name] = tuple(sorted(told, key=lambda p: -abs(np.log(max(p.ratio, 1e-12)))))
    return found


def _planned_words(planned, name, missed, weighed):
    share = planned.of(name)
    if missed is None or name == NOTHING or share < 0.05:
        return []
    there = f"at those of the good {'casting' if planned.neighbours == 1 else 'castings'} most like it" if planned.neighbours else "at the usual settings"
    said = f"at its settings {in_hundred(planned.here)} castings in 100 miss this aim, {there} {in_hundred(planned.there)}"
    row = weighed.table.loc[name]
    return [Piece(said, row["before"] / max(row["prior"] * row["signs"], 1e-12))]


def _reading_words(predicted):
    reading, first = predicted.fit.reading, predicted.rows.iloc[[0]]
    rows = predicted.rows[predicted.rows["age"].eq(first["age"].iloc[0]) | predicted.rows["age"].isna()]
    low, high = predicted.expected()
    inside = rows["high"].mean() >= low and rows["low"].mean() <= high
    seen, where = f"{reading.words} {seen_words(reading, rows)}", _range(reading, low, high)
    return f"{seen}, as expected, {where}" if inside else f"{seen} where {where} is expected"


def _range(reading, low, high):
    if reading.grades:
        return f"grade {low:g}" if low == high else f"grade {low:g} to {high:g}"
    return reading.between(*(float(f"{end:.2g}") if high < 100 else end for end in (low, high)))
