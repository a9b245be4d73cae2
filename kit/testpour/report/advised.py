"""The advice on the page and the sheets: settings for each room and what to expect, the chart, and what to pour next."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from testpour.advice.batch import ENOUGH, next_pours
from testpour.advice.chart import recipe_chart
from testpour.advice.chart_page import recipe_lines
from testpour.advice.conflicts import UNADVISED, Unadvised
from testpour.advice.recommend import Recommendation, at_its_age, recommend, settings_words
from testpour.common.units import show, unit_words
from testpour.common.wording import NoResult, count
from testpour.models.chance import chance_between
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.report.figures import show_chance
from testpour.report.findings import figure_data, image_kind

MOST_ROOMS = 3
Rooms = str | float | Sequence[str | float | None] | None  # °C, or text with a unit, one or several; None for the rooms in the log
Advice = Sequence[tuple[str | float | None, Recommendation | Unadvised]]  # each room with its recommendation, or why there is none


def advice(fits: Fits, room: Rooms = None) -> Advice:
    """The recommendation for each room, or the reason why there is none."""
    by_room: list[Any] = []
    for temperature in rooms(fits, room):
        try:
            by_room.append((temperature, recommend(fits, room=temperature)))
        except UNADVISED as problem:
            by_room.append((temperature, problem))
    return by_room


def advised(fits: Fits, given: Advice) -> dict[str, Any]:
    """The recommended settings for each room, with what to expect there; the map, and the chart for the wall."""
    sentences = [str(answer) if isinstance(answer, UNADVISED) else answer.sentence() for _, answer in given]
    recommended = [(room, answer) for room, answer in given if not isinstance(answer, UNADVISED)]
    fixed = beside_catalyst(recommended[0][1]) if recommended else None  # the map shows the first room's settings
    return {
        "rooms": sentences, "expect": _expected(fits, recommended), "figure": chance_figure(fits, fixed, image_kind(fits.castings)),
        "chart": _chart_words(fits),
    }


def chance_figure(fits: Fits, fixed: Mapping[str, float] | None, kind: str = "svg") -> dict[str, str] | None:
    """The map of chances over catalyst and room, as `findings.figure_data` gives it; None if the study lacks one of them, or an aim."""
    numbers = {f.name for f in fits.study.factors if f.kind == "number"}
    return figure_data(show_chance, fits, fixed=fixed, kind=kind) if {"catalyst", "room_temperature"} <= numbers else None


def beside_catalyst(given: Recommendation) -> dict[str, float]:
    """The recommended settings except the catalyst, in the factors' units: the map of chances is drawn at these."""
    return {name: given.settings[name] for name in given.free if name != "catalyst"}


def rooms(fits: Fits, room: Rooms = None) -> list[str | float | None]:
    """The room temperatures to advise on: those given, else one for each whole degree in the log; only None if no room was logged."""
    if not fits.study.has("room_temperature"):
        return [None]
    if room is not None:
        return [room] if isinstance(room, str | float | int) else list(room)
    pours = fits.castings.pours
    if pours["room_temperature"].isna().all():
        return [None]
    temperature = pours["room_temperature"].dropna()
    met = temperature.groupby(np.floor(temperature)).median().tolist()  # floor: rounding to the nearest could name a room too cold to advise on
    places = np.unique(np.linspace(0, len(met) - 1, min(len(met), MOST_ROOMS)).round().astype(int))
    return [met[place] for place in places]


def _expected(fits, given):
    """What one casting at each recommendation should read: one column per room, one row per reading; None without advice."""
    if not given:
        return None
    heads = [room_words(room, recommendation, "recommended") for room, recommendation in given]
    rows = [
        (at_its_age(fits.study, fit.reading), [_range(fit.reading, recommendation.predicted.loc[fit.reading.words]) for _, recommendation in given])
        for fit in fits.values()
    ]
    return {"heads": heads, "rows": rows}


def room_words(room: str | float | None, given: Recommendation, usual: str) -> str:
    """Which room a recommendation is for: ``"room at 20 °C"``; `usual` if no room was given."""
    return usual if room is None else f"room at {show(given.settings['room_temperature'], 'degC')}"


def _range(reading, row):
    """The middle casting and the range of nine in ten, in few words."""
    if reading.grades:
        low, high = (reading.grades[round(row[end])] for end in ("low", "high"))
        return low if low == high else f"{low} to {high}"
    low, middle, high = (_two_digits(row[end]) for end in ("low", "middle", "high"))
    return f"{middle}{unit_words(reading.unit)} ({low} to {high})"


def _two_digits(value):
    """A number with as many digits as one casting justifies."""
    text = f"{value:.2g}" if abs(value) < 9.95 else f"{value:.0f}"
    return text.replace("-", "\N{MINUS SIGN}")


def still_open(fits: Fits, room: Rooms) -> dict[str, Any]:
    """What the log cannot tell yet, as settings by reading, and what to pour next."""
    unsettled_settings = {fit.reading.words: [e.factor.words for e in effects(fit).each if not (e.settled or e.negligible)] for fit in fits.values()}
    unsettled = {reading: names for reading, names in unsettled_settings.items() if names}
    try:
        next_words = _worth(next_pours(fits, room=rooms(fits, room)[-1]))
    except UNADVISED as problem:
        next_words = str(problem)
    return {"unsettled": unsettled, "next": next_words}


def _worth(given):
    """What the next pours are worth, and which they are."""
    gain, pours = 100 * given.table["gain"].iloc[-1], count(len(given.table), "more pour")
    text = (
        "The chance of a good casting with the best settings known today is "
        f"{chance_between(given.told)}{given.where}. "
    )
    if gain < 100 * ENOUGH:
        return text + f"The best {pours} would raise that by less than {100 * ENOUGH:.0f}: more of the same adds little now."
    pours_in_words = "; ".join(f"{pour} with {settings_words(given.study, row, given.free)}" for pour, row in given.table.iterrows())
    text += f"The best {pours} should raise that by about {gain:.0f}. Pour {pours_in_words}.{given.apart()}"
    return text + "".join(f" {warning}" for warning in given.cautions.warnings)


def _chart_words(fits):
    """The recipe chart as a table of words; None if the study does not vary the catalyst or has no aim."""
    try:
        chart = recipe_chart(fits)
    except ValueError:  # no aim, no room, aims that conflict
        return None
    if isinstance(chart, NoResult):  # the catalyst is not varied
        return None
    heads, rooms = chart.grid()
    rows = [(room, [_recipe(row) for row in cells]) for room, cells in rooms]
    return {"says": chart.sentence(), "workable": "gel_low" in chart.table, "heads": heads, "rows": rows}


def _recipe(row):
    """One cell of the chart: the recipe and what it gives, or what to do instead."""
    without = np.isnan(row["catalyst"])
    recipe, lines = ("", [row["advice"]]) if without else (show(row["catalyst"], "%"), recipe_lines(row))
    return {"recipe": recipe, "lines": lines, "beyond": bool(row["beyond"])}
