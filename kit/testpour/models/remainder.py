"""The remainder: a smooth function of the settings for what neither beliefs nor physics foresee.

A reading's mean is what the beliefs expect plus a remainder whose size is unknown and learned from the log:
a line, a bend and a twist along every setting, and a product for every pair of settings, all with coefficients
Normal(0, s**2) of one common standard deviation s. With s near zero the beliefs stand; a log that contradicts
them raises s, and with it the doubt at settings far from those poured. (A model discrepancy after Kennedy and
O'Hagan, J. R. Statist. Soc. B 63 (2001) 425, in a second-order basis with shrinkage; citation from memory.)
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from testpour.models.beliefs import Belief
from testpour.models.terms import Term, log_ratio

SOURCE = "what the beliefs leave over, its size learned from the log"
BY_RATIO = ("catalyst", "thickness")  # act by ratios: a step from 0.5 to 1 % is worth one from 1 to 2 %
BEND, TWIST, PAIR = 1.0, 0.5, 0.7  # sizes beside a straight line's, at the ends of the span
SHARE = 0.6  # size of the remainder beside what the beliefs leave open at the ends of the span


@dataclass(frozen=True)
class Coordinate:
    """A setting on a scale where its span runs from -1 to 1.

    Parameters
    ----------
    name : str
    low, high : float
        Ends of the span, in the factor's unit.
    """

    name: str
    low: float
    high: float

    def __call__(self, table):
        """Coordinates of each row of a settings table."""
        values = np.asarray(table[self.name], float)
        if self.name in BY_RATIO:
            return 2 * log_ratio(values, self.low) / log_ratio(self.high, self.low) - 1
        return 2 * (values - self.low) / (self.high - self.low) - 1


@dataclass(frozen=True)
class Column:
    """One column of the remainder: Legendre polynomials of the coordinates, times a weight."""

    coordinates: tuple
    degrees: tuple
    weight: float

    def __call__(self, table):
        found = self.weight
        for coordinate, degree in zip(self.coordinates, self.degrees, strict=True):
            found = found * np.polynomial.legendre.Legendre.basis(degree)(np.clip(coordinate(table), -1.5, 1.5))
        return found


def remainder_terms(study, believed):
    """The terms of the remainder for one reading: tuple of `Term`.

    Parameters
    ----------
    study : Study
    believed : ReadingBeliefs
    """
    used = {name for term in believed.terms for name in term.factors}
    found = [_coordinate(factor) for factor in study.factors if factor.name in used]
    coordinates = [coordinate for coordinate in found if coordinate is not None]
    words = {factor.name: factor.words for factor in study.factors}
    terms = []
    for one in coordinates:
        yes = study.factor(one.name).kind == "yes/no"
        degrees = ((1, 1.0),) if yes else ((1, 1.0), (2, BEND), (3, TWIST))
        for degree, weight in degrees:
            column = Column((one,), (degree,), weight)
            terms.append(Term(f"remainder {one.name} {degree}", words[one.name], (one.name,), column))
    for one, other in combinations(coordinates, 2):
        column = Column((one, other), (1, 1), PAIR)
        said = f"{words[one.name]} with {words[other.name]}"
        terms.append(Term(f"remainder {one.name} {other.name}", said, (one.name, other.name), column))
    return tuple(terms)


def _coordinate(factor):
    if factor.kind == "yes/no":
        return Coordinate(factor.name, 0.0, 1.0)
    low, high = SPANS.get(factor.name, factor.span or (None, None))
    if factor.kind == "text" or low is None or not high > low:
        return None
    return Coordinate(factor.name, float(low), float(high))


SPANS = {"room_temperature": (12.0, 30.0), "humidity": (30.0, 80.0)}  # met, not chosen: no span of their own


def remainder_scale(terms, believed):
    """Half-normal scale of the belief about the remainder's size."""
    open_ends = []
    coordinates = {term.column.coordinates[0] for term in terms if len(term.factors) == 1}
    ends = {c.name: np.array([c.low, c.high]) for c in coordinates}
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        if len(term.factors) == 1 and term.factors[0] in ends and term.name != "level":
            column = np.asarray(term.column({term.factors[0]: ends[term.factors[0]]}), float)
            open_ends.append(belief.sd * np.ptp(column) / 2)
    return SHARE * float(np.sqrt(np.mean(np.square(open_ends)))) if open_ends else SHARE


def folded(posterior, believed, terms, scale):
    """Posterior and beliefs with the remainder's columns among the coefficients.

    Returns
    -------
    Posterior, ReadingBeliefs
    """
    extra = posterior.group_effects["smooth"]
    coefficients = np.hstack([posterior.coefficients, extra])
    spread = {name: value for name, value in posterior.group_spread.items() if name != "smooth"}
    effects = {name: value for name, value in posterior.group_effects.items() if name != "smooth"}
    levels = {name: value for name, value in posterior.group_levels.items() if name != "smooth"}
    beliefs = believed.beliefs + (Belief(0.0, scale, SOURCE),) * len(terms)
    return (
        replace(posterior, coefficients=coefficients, group_spread=spread, group_effects=effects, group_levels=levels),
        replace(believed, terms=believed.terms + terms, beliefs=beliefs, left_over=len(terms)),
    )
