"""Settings as a table: what a person writes, completed for a model, and compared with what was poured."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from testpour.common.problems import Problem, noted
from testpour.common.units import UnitProblem, to_unit
from testpour.common.wording import age_words, listed
from testpour.models.terms import HOURS, OVEN, one_post_cure, post_cure
from testpour.study.columns import Reading
from testpour.study.study import Study, StudyProblems

ALIKE = 0.75  # similarity from which an unknown column is taken for a misspelt factor
LONGEST_AGE = 24.0 * 366 * 50  # h
UNREAD = "not read yet"
ROUNDING = 1.01  # an age within a hundredth of one read counts as read

# Settings as a person gives them: factor name to a number in its unit, or text with one; several in a list or a table.
SettingsGiven: TypeAlias = "Mapping[str, str | float] | Sequence[Mapping[str, str | float]] | pd.DataFrame"


def settings_table(
    study: Study, settings: SettingsGiven | None = None, *, room: str | float | None = None,
    age: str | float | None = None, reading: Reading | None = None
) -> pd.DataFrame:
    """Settings as a complete table of floats in declared units: one row per setting, one column per numeric factor, ``age`` in hours.

    What is left out takes its usual value. Numbers in a DataFrame are in declared units; its other columns are ignored unless
    they look like a misspelt factor. `room` replaces the one in `settings`; `reading` gives the default age: that of its aim,
    else the first planned. It raises StudyProblems with every setting that is unknown, unreadable or out of range.
    """
    if isinstance(settings, pd.DataFrame):
        table = _completed(study, settings)
    else:
        pours: list[Any] = list(settings) if isinstance(settings, Iterable) and not isinstance(settings, str) and not hasattr(settings, "items") else [settings]
        if not pours:
            raise StudyProblems("Settings", ["the list is empty. Put the settings of one pour or more into it, or leave it out for the usual ones."])
        rows = [{k: v for k, v in study.settings(one).items() if not isinstance(v, str)} for one in pours]
        table = pd.DataFrame(rows, index=pd.RangeIndex(1, len(rows) + 1, name="setting"))
    if room is not None:
        table["room_temperature"] = _room(study, room)
    if age is not None:
        table["age"] = _age(age)
    elif "age" not in table:
        table["age"] = (study.told_at(reading) if reading is not None else None) or 24.0
    return table


def repeated(setting: pd.DataFrame, /, **values: Any) -> pd.DataFrame:
    """One row of complete settings as n rows, in which the named columns take these `values`, n each."""
    count = max(map(len, values.values()), default=1)
    return setting.loc[setting.index.repeat(count)].reset_index(drop=True).assign(**values)


def held_settings(study: Study, poured: pd.DataFrame) -> dict[str, float]:
    """Where the other settings are held while one changes: at their usual values, as far as these were poured.

    For every numeric factor of the study; the median of what was `poured` if the usual value lies outside, the middle of
    the span if nothing was.
    """
    settings = {}
    for factor in study.numeric:
        values = poured[factor.name].dropna() if factor.name in poured else ()
        values = values if len(values) else factor.span or (factor.usual,)
        inside = min(values) <= factor.usual <= max(values)
        settings[factor.name] = factor.usual if inside else float(np.median(values))
    return settings


def as_met(study: Study, poured: pd.DataFrame) -> Study:
    """The study with usual values from `held_settings` for what nobody can choose, such as the humidity.

    Only conditions in the log that never had their usual value differ.
    """
    settings = held_settings(study, poured)
    met = {f.name for f in study.factors if f.role != "chosen" and f.name in settings and f.name in poured and poured[f.name].notna().any()}
    return replace(study, factors=tuple(replace(f, usual=settings[f.name]) if f.name in met else f for f in study.factors))


def post_cure_words(study: Study, row: Mapping[str, float] | pd.Series) -> str:
    """The hours and the heat of a post-cure, for example "a post-cure of 4 h at 70 °C"."""
    return f"a post-cure of {study.factor(HOURS).show(row[HOURS])} at {study.factor(OVEN).show(row[OVEN])}"


def other_half(name: str, settings: pd.DataFrame, most: Callable[[str], float | None]) -> dict[str, float]:
    """The hours to go with the heat of a post-cure, or the heat with its hours, if the settings have no post-cure; else nothing.

    Heat without time, or time without heat, changes nothing. `most` gives the largest value of a setting, None if it is fixed.
    """
    other = {OVEN: HOURS, HOURS: OVEN}.get(name)
    if other is None or other not in settings or (post_cure(settings[OVEN], settings[HOURS]) > 0).any():
        return {}
    value = most(other)
    return {} if value is None else {other: value}


def stated_names(study: Study, settings: SettingsGiven | None, room: str | float | None) -> frozenset[str]:
    """Names of the settings that a person gave for the first pour, the room included."""
    first: Any = settings if settings is None or hasattr(settings, "items") else next(iter(settings), {})
    names = first.columns if isinstance(first, pd.DataFrame) else study.named({} if first is None else first)
    return frozenset(names) | ({"room_temperature"} if room is not None else set())


def met_words(study: Study, poured: pd.DataFrame, row: Mapping[str, float] | pd.Series, stated: Collection[str]) -> str:
    """Which values of a row of settings are as in the log instead of usual, in a sentence that begins with a space; "" if none.

    What a person has `stated` was not taken from the log.
    """
    both = zip(study.factors, as_met(study, poured).factors, strict=True)
    replaced = [(usual, met) for usual, met in both if usual.usual != met.usual and met.name not in stated and row.get(met.name) == met.usual]
    if not replaced:
        return ""
    met_values, never = listed(f"{met.words} {met.show(met.usual)}" for _, met in replaced), listed(usual.show(usual.usual) for usual, _ in replaced)
    return f" This is for {met_values}, as in most of the log: no pour had the usual {never}."


def beyond(study: Study, rows: pd.DataFrame, used: Collection[str], table: pd.DataFrame) -> list[str]:
    """Which settings in `used` lie outside the pours of the `rows` a fit rests on, for example ``"catalyst 0.8 % (poured 1 to 2.5 %)"``.

    One text per row of settings, with ``age`` in hours; "" if the row lies inside. Half the finest step worth setting is
    not called outside.
    """
    if not len(rows):
        return [UNREAD] * len(table)
    words: list[list[str]] = [[] for _ in range(len(table))]
    poured, asked = one_post_cure(rows), one_post_cure(table)
    for factor in study.factors:
        if factor.name in used and factor.name in table:
            _note_beyond(words, factor, poured[factor.name], asked[factor.name])
    if "age" in used:
        read = rows["age"]
        low, high = read.min() / ROUNDING, read.max() * ROUNDING
        span = " to ".join(age_words(age) for age in sorted({read.min(), read.max()}))
        for place in np.flatnonzero((table["age"] < low) | (table["age"] > high)):
            words[place].append(f"age {age_words(table['age'].iloc[place])} (read at {span})")
    return ["; ".join(parts) for parts in words]


def _note_beyond(words, factor, poured, asked):
    """Add what of one factor lies outside the values poured."""
    low, high, margin = poured.min(), poured.max(), factor.step / 2 + 1e-9
    asked = asked.to_numpy(float)
    span = factor.between(low, high)
    for place in np.flatnonzero((asked < low - margin) | (asked > high + margin)):
        if factor.kind == "yes/no":
            words[place].append(f"{'with' if asked[place] else 'without'} {factor.words} (never poured)")
        else:
            words[place].append(f"{factor.words} {factor.show(asked[place])} (poured {span})")


def check_level(level: float) -> None:
    """Refuse a level, the chance that an interval holds the truth, unless it lies between 0 and 1."""
    if not isinstance(level, int | float) or not 0 < level < 1:
        raise Problem(f"level {level!r} is not between 0 and 1. Write level=0.9 for intervals that hold nine times in ten.")


def _completed(study, given):
    """A copy of `given` with every numeric factor of the study, blanks filled with usual values."""
    read = cells_read(study, given)
    filled = {f.name: read[f.name].fillna(f.usual).to_numpy() if f.name in read else f.usual for f in study.numeric}
    if "age" in given:
        filled["age"] = given["age"].to_numpy(float)
    return pd.DataFrame(filled, index=given.index)


def cells_read(study: Study, given: pd.DataFrame) -> pd.DataFrame:
    """A table of pours with its numeric factors as floats, text such as ``"2 %"`` read with its unit, and NaN for empty cells.

    StudyProblems if a cell cannot be read, or an unknown column looks like a misspelt factor.
    """
    known, missing = {factor.name for factor in study.factors}, [factor.name for factor in study.numeric if factor.name not in given]
    meant = {str(name): get_close_matches(str(name), missing, 1, ALIKE) for name in given if name not in known}
    problems = [f"{name} is not a factor of this study; {near[0]} may be meant." for name, near in meant.items() if near]
    read = {}
    for factor in (factor for factor in study.numeric if factor.name in given):
        with noted(problems):
            cells = given[factor.name]
            if not pd.api.types.is_numeric_dtype(cells):
                cells = pd.Series([factor.parse(cell) if isinstance(cell, str) else cell for cell in cells], dtype=object)
            read[factor.name] = cells.to_numpy(float, na_value=np.nan)
    if problems:
        raise StudyProblems("Settings", problems)
    return given.assign(**read)


def _room(study, room):
    """A room temperature in degC; checked against the range if the study records the room."""
    known = [factor for factor in study.factors if factor.name == "room_temperature"]
    try:
        return known[0].parse(room) if known else to_unit(room, "degC", "room")
    except UnitProblem as problem:
        raise StudyProblems("Settings", [str(problem)]) from None


def _age(age):
    """An age in hours, above 0."""
    try:
        hours = to_unit(age, "h", "age")
    except UnitProblem as problem:
        raise StudyProblems("Settings", [str(problem)]) from None
    if not 0 < hours <= LONGEST_AGE:
        raise StudyProblems("Settings", [f"age: {age} is not a time after mixing. Write it like 24 or '7 d'."])
    return hours
