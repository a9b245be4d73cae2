"""Fits: every reading of a study fitted to one log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from testpour.models.beliefs import beliefs_for
from testpour.models.log_rows import rows_of
from testpour.models.physics_choice import chosen
from testpour.models.reading_fit import ReadingFit, fit_rows
from testpour.models.settings import SettingsGiven
from testpour.problems import NoSuchName
from testpour.threads import one_thread
from testpour.wording import in_markdown

if TYPE_CHECKING:
    from testpour.likelihood.interval import IntervalModel
    from testpour.logbook.castings import Castings
    from testpour.study import Study


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

    def predict(
        self, settings: SettingsGiven | None = None, *, room: str | float | None = None,
        age: str | float | None = None, level: float = 0.9
    ) -> pd.DataFrame:
        """Every reading of one new casting: one row a setting and reading; see `ReadingFit.predict`.

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
    """Fit every reading of the log, beliefs underneath.

    Parameters
    ----------
    castings : Castings
        From ``log.castings()``.
    beliefs : dict, optional
        Beliefs that replace the trade's, in the shape of `beliefs.toml`.
    seed : int
        The same log and seed give the same draws.
    physics : bool
        Whether heat and cure, followed through a slab, may enter the model of the peak temperature: they do
        where the log speaks for them (see `physics_choice`).
    remainder : bool
        Whether the models may bend away from what the beliefs foresee (see `remainder`).

    Returns
    -------
    Fits
    """
    study = castings.study
    models = {}
    for reading in study.readings:
        rows, assumed = rows_of(castings, reading)
        believed = beliefs_for(study, reading, beliefs, rows)
        said: tuple[str, ...] = ()
        model: IntervalModel | None = None
        if physics:
            believed, said, model = chosen(castings, reading, believed, rows, remainder, beliefs)
        models[reading.name] = fit_rows(study, reading, believed, rows, (*assumed, *said), seed, model, remainder)
    return Fits(study, castings, models, seed)
