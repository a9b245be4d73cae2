"""Heat and cure as terms of the peak's model, so that the log need only teach what physics leaves over.

The peak that the lot's likeliest numbers give enters as one term. The directions in which those numbers are still
unsure enter as further terms, each worth one standard deviation: a straight line through the likeliest lot,
so that the usual machinery carries the doubt along. Plain terms stay, with narrower beliefs about nothing
being left over.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from testpour.models.beliefs import Belief, ReadingBeliefs
from testpour.models.physics import NEEDS, LotFit, peak_latent, settings_of
from testpour.models.terms import Term
from testpour.physics.atlas import rise_of
from testpour.physics.lots import lots_at

if TYPE_CHECKING:
    from testpour.study import Study

DIRECTIONS = 3
TURN = 0.5  # standard deviations over which a direction's slope is taken
SOURCE = "heat and cure followed through a slab; see physics/resin.toml and physics/lot.toml"
LEFT = {"level": 0.1, "catalyst": 0.12, "warmth": 6.0, "thickness": 0.15}  # sd of what physics leaves over


@dataclass(frozen=True)
class PeakColumn:
    """The latent peak at a place of the lot, or its slope along a direction where one is given."""

    place: tuple[float, ...]
    direction: tuple[float, ...] = ()

    def __call__(self, table):
        if not self.direction:
            return self._found(self.place, table)[0]
        step = TURN * np.array(self.direction)
        found = self._found([np.add(self.place, step), np.subtract(self.place, step)], table)
        return (found[0] - found[1]) / (2 * TURN)

    def _found(self, places, table):
        return peak_latent(rise_of(lots_at(places), *settings_of(table)))


def with_physics(study: Study, believed: ReadingBeliefs, lot: LotFit) -> ReadingBeliefs:
    """Beliefs of the peak with heat and cure among its terms.

    The peaks themselves stand among the rows, so the doubt is what the times alone leave.

    Parameters
    ----------
    study : Study
        With the settings of `NEEDS`.
    believed : ReadingBeliefs
    lot : LotFit

    Returns
    -------
    ReadingBeliefs
    """
    peak = PeakColumn(tuple(lot.place))
    directions, middles = _directions(study, peak, lot.by_times)
    terms, beliefs = [_term("physics", "heat and cure", peak)], [Belief(1.0, 0.05, SOURCE)]
    for k, (direction, middle) in enumerate(zip(directions, middles, strict=True), start=1):
        terms.append(_term(f"lot_{k}", "the lot's own speed and heat", replace(peak, direction=tuple(direction))))
        beliefs.append(Belief(float(middle), 1.0, SOURCE))
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        terms.append(term)
        left = LEFT.get(term.name)
        beliefs.append(belief if left is None else Belief(0.0, left, SOURCE, belief.confidence))
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
