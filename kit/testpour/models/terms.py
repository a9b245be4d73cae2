"""Terms: how a setting enters a model, in the form the chemistry suggests.

Each term is zero at the reference settings, so that a model's level is the reading there and a belief
about it can be stated in the trade's terms.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from testpour.study.columns import Factor

GAS = 8.314462618e-3  # kJ/(mol K), CODATA 2018
KELVIN = 273.15

OVEN, HOURS = "post_cure_temperature", "post_cure_time"  # one without the other is no post-cure
REFERENCE = {
    "catalyst": 1.5,
    "pigment": 0.5,
    "thickness": 10.0,
    "cover": 1.0,
    "room_temperature": 20.0,
    "humidity": 50.0,
    OVEN: 20.0,
    HOURS: 0.0,
}
BEND = 3.0  # % pigment above which the trade expects softening: common practice, no source
POST_CURE_HOURS = 2.0  # hours in which most of a post-cure's gain is had: common practice, no source
THIN_CATALYST = 0.05  # %: a pour without catalyst is logged as 0 and its logarithm must exist


def log_ratio(values: float | np.ndarray | pd.Series, reference: float) -> Any:
    """Natural log of `values`, taken as at least `THIN_CATALYST`, over a `reference` above 0."""
    return np.log(np.maximum(values, THIN_CATALYST) / reference)


def warmth(celsius: float | np.ndarray | pd.Series) -> np.ndarray:
    """(1/R)(1/T_reference - 1/T) in mol/kJ, from °C: times an activation energy, the log of a rate ratio."""
    return (1 / (REFERENCE["room_temperature"] + KELVIN) - 1 / (np.asarray(celsius, float) + KELVIN)) / GAS


def post_cure(celsius: float | np.ndarray | pd.Series, hours: float | np.ndarray | pd.Series) -> np.ndarray:
    """Tens of degrees above the room's 20 °C that the oven gave, less what a short stay leaves unused."""
    tens = np.maximum(np.asarray(celsius, float) - REFERENCE[OVEN], 0) / 10
    return tens * -np.expm1(-np.asarray(hours, float) / POST_CURE_HOURS)


def one_post_cure(table: pd.DataFrame, off: Sequence[float] = (REFERENCE[OVEN], REFERENCE[HOURS])) -> pd.DataFrame:
    """The table with every post-cure that lacks heat or time written as none.

    A table without the temperature or the time of a post-cure stays as it is. `off` is the °C and h that mean none.
    """
    if not {OVEN, HOURS} <= set(table):
        return table
    none = post_cure(table[OVEN], table[HOURS]) == 0
    return table.assign(**{name: table[name].mask(none, value) for name, value in zip((OVEN, HOURS), off, strict=True)})


@dataclass(frozen=True)
class Term:
    """One column of a model."""

    name: str  # as in `beliefs.toml`
    words: str  # in a sentence
    factors: tuple[str, ...]  # the settings it needs; a study without one of them has no such term
    column: Callable[[pd.DataFrame], Any]  # from a table of settings to one number per row, zero at the reference settings

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle a term of `TERMS` by its name, as lambdas cannot be pickled."""
        if TERMS.get(self.name) is self:
            return _trade_term, (self.name,)
        return Term, (self.name, self.words, self.factors, self.column)


def _ratio(table, name):
    return log_ratio(table[name], REFERENCE[name])


def _above(table, name):
    return table[name] - REFERENCE[name]


TERMS = {
    term.name: term
    for term in (
        Term("level", "level", (), lambda t: np.ones(len(t))),
        Term("catalyst", "catalyst", ("catalyst",), lambda t: _ratio(t, "catalyst")),
        Term("catalyst_bend", "catalyst, bend", ("catalyst",), lambda t: _ratio(t, "catalyst") ** 2),
        Term("warmth", "room temperature", ("room_temperature",), lambda t: warmth(t["room_temperature"])),
        Term("thickness", "thickness", ("thickness",), lambda t: _ratio(t, "thickness")),
        Term("pigment", "pigment", ("pigment",), lambda t: _above(t, "pigment")),
        Term("pigment_bend", "heavy pigment", ("pigment",), lambda t: np.maximum(t["pigment"] - BEND, 0)),
        Term("pigment_log", "pigment", ("pigment",), lambda t: np.log((t["pigment"] + 0.1) / (REFERENCE["pigment"] + 0.1))),
        Term("cover", "cover", ("cover",), lambda t: _above(t, "cover")),
        Term("humidity", "humidity", ("humidity",), lambda t: _above(t, "humidity") / 10),
        Term(
            "thickness_x_warmth", "thickness in a warm room", ("thickness", "room_temperature"),
            lambda t: _ratio(t, "thickness") * warmth(t["room_temperature"]),
        ),
        Term("post_cure", "post-cure", (OVEN, HOURS), lambda t: post_cure(t[OVEN], t[HOURS])),
        Term("age", "age", ("age",), lambda t: np.log(t["age"] / 24.0)),
    )
}


def _trade_term(name):
    return TERMS[name]


def own_term(factor: Factor) -> Term:
    """The term of a person's own numeric factor: linear, half its span from the usual value is 1."""
    half = (factor.span[1] - factor.span[0]) / 2 if factor.span else max(abs(factor.usual), 1.0)
    return Term(factor.name, factor.words, (factor.name,), partial(_in_halves, factor, half or 1.0))


def _in_halves(factor, half, table):
    return (table[factor.name] - factor.usual) / half


class ColumnArrays:
    """A table's columns as plain arrays, each fetched once, because pandas would align rows at every step."""

    def __init__(self, table: Mapping[str, np.ndarray] | pd.DataFrame) -> None:
        self.table = table
        self.columns: dict[str, np.ndarray] = {}
        self.made: dict[Any, np.ndarray] = {}  # cache of coordinates that several terms use

    def __len__(self):
        return len(next(iter(self.table.values()), ())) if isinstance(self.table, Mapping) else len(self.table)

    def __getitem__(self, name):
        if name not in self.columns:
            self.columns[name] = np.asarray(self.table[name], float)
        return self.columns[name]


def design(terms: Sequence[Term], table: Mapping[str, np.ndarray] | pd.DataFrame) -> np.ndarray:
    """The model matrix of `terms` for a table of complete settings: shape (rows, terms)."""
    arrays = ColumnArrays(table)
    columns = [np.asarray(term.column(arrays), float) for term in terms]
    return np.column_stack(columns) if columns else np.empty((len(arrays), 0))
