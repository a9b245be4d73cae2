"""Logs of a few benches, small enough to read in the test."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.study.study_file import study_from

PARTS = {
    "resin": {"kind": "casting polyester, promoted"},
    "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "room_temperature": {}, "resin_lot": {}},
    "readings": {"gel_time": {}, "hardness": {"unit": "Shore D"}, "tack": {}},
    "aims": {"tack": {"at_most": 1}},
}


@pytest.fixture
def bench(castings_of):
    """``bench(number, **parts)``: six pours in two sessions, all readings; `parts` replace parts of the study."""

    def make(number, pours=6, **parts):
        study = study_from({**PARTS, **parts})
        rng = np.random.default_rng(number)
        names = [f"P{i}" for i in range(1, pours + 1)]
        table = pd.DataFrame(
            {
                "session": np.where(np.arange(pours) < pours / 2, "S1", "S2"),
                "made_at": pd.Timestamp("2026-03-01") + pd.to_timedelta(np.arange(pours) + 100 * number, "min"),
                "catalyst": np.resize([1.0, 1.5, 2.0, 2.5], pours),
                "room_temperature": 18.0 + number,
                "resin_lot": "L1",
                "by": "Ada",
                "note": "after lunch",
            },
            index=pd.Index(names, name="pour"),
        )
        gel = np.exp(3.2 - 0.75 * np.log(table["catalyst"] / 1.5) + rng.normal(0, 0.1, pours))
        rows = [("gel_time", 4 * np.floor(gel / 4), 4 * np.floor(gel / 4) + 4, np.nan, "between")]
        hard = np.round(80 + rng.normal(0, 2, pours))
        rows.append(("hardness", hard, hard, 24.0, "exact"))
        tack = rng.integers(0, 2, pours).astype(float)
        rows.append(("tack", tack, tack, 24.0, "exact"))
        known = {reading.name for reading in study.readings}
        readings = pd.concat(
            pd.DataFrame({"pour": names, "reading": r, "low": low, "high": high, "age": age, "known": k, "by": "Ada"})
            for r, low, high, age, k in rows
            if r in known
        )
        return castings_of(study, table, readings.reset_index(drop=True))

    return make


@pytest.fixture
def declared():
    """A log with one reading or factor declared otherwise."""

    def change(castings, which, name, **parts):
        columns = tuple(replace(c, **parts) if c.name == name else c for c in getattr(castings.study, which))
        return replace(castings, study=replace(castings.study, **{which: columns}))

    return change
