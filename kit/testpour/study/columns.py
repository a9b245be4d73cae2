"""Factors and readings as columns: unit, plausible range, label and how each is measured.

Checks, axis labels, sentences, form fields and the log all use the column.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from testpour.common.problems import Problem
from testpour.common.units import SPELLINGS, UnitProblem, show, shown_unit, to_unit, unit_words
from testpour.common.wording import shortened

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

YES = {"yes", "y", "true", "1", "1.0", "on", "covered", "ja", "x", "✓", "✔"}
NO = {"no", "n", "false", "0", "0.0", "off", "nein", "open", "none", "nil", "without", "no film", "no lid", "no cover", "✗", "✘"}
OTHERS = {"degC": ("°F",), "mm": ("in", "cm"), "h": ("min",), "min": ("h",)}  # other units in which it is often read
NIL = {"none", "nil"}  # words for an amount of 0


class ColumnProblem(Problem):
    """A declaration of a factor or reading is not valid; `args` holds each reason."""


@dataclass(frozen=True, eq=False)
class Column:
    """One declared column of the log.

    Parameters
    ----------
    name : str
        Column name, for example ``"gel_time"``.
    unit : str
        Unit the log stores; a hardness scale by its name; ``""`` for a plain number.
    low, high : float
        Smallest and largest plausible value, in `unit`.
    words : str
        The name as it reads in a sentence; made from `name` if not given.
    how, standard, source : str
        How it is measured, by which standard, and where the figures come from.
    """

    name: str
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    words: str = ""
    how: str = ""
    standard: str = ""
    source: str = ""

    def __post_init__(self):
        if not self.words:
            object.__setattr__(self, "words", self.name.replace("_", " "))
        if self.low > self.high:
            raise ColumnProblem(f"{self.name}: low {self.low:g} is above high {self.high:g}. Swap them in the study file.")

    def __eq__(self, other):
        return type(self) is type(other) and self._declared() == other._declared()

    def __hash__(self):
        return hash(self._declared())

    def _declared(self):
        """Everything declared, with NaN as None, so that equal declarations compare equal."""
        values = (getattr(self, field.name) for field in fields(self))
        return tuple(None if isinstance(value, float) and math.isnan(value) else value for value in values)

    @property
    def label(self) -> str:
        """Axis label, for example ``"gel time (min)"``."""
        unit = shown_unit(self.unit)
        return f"{self.words} ({unit})" if unit else self.words

    @property
    def range_words(self) -> str:
        """The plausible range in words, for example ``"0 to 4 %"``."""
        return f"{self.low:g} to {show(self.high, self.unit)}"

    def parse(self, value: str | float, decimal: str | None = None) -> float:
        """`value` (number or text with a unit) as a float in `unit`; raises a UnitProblem if it is outside the plausible range.

        `decimal` is the decimal mark of the text, if known.
        """
        number = to_unit(value, self.unit, self.words, decimal)
        if not self.low <= number <= self.high:
            comma = decimal == "," and "." in str(value)  # in a sheet with decimal commas, points separate thousands
            read = f", read as {self.show(number)} because other numbers have a decimal comma," if comma else ""
            if self.unit == "%" and 0 < number <= 1 and self.low <= 100 * number <= self.high:
                meant = self.show(100 * number)
                raise UnitProblem(f"{self.words}: {value} is outside {self.range_words}. Is it a share, where per cent is meant? Then write {meant}.")
            raise UnitProblem(
                f"{self.words}: {value}{read} is outside {self.range_words}. {self._other_unit(value, number)}Check the number and its unit; "
                "if it is right, widen the range in the study file."
            )
        return number

    def _other_unit(self, value, number):
        """A question whether a bare number outside the range is in another unit, in which it would be inside."""
        if not str(value).strip()[-1:].isdigit():
            return ""
        others = {unit: to_unit(f"{number} {unit}", self.unit, self.words) for unit in OTHERS.get(self.unit, ())}
        asked = [f"{unit} ({self.show(read)})" for unit, read in others.items() if self.low <= read <= self.high]
        return f"Is it {' or '.join(asked)}? Then write that unit with it. " if asked else ""

    def show(self, value: float) -> str:
        """`value` with its unit, as it reads in a sentence: ``"1.5 %"``."""
        return show(value, self.unit)

    def between(self, low: float, high: float) -> str:
        """A range as it reads in a sentence, for example ``"1 to 2.5 %"``; a single value if both look the same."""
        least, most = self.show(low), self.show(high)
        return most if least == most else f"{least.removesuffix(unit_words(self.unit))} to {most}"


C = TypeVar("C", bound=Column)


@dataclass(frozen=True, eq=False)
class Factor(Column):
    """A setting that may differ between pours.

    Parameters
    ----------
    role : {"chosen", "met", "carried"}
        Chosen by the person, met in the room, or carried in by a lot.
    kind : {"number", "yes/no", "text"}
    usual : float
        The value used when none is given, in `unit`.
    span : tuple of float
        From and to, in `unit`, between which pours are planned.
    by_session : bool
        Whether all pours of a session share the value.
    step : float
        Finest step worth setting at the bench, in `unit`; plans and advice are rounded to it, except at the ends of a span.
    """

    role: Literal["chosen", "met", "carried"] = "chosen"
    kind: Literal["number", "yes/no", "text"] = "number"
    usual: float = math.nan
    span: tuple[float, ...] = ()
    by_session: bool = False
    step: float = 0.0

    @property
    def is_share(self) -> bool:
        """Whether it is weighed as a share of the resin: pigment in %, silica in phr."""
        return self.role == "chosen" and SPELLINGS.get(self.unit.casefold()) == "%"

    def rounded(self, value: float | np.ndarray | pd.Series, given: Iterable[float] = ()) -> Any:
        """`value` (number or array) rounded to `step`, but never moved out of the span.

        Parameters
        ----------
        value : float, array or Series
            In `unit`.
        given : iterable of float, optional
            Other numbers that stay as they are, like the ends of the span: the depths of moulds.

        Returns
        -------
        float, array or Series
            In `unit`; yes or no as 1 or 0; unchanged if the factor has no step.
        """
        if self.kind == "yes/no":
            return np.round(value)
        if not self.step:
            return value
        value = np.asarray(value)
        on_step = np.round(np.round(value / self.step) * self.step, 6)
        if self.span:
            low, high = self.span
            on_step = np.where((value > low) & (value < high), np.clip(on_step, low, high), on_step)
        for one in (*self.span, *given):
            on_step = np.where(np.isclose(value, one, rtol=0, atol=1e-6), one, on_step)
        return on_step[()]

    def parse(self, value: str | float, decimal: str | None = None) -> Any:
        """`value` as a float in `unit` (1.0 and 0.0 for yes and no; none is 0), or as text for a lot.

        Parameters
        ----------
        value : str or float
            A number in `unit`, text with a unit, a word for yes or no, or the name of a lot.
        decimal : str, optional
            Decimal mark of the text, "." or ","; by default it is found from the text.

        Returns
        -------
        float or str

        Raises
        ------
        UnitProblem
            If it cannot be read, is neither yes nor no, or is outside the range.
        """
        if self.kind == "text":
            if isinstance(value, list | tuple | dict | set | np.ndarray):
                raise UnitProblem(f"{self.words}: {shortened(repr(value))} is not the name of one lot. Write one, in quotation marks.")
            return str(value).strip()
        if self.kind == "yes/no":
            return truth(value, self.words)
        if isinstance(value, str) and value.strip().casefold() in NIL:
            if not self.low <= 0 <= self.high or self.unit.startswith("deg"):
                raise UnitProblem(f"{self.words}: {value!r} is not a number. Write one from {self.range_words}, or leave it empty if it is not known.")
            return 0.0
        return super().parse(value, decimal)

    def show(self, value: float | str) -> str:
        """`value` as it reads in a sentence.

        Parameters
        ----------
        value : float or str
            In `unit`; 1 and 0 for yes and no; text for a lot.

        Returns
        -------
        str
        """
        if self.kind == "yes/no":
            return "yes" if value else "no"
        return str(value) if self.kind == "text" else super().show(float(value))

    def bare(self, value: float | str | None, digits: int = 6) -> str:
        """`value` without its unit, for use with a header or a field that has the unit.

        Parameters
        ----------
        value : float, str or None
            As for `show`; NaN or None if it is not known.
        digits : int, optional
            Significant digits of a number.

        Returns
        -------
        str
            "" if it is not known.
        """
        if value is None or isinstance(value, str):
            return value or ""
        if not math.isfinite(value):
            return ""
        return self.show(value) if self.kind == "yes/no" else f"{value:.{digits}g}"


@dataclass(frozen=True, eq=False)
class Reading(Column):
    """A measured outcome.

    Parameters
    ----------
    scale : {"log", "plain", "share", "rise", "grades"}
        How the reading scatters: by ratios, by differences, as a share of its range, as a share of the
        full temperature rise above the room, or in grades.
    grades : tuple of str
        What each grade means, from grade 0 up.
    better : {"lower", "higher", "window"}
    ages : tuple of float
        Hours after mixing at which it is read; empty for a reading without an age.
    resolution : float
        Step of the instrument, in `unit`; 0 if it does not matter.
    """

    scale: Literal["log", "plain", "share", "rise", "grades"] = "plain"
    grades: tuple[str, ...] = ()
    better: Literal["lower", "higher", "window"] = "window"
    ages: tuple[float, ...] = ()
    resolution: float = 0.0

    @property
    def counted_in(self) -> str:
        """What its numbers mean: the unit and the scale, with the grades, or the range if numbers mean something only within it."""
        if self.grades:
            return f"the grades {', '.join(self.grades)}"
        ended = math.isfinite(self.high - self.low) and (self.scale == "share" or not self.unit)
        return f"{shown_unit(self.unit) or 'plain numbers'}{f' from {self.low:g} to {self.high:g}' * ended} ({self.scale} scale)"

    def show(self, value: float) -> str:
        """`value` as it reads in a sentence; a grade with its word.

        Parameters
        ----------
        value : float
            In `unit`; for grades the number of a grade, from 0.

        Returns
        -------
        str
            For example ``"12 min"`` or ``"grade 1 (slightly tacky)"``.
        """
        if self.grades:
            return f"grade {value:g} ({self.grades[round(value)]})"
        return super().show(value)


def truth(value: Any, what: str) -> float:
    """1.0 for a word that means yes, 0.0 for one that means no; raises a UnitProblem about `what` for any other."""
    word = str(value).strip().casefold()
    if value is None or word not in YES | NO:  # the word "none" means no, a missing value means nothing
        raise UnitProblem(f"{what}: {shortened(repr(value))} is neither yes nor no. Write yes or no.")
    return float(word in YES)
