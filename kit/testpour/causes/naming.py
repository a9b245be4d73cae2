"""The words for a cause and for what a casting misses, the same wherever an answer is shown."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from testpour.causes.signs import read_early
from testpour.causes.table import AGAIN, NOTHING
from testpour.causes.weighed_case import WeighedCase
from testpour.causes.whole_log import worse_groups
from testpour.common.wording import in_hundred, listed, within

THINNER = "Pour it thinner or in layers first, which keeps it cool"


def named(answer: WeighedCase, name: str) -> str:
    """A cause in words: which reading is most likely wrong, which lot is bad, or "as planned" where its settings brought it about."""
    cause = answer.case.table.causes[name]
    suspect = answer.case.likely.suspect(name) if cause.one_of else None
    if name == NOTHING and name in answer.openly:
        return cause.openly.format(settings=f", above all {answer.foremost}" if answer.foremost else "")
    if name in answer.openly:
        return cause.openly.format(settings=listed(dict.fromkeys(answer.case.planned.unnamed.values())))
    suspect = f"the {suspect}" if suspect else _lots(answer, cause)
    return f"{cause.words}, most likely {suspect}" if suspect else cause.words


def _lots(answer, cause):
    """The lots that are worse than others, in words, where that supports a cause; else empty."""
    case, speaking = answer.case, [sign for sign in answer.case.signs if cause.odds.get(sign, 1.0) > 1]
    blamed = {column for sign in speaking for column in case.table.signs[sign].get("worse", ()) if column.endswith("_lot")}
    if not blamed:
        return ""
    worse = worse_groups(case.fits.castings, answer.pour)
    return listed(f"{case.fits.study.factor(name).words} {lot}" for name, lot in worse.items() if name in blamed)


def ranked(shares: Sequence[tuple[str, float]], then: str) -> str:
    """A list of causes with their chances, likeliest first; one whose chance reads the same is called as likely.

    `shares` are causes in words with their chances; `then` is said before one that is less likely, ``"then "``, for example.
    """
    said = [f"{words} ({in_hundred(chance)} in 100)" for words, chance in shares]
    alike = [False, *(in_hundred(one[1]) == in_hundred(other[1]) for one, other in pairwise(shares))]
    return "; ".join(f"{'' if place == 0 else 'as likely, ' if alike[place] else then}{text}" for place, text in enumerate(said))


def of_its_own(answer: WeighedCase, words: str, name: str) -> str:
    """What brought about another miss, in a sentence; `words` name the reading that misses its aim."""
    return f"Its {words} has its own cause: {answer.case.table.causes[name].openly}."


def also_missed(answer: WeighedCase) -> str:
    """The other aims a casting misses, in a few words; empty if there are none or the whole log is in question."""
    more = [] if answer.case.throughout else [answer.case.fits.study.reading(m.aim.reading).words for m in answer.missed[1:]]
    return f"Also missed: {listed(more)}." if more else ""


def read_again(answer: WeighedCase) -> str:
    """When to read the casting again: at the age in an aim, where it was read before that."""
    early = read_early(answer.missed)
    return f"at {early[0].aim.age:g} h" if early else AGAIN


def remedy(answer: WeighedCase, name: str) -> str:
    """What to do next time about a cause, and with this casting."""
    return _agreed(answer, name).remedy(name in answer.openly, float(answer.chances[name]), read_again(answer))


def from_now_on(answer: WeighedCase, behind: Sequence[str]) -> dict[str, str]:
    """What to do from now on about the causes `behind` a casting, and about what its own settings did besides: by cause.

    Where one heated it and another slowed it, both have one order, told of the first: less catalyst and more cannot both be had,
    and thinner layers stay cool with more.
    """
    openly = {name: name in answer.openly for name in behind}
    openly |= {name: True for _, name in answer.by_settings if name not in (answer.together or (answer.first,))}
    causes = answer.case.table.causes
    orders = {name: causes[name].afterwards(so) for name, so in openly.items()}
    hot = [name for name in orders if causes[name].runs == "hot"]
    slow = next((name for name in causes if openly.get(name) and causes[name].runs == "slow"), "")
    if hot and slow:
        orders |= {slow: "", **dict.fromkeys(hot, f"{THINNER}; only then {within(orders[slow])}, since in a deep pour that runs hotter")}
    return orders


def order(answer: WeighedCase, name: str) -> str:
    """What to do with this casting about a cause."""
    return _agreed(answer, name).at_once(float(answer.chances[name]), read_again(answer))


def _agreed(answer, name):
    """A cause with what to do with this casting. For two that fit best together it is one thing, since one remedy would undo the other.

    It is the gentler: to correct the log, else what can be undone, and of two such to wait; of two that cannot be undone, what comes before.
    """
    causes, together = answer.case.table.causes, answer.together or ()
    if name not in together:
        return causes[name]
    gentler = min((causes[one] for one in together), key=lambda cause: (not cause.of_the_log, bool(cause.meanwhile), not cause.fades))
    return replace(causes[name], now=gentler.meanwhile or gentler.now, meanwhile="")
