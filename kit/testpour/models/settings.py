"""Settings as a table: what a person writes, made complete for a model."""

import numpy as np
import pandas as pd

from testpour.units import to_unit


def settings_table(study, settings=None, *, room=None, age=None, reading=None):
    """Settings as a complete table of floats in declared units.

    Parameters
    ----------
    study : Study
    settings : dict, list of dict or DataFrame, optional
        Factor name to number or text with a unit; what is left out takes its usual value. A DataFrame
        holds floats in declared units already.
    room : str or float, optional
        Room temperature; replaces the one in `settings`.
    age : str or float, optional
        Age after mixing in hours, or text with a unit.
    reading : Reading, optional
        Gives the age where none is said.

    Returns
    -------
    DataFrame
        One row a setting, one column a numeric factor, and ``age`` in hours.

    Raises
    ------
    StudyProblems
        Naming every setting that is unknown, unreadable or unbelievable.
    """
    if isinstance(settings, pd.DataFrame):
        table = _completed(study, settings)
    else:
        each = [settings or {}] if settings is None or isinstance(settings, dict) else list(settings)
        rows = [{k: v for k, v in study.settings(one).items() if not isinstance(v, str)} for one in each]
        table = pd.DataFrame(rows, index=pd.RangeIndex(1, len(rows) + 1, name="setting"))
    if room is not None:
        table["room_temperature"] = to_unit(room, "degC", "room")
    if age is not None:
        table["age"] = to_unit(age, "h", "age")
    elif "age" not in table:
        table["age"] = reading.ages[0] if reading is not None and reading.ages else 24.0
    return table


def _completed(study, given):
    """A copy of `given` with every numeric factor of the study, usual values where it is silent."""
    table = pd.DataFrame(index=given.index)
    for factor in study.factors:
        if factor.kind != "text":
            values = given.get(factor.name, pd.Series(np.nan, given.index))
            table[factor.name] = values.astype(float).fillna(factor.usual)
    if "age" in given:
        table["age"] = given["age"].astype(float)
    return table
