"""An answer in a few sentences: the likeliest causes, why, what would tell them apart, what to do."""

from testpour.causes.telling import told_apart, what_would_tell
from testpour.wording import in_hundred, listed

ENOUGH = 0.02  # chance below which a cause is not spoken of
PIECES = 3  # of evidence told


def verdict(answer):
    """The answer in a few sentences.

    Parameters
    ----------
    answer : Answer
    """
    found = listed(m.words(answer.case.fits.study) for m in answer.missed)
    opening = f"{answer.pour}: {found}." if found else f"{answer.pour} misses no aim that was read."
    if answer.together:
        return f"{opening} {_both(answer)} What to do: {' '.join(_what_to_do(answer, name) for name in answer.together)}"
    first = answer.first
    likeliest = f"Likeliest: {_named(answer, first)} ({in_hundred(answer.chances.iloc[0])} in 100)."
    return f"{opening} {likeliest}{_for(answer, first, 'it')} {_runner_up(answer)} What to do: {_what_to_do(answer, first)}"


def _named(answer, name):
    """A cause in words; of a wrong reading, which one it most likely is."""
    cause = answer.case.table.causes[name]
    suspect = answer.case.likely.suspect(name) if cause.one_of else None
    return f"{cause.words}, most likely the {suspect}" if suspect else cause.words


def _for(answer, name, it):
    speaks = [p.sentence() for p in answer.evidence[name] if p.ratio > 1][:PIECES]
    return f" For {it}: {'; '.join(speaks)}." if speaks else ""


def _both(answer):
    first, second = answer.together
    share = in_hundred(answer.weighed.pairs.iloc[0])
    return (
        f"Likeliest: two things at once, {_named(answer, first)}, and {_named(answer, second)} ({share} in 100)."
        f"{_for(answer, first, 'the first')}{_for(answer, second, 'the second')}"
    )


def _runner_up(answer):
    first, second = answer.chances.index[:2]
    share = in_hundred(answer.chances.iloc[1])
    if answer.chances.iloc[1] < ENOUGH:
        return "No other cause comes near."
    tells = what_would_tell(answer.case.table, first, second)
    if told_apart(answer.chances):
        return f"Next: {_named(answer, second)} ({share} in 100)." + ("" if answer.healthy else f" {tells}")
    return f"Cannot tell it apart yet from this: {_named(answer, second)} ({share} in 100). {tells}"


def _what_to_do(answer, name):
    cause = answer.case.table.causes[name]
    return f"{cause.remedy}." + (f" {cause.care}." if cause.care else "")
