"""Panels and the session form drawn on a bare page in Chromium, where the test is the kernel and answers when it likes."""

import shutil
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
  window.model = { get: (name) => values[name], on: (name, hear) => (heard[name] ??= []).push(hear), off: () => {}, send: (message) => sent.push(message) }; }"""


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
