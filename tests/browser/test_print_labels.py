"""Labels in a browser: every code is read back, every label lies where the sheet has it, one page a sheet."""

import io
import re
import shutil

import numpy as np
import pandas as pd
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import sync_playwright

from testpour.bench.label_sheet import PAPERS, SHEETS, label_sheet
from testpour.bench.labels import labels
from testpour.logbook.castings import Castings
from testpour.study.study_file import study_from

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
HOSTILE = [
    "P01", "<script>window.ran = 1</script>", "<img src=https://example.org/x.png onerror='window.ran=1'>",
    "</style></bdi><iframe src=https://example.org></iframe>", "W" * 60, "Donaudampfschifffahrtsgesellschaft-17",
    "\u202eright to left\u202c \u0634\u0645\u0639", "\U0001f9ea\U0001fae0\U0001f468\u200d\U0001f3ed", "two words 3", "{{ 7*7 }}",
]
OWN = {"paper": "Letter", "columns": 2, "rows": 4, "width": "96 mm", "height": "60 mm", "left": "8.5 mm", "gap_across": "6 mm"}
MM = 96 / 25.4  # CSS pixels in a mm: CSS Values and Units 3, section 6.2

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def log():
    """Ten pours of one study; everything a person types is hostile."""
    raw = {
        "name": " ".join(HOSTILE[:3]), "question": "?",
        "factors": {"catalyst": {}, "pigment": {}, "thickness": {}, "cover": {"words": HOSTILE[2]}, "room_temperature": {}},
        "readings": {"tack": {}}, "aims": {"tack": {"at_most": 1, "age": "24 h"}},
    }
    size = len(HOSTILE)
    pours = pd.DataFrame({
        "session": HOSTILE[3], "made_at": pd.Timestamp("2026-03-02"), "catalyst": np.linspace(1, 2.5, size).round(1),
        "pigment": np.linspace(0, 4, size).round(2), "thickness": np.linspace(5, 18, size).round(),
        "cover": np.arange(size) % 2.0, "room_temperature": 19.0}, pd.Index(HOSTILE, name="pour"))
    return Castings(study_from(raw), pours, pd.DataFrame(columns=["pour", "reading", "low", "high"]))


@pytest.fixture(params=[*SHEETS, OWN], ids=lambda sheet: sheet if isinstance(sheet, str) else "own")
def printed(request, browser, log, tmp_path):
    """The labels and their page as it prints, at three device pixels a CSS pixel."""
    first = label_sheet(request.param).count - 2
    made = labels(log, sheet=request.param, start=first, copies=2)
    page = browser.new_page(viewport={"width": 820, "height": 1130}, device_scale_factor=3)
    page.asked = []
    page.on("request", lambda one: page.asked.append(one.url))
    page.goto(made.save(tmp_path / "labels.html").as_uri())
    page.emulate_media(media="print")
    yield made, page
    page.close()


def test_every_code_on_the_page_says_study_and_pour(printed):
    made, page = printed
    picture = Image.open(io.BytesIO(page.screenshot(full_page=True)))
    read = [one.text for one in zxingcpp.read_barcodes(picture)]
    assert sorted(read) == sorted(made.table["text"])
    assert [text.split("\n")[1] for text in made.table["text"]] == [name for name in HOSTILE for _ in range(2)]


def test_every_label_lies_within_three_tenths_of_a_millimetre(printed):
    """Against the arithmetic of the sheet: margin, then label and gap for each column and row."""
    made, page = printed
    boxes = page.evaluate("""() => [...document.querySelectorAll('.label-sheet')].map((sheet, i) =>
        [...sheet.querySelectorAll('.label')].map(e => { const a = sheet.getBoundingClientRect(), b = e.getBoundingClientRect();
          return [i + 1, b.left - a.left, b.top - a.top, b.width, b.height]; })).flat()""")
    sheet, seen = made.sheet, np.array(boxes)
    numbers = np.arange(made.start - 1, made.start - 1 + len(seen))
    row, column = np.divmod(numbers % sheet.count, sheet.columns)
    left, top = sheet.margins
    expected = [numbers // sheet.count + 1, left + column * (sheet.width + sheet.gap_across),
                top + row * (sheet.height + sheet.gap_down), np.full(len(seen), sheet.width), np.full(len(seen), sheet.height)]
    assert np.abs(seen[:, 1:] / MM - np.array(expected[1:]).T).max() < 0.3
    assert (seen[:, 0] == expected[0]).all()


def test_one_page_a_sheet_and_the_page_is_the_paper(printed):
    """1 point is 1/72 inch: PDF 32000-1, section 8.3.2.3."""
    made, page = printed
    pdf = page.pdf(prefer_css_page_size=True)
    assert re.findall(rb"/Count (\d+)", pdf) == [str(made.pages).encode()]
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert len(boxes) == made.pages
    for box in boxes:
        assert np.array(box, float) * 25.4 / 72 == pytest.approx(PAPERS[made.sheet.paper], abs=0.3)


def test_words_stay_inside_their_label_and_are_not_cut_off(printed):
    _, page = printed
    spilt = page.evaluate("""() => [...document.querySelectorAll('.label')].filter(label => { const a = label.getBoundingClientRect();
        return [...label.querySelectorAll('svg, div, p')].some(e => { const b = e.getBoundingClientRect();
          return b.left < a.left || b.right > a.right + .1 || b.top < a.top || b.bottom > a.bottom + .1; }); }).length""")
    assert spilt == 0
    hidden = page.evaluate("""() => [...document.querySelectorAll('.label .name')]
        .filter(e => e.scrollHeight > e.clientHeight + 2 || e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)""")
    assert hidden == []


def test_nothing_typed_runs_and_no_request_leaves(printed):
    _, page = printed
    assert page.evaluate("window.ran === undefined") and page.locator("script, iframe, img").count() == 0
    assert len(page.asked) == 1
