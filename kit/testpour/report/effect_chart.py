"""What each setting did to a reading, and where its scatter comes from: charts of intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.typing import FillStyleType

from testpour.models.effects import effects
from testpour.models.scatter import scatter
from testpour.picture import INK, Picture, draw_interval, drawable, interval_rows, new_picture

if TYPE_CHECKING:
    from testpour.models.reading_fit import ReadingFit

FILLS: tuple[tuple[float, FillStyleType, str], ...] = ((2 / 3, "full", "mostly from the log"), (1 / 3, "left", "log and belief"), (-1.0, "none", "mostly belief"))


def show_effects(fit: ReadingFit) -> Picture:
    """Each setting's effect on one reading, strongest first.

    Parameters
    ----------
    fit : ReadingFit

    Returns
    -------
    Picture
        A matplotlib Figure. Dot and bar: middle and 90 % interval of the change, in the reading's own
        terms (per cent for times, castings in 100 for grades with an aim). The dot is as full as its share from the
        log; a setting that was never varied is grey.

    Raises
    ------
    ValueError
        If no setting of the study enters the reading's model.
    """
    found = effects(fit)
    if not found.each:
        raise ValueError(f"No setting of this study is known to move {fit.reading.words}: there is nothing to show.")
    each = found.each[::-1]
    picture, axes = new_picture(found.sentence(), height=2.0 + 0.5 * len(each))
    ax = axes[0, 0]
    ax.axvline(0, color=INK, linewidth=0.8)
    for place, effect in enumerate(each):
        draw_interval(ax, place, effect.in_points, effect.poured, _fill(effect))
    ax.set_xlabel(_change_label(each[0]))
    told = [(fill, words) for _, fill, words in FILLS]
    interval_rows(picture, ax, [_moved(effect) for effect in each], told, "never varied: belief only")
    return picture


def _fill(effect):
    """The more of it the log has told, the fuller the dot."""
    return next(fill for bound, fill, _ in FILLS if effect.from_log >= bound)


def _moved(effect):
    return drawable(effect.factor.words) + f"\n{drawable(effect.factor.between(effect.start, effect.end), 60)}"


def _change_label(effect):
    reading = effect.reading
    if effect.ratio:
        return drawable(f"Change in {reading.words} (%)", 60)
    if effect.bound is not None:
        return drawable(f"Change in the chance of {reading.words} no worse than\n{reading.show(effect.bound)} (in 100)", 90)
    if reading.grades:
        return drawable(f"Change in {reading.words} (grades)", 60)
    return drawable(f"Change in {reading.label}", 60)


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
