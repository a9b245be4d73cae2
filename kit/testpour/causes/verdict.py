"""An answer in at most ninety words: the miss, the likeliest causes, why, what to do now and next time, what tells."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from testpour.causes.complaint import unread
from testpour.causes.signs import read_early
from testpour.causes.table import NOTHING
from testpour.causes.telling import cheapest_test, told_apart
from testpour.wording import in_html, in_hundred, listed

if TYPE_CHECKING:
    from testpour.causes.answer import Answer

ENOUGH = 0.05  # chance below which a cause is not spoken of
PIECES = 3  # of evidence told
WORDS = 90  # at most, in the short answer
AS_EXPECTED = (NOTHING, "reading_error", "wrong_entry")  # causes for which a reading as expected is told as evidence
EVIDENCE, TEST = 2, 7  # places of the first piece of evidence and of the test among the sentences
RIVALS = 2  # shown beside the likeliest cause
FRESH = "Pour a cup from fresh stock"
TELLS_STUDY = {  # what to try first where the whole log fails, by the likeliest cause; `FRESH` by any other
    "too_little_catalyst": "Pour a cup with the catalyst weighed on a fine scale",
    "cold": "Pour a cup with resin, mould and room at 20 °C",
    "cold_night": "Keep a cup warm through its first night",
    "read_too_early": "Read one again a day later",
}


def verdict(answer: "Answer") -> str:
    """The answer in at most `WORDS` words.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    str
    """
    miss, bars, told = _short(answer)
    shares = [f"{words}, {in_hundred(chance)} in 100" for words, chance in bars]
    likeliest = f"Likeliest: {'; then '.join(shares)}."
    return " ".join([miss, likeliest, *told])


def short_page(answer: "Answer") -> str:
    """The same as HTML: what was asked, the likeliest causes as bars, and the rest.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    str
    """
    miss, bars, told = _short(answer)
    shown = "".join(
        f'<div><meter min="0" max="100" value="{round(100 * chance)}"></meter> {in_html(words)}: {in_hundred(chance)} in 100</div>'
        for words, chance in bars
    )
    return f"<p>{in_html(miss)}</p>{shown}" + "".join(f"<p>{in_html(text)}</p>" for text in told)


def whole_study(answers: Iterable["Answer"]) -> str:
    """What the study as a whole suffers from, and the test that tells; empty where no aim is missed throughout.

    The cause is the one that most of its castings are told, so that the two agree; its chance is the average over them.

    Parameters
    ----------
    answers : iterable of Answer
        Of its castings.

    Returns
    -------
    str
    """
    told = [answer for answer in answers if answer.case.throughout]
    if not told:
        return ""
    mean = sum(answer.chances.sort_index() for answer in told) / len(told)
    first = max(mean.index, key=lambda name: (sum(answer.first == name for answer in told), mean[name]))
    second = mean.drop(first).idxmax()
    study, by = told[0].case.fits.study, next(answer for answer in told if answer.first == first)
    aims = [answer.case.throughout.aim for answer in told if answer.case.throughout]
    missed = listed(dict.fromkeys(study.reading(aim.reading).words for aim in aims))
    test, rival = TELLS_STUDY.get(first, FRESH), ""
    if mean[second] <= mean[first]:
        rival = f"; next, {named(by, second)}, {in_hundred(mean[second])}"
    return (
        f"Nearly every casting of this log misses its aim for {missed}, so look at the study first. Likeliest: {named(by, first)}, "
        f"{in_hundred(mean[first])} in 100{rival}. To tell, "
        f"{test[0].lower()}{test[1:]}: if that comes out well, this was it."
    )


def named(answer: "Answer", name: str) -> str:
    """A cause in words: of a wrong reading, which one it most likely is; as planned where its settings brought it about.

    Parameters
    ----------
    answer : Answer
    name : str
        Of the cause.

    Returns
    -------
    str
    """
    cause = answer.case.table.causes[name]
    suspect = answer.case.likely.suspect(name) if cause.one_of else None
    if cause.openly and answer.weighed.table.loc[name, "openly"] > 0.5:
        return cause.openly.format(settings=listed(answer.case.planned.unnamed))
    return f"{cause.words}, most likely the {suspect}" if suspect else cause.words


def _short(answer: "Answer") -> tuple[str, list[tuple[str, float]], list[str]]:
    """The miss, the bars (words and chance) and the sentences after them, the most useful as far as `WORDS` reach."""
    behind = answer.together or (answer.first,)
    bars = [(named(answer, name), answer.chances[name]) for name in behind]
    must = _must(answer, behind)
    miss = _miss(answer)
    left = WORDS - _count(miss, *must.values(), *map(_bar_words, bars))
    for name, chance in answer.chances.items():
        bar = named(answer, name), chance
        close = len(bars) == len(behind) and not told_apart(answer.chances)  # who it may as well be comes before the evidence
        free = left if close else left - _kept(answer)
        if name not in behind and chance >= ENOUGH and len(bars) <= RIVALS and _count(_bar_words(bar)) <= free:
            bars, left = [*bars, bar], left - _count(_bar_words(bar))
    told = dict(must)
    for place, text in _extras(answer, behind):
        again = place in told or text.split(": ", 1)[1] in " ".join(told.values())
        if not again and _count(text) <= left and (place != TEST or len(bars) > len(behind)):  # no test against a rival that is not named
            told[place], left = text, left - _count(text)
    return miss, bars, [told[place] for place in sorted(told)]


def _bar_words(bar):
    return f"then {bar[0]}, {in_hundred(bar[1])} in 100"


def _kept(answer):
    """Words kept back for the first piece of evidence, before rivals are shown."""
    return next((_count(text) for place, text in _extras(answer, (answer.first,)) if place == EVIDENCE), 0)


def _miss(answer: "Answer") -> str:
    study, found = answer.case.fits.study, answer.missed
    if not found:
        waits = unread(answer.case.fits.castings, answer.pour)
        if not waits:
            return f"{answer.pour} misses no aim that was read."
        words = listed(study.reading(aim.reading).words for aim in waits)
        return f"{answer.pour} misses no aim that was read so far: read its {words} at {max(a.age for a in waits if a.age is not None):g} h, then ask again."
    more = [] if answer.case.throughout else [study.reading(m.aim.reading).words for m in found[1:]]
    return f"{answer.pour}: {found[0].words(study)}." + (f" It misses its aim for {listed(more)} too." if more else "")


def _must(answer: "Answer", behind: tuple[str, ...]) -> dict[float, str]:
    """What is always said, by its place: what the log as a whole suffers from, what to do with this casting, every caution."""
    causes, early = [answer.case.table.causes[name] for name in behind], read_early(answer.missed)
    again = f"at {early[0].aim.age:g} h" if early else "a day later"
    now = "; ".join(dict.fromkeys(c.now.replace("{again}", again) for c in causes if c.now))
    must: dict[float, str] = {4: f"This casting: {now[0].lower()}{now[1:]}." if now else ""}
    if early and "read_too_early" not in behind:
        must[0] = f"It was read at {early[0].age:g} h: read it again {again} first."
    if answer.case.throughout:
        must[0.5] = f"Nearly every casting misses it: look at the study first. {TELLS_STUDY.get(behind[0], FRESH)}."
    if answer.together:
        must[1] = "The first two together fit best."
    must[6] = " ".join(f"Mind: {c.care[0].lower()}{c.care[1:]}." for c in causes if c.care)
    return {place: text for place, text in must.items() if text}


def _extras(answer: "Answer", behind: tuple[str, ...]) -> Iterator[tuple[float, str]]:
    """What is told where words are left, the most useful first, each with its place."""
    table, first = answer.case.table, behind[0]
    speaks = [p.words for p in answer.evidence[first] if p.ratio > 1 and (not p.usual or first in AS_EXPECTED)]
    speaks = [words for words in speaks if not answer.case.throughout or words != table.signs["throughout"]["words"]][:PIECES]  # that is said already
    for words in speaks:  # the weightiest there is room for
        yield EVIDENCE, f"For it: {words}."
    rival = next((name for name in answer.chances.index if name not in behind), None)
    test = cheapest_test(table, first, rival) if rival else None
    if test and answer.chances[rival] >= ENOUGH and NOTHING not in (first, rival) and not answer.together:
        apart = "To tell" if told_apart(answer.chances) else "Cannot tell them apart yet"
        yield TEST, f"{apart}: {test.words}."
    after = "; ".join(table.causes[name].next_time for name in behind if table.causes[name].next_time)
    if after:
        yield 5, f"Next time: {after[0].lower()}{after[1:]}."
    for place, words in enumerate(speaks[1:]):
        yield 3 + place / 10, f"Also: {words}."


def _count(*texts: str) -> int:
    return sum(len(text.split()) for text in texts)
