"""A plan: the pours to make, in run order, by session, and what they can tell before they are poured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.arguments import checked_methods
from testpour.common.problems import NoSuchName
from testpour.common.threads import one_thread
from testpour.common.units import to_unit
from testpour.common.wording import count, in_html, listed, table_html
from testpour.logbook.castings import Castings, new_names
from testpour.models.settings import settings_table
from testpour.planning import purposes
from testpour.planning.coding import Coding
from testpour.planning.criteria import Exponents
from testpour.planning.plan_request import read_request
from testpour.planning.pour_cautions import by_pour, only_between_sessions, pour_cautions
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_batch
from testpour.study.study import Study

ONE_THING = " Post-cure temperature and time change together, because heat without time, or time without heat, is no post-cure."


@checked_methods("plan")
@dataclass(frozen=True, eq=False)
class Plan:
    """The pours to make.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row per pour in run order, indexed by pour name: session, and every numeric factor in its unit.
    purpose, why, mixed : str
        What the plan is for, why this kind of set, and which effects it mixes up.
    coding : Coding
    terms : tuple
        Exponents of the model the set is meant for.
    seed : int
    wide : Cautions
        Warnings about the plan as a whole.
    made : DataFrame or None
        Earlier pours that count too: session and settings, one row per pour.
    """

    study: Study
    table: pd.DataFrame
    purpose: str
    why: str
    mixed: str
    coding: Coding
    terms: tuple[Exponents, ...]
    seed: int = 0
    wide: Cautions = field(default_factory=Cautions)
    made: pd.DataFrame | None = None

    @property
    def sessions(self) -> list[str]:
        """Names of the sessions, in order."""
        return list(dict.fromkeys(self.table["session"]))

    def session(self, number: int | str = 1) -> pd.DataFrame:
        """The pours of one session in run order; `number` counts from 1, or is its name.

        Parameters
        ----------
        number : int or str

        Returns
        -------
        DataFrame
            One row per pour, floats in declared units.
        """
        problems: list[str] = []
        _, pours = session_pours(self.table, number, problems)
        if problems:
            raise NoSuchName(f"No session {number} in this plan; it has {listed(self.sessions)}.")
        return pours

    def without(self, *pours: str | Sequence[str]) -> Plan:
        """The plan with some pours left out.

        Parameters
        ----------
        *pours : str or list of str
            Names of the pours.

        Returns
        -------
        Plan
        """
        names = [str(name) for given in pours for name in ([given] if isinstance(given, str) else given)]
        self._check_pours(names)
        return replace(self, table=self.table.drop(index=names))

    def sentence(self) -> str:
        """The plan in a few sentences, with its cautions."""
        return " ".join([self.summary(), *self.all_cautions().lines()])

    def summary(self) -> str:
        """The plan in a few sentences, without cautions."""
        size = f"{count(len(self.table), 'pour')} in {count(len(self.sessions), 'session')}"
        return f"{size} to {purposes.TO.get(self.purpose, '')}{self.purpose}. {self.why} {self.mixed}".rstrip()

    def cautions(self, pour: str) -> Cautions:
        """Cautions for one pour, including its believed gel time and peak.

        Parameters
        ----------
        pour : str

        Returns
        -------
        Cautions
        """
        self._check_pours([pour])
        return pour_cautions(self.study, self.table.loc[pour].drop("session").to_dict())

    def all_cautions(self) -> Cautions:
        """Cautions for the plan: each sentence once, with its pours."""
        return self.wide + by_pour({pour: self.cautions(pour) for pour in self.table.index})

    __repr__ = sentence

    def _check_pours(self, pours):
        """Refuse names that no pour of the plan has."""
        if missing := [str(pour) for pour in pours if pour not in self.table.index]:
            raise NoSuchName(f"{', '.join(missing)} not in this plan; it has {', '.join(self.table.index)}.")

    def _repr_html_(self):
        shown = self.table[["session"]].copy()
        for factor in self.study.factors:
            if factor.name in self.coding.names or (factor.name in self.table and self.table[factor.name].nunique() > 1):
                shown[factor.words] = [factor.show(value) for value in self.table[factor.name]]
        return f"<p>{in_html(self.sentence())}</p>{table_html(shown)}"


def session_pours(table: pd.DataFrame, session: int | str | None, problems: list[str]) -> tuple[str, pd.DataFrame]:
    """The name of one session and its pours, in the order of a table with one row per pour; problems are added to `problems`.

    `session` is its name, its number from 1, or None if there is only one.
    """
    if not len(table) or not table.index.is_unique:
        problems.append("give at least one pour, each with a name of its own.")
        return "", table
    if "session" not in table:
        return str(session or 1), table
    names = list(dict.fromkeys(table["session"].astype(str)))
    meant = str(session)
    if session is None:
        meant = names[0] if len(names) == 1 else ""
    elif isinstance(session, int) and meant not in names and 1 <= session <= len(names):
        meant = names[session - 1]
    if meant not in names:
        problems.append(f"{f'session {session} is not here' if meant else 'say which session'}; there are {listed(names)}.")
    return meant, table[table["session"].astype(str) == meant]


@one_thread
def plan_pours(
    study: Study, *, sessions: int = 2, pours: int | Sequence[int] = 4, purpose: str | None = None,
    factors: Sequence[str] | None = None, rooms: str | float | Sequence[str | float] | None = None, moulds: Sequence[str | float] | None = None,
    castings: Castings | None = None, compare: Sequence[Mapping[str, str | float]] | None = None,
    resin: str | float | None = None, pot: str | float = "120 g", seed: int = 0,
) -> Plan:
    """Plan test pours.

    Parameters
    ----------
    study : Study
    sessions : int
        Days on which pours are made.
    pours : int or list of int
        Pours a session can hold; one number, or one a session.
    purpose : str, optional
        ``"which settings matter"``, ``"map the good region"``, ``"sharpen what we know"`` or
        ``"settle one question"``; by default the kit picks one and says why.
    factors : list of str, optional
        Settings to vary; by default all chosen factors of the study that have a span. The others take
        their usual value.
    rooms : str, float or list, optional
        Room temperature expected in each session.
    moulds : list, optional
        Depths of the moulds at hand, for example ``["6 mm", "1/2 in"]``.
    castings : Castings, optional
        The log so far, to be added to.
    compare : tuple of dict, optional
        Two settings, for ``"settle one question"``.
    resin : str or float, optional
        Resin there is for these pours; g where no unit is given.
    pot : str or float
        Resin in one pour; g where no unit is given.
    seed : int
        The same seed gives the same plan and run order.

    Returns
    -------
    Plan

    Raises
    ------
    PlanConflict
        With everything that conflicts and the smallest change that would work.

    Examples
    --------
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> plan
    8 pours in 2 sessions to find out which settings matter. ...
    >>> plan.session(1)["catalyst"].tolist()
    [2.5, 2.5, 1.0, 1.8]
    """
    sizes, coding, sides = read_request(study, sessions, pours, purpose, factors, rooms, moulds, compare, resin, pot)
    made = None if castings is None else made_pours(study, castings.pours)
    past: dict[str, Any] = {} if made is None else {"fixed": coding.encode(made), "fixed_sessions": tuple(pd.factorize(made["session"])[0])}
    request = purposes.PlanRequest(coding, sizes, seed=seed, **past)
    purpose = purpose or (purposes.pick_purpose(request) if sides is None else purposes.SETTLE)
    chosen = purposes.PICK[purpose](request) if sides is None else purposes.settle(request, *coding.encode(sides))
    table = _run_order(coding, sides, chosen, castings, seed)
    why = chosen.why + (ONE_THING if coding.hours is not None else "")
    mixed = (chosen.mixed + only_between_sessions(study, pd.concat([made, table]))).strip()
    return Plan(study, table, purpose, why, mixed, coding, chosen.terms, seed, check_batch(to_unit(pot, "g", "pot")), made)


def made_pours(study: Study, pours: pd.DataFrame) -> pd.DataFrame | None:
    """Pours of a log as in a plan, session and settings, one row per pour; None if there are none."""
    if not len(pours):
        return None
    made = settings_table(study, pours).drop(columns="age").set_axis(pours.index)
    made.insert(0, "session", pours["session"].astype(str))
    return made


def _run_order(coding, sides, chosen, castings, seed):
    """The pours in random order within each session, numbered on from the log, with every setting filled in."""
    rng = np.random.default_rng([seed, 101])
    order = np.concatenate([rng.permutation(np.flatnonzero(chosen.sessions == number)) for number in np.unique(chosen.sessions)])
    pours, days = ((), ()) if castings is None else (castings.names, castings.pours["session"])
    table = settings_table(coding.study, coding.decode(chosen.rows[order], sides)).drop(columns="age")
    sessions = new_names("S", int(chosen.sessions.max()) + 1, days)
    table.insert(0, "session", [sessions[number] for number in chosen.sessions[order]])
    table.index = pd.Index(new_names("P", len(table), pours), name="pour")
    return table
