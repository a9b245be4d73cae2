"""Pool the logs of several benches: what holds everywhere, what differs by bench, what a newcomer may expect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from testpour.logbook.castings import Castings
from testpour.models.fits import Fits
from testpour.pooling.belief_file import PooledBeliefs, pooled_beliefs, write_beliefs
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
from testpour.pooling.joining import join_logs
from testpour.pooling.reading import PooledReading, fit_pooled
from testpour.pooling.sources import Given
from testpour.problems import NoSuchName
from testpour.study import Study
from testpour.threads import one_thread
from testpour.units import to_unit


@dataclass(frozen=True, eq=False)
class Pool:
    """Several benches' logs, fitted as one with bench, session and lot as levels.

    Parameters
    ----------
    castings : Castings
        All pours, named by their bench.
    benches : DataFrame
        One row a bench: pours, readings, sessions, fingerprint of its log.
    left_out : DataFrame
        The reasons for what could not be joined; empty where nothing was left out.
    readings : dict
        Reading name to `PooledReading`; ``pooled["gel_time"]`` is the same.
    seed : int
    assumed : tuple of str
        Each setting that a bench did not write down, with what it takes as usual.
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
        """Reading name to the effects on it in which the benches contradict each other; only such readings."""
        by_reading = {name: contradictions(fit) for name, fit in self.read.items()}
        return {name: effects for name, effects in by_reading.items() if effects}

    def contradiction_sentences(self) -> list[str]:
        """One sentence a reading about which the benches contradict each other in an effect large enough to matter."""
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
        """`Fits` of one bench of the pool, all others speaking for it where its own log is short.

        Parameters
        ----------
        bench : str

        Returns
        -------
        Fits
        """
        if bench not in self.benches.index:
            raise NoSuchName(f"No bench {bench!r} in this pool; it has {', '.join(self.benches.index)}.")
        return self._fits({name: fit.at(bench) if bench in fit.benches else fit.newcomer() for name, fit in self.readings.items()})

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
        """What holds everywhere: one row a reading and factor.

        Columns: from, to; middle, low, high of the change at the average bench (90 %); new low, new high: the same
        at a bench not in the pool; where: whether it holds at every bench, or in all logs together where the benches
        are too few to tell that; says.
        """
        rows = [row for fit in self.read.values() for row in effect_rows(fit, len(fit.benches) >= FEWEST)]
        head = ["reading", "factor", "from", "to", "middle", "low", "high", "new low", "new high", "where", "says"]
        return pd.DataFrame(rows, columns=head).set_index(["reading", "factor"])

    @cached_property
    def differences(self) -> pd.DataFrame:
        """What differs by bench: one row a reading and bench.

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
        """What differs by bench, one sentence a reading; what to expect where that cannot be told; last, contradictions."""
        if self.tells:
            return [*map(differences_in_words, self.read.values()), *self.contradiction_sentences()]
        expected = f"A newcomer's first casting at the usual settings, nine in ten: {'. '.join(map(expected_in_words, self.read.values()))}."
        return [too_few(len(self.benches)), expected, *self.contradiction_sentences()]

    __repr__ = sentence

    def _repr_html_(self):
        from testpour.pooling.pool_page import pool_html

        return pool_html(self, whole=False)

    def beliefs(self, path: str | Path | None = None) -> PooledBeliefs | Path:
        """What the pool knows, as the belief of a newcomer's bench; see `belief_file.write_beliefs`.

        Parameters
        ----------
        path : str or Path, optional
            Where to write them; they are returned, not written, where it is left out.

        Returns
        -------
        PooledBeliefs, or Path of the file
        """
        learnt = pooled_beliefs(self)
        return learnt if path is None else write_beliefs(learnt, path)

    def page(self, path: str | Path = "pool.html") -> Path:
        """Write what the pool says as one page that opens anywhere; return its path.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Path
        """
        from testpour.pooling.pool_page import write_page

        return write_page(self, path)


@one_thread
def pool(
    benches: Sequence[Given] | Mapping[str, Given], *, leave_out: bool = False,
    beliefs: Mapping[str, Any] | None = None, seed: int = 0
) -> Pool:
    """Join the logs of several benches and fit them as one.

    Parameters
    ----------
    benches : sequence, or dict of name to source
        Each the path of a data package or study folder, a Logbook or Castings. A dict names the benches.
        Notes are dropped, and who read what is numbered by bench.
    leave_out : bool
        Join what can be joined and list the rest under `left_out`, instead of refusing.
    beliefs : dict, optional
        Beliefs that replace the trade's, as for `fit_castings`; those of an earlier pool, from `read_beliefs`, also
        say how far benches lie apart.
    seed : int
        The same logs and seed give the same pool.

    Returns
    -------
    Pool

    Raises
    ------
    PoolProblems
        Where logs cannot be joined as they are, every reason in its `table`.

    Notes
    -----
    Each bench has its own level, drawn from one distribution of benches; so have sessions and lots within it, and, where five
    benches varied them, the effects of catalyst, room temperature and thickness. Where the logs bend away from what the beliefs
    foresee, all benches share the bend (see `models.remainder`). The same lot label at two benches is not taken for one drum.
    """
    joined = join_logs(benches, leave_out=leave_out)
    castings = joined.castings
    readings = {r.name: fit_pooled(castings, joined.bench_of, r, beliefs=beliefs, seed=seed) for r in castings.study.readings}
    return Pool(castings, joined.benches, joined.left_out, readings, seed, joined.assumed)
