"""Two settings, or two pours of the log, side by side: what differs, and how sure that is."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.common.units import unit_words
from testpour.common.wording import capital, in_hundred, in_markdown, listed, table_html
from testpour.models.chance import cautions_at, chance, chance_figures, mean_and_interval
from testpour.models.change import change, change_unit, good_words, in_points, size_words
from testpour.models.effect import ONE
from testpour.models.fits import Fits
from testpour.models.settings import UNREAD, as_met, beyond, met_words, settings_table, stated_names
from testpour.study.caution_rules import Cautions
from testpour.study.study import Study

LEVEL = 0.9
LEAST = 0.005  # a gain below half a casting in a hundred counts as none
SURE = 0.95  # chance of a direction from which it is reported


@dataclass(frozen=True)
class Comparison:
    """The average casting at one setting against that at another.

    Parameters
    ----------
    study : Study
    names : tuple of str
        Of the two settings.
    settings : DataFrame
        Two rows of floats in declared units.
    table : DataFrame
        One row per reading: the average of ``this`` and ``that``, the ``difference`` from this to that with
        ``low`` and ``high`` of its 90 % interval, its ``unit`` (% for a ratio, "in 100" for the chance of a
        grade the aim allows), ``way`` ("longer", "softer" ...), ``sure`` (chance of that direction, 0 to 1)
        and ``beyond`` (what of either lies outside what was poured).
    cautions : Cautions
    chances : array, shape (draws, 2), or None
        Chance of a good casting of each; None where the study states no aim.
    met : str
        Which settings are as in the log instead of usual, in a sentence that begins with a space.
    """

    study: Study
    names: tuple[str, ...]
    settings: pd.DataFrame
    table: pd.DataFrame
    cautions: Cautions
    chances: np.ndarray | None = None
    met: str = ""

    @property
    def differ(self) -> list[str]:
        """The settings that differ, in words: "catalyst 2 % instead of 1 %"."""
        this, that = (self.settings.iloc[i] for i in (0, 1))
        return [
            f"{f.words} {f.show(that[f.name])} instead of {f.show(this[f.name])}"
            for f in self.study.factors
            if f.name in self.settings and this[f.name] != that[f.name]
        ]

    def sentence(self) -> str:
        """What differs, which readings that moves, and what cannot be told."""
        if not self.differ:
            same = f"{self.names[0]} and {self.names[1]} have the same settings: only scatter can make them differ."
            return self.cautions.around(same)
        rows = list(self.table.iterrows())
        unmoved = [name for name, row in rows if row["low"] == row["high"] == 0]
        negligible = [name for name, row in rows if name not in unmoved and _is_negligible(row)]
        clear = [self._in_words(name, row) for name, row in rows if row["sure"] >= SURE and name not in negligible]
        unsettled = [name for name, row in rows if row["sure"] < SURE and name not in [*unmoved, *negligible]]
        first, second = self.names
        text = f"{capital(second)} against {first}, with {listed(self.differ)}: "
        text += (listed(clear) if clear else "no reading differs for sure yet") + "."
        text += f" Cannot tell yet: {listed(unsettled)}." if unsettled and clear else ""
        text += f" No difference that counts: {listed(negligible)}." if negligible else ""
        text += f" Not moved by these settings: {listed(unmoved)}." if unmoved else ""
        return self.cautions.around(" ".join([text, *self._goodness(), *self._outside()]) + self.met)

    __repr__ = sentence

    def _repr_markdown_(self):
        shown = self.table.drop(columns="beyond").round({"this": 2, "that": 2, "difference": 2, "low": 2, "high": 2, "sure": 3})
        return f"{in_markdown(self.sentence())}\n\n{table_html(shown.rename(columns=dict(zip(('this', 'that'), self.names, strict=True))))}"

    def _in_words(self, name, row):
        low, high = sorted((abs(row["low"]), abs(row["high"])))
        low = 0.0 if row["low"] * row["high"] < 0 else low
        size, low, high = (size_words(value, row["unit"] == "in 100") for value in (abs(row["difference"]), low, high))
        about = size if size.startswith("under") else f"about {size}"
        return f"{name} {row['way']} by {about}{unit_words(row['unit'])} (90 % interval {low} to {high})"

    def _goodness(self):
        """How likely a good casting is with each of the two, and which is better."""
        if self.chances is None:
            return
        gain = self.chances[:, 1] - self.chances[:, 0]
        better = int(np.mean(gain > 0) > 0.5)
        low, high = np.quantile(gain if better else -gain, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
        shown = (chance_figures(row) for _, row in mean_and_interval(self.chances).iterrows())
        counts = (f"{many} with {name}" for name, many in zip(self.names, shown, strict=True))
        verdict = f"{self.names[better]} is the better, by {in_hundred(low)} to {in_hundred(high)}"
        yield f"Good castings in 100: {listed(counts)}; {verdict if low > LEAST else 'cannot tell yet which is better'}."

    def _outside(self):
        """Which settings were never poured, and which readings never taken."""
        texts = dict.fromkeys(part for text in self.table["beyond"] for part in text.split("; ") if part)
        unread = list(self.table.index[self.table["beyond"] == UNREAD])
        texts.pop(UNREAD, None)
        if texts:
            yield f"Beyond what was poured: {'; '.join(texts)}."
        if unread:
            yield f"Never read yet: {listed(unread)}."


def compare(
    fits: Fits, this: str | Mapping[str, str | float], that: str | Mapping[str, str | float], *,
    room: str | float | None = None, age: str | float | None = None
) -> Comparison:
    """Two settings, or two pours of the log, side by side.

    Parameters
    ----------
    fits : Fits
    this, that : str or dict
        The name of a pour in the log, or settings; anything left out takes its usual value, or the log's if it never met
        the usual humidity or room.
    room : str or float, optional
        Room temperature for both; by default a pour keeps its own.
    age : str or float, optional
        Age after mixing; by default that of each reading's aim, else the first planned.

    Returns
    -------
    Comparison
        The average casting at each setting in the same session from the same lots: what the settings do,
        not what the day did.

    Raises
    ------
    NoSuchName
        If a name is not in the log.
    StudyProblems
        Naming every setting that is unknown, unreadable or out of range.

    Examples
    --------
    >>> tp.compare(fits, {"catalyst": "1.2 %"}, {"catalyst": "2 %"}, room="18 degC")
    Setting 2 against setting 1, with catalyst 2 % instead of 1.2 %: gel time shorter by about 34 % (90 % interval 30 to 37), ...
    """
    names = tuple(one if isinstance(one, str) else f"setting {place}" for place, one in ((1, this), (2, that)))
    parts = [_settings_row(fits, one, room) for one in (this, that)]
    both = pd.concat(parts).set_axis(pd.Index([1, 2], name="setting"))
    table = pd.DataFrame([_comparison_row(fit, both, age) for fit in fits.values()]).set_index("reading")
    chances = chance(fits, both).draws if fits.study.aims else None
    given = ((row.iloc[0], stated_names(fits.study, one, room)) for one, row in zip((this, that), parts, strict=True) if not isinstance(one, str))
    met = "".join(dict.fromkeys(met_words(fits.study, fits.castings.pours, row, stated) for row, stated in given))
    return Comparison(fits.study, names, both, table, cautions_at(fits, both), chances, met)


def _settings_row(fits, one, room):
    """One complete row of settings, of a pour or as given."""
    if isinstance(one, str):
        fits.castings.check_pour(one)
        return settings_table(fits.study, fits.castings.pours.loc[[one]], room=room).drop(columns="age")
    return settings_table(as_met(fits.study, fits.castings.pours), one, room=room).drop(columns="age")


def _comparison_row(fit, both, age):
    """One row of the comparison."""
    reading = fit.reading
    table = settings_table(fit.study, both, age=age, reading=reading)
    drawn = change(fit, table)
    ways, unit = _more_and_less(reading, drawn.good), change_unit(reading, drawn.good)
    values = in_points(drawn.values, drawn.ratio, drawn.good)
    low, middle, high = np.quantile(values, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
    up = float(np.mean(values > 0) + np.mean(values == 0) / 2)
    this, that = np.median(drawn.averages, axis=0)
    return {
        "reading": good_words(reading, drawn.good) if drawn.good else reading.words,
        "this": this, "that": that, "difference": middle, "low": low, "high": high,
        "unit": unit, "way": ways[0] if up >= 0.5 else ways[1], "sure": max(up, 1 - up),
        "beyond": "; ".join(dict.fromkeys(text for text in beyond(fit.study, fit.rows, fit.believed.factors, table) if text)),
    }


def _is_negligible(row):
    """Whether all of the interval lies within one casting in 100 of no difference."""
    return row["unit"] == "in 100" and max(abs(row["low"]), abs(row["high"])) < ONE


def _more_and_less(reading, good):
    """The words for more and less of a reading."""
    if reading.unit in ("min", "h"):
        return "longer", "shorter"
    return ("likelier", "rarer") if good is not None else ("higher", "lower")
