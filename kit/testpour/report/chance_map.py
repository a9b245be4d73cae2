"""The chance of a good casting over two settings, as a map."""

from collections.abc import Mapping

import numpy as np
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from testpour.advice.candidates import allowed
from testpour.common.problems import Problem
from testpour.common.wording import listed
from testpour.models.chance import chance, chance_words, mean_and_interval
from testpour.models.fits import Fits
from testpour.models.settings import as_met, met_words, repeated, settings_table, stated_names
from testpour.study.cautions import check_ends
from testpour.study.picture import INK, Picture, drawn_ends, label_axis, new_picture

STEPS = 31
OUT = "refused, or likely to boil"
LEVELS = (0.1, 0.25, 0.5, 0.75, 0.9)


def show_chance(
    fits: Fits, x: str = "catalyst", y: str = "room_temperature",
    fixed: Mapping[str, str | float] | None = None, *, room: str | float | None = None
) -> Picture:
    """The chance of a good casting over two settings.

    Parameters
    ----------
    fits : Fits
    x, y : str
        Names of two numeric factors.
    fixed : dict, optional
        The other settings, for example ``{"thickness": "12 mm"}``; anything left out takes its usual value.
    room : str or float, optional
        Room temperature, where it is neither `x` nor `y`.

    Returns
    -------
    Picture
        A matplotlib Figure. Darker means likelier good, and each line carries its chance in 100. Rings:
        what was poured, whatever its other settings. Hatched: beyond what was poured. Crossed out, and never the
        highest: what is refused, or likely to boil.

    Raises
    ------
    NoAims
        If the study states no aim.
    Problem
        If `x` or `y` is not a numeric factor of the study, or both are the same.

    Examples
    --------
    >>> tp.figures.show_chance(fits).says
    'Chance of a good casting: highest here at catalyst 1.8 % and room temperature 22 °C, about 99 in 100 ...'
    """
    across, up = _numeric(fits.study, x), _numeric(fits.study, y)
    if x == y:
        raise Problem(f"A map needs two different settings, and both are {x}.")
    pours = fits.castings.pours
    columns, rows = (drawn_ends(f, pours[f.name]) for f in (across, up))
    grid = np.meshgrid(np.linspace(columns[0], columns[1], STEPS), np.linspace(rows[0], rows[1], STEPS))
    one = settings_table(as_met(fits.study, pours), fixed, room=room)
    table = repeated(one, **{x: grid[0].ravel(), y: grid[1].ravel()})
    chances, safe = mean_and_interval(chance(fits, table).draws), allowed(fits, table)
    met = chances["chance"].to_numpy()
    poured = [(pours[f.name].min() - f.step, pours[f.name].max() + f.step) for f in (across, up)]  # one step wider at each end
    as_logged = met_words(fits.study, pours, one.iloc[0], stated_names(fits.study, fixed, room) | {x, y})
    picture, [[ax]] = new_picture(_title(fits.study, table, np.where(safe, met, -1.0), chances, (across, up), poured, as_logged), height=5.2,
                                cautions=check_ends(fits.study, table))
    _draw_map(picture, ax, grid, met.reshape(STEPS, STEPS))
    if not safe.all():
        out = (~safe).reshape(STEPS, STEPS).astype(float)
        ax.contourf(*grid, out, levels=[0.5, 1.5], colors=["white"], hatches=["xx"], zorder=2.5)
        ax.add_patch(Rectangle((0, 0), 0, 0, facecolor="white", edgecolor="#404040", hatch="xx", linewidth=0, label=OUT))
    _hatch_beyond(ax, (columns, rows), poured)
    ax.plot(pours[x], pours[y], "o", color=INK, markerfacecolor="white", markersize=7, linestyle="none", clip_on=False,
            zorder=5, label="poured")
    ax.set(xlim=columns, ylim=rows)
    label_axis(ax, "x", across)
    label_axis(ax, "y", up)
    picture.legend(loc="outside lower left", frameon=False, ncols=2)
    return picture


def _numeric(study, name):
    allowed = {f.name: f for f in study.factors if f.kind == "number"}
    if name not in allowed:
        few = f"A map needs two settings that are numbers, and this study has {listed(allowed) or 'none'}: show_reading draws one."
        wrong = f"{name} is not a number of this study to draw along an axis: choose two of {', '.join(allowed)} for x and y."
        raise Problem(few if len(allowed) < 2 else wrong)
    return allowed[name]


def _draw_map(picture, ax, grid, met):
    shades = ax.contourf(*grid, met, levels=np.linspace(0, 1, 11), cmap="Blues", vmax=1.15)
    lines = ax.contour(*grid, met, levels=LEVELS, colors=INK, linewidths=1)
    labels = ax.clabel(lines, fmt=lambda level: f"{100 * level:.0f} in 100", fontsize=9.5)
    for label in labels:
        label.set_path_effects([withStroke(linewidth=3, foreground="white")])
    bar = picture.colorbar(shades, ax=ax, ticks=np.linspace(0, 1, 6), label="Chance of a good casting (in 100)")
    bar.ax.set_yticklabels([f"{100 * tick:.0f}" for tick in np.linspace(0, 1, 6)])


def _hatch_beyond(ax, ends, poured):
    """Hatch what lies outside the box of what was poured."""
    (left, right), (bottom, top) = ends
    (x0, x1), (y0, y1) = poured
    if np.isnan(x0 + y0):
        x0, x1, y0, y1 = right, right, bottom, top
    x0, x1, y0, y1 = max(x0, left), min(x1, right), max(y0, bottom), min(y1, top)
    style = {"facecolor": "#80808033", "edgecolor": "#404040", "hatch": "///", "linewidth": 0, "zorder": 3}
    style["label"] = "beyond what was poured"
    for (a, b), (c, d) in (((left, x0), (bottom, top)), ((x1, right), (bottom, top)),
                           ((x0, x1), (bottom, y0)), ((x0, x1), (y1, top))):
        if b - a > 1e-9 and d - c > 1e-9:
            ax.fill_between([a, b], c, d, **style)
            style["label"] = "_"


def _title(study, table, met, chances, factors, poured, as_logged):
    best = int(np.argmax(met))
    if met[best] < 0:
        return "Chance of a good casting: every setting on this map is refused, or likely to boil."
    at = [table[f.name].iloc[best] for f in factors]
    within = all(low <= value <= high for value, (low, high) in zip(at, poured, strict=True))
    where = " and ".join(f"{f.words} {f.show(table[f.name].iloc[best])}" for f in factors)
    others = [f for f in study.varied if f not in factors]
    if not any(f.name == "room_temperature" for f in factors) and "room_temperature" in table:
        others.append(study.factor("room_temperature"))
    beside = ", ".join(f"{f.words} {f.show(table[f.name].iloc[0])}" for f in others)
    text = f"Chance of a good casting: highest here at {where}, {chance_words(chances.iloc[best])}"
    text += f" (with {beside})." if beside else "."
    text += as_logged
    return text if within else text + " Nothing was poured there yet."
