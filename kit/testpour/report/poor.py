"""Why the last poor castings of a log came out so, for the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from testpour.causes.answer import why
from testpour.causes.complaint import missed
from testpour.causes.every import EveryAnswer
from testpour.units import unit_words
from testpour.wording import count, in_hundred

if TYPE_CHECKING:
    from testpour.models.fits import Fits

LOOKED, EXPLAINED = 40, 12  # last castings looked at for poor ones, and how many of those are explained


def causes(fits: Fits) -> dict[str, Any] | None:
    """Why the last castings that miss an aim came out so; None where no casting is read.

    Parameters
    ----------
    fits : Fits

    Returns
    -------
    dict or None
    """
    castings = fits.castings
    read = set(castings.readings["pour"])
    looked = [pour for pour in castings.pours.index if pour in read][-LOOKED:]
    poor = [pour for pour in looked if missed(castings, pour)]
    if not looked:
        return None
    if len(poor) > EXPLAINED:
        poor = poor[-EXPLAINED:]
        looked = looked[looked.index(poor[0]):]
    if not poor:
        return {"says": f"None of the {count(len(looked), 'casting')} looked at misses an aim." if fits.study.aims else "", "rows": []}
    every = EveryAnswer({pour: why(fits, pour) for pour in poor}, len(looked))
    rows = [
        (pour, _poor(fits.study, every.answers[pour].missed), row["likeliest"], in_hundred(row["chance"]), row["next"],
         in_hundred(row["its chance"]))
        for pour, row in every.table.iterrows()
    ]
    first, times = every.causes.index[0], every.causes.iloc[0]
    says = f"{len(poor)} of {count(len(looked), 'casting')} {'misses' if len(poor) == 1 else 'miss'} an aim. "
    says += f"The commonest likely cause: {first}, behind about {max(round(times), 1)} of them."
    earlier = f" Only castings from {looked[0]} on are looked at here." if len(looked) < len(read) else ""
    return {"says": says + earlier, "rows": rows}


def _poor(study, misses):
    """What was read where an aim is missed: "tack grade 3 (wet); peak temperature 138 °C"."""
    said = []
    for one in misses:
        reading = study.reading(one.aim.reading)
        unit = "" if reading.grades else unit_words(reading.unit)
        said.append(f"{reading.words} {one.seen}{'' if one.seen.endswith(unit) else unit}")
    return "; ".join(said)
