"""The findings page: one file that says what was asked, poured and found, and carries its own data."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

from markupsafe import Markup

from testpour.advice.recommend import Recommendation
from testpour.common.files import free_for, marked, page_kind, put
from testpour.common.pages import repeats, template
from testpour.common.threads import one_thread
from testpour.common.toml_file import own_text
from testpour.common.wording import in_every_text, in_html, visible
from testpour.exchange.data_link import data_link, to_csv, versions
from testpour.logbook.photos import Photo
from testpour.models.fits import Fits
from testpour.report import advised, findings
from testpour.report.explorer import explorer
from testpour.report.page_changes import changes, earlier_statements, statements
from testpour.report.page_log import json_for_page, page_data
from testpour.report.photographs import photographs, pictured
from testpour.study.caution_rules import safety_text

LICENCE = "The text, figures and data of this page may be used by anyone for anything (CC0 1.0), unless its makers say otherwise."
PAGE = page_kind("findings page")
LARGEST = 2_495_000  # bytes: photographs are shrunk to keep the page under 2.5 MB, which can be mailed


@dataclass(frozen=True)
class Page:
    """A page that was written.

    Parameters
    ----------
    path : Path
        The file. A `Page` can be used wherever a path can.
    size : int
        Its size in bytes.
    study : str
        Name of the study.
    notes : int
        How many notes of the log it repeats word for word.
    photographs : int
        How many photographs it was given to show.
    """

    path: Path
    size: int
    study: str
    notes: int = 0
    photographs: int = 0

    def __fspath__(self):
        return str(self.path)

    def sentence(self) -> str:
        """Where the page is and what to do before it is shared."""
        text = (
            f"The findings of {self.study} are in {self.path} ({self.size / 1000:.0f} kB): one file that "
            "opens in any browser, prints, and needs no network."
        )
        return f"{text} {repeats(self.notes, self.photographs, 'check')}".strip()

    __repr__ = sentence

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>"


@one_thread
def findings_page(
    fits: Fits, path: str | Path = "findings.html", *,
    room: str | float | Sequence[str | float] | None = None, by: str | None = None,
    since: str | Path | Literal[False] | None = None, photos: Iterable[Photo] = ()
) -> Page:
    """Write the findings as one HTML file that needs nothing else.

    Parameters
    ----------
    fits : Fits
        From `fit_castings`.
    path : str or Path
        File to write; an earlier findings page is replaced, nothing else. If it is one of the same study,
        the new page says what changed since.
    room : str, float or list, optional
        Room temperatures to recommend settings for, for example ``["17 degC", "24 degC"]``; by default
        those met in the log.
    by : str, optional
        Who signs the page. Without it the page names nobody; who read what is never on it.
    since : str, Path or False, optional
        The earlier page to compare with, if not the one replaced; False for no comparison.
    photos : iterable of Photo, optional
        Photographs to show, as ``log.photos()`` gives them: small copies with pour, age and note.

    Returns
    -------
    Page

    Raises
    ------
    FileNotFoundError
        If the folder of `path`, or `since`, does not exist.
    FileExistsError
        If `path` is anything but a findings page of this study.
    NoLogInside
        If `since` is not a findings page of this study.

    Examples
    --------
    >>> tp.findings_page(fits, "findings.html", room="18 degC")
    The findings of Coat-hook knobs, spring term are in findings.html (... kB): one file that opens in any browser, ...
    """
    kind = PAGE.of(fits.study.name)
    path = free_for(path, kind)
    before, photos = earlier_statements(fits.castings, path, since), pictured(photos, fits.castings)
    text = render(fits, room=room, by=by, before=before, photos=photos)
    put(path, text, kind)
    return Page(path, len(marked(text, kind)), fits.study.name, fits.castings.notes + sum(bool(photo.note.strip()) for photo in photos), len(photos))


def render(
    fits: Fits, *, room: advised.Rooms = None, by: str | None = None,
    before: dict[str, Any] | None = None, photos: Iterable[Photo] = ()
) -> str:
    """The page as text: the same for the same fits and earlier page. See `findings_page`.

    `before` is the data of an earlier page, from `page_log.read_page_data`.
    """
    castings, given = fits.castings, advised.advice(fits, room)
    now = statements(fits, [(where, one) for where, one in given if isinstance(one, Recommendation)])
    script = own_text("report/templates/explorer.js")
    page = partial(
        template("report", "page.html").render,
        study=fits.study,
        by=by,
        asked=findings.question_of(fits.study),
        changed=changes(fits.castings, before, now) if before else [],
        poured=findings.poured(castings),
        found=list(findings.findings(fits)),
        advised=advised.advised(fits, given),
        causes=findings.causes(fits),
        open=advised.still_open(fits, room),
        cautions=Markup(safety_text("page", html=True)),
        draws=len(next(iter(fits.values())).posterior.coefficients),
        beliefs=list(findings.believed(fits)),
        files=[(f"{name}.csv", words, data_link(to_csv(table))) for name, words, table in (
            ("pours", "the pours and their settings", castings.pours),
            ("readings", "the readings", castings.readings),
        )],
        explorer=json_for_page(in_every_text(explorer(fits, given), visible)),  # the log itself is not changed
        log=json_for_page(page_data(castings, now, before)),
        script=Markup(script),
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        licence=LICENCE,
        fingerprint=castings.fingerprint(),
        seed=fits.seed,
        versions=versions(),
    )
    bare = page(photographs=None)
    return page(photographs=photographs(photos, castings, LARGEST - len(bare.encode()))) if photos else bare
