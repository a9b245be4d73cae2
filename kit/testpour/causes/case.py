"""What is known about one casting, gathered before its causes are weighed."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from testpour.causes.complaint import Missed, at_age, caught_up, found_as, read_hard, read_on
from testpour.causes.leave_one_out import predictions
from testpour.causes.likelihood import Likelihoods, likelihoods
from testpour.causes.predicted import Predicted
from testpour.causes.reasoner import Weighed, weigh
from testpour.causes.saving import LEAST
from testpour.causes.signs import RARE, Planned, planned, signs_of, untimely
from testpour.causes.table import NOTHING, SETTINGS, CauseTable
from testpour.causes.whole_log import day_was_good, fails_beyond, fails_throughout, neighbours, noted_elsewhere, worse_groups
from testpour.likelihood.together import log_sum
from testpour.models.fits import Fits
from testpour.study.cautions import check_settings

DRY = "Leave it, since it is hard and dry"
HARD = {"where": "nowhere", "scrape": "hard beneath", "cup": "cured all over", "snap": "tough"}
BAD_DAY = {"day": "as bad as this one"}  # the log says so itself
# How much better two castings must fit each other's settings together, and each of them; common practice, no source.
SWAPPED, EACH = (float(np.log(times)) for times in (1000.0, 10.0))
THROUGHOUT = {**BAD_DAY, "different": "nothing"}  # a log that fails throughout has no other mix or casting that came out well


@dataclass(frozen=True, eq=False)
class Case:
    """What an answer is worked out from, so that a further observation need not read the log again."""

    fits: Fits
    table: CauseTable
    seen: dict[str, Predicted]
    likely: Likelihoods
    signs: set[str]
    planned: Planned
    beside: pd.DataFrame
    throughout: Missed | None = None  # the aim that nearly the whole log misses
    refused: str = ""  # why its settings may not be poured, as far as they are logged, or its times cannot all be right
    odd: bool = False  # nothing was read, a reading lies far out, or it is refused: missing no aim says little
    settled: dict[str, str] = field(default_factory=dict)  # answers that the readings have given already, so that they weigh nothing
    told: dict[str, str] = field(default_factory=dict)  # answers that the log gives, and that weigh as if somebody gave them

    def telling(self, observed: dict[str, str]) -> dict[str, str]:
        """Answers that add to what the readings and other answers already say, with those from the rest of the log: dict of question to answer."""
        known, asked = {**self.told, **observed}, self.table.questions
        return {name: said for name, said in known.items() if self.settled.get(name) != said and asked[name].has_a_point(known)}

    def under(self, observed: Mapping[str, str]) -> tuple[dict[str, str], Weighed]:
        """The observations in the wording of the table of causes, and every cause weighed given them.

        A NoSuchName or Problem where there is no such question, or no such answer to it.
        """
        said = {name: self.table.answer(name, words) for name, words in observed.items()}
        return said, weigh(self.table, self.likely, self.signs, self.planned, self.telling(said))


def case_of(fits: Fits, table: CauseTable, pour: str, found: tuple[Missed, ...], off: float | None) -> Case:
    """The `Case` of one casting: `found` are the aims it misses, `off` the share by which the scale may have missed."""
    castings, missing = fits.castings, {miss.aim.reading for miss in found}
    table = replace(table, found=found_as(castings, pour, found), tacky=bool({"tack", "hardness"} & missing))
    well, hard = caught_up(castings, pour, found), read_hard(castings, pour, found)
    if well or hard:
        table = replace(table, causes={name: _let_be(cause, well, hard) for name, cause in table.causes.items()})
    if castings.pours.loc[pour].get("catalyst", np.nan) <= LEAST:
        table = replace(table, causes={name: replace(cause, next_time=cause.next_time_lean or cause.next_time) for name, cause in table.causes.items()})
    throughout, refused = fails_throughout(castings, pour, found), _refusal(fits, pour) or untimely(castings, pour)
    seen = predictions(fits, pour, trade=throughout is not None)
    far = {name for name, predicted in seen.items() if predicted.far}
    odd = bool(not seen or refused or far)
    signs = signs_of(table, castings, pour, found, off, odd, _swapped(fits, pour, seen))
    table = table.with_signs(signs)
    for now in (table.signs[name]["now"] for name in signs if "now" in table.signs[name]):
        table = replace(table, causes={name: replace(cause, now=now, meanwhile="") if cause.alike else cause for name, cause in table.causes.items()})
    settled = _hardened(castings, pour, found) | (HARD if hard else {})
    settled |= (THROUGHOUT if throughout else {}) | (BAD_DAY if "worse_day" in signs else {})
    cold = table.signs["cold_room"]["below"] if "cold_room" in signs else None  # good castings of a room as cold would hide what it does
    beside = neighbours(castings, pour, 0 if throughout else 3, cold)  # a rare good casting of a log that fails was poured as the others were
    parts = planned(table, fits, pour, found[0] if found else None, beside)
    if forbidden := _forbidden(table, castings, throughout, signs):  # such a log knows no castings as the trade has them to compare with
        parts = parts.mostly(forbidden)
    elif throughout:  # the trade's models are of any resin, within what it allows, so none lies off them in several readings at once
        table = replace(table, readings=1.0)
    parts = replace(parts, expected=expected_miss(seen, found[0]) if found else "")
    if parts.expected and throughout:  # what is expected of one casting is expected of all
        table = replace(table, causes=table.causes | {NOTHING: _of_all(table, _misses_anyway(seen, found[0]) / RARE)})
    if SETTINGS in table.causes:
        unheated = any(name.startswith("post_cure") for name in parts.unnamed)
        table = replace(table, causes=table.causes | {SETTINGS: _spoilt(table.causes[SETTINGS], well, table.tacky, unheated)})
    once = {name for name in far if len(seen[name].rows) == 1}  # of several readings one may be a slip
    beyond = once if missing else far  # what else lies far out is to be explained too: a peak of 45 °C where 140 is usual, though no aim asks for it
    likely = likelihoods(table, seen, missing | beyond, {miss.aim.reading: miss.age for miss in found})
    moments = {reading.words for reading in fits.study.readings if not reading.ages}
    if any(likely.suspect(name) in moments for name, cause in table.causes.items() if cause.one_of):
        table = _of_the_past(table)
    noted = table.still_asked(noted_elsewhere(castings, pour, throughout))
    noted = {name: said for name, said in noted.items() if not table.question(name).of_one}
    told = noted | ({"day": "as usual"} if day_was_good(castings, pour) else {}) | ({"later": "it hardened"} if well else {})
    return Case(fits, table, seen, likely, signs, parts, beside, throughout, refused, odd, settled, told)


def _forbidden(table, castings, throughout, signs):
    """The causes of a log that fails throughout because it was poured beyond what the trade allows, with the share they explain: dict by name."""
    found = {}
    for sign in (table.signs[name] for name in signs if "explains" in table.signs[name]):
        for name in table.brought_about(sign["factor"], "below" if "below" in sign else "above"):
            if fails_beyond(castings, throughout, sign, table.causes[name].runs == "hot"):
                found[name] = sign["explains"]
    return found


def _of_all(table, times):
    """The cause of a casting with no fault, made that many times likelier where nearly every casting went this way."""
    cause = table.causes[NOTHING]
    return replace(cause, odds={sign: times if "throughout" in table.signs[sign] else odds for sign, odds in cause.odds.items()})


def _misses_anyway(seen, miss):
    """How often a casting without a fault misses an aim at these settings, 0 to 1, by the other castings or, where all miss it, by the trade."""
    predicted = seen[miss.aim.reading]
    return float(1 - predicted.fit.chances(predicted.rows.iloc[[0]], miss.aim.at_least, miss.aim.at_most).mean())


def expected_miss(seen: dict[str, Predicted], miss: Missed) -> str:
    """What the log's other castings lead one to expect at a casting's settings, in words, where that misses the aim as it does; else empty."""
    predicted, aim = seen.get(miss.aim.reading), miss.aim
    if predicted is None or not np.array_equal(predicted.rows["age"].iloc[0], miss.age, equal_nan=True):
        return ""
    middle, reading = float(predicted.expected(0.0)[0]), predicted.fit.reading
    beyond = aim.at_most is not None and middle > aim.at_most if miss.above else aim.at_least is not None and middle < aim.at_least
    return f"{reading.words} {reading.show(middle)}" if beyond else ""


def _swapped(fits, pour, seen):
    """Whether another casting of the session, and of a lot that is worse than others, and this one each read as the other's settings would have it."""
    pours = fits.castings.pours
    same = pours.index[(pours["session"] == pours.loc[pour, "session"]) & (pours["session"] != "")] if "session" in pours else ()
    for name, lot in worse_groups(fits.castings, pour).items():  # a bad bottle beside a good one reads like a mix-up of the two
        same = [other for other in same if pours.loc[other, name] == lot]
    others = pours.loc[[other for other in same if other != pour]]
    if not len(others):
        return False
    gains = dict(zip(others.index, _gains(seen, others), strict=True))
    back = {other: _gains(predictions(fits, other), pours.loc[[pour]])[0] for other, gain in gains.items() if gain > EACH}
    return any(gain > EACH and gain + gains[other] > SWAPPED for other, gain in back.items())


def _gains(seen, others):
    """Log of how many times likelier a casting's readings are at the settings of each other one (rows) than at its own: shape (h,)."""
    gains = np.zeros(len(others))
    for predicted in seen.values():
        tables = {name: np.broadcast_to(values, (len(others) + 1, len(values))) for name, values in predicted.settings.items()}
        for name in tables.keys() & set(others):
            theirs = np.append(others[name].to_numpy(float), np.nan)[:, None]  # the last are its own, kept where nothing is known
            tables[name] = np.where(np.isnan(theirs), tables[name], theirs)
        logs = log_sum(predicted.residuals(predicted.mean(tables)).log_chance(), 1)
        gains += logs[:-1] - logs[-1]
    return gains


def _of_the_past(table):
    """The table for a reading that nobody can take again, such as a gel time."""
    parts = {"causes": table.causes, "questions": table.questions, "tests": table.tests}
    return replace(table, **{kind: {name: _differing(part) for name, part in whole.items()} for kind, whole in parts.items()})


def _differing(part):
    """A cause, question or test with the lines that differ there."""
    said = {"says": part.says | part.past["says"]} if "says" in part.past else {}
    return replace(part, **part.past | said)


def _hardened(castings, pour, found):
    """What a later reading says about whether it went on hardening: it did if it came at least halfway to its aim."""
    for miss in found:
        read, aim = read_on(castings, pour, miss.aim.reading), miss.aim
        read = read[read["age"] >= miss.age]
        if aim.reading in ("hardness", "tack") and read["age"].nunique() > 1:
            bound = aim.at_most if miss.above else aim.at_least
            first, last = (abs(at_age(read, age)[["low", "high"]].mean(axis=None) - bound) for age in (miss.age, read["age"].max()))
            return {"later": "it hardened" if caught_up(castings, pour, (miss,)) or last <= first / 2 else "it stayed as it was"}
    return {}


def _let_be(cause, well, hard):
    """A cause for a casting that now meets its aims, or was hard and dry all along: it is left alone, unless something else is surely at fault."""
    if hard and cause.alike:
        return replace(cause, now=DRY, meanwhile="")
    if not well:
        return cause
    return replace(cause, now=well, meanwhile="") if cause.fades else replace(cause, meanwhile=well) if cause.meanwhile else cause


def _spoilt(cause, well, soft, unheated):
    """The settings as a cause, with what to do with the casting they spoilt: leave it, post-cure it or read it again where that may help."""
    return replace(cause, now=well or soft and (unheated and cause.now_unheated or cause.now_soft) or cause.now)


def _refusal(fits, pour):
    """Why the settings of a casting are refused, as far as they are logged; empty if they are not."""
    numbers = fits.castings.pours.loc[pour, [f.name for f in fits.study.factors if f.kind != "text"]].dropna()
    return next(iter(check_settings(fits.study, numbers.astype(float).to_dict()).refusals), "")
