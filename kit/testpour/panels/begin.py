"""Begin or change a study by tapping: what is made, from what, what may differ, the tools, and what is good."""

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.bench.amounts import WeighOutProblems
from testpour.common.problems import Problems
from testpour.panels import study_text
from testpour.panels.begin_aims import AimFields
from testpour.panels.begin_fields import ResinFields, SettingFields, ToolFields
from testpour.panels.panel import Panel, Waiting, in_words
from testpour.panels.parts import Part, button, caution, cautions, entry, step, text
from testpour.panels.workshop import Memory, Needed
from testpour.planning.problem import PlanConflict
from testpour.study.scale import in_unit
from testpour.study.study import Study

DAYS, FEWEST, MOST = 2, 2, 12


class BeginPanel(Panel):
    """The study, asked for in the maker's words; see `begin_panel`."""

    name, title = "begin", "What do I want to find out?"
    lead = "Answer what you can; every field may be changed later, here or in the file study.toml. Nothing is written before the last tap."

    def parts(self) -> Iterator[Part]:
        study = self.now()
        texts, resin, settings, tools, aims = self._sections(study)
        unnamed = "" if texts["name"].strip() else "The study needs a name: what you make, for example."
        yield step("1. What do you make?", entry("name", "Name of the study", texts["name"], problem=unnamed, hint="what you make, and when"),
                   entry("question", "What do you want to know?", texts["question"], wide=True))
        yield step("2. Resin and catalyst, from their labels", *resin.parts(), says=cautions(resin.cautions()))
        yield step("3. What may differ from pour to pour, and how far?", *settings.parts(), says=[*settings.cautions(), *self._pours_needed()])
        yield step("4. What is at hand?", *tools.parts(), says=self._least_resin(settings))
        no_aim = [text("No aim yet: without one nothing can be called good.", "needed")]
        judged = text("Every casting in the log is judged by the aims that stand here now, those poured before a change too.", "hint")
        said = [text(words) for words in aims.words()]
        yield step("5. What is a good casting?", *aims.parts(), says=[*said, judged] if said else no_aim)
        yield step("6. The study", *self._end())

    def now(self) -> Study:
        """The study as its file says, or the one a new study begins from.

        Raises `Needed` if the file cannot be read; the file is not changed.
        """
        try:
            return study_text.study_of(study_text.text_of(self.workshop.folder), self.workshop.folder)
        except ValueError as problem:
            raise Needed(f"study.toml cannot be used as it is: {in_words(problem)} Correct the file; this panel then opens it.") from None

    def wanted(self) -> tuple[str, Study]:
        """The text of the study file as the panel would write it, and the study it declares.

        Raises `Needed` if a field is wrong, `Problems` if the study as a whole cannot be used.
        """
        return self._last.of(self._mark(), self._wanted)  # needed several times while the panel is drawn

    def _wanted(self):
        study = self.now()
        texts, resin, settings, tools, aims = self._sections(study)
        texts["name"] = texts["name"].strip()
        wrong = [*([] if texts["name"] else ["the study's name"]), *resin.wrong(), *settings.wrong(), *aims.wrong()]
        if wrong:
            raise Needed(f"First correct: {', '.join(wrong)}.")
        text = study_text.edited(
            study_text.text_of(self.workshop.folder), study, texts=texts, resin=resin.wanted(), factors=settings.wanted(),
            readings=tools.wanted(), aims=aims.wanted(),
        )
        return text, study_text.study_of(text, self.workshop.folder)

    @property
    def table(self) -> pd.DataFrame:
        """The settings of the study, one row each: role, from, to and unit."""
        rows = {f.words: [f.role, *(f.span or ("", "")), f.unit] for f in self.now().factors}
        return pd.DataFrame.from_dict(rows, orient="index", columns=["role", "from", "to", "unit"]).rename_axis("setting")

    def summary(self) -> str:
        if self.workshop.study_mark is None:
            return "There is no study in this folder yet; this panel asks for one."
        return self.now().sentence()

    def _tap_write(self) -> str:
        """Write the study file, keeping every other line of it."""
        words, study = self.wanted()
        path = study_text.write(self.workshop.folder, words)
        self.memory.clear()
        return f"Written to {path}. Next: plan the pours in the notebook 1-plan. {study.sentence()}"

    def _take_typed(self, name: str, words: str) -> None:
        """Keep what was typed; the step of the scale is kept for every panel."""
        if name == "scale":
            Memory(self.workshop.folder, "tools").put(scale=words)
        super()._take_typed(name, words)

    def _sections(self, study):
        says = self.memory.get
        texts = {"name": says("name", study.name), "question": says("question", study.question)}
        tools = ToolFields(study, says, self.memory.scale)
        return texts, ResinFields(study, says), SettingFields(study, says, self._logged()), tools, AimFields(study, says, tools.wanted())

    def _logged(self):
        """Whether pours are logged: their settings then stay in the study."""
        try:
            return self.workshop.study_mark is not None and len(self.workshop.castings().pours) > 0
        except Needed:
            return True

    def _pours_needed(self):
        """How many pours the settings need, found by planning them."""
        try:
            words, wanted = self.wanted()
        except (Needed, Problems):
            return [text("The number of pours appears here once every field is right.", "hint")]
        try:
            return [text(self.work_out("Counting the pours", lambda: smallest_plan_words(wanted), words), "strong")]
        except Waiting:
            return [text("Counting the pours …", "hint")]

    def _least_resin(self, settings):
        """The least resin for which this scale can weigh the lowest catalyst well enough."""
        step_, low = self.memory.scale, settings.lowest("catalyst")
        if low is None or low <= 0:
            return []
        try:
            mix = tp.weigh_out("5 kg", catalyst=low, scale_resolution=step_)
        except WeighOutProblems as problem:
            return [caution(reason, "refuse") for reason in problem.problems]
        if warning := mix.coarse_warning():
            return [caution(f"At {low:g} % of catalyst: {warning}")]
        least = in_unit(mix.smallest_batch, mix.unit, 6)
        return [text(f"With a scale that reads in steps of {step_}, and {low:g} % of catalyst, weigh at least {least} of resin, "
                     "so that the catalyst is within a tenth of what you meant.")]

    def _end(self):
        off = button("write", "Write study.toml", main=True, off="First correct the fields marked above.")
        try:
            words, wanted = self.wanted()
        except Problems as problem:
            return [*(caution(reason, "refuse") for reason in problem.problems), off]
        except Needed as missing:
            return [text(str(missing), "needed"), off]
        there = self.workshop.study_mark is not None
        same = there and words == study_text.text_of(self.workshop.folder)
        label = "Change study.toml" if there else "Write study.toml"
        return [text(wanted.sentence()), button("write", label, main=True, off="study.toml already says this." if same else "")]


def smallest_plan_words(study: Study) -> str:
    """How many pours the settings of a study need, and what that many would notice."""
    if not study.varied:
        return "Nothing differs yet: choose at least one setting that may."
    for pours in range(FEWEST, MOST + 1):
        try:
            plan = tp.plan_pours(study, sessions=DAYS, pours=pours, purpose="which settings matter")
            view = tp.outlook(plan)
        except PlanConflict as problem:
            conflict = problem
            continue
        says = "1 setting differs: the smallest plan that shows what it does"
        if len(study.varied) > 1:
            says = f"{len(study.varied)} settings differ: the smallest plan that tells them apart"
        return f"{says} has {pours} pours on each of {DAYS} days. {view.noticed()}"
    return f"No plan of up to {MOST} pours on each of {DAYS} days would do. {conflict}"


def begin_panel(folder: str | Path = ".") -> BeginPanel:
    """Begin a study by tapping, or open one to change it; writes `study.toml` and keeps your own lines in it.

    Parameters
    ----------
    folder : str or Path
        The study folder; it need not hold a study yet.

    Returns
    -------
    BeginPanel
        A widget. ``.table`` has a row for each setting.
    """
    return BeginPanel(folder)
