"""The pictures of README.md are what the demonstration study shows; run this file as a program to take them anew."""

import re
import tempfile
from pathlib import Path

import nbformat
import pytest
from PIL import Image, PngImagePlugin

import testpour as tp

PICTURES = Path(__file__).parents[2] / "notebooks" / "pictures"
SIZE = 820  # CSS pixels, wide and high
NAMES = ("bench.png", "today.png", "findings.png")
BENCH = """import testpour as tp
study = tp.read_study("study.toml")
log = tp.Logbook(study)
plan = tp.plan_pours(study, sessions=1, pours=4, castings=log.castings())
tp.session_form(log, tp.bench_sheet(study, plan.table, resin="120 g"))"""
pytestmark = pytest.mark.slow


def take_pictures(lab, place):
    """Take the three pictures of a demonstration study served by a lab, and keep the words in each with it."""
    page = lab.page
    page.set_viewport_size({"width": 1400, "height": 2600})  # JupyterLab draws what is in view
    _run(lab, "bench-picture.ipynb", BENCH)
    form = page.locator(".tp-form")
    form.locator("summary", has_text="cautions").first.click()
    form.locator(".tp-card").first.get_by_role("button", name="Catalyst in", exact=True).click()
    form.locator("[data-since]").first.wait_for(timeout=30_000)
    _keep(form, place / "bench.png", form.locator(".tp-cards"))
    _run(lab, "today-picture.ipynb", "import testpour as tp", "tp.today_panel()")
    today = page.locator(".tpp")
    for label, text in {"Room": "18", "Depth of the mould": "12", "Resin to mix": "300"}.items():
        today.get_by_label(label, exact=True).fill(text)
        page.wait_for_timeout(1000)
    today.get_by_text("What to weigh").wait_for(timeout=200_000)
    page.mouse.click(1390, 5)  # no field has the cursor
    _keep(today, place / "today.png", today.get_by_role("heading", name="Pour with"))
    log = tp.Logbook(tp.read_study(lab.folder))
    found = tp.findings_page(tp.fit_castings(log.castings()), lab.folder / "findings-picture.html", room="18 degC")
    log.close()
    page.goto(found.path.as_uri())
    page.set_viewport_size({"width": SIZE, "height": SIZE})
    _keep(page.locator("body"), place / "findings.png", words="\n".join(page.locator("h1, h2").all_inner_texts()))


def _run(lab, name, *cells):
    nbformat.write(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(text) for text in cells]), lab.folder / name)
    lab.open(name)
    lab.run_all(name)


def _keep(part, path, top=None, words=None):
    """A square of a part of the page from `top` down, or from the page's own top, in few colours."""
    clip = {"x": 0, "y": 0, "width": SIZE, "height": SIZE}
    if top:
        part.evaluate("(e, wide) => { e.style.width = `${wide}px`; }", SIZE)
        part.page.wait_for_timeout(500)
        clip |= {"x": part.bounding_box()["x"], "y": top.bounding_box()["y"] - 12}
    part.page.screenshot(path=path, clip=clip)
    held = PngImagePlugin.PngInfo()
    held.add_itxt("Description", words or part.inner_text(), zip=True)
    with Image.open(path) as taken:
        small = taken.convert("RGB").quantize(64)
    small.save(path, optimize=True, pnginfo=held)


def read(path):
    """Size of a picture and the words in it, moments and numbers left out."""
    with Image.open(path) as picture:
        words = re.sub(r"\([^()]*\d\d:\d\d\)|(?<=at )\w{3} \d\d \w{3} \d\d:\d\d", "", picture.text["Description"])
        words = re.sub(r"[\d:.]+", "0", words)
        return picture.size, [line.strip() for line in words.splitlines() if line.strip()]


def test_the_pictures_show_what_the_demonstration_shows(lab, tmp_path):
    take_pictures(lab, tmp_path)
    for name in NAMES:
        (size, words), (kept_size, kept_words) = read(tmp_path / name), read(PICTURES / name)
        assert size == kept_size == (SIZE, SIZE)
        assert len(words) > 5
        assert words == kept_words, name


if __name__ == "__main__":
    from conftest import browsed

    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as home, browsed(Path(home) / "my-study", home) as served:
        take_pictures(served, PICTURES)
