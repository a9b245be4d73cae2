"""Photographs on the findings page: small, described, escaped, by nobody, and light enough together."""

import base64
import io
import re
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from testpour.app.command import main
from testpour.exchange.folder import make_folder
from testpour.logbook.book import Logbook
from testpour.models.fits import fit_castings
from testpour.report.page import findings_page, render
from testpour.report.photographs import photographs
from testpour.study.study_file import read_study

TYPED = '<img src=x onerror=alert(1)>"&\u202eevil'
MEGABYTES = 2_500_000  # mail carries 10 MB and more; common practice, no source


def scene(seed, size=(1600, 1200), grain=25):
    """A picture such as a phone takes: soft shapes of few colours, under the grain of a small sensor."""
    rng = np.random.default_rng(seed)
    coarse = Image.fromarray(rng.integers(0, 256, (9, 12, 3), dtype=np.uint8)).resize(size, Image.Resampling.BICUBIC)
    pixels = np.asarray(coarse) + rng.normal(0, grain, (*size[::-1], 1))
    held = io.BytesIO()
    Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).save(held, "JPEG", quality=85)
    return held.getvalue()


@pytest.fixture(scope="module")
def jpeg():
    return scene(1, (640, 480))


@pytest.fixture(scope="module")
def fits(practice_fits):
    return practice_fits


@pytest.fixture
def pictured_log(practice_log, jpeg):
    """Two photographs of one pour, the later first, and one of another."""
    practice_log.add_photo("P03", jpeg, note=TYPED, by="Zacharias Q.", age="2 days")
    practice_log.add_photo("P03", jpeg, by="Zacharias Q.", age=0.25)
    practice_log.add_photo("P01", jpeg, note="underside")
    return practice_log


def pictures(text):
    """Address, text and caption, tags left out, of each photograph on a page."""
    part = text.split("<h2>Photographs</h2>")[1].split("<h2>")[0]
    found = re.findall(r'<figure><img src="([^"]*)" alt="([^"]*)"><figcaption>(.*?)</figcaption>', part)
    return [(src, alt, re.sub(r"</?(b|bdi)>", "", caption)) for src, alt, caption in found]


def opened(src):
    kind, data = src.split(";base64,")
    assert kind == "data:image/jpeg"
    return Image.open(io.BytesIO(base64.b64decode(data)))


@pytest.mark.slow
def test_each_stands_with_its_pour_age_and_note_and_nobodys_name(pictured_log, fits, tmp_path):
    page = findings_page(fits, tmp_path / "findings.html", photos=(one for one in pictured_log.photos()))
    text = page.path.read_text("utf-8")
    assert [(alt, caption) for _, alt, caption in pictures(text)] == [
        ("Photograph of pour P01", "P01: underside"),
        ("Photograph of pour P03, 0.25 h after mixing", "P03, 0.25 h after mixing"),
        ("Photograph of pour P03, 2 days after mixing",
         "P03, 2 days after mixing: &lt;img src=x onerror=alert(1)&gt;&#34;&amp;[U+202E]evil"),
    ]
    assert "Zacharias" not in text and TYPED not in text
    for src, _, _ in pictures(text):
        with opened(src) as small:
            assert small.size == (320, 240) and not small.getexif() and "icc_profile" not in small.info
    assert page.photographs == 3 and "repeats 2 notes word for word and shows 3 photographs: check them before" in page.sentence()


def test_a_photograph_of_a_pour_left_out_of_the_fits_is_left_out_too(pictured_log, fits):
    few = replace(fits.castings, pours=fits.castings.pours.loc[["P01"]])
    assert [one["pour"] for one in photographs(pictured_log.photos(), few, 10**6)["shown"]] == ["P01"]


def test_one_that_was_changed_or_lost_is_named_and_no_path_with_it(pictured_log, fits):
    kept, *_ = pictured_log.photos("P01")
    pictured_log.add_photo("P02", scene(2, (64, 48)), age=5)
    kept.path.write_bytes(b"another picture")  # the first three share one file
    made = photographs(pictured_log.photos(), fits.castings, 10**6)
    assert [one["pour"] for one in made["shown"]] == ["P02"] and made["left_out"] == 0
    assert made["missing"] == ["pour P03, 2 days after mixing", "pour P03, 0.25 h after mixing", "pour P01"]


@pytest.mark.slow
def test_forty_pours_with_a_photograph_each_stay_under_two_and_a_half_megabytes(log, practice_log):
    """The page of a real log of 40 pours is as heavy as any: every figure, the sliders, the data."""
    twelve = practice_log.castings()
    assert len(twelve.pours) == 12
    for i in range(40):
        source = twelve.pours.iloc[i % 12]
        log.add_pour(f"Q{i:02d}", settings={f.name: source[f.name] for f in log.study.factors if f.role in ("chosen", "met")},
                     session=f"S{i % 4}")
        log.add_photo(f"Q{i:02d}", scene(i), note="a note of some length on what is seen", age=24)
    castings = log.castings()
    text = render(fit_castings(castings), photos=[p for p in log.photos() if p.pour.startswith("Q")])
    found = pictures(text)
    print(f"{len(text.encode())} bytes, photographs {sum(len(src) for src, _, _ in found)}")
    assert len(found) == 40 and len(text.encode()) < MEGABYTES
    with opened(found[0][0]) as small:
        assert max(small.size) >= 120  # a tacky edge still shows; a trapped bubble wants 160


@pytest.mark.slow
def test_the_more_the_smaller_then_the_latest_and_never_none(pictured_log, fits):
    photos = list(pictured_log.photos()) * 20
    sizes = []
    for room in (10**7, 400_000, 0):
        made = photographs(photos, fits.castings, room)
        with opened(made["shown"][0]["src"]) as small:
            sizes.append((small.width, len(made["shown"]), made["left_out"]))
        assert sum(len(one["src"]) for one in made["shown"]) <= max(room, 200_000)
    assert sizes[0] == (320, 60, 0)
    assert 120 <= sizes[1][0] < 320 and sizes[2][0] == 120
    assert sizes[2][1] + sizes[2][2] == 60 and sizes[2][1] > 20


@pytest.mark.slow
def test_only_the_latest_of_very_many_are_read(pictured_log, fits):
    made = photographs(list(pictured_log.photos("P01")) + list(pictured_log.photos("P03")) * 45, fits.castings, 10**7)
    assert len(made["shown"]) == 80 and made["left_out"] == 11
    assert {one["pour"] for one in made["shown"]} == {"P03"}


@pytest.mark.slow
def test_the_command_passes_the_photographs_of_the_log(tmp_path, jpeg, capsys):
    folder = make_folder(tmp_path / "study").path
    with closing(Logbook(read_study(folder))) as log:
        log.add_photo(log.castings().pours.index[0], jpeg, age=24)
    assert main(["page", str(folder)]) == 0
    assert "shows 1 photograph:" in capsys.readouterr().out
    assert len(pictures((folder / "findings.html").read_text("utf-8"))) == 1
