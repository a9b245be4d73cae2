"""What the beliefs leave over: its columns, its size and what the rows tell of it, worked out by hand."""

import numpy as np
import pandas as pd
import pytest

from testpour.likelihood.posterior import Posterior
from testpour.models.beliefs import Belief, ReadingBeliefs, beliefs_for
from testpour.models.reading_fit import fit_rows
from testpour.models.remainder import (
    coordinates_of,
    learnable_directions,
    projected_on_expected,
    remainder_scale,
    remainder_terms,
    with_expected_remainder,
    with_remainder_drawn,
)
from testpour.models.terms import TERMS
from testpour.study.study_file import study_from

STUDY = study_from({
    "factors": {"catalyst": {"from": "1 %", "to": "4 %"}, "pigment": {"from": "0 %", "to": "4 %"}, "cover": {}, "room_temperature": {}},
    "readings": {"gel_time": {}, "tack": {}},
})
BELIEVED = ReadingBeliefs(
    (TERMS["level"], TERMS["catalyst"], TERMS["pigment"]), (Belief(3.2, 0.7), Belief(-0.75, 0.5), Belief(0.0, 0.02)),
    {"reading": 0.1, "session": 0.1},
)


def columns(reading="gel_time", **settings):
    """Every column of a reading's remainder, by name, at the given settings."""
    terms = remainder_terms(STUDY, beliefs_for(STUDY, STUDY.reading(reading)))
    table = pd.DataFrame({"catalyst": 2.0, "pigment": 2.0, "cover": 0.0, "room_temperature": 21.0, **settings})
    return {term.name: list(np.round(np.asarray(term.column(table), float), 9)) for term in terms}


def test_catalyst_runs_by_ratios_and_pigment_by_differences():
    """2 % is midway from 1 to 4 % by ratio, 2 % pigment midway from 0 to 4 by difference; a bend averages to 0 over the span."""
    found = columns(catalyst=[1.0, 2.0, 4.0])
    assert found["Line catalyst"] == [-1.0, 0.0, 1.0]
    assert found["Bend catalyst"] == [1.0, -0.5, 1.0]
    found = columns(pigment=[0.0, 2.0, 3.0, 4.0])
    assert found["Line pigment"] == [-1.0, 0.0, 0.5, 1.0]
    assert found["Bend pigment"] == [1.0, -0.5, -0.125, 1.0]


def test_a_pair_is_a_product_and_a_yes_or_no_has_no_bend():
    """4 % catalyst is 1, 3 % pigment is 0.5 and no cover -1; a pair's products are 0.7 of that."""
    found = columns("tack", catalyst=[4.0], pigment=[3.0], cover=[0.0])
    assert found["Pair catalyst pigment"] == [0.35]
    assert found["Pair catalyst cover"] == [-0.7]
    assert found["Line cover"] == [-1.0] and "Bend cover" not in found


def test_outside_the_span_the_remainder_goes_on_for_a_quarter_of_it_and_then_stays():
    """Rooms lie between 12 and 30 °C: 33 °C is 4/3 half spans from the middle, 34.5 °C is 1.5, and so are 40 and 0 °C."""
    assert columns(room_temperature=[33.0, 34.5, 40.0, 0.0])["Line room_temperature"] == pytest.approx([4 / 3, 1.5, 1.5, -1.5])


def test_heat_and_time_of_a_post_cure_are_one_setting_for_what_the_beliefs_leave_over():
    """No heat or no time is no post-cure, -1; 45 °C for the longest 4 h is midway from 20 to 70 °C; the stay counts by 1 - exp(-t / 2 h)."""
    study = study_from({
        "factors": {"post_cure_temperature": {"from": "20 degC", "to": "70 degC"}, "post_cure_time": {"from": "0 h", "to": "4 h"}},
        "readings": {"hardness": {"unit": "Barcol"}, "tack": {}},
    })
    asked = pd.DataFrame({"post_cure_temperature": [20.0, 20, 70, 70, 45, 70], "post_cure_time": [0.0, 4, 0, 4, 4, 1]})
    for name in ("hardness", "tack"):
        believed = beliefs_for(study, study.reading(name))
        terms = remainder_terms(study, believed)
        assert [(term.name, term.factors) for term in terms] == [
            (f"{shape} post_cure_temperature", ("post_cure_temperature", "post_cure_time")) for shape in ("Line", "Bend")
        ]
        an_hour = 2 * (1 - np.exp(-0.5)) / (1 - np.exp(-2)) - 1
        assert terms[0].column(asked) == pytest.approx([-1, -1, -1, 1, 0, an_hour])
        sd = {"hardness": 0.25, "tack": 0.8}[name]
        assert remainder_scale(terms, believed) == pytest.approx(0.6 * sd * 5 * (1 - np.exp(-2)) / 2)


def test_the_size_is_that_of_what_the_beliefs_leave_open_from_the_middle_to_an_end():
    """Catalyst: 0.5 ln(4) / 2; pigment: 0.02 x 4 / 2; six tenths of their root mean square. The level has no span."""
    terms = remainder_terms(STUDY, beliefs_for(STUDY, STUDY.reading("gel_time")))
    by_hand = 0.6 * np.sqrt(((0.5 * np.log(4) / 2) ** 2 + 0.04**2) / 2)
    assert remainder_scale(terms, BELIEVED) == pytest.approx(by_hand, rel=1e-12)


def test_directions_are_kept_until_a_thousandth_of_the_variance_is_left():
    """Squared lengths 100, 1, 0.01 and 0.0001: from the second on stands 1 %, from the third on 0.01 %."""
    kept = learnable_directions(np.diag([0.1, 10.0, 0.01, 1.0]))
    assert np.abs(kept) == pytest.approx(np.array([[0, 0], [1, 0], [0, 0], [0, 1]]), abs=1e-12)


def test_what_the_rows_do_not_tell_is_drawn_from_the_belief():
    """Along (3, 4, 0)/5 the coefficients are the posterior's; across it they are normal with its standard deviation, 2."""
    along = np.array([[0.6], [0.8], [0.0]])
    across = np.array([[0.8, 0.0], [-0.6, 0.0], [0.0, 1.0]])
    count = 4000
    drawn = np.linspace(-1, 1, count)
    posterior = Posterior(
        coefficients=np.zeros((count, 3)), sd=np.ones(count), cuts=None, group_sds={"smooth": np.full(count, 2.0)},
        group_effects={"smooth": drawn[:, None]}, group_levels={"smooth": np.arange(1)}, effective=count, method="importance", seed=0,
    )
    terms = remainder_terms(STUDY, beliefs_for(STUDY, STUDY.reading("gel_time")))[:3]
    found, believed = with_remainder_drawn(posterior, BELIEVED, terms, 0.3, along)
    extra = found.coefficients[:, 3:]
    assert extra @ along[:, 0] == pytest.approx(drawn, abs=1e-12)
    assert (extra @ across).std(axis=0) == pytest.approx([2, 2], abs=0.1)  # standard error 2 / sqrt(8000) = 0.022
    assert np.corrcoef((extra @ across).T)[0, 1] == pytest.approx(0, abs=0.08)
    assert "smooth" not in found.group_sds and believed.remainder_count == 3 and believed.sd[3:] == pytest.approx([0.3] * 3)


def test_a_persons_own_factor_and_reading_bend():
    """Sixteen pours stirred 30 to 330 s, best in the middle: the parabola 60 - 30 z**2 is found to a tenth of its height.

    So is it in a reading without a range of its own, in other units.
    """
    study = study_from({
        "factors": {"stirring": {"words": "stirring", "unit": "s", "from": 30, "to": 330, "usual": 180}},
        "readings": {
            "gloss": {"words": "gloss", "unit": "GU", "scale": "plain", "low": 0, "high": 100},
            "shine": {"words": "shine", "unit": "mV", "scale": "plain"},
        },
    })
    stirred = np.linspace(30, 330, 16)
    gloss = 60 - 30 * ((stirred - 180) / 150) ** 2 + np.tile([1.0, -1.0], 8)
    rows = pd.DataFrame({"stirring": stirred, "session": np.repeat(["S1", "S2", "S3", "S4"], 4), "pour": [f"P{i:02d}" for i in range(16)]})
    asked = pd.DataFrame({"stirring": [30.0, 105.0, 180.0, 255.0, 330.0]})
    for name, unit in (("gloss", 1.0), ("shine", 250.0)):
        reading, read = study.reading(name), rows.assign(low=unit * gloss, high=unit * gloss)
        found = fit_rows(study, reading, beliefs_for(study, reading, None, read), read).mean(asked).mean(axis=0) / unit
        assert found == pytest.approx([30, 52.5, 60, 52.5, 30], abs=3)


@pytest.mark.parametrize("names", [("post_cure_temperature", "post_cure_time"), ("catalyst", "post_cure_temperature", "post_cure_time")])
def test_heat_and_time_of_a_post_cure_are_one_direction(names):
    """Also where a reading depends on nothing else."""
    study = study_from({"factors": {
        "catalyst": {"from": "1 %", "to": "4 %"}, "post_cure_temperature": {"from": "20 degC", "to": "60 degC"}, "post_cure_time": {"from": "0 h", "to": "4 h"},
    }, "readings": {"tack": {}}})
    found = {one.name: one.hours for one in coordinates_of(study, names)}
    assert list(found) == [name for name in names if name != "post_cure_time"] and found["post_cure_temperature"]


def test_what_the_beliefs_leave_over_is_carried_to_the_terms_they_foresee():
    """From 1 to 4 % the line of catalyst is ln(c / 2) / ln 2, of the foreseen ln(c / 1.5) that times 1 / ln 2 and -ln(4 / 3) / ln 2; the line of
    pigment is (p - 2) / 2, of the foreseen p - 0.5 a half and -3/4. What is foreseen stays."""
    whole = with_expected_remainder(STUDY, BELIEVED)
    names = [term.name for term in whole.terms]
    coefficients = np.zeros((2, len(names)))
    coefficients[:, :3] = [3.0, -0.7, 0.1]
    coefficients[0, names.index("Line catalyst")] = coefficients[1, names.index("Line pigment")] = 1.0
    found = projected_on_expected(STUDY, whole, coefficients)
    assert found == pytest.approx(np.array([[3 - np.log(4 / 3) / np.log(2), -0.7 + 1 / np.log(2), 0.1], [3 - 0.75, -0.7, 0.6]]))
    assert projected_on_expected(STUDY, BELIEVED, coefficients[:, :3]) is not found and len(whole.terms) - whole.remainder_count == 3


@pytest.mark.parametrize("factors, names", [
    ({"post_cure_temperature": {"from": "20 degC", "to": "70 degC"}, "post_cure_time": {}}, []),  # for no time: the same in every pour
    ({"post_cure_temperature": {"from": "20 degC", "to": "70 degC"}, "post_cure_time": {"from": "0 h", "to": "4 h"}}, ["post_cure_temperature"]),
    ({"catalyst": {"from": "1 %", "to": "2 %"}, "pigment": {}, "cover": {}, "room_temperature": {}}, ["catalyst", "pigment", "cover", "room_temperature"]),
])
def test_only_what_differs_between_pours_has_a_remainder(factors, names):
    study = study_from({"factors": factors, "readings": {"tack": {}}})
    assert [one.name for one in coordinates_of(study, [factor.name for factor in study.factors])] == names


@pytest.mark.parametrize("small, kept", [(0.05, 2), (0.032, 2), (0.031, 1), (1e-9, 1)])
def test_a_direction_counts_by_the_square_of_its_length(small, kept):
    """Beside a length of 1 the squares of 0.032 and 0.031 are 1.02 and 0.96 thousandths."""
    assert learnable_directions(np.diag([1.0, small])).shape == (2, kept)
