"""How thick this mix can be poured: the thickest slab whose peak stays under a bound."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.advice.asking import CureAnswer, checked_question, peak_bound
from testpour.common.units import show
from testpour.models.fits import Fits
from testpour.physics.atlas import rise_of

DRAWS = 400
THINNEST, STEP = 2.0, 0.25  # mm
SURE = 0.05  # share of plausible lots that may still get hotter at the careful thickness


@dataclass(frozen=True, repr=False)
class ThicknessLimit(CureAnswer):
    """The thickest slab that stays under a peak.

    Parameters
    ----------
    mix : str
        Catalyst and room in words.
    bound : float
        Peak to stay under, degC.
    careful, middle, high : float
        Thickness (mm) at which 19 in 20, half and 1 in 20 of the plausible lots stay under it; `thickest` if a
        lot allows more than that, 0 if not even the thinnest.
    thickest : float
        mm: nothing thicker was considered.
    table : DataFrame
        One row per thickness (mm): ``peak``, ``low``, ``high`` in degC, nine lots in ten between the two.
    caution, refuted : str
    """

    mix: str
    bound: float
    careful: float
    middle: float
    high: float
    thickest: float
    table: pd.DataFrame
    caution: str
    refuted: str = ""

    def sentence(self) -> str:
        """The answer in a sentence or two."""
        if self.careful >= self.thickest:
            return (
                f"{self.mix} stands every thickness that may be asked here, up to {self.thickest:g} mm, without passing "
                f"{show(self.bound, 'degC')}; thicker than that, pour and read first."
            )
        if self.careful < THINNEST:
            return (
                f"For {self.mix} no thickness is sure to stay under {show(self.bound, 'degC')}: the likeliest limit is "
                f"{_millimetres(self.middle)}, but the lot may run hotter. Use less catalyst, or pour a thin one and log its peak."
            )
        high = f"be more than {self.thickest:g} mm" if self.high >= self.thickest else f"lie as high as {self.high:.0f} mm"
        limit = f"most likely near {_millimetres(self.middle)}, and may {high}"
        if self.middle >= self.thickest:
            limit = f"more likely than not above {self.thickest:g} mm, the most that may be asked here"
        return (
            f"With {self.mix}, up to {_millimetres(self.careful)} is likely to stay under {show(self.bound, 'degC')} (19 lots in 20); the limit "
            f"itself is {limit}."
        )


def _millimetres(value):
    return f"{np.floor(value):.0f} mm"


def thickness_limit(
    fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None,
    at_most: str | float | None = None
) -> ThicknessLimit:
    """The largest thickness whose predicted peak stays under a bound.

    Parameters
    ----------
    fits : Fits
        Its log moves the resin's numbers from the trade's guesses to this lot's.
    settings : dict, optional
        Catalyst and whatever else is set; anything left out takes its usual value. Thickness is not read.
    room : str or float, optional
        Room temperature.
    at_most : str or float, optional
        Peak to stay under, degC; by default the study's aim, else 110 °C.

    Returns
    -------
    ThicknessLimit

    Raises
    ------
    AskedTooMuch
        Beyond the resin, the limits or what was poured; see `asking.checked_question`.

    Examples
    --------
    >>> tp.thickness_limit(fits, {"catalyst": "1.5 %"}, room="20 degC")
    The log's own peaks do not follow this calculation: ... With 1.5 % catalyst in a room of 20 °C, up to 10 mm is likely
    to stay under 110 °C (19 lots in 20); ...
    """
    asking = checked_question(fits, settings, room=room, depths=False)
    bound = peak_bound(asking, at_most)
    depths = np.arange(THINNEST, asking.thickest + STEP / 2, STEP)
    air, dose = (np.full(len(depths), asking[name]) for name in ("room_temperature", "catalyst"))
    peaks = air + rise_of(asking.lot.draws(DRAWS), depths, dose, air)
    under = np.logical_and.accumulate(peaks <= bound, axis=1).sum(axis=1)
    limits = np.where(under > 0, depths[np.maximum(under - 1, 0)], 0.0)
    low, middle, high = np.quantile(peaks, [0.05, 0.5, 0.95], axis=0)
    table = pd.DataFrame({"peak": middle, "low": low, "high": high}, index=pd.Index(depths, name="thickness"))
    careful, half, most = np.quantile(limits, [SURE, 0.5, 1 - SURE], method="lower")
    shown = table[np.isclose(table.index % 1, 0)]
    return ThicknessLimit(asking.mix, bound, careful, half, most, depths[-1], shown, asking.caution(), asking.refuted)
