"""What applies to a whole session: the room, the lots, and who reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from testpour.bench.form_rows import LoggedPour
from testpour.common.units import UnitProblem, beside_field, show, shown_unit
from testpour.common.wording import capital, listed
from testpour.logbook.text_and_dates import clean, hour_known
from testpour.study.cautions import check_settings
from testpour.study.study import Study


@dataclass
class SessionHead:
    """Today's room and lots as last saved: the met and carried factors of the study."""

    study: Study
    # By factor, a float in its unit or text; unknown values are left out.
    values: dict[str, float | str] = field(default_factory=dict)
    by: str = ""  # initials of who reads
    at: float = 0.0  # when it was saved, ms since 1970; 0 for never
    problems: dict[str, str] = field(default_factory=dict)  # by factor, what is wrong with what was typed last
    # By factor, the text in its field if it is not among the values: wrong, or not saved yet.
    typed: dict[str, str] = field(default_factory=dict)

    @classmethod
    def from_log(cls, study: Study, made: Mapping[str, LoggedPour]) -> SessionHead:
        """As in the last pour logged in the session."""
        if not made:
            return cls(study)
        last = list(made.values())[-1]
        names = {f.name for f in _factors(study)}
        return cls(study, {k: v for k, v in last.settings.items() if k in names}, last.by, last.made_at.timestamp() * 1e3)

    def take(self, typed: Mapping[str, str], by: str, at: float) -> None:
        """Take what was typed: values that can be read are kept, the others get a problem in words.

        `typed` is by factor; `at` is ms since 1970.
        """
        self.problems, self.typed, values = {}, {}, {}
        for factor in _factors(self.study):
            text = clean(typed.get(factor.name), line=True)
            try:
                if text:
                    values[factor.name] = factor.parse(text)
            except UnitProblem as problem:
                self.problems[factor.name], self.typed[factor.name] = beside_field(problem, shown_unit(factor.unit)), text
                if factor.name in self.values:
                    values[factor.name] = self.values[factor.name]
        self.values, self.by, self.at = values, clean(by, line=True), at

    def not_taken(self) -> str:
        """What was not taken, in words, with the value kept until it is corrected; "" if all was taken."""
        wrong = [f for f in _factors(self.study) if f.name in self.problems]
        return listed(f"{f.words} ({f.show(self.values[f.name])} still holds)" if f.name in self.values else f.words for f in wrong)

    def lacking(self, made: LoggedPour) -> dict[str, float | str]:
        """Values known now that a pour made earlier in the session lacks: factor name to value."""
        return {name: value for name, value in self.values.items() if name not in made.settings}

    def shown(self) -> dict[str, Any]:
        """As the form shows it."""
        cautions = check_settings(self.study, {k: v for k, v in self.values.items() if not isinstance(v, str)})
        fields = [
            {"name": f.name, "label": capital(f.label), "value": self.typed.get(f.name) or self._text(f), "number": f.kind == "number",
             "how": f.how, "problem": self.problems.get(f.name, "")}
            for f in _factors(self.study)
        ]
        saved = dt.datetime.fromtimestamp(self.at / 1e3)  # midnight if only the day of the pour is known
        unknown = [f.words for f in _factors(self.study) if f.name not in self.values | self.problems]
        return {
            "fields": fields, "by": self.by, "at": self.at, "unknown": unknown, "but": self.not_taken(),
            "warnings": [*cautions.refusals, *cautions.warnings],
            "saved": "" if not self.at else f"{saved:%H:%M}" if hour_known(saved) else f"{saved:%a %d %b}",
        }

    def _text(self, factor):
        value = self.values.get(factor.name)
        return "" if value is None else value if isinstance(value, str) else show(value, "", 6)


def _factors(study):
    return [f for f in study.factors if f.role != "chosen"]
