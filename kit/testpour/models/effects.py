"""What the settings did: one sentence and one row for each factor, with the shares of belief and log."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import pandas as pd

from testpour.common.wording import age_words, in_markdown, listed
from testpour.models.change import averages, change
from testpour.models.effect import Effect
from testpour.models.reading_fit import ReadingFit
from testpour.models.settings import check_level, held_settings, settings_table
from testpour.models.terms import HOURS, OVEN, POST_CURE_HOURS, REFERENCE, design, one_post_cure
from testpour.study.columns import Factor, Reading

DAYS = 3  # sessions needed at either end of a setting: with three, chance alone puts all good days at one end in one log of twenty, 6!/(3! 3!)
PLACES = 13  # values of a setting at which a bend is looked for


@dataclass(frozen=True)
class Effects:
    """What each setting did to one reading, strongest first.

    Parameters
    ----------
    reading : Reading
    each : tuple of Effect
    settings : dict of Factor to float
        Where each setting is held while another changes.
    age : float, optional
        Of the reading, h after mixing; None if it has no age.
    """

    reading: Reading
    each: tuple[Effect, ...]
    settings: dict[Factor, float] = field(default_factory=dict)
    age: float | None = None

    @property
    def table(self) -> pd.DataFrame:
        """One row per factor: from, to, middle, low, high, share from the log, and the sentence."""
        rows = [
            {
                "factor": e.factor.words,
                "from": e.factor.show(e.start),
                "to": e.factor.show(e.end),
                "middle": e.middle,
                "low": e.low,
                "high": e.high,
                "from log": e.from_log,
                "says": e.sentence(),
            }
            for e in self.each
        ]
        return pd.DataFrame(rows).set_index("factor")

    def sentence(self) -> str:
        """The strongest effect, and which are not settled."""
        clear = [e for e in self.each if e.settled and e.poured]
        unsettled = [e.factor.words for e in self.each if not (e.settled or e.negligible)]
        first = clear[0].sentence() if clear else f"This log cannot tell yet what moves {self.reading.words}."
        rest = f" Not settled: {listed(unsettled)}." if unsettled else ""
        return first + rest

    __repr__ = sentence

    def conditions(self) -> str:
        """Where the other settings are held, and the age of the reading, in sentences; "" if there is neither."""
        values = [f"{factor.words} {factor.show(value)}" for factor, value in self.settings.items()]
        text = f"The settings that do not move are held at {listed(values)}." if values else ""
        if any(e.factor.name == OVEN for e in self.each):
            text += " Post-cure time has no line of its own: heat and time act together, so it is included with the temperature."
        return (text + (f" All this is about {self.reading.words} at {age_words(self.age)}." if self.age else "")).strip()

    def _repr_markdown_(self):
        poured = "".join(f"- {in_markdown(e.sentence())}\n" for e in self.each if e.poured)
        alone = [e.factor.words for e in self.each if not e.poured]
        text = f"**What the settings did to {in_markdown(self.reading.words)}**\n\n{poured}"
        if alone:
            text += f"\nNo two pours differ in {in_markdown(listed(alone))}: what is said about that is belief alone. To learn it, vary it."
        return text + (f"\n\n{in_markdown(self.conditions())}" if self.conditions() else "")


def effects(fit: ReadingFit, level: float = 0.9) -> Effects:
    """What each setting did to a reading.

    Parameters
    ----------
    fit : ReadingFit
    level : float
        Chance that the true effect lies in the interval.

    Returns
    -------
    Effects
        Each factor moved over the range that was poured (or planned, where none was), the others held as
        `held_settings` has them; the average casting, not a single one, at the age of the reading's aim, else the first planned.

    Examples
    --------
    >>> tp.effects(fits["gel_time"])
    Raising catalyst from 1 to 2.5 % shortens gel time by about 52 % (90 % interval 47 to 57 %). ...
    """
    check_level(level)
    return _effects(fit, level)


@lru_cache(maxsize=32)  # a page needs the effects of each fit four times
def _effects(fit, level):
    rows = one_post_cure(fit.rows)
    ranks = rows.drop_duplicates("pour").rank(numeric_only=True).corr()
    each = [_effect(fit, rows, ranks, *step, level) for step in _moves(fit, rows)]
    each.sort(key=lambda e: -abs(e.middle - e.ratio) / max(e.high - e.low, 1e-9))
    settings = {fit.study.factor(name): value for name, value in held_settings(fit.study, fit.rows).items() if name in fit.believed.factors}
    return Effects(fit.reading, tuple(each), settings, fit.study.told_at(fit.reading))


def _moves(fit, rows):
    """Each factor that can move the reading: factor, start, end, whether poured, and the other settings."""
    used, no_effect, usual = fit.believed.factors, _half_without_effect(fit.rows), held_settings(fit.study, fit.rows)
    for factor in fit.study.numeric:
        if factor.name not in used or factor.name == no_effect:
            continue
        values = rows[factor.name]
        poured = values.nunique() > 1
        if not poured and not factor.span:
            continue
        start, end = (values.min(), values.max()) if poured else (factor.span or (factor.low, factor.high))
        beside = {HOURS: hours_poured(rows)} if factor.name == OVEN and HOURS in usual else {}
        yield factor, float(start), float(end), poured, usual | beside


def hours_poured(rows: pd.DataFrame) -> float:
    """How long the hottest post-cure of a log lasted, h; `POST_CURE_HOURS` if there was none.

    Parameters
    ----------
    rows : DataFrame
        Of a log, settings in declared units.

    Returns
    -------
    float
    """
    rows = one_post_cure(rows)
    return float(rows.loc[rows[OVEN] == rows[OVEN].max(), HOURS].max()) or POST_CURE_HOURS if len(rows) else POST_CURE_HOURS


def _half_without_effect(rows):
    """Which part of a post-cure has no separate effect: the time, unless one temperature was held for different times."""
    if not {OVEN, HOURS} <= set(rows) or rows[OVEN].nunique() > 1 or rows[HOURS].nunique() < 2:
        return HOURS
    return OVEN if rows[OVEN].max() > REFERENCE[OVEN] else HOURS


def _effect(fit, rows, ranks, factor, start, end, poured, beside, level):
    settings = [{**beside, factor.name: value} for value in (start, end)]
    table = settings_table(fit.study, settings, reading=fit.reading)
    contrast = np.diff(design(fit.believed.terms, table), axis=0)[0]
    result = change(fit, table)
    tails = np.quantile(result.values, [(1 - level) / 2, 0.5, (1 + level) / 2])
    drawn = fit.posterior.coefficients @ contrast
    from_log = _from_log(fit.believed, contrast, drawn) if poured else 0.0  # if not poured, the log only learned the remainder's size, from other settings
    informative = _informed(fit.believed, contrast)
    believed, doubt = contrast @ fit.believed.mean, np.sqrt(np.sum((contrast * fit.believed.sd) ** 2))
    pull = abs(drawn.mean() - believed)
    disagreement = float(pull / (np.sqrt(from_log) * doubt)) if informative and from_log > 0.05 else 0.0
    expected = float(believed / drawn.mean()) if abs(believed) > doubt / 2 else 0.0
    low, middle, high = (float(t) for t in tails)
    turn, rises = _turning_point(fit, factor, start, end, beside, level) if poured and rows[factor.name].nunique() > 2 else (None, True)
    return Effect(
        factor, fit.reading, start, end, middle, low, high, from_log, disagreement, bool(poured), result.good, level, turn, rises, informative,
        by_day=poured and by_day(rows, factor, (start + end) / 2),
        together=_moved_together(fit, ranks[factor.name], factor) if poured else (),
        expected=expected,
        hours=beside.get(HOURS) if factor.name == OVEN else None,
        age=fit.study.told_at(fit.reading),
    )


def by_day(rows: pd.DataFrame, factor: Factor, middle: float) -> bool:
    """Whether a setting never differed within a session and fewer than `DAYS` sessions had it low, or high.

    Parameters
    ----------
    rows : DataFrame
        With the session and the setting of each.
    factor : Factor
    middle : float
        Above it a setting is high.

    Returns
    -------
    bool
    """
    sessions = rows.groupby("session")[factor.name]
    least = sessions.min()
    if (sessions.max() - least).max() > factor.step / 2:
        return False
    high = (least > middle).sum()
    return bool(min(high, len(least) - high) < DAYS)


def _moved_together(fit, ranks, factor):
    """Words of the other settings that may move the reading and whose ranks correlate perfectly with this one's."""
    used = fit.believed.factors - ({OVEN, HOURS} if factor.name in (OVEN, HOURS) else {factor.name})
    others = [other for other in fit.study.numeric if other.name in used]
    return tuple(other.words for other in others if abs(ranks[other.name]) > 1 - 1e-9)


def _from_log(believed, contrast, drawn):
    """Share of what is known about a change that came from the log.

    A log that contradicts the beliefs raises the remainder's size, and with it the doubt; the prior variance is raised
    alike, or such a log would seem to have taught nothing.
    """
    growth = np.where(np.arange(len(contrast)) < len(contrast) - believed.remainder_count, 1.0, believed.remainder_growth)
    before = np.sum((contrast * believed.sd * growth) ** 2)
    return float(np.clip(1 - drawn.var() / before, 0, 1)) if before > 0 else 1.0


def _informed(believed, contrast):
    """Whether the trade has a belief about any term that changes, not counting the remainder."""
    beliefs = believed.without_remainder().beliefs
    return any(belief.informative for belief, moved in zip(beliefs, contrast, strict=False) if moved)


def _turning_point(fit, factor, start, end, beside, level):
    """Where the average casting surely has a maximum or minimum between two values, if anywhere, and whether it rises up to there."""
    places = np.linspace(start, end, PLACES)
    table = settings_table(fit.study, [{**beside, factor.name: value} for value in places], reading=fit.reading)
    curve = averages(fit, table, fit.mean(table))
    for up in (True, False):
        height = curve if up else -curve
        top = int(height.mean(axis=0).argmax())
        over = height[:, top] - np.maximum(height[:, 0], height[:, -1])
        if np.quantile(over, (1 - level) / 2) > 0:
            return float(places[top]), up
    return None, True
