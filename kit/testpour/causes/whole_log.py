"""What the whole log shows: the aims that nearly all castings miss, which came out good, and which are alike."""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np
import pandas as pd

from testpour.causes.complaint import Missed, aims_of, missed, misses, read_on
from testpour.logbook.castings import Castings
from testpour.study.study import Aim

THROUGHOUT = 0.75  # share of a log's castings that miss an aim from which on the study itself is in question
GROUPS = ("session", "resin_lot", "catalyst_lot")  # columns that castings share and that may be worse than others
NOTED = re.compile(r"observed: ([^.]*)\.")
ORDINARY = 1 / 3  # share of the good castings beyond a setting from which on it is neither little nor much; common practice, no source


def fails_throughout(castings: Castings, pour: str, found: Iterable[Missed]) -> Missed | None:
    """Of a casting's missed aims that nearly the whole log misses, the one that most castings miss: a `Missed`, or None.

    Of several missed by as many it is one with two ends: an aim with one end may be a wish.

    At least two other castings must have been read for it, and three in four of all that were miss it, or another aim the
    same way, slow or fast, this one included: a cold room makes one casting tacky and the next soft.
    What was read well before its age is not due yet, and says nothing about the study. Nor does a reading of the owner's own: no cause
    of the trade mentions it, and only the log can show what its settings do to it.
    """
    due = [miss for miss in found if not (miss.own or miss.early) and pour in misses(castings, miss.aim)]
    shared = [miss for miss in due if missed_by_most(castings, miss.aim) or _most_lean(castings, miss.leans)]
    return max(shared, key=lambda miss: (sum(misses(castings, miss.aim).values()), None not in (miss.aim.at_least, miss.aim.at_most)), default=None)


@lru_cache(maxsize=32)  # one casting after another is asked about
def _most_lean(castings, leans):
    """Whether three in four castings miss an aim in this way, slow or fast, by readings that were due."""
    if not leans:
        return False
    told = {pour: missed(castings, pour) for pour in castings.readings["pour"].unique()}
    return _most([any(miss.leans == leans and not miss.early for miss in found) for found in told.values()])


def _most(bad):
    """Whether three in four of some castings are bad; there must be three or more."""
    return len(bad) > 2 and bool(np.mean(bad) >= THROUGHOUT)


def fails_beyond(castings: Castings, shared: Missed | None, sign: Mapping, hot: bool) -> bool:
    """Whether a log that fails throughout was poured beyond what the trade allows of a setting, and went the way that has it.

    `shared` is the aim that nearly the whole log misses: three in four of the castings that miss it must lie beyond the bound that `sign`
    states of its factor, ``below`` or ``above``. `hot` is whether such a setting makes them fast or hot; else it makes them slow.
    """
    if shared is None or shared.leans != ("fast" if hot else "slow") or sign["factor"] not in castings.pours:
        return False
    return _most(list(missed_beyond(castings, shared.aim, sign["factor"], sign)))


def missed_beyond(castings: Castings, aim: Aim, factor: str, bound: Mapping) -> pd.Series:
    """Whether each casting that misses an aim was made beyond a `bound` of a factor, which it states as ``below`` or ``above``."""
    bad = [pour for pour, misses_it in misses(castings, aim).items() if misses_it]
    values = castings.pours.loc[bad, factor]
    return (values < bound.get("below", -np.inf)) | (values > bound.get("above", np.inf))


def missed_by_most(castings: Castings, aim: Aim) -> bool:
    """Whether three in four castings that were read miss an aim; three or more must have been read."""
    return _most(list(misses(castings, aim).values()))


def good_pours(castings: Castings) -> list[str]:
    """Names of the castings that were read and miss no aim."""
    return list(castings.pours.index[_good(castings)])


@lru_cache(maxsize=16)  # one casting after another is asked about
def _labels(castings):
    """The session and the lots of each casting as text, blank where not written down: dict of column to array, in the order of the pours."""
    return {name: castings.pours[name].fillna("").astype(str).to_numpy(object) for name in GROUPS if name in castings.pours}


@lru_cache(maxsize=16)
def _read(castings):
    """Whether anything was read on each casting: array of bool, in the order of the pours."""
    return castings.pours.index.isin(castings.readings["pour"])


@lru_cache(maxsize=16)
def _good(castings):
    """Whether each casting was read and misses no aim: array of bool, in the order of the pours."""
    bad = {pour for aim in aims_of(castings.study) for pour, misses_it in misses(castings, aim).items() if misses_it}
    return _read(castings) & ~castings.pours.index.isin(bad)


def worse_than_others(castings: Castings, column: str, pour: str) -> bool:
    """Whether the castings read that share a lot or a session with `pour`, two or more, mostly miss an aim while others mostly do not.

    `column` is a lot, or ``"session"``.
    """
    named, good, read = _labels(castings)[column], _good(castings), _read(castings)
    own = named[castings.pours.index.get_loc(pour)]
    mine, others = read & (named == own), read & (named != own) & (named != "")
    return bool(own and mine.sum() > 1 and others.sum() > 1 and good[mine].mean() <= 1 / 3 < good[others].mean())


@lru_cache(maxsize=64)  # one casting after another is asked about, reading by reading
def worse_groups(castings: Castings, pour: str) -> dict[str, str]:
    """What a casting shares that is worse than others, as `worse_than_others` says: dict of column to its session or lot.

    One is left out where another explains it: of a day on which only the bad bottle was used, whose castings of other days
    miss too, the bottle is named and not the day.
    """
    named, good, place = _labels(castings), _good(castings), castings.pours.index.get_loc(pour)
    labels = {name: named[name][place] for name in named if worse_than_others(castings, name, pour)}
    shared = {name: _read(castings) & (named[name] == label) for name, label in labels.items()}

    def without(one, other):
        apart = good[shared[one] & ~shared[other]]
        return len(apart) > 1 and apart.mean() <= 1 / 3

    return {name: label for name, label in labels.items() if not any(without(other, name) and not without(name, other) for other in labels)}


def day_was_good(castings: Castings, pour: str) -> bool:
    """Whether the other castings of its session from its lots, two or more, mostly came out good."""
    named, place = _labels(castings), castings.pours.index.get_loc(pour)
    alike = np.logical_and.reduce([_read(castings), *(labels == labels[place] for labels in named.values())])
    alike[place] = False
    good = _good(castings)[alike]
    return bool("session" in named and named["session"][place] and good.sum() > 1 and good.mean() > 2 / 3)


def good_beyond(castings: Castings, pour: str, sides: Mapping[str, str]) -> bool:
    """Whether another casting came out good with settings at least as far on the named sides.

    Each side is ``"above"`` or ``"below"``; a factor that is not in the log is ignored.
    """
    good, pours = _good(castings) & (castings.pours.index != pour), castings.pours
    for name in sides.keys() & set(pours):
        values, own = pours[name].to_numpy(float), float(pours.loc[pour, name])
        good = good & (values >= own if sides[name] == "above" else values <= own)
    return bool(good.any())


def ordinary(castings: Castings, pour: str, name: str, side: str) -> bool:
    """Whether a setting is little or much by name only: a third or more of the other good castings lie as far on that side, or farther."""
    good = castings.pours.loc[_good(castings) & (castings.pours.index != pour), name].to_numpy(float)
    own = float(castings.pours.loc[pour, name])
    return len(good) > 0 and bool((good >= own if side == "above" else good <= own).mean() >= ORDINARY)


def neighbours(castings: Castings, pour: str, count: int = 3, warm: float | None = None) -> pd.DataFrame:
    """The good castings whose settings lie nearest to those of `pour`, each factor by its span.

    Rows of ``castings.pours``, `count` at most, nearest first; empty where no other casting came out good. `warm`, °C, leaves only
    castings whose room was logged as at least this warm.
    """
    good, away = _good(castings).copy(), np.zeros(len(castings.pours))
    place = castings.pours.index.get_loc(pour)
    for factor in castings.study.factors:
        if factor.kind != "text":
            values = castings.pours[factor.name].to_numpy(float)
            values = np.where(np.isnan(values), factor.usual, values)
            away += ((values - values[place]) / _width(factor)) ** 2
    good[place] = False
    if warm is not None:
        good &= castings.pours["room_temperature"].to_numpy(float) >= warm
    nearest = np.argsort(np.where(good, away, np.inf), kind="stable")
    return castings.pours.iloc[nearest[: min(count, good.sum())]]


def _width(factor):
    span = factor.span if len(set(factor.span)) == 2 else (factor.low, factor.high)
    width = span[1] - span[0]
    return width if np.isfinite(width) and width > 0 else 1.0


def noted_for(castings: Castings, pour: str) -> dict[str, str]:
    """Answers kept in the notes of a casting, as `Answer.note` words them: dict of question to answer."""
    notes = [castings.pours.loc[pour, "note"] if "note" in castings.pours else ""]
    readings = read_on(castings, pour)
    notes += list(readings["note"]) if "note" in readings else []
    found: dict[str, str] = {}
    for note in notes:
        for said in NOTED.findall(str(note or "")):
            pairs = (part.split("=", 1) for part in said.split(";") if "=" in part)
            found |= {key.strip(): value.strip() for key, value in pairs}
    return found


@lru_cache(maxsize=16)  # one casting after another is asked about
def _noted(castings):
    """The answers noted on each casting: dict by pour."""
    return {pour: noted_for(castings, pour) for pour in castings.pours.index}


def noted_elsewhere(castings: Castings, pour: str, shared: Missed | None) -> dict[str, str]:
    """Answers noted on other castings of a log that all miss one aim, `shared`: they went the same way, so what was seen on one stands for all.

    Dict of question to answer; none of a question that was answered differently on two of them.
    """
    said: dict[str, set[str]] = {}
    for other, misses_it in misses(castings, shared.aim).items() if shared else ():
        for question, answer in _noted(castings)[other].items() if misses_it and other != pour else ():
            said.setdefault(question, set()).add(answer)
    return {question: answers.pop() for question, answers in said.items() if len(answers) == 1}
