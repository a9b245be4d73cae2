"""Settings that may be poured or recommended: over the spans, in steps a bench can set, within the cautions."""

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri
from scipy.stats import qmc

from testpour.advice.prospect import latent_moments
from testpour.common.problems import Problem
from testpour.common.units import UnitProblem, to_unit
from testpour.models.beliefs import believed_peaks
from testpour.models.fits import Fits
from testpour.models.remainder import coordinates_of
from testpour.models.scales import to_latent
from testpour.models.settings import as_met, settings_table
from testpour.models.terms import HOURS, OVEN, one_post_cure
from testpour.planning.coding import each_of
from testpour.study.cautions import check_settings, clash, hottest_peak
from testpour.study.columns import Factor
from testpour.study.study import Study

SPREAD = 256  # settings tried; Sobol points need a power of two
BEYOND = 1.4  # points are stretched by this and clipped to the span, so that the ends are among them
ALIKE = 0.005  # a difference in chance that the draws cannot tell from none
TENTH = 0.1  # of the best chance, if that is less: otherwise all hopeless settings would count as alike
FAR = 0.2  # share of a setting's span: pours closer than this in every setting are alike
RISK = 0.2  # chance of boiling above which a pour is not proposed


class RoomProblem(Problem):
    """The room is outside what can be advised on."""


class SettingRefused(Problem):
    """The cautions refuse what is given, so no advice is built on it."""


def checked_room(study: Study, room: str | float | None) -> float | None:
    """The room temperature in °C, by default the usual one; None if the study does not record the room.

    Raises RoomProblem, with the limit and what to do, if it cannot be read or is too cold or too hot to advise on.
    """
    if not study.has("room_temperature"):
        return None
    factor = study.factor("room_temperature")
    try:
        celsius = factor.usual if room is None else to_unit(room, factor.unit, factor.words)
        refused = check_settings(study, {"room_temperature": celsius}).refusals
        if refused:
            raise RoomProblem(" ".join(refused))
        return factor.parse(celsius)
    except UnitProblem as problem:
        raise RoomProblem(str(problem)) from None


def checked_given(fits: Fits, fixed: Mapping[str, str | float] | None = None, room: str | float | None = None) -> pd.DataFrame:
    """The given settings, completed with usual values (see `as_met`): one row, in the factors' units.

    Raises SettingRefused if the cautions refuse one of them, or the study itself; for the room see `checked_room`.
    """
    study = as_met(fits.study, fits.castings.pours)
    room = (fixed or {}).get("room_temperature") if room is None else room
    given = settings_table(study, [fixed or {}], room=checked_room(study, room))
    refused = check_settings(study, {name: given[name].iloc[0] for name in fixed or () if name in given}).refusals
    if refused:
        raise SettingRefused(" ".join(refused))
    return given


def free_factors(study: Study, fixed: Collection[str] | None) -> tuple[Factor, ...]:
    """The factors to choose: those that vary and are not given."""
    return tuple(factor for factor in study.varied if factor.name not in (fixed or {}))


def spread_settings(free: tuple[Factor, ...], given: pd.DataFrame, count: int = SPREAD, seed: int = 0) -> pd.DataFrame:
    """Settings spread evenly over the spans of the free factors, ends included, in bench steps, without duplicates.

    `given` is one row with every other setting; `count` is how many are tried, a power of two.
    """
    table = given.loc[given.index.repeat(count)].reset_index(drop=True)
    if free:
        points = np.clip(0.5 + BEYOND * (_even_points(len(free), count, seed) - 0.5), 0, 1)
        for column, factor in enumerate(free):
            table[factor.name] = on_step(factor, points[:, column])
    return with_one_post_cure(table, free).drop_duplicates(ignore_index=True)


@lru_cache(maxsize=4)  # the same for every context
def _even_points(across, count, seed):
    return qmc.Sobol(across, rng=np.random.default_rng(seed)).random(count)


def with_one_post_cure(table: pd.DataFrame, free: tuple[Factor, ...]) -> pd.DataFrame:
    """The table with every post-cure that lacks heat or time set to the low end of both, as one way to do without.

    If one of the two is not free, the table stays as it is.
    """
    low = {factor.name: factor.span[0] for factor in free}
    return one_post_cure(table, (low[OVEN], low[HOURS])) if {OVEN, HOURS} <= set(low) else table


def on_step(factor: Factor, share: float | np.ndarray) -> np.ndarray:
    """A share of a factor's span, 0 to 1, as a setting rounded to a bench step inside the span."""
    low, high = factor.span
    return np.clip(factor.rounded(low + (high - low) * np.asarray(share, float)), low, high)


def nearest_usual(table: pd.DataFrame, good: np.ndarray, best: float, free: tuple[Factor, ...]) -> int:
    """Among settings as good as `best`, as far as draws can tell, the index of the one nearest the usual settings.

    `good` is the chance at each row; distance is measured in the free factors, each as a share of its span.
    """
    distance = np.zeros(len(table))
    for factor in free:
        low, high = factor.span
        distance += ((table[factor.name].to_numpy(float) - factor.usual) / (high - low)) ** 2
    return int(np.where(np.asarray(good) >= best - min(ALIKE, TENTH * best), distance, np.inf).argmin())


def as_poured(pours: pd.DataFrame, best: pd.DataFrame, free: tuple[Factor, ...]) -> pd.DataFrame:
    """One row of settings, then the same with values outside all `pours` moved to the nearest poured: all of them, then one by one.

    In bench steps and inside the spans; only the one row if nothing lies outside.
    """
    back: dict[str, float] = {}
    for factor in free:
        poured, value = pours[factor.name].dropna().astype(float), float(best[factor.name].iloc[0])
        if len(poured):
            nearest = factor.rounded(min(max(value, float(poured.min())), float(poured.max())))
            nearest = min(max(nearest, factor.span[0]), factor.span[1])
            back |= {factor.name: nearest} if nearest != value else {}
    tables = [best, *([best.assign(**back)] if back else []), *(best.assign(**{name: value}) for name, value in back.items())]
    return with_one_post_cure(pd.concat(tables, ignore_index=True), free)


def listed_values(given: Any, name: str) -> list[Any]:
    """What was given for `name`, one value or several, as a list; a Problem if it is empty."""
    if not (values := each_of(given)):
        raise Problem(f"{name} is an empty list. Give one or more, or leave {name} out.")
    return values


def in_moulds(study: Study, table: pd.DataFrame, moulds: str | float | Sequence[str | float] | None) -> pd.DataFrame:
    """The table with every thickness moved to the nearest mould at hand, without duplicates.

    Depths are in mm or text with a unit; None leaves the table as it is.
    """
    if moulds is None:
        return table
    depths = np.array([study.factor("thickness").parse(mould) for mould in listed_values(moulds, "moulds")])
    nearest = np.abs(table["thickness"].to_numpy()[:, None] - depths).argmin(axis=1)
    return table.assign(thickness=depths[nearest]).drop_duplicates(ignore_index=True)


def unlike(study: Study, table: pd.DataFrame, poured: pd.DataFrame) -> np.ndarray:
    """Which settings differ from every casting by at least `FAR` of some setting's span: a mask.

    A setting that was not logged counts as no difference.
    """
    distance = np.zeros((len(table), len(poured)))
    for coordinate in coordinates_of(study, set(table) & set(poured)):
        apart = coordinate(table)[:, None] - coordinate(poured)[None, :]
        distance = np.maximum(distance, np.nan_to_num(np.abs(apart)) / 2)  # a coordinate runs from -1 to 1
    return np.all(distance >= FAR, axis=1)


def allowed(fits: Fits, table: pd.DataFrame, choices: int = 1) -> np.ndarray:
    """Which settings no caution refuses and are unlikely to boil: a mask.

    The table holds blocks of equally many rows, one for each of some `choices`. If every setting of a block is likely to
    boil, the coolest tenth of it are allowed.
    """
    fit = next((fit for fit in fits.values() if fit.reading.scale == "rise"), None)
    kept = ~_refused(fits.study, table).reshape(choices, -1)
    if fit is None:  # no peak was ever read
        margin, least = hottest_peak() - believed_peaks(fits.study, table), 0.0
    else:
        limit = to_latent(fit.reading, np.full(len(table), hottest_peak()), table.get("room_temperature"))
        mean, variance = latent_moments(fit, table)
        margin, least = (limit - mean) / np.sqrt(variance + np.mean(fit.scatter() ** 2)), -ndtri(RISK)
    margin = margin.reshape(choices, -1)
    cool = margin > least
    some = (kept & cool).any(axis=1, keepdims=True)
    return (kept & np.where(some, cool, margin >= np.quantile(margin, 0.9, axis=1, keepdims=True))).ravel()


def _refused(study, table):
    """Which settings a caution refuses; each value of each setting is checked once."""
    refused = np.zeros(len(table), bool) | clash(study, table)
    for factor in study.factors:
        if factor.name in table and factor.role == "chosen" and factor.kind == "number":
            values, inverse = np.unique(table[factor.name], return_inverse=True)
            refused |= np.array([bool(check_settings(study, {factor.name: v})) for v in values])[inverse]
    return refused
