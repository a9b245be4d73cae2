"""What to pour next, and what to recommend: both from the draws of every fit together."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr
from scipy.stats import qmc

from testpour.cautions import check_gel_time, check_peak, check_settings
from testpour.models.chance import chance
from testpour.models.scales import to_latent
from testpour.models.settings import settings_table

CANDIDATES = 256  # settings that may be recommended; Sobol points need a power of two
TRIED = 48  # of them, settings that may be poured next
SCENARIOS = 32  # imagined outcomes of a pour
THINNED = 400  # draws kept for reweighting


class RoomProblem(ValueError):
    """The room is outside what can be advised on."""


@dataclass(frozen=True, eq=False)
class Recommendation:
    """The settings with the best chance of a good casting.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row: every setting in its unit.
    chance : Chance
        Of the recommended settings.
    predicted : DataFrame
        Middle, low and high of each reading at the age of its aim.
    cautions : Cautions
    beyond : tuple of str
        Settings that lie outside what was poured.
    free : tuple of str
        Names of the settings that were chosen; the others were given.
    """

    study: object
    table: pd.DataFrame
    chance: object
    predicted: pd.DataFrame
    cautions: object
    beyond: tuple
    free: tuple

    @property
    def settings(self):
        """The recommended settings as a dict of floats in declared units."""
        return self.table.drop(columns="age", errors="ignore").iloc[0].to_dict()

    def sentence(self):
        """The advice in a few sentences."""
        row = self.table.iloc[0]
        room = ""
        if "room_temperature" in row:
            room = f"In a room at {self.study.factor('room_temperature').show(row['room_temperature'])}, pour with "
        text = room + _settings_words(self.study, row, self.free) + ". " + self.chance.sentence()
        if self.beyond:
            text += f" Not poured there yet: {', '.join(self.beyond)}. Try one pour before relying on it."
        return text + "".join(f" {warning}" for warning in (*self.cautions.refusals, *self.cautions.warnings))

    __repr__ = _repr_markdown_ = sentence


@dataclass(frozen=True, eq=False)
class NextPours:
    """The pours worth making now.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row a pour, in the order of worth: settings, ``chance`` of a good casting, ``gain``, the rise in
        the chance of the then recommended settings that the pours up to this one promise, and ``reason``.
    before : float
        Chance of a good casting at the settings recommended now.
    free : tuple of str
    """

    study: object
    table: pd.DataFrame
    before: float
    free: tuple

    def sentence(self):
        """What the pours promise together."""
        gain = 100 * self.table["gain"].iloc[-1]
        now = f"The settings recommended now have a chance of about {100 * self.before:.0f} in 100"
        if gain < 2:
            return (
                f"{now}. These {len(self.table)} pours would raise it by less than 2 points: "
                "stop here and pin up the chart, unless the room or the resin changes."
            )
        return f"{now}. These {len(self.table)} pours should raise it by about {gain:.0f} points on average."

    __repr__ = sentence

    def _repr_html_(self):
        shown = pd.DataFrame(index=self.table.index)
        for name in self.free:
            factor = self.study.factor(name)
            shown[factor.words] = [factor.show(value) for value in self.table[name]]
        shown["chance of a good casting"] = [f"{100 * c:.0f} in 100" for c in self.table["chance"]]
        shown["reason"] = self.table["reason"]
        return f"<p>{self.sentence()}</p>{shown.to_html()}"


def recommend(fits, *, room=None, fixed=None):
    """The settings with the best chance of a good casting.

    Parameters
    ----------
    fits : Fits
    room : str or float, optional
        Room temperature, for example ``"17 degC"``.
    fixed : dict, optional
        Settings that are given, for example ``{"thickness": "12 mm"}``.

    Returns
    -------
    Recommendation

    Raises
    ------
    NoAims
        If the study states no aim.
    RoomProblem
        If the room is too cold or too hot to advise on.
    """
    table, free = _candidates(fits, room, fixed)
    best = table.iloc[[int(np.argmax(chance(fits, table).draws.mean(axis=0)))]]
    best = _refined(fits, best, free)
    best.index = pd.Index(["recommended"])
    at_best = chance(fits, best)
    beyond = _beyond(fits, best.iloc[0])
    cautions = check_settings(fits.study, best.iloc[0].drop("age").to_dict()) + _predicted_cautions(fits, best)
    return Recommendation(fits.study, best, at_best, _predicted(fits, best), cautions, beyond, free)


def next_pours(fits, *, room=None, pours=4, fixed=None, moulds=None, seed=0):
    """The pours that should raise most the chance of what will then be recommended.

    Parameters
    ----------
    fits : Fits
    room : str or float, optional
        Room temperature today.
    pours : int
        How many to make in this session.
    fixed : dict, optional
        Settings that are given.
    moulds : list, optional
        Depths of the moulds at hand.
    seed : int
        The same log and seed give the same advice.

    Returns
    -------
    NextPours

    Notes
    -----
    For each candidate, outcomes are imagined from the fits' draws; each outcome reweights the draws, and
    the chance of the settings that would then be recommended is averaged over outcomes (the value of the
    information; Frazier, Powell and Dayanik 2009, for normal outcomes). Pours are added one by one to the
    same imagined session, in the rooms the study plans for.
    """
    if pours < 1:
        raise ValueError(f"{pours} pours asked for: ask for at least 1.")
    table, free = _candidates(fits, room, fixed, moulds, seed)
    worth = _Worth(fits, table, _contexts(fits, free, table), seed)
    picked = []
    for _ in range(pours):
        picked.append(worth.add_best())
    rows = table.iloc[[place for place, _ in picked]].copy()
    at_rows = chance(fits, rows)
    rows["chance"], rows["gain"] = at_rows.draws.mean(axis=0), [gain for _, gain in picked]
    rows["reason"] = [_reason(fits, table, place, at_rows, i) for i, (place, _) in enumerate(picked)]
    made = len(fits.castings.pours)
    rows.index = pd.Index([f"P{made + i + 1:02d}" for i in range(len(rows))], name="pour")
    return NextPours(fits.study, rows, worth.before, free)


class _Worth:
    """How much a batch of pours is worth, by reweighting the draws under imagined outcomes."""

    def __init__(self, fits, table, contexts, seed):
        self.fits, self.table = fits, table
        rng = np.random.default_rng([seed, 11])
        self.draws = rng.permutation(len(next(iter(fits.values())).posterior.coefficients))[:THINNED]
        self.truths = np.arange(SCENARIOS)
        self.rng = rng
        self.tried = rng.permutation(len(table))[:TRIED]
        # One row a draw, one column a setting that might be recommended, one sheet a context.
        self.value = [chance(fits, context).draws[self.draws] for context in contexts]
        self.before = float(np.mean([sheet.mean(axis=0).max() for sheet in self.value]))
        self.log_weights = np.zeros((SCENARIOS, len(self.draws)))
        self.outcomes = self._imagined()

    def _imagined(self):
        """Log-likelihood of an imagined outcome at each candidate: function of the candidate's place."""
        aims = {aim.reading: aim for aim in self.fits.study.aims}
        prepared = []
        for name, aim in aims.items():
            fit = self.fits[name]
            at = self.table.assign(age=aim.age) if aim.age is not None else self.table
            mean, spread = fit.mean(at)[self.draws], fit.scatter(())[self.draws]
            score = self.rng.standard_normal((SCENARIOS, len(at)))
            drawn = mean[self.truths] + spread[self.truths, None] * score
            cuts = fit.posterior.cuts[self.draws] if fit.reading.grades else None
            prepared.append((cuts, mean, spread, drawn))
        return prepared

    def _log_likelihood(self, place):
        total = 0.0
        for cuts, mean, spread, drawn in self.outcomes:
            gap = drawn[:, place][:, None]
            if cuts is not None:
                total = total + _grade_log(cuts, mean[:, place], gap, self.truths)
            else:
                z = (gap - mean[None, :, place]) / spread[None, :]
                total = total - 0.5 * z**2 - np.log(spread)[None, :]
        return total

    def _best_value(self, log_weights):
        weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        return float(np.mean([(weights @ sheet).max(axis=1).mean() for sheet in self.value]))

    def add_best(self):
        """Add the candidate that gains most to the imagined session; its place and the gain so far."""
        gains = [self._best_value(self.log_weights + self._log_likelihood(place)) for place in self.tried]
        best = int(np.argmax(gains))
        place = int(self.tried[best])
        self.log_weights = self.log_weights + self._log_likelihood(place)
        return place, gains[best] - self.before


def _grade_log(cuts, mean, latent, truths):
    """Log-probability under every draw of the grade that each imagined latent value falls in."""
    edge = np.full((len(cuts), 1), np.inf)
    edges = np.hstack([-edge, cuts, edge])
    grade = (latent > cuts[truths]).sum(axis=1)
    low, high = edges[:, grade].T, edges[:, grade + 1].T
    return np.log(np.maximum(ndtr(high - mean) - ndtr(low - mean), 1e-12))


def _candidates(fits, room, fixed, moulds=None, seed=0):
    """Settings that may be advised: evenly spread over the spans, rounded, cautions kept."""
    study = fits.study
    given = {**(fixed or {})}
    table = settings_table(study, given, room=room)
    _check_room(study, table)
    free = tuple(f.name for f in study.varied if f.name not in given)
    points = qmc.Sobol(max(len(free), 1), rng=np.random.default_rng(seed)).random(CANDIDATES)
    table = table.loc[table.index.repeat(CANDIDATES)].reset_index(drop=True)
    for column, name in enumerate(free):
        factor = study.factor(name)
        low, high = factor.span
        table[name] = factor.rounded(low + (high - low) * points[:, column])
    if moulds is not None and "thickness" in free:
        depths = np.array([study.factor("thickness").parse(m) for m in moulds])
        nearest = np.abs(table["thickness"].to_numpy()[:, None] - depths).argmin(axis=1)
        table["thickness"] = depths[nearest]
    table = table.drop_duplicates().reset_index(drop=True)
    return table[_allowed(fits, table)].reset_index(drop=True), free


def _check_room(study, table):
    if "room_temperature" not in table:
        return
    cautions = check_settings(study, {"room_temperature": float(table["room_temperature"].iloc[0])})
    if cautions.refusals:
        raise RoomProblem(" ".join(cautions.refusals))


def _allowed(fits, table):
    """Settings whose believed peak does not reach the boiling point of styrene."""
    peaks = [fit for fit in fits.values() if fit.reading.scale == "rise"]
    if not peaks:
        return np.ones(len(table), bool)
    limit = to_latent(peaks[0].reading, np.full(len(table), 140.0), table.get("room_temperature"))
    return peaks[0].mean(table).mean(axis=0) < limit


def _contexts(fits, free, table):
    """Where the advice must hold: the room as it is, and for each thickness the study cares about."""
    if "thickness" not in free:
        return [table]
    low, high = fits.study.factor("thickness").span
    middle = (low + high) / 2
    parts = [table[table["thickness"] <= middle], table[table["thickness"] > middle]]
    return [part for part in parts if len(part)]


def _refined(fits, best, free):
    """The best neighbour on the bench's own steps, until none is better."""
    study = fits.study
    for _ in range(12):
        around = [best]
        for name in free:
            factor = study.factor(name)
            for move in (-1, 1):
                other = best.copy()
                step = factor.step or (factor.span[1] - factor.span[0]) / 20
                value = 1 - best[name] if factor.kind == "yes/no" else best[name] + move * step
                other[name] = np.clip(factor.rounded(value), *factor.span)
                around.append(other)
        table = pd.concat(around, ignore_index=True)
        table = table[_allowed(fits, table)].reset_index(drop=True)
        means = chance(fits, table).draws.mean(axis=0)
        winner = int(np.argmax(means))
        if means[winner] <= means[0] + 1e-9:
            break
        best = table.iloc[[winner]]
    return best.copy()


def _predicted(fits, best):
    rows = {}
    for name, fit in fits.items():
        age = next((aim.age for aim in fits.study.aims if aim.reading == name), None)
        rows[fit.reading.words] = fit.predict(best, age=age).iloc[0]
    return pd.DataFrame(rows).T


def _predicted_cautions(fits, best):
    """Cautions on what is predicted: a gel too quick to pour, a peak too hot."""
    found = check_settings(fits.study, {})
    for fit in fits.values():
        middle = float(fit.predict(best)["middle"].iloc[0])
        if fit.reading.name == "gel_time":
            found = found + check_gel_time(middle)
        elif fit.reading.scale == "rise":
            found = found + check_peak(middle)
    return found


def _beyond(fits, row):
    """Settings outside what was poured, in words."""
    pours = fits.castings.pours
    beyond = []
    for factor in fits.study.factors:
        if factor.kind == "number" and factor.role != "carried" and factor.name in row:
            poured = pours[factor.name].dropna() if factor.name in pours else pd.Series(dtype=float)
            margin = factor.step or 0.0
            if not len(poured) or not poured.min() - margin <= row[factor.name] <= poured.max() + margin:
                beyond.append(f"{factor.words} {factor.show(row[factor.name])}")
    return tuple(beyond)


def _settings_words(study, row, names):
    """Settings in words: "1.6 % catalyst, 0.5 % pigment, 12 mm thickness, cover yes"."""
    parts = []
    for name in names:
        factor = study.factor(name)
        if factor.kind == "yes/no":
            parts.append(f"{'with' if row[name] else 'without'} {factor.words}")
        else:
            parts.append(f"{factor.show(row[name])} {factor.words}")
    return ", ".join(parts)


def _reason(fits, table, place, at_rows, i):
    """Why a pour is worth making, in a sentence."""
    row = table.iloc[place]
    low, high = np.quantile(at_rows.draws[:, i], [0.05, 0.95])
    limited = at_rows.by_aim.iloc[i].idxmin()
    beyond = _beyond(fits, row)
    if high - low > 0.5:
        text = f"its chance may be anywhere from {100 * low:.0f} to {100 * high:.0f} in 100; settles {limited}"
    elif at_rows.draws[:, i].mean() > 0.8:
        text = "likely good, and confirms what would be recommended"
    else:
        text = f"narrows {limited}"
    return text + (f"; first pour at {', '.join(beyond)}" if beyond else "")
