"""Where two studies overlap: readings both take on the same scale, and settings both poured."""

from collections.abc import Sequence
from dataclasses import dataclass

from testpour.common.wording import listed
from testpour.models.change import good_grades, good_words
from testpour.models.fits import Fits
from testpour.models.reading_fit import ReadingFit
from testpour.models.settings import held_settings
from testpour.study.columns import Factor
from testpour.study.study import Study


@dataclass(frozen=True)
class Overlap:
    """What two studies have in common."""

    readings: tuple[str, ...]  # names of those that both take in the same unit, scale and grades
    factors: tuple[Factor, ...]  # numeric settings that both poured over a range in common
    spans: dict[str, tuple[float, float]]  # factor name to the values poured in both, (low, high)
    apart: dict[str, str]  # factor name to words: settings both poured, but nowhere alike
    unlike: tuple[str, ...]  # readings both take, on scales that do not convert
    aims: tuple[str, ...]  # readings whose aims differ, in words, with the grades used for both
    # For each study, factor name to the value held: settings only it recorded, and those with no value in common.
    fixed: tuple[dict[str, float], ...]
    # For each study, the settings only it recorded, in words with the value they are held at.
    alone: tuple[tuple[str, ...], ...]
    names: tuple[str, ...]  # of the two studies

    def middle(self) -> dict[str, float]:
        """Settings in the middle of the range both poured, rounded to what a bench can set."""
        spans = [(f, *self.spans[f.name]) for f in self.factors]
        return {f.name: float(high if f.kind == "yes/no" else f.rounded((low + high) / 2)) for f, low, high in spans}

    def sentence(self) -> str:
        """Where the two overlap and where not."""
        shared = [self._words(f) for f in self.factors if self.spans[f.name][0] < self.spans[f.name][1]]
        text = f"both poured {listed(shared)}." if shared else "they poured no range of a setting in common."
        if self.apart:
            text += f" Poured over ranges that do not meet: {'; '.join(self.apart.values())}."
            text += " So the average castings are not compared, only what the other settings do."
        text += "".join(f" Only {name} wrote down {listed(own)}." for name, own in zip(self.names, self.alone, strict=True) if own)
        if self.unlike:
            text += f" Read on different scales: {listed(self.unlike)}."
        text += "".join(f" Their aims ask for different grades: both are held to {aim}." for aim in self.aims)
        return text

    __repr__ = sentence

    def _words(self, factor):
        if factor.kind == "yes/no":
            return f"with and without {factor.words}"
        return f"{factor.words} {factor.between(*self.spans[factor.name])}"


def overlap_of(first: Fits, second: Fits, names: Sequence[str] | None = None) -> Overlap:
    """The `Overlap` of two `Fits`."""
    readings: list[str] = []
    unlike: list[str] = []
    for name in first:
        if name in second:
            one, other = first[name].reading, second[name].reading
            alike = _kept_on(one) == _kept_on(other)
            (readings if alike else unlike).append(name if alike else one.words)
    judges = {name: judging_study(first[name], second[name]) for name in readings}
    graded = [(first[name].reading, good_grades(judge, first[name].reading)) for name, judge in judges.items() if judge]
    aims = [good_words(reading, good) for reading, good in graded if good]
    factors, spans, apart = [], {}, {}
    for factor in first.study.factors:
        ends = [_poured(fits, factor) for fits in (first, second)]
        if None in ends:
            continue
        low, high = max(end[0] for end in ends), min(end[1] for end in ends)
        if low <= high:
            factors.append(factor)
            spans[factor.name] = (low, high)
        else:
            apart[factor.name] = f"{factor.words} {factor.between(*ends[0])} and {factor.between(*ends[1])}"
    fixed = [{name: at for name, at in held_settings(fits.study, fits.castings.pours).items() if name not in spans} for fits in (first, second)]
    alone = [tuple(_alone(fits, values, apart)) for fits, values in zip((first, second), fixed, strict=True)]
    called = tuple(names or (first.study.name, second.study.name))
    return Overlap(tuple(readings), tuple(factors), spans, apart, tuple(unlike), tuple(aims), tuple(fixed), tuple(alone), called)


def _kept_on(reading):
    """What two declarations must share for their numbers to be comparable; without a unit, the range too."""
    return reading.unit, reading.scale, reading.grades, () if reading.unit else (reading.low, reading.high)


def judging_study(one: ReadingFit, other: ReadingFit) -> Study | None:
    """The study whose aim is used for both fits of a graded reading; None if their aims ask for the same grades.

    The first study's, unless it has no aim.
    """
    first, second = (good_grades(fit.study, fit.reading) for fit in (one, other))
    return None if first == second else (one if first else other).study


def _alone(fits, fixed, apart):
    """Settings only this study recorded, each with the value it is held at."""
    for name, value in fixed.items():
        factor = fits.study.factor(name)
        if name not in apart and _poured(fits, factor):
            yield f"{factor.words} ({'taken as' if factor.kind == 'yes/no' else 'held at'} {factor.show(value)})"


def _poured(fits, factor):
    """Smallest and largest value poured of a numeric setting; None if a study lacks it or never recorded it."""
    same = [f for f in fits.study.factors if f.name == factor.name and f.kind == factor.kind and f.unit == factor.unit]
    if not same or factor.kind == "text" or fits.castings.pours[factor.name].isna().all():
        return None
    values = fits.castings.pours[factor.name].dropna()
    return float(values.min()), float(values.max())
