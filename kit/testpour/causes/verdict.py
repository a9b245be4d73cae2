"""An answer in a few sentences: the likeliest causes, why, what would tell them apart, what to do."""

from testpour.causes.table import NOTHING
from testpour.causes.telling import cheapest_test, told_apart, what_would_tell
from testpour.wording import capital, in_html, in_hundred, listed

ENOUGH = 0.05  # chance below which a cause is not spoken of
PIECES = 3  # of evidence told
WORDS = 90  # at most, in the short page
RIVALS = 2  # shown beside the likeliest cause
STUDY = (
    "Nearly every casting of this log misses it, so look at the study first: the catalyst measured wrongly, resin and "
    "catalyst that do not belong together, a cold store, an old drum. To tell, make one cup from fresh stock, weighed "
    "on a fine scale, in a room of 20 °C"
)


def verdict(answer):
    """The answer in a few sentences.

    Parameters
    ----------
    answer : Answer
    """
    opening = _opening(answer)
    if answer.together:
        return f"{opening} {_both(answer)} What to do: {' '.join(_what_to_do(answer, name) for name in answer.together)}"
    first = answer.first
    likeliest = f"Likeliest: {named(answer, first)} ({in_hundred(answer.chances.iloc[0])} in 100)."
    return f"{opening} {likeliest}{_for(answer, first, 'it')} {_runner_up(answer)} What to do: {_what_to_do(answer, first)}"


def _opening(answer):
    found = listed(m.words(answer.case.fits.study) for m in answer.missed)
    opening = f"{answer.pour}: {found}." if found else f"{answer.pour} misses no aim that was read."
    return f"{opening} {STUDY}." if answer.case.throughout else opening


def whole_study(answer):
    """What the study as a whole suffers from, in a sentence."""
    reading = answer.case.fits.study.reading(answer.case.throughout.aim.reading)
    return f"{capital(reading.words)}: {STUDY[0].lower()}{STUDY[1:]}."


def short_page(answer):
    """The answer in at most `WORDS` words as HTML: the miss, the likeliest causes as bars, what to do, what tells.

    What was asked, the chances and what to do with its cautions always stand; evidence and the test where words
    are left for them.
    """
    first, study = answer.first, answer.case.fits.study
    miss = f"{answer.pour}: {answer.missed[0].words(study)}." if answer.missed else f"{answer.pour} misses no aim that was read."
    bars = [(named(answer, name), chance) for name, chance in answer.chances.items() if chance >= ENOUGH or name == first]
    bars = bars[: 1 + RIVALS]
    do = f"What to do: {_what_to_do(answer, first)}"
    left = WORDS - _count(miss, do, *(f"{words} {in_hundred(chance)} in 100" for words, chance in bars))
    while left < 0 and len(bars) > 1:
        words, chance = bars.pop()
        left += _count(f"{words} {in_hundred(chance)} in 100")
    told = []
    for text in _extras(answer):
        if _count(text) <= left:
            told, left = [*told, text], left - _count(text)
    shown = "".join(
        f'<div><meter min="0" max="100" value="{round(100 * chance)}"></meter> {in_html(words)}: {in_hundred(chance)} in 100</div>'
        for words, chance in bars
    )
    return f"<p>{in_html(miss)}</p>{shown}" + "".join(f"<p>{in_html(text)}</p>" for text in (*told, do))


def _extras(answer):
    """What is told where words are left, the most useful first."""
    first = answer.first
    if answer.case.throughout:
        yield "Nearly every casting of this log misses it: look at the study first."
    speaks = [p.words for p in answer.evidence[first] if p.ratio > 1][:PIECES]
    if speaks:
        yield f"It speaks for it that {speaks[0]}."
    rival = answer.chances.index[1]
    test = cheapest_test(answer.case.table, first, rival)
    if test and answer.chances.iloc[1] >= ENOUGH and NOTHING not in (first, rival):
        yield f"To tell: {test.words}."
    if len(speaks) > 1:
        yield f"Also: {speaks[1]}."


def _count(*texts):
    return sum(len(text.split()) for text in texts)


def named(answer, name):
    """A cause in words: of a wrong reading, which one it most likely is; as planned where its settings brought it about."""
    cause = answer.case.table.causes[name]
    suspect = answer.case.likely.suspect(name) if cause.one_of else None
    if cause.openly and answer.weighed.table.loc[name, "openly"] > 0.5:
        return cause.openly
    return f"{cause.words}, most likely the {suspect}" if suspect else cause.words


def _for(answer, name, it):
    speaks = [p.sentence() for p in answer.evidence[name] if p.ratio > 1][:PIECES]
    return f" For {it}: {'; '.join(speaks)}." if speaks else ""


def _both(answer):
    first, second = answer.together
    share = in_hundred(answer.weighed.pairs.iloc[0])
    return (
        f"Likeliest: two things at once, {named(answer, first)}, and {named(answer, second)} ({share} in 100)."
        f"{_for(answer, first, 'the first')}{_for(answer, second, 'the second')}"
    )


def _runner_up(answer):
    first, second = answer.chances.index[:2]
    share = in_hundred(answer.chances.iloc[1])
    if answer.chances.iloc[1] < ENOUGH:
        return "No other cause comes near."
    tells = what_would_tell(answer.case.table, first, second)
    if told_apart(answer.chances):
        return f"Next: {named(answer, second)} ({share} in 100)." + ("" if answer.healthy else f" {tells}")
    return f"Cannot tell it apart yet from this: {named(answer, second)} ({share} in 100). {tells}"


def _what_to_do(answer, name):
    cause = answer.case.table.causes[name]
    return f"{cause.remedy}." + (f" {cause.care}." if cause.care else "")
