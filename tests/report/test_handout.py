"""The handout and the wall sheet: every number is the fits' own, no person is named unasked, nothing is live."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from testpour.advice.batch import NextPours
from testpour.advice.recommend import recommend
from testpour.causes.whole_log import good_pours
from testpour.common.problems import Problem
from testpour.common.wording import in_hundred
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table
from testpour.report.advised import _worth
from testpour.report.sheet import _brief, _chance_moved, _strongest, handout
from testpour.report.wall import MOST, UNSAID, wall_summary
from testpour.study.caution_rules import Cautions, safety_text

pytestmark = pytest.mark.slow  # what they share takes seconds to make

HOSTILE = "</style><script>window.ran = 1</script>"


class Page(HTMLParser):
    """Every tag, and the cells of every table row."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.rows, self.words, self.inside = [], [], "", False
        self.feed(text)
        self.words = " ".join(self.words.split())

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.inside = True

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data):
        self.words += data
        if self.inside:
            self.rows[-1][-1] += data.strip()


@pytest.fixture(scope="module")
def fits(practice_fits):
    return practice_fits


@pytest.fixture(scope="module")
def page(fits, tmp_path_factory):
    sheet = handout(fits, tmp_path_factory.mktemp("handout") / "handout.html", room=["17 degC", 22], by="the class", date="1 May 2026")
    return Page(sheet.path.read_text("utf-8")), sheet.path.read_text("utf-8")


def renamed(castings, **columns):
    return replace(castings, pours=castings.pours.assign(**columns))


@pytest.mark.slow
def test_the_handout_says_what_the_fits_say(fits, page):
    shown, text = page
    for row, room in zip(shown.rows[1:], (17, 22), strict=True):
        given = recommend(fits, room=room)
        met = given.chance.table.iloc[0]
        assert row[0] == f"{room} °C"
        assert fits.study.factor("catalyst").show(given.table["catalyst"].iloc[0]) + " catalyst" in row[1]
        assert row[-1] == f"about {in_hundred(met['chance'])} ({in_hundred(met['low'])} to {in_hundred(met['high'])})"
    for said in (fits.study.question, "the class", "1 May 2026", fits.castings.fingerprint(), fits.castings.sentence()):
        assert said in shown.words
    assert safety_text("bench", html=True) in text


def test_its_bars_lie_where_the_chances_are(fits, page):
    bars = re.findall(r'<i style="left:([\d.]+)%;width:([\d.]+)%"></i><b style="left:([\d.]+)%">', page[1])
    for (low, width, middle), room in zip(bars, (17, 22), strict=True):
        met = 100 * recommend(fits, room=room).chance.table.iloc[0][["low", "chance", "high"]].to_numpy(float)
        assert [float(low), float(middle), float(low) + float(width)] == pytest.approx(met, abs=0.11)


def surely_moved(fit, aim, settings):
    """How far the chance of an aim moves over some settings in all but a twentieth of the draws."""
    table = settings_table(fit.study, settings)
    met = fit.chances(table if aim.age is None else table.assign(age=aim.age), aim.at_least, aim.at_most)
    return np.percentile(met.max(axis=1) - met.min(axis=1), 5)


def test_three_findings_are_what_moves_the_chance_of_an_aim_most(fits):
    """Against the chance of each aim at both ends and three settings between, for each settled effect: what 95 draws of 100 surpass."""
    moves = {}
    for aim in fits.study.aims:
        for effect in effects(fits[aim.reading]).each:
            if effect.direction_known and effect.poured:
                values = np.linspace(effect.start, effect.end, 2 if effect.factor.kind == "yes/no" else 5)
                moves[effect.sentence()] = (aim.reading, surely_moved(fits[aim.reading], aim, [{effect.factor.name: value} for value in values]))
    found = _strongest(fits)
    assert len({moves[said][0] for said in found}) == 3
    best = [max(move for name, move in moves.values() if name == aim.reading) for aim in fits.study.aims]
    assert [moves[said][1] for said in found] == pytest.approx(sorted(best, reverse=True)[:3])


def test_an_effect_moves_the_chance_of_its_aim_where_it_is_told(plain_fits):
    thick = replace(plain_fits["peak_temperature"], rows=plain_fits["peak_temperature"].rows.assign(thickness=14.0))
    aim = next(aim for aim in plain_fits.study.aims if aim.reading == "peak_temperature")
    effect = next(e for e in effects(thick).each if e.factor.name == "catalyst")
    doses = np.linspace(effect.start, effect.end, 5)
    moved, thin = (surely_moved(plain_fits["peak_temperature"], aim, [{"catalyst": float(dose), "thickness": depth} for dose in doses]) for depth in (14, 10))
    assert _chance_moved(thick, [aim], effect) == pytest.approx(moved, abs=1e-9) and abs(moved - thin) > 1e-6


@pytest.mark.slow
def test_where_nothing_is_settled_it_says_so(practice_castings, tmp_path):
    alike = practice_castings.pours.iloc[:2].assign(catalyst=1.5, pigment=1.0, thickness=10.0, cover=1.0, room_temperature=20.0)
    read = practice_castings.readings[practice_castings.readings["pour"].isin(alike.index)]
    few = fit_castings(replace(practice_castings, pours=alike, readings=read))
    assert _strongest(few) == []
    assert "Nothing is settled yet" in handout(few, tmp_path / "handout.html").path.read_text("utf-8")


def aimed(fits, **bounds):
    """The fits of a study whose aims are replaced."""
    return replace(fits, study=replace(fits.study, aims=tuple(replace(aim, **bounds.get(aim.reading, {})) for aim in fits.study.aims)))


def test_aims_that_cannot_be_met_are_said_beside_what_to_pour(fits, tmp_path):
    """No polyester reaches 99 Shore D: the sheets say so as `recommend` does, and no chance runs from under 1 to under 1."""
    hopeless = aimed(fits, hardness={"at_least": 99.0})
    conflict = recommend(hopeless, room=20).conflict.sentence(beside_best=True)
    assert conflict.startswith("No settings of this study are likely to meet hardness at least 99 Shore D")
    for sheet in (handout(hopeless, tmp_path / "h.html", room=20), wall_summary(hopeless, tmp_path / "w.html", room=20, bench="session")):
        shown = Page(sheet.path.read_text("utf-8"))
        assert f"20 °C. {conflict}" in shown.words and "ask why" in conflict and "`" not in shown.words and "under 1 to under 1" not in shown.words
        assert "under 1" in [row[-1] for row in shown.rows]


def test_pours_are_named_and_warned_of_only_where_they_stand_on_the_sheet(fits):
    """A gain of 1 point: no pours are listed, so none is warned of; of 5 points: each is listed under its name."""
    table = pd.DataFrame({"gain": [0.01], "catalyst": [0.5]}, index=["P14"])
    given = NextPours(fits.study, table, None, 0.9, ("catalyst",), "learn fast", Cautions((), ("P14: Catalyst 0.5 % is below 1 %.",)))
    assert _worth(given).endswith("more of the same adds little now.") and "P14" not in _worth(given)
    more = _worth(replace(given, table=table.assign(gain=0.05)))
    assert more.endswith("Pour P14 with 0.5 % catalyst. P14: Catalyst 0.5 % is below 1 %.")


@pytest.mark.slow
def test_a_room_that_cannot_be_advised_on_is_said_in_its_row(fits, tmp_path):
    shown = Page(handout(fits, tmp_path / "h.html", room=[4, 20]).path.read_text("utf-8"))
    assert "cold" in shown.rows[1][1] and "catalyst" in shown.rows[2][1]


def test_without_an_aim_nothing_is_recommended(fits, tmp_path):
    aimless = replace(fits, study=replace(fits.study, aims=()))
    text = Page(handout(aimless, tmp_path / "h.html").path.read_text("utf-8")).words
    assert "nothing is called good or bad" in text and "states no aim" in text


@pytest.mark.slow
def test_nobody_is_named_unless_asked(fits, tmp_path):
    named = replace(fits, castings=renamed(fits.castings, by="Zacharias Q.", note="said Zacharias Q."))
    text = handout(named, tmp_path / "h.html").path.read_text("utf-8")
    wall = wall_summary(named, tmp_path / "w.html")
    assert "Zacharias" not in text + wall.path.read_text("utf-8") and "By " not in Page(text).words
    asked = wall_summary(named, tmp_path / "w.html", names=True)
    assert "Zacharias" in asked.path.read_text("utf-8") and "ask before it goes on the wall" in asked.sentence()
    assert "ask before" not in wall.sentence()


@pytest.mark.slow
def test_each_bench_has_its_pours_readings_and_good_castings(fits, tmp_path):
    """Counted by hand from the tables; a pour nobody read is not counted as good."""
    of, pours = np.array(["KM", "", "AB"] * 4), fits.castings.pours.index
    kept = fits.castings.readings[fits.castings.readings["pour"] != pours[0]]
    log = replace(fits.castings, pours=fits.castings.pours.assign(by=of), readings=kept)
    shown = Page(wall_summary(replace(fits, castings=log), tmp_path / "wall.html").path.read_text("utf-8"))
    rows = {row[0]: row[1:] for row in shown.rows[1:4]}
    assert list(rows) == ["Bench 1", UNSAID, "Bench 3"]
    for name, initials, read in zip(rows, ("KM", "", "AB"), (3, 4, 4), strict=True):
        mine = pours[of == initials]
        good, catalyst = set(good_pours(log)) & set(mine), log.pours.loc[mine, "catalyst"]
        assert rows[name][:3] == ["4", str(kept["pour"].isin(mine).sum()), f"{len(good)} of {read}"]
        assert rows[name][3] == f"{catalyst.min():.3g} to {fits.study.factor('catalyst').show(catalyst.max())}"
    assert "3 benches:" in shown.words


def test_the_map_on_the_wall_is_drawn_at_the_settings_advised_beside_it(fits, tmp_path):
    """At the usual settings it told a class of chances at what nobody was to pour."""
    text = wall_summary(fits, tmp_path / "wall.html", bench="session", room=17).path.read_text("utf-8")
    given, says = recommend(fits, room=17), re.search('alt="([^"]*)"', text).group(1)
    beside = [fits.study.factor(name) for name in given.free if name != "catalyst"]
    assert any(given.settings[f.name] != f.usual for f in beside)
    assert all(f"{f.words} {f.show(given.settings[f.name])}" in says for f in beside)


@pytest.mark.slow
def test_many_benches_of_any_column_share_the_last_line(fits, tmp_path):
    many = pd.concat([fits.castings.pours] * 2).set_axis(pd.Index([f"Q{i}" for i in range(24)], name="pour"))
    wide = replace(fits, castings=replace(fits.castings, pours=many.assign(resin_lot=[f"drum {i}" for i in range(24)])))
    text = wall_summary(wide, tmp_path / "w.html", bench="resin_lot").path.read_text("utf-8")
    rows = Page(text).rows[1 : MOST + 1]
    assert rows[-1][:2] == ["9 more", "9"] and rows[-2][0] == f"Bench {MOST - 1}" and "drum" not in text
    assert sum(int(row[1]) for row in rows) == 24


@pytest.mark.slow
@pytest.mark.parametrize("make", [handout, wall_summary])
def test_nothing_typed_is_live_and_the_file_stands_alone(fits, tmp_path, make):
    log = renamed(fits.castings, by=HOSTILE)
    evil = replace(fits, castings=log, study=replace(fits.study, name=HOSTILE, question=HOSTILE, resin={"kind": HOSTILE}))
    more = {"by": HOSTILE} if make is handout else {"names": True}
    text = make(evil, tmp_path / "x.html", date=HOSTILE, **more).path.read_text("utf-8")
    tags = Page(text).tags
    assert not {"script", "iframe", "link", "svg"} & set(tags) and text.count("default-src 'none'") == 1
    assert not re.search(r"(src|href)=\"(?!data:)|@import|url\(", text)


def test_what_cannot_be_is_refused(fits, tmp_path):
    with pytest.raises(Problem, match="A4 or Letter"):
        handout(fits, tmp_path / "h.html", paper="A5")
    with pytest.raises(FileNotFoundError, match="No folder"):
        handout(fits, tmp_path / "no" / "h.html")
    with pytest.raises(Problem, match="advice for 4 room temperatures, not 5"):
        handout(fits, tmp_path / "h.html", room=[16, 17, 18, 19, 20])
    with pytest.raises(Problem, match="advice for 2 room temperatures, not 3"):
        wall_summary(fits, tmp_path / "w.html", bench="session", room=[16, 17, 18])
    with pytest.raises(Problem, match="has no column 'bench'"):
        wall_summary(fits, tmp_path / "w.html", bench="bench")
    blank = replace(fits, castings=renamed(fits.castings, by=" "))
    with pytest.raises(Problem, match="No pour says in 'by' which bench"):
        wall_summary(blank, tmp_path / "w.html")


@pytest.mark.slow
def test_before_the_first_pour_the_wall_sheet_says_so(log, tmp_path):
    """The usual room is 20 °C. Beliefs alone leave the chance open."""
    none = fit_castings(log.castings())
    for page in (wall_summary(none, tmp_path / "w.html"), handout(none, tmp_path / "h.html")):
        shown = Page(page.path.read_text("utf-8"))
        assert "The log is empty: no pour has been logged yet." in shown.words
        for untrue in ("Rests on", "0 pours", "0 bench", "What each bench poured"):
            assert untrue not in shown.words
        row = next(row for row in shown.rows if row[0].startswith("20"))
        assert row[0] == "20 °C (usual)" and row[-1].startswith("cannot tell yet (")


@pytest.mark.parametrize(
    "unsettled, says",
    [
        ({}, ""),
        ({"tack": ["cover"]}, "what cover does to tack"),
        ({"tack": ["cover", "pigment"], "gel time": ["pigment", "cover", "room"]}, "what cover and pigment do to any reading; what room does to gel time"),
        ({f"reading {k}": ["W" * 70, "cover"][k % 2 :] for k in range(9)}, "14 effects of 2 settings on 9 readings, which 12 pours cannot settle"),
    ],
)
def test_what_is_open_is_said_in_few_words(unsettled, says):
    said = _brief(unsettled, max(len(unsettled), 1), 12)
    assert said.startswith(says) and bool(said) == bool(unsettled)
    assert len(said) <= 150
    assert ("as nothing was poured yet" in _brief(unsettled, max(len(unsettled), 1), 0)) == ("12 pours" in said)
