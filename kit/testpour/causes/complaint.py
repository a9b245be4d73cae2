"""What is wrong with a casting by its own readings, and which castings of a log miss an aim."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from testpour.logbook.castings import Castings
from testpour.logbook.known import Known
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading
from testpour.study.study import Aim, Study

FIRST = ("tack", "hardness", "defects", "peak_temperature", "gel_time", "time_to_peak", "opacity")
EARLY = 0.75  # share of the age in an aim below which a reading counts as early
SLOW = {("gel_time", True), ("time_to_peak", True), ("demould_time", True), ("peak_temperature", False), ("tack", True), ("hardness", False)}
FAST = {("gel_time", False), ("time_to_peak", False), ("demould_time", False), ("peak_temperature", True)}
FINGER = (30.0, 60.0)  # Shore D up to which a casting yields to finger and nail, and from which none does; a shoe's heel has 22: rubber suppliers
TRADE = (Aim("tack", at_most=1.0), Aim("defects", at_most=1.0))  # where a study states no aim of its own


@dataclass(frozen=True)
class Missed:
    """An aim that a casting misses."""

    aim: Aim
    seen: str  # what was read, in words
    age: float  # hours after mixing at which it was read; NaN for a reading with one moment of its own
    above: bool  # whether it was read above what the aim allows, else below

    @property
    def early(self) -> bool:
        """Whether it was read well before the age in the aim."""
        return self.aim.age is not None and self.age < EARLY * self.aim.age

    @property
    def own(self) -> bool:
        """Whether the reading is the owner's own, which no cause of the trade mentions."""
        return self.aim.reading not in catalogue()["readings"]

    @property
    def leans(self) -> str:
        """Which way the cure went: "slow" if slow or incomplete, "fast" if fast or hot, else ""."""
        side = self.aim.reading, self.above
        return "slow" if side in SLOW else "fast" if side in FAST else ""

    def read(self, study: Study) -> str:
        """What was read alone, for example ``"tack grade 2 (tacky) at 24 h"``."""
        return f"{study.reading(self.aim.reading).words} {self.seen}" + (f" at {self.age:g} h" if np.isfinite(self.age) else "")

    def words(self, study: Study) -> str:
        """For example ``"tack grade 2 (tacky) at 24 h, where the aim is at most grade 1 (slightly tacky)"``."""
        reading = study.reading(self.aim.reading)
        asked = Aim(self.aim.reading, self.aim.at_least, self.aim.at_most).words(reading)
        due = f" at {self.aim.age:g} h" if self.early else ""
        return f"{self.read(study)}, where the aim is {asked.removeprefix(reading.words + ' ')}{due}"


def aims_of(study: Study) -> tuple[Aim, ...]:
    """The study's aims, and the trade's for tack and defects where it states none about them."""
    stated = {aim.reading for aim in study.aims}
    have = {reading.name for reading in study.readings}
    return (*study.aims, *(aim for aim in TRADE if aim.reading in have - stated))


def missed(castings: Castings, pour: str) -> tuple[Missed, ...]:
    """The aims a casting misses by its readings, the most telling first: tuple of `Missed`."""
    found = []
    for aim in aims_of(castings.study):
        side = _sides(castings, aim).get(pour)
        if side:
            rows = at_age(read_on(castings, pour, aim.reading), aim.age)
            words = seen_words(castings.study.reading(aim.reading), rows)
            found.append(Missed(aim, words, float(rows["age"].iloc[0]), side > 0))
    return tuple(sorted(found, key=lambda m: FIRST.index(m.aim.reading) if m.aim.reading in FIRST else len(FIRST)))


def asked_about(castings: Castings, pour: str | None) -> str:
    """The casting to explain: the one named, else the last that misses an aim, else the last.

    Empty in an empty log; a NoSuchName where the log has no such pour.
    """
    names = list(castings.pours.index)
    if pour is None:
        return ([name for name in names if missed(castings, name)] or names or [""])[-1]
    castings.check_pour(pour)
    return pour


def at_age(rows: pd.DataFrame, age: float | None) -> pd.DataFrame:
    """The rows of one casting read nearest the age in an aim.

    Of one kind of reading, with ages in h; None takes the latest.
    """
    return rows[_nearest(rows["age"].to_numpy(float), age)]


def _nearest(ages, age):
    """Which ages are the one nearest to `age`, or the latest if that is None; all where none has an age."""
    if np.isnan(ages).all():
        return np.full(len(ages), True)
    if age is None:  # a casting that cracks or yellows in a month was sound the next day
        return ages == np.nanmax(ages)
    return ages == ages[np.nanargmin(np.abs(ages - age))]


def seen_words(reading: Reading, rows: pd.DataFrame) -> str:
    """Readings of one moment in words; several numbers as their range. There must be one at least."""
    low, high = rows["low"].min(), rows["high"].max()
    if low == high:
        return reading.show(low)
    return reading.between(low, high) if len(rows) > 1 and np.isfinite([low, high]).all() else Known(low, high).said(reading)


@lru_cache(maxsize=16)  # one casting after another is asked about
def _by_pour(castings):
    """The readings of each casting that was read: dict of pour to DataFrame."""
    return dict(tuple(castings.readings.groupby("pour", sort=False)))


def read_on(castings: Castings, pour: str, reading: str = "") -> pd.DataFrame:
    """The readings of one casting, rows of ``castings.readings``, of one kind where a `reading` is named; empty where nothing was read."""
    rows = _by_pour(castings).get(pour, castings.readings.iloc[:0])
    return rows[(rows["reading"] == reading).to_numpy(bool)] if reading else rows


@lru_cache(maxsize=16)
def by_casting(castings: Castings) -> dict[tuple[str, str], np.ndarray]:
    """Age, low and high of each reading of each casting: dict of (reading, pour) to array (k, 3)."""
    readings = castings.readings
    found: dict[tuple[str, str], list[int]] = {}
    values = readings[["age", "low", "high"]].to_numpy(float)
    for place, key in enumerate(zip(readings["reading"], readings["pour"], strict=True)):
        found.setdefault(key, []).append(place)
    return {key: values[places] for key, places in found.items()}


@lru_cache(maxsize=64)  # a few aims of each of those logs
def _sides(castings, aim):
    """On which side each casting that was read for an aim misses it, as in `_beyond`: dict by pour."""
    return {pour: _beyond(aim, rows) for (name, pour), rows in by_casting(castings).items() if name == aim.reading}


def _beyond(aim, rows):
    """On which side the average of some readings, ages, lows and highs, certainly misses the aim: 1 above, -1 below, else 0."""
    _, low, high = rows[_nearest(rows[:, 0], aim.age)].mean(axis=0)
    return int(aim.at_most is not None and low > aim.at_most) - int(aim.at_least is not None and high < aim.at_least)


def read_hard(castings: Castings, pour: str, found: Iterable[Missed]) -> bool:
    """Whether a casting's own readings say that it is hard and dry: hardness and tack were read, neither misses an aim."""
    read = set(read_on(castings, pour)["reading"])
    return {"tack", "hardness"} <= read and not {"tack", "hardness"} & {m.aim.reading for m in found}


def found_as(castings: Castings, pour: str, found: Iterable[Missed]) -> tuple[float, float, float]:
    """Chances, given its readings, that a casting feels soft, hard but tacky, or hard and dry.

    One that misses its hardness is soft to the degree its Shore D shows, and for sure on another scale. What was not read, or has no
    aim, is equally likely either way.
    """
    aims, asked = {miss.aim.reading: miss.aim for miss in found}, {aim.reading for aim in aims_of(castings.study)}
    read = asked.intersection(read_on(castings, pour)["reading"])
    tacky = float("tack" in aims) if "tack" in read else 0.5
    soft = 0.0 if "hardness" in read else 0.5
    if "hardness" in aims:
        shore = at_age(read_on(castings, pour, "hardness"), aims["hardness"].age)[["low", "high"]].mean(axis=None)
        soft = float(np.interp(shore, FINGER, (1.0, 0.0))) if castings.study.reading("hardness").unit == "Shore D" else 1.0
    return soft, (1 - soft) * tacky, (1 - soft) * (1 - tacky)


def unread(castings: Castings, pour: str) -> tuple[Aim, ...]:
    """The aims at an age that the casting was not yet read at: tuple of `Aim`."""
    latest = read_on(castings, pour).groupby("reading")["age"].max()
    return tuple(aim for aim in castings.study.aims if aim.age is not None and not latest.get(aim.reading, 0.0) >= EARLY * aim.age)


def misses(castings: Castings, aim: Aim) -> dict[str, bool]:
    """Whether each casting that was read for an aim misses it: dict by pour."""
    return {pour: side != 0 for pour, side in _sides(castings, aim).items()}


def caught_up(castings: Castings, pour: str, missed: tuple[Missed, ...]) -> str:
    """What to do with a casting whose last reading meets an aim that it missed at first.

    Empty without one, while its hardness is not yet as asked, since dry at last it may be soft beneath, and where its last tack is not.
    """
    told = ""
    for miss in missed:
        read = read_on(castings, pour, miss.aim.reading)
        last = read["age"].max()
        if last > miss.age and not misses(castings, replace(miss.aim, age=last))[pour]:
            reading = castings.study.reading(miss.aim.reading)
            told = told or f"Leave it, since its {reading.words} at {last:g} h, {seen_words(reading, at_age(read, last))}, is as asked"
        elif miss.aim.reading == "hardness" or miss.aim.reading == "tack" and last > miss.age:
            return ""
    return told
