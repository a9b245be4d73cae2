"""The recipe chart in words, for the page to set in its own table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.advice.chart import recipe_chart
from testpour.advice.chart_page import recipe_lines
from testpour.units import show

if TYPE_CHECKING:
    from testpour.models.fits import Fits


def chart_words(fits: Fits) -> dict[str, Any] | None:
    """The recipe chart as a table of words; None where the study has no catalyst to give or no aim.

    Parameters
    ----------
    fits : Fits

    Returns
    -------
    dict or None
        ``says``, ``workable``, ``heads`` and rows of cells in words.
    """
    try:
        chart = recipe_chart(fits)
    except ValueError:  # no aim, no room, aims that conflict
        return None
    heads, rooms = chart.grid()
    rows = [(room, [_recipe(row) for row in cells]) for room, cells in rooms]
    return {"says": chart.sentence(), "workable": "gel_low" in chart.table, "heads": heads, "rows": rows}


def _recipe(row):
    """One cell of the chart: the recipe and what it gives, or what to do instead."""
    without = np.isnan(row["catalyst"])
    recipe, lines = ("", [row["advice"]]) if without else (show(row["catalyst"], "%"), recipe_lines(row))
    return {"recipe": recipe, "lines": lines, "beyond": bool(row["beyond"])}
