"""Two studies side by side: where they agree, where they differ, and what cannot be told yet."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.common.problems import Problem
from testpour.common.units import unit_words
from testpour.common.wording import in_markdown, listed, signed, table_html
from testpour.models.change import change, change_unit, good_words, in_points
from testpour.models.compare import LEVEL, SURE
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.models.settings import settings_table
from testpour.report.effect_chart import draw_studies
from testpour.report.overlap import Overlap, judging_study, overlap_of
from testpour.study.picture import Picture

APART = 0.99  # chance of a direction from which a difference is reported: with so many comparisons, 0.95 would find some by luck
LEARNED = 0.05  # share from the log below which an effect is belief alone
EVEN = ("log", "plain")  # scales on which an effect does not depend on the other settings
VERDICTS = ("differ", "agree", "cannot tell", "belief only")


@dataclass(frozen=True, eq=False)
class StudyComparison:
    """What two studies say of the same settings.

    Parameters
    ----------
    names : tuple of str
        Of the two studies.
    overlap : Overlap
        The settings both poured.
    table : DataFrame
        One row per reading and a setting: the effect in the ``first`` and the ``second`` study and their
        ``difference``, each with ``low`` and ``high`` of its 90 % interval (`first_low`, ...), in ``unit``;
        ``of``, what is compared: the reading or, for grades, the chance of those that meet the aim;
        ``move``, the step it belongs to; ``verdict``: "agree" (the same way in both, sizes no further apart
        than scatter allows), "differ", "cannot tell" or "belief only". The row "level" of a reading compares
        the average casting at the settings that ``move`` names; it is missing if some setting has no value in common.
    """

    names: tuple[str, ...]
    overlap: Overlap
    table: pd.DataFrame

    def sentence(self) -> str:
        """What agrees, what differs, what cannot be told, and where the two overlap."""
        first, second = self.names
        text = [f"{first} and {second}: {self.overlap.sentence()}"]
        if not len(self.table):
            return " ".join([*text, "So nothing can be compared."])
        for verdict, lead in zip(VERDICTS, ("They differ on", "They agree on", "Cannot tell yet:", "Known from belief alone:"), strict=True):
            rows = self.table[self.table["verdict"] == verdict]
            if len(rows):
                by_reading = rows.groupby(level="reading", sort=False)
                listed_rows = listed(f"{reading} ({listed(part.index.get_level_values('setting'))})" for reading, part in by_reading)
                if verdict == "differ":
                    listed_rows = "; ".join(self._difference(*row) for row in rows.iterrows())
                text.append(f"{lead} {listed_rows}.")
        return " ".join(text)

    __repr__ = sentence

    def _repr_markdown_(self):
        shown = self.table.drop(columns=["told"]).round(2)
        return f"{in_markdown(self.sentence())}\n\n{table_html(shown)}"

    def _difference(self, place, row):
        what, setting, unit = row["of"], place[1], row["unit"]
        if setting == "level":
            return (
                f"{what} at {row['move']}: {signed(row['difference'])}{unit} in {self.names[1]} "
                f"(90 % interval {signed(row['low'])} to {signed(row['high'])}{unit})"
            )
        return (
            f"what {setting} does to {what} ({row['move']}): {signed(row['first'])}{unit} in {self.names[0]}, "
            f"{signed(row['second'])}{unit} in {self.names[1]}"
        )

    def figure(self) -> Picture:
        """The effects of both with their intervals, a `Picture`; see `effect_chart.draw_studies`."""
        return draw_studies(self.names, self.table, self.sentence())


def compare_studies(first: Fits, second: Fits, *, names: Sequence[str] | None = None) -> StudyComparison:
    """What two studies say of the same settings.

    Parameters
    ----------
    first, second : Fits
        Of two studies, or of one study at two benches.
    names : tuple of str, optional
        How to call them; the names of the studies by default.

    Returns
    -------
    StudyComparison
        Of the average casting, not a single one. Effects are taken over the values that both studies poured, the level
        at their middle; settings with no value in common stay where each study poured them. Both studies start from
        the trade's beliefs and so look alike where their logs say little: such effects are marked.

    Raises
    ------
    Problem
        If the two names are the same.

    Examples
    --------
    >>> other = tp.fit_castings(tp.practice_guild(study, benches=1)["Practice bench 1"])
    >>> tp.compare_studies(fits, other, names=("ours", "the practice bench"))
    ours and the practice bench: ...
    """
    called = tuple(names or (first.study.name, second.study.name))
    if len(called) != 2 or called[0] == called[1]:
        reason = f"Both studies are called {called[0]!r}" if len(called) == 2 else f"{len(called)} names for two studies"
        raise Problem(f"{reason}. Give names=(one, other) to tell them apart.")
    overlap = overlap_of(first, second, called)
    rows = [row for name in overlap.readings for row in _reading_rows(first[name], second[name], overlap)]
    index = pd.MultiIndex.from_tuples([row.pop("place") for row in rows], names=["reading", "setting"])
    columns = ["first", "first_low", "first_high", "second", "second_low", "second_high", "difference", "low", "high",
               "of", "unit", "move", "told", "verdict"]
    return StudyComparison(called, overlap, pd.DataFrame(rows, index=index if rows else None, columns=columns))


def _reading_rows(one, other, overlap):
    """The level of a reading and the effect of each setting on it, in both studies."""
    middle = overlap.middle()
    learned = [{e.factor.name: e.from_log for e in effects(fit).each if e.poured} for fit in (one, other)]
    if judge := judging_study(one, other):
        one, other = (replace(fit, study=replace(fit.study, aims=judge.aims)) for fit in (one, other))
    if not overlap.apart and (middle or not min(one.pours, other.pours)):
        yield _level_row(one, other, overlap, middle)
    for factor in overlap.factors:
        if all(factor.name in share for share in learned):
            low, high = overlap.spans[factor.name]
            if high > low:
                moved = [{**middle, factor.name: low}, {**middle, factor.name: high}]
                unlearned = min(share[factor.name] for share in learned) < LEARNED
                yield _effect_row(one, other, overlap, factor, moved, (low, high), unlearned)


def _changes(one, other, overlap, settings):
    """The `Change` in each study between two settings both poured, its other settings held."""
    for fit, own_settings in zip((one, other), overlap.fixed, strict=True):
        yield change(fit, settings_table(fit.study, [{**own_settings, **row} for row in settings], reading=one.reading))


def _effect_row(one, other, overlap, factor, moved, span, unlearned):
    changes = list(_changes(one, other, overlap, moved))
    draws = [in_points(part.values, part.ratio, part.good) for part in changes]
    apart = _difference_shown(changes, [part.values for part in changes])
    sure = [_direction_sure(part) for part in draws]
    depends = bool(overlap.apart) and one.reading.scale not in EVEN
    verdict = "belief only" if unlearned else _verdict(draws, apart, sure, depends)
    return _row(one.reading, factor.words, changes[0], draws, apart, move=factor.between(*span), told=all(sure), verdict=verdict)


def _level_row(one, other, overlap, middle):
    """The average casting at settings both poured: how far the second study is from the first.

    Levels agree if the difference has no sure sign and is small: below a quarter, 10 castings in 100, or a tenth of the reading.
    """
    changes = list(_changes(one, other, overlap, [middle] * 2))
    levels = [part.averages[:, 0] for part in changes]
    shown = levels if changes[0].ratio else [in_points(part, False, changes[0].good) for part in levels]
    apart = _difference_shown(changes, levels)
    sure = _direction_sure(apart, APART)
    poured = min(one.pours, other.pours) > 0
    least = 25.0 if changes[0].ratio else 10.0 if changes[0].good is not None else max(0.1 * abs(np.median(levels[0])), 0.5)
    low, high = np.quantile(apart, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    alike = "agree" if max(-low, high) < least and not _direction_sure(apart) else "cannot tell"
    verdict = "belief only" if not poured else "differ" if sure else alike
    move = listed(f"{f.words} {f.show(middle[f.name])}" for f in overlap.factors)
    return _row(one.reading, "level", changes[0], shown, apart, move=move, told=sure, verdict=verdict)


def _row(reading, setting, first_change, draws, apart, **more):
    """One row of `StudyComparison.table`; for grades with an aim, the chance of meeting it is compared."""
    tails = [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2]
    names = ["first_low", "first", "first_high", "second_low", "second", "second_high", "low", "difference", "high"]
    ends = dict(zip(names, np.quantile([*draws, apart], tails, axis=1).T.ravel().tolist(), strict=True))
    what = reading.words if first_change.good is None else f"the chance of {good_words(reading, first_change.good)}"
    return {"place": (reading.words, setting), **ends, "of": what, "unit": unit_words(change_unit(reading, first_change.good)), **more}


def _difference_shown(changes, values):
    """How far the second study is from the first, in the units shown."""
    return in_points(values[1] / values[0] if changes[0].ratio else values[1] - values[0], changes[0].ratio, changes[0].good)


def _direction_sure(draws, level=SURE):
    return bool(max(np.mean(draws > 0), np.mean(draws < 0)) >= level)


def _verdict(draws, apart, sure, depends):
    """"differ" if the difference has a sure sign; "agree" if both effects surely point the same way and it has none.

    If sizes depend on settings with no value in common, only opposite directions differ.
    """
    same = np.sign(np.median(draws[0])) == np.sign(np.median(draws[1]))
    if _direction_sure(apart, APART) and not (depends and same):
        return "differ"
    return "agree" if all(sure) and same and not _direction_sure(apart) else "cannot tell"
