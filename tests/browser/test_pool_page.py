"""The page of a pool in a browser: hostile names do nothing, nothing leaves, nothing overflows, axe-core is content."""

import shutil

import numpy as np
import pandas as pd
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from testpour.pooling.pool import pool
from testpour.study.study_file import study_from

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
HOSTILE = ["<script>window.ran = 1</script>", "<img src=https://example.org/x.png onerror='window.ran=1'>", "W" * 300,
           "\u202eright to left\u202c \u0634\u0645\u0639 \U0001f9ea"]

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium: apt-get install chromium")


def _log(castings_of, number):
    study = study_from(
        {
            "resin": {"kind": "polyester " + HOSTILE[1]},
            "factors": {"catalyst": {"from": "1 %", "to": "2.5 %", "words": HOSTILE[0]}},
            "readings": {"gel_time": {"words": " ".join(HOSTILE)}},
        }
    )
    rng, names = np.random.default_rng(number), [f"P{i}" for i in range(6)]
    at = pd.Timestamp("2026-03-01") + pd.to_timedelta(10 * number + np.arange(6), "min")
    pours = pd.DataFrame({"session": "S1", "catalyst": rng.uniform(1, 2.5, 6), "made_at": at}, index=names)
    gel = np.exp(3.2 + 0.4 * (number == 2) + rng.normal(0, 0.1, 6))
    return castings_of(study, pours, pd.DataFrame({"pour": names, "reading": "gel_time", "low": gel, "high": gel}))


@pytest.fixture(scope="module")
def page_file(castings_of, tmp_path_factory):
    """A page in which every name a person gives is hostile, and one bench is left out."""
    logs = {name: _log(castings_of, number) for number, name in enumerate(HOSTILE, 1)}
    return pool(logs | {"not there": "/" + HOSTILE[0]}, leave_out=True).page(tmp_path_factory.mktemp("pool") / "pool.html")


@pytest.fixture
def opened(page_file):
    """The page in a phone's width, with every request it makes."""
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_context(bypass_csp=True, viewport={"width": 360, "height": 740}).new_page()
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(page_file.as_uri())
        yield page, asked
        browser.close()


def test_hostile_names_do_nothing_and_nothing_leaves(opened):
    """Even with the page's own policy switched off, so that the markup itself must hold."""
    page, asked = opened
    assert page.evaluate("window.ran") is None
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert "<script>window.ran = 1</script>" in page.inner_text("body")


def test_nothing_is_wider_than_a_phone(opened):
    page, _ = opened
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_no_automated_accessibility_rule_is_broken(opened):
    """axe-core, every rule it has for pages."""
    found = Axe().run(opened[0])
    assert [(v["id"], v["impact"], v["nodes"][0]["html"][:80]) for v in found.response["violations"]] == []
