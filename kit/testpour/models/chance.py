"""The chance of a good casting: that one casting at given settings meets every aim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.common.problems import Problem
from testpour.common.wording import about_in_hundred, in_html, in_hundred, in_markdown, table_html
from testpour.models.beliefs import believed_peaks
from testpour.models.fits import Fits
from testpour.models.settings import SettingsGiven, as_met, met_words, settings_table, stated_names
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_gel_time, check_peak, check_table
from testpour.study.study import Study

UNTOLD = 0.8  # a chance whose interval is longer than this is not known yet


def mean_and_interval(draws: np.ndarray) -> pd.DataFrame:
    """Mean and 90 % interval of some chances from their draws, shape (draws, chances): ``chance``, ``low`` and ``high``, one row each."""
    low, high = np.quantile(draws, [0.05, 0.95], axis=0)
    return pd.DataFrame({"chance": draws.mean(axis=0), "low": low, "high": high})


def untold(row: Mapping[str, float] | pd.Series) -> bool:
    """Whether the interval of a chance, ``low`` to ``high``, leaves open what the chance is."""
    return bool(row["high"] - row["low"] > UNTOLD)


def chance_figures(row: Mapping[str, float] | pd.Series) -> str:
    """A chance as castings in 100: ``"55"``; if it is `untold` only its interval: ``"anything from 6 to 92"``."""
    return f"anything from {in_hundred(row['low'])} to {in_hundred(row['high'])}" if untold(row) else in_hundred(row["chance"])


def chance_words(row: Mapping[str, float] | pd.Series) -> str:
    """A chance as it is worded everywhere: ``"about 55 in 100"``, ``"anything from 6 to 92 in 100"``; see `chance_figures`."""
    return f"{chance_figures(row)} in 100" if untold(row) else about_in_hundred(row["chance"])


def chance_between(row: Mapping[str, float] | pd.Series) -> str:
    """The same with its 90 % interval, unless that is shown already: ``"about 55 in 100 (90 % interval 40 to 68)"``."""
    low, high = in_hundred(row["low"]), in_hundred(row["high"])
    return chance_words(row) + ("" if low == high or untold(row) else f" (90 % interval {low} to {high})")


class NoAims(Problem):
    """The study states no aim that its fits can judge."""


def check_aims(study: Study) -> None:
    """Raise NoAims for a study without an aim."""
    if not study.aims:
        raise NoAims(
            "This study states no aim, so nothing can be called good. "
            'Add one under [aims] in study.toml, for example: tack = { at_most = 1, age = "24 h" }'
        )


@dataclass(frozen=True)
class Chance:
    """Chance of a good casting at each of some settings.

    Parameters
    ----------
    fits : Fits
        The fits it is worked out from.
    settings : DataFrame
        One row per setting, floats in declared units.
    draws : array
        Chance of meeting every aim, for each draw of the unknowns: shape (draws, rows).
    by_aim : DataFrame
        Mean chance of meeting each aim alone; one column an aim, in words.
    stated : frozenset of str
        Names of the settings that a person gave.
    """

    fits: Fits
    settings: pd.DataFrame
    draws: np.ndarray
    by_aim: pd.DataFrame
    stated: frozenset[str] = frozenset()

    @property
    def table(self) -> pd.DataFrame:
        """One row per setting: chance, its 90 % interval, and the aim most often missed."""
        return mean_and_interval(self.draws).set_axis(self.settings.index).assign(**{"most often missed": self.by_aim.idxmin(axis=1)})

    @property
    def untold(self) -> bool:
        """Whether the interval of the first setting leaves open what its chance is."""
        return untold(self.table.iloc[0])

    @property
    def cautions(self) -> Cautions:
        """What is refused or warned about in the settings, and in the gel time and peak predicted there."""
        return cautions_at(self.fits, self.settings)

    def sentence(self) -> str:
        """The chance in a sentence, for the first setting, and what is refused or warned about."""
        return self.cautions.around(self.verdict() + self.met())

    def verdict(self) -> str:
        """The chance alone in a sentence, for the first setting."""
        row = self.table.iloc[0]
        verdict = f"{'cannot tell yet, ' if self.untold else ''}{chance_between(row)}"
        which = f" with {self.settings.index[0]}, the first of {len(self.settings)} settings" if len(self.settings) > 1 else ""
        return f"Chance of a good casting{which}: {verdict}. The aim most often missed: {row['most often missed']}."

    def met(self) -> str:
        """Which values of the first setting are as in the log instead of usual, in a sentence that begins with a space."""
        return met_words(self.fits.study, self.fits.castings.pours, self.settings.iloc[0], self.stated)

    __repr__ = sentence

    def _repr_markdown_(self):
        if len(self.settings) == 1:
            return in_markdown(self.sentence())
        lines = "".join(f"<p>{in_html(line)}</p>" for line in self.cautions.lines())
        return table_html(self.table.round(2)) + lines


def chance(fits: Fits, settings: SettingsGiven | None = None, *, room: str | float | None = None) -> Chance:
    """Chance that one new casting in a new session meets every aim.

    Parameters
    ----------
    fits : Fits
    settings : dict, list of dict or DataFrame, optional
        See `settings_table`; anything left out takes its usual value, or the log's if it never met the usual humidity or room.
    room : str or float, optional
        Room temperature.

    Returns
    -------
    Chance
        Session and reading scatter included, the spread of both and of the mean narrowed (see `fits`). The readings'
        scatter is taken as independent of one another once the settings are known.

    Raises
    ------
    NoAims
        If the study has no aim.

    Examples
    --------
    >>> tp.chance(fits, {"catalyst": "1.5 %", "thickness": "1/2 in"}, room="68 degF")
    Chance of a good casting: about 90 in 100 (90 % interval 62 to over 99). The aim most often missed: gel time 15 to 45 min.
    """
    study = fits.study
    check_aims(study)
    table = settings_table(as_met(study, fits.castings.pours), settings, room=room)
    by_aim, draws = {}, np.ones((1, 1))
    for aim in study.aims:
        reading = study.reading(aim.reading)
        at_age = table.assign(age=aim.age) if aim.age is not None else table
        met = fits.calibrated[aim.reading].chances(at_age, aim.at_least, aim.at_most, shape_known=False)
        draws = draws * met
        by_aim[aim.words(reading)] = met.mean(axis=0)
    return Chance(fits, table, draws, pd.DataFrame(by_aim, index=table.index), stated_names(study, settings, room))


def cautions_at(fits: Fits, table: pd.DataFrame) -> Cautions:
    """Cautions for complete settings.

    For every row, and for the quickest gel and the hottest peak predicted; the trade's peak if the study reads none.
    """
    cautions = check_table(fits.study, table[[factor.name for factor in fits.study.factors if factor.name in table]])
    if len(table) and "gel_time" in fits:
        cautions += check_gel_time(float(fits["gel_time"].predict(table)["middle"].min()))
    if len(table):
        read = any(fit.reading.scale == "rise" for fit in fits.values())
        cautions += check_peak(float(peaks_at(fits, table).max()), "" if read else "the trade's peak temperature of")
    return cautions


def peaks_at(fits: Fits, table: pd.DataFrame) -> np.ndarray:
    """The peak of each row of complete settings, degC: as predicted, or as the trade believes if the study reads none."""
    fit = next((fit for fit in fits.values() if fit.reading.scale == "rise"), None)
    return believed_peaks(fits.study, table) if fit is None else fit.predict(table)["middle"].to_numpy()
