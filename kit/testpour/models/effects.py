"""What the settings did: one sentence and one row for each factor, with belief's share and the log's."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from testpour.models.change import averages, change
from testpour.models.settings import settings_table
from testpour.models.terms import design
from testpour.units import shown_unit
from testpour.wording import in_markdown, listed, rounded

if TYPE_CHECKING:
    from testpour.catalogue import Factor, Reading
    from testpour.models.reading_fit import ReadingFit

# A page asks four times for the effects of one fit; a fit never changes, and is forgotten here when it goes.
KNOWN: WeakKeyDictionary[ReadingFit, dict[float, Effects]] = WeakKeyDictionary()
PLACES = 13  # values of a setting at which a bend is looked for
DISAGREE = 2.0  # standard deviations between log and belief at which the reader is told


@dataclass(frozen=True)
class Effect:
    """What going from one value of a factor to another does to a reading.

    Parameters
    ----------
    factor : Factor
    reading : Reading
    start, end : float
        The two values of the factor, in its unit.
    middle, low, high : float
        The change with its interval: a ratio for a reading that spreads by ratios, a difference
        in its unit otherwise.
    from_log : float
        Share of what is now known that came from the log, 0 to 1; the rest is belief. 0 where no two pours differ in it.
    disagreement : float
        How far the log pulled the effect from belief, in standard deviations expected for such a pull.
    poured : bool
        Whether the log holds pours at different values of the factor.
    bound : float or None
        For grades with an aim: the worst grade still counted as good; the change is then in the chance of
        at most that grade. Without one, the change is in the average grade.
    level : float
        Chance that the true change lies between `low` and `high`.
    turn : float or None
        Where the reading turns, in the factor's unit: it surely goes one way up to there and the other way beyond.
    rises : bool
        Whether it rises up to there.
    """

    factor: Factor
    reading: Reading
    start: float
    end: float
    middle: float
    low: float
    high: float
    from_log: float
    disagreement: float
    poured: bool
    bound: float | None = None
    level: float = 0.9
    turn: float | None = None
    rises: bool = True

    @property
    def ratio(self) -> bool:
        """Whether the change is a ratio."""
        return self.reading.scale == "log"

    @property
    def told(self) -> bool:
        """Whether the interval leaves only one direction."""
        nothing = 1.0 if self.ratio else 0.0
        return not self.low <= nothing <= self.high

    @property
    def settled(self) -> bool:
        """Whether the log and belief tell a direction, or where it turns."""
        return self.told or self.turn is not None

    def sentence(self) -> str:
        """The effect in one sentence."""
        factor = self.factor
        move = f"Raising {factor.words} from {self.start:g} to {factor.show(self.end)}"
        if factor.kind == "yes/no":
            move = f"A {factor.words}"
        if not self.told:
            up, down = self._verbs
            said = f"{move}: cannot tell yet whether it {up} or {down} {self._what()} ({self.interval()})."
        else:
            said = f"{move} {self._verb()} by {self._size()} ({self.interval()})."
        return said + self._bend() + self.rests_on()

    __repr__ = sentence

    def _what(self):
        if self.bound is None:
            return self.reading.words
        return f"the chance of {self.reading.words} {self.reading.grades[int(self.bound)]!r} or better"

    @property
    def _verbs(self):
        return ("lengthens", "shortens") if self.reading.unit in ("min", "h") else ("raises", "lowers")

    def _bend(self):
        """Where the reading turns, as a sentence that begins with a space."""
        if self.turn is None:
            return ""
        first, then = ("rises", "falls") if self.rises else ("falls", "rises")
        return f" It bends: {self._what()} {first} up to about {self.factor.show(float(f'{self.turn:.2g}'))} and {then} beyond."

    def _verb(self):
        more = self.middle > (1.0 if self.ratio else 0.0)
        return f"{self._verbs[not more]} {self._what()}"

    def _percent(self, value):
        """A change as it is shown: percent of a ratio, castings in a hundred, or the reading's own unit."""
        return 100 * (value - 1) if self.ratio else 100 * value if self.bound is not None else value

    @property
    def in_points(self) -> tuple[float, float, float]:
        """Low, middle and high as they are shown: per cent, castings in 100, or the reading's own unit."""
        return tuple(self._percent(end) for end in (self.low, self.middle, self.high))

    @property
    def unit(self) -> str:
        """The unit of its size as a sentence has it: %, castings in 100, grades or the reading's own."""
        if self.reading.grades:
            return "in 100" if self.bound is not None else "grades"
        return "%" if self.ratio else shown_unit(self.reading.unit)

    def _shown(self, value):
        """A change as digits: whole castings in a hundred, else two digits below ten."""
        if self.bound is None:
            return rounded(value)
        return f"{value + 0.0:.0f}".replace("-0", "0").replace("-", "\N{MINUS SIGN}")

    def _size(self):
        size = abs(self._percent(self.middle))
        return f"{'under 1' if self.bound is not None and size < 0.5 else 'about ' + self._shown(size)} {self.unit}"

    def interval(self) -> str:
        """Its interval in words, with signs where it leaves both directions."""
        ends = [self._percent(self.low), self._percent(self.high)]
        if self.told:
            ends = sorted(abs(end) for end in ends)
            low, high = (self._shown(end) for end in ends)
        else:
            low, high = (("+" if end > 0 and self._shown(end) != "0" else "") + self._shown(end) for end in ends)
        return f"{100 * self.level:g} % interval {low} to {high} {self.unit}"

    def rests_on(self) -> str:
        """How much of it is from the log, as a sentence that begins with a space."""
        if not self.poured:
            return f" No two pours differ in {self.factor.words}: this is belief only."
        share = round(100 * self.from_log)
        text = f" {share} % of this is from the log, {100 - share} % belief."
        if share < 5:
            text = " The log says little here: the poured values lie too close together, or too few are read."
        if self.disagreement > DISAGREE:
            text += (
                " The log says otherwise than the trade. Check the weighing of these pours; "
                "if it was right, trust the log."
            )
        return text


@dataclass(frozen=True)
class Effects:
    """What each setting did to one reading, strongest first.

    Parameters
    ----------
    reading : Reading
    each : tuple of Effect
    """

    reading: Reading
    each: tuple[Effect, ...]
    settings: dict[str, float] = field(default_factory=dict)

    @property
    def table(self) -> pd.DataFrame:
        """One row a factor: from, to, middle, low, high, share from the log, and the sentence."""
        rows = [
            {
                "factor": e.factor.words,
                "from": e.factor.show(e.start),
                "to": e.factor.show(e.end),
                "middle": e.middle,
                "low": e.low,
                "high": e.high,
                "from log": e.from_log,
                "says": e.sentence(),
            }
            for e in self.each
        ]
        return pd.DataFrame(rows).set_index("factor")

    def sentence(self) -> str:
        """The strongest effect, and the ones not settled."""
        told = [e for e in self.each if e.settled and e.poured]
        unsettled = [e.factor.words for e in self.each if not e.settled]
        first = told[0].sentence() if told else f"This log cannot tell yet what moves {self.reading.words}."
        rest = f" Not settled: {listed(unsettled)}." if unsettled else ""
        return first + rest

    __repr__ = sentence

    def _repr_markdown_(self):
        poured = "".join(f"- {in_markdown(e.sentence())}\n" for e in self.each if e.poured)
        alone = [e.factor.words for e in self.each if not e.poured]
        text = f"**What the settings did to {in_markdown(self.reading.words)}**\n\n{poured}"
        if alone:
            text += f"\nNo two pours differ in {in_markdown(listed(alone))}: what is said of that rests on belief alone. To learn it, vary it."
        return text


def effects(fit: ReadingFit, level: float = 0.9) -> Effects:
    """What each setting did to a reading.

    Parameters
    ----------
    fit : ReadingFit
    level : float
        Chance that the true effect lies in the interval.

    Returns
    -------
    Effects
        Each factor moved over the range that was poured (or planned, where none was), the others at
        their usual values; the average casting, not a single one.
    """
    known = KNOWN.setdefault(fit, {})
    if level not in known:
        each = [_effect(fit, factor, start, end, poured, beside, level) for factor, start, end, poured, beside in _steps(fit)]
        strength = {id(e): abs(e.middle - e.ratio) / max(e.high - e.low, 1e-9) for e in each}
        known[level] = Effects(fit.reading, tuple(sorted(each, key=lambda e: -strength[id(e)])))
    return known[level]


def _steps(fit):
    """Each factor that can move the reading: factor, start, end, whether poured, settings beside it."""
    used = fit.believed.factors
    for factor in fit.study.factors:
        if factor.name not in used or factor.kind == "text" or factor.name == "post_cure_time":
            continue
        values = fit.rows[factor.name]
        poured = values.nunique() > 1
        if not poured and not factor.span:
            continue
        start, end = (values.min(), values.max()) if poured else (factor.span or (factor.low, factor.high))
        beside = {}
        if factor.name == "post_cure_temperature":
            hours = fit.rows["post_cure_time"].max() if "post_cure_time" in fit.rows and poured else 0.0
            beside = {"post_cure_time": hours or 2.0}
        yield factor, float(start), float(end), poured, beside


def _effect(fit, factor, start, end, poured, beside, level):
    settings = [{**beside, factor.name: value} for value in (start, end)]
    table = settings_table(fit.study, settings, reading=fit.reading)
    contrast = np.diff(design(fit.believed.terms, table), axis=0)[0]
    latent = fit.mean(table)
    found = change(fit, table)
    tails = np.quantile(found.values, [(1 - level) / 2, 0.5, (1 + level) / 2])
    before = np.sum((contrast * fit.believed.sd) ** 2)
    drawn = latent[:, 1] - latent[:, 0]
    after = drawn.var()
    from_log = float(np.clip(1 - after / before, 0, 1)) if before > 0 else 1.0
    if not poured:  # what the other settings taught of the remainder's size narrows it, but is no word of this one
        from_log = 0.0
    pull = abs(drawn.mean() - contrast @ fit.believed.mean)
    expected = np.sqrt(max(before - after, 1e-12))
    disagreement = float(pull / expected) if from_log > 0.05 else 0.0
    low, middle, high = (float(t) for t in tails)
    turn, rises = _turn(fit, factor, start, end, beside, level) if poured and fit.rows[factor.name].nunique() > 2 else (None, True)
    return Effect(
        factor, fit.reading, start, end, middle, low, high, from_log, disagreement, bool(poured), found.bound, level, turn, rises
    )


def _turn(fit, factor, start, end, beside, level):
    """Where the average casting is highest or lowest between two values, if it surely is, and whether it rises up to there."""
    places = np.linspace(start, end, PLACES)
    table = settings_table(fit.study, [{**beside, factor.name: value} for value in places], reading=fit.reading)
    curve = averages(fit, table, fit.mean(table))[0]
    for up in (True, False):
        height = curve if up else -curve
        top = int(height.mean(axis=0).argmax())
        over = height[:, top] - np.maximum(height[:, 0], height[:, -1])
        if 0 < top < PLACES - 1 and np.quantile(over, (1 - level) / 2) > 0:
            return float(places[top]), up
    return None, True
