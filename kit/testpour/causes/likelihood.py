"""How likely a casting's readings are under each cause, given its settings and the rest of the log."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.causes.complaint import seen_words
from testpour.causes.predicted import Predicted
from testpour.causes.table import NOTHING, CauseTable
from testpour.likelihood.together import NODES, log_integral, log_sum
from testpour.models.scales import own_scale

MISSED = 2.0  # a reading that misses its aim may say so many times more: a cause must explain the miss first
ASIDE = float(np.log(3.0))  # what the other readings may say for a cause beyond what it gains by the miss itself: 3 to 1
FAR = 0.3  # how often a resin lies from the model by the table's misfit; common practice, no source
DIGIT, LOST = 0.2, 3.0  # how often a slip drops or adds a digit, and how much further off it is then; common practice, no source
DROPPED = 0.2  # how often a slip leaves out the first or the last of two digits, each; common practice, no source
SAME = 1e-6  # difference of log chances below which a cause does not move a reading
FLOOR = -300.0  # log chance below which a reading is only called impossible
LEAST = {"catalyst": 0.05, "thickness": 0.5, "room_temperature": 0.0}  # the furthest an as-if setting goes


@dataclass(frozen=True, eq=False)
class Likelihoods:
    """Log chance of a casting's readings under each cause."""

    # one row per cause and size (index ``cause``, ``size``), one column per reading of the casting. The size of a wrong reading is which
    # one it is: ``"hardness at 24 h"``
    by_size: pd.DataFrame
    whole: pd.Series  # of all readings together, the sizes of a cause equally likely; by cause
    each: pd.DataFrame  # of each reading alone: one row per cause, one column per reading

    def suspect(self, cause: str) -> str | None:
        """The reading that is most likely the wrong one, in words, for a cause that is one wrong reading; None without one."""
        found = self.by_size.loc[cause].sum(axis=1).idxmax()
        return found if isinstance(found, str) else None


def _over_sizes(logs, cause):
    """Log of the average over the sizes of each cause: shape (causes, ...), in the same order."""
    starts = np.flatnonzero(np.r_[True, cause[1:] != cause[:-1]])
    top = logs.max(axis=0)
    counts = np.diff(np.r_[starts, len(cause)]).reshape(-1, *[1] * (logs.ndim - 1))
    with np.errstate(divide="ignore"):
        return top + np.log(np.add.reduceat(np.exp(logs - top), starts, axis=0) / counts)


def likelihoods(table: CauseTable, seen: dict[str, Predicted], complained: Iterable[str] = (), judged: Mapping[str, float] | None = None) -> Likelihoods:
    """How likely each reading is under each cause.

    A resin may answer a change otherwise than the model: each reading's chance is an average with and without
    ``table.misfit``. No reading speaks against a cause by more than ``table.most``, one that misses its aim by no
    more than twice that, so that no number decides alone, and a cause explains the miss before anything else: what the
    other readings say for it, beside ordinary scatter, is no more than what the miss says, and 3 to 1. A cause that
    moves none of the readings that miss leaves the miss to ordinary scatter: the two have to meet. Where a resin lies
    off its models, several of its readings do so alike: what they say is raised to the power ``table.readings``.
    A slip explains the miss only where it is a slip in one of the readings `complained` of; without any, each may be the slip. `judged` is
    reading to the age in hours, NaN without one, by which it misses its aim: a slip at another age explains no miss at this.
    """
    table = _with_own(table, seen)
    blamed = {name: predicted for name, predicted in seen.items() if name in complained} or seen
    occasions = _occasions(blamed, judged or {})
    cases = [(way, *size) for cause in table.causes.values() for way in cause.ways for size in _sizes(way, occasions)]
    sizes = [_occasion_words(seen, *misread) if misread else size for _, size, misread in cases]
    places = pd.MultiIndex.from_arrays([[c.name for c, _, _ in cases], sizes], names=["cause", "size"])
    logs = pd.DataFrame({name: _under(cases, name, predicted, table) for name, predicted in seen.items()}, index=places)
    cause, names = places.get_level_values("cause").to_numpy(), list(table.causes)
    floor = np.maximum(logs.to_numpy(float), FLOOR)
    most = np.array([table.most * (MISSED if name in complained else 1.0) for name in logs.columns])
    floor = np.maximum(floor, floor.max(axis=0, initial=FLOOR) - most)
    told = np.isin(logs.columns, list(complained))
    whole = pd.Series(_over_sizes(_explaining(floor, told, cause == NOTHING).sum(axis=1), cause), names)
    whole *= table.readings
    whole[_beside(floor[:, told], cause)] += np.log(table.causes[NOTHING].prior)
    each = table.readings * _explaining(_over_sizes(floor, cause), told, np.array(names) == NOTHING)
    return Likelihoods(logs, whole, pd.DataFrame(each, names, logs.columns))


def _with_own(table, seen):
    """The table extended to readings of the maker's own that it does not mention.

    A fault moves them either way by about one unit of their belief, a slip by two.
    """
    told = set(table.misfit).union(*(set(c.shift) | set(c.blur) | set(c.one_of) for c in table.causes.values()))
    units = {name: own_scale(s.fit.reading, s.fit.rows)[1] for name, s in seen.items() if name not in told}
    if not units:
        return table
    causes = {}
    for name, cause in table.causes.items():
        if cause.one_of:
            cause = replace(cause, one_of={own: 2 * unit for own, unit in units.items()} | cause.one_of)
        elif cause.sizes:
            each = 1.0 if cause.as_if else 1 / float(np.abs(cause.sizes).mean())  # a blur counts once for each unit of size
            cause = replace(cause, blur={own: unit * each for own, unit in units.items()} | cause.blur)
        causes[name] = cause
    return replace(table, causes=causes, misfit=units | table.misfit)


def _explaining(logs, told, nothing):
    """Log chances of the readings (columns): what is beside the miss counts only for what explains the miss."""
    if not told.any() or told.all() or not nothing.any():
        return logs
    usual = logs[nothing][0]
    gain, beside = ((logs - usual)[:, part].sum(axis=1) for part in (told, ~told))
    over = np.maximum(beside - np.maximum(gain, 0.0) - ASIDE, 0.0)
    up = np.where(told, 0.0, np.maximum(logs - usual, 0.0))
    return logs - over[:, None] * up / np.maximum(up.sum(axis=1, keepdims=True), 1e-12)


def _beside(missed, cause):
    """Names of the causes under which readings that miss (columns) are just as likely as without any fault."""
    if not missed.size or NOTHING not in cause:
        return []
    moved = np.abs(missed - missed[cause == NOTHING][0]).max(axis=1) > SAME
    return [name for name in dict.fromkeys(cause) if name != NOTHING and not moved[cause == name].any()]


def _sizes(cause, occasions):
    """Sizes of a cause, with the places of which one alone may be off, or the occasions of which one alone may have been misread."""
    if cause.one_of and occasions:
        return [(1.0, at) for at in occasions if at[0] in cause.one_of] or [(0.0, None)]
    places = [(1.0, at) for at in occasions if at[0] in cause.one_place and at[2] is not None]
    return [(size, None) for size in cause.sizes] + places or [(0.0, None)]


def _occasions(seen, judged):
    """Each reading and age at which the casting was read, of one `judged` at an age that one, and of repeats at one age each alone (its place)."""
    found = []
    for name, predicted in seen.items():
        ages = predicted.rows["age"].to_numpy(float)
        for age in pd.unique(ages[_same(ages, judged[name])] if name in judged else ages):
            places = np.flatnonzero(_same(ages, age))
            found += [(name, age, None)] + [(name, age, place) for place in places if len(places) > 1]
    return found


def _same(ages, age):
    return np.isnan(ages) if np.isnan(age) else ages == age


def _occasion_words(seen, name, age, place):
    words = seen[name].fit.reading.words
    at = words if np.isnan(age) else f"{words} at {age:g} h"
    if place is None:
        return at
    rows = seen[name].rows.iloc[place : place + 1]
    return f"{at}, the one of {seen_words(seen[name].fit.reading, rows)}"


def _under(cases, name, predicted, table):
    """Log chance of one reading under each case; equal settings, and equal cases, are worked out once."""
    known, misfit, lag = predicted.fit.believed.factors, table.misfit.get(name, 0.0), table.lag.get(name, 0.0)
    out, settings, alike = np.empty(len(cases)), {}, {}
    for place, (cause, size, misread) in enumerate(cases):
        if misread and misread[0] == name:
            out[place] = _misread(predicted, misread[1:], (cause.one_of or cause.one_place)[name])
            continue
        moved = (*cause.as_if.values(), size) if cause.as_if.get("factor") in known else ()
        at, _ = settings.setdefault(moved, (len(settings), cases[place]))
        blur, shift = cause.blur.get(name, 0.0) * (1.0 if cause.as_if else abs(size)), size * cause.shift.get(name, 0.0)
        treated = (shift, 0.0 if cause.fades else blur, cause.spread.get(name, 1.0), blur if cause.fades else 0.0, cause.fades)
        alike.setdefault((at, *treated), []).append(place)
    at, shift, blur, spread, passing, fades = np.array(list(alike)).T
    if misfit:  # each case twice: as the model has it, and where the resin lies off it
        at, shift, spread, passing, fades = (np.tile(part, 2) for part in (at, shift, spread, passing, fades))
        blur = np.r_[blur, np.hypot(blur, misfit)]
    ages = predicted.rows["age"].to_numpy(float)
    left = _left(ages)
    late = np.nan_to_num(1 / ages) * (predicted.rows["high"].to_numpy(float) < predicted.softest)
    residuals = predicted.residuals(predicted.mean(as_if(predicted.settings, [case for _, case in settings.values()])))
    residuals = residuals.moved(at.astype(int), shift[:, None] * np.where(fades[:, None] > 0, left, 1.0))
    logs = _passing(residuals, blur, spread, np.hypot(passing[:, None] * left, lag * (late - late.min())))
    if misfit:
        logs = np.logaddexp(logs[: len(alike)] + np.log1p(-FAR), logs[len(alike) :] + np.log(FAR))
    for each, places in zip(logs, alike.values(), strict=True):
        out[places] = each
    return out


def _left(ages):
    """What is left at each age, shape (k,), of an effect that fades: the first age over this one."""
    return np.nan_to_num(np.fmin.reduce(ages) / ages, nan=1.0)


def _passing(residuals, blur, spread, passing):
    """Log chance (h,) with a further standard deviation `passing` (h, k), of a shift whose part at each reading may differ."""
    alike = passing[:, 0]
    logs = residuals.log_chance(np.hypot(blur, alike), spread)
    fading = np.flatnonzero((passing != alike[:, None]).any(axis=1))
    if len(fading):
        some, blur, spread, passing = residuals.moved(fading, np.zeros((1, 1))), blur[fading], spread[fading], passing[fading]
        centre, step = some.likely(passing, blur, spread)
        parts = centre + NODES[:, None, None] * step  # (nodes, fading, g)
        moves = (parts[..., None] * passing[:, None]).reshape(-1, *some.low.shape[1:])
        each = some.moved(np.tile(np.arange(len(fading)), len(NODES)), moves).log_chance(np.tile(blur, len(NODES)), np.tile(spread, len(NODES)))
        logs[fading] = log_integral(each.reshape(parts.shape) - parts**2 / 2, step)
    return _averaged(logs)


def _averaged(logs):
    """Log of the average over draws: (h,) of (h, m)."""
    return log_sum(logs, 1) - np.log(logs.shape[1])


def _misread(predicted, occasion, blur):
    """Log chance when one occasion is off by about `blur`, or far more, and the reading's other occasions are right."""
    age, place = occasion
    alone = _same(predicted.rows["age"].to_numpy(), age) if place is None else np.arange(len(predicted.rows)) == place
    near, far = predicted.residuals(predicted.usual[None][..., alone], alone).log_chance(np.array([blur, LOST * blur]))
    logs = np.logaddexp(near + np.log1p(-DIGIT), far + np.log(DIGIT))[None]
    if alone.sum() == 1 and (meant := _two_digits(predicted, alone)):
        each = [_was_meant(predicted, alone, *ends) for ends in meant]
        figures = predicted.figures(alone)  # of which any other cause gives each as likely as the next
        logs = np.logaddexp(logs + np.log1p(-2 * DROPPED), log_sum(np.array(each), 0) + np.log(DROPPED * figures))
    return _averaged(logs if alone.all() else logs + predicted.residuals(predicted.usual[None][..., ~alone], ~alone).log_chance())[0]


def _two_digits(predicted, alone):
    """The readings, low and high, of which one digit from 1 to 9 may be what is left: 70 to 79 for a 7, and 17, 27 and so on.

    None where it is not read in whole units.
    """
    value, reading = float(predicted.rows["low"].to_numpy(float)[alone][0]), predicted.fit.reading
    if reading.resolution != 1 or value not in range(1, 10) or value != predicted.rows["high"].to_numpy(float)[alone][0]:
        return []
    return [(10 * value - 0.5, 10 * value + 9.5), *((first + value - 0.5, first + value + 0.5) for first in range(10, 100, 10))]


def _was_meant(predicted, alone, low, high):
    """Log chance (1, g) that the casting reads between `low` and `high`, where one digit of it was logged, a whole step of its reading."""
    meant = replace(predicted, rows=predicted.rows[alone].assign(low=low, high=high))
    return meant.residuals(predicted.usual[None][..., alone]).log_chance()


def as_if(settings: Mapping[str, np.ndarray], cases: list[tuple]) -> dict[str, np.ndarray]:
    """`settings` once for each case, at the setting the case stands for: dict of column to array of shape (h, k).

    `settings` are columns of k values, complete, in the factors' units; each of the h cases is a cause, the size of the change
    and its weight.
    """
    stacked = {name: np.tile(values, (len(cases), 1)) for name, values in settings.items()}
    for place, (cause, size, _) in enumerate(cases):
        factor = cause.as_if.get("factor")
        if factor in stacked:
            now = stacked[factor][place]
            moved = now * size if cause.as_if["by"] == "times" else now + size
            stacked[factor][place] = np.maximum(moved, LEAST.get(factor, -np.inf))
    return stacked
