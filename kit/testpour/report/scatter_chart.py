"""Where a reading's scatter comes from, as a chart of its sources with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from testpour.models.scatter import scatter
from testpour.picture import Picture, draw_interval, drawable, interval_rows, new_picture

if TYPE_CHECKING:
    from testpour.models.reading_fit import ReadingFit


def show_scatter(fit: ReadingFit) -> Picture:
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
        draw_interval(ax, place, (part.low, part.middle, part.high), part.told)
    ax.set(xlim=(0, None), xlabel=f"One standard deviation ({drawable(found.unit)})")
    interval_rows(picture, ax, [_row(part) for part in parts], [("full", "from the log")], "mostly belief")
    return picture


def _row(part):
    """A source in words, with the share of the whole variance it makes up."""
    return f"{part.words.replace(', reading and pour together', '')}\n{100 * part.share:.0f} % of the variance"
