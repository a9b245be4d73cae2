"""The photographs of a log as small copies with their words, light enough for a page that is sent by mail."""

from collections.abc import Iterable
from typing import Any

from testpour.common.wording import age_words
from testpour.logbook.castings import Castings
from testpour.logbook.photos import Photo
from testpour.logbook.tables import LogProblem

SIZES = (320, 240, 200, 160, 120)  # pixels wide, tried in turn until all fit; a page shows them about 170 wide
MOST = 80  # photographs, the latest; more would neither load nor print well
LEAST = 200_000  # bytes they may take on a page that is heavy without them
MARKUP = 400  # bytes of markup around one photograph


def photographs(photos: Iterable[Photo], castings: Castings, room: int) -> dict[str, Any]:
    """What the page shows of the photographs, by pour and age; who took them is left out.

    `photos` are in the order of logging, as `Logbook.photos` gives them; those of pours that `castings` does
    not hold are passed over. `room` is the bytes that the page has left for them. Gives as ``shown`` for each
    its address (a data URI), text, pour, age in words and note; as ``missing`` those whose file is gone, in
    words; as ``left_out`` how many earlier ones found no room.
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
        except LogProblem:  # its words hold the path, which may hold a person's name
            missing.append(words)
            continue
        shown.append({"src": src, "says": f"Photograph of {words}", "pour": photo.pour, "age": age, "note": photo.note,
                      "hours": -1 if photo.age is None else photo.age})
    return shown, missing


def _weight(shown):
    return sum(len(one["src"]) + MARKUP + 6 * len(one["says"] + one["pour"] + one["note"]) for one in shown)
