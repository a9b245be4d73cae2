"""Shared by all figures: the figure object, its style, its colours, and text that can be drawn."""

import io
import textwrap
import unicodedata
from functools import cache
from typing import Any, Literal

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font

from testpour.common.wording import capital
from testpour.study.columns import Column, Factor, Reading

# These differ in lightness, so that grey print and colour-blind eyes lose nothing. Blue and orange are from seaborn's
# "colorblind" palette, darkened to a contrast of at least 3 to 1 with white.
LOG = "#0b4f8a"
SECOND = "#b35900"
BELIEF = "#767676"
SHADE = "#e9e9e9"
INK = "#1a1a1a"
MARKERS = "osD^vPX*<>"
STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans", "font.size": 10.5, "axes.titlesize": 11, "axes.labelsize": 10.5,
    "xtick.labelsize": 10, "ytick.labelsize": 10, "legend.fontsize": 9.5, "text.color": INK,
    "axes.labelcolor": INK, "xtick.color": INK, "ytick.color": INK, "axes.edgecolor": INK,
    "figure.facecolor": "white", "savefig.facecolor": "white", "hatch.linewidth": 0.6,
}
ACROSS = 12.2  # characters of a title to an inch of its figure
LONGEST = 28  # characters of a person's own words that fit in a figure


class Picture(Figure):
    """A matplotlib figure that shows itself once in a notebook and can be written without pyplot.

    `says` is what it shows in a sentence or two: its full title, and its text for those who cannot see it.
    """

    says = ""

    def _repr_png_(self):
        return self.to_bytes("png", dpi=110)

    def to_bytes(self, kind: str = "svg", **options: Any) -> bytes:
        """The figure as an image file; the same figure gives the same bytes.

        Parameters
        ----------
        kind : str, optional
            Format as Matplotlib names it: "svg", "png", "pdf" ...
        **options
            Passed on to `Figure.savefig`, for example ``dpi=110``.

        Returns
        -------
        bytes
        """
        file, canvas, dpi = io.BytesIO(), self.canvas, self.dpi
        metadata = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        with rc_context({"svg.hashsalt": "testpour", "svg.fonttype": "path"}):
            if kind == "svg" and not options:  # `savefig` would draw it twice, the first time only to lay it out
                FigureCanvasSVG(self).print_svg(file, metadata=metadata)
                self.set(canvas=canvas, dpi=dpi)
            else:
                self.savefig(file, format=kind, metadata=metadata, **options)
        return file.getvalue()


def new_picture(
    says: str, width: float = 6.6, height: float = 4.2, rows: int = 1, columns: int = 1, cautions: Any = None, **grid: Any
) -> tuple[Picture, np.ndarray]:
    """A `Picture` titled with what it shows and its `cautions`, and its axes as a 2-d array (rows, columns).

    Width and height are in inches; the title adds to the height. `grid` is passed to `Figure.subplots`.
    """
    says = " ".join([says, *(cautions.lines() if cautions is not None else ())])
    style: Any = sns.axes_style("ticks") | STYLE  # matplotlib types each key of it
    with rc_context(style):
        title = textwrap.wrap(drawable(says, 10_000), int(width * ACROSS), break_on_hyphens=False, max_lines=10, placeholder=" …")
        picture = Picture(figsize=(width, height + 0.18 * len(title)), layout="constrained")
        axes = picture.subplots(rows, columns, squeeze=False, **grid)
        picture.suptitle("\n".join(title), x=0.01, ha="left", fontsize=11)
    for ax in axes.flat:
        sns.despine(ax=ax)
    picture.says = says
    return picture, axes


def drawable(text: str, longest: int = LONGEST) -> str:
    """`text` as the figures' font can draw it: without formulas and hidden characters, with a box for a missing one."""
    shown = "".join(c for c in unicodedata.normalize("NFC", str(text)) if c == "\n" or unicodedata.category(c)[0] != "C")
    shown = "".join(c if c == "\n" or ord(c) in _signs() else "□" for c in shown)
    shown = shown if len(shown) <= longest else shown[: longest - 1] + "…"
    return shown.replace("$", r"\$")


@cache
def _signs():
    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def label_axis(ax: Axes, which: Literal["x", "y"], column: Column, words: str = "{}") -> None:
    """Label the "x" or "y" axis with the declared name and unit; grades and yes/no get their words as ticks.

    The label replaces ``{}`` in `words`.
    """
    label = drawable(words.format(column.label), 60)
    ax.set(**{f"{which}label": capital(label)})
    grades = column.grades if isinstance(column, Reading) else ()
    names = grades or (("no", "yes") if isinstance(column, Factor) and column.kind == "yes/no" else ())
    if names:
        shown = [drawable(f"{i} {name}" if grades else name) for i, name in enumerate(names)]
        getattr(ax, f"set_{which}ticks")(range(len(names)), shown)
        getattr(ax, f"set_{which}lim")(-0.35, len(names) - 0.65)


def shade_beyond(ax: Axes, low: float | None, high: float | None, words: str = "not poured") -> None:
    """Shade the part of the x axis outside `low` to `high`; all of it if nothing was poured."""
    left, right = ax.get_xlim()
    parts = [(left, right)] if low is None or high is None else [(left, low), (high, right)]
    # Widths as they look on the page: on a scale of powers the first hours are as wide as the last days.
    to_page = ax.transData + ax.transAxes.inverted()
    shares = [to_page.transform([(start, 1.0), (end, 1.0)])[:, 0] for start, end in parts]
    for (start, end), (at, to) in zip(parts, shares, strict=True):
        if to - at > 0.035:
            ax.axvspan(start, end, color=SHADE, zorder=0, linewidth=0)
    at, to = max(shares, key=lambda share: share[1] - share[0])
    if to - at > 0.13:
        ax.text((at + to) / 2, 0.985, words, transform=ax.transAxes, ha="center", va="top", fontsize=9)
    ax.set_xlim(left, right)


def drawn_ends(factor: Factor, poured: pd.Series) -> tuple[float, float]:
    """The ends between which a setting is drawn: its span widened to everything poured."""
    ends = [*(factor.span or (factor.low, factor.high)), *poured.dropna()]
    return min(ends), max(ends)


def poured_range(values: pd.Series) -> tuple[float, float] | tuple[None, None]:
    """Smallest and largest value poured, or (None, None) if they are equal."""
    values = values.dropna()
    return (float(values.min()), float(values.max())) if values.nunique() > 1 else (None, None)
