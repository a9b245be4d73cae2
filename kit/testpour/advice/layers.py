"""Are two layers safer, and when to pour the second: layered slabs simulated for several plausible lots."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from testpour.advice.asking import AskedTooMuch, CureAnswer, checked_question, peak_bound
from testpour.common.problems import Problem
from testpour.common.units import show, to_unit
from testpour.models.fits import Fits
from testpour.physics.casting import Casting, Layer
from testpour.physics.lots import face_of, resin_of
from testpour.physics.slab import SLICES, cure_many
from testpour.study.cautions import hottest_peak

LOTS = 12
WAITS = np.array([5.0, 15.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0])  # min after the first layer's gel
CLEARLY = 5.0  # K by which layers must be cooler to be worth the wait
SURE = 0.9  # share of the plausible lots that must stay under the bound
BOND = (
    "Pour on a first layer that has gelled firm and is still tacky: the two then cure into one. On a layer that has cured "
    "through, abrade and clean it first; the bond is then mechanical only."
)


@dataclass(frozen=True, repr=False)
class TwoLayers(CureAnswer):
    """One pour against two layers.

    Parameters
    ----------
    mix : str
        Catalyst and room in words.
    bound : float
        Peak to stay under, degC.
    first, second : float
        Layers, mm.
    whole : tuple of float
        Hottest place of one pour, degC: low, middle, high over nine lots in ten.
    table : DataFrame
        One row per wait (min after the first layer's gel): ``minute`` after mixing the first, ``hottest``,
        ``low``, ``high`` in degC, ``under`` the share of plausible lots that stay under the bound.
    wait : float or None
        Shortest wait from which nine lots in ten stay under the bound; None if there is none.
    caution, refuted : str
    """

    mix: str
    bound: float
    first: float
    second: float
    whole: tuple[float, float, float]
    table: pd.DataFrame
    wait: float | None
    caution: str
    refuted: str = ""

    @property
    def needed(self) -> bool:
        """Whether one pour is not already under the bound."""
        return self.whole[2] > self.bound

    def sentence(self) -> str:
        """The answer in a few sentences."""
        low, middle, high = self.whole
        text = (
            f"{show(self.first + self.second, 'mm')} in one pour, with {self.mix}, gets about {middle:.0f} °C hot "
            f"(nine lots in ten {low:.0f} to {high:.0f})."
        )
        if not self.needed:
            return f"{text} That stays under {show(self.bound, 'degC')}, so two layers are not needed."
        if high >= hottest_peak():
            text += f" It may pass {hottest_peak():g} °C, where styrene boils: do not pour it in one."
        best = self.table["hottest"].min()
        layers = f"two layers of {show(self.first)} and {show(self.second, 'mm')}"
        if self.wait is None:
            if middle - best < CLEARLY:
                return f"{text} As {layers} it is hardly cooler ({best:.0f} °C at best): use more and thinner layers."
            return f"{text} As {layers} it is cooler ({best:.0f} °C at best), but not surely under {show(self.bound, 'degC')}: use three layers or more."
        row = self.table.loc[self.wait]
        text += self._worst()
        return (
            f"{text} As {layers} it is safer: pour the second about {self.wait:.0f} min after the first has gelled, near "
            f"{row['minute']:.0f} min after mixing it, and the hottest place reaches about {row['hottest']:.0f} °C "
            f"({row['low']:.0f} to {row['high']:.0f})."
        )

    def _worst(self):
        """A warning if a second layer poured too soon is hotter than one pour."""
        worst = self.table["hottest"].idxmax()
        if self.table.loc[worst, "hottest"] < self.whole[1] + CLEARLY:
            return ""
        return f" A second layer poured while the first heats is hotter still, worst about {worst:.0f} min after its gel."


def two_layers(
    fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None,
    first: str | float | None = None
) -> TwoLayers:
    """One pour against two layers, and when to pour the second.

    Parameters
    ----------
    fits : Fits
    settings : dict, optional
        Thickness is that of the whole casting; anything left out takes its usual value.
    room : str or float, optional
        Room temperature.
    first : str or float, optional
        Thickness of the first layer, mm; half of the whole by default.

    Returns
    -------
    TwoLayers
        Compared with the study's aim for the peak, else with 110 °C.

    Raises
    ------
    AskedTooMuch
        Beyond the resin, the limits or what was poured, or where every wait would boil the styrene.

    Examples
    --------
    >>> tp.two_layers(fits, {"thickness": "18 mm", "catalyst": "1 %"}, room="20 degC")
    The log's own peaks do not follow this calculation: ... As two layers of 9 and 9 mm it is safer: pour the second about 45 min after the first has ...
    """
    asking = checked_question(fits, settings, room=room)
    bound = peak_bound(asking)
    whole = asking["thickness"]
    lower = whole / 2 if first is None else to_unit(first, "mm", "first layer")
    if not 0.0 < lower < whole:
        raise Problem(f"The first layer is {show(lower, 'mm')} of a casting of {show(whole, 'mm')}; give a thickness between 0 and that.")
    lots = asking.lot.draws(LOTS, seed=1)
    one_pour = cure_many([_slab(asking, lots, k, whole) for k in range(LOTS)])
    gel = one_pour["gel_time"].to_numpy()
    castings = [_slab(asking, lots, k, lower, whole - lower, gel[k] + wait) for wait in WAITS for k in range(LOTS)]
    hottest = cure_many(castings, slices=SLICES)["hottest"].to_numpy().reshape(len(WAITS), LOTS)
    table = _table(gel, hottest, bound)
    if (table["hottest"] >= hottest_peak()).all():
        problem = f"A casting of {show(whole, 'mm')} with {asking.mix} is predicted to pass {hottest_peak():g} °C, where styrene boils, even as two layers."
        raise AskedTooMuch([f"{problem} Pour three or more thin layers, or use less catalyst."])
    safe_waits = table.index[(table["under"] >= SURE)[::-1].cummin()[::-1]]
    one_pour_peaks = tuple(np.quantile(one_pour["hottest"], [0.05, 0.5, 0.95]))
    return TwoLayers(
        asking.mix, bound, lower, whole - lower, one_pour_peaks, table, float(safe_waits[0]) if len(safe_waits) else None, asking.caution(BOND),
        asking.refuted,
    )


def _slab(asking, lots, k, thickness, more=0.0, minute=0.0):
    """A casting of the k-th lot, with a second layer of `more` mm if that is above 0."""
    layers = (Layer(more, float(minute), asking["catalyst"]),) if more else ()
    return Casting(
        thickness, asking["catalyst"], asking["room_temperature"], face=face_of(lots, k), layers=layers, hours=12.0,
        resin=resin_of(lots, k),
    )


def _table(gel, hottest, bound):
    low, middle, high = np.quantile(hottest, [0.05, 0.5, 0.95], axis=1)
    return pd.DataFrame(
        {"minute": np.median(gel) + WAITS, "hottest": middle, "low": low, "high": high, "under": (hottest <= bound).mean(axis=1)},
        index=pd.Index(WAITS, name="wait"),
    )
