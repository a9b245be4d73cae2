"""The aims of a study as fields: what a good casting must meet in each reading, and at what age."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from testpour.common.units import shown_unit, to_unit
from testpour.common.wording import capital
from testpour.panels.begin_fields import Says
from testpour.panels.numbers import Typed, typed
from testpour.panels.parts import Part, choice, entry, row
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading
from testpour.study.study import Aim, Study

LABELS = {"at_least": ", at least", "at_most": ", at most", "age": " at age"}
BOUNDS = {"lower": ("at_most",), "higher": ("at_least",)}  # by what is better in a reading; both for a window


class AimField:
    """What a good casting must meet in one reading: its bounds, and the age at which it is read."""

    def __init__(self, reading: Reading, aim: Aim | None, says: Says) -> None:
        self.reading = reading
        self.bounds = BOUNDS.get(reading.better, ("at_least", "at_most"))
        now = {key: getattr(aim, key, None) for key in self.bounds}
        if reading.ages:
            now["age"] = getattr(aim, "age", None) or reading.ages[0]
        self.now = {key: "" if value is None else f"{value:g}" for key, value in now.items()}
        self.words = {key: says(f"{key}_{reading.name}", words) for key, words in self.now.items()}
        self.typed = {key: self._read(key, words.strip()) for key, words in self.words.items()}
        self._check()

    def _unit(self, key):
        return "h" if key == "age" else self.reading.unit

    def _read(self, key, words):
        parse = (lambda text: to_unit(text, "h", "age")) if key == "age" else self.reading.parse
        return typed(words, parse, self._unit(key)) if words else Typed()

    def _check(self):
        """Mark an age that is not above 0, and a lower bound above the upper one."""
        low, high, age = (self.typed.get(key, Typed()).value for key in ("at_least", "at_most", "age"))
        if age is not None and not age > 0:
            self.typed["age"] = Typed(problem="The age is counted in hours after mixing, above 0.")
        if not self.wrong and low is not None and high is not None and low > high:
            self.typed["at_most"] = Typed(problem="This is below the lower limit: change one of them.")

    @property
    def wrong(self) -> bool:
        """Whether a bound or the age cannot be used."""
        return any(one.problem for one in self.typed.values())

    @property
    def values(self) -> dict[str, float]:
        """Each bound and the age as a number; empty where there is no aim."""
        return _aimed(self.typed)

    def part(self) -> Part:
        """The fields in a row; the age is asked for where there is a bound."""
        aimed = any(self.words[key].strip() for key in self.bounds)
        return row(*[self._field(key) for key in self.words if key != "age" or aimed])

    def _field(self, key):
        reading, found, name = self.reading, self.typed[key], f"{key}_{self.reading.name}"
        label = f"{capital(reading.words)}{LABELS[key]}"
        if reading.grades and key != "age":
            options = [("", "no aim"), *((str(k), word) for k, word in enumerate(reading.grades))]
            return choice(name, label, self.words[key].strip(), options, hint=reading.how)
        hint = "" if key == "age" else "leave empty for no aim"
        return entry(name, label, self.words[key], unit=shown_unit(self._unit(key)), hint=hint, problem=found.problem, read=found.read)

    def wanted(self) -> dict[str, Any] | None:
        """Bounds and age as the file takes them, "" for none; None if the file already has them."""
        if self.values == _aimed({key: self._read(key, words) for key, words in self.now.items()}):
            return None
        return {key: "" if one.value is None else self._in_file(key, one.value) for key, one in self.typed.items()}

    def _in_file(self, key, value):
        return int(value) if self.reading.grades and key != "age" else f"{value:g} {self._unit(key)}".strip()


def _aimed(found):
    """The numbers of an aim by name; none where it has no bound."""
    values = {key: one.value for key, one in found.items() if one.value is not None}
    return values if values.keys() - {"age"} else {}


class AimFields:
    """What a good casting must meet."""

    def __init__(self, study: Study, says: Says, taken: dict[str, Any]) -> None:
        own = {reading.name: reading for reading in study.readings}
        readings = {name: reading for name, reading in {**catalogue()["readings"], **own}.items() if taken.get(name, name in own)}
        now = {aim.reading: aim for aim in study.aims}
        if "hardness" in readings and readings["hardness"].unit != taken["hardness"]:
            readings["hardness"] = replace(readings["hardness"], unit=taken["hardness"])
            now.pop("hardness", None)  # no scale converts to another, so the aim must be given again for this durometer
        self.fields = {name: AimField(reading, now.get(name), says) for name, reading in readings.items()}
        self.dropped = [aim.reading for aim in study.aims if aim.reading not in now.keys() & readings.keys()]

    def parts(self) -> list[Part]:
        return [field.part() for field in self.fields.values()]

    def wrong(self) -> list[str]:
        return [field.reading.words for field in self.fields.values() if field.wrong]

    def wanted(self) -> dict[str, dict[str, Any]]:
        """Bounds of each reading as the file takes them, without those it already has."""
        changed = {name: bounds for name, field in self.fields.items() if (bounds := field.wanted()) is not None}
        return {**{name: {} for name in self.dropped}, **changed}

    def words(self) -> Iterator[str]:
        """Each aim in words, as it was read."""
        for name, field in self.fields.items():
            if field.values and not field.wrong:
                yield capital(Aim(name, **field.values).words(field.reading))
