"""The handout: what was found on one page, for a student or the next person at the bench."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from testpour.models.fits import Fits
from testpour.problems import Problem
from testpour.report.advised import rooms
from testpour.report.sheet import Sheet, advice_rows, checked_path, fill_sheet

ROOMS = 4  # that have room on the page


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
        If anything but a handout of this study lies at `path`.
    Problem
        If `paper` is neither A4 nor Letter, or more than four rooms are given.
    """
    path = checked_path(path, paper, "handout", fits.study.name)
    asked = len(rooms(fits, room))
    if asked > ROOMS:
        raise Problem(f"A handout holds the advice for {ROOMS} room temperatures, not {asked}: make two handouts.")
    return fill_sheet(
        path, "handout.html", fits, "handout", paper=paper, date=date, room=room, by=by, rows=list(advice_rows(fits, room)),
    )
