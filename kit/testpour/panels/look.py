"""What each setting does, by tapping: effects as bars with their interval, and the sliders of the findings page."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import testpour as tp
from testpour.common.wording import capital, in_hundred, signed
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, bars, caution, choice, fold, step, table, text
from testpour.report.explorer import explorer


class LookPanel(Panel):
    """What each setting does; see `look_panel`."""

    name, title = "look", "What does each setting do?"
    lead = "Choose a reading. Below it, move the sliders to settings you could use and see what one casting should read."

    def parts(self) -> Iterator[Part]:
        self.workshop.poured()
        names = [(reading.name, reading.words) for reading in self.workshop.study.readings]
        yield step("Which reading?", choice("reading", "Reading", self._reading(), names))
        if unread := self.workshop.castings().undeclared_words:
            yield caution(unread)
        fits, name = self.fits(), self._reading()
        found = self.work_out("Working out the effects", lambda: tp.effects(fits[name]), name)
        yield step(f"What moves the {fits[name].reading.words}", *self._effects(found, fits[name].reading))
        explored = self.work_out("Making the sliders", lambda: explorer(fits))
        if explored is None:
            yield text("No setting differs between the pours yet, so there are no sliders to move.", "needed")
            return
        if self.held.get("scores") != explored["scores"] or self.held.get("readings") != explored["readings"]:
            self.held = explored
        yield step("Settings you could use", {"kind": "sliders", "mark": repr(self.workshop.version())})

    def _reading(self):
        names = [reading.name for reading in self.workshop.study.readings]
        chosen = self.typed("reading")
        return chosen if chosen in names else names[0]

    def _effects(self, found, reading):
        """Bars that start from no effect in the middle, each with its interval, and the same in words."""
        shown = found.table[found.table["from"] != found.table["to"]]  # a setting that stayed the same has no effect to show
        if not len(shown):
            yield text(found.sentence())
            return
        believed_only = {e.factor.words for e in found.each if not e.poured}
        log = reading.scale == "log"
        values = shown[["low", "middle", "high"]].to_numpy(float)
        values = np.log(values) if log else values
        most = float(np.abs(values).max()) or 1.0
        place = 0.5 + values / (2.2 * most)
        rows = [
            {"words": f"{capital(name)}, {line['from']} to {line['to']}", "from": 0.5, "share": place[k, 1], "low": place[k, 0],
             "high": place[k, 2], "says": _effect_words(reading, line) + ", belief only" * (name in believed_only)}
            for k, (name, line) in enumerate(shown.iterrows())
        ]
        up, down = ("longer", "shorter") if reading.unit == "min" else ("higher", "lower")
        if reading.grades:
            up, down = "better more often", "worse more often"
        yield bars("Change from the first to the second setting; the narrow bar is its 90 % interval", rows, (down, up))
        yield text(found.sentence(), "strong")
        yield text(found.conditions(), "hint")
        shares = shown[["says", "from log"]].assign(**{"from log": [f"{100 * share:.0f} %" for share in shown["from log"]]})
        yield fold("Every effect in words", table(shares, "How much of it is from the log"))

    @property
    def table(self) -> pd.DataFrame:
        """The effects on the reading chosen, one row per setting."""
        with self._at_once():
            return tp.effects(self.fits()[self._reading()]).table

    def summary(self) -> str:
        return tp.effects(self.fits()[self._reading()]).sentence()


def _effect_words(reading, line):
    """The size of an effect in short: per cent, castings in 100, or the reading's unit."""
    if reading.scale == "log":
        return f"{signed(100 * (line['middle'] - 1))} %"
    if reading.grades:
        size = in_hundred(abs(line["middle"]))
        sign = "+" if line["middle"] >= 0 else "\N{MINUS SIGN}"
        return f"{sign if size.isdigit() else ''}{size} in 100"
    return reading.show(float(f"{line['middle']:.2g}"))


def look_panel(folder: str | Path = ".") -> LookPanel:
    """Look by tapping at what each setting does, with the sliders of the findings page.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    LookPanel
        A widget. ``.table`` are the effects on the reading chosen.
    """
    return LookPanel(folder)
