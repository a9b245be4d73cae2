"""What each section of the page says; every number is asked of the fits."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.advice.batch import ENOUGH, next_pours
from testpour.advice.conflicts import UNADVISED
from testpour.advice.recommend import Recommendation, recommend, settings_words
from testpour.exchange.data_link import image_link
from testpour.models.check import check_fit
from testpour.models.effects import effects
from testpour.pages import day_words
from testpour.report.chart_words import chart_words
from testpour.report.figures import show_chance, show_effects, show_pours, show_reading
from testpour.units import unit_words
from testpour.wording import capital, count, in_hundred

if TYPE_CHECKING:

    from testpour.advice.conflicts import Unadvised
    from testpour.logbook.castings import Castings
    from testpour.models.fits import Fits
    from testpour.picture import Picture
    from testpour.study import Study

MOST_ROOMS = 3
LISTED = 60  # pours in the table, the last ones; the data hold all
CHECKED = 60  # pours of a reading up to which each is foretold from the others
DRAWN = 2000  # readings up to which figures are drawings
LATEST = 12  # sessions told one by one


def drawn(
    draw: Callable[..., Picture], *given: Any, kind: str = "svg", **options: Any
) -> dict[str, str] | None:
    """A figure as an image address ("svg" or "png") and its text, or None where there is nothing to draw.

    Parameters
    ----------
    draw : callable
        Returns a `Picture`.
    *given
        Passed on to `draw`.
    kind : {"svg", "png"}, optional
    **options
        Passed on to `draw`.

    Returns
    -------
    dict or None
        ``src`` and ``says``.
    """
    try:
        picture = draw(*given, **options)
    except ValueError:
        return None
    return {"src": image_link(picture.to_bytes(kind, **({"dpi": 130} if kind == "png" else {})), kind), "says": picture.says}


def _kind(castings):
    """A drawing for a bench's log; an image once thousands of points would make the page heavy."""
    return "svg" if len(castings.readings) <= DRAWN else "png"


def asked(study: Study) -> dict[str, Any]:
    """The question, the resin and the aims.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict
        ``question``, ``resin``, ``aims`` and ``varied``, all in words.
    """
    return {
        "question": study.question,
        "resin": study.resin.get("kind", ""),
        "aims": [aim.words(study.reading(aim.reading)) for aim in study.aims],
        "varied": [f"{f.words}, {_span(f)}" for f in study.varied],
    }


def _span(factor):
    if factor.kind == "yes/no":
        return "with and without"
    return factor.between(*factor.span)


def poured(castings: Castings) -> dict[str, Any]:
    """Sessions and rooms in words, the pours as a table, and where they lie as a figure.

    Parameters
    ----------
    castings : Castings

    Returns
    -------
    dict
    """
    study, pours, readings = castings.study, castings.pours, castings.readings
    sessions = []
    each = list(pours.groupby("session", sort=False))
    for name, part in each[-LATEST:]:
        sessions.append(f"{name}: {count(len(part), 'pour')}{_when(part)}{_rooms(study, part)}.")
    shown = [f for f in study.factors if f.name in pours and f.kind != "text" and pours[f.name].nunique() > 1]
    shown += [f for f in study.factors if f.name in pours and f.kind == "text" and pours[f.name].nunique() > 1]
    notes = "note" in pours and pours["note"].fillna("").astype(str).str.strip().ne("").any()
    return {
        "summary": f"{count(len(pours), 'pour')} in {count(len(each), 'session')}, with "
        f"{count(len(readings), 'reading')}.",
        "earlier": f"{count(len(each) - LATEST, 'earlier session')}; the data below hold all of them." if len(each) > LATEST else "",
        "sessions": sessions,
        "heads": [f.words for f in shown] + (["note"] if notes else []),
        "rows": [(pour, _cells(row, shown, notes)) for pour, row in pours.iloc[-LISTED:].iterrows()],
        "left_out": max(len(pours) - LISTED, 0),
        "same": [f"{f.words} {f.show(pours[f.name].iloc[0])}" for f in study.factors if _same(f, pours)],
        "figure": drawn(show_pours, castings, kind=_kind(castings)) if len(pours) else None,
    }


def _when(part):
    if "made_at" not in part or part["made_at"].isna().all():
        return ""
    return " on " + " and ".join(dict.fromkeys(day_words(t) for t in (part["made_at"].min(), part["made_at"].max())))


def _rooms(study, part):
    met = [f for f in study.factors if f.role == "met" and f.kind == "number" and f.name in part]
    said = [f"{f.words} {f.between(part[f.name].min(), part[f.name].max())}" for f in met if part[f.name].notna().any()]
    return (", " + ", ".join(said)) if said else ""


def _same(factor, pours):
    return factor.name in pours and factor.role != "met" and pours[factor.name].nunique(dropna=False) == 1


def _cells(row, factors, notes):
    cells = ["" if _blank(row[f.name]) else f.show(row[f.name]) for f in factors]
    return cells + ([("" if _blank(row["note"]) else str(row["note"]))] if notes else [])


def _blank(value):
    return value is None or (isinstance(value, float) and np.isnan(value))


def found(fits: Fits) -> Iterator[dict[str, Any]]:
    """For each reading, those with an aim first: what the settings did, in sentences and figures.

    Parameters
    ----------
    fits : Fits

    Yields
    ------
    dict
    """
    aimed = {aim.reading for aim in fits.study.aims}
    for name in sorted(fits, key=lambda name: name not in aimed):
        fit = fits[name]
        each = effects(fit).each
        told = [e for e in each if e.told and e.poured]
        untried = [e.factor.words for e in each if not e.poured]
        yield {
            "title": capital(fit.reading.words),
            "rests": fit.sentence(),
            "says": [e.sentence() for e in each if e.poured],
            "untried": f"Never varied here, so known from belief alone: {', '.join(untried)}." if untried else "",
            "check": _checked(fit),
            "figures": [f for f in (
                drawn(show_effects, fit, kind=_kind(fits.castings)),
                drawn(show_reading, fit, told[0].factor.name, kind=_kind(fits.castings)) if told and name in aimed else None,
            ) if f],
        }


def _checked(fit):
    """What foretelling each pour from the others says; every pour is a fit of its own, too many in a long log."""
    if fit.pours > CHECKED:
        return f"left out here, as the log holds more than {CHECKED} pours; check_fit in the kit does it."
    return check_fit(fit).sentence() if fit.pours else ""


def advice(
    fits: Fits, room: str | float | Sequence[str | float | None] | None = None
) -> list[tuple[str | float | None, Recommendation | Unadvised]]:
    """The recommendation for each room, or the problem that stands in its way: a list of (room, one of both).

    Parameters
    ----------
    fits : Fits
    room : str, float, list of str, float or None, optional
        °C, or text with a unit, one or several; None takes those of the log.

    Returns
    -------
    list of tuple
    """
    given: list[tuple[str | float | None, Recommendation | Unadvised]] = []
    for one in rooms(fits, room):
        try:
            given.append((one, recommend(fits, room=one)))
        except UNADVISED as problem:
            given.append((one, problem))
    return given


def advised(
    fits: Fits, given: Sequence[tuple[str | float | None, Recommendation | Unadvised]]
) -> dict[str, Any]:
    """The recommended settings for each room, with what to expect there; the map, and the chart for the wall.

    Parameters
    ----------
    fits : Fits
    given : list of tuple
        From `advice`.

    Returns
    -------
    dict
    """
    said = [str(one) if isinstance(one, UNADVISED) else one.sentence() for _, one in given]
    advised = [(room, one) for room, one in given if not isinstance(one, UNADVISED)]
    names = {f.name for f in fits.study.factors if f.kind == "number"}
    mapped = {"catalyst", "room_temperature"} <= names
    return {
        "rooms": said, "expect": _expected(fits, advised), "figure": drawn(show_chance, fits, kind=_kind(fits.castings)) if mapped else None,
        "chart": chart_words(fits),
    }


def rooms(
    fits: Fits, room: str | float | Sequence[str | float | None] | None = None
) -> list[str | float | None]:
    """The room temperatures to advise on: those given, or those met, to the whole degree.

    Parameters
    ----------
    fits : Fits
    room : str, float, list of str, float or None, optional
        °C, or text with a unit, one or several; None takes those of the log.

    Returns
    -------
    list of str, float or None
        Holds None alone where no room was logged.
    """
    if room is not None:
        return [room] if isinstance(room, str | float | int) else list(room)
    pours = fits.castings.pours
    if "room_temperature" not in pours or pours["room_temperature"].isna().all():
        return [None]
    met = sorted({float(round(t)) for t in pours["room_temperature"].dropna()})
    places = np.unique(np.linspace(0, len(met) - 1, min(len(met), MOST_ROOMS)).round().astype(int))
    return [met[place] for place in places]


def _expected(fits, given):
    """What one casting at each recommendation should read: rooms as heads, one row a reading; None without advice."""
    if not given:
        return None
    heads = [_place(fits.study, room, one) for room, one in given]
    rows = [(fit.reading.words, [_range(fit.reading, one.predicted.loc[fit.reading.words]) for _, one in given]) for fit in fits.values()]
    return {"heads": heads, "rows": rows}


def _place(study, room, given):
    return "recommended" if room is None else f"room at {study.factor('room_temperature').show(given.settings['room_temperature'])}"


def _range(reading, row):
    """The middle casting and the range of nine in ten, in few words."""
    if reading.grades:
        low, high = (reading.grades[round(row[end])] for end in ("low", "high"))
        return low if low == high else f"{low} to {high}"
    low, middle, high = (_few(row[end]) for end in ("low", "middle", "high"))
    return f"{middle}{unit_words(reading.unit)} ({low} to {high})"


def _few(value):
    """A number with no more digits than a casting bears out."""
    text = f"{value:.2g}" if abs(value) < 9.95 else f"{value:.0f}"
    return text.replace("-", "\N{MINUS SIGN}")


def still_open(fits: Fits, room: str | float | Sequence[str | float | None] | None) -> dict[str, Any]:
    """What the log cannot tell yet, as reading to its settings, and what to pour next.

    Parameters
    ----------
    fits : Fits
    room : str, float, list of str, float or None
        °C, or text with a unit, one or several; None takes those of the log.

    Returns
    -------
    dict
    """
    each = {fit.reading.words: [e.factor.words for e in effects(fit).each if not e.told] for fit in fits.values()}
    unsettled = {reading: names for reading, names in each.items() if names}
    try:
        said = _worth(next_pours(fits, room=rooms(fits, room)[-1]))
    except UNADVISED as problem:
        said = str(problem)
    return {"unsettled": unsettled, "next": said}


def _worth(given):
    """What the next pours are worth, and which they are."""
    gain, pours = 100 * given.table["gain"].iloc[-1], count(len(given.table), "more pour")
    text = (
        "Over all the rooms and thicknesses of this study, the best settings known today should give about "
        f"{in_hundred(given.before)} good castings in 100. "
    )
    if gain < 100 * ENOUGH:
        text += f"The best {pours} would raise that by less than {100 * ENOUGH:.0f}: more of the same adds little now."
    else:
        each = "; ".join(settings_words(given.study, row, given.free) for _, row in given.table.iterrows())
        text += f"The best {pours} should raise that by about {gain:.0f}. Pour: {each}."
    return text + "".join(f" {warning}" for warning in given.cautions.warnings)


def believed(fits: Fits) -> Iterator[tuple[str, ...]]:
    """One row a belief: reading, effect, mean and sd on the model's scale, confidence, source.

    Parameters
    ----------
    fits : Fits

    Yields
    ------
    tuple of str
    """
    for fit in fits.values():
        for term, belief in zip(fit.believed.terms, fit.believed.beliefs, strict=True):
            yield (fit.reading.words, term.words, f"{belief.mean:g}", f"{belief.sd:g}", belief.confidence, belief.source)
