"""When to stop pouring: whether another session could still change the advice for the better."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.advice.batch import ENOUGH
from testpour.advice.chart_page import GOOD
from testpour.advice.conflicts import AimsConflict, failing_aims, inputs_of, look_in_time, why_first
from testpour.advice.contexts import chances_by_draw, contexts_for, where_judged
from testpour.advice.picking import batch_worth, recommended_chances, with_recommended
from testpour.advice.prospect import prospect
from testpour.common.threads import one_thread
from testpour.common.wording import in_hundred, said_in_markdown
from testpour.models.chance import chance_between, mean_and_interval, untold
from testpour.models.fits import Fits
from testpour.study.study import Aim, Study

CLOSE = 0.05  # shortfall of the chance that does not matter
SURE = 0.9  # share of draws in which the advice must be close
DRAWS, SEED = 256, 0
SESSION = 4  # pours of the session compared with stopping


@dataclass(frozen=True, eq=False)
class StopAdvice:
    """Whether to stop, and what is still open.

    Parameters
    ----------
    study : Study
    stop : bool
    gain : float
        Rise in the chance of a good casting that another session promises, on average.
    before : float
        Mean chance at the settings recommended now, over the rooms and depths considered.
    close : float
        How likely the recommendation is within five points of the best possible, averaged over these.
    table : DataFrame
        One row per room and depth: ``chance`` at the recommended settings, ``low`` and ``high`` (its 90 % interval), ``short``, how far they fall
        short of the best possible on average, ``close``, how likely that is less than five points, and
        ``most often missed``, the aim least likely to be met.
    pours : int
        How many pours the log holds.
    conflict : AimsConflict or None
        The aims that no settings are likely to meet together.
    failing : tuple of Aim
        Aims that nearly every casting of the log misses.
    where : str
        The rooms and depths considered, as the end of a sentence.
    look : str
        When to check for an event, if the checks were too far apart to judge its aim; in sentences.
    """

    study: Study
    stop: bool
    gain: float
    before: float
    close: float
    table: pd.DataFrame
    pours: int
    conflict: AimsConflict | None = None
    failing: tuple[Aim, ...] = ()
    where: str = ""
    look: str = ""

    def sentence(self) -> str:
        """The advice in a few sentences."""
        return f"{self._weighed()} {self.look}".rstrip()

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown

    def _weighed(self):
        """What another session promises against stopping."""
        points = f"less than {100 * ENOUGH:.0f} points" if self.gain < ENOUGH else f"about {100 * self.gain:.0f} points"
        text = f"Another session of {SESSION} pours would raise the chance of a good casting{self.where}{',' * (',' in self.where)} by {points} on average"
        if self.conflict:
            return f"{text}. {self.conflict.sentence()}"
        if self.stop:
            return (
                f"{text}: stop and pin up the chart. The settings recommended are within "
                f"{100 * CLOSE:.0f} points of the best possible with {_odds_words(self.close)}."
            )
        if not self.pours:
            return f"Nothing is poured yet: this rests on belief alone. {text}."
        best = self.table.loc[self.table["chance"].idxmax()]
        if best["chance"] < GOOD and (self.failing or self.gain < ENOUGH):
            best_known = f"there is no recipe to pin up: the best chance known of a good casting is {chance_between(best)}"
            if untold(best) and not self.failing:
                return (
                    f"{text}, but {best_known}. Before you loosen an aim, pour what is recommended{_place_words(self.study, best)} twice: "
                    "if both castings are good, use it; if both miss the same aim, loosen that one."
                )
            first = why_first(self.study, self.failing) or "Loosen one aim, widen a span, or change what is given: another room, another thickness."
            return f"{text}, and {best_known}. {first}"
        if self.gain >= ENOUGH:
            return f"Go on. {text}. {self._open()}"
        return (
            f"{text}, but whether the settings recommended are within {100 * CLOSE:.0f} points of the best "
            f"possible is not settled ({_odds_words(self.close)}). {self._open()} "
            "Go on if that matters to you; one session will not settle it."
        )

    def _open(self):
        """Where the recommendation may fall short most, and of which aim."""
        worst = self.table.loc[self.table["short"].idxmax()]
        where = _place_words(self.study, worst)
        return f"Still open: {worst['most often missed']}{where}, where the settings may be {100 * worst['short']:.0f} points short."


@one_thread
def stop_advice(fits: Fits, *, room: str | float | None = None, fixed: Mapping[str, str | float] | None = None) -> StopAdvice:
    """Whether to stop pouring test castings.

    Parameters
    ----------
    fits : Fits
    room : str or float, optional
        Room temperature of the next session, and the room considered; by default every room of the study.
    fixed : dict, optional
        Settings that are given.

    Returns
    -------
    StopAdvice
        Stop if another session promises less than two points, the recommendation is within five points of the best
        possible in nine draws of ten, and it is good enough for the recipe chart in some room and depth.

    Raises
    ------
    NoAims, RoomProblem, SettingRefused
        As for `next_pours`.

    Examples
    --------
    >>> tp.stop_advice(fits)
    Another session of 4 pours would raise the chance of a good casting over the rooms and depths of the study by less than 2 points ...
    """
    study, (states, given, free, conflict) = fits.study, inputs_of(fits, fixed, room)
    contexts = contexts_for(study, free, given, rooms=room is None)
    tables = with_recommended(fits, states, contexts, free)
    worth = batch_worth(fits, states, given, free, tables, SESSION, seed=SEED)
    table, close = _shortfalls(study, states, contexts, tables)
    drawn = mean_and_interval(recommended_chances(fits, tables))
    table.insert(len(table.columns) - 3, "chance", drawn["chance"])
    table = table.assign(low=drawn["low"], high=drawn["high"])
    gain, before = worth.gained[-1], float(table["chance"].mean())
    made = len(fits.castings.pours)
    stop = bool(made and gain < ENOUGH and close >= SURE and table["chance"].max() >= GOOD and conflict is None)
    failing = failing_aims(fits.study, fits.castings)
    look = look_in_time(study, fits.castings)
    return StopAdvice(study, stop, gain, before, close, table, made, conflict, failing, where_judged(study, contexts), look)


def _shortfalls(study, states, contexts, tables):
    """How far the best mean setting of each context falls short of the best in each draw."""
    at = prospect(states, study, pd.concat(tables, ignore_index=True))
    drawn, mean, met = chances_by_draw(at, DRAWS, SEED), at.chance(), at.by_aim()
    words = study.aims_in_words
    rows, shortfalls, start = [], [], 0
    for table in tables:
        here = slice(start, start + len(table))
        best = start + int(mean[here].argmax())
        shortfalls.append(drawn[:, here].max(axis=1) - drawn[:, best])
        rows.append({
            "short": shortfalls[-1].mean(), "close": (shortfalls[-1] <= CLOSE).mean(),
            "most often missed": words[int(met[:, best].argmin())],
        })
        start += len(table)
    shown = [name for name in ("room_temperature", "thickness") if name in contexts and contexts[name].nunique() > 1]
    table = pd.concat([contexts[shown].reset_index(drop=True), pd.DataFrame(rows)], axis=1)
    return table, float((np.mean(shortfalls, axis=0) <= CLOSE).mean())


def _place_words(study, row):
    """A context's room and depth, in words."""
    parts = {"room_temperature": "in a room at", "thickness": "at a depth of"}
    parts_said = [f"{lead} {study.factor(name).show(round(row[name], 1))}" for name, lead in parts.items() if name in row]
    return " " + " ".join(parts_said) if parts_said else ""


def _odds_words(share):
    """A chance in words."""
    return f"a chance of {in_hundred(share)} in 100"
