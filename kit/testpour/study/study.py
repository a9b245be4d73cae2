"""A study: its factors, its readings and what a good casting must meet; `study_file` reads and writes it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from testpour.common.problems import NoSuchName, Problems, noted
from testpour.common.units import show
from testpour.common.wording import at_age, in_markdown, shortened
from testpour.study.columns import Factor, Reading

# Names reserved for the log, its castings and its sheets; more are reserved for factors.
_SHEET = ("pour", "session", "made_at", "by", "note", "made_anyway")
TAKEN = {
    "readings": frozenset(_SHEET),
    "factors": frozenset((*_SHEET, "entry", "reading", "low", "high", "age", "specimen", "known", "bench")),
}


class StudyProblems(Problems):
    """The study file, or settings given to it, cannot be used; `problems` lists each reason."""


@dataclass(frozen=True)
class Aim:
    """What a good casting must meet in one reading; bounds in the reading's unit, either of which may be left out."""

    reading: str
    at_least: float | None = None
    at_most: float | None = None
    age: float | None = None  # hours after mixing, for a reading that changes with age

    def words(self, reading: Reading) -> str:
        """The aim in words, for example ``"gel time 15 to 45 min"``."""
        low, high = self.at_least, self.at_most
        if low is not None and high is not None:
            bound = f"{reading.show(low)} to {reading.show(high)}" if reading.grades else f"{show(low)} to {show(high, reading.unit)}"
            bound = reading.show(low) if reading.grades and low == high else bound
        elif low is not None:
            bound = f"at least {reading.show(low)}"
        elif high is not None:
            bound = f"at most {reading.show(high)}"
        else:
            bound = "of any value"
        return f"{reading.words} {bound}{at_age(self.age)}"


@dataclass(frozen=True)
class Study:
    """One question about one resin system in one workshop.

    Parameters
    ----------
    name, question : str
    factors : tuple of Factor
    readings : tuple of Reading
    aims : tuple of Aim
    resin : dict
        ``kind`` (text), ``density`` and ``catalyst_density`` in g/mL.
    log : str
        Where the log is kept: a file beside the study, or a database address.
    folder : Path
        The folder of the study file.
    ready : dict
        Step of the work to the hardness it needs, for example ``{"demould": 60.0}``; if empty, the trade's
        habits are used (see `ageing`).
    one_of : dict
        A choice to the yes/no factors of which a pour has one at most: ``{"mould": ("silicone", "glass")}``.
    """

    name: str
    question: str
    factors: tuple[Factor, ...]
    readings: tuple[Reading, ...]
    aims: tuple[Aim, ...]
    resin: dict[str, Any]
    log: str = "log.sqlite"
    folder: Path = Path(".")
    ready: dict[str, float] = field(default_factory=dict)
    one_of: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def factor(self, name: str) -> Factor:
        """The factor of that name; otherwise a NoSuchName that lists the names.

        Parameters
        ----------
        name : str

        Returns
        -------
        Factor
        """
        return _named(self.factors, name, "factor")

    def reading(self, name: str) -> Reading:
        """The reading of that name; otherwise a NoSuchName that lists the names.

        Parameters
        ----------
        name : str

        Returns
        -------
        Reading
        """
        return _named(self.readings, name, "reading")

    def has(self, name: str) -> bool:
        """Whether it has a factor of that name.

        Parameters
        ----------
        name : str

        Returns
        -------
        bool
        """
        return any(factor.name == name for factor in self.factors)

    @property
    def aims_in_words(self) -> list[str]:
        """Each aim as it reads in a sentence: ``"gel time 15 to 45 min"``."""
        return [aim.words(self.reading(aim.reading)) for aim in self.aims]

    def told_at(self, reading: Reading) -> float | None:
        """The age at which a reading is reported, h after mixing: that of its aim, else the first planned; None if it has no age.

        Parameters
        ----------
        reading : Reading

        Returns
        -------
        float or None
        """
        aimed = (aim.age for aim in self.aims if aim.reading == reading.name and aim.age is not None)
        return float(next(aimed, reading.ages[0])) if reading.ages else None

    @property
    def aimed(self) -> tuple[Reading, ...]:
        """The readings that have an aim; all if none has."""
        names = {aim.reading for aim in self.aims}
        return tuple(reading for reading in self.readings if reading.name in names) or self.readings

    @property
    def numeric(self) -> tuple[Factor, ...]:
        """Factors that are numbers to a model, with yes and no as 1 and 0: all except those in text, such as lots."""
        return tuple(f for f in self.factors if f.kind != "text")

    @property
    def varied(self) -> tuple[Factor, ...]:
        """Chosen factors that have a span to plan over."""
        return tuple(f for f in self.factors if f.role == "chosen" and len(set(f.span)) == 2)

    def named(self, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """The settings of one pour as given; raises StudyProblems if they are not by name.

        Parameters
        ----------
        given : dict
            Factor name to value.

        Returns
        -------
        dict
        """
        if hasattr(given, "items") and not hasattr(given, "columns"):  # a row of a table too
            return dict(given.items())
        known = (f'{{"{f.name}": "{f.show(f.usual)}"}}' for f in self.numeric)
        example = next(known, '{"catalyst": "1.5 %"}')
        raise StudyProblems("Settings", [f"{shortened(repr(given))} does not name one pour's settings. Write them like {example}."])

    def settings(self, given: Mapping[str, Any] | None = None, **more: str | float | None) -> dict[str, Any]:
        """Settings as one complete row of floats, with usual values for those not given.

        Parameters
        ----------
        given : dict, optional
            Factor name to number or text with a unit.
        **more
            The same, by name; they override `given`.

        Returns
        -------
        dict
            Every numeric factor of the study, as a float in its declared unit.

        Raises
        ------
        StudyProblems
            Naming every setting that is unknown, unreadable or out of range.
        """
        given = {**self.named({} if given is None else given), **more}
        names = ", ".join(factor.name for factor in self.factors)
        problems = [f"{name} is not a factor of this study; it has {names}." for name in given if not self.has(name)]
        row = {}
        for factor in self.factors:
            if given.get(factor.name) is not None:
                with noted(problems):
                    row[factor.name] = factor.parse(given[factor.name])
            elif factor.kind != "text":
                row[factor.name] = factor.usual
        if problems:
            raise StudyProblems("Settings", problems)
        return row

    def sentence(self) -> str:
        """The study in a few sentences."""
        aims = "; ".join(self.aims_in_words)
        varied = ", ".join(f.words if f.kind == "yes/no" else f"{f.words} {f.between(*f.span)}" for f in self.varied)
        return f"{self.name}. {self.question} Varied: {varied or 'nothing yet'}. A good casting: {aims or 'no aim stated yet'}."

    __repr__ = sentence

    def _repr_markdown_(self):
        aims = "".join(f"\n- {in_markdown(aim)}" for aim in self.aims_in_words)
        varied = "".join(f"\n- {in_markdown(f.label)}: {in_markdown(f.how)}" for f in self.varied)
        return (
            f"**{in_markdown(self.name)}.** {in_markdown(self.question)}\n\nVaried from pour to pour:{varied or ' nothing yet.'}\n\n"
            f"A good casting meets:{aims or ' no aim stated yet.'}"
        )


def _named(columns, name, what):
    for column in columns:
        if column.name == name:
            return column
    raise NoSuchName(f"No {what} {name!r} in this study; it has {', '.join(c.name for c in columns)}.")
