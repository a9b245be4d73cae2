"""Published cures of polyester: no surprise before any pour, and predicted once a few points of a table are logged.

The tables and where they come from: tests/reference/README.md.
"""

from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from testpour.models.beliefs import trade_beliefs
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table
from testpour.study.study_file import study_from

REFERENCE = Path(__file__).parents[1] / "reference"
GEL = pd.read_csv(REFERENCE / "published_gel.csv", comment="#")
CUPS = pd.read_csv(REFERENCE / "published_cups.csv", comment="#")
CHART = "gel_coat_chart"
SMALL = study_from({"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"gel_time": {}}})
WHOLE = study_from({
    "factors": {name: {} for name in ("catalyst", "pigment", "thickness", "cover", "room_temperature")},
    "readings": {name: {} for name in ("gel_time", "time_to_peak", "demould_time", "peak_temperature", "hardness", "tack")},
})
# A cup of 100 g loses heat as a slab of 16 to 25 mm does: volume over surface, arithmetic on 5 cm by 4.5 cm of resin.
CUP = 20.0
USUAL = {"catalyst": 1.5, "thickness": 10, "cover": "yes", "pigment": 0.5}


@pytest.fixture(scope="module")
def nothing(castings_of):
    """The castings of a log without a reading."""
    none = pd.DataFrame({"pour": ["A"], "reading": ["none"], "low": [1.0], "high": [1.0]}).iloc[:0]
    return castings_of(WHOLE, pd.DataFrame({"catalyst": [1.5]}, index=["A"]), none)


@pytest.fixture(scope="module")
def unread(nothing):
    """The models before any pour."""
    return fit_castings(nothing)


def middles(table):
    """Middles of printed ranges, halfway in proportion."""
    return np.sqrt(table["low"].to_numpy(float) * table["high"].to_numpy(float))


@pytest.mark.parametrize("row", list(GEL.itertuples()), ids=lambda row: f"{row.table}-{row.catalyst}-{row.celsius}")
def test_a_published_gel_time_lies_inside_the_beliefs(unread, row):
    """All of a printed range inside the 95 % interval; the chart that does not say what it times, inside 99 %."""
    level = 0.99 if row.table == CHART else 0.95
    seen = unread["gel_time"].predict({"catalyst": row.catalyst}, room=row.celsius, level=level).iloc[0]
    assert seen["low"] < row.low and row.high < seen["high"]


@pytest.mark.parametrize("row", list(CUPS.itertuples()), ids=lambda row: f"{row.resin}-{row.reading}")
def test_a_published_cup_lies_inside_the_beliefs(unread, row):
    """Inside the 95 % interval; an unstated dose is taken as 1.5 %, an unstated room as 20 °C."""
    dose, room = (usual if np.isnan(said) else said for said, usual in ((row.catalyst, 1.5), (row.celsius, 20.0)))
    seen = unread[row.reading].predict({"catalyst": dose, "thickness": CUP}, room=room, level=0.95).iloc[0]
    assert seen["low"] < row.low and row.high < seen["high"]


def logged_and_left(table):
    """Every way to log three points of a table, or all but one of a smaller, and the points left."""
    count = min(3, len(table) - 1)
    for some in combinations(range(len(table)), count):
        yield table.iloc[list(some)], table.drop(table.index[list(some)])


@pytest.fixture(scope="module")
def told(castings_of):
    """For each table, whether each point left lay in its 90 % interval, over every way to log the others."""
    found = {}
    for name, table in GEL.rename(columns={"celsius": "room_temperature"}).groupby("table"):
        found[name] = []
        for some, rest in logged_and_left(table):
            names = [f"P{i}" for i in range(len(some))]
            read = some[["low", "high"]].assign(pour=names, reading="gel_time")
            fit = fit_castings(castings_of(SMALL, some[["catalyst", "room_temperature"]].set_axis(names), read))
            seen = fit["gel_time"].predict(rest[["catalyst", "room_temperature"]])
            found[name] += list((seen["low"] < middles(rest)) & (middles(rest) < seen["high"]))
    return found


@pytest.mark.slow
def test_after_a_few_points_the_rest_of_a_table_is_predicted(told):
    """Four tables of gel times, eleven points left in turn: nine in ten or more inside their 90 % intervals."""
    hits = [hit for name, hits in told.items() if name != CHART for hit in hits]
    assert len(hits) == 11 and np.mean(hits) >= 0.9


def test_a_chart_of_something_else_is_not_passed_off_as_a_gel_time(told):
    """The gel coat chart's times go with catalyst to the power -2.6 and 146 kJ/mol (least squares), as no gel time
    read elsewhere does: after three of its points about half of the rest are predicted. A known limit, on record."""
    assert len(told[CHART]) == 60 and 0.4 < np.mean(told[CHART]) < 0.9


def test_the_label_keeps_tack_about_even_as_the_beliefs_have_it():
    """Dose falls from 15 drops at 3 mm to 4 at 32 on the label; were tack the reason, the believed tack should be
    about the same all along: its drift is less than its own spread."""
    label = np.log(pd.read_csv(REFERENCE / "published_dose.csv", comment="#"))
    assert np.polyfit(label["millimetres"], label["drops"], 1)[0] == pytest.approx(-0.55, abs=0.02)
    depth, dose = (label[name].iloc[-1] - label[name].iloc[0] for name in ("millimetres", "drops"))
    tack = trade_beliefs()["tack"]
    drift = tack["catalyst"]["mean"] * dose + tack["thickness"]["mean"] * depth
    assert abs(drift) < np.hypot(tack["catalyst"]["sd"] * dose, tack["thickness"]["sd"] * depth)


# One casting of each of 4,000 makes drawn from the beliefs, at the usual settings (1.5 %, 10 mm, 20 °C, covered, one
# day): what its 1st to 99th percentiles must cover, and what they must not pass.
COVERED = {
    # Sixteen resins brought to 1.5 % and 20 °C with the textbook exponent and energy: 8 to 60 min, the class; a resin
    # that gels within a minute leaves no time to pour, one that takes a day is no pour of a workshop: common practice.
    "gel_time": ((8, 60), (1, 1440)),
    # Four resins in cups brought to the same: 23 to 93 min; a computed slab of 12 mm: 178. Two days is absurd.
    "time_to_peak": ((23, 178), (2, 2880)),
    # Casting guides: a couple of hours on a hot day to 24 h; two weeks is absurd.
    "demould_time": ((120, 1440), (10, 20160)),
    # Computed slabs of 12 mm lose heat through 20 to 5 W/(m2 K): 30 to 155 degC. Room plus 350 kJ/kg over
    # 1.7 kJ/(kg K) is 226 degC, a ceiling that nothing passes: textbook heat of cure.
    "peak_temperature": ((30, 155), (20, 226)),
    # 80 to 90 Shore D cured, less at one day: from memory, not read. Rubber (below 15) is no casting resin.
    "hardness": ((60, 90), (15, 100)),
}


@pytest.fixture(scope="module")
def makes(nothing):
    """One casting of each of 4,000 makes at the usual settings: reading to values."""
    drawn = {}
    for seed in (0, 1):
        for name, fit in fit_castings(nothing, seed=seed).items():
            table = settings_table(WHOLE, USUAL, room=20, age=24, reading=fit.reading)
            drawn.setdefault(name, []).append(fit.new_castings(table)[:, 0])
    return {name: np.concatenate(parts) for name, parts in drawn.items()}


@pytest.mark.parametrize("name", COVERED)
def test_makes_drawn_from_the_beliefs_span_the_published_class_and_nothing_absurd(makes, name):
    (low, high), (floor, ceiling) = COVERED[name]
    assert len(makes[name]) == 4000
    first, last = np.quantile(makes[name], [0.01, 0.99])
    assert floor < first < low and high < last < ceiling


def test_tack_drawn_from_the_beliefs_is_mostly_dry_and_no_grade_is_ruled_out(makes):
    """Dry or nearly so next day at the usual settings: common practice, no source. Wet after 24 h, one user's report:
    rare, not ruled out."""
    shares = np.array([np.mean(makes["tack"] == grade) for grade in range(4)])
    assert shares.argmax() == 0 and shares[:2].sum() > 0.6
    assert shares[2:].sum() > 0.03 and shares[3] > 0.001


@pytest.mark.parametrize("reading, term", [(r, t) for r in ("tack", "hardness") for t in ("catalyst", "warmth", "cover")])
def test_a_make_that_does_the_opposite_is_believed_possible(reading, term):
    """One in twenty to two in five: a gel coat left open hardened and sanded in a few days, another waxed and at 21 °C
    was tacky on day three (two forums of boat owners), and no source says how large any of these effects is."""
    belief = trade_beliefs()[reading][term]
    against = norm.cdf(-abs(belief["mean"]) / belief["sd"])
    assert 0.05 < against < 0.4
    assert np.sign(belief["mean"]) == {"tack": -1, "hardness": 1}[reading]
