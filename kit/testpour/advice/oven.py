"""What an hour in the oven gains: conversion of core and face, and hardness if the log has it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.advice.asking import AskedTooMuch, CureAnswer, checked_question
from testpour.common.units import show, to_unit
from testpour.common.wording import signed
from testpour.models.fits import Fits
from testpour.models.scales import to_reading
from testpour.models.settings import settings_table
from testpour.physics.casting import Casting, post_cure_programme
from testpour.physics.lots import face_of, lot_beliefs, resin_of
from testpour.physics.slab import cure_many
from testpour.study.cautions import check_settings, hottest_peak

LOTS = 24
SURE = 0.9  # share of the plausible lots that must have passed their own peak before the oven
LITTLE = 0.02  # gain in conversion below which the oven was not worth the trouble
SOFT = "How much further a casting cures when warm is the trade's guess, which a log of room-cured pours cannot improve."


@dataclass(frozen=True, repr=False)
class OvenHour(CureAnswer):
    """What a stay in the oven gains.

    Parameters
    ----------
    mix : str
        Thickness, catalyst and room in words.
    oven, hours, start : float
        Oven in degC, hold in h, and h after mixing at which it begins.
    table : DataFrame
        Rows core and face; ``before`` the oven, ``room`` (as old as after it, but left in the room) and
        ``oven``: share cured, 0 to 1, the middle of plausible lots; ``low`` and ``high`` of `oven`.
    hardness : tuple of float or None
        Change in hardness by the log's own model, in the reading's unit: middle, low, high; None if the study
        cannot tell.
    caution : str
    unit : str
        Of `hardness`.
    refuted : str
    """

    mix: str
    oven: float
    hours: float
    start: float
    table: pd.DataFrame
    hardness: tuple[float, ...] | None
    caution: str
    unit: str = ""
    refuted: str = ""

    @property
    def gain(self) -> float:
        """Share of the face's cure that the oven adds to what the room would have given."""
        return float(self.table.loc["face", "oven"] - self.table.loc["face", "room"])

    def sentence(self) -> str:
        """The answer in a few sentences."""
        core, face = self.table.loc["core"], self.table.loc["face"]
        stay = f"{self.hours:g} h at {show(self.oven, 'degC')}"
        text = f"A casting of {self.mix} is about {_percent(face['room'])} % cured at its face and {_percent(core['room'])} % in its middle without an oven. "
        if self.gain < LITTLE:
            text += f"{stay} adds hardly anything (face {_percent(face['oven'])} %): the cure is nearly complete, or the oven is too cool."
        else:
            text += (
                f"{stay} brings the face to about {_percent(face['oven'])} % ({_percent(face['low'])} to {_percent(face['high'])} by lot) "
                f"and the middle to {_percent(core['oven'])} %, which weeks in the room would not."
            )
        if self.hardness is not None:
            middle, low, high = self.hardness
            text += f" The log's hardness model puts that at {signed(middle)} {self.unit} (90 % interval {signed(low)} to {signed(high)} {self.unit})."
        return text


def _percent(share):
    return f"{100 * share:.0f}"


def oven_hour(
    fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None,
    oven: str | float = 60.0, hours: str | float = 1.0, start: str | float = 24.0
) -> OvenHour:
    """What a stay in the oven gains over the same time in the room.

    Parameters
    ----------
    fits : Fits
    settings : dict, optional
        Anything left out takes its usual value; post-cure settings in it are not read.
    room : str or float, optional
        Room temperature.
    oven, hours : str or float
        Oven temperature (degC) and hold (h).
    start : str or float
        Hours after mixing at which it goes in; the oven then rises and falls by 20 °C an hour.

    Returns
    -------
    OvenHour

    Raises
    ------
    AskedTooMuch
        Beyond the resin, the limits or what was poured, see `asking.checked_question`; or where the casting may still be heating itself.

    Examples
    --------
    >>> tp.oven_hour(fits, oven="60 degC", hours="1 h")
    The log's own peaks do not follow this calculation: ... 1 h at 60 °C brings the face to about 94 % (89 to 98 by lot) and the middle to 95 %, ...
    """
    oven, hours, start = to_unit(oven, "degC", "oven"), to_unit(hours, "h", "hours"), to_unit(start, "h", "start")
    asking = checked_question(fits, {**(settings or {}), "post_cure_time": 0.0} if fits.study.has("post_cure_time") else settings, room=room)
    warned = _check_oven(asking, oven, hours, start)
    table = _conversions(asking, oven, hours, start)
    middle = asking.study.factor("thickness").show(asking["thickness"])
    gain = _hardness(fits, asking, oven, hours)
    caution = replace(asking, warnings=(*asking.warnings, *warned)).caution(SOFT, *(_no_oven_words(fits) if gain is not None else ()))
    unit = fits["hardness"].reading.unit if "hardness" in fits else ""
    return OvenHour(f"{middle} with {asking.mix}", oven, hours, start, table, gain, caution, unit, asking.refuted)


def _check_oven(asking, oven, hours, start):
    """Warnings about the oven; raises where it makes no sense."""
    problems = []
    if not asking["room_temperature"] < oven < hottest_peak():
        room = show(asking["room_temperature"], "degC")
        problems.append(f"An oven of {show(oven, 'degC')} must be warmer than the room ({room}) and below {hottest_peak():g} °C.")
    if not 0.0 < hours <= 72.0 or not 0.0 < start <= 24.0 * 28:
        problems.append(f"A stay of {hours:g} h from {start:g} h after mixing cannot be followed: hold 0 to 72 h, begin within four weeks.")
    cautions = check_settings(asking.study, {"post_cure_temperature": oven, "post_cure_time": hours})
    problems += cautions.refusals
    if problems:
        raise AskedTooMuch(problems)
    return cautions.warnings


def _conversions(asking, oven, hours, start):
    """Shares cured before the oven, after it, and after as long in the room; refused where many lots are not past their peak."""
    lots = asking.lot.draws(LOTS, seed=2)
    resins = [_with_ceiling_slope(resin_of(lots, k), k) for k in range(LOTS)]
    programme = post_cure_programme(asking["room_temperature"], oven, hours, start)
    kinds = {"before": ((), start), "room": ((), programme[-1][0]), "oven": (programme, programme[-1][0])}
    castings = [
        Casting(asking["thickness"], asking["catalyst"], asking["room_temperature"], face=face_of(lots, k),
                programme=steps, hours=end, resin=resins[k])
        for steps, end in kinds.values() for k in range(LOTS)
    ]
    cured = cure_many(castings)
    in_room = cured["time_to_peak"].to_numpy().reshape(len(kinds), LOTS)[1]
    cooling = np.quantile(np.nan_to_num(in_room, nan=np.inf), SURE, method="higher") / 60
    if start < cooling:
        known = f"nine lots in ten are past their own peak only after {cooling:.1f} h"
        known = known if np.isfinite(cooling) else f"one lot in ten has no peak within {programme[-1][0]:.1f} h"
        said = f"{start:g} h after mixing the casting may still be liquid or heating itself: {known}. An oven adds to that heat"
        raise AskedTooMuch([f"{said}, drives styrene off and cracks the piece. Wait until it is hard and has cooled; a day is usual."])
    rows = {}
    for place in ("core", "face"):
        values = cured[f"{place}_conversion"].to_numpy().reshape(len(kinds), LOTS)
        low, high = np.quantile(values[-1], [0.05, 0.95])
        rows[place] = {**dict(zip(kinds, np.median(values, axis=1), strict=True)), "low": low, "high": high}
    return pd.DataFrame(rows).T


def _with_ceiling_slope(resin, k):
    """The k-th resin with a random slope of its conversion ceiling with temperature."""
    steep = lot_beliefs()["ceiling_slope"]["sd"] * np.random.default_rng([k, 3]).standard_normal()
    return replace(resin, ceiling_slope=max(resin.ceiling_slope + float(steep), 0.0))


def _hardness(fits, asking, oven, hours):
    """The oven's effect by the log's hardness model: change in the average casting; None if it has none."""
    if "hardness" not in fits:
        return None
    fit, age = fits["hardness"], max(fits["hardness"].reading.ages or (24.0,))
    known = [belief.informative for term, belief in zip(fit.believed.terms, fit.believed.beliefs, strict=True) if term.name == "post_cure"]
    if not known or (_no_oven_words(fits) and not known[0]):
        return None
    given = {name: value for name, value in asking.settings.items() if name != "age"}
    both = settings_table(fits.study, [given, {**given, "post_cure_temperature": oven, "post_cure_time": hours}], age=age)
    ends = to_reading(fit.reading, fit.mean(both))
    return tuple(np.quantile(ends[:, 1] - ends[:, 0], [0.5, 0.05, 0.95]))


def _no_oven_words(fits):
    """A sentence if no pour of the log has been in an oven, else nothing."""
    pours = fits.castings.pours
    if "post_cure_time" in pours and (pours["post_cure_time"].fillna(0.0) > 0).any():
        return ()
    return ("No pour of the log has been in an oven, so the hardness is belief, not this log's.",)
