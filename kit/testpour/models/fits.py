"""Fits: every reading of a study fitted to one log, and the narrowed spread used for chances.

Beliefs are wide enough for any real resin, and a short log cannot narrow scatter and shape to their true size. The chance of
meeting every aim multiplies that and comes out too low, so it is computed from models whose spread is narrowed to `NARROWED`,
chosen by Brier score on hidden resins of four families and checked on two other makes: see `tests/benchmarks/measured.md`.
A person's own reading has none of the trade's beliefs, and the interval of one casting's reading is about right, so neither
is narrowed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import pandas as pd

from testpour.common.problems import NoSuchName
from testpour.common.threads import one_thread
from testpour.common.wording import in_markdown
from testpour.likelihood.interval import IntervalModel
from testpour.logbook.castings import Castings
from testpour.models.beliefs import beliefs_for, trade_beliefs_about
from testpour.models.physics_choice import choose_terms
from testpour.models.reading_fit import ReadingFit, fit_rows
from testpour.models.reading_model import counted, rows_of
from testpour.models.settings import SettingsGiven
from testpour.study.columns import Reading
from testpour.study.study import Study

NARROWED = 0.75  # share of a model's spread, in its mean and between castings, that is used for chances; see the module


def narrowing(reading: Reading) -> float:
    """Share of the spread of a reading's model used for its chances: `NARROWED` if it holds the trade's wide beliefs, else 1."""
    return NARROWED if trade_beliefs_about(reading) else 1.0


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

    study: Study
    castings: Castings
    models: dict[str, ReadingFit]
    seed: int = 0

    def __getitem__(self, name):
        if name not in self.models:
            raise NoSuchName(f"No reading {name!r} in this study; it has {', '.join(self.models)}.")
        return self.models[name]

    def __iter__(self):
        return iter(self.models)

    def __len__(self):
        return len(self.models)

    @cached_property
    def calibrated(self) -> Fits:
        """The fits used for the chance of a good casting: the same with their spread narrowed (see `narrowing`)."""
        return replace(self, models={name: replace(fit, posterior=fit.posterior.narrowed(narrowing(fit.reading))) for name, fit in self.items()})

    def predict(
        self, settings: SettingsGiven | None = None, *, room: str | float | None = None,
        age: str | float | None = None, level: float = 0.9
    ) -> pd.DataFrame:
        """Every reading of one new casting: one row per setting and reading; see `ReadingFit.predict`.

        Parameters
        ----------
        settings, room, age, level
            As for `ReadingFit.predict`.

        Returns
        -------
        DataFrame
        """
        parts = {name: fit.predict(settings, room=room, age=age, level=level) for name, fit in self.items()}
        return pd.concat(parts, names=["reading"]).swaplevel().sort_index(level=0, sort_remaining=False)

    def sentence(self) -> str:
        """What each model rests on."""
        return " ".join(fit.sentence() for fit in self.values())

    __repr__ = sentence

    def _repr_markdown_(self):
        return "".join(f"- {in_markdown(fit.sentence())}\n" for fit in self.values())


@one_thread
def fit_castings(
    castings: Castings, *, beliefs: Mapping[str, Any] | None = None, seed: int = 0,
    physics: bool = True, remainder: bool = True
) -> Fits:
    """Fit every reading of the log, starting from beliefs.

    Parameters
    ----------
    castings : Castings
        From ``log.castings()``.
    beliefs : dict, optional
        Beliefs that replace the trade's, in the shape of `beliefs.toml`.
    seed : int
        The same log and seed give the same draws.
    physics : bool
        Whether heat and cure, simulated in a slab, may enter the model of the peak temperature: they do if
        the log supports them (see `physics_choice`).
    remainder : bool
        Whether the models may deviate smoothly from what the beliefs foresee (see `remainder`).

    Returns
    -------
    Fits

    Examples
    --------
    >>> fits = tp.fit_castings(castings)
    >>> fits["gel_time"]
    Gel time: 18 readings of 18 pours in 4 sessions.
    """
    study = castings.study
    models = {}
    for reading in study.readings:
        rows, assumed = rows_of(castings, reading)
        reading, assumed = counted(reading, rows, assumed)
        believed = beliefs_for(study, reading, beliefs, rows)
        physics_note: tuple[str, ...] = ()
        model: IntervalModel | None = None
        if physics:
            believed, physics_note, model = choose_terms(castings, reading, believed, rows, remainder, beliefs)
        models[reading.name] = fit_rows(study, reading, believed, rows, (*assumed, *physics_note), seed, model, remainder)
    return Fits(study, castings, models, seed)
