"""Does the model agree with the log: where the other pours put each pour, and what was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from testpour.models.check import check_fit
from testpour.picture import BELIEF, SECOND, Picture, drawable, label_axis, new_picture
from testpour.report.reading_curve import draw_known

if TYPE_CHECKING:
    from testpour.models.reading_fit import ReadingFit


def show_check(fit: ReadingFit) -> Picture:
    """Where the other pours put each pour, against what was seen.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Picture
        A matplotlib Figure. Grey bar: where the other pours put nine castings in ten at these settings.
        Dot, bar or arrow: what was seen. Pours that stand out are named in the title and in bold under the
        axis. One panel an age. Without such a reading in the log, empty, with what is needed first as its title.
    """
    checked = check_fit(fit)
    if not len(checked.table):
        return _nothing_yet(f"{checked.sentence()} Log one {fit.reading.words} first.")
    parts = list(checked.table.groupby("age")) if fit.reading.ages else [(None, checked.table)]
    pours = list(dict.fromkeys(checked.table.sort_values("from")["pour"]))
    picture, axes = new_picture(checked.sentence(), width=max(6.6, 1.2 + 0.28 * len(pours)),
                                height=2.0 + 2.2 * len(parts), rows=len(parts), sharex=True)
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


def _nothing_yet(says):
    """A picture that says what is needed first."""
    picture, axes = new_picture(says, height=0.5)
    axes[0, 0].set_axis_off()
    return picture


def _panel(ax, part, pours, checked):
    places = {pour: place for place, pour in enumerate(pours)}
    each = part.drop_duplicates("pour")
    at, reach = each["pour"].map(places), (each["to"] - each["from"]).clip(lower=0.06 if checked.reading.grades else 0)
    ax.bar(at, reach, 0.62, bottom=each["from"], color="#cfcfcf", edgecolor=BELIEF,
           label="where the other pours put nine castings in ten")
    spread = part.groupby("pour").cumcount() - (part.groupby("pour")["low"].transform("size") - 1) / 2
    draw_known(ax, (part["pour"].map(places) + 0.1 * spread).to_numpy(float), part, checked.reading)
    ax.plot([], [], "o", color=SECOND, markerfacecolor="white", label="seen")
    if not checked.reading.grades:
        bottom, top = ax.get_ylim()
        ax.set_ylim(min(bottom, each["from"].min() - 0.04 * (top - bottom)), max(top, each["to"].max()))
