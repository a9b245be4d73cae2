"""The pours worth making now, in the room as it is today."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from numbers import Integral
from typing import Any

import pandas as pd

from testpour.advice.conflicts import AimsConflict, inputs_of, look_in_time
from testpour.advice.contexts import contenders, contexts_for, where_judged
from testpour.advice.picking import FLOORS, LEARN, LIKELY, MAKE, UNLIKELY, batch_worth, gained_by, recommended_chances, with_recommended
from testpour.advice.reasons import reasons_for, scatter_unknown, twin_of
from testpour.advice.recommend import predicted
from testpour.bench.weighing import WeighOut, weigh_out
from testpour.common.problems import Problem
from testpour.common.threads import one_thread
from testpour.common.wording import in_html, listed, table_html
from testpour.logbook.castings import new_names
from testpour.models.chance import cautions_at, chance, chance_between, mean_and_interval, untold
from testpour.models.fits import Fits
from testpour.models.settings import settings_table
from testpour.planning.pour_cautions import by_pour, session_groups
from testpour.study.caution_rules import Cautions
from testpour.study.study import Study

TRIAL, NEW = "tests the advice: ", "nothing like it was poured"
ENOUGH = 0.02  # rise in chance below which more pours are not worth it
STOP = "Section 6 of the notebook 4-next-pours weighs whether to go on."


@dataclass(frozen=True, eq=False)
class NextPours:
    """The pours worth making now.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row per pour, most valuable first: settings, ``chance`` of a good casting with its 90 % interval ``low`` to ``high``, ``gain``, the
        rise in the chance of the settings then recommended that the pours up to this one promise, and ``reason``.
    predicted : DataFrame
        One row per pour and reading: middle, low and high of one new casting (90 % interval).
    before : float
        Chance of a good casting at the settings recommended now, averaged over the rooms and depths considered.
    free : tuple of str
        Names of the settings that were chosen.
    aim : str
        What mattered.
    cautions : Cautions
    conflict : AimsConflict or None
        The aims that no settings are likely to meet together.
    where : str
        The rooms and depths considered, as the end of a sentence.
    promised : bool
        False where good pieces were asked for and none is likely.
    between : tuple of float
        90 % interval of `before`.
    look : str
        When to check for an event, if the checks were too far apart to judge its aim; in sentences.
    """

    study: Study
    table: pd.DataFrame
    predicted: pd.DataFrame
    before: float
    free: tuple[str, ...]
    aim: str
    cautions: Cautions
    conflict: AimsConflict | None = None
    where: str = ""
    promised: bool = True
    between: tuple[float, float] = (0.0, 0.0)
    look: str = ""

    @property
    def told(self) -> dict[str, float]:
        """`before` with the ends of its interval, as `chance_between` puts it in words."""
        return {"chance": self.before, "low": self.between[0], "high": self.between[1]}

    def sentence(self) -> str:
        """What the pours promise together."""
        gain = 100 * self.table["gain"].iloc[-1]
        many = f"These {len(self.table)} pours" if len(self.table) > 1 else "This pour"
        now = f"The chance of a good casting with the settings recommended now is {chance_between(self.told)}{self.where}"
        if not self.promised:
            now += ". No good piece can be promised yet, so these are the pours that would teach most"
        if self.conflict:
            text = f"{now}. {self.conflict.sentence()}"
        elif self.aim == MAKE and self.promised:
            text = f"{now}. These pours are the likeliest to come out good, not those that would teach most."
        elif gain < 100 * ENOUGH:
            text = f"{now}. {many} should raise it by less than {100 * ENOUGH:.0f} points on average. {STOP}"
        else:
            text = f"{now}. {many} should raise it by about {gain:.0f} points on average."
        return self.cautions.around(f"{text}{self.apart()} {self.look}".rstrip())

    def apart(self) -> str:
        """Which pours can share a session, as a sentence, if they differ in settings that are set once a session; else ""."""
        once = [factor.words for factor in map(self.study.factor, self.free) if factor.by_session]
        runs = session_groups(self.study, self.table[self.table.columns.intersection(list(self.free))])
        text = f" These pours differ in what is set once a session ({', '.join(once)}), so pour and log them as separate sessions: "
        return f"{text}{'; '.join(map(listed, runs))}." if once and len(runs) > 1 else ""

    __repr__ = sentence

    def _repr_html_(self):
        shown = pd.DataFrame(index=self.table.index)
        for name in self.free:
            factor = self.study.factor(name)
            shown[factor.words] = [factor.show(value) for value in self.table[name]]
        shown["chance of a good casting"] = [chance_between(line) for _, line in self.table.iterrows()]
        shown["why"] = self.table["reason"]
        return f"<p>{in_html(self.sentence())}</p>{table_html(shown.rename_axis(None))}"

    def weigh_out(self, resin: str | float | None = None, **amounts: Any) -> dict[str, WeighOut]:
        """What to weigh out for each pour.

        Parameters
        ----------
        resin : float or str, optional
            Resin to weigh for each pour; g where no unit is given.
        **amounts
            As for `weighing.weigh_out`; they replace the values of the pour.

        Returns
        -------
        dict
            Pour name to `WeighOut`.
        """
        mixes = {}
        for pour, row in self.table.iterrows():
            parts = {name: float(row[name]) for name in ("catalyst", "pigment") if name in row}
            mixes[pour] = weigh_out(resin, study=self.study, **{**parts, **amounts})
        return mixes


@one_thread
def next_pours(
    fits: Fits, *, room: str | float | None = None, pours: int = 4,
    fixed: Mapping[str, str | float] | None = None, moulds: str | float | Sequence[str | float] | None = None,
    pending: pd.DataFrame | None = None,
    aim: str = LEARN, seed: int = 0
) -> NextPours:
    """The pours that should most raise the chance of the settings recommended after them.

    Parameters
    ----------
    fits : Fits
    room : str or float, optional
        Room temperature today: all pours are made in it, and the gain is judged there. By default the gain is judged
        over every room of the study.
    pours : int
        How many to make in this session.
    fixed : dict, optional
        Settings that are given.
    moulds : str, float or list, optional
        Depths of the moulds at hand, for example ``["6 mm", "1/2 in"]``.
    pending : DataFrame, optional
        Settings of pours planned or made but not yet read, so that no pour repeats what they will tell.
    aim : {"learn fast", "learn while making good pieces", "make good pieces"}
        What matters: the last two propose only pours likely to be good themselves, and say so if there are none.
    seed : int
        The same log and seed give the same advice.

    Returns
    -------
    NextPours

    Raises
    ------
    NoAims, RoomProblem, SettingRefused
        If nothing can be called good, the room is out of range, or the cautions
        refuse what is given.
    Problem
        If fewer than one pour is asked for, or `aim` is none of the three.

    Notes
    -----
    Readings of each candidate are simulated from the fits; each outcome sharpens the fits, and the chance of the
    settings that would then be recommended is averaged over outcomes, and over the rooms and thicknesses the
    study plans for, so that a session in today's room serves the others too. Pours are added one by one to the
    same simulated session. To learn fast from a log, half of them are the likeliest settings unlike any pour:
    they test what the advice knows from belief alone.

    Examples
    --------
    >>> tp.next_pours(fits, room="18 degC", pours=3)
    The chance of a good casting with the settings recommended now is about 90 in 100 ... in a room at 18 °C, ...
    """
    _check(pours, aim)
    study, (states, given, free, conflict) = fits.study, inputs_of(fits, fixed, room)
    contexts = contenders(fits, states, contexts_for(study, free, given), free)
    waiting = settings_table(study, pending) if pending is not None and len(pending) else None
    batch = batch_worth(fits, states, given, free, contexts, pours, moulds, waiting, aim, seed)
    judged = contexts_for(study, free, given, rooms=room is None)
    tables = with_recommended(fits, states, judged, free)
    batch, now = gained_by(fits, states, batch, tables, waiting, seed), mean_and_interval(recommended_chances(fits, tables).mean(axis=1, keepdims=True)).iloc[0]
    advice = _described(fits, batch, float(now["chance"]), free, aim, {*fits.castings.names, *(() if pending is None else pending.index)})
    between, look = (float(now["low"]), float(now["high"])), look_in_time(study, fits.castings)
    return replace(advice, conflict=conflict, where=where_judged(study, judged), promised=batch.aim == aim, between=between, look=look)


def _check(pours, aim):
    problems = []
    if not isinstance(pours, Integral) or pours < 1:
        problems.append(f"{pours} pours asked for: ask for at least 1, a whole number such as pours=4.")
    if aim not in FLOORS:
        problems.append(f"No aim {aim!r}; say what matters as one of: {'; '.join(FLOORS)}.")
    if problems:
        raise Problem(" ".join(problems))


def _described(fits, batch, before, free, aim, taken):
    """The picked pours with names that are not taken, chances and reasons."""
    names = pd.Index(new_names("P", len(batch.rows), taken), name="pour")
    chosen_rows = batch.rows.set_axis(names)
    if len(chosen_rows) > 1 and not any(twin_of(fits, chosen_rows, place) for place in range(len(chosen_rows))) and scatter_unknown(fits, chosen_rows):
        batch = _with_repeat(fits, batch)
    study, rows = fits.study, batch.rows.set_axis(names)
    table = rows.join(mean_and_interval(chance(fits, rows).draws).set_axis(rows.index)).assign(gain=batch.gained)
    table["reason"] = reasons_for(fits, table, batch.lessons, making=batch.aim == MAKE)
    trial_names = table.index[list(batch.trials)]
    table.loc[trial_names, "reason"] = [f"{_new_words(row)}; {row['reason']}" for _, row in table.loc[trial_names].iterrows()]
    cautions = by_pour({pour: cautions_at(fits, rows.loc[[pour]]) for pour in rows.index})
    return NextPours(study, table, predicted(fits, rows), before, tuple(factor.name for factor in free), aim, cautions)


def _with_repeat(fits, batch):
    """The pours with one of them repeated: the first, or the likeliest to be good if there are only two or the first is unlikely to be.

    How far two alike castings differ matters little if both are bad.
    """
    rows, lessons = batch.rows.copy(), list(batch.lessons)
    good = chance(fits, rows).draws.mean(axis=0)
    one = int(good.argmax()) if len(rows) == 2 or good[0] < UNLIKELY else 0
    others = [place for place in range(len(rows)) if place != one]
    again = max(set(others) - set(batch.trials), default=others[0])  # the last that is not a trial, else the first
    rows.iloc[again], lessons[again] = rows.iloc[one], lessons[one]
    trials = {min(one, again) if place == one else place for place in batch.trials if place != again}
    return replace(batch, rows=rows, lessons=lessons, trials=tuple(sorted(trials)))


def _new_words(row):
    """What to say about a pour unlike any other, by its chance of a good casting; a chance not known yet is never called likely."""
    if row["chance"] < UNLIKELY:
        return f"{NEW}, and it is unlikely to come out good"
    likely = row["chance"] >= LIKELY and not untold(row)
    return f"{TRIAL}{'likely good as far as the trade believes, and ' if likely else ''}{NEW}"
