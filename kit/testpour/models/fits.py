"""Fits: each reading's model, beliefs updated by the log, and what it predicts."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from testpour.models.beliefs import GROUPS, beliefs_for
from testpour.models.interval import IntervalModel
from testpour.models.scales import to_latent, to_reading, widen
from testpour.models.settings import settings_table
from testpour.models.terms import design
from testpour.wording import count

DRAWS = 2000


@dataclass(frozen=True, eq=False)
class ReadingFit:
    """The model of one reading.

    Parameters
    ----------
    study : Study
    reading : Reading
    believed : ReadingBeliefs
        Terms with the belief about each.
    posterior : Posterior
        Draws of coefficients and scatter, beliefs updated by the log.
    rows : DataFrame
        One row a reading used: pour, session, settings, age, low and high in the reading's unit.
    assumed : tuple of str
        What was filled in where the log is silent.
    """

    study: object
    reading: object
    believed: object
    posterior: object
    rows: pd.DataFrame
    assumed: tuple = ()

    @property
    def pours(self):
        """How many pours the fit rests on."""
        return self.rows["pour"].nunique()

    def mean(self, table):
        """Latent mean at each row of a settings table: shape (draws, rows)."""
        return self.posterior.coefficients @ design(self.believed.terms, table).T

    def scatter(self, groups=GROUPS):
        """Standard deviation of one new reading about its mean, the `groups` included: shape (draws,)."""
        spread = self.posterior.group_spread
        new = sum((spread[name] ** 2 for name in groups if name in spread), self.posterior.spread**2)
        return np.sqrt(new)

    def chances(self, table, at_least=None, at_most=None):
        """Chance that one new casting in a new session lies in the bounds: shape (draws, rows)."""
        mean, spread = self.mean(table), self.scatter()[:, None]
        low, high = self._latent_bounds(table, at_least, at_most)
        return ndtr((high - mean) / spread) - ndtr((low - mean) / spread)

    def _latent_bounds(self, table, at_least, at_most):
        """The bounds on the latent scale; for grades, the cut-points of each draw."""
        if not self.reading.grades:
            room = table.get("room_temperature")
            ends = (-np.inf if at_least is None else at_least, np.inf if at_most is None else at_most)
            return [to_latent(self.reading, np.full(len(table), end), room) for end in ends]
        cuts = self.posterior.cuts
        edge = np.full((len(cuts), 1), np.inf)
        edges = np.hstack([-edge, cuts, edge])
        last = len(self.reading.grades) - 1
        first = 0 if at_least is None else int(np.ceil(at_least))
        final = last if at_most is None else int(np.floor(at_most))
        return edges[:, [first]], edges[:, [final + 1]]

    def new_castings(self, table):
        """One new casting in a new session for each draw, in the reading's unit: shape (draws, rows)."""
        mean = self.mean(table)
        # Evenly spaced normal scores in a shuffled order: quieter than random ones, the same every time.
        scores = ndtri((np.arange(len(mean)) + 0.5) / len(mean))
        scores = np.random.default_rng(0).permutation(scores)[:, None]
        latent = mean + self.scatter()[:, None] * scores
        if self.reading.grades:
            return (latent[:, :, None] > self.posterior.cuts[:, None, :]).sum(axis=2).astype(float)
        return to_reading(self.reading, latent, table.get("room_temperature"))

    def predict(self, settings=None, *, room=None, age=None, level=0.9):
        """What one new casting in a new session will read.

        Parameters
        ----------
        settings : dict, list of dict or DataFrame
            See `settings_table`.
        room : str or float, optional
            Room temperature, for example ``"17 degC"``.
        age : str or float, optional
            Age after mixing; hours where no unit is given.
        level : float
            Chance that the reading falls between `low` and `high`.

        Returns
        -------
        DataFrame
            One row a setting: ``middle``, ``low``, ``high`` in the reading's unit.
        """
        table = settings_table(self.study, settings, room=room, age=age, reading=self.reading)
        tails = [0.5, (1 - level) / 2, (1 + level) / 2]
        quantiles = np.quantile(self.new_castings(table), tails, axis=0)
        return pd.DataFrame(quantiles.T, index=table.index, columns=["middle", "low", "high"])

    def sentence(self):
        """What the fit rests on, in one sentence."""
        if not self.pours:
            return f"No {self.reading.words} in the log yet: only belief speaks."
        held = f"{count(len(self.rows), 'reading')} of {count(self.pours, 'pour')}"
        days = count(self.rows["session"].nunique(), "session")
        return " ".join([f"{self.reading.words.capitalize()}: {held} in {days}.", *self.assumed])

    __repr__ = sentence


@dataclass(frozen=True, eq=False)
class Fits(Mapping):
    """The models of every reading of a study; ``fits["gel_time"]`` is a `ReadingFit`.

    Parameters
    ----------
    study : Study
    castings : Castings
        The log the fits rest on.
    models : dict
        Reading name to `ReadingFit`.
    seed : int
    """

    study: object
    castings: object
    models: dict
    seed: int = 0

    def __getitem__(self, name):
        if name not in self.models:
            raise KeyError(f"No reading {name!r} in this study; it has {', '.join(self.models)}.")
        return self.models[name]

    def __iter__(self):
        return iter(self.models)

    def __len__(self):
        return len(self.models)

    def predict(self, settings=None, *, room=None, age=None, level=0.9):
        """Every reading of one new casting: one row a setting and reading; see `ReadingFit.predict`."""
        parts = {name: fit.predict(settings, room=room, age=age, level=level) for name, fit in self.items()}
        return pd.concat(parts, names=["reading"]).swaplevel().sort_index(level=0, sort_remaining=False)

    def sentence(self):
        """What each model rests on."""
        return " ".join(fit.sentence() for fit in self.values())

    __repr__ = sentence

    def _repr_markdown_(self):
        return "".join(f"- {fit.sentence()}\n" for fit in self.values())


def fit_castings(castings, *, beliefs=None, seed=0):
    """Fit every reading of the log, beliefs underneath.

    Parameters
    ----------
    castings : Castings
        From ``log.castings()``.
    beliefs : dict, optional
        Beliefs that replace the trade's, in the shape of `beliefs.toml`.
    seed : int
        The same log and seed give the same draws.

    Returns
    -------
    Fits
    """
    study = castings.study
    models = {reading.name: _fit_reading(castings, reading, beliefs, seed) for reading in study.readings}
    return Fits(study, castings, models, seed)


def _fit_reading(castings, reading, stated, seed):
    believed = beliefs_for(castings.study, reading, stated)
    rows, assumed = _rows(castings, reading)
    groups = _groups(rows)
    model = IntervalModel(
        *_latent_ends(reading, rows),
        design(believed.terms, rows),
        groups=groups,
        belief=(believed.mean, believed.sd),
        group_beliefs={name: believed.scatter[name] for name in groups},
        **_scale_options(reading, believed),
    )
    posterior = model.posterior(draws=DRAWS, seed=seed)
    return ReadingFit(castings.study, reading, believed, posterior, rows, assumed)


def _scale_options(reading, believed):
    """What the likelihood must know of the reading's scale: cut-points, or the scatter of one reading."""
    if not reading.grades:
        return {"spread_belief": believed.scatter["reading"]}
    steps = np.arange(len(reading.grades) - 1)  # grades about one step of the hidden scale apart
    cuts = believed.cuts
    return {"grades": len(reading.grades), "cut_belief": (cuts.mean + steps, np.full(len(steps), cuts.sd))}


def _latent_ends(reading, rows):
    low, high = rows["low"].to_numpy(float), rows["high"].to_numpy(float)
    if reading.grades:
        return low, high
    room = rows.get("room_temperature")
    return [to_latent(reading, ends, room) for ends in widen(reading, low, high)]


def _rows(castings, reading):
    """One row a reading used, with its pour's settings; silent settings take the usual value, and say so."""
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
            said = f"{factor.words.capitalize()} was not written down for {count(pours, 'pour')}"
            assumed.append(f"{said}; {factor.show(factor.usual)} is assumed.")
            rows.loc[blank, factor.name] = factor.usual
    if reading.ages:
        rows["age"] = rows["age"].fillna(reading.ages[0])
    return rows, tuple(assumed)


def _groups(rows):
    """The groups that share an error: sessions always, lots when there are two, pours when read twice."""
    groups = {"session": rows["session"].astype(str)}
    for lot in ("resin_lot", "catalyst_lot"):
        if lot in rows and rows[lot].nunique() > 1:
            groups[lot] = rows[lot].astype(str)
    if rows["pour"].duplicated().any():
        groups["pour"] = rows["pour"].astype(str)
    return {name: labels.to_numpy() for name, labels in groups.items()}
