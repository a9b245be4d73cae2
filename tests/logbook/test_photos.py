"""Photographs: only pictures, upright, without place or camera, kept by content, and one more row in the log."""

import base64
import hashlib
import io
import struct
import zlib
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from testpour.logbook.book import Logbook
from testpour.logbook.photos import Photo
from testpour.logbook.tables import LogProblem

RED, BLUE = (220, 20, 20), (20, 20, 220)


@pytest.fixture
def poured(log):
    log.add_pour("P01", settings={"catalyst": 1.5, "room_temperature": 18}, session="S")
    return log


def halves(path, size=(64, 32), **options):
    """A picture whose left half is red and right half is blue."""
    pixels = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    pixels[:, : size[0] // 2], pixels[:, size[0] // 2 :] = RED, BLUE
    Image.fromarray(pixels).save(path, **options)
    return path


def with_place(orientation=1):
    """Tags as a phone writes them (Exif 2.3): make, time, orientation and a GPS position."""
    tags = Image.Exif()
    tags[0x010F], tags[0x0132], tags[0x0112] = "Maker of phones", "2026:03:02 10:00:00", orientation
    tags.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 26.0), 3: "W", 4: (0.0, 7.0, 39.0)})
    tags.get_ifd(0x8769)[0x9286] = b"ASCII\0\0\0a secret remark"
    return tags


def near(pixel, colour):
    return all(abs(a - b) < 40 for a, b in zip(pixel[:3], colour, strict=True))


def test_place_time_and_camera_are_gone_and_the_picture_is_the_same(poured, tmp_path):
    source = halves(tmp_path / "phone.jpg", exif=with_place(), quality=95)
    with Image.open(source) as told:
        assert told.getexif().get_ifd(0x8825) and b"Maker of phones" in source.read_bytes()
    entry = poured.add_photo("P01", source, note="face down", by="KM", age="24 h")
    (photo,) = poured.photos("P01")
    assert (photo.entry, photo.pour, photo.age, photo.by, photo.note) == (entry, "P01", 24, "KM", "face down")
    data = photo.path.read_bytes()
    assert photo.path.parent == poured.study.folder / "photos"
    assert photo.path.name == hashlib.sha256(data).hexdigest() + ".jpg"
    for trace in (b"Maker", b"2026:", b"secret", b"Exif", b"GPS"):
        assert trace not in data
    with Image.open(photo.path) as kept, Image.open(source) as given:
        assert kept.size == given.size and not kept.getexif() and set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert np.abs(np.asarray(kept, float) - np.asarray(given.convert("RGB"), float)).mean() < 3


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_stands_upright(poured, tmp_path, orientation):
    """The eight orientations of Exif 2.3 (tag 274): where the first row and column of the stored pixels lie."""
    stored = np.zeros((20, 40, 3), dtype=np.uint8)
    stored[:10, :20] = 255  # the first corner of the stored picture is white
    Image.fromarray(stored).save(tmp_path / "turned.png", exif=with_place(orientation))
    poured.add_photo("P01", tmp_path / "turned.png")
    with Image.open(poured.photos("P01")[0].path) as kept:
        width, height = kept.size
        assert (width, height) == ((40, 20) if orientation <= 4 else (20, 40))
        corners = {"top left": (2, 2), "top right": (width - 3, 2), "bottom right": (width - 3, height - 3),
                   "bottom left": (2, height - 3)}
        white = [name for name, place in corners.items() if kept.convert("L").getpixel(place) > 128]
    row, column = {1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left", 5: "left top", 6: "right top",
                   7: "right bottom", 8: "left bottom"}[orientation].split()
    said = f"{row} {column}" if row in ("top", "bottom") else f"{column} {row}"
    assert white == [said]


def test_text_in_a_png_is_gone_and_clear_places_stay_clear(poured, tmp_path):
    from PIL.PngImagePlugin import PngInfo

    told = PngInfo()
    told.add_text("Author", "somebody's name")
    Image.new("RGBA", (8, 8), (255, 0, 0, 0)).save(tmp_path / "drawn.png", pnginfo=told)
    poured.add_photo("P01", tmp_path / "drawn.png")
    path = poured.photos()[0].path
    assert path.suffix == ".png" and b"somebody" not in path.read_bytes()
    with Image.open(path) as kept:
        assert kept.mode == "RGBA" and kept.getpixel((3, 3))[3] == 0 and not kept.info


def test_colours_of_another_profile_are_turned_into_plain_ones(poured, tmp_path):
    """A profile whose red and blue primaries changed places (tag table of ICC.1, section 7.3): so do the colours."""
    plain = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    swapped = plain.replace(b"rXYZ", b"????", 1).replace(b"bXYZ", b"rXYZ", 1).replace(b"????", b"bXYZ", 1)
    for profile, left, right in ((plain, RED, BLUE), (swapped, BLUE, RED)):
        poured.add_photo("P01", halves(tmp_path / "a.png", icc_profile=profile))
        with Image.open(poured.photos()[-1].path) as kept:
            assert "icc_profile" not in kept.info
            assert near(kept.getpixel((5, 5)), left) and near(kept.getpixel((60, 5)), right)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF"])
def test_every_usual_form_becomes_jpeg_or_png(poured, tmp_path, form):
    poured.add_photo("P01", halves(tmp_path / "a.picture", format=form))  # what it is called does not matter
    with Image.open(poured.photos()[0].path) as kept:
        assert kept.format in ("JPEG", "PNG") and kept.format.lower()[:2] == poured.photos()[0].path.suffix[1:3]
        assert near(kept.convert("RGB").getpixel((5, 5)), RED) and near(kept.convert("RGB").getpixel((60, 5)), BLUE)


def test_the_same_picture_twice_is_one_file_and_two_rows(poured, tmp_path):
    source = halves(tmp_path / "a.png")
    assert poured.add_photo("P01", source, note="one") != poured.add_photo("P01", source, note="two")
    assert len({photo.path for photo in poured.photos("P01")}) == 1
    (kept,) = (poured.study.folder / "photos").iterdir()
    assert kept.stat().st_mode & 0o777 == source.stat().st_mode & 0o777  # whoever may read the one may read the other


def test_the_bytes_of_a_file_do_as_well(poured, tmp_path):
    source = halves(tmp_path / "a.png")
    poured.add_photo("P01", source)
    poured.add_photo("P01", source.read_bytes())
    assert len({photo.path for photo in poured.photos()}) == 1
    with pytest.raises(LogProblem, match="The picture is not a picture this kit reads"):
        poured.add_photo("P01", b"nothing")


def test_a_thumbnail_is_small_and_shows_the_picture(poured, tmp_path):
    poured.add_photo("P01", halves(tmp_path / "a.jpg", size=(4000, 3000), quality=90))
    (photo,) = poured.photos("P01")
    head, data = photo.thumbnail().split(",")
    assert head == "data:image/jpeg;base64" and len(data) < 12_000
    with Image.open(io.BytesIO(base64.b64decode(data))) as small:
        assert small.size == (160, 120) and near(small.getpixel((10, 60)), RED) and near(small.getpixel((150, 60)), BLUE)


def test_a_note_is_shown_and_never_run(poured, tmp_path):
    poured.add_photo("P01", halves(tmp_path / "a.png"), note='<script>alert(1)</script>" onerror="x 🙂')
    said = poured.photos("P01")[0]._repr_html_()
    assert "<script" not in said and '" onerror' not in said and "🙂" in said
    assert poured.photos("P01")[0].note == '<script>alert(1)</script>" onerror="x 🙂'


def test_it_is_withdrawn_by_a_row_and_stays_in_the_history(poured, tmp_path):
    entry = poured.add_photo("P01", halves(tmp_path / "a.png"), note="first")
    poured.withdraw_photo(entry, why="another pour")
    assert poured.photos("P01") == () and poured.photos("P01")._repr_html_() == "No photographs yet."
    told = poured.history("P01")
    assert told["what"].tolist() == ["pour", "photo", "photo"] and told["void"].tolist() == [False, False, True]
    assert told["note"].tolist()[1:] == ["first", "first Withdrawn: another pour"]
    with pytest.raises(LogProblem, match=f"Photo {entry} was replaced by {entry + 1} already"):
        poured.withdraw_photo(entry, why="again")
    with pytest.raises(LogProblem, match="No photo with entry number 99"):
        poured.withdraw_photo(99, why="x")


def test_a_withdrawn_pour_takes_its_photos_along(poured, tmp_path):
    poured.add_photo("P01", halves(tmp_path / "a.png"))
    poured.withdraw_pour("P01", why="spilt")
    assert poured.photos() == ()


def png(width, height, data=b""):
    """A PNG by hand (ISO/IEC 15948) that claims a size without having the pixels."""
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(data)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    "name, data, words",
    [
        ("a.jpg", b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "is not a picture this kit reads"),
        ("a.png", b"", "is not a picture this kit reads"),
        ("a.pdf", b"%PDF-1.4", "is not a picture this kit reads"),
        ("a.heic", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "a phone may be set to JPEG"),
        ("bomb.png", png(50_000, 50_000), "too many"),
        ("bomb.png", png(12_000, 11_000), "has 12000 x 11000 pixels, too many"),
        ("cut.png", png(40, 40, b"\0" * 10), "is a damaged picture"),
    ],
)
def test_what_is_no_picture_or_a_trap_is_refused_and_nothing_kept(poured, tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(LogProblem, match=words):
        poured.add_photo("P01", tmp_path / name)
    assert poured.photos() == () and not (poured.study.folder / "photos").exists()


def test_other_refusals(poured, tmp_path):
    source = halves(tmp_path / "a.png")
    for deed, words in (
        (lambda: poured.add_photo("P99", source), "No pour 'P99' in the log"),
        (lambda: poured.add_photo("P01", tmp_path / "none.png"), "No picture at"),
        (lambda: poured.add_photo("P01", tmp_path), "cannot be read: it is a folder, a pipe or a device"),
        (lambda: poured.add_photo("P01", "/dev/zero"), "cannot be read: it is a folder, a pipe or a device"),
        (lambda: poured.add_photo("P01", source, age="3 kg"), "age"),
        (lambda: poured.add_photo("P01", source, age=-1), "is not possible"),
    ):
        with pytest.raises(LogProblem, match=words):
            deed()
    assert poured.photos() == ()


def test_a_file_changed_or_gone_since_is_told(poured, tmp_path):
    poured.add_photo("P01", halves(tmp_path / "a.png"))
    (photo,) = poured.photos()
    halves(photo.path, size=(10, 10))
    with pytest.raises(LogProblem, match="is not the photograph that was logged"):
        photo.thumbnail()
    trap = png(12_000, 11_000)  # a stranger's package may bring one, and name it rightly
    held = photo.path.with_name(hashlib.sha256(trap).hexdigest() + ".png")
    held.write_bytes(trap)
    with pytest.raises(LogProblem, match="too many"):
        replace(photo, path=held).thumbnail()
    photo.path.unlink()
    with pytest.raises(LogProblem, match="is not there. Photographs are kept in the folder of the study"):
        photo.thumbnail()
    assert "is not there" in poured.photos()._repr_html_()


def test_a_folder_that_cannot_be_made(poured, tmp_path):
    (poured.study.folder / "photos").write_text("a file is in the way, also for a person who may write anywhere")
    with pytest.raises(LogProblem, match="cannot be kept in .*Nothing was logged"):
        poured.add_photo("P01", halves(tmp_path / "a.png"))
    assert poured.photos() == ()


def test_photographs_stay_when_the_log_is_opened_again(poured, tmp_path):
    poured.add_photo("P01", halves(tmp_path / "a.png"), note="kept")
    with closing(Logbook(poured.study)) as again:
        assert [photo.note for photo in again.photos()] == ["kept"]


@given(place=st.integers(0, 2_000), bite=st.binary(min_size=1, max_size=8))
@settings(max_examples=40)
def test_a_damaged_file_is_refused_or_read_never_another_error(poured, tmp_path, place, bite):
    data = halves(tmp_path / "a.jpg", exif=with_place(), quality=95).read_bytes()
    place %= len(data)
    (tmp_path / "b.jpg").write_bytes(data[:place] + bite + data[place + len(bite) :])
    try:
        poured.add_photo("P01", tmp_path / "b.jpg")
    except LogProblem as problem:
        assert "b.jpg" in str(problem)


@pytest.mark.parametrize("age, note, by, said", [
    (24.0, "dull face", "KM", "P01 at 24 h. dull face. KM"), (None, "", "KM", "P01. KM"), (48.0, "", "", "P01 at 2 days"),
])
def test_a_caption_has_no_empty_parts(age, note, by, said):
    assert Photo(7, "P01", None, age, by, note).caption == said
