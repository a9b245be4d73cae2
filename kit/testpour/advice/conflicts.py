"""Aims that no settings can meet together: which two, and what comes closest."""

from itertools import combinations

import numpy as np

from testpour.advice.candidates import RoomProblem, SettingRefused, allowed, free_factors, spread_settings
from testpour.advice.contexts import chances_by_draw
from testpour.advice.prospect import prospect
from testpour.cautions import check_table
from testpour.models.chance import NoAims
from testpour.wording import in_hundred

HOPELESS = 0.1  # best chance of any settings, however the unknowns fall, below which aims conflict
MET = 0.5  # chance from which an aim counts as within reach
DRAWS = 128
OPTIMIST = 0.9  # share of draws that must agree


class AimsConflict(ValueError):
    """No settings are likely to meet the aims together.

    Attributes
    ----------
    aims : tuple of Aim
        The two that exclude each other, or the one that no settings meet.
    compromise : dict
        Settings that come closest, floats in declared units.
    chances : dict
        Chance there of meeting each aim, by the aim in words.
    """

    def __init__(self, message, aims, compromise, chances):
        super().__init__(message)
        self.aims, self.compromise, self.chances = aims, compromise, chances


UNADVISED = (RoomProblem, SettingRefused, NoAims, AimsConflict)  # what may stand in the way of advice, said in its place


def check_aims(fits, states, given, fixed=()):
    """Raise `AimsConflict` if no settings over the spans meet every aim, whichever way the doubt falls."""
    study = fits.study
    free = free_factors(study, fixed)
    table = spread_settings(study, free, given)
    table = table[allowed(fits, table)].reset_index(drop=True)
    at = prospect(states, study, table)
    if at.chance().max() >= 0.2:
        return
    hopeful = np.quantile(chances_by_draw(at, DRAWS, 0).max(axis=1), OPTIMIST)
    if hopeful < HOPELESS:
        raise _conflict(study, table, at.by_aim(), free)


def _conflict(study, table, met, free):
    """The conflict in a sentence; `met` is the chance of each aim at each setting: (aims, settings)."""
    words = [aim.words(study.reading(aim.reading)) for aim in study.aims]
    closest = int(np.argmax(met.min(axis=0)))
    row = table.iloc[closest]
    chosen = ", ".join(f"{factor.words} {factor.show(row[factor.name])}" for factor in free)
    chances = {word: float(chance) for word, chance in zip(words, met[:, closest], strict=True)}
    said = ", ".join(f"{word} in {in_hundred(chance)} of 100" for word, chance in chances.items())
    warned = check_table(study, table.iloc[[closest]])
    pair = _worst(met)
    if len(pair) == 1:
        what = f"No settings of this study are likely to meet {words[pair[0]]} here."
    else:
        what = f"No settings of this study are likely to meet both {words[pair[0]]} and {words[pair[1]]} here."
    advice = "Loosen one aim, widen a span, or change what is given: another room, another thickness."
    return AimsConflict(
        " ".join([f"{what} The closest compromise is {chosen or 'what is given'}: {said}. {advice}", *warned.lines()]),
        tuple(study.aims[i] for i in pair),
        {name: float(value) for name, value in row.drop("age", errors="ignore").items()},
        chances,
    )


def _worst(met):
    """Places of the aim no setting meets, or of the two that are least met together."""
    alone = met.max(axis=1)
    if alone.min() < MET or len(met) == 1:
        return (int(alone.argmin()),)
    return min(combinations(range(len(met)), 2), key=lambda pair: (met[pair[0]] * met[pair[1]]).max())
