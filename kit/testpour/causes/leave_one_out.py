"""How the log's other castings, or the trade, predict one casting's readings: the casting itself is left out of the models."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd
from pandas.api.types import is_string_dtype

from testpour.causes.predicted import Predicted
from testpour.causes.whole_log import worse_groups
from testpour.likelihood.weights import effective_size
from testpour.models.fits import Fits, fit_castings
from testpour.models.left_out import leave_out_weights, shared_effects
from testpour.models.reading_model import labels_of, rows_of

FEWEST = 50.0  # independent draws left after a pour is weighted out, below which the model is fitted again
SUITS = 0.8  # chance that an aim with two ends suits the resin it was set for; common practice, no source


def predictions(fits: Fits, pour: str, trade: bool = False) -> dict[str, Predicted]:
    """A `Predicted` of every reading the casting has, the casting itself left out of the models: dict by reading.

    With `trade`, by what the trade and the physics expect of its settings, as with an empty log, and by the aims: one
    with two ends is what its maker knows of the resin, from its data sheet or from castings elsewhere, so a resin that
    can meet it is the likelier. An aim with one end may be a wish, and says nothing.
    """
    found, log = {}, fits.castings
    worse = worse_groups(log, pour)
    believed = _believed(log) if trade else {}
    for name, fit in fits.items():
        read = _by_pour(log, fit.reading).get(pour)
        if read is not None:
            before, weights = believed.get(name, (None, None))
            found[name] = _predicted(before.posterior, before, *read).resampled(weights) if before is not None else _left_out(fit, *read, worse=worse)
    return found


@lru_cache(maxsize=4)
def _believed(log):
    """The model of each reading before any casting, and the weights of its draws by the aims: dict by reading."""
    believed = fit_castings(replace(log, pours=log.pours.iloc[:0], readings=log.readings.iloc[:0]))
    return {name: (fit, _suiting(fit, log)) for name, fit in believed.items()}


def _suiting(fit, log):
    """Weights of a model's draws by how often the log's settings meet its aim; None without an aim of two ends."""
    aim = next((a for a in log.study.aims if a.reading == fit.reading.name and None not in (a.at_least, a.at_most)), None)
    read = [rows.iloc[[0]] for rows, _ in _by_pour(log, fit.reading).values()]
    if aim is None or not read:
        return None
    rows = pd.concat(read, ignore_index=True)
    met = fit.chances(rows if aim.age is None else rows.assign(age=aim.age), aim.at_least, aim.at_most).mean(axis=1)
    return (1 - SUITS) / len(met) + SUITS * met / met.sum() if met.sum() > 0 else None


@lru_cache(maxsize=16)  # one casting after another is asked about
def _by_pour(log, reading):
    """Rows and settings of each casting that has the reading: dict of pour to the two."""
    rows = rows_of(log, reading)[0]
    rows = rows.astype({name: object for name in rows if is_string_dtype(rows[name])})  # quicker to take apart as Python's own text
    numbers, found = rows.select_dtypes("number"), {}
    values = numbers.to_numpy(float)
    for pour, places in rows.groupby("pour", sort=False).indices.items():
        found[pour] = rows.iloc[places].reset_index(drop=True), dict(zip(numbers, values[places].T, strict=True))
    return found


def _left_out(fit, rows, settings, *, worse):
    """The casting as the others predict it, by weighting its draws, or by a new fit where few are left."""
    pour, seen = rows["pour"].iloc[0], _predicted(fit.posterior, fit, rows, settings, worse)
    if str(pour) not in fit.labels["pour"]:
        return seen.resampled()
    weights = leave_out_weights(seen.residuals(seen.usual[None]).log_chance()[0])
    if effective_size(weights) < FEWEST:
        return _predicted(fit.without(pour), fit, rows, settings, worse).resampled()
    return seen.resampled(weights)


def _predicted(posterior, fit, rows, settings, worse=()):
    """The `Predicted` by the draws of a `posterior`: that of `fit`, or one made without the pour.

    A day or a lot that is worse than the others is judged by what the others read, so that its castings do not excuse each other.
    """
    labels = labels_of(rows)
    others = fit.labels["pour"] != labels["pour"][0]
    apart = dict(_judged_apart(labels, {name: each[others] for name, each in fit.groups.items()}, worse))
    effects, own = shared_effects(posterior, fit, labels, apart)
    for name, usual in apart.items():
        own = own + fit.believed.scatter[name] ** 2
        if usual:  # a bad lot that most are from has drawn what is expected of all to itself
            effects = effects + _of_others(posterior, name, fit.labels[name], labels[name][0])
    return Predicted(fit, rows, settings, posterior.coefficients, effects, np.sqrt(own), posterior.sd, posterior.cuts)


def _judged_apart(labels, others, worse):
    """Names of the groups of other pours that say nothing about this one, each with whether it is the lot that most are from."""
    for name, theirs in others.items():
        if set(labels[name]) <= set(theirs):
            usual = name.endswith("_lot") and (theirs == labels[name][0]).mean() >= 0.5
            if name in worse or name.endswith("_lot") and not usual:
                yield name, usual


def _of_others(posterior, name, labels, mine):
    """What the castings of other days or lots have in common, on average over them: shape (m, 1)."""
    levels = posterior.group_levels[name]
    counts = np.array([(labels == level).sum() * (level not in ("", mine)) for level in levels])
    return (posterior.group_effects[name] @ counts / max(counts.sum(), 1))[:, None]
