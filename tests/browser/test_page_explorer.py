"""The explorer of the findings page in Chromium gives Python's numbers, greys what was not poured, and names what limits."""

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import sync_playwright

from testpour.exchange.folder import make_folder
from testpour.logbook.book import Logbook
from testpour.models.chance import chance
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table
from testpour.report.page import findings_page
from testpour.study.study_file import read_study, study_from

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
TRIED = 25  # random settings

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


@pytest.fixture(scope="module")
def castings(tmp_path_factory):
    """The demo log."""
    log = Logbook(read_study(make_folder(tmp_path_factory.mktemp("study") / "demo").path))
    try:
        return log.castings()
    finally:
        log.close()


@pytest.fixture(scope="module", params=["plain terms", "heat and cure"])
def fits(request, castings):
    """The demo log fitted as the log chooses; and its gel time and peak with heat and cure among the peak's terms."""
    if request.param == "plain terms":
        return fit_castings(castings)
    few = tuple(castings.study.reading(name) for name in ("gel_time", "peak_temperature"))
    aims = tuple(aim for aim in castings.study.aims if aim.reading in ("gel_time", "peak_temperature"))
    with pytest.MonkeyPatch.context() as change:
        change.setattr("testpour.models.physics_choice.LEAST_LOG_RATIO", -np.inf)  # whatever the log speaks for
        found = fit_castings(replace(castings, study=replace(castings.study, readings=few, aims=aims)))
    assert "physics" in [term.name for term in found["peak_temperature"].believed.terms]
    return found


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def opened(browser, fits, tmp_path_factory):
    path = findings_page(fits, tmp_path_factory.mktemp("page") / "findings.html").path
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.problems = []
    page.on("pageerror", lambda error: page.problems.append(str(error)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.goto(path.as_uri())
    yield page
    page.close()


MOVE = """at => { for (const [name, place] of Object.entries(at)) {
  const input = document.querySelector(`#explorer input[data-factor="${name}"]`);
  if (input.type === 'checkbox') input.checked = Boolean(place); else input.value = place;
  input.dispatchEvent(new Event('input', {bubbles: true})); } }"""
SHOWN = """() => ({whole: {...document.getElementById('explorer').dataset}, readings: Object.fromEntries(
  [...document.querySelectorAll('#explorer [data-reading]')].map(row => [row.dataset.reading, {...row.dataset}]))})"""


def stops(page):
    held = json.loads(page.locator("#explorer-data").text_content())
    return {f["name"]: np.array(f["stops"]) for f in held["factors"]}


def random_places(stops, count=TRIED):
    rng = np.random.default_rng(11)
    moved = {name: values for name, values in stops.items() if len(values) > 1}
    return [{name: int(rng.integers(len(values))) for name, values in moved.items()} for _ in range(count)]


def test_the_page_shows_pythons_numbers_to_three_digits(opened, fits):
    """Chance with its interval, each reading with its interval, each grade: at random settings, against the package."""
    at = stops(opened)
    assert {"catalyst", "room_temperature", "thickness", "pigment", "cover"} <= {n for n, v in at.items() if len(v) > 1}
    for places in random_places(at):
        opened.evaluate(MOVE, places)
        shown = opened.evaluate(SHOWN)
        row = {name: float(values[places.get(name, 0)]) for name, values in at.items()}
        found = chance(fits, pd.DataFrame([row]))
        told = found.table.iloc[0]
        for key in ("chance", "low", "high"):
            assert float(shown["whole"][key]) == pytest.approx(told[key], rel=1e-3, abs=1e-4), (key, row)
        ages = {aim.reading: aim.age for aim in fits.study.aims}
        for name, fit in fits.items():
            _same_reading(fit, row, ages.get(name), shown["readings"][name])
    assert opened.problems == []


def _same_reading(fit, row, age, shown):
    table = settings_table(fit.study, pd.DataFrame([row]), age=age, reading=fit.reading)
    if fit.reading.grades:
        each = [fit.chances(table, g, g).mean() for g in range(len(fit.reading.grades))]
        assert [float(part) for part in shown["grades"].split()] == pytest.approx(each, rel=1e-3, abs=1e-4)
        return
    predicted = fit.predict(table).iloc[0]
    for key in ("low", "middle", "high"):
        assert float(shown[key]) == pytest.approx(predicted[key], rel=1e-3), (fit.reading.name, key, row)


def test_the_aims_are_named_in_the_order_in_which_they_limit(opened, fits):
    at = stops(opened)
    for places in random_places(at, 8):
        opened.evaluate(MOVE, places)
        row = {name: float(values[places.get(name, 0)]) for name, values in at.items()}
        met = chance(fits, pd.DataFrame([row])).by_aim.iloc[0]
        order = [fits.study.reading(aim.reading).words for _, aim in sorted(zip(met, fits.study.aims, strict=True), key=lambda p: p[0])]
        assert opened.locator("#explorer").get_attribute("data-limits").split("|") == order
        said = opened.locator('[data-part="limits"]').text_content()
        assert said.startswith("What limits it: " + order[0]) or met.min() >= 0.95


def test_beyond_the_pours_it_turns_grey_and_says_why(opened, fits):
    values = stops(opened)["room_temperature"]
    poured = fits.castings.pours["room_temperature"]
    inside = int(np.abs(values - poured.median()).argmin())
    opened.get_by_role("button", name=re.compile("room at")).first.click()
    opened.evaluate(MOVE, {"room_temperature": inside})
    assert opened.locator('[data-part="beyond"]').text_content() == ""
    assert "beyond" not in (opened.locator("#explorer").get_attribute("class") or "")
    opened.evaluate(MOVE, {"room_temperature": len(values) - 1})
    said = opened.locator('[data-part="beyond"]').text_content()
    assert "nothing was poured at room temperature" in said and ":" not in said and f"poured {poured.min():g} to {poured.max():g} °C" in said
    assert "beyond" in opened.locator("#explorer").get_attribute("class")


def test_sliders_answer_to_the_keyboard_and_say_their_value(opened):
    """WCAG 2.1, success criteria 2.1.1 and 4.1.2."""
    slider = opened.get_by_role("slider", name="Catalyst")
    before = slider.get_attribute("aria-valuetext")
    slider.focus()
    slider.press("ArrowLeft")
    after = slider.get_attribute("aria-valuetext")
    assert before.endswith("%") and after.endswith("%") and before != after
    switch = opened.get_by_role("switch", name="Cover")
    was = switch.is_checked()
    switch.press("Space")
    assert switch.is_checked() != was


def test_where_castings_were_poured_and_one_reading_was_not_taken_it_names_that_reading(castings, browser, tmp_path):
    """The peak read in the coolest room alone: elsewhere the castings were poured, and the page says which reading is missing."""
    rooms, readings = castings.pours["room_temperature"], castings.readings
    cool = rooms.index[rooms == rooms.min()]
    few = replace(castings, readings=readings[(readings["reading"] != "peak_temperature") | readings["pour"].isin(cool)])
    path = findings_page(fit_castings(few), tmp_path / "findings.html").path
    page, said = browser.new_page(), {}
    page.goto(path.as_uri())
    values = stops(page)["room_temperature"]
    for place in (int(np.abs(values - rooms.max()).argmin()), len(values) - 1):
        page.evaluate(MOVE, {"room_temperature": place})
        said[place] = page.locator('[data-part="beyond"]').text_content()
    page.close()
    inside, outside = said.values()
    assert "nothing was poured" not in inside, inside
    assert f"no peak temperature was read at room temperature {rooms.max():g} °C (read {rooms.min():g} °C)" in inside
    assert f"nothing was poured at room temperature {values[-1]:g} °C (poured {rooms.min():g} to {rooms.max():g} °C)" in outside
    assert "no peak temperature was read at room" not in outside


def test_a_chance_that_cannot_be_told_yet_comes_without_numbers_of_its_aims(castings, browser, tmp_path):
    path = findings_page(fit_castings(castings), tmp_path / "findings.html").path
    text = path.read_text("utf-8")
    assert text.count('"untold":0.8') + text.count('"untold": 0.8') == 1
    path.write_text(re.sub('"untold": ?0.8', '"untold":-1', text), "utf-8")  # every chance as one that cannot be told
    page = browser.new_page()
    page.goto(path.as_uri())
    page.evaluate(MOVE, {"catalyst": 0})
    verdict, limits = (page.locator(f'[data-part="{name}"]').text_content() for name in ("verdict", "limits"))
    page.close()
    assert verdict.startswith("Cannot tell yet: anything from ") and limits.startswith("What limits it: ") and "of 100" not in limits


def test_a_switch_of_a_choice_turns_the_others_of_it_off(browser, tmp_path):
    """Moulds of which a casting has one: glass goes off where silicone goes on."""
    moulds = {name: {"kind": "yes/no", "words": f"{name} mould"} for name in ("silicone", "glass")}
    raw = {"name": "moulds", "question": "which mould", "resin": {"kind": "unsaturated polyester"}, "readings": {"gel_time": {}},
           "factors": {"catalyst": {"from": 1, "to": 2}, "cover": {}, **moulds}, "one_of": {"mould": ["silicone", "glass"]}}
    log = Logbook(replace(study_from(raw), folder=tmp_path))
    for place in range(6):
        chosen = {"silicone": float(place % 3 == 0), "glass": float(place % 3 == 1)}
        log.add_pour(f"P{place}", settings={"catalyst": 1 + place / 5, "cover": place % 2, **chosen}, session="1")
        log.add_reading(f"P{place}", "gel_time", 20.0 - 2 * place)
    path = findings_page(fit_castings(log.castings()), tmp_path / "findings.html").path
    log.close()
    page = browser.new_page()
    page.goto(path.as_uri())
    on = "() => Object.fromEntries([...document.querySelectorAll('#explorer input[type=checkbox]')].map(one => [one.dataset.factor, one.checked]))"
    page.evaluate(MOVE, {"silicone": 0, "glass": 1})
    assert page.evaluate(on) == {"silicone": False, "glass": True}
    page.evaluate(MOVE, {"silicone": 1})
    assert page.evaluate(on) == {"silicone": True, "glass": False}
    page.evaluate(MOVE, {"silicone": 0})
    assert page.evaluate(on) == {"silicone": False, "glass": False}
    page.close()
