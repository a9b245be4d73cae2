"""Panels and the session form drawn on a bare page in Chromium, where the test is the kernel and answers when it likes."""

import shutil
import time
from importlib.resources import files

import pytest
from playwright.sync_api import sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")
# A widget's model as the pieces use it; `sent` holds what the page sends, `say` and `put` speak for the kernel.
MODEL = """values => { const heard = {};
  window.sent = [];
  window.say = (message) => heard["msg:custom"].forEach((hear) => hear(message));
  window.put = (name, value) => { values[name] = value; heard[`change:${name}`].forEach((hear) => hear()); };
  window.model = {
    get: (name) => values[name], on: (name, hear) => (heard[name] ??= []).push(hear),
    off: () => {}, send: (message) => sent.push(message) }; }"""


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture
def draw(chromium):
    """A function that draws one of the pieces of a room with a state, on a page of its own."""
    pages = []

    def drawn(room, piece, **values):
        home = files(f"testpour.{room}")
        page = chromium.new_page(viewport={"width": 390, "height": 844})
        pages.append(page)
        page.set_content(f"<style>{home.joinpath(f'{piece}.css').read_text('utf-8')}</style><main></main>")
        page.evaluate(MODEL, values)
        code = home.joinpath(f"{piece}.js").read_text("utf-8").replace("export default", "window.piece =")
        page.add_script_tag(content=f"{{ {code} }}; window.piece.render({{ model, el: document.querySelector('main') }});")
        return page

    yield drawn
    for page in pages:
        page.close()


def panel(*parts, **more):
    """What the kernel says of a panel."""
    return {"title": "Share", "lead": "", "parts": list(parts), "said": "", "wrong": "", "busy": False, **more}


def tap_part(words, off=""):
    return {"kind": "button", "name": "write:backup", "words": words, "main": True, "off": off}


def test_a_double_tap_is_one_tap(draw):
    """Whether the kernel answers after the second half of it or before; a tap made later is another."""
    page = draw("panels", "panels", screen=panel(tap_part("Backup of the log")), where="here")
    taps = "() => sent.filter((message) => message.deed === 'tap').map((message) => message.id)"
    button = page.get_by_role("button")
    button.dblclick()
    page.wait_for_timeout(1000)
    button.click()  # still nothing was answered
    first = page.evaluate(taps)
    assert len(first) == 1
    page.evaluate("id => say({ heard: id })", first[0])
    button.click()
    assert page.evaluate(taps) == first
    page.wait_for_timeout(700)
    button.click()
    assert len(page.evaluate(taps)) == 2


def card(pour, since):
    """A card of the form with its catalyst in at `since`, ms since 1970."""
    return {"pour": pour, "name": pour, "since": since, "clock": "11:00", "settings": ["thickness 6 mm"], "weigh": [], "refusals": [], "warnings": [],
            "asks": [], "events": [], "once": [], "later": [], "photos": [], "readings": 0}


def session(*cards, **head):
    """What the kernel says of a session form."""
    head = {"fields": [], "by": "", "at": 0, "unknown": [], "but": "", "warnings": [], "saved": "", **head}
    return {"study": "Knobs", "session": "S1", "cautions": [], "kept": [], "notices": [], "answers": {}, "head": head,
            "due": {"rows": [], "missed": 0, "nothing": "Nothing is left to read at an age."}, "cards": list(cards)}


@pytest.mark.parametrize("gone", ["1:36", "47:59"])
def test_a_clock_that_has_run_for_hours_is_whole_on_a_phone(draw, gone):
    """JupyterLab leaves a form 226 of a phone's 390 pixels."""
    hours, minutes = map(int, gone.split(":"))
    page = draw("bench", "session_form", state=session(card("P01-2", 1e3 * (time.time() - 3600 * hours - 60 * minutes - 20))), where="here")
    for width in (215, 226, 300, 390):
        page.evaluate("width => { document.querySelector('.tp-form').style.width = `${width}px`; }", width)
        assert page.locator("[data-since]").inner_text().startswith(f"{gone}:")
        for shown in ("[data-since]", ".tp-timer small", ".tp-name h3"):
            left, right, lines, from_, to = page.locator(shown).evaluate("""e => { const range = document.createRange(); range.selectNodeContents(e);
              const [r, c] = [range.getBoundingClientRect(), e.closest(".tp-card").getBoundingClientRect()];
              return [r.left, r.right, range.getClientRects().length, c.left, c.right]; }""")
            assert from_ <= left and right <= to and lines == 1, f"{shown} at {width}"


def test_a_moment_found_without_a_check_asks_in_its_own_words_and_nothing_due_is_said(draw):
    event = {"reading": "demould_time", "words": "demould time", "unit": "min", "done": "Demoulded", "check": "Tried: not ready yet", "how": "", "with": "",
             "status": "already", "entry": 7, "said": "Demoulded by 1440.0 min", "late": False, "doubt": "Was it tried all along?", "sure": "It was"}
    page = draw("bench", "session_form", state=session({**card("P01", 1e3 * (time.time() - 86_400)), "events": [event]}), where="here")
    assert "Was it tried all along?" in page.get_by_role("group", name="demould time").inner_text()
    page.get_by_role("button", name="It was", exact=True).click()
    assert page.evaluate("sent.find((message) => message.deed === 'watched').reading") == "demould_time"
    assert "Nothing is left to read at an age." in page.locator(".tp-due").inner_text()


# Contrast of what the mouse is on by the rule of WCAG 2.2 (criterion 1.4.3): (L1 + 0.05) / (L2 + 0.05). A canvas turns any colour into bytes.
CONTRAST = """e => { const draw = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const light = (colour) => { draw.fillStyle = colour; draw.fillRect(0, 0, 1, 1);
    const [r, g, b] = [...draw.getImageData(0, 0, 1, 1).data].map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const [low, high] = [light(getComputedStyle(e).color), light(getComputedStyle(e).backgroundColor)].sort((a, b) => a - b);
  return (high + 0.05) / (low + 0.05); }"""


@pytest.mark.parametrize("main", [True, False])
@pytest.mark.parametrize("light", ["true", "false"])
def test_a_button_that_is_off_can_be_read_under_the_mouse(draw, main, light):
    page = draw("panels", "panels", screen=panel({**tap_part("Change study.toml", off="study.toml already says this."), "main": main}), where="here")
    page.evaluate("""light => { document.body.dataset.jpThemeLight = light; if (light === "false")
      for (const [name, colour] of [["layout-color1", "#111"], ["content-font-color0", "#fff"]])
        document.body.style.setProperty(`--jp-${name}`, colour); }""", light)
    button = page.get_by_role("button")
    button.hover()
    assert button.evaluate(CONTRAST) >= 4.5


def test_a_button_of_the_form_can_be_read_under_the_mouse_while_it_saves(draw):
    mix = {**card("P01", 0), "name": "", "weigh": [{"what": "Resin", "amount": "150 g", "more": ""}]}
    page = draw("bench", "session_form", state=session(mix), where="here")
    page.get_by_role("button", name="Catalyst in", exact=True).click()
    button = page.get_by_role("button", name="Catalyst in: saving")
    assert button.get_attribute("aria-disabled") == "true"
    button.hover()
    assert button.evaluate(CONTRAST) >= 4.5


def test_saved_is_not_said_whole_while_a_field_is_wrong(draw):
    wrong = {"name": "room_temperature", "label": "Room temperature (°C)", "value": "68", "problem": "Room temperature: 68 is outside 5 to 40 °C."}
    page = draw("bench", "session_form", state=session(at=1, saved="12:47", but="room temperature", unknown=["resin lot"], fields=[wrong]), where="here")
    said = page.locator(".tp-head").inner_text()
    assert "Saved 12:47, except room temperature. Not known yet: resin lot." in said
    assert "✓" not in said and page.get_by_label("Room temperature (°C)").input_value() == "68"
    page.evaluate("state => put('state', state)", session(at=2, saved="12:48", fields=[{**wrong, "value": "20", "problem": ""}]))
    assert "✓ Saved 12:48." in page.locator(".tp-head").inner_text()
