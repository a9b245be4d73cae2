"""The sentences of a pool: what holds everywhere, what differs by bench, what a newcomer may expect."""

import numpy as np

from testpour.wording import count, listed, rounded

EVERY, MOST, SAME, OPEN = "at every bench", "on average only", "taken as the same everywhere", "cannot tell yet"
SHOWN = 4  # benches named as standing out; more are counted


def holds(effect, new, one, tells):
    """Where an effect holds, and the sentence that says so.

    Parameters
    ----------
    effect, new : Effect
        At the average bench and at a bench not in the pool.
    one : PooledReading
    tells : bool
        Whether there are enough benches to tell.
    """
    said = effect.sentence()
    if not effect.told or not tells:
        return OPEN, said
    sloped = any(effect.factor.name in t.factors for t in one.average.believed.terms if t.name in one.sloped)
    if not sloped:
        return SAME, f"{said} Too few benches varied it to tell whether it differs by bench."
    if new.told:
        return EVERY, f"{said} It goes this way at every bench: at a new one, {_interval(new)}."
    return MOST, f"{said} Benches differ: at a new one it may go either way, {_interval(new)}."


def _interval(effect):
    return effect._interval()


def differs(one):
    """How far benches lie apart in one reading, and which stand out."""
    said = f"{one.reading.words.capitalize()}: {_spread(one)}."
    table = one.differences()
    apart = table[table["stands_out"]]
    if not len(apart):
        return f"{said} No bench stands out."
    if len(apart) > SHOWN:
        return f"{said} {count(len(apart), 'bench', 'benches')} of {len(table)} stand out."
    shown = [f"{bench} ({_by(one, row.middle)})" for bench, row in zip(apart.index, apart.itertuples(), strict=True)]
    return f"{said} {listed(shown)} {'stands' if len(apart) == 1 else 'stand'} out."


def _spread(one):
    middle, low, high = (abs(end) for end in _size(one, np.array(one.spread())))
    low, high = sorted((low, high))
    unit = unit_of(one)
    return f"benches differ by about {rounded(middle)} {unit} (90 % interval {rounded(low)} to {rounded(high)} {unit})"


def _size(one, values):
    """Differences as they are shown: per cent, castings in 100, or the unit."""
    return 100 * (values - 1) if one.ratio else 100 * values if _bound(one) is not None else values


def _bound(one):
    study, reading = one.average.study, one.reading
    bounds = [a.at_most for a in study.aims if a.reading == reading.name and a.at_most is not None]
    return min(bounds, default=None) if reading.grades else None


def unit_of(one):
    """The unit of a difference between benches."""
    if one.reading.grades:
        return "castings in 100" if _bound(one) is not None else "grades"
    return "%" if one.ratio else {"degC": "°C"}.get(one.reading.unit, one.reading.unit)


def in_points(one, values):
    """Differences (array) as a figure draws them, in `unit_of`."""
    return _size(one, values)


def _by(one, middle):
    size = float(_size(one, middle))
    word = {True: "longer", False: "shorter"} if one.reading.unit in ("min", "h") else {True: "more", False: "less"}
    return f"{rounded(abs(size))} {unit_of(one)} {word[size > 0]}"


def expects(one, newcomer):
    """What a newcomer's first casting at the usual settings will read."""
    shown = newcomer[one.reading.name].predict().iloc[0]
    reading = one.reading
    if reading.grades:
        low, high = (reading.grades[int(np.clip(round(end), 0, len(reading.grades) - 1))] for end in (shown.low, shown.high))
        span = low if low == high else f"{low} to {high}"
    else:
        span = f"{shown.low:.3g} to {reading.show(shown.high)}"
    return f"A newcomer's first casting at the usual settings: {reading.words} {span} (90 % of benches and days)."
