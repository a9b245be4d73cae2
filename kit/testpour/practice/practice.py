"""Practice resin: a virtual resin, room and bench with hidden truth, to practise without fumes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.common.problems import Problem
from testpour.common.wording import listed
from testpour.logbook.castings import Castings
from testpour.models.scales import met_from_to
from testpour.models.settings import settings_table
from testpour.models.terms import REFERENCE
from testpour.practice.algebraic_resin import Truth, draw_truth
from testpour.practice.bench_habits import POUR_SCATTER, USUAL_AGE, read_pour, weighed_dose
from testpour.practice.hidden import DIFFICULTIES, Difficulty
from testpour.practice.physical_resin import PhysicalTruth, draw_physical
from testpour.study.study import Study

if TYPE_CHECKING:
    from testpour.practice.lesson import Lesson

KINDS = ("algebraic", "physical")
QUIET = {"session": 0.4, "reading": 0.5, "shore": 0.6, "step": 0.5}  # share of the scatter left when gentle


@dataclass(frozen=True)
class PracticeResin:
    """A virtual resin for one study; `pour` answers like a bench.

    Parameters
    ----------
    study : Study
        Its readings are what the bench can answer: gel time, time to peak, peak temperature, tack,
        hardness, opacity and defects.
    seed : int
    truth : Truth or PhysicalTruth
        Hidden from the player; `reveal` shows it at the end.
    scale_resolution : float
        Step of the scale in g; each pot is weighed on it.
    """

    study: Study
    seed: int
    truth: Truth | PhysicalTruth
    scale_resolution: float = 0.1

    def sentence(self) -> str:
        """Which study it can be poured for; how it behaves stays hidden."""
        return f"A practice resin, number {self.seed}, for {self.study.name}. What it does is hidden: pour it, and see with reveal() at the end."

    __repr__ = sentence

    def ideal(self, table: pd.DataFrame) -> pd.DataFrame:
        """True average readings at each row of a settings table, with one column per reading.

        Tack, opacity and defects are on a hidden scale whose grades end at 0.5, 1.5 and 2.5.

        Parameters
        ----------
        table : DataFrame
            One row per setting, floats in declared units.

        Returns
        -------
        DataFrame
        """
        return self.truth.ideal(_whole(table))

    def true_chance(self, table: pd.DataFrame) -> np.ndarray:
        """True chance of a good casting at each row of a settings table, a new session each.

        Parameters
        ----------
        table : DataFrame
            One row per setting, floats in declared units, ``room_temperature`` among them.

        Returns
        -------
        ndarray, shape (rows,)

        Raises
        ------
        Problem
            If the study has an aim in a reading that the bench cannot answer.
        """
        chance = np.ones(len(table))
        ages = {aim.age or USUAL_AGE for aim in self.study.aims}
        ideals = {age: self.ideal(table.assign(age=age)) for age in ages}
        if unknown := [self.study.reading(aim.reading).words for aim in self.study.aims if aim.reading not in ideals[aim.age or USUAL_AGE]]:
            raise Problem(f"A practice resin has no {listed(unknown)}. Practise with a study that has no such aim: tp.example_study() has none.")
        for aim in self.study.aims:
            ideal = ideals[aim.age or USUAL_AGE][aim.reading].to_numpy()
            chance *= self._meets(aim, ideal, table["room_temperature"].to_numpy())
        return chance

    def _meets(self, aim, ideal, room):
        reading = self.study.reading(aim.reading)
        low, high = met_from_to(reading, aim.at_least, aim.at_most)
        if reading.grades:
            low, high, spread = np.ceil(low) - 0.5, np.floor(high) + 0.5, np.hypot(self.truth.step, 0.2)
        elif reading.scale == "log":
            low, high, ideal = np.log(np.maximum(low, 1e-9)), np.log(high), np.log(ideal)
            spread = np.hypot(self.truth.session, self.truth.reading)
        elif aim.reading == "hardness":
            spread = np.sqrt(self.truth.shore**2 + 1.0 + POUR_SCATTER**2)
        else:
            (low, _), (high, _), (ideal, spread) = (self.truth.peak_scale(x, room) for x in (low, high, ideal))
        return ndtr((high - ideal) / spread) - ndtr((low - ideal) / spread)

    def pour(self, plan: pd.DataFrame, session: str = "S1", room: str | float | None = None, lot: str | None = None) -> list[dict[str, Any]]:
        """Make the pours of one session and read them.

        Parameters
        ----------
        plan : DataFrame
            One row per pour, floats in declared units; the index names the pours.
        session : str
            Pours of one session share its room error.
        room : float or str, optional
            Room temperature of the day, where it is not the one of `plan`.
        lot : str, optional
            Which drum the resin is from; the drums of a physical resin differ, an awkward one's by much.

        Returns
        -------
        list of dict
            One a pour, as `Logbook.add_all` takes them: ``pour``, ``session``, ``settings``, ``readings``.
        """
        table = settings_table(self.study, plan, room=room)
        day = np.random.default_rng([self.seed, *session.encode()])
        shared = self.truth.day(day)
        made = _whole(table)
        made = made.assign(catalyst=weighed_dose(made["catalyst"], self.scale_resolution, day))
        truth = self.truth.of_lot(self.seed, lot) if lot else self.truth
        ages = {age for reading in self.study.readings for age in reading.ages} | {USUAL_AGE}
        ideals = {age: truth.ideal(made.assign(age=age)).to_dict("index") for age in ages}
        drum = {"resin_lot": lot} if lot and self.study.has("resin_lot") else {}
        return [
            {
                "pour": name,
                "session": session,
                "settings": {k: v for k, v in table.loc[name].items() if k != "age"} | drum,
                "readings": list(
                    read_pour(
                        self.study, truth, {age: ideals[age][name] for age in ages},
                        made.loc[name, "room_temperature"], shared, day,
                    )
                ),
            }
            for name in table.index
        ]

    def lesson(self, castings: Castings, fixed: Mapping[str, str | float] | None = None, *, room: str | float | None = None) -> Lesson:
        """What each session of the round taught; see `practice.lesson.lesson`.

        Parameters
        ----------
        castings : Castings
        fixed : dict, optional
            Settings that the advice must keep.
        room : str or float, optional
            Room temperature of the day.

        Returns
        -------
        Lesson
        """
        from testpour.practice.lesson import lesson  # it asks the advice, which a pour does not need

        return lesson(self.study, self.true_chance, castings, fixed, room=room)

    def reveal(self) -> pd.DataFrame:
        """The hidden numbers, one row each."""
        return pd.Series(vars(self.truth), name="truth").to_frame()


def _whole(table):
    """The table with every setting that affects a resin, at its reference if the study does not have it."""
    return table.assign(**{name: value for name, value in REFERENCE.items() if name not in table})


def practice_resin(
    study: Study, seed: int = 0, *, kind: Literal["algebraic", "physical"] = "algebraic",
    difficulty: Difficulty = "ordinary"
) -> PracticeResin:
    """A virtual resin for a study.

    Parameters
    ----------
    study : Study
    seed : int
        The same seed is the same resin, room and bench.
    kind : {"algebraic", "physical"}
        Readings from formulas, or from heat and cure followed through each casting.
    difficulty : {"gentle", "ordinary", "awkward"}
        Gentle: readings scatter little. Awkward: the resin contradicts what the trade believes, and the
        drums of a physical one differ.

    Returns
    -------
    PracticeResin

    Raises
    ------
    Problem
        If `kind` or `difficulty` is none of those.

    Examples
    --------
    >>> resin = tp.practice_resin(study, seed=3)
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> [entry["pour"] for entry in resin.pour(plan.session(1), "S1")]
    ['P01', 'P02', 'P03', 'P04']
    """
    problems = [
        f"{name} {given!r} is not one of {', '.join(allowed)}"
        for name, given, allowed in (("kind", kind, KINDS), ("difficulty", difficulty, DIFFICULTIES))
        if given not in allowed
    ]
    if problems:
        raise Problem("No such practice resin: " + "; ".join(problems) + ".")
    if kind == "physical":
        return PracticeResin(study, seed, draw_physical(seed, difficulty))
    truth = draw_truth(seed, difficulty == "awkward")
    if difficulty == "gentle":
        truth = replace(truth, **{name: share * getattr(truth, name) for name, share in QUIET.items()})
    return PracticeResin(study, seed, truth)
