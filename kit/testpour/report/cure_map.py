"""Temperature against time and depth in one casting, followed through its cure."""

from collections.abc import Mapping

import numpy as np

from testpour.advice.asking import AskedTooMuch, checked_question
from testpour.models.fits import Fits
from testpour.physics.casting import Casting
from testpour.physics.lots import face_of, lots_at, resin_of
from testpour.physics.slab import cure
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_peak
from testpour.study.picture import INK, LOG, SECOND, Picture, new_picture

LOTS = 16
POINTS = 240
AFTER_PEAK = 2.2  # how much longer than the time to peak is drawn
LEVELS = 12


def show_cure(fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None) -> Picture:
    """Temperature against time and depth in a slab, as heat and cure make it.

    Parameters
    ----------
    fits : Fits
        Its log moves the resin's numbers from the trade's guesses to this lot's.
    settings : dict, optional
        Thickness, catalyst and whatever else is set; anything left out takes its usual value.
    room : str or float, optional
        Room temperature.

    Returns
    -------
    Picture
        A matplotlib Figure. Above: the middle, with the band of nine plausible lots in ten, and the face.
        Below: the same casting from top to bottom, darker where hotter. The dotted line is the gel.

    Raises
    ------
    AskedTooMuch
        Beyond the resin, the limits or what was poured, or where the peak would boil the styrene.

    Examples
    --------
    >>> tp.figures.show_cure(fits).says
    '10 mm with 1.5 % catalyst in a room of 20 °C: gels after about 41 min and peaks near 91 °C in the middle after 83 min, ...'
    """
    asking = checked_question(fits, settings, room=room)
    likeliest = lots_at(asking.lot.place)
    run = cure(_slab(asking, likeliest, 0))
    cautions = check_peak(run.peak_temperature) if np.isfinite(run.peak_temperature) else Cautions()
    if cautions:
        raise AskedTooMuch(cautions.refusals)
    end = min(AFTER_PEAK * run.time_to_peak, run.minutes[-1]) if np.isfinite(run.time_to_peak) else run.minutes[-1]
    minutes = np.linspace(0.0, end, POINTS)
    run = cure(_slab(asking, likeliest, 0), minutes)
    picture, axes = new_picture(_title(asking, run), height=5.6, rows=2, sharex=True, cautions=cautions)
    _draw_lines(axes[0, 0], asking, run, minutes)
    _draw_map(picture, axes[1, 0], run)
    if np.isfinite(run.gel_time):
        for ax in axes[:, 0]:
            ax.axvline(run.gel_time, color=INK, linewidth=1, linestyle=":")
    picture.supxlabel(asking.caution(*filter(None, [asking.refuted])), x=0.01, ha="left", fontsize=8, wrap=True)
    return picture


def _slab(asking, lots, k):
    return Casting(asking["thickness"], asking["catalyst"], asking["room_temperature"], face=face_of(lots, k), resin=resin_of(lots, k))


def _draw_lines(ax, asking, run, minutes):
    """The middle with its band over plausible lots, and the face."""
    lots = asking.lot.draws(LOTS, seed=3)
    others = np.array([cure(_slab(asking, lots, k), minutes).middle for k in range(LOTS)])
    ax.fill_between(minutes, *np.quantile(others, [0.05, 0.95], axis=0), color=LOG, alpha=0.22, linewidth=0)
    ax.plot(minutes, run.middle, color=LOG, linewidth=2.4, label="middle, band of nine lots in ten")
    ax.plot(minutes, run.temperature[:, 0], color=SECOND, linewidth=2, linestyle="--", label="just below the face")
    ax.set_ylabel("Temperature (°C)")
    ax.legend(frameon=False, loc="upper left")


def _draw_map(picture, ax, run):
    levels = np.linspace(run.temperature.min() - 0.5, run.temperature.max() + 0.5, LEVELS)
    shades = ax.contourf(run.minutes, run.depth, run.temperature.T, levels=levels, cmap="Oranges")
    ax.invert_yaxis()
    ax.set(xlabel="Minutes after mixing", ylabel="Depth (mm)")
    picture.colorbar(shades, ax=ax, label="Temperature (°C)", format="%.0f")


def _title(asking, run):
    depth = asking.study.factor("thickness").show(asking["thickness"])
    text = f"{depth} with {asking.mix}: gels after about {run.gel_time:.0f} min"
    if np.isnan(run.gel_time):
        return f"{depth} with {asking.mix} is not expected to gel within a day."
    if np.isnan(run.time_to_peak):
        return f"{text} and has not peaked within a day."
    return (
        f"{text} and peaks near {run.peak_temperature:.0f} °C in the middle after {run.time_to_peak:.0f} min, with up to "
        f"{run.largest_difference:.0f} °C between its hottest and coolest parts."
    )
