"""When a casting can be demoulded, sanded or buffed: the age at which it is hard enough."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.common.problems import Problem
from testpour.common.wording import NoResult, about_age, in_markdown, listed
from testpour.models.fits import Fits
from testpour.models.scales import to_latent
from testpour.models.settings import as_met, beyond, met_words, repeated, settings_table, stated_names
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_table
from testpour.study.columns import Reading
from testpour.study.study import Study

# Shore D above which a step is usually safe: common practice, no source. A study's [ready] takes precedence.
HABIT = {"demould": 60.0, "sand": 75.0, "buff": 80.0}
HABIT_UNIT = "Shore D"
LAST = 168.0  # hours; nobody waits longer than a week on a knob
STEPS = 241
LEVELS = {"low": 0.05, "middle": 0.5, "most": 0.9, "high": 0.95}  # share of castings that are ready by then


class NoHardness(Problem):
    """The study does not say how hard a casting must be, or does not read hardness."""


@dataclass(frozen=True)
class Ready:
    """From what age on a casting is hard enough for each step of the work.

    Parameters
    ----------
    reading : Reading
    settings : DataFrame
        The settings, one row.
    table : DataFrame
        One row per step: the ``hardness`` needed, and the age in hours by which one casting in twenty
        (``low``), one in two (``middle``), nine in ten (``most``) and nineteen in twenty (``high``) have
        it; inf if that takes more than seven days. ``habit``: the threshold is the trade's, not
        the study's own.
    read : tuple of float
        Youngest and oldest age read in the log, in hours; (inf, -inf) if none is.
    outside : str
        What of the settings lies outside what was poured.
    met : str
        Which of them are as in the log instead of usual, in a sentence that begins with a space.
    cautions : Cautions
        What is refused or warned about in the settings.
    """

    reading: Reading
    settings: pd.DataFrame
    table: pd.DataFrame
    read: tuple[float, ...]
    outside: str = ""
    met: str = ""
    cautions: Cautions = field(default_factory=Cautions)

    def sentence(self) -> str:
        """When each step can be done, and how far that can be relied on."""
        return " ".join([*(self._step(step, row) for step, row in self.table.iterrows()), *self._notes()])

    __repr__ = sentence

    def _repr_markdown_(self):
        lines = "".join(f"- {in_markdown(self._step(step, row))}\n" for step, row in self.table.iterrows())
        return f"**Ready when?** {in_markdown(' '.join(self._notes()))}\n\n{lines}"

    def _step(self, step, row):
        text = f"{step.replace('_', ' ').capitalize()} ({self.reading.show(row['hardness'])})"
        if np.isinf(row["low"]):
            return f"{text}: not within 7 days. Cure it warmer or longer, or use settings that end harder."
        if np.isinf(row["most"]):
            half = "" if np.isinf(row["middle"]) else f", though one casting in two is there by {self._age(row['middle'])}"
            return f"{text}: cannot promise it within 7 days{half}. Test the piece itself, and read more pours at 3 and 7 days."
        if row["most"] <= self.read[0] and np.isfinite(self.read[0]):
            return f"{text}: nine castings in ten by {self._age(row['most'])}, the youngest age read, if not sooner."
        soon = ", the youngest age read," if row["middle"] <= self.read[0] < np.inf else ","
        spread = f"one in two by {self._age(row['middle'])}{soon} 90 % interval {self._span(row)}"
        return f"{text}: nine castings in ten by {self._age(row['most'])} ({spread}).{self._far(row)}"

    def _span(self, row):
        low, high = (self._age(row[end]) for end in ("low", "high"))
        return low if low == high else f"{low} to {high}"

    def _age(self, hours):
        return "over 7 days" if np.isinf(hours) else about_age(hours)

    def _far(self, row):
        last = self.read[1]
        late = row["most"] > last > 0
        return f" Nothing was read after {self._age(last)}: from there on it is a guess." if late else ""

    def _notes(self):
        """Cautions, and what the answer rests on besides the log."""
        yield from self.cautions.lines()
        if self.read[0] > self.read[1]:
            yield "No hardness has been read yet: this is belief only."
        elif self.outside:
            yield f"Beyond what was poured: {self.outside}."
        if self.met:
            yield self.met.strip()
        steps = listed(self.table.index[self.table["habit"].astype(bool)])
        if steps:
            yield f"The hardness for {steps} is common practice, not yours: set it under [ready] in study.toml."


def ready(fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None) -> Ready | NoResult:
    """From what age on a new casting in a new session is hard enough to demould, sand or buff.

    Parameters
    ----------
    fits : Fits
    settings : dict, optional
        One setting; anything left out takes its usual value, or the log's if it never met the usual humidity or room.
    room : str or float, optional
        Room temperature.

    Returns
    -------
    Ready or NoResult
        Scatter between sessions, lots and castings is included, but not that of single hardness readings:
        the casting itself must be hard. Ages below the youngest read are given as that age. A `NoResult`
        if the study does not read hardness, or reads it on a scale for which it states no thresholds.

    Examples
    --------
    >>> tp.ready(fits, {"catalyst": "1.5 %"}, room="18 degC")
    Demould (60 Shore D): nine castings in ten by 4 h, the youngest age read, if not sooner. Sand (75 Shore D): ...
    """
    try:
        steps = thresholds(fits.study)
    except NoHardness as problem:
        return NoResult(str(problem))
    fit = fits["hardness"]
    pours = fits.castings.pours
    one = settings_table(as_met(fits.study, pours), settings, room=room, reading=fit.reading).iloc[:1]
    ages = fit.rows["age"]
    read = (float(ages.min()), float(ages.max())) if len(ages) else (np.inf, -np.inf)
    hours = np.geomspace(min(read[0], fit.reading.ages[0] if fit.reading.ages else 4.0, LAST / 2), LAST, STEPS)
    table = pd.DataFrame({step: {"hardness": bar, **_when(fit, one, bar, hours)} for step, bar in steps.items()}).T.rename_axis("step")
    table = table.astype(float).assign(habit=[step not in fits.study.ready for step in table.index])
    outside = beyond(fit.study, fit.rows, fit.believed.factors, one.assign(age=read[1]))[0]
    met = met_words(fits.study, pours, one.iloc[0], stated_names(fits.study, settings, room))
    return Ready(fit.reading, one, table, read, outside, met, check_table(fits.study, one))


def thresholds(study: Study) -> dict[str, float]:
    """The hardness each step of the work needs: the study's own thresholds, else the trade's.

    It raises NoHardness if the study does not read hardness, or reads it on another scale and states no thresholds.
    """
    reading = next((r for r in study.readings if r.name == "hardness"), None)
    if reading is None:
        raise NoHardness("This study does not read hardness, so nothing tells when a casting is ready. Add hardness under [readings].")
    habit = HABIT if reading.unit == HABIT_UNIT else {}
    if not habit and not study.ready:
        raise NoHardness(
            f"The trade's habit is stated in {HABIT_UNIT}, and no scale converts to another. Write your own under "
            f'[ready] in study.toml, for example: demould = "40 {reading.unit}"'
        )
    return {**habit, **study.ready}


def _when(fit, one, bar, hours):
    """Hours by which given shares of castings have reached `bar`; inf if not within `hours`."""
    table = repeated(one, age=hours)
    sd = np.sqrt(np.maximum(fit.scatter() ** 2 - fit.posterior.sd**2, 1e-12))[:, None]
    need = to_latent(fit.reading, np.array([bar]), None)
    share = np.maximum.accumulate(ndtr((fit.mean(table) - need) / sd).mean(axis=0))
    return {name: _crossing(share, hours, level) for name, level in LEVELS.items()}


def _crossing(share, hours, level):
    """The age at which `share` first reaches `level`, interpolated linearly in log age."""
    return float(np.exp(np.interp(level, share, np.log(hours), right=np.inf)))
