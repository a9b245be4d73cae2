"""Refusals and warnings about numbers: settings, predicted readings, masses, doses."""

from __future__ import annotations

import math
from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.common.units import show, to_unit
from testpour.common.wording import capital, listed
from testpour.study.catalogue import catalogue
from testpour.study.caution_rules import Cautions, rules, side_of, words_of
from testpour.study.mixing import check_study, role_of

if TYPE_CHECKING:
    import pandas as pd

    from testpour.study.columns import Reading
    from testpour.study.study import Study

ASIDE = ("age", "session")  # columns of a settings table that are not settings
SLACK = 1e-9  # rounding error by which a setting may pass its limit
THERMOMETERS = 1.0  # K by which two thermometers may differ; common practice, no source
SHORTEST_GEL = 3.0  # min, too short to stir and pour; common practice, no source
SHARES = {"g/kg": 0.1, "mg/g": 0.1, "permille": 0.1, "‰": 0.1, "ppm": 1e-4, "mg/kg": 1e-4}  # other ways to write a share, in %


def check_settings(study: Study | None, settings: Mapping[str, Any]) -> Cautions:
    """Refusals and warnings for one row of settings.

    Parameters
    ----------
    study : Study or None
        Gives the unit of each setting and the kind of resin; with None, the catalogue's units are used.
    settings : dict
        Setting name to float in its declared unit, complete or not. A setting without limits passes.

    Returns
    -------
    Cautions
        A setting whose number is missing (NaN) is warned about: its limits were not checked. So is a name
        that is not a setting of the study or the catalogue. A peroxide under another name ("hardener") has the
        limits of the catalyst.

    Notes
    -----
    Thickness beyond what was poured is not checked here, but by the models.

    Examples
    --------
    >>> tp.check_settings(study, {"catalyst": "9 %"})
    Refused: Catalyst 9 % is above 4 %. So much peroxide may stop the resin from curing, and the heat may start a fire. ...
    """
    factors = {factor.name: factor for factor in study.factors} if study is not None else {}
    found = check_study(study) if study is not None else Cautions()
    found += _chosen_together(study, settings)
    for name, value in settings.items():
        factor = factors.get(name)
        if factor is not None and name != "catalyst" and _is_peroxide(factor):
            found += _peroxide(factor, value) if value is not None else Cautions()
        elif value is not None and name in _limited():
            found += _check(name, value, factor and factor.unit)
        elif factor is None:
            found += _unknown(name, factors)
    return found


def _chosen_together(study, settings):
    """A refusal for each choice, see `Study.one_of`, of which one row of settings has two."""
    found = Cautions()
    for choice in _choices(study):
        given = {study.factor(name): settings[name] for name in choice if settings.get(name) is not None}
        yes = [factor.words for factor, value in given.items() if (factor.parse(value) if isinstance(value, str) else value) == 1]
        if len(yes) > 1:
            found += Cautions((f"{capital(listed(yes))} are chosen together, and [one_of] in the study file says that a pour has one at most. Leave one.",))
    return found


def _choices(study):
    """Names of the factors of each choice."""
    return list(study.one_of.values()) if study is not None else []


def clash(study: Study, settings: Mapping[str, Any] | pd.DataFrame) -> Any:
    """Whether two factors of one choice are yes, see `Study.one_of`: in one row of settings, or in each of a table."""
    return sum(sum(np.asarray(settings[name], float) == 1 for name in names if name in settings) > 1 for names in study.one_of.values()) > 0


def _is_peroxide(factor):
    """Whether a factor is an amount of peroxide, by its name or its words: MEKP, hardener, initiator."""
    return factor.kind == "number" and "peroxide" in (role_of(factor.name.replace("_", " ")), role_of(factor.words))


def _peroxide(factor, value):
    """Check an amount of peroxide under another name against the limits of the catalyst, if it is a share."""
    unit = factor.unit
    if unit in SHARES and isinstance(value, int | float):
        value, unit = value * SHARES[unit], "%"
    if unit == "%":
        return _check("catalyst", value, unit, factor.words)
    said = f"{factor.words.capitalize()} is given in {unit or 'plain numbers'}, so the limits of peroxide were not checked."
    return Cautions(warnings=(f"{said} Give it in % of the resin's weight.",))


@cache
def _limited():
    return frozenset(limit["setting"] for limit in rules()["limits"])


def _unknown(name, factors):
    """A warning about a name that is not a setting, and so was not checked."""
    known = {*factors, *catalogue()["factors"], *ASIDE, *_limited()}
    if name in known:
        return Cautions()
    meant = get_close_matches(str(name), sorted(known - set(ASIDE)), 1)
    hint = f"{meant[0]} may be meant" if meant else f"the settings are {', '.join(factors or catalogue()['factors'])}"
    return Cautions(warnings=(f"{name} is not a setting known here, so it was not checked; {hint}. Write its name as the study does.",))


def check_table(study: Study | None, table: pd.DataFrame) -> Cautions:
    """Refusals and warnings for all rows of a settings table (floats in declared units), a sentence for each limit.

    Without a study, only the limits that apply to every study are checked.
    """
    each = ({name: value} for name in table.columns for value in dict.fromkeys(table[name].dropna()))
    choices = table[table.columns.intersection(sum(_choices(study), ()))].drop_duplicates()
    together = (_chosen_together(study, settings) for settings in choices.to_dict("records"))
    return sum((check_settings(study, settings) for settings in each), sum(together, check_settings(study, {}))).joined()


def check_ends(study: Study | None, table: pd.DataFrame) -> Cautions:
    """Refusals and warnings at the lowest and the highest value of each setting in a figure."""
    return check_table(study, table.drop(columns=list(sum(_choices(study), ())), errors="ignore").select_dtypes("number").agg(["min", "max"]))


def check_shares(study: Study, settings: Mapping[str, Any]) -> Cautions:
    """A warning if a setting in % is so small that a share may be meant: 0.02 for 2 %.

    `settings` are as for `check_settings`. For catalyst, that is too little for any resin to set. For any other setting,
    it is a number below the study's span, or within a span from 0, that is inside the span when multiplied by a hundred.
    """
    given = [(factor, settings.get(factor.name)) for factor in study.factors if factor.is_share]
    return sum((_share(factor, value) for factor, value in given if value is not None), Cautions())


def _share(factor, value):
    """`check_shares` for one setting."""
    if factor.name == "catalyst":
        least = min(limit["below"] for limit in rules()["limits"] if limit["setting"] == "catalyst" and "below" in limit)
        return _check("catalyst", value) if 0 <= value < least else Cautions()
    if not value or not factor.span:
        return Cautions()
    low, high = min(factor.span), max(factor.span)
    if not low <= 100 * value <= high or not (value < low or low == 0):
        return Cautions()
    meant = show(100 * value, factor.unit, 4)
    said = f"{factor.words.capitalize()} {show(value, factor.unit, 4)} may be a share of the resin, written where per cent is meant: {meant} is within what"
    return Cautions(warnings=(f"{said} the study varies, {factor.between(low, high)}. Write a share of {value:.4g} as {meant}.",))


def check_gel_time(minutes: str | float, words: str = "") -> Cautions:
    """A warning if a gel time (min) leaves no time to pour; `words` name it, by default as a prediction."""
    return _check("gel_time", _cut(minutes, "min", 0.1), words=words)


def check_peak(degC: str | float, words: str = "") -> Cautions:
    """A refusal or warning if a peak temperature (degC) is too high; `words` name it, by default as a prediction."""
    return _check("peak_temperature", _cut(degC, "degC", 1), words=words)


def check_read(reading: Reading, low: float, high: float, room: float = math.nan) -> Cautions:
    """A warning if a reading may be in another unit, or is impossible.

    That is a peak so high that the thermometer may have shown °F, or below the room, and a gel time so short that hours
    may be meant. `low` and `high` are equal if exact, -inf and inf where open; without `room` (°C) a peak is not
    compared with it.
    """
    if reading.name == "gel_time" and reading.unit == "min" and 0 <= low and high < SHORTEST_GEL:
        said = f"A gel time of {show(high, 'min')} leaves no time to stir and pour. If hours were meant, correct it"
        return Cautions(warnings=(f"{said}: {high:g} h is {show(60 * high, 'min')}.",))
    if reading.scale != "rise":
        return Cautions()
    if high < room - THERMOMETERS:
        said = f"A peak of {show(high, 'degC')} is below the room it was poured in, {show(room, 'degC')}, which cannot be: resin warms as it cures."
        return Cautions(warnings=(f"{said} Check both against the bench sheet and correct the one that is wrong.",))
    if not low >= hottest_peak():
        return Cautions()
    said = f"A peak of {show(low, 'degC')} is at or above {show(hottest_peak(), 'degC')}, where styrene boils."
    meant = show(to_unit(f"{low} degF", "degC", reading.words), "degC", 2)
    return Cautions(warnings=(f"{said} If the thermometer showed °F, correct it: {low:g} °F is {meant}.",))


def check_batch(grams: str | float) -> Cautions:
    """A warning if a pot of mix (g) is so large that it heats itself dangerously.

    Frank-Kamenetskii: a lump with a cold surface heats itself without end where E q r^2 / (k R T^2) passes 3.32
    (sphere). With E 45 kJ/mol, k 0.20 W/(m K), T 298 K and q = 1150 kg/m3 x 300 kJ/kg x 6.0e-5 1/s, the fastest
    heat of a casting resin at 25 °C (numbers of that order, from memory, not read), r is 23 mm: 50 mL, 60 g. So
    any cup that is left standing runs hot, and a pot is safe only while it can be poured out before its gel;
    the 500 g from which that is doubtful are common practice, no source.
    """
    return _check("pot_mass", grams)


def check_delivered(most: float) -> Cautions:
    """A warning if a scale may deliver more catalyst (%) than the limit; `most` is NaN if that is not known."""
    found = check_settings(None, {"catalyst": most})
    if not found:
        return found if math.isnan(most) else Cautions()
    said = f"This scale may deliver up to {show(most, '%', 4)} of catalyst without showing it. {found.refusals[0]}"
    return Cautions(warnings=(f"{said} Mix more at once or use a finer scale.",))


def hottest_peak() -> float:
    """The predicted peak (degC) from which a pour is refused: styrene boils there."""
    return next(limit["from"] for limit in rules()["limits"] if limit["setting"] == "peak_temperature" and limit["level"] == "refuse")


def _cut(value, unit, step):
    """A predicted value rounded down to whole steps, so that it never seems to reach a limit."""
    number = to_unit(value, unit, "prediction")
    return math.floor(number / step + SLACK) * step if math.isfinite(number) else number


def _check(name, value, unit=None, words=None):
    """The most extreme limit broken on each side, as `Cautions`."""
    limits = [limit for limit in rules()["limits"] if limit["setting"] == name]
    declared = limits[0]["unit"]
    if unit and unit != declared and not isinstance(value, str):
        value = f"{value!r} {unit}"
    value = to_unit(value, declared, name)
    words = words or words_of(limits[0])
    if math.isnan(value):
        return Cautions(warnings=(f"The {words} is not known, so its limits were not checked. Give the number.",))
    said = {"refuse": [], "warn": []}
    for limit in _broken(value, limits):
        side = side_of(limit)
        where = f"{words.capitalize()} {show(value, declared, 6)} is {'at or above' if side == 'from' else side} {show(limit[side], declared, 6)}"
        said[limit["level"]].append(f"{where}. {capital(limit['reason'])}. {limit['do']}.")
    return Cautions(tuple(said["refuse"]), tuple(said["warn"]))


def _broken(value, limits):
    """Of the limits that `value` breaks, the most extreme on each side."""
    low = [limit for limit in limits if "below" in limit and value < limit["below"] - SLACK]
    high = [limit for limit in limits if "above" in limit and value > limit["above"] + SLACK]
    high += [limit for limit in limits if "from" in limit and value >= limit["from"] - SLACK]
    return sorted(low, key=lambda limit: limit["below"])[:1] + sorted(high, key=lambda limit: limit[side_of(limit)])[-1:]
