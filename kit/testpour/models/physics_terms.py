"""Heat and cure as terms of a reading's model, so that the log need only teach what physics leaves over.

The peak that the lot's likeliest numbers give enters with a coefficient of about one. The directions in
which those numbers are still unsure enter as further terms, each worth one standard deviation: a straight
line through the likeliest lot, so that the usual machinery carries the doubt along. Plain terms stay, with
narrower beliefs about nothing being left over.
"""

from dataclasses import dataclass, replace

import numpy as np

from testpour.cure.atlas import rise_of
from testpour.cure.lots import lots_at
from testpour.models.beliefs import Belief
from testpour.models.physics import NEEDS, PEAK, peak_latent, settings_of
from testpour.models.terms import Term

DIRECTIONS = 3
TURN = 0.5  # standard deviations over which a direction's slope is taken
SOURCE = "heat and cure followed through a slab; see cure/resin.toml and cure/lot.toml"
LEFT = {"level": 0.1, "catalyst": 0.12, "warmth": 6.0, "thickness": 0.15}  # sd of what physics leaves over


@dataclass(frozen=True)
class PeakColumn:
    """Latent peak at a place of the lot, or its slope along a direction where one is given."""

    place: tuple
    direction: tuple = ()

    def __call__(self, table):
        settings = settings_of(table)
        if not self.direction:
            return peak_latent(rise_of(lots_at(self.place), *settings))[0]
        step = TURN * np.array(self.direction)
        found = peak_latent(rise_of(lots_at([np.add(self.place, step), np.subtract(self.place, step)]), *settings))
        return (found[0] - found[1]) / (2 * TURN)


def with_physics(study, reading, believed, lot):
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
    if reading.name != PEAK or not set(NEEDS) <= {factor.name for factor in study.factors}:
        return believed
    terms, beliefs = [_term("physics", "heat and cure", PeakColumn(tuple(lot.place)))], [Belief(1.0, 0.05, SOURCE)]
    directions, middles = _directions(study, lot)
    for k, (direction, middle) in enumerate(zip(directions, middles, strict=True), start=1):
        terms.append(_term(f"lot_{k}", "the lot's own speed and heat", PeakColumn(tuple(lot.place), tuple(direction))))
        beliefs.append(Belief(float(middle), 1.0, SOURCE))
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        terms.append(term)
        left = LEFT.get(term.name)
        beliefs.append(belief if left is None else Belief(0.0, left, SOURCE, belief.confidence))
    return replace(believed, terms=tuple(terms), beliefs=tuple(beliefs))


def _term(name, words, column):
    return Term(name, words, NEEDS, column)


def _directions(study, lot):
    """The directions of the lot's doubt that move the peak most, and where belief sits along each."""
    place, spread = lot.by_times
    root = np.linalg.cholesky(spread + 1e-9 * np.eye(len(place)))
    table = _spread_out(study)
    slopes = np.stack([PeakColumn(tuple(lot.place), tuple(step))(table) for step in root.T], axis=1)
    turn = np.linalg.svd(slopes, full_matrices=False)[2][:DIRECTIONS]
    middles = turn @ np.linalg.solve(root, place - lot.place)
    return turn @ root.T, middles


def _spread_out(study):
    """Settings all over the study's span, as a table physics can read."""
    ends = [study.factor(name).span or (study.factor(name).low, study.factor(name).high) for name in NEEDS]
    grid = np.meshgrid(*(np.linspace(*end, 5) for end in ends))
    return dict(zip(NEEDS, (axis.ravel() for axis in grid), strict=True))
