"""The settings with the best chance of a good casting, for one room and what is given."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.advice.candidates import allowed, as_poured, nearest_usual, spread_settings, with_one_post_cure
from testpour.advice.conflicts import AimsConflict, inputs_of
from testpour.advice.prospect import State, prospect
from testpour.common.threads import one_thread
from testpour.common.wording import at_age, in_hundred, said_in_markdown
from testpour.models.chance import Chance, cautions_at, chance
from testpour.models.fits import Fits
from testpour.models.settings import stated_names
from testpour.models.terms import one_post_cure
from testpour.study.caution_rules import Cautions
from testpour.study.columns import Factor, Reading
from testpour.study.study import Study

MOVES = (-3, -1, 1, 3)  # bench steps tried on either side of the best setting so far
ROUNDS = 12
NINE_IN_TEN = "Nine castings in ten lie between low and high"
FEW = 12  # best settings that are compared over all draws
UNPOURED = 0.02  # gain in chance needed to advise a setting outside everything poured


@dataclass(frozen=True, eq=False)
class Recommendation:
    """The settings with the best chance of a good casting.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row: every setting in its unit.
    chance : Chance
        Of the recommended settings.
    predicted : DataFrame
        Middle, low and high of each reading at the age of its aim (90 % interval, one new casting).
    cautions : Cautions
    beyond : tuple of str
        Settings that lie outside what was poured.
    free : tuple of str
        Names of the settings that were chosen; the others were given.
    conflict : AimsConflict or None
        The aims that no settings are likely to meet together.
    """

    study: Study
    table: pd.DataFrame
    chance: Chance
    predicted: pd.DataFrame
    cautions: Cautions
    beyond: tuple[str, ...]
    free: tuple[str, ...]
    conflict: AimsConflict | None = None

    @property
    def settings(self) -> dict[str, float]:
        """The recommended settings as a dict of floats in declared units."""
        return self.table.drop(columns="age", errors="ignore").iloc[0].to_dict()

    def sentence(self) -> str:
        """The advice in a few sentences."""
        row = self.table.iloc[0]
        room = "Pour with "
        if "room_temperature" in row:
            room = f"In a room at {self.study.factor('room_temperature').show(row['room_temperature'])}, pour with "
        text = room + settings_words(self.study, row, self.free) + ". " + self.chance.verdict() + self.chance.met()
        if self.conflict:
            text += f" {self.conflict.sentence(beside_best=True)} {self._by_aim()}".rstrip()
        if self.beyond and not self.cautions.refusals:
            text += f" Not poured there yet: {', '.join(self.beyond)}. Try one pour before relying on it."
        return self.cautions.around(text)

    def _by_aim(self):
        """The chance of meeting each aim alone, at the recommended settings; "" if the overall chance is not known yet."""
        if self.chance.untold:
            return ""
        met = self.chance.by_aim.iloc[0]
        return f"At these settings: {', '.join(f'{words} in {in_hundred(share)} of 100' for words, share in met.items())}."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


@one_thread
def recommend(fits: Fits, *, room: str | float | None = None, fixed: Mapping[str, str | float] | None = None) -> Recommendation:
    """The settings with the best chance of a good casting.

    Parameters
    ----------
    fits : Fits
    room : str or float, optional
        Room temperature, for example ``"17 degC"``.
    fixed : dict, optional
        Settings that are given, for example ``{"thickness": "12 mm"}``.

    Returns
    -------
    Recommendation

    Raises
    ------
    NoAims
        If the study states no aim.
    RoomProblem, SettingRefused
        If the room is too cold or too hot to advise on, or the cautions refuse what is given.

    Examples
    --------
    >>> tp.recommend(fits, room="18 degC", fixed={"thickness": "12 mm"})
    In a room at 18 °C, pour with 2.1 % catalyst, 1.2 % pigment, with cover. Chance of a good casting: about 96 in 100 ...
    """
    study, (states, given, free, conflict) = fits.study, inputs_of(fits, fixed, room)
    best = best_settings(fits, states, given, free)
    best.index = pd.Index(["recommended"])
    return Recommendation(
        study, best, replace(chance(fits, best), stated=stated_names(study, fixed, room)), predicted(fits, best).droplevel(0), cautions_at(fits, best),
        tuple(beyond_log(fits, best.iloc[0]).values()), tuple(factor.name for factor in free), conflict,
    )


def best_settings(fits: Fits, states: dict[str, State], given: pd.DataFrame, free: tuple[Factor, ...]) -> pd.DataFrame:
    """The allowed settings with the best mean chance: one row, in bench steps.

    Among settings whose chances the draws cannot tell apart, the nearest to the usual ones; settings never poured only if
    they gain `UNPOURED`. `given` is one row with every setting, of which the free ones are chosen.
    """
    spread, good = with_chances(fits, states, spread_settings(free, given))
    best = spread.iloc[[int(good.argmax())]].reset_index(drop=True)
    for _ in range(ROUNDS):
        few = foremost(fits, states, neighbours(best, free), FEW)
        if few.iloc[[0]].equals(best):
            break
        best = few.iloc[[0]].reset_index(drop=True)
    exact = chance(fits, few).by_aim.prod(axis=1)  # over all draws, as the normal summary only shortlists
    near, alike = with_chances(fits, states, neighbours(few.loc[[exact.idxmax()]], free))
    table = pd.concat([near, spread], ignore_index=True)
    best = table.iloc[[nearest_usual(table, np.concatenate([alike, good]), alike[0], free)]].reset_index(drop=True)
    table, good = with_chances(fits, states, as_poured(fits.castings.pours, best, free))
    return table.iloc[[next((place for place in range(1, len(table)) if good[place] > good[0] - UNPOURED), 0)]].reset_index(drop=True)


def with_chances(fits: Fits, states: dict[str, State], table: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """The allowed settings of a table and the mean chance of each."""
    table = table[allowed(fits, table)].reset_index(drop=True)
    return table, prospect(states, fits.study, table).chance()


def foremost(fits: Fits, states: dict[str, State], table: pd.DataFrame, count: int) -> pd.DataFrame:
    """The allowed settings with the best mean chance, at most `count`, best first."""
    table, good = with_chances(fits, states, table)
    return table.iloc[np.argsort(-good, kind="stable")[:count]].reset_index(drop=True)


def neighbours(best: pd.DataFrame, free: tuple[Factor, ...]) -> pd.DataFrame:
    """One row of settings, then its neighbours some bench steps away in each free factor, inside the spans."""
    tables = [best]
    for factor in free:
        low, high = factor.span
        now = float(best[factor.name].iloc[0])
        step = factor.step or (high - low) / 20
        values = [1 - now] if factor.kind == "yes/no" else [now + move * step for move in MOVES]
        tables += [best.assign(**{factor.name: float(np.clip(factor.rounded(v), low, high))}) for v in values]
    return with_one_post_cure(pd.concat(tables, ignore_index=True), free)


def predicted(fits: Fits, table: pd.DataFrame) -> pd.DataFrame:
    """Middle, low and high of each reading of one new casting: one row per setting and reading.

    Readings are at the age of their aim, else the first planned; nine castings in ten lie between low and high.
    """
    parts = {fit.reading.words: fit.predict(table, age=fits.study.told_at(fit.reading)) for fit in fits.values()}
    return pd.concat(parts, names=["reading"]).swaplevel().sort_index(level=0, sort_remaining=False)


def predicted_words(study: Study, expected: pd.DataFrame) -> pd.DataFrame:
    """What one casting should read, in words and in steps of the instrument: one row per reading with its age; low, middle and high."""
    rows = {}
    for reading in study.readings:
        if reading.words in expected.index:
            step, line = reading.resolution, expected.loc[reading.words, ["low", "middle", "high"]]
            rows[at_its_age(study, reading)] = [reading.show(step * round(end / step) if step else float(f"{end:.3g}")) for end in line]
    return pd.DataFrame.from_dict(rows, orient="index", columns=["low", "middle", "high"]).rename_axis("reading")


def at_its_age(study: Study, reading: Reading) -> str:
    """A reading with the age used by `predicted`: "hardness at 7 days"; no age if the reading has none.

    Parameters
    ----------
    study : Study
    reading : Reading

    Returns
    -------
    str
    """
    return f"{reading.words}{at_age(study.told_at(reading))}"


def beyond_log(fits: Fits, row: pd.Series) -> dict[str, str]:
    """Settings of a row that lie outside what was poured: factor name to the setting in words."""
    row, pours = one_post_cure(row.to_frame().T).iloc[0], one_post_cure(fits.castings.pours)
    beyond = {}
    for factor in fits.study.factors:
        if factor.kind == "number" and factor.role != "carried" and factor.name in row:
            logged = pours.get(factor.name, pd.Series(np.nan, pours.index))
            known, fixed = logged.notna().any(), factor.role == "met" or len(set(factor.span)) < 2  # a condition of the room, or the same in every pour
            # The models fill blanks with the usual value, so a setting added later counts as poured there; one never recorded counts as unknown.
            poured = logged.fillna(factor.usual) if (factor.role == "chosen" if known else fixed) else logged.dropna()
            margin = factor.step or 0.0
            if not len(poured) or not poured.min() - margin <= row[factor.name] <= poured.max() + margin:
                beyond[factor.name] = f"{factor.words} {factor.show(row[factor.name])}"
        elif factor.kind == "yes/no" and factor.name in row and row[factor.name] not in _poured_values(pours, factor):
            beyond[factor.name] = settings_words(fits.study, row, [factor.name])
    return beyond


def _poured_values(pours, factor):
    """The values of a setting that were poured, blanks filled with the usual one as in the models."""
    return set(pours[factor.name].fillna(factor.usual) if factor.name in pours else [factor.usual] * len(pours))


def settings_words(study: Study, row: Mapping[str, float] | pd.Series, names: Iterable[str]) -> str:
    """Settings in words: "1.6 % catalyst, 0.5 % pigment, 12 mm thickness, with cover"."""
    parts = []
    for name in names:
        factor = study.factor(name)
        if factor.kind == "yes/no":
            parts.append(f"{'with' if row[name] else 'without'} {factor.words}")
        else:
            parts.append(f"{factor.show(row[name])} {factor.words}")
    return ", ".join(parts) or "the settings given"
