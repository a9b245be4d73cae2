"""An answer in at most ninety words: the miss, the likeliest causes, why, what to do now and next time, what to check."""

import re
from collections.abc import Iterator

from testpour.causes.complaint import unread
from testpour.causes.naming import also_missed, from_now_on, named, of_its_own, order, ranked, read_again
from testpour.causes.questions import cheapest_test, told_apart
from testpour.causes.signs import read_early
from testpour.causes.table import NOTHING, SURE
from testpour.causes.weighed_case import WeighedCase
from testpour.common.wording import capital, in_days, in_html, in_hundred, listed, within

ENOUGH = 0.05  # chance below which a cause is not mentioned
PIECES = 3  # pieces of evidence shown
WORDS = 90  # at most, in the short answer
MISS, ALSO, UNSURE = -3, -2, -1  # places of the sentences before the bars
EVIDENCE, TEST = 2, 7  # those of the first piece of evidence and of the test
CLAUSES = re.compile(r"(?<=[.;?]) ")
RIVALS = 2  # shown beside the likeliest cause
RIVAL = 0.1  # chance from which on the next cause is named before the remedy is given in full; common practice, no source
GUESS = 0.3  # chance of the likeliest cause below which no remedy is given
NEAR = 0.05  # lead over the next cause below which the same holds


def verdict(answer: WeighedCase) -> str:
    """The answer in at most `WORDS` words."""
    miss, bars, told = _short(answer)
    return " ".join([miss, _ranked(bars), *told])


def short_page(answer: WeighedCase) -> str:
    """The same as HTML: what was asked, the likeliest causes as bars, and the rest."""
    miss, bars, told = _short(answer)
    shown = "".join(
        f'<div><meter min="0" max="100" value="{round(100 * chance)}"></meter> {in_html(capital(words))}: {in_hundred(chance)} in 100</div>'
        for words, chance in bars
    )
    return f"<p>{in_html(miss)}</p>{shown}" + "".join(f"<p>{in_html(text)}</p>" for text in told)


def _short(answer: WeighedCase) -> tuple[str, list[tuple[str, float]], list[str]]:
    """The miss, the bars (words and chance) and the most useful sentences that fit in `WORDS` words."""
    behind, open_ = answer.together or (answer.first,), unsure(answer)
    bars = [(named(answer, name), answer.chances[name]) for name in behind]
    told: dict[float, str] = {MISS: _miss(answer), **({UNSURE: cannot_tell(answer)} if open_ else {})}
    rivals = [(named(answer, name), answer.chances[name]) for name in _rivals(answer, behind) if answer.chances[name] >= ENOUGH]
    rival = [] if answer.together else rivals[:1]  # beside two causes, the cautions of both come first
    near = [bar for bar in rival if open_ or bar[1] >= RIVAL or not told_apart(answer.chances)]  # it may as well be this one
    after, kept = _next_time(answer, behind), _count(_ranked([*bars, *near])) - _count(_ranked(bars))
    left = _taken(told, WORDS - kept - _count(*told.values(), _ranked(bars)), _must(answer, behind))
    if told_apart(answer.chances) and after and not _fitting(after, left):
        near, left = [], left + kept
    bars, told[5] = [*bars, *near], _fitting(after, left)
    left -= _count(told[5])
    left = _taken(told, left, _beside(answer, behind))
    for bar in rivals[len(near) : RIVALS]:
        needed = _count(_ranked([*bars, bar])) - _count(_ranked(bars))
        if needed > left - _kept(answer, behind, near):
            break
        bars, left = [*bars, bar], left - needed
    for place, text in _extras(answer, behind):
        again = place in told or (3 <= place < 4 and EVIDENCE not in told) or text.split(": ", 1)[1] in " ".join(told.values())
        if not again and _count(text) <= left and (place != TEST or len(bars) > len(behind)):  # no test against a rival that is not named
            told[place], left = text, left - _count(text)
    bars = [(in_days(words), chance) for words, chance in bars]
    miss, *rest = (" ".join(told.pop(place) for place in sorted(told) if place <= UNSURE), *(told[place] for place in sorted(told) if told[place]))
    return in_days(miss), bars, list(map(in_days, rest))


def _taken(told, left, texts):
    """Add each text that fits at its place in those told and return the words left; a longer text replaces its beginning."""
    for place, text in texts:
        had = told.get(place, "")
        if said := _fitting(text, left + _count(had)):
            told[place], left = said, left + _count(had) - _count(said)
    return left


def _fitting(text, left):
    """As many clauses of a text, from its first, as the words left have room for; empty without room for one."""
    clauses = CLAUSES.split(text)
    fit = (_closed(clauses[:many]) for many in range(len(clauses), 0, -1))
    return next((said for said in fit if _count(said) <= left), "")


def _closed(clauses):
    said = " ".join(clauses)
    return said.removesuffix(";") + "." if said.endswith(";") else said


def _next_time(answer, behind):
    """What to do from now on about the likeliest causes, if they are clear, and about what the settings did besides."""
    after = from_now_on(answer, () if unsure(answer) else behind).values()
    words = "; ".join(dict.fromkeys(within(text) for text in after if text))
    return f"Next time: {words}." if words else ""


def _beside(answer, behind):
    """What goes with the remedy, with its place: the next question if the remedy waits for it, and cautions otherwise."""
    causes = [answer.case.table.causes[name] for name in behind]
    if unsure(answer):
        yield from _cautions(causes)
    elif (answer.together or answer.chances[behind[0]] < SURE) and any(cause.meanwhile for cause in causes):
        yield 4.5, _look_next(answer)


def _cautions(causes):
    return [(6 + place / 10, f"Mind: {within(cause.care)}.") for place, cause in enumerate(causes) if cause.care]


def _ranked(bars):
    return f"Likeliest: {ranked(bars, 'then ')}."


def _kept(answer, behind, near):
    """Words reserved for the first piece of evidence and the test against a close rival, before more rivals are shown."""
    wanted = {place: text for place, text in reversed(list(_extras(answer, behind))) if place == EVIDENCE or near and place == TEST}
    return _count(*wanted.values())


def _miss(answer: WeighedCase) -> str:
    study, found = answer.case.fits.study, answer.missed
    if not found:
        waits = unread(answer.case.fits.castings, answer.pour)
        if not waits:
            return f"{answer.pour} misses no aim that was read."
        words = listed(study.reading(aim.reading).words for aim in waits)
        return f"{answer.pour} misses no aim that was read so far: read its {words} at {max(a.age for a in waits if a.age is not None):g} h, then ask again."
    return f"{answer.pour}: {found[0].words(study)}."


def _must(answer: WeighedCase, behind: tuple[str, ...]) -> Iterator[tuple[float, str]]:
    """What comes first, with its place: what protects people and the casting."""
    causes = [answer.case.table.causes[name] for name in behind]
    vital = [(4, _to_do(answer, causes)), *([] if unsure(answer) else _cautions(causes))]
    if answer.case.refused:
        yield 0.3, "Check its entry."
    yield from ((place, _closed(CLAUSES.split(text)[:1])) for place, text in vital)
    if answer.together:
        yield 1, "The first two together fit best."
    if answer.case.refused:
        yield 0.3, f"Check its entry: {within(answer.case.refused)}"
    yield from vital
    yield ALSO, also_missed(answer)
    yield from _about(answer, behind)


def _to_do(answer, causes):
    """What to do with this casting, or what to check first if that is not clear."""
    if unsure(answer):
        return _look_next(answer)
    now, told = order(answer, causes[0].name), "untimely" in answer.case.signs and any(cause.of_the_log for cause in causes)
    return f"This casting: {within(now)}." if now and not told else ""  # the check of its entry says what to do


def _about(answer, behind):
    """What the whole answer depends on, with its place: an early reading, the whole log, a reading with a cause of its own."""
    early = read_early(answer.missed)
    if early and not {*behind} & {*answer.case.table.brought_about("age", "below")}:
        yield 0, f"It was read at {early[0].age:g} h: read it again {read_again(answer)} first."
    if answer.case.throughout:
        yield 0.5, "Nearly every casting of this log went this way: look at the whole log first, with why_all."
    if own := _own(answer, behind):
        yield 0.7, of_its_own(answer, *own)
    elif NOTHING in behind and NOTHING in answer.openly:
        by = "what the trade expects of any resin" if answer.case.throughout else "the other castings"
        yield 0.7, f"That was to be expected: going by {by}, such settings give {answer.case.planned.expected}."


def _own(answer, behind):
    """The reading shown first, in words, and the other cause of it that lies in the settings; None without one."""
    worst = answer.case.fits.study.reading(answer.missed[0].aim.reading).words if answer.missed else ""
    return next(((words, name) for words, name in answer.by_settings if words == worst and name not in behind), None)


def _rivals(answer, behind):
    """Names of the other causes, likeliest first, without the one given as the cause of its own reading."""
    named_already = {*behind, *(_own(answer, behind) or ())}
    return [name for name in answer.chances.index if name not in named_already]


def _extras(answer: WeighedCase, behind: tuple[str, ...]) -> Iterator[tuple[float, str]]:
    """What is added if words are left, the most useful first, each with its place."""
    table, first = answer.case.table, behind[0]
    for words, name in answer.by_settings:
        if name not in behind:
            yield 0.7, of_its_own(answer, words, name)
    right = first == NOTHING or table.causes[first].of_the_log  # then a reading as expected is evidence
    speaks = [p.words for p in answer.evidence[first] if p.ratio > 1 and (right or not p.usual)]
    said = _said_already(answer, first)
    speaks = [words for words in speaks if words not in said][:PIECES]
    for words in speaks:  # the strongest that there is room for
        yield EVIDENCE, f"For it: {words}."
    rival = next(iter(_rivals(answer, behind)), None)
    test = cheapest_test(table, first, rival, answer.openly) if rival else None
    alone = not answer.together and not answer.case.throughout  # the whole log has a test of its own
    if test and answer.chances[rival] >= ENOUGH and NOTHING not in (first, rival) and alone:
        apart = "To find out" if told_apart(answer.chances) or unsure(answer) else "Cannot tell them apart yet"
        yield TEST, f"{apart}: {test.words}."
    for place, words in enumerate(speaks[1:]):
        yield 3 + place / 10, f"Also: {words}."


def _said_already(answer, name):
    """Words of the signs that repeat the answer: that the whole log went this way, and a setting named as the cause."""
    table = answer.case.table
    planned = {step["factor"] for step in table.causes[name].planned} if name in answer.openly else set()
    return {sign["words"] for sign in table.signs.values() if "throughout" in sign or sign.get("factor") in planned}


def _look_next(answer):
    """The question that would help most, and the readings that aims need and nobody took."""
    asked, study = answer.ask(), answer.case.fits.study
    unseen = dict.fromkeys(aim.reading for aim in unread(answer.case.fits.castings, answer.pour) if aim.reading not in answer.case.seen)
    never = f"Read its {listed(study.reading(name).words for name in unseen)} too." if unseen else ""
    return " ".join(filter(None, (f"Check next: {within(asked.question.ask)}" if asked else "", never)))


def guessed(first: float, second: float) -> bool:
    """Whether the likeliest cause is a guess, by its chance and that of the next."""
    return bool(first < GUESS or first - second < NEAR)


def unsure(answer: WeighedCase) -> bool:
    """Whether it is unclear what to do.

    So it is where the likeliest cause is a guess or the next one is as likely; and where ordinary scatter comes first
    though an aim is missed, a fault was seen or the entry is refused, and is not far ahead.
    """
    first, second = answer.chances.iloc[:2]
    if not answer.healthy:
        return first + second < GUESS if answer.together else guessed(first, second)
    odd = answer.missed or answer.case.odd or set(answer.observed.items()) - {("looks", "nothing else")}
    return bool(answer.case.refused or odd and first < SURE)


def cannot_tell(answer: WeighedCase) -> str:
    """The sentence that says it is not clear yet."""
    return f"Cannot tell yet {'what' if answer.missed else 'whether anything'} was wrong."


def _count(*texts: str) -> int:
    return sum(len(text.split()) for text in texts)
