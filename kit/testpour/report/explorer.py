"""What a page needs to work out chance and readings by itself: the draws of every fit, and each term at every stop.

A slider stops only at steps worth setting at the bench, so each term of a model is a short table over the stops
of its factors. The page looks terms up and never computes them: a new term of a model needs no change here, and
heat and cure through a slab are as exact as a straight line.
"""

import base64
from typing import Any

import numpy as np
import pandas as pd

from testpour.advice.recommend import Recommendation
from testpour.common.units import unit_words
from testpour.common.wording import age_words, capital
from testpour.likelihood.weights import normal_scores
from testpour.models.chance import UNTOLD
from testpour.models.change import good_grades
from testpour.models.fits import Fits, narrowing
from testpour.models.scales import ADIABATIC_RISE, met_from_to
from testpour.models.terms import design
from testpour.report.advised import Advice, room_words
from testpour.study.caution_rules import rules, side_of, words_of
from testpour.study.columns import Factor

MOST_STOPS = 150  # of one slider
MOST_CELLS = 40_000  # of one term's table: a reading that needs more is left to the kit
UNSTEPPED = 50  # stops of a factor that declares no step
PACKED = 2**16 - 1  # steps between a column's ends: finer than three digits need
LATE = 24.0  # h: age of a reading that has no aim and no age of its own


def explorer(fits: Fits, advice: Advice = ()) -> dict[str, Any] | None:
    """Everything the page's sliders need.

    Recommended settings in `advice` become starting points; anything else in it is ignored. Gives ``factors``, ``choices``
    (indices of factors of which at most one is yes), ``readings``, ``starts``, ``limits`` and ``scores`` (the normal scores
    of `ReadingFit.new_castings`), ready for JSON; None if no setting can be moved.
    """
    used = set().union(*(fit.believed.factors for fit in fits.values()))
    if any(fit.reading.scale == "rise" for fit in fits.values()):
        used.add("room_temperature")
    factors = [f for f in fits.study.numeric if f.name in used]
    stops = {f.name: _stops_of(f, fits.castings.pours.get(f.name)) for f in factors}
    if not any(len(values) > 1 for values in stops.values()):
        return None
    choices = [[place for place, f in enumerate(factors) if f.name in names] for names in fits.study.one_of.values()]
    moved = [_factor(f, stops[f.name], fits.castings.pours.get(f.name)) | {"poured": _range_poured(fits, f)} for f in factors]
    return {
        "factors": moved,
        "choices": choices,
        "readings": [_reading(fits, fit, stops) for fit in fits.values()],
        "starts": list(_starts(advice, stops)),
        "limits": list(_limits({*stops, *fits})),
        "scores": _packed(normal_scores(len(next(iter(fits.values())).posterior))), "untold": UNTOLD,
    }


def _stops_of(factor: Factor, poured: pd.Series) -> np.ndarray:
    """Where a slider stops: the factor's span, widened to what was poured, in steps, ascending.

    A factor with no span that was never varied has one stop, where it was poured.
    """
    poured = pd.Series(dtype=float) if poured is None else poured.dropna()
    if factor.kind == "yes/no":
        return np.array([0.0, 1.0])
    if not factor.span and poured.nunique() < 2:
        return np.array([poured.iloc[0] if len(poured) else factor.usual])
    ends = [*factor.span, *poured]
    low, high = max(min(ends), factor.low), min(max(ends), factor.high)
    step = factor.step or (high - low) / UNSTEPPED
    step *= np.ceil(max((high - low) / step, 1) / MOST_STOPS)
    first = np.floor(low / step + 1e-6) * step if factor.step else low
    values = np.round(first + step * np.arange(int(np.ceil((high - first) / step - 1e-6)) + 1), 9)
    inside = values[(values >= factor.low) & (values <= factor.high)]
    return inside if len(inside) else np.array([low])


def _factor(factor, stops, poured):
    usual = factor.usual if poured is None or poured.dropna().empty else float(poured.dropna().median())
    return {
        "name": factor.name, "words": factor.words, "yes": factor.kind == "yes/no", "unit": unit_words(factor.unit),
        "stops": stops.tolist(), "usual": _nearest(stops, usual),
    }


def _nearest(stops: np.ndarray, value: float) -> int:
    """Place of the stop nearest to `value`."""
    return int(np.abs(stops - value).argmin())


def _reading(fits, fit, stops):
    """One reading: its scale, aim, draws and terms; `left` says why there are none."""
    reading = fit.reading
    aim = next((aim for aim in fits.study.aims if aim.reading == reading.name), None)
    age = fits.study.told_at(reading)
    base = {
        "name": reading.name, "words": reading.words, "unit": unit_words(reading.unit), "scale": reading.scale,
        "grades": list(reading.grades), "age": age, "at": f" at {age_words(age)}" if age else "", "poured": _poured(fit, stops),
        "ends": _ends(fit, aim), "rise": ADIABATIC_RISE, "unread": "" if fit.pours else f"no {reading.words} was read yet",
        "low": reading.low if np.isfinite(reading.low) else None,
        "high": reading.high if np.isfinite(reading.high) else None,
        "aim": _aim(fits.study, reading, aim),
    }
    tables = [_table(term, stops, age or LATE) for term in fit.believed.terms]
    if None in tables:
        return {**base, "left": "This reading depends on too many settings at once for a page; ask the kit for it."}
    cuts = fit.posterior.cuts
    fit_for_chances = fits.calibrated[reading.name]
    off, wrong = fit_for_chances.shape_error
    beside = np.sqrt(fit_for_chances.scatter() ** 2 - wrong)  # rounded as a whole: the difference of two rounded numbers could be negative
    castings, share = _packed(fit.poured.to_numpy()) if fit.poured.size else None, narrowing(reading)
    shape = {"off": _packed(off), "beside": _packed(beside), "near": list(fit.near.items()), "castings": castings, "narrowed": share} if aim else {}
    return {
        **base, "left": "", "terms": tables, "coefficients": _packed(fit.posterior.coefficients),
        "scatter": _packed(fit.scatter()), "cuts": None if cuts is None else _packed(cuts), **shape,
    }


def _table(term, stops, age):
    """A term at every combination of stops of its factors, the last factor fastest; None if there are too many."""
    names = [name for name in term.factors if name in stops]
    cells = int(np.prod([len(stops[name]) for name in names]))
    if cells > MOST_CELLS or not set(term.factors) <= {*stops, "age"}:
        return None
    grid = np.meshgrid(*(stops[name] for name in names), indexing="ij")
    table = {name: values.ravel() for name, values in zip(names, grid, strict=True)}
    return {"factors": names, "values": _packed(design([term], {**table, "age": np.full(cells, age)}))}


def _poured(fit, stops):
    """The range of each setting over the pours of a reading: name to a range as `_range` gives it."""
    used = [f for f in fit.study.factors if f.name in fit.believed.factors and f.name in stops]
    return {factor.name: _range(factor, fit.rows[factor.name]) for factor in used if len(fit.rows)}


def _range_poured(fits, factor):
    """The range of a setting over all pours; None if nothing was poured."""
    read = [fit.rows[factor.name] for fit in fits.values() if factor.name in fit.rows]  # blanks filled with the usual value
    known = fits.castings.pours[factor.name] if factor.name in fits.castings.pours else pd.Series(dtype=float)
    values = pd.concat([known.dropna(), *read]).astype(float)
    return _range(factor, values) if len(values) else None


def _range(factor, values):
    """The range of some values, half a step wider: [low, high, both in words]."""
    low, high, slack = float(values.min()), float(values.max()), factor.step / 2 + 1e-9
    return [low - slack, high + slack, factor.between(low, high)]


def _aim(study, reading, aim):
    """The aim in words, and the lowest and highest reading (or grade) that meets it."""
    if aim is None:
        return None
    low, high = good_grades(study, reading) or (end if np.isfinite(end) else None for end in met_from_to(reading, aim.at_least, aim.at_most))
    return {"words": aim.words(reading), "at_least": low, "at_most": high}


def _ends(fit, aim):
    """The ends of a reading's bar: everything read and aimed at, and some margin."""
    if fit.reading.grades:
        return None
    known = fit.rows[["low", "high"]].to_numpy(float).ravel() if len(fit.rows) else np.array([])
    bounds = [bound for bound in (aim.at_least, aim.at_most) if bound is not None] if aim else []
    known = np.r_[known[np.isfinite(known)], bounds, fit.predict()[["low", "high"]].to_numpy().ravel()]
    if fit.reading.scale == "log":
        return [float(known[known > 0].min() / 1.4), float(known.max() * 1.4)]
    slack = 0.15 * np.ptp(known)
    return [float(max(known.min() - slack, fit.reading.low)), float(min(known.max() + slack, fit.reading.high))]


def _starts(advice, stops):
    """The recommended settings of each room as places on the sliders."""
    for room, given in advice:
        if isinstance(given, Recommendation):
            at = [_nearest(values, given.settings[name]) for name, values in stops.items()]
            yield {"words": room_words(room, given, "best chance"), "at": at}


def _limits(names):
    """The limits of the cautions on settings and readings that the sliders show."""
    for limit in rules()["limits"]:
        if limit["setting"] in names:
            side = side_of(limit)
            yield {
                "name": limit["setting"], "words": words_of(limit).capitalize(), "side": side, "bound": limit[side], "unit": unit_words(limit["unit"]),
                "refuse": limit["level"] == "refuse", "says": f"{capital(limit['reason'])}. {limit['do']}.",
            }


def _packed(columns: np.ndarray) -> dict[str, Any]:
    """Columns of numbers as a small dict for a page: sixteen bits per number between its column's ends.

    ``low`` and ``step`` of each column, and ``data``: base64 of little-endian unsigned 16-bit integers, column by
    column; a value is ``low + step * integer``, to within half a step.
    """
    columns = np.asarray(columns, float).reshape(len(columns), -1)
    low = columns.min(axis=0)
    step = np.ptp(columns, axis=0) / PACKED
    counted = np.round((columns - low) / np.where(step > 0, step, 1.0)).astype("<u2")
    return {"low": low.tolist(), "step": step.tolist(), "data": base64.b64encode(counted.T.tobytes()).decode()}
