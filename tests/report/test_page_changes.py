"""A page that is written again says what changed, computed from what the earlier page carried."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.advice.recommend import Recommendation
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.report.advised import advice
from testpour.report.page import findings_page, render
from testpour.report.page_changes import changes, earlier_statements, statements
from testpour.report.page_log import NoLogInside, read_page, read_page_data
from testpour.study.study_file import study_from

STUDY = {
    "name": "Knobs", "question": "Which catalyst?",
    "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "room_temperature": {}},
    "readings": {"gel_time": {}}, "aims": {"gel_time": {"at_least": "20 min", "at_most": "40 min"}},
}


def log(pours=12, power=-0.8, name="Knobs"):
    rng, rows, read = np.random.default_rng(5), [], []
    for i in range(pours):
        catalyst = (1.0, 1.8, 2.5)[i % 3]
        rows.append({"session": f"S{i // 6}", "made_at": pd.Timestamp("2026-03-02"), "catalyst": catalyst, "room_temperature": 20.0, "by": "", "note": ""})
        gel = 28 * (catalyst / 1.5) ** power * np.exp(0.04 * rng.standard_normal())
        read.append({"entry": i + 1, "pour": f"P{i + 1:02d}", "reading": "gel_time", "low": gel, "high": gel, "age": np.nan, "specimen": "",
                     "by": "", "known": "exact", "note": ""})
    index = pd.Index([f"P{i + 1:02d}" for i in range(pours)], name="pour")
    return Castings(study_from({**STUDY, "name": name}), pd.DataFrame(rows, index=index), pd.DataFrame(read))


def told(castings):
    fits = fit_castings(castings)
    return statements(fits, [(room, one) for room, one in advice(fits) if isinstance(one, Recommendation)])


@pytest.fixture(scope="module")
def twelve():
    return told(log(12))


def lines(before, now, withdrawn=()):
    return list(changes(replace(log(1), withdrawn=frozenset(withdrawn)), before, now))


def test_pours_that_came_went_and_were_corrected_are_named(twelve):
    eight = told(log(8))
    assert lines(eight, twelve)[0] == "4 pours more, 12 now: P09, P10, P11 and P12."
    assert lines(twelve, eight, ["P09", "P10", "P11", "P12"])[0] == "4 pours withdrawn: P09, P10, P11 and P12."
    whole = log(12)
    readings = whole.readings.copy()
    readings.loc[2, ["low", "high"]] += 1
    assert lines(twelve, told(replace(whole, readings=readings)))[0] == "1 pour with new or corrected entries: P03."
    assert lines(twelve, twelve)[0] == "The pours and readings are the same."


def test_pours_that_an_older_copy_of_the_log_does_not_hold_are_not_called_withdrawn(twelve):
    said = lines(twelve, told(log(10)), ["P12"])
    assert said[:3] == [
        "1 pour withdrawn: P12.", "1 pour no longer in the log, though nobody withdrew it: P11.",
        "An older copy of the log may lie in its place: look for the newer one before you log anything more.",
    ]


@pytest.mark.slow
def test_aims_that_changed_are_told_and_so_is_the_advice_by_them(tmp_path):
    """Of the same log: what an earlier page said by other aims would else be put down to new pours."""
    castings = log(12)
    stricter = replace(castings, study=study_from({**STUDY, "aims": {"gel_time": {"at_least": "30 min", "at_most": "40 min"}}}))
    findings_page(fit_castings(castings), tmp_path / "page.html")
    assert earlier_statements(castings, tmp_path / "page.html") is None
    before = earlier_statements(stricter, tmp_path / "page.html")
    words = "Every casting is judged by the aims of today, which are not those of before (new: gel time 30 to 40 min; gone: gel time 20 to 40 min)."
    assert words in lines(before, told(stricter))
    assert not any("aims of today" in line for line in lines({name: what for name, what in before.items() if name != "aims"}, told(stricter)))


def test_a_setting_added_to_the_study_is_no_correction_of_its_pours(twelve):
    castings = log(12)
    more = study_from({**STUDY, "factors": {**STUDY["factors"], "cover": {}}})
    said = lines(twelve, told(replace(castings, study=more, pours=castings.pours.assign(cover=np.nan))))
    assert said[0] == "The study has other settings or readings than before (new: cover), so corrections are not compared."


def test_an_effect_that_moved_is_told_and_one_that_stands_is_not(twelve):
    assert "No effect of a setting came out clearly different from before." in lines(twelve, twelve)
    flat = told(log(12, power=-0.2))
    moved = next(line for line in lines(twelve, flat) if line.startswith("Catalyst on gel time: it was −"))
    first, second = (one["effects"]["gel_time"]["catalyst"]["middle"] for one in (twelve, flat))
    assert f"it was −{abs(first):.0f} %" in moved and f"it is −{abs(second):.0f} %" in moved


def test_a_chance_that_could_not_be_told_is_not_compared_as_a_number(twelve):
    """An early page carries no interval, and its number stands."""
    was = {name: value for name, value in twelve["advice"][0].items() if name not in ("low", "high")} | {"chance": 0.5}
    before, now = ({**twelve, "advice": [one]} for one in (was, {**was, "chance": 0.7, "low": 0.1, "high": 0.95}))
    assert "is anything from 10 to 95 in 100; the earlier page said about 50 in 100." in " ".join(lines(before, now))


@pytest.mark.parametrize("old, new, says", [
    ({"told": False}, {}, "now settled"), ({}, {"told": False}, "no longer settled"),
    ({"low": 10.0, "middle": 20.0, "high": 30.0}, {}, "turned round"), (None, {}, "first pours at different values"),
])
def test_every_way_an_effect_can_change_has_its_words(twelve, old, new, says):
    base = {"start": 1.0, "end": 2.5, "low": -30.0, "middle": -20.0, "high": -10.0, "told": True, "unit": " %"}
    before = {**twelve, "effects": {"gel_time": {} if old is None else {"catalyst": {**base, **old}}}}
    now = {**twelve, "effects": {"gel_time": {"catalyst": {**base, **new}}}}
    assert any(line.startswith(f"Catalyst on gel time: {says}") for line in lines(before, now))


def test_castings_in_a_hundred_are_whole_castings(twelve):
    effect = {"start": 1.0, "end": 2.5, "low": -0.003, "middle": 0.0003, "high": 7.6, "told": True, "unit": " in 100"}
    text = " ".join(lines({**twelve, "effects": {"gel_time": {}}}, {**twelve, "effects": {"gel_time": {"catalyst": effect}}}))
    assert "first pours at different values; 0 in 100 (90 % interval 0 to +8)." in text


def test_advice_that_changed_is_told_with_both_values(twelve):
    was = twelve["advice"][0]
    before = {**twelve, "advice": [{**was, "settings": {**was["settings"], "catalyst": 1.1}, "chance": was["chance"] - 0.2}]}
    text = " ".join(lines(before, twelve))
    assert "Recommended for a room at 20 °C: catalyst" in text and "instead of 1.1 %" in text
    assert "the earlier page said" in text
    assert "The advice for a room at 20 °C stands." in lines(twelve, twelve)
    assert "New advice for a room at 20 °C." in lines({**twelve, "advice": []}, twelve)
    assert "New advice for a room at 30 °C." in lines({**twelve, "advice": []}, {**twelve, "advice": [{**was, "room": "86 degF"}]})


@pytest.mark.slow
def test_a_page_written_over_the_last_one_says_what_changed_and_goes_on_saying_it(tmp_path):
    path = tmp_path / "findings.html"
    few, more = fit_castings(log(8)), fit_castings(log(12))
    findings_page(few, path)
    assert "What changed" not in path.read_text("utf-8")
    findings_page(more, path)
    text = path.read_text("utf-8")
    assert "4 pours more, 12 now" in text
    findings_page(more, path)
    assert path.read_text("utf-8") == text
    findings_page(more, path, since=False)
    assert re.sub(r'<meta name="(generator|subject)"[^>]*>', "", path.read_text("utf-8")) == render(more)
    assert read_page(path).fingerprint() == more.castings.fingerprint()


@pytest.mark.slow
def test_another_page_may_be_named_and_must_be_of_this_study(tmp_path):
    old, other = tmp_path / "old.html", tmp_path / "other.html"
    findings_page(fit_castings(log(8)), old)
    findings_page(fit_castings(log(8, name="Bowls")), other)
    assert earlier_statements(log(12), tmp_path / "new.html", old) == read_page_data(old)["said"]
    assert earlier_statements(log(12), tmp_path / "new.html") is None
    assert earlier_statements(log(12), other) is None
    with pytest.raises(NoLogInside, match="other.html is the page of another study, 'Bowls'.*compare_studies"):
        earlier_statements(log(12), tmp_path / "new.html", other)
    (tmp_path / "mine.html").write_text("<p>mine</p>", encoding="utf-8")
    assert earlier_statements(log(12), tmp_path / "mine.html") is None
    with pytest.raises(NoLogInside, match="carries no log"):
        earlier_statements(log(12), tmp_path / "new.html", tmp_path / "mine.html")
