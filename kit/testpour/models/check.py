"""Does a model agree with its log: each pour against its prediction from all other pours, and the whole log at once."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import chi2

from testpour.common.wording import count, in_markdown, listed, said_in_markdown
from testpour.logbook.known import TIMED, out_of_order
from testpour.models.agreement import Agreement, agreement
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.models.left_out import left_out
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import latent_ends
from testpour.models.suspects import Suspect, suspects
from testpour.study.cautions import check_shares
from testpour.study.columns import Reading

LEVEL = 0.9
FEWEST = 3  # repeats needed to judge scatter by them
TOO_ALIKE = 0.05  # chance below which repeats agree too closely, so that the model's scatter must hide a wrong shape
FALSE_ALARMS = 0.1  # pours that stand out on average in a log where nothing went wrong
NO_CONTRADICTION = "Nothing in the log contradicts the trade so far"
WHY_NARROW = "Either the model does not follow this resin everywhere, or something is at work that is not logged."


@dataclass(frozen=True, eq=False)
class Checked:
    """Predicted against seen for one reading.

    Parameters
    ----------
    reading : Reading
    table : DataFrame
        One row per reading: pour, age, low and high as seen, ``from`` and ``to`` of the 90 % interval
        predicted from the other pours, ``above`` and ``below`` (chance of reading at least as high, at least as
        low), ``inside`` (share of it in the interval, for a reading known only between two values) and
        ``odd``.
    suspects : tuple of Suspect
        The pours that stand out, with what is odd about each.
    repeats : int
        Pours with the same settings as another of their session: they show scatter without any model.
    agreement_chance : float
        Chance that repeats agree as closely as these did if the model's scatter is right; NaN with fewer
        than `FEWEST` repeats.
    """

    reading: Reading
    table: pd.DataFrame
    suspects: tuple[Suspect, ...] = ()
    repeats: int = 0
    agreement_chance: float = float("nan")

    @property
    def odd(self) -> list[str]:
        """Names of the pours that stand out."""
        return [suspect.pour for suspect in self.suspects]

    @property
    def inside(self) -> float:
        """How many readings lie in their 90 % interval, partly included ones counted in part."""
        return float(self.table["inside"].sum())

    @property
    def undercovers(self) -> bool:
        """Whether fewer lie inside than would happen by luck in one log of forty."""
        pours = max(self.table["pour"].nunique(), 1)  # readings of one pour are not independent of one another
        allowed = 2 * np.sqrt(LEVEL * (1 - LEVEL) / pours)
        return bool(len(self.table) and self.inside / len(self.table) < LEVEL - allowed)

    def sentence(self) -> str:
        """The check in a few sentences."""
        words, readings = self.reading.words, len(self.table)
        if not readings:
            return f"No {words} in the log yet, so nothing can be checked."
        if self.table["pour"].nunique() == 1:
            return f"Only one pour has {words} in the log, so there is no other pour to predict it from."
        text = (
            f"{self.inside:.0f} of {count(readings, 'reading')} of {words} lie where the other pours put "
            f"nine castings in ten"
        )
        if self.undercovers:
            text += ": fewer than it should be, so trust its intervals less"
        alone = f" {self._pure_error()}" if self.repeats >= FEWEST else ""
        if not self.suspects:
            return f"{text}. No pour stands out.{alone}"
        return f"{text}. Outside: {listed(self.odd)}. {' '.join(s.sentence() for s in self.suspects)}{alone}"

    def _pure_error(self):
        """What repeats say about the model: whether its scatter hides a shape it does not follow."""
        if self.agreement_chance < TOO_ALIKE:
            return (
                f"Castings poured alike agree more closely than the model follows the settings ({count(self.repeats, 'repeat')}): "
                "it does not fit everywhere, so trust it near what was poured and no further."
            )
        return f"Castings poured alike differ as much as its scatter says ({count(self.repeats, 'repeat')})."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def check_fit(fit: ReadingFit) -> Checked:
    """Each reading of the log against what the model predicts without that pour.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Checked

    Notes
    -----
    A pour is odd if fewer than `FALSE_ALARMS` of the log's n pours would be expected to read as far out: a log where
    nothing went wrong names a pour one time in ten. Repeats are compared with the drawn scatter by the chi-square
    of their sum of squares (the pure error of a test of lack of fit; Box, Hunter and Hunter, Statistics for
    Experimenters; citation from memory), with the step of the reading counted as scatter.

    Examples
    --------
    >>> tp.check_fit(fits["gel_time"])
    17 of 18 readings of gel time lie where the other pours put nine castings in ten. No pour stands out.
    """
    predicted = left_out(fit, LEVEL)
    odd_pours = suspects(fit, predicted, FALSE_ALARMS)
    return Checked(fit.reading, predicted.assign(odd=predicted["pour"].isin([s.pour for s in odd_pours])), tuple(odd_pours), *_pure_error_of_repeats(fit))


def _pure_error_of_repeats(fit):
    """How many pours repeat another, and the chance that they agree so closely by luck."""
    low, high = latent_ends(fit.reading, fit.rows)
    known = np.isfinite(low) & np.isfinite(high)
    if fit.reading.grades or not known.any():
        return 0, float("nan")
    used = [name for term in fit.believed.terms for name in term.factors if name in fit.rows]
    names = list(dict.fromkeys([*used, *(["age"] if fit.reading.ages else []), "session", "pour"]))
    rows = fit.rows.loc[known, names].assign(at=((low + high) / 2)[known], step=((high - low) ** 2 / 12)[known])
    pours = rows.groupby(names, dropna=False).agg(at=("at", "mean"), step=("step", "mean"), reads=("at", "size")).reset_index()
    alike = pours.groupby(names[:-1], dropna=False)
    squares = float(((pours["at"] - alike["at"].transform("mean")) ** 2).sum())
    repeats = int(len(pours) - alike.ngroups)
    if repeats < FEWEST:
        return repeats, float("nan")
    posterior, again = fit.posterior, pours[alike["at"].transform("size") > 1]
    one = posterior.sd**2 / again["reads"].mean() + posterior.group_sds.get("pour", np.zeros(1)) ** 2 + again["step"].mean()
    return repeats, float(chi2.cdf(squares / one, repeats).mean())


@dataclass(frozen=True)
class CheckedLog:
    """Everything in a log that deserves a second look.

    Parameters
    ----------
    checked : dict
        Reading name to `Checked`.
    agreements : dict
        Reading name to `Agreement`.
    contrary : tuple of str
        Effects, in words, that go the other way than the trade expects.
    out_of_order : dict, optional
        Pour to the reason why its times cannot all be right.
    shares : dict, optional
        Pour that set to the reason why its catalyst is probably wrong.
    """

    checked: dict[str, Checked]
    agreements: dict[str, Agreement]
    contrary: tuple[str, ...] = ()
    out_of_order: dict[str, str] = field(default_factory=dict)
    shares: dict[str, str] = field(default_factory=dict)

    @property
    def table(self) -> pd.DataFrame:
        """One row per pour and reading that stands out: pour, reading, how often a casting reads so far out by luck, and what it says."""
        rows = [
            {"pour": suspect.pour, "reading": one.reading.words, "by luck": suspect.tail, "says": suspect.sentence()}
            for one in self.checked.values()
            for suspect in one.suspects
        ]
        warnings = (("catalyst", self.shares), ("order of its times", self.out_of_order))
        rows += [{"pour": pour, "reading": what, "by luck": 0.0, "says": f"{pour}: {warning}"} for what, why in warnings for pour, warning in why.items()]
        return pd.DataFrame(rows, columns=["pour", "reading", "by luck", "says"])

    @property
    def odd(self) -> list[str]:
        """Names of the pours that stand out, those odd in most readings first."""
        return self.table["pour"].value_counts().index.tolist()

    def sentence(self) -> str:
        """What stands out, in a sentence or two."""
        pours = max((one.table["pour"].nunique() for one in self.checked.values()), default=0)
        if not pours:
            return "No readings are in the log yet, so nothing can be checked."
        where = self.table.groupby("pour", sort=False)["reading"].agg(listed)
        again = {suspect.pour for one in self.checked.values() for suspect in one.suspects if not suspect.alone} | {*self.shares, *self.out_of_order}
        odd, alone = (listed(f"{pour} ({where[pour]})" for pour in self.odd if (pour in again) == so) for so in (True, False))
        strange = listed(one.reading.words for one in self.agreements.values() if one.warns)
        undercovering = listed(one.reading.words for one in self.checked.values() if one.undercovers)
        sentences = ["No pour stands out." if pours > 1 else "No reading was taken of more than one pour yet, so there is no other to compare with."]
        if odd:
            sentences = [f"{count(len(again), 'pour')} to look at again: {odd}."]
        elif alone:
            sentences = ["No pour stands out among those with others close by."]
        if alone:
            sentences.append(f"The readings of {alone} are not as predicted, but no other pour is close: the model may be wrong there, or the pour.")
        if strange:
            sentences.append(f"Log and trade differ about {strange}.")
        elif pours > 1 and any(one.believed for one in self.agreements.values()):
            sentences.append(f"{f'The log contradicts the trade only about {listed(self.contrary)}' if self.contrary else NO_CONTRADICTION}.")
        if undercovering and pours > 1:
            sentences.append(f"Trust the intervals of {undercovering} less: they are narrower than this log deserves. {WHY_NARROW}")
        return " ".join(sentences)

    __repr__ = sentence

    def _repr_markdown_(self):
        lines = [*self.table["says"], *(one.sentence() for one in self.agreements.values() if one.warns)]
        return f"**{in_markdown(self.sentence())}**\n\n" + "".join(f"- {in_markdown(line)}\n" for line in lines)


def check_log(fits: Fits) -> CheckedLog:
    """Pours that stand out in any reading, and readings where log and belief disagree.

    Parameters
    ----------
    fits : Fits

    Returns
    -------
    CheckedLog
        Its table has one row per pour and reading that stands out; nothing is left out of any fit.

    Examples
    --------
    >>> tp.check_log(fits)
    3 pours to look at again: P11 (hardness), P12 (hardness) and P15 (opacity). Nothing in the log contradicts the trade so far.
    """
    read = {name: fit for name, fit in fits.items() if len(fit.rows)}
    contrary = tuple(f"what {e.factor.words} does to {e.reading.words}" for fit in read.values() for e in effects(fit).each if e.contrary)
    times = fits.castings.readings[fits.castings.readings["reading"].isin(TIMED)]
    order = {str(pour): out_of_order(fits.study, rows.itertuples()) for pour, rows in times.groupby("pour", sort=False)}
    return CheckedLog(
        {name: check_fit(fit) for name, fit in read.items()}, {name: agreement(fit) for name, fit in read.items()}, contrary,
        {pour: why for pour, why in order.items() if why}, _catalyst_warnings(fits.castings, times),
    )


def _catalyst_warnings(castings, times):
    """Pour to a warning, for pours that set with hardly any catalyst."""
    doses = castings.pours.loc[castings.pours.index.isin(times.loc[times["high"] < np.inf, "pour"])].get("catalyst", pd.Series(dtype=float))
    warnings_of = {str(pour): check_shares(castings.study, {"catalyst": percent}).warnings for pour, percent in doses.items()}
    return {pour: " ".join(warnings) for pour, warnings in warnings_of.items() if warnings}
