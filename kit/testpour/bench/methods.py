"""Several readings of one specimen: mean, spread, and whether they satisfy the method."""

import math
import re
import statistics
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache

from testpour.common.problems import noted
from testpour.common.toml_file import own_toml
from testpour.common.units import UnitProblem, to_unit, unit_words
from testpour.common.wording import count
from testpour.logbook.known import Known
from testpour.logbook.reading_text import known
from testpour.study.columns import Reading

APART = re.compile(r"[;\s/]+|,\s+")  # 76,5 is one number; 76, 79 are two


@dataclass(frozen=True)
class Method:
    """What a method requires of readings and specimen; lengths in mm."""

    scale: str
    readings: int  # how many
    thickness: float
    edge: float
    apart: float
    drop: int  # how many of the highest and of the lowest are left out of the mean
    standard: str
    thin: str
    apparent: str
    source: str
    confidence: str


@dataclass(frozen=True)
class Several:
    """Readings of one specimen together."""

    reading: Reading
    values: tuple[float, ...]  # in the reading's unit
    method: Method | None
    flags: tuple[str, ...]  # requirements not met by the specimen or the places read, in sentences
    alone: Known | None = None  # instead of numbers, one interval reading such as < 0.5 or 5 to 7

    @property
    def enough(self) -> bool:
        """Whether there are as many as the method requires; True if no method is known."""
        return self.method is None or self.alone is not None or len(self.values) >= self.method.readings

    def sentence(self) -> str:
        """Count, mean, spread and what is missing, in words."""
        if self.alone is not None:
            return f"1 reading: {self.alone.said(self.reading)}."
        if not self.values:
            m = self.method
            return f"{m.readings} readings, {m.apart:g} mm apart, {m.edge:g} mm from any edge, on {m.thickness:g} mm at least." if m else ""
        kept, left = self.values, ""
        drop = self.method.drop if self.method else 0
        if drop and self.enough:
            kept, left = tuple(sorted(self.values)[drop:-drop]), ", highest and lowest left out"
        text = f"{count(len(self.values), 'reading')}: mean {statistics.fmean(kept):.1f}{unit_words(self.reading.unit)}{left}"
        if len(kept) > 1:
            text += f", spread {statistics.stdev(kept):.1f} (standard deviation), {min(kept):g} to {max(kept):g}"
        if self.method:
            lack = self.method.readings - len(self.values)
            text += ". Enough for the method" if lack <= 0 else f". The method needs {self.method.readings}: {lack} more"
        return " ".join([f"{text}.", *self.flags])


@cache
def _methods():
    return tuple(Method(**entry) for entry in own_toml("bench/methods.toml")["methods"])


def method_for(reading: Reading) -> Method | None:
    """The method for a reading's scale, or None; scales do not convert, so neither do methods."""
    return next((m for m in _methods() if reading.unit.startswith(m.scale)), None)


def several(reading: Reading, text: str | Sequence[str | float], thickness: str | float | None = None, edge: str | float | None = None) -> Several:
    """Readings as typed, taken together.

    `text` has blanks or semicolons between numbers, or is a list of them. `thickness` of the specimen and `edge`, the
    distance from its edge to the nearest point, are mm or text with a unit. Raises `UnitProblem` naming every number that
    cannot be read or is on another scale.
    """
    method = method_for(reading)
    flags = tuple(_flags(method, thickness, edge))
    with suppress(UnitProblem):
        if isinstance(text, str):
            one = known(reading, text)
            return Several(reading, (one.low,), method, flags) if one.how == "exact" else Several(reading, (), method, flags, one)
    if isinstance(text, str):  # the reading's own scale may follow each number or only the last, and is dropped
        numbers = re.sub(re.escape(reading.unit), " ", text, flags=re.IGNORECASE) if reading.unit else text
        text = [part for part in APART.split(numbers) if part]
    values: list[float] = []
    problems: list[str] = []
    for part in text:
        with noted(problems):
            values.append(reading.parse(part))
    if problems:
        raise UnitProblem(" ".join(problems))
    return Several(reading, tuple(values), method, flags)


def _flags(method, thickness, edge):
    if method is None:
        return
    if (deep := _length(thickness, "thickness")) is not None and deep < method.thickness:
        yield f"Too thin: {deep:g} mm, {method.thin}; {method.apparent}."
    if (near := _length(edge, "edge distance")) is not None and near < method.edge:
        yield f"Too near an edge: {near:g} mm, at least {method.edge:g} mm is asked; {method.apparent}."


def _length(value, what):
    """Millimetres, or None if nothing was given."""
    if value in (None, "") or (isinstance(value, float) and math.isnan(value)):
        return None
    mm = to_unit(value, "mm", what)
    if mm <= 0:
        raise UnitProblem(f"{what}: {value} is not possible. Give mm above 0.")
    return mm
