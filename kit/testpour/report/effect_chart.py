"""Charts of intervals: what each setting did to a reading, in one study or two, where its scatter comes from, and whether model and log agree."""

from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.typing import FillStyleType

from testpour.common.problems import Problem
from testpour.common.wording import age_words
from testpour.models.change import good_words
from testpour.models.check import check_fit
from testpour.models.effects import effects
from testpour.models.reading_fit import ReadingFit
from testpour.models.scatter import scatter
from testpour.report.reading_curve import draw_known
from testpour.study.picture import BELIEF, INK, LOG, SECOND, Picture, drawable, label_axis, new_picture

FILLS: tuple[tuple[float, FillStyleType, str], ...] = (
    (2 / 3, "full", "mostly from the log"), (1 / 3, "left", "log and belief"), (-1.0, "none", "mostly belief"),
)
CHECKED = 40  # most pours drawn side by side: the last ones and those that stand out
STUDIES = ((LOG, "o", 0.16), (SECOND, "s", -0.16))  # colour, marker, shift: distinct without colour too


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
    Problem
        If no setting of the study enters the reading's model.

    Examples
    --------
    >>> tp.figures.show_effects(fits["gel_time"]).says
    'Raising catalyst from 1 to 2.5 % shortens gel time by about 52 % ...'
    """
    answer = effects(fit)
    if not answer.each:
        raise Problem(f"No setting of this study is known to move {fit.reading.words}: there is nothing to show.")
    rows_upwards = answer.each[::-1]
    picture, [[ax]] = new_picture(answer.sentence(), height=2.0 + 0.5 * len(rows_upwards))
    ax.axvline(0, color=INK, linewidth=0.8)
    for place, effect in enumerate(rows_upwards):
        fill = next(fill for bound, fill, _ in FILLS if effect.from_log >= bound)
        _draw_interval(ax, place, effect.in_points, effect.poured, fill)
    ax.set_xlabel(_change_label(rows_upwards[0]))
    names = [f"{drawable(e.factor.words)}\n{drawable(e.factor.between(e.start, e.end), 60)}" for e in rows_upwards]
    _interval_rows(picture, ax, names, [(fill, words) for _, fill, words in FILLS], "never varied: belief only")
    return picture


def _change_label(effect):
    reading = effect.reading
    if effect.ratio:
        return drawable(f"Change in {reading.words} (%)", 60)
    if effect.good is not None:
        return drawable(f"Change in the chance of\n{good_words(reading, effect.good)} (in 100)", 90)
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

    Examples
    --------
    >>> tp.figures.show_scatter(fits["gel_time"]).says
    'Cannot tell yet what scatters gel time most. ...'
    """
    answer = scatter(fit)
    parts = answer.parts[::-1]
    picture, [[ax]] = new_picture(answer.sentence(), height=1.8 + 0.5 * len(parts))
    for place, part in enumerate(parts):
        _draw_interval(ax, place, (part.low, part.middle, part.high), part.learned)
    ax.set(xlim=(0, None), xlabel="Scatter, plus or minus" + (f" ({drawable(answer.unit)})" if answer.unit else ""))
    names = [f"{part.words.replace(', reading and pour together', '')}\n{100 * part.share:.0f} % of all scatter" for part in parts]
    _interval_rows(picture, ax, names, [("full", "from the log")], "mostly belief")
    return picture


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
        axis. One panel an age. Of a long log only the pours that stand out and the last ones, 40 in all; the title counts
        every pour. Without such a reading in the log it is empty, and its title says what is needed first.

    Examples
    --------
    >>> tp.figures.show_check(fits["gel_time"]).says
    '17 of 18 readings of gel time lie where the other pours put nine castings in ten. No pour stands out.'
    """
    checked = check_fit(fit)
    if not len(checked.table):
        picture, [[ax]] = new_picture(f"{checked.sentence()} Log one {fit.reading.words} first.", height=0.5)
        ax.set_axis_off()
        return picture
    table, where = checked.table, "Pour, in order of what was predicted"
    if len(read := list(dict.fromkeys(table["pour"]))) > CHECKED:
        last = read[-max(CHECKED - len(checked.odd), 1) :]
        table = table[table["pour"].isin({*checked.odd, *last})]
        where += f"; of {len(read)} the last {len(last)}" + (" and those that stand out" if checked.odd else "")
    parts = list(table.groupby("age")) if fit.reading.ages else [(None, table)]
    pours = list(dict.fromkeys(table.sort_values("from")["pour"]))
    picture, axes = new_picture(checked.sentence(), width=max(6.6, 1.2 + 0.28 * len(pours)),
                                height=2.0 + 2.2 * len(parts), rows=len(parts), sharex=True)
    for ax, (age, part) in zip(axes[:, 0], parts, strict=True):
        _check_panel(ax, part, pours, checked)
        label_axis(ax, "y", fit.reading, "{}" + (f"\nat {age_words(age)}" if age is not None else ""))
    bottom = axes[-1, 0]
    bottom.set_xticks(range(len(pours)), [drawable(p) for p in pours], rotation=90 if len(pours) > 8 else 0)
    for tick, pour in zip(bottom.get_xticklabels(), pours, strict=True):
        tick.set_fontweight("bold" if pour in checked.odd else "normal")
    bottom.set_xlabel(where)
    picture.legend(*axes[0, 0].get_legend_handles_labels(), loc="outside lower left", ncols=2, frameon=False)
    return picture


def _check_panel(ax, part, pours, checked):
    places = {pour: place for place, pour in enumerate(pours)}
    by_pour = part.drop_duplicates("pour")
    at, reach = by_pour["pour"].map(places), (by_pour["to"] - by_pour["from"]).clip(lower=0.06 if checked.reading.grades else 0)
    ax.bar(at, reach, 0.62, bottom=by_pour["from"], color="#cfcfcf", edgecolor=BELIEF,
           label="where the other pours put nine castings in ten")
    spread = part.groupby("pour").cumcount() - (part.groupby("pour")["low"].transform("size") - 1) / 2
    draw_known(ax, (part["pour"].map(places) + 0.1 * spread).to_numpy(float), part, checked.reading)
    ax.plot([], [], "o", color=SECOND, markerfacecolor="white", label="seen")
    if not checked.reading.grades:
        bottom, top = ax.get_ylim()
        ax.set_ylim(min(bottom, by_pour["from"].min() - 0.04 * (top - bottom)), max(top, by_pour["to"].max()))


def _draw_interval(ax: Axes, place: float, ends: Sequence[float], learned: bool, fill: str = "full") -> None:
    """One row of a chart of intervals: low, middle and high at a height; dotted and open if it is not learned from the log."""
    low, middle, high = ends
    colour = LOG if learned else BELIEF
    ax.plot([low, high], [place, place], color=colour, linewidth=2.4, linestyle="-" if learned else ":")
    face: dict[str, Any] = {"markerfacecolor": "white"} if fill == "none" or not learned else {"fillstyle": fill, "markerfacecoloralt": "white"}
    ax.plot(middle, place, marker="o", color=colour, markersize=10, markeredgewidth=1.6, **face)


def _interval_rows(
    picture: Picture, ax: Axes, names: Sequence[str], learned: Iterable[tuple[FillStyleType, str]], believed_only: str
) -> None:
    """Name the rows of a chart of intervals and add its legend: `learned` has pairs of fill and words."""
    _name_rows(ax, names)
    marks = [Line2D([], [], marker="o", linestyle="-", color=LOG, fillstyle=fill, markersize=8, label=words) for fill, words in learned]
    marks.append(Line2D([], [], marker="o", linestyle=":", color=BELIEF, fillstyle="none", label=believed_only))
    picture.legend(handles=marks, loc="outside lower left", ncols=2, frameon=False, title="bar: 90 % interval",
                   alignment="left", title_fontsize=9.5)


def _name_rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(-0.6, len(names) - 0.4)
    ax.tick_params(axis="y", length=0)


def draw_studies(names: Sequence[str], table: pd.DataFrame, says: str) -> Picture:
    """The effects that two studies have in common, one panel per reading; `names` and `table` are those of `StudyComparison`.

    Dot and bar: middle and 90 % interval of the change, round for the first study and square for the second;
    the verdict stands beside each setting. Raises `Problem` if the two have no effect in common.
    """
    table = table[table.index.get_level_values("setting") != "level"]
    if not len(table):
        raise Problem("These two studies have no effect of a setting in common: there is nothing to show.")
    panels = list(table.groupby(level="reading", sort=False))
    heights = [len(part) + 0.8 for _, part in panels]
    title = "{} and {}: what the settings both poured did in each".format(*names)
    picture, axes = new_picture(title, width=7.2, height=0.9 + 0.52 * sum(heights), rows=len(panels),
                                gridspec_kw={"height_ratios": heights})
    picture.says = says
    for ax, (reading, part) in zip(axes[:, 0], panels, strict=True):
        _study_panel(ax, reading, part[::-1])
    marks = [
        Line2D([], [], color=colour, marker=marker, markersize=8, label=drawable(name))
        for (colour, marker, _), name in zip(STUDIES, names, strict=True)
    ]
    picture.legend(handles=marks, loc="outside lower left", ncols=2, frameon=False, title="bar: 90 % interval", alignment="left")
    return picture


def _study_panel(ax, reading, part):
    ax.axvline(0, color=INK, linewidth=0.8)
    for place, (_, row) in enumerate(part.iterrows()):
        for which, (colour, marker, shift) in zip(("first", "second"), STUDIES, strict=True):
            ends = [row[f"{which}_low"], row[f"{which}_high"]]
            ax.plot(ends, [place + shift] * 2, color=colour, linewidth=2.2)
            ax.plot(row[which], place + shift, color=colour, marker=marker, markersize=8)
    words = [drawable(setting) + f"\n{drawable(row['move'])}: {row['verdict']}" for (_, setting), row in part.iterrows()]
    _name_rows(ax, words)
    unit = part["unit"].iloc[0].strip()
    ax.set_xlabel(drawable(f"Change in {reading}" + (f" ({unit})" if unit else ""), 60))
