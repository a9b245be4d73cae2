"""Which pours are worth making together, picked one at a time.

Half of the pours are those worth most in simulation, half are trials (see `next_pours`). How other rules did, none of them
better: `tests/benchmarks/measured.md`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.advice.candidates import allowed, in_moulds, spread_settings, unlike
from testpour.advice.contexts import contenders, contexts_for
from testpour.advice.prospect import State, prospect
from testpour.advice.recommend import best_settings, foremost, neighbours
from testpour.advice.worth import Worth
from testpour.models.chance import chance
from testpour.models.fits import Fits
from testpour.study.columns import Factor

LEARN, BOTH, MAKE = "learn fast", "learn while making good pieces", "make good pieces"
FLOORS = {LEARN: 0.0, BOTH: 0.75, MAKE: 0.97}  # share of today's best chance that each pour must reach
LIKELY = 0.5  # chance from which a pour is called likely good; below it no good piece is promised
UNLIKELY = 0.1  # chance below which settings would never be advised, so that pouring them tests no advice
UNPROMISED = 0.5  # the same if good pieces were asked for and none can be promised
POURABLE = 64  # settings tried for a pour; Sobol points need a power of two
DOUBT = 0.02  # weight of doubt removed against chance gained: decides when no single session changes the advice
FEWEST = 24  # settings still tried for later pours


@dataclass(frozen=True, eq=False)
class Batch:
    """Pours picked one at a time for what they are worth together."""

    rows: pd.DataFrame  # settings, one row per pour
    gained: list[float]  # rise in the best mean chance promised by the pours up to each
    lessons: list[tuple[int, np.ndarray]]  # see `Worth`
    # Indices of the pours that are the likeliest settings unlike any pour, where advice rests on belief alone.
    trials: tuple[int, ...] = ()
    aim: str = LEARN  # what they are for: learning, if pieces were asked for and none is likely good


def batch_worth(
    fits: Fits, states: dict[str, State], given: pd.DataFrame, free: tuple[Factor, ...],
    contexts: pd.DataFrame, pours: int, moulds: str | float | Sequence[str | float] | None = None,
    pending: pd.DataFrame | None = None, aim: str = LEARN, seed: int = 0
) -> Batch:
    """The `Batch` of pours worth making, as `next_pours` picks them.

    They differ in the free factors; other settings are as in the one row of `given`. Each table of `contexts` holds what may
    be advised for one room and thickness. `moulds` are the only depths, None for any; `pending` pours count as made.
    """
    pourable, good = _pourable(fits, states, given, free, moulds, aim, seed)
    if aim != LEARN and good.max() < LIKELY:
        aim = LEARN
        pourable, good = _pourable(fits, states, given, free, moulds, aim, seed)
        if good.max() >= UNLIKELY:
            kept = good >= UNPROMISED * good.max()
            pourable, good = pourable[kept].reset_index(drop=True), good[kept]
    worth = Worth(fits.study, states, pourable, contexts, pours, pending, seed)
    gained: list[float] = []
    trials: list[int] = []
    places = np.arange(len(pourable))
    for turn in range(pours):
        gain, doubt = worth.gains(places)
        order = np.argsort(-(gain + DOUBT * doubt), kind="stable")
        trial = _trial(fits, pending, pourable, worth.added, good, places) if turn >= pours - pours // 2 and aim == LEARN else None
        best = order[0] if trial is None else trial
        trials += [turn] if trial is not None else []
        worth.add(places[best])
        gained.append(max(float(gain[best]), *gained[-1:], 0.0))
        places = places[order[: max(FEWEST, len(order) // 2)]]  # what is worth little now is worth less later
    rows = pourable.iloc[worth.added].reset_index(drop=True)
    return Batch(rows, gained, worth.lessons, tuple(trials), aim)


def with_recommended(fits: Fits, states: dict[str, State], contexts: pd.DataFrame, free: tuple[Factor, ...]) -> list[pd.DataFrame]:
    """For each context the settings recommended there, then its `contenders`, which may miss the best.
    """
    others = tuple(factor for factor in free if factor.name != "thickness")
    best = [best_settings(fits, states, contexts.iloc[[place]], others) for place in range(len(contexts))]
    return [pd.concat(pair, ignore_index=True) for pair in zip(best, contenders(fits, states, contexts, free), strict=True)]


def gained_by(
    fits: Fits, states: dict[str, State], batch: Batch, contexts: list[pd.DataFrame],
    pending: pd.DataFrame | None = None, seed: int = 0
) -> Batch:
    """The same pours, with their gains worked out for these rooms and depths instead of those they were picked for.

    The tables of `contexts` are from `with_recommended`; `pending` pours count as made.
    """
    worth = Worth(fits.study, states, batch.rows, contexts, len(batch.rows), pending, seed)
    gained: list[float] = []
    for place in range(len(batch.rows)):
        gained.append(max(float(worth.gains(np.array([place]))[0][0]), *gained[-1:], 0.0))
        worth.add(place)
    return replace(batch, gained=gained)


def recommended_chances(fits: Fits, contexts: list[pd.DataFrame]) -> np.ndarray:
    """Draws of the chance of a good casting at the first row of each table of `with_recommended`: shape (draws, contexts)."""
    return chance(fits, pd.concat([table.iloc[[0]] for table in contexts], ignore_index=True)).draws


def _trial(fits, pending, pourable, added, good, places):
    """Index of the likeliest settings unlike any pour, made or pending; None if there are none."""
    made = fits.castings.pours
    names = [name for name in pourable if name in made]
    under_way = [pours[names] for pours in (pending, pourable.iloc[added]) if pours is not None]
    new = unlike(fits.study, pourable, pd.concat([made[names], *under_way], ignore_index=True))[places]
    return int(np.argmax(np.where(new, good[places], -1.0))) if len(made) and new.any() else None


def _pourable(fits, states, given, free, moulds, aim, seed):
    """Settings that may be poured today, spread over the spans plus the best of each depth, and the chance of each."""
    study = fits.study
    moulds = moulds if any(f.name == "thickness" for f in free) else None
    parts = [spread_settings(free, given, POURABLE, seed)]
    others = tuple(f for f in free if f.name != "thickness")
    depths = in_moulds(study, contexts_for(study, free, given), moulds)
    depths = depths.drop(columns="room_temperature", errors="ignore").drop_duplicates()
    for place in range(len(depths)):
        piece = depths.iloc[[place]].reset_index(drop=True)
        if "room_temperature" in given:
            piece["room_temperature"] = given["room_temperature"].iloc[0]
        piece = piece[given.columns]
        if aim == LEARN:
            parts.append(foremost(fits, states, spread_settings(others, piece, POURABLE, seed), 1))
        else:
            parts.append(neighbours(best_settings(fits, states, piece, others), others))
    table = in_moulds(study, pd.concat(parts, ignore_index=True), moulds).drop_duplicates(ignore_index=True)
    table = table[allowed(fits, table)].reset_index(drop=True)
    good = prospect(states, study, table).chance()
    kept = good >= FLOORS[aim] * good.max()
    return table[kept].reset_index(drop=True), good[kept]
