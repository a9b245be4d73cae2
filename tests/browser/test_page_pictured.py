"""The findings page with photographs, on a phone and on paper: pictures seen, nothing cut off from what it belongs to."""

import base64
import io
import shutil
from dataclasses import replace

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import sync_playwright
from pypdf import PdfReader

from testpour.logbook.photos import Photo
from testpour.models.fits import fit_castings
from testpour.report.page import findings_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
HOSTILE = "</figcaption><script>window.ran = 1</script><img src=https://example.org/x.png onerror='window.ran=1'>" + "W" * 300
A4 = (210, 297)  # mm, ISO 216
MARGIN = 15  # mm on either side, as the page's own style asks

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


class Snapshot(Photo):
    """A photograph that needs no file: two colours, upright or lying by turns."""

    def thumbnail(self, pixels=160):
        width, height = (pixels, pixels * 3 // 4) if self.entry % 3 else (pixels * 3 // 4, pixels)
        held = np.full((height, width, 3), (200, 80, 30), np.uint8)
        held[: height // 2] = (30, 80, 200)
        made = io.BytesIO()
        Image.fromarray(held).save(made, "JPEG")
        return f"data:image/jpeg;base64,{base64.b64encode(made.getvalue()).decode()}"


@pytest.fixture(scope="module")
def page_file(practice_castings, tmp_path_factory):
    """Twelve pours from drums with names of two words, photographed twice each; one note is hostile."""
    lots, notes = ["drum 4", "second drum 12"] * 6, ["what was seen at the rim, told at some length"] * 12
    fits = fit_castings(replace(practice_castings, pours=practice_castings.pours.assign(resin_lot=lots, note=notes)))
    photos = [Snapshot(i, pour, None, 24.0 * (i % 2) or None, "QZ", HOSTILE if i == 4 else "rim still tacky" * (i % 5 == 0))
              for i, pour in enumerate(list(practice_castings.pours.index) * 2)]
    return findings_page(fits, tmp_path_factory.mktemp("page") / "findings.html", room=[18, 22], photos=photos).path


@pytest.fixture(scope="module")
def page(page_file):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.asked, page.lines = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("console", lambda line: page.lines.append(line.text))
        page.goto(page_file.as_uri())
        page.wait_for_function("[...document.images].every(image => image.complete)")
        yield page
        browser.close()


def test_every_photograph_is_seen_and_nothing_typed_runs(page, page_file):
    shown = page.evaluate("[...document.querySelectorAll('.photos img')].map(i => [i.naturalWidth, i.getBoundingClientRect().width])")
    assert len(shown) == 24 and all(natural > 0 and width > 90 for natural, width in shown)
    assert page.lines == [] and page.evaluate("window.ran === undefined")  # the policy lets them be, and had nothing to stop
    assert [url for url in page.asked if not url.startswith("data:")] == [page_file.as_uri()]


@pytest.mark.parametrize("width", [320, 1280])
def test_they_fit_any_width_and_break_no_rule_of_access(page, width):
    """axe-core, every rule for pages: WCAG 2.0 to 2.2 at levels A and AA, and its own best practices."""
    page.set_viewport_size({"width": width, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    beside = page.evaluate("""() => [...document.querySelectorAll('.photos figure')]
        .filter(f => [...f.children].some(e => e.getBoundingClientRect().right > f.getBoundingClientRect().right + 1)).length""")
    assert beside == 0
    assert [(v["id"], v["nodes"][0]["html"][:80]) for v in Axe().run(page).response["violations"]] == []


@pytest.fixture(scope="module")
def prints(page):
    """The words of each sheet, printed on A4 and on papers shorter by steps: each breaks the page elsewhere."""
    made = []
    for height in range(A4[1], A4[1] - 45, -9):
        pdf = page.pdf(width=f"{A4[0]}mm", height=f"{height}mm", prefer_css_page_size=True)
        made.append([[" ".join(line.split()) for line in one.extract_text().splitlines() if line.strip()]
                     for one in PdfReader(io.BytesIO(pdf)).pages])
    return made


def test_no_heading_stands_at_the_foot_of_a_sheet(page, prints):
    headings = [words for words in page.locator("h2:visible, h3:visible").all_inner_texts() if words != "Try settings yourself"]
    assert len(headings) > 12
    for sheets in prints:
        for heading in headings:
            after = [len(lines) - lines.index(heading) - 1 for lines in sheets if heading in lines]
            assert after and max(after) >= 2, heading


def test_the_recipe_chart_is_on_one_sheet_under_its_heading(page, prints):
    rooms = page.locator(".chart tbody th").all_inner_texts()
    assert len(rooms) > 2
    for sheets in prints:
        (lines,) = [lines for lines in sheets if "Recipe chart" in lines]
        chart = lines[lines.index("Recipe chart") :]
        assert all(any(line.startswith(room) for line in chart) for room in rooms)


def test_no_short_cell_of_the_pours_takes_two_lines_on_paper(page):
    page.emulate_media(media="print")
    page.set_viewport_size({"width": round((A4[0] - 2 * MARGIN) * 96 / 25.4), "height": 900})
    table = page.locator("table", has=page.locator("caption", has_text="What differed from pour to pour"))
    assert "second drum 12" in table.locator("tbody .whole").all_inner_texts()
    assert table.evaluate("t => [...t.querySelectorAll('.whole bdi')].every(e => e.offsetHeight < 1.6 * parseFloat(getComputedStyle(e).lineHeight))")
    assert table.evaluate("t => t.getBoundingClientRect().width") <= (A4[0] - 2 * MARGIN) * 96 / 25.4
    page.emulate_media(media="screen")
