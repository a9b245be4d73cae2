"""How a casting differs from good neighbours: the predicted difference shared out exactly over the settings."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import beta, ndtr

from testpour.causes.complaint import at_age, read_on, seen_words
from testpour.causes.whole_log import neighbours
from testpour.common.problems import Problem
from testpour.common.units import unit_words
from testpour.common.wording import listed, rounded, said_in_markdown
from testpour.models.fits import Fits
from testpour.models.scales import to_reading
from testpour.models.settings import settings_table
from testpour.study.columns import Reading

DRAWS = 1000
MOST = 12  # factors; each further one doubles the work
SMALL = 1e-9


@dataclass(frozen=True, eq=False)
class Split:
    """A predicted difference, divided among the settings that differ.

    Parameters
    ----------
    reading : Reading
    pour : str
    beside : tuple of str
        The good castings it is compared with; empty where it is compared with the usual settings.
    table : DataFrame
        One row per setting that differs: ``here``, ``there`` (words), ``middle``, ``low``, ``high`` and ``share``
        (of the whole difference). In the reading's unit; for a reading that spreads by ratios the natural
        log of the ratio, for grades the average grade. The column ``middle`` adds up to `total`.
    draws : array, shape (m, settings)
    start, end : float
        Predicted for the neighbours and for this casting.
    seen : str
        What was read, in words.
    """

    reading: Reading
    pour: str
    beside: tuple[str, ...]
    table: pd.DataFrame
    draws: np.ndarray
    start: float
    end: float
    seen: str = ""

    @property
    def total(self) -> float:
        """The whole predicted difference."""
        return self.end - self.start

    def sentence(self) -> str:
        """The difference and its largest parts."""
        words = self.reading.words
        good = f"{listed(self.beside)}, the good {'casting' if len(self.beside) == 1 else 'castings'} most like it"
        beside = good if self.beside else "the usual settings (no casting like it came out good yet)"
        if not len(self.table):
            return f"{self.pour} was poured like {beside}: its settings explain none of its {words}."
        if abs(self.total) < self._noticeable:
            return f"Compared with {beside}, the settings of {self.pour} hardly change the {words} the models expect."
        told = self.table[(self.table["share"].abs() >= 0.05) & (self.table["middle"].abs() >= self._noticeable)]
        parts = [self._part(name, row) for name, row in (told if len(told) else self.table.head(1)).iterrows()]
        return f"Compared with {beside}, the models expect {self._whole()} for {self.pour}: {'; '.join(parts)}."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown

    @property
    def _noticeable(self):
        return 0.05 if self.reading.scale == "log" else 0.1 if self.reading.grades else 0.5

    def _whole(self):
        return f"{self._size(self.total)} {'more' if self.total > 0 else 'less'} {self.reading.words}"

    def _size(self, value):
        if self.reading.scale == "log":
            return f"{rounded(100 * abs(np.expm1(value)))} %"
        unit = "grades" if self.reading.grades else self.reading.unit
        return f"{rounded(abs(value))}{unit_words(unit)}"

    def _part(self, name, row):
        way = "more" if row["middle"] > 0 else "less"
        sure = "" if row["low"] * row["high"] > 0 else ", not certain from these pours"
        return f"{name} {row['here']} instead of {row['there']}, {self._size(row['middle'])} {way}{sure}"


def split(fits: Fits, reading: str, pour: str, *, beside: pd.DataFrame | None = None) -> Split:
    """Attribute a predicted difference to the settings in which a casting differs from its good neighbours.

    The Shapley value over every order of changing the settings one by one, worked by full enumeration and
    averaged over the neighbours (Shapley 1953, in Contributions to the Theory of Games II, from memory); the
    parts add up to the predicted difference, and where a model is linear each part is its coefficient times
    the difference of the setting.
    It is compared with `beside`, one row per casting, by default the three nearest good ones, and with the usual settings where there
    are none. Intervals are of 90 %.
    """
    fit = fits[reading]
    here, there = compared(fits, fit.reading, pour, beside)
    names, parts, ends = shares(lambda table: _values(fit, table), here, there)
    middle, (low, high) = parts.mean(axis=0), np.quantile(parts, [0.05, 0.95], axis=0)
    start, end = ends
    whole = end - start
    rows = {
        _words(fits.study, name): {
            "here": _shown(fits.study, name, here[name]), "there": _shown(fits.study, name, there[name], here[name]),
            "middle": middle[i], "low": low[i], "high": high[i],
            "share": middle[i] / whole if abs(whole) > SMALL else 0.0,
        }
        for i, name in enumerate(names)
    }
    columns = ["here", "there", "middle", "low", "high", "share"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("setting")
    order = np.argsort(-np.abs(middle), kind="stable")
    beside = tuple(there.index) if has_neighbours(there) else ()
    return Split(fit.reading, pour, beside, table.iloc[order], parts[:, order], start, end, _seen(fits, reading, pour))


def compared(fits: Fits, reading: Reading, pour: str, beside: pd.DataFrame | None = None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The casting's settings and those it is compared with, complete, with the age of its reading.

    One row, and one or more, in the factors' units; `beside` is as in `split`.
    """
    near = neighbours(fits.castings, pour) if beside is None else beside
    there = settings_table(fits.study, near.copy() if len(near) else None)
    here = settings_of(fits, reading, pour)
    return here, there.assign(age=fits.study.told_at(reading)) if reading.ages else there


def has_neighbours(there: pd.DataFrame) -> bool:
    """Whether what `compared` compares with are castings, and not the usual settings."""
    return there.index.name != "setting"


def settings_of(fits: Fits, reading: Reading, pour: str) -> pd.DataFrame:
    """The settings of one casting, complete, with the age at which it was read: one row."""
    castings = fits.castings
    here = settings_table(fits.study, castings.pours.loc[[pour]].copy())
    aim = fits.study.told_at(reading)
    if aim is None:
        return here
    rows = read_on(castings, pour, reading.name)
    age = float(at_age(rows, aim)["age"].iloc[0]) if len(rows) else aim
    return here.assign(age=age if np.isfinite(age) else aim)


def shares(value: Callable[[pd.DataFrame], np.ndarray], here: pd.DataFrame, there: pd.DataFrame) -> tuple[list[str], np.ndarray, tuple[float, float]]:
    """Shapley values of going from each row of `there` to `here`, averaged over those rows.

    `value` takes a table of r settings to an array (m, r). Gives the names of the columns that differ, their parts (m, columns), and
    the mean value at `there` and at `here`.
    """
    own = here.iloc[0].astype(float).to_dict()
    names = [c for c in there if not np.allclose(there[c].astype(float), own[c], rtol=0, atol=SMALL)]
    if len(names) > MOST:
        raise Problem(f"{len(names)} settings differ, more than {MOST}; compare with pours that differ in fewer.")
    orders, tried = _memberships(len(names)), []
    for row in there.astype(float).to_dict("records"):
        apart = [i for i, name in enumerate(names) if row[name] != own[name]]  # where the two agree, a change changes nothing
        subsets = _memberships(len(apart))
        moved = {names[i]: np.where(subset, own[names[i]], row[names[i]]) for i, subset in zip(apart, subsets.T, strict=True)}
        table = pd.DataFrame(row | moved, index=range(len(subsets)))
        tried.append(value(table)[:, orders[:, apart] @ 2 ** np.arange(len(apart))])
    values = np.mean(tried, axis=0)  # what ends at `here` is the same of every row
    return names, values @ _weights(orders), (float(values[:, 0].mean()), float(values[:, -1].mean()))


def _memberships(count):
    """Every subset of `count` settings, none first and all last: (2**count, count) of bool."""
    return (np.arange(2**count)[:, None] >> np.arange(count)) % 2 == 1


def _weights(orders):
    """What each subset's value adds to each setting's Shapley value: (subsets, settings)."""
    size, rest = orders.sum(axis=1, keepdims=True), (~orders).sum(axis=1, keepdims=True)
    return np.where(orders, beta(size, rest + 1), -beta(size + 1, rest))  # (s - 1)! (n - s)! / n!, and s! (n - s - 1)! / n!


def _values(fit, table):
    """The average casting in the units of `Split.table`: shape (m, rows)."""
    pick = np.linspace(0, len(fit.posterior) - 1, min(DRAWS, len(fit.posterior))).astype(int)
    latent = fit.mean(table)[pick]
    if fit.reading.grades:
        return ndtr(latent[:, :, None] - fit.posterior.cuts[pick][:, None, :]).sum(axis=2)
    if fit.reading.scale == "log":
        return latent
    return to_reading(fit.reading, latent, table.get("room_temperature"))


def _words(study, name):
    return "age when read" if name == "age" else study.factor(name).words


def _shown(study, name, values, unlike=()):
    """Values of a setting in words, without those that are shown as one of `unlike` is."""
    if name == "age":
        show_one = "{:g} h".format
    else:
        factor = study.factor(name)
        show_one = factor.show
        values = values if factor.kind == "yes/no" else values.round(3)
    shown, same = ({show_one(float(value)): None for value in some} for some in (values, unlike))
    return listed(words for words in shown if words not in same)


def _seen(fits, reading, pour):
    rows = read_on(fits.castings, pour, reading)
    return seen_words(fits.study.reading(reading), rows) if len(rows) else ""
