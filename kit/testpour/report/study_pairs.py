"""Two studies side by side: the effect of each setting in both, with its interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.lines import Line2D

from testpour.picture import INK, LOG, SECOND, Picture, drawable, new_picture
from testpour.problems import Problem

if TYPE_CHECKING:
    from testpour.report.versus import StudyComparison

STYLES = ((LOG, "o", 0.16), (SECOND, "s", -0.16))  # colour, marker, shift: told apart without colour too


def show_studies(comparison: StudyComparison) -> Picture:
    """The effects that two studies have in common, one panel a reading.

    Dot and bar: middle and 90 % interval of the change, round for the first study and square for the second;
    the verdict stands beside each setting. Raises `Problem` if the two have no effect in common.
    """
    table = comparison.table
    table = table[table.index.get_level_values("setting") != "level"]
    if not len(table):
        raise Problem("These two studies have no effect of a setting in common: there is nothing to show.")
    panels = list(table.groupby(level="reading", sort=False))
    heights = [len(part) + 0.8 for _, part in panels]
    title = "{} and {}: what the settings both poured did in each".format(*comparison.names)
    picture, axes = new_picture(title, width=7.2, height=0.9 + 0.52 * sum(heights), rows=len(panels),
                                gridspec_kw={"height_ratios": heights})
    picture.says = comparison.sentence()
    for ax, (reading, part) in zip(axes[:, 0], panels, strict=True):
        _panel(ax, reading, part[::-1])
    marks = [
        Line2D([], [], color=colour, marker=marker, markersize=8, label=drawable(name))
        for (colour, marker, _), name in zip(STYLES, comparison.names, strict=True)
    ]
    picture.legend(handles=marks, loc="outside lower left", ncols=2, frameon=False, title="bar: 90 % interval", alignment="left")
    return picture


def _panel(ax, reading, part):
    ax.axvline(0, color=INK, linewidth=0.8)
    for place, (_, row) in enumerate(part.iterrows()):
        for which, (colour, marker, shift) in zip(("first", "second"), STYLES, strict=True):
            ends = [row[f"{which}_low"], row[f"{which}_high"]]
            ax.plot(ends, [place + shift] * 2, color=colour, linewidth=2.2)
            ax.plot(row[which], place + shift, color=colour, marker=marker, markersize=8)
    words = [drawable(setting) + f"\n{drawable(row['move'])}: {row['verdict']}" for (_, setting), row in part.iterrows()]
    ax.set_yticks(range(len(part)), words)
    unit = part["unit"].iloc[0].strip()
    ax.set(ylim=(-0.6, len(part) - 0.4), xlabel=drawable(f"Change in {reading}" + (f" ({unit})" if unit else ""), 60))
    ax.tick_params(axis="y", length=0)
