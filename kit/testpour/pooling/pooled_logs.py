"""What the joined logs of several benches show: what holds everywhere, what differs by bench, what a newcomer may expect."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from testpour.common.problems import NoSuchName
from testpour.common.units import to_unit
from testpour.logbook.castings import Castings
from testpour.models.fits import Fits
from testpour.pooling.bench_words import (
    FEWEST,
    Expected,
    difference_unit,
    differences_in_words,
    effect_rows,
    expected_in_words,
    joined_words,
    shown_difference,
    too_few,
)
from testpour.pooling.contradictions import Contradiction, contradiction_words, contradictions
from testpour.pooling.reading import PooledReading
from testpour.study.study import Study


@dataclass(frozen=True, eq=False)
class PooledLogs:
    """Several benches' logs, fitted as one with bench, session and lot as levels.

    Parameters
    ----------
    castings : Castings
        All pours, named by their bench.
    benches : DataFrame
        One row per bench: pours, readings, sessions, fingerprint of its log.
    left_out : DataFrame
        The reasons for what could not be joined; empty where nothing was left out.
    readings : dict
        Reading name to `PooledReading`; ``pooled["gel_time"]`` is the same.
    seed : int
    assumed : tuple of str
        Each setting that a bench did not write down, with its usual value.
    """

    castings: Castings
    benches: pd.DataFrame
    left_out: pd.DataFrame
    readings: dict[str, PooledReading]
    seed: int = 0
    assumed: tuple[str, ...] = ()

    def __getitem__(self, name):
        if name not in self.readings:
            raise NoSuchName(f"No reading {name!r} in this pool; it has {', '.join(self.readings)}.")
        return self.readings[name]

    @property
    def study(self) -> Study:
        """The joint study: the factors and readings of all benches, the aims of the first."""
        return self.castings.study

    @property
    def read(self) -> dict[str, PooledReading]:
        """The readings that were taken of at least one pour, by name."""
        return {name: fit for name, fit in self.readings.items() if fit.average.pours}

    @property
    def tells(self) -> bool:
        """Whether there are enough benches to tell how benches differ."""
        return len(self.benches) >= FEWEST

    @cached_property
    def contradictions(self) -> dict[str, tuple[Contradiction, ...]]:
        """Reading name to the effects on which the benches contradict each other; only such readings."""
        by_reading = {name: contradictions(fit) for name, fit in self.read.items()}
        return {name: effects for name, effects in by_reading.items() if effects}

    def contradiction_sentences(self) -> list[str]:
        """One sentence for each reading with a contradiction between benches large enough to matter."""
        sentences = (contradiction_words(self[name], found) for name, found in self.contradictions.items())
        return [text for text in sentences if text]

    @cached_property
    def newcomer(self) -> Fits:
        """`Fits` of a bench that is not in the pool yet: `predict`, `recommend` and `chance` take it."""
        return self._fits({name: fit.newcomer() for name, fit in self.readings.items()})

    @cached_property
    def average(self) -> Fits:
        """`Fits` of the average bench."""
        return self._fits({name: fit.average for name, fit in self.readings.items()})

    def at(self, bench: str) -> Fits:
        """`Fits` of one bench of the pool, supported by all the others if its own log is short.

        Parameters
        ----------
        bench : str

        Returns
        -------
        Fits
        """
        if bench not in self.benches.index:
            raise NoSuchName(f"No bench {bench!r} in this pool; it has {', '.join(self.benches.index)}.")
        fits = self._fits({name: fit.at(bench) if bench in fit.benches else fit.newcomer() for name, fit in self.readings.items()})
        its = self.benches.index.repeat(self.benches["pours"]) == bench  # the pours are in the order of the benches
        own = self.castings.pours[its].notna().any()  # it gets no advice on settings that it never wrote down
        return replace(fits, study=replace(self.study, factors=tuple(f if own[f.name] else replace(f, span=()) for f in self.study.factors)))

    def _fits(self, models):
        return Fits(self.study, self.castings, models, self.seed)

    def expect(
        self, settings: Mapping[str, str | float] | None = None, *, bench: str | None = None,
        room: str | float | None = None, age: str | float | None = None
    ) -> Expected:
        """What one casting should read at a bench, by default at a newcomer's before its first pour.

        Parameters
        ----------
        settings, room, age
            As for `ReadingFit.predict`.
        bench : str, optional
            One of the pool's.

        Returns
        -------
        Expected
        """
        fits, hours = self.newcomer if bench is None else self.at(bench), None if age is None else to_unit(age, "h", "age")
        return Expected(self.study, bench or "", fits.predict(settings, room=room, age=hours), hours)

    @cached_property
    def table(self) -> pd.DataFrame:
        """What holds everywhere: one row per reading and factor.

        Columns: from, to; middle, low, high of the change at the average bench (90 %); new low, new high: the same
        at a bench not in the pool; where: whether it holds at every bench, or in all logs together where the benches
        are too few to tell that; says.
        """
        rows = [row for fit in self.read.values() for row in effect_rows(fit, len(fit.benches) >= FEWEST)]
        head = ["reading", "factor", "from", "to", "middle", "low", "high", "new low", "new high", "where", "says"]
        return pd.DataFrame(rows, columns=head).set_index(["reading", "factor"])

    @cached_property
    def differences(self) -> pd.DataFrame:
        """What differs by bench: one row per reading and bench.

        Columns: middle, low, high of the difference from the average bench (90 %), its unit, and whether the bench
        stands out.
        """
        parts, ends = {}, ["middle", "low", "high"]
        for fit in self.read.values():
            table = fit.differences()
            table[ends] = shown_difference(fit, table[ends].to_numpy()).round(2) + 0.0
            table.insert(3, "unit", difference_unit(fit))
            parts[fit.reading.words] = table
        return pd.concat(parts, names=["reading"]) if parts else pd.DataFrame()

    def sentence(self) -> str:
        """What the pool says, in a few sentences."""
        return " ".join([self.joined(), *self.bench_sentences()])

    def joined(self) -> str:
        """How much was joined, what was left out, and what was assumed."""
        return joined_words(self.benches, self.left_out, self.assumed)

    def bench_sentences(self) -> list[str]:
        """What differs by bench, one sentence per reading, or what to expect if that cannot be told; then contradictions."""
        if self.tells:
            return [*map(differences_in_words, self.read.values()), *self.contradiction_sentences()]
        expected = f"A newcomer's first casting at the usual settings, nine in ten: {'. '.join(map(expected_in_words, self.read.values()))}."
        return [too_few(len(self.benches)), expected, *self.contradiction_sentences()]

    __repr__ = sentence
