"""The recipe chart: catalyst by room temperature and thickness, to pin on the wall."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from testpour.advice.candidates import allowed, checked_given, checked_room, free_factors, listed_values, nearest_usual, on_step, spread_settings
from testpour.advice.chart_page import GOOD, RecipeChart
from testpour.advice.conflicts import failing_aims
from testpour.advice.prospect import State, prospect, states_of
from testpour.advice.recommend import beyond_log, settings_words
from testpour.advice.remedy import remedies
from testpour.common.problems import Problem
from testpour.common.threads import one_thread
from testpour.common.wording import NoResult
from testpour.models.chance import cautions_at, chance, mean_and_interval, peaks_at
from testpour.models.fits import Fits
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_settings, check_table, hottest_peak

COMMON = 64  # settings tried for what all cells share; Sobol points need a power of two
LEVELS = 31  # catalyst values tried
MAY_BE = 0.95  # quantile of a chance: if that is good, the recipe may be good after all, and no other room is suggested
UNVARIED = (
    "A recipe chart says how much catalyst to use, and this study does not vary it. What to use is in section 1 of the notebook 4-next-pours, "
    'or in recommend(fits). To vary the catalyst, give it a span under [factors] in study.toml: catalyst = { from = "1 %", to = "2.5 %" }'
)
DEPTHS, ROOM_STEP = 4, 2.0  # depths shown, and °C between rooms, by default


@one_thread
def recipe_chart(
    fits: Fits, *, rooms: str | float | Sequence[str | float] | None = None,
    thicknesses: str | float | Sequence[str | float] | None = None, fixed: Mapping[str, str | float] | None = None
) -> RecipeChart | NoResult:
    """Catalyst by room temperature and thickness.

    Parameters
    ----------
    fits : Fits
    rooms : str, float or list, optional
        Room temperatures, °C or text with a unit; by default the study's span in steps of 2 °C, without those refused.
    thicknesses : str, float or list, optional
        Depths, mm or text with a unit; four over the study's span by default.
    fixed : dict, optional
        Settings that are given, for example ``{"pigment": "1 %", "cover": "yes"}``. Those left free are
        chosen once for the whole chart.

    Returns
    -------
    RecipeChart or NoResult
        A `NoResult` with what to do instead if the study does not vary the catalyst.

    Raises
    ------
    NoAims
        If the study states no aim.
    RoomProblem, SettingRefused
        If a room that is given, or every room of the study, is too cold or too hot to advise on, or the cautions refuse what is given.
    Problem
        If the catalyst is given in `fixed`.

    Examples
    --------
    >>> tp.recipe_chart(fits, rooms=["16 degC", "20 degC"], thicknesses=["6 mm", "12 mm"])
    4 of 4 cells have a recipe with a chance of at least 60 in 100, resting on 18 pours. ...
    """
    study, states = fits.study, states_of(fits)
    if "catalyst" in (fixed or {}):
        raise Problem("A recipe chart works out how much catalyst to use. Leave catalyst out of fixed.")
    free = free_factors(study, {*(fixed or {}), "thickness"})
    if not any(factor.name == "catalyst" for factor in free):
        return NoResult(UNVARIED)
    rooms = (fixed or {}).get("room_temperature") if rooms is None else rooms
    ends = {factor.name: factor.span for factor in study.factors if factor.name == "room_temperature" and rooms is None}
    cells = _cells(fits, rooms, thicknesses, fixed)
    shared = tuple(factor for factor in free if factor.name != "catalyst")
    common = _common(fits, states, cells, shared)
    cells = cells.assign(**common)
    rows = _rows(fits, states, cells)
    index = pd.MultiIndex.from_arrays(
        [cells.get(name, pd.Series(np.nan, cells.index)) for name in ("room_temperature", "thickness")],
        names=["room_temperature", "thickness"],
    )
    axes = ("catalyst", "thickness", "room_temperature")
    other_factors = [f for f in study.factors if f.kind != "text" and f.name not in axes and (f.role == "chosen" or cells[f.name].iloc[0] != f.usual)]
    names = tuple(f.name for f in other_factors if f.role != "chosen" or f.name in common or f.name in (fixed or {}))
    words = settings_words(study, cells.iloc[0], names)
    recipes = cells.assign(catalyst=rows["catalyst"])
    cautions = Cautions(check_table(study, pd.DataFrame(ends)).refusals)  # rooms of the study that are left out
    cautions += check_table(study, cells[[name for name in ("room_temperature", "thickness") if name in cells]])
    cautions += cautions_at(fits, recipes[recipes["catalyst"].notna()])
    return RecipeChart(study, rows.set_axis(index), words, fits.castings.readings["pour"].nunique(), fits.castings, cautions, bool(common))


def _rooms(study, rooms):
    """The rooms of the chart, °C, coldest first; by default those of the study's span that are not refused."""
    factors = [factor for factor in study.factors if factor.name == "room_temperature"]
    if not factors:
        return [None]
    low, high = factors[0].span
    candidates = np.arange(np.ceil(low), high + 1e-9, ROOM_STEP) if rooms is None else listed_values(rooms, "rooms")
    usable = [room for room in candidates if rooms is not None or not check_settings(study, {"room_temperature": room})]
    return sorted({checked_room(study, room) for room in usable or candidates})


def _cells(fits, rooms, thicknesses, fixed):
    """One row per room and depth, every other setting as given or usual."""
    study, rooms = fits.study, _rooms(fits.study, rooms)
    given = checked_given(fits, fixed, rooms[0])
    if study.has("room_temperature"):
        given = pd.concat([given.assign(room_temperature=room) for room in rooms], ignore_index=True)
    if study.has("thickness") and "thickness" not in (fixed or {}):
        factor = study.factor("thickness")
        depths = np.unique(on_step(factor, np.linspace(0, 1, DEPTHS))) if thicknesses is None else listed_values(thicknesses, "thicknesses")
        given = pd.concat([given.assign(thickness=depth) for depth in {factor.parse(depth) for depth in depths}], ignore_index=True)
        given = given.sort_values([n for n in ("room_temperature", "thickness") if study.has(n)], kind="stable")
    return given.reset_index(drop=True)


def _common(fits, states, cells, shared):
    """The settings all cells share: those with the best mean over cells of the best chance over catalyst; ties go to the usual."""
    if not shared:
        return {}
    study, factor = fits.study, fits.study.factor("catalyst")
    tried = spread_settings(shared, cells.iloc[[0]], COMMON)[[f.name for f in shared]]
    catalyst = np.unique(on_step(factor, np.linspace(0, 1, LEVELS // 4)))
    grid = cells.merge(pd.DataFrame({"catalyst": catalyst}), how="cross", suffixes=("_usual", ""))
    grid = grid.drop(columns="catalyst_usual").drop(columns=list(tried)).merge(tried, how="cross")
    grid = grid[[*cells.columns]]
    chances = np.where(allowed(fits, grid), prospect(states, study, grid).chance(), 0.0)
    good = chances.reshape(len(cells), len(catalyst), len(tried)).max(axis=1).mean(axis=0)
    return {name: float(value) for name, value in tried.iloc[nearest_usual(tried, good, good.max(), shared)].items()}


def _rows(fits, states, cells):
    """Each cell's best catalyst, or what to do if there is no good one, or none is known."""
    best, chances = _best_catalysts(fits, states, cells)
    rows = mean_and_interval(chance(fits, best).draws).assign(chance=chances).set_axis(best.index)
    rows.insert(0, "catalyst", best["catalyst"])
    if "gel_time" in fits:
        gel = fits["gel_time"].predict(best)
        rows = rows.assign(gel_low=gel["low"], gel_high=gel["high"])
    shown_factors = {"catalyst", "thickness", "room_temperature", *(factor.name for factor in fits.study.factors if factor.kind == "yes/no")}
    poor = chances < GOOD
    rows = rows.assign(beyond=[not shown_factors.isdisjoint(beyond_log(fits, row)) for _, row in best.iterrows()], advice="")
    rows.loc[poor, rows.columns.intersection(["catalyst", "gel_low", "gel_high"])] = np.nan
    unknown = poor & (chances > 0)  # what is refused is not tried
    unknown[unknown] = np.quantile(chance(fits, best[unknown]).draws, MAY_BE, axis=0) >= GOOD
    ask = bool(poor.all() and failing_aims(fits.study, fits.castings))
    rows.loc[poor, "advice"] = remedies(fits, states, best[poor], _best_catalysts, GOOD, unknown[poor], ask)
    return rows


def _best_catalysts(fits: Fits, states: dict[str, State], cells: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """The catalyst with the best mean chance in each of some cells (rows of `settings_table`), and that chance.

    The chance is that of `chance`, or 0 if no catalyst is allowed or the best boils styrene.
    """
    values = np.unique(on_step(fits.study.factor("catalyst"), np.linspace(0, 1, LEVELS)))
    table = cells.loc[cells.index.repeat(len(values))].assign(catalyst=np.tile(values, len(cells))).reset_index(drop=True)
    chances = prospect(states, fits.study, table).chance()
    chances = np.where(allowed(fits, table, len(cells)), chances, -1.0).reshape(len(cells), -1)
    best = cells.assign(catalyst=values[chances.argmax(axis=1)]).reset_index(drop=True)
    none = (chances.max(axis=1) < 0) | (peaks_at(fits, best) >= hottest_peak())
    return best, np.where(none, 0.0, chance(fits, best).draws.mean(axis=0))
