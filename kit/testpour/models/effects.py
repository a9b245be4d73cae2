"""What the settings did: one sentence and one row for each factor, with belief's share and the log's."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.models.scales import to_reading
from testpour.models.settings import settings_table
from testpour.models.terms import design

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
        The change with its 90 % interval: a ratio for a reading that spreads by ratios, a difference
        in its unit otherwise; for grades, the change in the chance of at most `bound`.
    from_log : float
        Share of what is now known that came from the log, 0 to 1; the rest is belief.
    disagreement : float
        How far the log pulled the effect from belief, in standard deviations expected for such a pull.
    poured : bool
        Whether the log holds pours at different values of the factor.
    bound : float
        For grades: the worst grade still counted as good.
    """

    factor: object
    reading: object
    start: float
    end: float
    middle: float
    low: float
    high: float
    from_log: float
    disagreement: float
    poured: bool
    bound: float = 0.0

    @property
    def ratio(self):
        """Whether the change is a ratio."""
        return self.reading.scale == "log"

    @property
    def told(self):
        """Whether the interval leaves only one direction."""
        nothing = 1.0 if self.ratio else 0.0
        return not self.low <= nothing <= self.high

    def sentence(self):
        """The effect in one sentence."""
        factor = self.factor
        move = f"Going from {factor.show(self.start)} to {factor.show(self.end)} {factor.words}"
        if factor.kind == "yes/no":
            move = f"With {factor.words} instead of without"
        if not self.told:
            said = f"{move}: cannot tell yet which way {self._what()} goes ({self._interval()})."
        else:
            said = f"{move} {self._verb()} by about {self._size()} ({self._interval()})."
        return said + self._rests_on()

    __repr__ = sentence

    def _what(self):
        if self.reading.grades:
            return f"the chance of {self.reading.words} {self._good()}"
        return self.reading.words

    def _good(self):
        return f"at most {self.bound:g}" if self.bound else "0"

    def _verb(self):
        more = self.middle > (1.0 if self.ratio else 0.0)
        words = ("lengthens", "shortens") if self.reading.unit in ("min", "h") else ("raises", "lowers")
        return f"{words[not more]} {self._what()}"

    def _size(self):
        if self.ratio:
            return f"{100 * abs(self.middle - 1):.0f} %"
        if self.reading.grades:
            return f"{100 * abs(self.middle):.0f} points in a hundred"
        return self.reading.show(_rounded(abs(self.middle)))

    def _interval(self):
        low, high = self.low, self.high
        if self.ratio:
            low, high = 100 * (low - 1), 100 * (high - 1)
        elif self.reading.grades:
            low, high = 100 * low, 100 * high
        unit = "%" if self.ratio else "points" if self.reading.grades else self.reading.show(0)[2:]
        if self.told:
            low, high = sorted((abs(low), abs(high)))
        low, high = (f"{_rounded(end):+g}" if not self.told else f"{_rounded(end):g}" for end in (low, high))
        return f"90 % interval {low} to {high} {unit}".replace("-", "\N{MINUS SIGN}")

    def _rests_on(self):
        if not self.poured:
            return f" No two pours differ in {self.factor.words}: this is belief only."
        share = round(100 * self.from_log)
        text = f" {share} % of this is from the log, {100 - share} % belief."
        if self.disagreement > DISAGREE:
            text += " The log disagrees with what the trade believes: check the weighing, or trust the log."
        return text


def _rounded(value):
    """Three significant digits below one, whole numbers above twenty, one decimal between."""
    return float(f"{value:.2g}") if abs(value) < 1 else round(value, 1) if abs(value) < 20 else round(value)


@dataclass(frozen=True)
class Effects:
    """What each setting did to one reading, strongest first.

    Parameters
    ----------
    reading : Reading
    each : tuple of Effect
    """

    reading: object
    each: tuple
    settings: dict = field(default_factory=dict)

    @property
    def table(self):
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

    def sentence(self):
        """The strongest effect, and the ones not settled."""
        told = [e for e in self.each if e.told and e.poured]
        open_ones = [e.factor.words for e in self.each if not e.told]
        first = told[0].sentence() if told else f"This log cannot tell yet what moves {self.reading.words}."
        rest = f" Not settled: {', '.join(open_ones)}." if open_ones else ""
        return first + rest

    __repr__ = sentence

    def _repr_markdown_(self):
        return f"**What the settings did to {self.reading.words}**\n\n" + "".join(
            f"- {e.sentence()}\n" for e in self.each
        )


def effects(fit, level=0.9):
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
    each = [_effect(fit, *step, level) for step in _steps(fit)]
    strength = {id(e): abs(e.middle - e.ratio) / max(e.high - e.low, 1e-9) for e in each}
    return Effects(fit.reading, tuple(sorted(each, key=lambda e: -strength[id(e)])))


def _steps(fit):
    """Each factor that can move the reading: factor, start, end, whether poured, settings beside it."""
    used = {name for term in fit.believed.terms for name in term.factors}
    for factor in fit.study.factors:
        if factor.name not in used or factor.kind == "text" or factor.name == "post_cure_time":
            continue
        values = fit.rows[factor.name]
        poured = values.nunique() > 1
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
    change, bound = _change(fit, table, latent)
    tails = np.quantile(change, [(1 - level) / 2, 0.5, (1 + level) / 2])
    before = np.sum((contrast * fit.believed.sd) ** 2)
    drawn = latent[:, 1] - latent[:, 0]
    after = drawn.var()
    from_log = float(np.clip(1 - after / before, 0, 1)) if before > 0 else 1.0
    pull = abs(drawn.mean() - contrast @ fit.believed.mean)
    expected = np.sqrt(max(before - after, 1e-12))
    disagreement = float(pull / expected) if from_log > 0.05 else 0.0
    low, middle, high = (float(t) for t in tails)
    return Effect(
        factor, fit.reading, start, end, middle, low, high, from_log, disagreement, bool(poured), bound
    )


def _change(fit, table, latent):
    """The change from the first row to the second in the reading's own terms, for each draw."""
    reading = fit.reading
    if reading.grades:
        aims = [aim.at_most for aim in fit.study.aims if aim.reading == reading.name and aim.at_most is not None]
        bound = min(aims, default=0.0)
        good = ndtr(fit.posterior.cuts[:, [int(bound)]] - latent)
        return good[:, 1] - good[:, 0], bound
    if reading.scale == "log":
        return np.exp(latent[:, 1] - latent[:, 0]), 0.0
    shown = to_reading(reading, latent, table.get("room_temperature"))
    return shown[:, 1] - shown[:, 0], 0.0
