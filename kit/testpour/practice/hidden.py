"""The hidden parameters of a practice resin, each declared once, with how it is drawn."""

from collections.abc import Callable
from dataclasses import field, fields
from typing import Any, Literal, TypeAlias, TypeVar, get_args

import numpy as np

Difficulty = Literal["gentle", "ordinary", "awkward"]
DIFFICULTIES = get_args(Difficulty)
Draw: TypeAlias = Callable[[np.random.Generator], float]
T = TypeVar("T")


def hidden(ordinary: Draw, **others: Draw) -> Any:
    """A dataclass field that is drawn: for an ordinary resin, and for a `gentle` or `awkward` one if that differs."""
    return field(metadata={**dict.fromkeys(DIFFICULTIES, ordinary), **others})


def draw_hidden(kind: type[T], difficulty: Difficulty, rng: np.random.Generator) -> T:
    """A dataclass of `hidden` parameters, drawn in the order in which they are declared."""
    declared: Any = kind
    return kind(**{one.name: one.metadata[difficulty](rng) for one in fields(declared)})


def uniform(low: float, high: float) -> Draw:
    """From a uniform distribution between two ends."""
    return lambda rng: low + (high - low) * rng.random()


def normal(mean: float, sd: float) -> Draw:
    """From a normal distribution."""
    return lambda rng: float(rng.normal(mean, sd))


def ratio(median: float, spread: float) -> Draw:
    """From a lognormal distribution; `spread` is the standard deviation of the natural log."""
    return lambda rng: float(median * np.exp(spread * rng.standard_normal()))


def either_sign(low: float, high: float) -> Draw:
    """From a uniform distribution between two ends, with a random sign."""
    return lambda rng: float(rng.choice([-1, 1]) * rng.uniform(low, high))
