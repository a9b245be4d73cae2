"""The wall sheet: what each bench of a class poured and what they found together, on one page."""

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from testpour.causes.whole_log import good_pours
from testpour.common.problems import Problem
from testpour.common.wording import count
from testpour.models.fits import Fits
from testpour.report.advised import chance_figure, rooms
from testpour.report.figures import show_effects
from testpour.report.findings import figure_data
from testpour.report.sheet import Sheet, advice_rows, checked_path, fill_sheet

MOST = 16  # lines for benches; those beyond share the last line
ROOMS = 2
UNSAID = "not written down"


def wall_summary(
    fits: Fits, path: str | Path = "wall.html", *, bench: str = "by", names: bool = False,
    room: str | float | Sequence[str | float] | None = None, paper: Literal["A4", "Letter"] = "A4",
    date: str | None = None
) -> Sheet:
    """Write what all benches of a class poured and found together as one page for the wall.

    Parameters
    ----------
    fits : Fits
        From `fit_castings`.
    path : str or Path
        File to write; an earlier wall sheet is replaced, nothing else.
    bench : str
        Column of the pours that names the bench: ``"by"`` (initials), ``"session"`` or a lot.
    names : bool
        Whether to print what that column holds. Otherwise benches are Bench 1, 2, ... in the
        order of their first pour, so that nobody is named.
    room : str, float or list, optional
        One or two room temperatures to recommend settings for; by default the coldest and warmest met.
    paper : {"A4", "Letter"}
    date : str, optional
        Printed as given; today by default.

    Returns
    -------
    Sheet

    Raises
    ------
    Problem
        If the log has no such column or it is empty, `paper` is neither A4 nor Letter, or more than two rooms are given.
    FileNotFoundError
        If the folder of `path` does not exist.
    FileExistsError
        If `path` is anything but a wall sheet.

    Examples
    --------
    >>> tp.wall_summary(fits, "wall.html", bench="session")
    The wall sheet of Coat-hook knobs, spring term is in wall.html: open it in a browser and print it on one page of A4.
    """
    path, castings = checked_path(path, paper, "wall sheet", fits.study.name), fits.castings
    of = _benches(castings.pours, bench)
    shown = [f for f in fits.study.factors if f.role == "chosen" and f.name in castings.pours and castings.pours[f.name].nunique() > 1]
    met = rooms(fits, room)
    if room is not None and len(met) > ROOMS:
        raise Problem(f"The wall sheet holds the advice for {ROOMS} room temperatures, not {len(met)}: the recipe chart shows more.")
    advised = list(advice_rows(fits, met if len(met) <= ROOMS else [met[0], met[-1]]))
    beside = next((row["beside"] for row in advised if not row["problem"]), None)  # the map uses the recommended settings
    aimed = [aim.reading for aim in fits.study.aims] or list(fits)
    note = "It names benches as they are written in the log: ask before it goes on the wall." if names else ""
    return fill_sheet(
        path, "wall.html", fits, "wall sheet", paper=paper, date=date, room=room, note=note, rows=advised,
        benches=_rows(castings, of, shown, names), heads=[f.words for f in shown],
        count=count(of.nunique(), "bench", "benches"), figure=chance_figure(fits, beside) or figure_data(show_effects, fits[aimed[0]]),
    )


def _benches(pours, bench):
    """Which bench made each pour, in words."""
    if bench not in pours:
        raise Problem(f"The log has no column {bench!r}; give bench one of {', '.join(pours.columns)}.")
    if pours.empty:
        return pours[bench].astype(str)  # no bench yet; the sheet says that nothing is logged
    labels = pours[bench].astype(object).where(pours[bench].notna(), "").astype(str).str.strip()
    if not labels.ne("").any():
        raise Problem(
            f"No pour says in {bench!r} which bench made it. Log pours with their bench's initials, or give "
            'another column, for example bench="session".'
        )
    return labels.replace("", UNSAID)


def _rows(castings, of, shown, names):
    """One row per bench: its name, pours, readings, how many came out good, and what it tried."""
    good, read = set(good_pours(castings)), castings.readings.groupby("pour").size()
    order = list(dict.fromkeys(of))
    keep = order if len(order) <= MOST else order[: MOST - 1]
    place = of.where(of.isin(keep), other="\0")
    rows = []
    for number, (name, part) in enumerate(castings.pours.groupby(place, sort=False), 1):
        called = name if names else f"Bench {number}"
        called = UNSAID if name == UNSAID else f"{len(order) - len(keep)} more" if name == "\0" else called
        judged = [pour for pour in part.index if pour in read.index]
        rows.append({
            "bench": called, "pours": len(part), "readings": int(read.reindex(part.index).fillna(0).sum()),
            "good": f"{len(good & set(judged))} of {len(judged)}", "tried": [_tried_in_words(f, part[f.name]) for f in shown],
        })
    return rows


def _tried_in_words(factor, values):
    """The range of a setting at one bench, or its levels in words."""
    values = values[values.notna() & (values.astype(str) != "")]
    if not len(values):
        return ""
    if factor.kind == "number":
        return factor.between(values.min(), values.max())
    levels = list(dict.fromkeys(map(factor.show, values)))
    return ", ".join(levels) if len(levels) < 4 else count(len(levels), "kind")
