"""The parts of one reading's model, before any draw: its rows of the log, the groups that share an error, likelihood and beliefs."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.units import show
from testpour.common.wording import count
from testpour.likelihood.climb import Optimum
from testpour.likelihood.density import LOG_2PI, Scale
from testpour.likelihood.interval import IntervalModel
from testpour.logbook.castings import Castings
from testpour.models.beliefs import ReadingBeliefs, beliefs_for
from testpour.models.remainder import learnable_directions, remainder_scale, remainder_terms
from testpour.models.scales import latent_ends
from testpour.models.terms import Term, design
from testpour.study.columns import Reading
from testpour.study.study import Study

FINEST = 3  # most significant digits that a person reads
SHARED = ("resin_lot", "catalyst_lot", "by")  # enter the model once the log holds two of them


def rows_of(castings: Castings, reading: Reading) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The readings a model rests on, each with the settings of its pour, and the assumptions made, in sentences.

    One row per reading: pour, session, settings, age, low and high in the reading's unit. One sentence for each setting filled
    with its usual value, and for readings taken as rounded.
    """
    readings = castings.readings[castings.readings["reading"] == reading.name]
    rows = readings.merge(castings.pours, left_on="pour", right_index=True, suffixes=("", "_of_pour"))
    rows = rows.reset_index(drop=True)
    assumed = []
    for factor in castings.study.factors:
        if factor.kind == "text":
            rows[factor.name] = rows[factor.name].fillna("").astype(str)
            continue
        blank = rows[factor.name].isna()
        if blank.any():
            pours = rows.loc[blank, "pour"].nunique()
            missing = f"{factor.words.capitalize()} was not written down for {count(pours, 'pour')}"
            assumed.append(f"{missing}; {factor.show(factor.usual)} is assumed.")
            rows.loc[blank, factor.name] = factor.usual
    if reading.ages:
        rows["age"] = rows["age"].fillna(reading.ages[0])
    rows, noughts = _with_noughts(reading, rows)
    rows, rounding = _with_rounding(castings.study, reading, rows)
    return rows, (*noughts, *rounding, *assumed)


def _with_noughts(reading, rows):
    """The rows, with a reading of 0 on a log scale taken as less than the least read above 0, and a sentence that says so."""
    noughts, least = (rows["low"] == 0) & (rows["high"] == 0), rows.loc[rows["low"] > 0, "low"].min()
    if reading.scale != "log" or reading.resolution or not noughts.any() or np.isnan(least):
        return rows, []
    said = f"Readings of 0 of {reading.words} are taken as less than {reading.show(least)}, the least read above 0."
    return rows.assign(high=rows["high"].mask(noughts, least)), [said]


def _with_rounding(study, reading, rows):
    """The rows, with exact readings that show no scatter taken as rounded to the last place written, and a sentence that says so.

    Repeats that are all equal, or values that the settings explain to the last digit, show how finely the scale is read,
    not that castings do not differ: taken as exact they would have no scatter, and their likelihood no maximum
    (Heitjan 1989, Statist. Sci. 4, 164, on rounded data; citation from memory). More than three digits come from a
    calculation, not a watch.
    """
    exact = (rows["low"] == rows["high"]) & rows["low"].notna()
    if reading.grades or reading.resolution or not exact.any() or not _without_scatter(study, reading, rows[exact]):
        return rows, []
    values = rows.loc[exact, "low"]
    digits = max(len(f"{value:.9f}".rstrip("0").partition(".")[2]) for value in values)
    whole = int(np.floor(np.log10(max(values.abs().max(), 1e-9))))
    half = 10.0 ** -min(digits, FINEST - 1 - whole) / 2
    which = f"Equal values of {reading.words}" if values.duplicated().any() else f"The values of {reading.words} show no scatter and"
    sentence = f"{which} are taken as read to {show(2 * half, reading.unit)}."
    return rows.assign(low=rows["low"].where(~exact, rows["low"] - half), high=rows["high"].where(~exact, rows["high"] + half)), [sentence]


def counted(reading: Reading, rows: pd.DataFrame, assumed: tuple[str, ...]) -> tuple[Reading, tuple[str, ...]]:
    """The reading, in steps of 1 if it has no unit and every value is whole, as for a count or a score; that is then `assumed` too."""
    exact = rows.loc[rows["low"] == rows["high"], "low"]
    if reading.scale != "plain" or reading.unit or reading.resolution or len(exact) < 2 or (exact % 1).any():
        return reading, assumed
    return replace(reading, resolution=1.0), (f"{reading.words.capitalize()} is taken as read in whole numbers.", *assumed)


def _without_scatter(study, reading, rows):
    """Whether repeats never differ, or exact values follow the expected shape, with or without group effects, to the last digit."""
    low, high = latent_ends(reading, rows)
    rows, values = rows[low == high], low[low == high]
    made = [*(factor.name for factor in study.factors), "session", "age"]
    alike = [_indicators(rows.groupby(keys, dropna=False).ngroup().to_numpy()) for keys in (made, ["pour", "age"])]
    shape = design(beliefs_for(study, reading).terms, rows)
    steps = [_indicators(labels) for labels in groups_of(labels_of(rows)).values()]
    return any(_explained_exactly(columns, values) for columns in (*alike, shape, np.hstack([shape, *steps])))


def _indicators(labels):
    """One column per label, 1 where a row has it."""
    return (labels[:, None] == np.unique(labels)).astype(float)


def _explained_exactly(columns, values):
    """Whether some combination of the columns gives every value, with more values than columns could always fit."""
    solution, _, rank, _ = np.linalg.lstsq(columns, values)
    return rank < len(values) and np.allclose(columns @ solution, values, rtol=1e-9, atol=1e-9)


def labels_of(rows: pd.DataFrame) -> dict[str, np.ndarray]:
    """Labels of what may share an error, as plain text: sessions, lots, readers and pours; "" if blank."""
    values = {name: rows[name].to_numpy(object) for name in ("session", *SHARED, "pour") if name in rows}
    return {name: np.array(["" if pd.isna(v) else str(v) for v in column], dtype=object) for name, column in values.items()}


def groups_of(labels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The labels that share an error: sessions always, lots and readers if there are two, pours if one was read twice."""
    pours = labels["pour"]
    grouped = {"session": True, **{name: len(set(labels.get(name, ())) - {""}) > 1 for name in SHARED}, "pour": len(set(pours)) < len(pours)}
    return {name: labels[name] for name, keep in grouped.items() if keep}


def model_of(study: Study, reading: Reading, believed: ReadingBeliefs, rows: pd.DataFrame, remainder: bool = True) -> IntervalModel:
    """The `IntervalModel` of `reading` on `rows` (see `rows_of`), beliefs included, and the remainder where wanted."""
    return model_from_columns(reading, *model_columns(study, believed, rows, remainder), latent_ends(reading, rows), labels_of(rows))


def model_from_columns(
    reading: Reading, believed: ReadingBeliefs, terms: Sequence[Term], columns: np.ndarray, ends: tuple[np.ndarray, np.ndarray],
    labels: dict[str, np.ndarray]
) -> IntervalModel:
    """The same from `model_columns`, `latent_ends` and labels (see `labels_of`)."""
    groups, foreseen = groups_of(labels), [term.name for term in believed.terms]
    return IntervalModel(
        *ends,
        pd.DataFrame(columns[:, : len(foreseen)], columns=foreseen),
        groups=groups,
        belief=(believed.mean, believed.sd),
        group_beliefs={name: believed.scatter[name] for name in groups},
        smooth=smooth_remainder(believed, terms, columns),
        **scale_options(reading, believed),
    )


def smooth_remainder(believed: ReadingBeliefs, terms: Sequence[Term], columns: np.ndarray) -> dict[str, tuple[np.ndarray, float]]:
    """The remainder, the last of the `model_columns`, as an `IntervalModel` takes it: in the directions that the rows can learn."""
    rest = columns[:, len(believed.terms) :]
    return {"smooth": (rest @ learnable_directions(rest), remainder_scale(terms, believed))} if terms else {}


def model_columns(
    study: Study, believed: ReadingBeliefs, rows: pd.DataFrame, remainder: bool = True
) -> tuple[ReadingBeliefs, tuple[Term, ...], np.ndarray]:
    """The expected terms, the remainder's terms if wanted, and the columns (n, p + q) of both at the rows."""
    believed = believed.without_remainder()
    terms = remainder_terms(study, believed) if remainder else ()
    return believed, terms, design((*believed.terms, *terms), rows)


def log_evidence(scale: Scale, top: Optimum, spreads: int) -> float:
    """Log marginal likelihood of a model with proper priors.

    By Laplace's approximation about the `top` of the density left after the nearly normal unknowns are integrated out, in the
    rows' own unit and not on the `scale`. `spreads` is how many of its unknowns are standard deviations.
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
