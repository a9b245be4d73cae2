"""What the page says was asked, poured, found, missed and believed; every number comes from the fits."""

from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd

from testpour.causes.complaint import missed
from testpour.causes.diagnosis import why
from testpour.causes.verdict import ENOUGH
from testpour.causes.why_all import EveryAnswer
from testpour.common.pages import day_words
from testpour.common.units import unit_words
from testpour.common.wording import capital, count, in_hundred
from testpour.exchange.data_link import image_link
from testpour.logbook.castings import Castings
from testpour.models.check import check_fit
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.report.figures import show_effects, show_pours, show_reading
from testpour.study.picture import Picture
from testpour.study.study import Study

LISTED = 60  # pours in the table, the last ones; the data hold all
CHECKED = 60  # most pours of a reading for which each is predicted from the others
DRAWN = 2000  # most readings for which figures are SVG
LATEST = 12  # sessions listed one by one
LOOKED, EXPLAINED = 40, 12  # last castings searched for poor ones, and how many of those are explained


def figure_data(draw: Callable[..., Picture], *given: Any, kind: str = "svg", **options: Any) -> dict[str, str] | None:
    """What `draw` gives as an image address (``src``, of kind "svg" or "png") and its text (``says``), or None if there is nothing to draw."""
    try:
        picture = draw(*given, **options)
    except ValueError:
        return None
    return {"src": image_link(picture.to_bytes(kind, **({"dpi": 130} if kind == "png" else {})), kind), "says": picture.says}


def image_kind(castings: Castings) -> str:
    """"svg" for a bench's log, "png" once thousands of points would make the page heavy."""
    return "svg" if len(castings.readings) <= DRAWN else "png"


def question_of(study: Study) -> dict[str, Any]:
    """The question, the resin and the aims."""
    return {
        "question": study.question,
        "resin": study.resin.get("kind", ""),
        "aims": study.aims_in_words,
        "varied": [f"{f.words}, {'with and without' if f.kind == 'yes/no' else f.between(*f.span)}" for f in study.varied],
    }


def poured(castings: Castings) -> dict[str, Any]:
    """Sessions and rooms in words, the pours as a table, and where they lie as a figure."""
    study, pours, readings = castings.study, castings.pours, castings.readings
    by_session = list(pours.groupby("session", sort=False))
    shown = sorted((f for f in study.factors if f.name in pours and _differs(pours[f.name])), key=lambda f: f.kind == "text")
    same = [f for f in study.factors if f.role != "met" and f.name in pours and pours[f.name].notna().any() and not _differs(pours[f.name])]
    notes = "note" in pours and pours["note"].fillna("").astype(str).str.strip().ne("").any()
    return {
        "summary": f"{count(len(pours), 'pour')} in {count(len(by_session), 'session')}, with "
        f"{count(len(readings), 'reading')}.",
        "earlier": f"{count(len(by_session) - LATEST, 'earlier session')}; the data below hold all of them." if len(by_session) > LATEST else "",
        "sessions": [f"{name}: {count(len(part), 'pour')}{_when(part)}{_rooms(study, part)}." for name, part in by_session[-LATEST:]],
        "heads": [f.words for f in shown] + (["note"] if notes else []),
        "rows": [(pour, _cells(row, shown, notes)) for pour, row in pours.iloc[-LISTED:].iterrows()],
        "left_out": max(len(pours) - LISTED, 0),
        "same": [f"{f.words} {f.show(pours[f.name].iloc[0])}" for f in same],
        "figure": figure_data(show_pours, castings, kind=image_kind(castings)) if len(pours) else None,
    }


def _when(part):
    if "made_at" not in part or part["made_at"].isna().all():
        return ""
    return " on " + " and ".join(dict.fromkeys(day_words(t) for t in (part["made_at"].min(), part["made_at"].max())))


def _rooms(study, part):
    met = [f for f in study.factors if f.role == "met" and f.kind == "number" and f.name in part]
    in_words = [f"{f.words} {f.between(part[f.name].min(), part[f.name].max())}" for f in met if part[f.name].notna().any()]
    return (", " + ", ".join(in_words)) if in_words else ""


def _differs(values):
    """Whether pours differ in a setting; a blank counts as different."""
    return values.nunique(dropna=False) > 1


def _cells(row, factors, notes):
    cells = ["" if pd.isna(row[f.name]) else f.show(row[f.name]) for f in factors]
    return cells + ([("" if pd.isna(row["note"]) else str(row["note"]))] if notes else [])


def findings(fits: Fits) -> Iterator[dict[str, Any]]:
    """For each reading, those with an aim first: what the settings did, in sentences and figures."""
    aimed = {aim.reading for aim in fits.study.aims}
    for name in sorted(fits, key=lambda name: name not in aimed):
        fit = fits[name]
        did = effects(fit)
        settings_effects = did.each
        clear = [e for e in settings_effects if e.settled and e.poured]
        untried = [e.factor.words for e in settings_effects if not e.poured]
        check = f"not done here, as the log holds more than {CHECKED} pours; use check_fit in the kit."
        if fit.pours <= CHECKED:  # needs a fit for every pour
            check = check_fit(fit).sentence() if fit.pours else ""
        yield {
            "title": capital(fit.reading.words),
            "rests": fit.sentence(),
            "says": [e.sentence() for e in settings_effects if e.poured],
            "held": did.conditions(),
            "untried": f"Never varied here, so known from belief alone: {', '.join(untried)}." if untried else "",
            "check": check,
            "figures": [f for f in (
                figure_data(show_effects, fit, kind=image_kind(fits.castings)),
                figure_data(show_reading, fit, clear[0].factor.name, kind=image_kind(fits.castings)) if clear and name in aimed else None,
            ) if f],
        }


def causes(fits: Fits) -> dict[str, Any] | None:
    """Why the last castings that miss an aim came out so; None if no casting has been read."""
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
        sentence = "The one casting looked at misses no aim." if len(looked) == 1 else f"None of the {len(looked)} castings looked at misses an aim."
        return {"says": sentence if fits.study.aims else "", "rows": []}
    every = EveryAnswer({pour: why(fits, pour) for pour in poor}, len(looked))
    rows = [
        (pour, _misses_in_words(fits.study, every.answers[pour].missed), row["likeliest"], in_hundred(row["chance"]),
         *((row["next"], in_hundred(row["its chance"])) if row["its chance"] >= ENOUGH else ("", "")))
        for pour, row in every.table.iterrows()
    ]
    says = f"{len(poor)} of {count(len(looked), 'casting')} {'misses' if len(poor) == 1 else 'miss'} an aim. {every.mostly}"
    earlier = f" Only castings from {looked[0]} on are looked at here." if len(looked) < len(read) else ""
    return {"says": says + earlier, "rows": rows}


def _misses_in_words(study, misses):
    """What was read where an aim is missed: "tack grade 3 (wet); peak temperature 138 °C"."""
    read = [(study.reading(missed.aim.reading), missed.seen) for missed in misses]
    units = ["" if reading.grades else unit_words(reading.unit) for reading, _ in read]
    return "; ".join(f"{reading.words} {seen.removesuffix(unit)}{unit}" for (reading, seen), unit in zip(read, units, strict=True))


def believed(fits: Fits) -> Iterator[tuple[str, ...]]:
    """One row per belief, in words: reading, effect, mean and sd on the model's scale, confidence, source."""
    for fit in fits.values():
        for term, belief in zip(fit.believed.terms, fit.believed.beliefs, strict=True):
            yield (fit.reading.words, term.words, f"{belief.mean:.3g}", f"{belief.sd:.3g}", belief.confidence, belief.source)
