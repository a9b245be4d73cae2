"""Turn a table of settings into castings, and say every row that cannot be cast."""

from __future__ import annotations

from collections.abc import Hashable
from math import isnan, nan
from typing import Any

import pandas as pd

from testpour.physics.casting import Casting, post_cure_programme
from testpour.wording import count

NEEDED = ("thickness", "catalyst")
TAKEN = (*NEEDED, "room_temperature", "resin_temperature")


class SettingsProblems(ValueError):
    """Rows that cannot be cast; `problems` maps each row's name to what is wrong with it."""

    def __init__(self, problems: dict[Hashable, str]) -> None:
        self.problems = problems
        row, first = next(iter(problems.items()))
        super().__init__(
            f"{count(len(problems), 'row')} cannot be cast. First, row {row!r}: {first} "
            "Look at `err.problems` for the whole list."
        )


def castings_from(settings: pd.DataFrame, **shared: Any) -> list[Casting]:
    """The castings of a table of settings.

    Parameters
    ----------
    settings : DataFrame
        One row per casting; any of the columns thickness (mm), catalyst (%), room_temperature,
        resin_temperature, post_cure_temperature (degC) and post_cure_time (h). Other columns are left
        alone. A blank resin temperature means the room's, a blank or zero post-cure time none.
    **shared
        Anything else `Casting` takes, the same for every row.

    Returns
    -------
    list of Casting

    Raises
    ------
    KeyError
        If thickness or catalyst is given neither in the table nor in `shared`.
    SettingsProblems
        If any row cannot be cast.
    """
    missing = [name for name in NEEDED if name not in settings and name not in shared]
    if missing:
        raise KeyError(f"The settings lack {missing}; they have {list(settings.columns)}. Add what is missing.")
    castings: list[Casting] = []
    problems: dict[Hashable, str] = {}
    for name, row in zip(settings.index, settings.to_dict("records"), strict=True):
        try:
            castings.append(_casting(row, shared))
        except ValueError as err:
            problems[name] = str(err)
    if problems:
        raise SettingsProblems(problems)
    return castings


def _casting(row, shared):
    """The casting of one row."""
    values = dict(shared) | {name: float(row[name]) for name in TAKEN if name in row}
    if isnan(values.get("resin_temperature") or 0.0):
        values["resin_temperature"] = None
    hold = row.get("post_cure_time", 0.0)
    if hold > 0.0:
        oven = row.get("post_cure_temperature", nan)
        if isnan(oven):
            raise ValueError(
                f"post_cure_time is {hold:g} h but post_cure_temperature is blank; give both or neither."
            )
        room = values.get("room_temperature", Casting.room_temperature)
        values["programme"] = post_cure_programme(room, oven, hold)
        values["hours"] = max(values["programme"][-1][0], values.get("hours", Casting.hours))
    return Casting(**values)
