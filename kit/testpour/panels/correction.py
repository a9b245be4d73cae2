"""Correct the log by tapping: a setting, day, session or reading of a pour, or a pour that was never made."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from testpour.common.units import beside_field, shown_unit
from testpour.common.wording import PUT_RIGHT, at_age, capital
from testpour.logbook.known import known_of
from testpour.logbook.reading_text import known
from testpour.logbook.text_and_dates import hour_known, made_on, missing
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, button, entry, fold, pick, row, text
from testpour.panels.workshop import Needed

UNKNOWN = "not known"  # what to type for a setting nobody knows
CHOSEN = ("right_what", "right_value", "right_why")
MADE_AT, SESSION, NEVER_MADE = "made_at", "session", "pour"


@dataclass(frozen=True)
class Correctable:
    """One thing that the log says of a pour."""

    words: str
    logged: str
    read: Callable[[str], str]  # from what was typed to the log's wording; raises ValueError if it cannot be read
    correct: Callable[[str, str], Any] | None  # takes what was typed, and why; None if it can only be removed
    withdraw: Callable[[str], Any] | None = None  # takes why
    unit: str = ""


class CorrectionPart(Panel):
    """The part of a panel that corrects the log."""

    def correction_part(self) -> Part:
        """Fields for the pour, what is wrong, what is right, and why."""
        return fold(PUT_RIGHT, *self._correction())

    def _correction(self) -> Iterator[Part]:
        pours = self.workshop.castings().pours.index
        yield text("The log keeps the old entry, with your reason. Your correction counts from now on, in every notebook.", "hint")
        if not len(pours):
            yield text("The log has no pour yet.", "needed")
            return
        yield pick("right_pour", "Pour", self._pour, [("", "choose a pour"), *((name, name) for name in reversed(pours))])
        if not self._pour:
            return
        lines = self._lines()
        what = self.typed("right_what") if self.typed("right_what") in lines else ""
        options = [(key, f"{one.words}, {one.logged}") for key, one in lines.items()]
        yield pick("right_what", "What is wrong", what, [("", "choose what is wrong"), *options])
        if not what:
            return
        line = lines[what]
        why = entry("right_why", "Why", self.typed("right_why"), hint="such as: read from the wrong line", wide=True)
        yield row(self._value_entry(line) if line.correct else None, why)
        yield row(button("right", "Put it right", main=True) if line.correct else None, button("out", "Take it out of the log") if line.withdraw else None)

    def _value_entry(self, line):
        typed, read, problem = self.typed("right_value").strip(), "", ""
        if typed:
            try:
                read = f"read as {line.read(typed)}"
            except ValueError as wrong:
                problem = beside_field(wrong, shown_unit(line.unit))
        return entry("right_value", "What is right", typed, unit=shown_unit(line.unit), problem=problem, read=read)

    @property
    def _pour(self):
        """The pour that was chosen, while the log has it."""
        return self.typed("right_pour") if self.typed("right_pour") in self.workshop.castings().pours.index else ""

    def _take_typed(self, name: str, words: str) -> None:
        super()._take_typed(name, words)
        if name == "right_pour":  # what was chosen and typed was about the previous pour
            self.memory.put(**dict.fromkeys(CHOSEN))

    def _tap_right(self) -> str:
        """Log what was typed in place of the old entry."""
        line, why, typed = self._chosen_line(), self._reason(), self.typed("right_value").strip()
        if line.correct is None or not typed:
            raise Needed("Still needed: What is right.")
        said = line.read(typed)
        line.correct(typed, why)
        return self._corrected(f"{self._pour}: {line.words}, {line.logged}, is {said} now. The history keeps both.")

    def _tap_out(self) -> str:
        """Withdraw the entry."""
        line, why = self._chosen_line(), self._reason()
        if line.withdraw is None:
            raise Needed(f"{capital(line.words)} cannot be taken out; correct it instead.")
        pour = self._pour
        line.withdraw(why)
        return self._corrected(f"{pour}: {line.words}, {line.logged}, no longer counts. The history keeps it.")

    def _corrected(self, said):
        self.memory.put(**dict.fromkeys(CHOSEN))
        if self.form is not None:
            self.form.refresh()
        return said

    def _chosen_line(self):
        line = self._lines().get(self.typed("right_what")) if self._pour else None
        if line is None:
            raise Needed("Still needed: the pour, and what is wrong with it.")
        return line

    def _reason(self):
        if not (why := self.typed("right_why").strip()):
            raise Needed("Still needed: Why. The log keeps the reason with the correction.")
        return why

    def _lines(self) -> dict[str, Correctable]:
        """Everything the log says about the chosen pour, settings first."""
        castings, log, study, pour = self.workshop.castings(), self.workshop.log, self.workshop.study, self._pour
        logged = castings.pours.loc[pour]
        lines = {f"setting:{one.name}": self._setting(one, logged[one.name]) for one in study.factors}
        readings = castings.readings[castings.readings["pour"] == pour]
        lines |= {f"reading:{one.entry}": self._reading(study.reading(one.reading), one) for one in readings.itertuples()}
        day = logged["made_at"]
        lines[MADE_AT] = Correctable(
            "day and hour of the pour", _in_log("" if pd.isna(day) else f"{day:%Y-%m-%d %H:%M}" if hour_known(day) else f"{day:%Y-%m-%d}"),
            lambda typed: f"{made_on(typed):%Y-%m-%d %H:%M}", lambda typed, why: log.correct_pour(pour, made_at=typed, why=why))
        lines[SESSION] = Correctable("session", _in_log(logged["session"]), str, lambda typed, why: log.correct_pour(pour, session=typed, why=why))
        lines[NEVER_MADE] = Correctable("the whole pour", "which was never made", str, None, lambda why: log.withdraw_pour(pour, why=why))
        return lines

    def _setting(self, factor, logged):
        log, pour = self.workshop.log, self._pour

        def value(typed):
            return None if typed.casefold() == UNKNOWN else factor.parse(typed)

        def read(typed):
            found = value(typed)
            return UNKNOWN if found is None else factor.show(found)

        shown = "" if missing(logged) or logged == "" else factor.show(logged)
        return Correctable(factor.words, _in_log(shown), read, lambda typed, why: log.correct_pour(pour, settings={factor.name: value(typed)}, why=why),
                    unit=factor.unit if factor.kind == "number" else "")

    def _reading(self, reading, logged):
        log = self.workshop.log
        specimen = f" of {logged.specimen}" if logged.specimen else ""
        return Correctable(
            f"{reading.words}{at_age(logged.age if reading.ages else None)}{specimen}", _in_log(known_of(logged).said(reading)),
            lambda typed: known(reading, typed).said(reading), lambda typed, why: log.correct_reading(logged.entry, typed, why=why),
            lambda why: log.withdraw_reading(logged.entry, why=why), unit=reading.unit,
        )


def _in_log(words):
    return f"logged as {words}" if words else "not logged"
