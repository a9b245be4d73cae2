"""What a reading's model takes from the log: its rows, the groups that share an error, and what was assumed."""

import numpy as np
import pandas as pd

from testpour.models.scales import to_latent, widen
from testpour.wording import count

SHARED = ("resin_lot", "catalyst_lot", "by")  # enter the model once the log holds two of them


def rows_of(castings, reading):
    """The readings a model rests on, each with the settings of its pour.

    Parameters
    ----------
    castings : Castings
    reading : Reading

    Returns
    -------
    rows : DataFrame
        One row a reading: pour, session, settings, age, low and high in the reading's unit.
    assumed : tuple of str
        A sentence for each setting that was not written down and takes its usual value.
    """
    readings = castings.readings[castings.readings["reading"] == reading.name]
    rows = readings.merge(castings.pours, left_on="pour", right_index=True, suffixes=("", "_of_pour"))
    rows = rows.reset_index(drop=True)
    assumed = []
    for factor in castings.study.factors:
        if factor.kind == "text":
            rows[factor.name] = rows[factor.name].fillna("").astype(str)
            continue
        blank = rows[factor.name].isna()
        if blank.any():
            pours = rows.loc[blank, "pour"].nunique()
            said = f"{factor.words.capitalize()} was not written down for {count(pours, 'pour')}"
            assumed.append(f"{said}; {factor.show(factor.usual)} is assumed.")
            rows.loc[blank, factor.name] = factor.usual
    if reading.ages:
        rows["age"] = rows["age"].fillna(reading.ages[0])
    return rows, tuple(assumed)


def groups_of(rows):
    """The groups that share an error: sessions always, lots and hands when there are two, pours when read twice.

    Returns
    -------
    dict
        Group name to the label of each row.
    """
    groups = {"session": rows["session"].astype(str)}
    for name in SHARED:
        if name in rows:
            labels = rows[name].astype(object).where(rows[name].notna(), "").astype(str)
            if labels[labels != ""].nunique() > 1:
                groups[name] = labels
    if rows["pour"].duplicated().any():
        groups["pour"] = rows["pour"].astype(str)
    return {name: labels.to_numpy() for name, labels in groups.items()}


def latent_ends(reading, rows):
    """Lower and upper ends of each row on the latent scale; for grades, the grades themselves."""
    low, high = rows["low"].to_numpy(float), rows["high"].to_numpy(float)
    if reading.grades:
        return low, high
    room = rows.get("room_temperature")
    room = room.to_numpy(float) if isinstance(room, pd.Series) else room
    return tuple(np.asarray(to_latent(reading, ends, room)) for ends in widen(reading, low, high))
