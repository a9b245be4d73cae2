"""The photographs of a log as small copies with captions, small enough for a page sent by mail."""

from collections.abc import Iterable
from typing import Any

from testpour.common.wording import age_words
from testpour.logbook.castings import Castings
from testpour.logbook.photos import Photo
from testpour.logbook.tables import LogProblem

SIZES = (320, 240, 200, 160, 120)  # pixels wide, tried one after another until all fit; a page shows them about 170 wide
MOST = 80  # photographs, the latest; more would neither load nor print well
LEAST = 200_000  # bytes they may take even on a page that is already large
MARKUP = 400  # bytes of markup around one photograph


def photographs(photos: Iterable[Photo], castings: Castings, room: int) -> dict[str, Any]:
    """The photographs for the page, sorted by pour and age, without who took them.

    `photos` are in the order of logging, as `Logbook.photos` gives them; those of pours not in `castings` are
    skipped. `room` is how many bytes the page has left. ``shown`` has for each its data URI, text, pour, age in
    words and note; ``missing`` names those whose file is gone; ``left_out`` counts earlier ones that did not fit.
    """
    pictures = pictured(photos, castings)
    for pixels in SIZES:
        shown, missing = _copies(pictures[-MOST:], pixels)
        if _weight(shown) <= max(room, LEAST):
            break
    while _weight(shown) > max(room, LEAST):
        del shown[0]
    place = {pour: number for number, pour in enumerate(castings.pours.index)}
    shown.sort(key=lambda one: (place[one["pour"]], one["hours"]))
    return {"shown": shown, "missing": missing, "left_out": len(pictures) - len(shown) - len(missing)}


def pictured(photos: Iterable[Photo], castings: Castings) -> list[Photo]:
    """The photographs of the pours in `castings`."""
    return [photo for photo in photos if photo.pour in castings.pours.index]


def _copies(photos, pixels):
    shown, missing = [], []
    for photo in photos:
        age = "" if photo.age is None else f"{age_words(round(photo.age, 2))} after mixing"
        words = f"pour {photo.pour}{age and ', '}{age}"
        try:
            src = photo.thumbnail(pixels)
        except LogProblem:  # not quoted: its path may contain a person's name
            missing.append(words)
            continue
        shown.append({"src": src, "says": f"Photograph of {words}", "pour": photo.pour, "age": age, "note": photo.note,
                      "hours": -1 if photo.age is None else photo.age})
    return shown, missing


def _weight(shown):
    return sum(len(one["src"]) + MARKUP + 6 * len(one["says"] + one["pour"] + one["note"]) for one in shown)
