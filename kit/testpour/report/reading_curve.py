"""What one setting does to a reading: the average casting as a curve, and the pours as they were."""

import textwrap
from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from testpour.common.problems import Problem
from testpour.common.wording import age_words
from testpour.models.change import average_readings
from testpour.models.effects import effects, hours_poured
from testpour.models.reading_fit import ReadingFit
from testpour.models.settings import held_settings, settings_table
from testpour.models.terms import HOURS, OVEN, REFERENCE, one_post_cure
from testpour.study.cautions import check_ends
from testpour.study.columns import Reading
from testpour.study.picture import LOG, SECOND, Picture, drawable, drawn_ends, label_axis, new_picture, poured_range, shade_beyond

POINTS = 81
ASIDE = 0.15  # share of the width by which overlapping readings are shifted at most, so that yes and no stay apart


def show_reading(
    fit: ReadingFit, factor: str, settings: Mapping[str, str | float] | None = None, *,
    room: str | float | None = None
) -> Picture:
    """What one setting does to a reading.

    Parameters
    ----------
    fit : ReadingFit
    factor : str
        Name of a numeric or yes/no factor that enters the reading's model.
    settings : dict, optional
        The other settings of the curve; anything left out is held as in the effect's sentence.
    room : str or float, optional
        Room temperature; held as the other settings by default.

    Returns
    -------
    Picture
        A matplotlib Figure. Line and band: the average casting with its 90 % interval, at the age of the
        reading's aim. Dots and bars: the pours at their own settings, a bar where the reading is known
        between two values, an arrow where one end is open. Grey: where nothing was poured.

    Raises
    ------
    Problem
        If the factor does not enter the reading's model.

    Examples
    --------
    >>> tp.figures.show_reading(fits["gel_time"], "catalyst").says
    'Raising catalyst from 1 to 2.5 % shortens gel time by about 52 % ...'
    """
    column = _checked_factor(fit, factor)
    low, high = poured_range(fit.rows[factor])
    values = np.array([0.0, 1.0]) if column.kind == "yes/no" else np.linspace(*drawn_ends(column, fit.rows[factor]), POINTS)
    beside = {**held_settings(fit.study, fit.rows), **_post_cure_beside(fit, factor), **(settings or {})}
    table = settings_table(
        fit.study, [{**beside, factor: v} for v in values],
        room=None if factor == "room_temperature" else room, reading=fit.reading,
    )
    effect_sentence = next((e.sentence() for e in effects(fit).each if e.factor.name == factor), "")
    effect_sentence = effect_sentence or f"{fit.reading.words} over {column.words}".capitalize() + "."
    picture, [[ax]] = new_picture(effect_sentence, height=4.6, cautions=check_ends(fit.study, table))
    draw_average(ax, values, average_readings(fit, table, fit.mean(table)), column.kind == "yes/no")
    _draw_rows(ax, fit, fit.rows[factor], table["age"].iloc[0])
    label_axis(ax, "x", column)
    label_axis(ax, "y", fit.reading, "{}" + (f" at {age_words(table['age'].iloc[0])}" if fit.reading.ages else ""))
    if column.kind != "yes/no":
        edge = 0.03 * (values[-1] - values[0])
        ax.set_xlim(values[0] - edge, values[-1] + edge)
        shade_beyond(ax, low, high, "not poured" if low is not None else "never varied: belief only")
    picture.supxlabel(_settings_note(fit, table, factor), x=0.01, ha="left", fontsize=9)
    return picture


def draw_average(ax: Axes, values: np.ndarray, draws: np.ndarray, apart: bool = False) -> None:
    """The middle and 90 % band of the average over k `values`, of which there are `draws` (m, k).

    Dots and bars where the values stand `apart`, as yes and no do.
    """
    low, middle, high = np.quantile(draws, [0.05, 0.5, 0.95], axis=0)
    words = "average casting, 90 % interval"
    if apart:
        ax.errorbar(values, middle, [middle - low, high - middle], fmt="D", color=LOG, capsize=8, linewidth=2.4,
                    markersize=9, label=words)
    else:
        ax.fill_between(values, low, high, color=LOG, alpha=0.22, linewidth=0)
        ax.plot(values, middle, color=LOG, linewidth=2.4, label=words)


def _draw_rows(ax: Axes, fit: ReadingFit, places: np.ndarray | pd.Series, age: float | None) -> None:
    """The log's readings at `places`, side by side where they coincide; those of other ages are left out."""
    rows = fit.rows
    if fit.reading.ages:
        rows = rows[np.isclose(rows["age"], np.nan if age is None else age)]
    if not len(rows):
        return
    left, right = ax.get_xlim()
    at = places[rows.index].to_numpy(float)
    same = rows.groupby([at, "low"], dropna=False).cumcount().to_numpy()
    shift = (same + 1) // 2 * (-1) ** same  # overlapping readings are shifted alternately right and left
    step = min(0.012, ASIDE / max(np.abs(shift).max(), 1))
    draw_known(ax, at + step * (right - left) * shift, rows, fit.reading)
    ax.plot([], [], "o", color=SECOND, markerfacecolor="white", label="pours, at their own settings")
    ax.legend(loc="best", framealpha=0.9, edgecolor="none")


def draw_known(ax: Axes, at: np.ndarray | pd.Series, rows: pd.DataFrame, reading: Reading) -> None:
    """Readings as known, in rows with ``low`` and ``high``: a dot if exact, a bar between two ends, an arrow towards an open end."""
    low, high = rows["low"].to_numpy(float), rows["high"].to_numpy(float)
    exact = low == high
    between = np.isfinite(low) & np.isfinite(high) & ~exact
    ax.plot(at[exact], low[exact], "o", color=SECOND, markerfacecolor="white", markersize=6, zorder=3)
    ax.errorbar(at[between], (low + high)[between] / 2, (high - low)[between] / 2, fmt="none", ecolor=SECOND,
                elinewidth=2, capsize=4, zorder=3)
    for open_end, known, way in ((np.isposinf(high), low, 1), (np.isneginf(low), high, -1)):
        for x, y in zip(at[open_end], known[open_end], strict=True):
            if np.isfinite(y):
                ax.annotate("", (x, y), (0, 22 * way), textcoords="offset points", zorder=3,
                            arrowprops={"arrowstyle": "<-", "color": SECOND, "linewidth": 2})
                ax.plot(x, y, "_", color=SECOND, markersize=9, zorder=3)
    if not reading.grades:
        ends = np.concatenate([low[np.isfinite(low)], high[np.isfinite(high)]])
        if len(ends):
            bottom, top = ax.get_ylim()
            pad = 0.08 * (max(top, ends.max()) - min(bottom, ends.min()))
            ax.set_ylim(min(bottom, ends.min() - pad), max(top, ends.max() + pad))


def _checked_factor(fit, name):
    usable = {f.name: f for f in fit.study.numeric if f.name in fit.believed.factors}
    if name not in usable:
        raise Problem(f"{name} does not enter the model of {fit.reading.words}: choose one of {', '.join(usable)}.")
    return usable[name]


def _post_cure_beside(fit, name):
    """Hours to go with a post-cure temperature, or a temperature to go with the hours: neither does anything alone."""
    if not {OVEN, HOURS} <= fit.believed.factors:
        return {}
    if name == OVEN:
        return {HOURS: hours_poured(fit.rows)}
    if name == HOURS:
        warmest = one_post_cure(fit.rows)[OVEN].max()
        return {OVEN: warmest if warmest > REFERENCE[OVEN] else 60.0}
    return {}


def _settings_note(fit, table, moved):
    """The settings the curve is drawn at, in words."""
    names = (fit.believed.factors - {moved}) & set(table)
    settings = [f"{drawable(f.words)} {f.show(table[f.name].iloc[0])}" for f in fit.study.factors if f.name in names]
    return "\n".join(textwrap.wrap(f"Line drawn at {', '.join(settings)}.", 88, max_lines=3)) if settings else ""
