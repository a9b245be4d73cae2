"""A plan after pours were dropped or failed: what each lost pour costs, and a plan repaired around the pours made."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.common.problems import Problem
from testpour.common.threads import one_thread
from testpour.common.wording import count, in_html, listed, table_html
from testpour.logbook.castings import Castings, names_planned, new_names
from testpour.models.settings import settings_table
from testpour.planning.optimal import optimal_plan
from testpour.planning.outlook import change_words, outlook
from testpour.planning.plan import Plan, made_pours
from testpour.planning.purposes import MAP, SETTLE, SHARPEN, STARTS
from testpour.planning.study_design import design_problem

LITTLE = 1.05  # ratio below which a plan counts as having lost nothing


@dataclass(frozen=True, eq=False)
class Lost:
    """What one plan tells less sharply than another.

    Parameters
    ----------
    table : DataFrame
        One row per reading and setting: the smallest change noticed nine times in ten ``before`` and
        ``after``, in words, and ``ratio``, after over before.
    """

    table: pd.DataFrame

    def sentence(self) -> str:
        """The worst of it, in a sentence."""
        worst = self.table.loc[self.table["ratio"].idxmax()]
        if worst["ratio"] < LITTLE:
            return "Hardly anything is lost: every effect would be noticed as well as before, within a twentieth."
        return (
            f"Most is lost on {worst['setting']}. To be noticed it must now change {change_words(worst['reading'], worst['after'])}, "
            f"where {worst['before']} was enough before."
        )

    __repr__ = sentence

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>{table_html(shown, index=False) if len(shown := self.changed) else ''}"

    @property
    def changed(self) -> pd.DataFrame:
        """The settings that lose, most first, each with the reading on which it loses most: one row per setting."""
        worst = self.table.sort_values("ratio", ascending=False, kind="stable").drop_duplicates("setting")
        worst = worst[worst["ratio"] >= LITTLE]
        noticed = [f"{line.reading}: {line.before} before, {line.after} after" for line in worst.itertuples()]
        return pd.DataFrame({"setting": worst["setting"], "smallest change noticed": noticed})


def what_is_lost(before: Plan, after: Plan) -> Lost:
    """What a plan loses when pours are dropped or changed.

    Parameters
    ----------
    before, after : Plan
        For example ``plan`` and ``plan.without("P03")``.

    Returns
    -------
    Lost

    Raises
    ------
    PlanConflict
        If too few pours are left to separate the plan's terms.

    Examples
    --------
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> tp.what_is_lost(plan, tp.plan_pours(study, sessions=1, pours=5, purpose="which settings matter"))
    Most is lost on cover. To be noticed it must now change the opacity of at least 94 of 100 castings, ...
    """
    keys = ["reading", "setting"]
    was, now = (outlook(plan).table.set_index(keys) for plan in (before, after))
    table = pd.DataFrame({"before": was["noticed"], "after": now["noticed"], "ratio": now["noticed_number"] / was["noticed_number"]})
    return Lost(table.reset_index())


@one_thread
def repair_plan(plan: Plan, castings: Castings, *, seed: int = 0) -> Plan:
    """The rest of a plan, chosen afresh round the pours that were really made.

    Parameters
    ----------
    plan : Plan
    castings : Castings
        The log: pours of the plan that are in it count with the settings they got; a pour that went
        wrong is withdrawn from the log first, and comes back in the plan. Made again it needs a new name in
        the log: P02-2 counts as P02 of the plan.
    seed : int

    Returns
    -------
    Plan
        The pours still to make. A pour lost in a session that is over moves to the next one, or to a new
        session where none is left.

    Raises
    ------
    Problem
        If nothing is left to plan.

    Examples
    --------
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> trial = tp.Logbook(study, "sqlite://")
    >>> trial.add_pour("P01", settings={"catalyst": 2.5, "pigment": 0.2, "thickness": 5, "cover": 1}, session="S1")
    'P01'
    >>> tp.repair_plan(plan, trial.castings())
    7 pours in 1 session to find out which settings matter. The 7 pours still to make, chosen afresh ...
    """
    names = names_planned(castings.pours.index)
    made, names = castings.pours[names.isin(plan.table.index)], names[names.isin(plan.table.index)]
    remaining = plan.table.drop(index=names)
    if not len(remaining):
        raise Problem("Every pour of this plan is in the log: nothing is left to repair. Plan afresh with castings=.")
    started = [s for s in plan.sessions if s in set(plan.table.loc[names, "session"])]
    ahead = [session for session in plan.sessions if session not in started]
    following = ahead[0] if ahead else new_names("S", 1, [*plan.sessions, *castings.pours["session"]])[0]
    sessions = [following if session in started else session for session in remaining["session"]]
    if plan.purpose == SETTLE:  # the two settings of its question are all it may pour
        table, how = remaining.assign(session=sessions), "with the settings of the question"
    else:
        past = castings.pours if plan.purpose == SHARPEN else made
        table, how = _searched(plan, past, sessions, seed), f"chosen afresh round {count(len(made), 'pour')} made already"
    table = _shuffled(table, seed).set_axis(remaining.index)
    why = f"The {count(len(remaining), 'pour')} still to make, {how}."
    moved = [str(pour) for pour, was, now in zip(remaining.index, remaining["session"], table["session"], strict=True) if was != now]
    if moved:
        why += f" Moved to a later session: {listed(moved)}."
    rooms = _in_rooms(plan, list(dict.fromkeys(table["session"])))
    return replace(plan, table=table, why=why, mixed="", coding=rooms, made=made_pours(plan.study, made))


def _shuffled(table, seed):
    """The pours in random order within each session, sessions in order."""
    mixed = table.sample(frac=1, random_state=np.random.default_rng([seed, 103]))
    return mixed.sort_values("session", kind="stable", key=lambda names: names.map(list(dict.fromkeys(table["session"])).index))


def _searched(plan, past, sessions, seed):
    """Pours for each of some sessions, best beside those made, by the problem of the plan: limits, scatter and beliefs."""
    labels = list(dict.fromkeys([*past["session"], *sessions]))
    coding, made = _in_rooms(plan, labels), {}
    if len(past):
        fixed = coding.encode(settings_table(plan.study, past))
        made = {"fixed": fixed, "fixed_sessions": tuple(labels.index(s) for s in past["session"])}
    problem = design_problem(coding, plan.terms, [labels.index(s) for s in sessions], informed=plan.purpose == SHARPEN, **made)
    rows = optimal_plan(problem, "I" if plan.purpose == MAP else "D", starts=STARTS, seed=seed)
    table = settings_table(plan.study, coding.decode(rows[len(problem.kept):])).drop(columns="age")
    table.insert(0, "session", sessions)
    return table


def _in_rooms(plan, labels):
    """The plan's coding with the room of each of some sessions; a new session is taken to be as warm as the mean."""
    if not plan.coding.rooms:
        return plan.coding
    room = dict(zip(plan.table["session"], plan.table["room_temperature"], strict=True))
    return replace(plan.coding, rooms=tuple(room.get(label, np.mean(plan.coding.rooms)) for label in labels))
