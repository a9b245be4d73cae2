"""What the settings of a casting show: signs, and the share of its fault that they explain."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from testpour.causes.complaint import Missed, by_casting, read_on
from testpour.causes.shapley import compared, has_neighbours, shares
from testpour.causes.table import NOTHING, SETTINGS, SURE, CauseTable
from testpour.causes.whole_log import fails_throughout, good_beyond, missed_beyond, ordinary, worse_groups
from testpour.logbook.castings import Castings
from testpour.logbook.known import doubts
from testpour.models.fits import Fits
from testpour.physics.atlas import rise_of
from testpour.physics.lots import UNKNOWNS, lots_at

LEAST = 0.05  # share of what the settings explain below which one is not mentioned
MOST = 0.95  # share of a miss that settings explain at most, which leaves room for unseen causes; common practice, no source
RARE = 0.2  # how often settings bring a miss about below which they explain only so large a share of what they else would; common practice, no source
THIRD = 1 / 3  # of the miss that settings explain, from which it is told by the causes they stand for; common practice, no source
INSTRUMENT = 3  # different numbers that two castings do not share by chance; common practice, no source


@dataclass(frozen=True)
class Planned:
    """How much of a missed aim the settings themselves explain."""

    here: float = 0.0  # chance of missing the aim at the casting's settings and, as `there`, at its good neighbours'
    there: float = 0.0
    shares: dict[str, float] | None = None  # cause name to the share of castings like this one that miss because of it, 0 to 1 in all
    # at most what is left for chance, 0 to 1: how much rarer a miss as bad as these settings lead one to expect is at its neighbours'
    by_chance: float = 1.0
    unnamed: dict[str, str] = field(default_factory=dict)  # the settings whose part no other cause stands for: name to the words and value as logged
    neighbours: int = 2  # how many good castings it is compared with; none where it is the usual settings
    foremost: str = ""  # the setting, as logged and in words, that makes a miss the likelier most; empty where none does
    expected: str = ""  # what the log's other castings lead one to expect at its settings, in words, where that misses the aim as it does

    @property
    def whole(self) -> float:
        """The share of all settings together; a casting whose settings explain its miss needs no unseen cause."""
        return min(sum((self.shares or {}).values()), 1.0)

    def of(self, cause: str) -> float:
        """The share of one cause; of ``"nothing"``, what is left for chance.

        Where such a miss is `expected`, that is the settings once more: one thing with one share. The causes share it out where theirs is
        a third of it or more; else it takes theirs.
        """
        known = self.shares or {}
        named = sum(known.values())
        left, own = min(1 - named, self.by_chance), known.get(cause, 0.0)
        if not self.expected:
            return left if cause == NOTHING else own
        if named > THIRD * (named + left):
            return 0.0 if cause == NOTHING else own * (1 + left / named)
        return left + named if cause == NOTHING else 0.0

    def mostly(self, least: Mapping[str, float]) -> "Planned":
        """The same where some causes together explain at least as much of the miss as the largest of `least`, and the others what is left of their shares.

        `least` is cause name to share, 0 to 1; between them they share it out as before, alike where none explained anything.
        """
        had = {name: self.of(name) for name in least}
        before = sum(had.values())
        share, rest = max(before, *least.values()), max(1 - before, 1e-12)
        others = {name: part * (1 - share) / rest for name, part in (self.shares or {}).items()}
        return replace(self, shares=others | {name: share * (own / before if before else 1 / len(had)) for name, own in had.items()})


def signs_of(table: CauseTable, castings: Castings, pour: str, missed: tuple[Missed, ...] = (), off: float | None = None, odd: bool = False,
             swapped: bool = False) -> set[str]:
    """Names of the signs that a casting shows.

    `off` is the largest share of its catalyst by which the scale may have missed, where that is known. With `odd`, that it misses no
    aim says little: nothing was read on it, say, or a reading lies far out. With `swapped`, it and another casting of its day each
    read as the other should.
    """
    row, shown, throughout = castings.pours.loc[pour], set(), fails_throughout(castings, pour, missed)
    have, worse = {factor.name for factor in castings.study.factors}, worse_groups(castings, pour)
    for name, sign in table.signs.items():
        if sign.get("lot"):
            shows = any(_alone(castings.pours, lot, pour) for lot in sign["lot"] if lot in have)
        elif sign.get("worse"):
            shows = not worse.keys().isdisjoint(sign["worse"])
        elif "throughout" in sign:
            shows = throughout is not None and sign["throughout"] in (True, throughout.leans)
        elif "misses_too" in sign:
            made = sign["misses_too"]  # poured otherwise than a log that fails throughout, and yet as bad
            shows = throughout is not None and made in have and bool(missed_beyond(castings, throughout.aim, made, sign).any())
        elif "above_aim" in sign:
            shows = len(missed) > sign.get("beside", 0) and any(miss.above and miss.aim.reading == sign["above_aim"] for miss in missed)
        elif "good_beyond" in sign:
            shows = good_beyond(castings, pour, sign["good_beyond"])
        elif "swapped" in sign:
            shows = swapped
        elif "copied" in sign:
            shows = _copied(castings, pour)
        elif "good" in sign:
            shows = not missed and not odd
        elif "untimely" in sign:
            shows = bool(untimely(castings, pour))
        elif "early" in sign:
            shows = bool(read_early(missed))
        elif "late" in sign:
            aged = [m for m in missed if m.aim.age is not None]
            shows = bool(aged) and all(m.age >= sign["late"] * m.aim.age for m in aged)
        elif "within" in sign:
            shows = bool(missed) and all(m.age < sign["within"] for m in missed)
        elif "still" in sign:
            gel = read_on(castings, pour, "gel_time")
            shows = bool((np.isinf(gel["high"]) & (gel["low"] >= sign["still"])).any())
        elif "warms_below" in sign:
            shows = _own_peak(row) < sign["warms_below"]
        elif "scale" in sign:
            shows = off is not None and off > sign["scale"]
        else:
            value = row.get(sign["factor"], np.nan) if sign["factor"] in have else np.nan
            shows = bool(value < sign.get("below", -np.inf) or value > sign.get("above", np.inf))
        if shows:
            shown.add(name)
    return shown


def read_early(missed: tuple[Missed, ...]) -> list[Missed]:
    """The missed aims that were judged by a reading taken well before their age."""
    return [m for m in missed if m.early]


def untimely(castings: Castings, pour: str) -> str:
    """Why the times read on a casting, or its peak and its room, cannot all be right; empty if they can."""
    read = list(read_on(castings, pour).itertuples())
    return " ".join(doubts(castings.study, read, castings.pours.loc[pour].get("room_temperature"), surely=True))


def _own_peak(row):
    """Peak in °C that a usual resin would reach at a casting's settings; NaN where one of those that count is not known."""
    room = np.array([row.get("room_temperature", np.nan)], float)
    return (room + rise_of(lots_at(np.zeros(len(UNKNOWNS))), np.array([row.get("thickness", np.nan)], float), row.get("catalyst", np.nan), room)).item()


def _alone(pours, lot, pour):
    """Whether no other pour is from this one's lot, while others are from a named lot."""
    lots = pours[lot].fillna("").to_dict()
    own = lots.pop(pour)
    return bool(own and any(lots.values()) and own not in lots.values())


def _copied(castings, pour):
    """Whether another casting has exactly the same readings, `INSTRUMENT` of them numbers from an instrument."""
    held, mine = _held(castings), _held(castings).get(pour, ())
    whole = {reading.name for reading in castings.study.readings if not reading.grades}
    numbers = {(name, low) for name, _, low, high in mine if name in whole and low == high}
    return len(numbers) >= INSTRUMENT and sum(theirs == mine for theirs in held.values()) > 1


@lru_cache(maxsize=16)  # one casting after another is asked about
def _held(castings):
    """What each casting reads: dict of pour to the name, age (-1 where it has none), low and high of each reading, sorted."""
    held = {}
    for (reading, name), rows in by_casting(castings).items():
        held.setdefault(name, []).extend((reading, *row) for row in np.where(np.isnan(rows), -1.0, rows).tolist())
    return {name: sorted(rows) for name, rows in held.items()}


def planned(table: CauseTable, fits: Fits, pour: str, missed: Missed | None, beside: pd.DataFrame | None = None) -> Planned:
    """What share of its missed aim each planned setting explains.

    The chance of missing is compared between the casting's settings and its good neighbours'; the excess,
    as a share of the chance here and less where that is `RARE`, is divided over the settings as `split` divides a difference, and each
    positive part goes to the cause that the setting, on that side, brings about, or to `SETTINGS` where none is named for
    it; to none where good castings were poured at as much or as little. A good neighbour that shares an open face does not
    clear it where castings at these settings mostly miss: it is compared as if it had been covered. What is left for chance is held to a
    miss of the size that these settings lead one to expect: a neighbour that misses by a hair is no match for that.
    `beside` is as in `split`.
    Without an aim missed nothing is explained.
    """
    if missed is None:
        return Planned()
    fit = fits[missed.aim.reading]
    here, there = compared(fits, fit.reading, pour, beside)

    def miss(rows):
        return 1 - fit.chances(rows, missed.aim.at_least, missed.aim.at_most).mean(axis=0, keepdims=True)

    start, to = float(miss(there).mean()), _otherwise(table, fits, here, there) if miss(here).mean() > SURE else there
    names, parts, (lowest, end) = shares(miss, here, to)
    excess = min(max(0.0, 1 - lowest / end), MOST) * min(1.0, end / RARE) if end > 0 else 0.0
    pulls: dict[str, float] = {}
    known = {name: _as_logged(fits.study.factor(name), here) for name in names if name != "age"}
    unnamed, whole = {}, sum(parts[0][parts[0] > 0])
    for name, part in zip(names, parts[0], strict=True):
        side = "below" if float(here[name].iloc[0]) < float(to[name].astype(float).mean()) else "above"
        behind = table.brought_about(name, side)
        if not behind and name != "age" and part > LEAST * whole and SETTINGS in table.causes:
            behind = [SETTINGS]
            unnamed[name] = known[name]
        usual = has_neighbours(there) and name != "age" and fits.study.factor(name).kind != "yes/no" and ordinary(fits.castings, pour, name, side)
        for cause_name in behind if part > 0 and not usual else ():
            pulls[cause_name] = pulls.get(cause_name, 0.0) + part
    as_bad = _as_bad(fit, missed.aim, here)
    own, others = (float(as_bad(rows).mean()) for rows in (here, there))
    by_chance = min(others / own, 1.0) if own > 0 else 1.0
    parted = {name: excess * pull / whole for name, pull in pulls.items()}
    adds = {known[name]: part for name, part in zip(names, parts[0], strict=True) if name in known and part > LEAST * end}
    return Planned(float(end), start, parted, by_chance, unnamed, len(there) * has_neighbours(there), max(adds, key=lambda one: adds[one], default=""))


def _as_logged(factor, here):
    """A setting in words with its value; for a casting that was never post-cured, without time or temperature."""
    if factor.name.startswith("post_cure") and "post_cure_time" in here and here["post_cure_time"].iloc[0] == 0:
        return "no post-cure"
    return f"{factor.words} {factor.show(float(here[factor.name].iloc[0]))}"


def _otherwise(table, fits, here, there):
    """`there` with what may be done or left out, and brings a cause about as it was here, done the other way."""
    planned = [(step["factor"], step["side"]) for cause in table.causes.values() for step in cause.planned]
    both = {factor.name for factor in fits.study.factors if factor.kind == "yes/no" and len(set(factor.span)) == 2}
    turned = {name: 1 - here[name].iloc[0] for name, side in planned if name in both and here[name].iloc[0] == (side == "above")}
    return there.assign(**turned)


def _as_bad(fit, aim, here):
    """A function of settings tables: the chance of a reading as far beyond the aim as `here` is expected to read, (1, rows)."""
    middle = float(np.median(fit.new_castings(here)))
    beyond, low, high = False, aim.at_least, aim.at_most
    if high is not None and middle > high:
        beyond, low, high = True, middle, None
    elif low is not None and middle < low:
        beyond, low, high = True, None, middle

    def chance(rows):
        inside = fit.chances(rows, low, high).mean(axis=0, keepdims=True)
        return inside if beyond else 1 - inside

    return chance
