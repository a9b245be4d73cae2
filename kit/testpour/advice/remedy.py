"""What to do if a room and depth have no good recipe."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from testpour.advice.prospect import State
from testpour.models.fits import Fits

WARMER = 8  # °C by which a room is to be warmed or cooled at most
LAYERS = (2, 3)
NOTHING = "no good recipe: pour a test piece or change the aims"
ASK = "no good recipe yet: ask why first"  # nearly every casting fails, so perhaps no recipe will help


def remedies(
    fits: Fits, states: dict[str, State], cells: pd.DataFrame,
    solve: Callable[..., tuple[pd.DataFrame, np.ndarray]], good: float, unknown: Sequence[bool],
    ask: bool = False
) -> list[str]:
    """The easiest change that gives each cell a good recipe, in words; or what to do if nothing helps.

    For example "warm the room to 20 °C, with 1.5 %". `cells` are the best settings of each cell without a good recipe;
    `solve` gives cells their best settings over catalyst and the chances. If a cell may still turn out good (`unknown`),
    no other room is suggested. With `ask` the advice is to find out first why all fail.
    """
    changes_of_cells = [list(_changes(fits.study, cells.iloc[[place]], not new)) for place, new in enumerate(unknown)]
    doses_shown = map(fits.study.factor("catalyst").show, cells["catalyst"])
    fallbacks = [f"cannot tell yet: try one with {dose}" if new else NOTHING for dose, new in zip(doses_shown, unknown, strict=True)]
    if ask:
        fallbacks = [ASK] * len(changes_of_cells)
    changed = [cell for changes in changes_of_cells for _, cell in changes]
    if not changed:
        return fallbacks
    best, chances = solve(fits, states, pd.concat(changed, ignore_index=True))
    doses = iter(np.where(chances >= good, best["catalyst"], np.nan))
    offered = [[(words, next(doses)) for words, _ in changes] for changes in changes_of_cells]
    return [_words(fits.study, changes) or other for changes, other in zip(offered, fallbacks, strict=True)]


def _words(study, changes):
    """The first change that has a good dose, in words; "" if none has."""
    for words, dose in changes:
        if not np.isnan(dose):
            return f"{words}, with {study.factor('catalyst').show(dose)}"
    return ""


def _changes(study, cell, rooms=True):
    """Changes, easiest first: cover, layers, then the room if `rooms` allows."""
    row = cell.iloc[0]
    if "cover" in cell:
        yield ("leave the cover off" if row["cover"] else "add a cover"), cell.assign(cover=1 - row["cover"])
    if "thickness" in cell:
        for layers in LAYERS:
            depth = study.factor("thickness").rounded(row["thickness"] / layers)
            if depth >= min(study.factor("thickness").span):
                yield f"pour in {('two', 'three')[layers - 2]} layers", cell.assign(thickness=float(depth))
    if rooms and "room_temperature" in cell:
        room = study.factor("room_temperature")
        low, high = room.span if len(room.span) == 2 else (room.low, room.high)
        for step in range(1, WARMER + 1):
            for now, verb in ((row["room_temperature"] + step, "warm"), (row["room_temperature"] - step, "cool")):
                if low <= now <= high:
                    yield f"{verb} the room to {room.show(now)}", cell.assign(room_temperature=now)
