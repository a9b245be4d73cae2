"""Everything that is printed, through the browser's own print: its paper, one page, nothing cut, legible in grey."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import sync_playwright

from testpour.advice.chart import recipe_chart
from testpour.bench.bench_sheet import bench_sheet
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.planning.plan import plan_pours
from testpour.report.page import findings_page
from testpour.report.sheet import handout
from testpour.report.wall import wall_summary
from testpour.study.study_file import study_from

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm: ISO 216; ANSI/ASME Y14.1 size A
HOSTILE = [
    "<script>window.ran = 1</script>", "<img src=https://example.org/x.png onerror='window.ran=1'>",
    "</title></style></bdi><iframe src=https://example.org></iframe>", "W" * 400, "\u202eright to left\u202c \u0634\u0645\u0639",
    "\U0001f9ea\U0001fae0\U0001f468\u200d\U0001f3ed", "{{ 7*7 }}", "plain words that go on and on " * 12,
]
by_paper = pytest.mark.parametrize("paper", PAPERS)

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def fits(practice_castings):
    """A log of six benches."""
    pours = practice_castings.pours.assign(by=list("ABCDEF") * 2)
    return fit_castings(replace(practice_castings, pours=pours))


@pytest.fixture(scope="module")
def hostile():
    """A log of eight benches in which everything a person types is hostile."""
    whole = " ".join(HOSTILE)
    raw = {
        "name": whole, "question": whole, "resin": {"kind": f"polyester {whole}"},
        "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "cover": {"words": whole}, "room_temperature": {}},
        "readings": {"gel_time": {"words": f"{whole} read"}, "tack": {"grades": HOSTILE[:4]}},
        "aims": {"gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "24 h"}},
    }
    rng, rows, read = np.random.default_rng(1), [], []
    for i, name in enumerate(HOSTILE):
        rows.append({"pour": name, "session": HOSTILE[i % 2], "made_at": pd.Timestamp("2026-03-02"), "by": name, "note": whole,
                     "catalyst": (1.0, 1.8, 2.5)[i % 3], "cover": float(i % 4 > 0), "room_temperature": 17.0 + 5 * (i % 2)})
        gel = np.round(26 * (rows[-1]["catalyst"] / 1.5) ** -0.8 * np.exp(0.1 * rng.standard_normal()))
        read.append((name, "gel_time", gel - 1, gel + 1, np.nan, name, "between", whole))
        read.append((name, "tack", float(i % 4 == 0), float(i % 4 == 0), 24.0, name, "exact", ""))
    columns = ["pour", "reading", "low", "high", "age", "by", "known", "note"]
    table = pd.DataFrame(rows).set_index("pour")
    return fit_castings(Castings(study_from(raw), table, pd.DataFrame(read, columns=columns).assign(specimen="")))


@pytest.fixture
def opened(browser):
    """Open a file as it prints on a paper: the page, as wide as the paper between its margins."""
    pages = []

    def open_file(path, paper="A4"):
        page = browser.new_page(viewport={"width": round((PAPERS[paper][0] - 28) * 96 / 25.4), "height": 900})
        page.asked = []
        page.on("request", lambda one: page.asked.append(one.url))
        page.goto(path.as_uri())
        page.emulate_media(media="print")
        pages.append(page)
        return page

    yield open_file
    for page in pages:
        page.close()


def printed(page, **options):
    """Number of pages, and the width and height of each in mm: 1 point is 1/72 inch (PDF 32000-1, 8.3.2.3)."""
    pdf = page.pdf(prefer_css_page_size=True, **options)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert max(map(int, re.findall(rb"/Count (\d+)", pdf))) == len(boxes)
    return len(boxes), np.array(boxes, float) * 25.4 / 72


def nothing_is_told_by_colour(page):
    """Every colour the browser uses for words, frames and grounds is a grey."""
    colours = page.evaluate("""() => [...new Set([...document.body.querySelectorAll('*')].flatMap(e => { const s = getComputedStyle(e);
        return [s.color, s.backgroundColor, s.borderTopColor, s.borderLeftColor]; }))]""")
    assert colours and all(len(set(re.findall(r"\d+", colour)[:3])) == 1 for colour in colours)


SHEETS = {
    "chart": lambda fits, path, paper: recipe_chart(fits).save(path, paper=paper),
    "handout": lambda fits, path, paper: handout(fits, path, paper=paper).path,
    "wall": lambda fits, path, paper: wall_summary(fits, path, paper=paper).path,
}
by_sheet = pytest.mark.parametrize("make", SHEETS.values(), ids=SHEETS)


@by_sheet
def test_a_sheet_is_one_page_of_its_paper_with_every_word_on_it(opened, fits, tmp_path, make):
    path = make(fits, tmp_path / "sheet.html", "A4")
    for paper, size in PAPERS.items():
        path.write_text(path.read_text("utf-8").replace("size: A4;", f"size: {paper};"), "utf-8")
        page = opened(path, paper)
        count, sizes = printed(page)
        assert count == 1 and sizes[0] == pytest.approx(size, abs=0.5)
        cut = page.evaluate("""() => [...document.querySelectorAll('.one, .two, .three, .four, .item bdi, h1, .question, .says')]
            .filter(e => e.scrollHeight > e.clientHeight + 3).map(e => e.textContent)""")
        assert cut == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    nothing_is_told_by_colour(page)


@by_sheet
def test_it_stays_one_page_and_dead_whatever_is_typed(opened, hostile, tmp_path, make):
    path = make(hostile, tmp_path / "sheet.html", "Letter")
    for paper in ("Letter", "A4"):
        path.write_text(path.read_text("utf-8").replace("size: Letter;", f"size: {paper};"), "utf-8")
        page = opened(path, paper)
        assert printed(page)[0] == 1
        assert page.evaluate("window.ran === undefined") and page.locator("script, iframe").count() == 0
        assert [url for url in page.asked if not url.startswith("data:")] == [page.url]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_cells_of_the_chart_differ_in_frame_and_weight(opened, fits, tmp_path):
    chart = recipe_chart(fits, rooms=(15, 19), thicknesses=(6, 18))
    advice = chart.table.assign(beyond=[False, True, False, True], catalyst=[1.5, 1.2, np.nan, np.nan], advice="add a cover")
    page = opened(replace(chart, table=advice).save(tmp_path / "chart.html"))
    looks = page.evaluate("""() => [...document.querySelectorAll('td')].map(e => { const s = getComputedStyle(e);
        return [s.borderTopStyle, Math.round(parseFloat(s.borderTopWidth)), s.fontStyle, s.backgroundImage !== 'none'].join(' '); })""")
    assert looks[0] == "solid 3 normal false" and looks[2] == "solid 1 normal false"
    assert looks[1].startswith("dashed") and looks[1].endswith("italic true") and looks[3].endswith("italic true")


def test_a_long_chart_shrinks_to_one_page(opened, fits, tmp_path):
    chart = recipe_chart(fits, rooms=range(15, 27), thicknesses=range(5, 19, 2))
    assert printed(opened(chart.save(tmp_path / "chart.html")))[0] == 1


def test_a_wall_of_many_benches_is_one_page(opened, fits, tmp_path):
    many = replace(fits, castings=replace(fits.castings, pours=fits.castings.pours.assign(
        resin_lot=[f"drum {i}" for i in range(12)], session=[f"day {i}" for i in range(12)])))
    page = opened(wall_summary(many, tmp_path / "wall.html", bench="session", names=True, paper="Letter").path, "Letter")
    assert printed(page)[0] == 1


def test_a_long_recipe_and_its_warnings_are_never_cut(opened, fits, tmp_path, monkeypatch):
    """A recipe of 195 letters and its two warnings in two rooms, and a room refused in 200 letters: all of it is on the one page."""
    row = {"problem": "", "conflict": "", "settings": "45 °C post-cure temperature, with wax, " * 5,
           "chance": "cannot tell yet", "between": "under 1 to 90",
           "bar": [0.1, 28.0, 90.0], "untold": True, "beyond": "humidity 50 %", "gel": "53 to 105 min", "beside": {},
           "warnings": ["Catalyst 0.8 % is below 1 %: the casting may stay soft.", "Room temperature 12 °C is below 15 °C."]}
    rows = [{**row, "room": f"{room} °C"} for room in (10, 12)] + [{"room": "8 °C", "problem": "Too cold: " + "warm the room first. " * 9}]
    monkeypatch.setattr("testpour.report.sheet.advice_rows", lambda *_: rows)
    monkeypatch.setattr("testpour.report.wall.advice_rows", lambda *_: rows[1:])
    for make in (handout, wall_summary):
        for paper in PAPERS:
            page = opened(make(fits, tmp_path / f"{make.__name__}.html", paper=paper).path, paper)
            assert printed(page)[0] == 1
            assert page.locator("td", has_text="with wax").count() == (2 if make is handout else 1)
            assert "may stay soft" in page.locator("p", has_text="below 15").inner_text()
            cut = page.evaluate("""() => [...document.querySelectorAll('.advice *, .advice + p, .benches thead *')].filter(e =>
                getComputedStyle(e).webkitLineClamp !== 'none').map(e => e.textContent)""")
            assert cut == []


@by_paper
def test_the_bench_sheet_is_one_page(opened, study, tmp_path, paper):
    plan = plan_pours(study, sessions=2, pours=5)
    path = bench_sheet(study, plan.session(1), resin="120 g").save(tmp_path / "sheet.html")
    count, sizes = printed(opened(path, paper), format=paper)
    assert count == 1 and sizes[0] == pytest.approx(PAPERS[paper], abs=0.5)


@pytest.mark.slow
def test_the_findings_page_prints_on_either_paper(opened, fits, tmp_path):
    path = findings_page(fits, tmp_path / "findings.html", room=[18, 22]).path
    for paper, size in PAPERS.items():
        page = opened(path, paper)
        count, sizes = printed(page, format=paper)
        assert 3 <= count <= 20 and np.abs(sizes - size).max() < 0.5
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1")
