"""The photographs of a session's pours, made small once, for their cards."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from testpour.logbook.loading import standing
from testpour.logbook.photos import photo_of
from testpour.logbook.tables import PHOTOS, LogProblem

if TYPE_CHECKING:
    from testpour.logbook.book import Logbook

PIXELS = 160  # a card shows them about so wide


class Snapshots:
    """Small copies of the photographs of a few pours.

    Parameters
    ----------
    logbook : Logbook
    """

    def __init__(self, logbook: Logbook) -> None:
        self.logbook = logbook
        self._small: dict[str, str] = {}

    def of(self, pours: Iterable[str]) -> dict[str, list[dict[str, Any]]]:
        """The photographs that stand, by pour, in the order of logging, as plain data.

        Parameters
        ----------
        pours : iterable of str
            Their names.

        Returns
        -------
        dict
        """
        query = sa.select(PHOTOS).where(PHOTOS.c.pour.in_(list(pours)), standing(PHOTOS)).order_by(PHOTOS.c.entry)
        with self.logbook.reading_only() as connection:
            photos = [photo_of(self.logbook.study, row) for row in connection.execute(query)]
        found: dict[str, list[dict[str, Any]]] = {pour: [] for pour in pours}
        for photo in photos:
            found[photo.pour].append(self._shown(photo))
        return found

    def _shown(self, photo):
        age = "" if photo.age is None else f"{round(photo.age, 1):g} h"
        try:
            if photo.path not in self._small:  # the same bytes for ever: the name says which
                self._small[photo.path] = photo.thumbnail(PIXELS)
        except LogProblem:
            return {"entry": photo.entry, "src": "", "says": "", "words": f"{age} its file is not in the study folder".strip()}
        words = ": ".join(filter(None, [age, photo.note]))
        return {"entry": photo.entry, "src": self._small[photo.path], "words": words,
                "says": f"Photograph of pour {photo.pour}{age and ' at '}{age}"}
