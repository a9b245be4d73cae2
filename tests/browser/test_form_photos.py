"""A photograph added in the session form in JupyterLab: chosen, kept upright, shown small, refused in words, taken back."""

import io

import nbformat
import numpy as np
import pytest
from PIL import Image

from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study

CELLS = {
    "start": 'import pandas as pd, testpour as tp\nstudy = tp.read_study("study.toml")\nlog = tp.Logbook(study)',
    "form": 'pours = pd.DataFrame({"catalyst": [1.5], "pigment": [0.5], "thickness": [6.0], "cover": [1.0]}, index=["F01"])\n'
    'tp.session_form(log, pours, session="photographs")',
}
LARGE = 48  # CSS pixels; the enhanced target of WCAG 2.2 is 44 (criterion 2.5.5)
pytestmark = pytest.mark.slow  # JupyterLab and a kernel


def camera(size, orientation=1):
    """A file as a phone writes it: grain that does not compress, red above blue, and the camera's turn (Exif 2.3)."""
    rng = np.random.default_rng(0)
    pixels = rng.integers(0, 120, (size[1], size[0], 3), dtype=np.uint8)
    pixels[: size[1] // 2, :, 0] += 130
    pixels[size[1] // 2 :, :, 2] += 130
    tags, held = Image.Exif(), io.BytesIO()
    tags[0x0112], tags[0x010F] = orientation, "Maker of phones"
    Image.fromarray(pixels).save(held, "JPEG", quality=95, exif=tags)
    return held.getvalue()


@pytest.fixture(scope="module")
def bench(lab):
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(text, id=key) for key, text in CELLS.items()])
    nbformat.write(book, lab.folder / "photographs.ipynb")
    lab.open("photographs.ipynb")
    lab.run_all("photographs.ipynb")
    lab.page.get_by_role("button", name="Catalyst in", exact=True).click()
    lab.page.locator("[data-since]").wait_for(timeout=20_000)
    return lab


@pytest.fixture(scope="module")
def log(bench):
    book = Logbook(read_study(bench.folder))
    yield book
    book.close()


def choose(lab, name, data):
    lab.page.get_by_label("Add a photograph").set_input_files({"name": name, "mimeType": "image/jpeg", "buffer": data})


def test_a_chosen_picture_is_in_the_log_and_small_on_the_card(bench, log, tmp_path):
    choose(bench, "knob.jpg", camera((800, 600)))
    bench.page.locator(".tp-photos img").wait_for(timeout=20_000)
    (kept,) = log.photos("F01")
    with Image.open(kept.path) as held:
        assert held.size == (800, 600) and not held.getexif()
    shown = bench.page.locator(".tp-photos img")
    assert shown.get_attribute("alt").startswith("Photograph of pour F01 at 0")
    assert shown.evaluate("e => [e.naturalWidth, e.naturalHeight]") == [160, 120]
    box = bench.page.get_by_label("Add a photograph").bounding_box()
    assert box["height"] >= LARGE
    bench.page.get_by_label("Add a photograph").scroll_into_view_if_needed()
    bench.page.screenshot(path=tmp_path / "photograph.png")
    print(f"screenshots: {tmp_path}")


def test_one_too_heavy_for_the_line_is_made_smaller_and_stands_upright(bench, log):
    data = camera((4000, 3000), orientation=6)  # turn a quarter clockwise to see it upright
    assert len(data) > 10 * 2**20  # JupyterLab's server ends the connection on a message of 10 MiB: Tornado's default
    choose(bench, "large.jpg", data)
    bench.page.locator(".tp-photos img").nth(1).wait_for(timeout=60_000)
    kept = log.photos("F01")[-1]
    with Image.open(kept.path) as held:
        assert held.size == (1950, 2600)
        left, right = np.asarray(held.resize((2, 1)))[0]
    assert right[0] > left[0] and left[2] > right[2], "what was above in the sensor stands on the right"


def test_what_is_no_picture_is_refused_in_words_and_one_is_taken_back(bench, log):
    choose(bench, "notes.jpg", b"not a picture at all")
    said = bench.page.get_by_role("alert").filter(has_text="Photograph: not saved.")
    said.filter(has_text="is not a picture this kit reads").wait_for(timeout=20_000)
    choose(bench, "notes.jpg", b"neither is this" * 700_000)
    said.filter(has_text="cannot be made smaller here").wait_for(timeout=20_000)
    assert len(log.photos("F01")) == 2
    bench.page.locator(".tp-photos").get_by_role("button", name="Take back").first.click()
    bench.page.wait_for_function("document.querySelectorAll('.tp-photos img').length === 1", timeout=20_000)
    assert len(log.photos("F01")) == 1 and bench.strangers() == []
