"""What each session of a practice round taught: the chance reached after each, without ranking anybody."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd

from testpour.advice.candidates import free_factors
from testpour.advice.prospect import states_of
from testpour.advice.recommend import best_settings
from testpour.common.problems import Problem
from testpour.common.wording import count, in_hundred, in_markdown, table_html
from testpour.logbook.castings import Castings
from testpour.models.chance import chance
from testpour.models.fits import fit_castings
from testpour.models.settings import repeated, settings_table
from testpour.study.study import Study

GRID = 5  # steps a free setting is tried at, for the best that could be reached


@dataclass(frozen=True, eq=False)
class Lesson:
    """The progress of a practice round after each session.

    Parameters
    ----------
    table : DataFrame
        One row per session, in order: ``pours`` so far, ``believed`` (chance of a good casting by the log, at the
        settings it advised), ``true`` (the true chance there), ``per pour`` (gain in the true chance for each pour of
        the session).
    start : float
        True chance at the settings advised by belief alone.
    best : float
        Highest true chance over a grid of the study's span.
    """

    table: pd.DataFrame
    start: float
    best: float

    def sentence(self) -> str:
        """The round in a few sentences."""
        last = self.table.iloc[-1]
        text = (
            f"Belief alone would have given {in_hundred(self.start)} good castings in 100; after {count(int(last['pours']), 'pour')} "
            f"the advice gives {in_hundred(last['true'])}, and the best this resin allows is {in_hundred(max(self.best, last['true']))}."
        )
        gains = self.table["per pour"]
        if gains.max() > 0.005:
            text += f" {gains.idxmax()} taught most: {100 * gains.max():.0f} points per pour."
        gap = last["believed"] - last["true"]
        if abs(gap) > 0.1:
            more = "more" if gap > 0 else "less"
            text += f" The log itself promised {in_hundred(last['believed'])}, {more} than the truth."
        return text

    __repr__ = sentence

    def _repr_markdown_(self):
        return f"{in_markdown(self.sentence())}\n\n{table_html(self.table.round(2))}"


def lesson(
    study: Study, true_chance: Callable[[pd.DataFrame], np.ndarray], castings: Castings, fixed: Mapping[str, str | float] | None = None, *,
    room: str | float | None = None
) -> Lesson:
    """What each session of a practice round, poured in their order, taught; a Problem if nothing has been poured.

    `study` is the resin's, `true_chance` gives its chance of a good casting at each row of a settings table; see `PracticeResin.lesson`.
    """
    sessions = list(dict.fromkeys(castings.pours["session"]))
    if not sessions:
        raise Problem("Nothing has been poured yet, so there is nothing to have learnt. Pour a session and log it first.")
    parts = [_until(castings, sessions[:number]) for number in range(len(sessions) + 1)]
    advised = [_advice(fit_castings(part), fixed, room) for part in parts]
    true = np.array([float(true_chance(settings)[0]) for settings, _ in advised])
    believed = [promised for _, promised in advised[1:]]
    pours = np.array([len(part.pours) for part in parts])
    table = pd.DataFrame(
        {"pours": pours[1:], "believed": believed, "true": true[1:], "per pour": np.diff(true) / np.diff(pours)},
        index=pd.Index(sessions, name="session"),
    )
    return Lesson(table, float(true[0]), max(_best(study, true_chance, fixed, room), float(true.max())))


def _until(castings, sessions):
    """The castings of some sessions only."""
    pours = castings.pours[castings.pours["session"].isin(sessions)]
    readings = castings.readings[castings.readings["pour"].isin(pours.index)]
    return replace(castings, pours=pours, readings=readings.reset_index(drop=True))


def _advice(fits, fixed, room):
    """The settings with the best chance, and that chance, however poor."""
    given = settings_table(fits.study, fixed, room=room)
    best = best_settings(fits, states_of(fits), given, free_factors(fits.study, fixed))
    return best, float(chance(fits, best).draws.mean())


def _best(study, true_chance, fixed, room):
    """Highest true chance over a grid of the settings left free."""
    free = [factor for factor in study.varied if factor.name not in (fixed or {})]
    axes = [np.linspace(*factor.span, 2 if factor.kind == "yes/no" else GRID) for factor in free]
    grid = pd.DataFrame(product(*axes), columns=[factor.name for factor in free])
    table = repeated(settings_table(study, fixed, room=room), **grid)
    return float(true_chance(table).max())
