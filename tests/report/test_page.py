"""The findings page: one file, every number computed, everything typed escaped, no person named unasked."""

import base64
import hashlib
import io
import re
from dataclasses import replace
from html import escape
from html.parser import HTMLParser
from importlib.metadata import version
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from testpour.advice.recommend import recommend
from testpour.causes.why_all import EveryAnswer
from testpour.exchange.data_link import to_csv
from testpour.logbook.castings import Castings
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.report.advised import advice, advised, rooms
from testpour.report.findings import believed, causes, poured
from testpour.report.page import findings_page, render
from testpour.study.study_file import study_from

CANARY = '<script>alert("x")</script><img src=x onerror=alert(1)>&\u202eevil\u202c'
STUDY = {
    "name": f"Knobs {CANARY}",
    "question": f"What is hard {CANARY}?",
    "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "cover": {}, "room_temperature": {}, "resin_lot": {}},
    "readings": {"gel_time": {}, "tack": {}},
    "aims": {"gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "24 h"}},
}
SECTIONS = ["The question", "Recommended settings", "Try settings yourself", "What was poured", "What the settings did",
            "Why castings came out poor", "What is still open",
            "Before you pour: cautions", "How this was computed", "Data and versions"]


def log_of(study, count=8):
    rng, rows, read = np.random.default_rng(5), [], []
    for i in range(count):
        name = f"P{i + 1:02d}" if i else f"=1+1 {CANARY}"
        room = 17.0 + 5 * (i % 2)
        rows.append({"pour": name, "session": f"S{i % 2 + 1} {CANARY}", "made_at": pd.Timestamp("2026-03-02"), "by": "Zacharias Q.",
                     "note": CANARY if i == 1 else "", "catalyst": (1.0, 1.8, 2.5)[i % 3], "cover": float(i % 4 > 0),
                     "room_temperature": room, "resin_lot": f"@A {CANARY}" if i < 4 else "B"})
        gel = 26 * (rows[-1]["catalyst"] / 1.5) ** -0.8 * np.exp(-0.06 * (room - 20) + 0.08 * rng.standard_normal())
        gel = gel // 2 * 2
        more = {"specimen": "", "by": "Zacharias Q.", "known": "between", "note": ""}
        read.append({"pour": name, "reading": "gel_time", "low": gel, "high": gel + 2, "age": np.nan, **more})
        tack = float(i % 4 == 0)
        read.append({"pour": name, "reading": "tack", "low": tack, "high": tack, "age": 24.0, **more})
    if read:
        read[0].update(high=np.inf, known="not yet")
    pours = ["pour", "session", "made_at", "by", "note", "catalyst", "cover", "room_temperature", "resin_lot"]
    reads = ["pour", "reading", "low", "high", "age", "specimen", "by", "known", "note"]
    return Castings(study, pd.DataFrame(rows, columns=pours).set_index("pour"), pd.DataFrame(read, columns=reads))


@pytest.fixture(scope="module")
def log():
    return log_of(study_from(STUDY))


@pytest.fixture(scope="module")
def fits(log):
    return fit_castings(log)


@pytest.fixture(scope="module")
def text(fits):
    return render(fits)


class Outline(HTMLParser):
    """Tags with attributes in order, headings with their text, and all text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.headings, self.words, self._in = [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if re.fullmatch("h[1-6]", tag):
            self._in = [int(tag[1]), ""]
            self.headings.append(self._in)

    def handle_endtag(self, tag):
        if re.fullmatch("h[1-6]", tag):
            self._in = None

    def handle_data(self, data):
        self.words.append(data)
        if self._in:
            self._in[1] += data


def files_in(text):
    """The tables a page carries, as text, by file name."""
    links = [attrs for tag, attrs in Outline(text).tags if tag == "a" and "download" in attrs]
    return {a["download"]: base64.b64decode(a["href"].split("base64,")[1]).decode("utf-8-sig") for a in links}


@pytest.mark.slow
def test_sections_stand_in_order_and_no_heading_level_is_skipped(text):
    headings = Outline(text).headings
    levels = [level for level, _ in headings]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert [words for level, words in headings if level == 2] == SECTIONS


def test_page_declares_its_language_and_every_figure_has_words(text):
    """WCAG 2.1, success criteria 3.1.1, 2.4.2 and 1.1.1."""
    outline = Outline(text)
    assert dict(outline.tags)["html"] == {"lang": "en"}
    pictures = [attrs for tag, attrs in outline.tags if tag == "img"]
    assert len(pictures) >= 5
    assert all(len(attrs["alt"]) > 30 for attrs in pictures)


def test_figures_are_described_by_the_computed_sentence(text, fits):
    said = {attrs["alt"] for tag, attrs in Outline(text).tags if tag == "img"}
    assert {effects(fit).sentence() for fit in fits.values()} <= said


def test_the_page_says_where_the_other_settings_are_held(text):
    """Usual catalyst, cover and room of the test's log lie among its pours."""
    said = " ".join(Outline(text).words)
    assert "The settings that do not move are held at catalyst 1.5 %, cover yes and room temperature 20 °C." in said
    assert "in the middle of what was poured where the usual was not" in said


def test_nothing_in_the_page_points_outside_it_or_runs(text):
    outline = Outline(text)
    addresses = [a[key] for _, a in outline.tags for key in ("src", "href", "srcset", "action") if key in a]
    assert addresses and all(address.startswith("data:") for address in addresses)
    assert not any(tag in ("iframe", "object", "embed", "link", "form", "base") for tag, _ in outline.tags)
    scripts = [attrs.get("type") for tag, attrs in outline.tags if tag == "script"]
    assert scripts == ["application/json", "application/json", None]  # two blocks of data, and the page's own script
    assert not any(name.startswith("on") for _, attrs in outline.tags for name in attrs)
    assert "url(" not in text and "@import" not in text
    policy = next(a["content"] for tag, a in outline.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in policy and "http" not in policy and "script-src 'unsafe" not in policy


def test_the_policy_lets_the_pages_own_script_run_and_no_other(text):
    """The hash of Content Security Policy Level 3, section 8.4: SHA-256 of what stands between the tags, base64."""
    script = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(script) == 1
    digest = base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'; " in text
    for word in ("fetch", "XMLHttpRequest", "WebSocket", "innerHTML", "eval(", "import(", "document.write", "localStorage"):
        assert word not in script[0]


def test_everything_typed_is_shown_and_nothing_of_it_is_markup(text):
    outline = Outline(text)
    assert CANARY not in text
    words = "".join(outline.words)
    places = ["Knobs ", "What is hard ", "=1+1 ", "S1 ", "@A "]  # name, question, pour, session, lot
    seen = CANARY.replace("\u202e", "[U+202E]").replace("\u202c", "[U+202C]")  # what would turn the order of words, written out
    assert all(place + seen in words for place in places)
    assert words.count(seen) > len(places)  # the note as well


def test_the_advice_is_the_recommendation_for_each_room_met(text, fits):
    assert rooms(fits) == [17.0, 22.0]
    for room in (17.0, 22.0):
        assert str(escape(recommend(fits, room=room).sentence(), quote=False)) in text


@pytest.mark.parametrize(("met", "advised"), [([9.6, 9.6, 18.0], [9.6, 18.0]), ([8.5, 10.5, 12.5], [8.5, 10.5, 12.5]), ([17.1, 17.4, 17.2], [17.2])])
def test_a_room_is_advised_on_as_it_was_met(fits, met, advised):
    """At 9.6 °C nothing is recommended, and 10 °C is another room."""
    pours = fits.castings.pours.head(3).assign(room_temperature=met)
    assert rooms(replace(fits, castings=replace(fits.castings, pours=pours))) == advised


def test_every_effect_poured_is_in_the_page_in_its_own_words(text, fits):
    words = "".join(Outline(text).words)
    for fit in fits.values():
        for effect in effects(fit).each:
            assert (effect.sentence() in words) == effect.poured


@pytest.fixture(scope="module")
def signed(fits):
    """A page with everything that may be asked for."""
    return render(fits, room="4 degC", by="Q. <b>Maker</b>")


@pytest.mark.slow
def test_no_person_is_named_unless_asked(text, signed):
    assert "Zacharias" not in text and not any("Zacharias" in file for file in files_in(text).values())
    assert "Q. &lt;b&gt;Maker&lt;/b&gt;" in signed and "Zacharias" not in signed


def test_the_data_come_back_as_logged(text, log):
    found = files_in(text)
    pours, readings = (pd.read_csv(io.StringIO(found[name])) for name in ("pours.csv", "readings.csv"))
    assert len(pours) == 8 and len(readings) == 16
    for name in ("catalyst", "cover", "room_temperature"):
        assert list(pours[name]) == list(log.pours[name])
    assert list(readings["low"]) == list(log.readings["low"])
    assert np.isnan(readings["high"][0]) and readings["known"][0] == "not yet"
    assert list(readings["high"][1:]) == list(log.readings["high"][1:])


STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@pytest.mark.parametrize("start", STARTS)
def test_no_cell_starts_a_formula(start):
    """The starts that the OWASP page "CSV Injection" names, wide forms included; from memory, not read."""
    table = pd.DataFrame({"note": [f"{start}cmd()", "plain"], "x": [-1.5, 2.0]}, index=pd.Index(["P1", f"{start}2"], name="pour"))
    back = pd.read_csv(io.StringIO(to_csv(table)), keep_default_na=False)
    assert list(back["note"]) == [f"'{start}cmd()".replace("\r", back["note"][0][1:2]), "plain"]
    assert not any(str(cell).startswith(STARTS) for cell in [*back["note"], *back["pour"]])
    assert list(back["x"]) == [-1.5, 2.0]


def test_the_fingerprint_is_that_of_the_data(text, log):
    assert log.fingerprint() in text
    assert log_of(log.study).fingerprint() == log.fingerprint()
    other = log.readings.copy()
    other.loc[3, "low"] -= 1
    assert replace(log, readings=other).fingerprint() != log.fingerprint()


def test_the_versions_are_those_that_ran(text):
    words = "".join(Outline(text).words)
    assert f"pandas {version('pandas')}" in words and f"scipy {version('scipy')}" in words


def test_beliefs_stand_behind_a_fold_with_their_sources(text):
    folded = text.split("<details>")[1].split("</details>")[0]
    assert "supplier data sheets" in folded and "common practice, no source" in folded


@pytest.mark.slow
def test_the_map_lies_at_the_settings_that_are_recommended(fits):
    """A map at other settings would tell of other chances than the advice above it."""
    given = advice(fits, None)
    cover = given[0][1].settings["cover"]
    said = advised(fits, given)["figure"]["says"]
    assert f"(with cover {'yes' if cover else 'no'})" in said
    other = [(given[0][0], replace(given[0][1], table=given[0][1].table.assign(cover=1.0 - cover)))]
    assert f"(with cover {'no' if cover else 'yes'})" in advised(fits, other)["figure"]["says"]


@pytest.mark.slow
def test_a_cold_room_is_told_why_nothing_is_advised(signed):
    text = signed
    assert "othing can be recommended for a room this cold" in text


@pytest.mark.slow
def test_the_same_fits_write_the_same_page_and_its_path_says_what_it_is(tmp_path, fits, text):
    page = findings_page(fits, tmp_path / "findings.html")
    with open(page, encoding="utf-8") as file:
        assert re.sub('<meta name="(generator|subject)" [^>]*>', "", file.read(), count=2) == text
    assert page.size == page.path.stat().st_size < 2_000_000
    assert "repeats 1 note word for word" in page.sentence()
    assert "<script>" not in page._repr_html_()


def test_a_folder_that_is_not_there_is_named(tmp_path, fits):
    with pytest.raises(FileNotFoundError, match="No folder .*nowhere to write page.html in. Make it"):
        findings_page(fits, tmp_path / "nowhere" / "page.html")


def test_beliefs_are_shown_with_three_digits(fits):
    numbers = [number for row in believed(fits) for number in row[2:4]]
    assert any("." in number for number in numbers)
    assert [number for number in numbers if len(re.sub(r"^-?0*\.?0*|\.", "", number)) > 3] == []


def test_what_was_never_written_down_is_not_said_to_be_the_same(log):
    blank = {"resin_lot": [np.nan] * 8, "cover": [np.nan] * 8}
    assert poured(replace(log, pours=log.pours.assign(**blank)))["same"] == []
    one = poured(replace(log, pours=log.pours.assign(**{**blank, "cover": 1.0, "resin_lot": ["B"] * 7 + [np.nan]})))
    assert one["same"] == ["cover yes"]
    assert one["heads"][:3] == ["catalyst", "room temperature", "resin lot"]
    assert [cells[2] for _, cells in one["rows"]] == ["B"] * 7 + [""]


@pytest.mark.slow
def test_a_study_without_aims_or_pours_still_has_a_page():
    bare = study_from({**STUDY, "aims": {}})
    text = render(fit_castings(log_of(bare)))
    assert "No aim was stated" in text and "This study states no aim" in text
    empty = render(fit_castings(log_of(study_from(STUDY), count=0)))
    assert "0 pours in 0 sessions" in empty and "is belief alone" in empty
    assert "No pour tells yet which way these settings work" in empty and "These pours" not in empty
    one = render(fit_castings(log_of(study_from(STUDY), count=1)))
    assert "<caption>The pours</caption>" in one and "The one casting looked at misses no aim." in one
    assert "the other pours put" not in one


def test_a_second_cause_with_a_chance_under_five_in_100_is_not_spoken_of(monkeypatch):
    fits = fit_castings(log_of(study_from(STUDY | {"aims": {"tack": {"at_most": 0, "age": "24 h"}}})))
    whole = EveryAnswer.table.fget
    monkeypatch.setattr(EveryAnswer, "table", property(lambda every: whole(every).assign(**{"its chance": 0.049, "next": "it was cursed"})))
    rows = causes(fits)["rows"]
    assert rows and {row[4:] for row in rows} == {("", "")}
    monkeypatch.setattr(EveryAnswer, "table", property(lambda every: whole(every).assign(**{"its chance": 0.051, "next": "it was cursed"})))
    assert {row[4:] for row in causes(fits)["rows"]} == {("it was cursed", "5")}


@pytest.mark.slow
@pytest.mark.parametrize("met", [True, False])
def test_a_page_speaks_of_a_room_where_the_study_has_a_thermometer_only(met):
    factors = {"catalyst": {"from": "1 %", "to": "2.5 %"}, "thickness": {"from": "5 mm", "to": "18 mm"}, **({"room_temperature": {}} if met else {})}
    log = log_of(study_from(STUDY | {"factors": factors}))
    page = render(fit_castings(replace(log, pours=log.pours.assign(thickness=[5.0, 9.0, 14.0, 18.0] * 2))))
    assert ("Catalyst by room temperature and thickness" in page, "and to a room as you have it." in page) == (met, met)
    assert ("<caption>Catalyst by thickness</caption>" in page) != met and "settings you could use" in page
