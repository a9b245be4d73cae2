"""The recipe chart as a page: in a notebook, and on one sheet of paper that stays legible in grey."""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from testpour.advice.conflicts import failing_aims, why_first
from testpour.advice.remedy import ASK, NOTHING
from testpour.common.files import page_kind, put
from testpour.common.pages import dated, day_words, refuse_paper, template
from testpour.common.units import show
from testpour.common.wording import count, in_hundred
from testpour.logbook.castings import Castings
from testpour.models.chance import untold
from testpour.study.caution_rules import Cautions, safety_text
from testpour.study.study import Study

SAVED = page_kind("recipe chart")
GOOD = 0.6  # chance from which a cell gives a recipe
ROWS, COLUMNS = 9, 5  # rooms and depths that fit one sheet at size 1
LARGEST = 1.12


@dataclass(frozen=True, eq=False)
class RecipeChart:
    """Catalyst by room temperature and thickness.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row per room and thickness: ``catalyst`` in % (NaN if there is no good answer), ``chance`` of
        a good casting with its 90 % interval ``low`` to ``high``, ``gel_low`` and ``gel_high`` in min (nine castings in ten), ``beyond``, true if
        nothing like it was poured, and ``advice``, what to do if there is no good answer.
    shared : str
        The other settings, the same in every cell, in words.
    pours : int
        How many pours the chart rests on: those of which anything was read.
    castings : Castings, optional
        The log it rests on.
    cautions : Cautions
        On its rooms and depths, and on what is predicted for its recipes.
    together : bool
        Whether some of the other settings were chosen, for all cells together.
    """

    study: Study
    table: pd.DataFrame
    shared: str
    pours: int
    castings: Castings | None = field(default=None, repr=False)
    cautions: Cautions = field(default_factory=Cautions, repr=False)
    together: bool = False

    def sentence(self) -> str:
        """What the chart rests on and how much of it is a guess."""
        good = self.table["catalyst"].notna()
        text = f"{good.sum()} of {count(len(good), 'cell')} {'has' if len(good) == 1 else 'have'} a recipe with a chance of at least {100 * GOOD:.0f} in 100"
        text += f", resting on {count(self.pours, 'pour')}."
        guessed = sum(untold(row) for _, row in self.table[good].iterrows())
        text += f" In {guessed} of these that is an average, and the chance itself is not known yet: try one pour first." if guessed else ""
        if not good.any() and self.castings is not None and (failing := failing_aims(self.study, self.castings)):
            text += f" {why_first(self.study, failing)}"
        if not self.table["advice"].isin([ASK, NOTHING]).all():  # some cell has a recipe or a pour to try
            text += f" Everywhere: {self.shared}."
            text += " That is one choice for all cells." if self.together and len(good) > 1 else ""
        if self.table["beyond"].any():
            text += f" What lies beyond what was poured is hatched and in italics ({count(self.table['beyond'].sum(), 'cell')}): try one pour first."
        return self.cautions.around(text)

    __repr__ = sentence

    def grid(self) -> tuple[list[str], list[tuple[str, list[pd.Series]]]]:
        """Depths in words, and for each room its words and its rows of `table`, one a depth."""
        table, shown = self.table, self.study.factor
        rooms, depths = (table.index.unique(level=name) for name in ("room_temperature", "thickness"))
        heads = ["any depth" if np.isnan(depth) else shown("thickness").show(depth) for depth in depths]
        names = ["as it is" if np.isnan(room) else shown("room_temperature").show(room) for room in rooms]
        return heads, [(name, [table.loc[(room, depth)] for depth in depths]) for name, room in zip(names, rooms, strict=True)]

    def _repr_html_(self):
        return chart_html(self)

    def save(self, path: str | Path, paper: Literal["A4", "Letter"] = "A4", date: str | None = None) -> Path:
        """Write the chart as one HTML page that prints on one sheet; returns the path written. Only such a page is replaced.

        Parameters
        ----------
        path : str or Path
        paper : {"A4", "Letter"}
        date : str, optional
            Printed as given; today by default.

        Returns
        -------
        Path
        """
        return put(path, chart_html(self, paper=paper, date=dated(date)), SAVED.of(self.study.name))


def chart_html(chart: RecipeChart, paper: Literal["A4", "Letter"] | None = None, date: str = "") -> str:
    """The chart as HTML: the chart alone for a notebook, or a whole page for `paper`, with the date printed as given."""
    if paper is not None:
        refuse_paper(paper)
    depths, rooms = chart.grid()
    rows = [(room, [_cell(row) for row in cells]) for room, cells in rooms]
    return template("advice", "chart.html").render(
        whole=paper is not None, paper=paper, date=date, study=chart.study, says=chart.sentence(),
        depths=depths, rows=rows,
        kinds={kind for _, cells in rows for cell in cells for kind in cell["kind"].split()},
        size=_size(len(rooms), len(depths)), good=f"{100 * GOOD:.0f}",
        legend=_legend(chart), aims=_aims(chart.study), rests=_basis(chart), cautions=safety_text("bench", html=True),
        fingerprint=chart.castings.fingerprint() if chart.castings is not None and paper else "",
    )


def _size(rooms, depths):
    """Font size of the table: narrow cells wrap, which makes rows taller too."""
    return round(min(LARGEST, ROWS / rooms * min(1.0, COLUMNS / depths), COLUMNS / depths), 2)


def _cell(row):
    """The lines of one cell, whether it gives a recipe, and how it is framed."""
    untried = ["untried"] if row["beyond"] else []
    if np.isnan(row["catalyst"]):
        return {"lines": [re.sub(r"(?<=\d) (?=[°%])", "\N{NO-BREAK SPACE}", row["advice"])], "recipe": False, "kind": " ".join(["none", *untried])}
    return {"lines": [show(row["catalyst"], "%"), *recipe_lines(row)], "recipe": True, "kind": " ".join(untried)}


def recipe_lines(row: pd.Series) -> list[str]:
    """What a row of the chart's table gives, a line each: good castings, minutes it stays workable, whether it was poured."""
    lines = ["chance not known yet" if untold(row) else f"{in_hundred(row['chance'])} in 100"]
    lines += [f"{row['gel_low']:.0f} to {row['gel_high']:.0f} min"] if "gel_low" in row else []
    return lines + ["not poured yet"] * bool(row["beyond"])


def _legend(chart):
    gel = " Then how long it stays workable, nine castings in ten." if "gel_low" in chart.table else ""
    return f"Each cell: catalyst, % of resin by mass; chance of a good casting.{gel}"


def _aims(study):
    return f"A good casting: {'; '.join(study.aims_in_words)}."


def _basis(chart):
    """The log the chart rests on, and up to which day."""
    pours = pd.DataFrame() if chart.castings is None else chart.castings.pours
    made = pours.get("made_at", pd.Series(dtype="datetime64[us]")).dropna()
    last = f", the last on {day_words(made.max())}" if len(made) else ""
    return f"Rests on {count(chart.pours, 'pour')}{last}."
