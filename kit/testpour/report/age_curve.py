"""How a reading changes with age after mixing, against what a good casting must meet."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace

import numpy as np

from testpour.common.problems import Problem
from testpour.common.wording import about_age
from testpour.models.ageing import NoHardness, thresholds
from testpour.models.chance import chance_words, mean_and_interval
from testpour.models.change import average_readings
from testpour.models.reading_fit import ReadingFit
from testpour.models.settings import as_met, met_words, repeated, settings_table, stated_names
from testpour.report.reading_curve import draw_average
from testpour.study.cautions import check_ends
from testpour.study.picture import INK, LOG, Picture, drawable, label_axis, new_picture, poured_range, shade_beyond

SURE = 0.9  # share of castings that must meet the aim from the age named in the title
YOUNGEST, OLDEST = 1.0, 336.0  # hours drawn at least


def show_age(fit: ReadingFit, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None) -> Picture:
    """A reading over age after mixing.

    Parameters
    ----------
    fit : ReadingFit
        Of a reading that changes with age.
    settings : dict, optional
        Anything left out takes its usual value, or the log's if it never met the usual humidity or room.
    room : str or float, optional
        Room temperature.

    Returns
    -------
    Picture
        A matplotlib Figure. Line and dark band: the average casting with its 90 % interval; light band:
        nine in ten single readings; dashed: the aims; dotted: the hardness at which a step of the work
        may be done. Grey: ages at which nothing was read.

    Raises
    ------
    Problem
        If the reading's model has no age in it.

    Examples
    --------
    >>> tp.figures.show_age(fits["hardness"]).says
    'From about 5 h on, nine in ten readings meet hardness at least 75 Shore D.'
    """
    if not any("age" in term.factors for term in fit.believed.terms):
        raise Problem(f"{fit.reading.words} does not change with age in this model: use show_reading instead.")
    hours = np.geomspace(min(YOUNGEST, *fit.rows["age"], OLDEST), max(OLDEST, *fit.rows["age"], YOUNGEST), 121)
    one = settings_table(as_met(fit.study, fit.rows), settings, room=room, reading=fit.reading)
    table = repeated(one, age=hours)
    met = met_words(fit.study, fit.rows, one.iloc[0], stated_names(fit.study, settings, room))
    picture, [[ax]] = new_picture(_title(fit, table, hours) + met, height=4.4, cautions=check_ends(fit.study, one))
    if not fit.reading.grades:
        low, high = np.quantile(fit.new_castings(table), [0.05, 0.95], axis=0)
        ax.fill_between(hours, low, high, color=LOG, alpha=0.13, linewidth=0, label="nine in ten single readings")
    draw_average(ax, hours, average_readings(fit, table, fit.mean(table)))
    _draw_aims(ax, fit)
    _draw_steps(ax, fit)
    ax.set_xscale("log")
    ax.set_xlim(hours[0], hours[-1])
    ticks = [(1, "1 h"), (4, "4 h"), (24, "1 day"), (168, "7 days"), (672, "28 days")]
    ax.set_xticks(*zip(*[(t, words) for t, words in ticks if hours[0] <= t <= hours[-1]], strict=True))
    ax.minorticks_off()
    ax.set_xlabel("Age after mixing")
    label_axis(ax, "y", fit.reading)
    low, high = poured_range(fit.rows["age"])
    shade_beyond(ax, low, high, words="not read")
    ax.legend(loc="best", framealpha=0.9, edgecolor="none")
    return picture


def _draw_aims(ax, fit):
    for aim in (aim for aim in fit.study.aims if aim.reading == fit.reading.name):
        for bound, words in ((aim.at_least, "at least"), (aim.at_most, "at most")):
            if bound is not None:
                ax.axhline(bound, color=INK, linestyle="--", linewidth=1.2, label=f"aim: {words} {bound:g}")
        if aim.age is not None:
            ax.axvline(aim.age, color=INK, linestyle=":", linewidth=1.2)


def _draw_steps(ax, fit):
    """The hardness at which each step of the work may be done, named at the right edge."""
    if fit.reading.name != "hardness":
        return
    bottom, top = ax.get_ylim()
    with suppress(NoHardness):
        for step, hardness in thresholds(fit.study).items():
            if bottom < hardness < top:
                ax.axhline(hardness, color=INK, linestyle=":", linewidth=1.0, zorder=1)
                ax.annotate(f"{drawable(step)} {hardness:g}", (1.0, hardness), (-4, 2), xycoords=ax.get_yaxis_transform(),
                            textcoords="offset points", ha="right", va="bottom", fontsize=9, zorder=4)


def _title(fit, table, hours):
    """From what age on nine in ten readings meet the aim, where there is one."""
    words = fit.reading.words
    aim = next((a for a in fit.study.aims if a.reading == fit.reading.name), None)
    if aim is None:
        return f"How {words} changes with age; no aim is stated for it."
    drawn = fit.chances(table, aim.at_least, aim.at_most)
    met = drawn.mean(axis=0)
    bound = replace(aim, age=None).words(fit.reading)
    sure = met >= SURE
    if sure.all():
        return f"At every age drawn, from {about_age(hours[0])} on, nine in ten readings meet {bound}."
    if not sure[-1]:
        return f"Cannot promise {bound} at any age drawn: at {about_age(hours[-1])} {chance_words(mean_and_interval(drawn[:, -1:]).iloc[0])} meet it."
    first = hours[len(sure) - np.argmin(sure[::-1])]
    read = poured_range(fit.rows["age"])
    far = "" if read[0] is not None and read[0] <= first <= read[1] else " Nothing was read at that age: this is belief."
    return f"From about {about_age(first)} on, nine in ten readings meet {bound}.{far}"

