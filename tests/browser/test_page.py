"""The findings page in a browser: nothing runs, nothing leaves, nothing overflows, text stands out."""

import shutil

import numpy as np
import pandas as pd
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.report.page import findings_page
from testpour.report.page_log import read_page
from testpour.study.study_file import study_from

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
HOSTILE = [
    "<script>window.ran = 1</script>", "<img src=https://example.org/x.png onerror='window.ran=1'>",
    "\"><svg onload=window.ran=1>", "</title></style></bdi><iframe src=https://example.org></iframe>",
    "{{ 7*7 }}${7*7}", "W" * 400, "\u202eright to left\u202c \u0634\u0645\u0639", "\U0001f9ea\U0001fae0\U0001f468\u200d\U0001f3ed",
    "javascript:window.ran=1", "url(https://example.org/a.css)",
]

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    """A page in which everything a person types is hostile."""
    whole = " ".join(HOSTILE)
    raw = {
        "name": whole, "question": whole, "resin": {"kind": f"polyester {whole}"},
        "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "cover": {"words": whole}, "room_temperature": {},
                    "resin_lot": {"words": HOSTILE[0]}},
        "readings": {"gel_time": {"words": f"{whole} read"}, "tack": {"grades": HOSTILE[:4]}},
        "aims": {"gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "24 h"}},
    }
    rng, rows, read = np.random.default_rng(1), [], []
    for i in range(8):
        name = HOSTILE[i]
        rows.append({"pour": name, "session": HOSTILE[i % 2], "made_at": pd.Timestamp("2026-03-02"), "by": "Zacharias Q.", "note": whole,
                     "catalyst": (1.0, 1.8, 2.5)[i % 3], "cover": float(i % 4 > 0),
                     "room_temperature": 17.0 + 5 * (i % 2), "resin_lot": HOSTILE[i % 3]})
        gel = np.round(26 * (rows[-1]["catalyst"] / 1.5) ** -0.8 * np.exp(0.1 * rng.standard_normal()))
        read.append((name, "gel_time", gel - 1, gel + 1, np.nan, HOSTILE[i], "between", whole))
        read.append((name, "tack", float(i % 4 == 0), float(i % 4 == 0), 24.0, HOSTILE[i], "exact", ""))
    columns = ["pour", "reading", "low", "high", "age", "by", "known", "note"]
    log = Castings(study_from(raw), pd.DataFrame(rows).set_index("pour"), pd.DataFrame(read, columns=columns).assign(specimen=""))
    return findings_page(fit_castings(log), tmp_path_factory.mktemp("page") / "findings.html", by=whole).path


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def opened(browser, page_file):
    """The page at phone width, with every request it made and every line it put on the console."""
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.asked, page.lines = [], []
    page.on("request", lambda request: page.asked.append(request.url))
    page.on("console", lambda line: page.lines.append(line.text))
    page.on("dialog", lambda dialog: page.lines.append(dialog.message))
    page.goto(page_file.as_uri())
    page.locator("details").evaluate("fold => fold.open = true")
    page.wait_for_function("[...document.images].every(image => image.complete)")
    yield page
    page.close()


def test_nothing_typed_runs_and_no_request_leaves(opened, page_file):
    assert opened.evaluate("window.ran === undefined")
    assert [url for url in opened.asked if not url.startswith("data:")] == [page_file.as_uri()]
    assert opened.lines == []
    assert opened.locator("iframe, svg, script:not([type='application/json'])").count() == 1  # the page's own script
    assert opened.locator("#explorer").is_visible()
    assert "{{ 7*7 }}" in opened.title()


def test_a_script_slipped_into_the_file_would_still_be_stopped(browser, page_file, tmp_path):
    """The policy is a second wall: the same page with a script and an outside picture put in by hand."""
    broken = tmp_path / "broken.html"
    text = page_file.read_text("utf-8")
    put_in = "<script>window.ran = 1</script><img src='http://127.0.0.1:9/x.png'></main>"
    broken.write_text(text.replace("</main>", put_in), "utf-8")
    page, refused, failed = browser.new_page(), [], []
    page.on("console", lambda line: refused.append(line.text))
    page.on("requestfailed", lambda request: failed.append(request.failure))
    page.goto(broken.as_uri())
    page.wait_for_timeout(300)
    assert page.evaluate("window.ran === undefined")
    assert len([line for line in refused if "Content Security Policy" in line]) >= 2
    assert set(failed) <= {"csp"}
    page.close()


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_overflows(opened, width):
    """320 px: Web Content Accessibility Guidelines 2.1, success criterion 1.4.10."""
    opened.set_viewport_size({"width": width, "height": 740})
    assert opened.evaluate("document.documentElement.scrollWidth") <= width
    beyond = opened.evaluate("""() => [...document.querySelectorAll('h1, h2, h3, p, li, summary, .wide')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent.slice(0, 40))""")
    assert beyond == []


@pytest.mark.parametrize("width", [360, 1280])
def test_no_automated_accessibility_rule_is_broken(opened, width):
    """axe-core, every rule it has for pages: WCAG 2.0 to 2.2 at levels A and AA, and its own best practices."""
    opened.set_viewport_size({"width": width, "height": 740})
    found = Axe().run(opened)
    assert len(found.response["passes"]) > 30
    assert [(v["id"], v["impact"], v["nodes"][0]["html"][:80]) for v in found.response["violations"]] == []


def test_the_explorer_takes_hostile_names_and_still_answers(opened):
    """Names of factors, readings and grades are typed by people and go through the page's own script."""
    shown = opened.locator("#explorer").inner_text()
    assert "<script>window.ran = 1</script>" in shown
    assert opened.locator('[data-part="verdict"]').text_content().endswith((" castings may be good.", "castings should be good.", ")."))
    opened.locator("#explorer input[type=range]").first.press("ArrowRight")
    opened.locator("#explorer [role=switch]").first.press("Space")
    assert opened.locator("#explorer img, #explorer script, #explorer iframe").count() == 0
    assert opened.evaluate("window.ran === undefined") and opened.lines == []


def test_with_the_network_cut_it_is_whole(browser, page_file):
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert page.locator("#explorer").is_visible()
    assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
    context.close()


def test_without_javascript_everything_but_the_sliders_is_there(browser, page_file):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert not page.locator("#explorer").is_visible()
    assert "switched off in this browser" in page.locator("main").inner_text()
    assert page.locator("main img").count() >= 5
    context.close()


def test_the_log_comes_back_out_of_a_hostile_page(page_file):
    log = read_page(page_file)
    assert list(log.pours.index) == HOSTILE[:8] and log.pours["note"].iloc[0] == " ".join(HOSTILE)


def test_all_figures_are_drawn(opened):
    sizes = opened.evaluate("[...document.images].map(image => image.naturalWidth)")
    assert len(sizes) >= 5 and min(sizes) > 300


def test_text_stands_out_from_what_is_behind_it(opened):
    """Contrast ratio of WCAG 2.1, success criterion 1.4.3: 4.5 to 1, computed from what the browser draws."""
    worst = opened.evaluate("""() => {
      const parts = colour => colour.match(/[0-9.]+/g).map(Number);
      const light = colour => { const [r, g, b] = parts(colour).map(v => v / 255)
        .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126*r + 0.7152*g + 0.0722*b; };
      const behind = e => { while (e) { const c = getComputedStyle(e).backgroundColor;
        if (!c.startsWith('rgba(0, 0, 0, 0')) return c; e = e.parentElement; } return 'rgb(255, 255, 255)'; };
      return Math.min(...[...document.body.querySelectorAll('*')].filter(e => e.textContent.trim()).map(e => {
        const [low, high] = [light(getComputedStyle(e).color), light(behind(e))].sort((a, b) => a - b);
        return (high + 0.05) / (low + 0.05); })); }""")
    assert worst >= 4.5


@pytest.mark.parametrize("name", ["pours.csv", "readings.csv"])
def test_the_data_can_be_taken_from_the_page(opened, name, tmp_path):
    with opened.expect_download() as waiting:
        opened.locator(f'a[download="{name}"]').click()
    waiting.value.save_as(tmp_path / name)
    table = pd.read_csv(tmp_path / name, encoding="utf-8-sig")
    assert len(table) == (8 if name == "pours.csv" else 16) and "by" not in table
    if name == "pours.csv":
        shown = {0x202E: "[U+202E]", 0x202C: "[U+202C]"}  # marks that turn the reading order are written out
        assert list(table["pour"]) == [pour.translate(shown) for pour in HOSTILE[:8]]


def test_it_prints_without_the_links_and_with_every_figure_on_the_paper(opened):
    """A4 less its margins is 180 mm wide: 680 CSS pixels at 96 a inch."""
    opened.emulate_media(media="print")
    opened.set_viewport_size({"width": 680, "height": 900})
    assert not opened.locator("a[download]").first.is_visible()
    assert max(opened.evaluate("[...document.images].map(image => image.getBoundingClientRect().right)")) <= 681
    assert opened.pdf(format="A4")[:5] == b"%PDF-"
