"""The recipe chart in words, for the page to set in its own table."""

import numpy as np

from testpour.suggest import recipe_chart
from testpour.units import show
from testpour.wording import in_hundred


def chart_words(fits):
    """The recipe chart as a table of words; None where the study has no catalyst to give or no aim."""
    try:
        chart = recipe_chart(fits)
    except ValueError:  # no aim, no room, aims that conflict
        return None
    rooms, depths = (chart.table.index.unique(level=name) for name in ("room_temperature", "thickness"))
    return {
        "says": chart.sentence(),
        "workable": "gel_low" in chart.table,
        "heads": [_shown(fits.study, "thickness", depth, "any depth") for depth in depths],
        "rows": [
            (_shown(fits.study, "room_temperature", room, "as it is"), [_recipe(chart.table.loc[(room, d)]) for d in depths])
            for room in rooms
        ],
    }  # fmt: skip


def _shown(study, name, value, otherwise):
    return otherwise if np.isnan(value) else study.factor(name).show(value)


def _recipe(row):
    """One cell of the chart: the recipe and what it gives, or what to do instead."""
    if np.isnan(row["catalyst"]):
        return {"recipe": "", "lines": [row["advice"]], "beyond": bool(row["beyond"])}
    lines = [f"{in_hundred(row['chance'])} in 100"]
    lines += [f"{row['gel_low']:.0f} to {row['gel_high']:.0f} min"] if "gel_low" in row else []
    return {"recipe": show(row["catalyst"], "%"), "lines": lines + ["not poured yet"] * bool(row["beyond"]), "beyond": bool(row["beyond"])}
