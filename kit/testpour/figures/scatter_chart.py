"""Where a reading's scatter comes from, as a chart of its sources with their intervals."""

from matplotlib.lines import Line2D

from testpour.figures.picture import BELIEF, LOG, drawable, new_picture
from testpour.models.scatter import scatter


def show_scatter(fit):
    """How much of a reading's scatter lies between sessions, pours, lots, readers and readings, largest first.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Picture
        A matplotlib Figure. Dot and bar: one standard deviation with its 90 % interval, in the reading's own terms
        (per cent for times, grades for grades). A source that is still mostly belief is grey and open.
    """
    found = scatter(fit)
    parts = found.parts[::-1]
    picture, axes = new_picture(found.sentence(), height=1.8 + 0.5 * len(parts))
    ax = axes[0, 0]
    for place, part in enumerate(parts):
        colour, style = (LOG, "-") if part.told else (BELIEF, ":")
        ax.plot([part.low, part.high], [place, place], color=colour, linewidth=2.4, linestyle=style)
        ax.plot(part.middle, place, "o", color=colour, markersize=10, markeredgewidth=1.6,
                markerfacecolor=colour if part.told else "white")  # fmt: skip
    ax.set_yticks(range(len(parts)), [_row(part) for part in parts])
    ax.set(ylim=(-0.6, len(parts) - 0.4), xlabel=f"One standard deviation ({drawable(found.unit)})")
    ax.set_xlim(left=0)
    ax.tick_params(axis="y", length=0)
    marks = [
        Line2D([], [], marker="o", linestyle="-", color=LOG, markersize=8, label="from the log"),
        Line2D([], [], marker="o", linestyle=":", color=BELIEF, markerfacecolor="white", label="mostly belief"),
    ]
    picture.legend(handles=marks, loc="outside lower left", ncols=2, frameon=False, title="bar: 90 % interval",
                   alignment="left", title_fontsize=9.5)  # fmt: skip
    return picture


def _row(part):
    """A source in words, with the share of the whole variance it makes up."""
    return f"{part.words.replace(', reading and pour together', '')}\n{100 * part.share:.0f} % of the variance"
