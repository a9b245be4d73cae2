"""Where a reading's scatter comes from: the reading itself, the pour, the session, the lots, who reads."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import halfnorm, ks_1samp

from testpour.common.toml_file import own_toml
from testpour.common.units import unit_words
from testpour.common.wording import in_markdown, listed, rounded
from testpour.models.beliefs import GROUPS
from testpour.models.change import change_unit
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import to_reading
from testpour.models.settings import check_level, settings_table
from testpour.models.terms import design
from testpour.study.columns import Reading

SPOKEN = 0.2  # Kolmogorov-Smirnov distance from the prior above which the log has moved it
SURE = 0.75  # chance that a part is the largest before it is called so
SHARED_SOURCES = tuple(name for name in GROUPS if name != "pour")  # what several castings share


def sources() -> dict[str, dict[str, str]]:
    """Words, remedy and lesson of each source of scatter, as the tables of `scatter.toml`."""
    return own_toml("models/scatter.toml")


@dataclass(frozen=True)
class Part:
    """One source of scatter."""

    name: str  # for example "session"
    source: str  # the same, or "casting" for reading and pour together: a table of `scatter.toml`
    levels: int  # how many sessions (pours, lots, readings) the log holds
    middle: float  # one standard deviation, in the unit of `Scatter`
    low: float  # of its interval, as `high`
    high: float
    share: float  # of the whole variance, 0 to 1
    largest: float  # chance that no other part is larger
    learned: bool  # whether the log has moved it from belief, and it is `separable`
    separable: bool = True  # whether it ever differed while each of the other `SHARED_SOURCES` stayed the same

    @property
    def words(self) -> str:
        """For example "between sessions"."""
        return sources()[self.source]["words"]


@dataclass(frozen=True)
class Scatter:
    """How far one new reading lies from the average at its settings, split by where that comes from.

    Parameters
    ----------
    reading : Reading
    parts : tuple of Part
        Largest first.
    silent : tuple of str
        Names of the sources that the log cannot show at all, for example a second resin lot.
    alike : int
        Number of castings in the log if all of them read the same; else 0.
    agreed : int
        Number of castings read again at one age if each got the same grade; if every casting was read once, number of
        settings poured again. 0 if any grade differed, or nothing was repeated.
    """

    reading: Reading
    parts: tuple[Part, ...]
    silent: tuple[str, ...] = ()
    alike: int = 0
    agreed: int = 0

    @property
    def table(self) -> pd.DataFrame:
        """One row per source: one standard deviation with its interval, share of the variance, whether learned from the log."""
        rows = {
            p.words: {"middle": p.middle, "low": p.low, "high": p.high, "unit": self.unit, "share": p.share,
                      "levels": p.levels, "from the log": p.learned}
            for p in self.parts
        }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("where")

    @property
    def unit(self) -> str:
        """The unit of the parts, as it is shown."""
        return change_unit(self.reading)

    def sentence(self) -> str:
        """Where the scatter comes from, and what to do about it."""
        alone = any(part.source == "casting" for part in self.parts)
        again = "setting poured" if alone else "casting read"
        again = f"The one {again}" if self.agreed == 1 else f"Each of {self.agreed} {again.replace(' ', 's ')}"
        return self._largest() + (f" {again} more than once got the same grade again." if self.agreed else "")

    __repr__ = sentence

    def _largest(self):
        first = self.parts[0]
        if self.alike > 1:
            return f"{'Both' if self.alike == 2 else f'All {self.alike}'} castings read alike in {self.reading.words}, so no scatter shows yet."
        if not any(part.learned for part in self.parts):
            return f"Cannot tell yet where the scatter of {self.reading.words} comes from. {self._lessons(self.parts)}"
        belief = [part for part in self.parts if not part.learned]
        if not first.learned or first.largest < SURE:
            known = listed(self._size(part) for part in self.parts if part.learned)
            unknown = f"; not told yet: {listed(part.words for part in belief)}" if belief else ""
            return (
                f"Cannot tell yet what scatters {self.reading.words} most. So far: {known}{unknown}. "
                + self._lessons(belief or self.parts[:2])
            )
        much = "Most" if first.share > 0.5 else "The largest part"
        mixed = [part for part in belief if not part.separable]
        belief = [part for part in belief if part.separable]
        doubt = f" How little there is {listed(part.words for part in belief)} is still mostly belief." if belief else ""
        doubt += f" What there is {listed(part.words for part in mixed)} cannot be told yet. {self._lessons(mixed)}" if mixed else ""
        return f"{much} of the scatter of {self.reading.words} is {self._size(first)}. {sources()[first.source]['remedy']}.{doubt}"

    def _repr_markdown_(self):
        lines = "".join(f"- {in_markdown(self._size(p))}{_doubt(p)}\n" for p in self.parts)
        unseen = listed(sources()[name]["words"] for name in self.silent)
        rest = f"\nThe log cannot show any difference {unseen} yet." if unseen else ""
        return f"**{in_markdown(self.sentence())}**\n\n{lines}{rest}"

    def _size(self, part):
        return (
            f"{part.words} (about ±{rounded(part.middle)}{unit_words(self.unit)}, "
            f"90 % interval {rounded(part.low)} to {rounded(part.high)})"
        )

    def _lessons(self, parts):
        lessons = list(dict.fromkeys(sources()[part.source]["lesson"] for part in parts))
        return f"To find out: {listed(lessons)}."


def _doubt(part):
    """What to add to a part about which the log says too little."""
    return "" if part.learned else ": so far mostly belief" if part.separable else ": cannot be separated from what changed with it"


def scatter(fit: ReadingFit, level: float = 0.9) -> Scatter:
    """Where a reading's scatter comes from.

    Parameters
    ----------
    fit : ReadingFit
    level : float
        Chance that a true standard deviation lies in its interval.

    Returns
    -------
    Scatter

    Examples
    --------
    >>> tp.scatter(fits["gel_time"])
    Cannot tell yet what scatters gel time most. So far: between sessions (about ±5.2 %, 90 % interval 0.6 to 16) ...
    """
    check_level(level)
    sds = {"reading": fit.posterior.sd, **fit.posterior.group_sds}
    alone = "pour" not in fit.posterior.group_sds
    again = _repeats_differ(fit, alone)
    agreed = again.index.nunique() if fit.reading.grades and not again.any() else 0
    if agreed and not alone:
        del sds["reading"]  # a grade's own step is 1 by definition, also where grades agree
    whole = sum(sd**2 for sd in sds.values())
    largest = np.argmax(np.array(list(sds.values())), axis=0)
    parts = []
    for place, (name, drawn) in enumerate(sds.items()):
        low, middle, high = np.quantile(_in_reading_unit(fit, drawn), [(1 - level) / 2, 0.5, (1 + level) / 2])
        separable = _separable(fit.groups, name)
        source = "casting" if name == "reading" and alone else name
        levels = len(fit.rows) if name == "reading" else len(fit.posterior.group_levels[name])
        parts.append(
            Part(name, source, levels, float(middle), float(low), float(high),
                 float(np.mean(drawn**2 / whole)), float(np.mean(largest == place)), separable and _learned(fit, name, drawn, again), separable)
        )
    silent = tuple(n for n in GROUPS if n.endswith("_lot") and n in fit.rows and n not in sds)
    alike = fit.pours if len(fit.rows[["low", "high"]].drop_duplicates()) == 1 else 0
    return Scatter(fit.reading, tuple(sorted(parts, key=lambda part: -part.share)), silent, alike, agreed)


def _repeats_differ(fit, alone):
    """For each casting read again at one age (with `alone`, each setting poured again), whether readings differed: a Series."""
    rows = fit.rows
    first = np.unique(fit.columns.round(9), axis=0, return_inverse=True)[1] if alone else rows["pour"]
    values = rows[["low", "high"]].groupby([np.ravel(first), rows["age"] if "age" in rows else np.zeros(len(rows))], dropna=False)
    return values.nunique().gt(1).any(axis=1)[values.size() > 1].droplevel(1)


def _learned(fit, name, drawn, again):
    """Whether draws of an sd differ from their half-normal prior, by the Kolmogorov-Smirnov distance.

    Scatter between readings of one casting shows only if one was read again; for grades, whose own sd is 1 by
    definition, only if they then differed.
    """
    if name == "reading" and fit.reading.grades:
        return bool(again.any())
    if name == "reading" and "pour" in fit.posterior.group_sds and again.empty:
        return False
    return bool(ks_1samp(drawn, halfnorm(scale=fit.believed.scatter[name]).cdf, method="asymp").statistic > SPOKEN)


def _separable(groups, name):
    """Whether a source of `SHARED_SOURCES` differed while each other stayed the same; if not, it cannot be separated from that one."""
    known = pd.DataFrame({one: groups[one] for one in SHARED_SOURCES if one in groups}).replace("", np.nan)
    others = [one for one in known if one != name]
    return name not in known or len(known) < 2 or all(known.groupby(other)[name].nunique().max() > 1 for other in others)


def _in_reading_unit(fit, drawn):
    """A latent standard deviation in the reading's own terms, at the average of the log's readings."""
    reading, posterior = fit.reading, fit.posterior
    if reading.grades:
        gap = (posterior.cuts[:, -1] - posterior.cuts[:, 0]) / max(posterior.cuts.shape[1] - 1, 1)
        return drawn / gap
    if reading.scale == "log":
        return 100 * np.expm1(drawn)
    if reading.scale == "plain":
        return drawn
    table = fit.rows if len(fit.rows) else settings_table(fit.study, reading=reading)
    middle = float((posterior.coefficients @ design(fit.believed.terms, table).mean(axis=0)).mean())
    room = float(table["room_temperature"].mean()) if "room_temperature" in table else None
    ends = to_reading(reading, np.array([middle - drawn / 2, middle + drawn / 2]), room)
    return ends[1] - ends[0]
