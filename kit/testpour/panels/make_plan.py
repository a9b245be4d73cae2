"""Plan by tapping: how many days and pours, which moulds and how much resin; then the plan on paper."""

import time
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.bench.amounts import WeighOutProblems
from testpour.common.units import UnitProblem, beside_field, shown_unit
from testpour.common.wording import count
from testpour.panels.numbers import Field
from testpour.panels.panel import Panel, Waiting
from testpour.panels.parts import Part, button, cautions, choice, entry, fold, paper, row, step, table, text, tiles
from testpour.panels.starting import as_kept, kept_plan, shown_plan, with_free_names
from testpour.panels.workshop import SCALES, Memory, Needed
from testpour.planning.outlook import PlanOutlook
from testpour.planning.plan import Plan
from testpour.planning.pour_cautions import by_pour, grouped
from testpour.planning.problem import NotSeparated
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_batch

SESSIONS = Field("sessions", "Days of pouring", "", "", low=1, high=20, whole=True)
POURS = Field("pours", "Pours a day", "", "as many as you can read", low=1, high=40, whole=True)
POT = Field("pot", "Resin in one pour", "g", "", low=1, high=20_000)
HAVE = Field("have", "Resin at hand", "g", "leave empty if there is enough", low=1, high=1_000_000)
PRICE = Field("price", "Price of 1 kg of resin", "", "leave empty for no cost", low=0, high=10_000)
FIELDS = (SESSIONS, POURS, POT, HAVE, PRICE)
LISTS = (Field("rooms", "Rooms expected", "°C", "one, or one a day: 17 21", "room_temperature"),
         Field("moulds", "Moulds at hand", "mm", "their depths: 6 12 18", "thickness"))
USUAL = {"sessions": "2", "pours": "4", "pot": "120"}
ADDED = "These pours add to the log; they are too few to judge by themselves."
PURPOSES = (("", "let the kit choose"), ("which settings matter", "which settings matter"),
            ("map the good region", "map the good region"), ("sharpen what we know", "sharpen what we know"))


class PlanPanel(Panel):
    """The pours to make; see `plan_panel`."""

    name, title = "plan", "Which test pours should I make?"
    usual = USUAL
    lead = "Say what your days allow. The plan, what it can tell and what it costs follow; nothing is mixed yet."

    def fields(self) -> list[Part]:
        return [step(
            "Your days", row(self.field(SESSIONS), self.field(POURS), *[self._list(one) for one in self._lists()]),
            row(*[self.field(f) for f in (POT, HAVE, PRICE)]),
            choice("scale", "Step of the scale", self.memory.scale, SCALES),
            choice("purpose", "What is it for?", self.typed("purpose"), PURPOSES),
        )]

    def parts(self) -> Iterator[Part]:
        yield from self.fields()
        plan, _ = self.planned()
        yield from self._plan_parts()
        stored = kept_plan(self.workshop)
        same = stored is not None and stored.equals(as_kept(plan.table))
        yield row(button("keep", "Keep this plan", main=True, off="This plan is kept: pour it in the notebook 2-pour-and-log." if same else ""))
        labels = list(self._labels())  # before the papers, of which they are one
        yield step("On paper", row(*[button(f"sheet:{name}", f"Bench sheet of {name}") for name in plan.sessions],
                                   button("labels", "Labels for the castings")), *labels, *[paper(p, w) for p, w in self.papers.items()])

    def _labels(self):
        """Draw the labels in the background, as each has a code of its own."""
        if not self._labels_wanted:
            return
        (plan, _), path, tap = self.planned(), self.workshop.folder / "labels.html", self._labels_wanted

        def make():
            found = tp.labels(plan)
            found.save(path)
            return f"{count(len(found.table), 'label')} on {count(found.pages, 'sheet')} ({found.sheet.sentence()})"

        wanted, self._labels_wanted = self.wanted(), 0
        try:
            summary = self.work_out("Drawing the labels", make, repr(wanted), tap)
        except Waiting:
            self._labels_wanted = tap
            yield from self._waiting()
            return
        self.wrote(path, f"{summary}. Print them at 100 %, not fitted to the page, without headers; hold a print on plain paper against the label sheet first.")

    _labels_wanted = 0

    def _plan_parts(self):
        """What to say about the plan; worked out in the background, as every pour is weighed out for it."""
        (plan, view), pot, price, scale = self.planned(), self.value(POT), self.value(PRICE), self.memory.scale

        def make():
            return [
                step("The plan", tiles("In short", self._in_short(plan, pot, price)), text(plan.summary()), *_cautions(plan, pot, scale),
                     table(shown_plan(plan.study, plan.table), "The pours in the order to make them")),
                step("What it can notice", *_outlook_parts(view)),
            ]

        return self.work_out("Weighing out every pour", make, repr(self.wanted()), pot, price, scale)

    def _in_short(self, plan, pot, price):
        """The plan in a few numbers."""
        resin = pot * len(plan.table)
        yield from [("Pours", str(len(plan.table))), ("Days", str(len(plan.sessions))), ("Resin", f"{resin:.0f} g")]
        if price is not None:
            yield "Cost", f"{resin / 1000 * price:.2f}"
        hours = max((age for reading in plan.study.readings for age in reading.ages), default=0)
        days = hours / 24
        if hours:
            yield "Last reading", f"{days:g} days after the pour" if days > 1 and days == round(days) else f"{hours:g} h after the pour"

    def planned(self) -> tuple[Plan, PlanOutlook | str]:
        """The plan and what it can tell, or why that cannot be said."""
        study, wanted = self.workshop.study, self.wanted()
        castings = self.workshop.castings()
        pot, price, scale, taken = self.value(POT), self.value(PRICE), self.memory.scale, self._taken()

        def make():
            plan = with_free_names(tp.plan_pours(study, castings=castings, **wanted), castings, taken)
            try:
                return plan, tp.outlook(plan, pot=pot, price=price, scale_resolution=scale)
            except NotSeparated as few:
                return plan, ADDED if plan.made is not None else str(few)

        return self.work_out("Choosing the most informative pours", make, repr(wanted), pot, price, scale, repr(taken))

    def _taken(self):
        """Open sessions that are not in the kept plan, with their pours: their names are not used again."""
        own = kept_plan(self.workshop)
        own = set() if own is None else set(own.index)
        return {name: pours for name, pours in self.workshop.opened().items() if not set(pours) <= own}

    def wanted(self) -> dict:
        """The arguments for `plan_pours`. Raises `Needed` if a field cannot be used."""
        sessions, pours, pot, have, _ = self.complete(*FIELDS, needed=(SESSIONS, POURS, POT))
        lists = {one: self._values(one) for one in self._lists()}
        wrong = [one.label for one, (_, problem) in lists.items() if problem]
        if wrong:
            raise Needed(f"First correct: {', '.join(wrong)}.")
        rooms, moulds = (lists.get(one, ([], ""))[0] or None for one in LISTS)
        return {
            "sessions": int(sessions), "pours": int(pours), "purpose": self.typed("purpose") or None,
            "rooms": rooms if rooms is None or len(rooms) > 1 else rooms[0], "moulds": moulds, "resin": have, "pot": pot,
        }

    @property
    def table(self) -> pd.DataFrame:
        """The pours, one row each in run order."""
        with self._at_once():
            return self.planned()[0].table

    def summary(self) -> str:
        return self.planned()[0].sentence()

    def _tap_keep(self) -> str:
        """Keep the plan in the study folder, where the pour panel finds it."""
        plan = self.planned()[0]
        memory = Memory(self.workshop.folder, "kept-plan")
        memory.put(table=as_kept(plan.table).to_csv(), pot=self.value(POT), scale=self.memory.scale)
        return f"Plan of {len(plan.table)} pours kept."

    def _tap_sheet(self, session: str) -> None:
        """Write the bench sheet of a session."""
        plan = self.planned()[0]
        sheet = tp.bench_sheet(self.workshop.study, plan.table, session=session, resin=self.value(POT), scale_resolution=self.memory.scale)
        warned = f" It carries {count(len(sheet.warnings), 'warning')}: read them first." if sheet.warnings else ""
        words = f"Bench sheet of {session}, {count(len(sheet.table), 'pour')}. Print it and fill it in by hand.{warned}"
        self.wrote(sheet.save(self.workshop.folder / f"bench-sheet-{session}.html"), words)

    def _tap_labels(self) -> None:
        """Write the labels of the whole plan."""
        self._labels_wanted = time.monotonic_ns()

    def _lists(self):
        return [one for one in LISTS if self.workshop.study.has(one.factor)]

    def _list(self, one):
        (values, problem), typed = self._values(one), self.typed(one.name)
        read = f"read as {', '.join(f'{v:.5g}' for v in values)} {one.unit}"
        read = read if len(values) > 1 or (values and f"{values[0]:g}" != typed.strip()) else ""
        return entry(one.name, one.label, typed, unit=one.unit, hint=one.hint, problem=problem, read=read)

    def _values(self, one):
        """Several numbers separated by blanks, and what is wrong with them."""
        column = self.workshop.study.factor(one.factor)
        each = []
        for word in self.typed(one.name).replace(";", " ").split():
            if each and (word[0].isalpha() or ("/" in word and each[-1].isdigit())):  # a unit, and the 1/2 of 1 1/2 in, belong to the number before
                each[-1] += f" {word}"
            else:
                each.append(word)
        try:
            return [column.parse(words.strip(",")) for words in each], ""
        except UnitProblem as problem:
            return [], beside_field(problem, shown_unit(column.unit))


def _cautions(plan, pot, scale):
    """Each refusal and warning once, with its pours, and what the scale cannot weigh."""
    pot_size = check_batch(pot)  # said once for the plan, not again for each pour
    by_name = {str(pour): plan.cautions(pour) + pot_size for pour in plan.table.index}
    whole = Cautions(plan.wide.refusals, tuple(line for line in plan.wide.warnings if line not in pot_size.warnings))
    try:
        for name in plan.sessions:
            sheet = tp.bench_sheet(plan.study, plan.table, session=name, resin=pot, scale_resolution=scale)
            said = grouped({pour: by_name[pour] for pour in sheet.table.index})["warnings"]
            for line, pours in sheet.warnings.items():
                by_name.update({pour: by_name[pour] + Cautions(warnings=(line,)) for pour in pours if line not in said})
    except WeighOutProblems as problem:
        whole += Cautions(tuple(problem.problems))
    return cautions(whole + by_pour(by_name))


def _outlook_parts(view):
    """What a plan can notice, in words and as a table."""
    if isinstance(view, str):
        return [text(view)]
    noticed = view.table[["reading", "setting", "noticed"]].rename(columns={"noticed": "smallest change"})
    caption = "Smallest change over the whole span of a setting that this plan shows nine times in ten"
    return [text(view.summary()), fold("Each setting and reading", table(noticed, caption, index=False))]


def plan_panel(folder: str | Path = ".") -> PlanPanel:
    """Plan test pours by tapping: what the plan can notice, what it costs, bench sheets and labels.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    PlanPanel
        A widget. ``.table`` has a row for each pour.
    """
    return PlanPanel(folder)
