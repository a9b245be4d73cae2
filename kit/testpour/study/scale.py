"""The effect of a scale's step on an amount: what is read, what may be delivered, how much is enough."""

import math
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from testpour.common.problems import noted
from testpour.common.units import show, to_number, to_unit
from testpour.common.wording import capital
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_batch

HALF = Fraction(1, 2)
GRAMS = ("g", 1.0)
TOLERANCE = Fraction(1, 10)  # of the target, for the catalyst delivered and the pigment read
BEYOND = 1_000_000  # g: more than any pot, and no more than a number can hold


def weighable(problems: list[str], value: Any, unit: str, what: str, zero: bool = False) -> float:
    """An amount in its unit, above zero, or from zero on; NaN, with a problem added, if it cannot be weighed."""
    with noted(problems):
        number = to_unit(value, unit, what)
        if math.isfinite(number) and (number > 0 or (zero and number == 0)):
            return number
        problems.append(f"{what}: {value} cannot be weighed. Give a number {'of at least' if zero else 'above'} zero, in {unit or 'parts'}.")
    return math.nan


def unit_of(step: str | float) -> tuple[str, float]:
    """The unit of a scale, from its step as written, and its size in g: ``("oz", 28.35)`` for "0.01 oz".

    Parameters
    ----------
    step : str or float
        Of the scale, in g if no unit is given.

    Returns
    -------
    tuple of str and float
    """
    unit = to_number(step)[1] if isinstance(step, str) else ""
    grams = to_unit(f"1 {unit}", "g") if unit else 1.0
    return GRAMS if grams == 1 else (unit, grams)


def in_unit(mass: float | Fraction, unit: tuple[str, float], digits: int = 3) -> str:
    """A mass (g) in the unit of a scale, as from `unit_of`: ``"0.015 oz"``."""
    return show(float(mass) / unit[1], unit[0], digits)


def displayed(mass: float | Fraction, step: float, unit: tuple[str, float]) -> str:
    """A mass (g) as a scale of that step (g) shows it, without its unit, which is as from `unit_of`: ``"3.00"``."""
    return f"{float(mass) / unit[1]:.{decimals(step / unit[1])}f}"


def mass_shown(mass: float | Fraction, step: float, unit: tuple[str, float]) -> str:
    """As `displayed`, with the unit: ``"3.00 g"``."""
    return f"{displayed(mass, step, unit)} {unit[0]}"


def on_scale(amount: float | Fraction, step: float | Fraction) -> Fraction:
    """An amount (g) rounded to whole steps of the scale (g), exact."""
    step = Fraction(str(step))
    return math.floor(Fraction(str(amount)) / step + HALF) * step


def part_on_scale(resin: float | Fraction, percent: float, step: float) -> tuple[Fraction, Fraction]:
    """A percentage of the resin (g), and what the scale reads for it, in g."""
    wanted = Fraction(str(resin)) * Fraction(str(percent)) / 100
    return wanted, on_scale(wanted, step)


def delivered_between(resin: Fraction, catalyst: Fraction, step: float) -> tuple[float, float]:
    """Lowest and highest catalyst %, if each reading, of resin and catalyst in g, is uncertain by half a step."""
    half = Fraction(str(step)) / 2
    return float(100 * (catalyst - half) / (resin + half)), float(100 * (catalyst + half) / (resin - half))


def held_alike(resin: float, percents: Iterable[float], step: float) -> list[float]:
    """The catalyst percentages that the scale cannot tell apart, ascending: the delivered ranges of two neighbours touch in this much resin (g)."""
    levels, read = sorted(map(float, percents)), on_scale(resin, step)
    ranges = [delivered_between(read, part_on_scale(read, level, step)[1], step) for level in levels]
    touch = [ranges[place][1] >= ranges[place + 1][0] for place in range(len(levels) - 1)]
    return [level for level, before, after in zip(levels, [False, *touch], [*touch, False], strict=True) if before or after]


def smallest_batch(catalyst: float, scale_resolution: float) -> float:
    """Smallest amount of resin (g) from which a scale always delivers the catalyst within a tenth of its target.

    Both amounts are rounded to the scale's step (g) and each reading is uncertain by half a step. Calculated in fractions,
    so exact: one step below it the delivered range exceeds the tolerance. `catalyst` is % of resin, above 0.
    """
    share, off = Fraction(str(catalyst)) / 100, TOLERANCE
    enough = 1 / (off * share) + (1 + 1 / off) * HALF  # whichever way the catalyst rounds
    out = math.floor(share * enough + HALF)
    while True:  # resin from `first` to `last` steps rounds to `out` steps of catalyst
        first, last = math.ceil((out - HALF) / share), math.ceil((out + HALF) / share) - 1
        short = (1 - off) * share * (last + HALF) > out - HALF
        rich = math.ceil((out + HALF) / ((1 + off) * share) + HALF) - 1  # the last that may carry too much
        if short or rich >= first:
            failing = last if short else min(rich, last)
            return float((failing + 1) * Fraction(str(scale_resolution)))
        out -= 1


def smallest_read(share: float, scale_resolution: float) -> Fraction:
    """Smallest amount of resin (g), in whole steps, from which a share of it (%) is always read within a tenth of its target."""
    # From 5 / 1.1 = 4.55 steps up, which are read as five, rounding by half a step is within a tenth.
    enough = HALF / TOLERANCE / (1 + TOLERANCE)
    return math.ceil(100 * enough / Fraction(str(share))) * Fraction(str(scale_resolution))


def check_weighed(
    resin: float | Fraction, percent: float, scale_resolution: float, unit: tuple[str, float] = GRAMS, *,
    what: str = "pigment", pot: str = "", part: float | Fraction = 1
) -> Cautions:
    """A warning if a scale rounds pigment, or anything else weighed by %, to nothing or to more than a tenth off its target.

    `percent` is of the resin (g) in the pot; `unit` is that of the scale, as from `unit_of`. `pot` names one of
    several, in words that begin with a space: ``" of red"``; `part` is its share of the whole mix.
    """
    wanted, read = part_on_scale(resin, percent, scale_resolution)
    if abs(read - wanted) <= TOLERANCE * wanted:
        return Cautions()
    comes = f"{mass_shown(read, scale_resolution, unit)}, or {show(percent * float(read / wanted), '%')}" if read else f"no {what} at all"
    said = f"{show(percent, '%')} is {in_unit(wanted, unit)}, which a scale in steps of {in_unit(scale_resolution, unit, 6)} rounds to {comes}"
    least, way = smallest_read(percent, scale_resolution), "Use a finer scale"
    if not too_much(least / Fraction(str(part)), percent):
        way = f"{'Give that pot' if pot else 'Mix'} at least {mass_shown(least, scale_resolution, unit)} of resin or use a finer scale"
    return Cautions(warnings=(f"{capital(what)}{pot}: {said}. {way}.",))


def too_much(resin: float | Fraction, percent: float) -> bool:
    """Whether this much resin (g), with this much in it (% of resin), is more than the cautions allow in a pot."""
    return bool(check_batch(float(min(resin, BEYOND)) * (1 + percent / 100)).warnings)


def decimals(step: float) -> int:
    """Decimal places that show each step of a scale, to within a hundredth of a step."""
    coarsest = max(0, -math.floor(math.log10(step) + 1e-9))
    return next(places for places in range(coarsest, coarsest + 4) if abs(round(step, places) - step) <= 0.01 * step)
