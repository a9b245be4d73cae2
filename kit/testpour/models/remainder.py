"""The remainder: a smooth function of the settings for what neither beliefs nor physics foresee.

A reading's mean is what the beliefs expect plus a remainder whose size is unknown and learned from the log:
a line and a bend along every setting, and a product for every pair of settings, all with coefficients
Normal(0, s**2) of one common standard deviation s. With s near zero the beliefs stand; a log that contradicts
them raises s, and with it the doubt at settings far from those poured. (A model discrepancy after Kennedy and
O'Hagan, J. R. Statist. Soc. B 63 (2001) 425, in a second-order basis with shrinkage; citation from memory.)

How `SHARE` was chosen, and why neither third order nor a second model pays: `tests/benchmarks/measured.md`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import qmc

from testpour.likelihood.posterior import Posterior
from testpour.models.beliefs import Belief, ReadingBeliefs
from testpour.models.settings import settings_table
from testpour.models.terms import HOURS, OVEN, POST_CURE_HOURS, REFERENCE, TERMS, Term, design, log_ratio, post_cure
from testpour.study.study import Study

SOURCE = "what the beliefs leave over, its size learned from the log"
BY_RATIO = ("catalyst", "thickness")  # act by ratios: a step from 0.5 to 1 % equals one from 1 to 2 %
ROOMS = (12.0, 30.0)  # °C between which castings are made: common practice, no source
BEND, PAIR = 1.0, 0.7  # sizes relative to a straight line's, at the ends of the span
SHARE = 0.6  # size of the remainder relative to what the beliefs leave open at the ends of the span
SEEN = 1e-3  # share of the remainder's variance at the poured settings that may be left out
SPREAD_OUT = 256  # settings at which a remainder is projected on the expected terms
FAR = 1.5  # half spans from the middle beyond which the remainder is constant


@dataclass(frozen=True)
class Coordinate:
    """A setting on a scale where its span runs from -1 to 1."""

    name: str
    low: float  # of the span, in the factor's unit, as `high`
    high: float
    hours: float | None = None  # for a post-cure, the longest, h: heat and time become the oven temperature equivalent to it

    @property
    def factors(self) -> tuple[str, ...]:
        """Names of the settings it is made from."""
        return (self.name,) if self.hours is None else (OVEN, HOURS)

    def settings(self, values: np.ndarray) -> dict[str, Any]:
        """Settings by name for values between `low` and `high`."""
        return {self.name: values} if self.hours is None else {OVEN: values, HOURS: np.full_like(values, self.hours)}

    def __call__(self, table):
        """Coordinates of each row of a settings table."""
        made = getattr(table, "made", {})  # `ColumnArrays` caches them for other terms
        if self not in made:
            made[self] = self._of(table)
        return made[self]

    def _of(self, table):
        values = self._values(table)
        if self.name in BY_RATIO:
            share = log_ratio(values, self.low) / np.log(self.high / self.low)
        else:
            share = (values - self.low) / (self.high - self.low)
        return np.clip(2 * share - 1, -FAR, FAR)

    def _values(self, table):
        if self.hours is None:
            return np.asarray(table[self.name], float)
        return REFERENCE[OVEN] + 10 * post_cure(table[OVEN], table[HOURS]) / -np.expm1(-self.hours / POST_CURE_HOURS)


@dataclass(frozen=True)
class Line:
    """A straight line along one setting."""

    coordinate: Coordinate

    def __call__(self, table):
        return self.coordinate(table)


@dataclass(frozen=True)
class Bend(Line):
    """A parabola along one setting, its mean over the span zero."""

    def __call__(self, table):
        return BEND * (1.5 * self.coordinate(table) ** 2 - 0.5)


@dataclass(frozen=True)
class Pair:
    """The product of two settings."""

    one: Coordinate
    other: Coordinate

    def __call__(self, table):
        return PAIR * self.one(table) * self.other(table)


def remainder_terms(study: Study, believed: ReadingBeliefs) -> tuple[Term, ...]:
    """The terms of the remainder for one reading."""
    coordinates = coordinates_of(study, believed.factors)
    words = {one: TERMS["post_cure"].words if one.hours else study.factor(one.name).words for one in coordinates}
    terms = []
    for one in coordinates:
        shapes = (Line,) if study.factor(one.name).kind == "yes/no" else (Line, Bend)
        for shape in shapes:
            terms.append(Term(f"{shape.__name__} {one.name}", words[one], one.factors, shape(one)))
    for one, other in combinations(coordinates, 2):
        pair_words = f"{words[one]} with {words[other]}"
        terms.append(Term(f"Pair {one.name} {other.name}", pair_words, one.factors + other.factors, Pair(one, other)))
    return tuple(terms)


def coordinates_of(study: Study, names: Collection[str]) -> list[Coordinate]:
    """A `Coordinate` for each named setting that the study varies, and the room; a single one for heat and time of a post-cure."""
    moved = (f for f in study.factors if f.name in names and (f.name == "room_temperature" or f in study.varied))
    spans = {f.name: (0.0, 1.0) if f.kind == "yes/no" else ROOMS if f.name == "room_temperature" else f.span for f in moved}
    by_name = {name: Coordinate(name, float(low), float(high)) for name, (low, high) in spans.items()}
    if {OVEN, HOURS} <= set(names) and {OVEN, HOURS} & set(by_name):
        by_name[OVEN] = _post_cure(study)
        by_name.pop(HOURS, None)
    return [one for one in by_name.values() if one.low < one.high]


def _post_cure(study):
    """The post-cure as one `Coordinate`, from the least to the most that the study allows."""
    ends = {name: study.factor(name).span or (study.factor(name).usual,) for name in (OVEN, HOURS)}
    longest = Coordinate(OVEN, 0.0, 0.0, max(ends[HOURS]) or POST_CURE_HOURS)
    low, high = (float(longest._values({OVEN: end(ends[OVEN]), HOURS: end(ends[HOURS])})) for end in (min, max))
    return replace(longest, low=low, high=high)


def remainder_scale(terms: Sequence[Term], believed: ReadingBeliefs) -> float:
    """Half-normal scale of the belief about the size of a remainder of these `terms`, on the reading's latent scale.

    `SHARE` of the root mean square of the prior sd of the change from the middle to the end of each span: of the plain
    beliefs, even if heat and cure replace them, as a resin need not follow the slab.
    """
    believed = believed.before_physics or believed
    spans = {t.factors: t.column.coordinate for t in terms if isinstance(t.column, Line)}
    left_open = []
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        if term.factors in spans:
            one = spans[term.factors]
            column = np.asarray(term.column(one.settings(np.array([one.low, one.high]))), float)
            left_open.append(belief.sd * np.ptp(column) / 2)
    return SHARE * float(np.sqrt(np.mean(np.square(left_open)))) if left_open else SHARE


def learnable_directions(columns: np.ndarray) -> np.ndarray:
    """Orthonormal directions (q, k) of the coefficients that rows with these `columns` (n, q) can learn."""
    _, sizes, turn = np.linalg.svd(columns, full_matrices=False)
    left = np.cumsum(sizes[::-1] ** 2)[::-1] / max((sizes**2).sum(), 1e-300)
    return turn[left > SEEN].T


def with_remainder_drawn(
    posterior: Posterior, believed: ReadingBeliefs, terms: Sequence[Term], scale: float,
    directions: np.ndarray
) -> tuple[Posterior, ReadingBeliefs]:
    """Posterior and beliefs with the remainder's terms, of this `scale`, among the coefficients.

    The posterior holds the coefficients along the `directions` (q, k) that the rows can learn as its group ``"smooth"``;
    the other directions are drawn from the prior.
    """
    size = posterior.group_sds["smooth"][:, None]
    unseen = np.random.default_rng([posterior.seed, 41]).standard_normal((len(posterior), len(terms)))
    unseen -= unseen @ directions @ directions.T
    extra = posterior.group_effects["smooth"] @ directions.T + size * unseen
    parts: dict[str, Any] = {
        name: {key: value for key, value in getattr(posterior, name).items() if key != "smooth"}
        for name in ("group_sds", "group_effects", "group_levels")
    }
    learned = replace(_with_terms(believed, terms, scale), remainder_growth=max(1.0, float(np.sqrt(np.mean(size**2))) / scale))
    return replace(posterior, coefficients=np.hstack([posterior.coefficients, extra]), **parts), learned


def _with_terms(believed, terms, sd):
    """Beliefs with the remainder's terms among them, each with mean 0 and standard deviation `sd`."""
    beliefs = believed.beliefs + (Belief(0.0, sd, SOURCE),) * len(terms)
    return replace(believed, terms=(*believed.terms, *terms), beliefs=beliefs, remainder_count=len(terms))


def with_expected_remainder(study: Study, believed: ReadingBeliefs) -> ReadingBeliefs:
    """Beliefs with the remainder's terms among them, its size fixed at its prior mean; unchanged if no setting varies.

    For the logs of many benches, whose pours outweigh any belief about that size.
    """
    terms = remainder_terms(study, believed)
    if not terms:
        return believed
    return _with_terms(believed, terms, remainder_scale(terms, believed) * np.sqrt(2 / np.pi))  # the mean of a half-normal


def projected_on_expected(study: Study, believed: ReadingBeliefs, coefficients: np.ndarray) -> np.ndarray:
    """Coefficients (m, p) of the expected terms alone that best fit the whole mean (m, p + q) over the spans.

    By least squares over evenly spread settings; other settings at their usual values.
    """
    count = len(believed.terms) - believed.remainder_count
    if not believed.remainder_count:
        return coefficients
    table = _sobol_settings([term.column.coordinate for term in believed.terms[count:] if type(term.column) is Line])
    columns = design(believed.terms, settings_table(study, table))
    carried = np.linalg.lstsq(columns[:, :count], columns[:, count:], rcond=None)[0]
    return coefficients[:, :count] + coefficients[:, count:] @ carried.T


def _sobol_settings(coordinates):
    """Settings spread evenly over the spans of `coordinates`: DataFrame."""
    places = qmc.Sobol(len(coordinates), rng=0).random(SPREAD_OUT)
    spread = {}
    for one, share in zip(coordinates, places.T, strict=True):
        ratio = one.name in BY_RATIO
        spread |= one.settings(one.low * (one.high / one.low) ** share if ratio else one.low + (one.high - one.low) * share)
    return pd.DataFrame(spread)
