"""The likelihood and beliefs that one reading's model is made of, before any draw."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.laplace import LOG_2PI
from testpour.models.beliefs import ReadingBeliefs
from testpour.models.log_rows import groups_of, labels_of
from testpour.models.remainder import remainder_scale, remainder_terms, seen_directions
from testpour.models.scales import latent_ends
from testpour.models.terms import Term, design

if TYPE_CHECKING:
    from testpour.columns import Reading
    from testpour.likelihood.climb import Optimum
    from testpour.likelihood.scaling import Scale
    from testpour.study import Study


def model_of(
    study: Study, reading: Reading, believed: ReadingBeliefs, rows: pd.DataFrame, remainder: bool = True
) -> IntervalModel:
    """The `IntervalModel` of `reading` on `rows` (see `rows_of`), beliefs included, and the remainder where wanted."""
    return model_on(reading, *laid_out(study, believed, rows, remainder), latent_ends(reading, rows), labels_of(rows))


def model_on(
    reading: Reading, believed: ReadingBeliefs, terms: Sequence[Term], columns: np.ndarray, ends: tuple[np.ndarray, np.ndarray],
    labels: dict[str, np.ndarray]
) -> IntervalModel:
    """The same of rows as they are `laid_out`, with their `latent_ends` and the labels of what may share an error (see `labels_of`)."""
    groups, foreseen = groups_of(labels), [term.name for term in believed.terms]
    rest = columns[:, len(foreseen) :]  # the remainder's, in the directions that the rows tell of
    return IntervalModel(
        *ends,
        pd.DataFrame(columns[:, : len(foreseen)], columns=foreseen),
        groups=groups,
        belief=(believed.mean, believed.sd),
        group_beliefs={name: believed.scatter[name] for name in groups},
        smooth=(rest @ seen_directions(rest), remainder_scale(terms, believed)) if terms else None,
        **scale_options(reading, believed),
    )


def laid_out(
    study: Study, believed: ReadingBeliefs, rows: pd.DataFrame, remainder: bool = True
) -> tuple[ReadingBeliefs, tuple[Term, ...], np.ndarray]:
    """What is foreseen, the remainder's terms where it is wanted, and the columns (n, p + q) of both at the rows."""
    believed = believed.without_remainder()
    terms = remainder_terms(study, believed) if remainder else ()
    return believed, terms, design((*believed.terms, *terms), rows)


def log_evidence(scale: Scale, top: Optimum, spreads: int) -> float:
    """Log of the chance (density) that a model with proper beliefs gives to its rows.

    By Laplace's approximation about the `top` of what is left when all that is nearly normal is integrated out, as if
    worked out in the rows' own unit and not on the `scale`. `spreads` is how many of its unknowns are standard deviations.
    """
    around = len(top.at) * LOG_2PI / 2 - np.linalg.slogdet(top.curvature)[1] / 2
    return float(top.value + around + scale.log_volume + spreads * np.log(scale.unit))


def scale_options(reading: Reading, believed: ReadingBeliefs) -> dict[str, Any]:
    """What an `IntervalModel` must know of the reading's scale: cut-points, or the scatter of one reading."""
    if not reading.grades:
        return {"sd_belief": believed.scatter["reading"]}
    cuts = believed.cuts
    assert cuts is not None, "a graded reading has a belief about its cut-points"
    steps = cuts.width * np.arange(len(reading.grades) - 1)
    return {"grades": len(reading.grades), "cut_belief": (cuts.mean + steps, np.full(len(steps), cuts.own_sd))}
