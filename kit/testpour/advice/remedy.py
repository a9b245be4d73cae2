"""What to do where a room and depth have no good recipe."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from testpour.advice.prospect import State
    from testpour.models.fits import Fits

WARMER = 8  # °C: the most a room is asked to be warmed or cooled
LAYERS = (2, 3)


def remedy(
    fits: Fits, states: dict[str, State], cell: pd.DataFrame,
    solve: Callable[..., tuple[pd.DataFrame, float]], good: float
) -> str:
    """The least trouble that gives a cell a good recipe, in words.

    Parameters
    ----------
    fits : Fits
    states : dict
    cell : DataFrame
        One row: the best settings there.
    solve : callable
        From fits, states and a row to the best row over catalyst, and its chance.
    good : float
        Chance that counts as good.

    Returns
    -------
    str
        For example ``"warm the room to 20 °C"``; what limits it where nothing helps.
    """
    for words, changed in _changes(fits.study, cell):
        best, chance = solve(fits, states, changed)
        if chance >= good:
            return f"{words}, with {fits.study.factor('catalyst').show(best['catalyst'].iloc[0])}"
    return "no good recipe: pour a test piece or change the aims"


def _changes(study, cell):
    """Changes in the order of trouble: cover, layers, the room."""
    row = cell.iloc[0]
    if "cover" in cell:
        yield ("leave the cover off" if row["cover"] else "add a cover"), cell.assign(cover=1 - row["cover"])
    if "thickness" in cell:
        for layers in LAYERS:
            depth = study.factor("thickness").rounded(row["thickness"] / layers)
            if depth >= min(study.factor("thickness").span):
                yield f"pour in {('two', 'three')[layers - 2]} layers", cell.assign(thickness=float(depth))
    if "room_temperature" in cell:
        room = study.factor("room_temperature")
        low, high = room.span if len(room.span) == 2 else (room.low, room.high)
        for step in range(1, WARMER + 1):
            for now, verb in ((row["room_temperature"] + step, "warm"), (row["room_temperature"] - step, "cool")):
                if low <= now <= high:
                    yield f"{verb} the room to {room.show(now)}", cell.assign(room_temperature=now)
