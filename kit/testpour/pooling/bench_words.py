"""The sentences of a pool: what holds everywhere, what differs by bench, what a newcomer may expect."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.units import unit_words
from testpour.common.wording import age_words, capital, count, first_few, in_html, listed
from testpour.models.change import change_unit, good_grades, in_points, size_words
from testpour.models.effect import Effect
from testpour.models.effects import effects
from testpour.pooling.joinable import TIE, WHOLE
from testpour.pooling.reading import PooledReading
from testpour.study.study import Study

EVERY, MOST, SAME = "at every bench", "on average only", "taken as the same everywhere"
TOGETHER, NOTHING, OPEN = "in all logs together", "no difference that counts", "cannot tell yet"
CHANCES = "castings in 100"
FEWEST = 3  # benches from which a pool can tell how they differ
SHOWN = 4  # benches named as standing out; more are counted


def joined_words(benches: pd.DataFrame, left_out: pd.DataFrame, assumed: Sequence[str]) -> str:
    """How much a pool joined, what was left out, and what was assumed; its tables are those of `Pool`."""
    pours, sessions = (int(benches[name].sum()) for name in ("pours", "sessions"))
    text = f"{count(len(benches), 'bench', 'benches')}: {count(pours, 'pour')} in {count(sessions, 'session')}."
    whole = ~left_out["bench"].isin(benches.index)
    for bench, rows in left_out[whole].groupby("bench", sort=False):
        text += f" {bench} is left out whole, because {listed(map(_reason_in_words, rows.to_dict('records')))}."
    if not whole.all():
        text += f" Left out: {listed(dict.fromkeys((left_out['part'] + ' of ' + left_out['bench'])[~whole]))}."
    if left_out["do"].str.startswith(TIE).any():
        text += f" {TIE}"
    if assumed:
        text += f" Not written down, so the usual value is assumed: {first_few(assumed)}."
    return text


def _reason_in_words(row):
    """One reason why a bench is left out whole."""
    if row["part"] == WHOLE:
        return f"it {row['what']}"
    return f"its {row['part']} {row['what']} ({row['here'] or 'none'}, not {row['in the pool'] or 'none'})"


def effect_rows(fit: PooledReading, tells: bool) -> Iterator[dict[str, Any]]:
    """The rows of `Pool.table` for one reading; `tells` is whether there are enough benches to tell how they differ."""
    at_new_bench = {effect.factor.name: effect for effect in effects(fit.newcomer()).each}
    for effect in effects(fit.average).each:
        if effect.poured:
            new = at_new_bench[effect.factor.name]
            where, says = where_it_holds(effect, new, fit, tells)
            yield {
                "reading": fit.reading.words, "factor": effect.factor.words,
                "from": effect.factor.show(effect.start), "to": effect.factor.show(effect.end),
                "middle": effect.middle, "low": effect.low, "high": effect.high,
                "new low": new.low, "new high": new.high, "where": where, "says": says,
            }


def where_it_holds(effect: Effect, new: Effect, fit: PooledReading, tells: bool) -> tuple[str, str]:
    """Where an effect holds, and the sentence that says so, from the average bench and a `new` one that is not in the pool."""
    words = effect.sentence().removesuffix(effect.rests_on())
    if not effect.settled:
        return (NOTHING if effect.negligible else OPEN), words
    if not tells:
        return TOGETHER, words
    if not any(effect.factor.name in t.factors for t in fit.average.believed.terms if t.name in fit.sloped):
        return SAME, words
    return (EVERY if new.direction_known else MOST), f"{words} At a new bench: {new.interval().partition('interval ')[2]}."


def too_few(benches: int) -> str:
    """What to say about differences between only one or two benches."""
    return (
        f"With {count(benches, 'bench', 'benches')} a pool cannot tell yet how benches differ: that takes "
        f"{FEWEST} or more. What it says about a new bench rests on belief about benches."
    )


def differences_in_words(fit: PooledReading) -> str:
    """How much benches differ in one reading, and which stand out."""
    if len(fit.benches) < FEWEST:
        return f"{capital(fit.reading.words)}: read at {listed(fit.benches)} only, and it takes {FEWEST} benches or more to tell how they differ."
    sentence = f"{capital(fit.reading.words)}: {_spread(fit)}."
    table = fit.differences()
    apart = table[table["stands_out"]]
    if not len(apart):
        return f"{sentence} No bench stands out."
    if len(apart) > SHOWN:
        return f"{sentence} {count(len(apart), 'bench', 'benches')} of {len(table)} stand out."
    shown = [f"{bench} ({_difference_in_words(fit, row.middle)})" for bench, row in zip(apart.index, apart.itertuples(), strict=True)]
    return f"{sentence} {listed(shown)} {'stands' if len(apart) == 1 else 'stand'} out."


def _spread(fit):
    unit = difference_unit(fit)
    low, middle, high = np.sort(np.abs(shown_difference(fit, np.array(fit.spread()))))
    if high < 0.5 and unit in (CHANCES, "%"):
        return f"at the usual settings benches hardly differ, by under 1 {unit.replace('castings', 'casting')}"
    if middle < 0.5 and unit == CHANCES:
        return f"two benches in three differ from the average one by less than 1 casting in 100 (90 % interval under 1 to {high:.0f})"
    low, middle, high = (_digits(end, unit) for end in (low, middle, high))
    return f"two benches in three lie within {middle}{unit_words(unit)} of the average one (90 % interval {low} to {high}{unit_words(unit)})"


def _digits(value, unit):
    return "0" if unit != CHANCES and value < 0.005 else size_words(value, unit == CHANCES)


def difference_unit(fit: PooledReading) -> str:
    """The unit of a difference between benches."""
    unit = change_unit(fit.reading, good_grades(fit.average.study, fit.reading))
    return CHANCES if unit == "in 100" else unit


def shown_difference(fit: PooledReading, values: np.ndarray) -> np.ndarray:
    """Differences on the scale of `PooledReading.differences`, as a figure draws them: in `difference_unit`."""
    return in_points(values, fit.ratio, good_grades(fit.average.study, fit.reading))


def _difference_in_words(fit, middle):
    unit, size = difference_unit(fit), float(shown_difference(fit, middle))
    more, less = ("longer", "shorter") if fit.reading.unit in ("min", "h") else ("more", "less")
    if unit == CHANCES:
        more, less = "more good ones", "fewer good ones"
    return f"{_digits(abs(size), unit)} {unit} {more if size > 0 else less}"


def expected_in_words(fit: PooledReading) -> str:
    """What a newcomer's first casting at the usual settings will read, nine in ten over benches and days."""
    shown = fit.newcomer().predict().iloc[0]
    return f"{capital(_reading_at_age(fit.reading, fit.average.study.told_at(fit.reading)))} {_range_in_words(fit.reading, shown.low, shown.high)}"


def _reading_at_age(reading, age):
    return f"{reading.words} at {age_words(age)}" if reading.ages else reading.words


def _range_in_words(reading, low, high):
    """Two ends of a reading in words: ``"25.5 to 45.8 min"``, ``"dry to slightly tacky"``."""
    if not reading.grades:
        return f"{low:.3g} to {_shown(reading, high)}"
    first, last = (_grade(reading, end) for end in (low, high))
    return first if first == last else f"{first} to {last}"


def _shown(reading, value):
    """A value with its unit, to three digits."""
    return reading.show(float(f"{value:.3g}"))


def _grade(reading, value):
    return reading.grades[int(np.clip(round(value), 0, len(reading.grades) - 1))]


@dataclass(frozen=True, eq=False)
class Expected:
    """What one casting should read at a bench of a pool, or at one that is not in it yet.

    Parameters
    ----------
    study : Study
    bench : str
        Empty for a bench that is not in the pool.
    table : DataFrame
        One row per setting and reading: middle, low and high in the reading's unit (nine castings in ten are between
        the ends), with ``beyond`` and ``met`` as for `ReadingFit.predict`.
    age : float, optional
        Of readings that depend on it, h; by default that of the aim, else the first planned.
    """

    study: Study
    bench: str
    table: pd.DataFrame
    age: float | None = None

    def lines(self) -> list[str]:
        """One sentence per setting and reading; then what is outside what was poured, and what is held as it was met."""
        many = self.table.index.get_level_values(0).nunique() > 1
        readings_in_words = [(f"Setting {place}, " if many else "") + self._line(self.study.reading(name), row) for (place, name), row in self.table.iterrows()]
        outside = listed(dict.fromkeys(part for row in self.table["beyond"] if row for part in row.split("; ")))
        met = [text for text in dict.fromkeys(self.table["met"]) if text]
        return [capital(line) for line in readings_in_words] + ([f"Trust it less: {outside}."] if outside else []) + met

    def _line(self, reading, row):
        low, middle, high = (row[name] for name in ("low", "middle", "high"))
        at = _reading_at_age(reading, self.age or self.study.told_at(reading))
        if reading.grades:
            return f"{at}: most likely {_grade(reading, middle)}, nine castings in ten {_range_in_words(reading, low, high)}."
        return f"{at}: about {_shown(reading, middle)}, nine castings in ten between {low:.3g} and {_shown(reading, high)}."

    def sentence(self) -> str:
        """Whose castings, and what each reading should be."""
        return " ".join([self._head(), *self.lines()])

    __repr__ = sentence

    def _head(self):
        return f"What to expect of one casting at {self.bench or 'a bench that is not in the pool yet'}."

    def _repr_html_(self):
        return f"<p>{in_html(self._head())}</p><ul>{''.join(f'<li>{in_html(line)}</li>' for line in self.lines())}</ul>"
