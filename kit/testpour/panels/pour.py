"""Begin a session by tapping, from the plan or from the pours worth making next, or open an earlier one."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.advice.batch import NextPours
from testpour.advice.picking import BOTH, LEARN, MAKE
from testpour.bench.planned import kept_sessions
from testpour.common.problems import Problems
from testpour.common.wording import count, listed
from testpour.models.chance import chance_between
from testpour.panels.correction import CorrectionPart
from testpour.panels.numbers import Field
from testpour.panels.own_sheet import SheetPart
from testpour.panels.parts import Part, button, cautions, choice, fold, row, step, table, text
from testpour.panels.starting import begin_session, kept_plan, next_names, shown_plan, unpoured
from testpour.panels.workshop import Memory, Needed
from testpour.planning.pour_cautions import session_groups
from testpour.study.caution_rules import Cautions

ROOM = Field("room", "Room today", "°C", "what the thermometer says", "room_temperature")
POT = Field("pot", "Resin in one pour", "g", "", resin=True, high=20_000)
MANY = Field("many", "Pours today", "", "", low=1, high=12, whole=True)
NO_PLAN = "No plan is kept yet: make one in the notebook 1-plan and tap Keep this plan."
USUAL = {"many": "4", "pot": "120", "aim": LEARN}


class PourPanel(SheetPart, CorrectionPart):
    """A session at the bench; see `pour_panel`."""

    name, title = "pour", "Pour and read"
    usual = USUAL
    lead = "Open a session: its form appears below, with a clock for each pour. Every tap on the form goes into the log at once."

    def __init__(self, folder: str | Path = ".") -> None:
        super().__init__(folder)
        self._reopen()

    def typed(self, name: str) -> str:
        """What was typed or chosen; the resin in one pour defaults to that of the kept plan, as on its bench sheets.

        Parameters
        ----------
        name : str
            Of the field.

        Returns
        -------
        str
            The text in the field.
        """
        planned = Memory(self.workshop.folder, "kept-plan").get("pot", None) if name == POT.name else None
        return self.memory.get(name, f"{planned:g}") if planned else super().typed(name)

    def parts(self) -> Iterator[Part]:
        study, castings = self.workshop.study, self.workshop.castings()
        yield step("An earlier session", *self._opened_before())
        if self.form is None or self.memory.get("look_next") == "yes":
            yield from self._new(study, castings)
        else:
            yield fold("Begin another session", *self._new(study, castings))
        yield self.sheet_part()
        yield self.correction_part()

    def _new(self, study, castings):
        """Where a new session may begin from."""
        yield step("For a new session", row(self.field(POT), self.field(ROOM), self.field(MANY)))
        yield step("From the plan", *self._from_plan(castings))
        if not len(castings.readings):
            yield step("From the pours worth making next", text("They are chosen by what the log says. Pour and read the plan first.", "needed"))
            return
        yield step("From the pours worth making next",
                   choice("aim", "What matters today?", self.typed("aim"), [(one, one) for one in (LEARN, BOTH, MAKE)]),
                   button("next", "Find the pours worth making next"))
        if self.memory.get("look_next") == "yes":
            yield from self._next(study)

    def _opened_before(self):
        if self.form is not None:
            yield text(f"Open below: session {self.form.state['session']}.", "strong")
        sessions = kept_sessions(self.workshop.log)
        logged = [name for name in self.workshop.castings().pours["session"].unique() if name and name not in sessions]  # never opened on a form
        yield text(tp.due(self.workshop.log).sentence() if sessions or logged or self.form is not None else "None yet: begin one below.")
        shown = None if self.form is None else self.form.state["session"]
        yield row(*[button(f"open:{name}", f"Open {name} again") for name in sessions[:6] if name != shown])
        if logged:
            yield text("Logged without this form, for example from a spreadsheet; open one to add readings:")
            yield row(*[button(f"open:{name}", f"Open {name}") for name in logged[-3:]])

    def _from_plan(self, castings):
        pours = kept_plan(self.workshop)
        if pours is None:
            return [text(NO_PLAN, "needed")]
        names = list(unpoured(pours, castings)["session"].unique())
        if not names:
            return [text("Every pour of the plan is in the log. Look at what it says, or take the next pours below.")]
        counts = {name: count(int((pours["session"] == name).sum()), "pour") for name in names}
        return [row(*[button(f"plan:{name}", f"Begin {name} of the plan, {counts[name]}", main=name == names[0]) for name in names]),
                fold("The pours of the plan", table(shown_plan(self.workshop.study, pours), "In the order to make them"))]

    def _next(self, study):
        """The pours worth making next, and a session with them."""
        advice, _ = self._proposed()
        shown = shown_plan(study, advice.table.assign(session="")).drop(columns="session")
        shown["chance"] = [chance_between(line) for _, line in advice.table.iterrows()]
        shown["why"] = advice.table["reason"]
        first, *later = session_groups(study, advice.table)
        says = text(replace(advice, cautions=Cautions()).sentence())
        yield step("Worth making next", says, *cautions(advice.cautions), table(shown, "The most useful first"),
                   button("these", f"Begin a session with {listed(first) if later else 'these'}", main=True))

    def advice(self) -> NextPours:
        """The pours worth making next, `NextPours`."""
        room, many, _ = self.complete(ROOM, MANY, POT, needed=(MANY,))
        fits, aim = self.fits(), self.typed("aim")
        return self.work_out("Finding the most informative pours", lambda: tp.next_pours(fits, room=room, pours=int(many), aim=aim), room, many, aim)

    def _proposed(self):
        """The advice with its pours named as the log will name them, in every text too, and a name for their session."""
        advice = self.advice()
        names, day = next_names(self.workshop, len(advice.table))
        new = dict(zip(advice.table.index, names, strict=True))
        table = advice.table.rename(index=new)
        again = table.duplicated(self._chosen(table))  # the others name only pours of the log
        table["reason"] = table["reason"].mask(again, table["reason"].map(lambda said: _renamed(said, new)))
        refusals, warnings = ([_renamed(said, new) for said in found] for found in (advice.cautions.refusals, advice.cautions.warnings))
        found = Cautions(tuple(refusals), tuple(warnings))
        return replace(advice, table=table, predicted=advice.predicted.rename(index=new, level=0), cautions=found), day

    def _chosen(self, table):
        """The settings of a table of pours."""
        return [f.name for f in self.workshop.study.factors if f.name in table]

    @property
    def table(self) -> pd.DataFrame:
        """The pours of the kept plan, one row each; the pours of the log where no plan is kept."""
        pours = kept_plan(self.workshop)
        return self.workshop.castings().pours if pours is None else pours

    def summary(self) -> str:
        if self.form is not None:
            return self.form.sentence()
        return tp.due(self.workshop.log).sentence()

    def _tap_next(self) -> None:
        self.memory.put(look_next="yes")

    def _tap_plan(self, session: str) -> str:
        """Begin a session of the kept plan."""
        pours = kept_plan(self.workshop)
        if pours is None:
            raise Needed(NO_PLAN)
        return self._begin(pours[pours["session"] == session], session)

    def _tap_these(self) -> str:
        """Begin a session with the proposed pours; if they cannot share one, with the first group that can."""
        advice, day = self._proposed()
        first, *later = session_groups(self.workshop.study, advice.table)
        message = self._begin(advice.table.loc[first, self._chosen(advice.table)], day)
        if not later:
            return message
        return f"{message} It holds {listed(first)}; the others need a session of their own. Find the pours worth making next again for that one."

    def _tap_open(self, session: str) -> None:
        """Open a session again as the log has it, or one that was logged without a form."""
        its = None
        if session not in kept_sessions(self.workshop.log):
            pours = self.workshop.castings().pours
            chosen = [f.name for f in self.workshop.study.factors if f.role == "chosen" and f.name in pours]
            its = pours.loc[pours["session"] == session, chosen].dropna(axis="columns")
        self.form = tp.session_form(self.workshop.log, its, session=session)
        self.memory.put(open=session)

    def _begin(self, pours, session):
        scale = Memory(self.workshop.folder, "kept-plan").scale
        self.form = begin_session(self.workshop, pours, session, self.value(POT), scale, self.typed(ROOM.name))
        self.memory.put(open=session, look_next="no")
        return f"Session {session} is open below. Save the room first."

    def _reopen(self):
        """The session that was open before a restart, as the log has it."""
        name = self.memory.get("open")
        if not name:
            return
        try:
            self.form = tp.session_form(self.workshop.log, session=name)
        except (Needed, Problems):
            self.memory.put(open=None)
        self.show()


def _renamed(words, names):
    """A text with the names of pours in it changed."""
    return re.sub(rf"\b({'|'.join(map(re.escape, names))})\b", lambda found: names[found[0]], words)


def pour_panel(folder: str | Path = ".") -> PourPanel:
    """Begin or reopen a session by tapping, with its form below: from the plan, or from the next pours.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    PourPanel
        A widget. ``.form`` is the session form that is open, ``.table`` the pours of the kept plan, or of the log where no plan is kept.
    """
    return PourPanel(folder)
