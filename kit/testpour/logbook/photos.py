"""Photographs of pours: kept in the study folder under a hash of their content, with place and camera removed."""

import base64
import hashlib
import io
import math
import os
import uuid
import warnings
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError
from sqlalchemy import Row

from testpour.common.files import name_new, write_new
from testpour.common.units import to_unit
from testpour.common.wording import at_age, in_html, visible
from testpour.logbook.entries import as_log_problem
from testpour.logbook.tables import LogProblem
from testpour.logbook.text_and_dates import clean
from testpour.study.study import Study

FOLDER = "photos"
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")  # JPEG includes MPO, the pairs of pictures some phones write
LARGEST = 60_000_000  # bytes; a camera's JPEG has a tenth of it
PIXELS = 120_000_000  # more are refused before anything is decoded: a small file can claim any size


@dataclass(frozen=True)
class Photo:
    """A photograph of a pour."""

    entry: int  # its number in the log, needed to withdraw it
    pour: str
    path: Path  # named by the SHA-256 of its bytes
    age: float | None  # hours after mixing
    by: str
    note: str

    @property
    def caption(self) -> str:
        """Pour, age, note and initials in a line."""
        return ". ".join(part for part in (f"{self.pour}{at_age(self.age)}", self.note, self.by) if part)

    def thumbnail(self, pixels: int = 160) -> str:
        """A small copy as a data URI, at most this many pixels wide and high."""
        try:
            data = self.path.read_bytes()
        except OSError:
            raise LogProblem(f"{self.path} is not there. Photographs are kept in the folder of the study they were added to.") from None
        if hashlib.sha256(data).hexdigest() != self.path.stem:
            raise LogProblem(f"{self.path} is not the photograph that was logged: its bytes were changed. Put it back.")
        small = io.BytesIO()
        with _opened(data, self.path.name) as picture:
            picture.thumbnail((pixels, pixels))
            shown = Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture.convert("RGBA"))
            shown.convert("RGB").save(small, "JPEG", quality=75)
        return f"data:image/jpeg;base64,{base64.b64encode(small.getvalue()).decode()}"

    def _repr_html_(self, pixels=480):
        words = in_html(self.caption)
        try:
            shown = f'<img src="{self.thumbnail(pixels)}" alt="{escape(visible(self.caption))}">'
        except LogProblem as problem:
            shown = in_html(str(problem))
        return (
            f'<figure style="display: inline-block; max-width: {pixels}px; margin: 4px; vertical-align: top">'
            f"{shown}<figcaption>{words}</figcaption></figure>"
        )


class Photos(tuple):
    """Photographs in the order of logging; a notebook shows them beside each other."""

    def _repr_html_(self):
        return "".join(photo._repr_html_(200) for photo in self) or "No photographs yet."


def photo_row(study: Study, path: str | Path | bytes, note: str = "", by: str = "", age: str | float | None = None) -> dict[str, Any]:
    """Save a picture in the study folder; returns its row for the log, without the pour.

    Raises a LogProblem if it is not a picture this kit reads, or too large.
    """
    with as_log_problem():
        hours = None if age is None else to_unit(age, "h", "age")
    if hours is not None and not 0 <= hours < math.inf:
        raise LogProblem(f"photo: an age of {hours:g} h is not possible. Give hours after mixing.")
    data, ending = _rewritten(path)
    name = f"{hashlib.sha256(data).hexdigest()}.{ending}"
    _store(Path(study.folder) / FOLDER / name, data)
    return {"file": name, "age": hours, "by": clean(by, line=True), "note": clean(note)}


def photo_of(study: Study, row: Row[Any]) -> Photo:
    """A row of the log as a `Photo`."""
    return Photo(row.entry, row.pour, Path(study.folder) / FOLDER / Path(row.file).name, row.age, row.by, row.note)


def _rewritten(given):
    """A picture saved again, upright, in sRGB and without metadata; and the ending of its file name."""
    name = "The picture" if isinstance(given, bytes) else given.name
    if not isinstance(given, bytes) and given.exists() and not given.is_file():  # a pipe or a device may never end
        raise LogProblem(f"{name} cannot be read: it is a folder, a pipe or a device. Give the path of a picture.")
    try:
        if (len(given) if isinstance(given, bytes) else given.stat().st_size) > LARGEST:
            raise LogProblem(f"{name} has more than {LARGEST // 1_000_000} MB. Save it smaller.")
        data = given if isinstance(given, bytes) else given.read_bytes()
    except FileNotFoundError:
        raise LogProblem(f"No picture at {given}. Give its path.") from None
    except OSError as problem:
        raise LogProblem(f"{name} cannot be read: {problem.strerror}.") from None
    with _opened(data, name) as picture:
        return _bare_picture(_upright(picture), picture.format)


@contextmanager
def _opened(data, name):
    """A decoded picture, for a `with` block; whatever is wrong with it is a LogProblem."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of large and of odd files; size is checked here
            with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
                if picture.width * picture.height > PIXELS:
                    raise LogProblem(f"{name} has {picture.width} x {picture.height} pixels, too many. Save it smaller.")
                yield picture
    except Image.DecompressionBombError:
        raise LogProblem(f"{name} has too many pixels. Save it smaller.") from None
    except UnidentifiedImageError:
        raise LogProblem(f"{name} is not a picture this kit reads. Save it as JPEG or PNG; a phone may be set to JPEG under its camera settings.") from None
    except LogProblem:
        raise
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, OverflowError, ZeroDivisionError, TypeError) as problem:
        raise LogProblem(f"{name} is a damaged picture ({problem}). Copy it from the camera again.") from None


def _upright(picture):
    """Pixels as seen: turned as the camera says, colours in sRGB, so that no profile needs to be kept."""
    image, profile = ImageOps.exif_transpose(picture), picture.info.get("icc_profile")
    clear = image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info
    if profile and image.mode in ("RGB", "L", "CMYK"):
        with suppress(ImageCms.PyCMSError, OSError):  # a profile that cannot be read is left out; the picture is what counts
            given = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            image = ImageCms.profileToProfile(image, given, ImageCms.createProfile("sRGB"), outputMode="RGB")
    return image.convert("RGBA" if clear else "RGB")


def _bare_picture(image, form):
    """The bytes of a file that holds only the pixels, and its ending."""
    bare = Image.frombytes(image.mode, image.size, image.tobytes())
    flat = image.mode == "RGB" and form in ("JPEG", "MPO", "WEBP", "TIFF")
    made = io.BytesIO()
    bare.save(made, "JPEG" if flat else "PNG", optimize=True, quality=90)  # PNG ignores quality
    return made.getvalue(), "jpg" if flat else "png"


def _store(path, data):
    """Write a file whole and durably under the name of its content, once."""
    if path.is_file() and not path.is_symlink() and path.read_bytes() == data:
        return
    if os.path.lexists(path):
        raise LogProblem(
            f"{path} is not the photograph it is named after, so it was left as it is. Move it away and add the "
            "picture again. Nothing was logged."
        )
    part = path.with_name(f".{uuid.uuid4().hex}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_new(part, data)
        try:
            name_new(part, path)
        except FileExistsError:
            part.unlink(missing_ok=True)  # another bench saved the same picture meanwhile
    except OSError as problem:
        raise LogProblem(f"The picture cannot be kept in {path.parent}: {problem.strerror}. Nothing was logged.") from None
