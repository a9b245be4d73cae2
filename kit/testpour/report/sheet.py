"""The handout: the findings on one page for a student or the next person at the bench; and what it shares with the wall sheet."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from markupsafe import Markup

from testpour.advice.conflicts import UNADVISED
from testpour.advice.recommend import settings_words
from testpour.common.files import free_for, page_kind, put
from testpour.common.pages import PAPERS, dated, refuse_paper, template
from testpour.common.problems import Problem
from testpour.common.units import to_unit
from testpour.common.wording import count, in_html, in_hundred, listed
from testpour.models.chance import chance_words
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.models.settings import held_settings, repeated, settings_table
from testpour.report import advised, findings
from testpour.study.caution_rules import safety_text

FINDINGS = 3
BRIEF = 150  # characters that fit on three lines of the narrowest sheet after their first words
ROOMS = 4  # that fit on a handout
STEPS = 5  # values of a setting at which a chance is compared


@dataclass(frozen=True)
class Sheet:
    """A one-page sheet that was written.

    Parameters
    ----------
    path : Path
        The file. A `Sheet` can be used wherever a path can.
    what, study, paper : str
    note : str
        What to look at before it is shared, in a sentence.
    """

    path: Path
    what: str
    study: str
    paper: str
    note: str = ""

    def __fspath__(self):
        return str(self.path)

    def sentence(self) -> str:
        """Where the sheet is and how to print it."""
        text = f"The {self.what} of {self.study} is in {self.path}: open it in a browser and print it on one page of {self.paper}."
        return text + (f" {self.note}" if self.note else "")

    __repr__ = sentence

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>"


def handout(
    fits: Fits, path: str | Path = "handout.html", *,
    room: str | float | Sequence[str | float] | None = None, paper: Literal["A4", "Letter"] = "A4",
    by: str | None = None, date: str | None = None
) -> Sheet:
    """Write what was found as one page to print and hand over.

    Parameters
    ----------
    fits : Fits
        From `fit_castings`.
    path : str or Path
        File to write; an earlier handout is replaced, nothing else.
    room : str, float or list, optional
        Up to four room temperatures to recommend settings for; by default those met in the log.
    paper : {"A4", "Letter"}
    by : str, optional
        Who signs it. Without it the handout names nobody.
    date : str, optional
        Printed as given; today by default.

    Returns
    -------
    Sheet

    Raises
    ------
    FileNotFoundError
        If the folder of `path` does not exist.
    FileExistsError
        If `path` is anything but a handout of this study.
    Problem
        If `paper` is neither A4 nor Letter, or more than four rooms are given.

    Examples
    --------
    >>> tp.handout(fits, "handout.html", room="18 degC")
    The handout of Coat-hook knobs, spring term is in handout.html: open it in a browser and print it on one page of A4.
    """
    path = checked_path(path, paper, "handout", fits.study.name)
    asked = len(advised.rooms(fits, room))
    if asked > ROOMS:
        raise Problem(f"A handout holds the advice for {ROOMS} room temperatures, not {asked}: make two handouts.")
    return fill_sheet(
        path, "handout.html", fits, "handout", paper=paper, date=date, room=room, by=by, rows=list(advice_rows(fits, room)),
    )


def checked_path(path: str | Path, paper: str, what: str, study: str) -> Path:
    """`path`; refused if its folder does not exist, the file is anything but such a page of this study, or `paper` is unknown."""
    refuse_paper(paper)
    return free_for(path, page_kind(what).of(study))


def fill_sheet(
    path: str | Path, name: str, fits: Fits, what: str, *, paper: str, date: str | None,
    room: advised.Rooms, note: str = "", **given: Any
) -> Sheet:
    """Fill a template of this package with what was found and what is still open, and write it; the `Sheet`.

    `name` is the file of the template and `given` its other variables; `what` is the kind of page, for example
    "handout"; `note` is added to the `Sheet`'s sentence.
    """
    still = advised.still_open(fits, room)
    text = template("report", name).render(
        study=fits.study, paper=paper, size=PAPERS[paper], asked=findings.question_of(fits.study), found=_strongest(fits),
        open={**still, "brief": _brief(still["unsettled"], len(fits), len(fits.castings.pours))}, log=fits.castings.sentence(),
        pours=len(fits.castings.pours),
        fingerprint=fits.castings.fingerprint(), cautions=Markup(safety_text("bench", html=True)),
        date=dated(date), **given,
    )
    return Sheet(put(path, text, page_kind(what).of(fits.study.name)), what, fits.study.name, paper, note)


def advice_rows(fits: Fits, room: advised.Rooms) -> Iterator[dict[str, Any]]:
    """One row per room: settings in words, the chance and its interval in 100, and how long it stays workable."""
    for where, given in advised.advice(fits, room):
        at = "as it is" if where is None else fits.study.factor("room_temperature").show(to_unit(where, "degC", "room"))
        if isinstance(given, UNADVISED):
            yield {"room": at, "problem": str(given)}
            continue
        met = given.chance.table.iloc[0]
        low, high = in_hundred(met["low"]), in_hundred(met["high"])
        if where is None and "room_temperature" in given.settings:
            at = f"{fits.study.factor('room_temperature').show(given.settings['room_temperature'])} (usual)"
        yield {
            "room": at, "problem": "", "conflict": given.conflict.sentence(beside_best=True) if given.conflict else "",
            "settings": settings_words(fits.study, given.table.iloc[0], given.free),
            "chance": "cannot tell yet" if given.chance.untold else chance_words(met).removesuffix(" in 100"),
            "between": "" if low == high else f"{low} to {high}",
            "bar": [round(100 * float(met[end]), 1) for end in ("low", "chance", "high")], "untold": given.chance.untold,
            "beside": advised.beside_catalyst(given), "beyond": listed(given.beyond), "gel": _gel(fits, given),
            "warnings": list(given.cautions.refusals + given.cautions.warnings),
        }


def _gel(fits, given):
    if "gel_time" not in fits:
        return ""
    row = given.predicted.loc[fits["gel_time"].reading.words]
    return f"{row['low']:.0f} to {row['high']:.0f} min"


def _brief(unsettled: dict[str, list[str]], readings: int, pours: int) -> str:
    """The effects that are not settled, grouped the shorter of two ways; only their number if both are too long for three lines."""
    settings = list(dict.fromkeys(name for names in unsettled.values() for name in names))
    of = {name: [reading for reading, names in unsettled.items() if name in names] for name in settings}
    everywhere = [name for name in settings if len(of[name]) == readings > 1]
    by_setting = [(everywhere, "any reading")] * bool(everywhere) + [([name], listed(of[name])) for name in settings if name not in everywhere]
    by_reading = [(names, reading) for reading, names in unsettled.items()]
    shorter = min(_open_effects(by_setting), _open_effects(by_reading), key=len)
    if len(shorter) <= BRIEF:
        return shorter
    open_ = count(sum(map(len, unsettled.values())), "effect")
    few = f"which {count(pours, 'pour')} cannot settle" if pours else "as nothing was poured yet"
    return f"{open_} of {count(len(settings), 'setting')} on {count(len(unsettled), 'reading')}, {few}; the findings page lists them"


def _open_effects(pairs):
    return "; ".join(f"what {listed(names)} {'does' if len(names) == 1 else 'do'} to {reading}" for names, reading in pairs)


def _strongest(fits: Fits) -> list[str]:
    """The three effects that matter most in sentences, at first only one per reading.

    An effect on a reading with an aim ranks by how far it surely moves the chance of meeting that aim, the other
    settings held as in its sentence; any other comes later, ranked by how many half-widths of its interval it is from zero.
    """
    candidates = []
    for name, fit in fits.items():
        aims = [aim for aim in fits.study.aims if aim.reading == name]
        clear = [e for e in effects(fit).each if e.settled and e.poured]
        ranked = sorted((-_chance_moved(fit, aims, e), -_half_widths(e), e.sentence()) for e in clear)
        candidates += [(not aims, place, *one) for place, one in enumerate(ranked)]
    return [words for *_, words in sorted(candidates)[:FINDINGS]]


def _chance_moved(fit, aims, effect):
    """How far, in at least nineteen draws of twenty, the chance of meeting an aim moves over the poured range of a setting."""
    values = np.linspace(effect.start, effect.end, 2 if effect.factor.kind == "yes/no" else STEPS)
    table = repeated(settings_table(fit.study, held_settings(fit.study, fit.rows)), **{effect.factor.name: values})
    at = [(table if aim.age is None else table.assign(age=aim.age), aim) for aim in aims]
    return max((np.quantile(np.ptp(fit.chances(rows, aim.at_least, aim.at_most), axis=1), 0.05) for rows, aim in at), default=0.0)


def _half_widths(effect):
    """How many half-widths of its interval an effect is from zero."""
    ends = np.array([effect.middle, effect.low, effect.high])
    middle, low, high = np.log(ends) if effect.ratio else ends
    return abs(middle) / max((high - low) / 2, 1e-9)
