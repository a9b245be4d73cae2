"""Whether heat and cure or plain terms tell more of a log's peaks: by how likely each made the log.

The weight of evidence is the log ratio of the chances that either model, beliefs and all, gave to the
readings that came (Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773), by Laplace's approximation. A resin
that does not behave as a slab of `resin.toml` would is so left to the plain terms.
"""

import numpy as np

from testpour.models.laplace import LOG_2PI, Marginal
from testpour.models.optimum import reach_top
from testpour.models.physics import PEAK, learn_lot
from testpour.models.physics_terms import NEEDS, with_physics
from testpour.models.scaling import scaled_problem

EVEN = -1.0  # log ratio from which heat and cure are taken: held three times as likely before the log
FEWEST = 3  # telling peaks below which a log cannot choose
SAID = "Heat and cure followed through a slab enter its model: they tell this log's peaks better than plain terms."
ASKED = "Heat and cure followed through a slab enter its model, as asked."


def chosen(castings, reading, believed, rows, build, *, beliefs=None, physics=None):
    """Beliefs of a reading with heat and cure among its terms, where that is asked for or tells more.

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
    physics : bool, optional
        True always, False never, None where the log speaks for it.

    Returns
    -------
    ReadingBeliefs
    tuple of str
        What to say of it: empty where the plain terms stay.
    """
    study = castings.study
    able = reading.name == PEAK and set(NEEDS) <= {factor.name for factor in study.factors}
    if physics is False or not able:
        return believed, ()
    if physics is None and build(reading, believed, rows).informative.sum() < FEWEST:
        return believed, ()
    other = with_physics(study, reading, believed, learn_lot(castings, beliefs))
    if physics:
        return other, (ASKED,)
    weight = log_evidence(build(reading, other, rows)) - log_evidence(build(reading, believed, rows))
    return (other, (SAID,)) if weight > EVEN else (believed, ())


def log_evidence(model):
    """Log of the chance (density) that an `IntervalModel` with proper beliefs gives to its rows."""
    problem, scale, start = scaled_problem(model, sampling=True)
    top = reach_top(Marginal(problem, restricted=True), start[problem.design.shape[1] :])
    around = len(top.at) * LOG_2PI / 2 - np.linalg.slogdet(top.curvature)[1] / 2
    return float(top.value + around + scale.log_volume + len(problem.groups) * np.log(scale.unit))
