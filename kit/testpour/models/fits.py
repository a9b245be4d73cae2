"""Fits: every reading of a study fitted to one log, and the narrowed spread used for chances.

Beliefs are so wide that a real resin is inside, and a log of 8 to 24 castings narrows neither scatter nor shape to what they
are: gel time, hardness and tack scatter a quarter to two fifths less than their models say. A chance of meeting every aim
multiplies that and comes out too low, so it is computed from models whose spread is narrowed to `NARROWED`. That is chosen on thirty-two
resins of four families (`tests/benchmarks/families`): shares of 0.7 to 0.8 have the smallest Brier score (.0238 and .0237 above that
of the truth, .0247 with the whole spread), and of these 0.7 and 0.75 the smallest calibration error.

Forty and twenty resins of two other makes played no part in that. After 12 and 24 pours, with a share of 1, then of 0.75:

                                                        families               one make               the other
    calibration error of chances of 0.2 to 0.9     .117 .100, .054 .050   .125 .122, .068 .064   .114 .083, .044 .014
    90 % intervals of these that hold the truth    .87 .81, .91 .87       .89 .87, .93 .93       .91 .90, .95 .95
    said less true, at recommended settings        -.16 -.09, -.06 -.01   -.11 -.07, -.01 +.02   -.15 -.06, -.07 +.03
    change in the Brier score (standard error)     -.0011 (.0006),        -.0009 (.0004),        -.0005 (.0006),
                                                   -.0008 (.0005)         -.0009 (.0004)         -.0011 (.0004)

These figures took a bound as it stands. A gauge in whole numbers reads 70 from 69.5 on, which counts now (see `scales.met_from_to`):
on forty logs of the first make, at 120 settings each and those poured, the error was .059 and .067 before and is .051 and .051.

Where these models also ask for their own pours, the share of the best possible chance that the recommended settings reach changes
by -0.002 (0.011) on twelve resins of the families and by +0.001 (0.006) on twelve of the first make, mean of sessions 2 to 6.

A fifth to a quarter of what was too low is no fault of the models: these resins were kept only where some settings meet
the aims. With aims drawn without that condition the error was .091 and .074 on the families.

A person's own reading has none of the trade's too wide beliefs in it, so its spread is not narrowed. Eighty logs of a score in
whole numbers, 0 to 5, drawn at random (a line in every setting and a bend, castings alike 0.2 to 1 apart), at 150 settings each: after
24 pours, where .90 is said, .82 is true with a share of 0.75 and .89 with 1, where .99 is said, .95, and .98 where .98 is said; the
squared error falls by a tenth to a sixth after 24 pours and after 12, less for scores to 100.

What a casting will read is not narrowed: at recommended settings 94 in 100 castings fall in the 90 % interval of gel time and of
hardness, 87 of peak temperature. A share learned from each log, by the density of every pour where it is left out and the model
fitted again, is near 1 (after 24 pours of eight resins gel time 0.95, hardness 1.02, peak 1.06, tack 0.86, opacity 0.89): the
spread is about right over all that is poured, and too wide where all aims may be met.
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
