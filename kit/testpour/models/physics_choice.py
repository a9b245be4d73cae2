"""Whether heat and cure or plain terms tell more of a log's peaks: by how likely each made the log.

The weight of evidence is the log ratio of the chances that either model, beliefs and all, gave to the
readings that came (Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773), by Laplace's approximation. A resin
that does not behave as a slab of `resin.toml` would is so left to the plain terms.

What it buys on practice resins that are cast: the error of the peak at thicknesses not poured falls to less
than half at twelve pours (`tests/benchmarks/test_physics_pays.py`), and the next pours find good settings
sooner. Share of the best possible chance after 4, 8, 12, 16, 20 and 24 pours, sixteen resins, seeds 620 to 635:

    with     0.891 0.949 0.962 0.961 0.969 0.974
    without  0.834 0.878 0.900 0.920 0.935 0.956

Hardness and tack are not told how far the casting has cured: that took a ninth off the error of hardness at twelve
pours and nothing off the chances of either, because a day's hardness scatters by more than the plain terms miss.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.likelihood.laplace import LOG_2PI
from testpour.likelihood.optimum import summit
from testpour.models.physics import NEEDS, PEAK, learn_lot
from testpour.models.physics_terms import with_physics

if TYPE_CHECKING:
    import pandas as pd

    from testpour.columns import Reading
    from testpour.likelihood.interval import IntervalModel
    from testpour.logbook.castings import Castings
    from testpour.models.beliefs import ReadingBeliefs

EVEN = -1.0  # log ratio from which heat and cure are taken: held three times as likely before the log
FEWEST = 3  # telling peaks below which a log cannot choose
SAID = "Heat and cure followed through a slab enter its model: they tell this log's peaks better than plain terms."


def chosen(
    castings: Castings, reading: Reading, believed: ReadingBeliefs, rows: pd.DataFrame,
    build: Callable[..., IntervalModel], *, beliefs: Mapping[str, Any] | None = None
) -> tuple[ReadingBeliefs, tuple[str, ...], IntervalModel | None]:
    """Beliefs of a reading with heat and cure among its terms, where that tells more of the log.

    Parameters
    ----------
    castings : Castings
    reading : Reading
    believed : ReadingBeliefs
        With plain terms.
    rows : DataFrame
        The reading's rows.
    build : callable
        ``build(reading, believed, rows)`` gives the `IntervalModel`.
    beliefs : dict, optional
        As for `fit_castings`.

    Returns
    -------
    ReadingBeliefs
    tuple of str
        What to say of it: empty where the plain terms stay.
    IntervalModel or None
        The model of these beliefs, where it had to be built to choose.
    """
    study = castings.study
    if reading.name != PEAK or not set(NEEDS) <= {factor.name for factor in study.factors}:
        return believed, (), None
    plain = build(reading, believed, rows)
    if plain.informative.sum() < FEWEST:
        return believed, (), plain
    other = with_physics(study, believed, learn_lot(castings, beliefs))
    cured = build(reading, other, rows)
    if _log_evidence(cured) - _log_evidence(plain) > EVEN:
        return other, (SAID,), cured
    return believed, (), plain


def _log_evidence(model: IntervalModel) -> float:
    """Log of the chance (density) that a model with proper beliefs gives to its rows.

    By Laplace's approximation about the mode of the group standard deviations and cut-points.
    """
    _, scale, top = summit(model)
    around = len(top.at) * LOG_2PI / 2 - np.linalg.slogdet(top.curvature)[1] / 2
    return float(top.value + around + scale.log_volume + len(model.groups) * np.log(scale.unit))
