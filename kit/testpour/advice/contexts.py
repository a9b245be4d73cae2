"""The rooms and depths that advice must serve, and the settings that may turn out best in each."""

import numpy as np
import pandas as pd

from testpour.advice.candidates import allowed, spread_settings
from testpour.advice.prospect import Prospect, State, prospect
from testpour.models.fits import Fits
from testpour.study.columns import Factor
from testpour.study.study import Study

CONTENDERS = 12  # settings kept for each room and thickness: those that may turn out best
DRAWS = 96
LOOKED_AT = 128  # settings searched for contenders; Sobol points need a power of two
PARTS = 3  # rooms, and depths, that represent a span


def contexts_for(study: Study, free: tuple[Factor, ...], given: pd.DataFrame, rooms: bool = True) -> pd.DataFrame:
    """The rooms and thicknesses the advice must serve: one row each, settings complete.

    If thickness is free it depends on the piece, so several are served. Without `rooms` only the room of `given` is.
    """
    axes = {}
    room = next((f for f in study.factors if f.name == "room_temperature"), None)
    if rooms and room is not None and len(set(room.span)) == 2:
        axes["room_temperature"] = _nodes(room)
    if any(f.name == "thickness" for f in free):
        axes["thickness"] = _nodes(study.factor("thickness"))
    rows = given
    for name, nodes in axes.items():
        rows = pd.concat([rows.assign(**{name: node}) for node in nodes], ignore_index=True)
    return rows


def where_judged(study: Study, contexts: pd.DataFrame) -> str:
    """The rooms, the depths and any unusual humidity, as the end of a sentence: " in a room at 28 °C, at 70 % humidity".

    "" if the study records none of these.
    """
    spread = [words for name, words in (("room_temperature", "rooms"), ("thickness", "depths"))
              if name in contexts and contexts[name].nunique() > 1]
    over = f"over the {' and '.join(spread)} of the study" if spread else ""
    if "room_temperature" not in contexts or "rooms" in spread:
        place = f" {over}" if over else ""
    else:
        place = f" in a room at {study.factor('room_temperature').show(contexts['room_temperature'].iloc[0])}" + (f", {over}" if over else "")
    air = [f for f in study.factors if f.role == "met" and f.kind == "number" and f.name in contexts and f.name != "room_temperature"]
    return place + "".join(f", at {f.show(contexts[f.name].iloc[0])} {f.words}" for f in air if contexts[f.name].iloc[0] != f.usual)


def _nodes(factor):
    """Middles of equal parts of a factor's span, in bench steps."""
    low, high = factor.span
    return np.unique(factor.rounded(low + (high - low) * (np.arange(PARTS) + 0.5) / PARTS))


def contenders(fits: Fits, states: dict[str, State], contexts: pd.DataFrame, free: tuple[Factor, ...]) -> list[pd.DataFrame]:
    """For each context, the settings that may turn out to be best there.

    A setting is a contender if it is the best of all in some draw of the unknowns; the most frequent are kept,
    with the one that is best on average.
    """
    free = tuple(f for f in free if f.name != "thickness")
    tables = []
    for place in range(len(contexts)):
        table = spread_settings(free, contexts.iloc[[place]], LOOKED_AT, seed=0)
        tables.append(table[allowed(fits, table)])
    at = prospect(states, fits.study, pd.concat(tables, ignore_index=True))
    drawn, mean = chances_by_draw(at, DRAWS, seed=0), at.chance()
    kept, start = [], 0
    for table in tables:
        here = slice(start, start + len(table))
        wins = np.bincount(drawn[:, here].argmax(axis=1), minlength=len(table)).astype(float)
        wins[mean[here].argmax()] += DRAWS
        first = np.lexsort((-mean[here], -wins))[:CONTENDERS]
        kept.append(table.iloc[first])
        start += len(table)
    return kept


def chances_by_draw(at: Prospect, draws: int, seed: int) -> np.ndarray:
    """Chance of a good casting in each of some draws of the unknowns: shape (draws, settings)."""
    rng = np.random.default_rng([seed, 23])
    drawn = {name: rng.multivariate_normal(s.centre, s.covariance, draws) for name, s in at.states.items()}
    return np.prod([at.met(sides, drawn) for sides in at.aims], axis=0)
