"""How likely a casting's readings are under each cause, given its settings and what the rest of the log says."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from testpour.causes.sight import log_chance

FLOOR = -300.0  # log chance below which a reading is only called impossible
LEAST = {"catalyst": 0.05, "thickness": 0.5, "room_temperature": 0.0}  # as far as an as-if setting goes


@dataclass(frozen=True, eq=False)
class Likelihoods:
    """Log chance of a casting's readings under each cause.

    Parameters
    ----------
    by_size : DataFrame
        One row a cause and size (index ``cause``, ``size``), one column a reading of the casting.
    whole : Series
        Of all readings together, the sizes of a cause equally likely; by cause.
    each : DataFrame
        Of each reading alone: one row a cause, one column a reading.
    """

    by_size: pd.DataFrame
    whole: pd.Series
    each: pd.DataFrame


def _over_sizes(logs, cause):
    """Log of the average over the sizes of each cause: shape (causes, ...) in the order they come."""
    starts = np.flatnonzero(np.r_[True, cause[1:] != cause[:-1]])
    top = logs.max(axis=0)
    counts = np.diff(np.r_[starts, len(cause)]).reshape(-1, *[1] * (logs.ndim - 1))
    with np.errstate(divide="ignore"):
        return top + np.log(np.add.reduceat(np.exp(logs - top), starts, axis=0) / counts)


def likelihoods(table, seen):
    """How likely each reading is under each cause.

    Parameters
    ----------
    table : CauseTable
    seen : dict
        Reading name to `Sight`.

    Returns
    -------
    Likelihoods
    """
    cases = [(cause, size, alone) for cause in table.causes.values() for size, alone in _sizes(cause, seen)]
    places = pd.MultiIndex.from_tuples([(c.name, alone or size) for c, size, alone in cases], names=["cause", "size"])
    logs = pd.DataFrame({name: _under(cases, name, sight) for name, sight in seen.items()}, index=places)
    cause, names = places.get_level_values("cause").to_numpy(), list(table.causes)
    floor = np.maximum(logs.to_numpy(float), FLOOR)
    whole = pd.Series(_over_sizes(floor.sum(axis=1), cause), names)
    return Likelihoods(logs, whole, pd.DataFrame(_over_sizes(floor, cause), names, logs.columns))


def _sizes(cause, seen):
    """Sizes of a cause, or the readings of which one alone may be off."""
    if cause.one_of and seen:
        return [(1.0, name) for name in seen if name in cause.one_of] or [(0.0, None)]
    return [(size, None) for size in cause.sizes] or [(0.0, None)]


def _under(cases, name, sight):
    """Log chance of one reading under each case."""
    shift = np.array([size * cause.shift.get(name, 0.0) for cause, size, _ in cases])
    blur = np.array([_blur(cause, size, name, alone) for cause, size, alone in cases])
    spread = np.array([cause.spread.get(name, 1.0) for cause, _, _ in cases])
    mean = sight.mean(as_if(sight.rows, cases)) + shift[:, None, None]
    logs = log_chance(sight, mean, blur, spread)
    return logsumexp(logs, axis=1) - np.log(logs.shape[1])


def _blur(cause, size, name, alone):
    if alone:
        return cause.one_of[name] * (alone == name)
    return cause.blur.get(name, 0.0) * (1.0 if cause.as_if else abs(size))


def as_if(rows, cases):
    """`rows` once for each case, at the setting the case stands for: h tables stacked."""
    stacked = rows.iloc[np.tile(np.arange(len(rows)), len(cases))].reset_index(drop=True)
    for factor in {cause.as_if["factor"] for cause, _, _ in cases if cause.as_if} & set(rows):
        mine = [cause.as_if.get("factor") == factor for cause, _, _ in cases]
        times = [size if m and c.as_if["by"] == "times" else 1.0 for m, (c, size, _) in zip(mine, cases, strict=True)]
        plus = [size if m and c.as_if["by"] == "plus" else 0.0 for m, (c, size, _) in zip(mine, cases, strict=True)]
        moved = stacked[factor] * np.repeat(times, len(rows)) + np.repeat(plus, len(rows))
        floor = np.where(np.repeat(mine, len(rows)), LEAST.get(factor, -np.inf), -np.inf)
        stacked[factor] = np.maximum(moved, floor)
    return stacked
