"""The recipe chart as a page: in a notebook, and on one sheet of paper that stays legible in grey."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from testpour.caution_rules import safety_text
from testpour.models.chance import untold
from testpour.pages import day_words, refuse_paper, template
from testpour.units import show
from testpour.wording import count, in_hundred

if TYPE_CHECKING:
    from testpour.advice.chart import RecipeChart

GOOD = 0.6  # chance from which a cell gives a recipe
ROWS, COLUMNS = 9, 5  # rooms and depths that fit one sheet at size 1
LARGEST = 1.12


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
    """Size of the words in the table: narrow cells break their words, so that rows grow too."""
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
    return f"A good casting: {'; '.join(aim.words(study.reading(aim.reading)) for aim in study.aims)}."


def _basis(chart):
    """The log the chart rests on, and up to which day."""
    pours = pd.DataFrame() if chart.castings is None else chart.castings.pours
    made = pours.get("made_at", pd.Series(dtype="datetime64[us]")).dropna()
    last = f", the last on {day_words(made.max())}" if len(made) else ""
    return f"Rests on {count(chart.pours, 'pour')}{last}."
