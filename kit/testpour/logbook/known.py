"""How a reading is known: exactly, between two checks, not yet at the last check, already by the first."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionArray

from testpour.common.units import measures, to_unit, unit_words
from testpour.common.wording import capital
from testpour.logbook.text_and_dates import missing
from testpour.study.cautions import check_read
from testpour.study.columns import Reading
from testpour.study.study import Study

HOW = ("exact", "between", "not yet", "already")
ORDER = (("gel_time", "time_to_peak"), ("gel_time", "demould_time"))  # resin gels before it is hottest, and before it can leave its mould
TIMED = frozenset(name for pair in ORDER for name in pair)


@dataclass(frozen=True)
class Known:
    """What is known of one reading."""

    low: float  # in the reading's unit, as high; -inf and inf where open, equal if exact
    high: float

    @property
    def how(self) -> str:
        """One of `HOW`."""
        return "exact" if self.low == self.high else "not yet" if self.high == math.inf else "already" if self.low == -math.inf else "between"

    def words(self, reading: Reading, digits: int = 6) -> str:
        """As it reads in a table: ``"20 to 25"``, ``"not yet at 120"``, and of what is no time ``"at least 75"``."""
        low, high = (f"{end:.{digits}g}" if abs(end) < 10**digits else f"{end:.0f}" for end in (self.low, self.high))
        if self.how in ("exact", "between"):
            return low if self.how == "exact" else f"{low} to {high}"
        below, above = ("not yet at", "already by") if is_time(reading) else ("at least", "at most")
        return f"{below} {low}" if self.how == "not yet" else f"{above} {high}"

    def said(self, reading: Reading) -> str:
        """As it reads in a sentence, with its unit: ``"20 to 25 min"``, ``"grade 2 to 3"``."""
        words = self.words(reading)
        return f"grade {words}" if reading.grades else f"{words}{unit_words(reading.unit)}"

    def way(self) -> dict[str, Any]:
        """It as a keyword argument of `Logbook.add_reading`."""
        ways: dict[str, Any] = {
            "exact": {"value": self.low}, "between": {"between": (self.low, self.high)},
            "not yet": {"not_yet": self.low}, "already": {"already": self.high},
        }
        return ways[self.how]


def out_of_order(study: Study, rows: Iterable[Any]) -> str:
    """Why the times read on one casting cannot all be right, a sentence each; empty if they can.

    Each row has the attributes ``reading``, ``low`` and ``high`` (None where open).
    """
    read = {reading.name: reading for reading in study.readings if reading.name in TIMED}
    timed = [(read[row.reading], known_of(row)) for row in rows if row.reading in read]
    return " ".join(
        f"{capital(_timed(*second))} is before {_timed(*first)}, which cannot be: resin gels first. "
        "Check both against the bench sheet and correct the one that is wrong."
        for first, second in product(timed, timed)
        if (first[0].name, second[0].name) in ORDER and _minutes(first[0], first[1].low) > _minutes(second[0], second[1].high)
    )


def doubts(study: Study, read: Sequence[Any], room: float | None = None, *, surely: bool = False) -> list[str]:
    """What is doubtful about the readings of one pour, a sentence each: every one by itself, and the order of its times.

    Parameters
    ----------
    study : Study
        Readings that it does not have are skipped.
    read : sequence
        Each with the attributes ``reading``, ``low`` and ``high`` (None where open).
    room : float, optional
        °C, of the room it was poured in.
    surely : bool, optional
        Only what is impossible, so not a peak that is just high enough to have been read in °F.

    Returns
    -------
    list of str
    """
    declared, room = {reading.name: reading for reading in study.readings}, math.nan if room is None else room
    ends = ((declared[one.reading], known_of(one)) for one in read if one.reading in declared)
    single = [text for reading, one in ends for text in check_read(reading, -math.inf if surely else one.low, one.high, room).warnings]
    return [*single, *filter(None, [out_of_order(study, read)])]


def known_of(row: Any) -> Known:
    """What is known of a reading by its row of the log, where an open end is None."""
    return Known(-math.inf if row.low is None else row.low, math.inf if row.high is None else row.high)


def how_known(readings: pd.DataFrame) -> ExtensionArray:
    """How each row of a table is known, as `Known.how` says it of one, from its columns low and high."""
    low, high = readings["low"], readings["high"]
    return pd.array(HOW, dtype="str").take(np.select([low == high, high == math.inf, low == -math.inf], [0, 2, 3], 1))


class ReadingKey(NamedTuple):
    """The key that identifies a reading of a pour."""

    reading: str
    age: float  # hours; 0 where it does not change with age
    specimen: str
    known: Known


def reading_key(row: Any) -> ReadingKey:
    """The `ReadingKey` of a reading, from its row of the log or of the castings."""
    return ReadingKey(row.reading, 0.0 if missing(row.age) else row.age, row.specimen, known_of(row))


def _timed(reading, known):
    return f"{reading.words} {known.said(reading)}"


def is_time(reading: Reading) -> bool:
    """Whether a reading is the time of an event."""
    return measures(reading.unit, "min")


def _minutes(reading, value):
    return to_unit(f"{value} {reading.unit}", "min", reading.words) if math.isfinite(value) else value
