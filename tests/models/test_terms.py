"""Terms: zero at the reference settings, and the physics they stand for, by hand."""

import pickle

import numpy as np
import pandas as pd
import pytest

from testpour.models.terms import GAS, REFERENCE, TERMS, design, log_ratio, own_term, post_cure, warmth
from testpour.study.columns import Factor

AT_REFERENCE = pd.DataFrame([{**REFERENCE, "age": 24.0}])


@pytest.mark.parametrize("term", [t for t in TERMS.values() if t.name != "level"], ids=lambda t: t.name)
def test_every_term_is_zero_at_the_reference_and_moves_away_from_it(term):
    assert term.column(AT_REFERENCE)[0] == pytest.approx(0, abs=1e-15)
    away = {"cover": 0.0, "pigment": 6.0, "post_cure_temperature": 60.0, "post_cure_time": 3.0}
    moved = AT_REFERENCE.assign(**{f: away.get(f, AT_REFERENCE[f] * 1.3 + 1) for f in term.factors})
    assert abs(term.column(moved)[0]) > 1e-4


@pytest.mark.parametrize("name, term", TERMS.items())
def test_a_term_needs_only_the_settings_it_names(name, term):
    assert term.name == name and term.words
    assert len(term.column(AT_REFERENCE[list(term.factors)])) == 1


def test_the_reference_is_the_catalogues_usual(study):
    for name, value in REFERENCE.items():
        assert study.factor(name).usual == value


def test_the_gas_constant():
    """CODATA 2018: R = N_A k exactly, 6.02214076e23 x 1.380649e-23 J/(mol K)."""
    assert GAS == pytest.approx(6.02214076e23 * 1.380649e-23 / 1000, rel=1e-9)


@pytest.mark.parametrize(
    "energy, from_15, from_20",
    [(50, 2.01, 1.41), (55, 2.16, 1.46), (60, 2.32, 1.51)],
)
def test_a_colder_room_slows_as_arrhenius_says(energy, from_15, from_20):
    """Times at 15 and 20 °C over that at 25 °C, exp(E/R (1/T - 1/298.15)): arithmetic anyone can redo."""
    assert np.exp(energy * (warmth(25) - warmth(15))) == pytest.approx(from_15, abs=0.006)
    assert np.exp(energy * (warmth(25) - warmth(20))) == pytest.approx(from_20, abs=0.006)
    by_hand = np.exp(energy / 8.314462618e-3 * (1 / 288.15 - 1 / 298.15))
    assert np.exp(energy * (warmth(25) - warmth(15))) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("celsius, hours, tens", [(60, 2, 4 * (1 - np.exp(-1))), (60, 0, 0), (20, 5, 0), (15, 5, 0), (80, 1e6, 6)])
def test_post_cure_by_hand(celsius, hours, tens):
    assert post_cure(celsius, hours) == pytest.approx(tens)


def test_a_pour_without_catalyst_has_a_logarithm():
    assert np.isfinite(log_ratio(np.array([0.0, 1.5, 3.0]), 1.5)).all()
    assert log_ratio(np.array([1.5, 3.0]), 1.5) == pytest.approx([0, np.log(2)])


def test_heavy_pigment_counts_only_above_the_bend():
    bend = TERMS["pigment_bend"].column(pd.DataFrame({"pigment": [0.0, 3.0, 5.0]}))
    assert np.asarray(bend).tolist() == [0, 0, 2]


def test_a_factor_of_ones_own_is_one_at_the_end_of_its_span():
    stirring = Factor("stirring", "min", 0, 10, usual=2.0, span=(1.0, 4.0))
    column = own_term(stirring).column(pd.DataFrame({"stirring": [2.0, 3.5, 0.5]}))
    assert np.asarray(column).tolist() == [0, 1, -1]
    assert np.asarray(own_term(Factor("x", usual=0.0)).column(pd.DataFrame({"x": [0.0, 2.0]}))).tolist() == [0, 2]
    pinned = own_term(Factor("x", usual=3.0, span=(3.0, 3.0)))
    assert np.isfinite(pinned.column(pd.DataFrame({"x": [3.0, 4.0]}))).all()


def test_the_matrix_has_a_row_a_setting_and_a_column_a_term():
    table = pd.concat([AT_REFERENCE, AT_REFERENCE.assign(catalyst=3.0)], ignore_index=True)
    terms = [TERMS["level"], TERMS["catalyst"], TERMS["catalyst_bend"]]
    assert design(terms, table) == pytest.approx(np.array([[1, 0, 0], [1, np.log(2), np.log(2) ** 2]]))
    assert design([], table).shape == (2, 0)


@pytest.mark.parametrize("term", [*TERMS.values(), own_term(Factor("stirring", usual=2.0, span=(1.0, 5.0)))], ids=lambda t: t.name)
def test_a_term_comes_back_from_a_pickle_as_it_was(term):
    again = pickle.loads(pickle.dumps(term))
    table = AT_REFERENCE.assign(catalyst=2.2, thickness=14.0, pigment=4.0, cover=0.0, humidity=70.0, room_temperature=17.0, stirring=3.5)
    assert again == term or again.name == "stirring"
    assert np.asarray(again.column(table)).tolist() == np.asarray(term.column(table)).tolist()
