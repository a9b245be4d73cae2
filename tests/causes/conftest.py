"""Shared: the fits of a practice log, and one more casting put beside it that the fits have not seen."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.logbook.castings import Castings

PLAIN = {"catalyst": 1.8, "pigment": 1.0, "thickness": 10.0, "cover": 1.0, "room_temperature": 20.0}


@pytest.fixture(scope="session")
def fits(practice_fits):
    """The fits of twelve practice pours."""
    return practice_fits


@pytest.fixture(scope="session")
def beside(fits):
    """A maker of fits whose castings hold one more pour, ``X1``: settings and ``{reading: value}``."""

    def make(settings=None, readings=None, age=24.0, note="", **lots):
        old = fits.castings
        row = {**old.pours.iloc[0].to_dict(), "resin_lot": "", "catalyst_lot": "", **PLAIN, **(settings or {}), **lots}
        row |= {"session": "S9", "note": note}
        rows = [
            {"pour": "X1", "reading": name, "low": value, "high": value, "known": "exact", "specimen": "", "by": "",
             "note": "", "entry": 900 + i, "age": age if fits.study.reading(name).ages else np.nan}
            for i, (name, value) in enumerate((readings or {}).items())
        ]
        pours = pd.concat([old.pours, pd.DataFrame([row], index=["X1"])[list(old.pours.columns)]])
        more = pd.DataFrame(rows, columns=list(old.readings.columns)).astype(old.readings.dtypes)
        readings = pd.concat([old.readings, more], ignore_index=True) if rows else old.readings
        return replace(fits, castings=Castings(fits.study, pours, readings))

    return make


@pytest.fixture(scope="session")
def usual(fits):
    """Readings as the fits expect them at the plain settings."""
    table = fits.predict(PLAIN, age="24 h")["middle"].droplevel(0)
    return {name: float(value) for name, value in table.items()}
