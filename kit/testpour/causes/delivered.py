"""The scale's part: how much catalyst went in, given the scale and the batch, and whether that alone explains the miss."""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from testpour.causes.complaint import Missed
from testpour.causes.shapley import settings_of
from testpour.common.problems import Problem
from testpour.common.units import show, to_unit
from testpour.common.wording import in_hundred, said_in_markdown
from testpour.models.fits import Fits
from testpour.models.settings import repeated
from testpour.study.scale import GRAMS, delivered_between, in_unit, on_scale, unit_of

SMALL = 0.05  # chance below which rounding counts as explaining nothing
POINTS = 41  # amounts tried over what the scale may deliver


@dataclass(frozen=True)
class Delivered:
    """What the scale may have delivered into one batch."""

    catalyst: float  # as logged, % of resin
    batch: float | None = None  # g; None where they were not given
    scale_resolution: float | None = None
    low: float | None = None  # least and most catalyst, %, each reading of the scale off by up to half a step
    high: float | None = None
    exact: float | None = None  # chance of missing the aim with the exact amount and with what this scale delivers (`scaled`); None where no aim is missed
    scaled: float | None = None
    unit: tuple[str, float] = GRAMS  # what the scale reads in, as of `unit_of`

    @property
    def off(self) -> float | None:
        """Largest miss as a share of the catalyst; None where it is not known."""
        return None if self.low is None or self.high is None else max(self.catalyst - self.low, self.high - self.catalyst) / self.catalyst

    @property
    def alone(self) -> float | None:
        """Chance that the scale alone is behind the miss, 0 to 1: the share of misses that it adds."""
        if self.exact is None or self.scaled is None:
            return None
        return max(0.0, 1 - self.exact / self.scaled) if self.scaled else 0.0

    def sentence(self) -> str:
        """The scale's part in a sentence or two."""
        if self.batch is None or self.scale_resolution is None or self.low is None or self.high is None:
            return "The scale's part is not known: give batch and scale_resolution to see what was really delivered."
        step, batch = in_unit(self.scale_resolution, self.unit, 6), in_unit(self.batch, self.unit, 4)
        text = (
            f"On a scale that reads {step}, {batch} of resin at {show(self.catalyst, '%')} carried between "
            f"{show(self.low, '%', 3)} and {show(self.high, '%', 3)} catalyst."
        )
        if self.alone is None or self.exact is None or self.scaled is None:
            return text
        here = in_hundred(self.exact)
        if self.alone < SMALL:
            return f"{text} By the models that hardly changes the chance of this miss, {here} in 100: rounding alone does not explain it."
        return (
            f"{text} By the models that raises the chance of this miss from {here} to {in_hundred(self.scaled)} in 100, "
            f"so rounding alone explains it with a chance of {in_hundred(self.alone)} in 100."
        )

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def delivered(
    fits: Fits, pour: str, missed: Missed | None = None, batch: float | str | None = None, scale_resolution: float | str | None = None
) -> Delivered | None:
    """What catalyst was really delivered.

    `batch` is the resin in the pot and `scale_resolution` the step of the scale, g or text with a unit; 0.1 g where only the
    batch is given. None for a study without catalyst, or a casting whose catalyst is not known or none.
    """
    catalyst = fits.castings.pours.loc[pour].get("catalyst", np.nan)
    if not catalyst > 0:
        return None
    if batch is None:
        return Delivered(float(catalyst))
    scale = 0.1 if scale_resolution is None else scale_resolution
    mass, step, unit = to_unit(batch, "g", "batch"), to_unit(scale, "g", "scale"), unit_of(scale)
    if not mass > step > 0:
        raise Problem(f"batch: {in_unit(mass, unit, 6)} on a scale that reads {in_unit(step, unit, 6)} cannot be weighed. Check both numbers.")
    resin = on_scale(mass, step)  # as the order to weigh it said, in whole steps
    low, high = delivered_between(resin, on_scale(resin * Fraction(str(catalyst)) / 100, step), step)
    found = Delivered(float(catalyst), float(mass), float(step), max(low, 0.0), high, unit=unit)
    if missed is None:
        return found
    exact, scaled = _misses(fits, pour, missed, catalyst, low, high)
    return replace(found, exact=exact, scaled=scaled)


def _misses(fits, pour, missed, catalyst, low, high):
    """Chance of missing the aim with the exact catalyst, and averaged over what the scale may deliver."""
    fit = fits[missed.aim.reading]
    here = settings_of(fits, fit.reading, pour)
    # The catalyst's own rounding rules: even over the range, the resin's share of it is a hundredth.
    amounts = np.concatenate([[catalyst], np.linspace(low, high, POINTS)])
    miss = 1 - fit.chances(repeated(here, catalyst=amounts), missed.aim.at_least, missed.aim.at_most).mean(axis=0)
    return float(miss[0]), float(miss[1:].mean())
