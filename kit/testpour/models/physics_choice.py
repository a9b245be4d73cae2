"""Heat and cure as terms of the peak's model, used if they predict a log's peaks better than plain terms.

The peak at the lot's posterior mode enters as one term. The directions in which the lot is still uncertain
enter as further terms, each scaled to one standard deviation: the model linearised about the mode, so that the
usual machinery carries the uncertainty. Plain terms stay, with narrow beliefs about zero for what is left over.
The choice is by the Bayes factor: the log ratio of the chances that the two models, beliefs included, gave to
the readings (Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773), by Laplace's approximation. So a resin that
does not behave like a slab of `resin.toml` is left to the plain terms.
What it gains on physical practice resins: the error of the peak at thicknesses not poured falls to less
than half at twelve pours (`tests/benchmarks/test_physics_pays.py`), and the next pours find good settings
sooner. Share of the best possible chance after 4, 8, 12, 16, 20 and 24 pours, sixteen resins, seeds 620 to 635:

    with     0.891 0.949 0.962 0.961 0.969 0.974
    without  0.834 0.878 0.900 0.920 0.935 0.956

Hardness and tack do not use the computed cure: that took a ninth off the error of hardness at twelve
pours and nothing off the chances of either, because a day's hardness scatters by more than the plain terms miss.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.optimum import optimum_of
from testpour.logbook.castings import Castings
from testpour.models.beliefs import Belief, ReadingBeliefs
from testpour.models.physics import NEEDS, PEAK, LotFit, learn_lot, lot_settings, peak_latent
from testpour.models.reading_model import log_evidence, model_of
from testpour.models.terms import Term
from testpour.physics.atlas import rise_of
from testpour.physics.lots import lots_at
from testpour.study.columns import Reading
from testpour.study.study import Study

LEAST_LOG_RATIO = -1.0  # log Bayes factor above which heat and cure are used: a priori they are three times as likely
FEWEST = 3  # informative peaks below which a log cannot choose
SENTENCE = "Heat and cure computed for a slab are in its model: they predict this log's peaks better than plain terms."
DIRECTIONS = 3
TURN = 0.5  # standard deviations over which a direction's slope is taken
SOURCE = "heat and cure computed for a slab; see physics/resin.toml and physics/lot.toml"
RESIDUAL_SD = {"level": 0.1, "catalyst": 0.12, "warmth": 6.0, "thickness": 0.15}  # sd of the belief about what physics does not explain


def choose_terms(
    castings: Castings, reading: Reading, believed: ReadingBeliefs, rows: pd.DataFrame, remainder: bool,
    beliefs: Mapping[str, Any] | None = None
) -> tuple[ReadingBeliefs, tuple[str, ...], IntervalModel | None]:
    """Beliefs of a reading with heat and cure among its terms, if the log supports that, else `believed`, which has plain terms.

    `remainder` and `beliefs` are as for `fit_castings`. Also returns what to say about the choice, if anything, and the model
    of these beliefs if it had to be built to choose.
    """
    study = castings.study
    if reading.name != PEAK or not set(NEEDS) <= {factor.name for factor in study.factors}:
        return believed, (), None
    plain = model_of(study, reading, believed, rows, remainder)
    if plain.informative.sum() < FEWEST:
        return believed, (), plain
    other = _with_physics(study, believed, learn_lot(castings, beliefs))
    cured = model_of(study, reading, other, rows, remainder)
    of_cured, of_plain = (log_evidence(*optimum_of(model)[1:], len(model.groups)) for model in (cured, plain))
    if of_cured - of_plain > LEAST_LOG_RATIO:
        return other, (SENTENCE,), cured
    return believed, (), plain


@dataclass(frozen=True)
class PeakColumn:
    """The latent peak of one lot, or its slope along a direction if one is given."""

    place: tuple[float, ...]
    direction: tuple[float, ...] = ()

    def __call__(self, table):
        if not self.direction:
            return self._peaks(self.place, table)[0]
        step = TURN * np.array(self.direction)
        peaks = self._peaks([np.add(self.place, step), np.subtract(self.place, step)], table)
        return (peaks[0] - peaks[1]) / (2 * TURN)

    def _peaks(self, places, table):
        return peak_latent(rise_of(lots_at(places), *lot_settings(table)))


def _with_physics(study: Study, believed: ReadingBeliefs, lot: LotFit) -> ReadingBeliefs:
    """Beliefs of the peak with heat and cure among its terms, in a study with the settings of `NEEDS`.

    The peaks themselves are among the rows, so the prior uncertainty is that left by the times alone.
    """
    peak = PeakColumn(tuple(lot.place))
    directions, middles = _uncertain_directions(study, peak, lot.by_times)
    terms, beliefs = [Term("physics", "heat and cure", NEEDS, peak)], [Belief(1.0, 0.05, SOURCE)]
    for k, (direction, middle) in enumerate(zip(directions, middles, strict=True), start=1):
        terms.append(Term(f"lot_{k}", "the lot's own speed and heat", NEEDS, replace(peak, direction=tuple(direction))))
        beliefs.append(Belief(float(middle), 1.0, SOURCE))
    for term, belief in zip(believed.terms, believed.beliefs, strict=True):
        terms.append(term)
        left = RESIDUAL_SD.get(term.name)
        beliefs.append(belief if left is None else Belief(0.0, left, SOURCE, belief.confidence))
    return replace(believed, terms=tuple(terms), beliefs=tuple(beliefs), before_physics=believed)


def _uncertain_directions(study, column, doubt):
    """The directions of the lot's doubt that move a column most, and where belief sits along each."""
    place, covariance = doubt
    root = np.linalg.cholesky(covariance + 1e-9 * np.eye(len(place)))
    table = _grid_of_settings(study)
    slopes = np.stack([replace(column, direction=tuple(step))(table) for step in root.T], axis=1)
    turn = np.linalg.svd(slopes, full_matrices=False)[2][:DIRECTIONS]
    middles = turn @ np.linalg.solve(root, place - column.place)
    return turn @ root.T, middles


def _grid_of_settings(study):
    """Settings all over the study's span, as a table physics can read."""
    ends = [study.factor(name).span or (study.factor(name).low, study.factor(name).high) for name in NEEDS]
    grid = np.meshgrid(*(np.linspace(*end, 5) for end in ends))
    return dict(zip(NEEDS, (axis.ravel() for axis in grid), strict=True))
