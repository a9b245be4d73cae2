"""Heat and cure as terms of a reading's model, so that the log need only teach what physics leaves over.

What the lot's likeliest numbers give enters as one term. The directions in which those numbers are still
unsure enter as further terms, each worth one standard deviation: a straight line through the likeliest lot,
so that the usual machinery carries the doubt along. Plain terms stay, with narrower beliefs about nothing
being left over.

The peak is given the peak that physics finds. Hardness and tack can be given how far the casting has cured
next day; that is done only where it is asked for, and `physics_choice` says why.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from testpour.models.beliefs import Belief, ReadingBeliefs
from testpour.models.physics import NEEDS, PEAK, LotFit, peak_latent, settings_of
from testpour.models.terms import REFERENCE, Term
from testpour.physics.atlas import look_up, rise_of
from testpour.physics.lots import Lots, lots_at

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading
    from testpour.study import Study

DIRECTIONS = 3
TURN = 0.5  # standard deviations over which a direction's slope is taken
SOURCE = "heat and cure followed through a slab; see physics/resin.toml and physics/lot.toml"
LEFT = {"level": 0.1, "catalyst": 0.12, "warmth": 6.0, "thickness": 0.15}  # sd of what physics leaves over
CURED = {"hardness": ("core_conversion", "face_conversion"), "tack": ("face_conversion",)}  # what each minds
FURTHER = {  # what one tenth more of cure does, on the reading's own scale
    "hardness": Belief(0.3, 0.3, "a casting that has cured further is harder: common practice, no source"),
    "tack": Belief(-1.0, 1.0, "a face that has cured further is drier: common practice, no source"),
}
TENTH = 0.1
ABOUT_CURE = ("catalyst", "warmth", "thickness", "thickness_x_warmth")  # plain terms that stand for how far it cures
UNSURE = 0.7  # share of their belief that stays beside cure itself


@dataclass(frozen=True)
class PhysicsColumn:
    """What physics finds at a place of the lot, or its slope along a direction where one is given."""

    place: tuple[float, ...]
    direction: tuple[float, ...] = ()

    def __call__(self, table):
        if not self.direction:
            return self.found(lots_at(self.place), table)[0]
        step = TURN * np.array(self.direction)
        found = self.found(lots_at([np.add(self.place, step), np.subtract(self.place, step)]), table)
        return (found[0] - found[1]) / (2 * TURN)


@dataclass(frozen=True)
class PeakColumn(PhysicsColumn):
    """The latent peak."""

    def found(self, lots: Lots, table: pd.DataFrame) -> np.ndarray:
        """The peak that heat and cure give, on its latent scale.

        Parameters
        ----------
        lots : Lots
        table : DataFrame
            n rows, complete, in the factors' units.

        Returns
        -------
        array, shape (lots, n)
        """
        return peak_latent(rise_of(lots, *settings_of(table)))


@dataclass(frozen=True)
class CureColumn(PhysicsColumn):
    """Tenths of cure next day beyond that of the reference settings."""

    parts: tuple[str, ...] = ()

    def found(self, lots: Lots, table: pd.DataFrame) -> np.ndarray:
        """The cure that heat and time give beyond that at the reference settings, in tenths of full cure.

        Parameters
        ----------
        lots : Lots
        table : DataFrame
            n rows, complete, in the factors' units.

        Returns
        -------
        array, shape (lots, n)
        """
        reference = {name: np.array([REFERENCE[name]]) for name in NEEDS}
        return (self._cured(lots, table) - self._cured(lots, reference)) / TENTH

    def _cured(self, lots, table):
        outcomes = look_up(lots, *settings_of(table))
        return np.mean([getattr(outcomes, part) for part in self.parts], axis=0)


def with_physics(study: Study, reading: Reading, believed: ReadingBeliefs, lot: LotFit) -> ReadingBeliefs:
    """Beliefs of a reading with heat and cure among its terms.

    Parameters
    ----------
    study : Study
    reading : Reading
    believed : ReadingBeliefs
    lot : LotFit

    Returns
    -------
    ReadingBeliefs
        As given where physics has nothing to say of the reading, or the study lacks a setting it needs.
    """
    if not set(NEEDS) <= {factor.name for factor in study.factors}:
        return believed
    if reading.name == PEAK:
        return _with_peak(study, believed, lot)
    return _with_cure(study, reading, believed, lot) if reading.name in CURED else believed


def _with_peak(study, believed, lot):
    """The peaks themselves stand among the rows, so the doubt is what the times alone leave."""
    directions, middles = _directions(study, PeakColumn(tuple(lot.place)), lot.by_times)
    terms, beliefs = [_term("physics", "heat and cure", PeakColumn(tuple(lot.place)))], [Belief(1.0, 0.05, SOURCE)]
    for k, (direction, middle) in enumerate(zip(directions, middles, strict=True), start=1):
        terms.append(_term(f"lot_{k}", "the lot's own speed and heat", PeakColumn(tuple(lot.place), tuple(direction))))
        beliefs.append(Belief(float(middle), 1.0, SOURCE))
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        terms.append(term)
        left = LEFT.get(term.name)
        beliefs.append(belief if left is None else Belief(0.0, left, SOURCE, belief.confidence))
    return replace(believed, terms=tuple(terms), beliefs=tuple(beliefs), plain=believed)


def _with_cure(study, reading, believed, lot):
    """Hardness and tack have told the lot nothing, so the doubt is all that is left."""
    further = FURTHER[reading.name]
    cure = CureColumn(tuple(lot.place), parts=CURED[reading.name])
    terms, beliefs = [_term("cure", "how far it has cured", cure)], [further]
    for k, direction in enumerate(_directions(study, cure, (lot.place, lot.spread))[0], start=1):
        terms.append(_term(f"lot_{k}", "the lot's own speed and ceiling of cure", replace(cure, direction=tuple(direction))))
        beliefs.append(replace(further, mean=0.0, sd=abs(further.mean), source=SOURCE))
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        terms.append(term)
        share = UNSURE if term.name in ABOUT_CURE else 1.0
        beliefs.append(replace(belief, mean=belief.mean * share, sd=belief.sd * share))
    return replace(believed, terms=tuple(terms), beliefs=tuple(beliefs), plain=believed)


def _term(name, words, column):
    return Term(name, words, NEEDS, column)


def _directions(study, column, doubt):
    """The directions of the lot's doubt that move a column most, and where belief sits along each."""
    place, spread = doubt
    root = np.linalg.cholesky(spread + 1e-9 * np.eye(len(place)))
    table = _spread_out(study)
    slopes = np.stack([replace(column, direction=tuple(step))(table) for step in root.T], axis=1)
    turn = np.linalg.svd(slopes, full_matrices=False)[2][:DIRECTIONS]
    middles = turn @ np.linalg.solve(root, place - column.place)
    return turn @ root.T, middles


def _spread_out(study):
    """Settings all over the study's span, as a table physics can read."""
    ends = [study.factor(name).span or (study.factor(name).low, study.factor(name).high) for name in NEEDS]
    grid = np.meshgrid(*(np.linspace(*end, 5) for end in ends))
    return dict(zip(NEEDS, (axis.ravel() for axis in grid), strict=True))
