"""The whole round as a picture: its steps in order, how far each is in this study, and what comes next."""

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.common.toml_file import own_text
from testpour.common.wording import count
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, caution, text
from testpour.panels.starting import kept_plan, unpoured
from testpour.panels.workshop import Memory, Needed

STEPS = {  # name to title and notebook
    "begin": ("Begin", "0-start-here"), "plan": ("Plan", "1-plan"), "pour": ("Pour and read", "2-pour-and-log"),
    "look": ("Look", "3-what-the-log-says"), "why": ("Ask why", "why-tacky"), "today": ("Today", "4-next-pours"),
    "share": ("Share", "5-share-findings"),
}


class RoundPanel(Panel):
    """How the round stands; see `round_panel`."""

    name, title = "round", "Where do we stand?"
    lead = "The steps of the round in this study. The one marked Next is what to do now."

    def parts(self) -> Iterator[Part]:
        now, advice = self.next_step()
        states = self.states()
        yield text(self.summary() if states else advice, "strong")
        if states and (unread := self.workshop.castings().undeclared_words):
            yield caution(unread)
        yield {"kind": "stations", "caption": "The round", "stops": [
            {"name": name, "title": title, "notebook": notebook, "says": states.get(name, ""), "next": name == now}
            for name, (title, notebook) in STEPS.items()
        ]}

    def states(self) -> dict[str, str]:
        """How far each step is, in a few words by name; empty if study or log cannot be read."""
        try:
            study, castings = self.workshop.study, self.workshop.castings()
        except Needed:
            return {}
        pours, readings = len(castings.pours), len(castings.readings)
        written = len(Memory(self.workshop.folder, "share").get("made", {}))
        ready = "ready" if readings else "after the first readings"
        return {
            "begin": study.name, "plan": self._planned(castings), "pour": f"{count(pours, 'pour')}, {count(readings, 'reading')}",
            "look": ready, "why": ready, "today": ready, "share": f"{count(written, 'file')} written" if written else ready,
        }

    def next_step(self) -> tuple[str, str]:
        """The name of the step that comes next, and what to do there in words."""
        try:
            castings, plan = self.workshop.castings(), kept_plan(self.workshop)
            due = tp.due(self.workshop.log).table
        except Needed as needed:
            return "begin", str(needed)
        now = due[due["status"].isin(("overdue", "due"))]
        if len(now):
            return "pour", f"take the {now['reading'].iloc[0]} of {now['pour'].iloc[0]} in 2-pour-and-log"
        if plan is not None and len(left := unpoured(plan, castings)):
            return "pour", f"pour {left['session'].iloc[0]} of the plan in 2-pour-and-log"
        if not len(castings.pours) and self._untouched():
            return "begin", "say what you make and what may differ, in the panel below"
        if not len(castings.pours):
            return "plan", "plan the first pours in 1-plan"
        if not len(castings.readings):
            return "pour", "log what you read on the pours in 2-pour-and-log"
        return "today", "see what to use today, and what to pour next, in 4-next-pours"

    def summary(self) -> str:
        castings, (_, advice) = self.workshop.castings(), self.next_step()
        due = tp.due(self.workshop.log).table["status"].isin(("overdue", "due")).sum()
        return f"{count(len(castings.pours), 'pour')}, {count(int(due), 'reading')} due. Next: {advice}."

    @property
    def table(self) -> pd.DataFrame:
        """The steps, one row each: notebook, how it stands, and whether it is next."""
        now, states = self.next_step()[0], self.states()
        rows = {title: [notebook, states.get(name, ""), name == now] for name, (title, notebook) in STEPS.items()}
        return pd.DataFrame.from_dict(rows, orient="index", columns=["notebook", "stands", "next"]).rename_axis("step")

    def _mark(self):
        return *super()._mark(), Memory(self.workshop.folder, "share").mark

    def _untouched(self):
        """Whether the study file is still the one every new study begins from."""
        return (self.workshop.folder / "study.toml").read_text("utf-8") == own_text("study/new_study.toml")

    def _planned(self, castings):
        plan = kept_plan(self.workshop)
        if plan is None:
            return "no plan kept"
        return f"{count(len(plan), 'pour')} planned, {len(unpoured(plan, castings)) or 'none'} to make"


def round_panel(folder: str | Path = ".") -> RoundPanel:
    """Show the steps of the round, how each stands in this study, and what comes next.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    RoundPanel
        A widget. ``.table`` has a row for each step and says which is next.
    """
    return RoundPanel(folder)
