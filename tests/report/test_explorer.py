"""What the sliders are given: packed numbers, stops worth setting, terms looked up at every stop."""

import base64
import re
from dataclasses import replace
from urllib.parse import unquote_to_bytes

import numpy as np
import pandas as pd
import pytest

from testpour.exchange.data_link import image_link
from testpour.likelihood.weights import normal_scores
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.models.terms import design
from testpour.report import explorer as module
from testpour.report.explorer import _aim, _packed, _stops_of, explorer
from testpour.study.catalogue import catalogue
from testpour.study.columns import Factor
from testpour.study.study import Aim
from testpour.study.study_file import study_from

STUDY = {
    "name": "Knobs", "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "room_temperature": {}, "thickness": {}, "cover": {},
                                 "post_cure_temperature": {}, "post_cure_time": {}, "stirring": {"from": 0, "to": 8, "unit": "min"}},
    "readings": {"gel_time": {}, "tack": {}}, "aims": {"gel_time": {"at_least": "15 min"}, "tack": {"at_most": 1, "age": "24 h"}},
}
FACTORS = catalogue()["factors"]


@pytest.fixture(scope="module")
def fits():
    pours = pd.DataFrame({
        "session": ["S1"] * 3 + ["S2"] * 3, "made_at": pd.Timestamp("2026-03-02"), "catalyst": [1.0, 1.8, 2.8, 1.0, 1.8, 2.5],
        "room_temperature": [17.3] * 3 + [22.0] * 3, "thickness": 10.0, "cover": [0.0, 1.0] * 3, "post_cure_temperature": 20.0,
        "post_cure_time": 0.0, "stirring": [1.0, 2.0] * 3, "by": "", "note": "",
    }, index=pd.Index([f"P{i}" for i in range(6)], name="pour"))
    gel = np.array([40.0, 28, 20, 30, 21, 16])
    readings = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": gel, "high": gel, "age": np.nan, "specimen": "", "by": "",
                             "known": "exact", "note": ""})
    tack = readings.assign(reading="tack", low=[2.0, 0, 0, 2, 1, 0], high=[2.0, 0, 0, 2, 1, 0], age=24.0)
    return fit_castings(Castings(study_from(STUDY), pours, pd.concat([readings, tack], ignore_index=True)))


def unpacked(held):
    """The columns again, as the page reads them: shape (rows, columns)."""
    counted = np.frombuffer(base64.b64decode(held["data"]), "<u2").reshape(len(held["low"]), -1).T
    return np.array(held["low"]) + counted * np.array(held["step"])


def test_packed_numbers_come_back_to_half_a_step():
    columns = np.c_[np.random.default_rng(1).normal(50, 8, 2000), np.full(2000, -3.25), np.linspace(-1e-4, 1e-4, 2000)]
    found = unpacked(_packed(columns))
    assert found.shape == columns.shape
    assert np.all(np.abs(found - columns) <= np.ptp(columns, axis=0) / 65535 / 2 * 1.0001 + 1e-15)
    assert np.all(found[:, 1] == -3.25)


@pytest.mark.parametrize("factor, poured, first, last, number", [
    (FACTORS["catalyst"], [1.2, 2.8], 1.0, 2.8, 19),  # span 1 to 2.5 % widened to 2.8, by 0.1
    (FACTORS["room_temperature"], [17.3], 15.0, 26.0, 23),  # by 0.5 °C
    (FACTORS["cover"], [1.0], 0.0, 1.0, 2),
    (FACTORS["post_cure_time"], [0.0, 0.0], 0.0, 0.0, 1),  # no span, never varied
    (FACTORS["post_cure_time"], [0.0, 2.0], 0.0, 2.0, 5),
    (Factor("own", low=0.0, high=9.0, usual=1.0, span=(0.0, 8.0)), [], 0.0, 8.0, 51),  # no step: fiftieths
])
def test_sliders_stop_where_the_bench_can_set(factor, poured, first, last, number):
    stops = _stops_of(factor, pd.Series(poured, dtype=float))
    assert (stops[0], stops[-1], len(stops)) == pytest.approx((first, last, number))


def test_every_term_of_every_reading_is_in_its_table_at_every_stop(fits):
    held = explorer(fits)
    stops = {f["name"]: np.array(f["stops"]) for f in held["factors"]}
    rng = np.random.default_rng(2)
    for reading in held["readings"]:
        fit = fits[reading["name"]]
        for _ in range(20):
            at = {name: int(rng.integers(len(values))) for name, values in stops.items()}
            row = pd.DataFrame([{name: values[at[name]] for name, values in stops.items()}]).assign(age=reading["age"] or 24.0)
            for term, table in zip(fit.believed.terms, reading["terms"], strict=True):
                cell = 0
                for name in table["factors"]:
                    cell = cell * len(stops[name]) + at[name]
                values = unpacked(table["values"])[:, 0]
                assert values[cell] == pytest.approx(design([term], row)[0, 0], abs=1e-4 * max(np.ptp(values), 1e-9))


def test_the_page_is_given_what_the_gauge_reads_as_the_bound(fits):
    """Whole Shore D: 70 is read from 69.5 on."""
    aim = _aim(fits.study, catalogue()["readings"]["hardness"], Aim("hardness", at_least=70.0, age=24.0))
    assert (aim["at_least"], aim["at_most"]) == (69.5, None) and "at least 70 Shore D" in aim["words"]


def test_the_page_narrows_only_what_rests_on_beliefs_of_the_trade(fits):
    mine, aims = replace(fits["tack"].reading, name="gloss"), (Aim("gel_time", at_least=15.0), Aim("gloss", at_most=1.0))
    study = replace(fits.study, readings=(fits["gel_time"].reading, mine), aims=aims)
    page = explorer(replace(fits, study=study, models={"gel_time": fits["gel_time"], "gloss": replace(fits["tack"], reading=mine)}))
    assert {one["name"]: one["narrowed"] for one in page["readings"]} == {"gel_time": 0.75, "gloss": 1.0}


def test_the_scores_are_those_of_new_castings(fits):
    """exp(mean + scatter * score) of every draw is what `new_castings` gives for a time."""
    fit = fits["gel_time"]
    table = pd.DataFrame([{"catalyst": 1.5, "room_temperature": 20.0, "thickness": 10.0, "cover": 1.0, "stirring": 2.0}])
    by_hand = np.exp(fit.mean(table)[:, 0] + fit.scatter() * normal_scores(len(fit.posterior)))
    assert by_hand == pytest.approx(fit.new_castings(table)[:, 0])


def test_what_a_page_cannot_carry_it_says_in_words(fits, monkeypatch):
    monkeypatch.setattr(module, "MOST_CELLS", 20)
    held = {one["name"]: one for one in explorer(fits)["readings"]}
    assert "too many settings at once" in held["gel_time"]["left"] and "coefficients" not in held["gel_time"]


def test_a_reading_that_was_never_read_is_not_called_unpoured(fits):
    """Six castings were poured, and their tack was not looked at."""
    castings = replace(fits.castings, readings=fits.castings.readings[fits.castings.readings["reading"] == "gel_time"])
    unread = {one["name"]: one["unread"] for one in explorer(fit_castings(castings, remainder=False))["readings"]}
    assert unread == {"gel_time": "", "tack": "no tack was read yet"}


def test_a_drawing_is_rounded_by_less_than_a_hundredth_of_a_point_and_glyphs_not_at_all():
    svg = b'<path d="M 37.225249 -341.817678 L 0.015625 4.5"/>\n   <use transform="translate(95.40625 0) scale(0.015625)" style="fill: #123456"/>'
    slim = unquote_to_bytes(image_link(svg).split(",", 1)[1])
    before, after = (np.array([float(n) for n in re.findall(rb"-?\d+\.\d+", text)]) for text in (svg, slim))
    assert len(slim) < len(svg) and np.abs(before - after).max() < 0.01
    assert b"scale(0.015625)" in slim and b'"' not in slim and b"#123456" in slim
