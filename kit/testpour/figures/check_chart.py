"""Does the model agree with the log: what was predicted for each pour against what was seen."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.figures.picture import BELIEF, SECOND, drawable, label_axis, new_picture
from testpour.figures.reading_curve import draw_known
from testpour.models.settings import settings_table

LEVEL = 0.9


@dataclass(frozen=True, eq=False)
class Checked:
    """Predicted against seen for one reading.

    Parameters
    ----------
    reading : Reading
    table : DataFrame
        One row a reading: pour, age, low and high as seen, ``from`` and ``to`` of the 90 % interval for a
        casting at those settings, and ``odd`` where the two have nothing in common.
    """

    reading: object
    table: pd.DataFrame

    @property
    def odd(self):
        """Names of the pours with a reading outside its interval."""
        return list(dict.fromkeys(self.table.loc[self.table["odd"], "pour"]))

    def sentence(self):
        """The check in a sentence or two."""
        words, count = self.reading.words, len(self.table)
        if not count:
            return f"No {words} in the log yet, so nothing can be checked."
        inside = count - int(self.table["odd"].sum())
        text = f"{inside} of {count} readings of {words} lie where the model expects nine in ten"
        if inside < LEVEL * count - 2 * np.sqrt(LEVEL * (1 - LEVEL) * count):
            text += ": fewer than it should be, so trust its intervals less"
        if self.odd:
            return f"{text}. Outside: {', '.join(map(str, self.odd))}; look at the log for what was different."
        return f"{text}. No pour stands out."

    __repr__ = _repr_markdown_ = sentence


def check_fit(fit):
    """Predicted against seen, as `Checked`: each reading of the log against a casting at its settings.

    The log has taught the model these very readings, so the check is kind: a pour that is odd here is odd.
    """
    rows = fit.rows
    low, high = np.full(len(rows), -np.inf), np.full(len(rows), np.inf)
    if len(rows):
        tails = [(1 - LEVEL) / 2, (1 + LEVEL) / 2]
        low, high = np.quantile(fit.new_castings(settings_table(fit.study, rows, reading=fit.reading)), tails, axis=0)
    half = fit.reading.resolution / 2
    table = rows[["pour", "age", "low", "high"]].assign(**{"from": low, "to": high})
    table["odd"] = (table["high"] + half < low) | (table["low"] - half > high)
    return Checked(fit.reading, table)


def show_check(fit):
    """What was predicted for each pour against what was seen.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Picture
        A matplotlib Figure. Grey bar: where nine in ten castings at these settings should read. Dot, bar
        or arrow: what was seen. Pours outside are named in the title and in bold under the axis. One
        panel an age.

    Raises
    ------
    ValueError
        If the log holds no such reading yet.
    """
    checked = check_fit(fit)
    if not len(checked.table):
        raise ValueError(f"{checked.sentence()} Log one {fit.reading.words} first.")
    parts = list(checked.table.groupby("age")) if fit.reading.ages else [(None, checked.table)]
    pours = list(dict.fromkeys(checked.table.sort_values("from")["pour"]))
    picture, axes = new_picture(checked.sentence(), width=max(6.6, 1.2 + 0.28 * len(pours)),
                                height=2.0 + 2.2 * len(parts), rows=len(parts), sharex=True)  # fmt: skip
    for ax, (age, part) in zip(axes[:, 0], parts, strict=True):
        _panel(ax, part, pours, checked)
        label_axis(ax, "y", fit.reading, "{}" + (f"\nat {age:g} h" if age is not None else ""))
    last = axes[-1, 0]
    last.set_xticks(range(len(pours)), [drawable(p) for p in pours], rotation=90 if len(pours) > 8 else 0)
    for tick, pour in zip(last.get_xticklabels(), pours, strict=True):
        tick.set_fontweight("bold" if pour in checked.odd else "normal")
    last.set_xlabel("Pour, in order of what was predicted")
    handles = axes[0, 0].get_legend_handles_labels()
    picture.legend(*handles, loc="outside lower left", ncols=2, frameon=False)
    return picture


def _panel(ax, part, pours, checked):
    places = {pour: place for place, pour in enumerate(pours)}
    each = part.drop_duplicates("pour")
    at, reach = each["pour"].map(places), (each["to"] - each["from"]).clip(lower=0.06 if checked.reading.grades else 0)
    ax.bar(at, reach, 0.62, bottom=each["from"], color="#cfcfcf", edgecolor=BELIEF,
           label="nine in ten castings at these settings")  # fmt: skip
    spread = part.groupby("pour").cumcount() - (part.groupby("pour")["low"].transform("size") - 1) / 2
    draw_known(ax, (part["pour"].map(places) + 0.1 * spread).to_numpy(float), part, checked.reading)
    ax.plot([], [], "o", color=SECOND, markerfacecolor="white", label="seen")
    if not checked.reading.grades:
        bottom, top = ax.get_ylim()
        ax.set_ylim(min(bottom, each["from"].min() - 0.04 * (top - bottom)), max(top, each["to"].max()))
