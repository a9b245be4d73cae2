"""Aims that no settings are likely to meet together."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from testpour.advice.candidates import RoomProblem, SettingRefused, allowed, checked_given, free_factors, spread_settings
from testpour.advice.contexts import chances_by_draw
from testpour.advice.prospect import State, prospect, states_of
from testpour.bench.slots import events
from testpour.causes.complaint import by_casting, misses
from testpour.causes.whole_log import missed_by_most
from testpour.common.wording import count
from testpour.logbook.castings import Castings
from testpour.models.chance import NoAims
from testpour.models.fits import Fits
from testpour.study.columns import Factor
from testpour.study.study import Aim, Study

HOPELESS = 0.1  # aims conflict if no settings have a better chance than this, whatever the unknowns
MET = 0.5  # chance from which an aim counts as within reach
DRAWS = 128
OPTIMIST = 0.9  # share of draws that must agree
# Castings that must have been read for an aim before nearly all of them are said to miss it. A plan's first session lies at the
# ends of the spans, where a sound resin misses some aim three times in four: in 19 of 24 hidden resins after 4 pours, in 4 after 8.
FEWEST = 6
UNTIMED = 3  # castings with checks too far apart to judge, before that is mentioned

Unadvised = RoomProblem | SettingRefused | NoAims
UNADVISED = (RoomProblem, SettingRefused, NoAims)  # what may prevent advice, shown in its place


@dataclass(frozen=True)
class AimsConflict:
    """No settings are likely to meet the aims together, as far as beliefs and log can tell."""

    study: Study
    aims: tuple[Aim, ...]  # the two that exclude each other, or the one that no settings meet
    failing: tuple[Aim, ...] = ()  # those of them that nearly every casting of the log misses

    def sentence(self, beside_best: bool = False) -> str:
        """Which aims are in the way and what can be done; `beside_best` adds that the settings shown come closest."""
        words = [aim.words(self.study.reading(aim.reading)) for aim in self.aims]
        met = words[0] if len(words) == 1 else f"both {words[0]} and {words[1]}"
        first = f"{why_first(self.study, self.failing)} If none is found, loosen" if self.failing else "Pour the next pours to test that, or loosen"
        return (
            f"No settings of this study are likely to meet {met} here{'; these come closest' if beside_best else ''}. {first} one aim, "
            "widen a span, or change what is given: another room, another thickness."
        )

    __repr__ = sentence


def aims_in_the_way(fits: Fits, states: dict[str, State], given: pd.DataFrame, free: tuple[Factor, ...]) -> AimsConflict | None:
    """The aims that no settings over the spans meet together, whatever the unknowns; None if some do.

    `given` is one row with every setting, of which the `free` ones may be chosen.
    """
    study = fits.study
    table = spread_settings(free, given)
    table = table[allowed(fits, table)].reset_index(drop=True)
    at = prospect(states, study, table)
    if at.chance().max() >= 2 * HOPELESS:
        return None
    if np.quantile(chances_by_draw(at, DRAWS, 0).max(axis=1), OPTIMIST) >= HOPELESS:
        return None
    aims = tuple(study.aims[place] for place in _hardest_aims(at.by_aim()))
    return AimsConflict(study, aims, tuple(aim for aim in failing_aims(study, fits.castings) if aim in aims))


def inputs_of(
    fits: Fits, fixed: Mapping[str, str | float] | None, room: str | float | None
) -> tuple[dict[str, State], pd.DataFrame, tuple[Factor, ...], AimsConflict | None]:
    """What every kind of advice starts from: states, one row of every setting, the factors free to choose, and aims in conflict.

    `fixed` and `room` are as for `checked_given`.
    """
    states, given, free = states_of(fits), checked_given(fits, fixed, room), free_factors(fits.study, fixed)
    return states, given, free, aims_in_the_way(fits, states, given, free)


def failing_aims(study: Study, castings: Castings) -> tuple[Aim, ...]:
    """The aims that nearly every casting of a log misses, among those read on enough castings."""
    return tuple(aim for aim in study.aims if len(misses(castings, aim)) >= FEWEST and missed_by_most(castings, aim))


def look_in_time(study: Study, castings: Castings) -> str:
    """When to check for an event, if for most castings the checks were too far apart to judge its aim; else "".

    A casting cannot be judged if its interval lies partly inside the aim and partly outside.
    """
    told = []
    for event in events(study):
        for aim in (aim for aim in study.aims if event.look and aim.reading == event.reading.name):
            least, most = -np.inf if aim.at_least is None else aim.at_least, np.inf if aim.at_most is None else aim.at_most
            ends = [(low, high) for (name, _), rows in by_casting(castings).items() if name == aim.reading for _, low, high in rows]
            possible = [(low, high) for low, high in ends if high >= least and low <= most]
            unknown = sum(low < least or high > most for low, high in possible)
            if unknown >= UNTIMED and 2 * unknown > len(possible):
                told.append(
                    f"Of {count(len(possible), 'casting')} that may have met the aim of {aim.words(event.reading)}, {unknown} were checked "
                    f"too seldom to tell: {event.look}."
                )
    return " ".join(told)


def why_first(study: Study, failing: Iterable[Aim]) -> str:
    """What to do first if nearly every casting misses an aim, in a sentence; "" if none is `failing`."""
    names = " and ".join(study.reading(aim.reading).words for aim in failing)
    if not names:
        return ""
    return (
        f"Nearly every casting so far misses the aim for {names}, and a fault of the whole study looks just like that: "
        "ask why before you pour again (with the notebook why-tacky, or why_all)."
    )


def _hardest_aims(met):
    """Indices of the aim no settings meet, or of the two least likely to be met together."""
    alone = met.max(axis=1)
    if alone.min() < MET or len(met) == 1:
        return (int(alone.argmin()),)
    return min(combinations(range(len(met)), 2), key=lambda pair: (met[pair[0]] * met[pair[1]]).max())
