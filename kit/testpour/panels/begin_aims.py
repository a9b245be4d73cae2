"""The aims of a study as fields: what a good casting must meet in each reading, and at what age."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from testpour.catalogue import catalogue
from testpour.panels.begin_fields import Says
from testpour.panels.numbers import read_as
from testpour.panels.parts import Part, choice, entry, row
from testpour.study import Aim, Study
from testpour.units import UnitProblem, beside_field, shown_unit, to_unit
from testpour.wording import capital

LABELS = {"at_least": ", at least", "at_most": ", at most", "age": " at age"}


class AimFields:
    """What a good casting must meet."""

    def __init__(self, study: Study, says: Says, taken: dict[str, Any]) -> None:
        self.study, self.says = study, says
        own = {r.name: r for r in study.readings}
        known = catalogue()["readings"]
        self.readings = {name: reading for name, reading in {**known, **own}.items() if taken.get(name, name in own)}
        self.now = {aim.reading: aim for aim in study.aims}
        if "hardness" in self.readings and self.readings["hardness"].unit != taken["hardness"]:
            self.readings["hardness"] = replace(self.readings["hardness"], unit=taken["hardness"])
            self.now.pop("hardness", None)  # no scale converts to another: an aim on this durometer is asked for anew

    def bounds(self, name: str) -> dict[str, str]:
        """Words of each bound and of the age, "" for none."""
        return {key: self.says(f"{key}_{name}", words).strip() for key, words in self._as_is(name).items()}

    def parts(self) -> Iterator[Part]:
        for name, reading in self.readings.items():
            bounds, problems, keys = self.bounds(name), self.problems(name), self._keys(reading)
            if reading.ages and any(bounds[key] for key in keys):
                keys = (*keys, "age")
            yield row(*[self._field(name, key, bounds[key], problems.get(key, "")) for key in keys])

    def problems(self, name: str) -> dict[str, str]:
        """What is wrong with the bounds and the age of a reading, by field."""
        reading, values, found = self.readings[name], {}, {}
        for key, words in self.bounds(name).items():
            try:
                values[key] = self._value(reading, key, words) if words else None
            except UnitProblem as problem:
                found[key] = beside_field(problem, shown_unit(self._unit(reading, key)))
        low, high, age = map(values.get, ("at_least", "at_most", "age"))
        if age is not None and not age > 0:
            found["age"] = "The age is counted in hours after mixing, above 0."
        if not found and low is not None and high is not None and low > high:
            found["at_most"] = "This is below what is asked at least: change one of them."
        return found

    def wrong(self) -> list[str]:
        return [self.readings[name].words for name in self.readings if self.problems(name)]

    def wanted(self) -> dict[str, dict[str, str]]:
        """Bounds of each reading as the file takes them; those it says already are left out."""
        found: dict[str, dict[str, str]] = {aim.reading: {} for aim in self.study.aims if aim.reading not in self.now.keys() & self.readings.keys()}
        for name in self.readings:
            bounds = self.bounds(name)
            if self._values(name, bounds) != self._values(name, self._as_is(name)):
                found[name] = {key: self._in_file(name, key, words) for key, words in bounds.items()}
        return found

    def words(self) -> list[str]:
        """Each aim in words, as it was read."""
        aimed = {name: self._values(name, self.bounds(name)) for name in self.readings if not self.problems(name)}
        return [capital(Aim(name, **values).words(self.readings[name])) for name, values in aimed.items() if values]

    def _keys(self, reading):
        return {"lower": ("at_most",), "higher": ("at_least",)}.get(reading.better, ("at_least", "at_most"))

    def _unit(self, reading, key):
        return "h" if key == "age" else reading.unit

    def _value(self, reading, key, words):
        """A bound in the reading's unit, or an age in hours."""
        return to_unit(words, "h", "age") if key == "age" else reading.parse(words)

    def _as_is(self, name):
        """Bounds and age as the study has them."""
        aim, reading = self.now.get(name), self.readings[name]
        found = {key: getattr(aim, key, None) for key in self._keys(reading)}
        if reading.ages:
            found["age"] = getattr(aim, "age", None) or reading.ages[0]
        return {key: "" if value is None else f"{value:g}" for key, value in found.items()}

    def _values(self, name, bounds):
        """Each bound and the age as a number; empty where there is no aim."""
        found = {key: self._value(self.readings[name], key, words) for key, words in bounds.items() if words}
        return found if found.keys() - {"age"} else {}

    def _in_file(self, name, key, words):
        if not words:
            return ""
        reading = self.readings[name]
        value = self._value(reading, key, words)
        if reading.grades and key != "age":
            return int(value)
        return f"{value:g} {self._unit(reading, key)}".strip()

    def _field(self, name, key, words, problem):
        """The field of a bound or of the age."""
        reading, field = self.readings[name], f"{key}_{name}"
        label = f"{capital(reading.words)}{LABELS[key]}"
        if reading.grades and key != "age":
            options = [("", "no aim"), *((str(k), word) for k, word in enumerate(reading.grades))]
            return choice(field, label, words, options, hint=reading.how)
        unit = self._unit(reading, key)
        read = "" if problem or not words else read_as(self._value(reading, key, words), unit, words)
        return entry(field, label, self.says(field, words), unit=shown_unit(unit), hint="" if key == "age" else "left empty: no aim",
                     problem=problem, read=read)
