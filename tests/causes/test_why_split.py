"""Splits: they add up, and agree with the definition, with linear models and with games solved in print."""

import tomllib
from dataclasses import replace
from itertools import permutations
from math import factorial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from testpour.causes.case import _spoilt
from testpour.causes.diagnosis import why
from testpour.causes.shapley import Split, _shown, compared, shares, split
from testpour.causes.signs import Planned, _as_bad, planned
from testpour.causes.whole_log import good_pours, neighbours
from testpour.common.problems import Problem
from testpour.models.fits import fit_castings
from testpour.models.settings import other_half, post_cure_words, settings_table
from testpour.models.terms import design
from testpour.study.catalogue import catalogue
from testpour.study.cautions import check_settings
from testpour.study.study import Aim
from testpour.study.study_file import study_from

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.mark.parametrize("reading", ["gel_time", "peak_temperature", "tack", "hardness", "defects"])
@pytest.mark.parametrize("pour", ["P01", "P05", "P08"])
def test_the_parts_add_up_to_the_predicted_difference(fits, reading, pour):
    found = split(fits, reading, pour)
    assert found.table["middle"].sum() == pytest.approx(found.total, abs=1e-9)
    assert found.table["share"].sum() == pytest.approx(1, abs=1e-9)
    assert found.table["middle"].abs().is_monotonic_decreasing
    np.testing.assert_allclose(found.table[["low", "high"]].to_numpy(float).T, np.quantile(found.draws, [0.05, 0.95], axis=0))


@pytest.mark.slow
def test_where_each_term_is_of_one_setting_each_part_is_coefficients_times_differences(plain_fits):
    """The Shapley value of a sum of functions of one setting each, by hand: b (x - mean x'), added up over its terms. Log gel time is such a sum."""
    fits = plain_fits
    fit, study = fits["gel_time"], fits.study
    found = split(fits, "gel_time", "P01")
    here, there = compared(fits, fit.reading, "P01")
    step = design(fit.believed.terms, here)[0] - design(fit.believed.terms, there).mean(axis=0)
    pick, told = np.linspace(0, len(fit.posterior) - 1, 1000).astype(int), 0
    for factor in ("catalyst", "thickness", "pigment", "room_temperature"):
        words, own = study.factor(factor).words, [j for j, term in enumerate(fit.believed.terms) if term.factors == (factor,)]
        if words in found.table.index:
            mine = found.draws[:, list(found.table.index).index(words)]
            np.testing.assert_allclose(mine, fit.posterior.coefficients[pick][:, own] @ step[own], rtol=0, atol=1e-9)
            told += 1
    assert told >= 2


def linear(reference):
    return lambda t: t.to_numpy(float) @ reference["slope"] + 3.2


def bent(reference):
    """A grade that levels off, with settings that work through each other."""
    def value(t):
        catalyst, pigment, thickness, cover, room = t.to_numpy(float).T
        dryness = 1.8 * np.log(catalyst) + 0.8 * np.log(thickness) + 2.5 * cover + 0.15 * (room - 20)
        return 3 / (1 + np.exp(dryness - 0.4 * np.maximum(pigment - 3, 0) - 2)) + 0.05 * pigment * (room - 20)

    return value


@pytest.mark.parametrize("kind", [linear, bent])
def test_the_parts_are_those_of_the_library_shap(kind):
    """Its linear explainer where the model is linear, its exact one where it is not; the command stands in the file."""
    reference = tomllib.loads((REFERENCE / "why_shap.toml").read_text("utf-8"))
    here, there = (pd.DataFrame(rows, columns=reference["factors"]) for rows in ([reference["here"]], reference["there"]))
    value = kind(reference)
    names, parts, _ = shares(lambda t: value(t)[None, :], here, there)
    assert names == reference["factors"]
    np.testing.assert_allclose(parts[0], reference[kind.__name__], rtol=0, atol=1e-9)


def by_every_order(value, here, there):
    """The definition: what each setting adds when it is changed, averaged over every order of changing."""
    names, total = list(here.columns), dict.fromkeys(here.columns, 0.0)
    for order in permutations(names):
        row = there.copy()
        before = value(row)[0, 0]
        for name in order:
            row[name] = here[name].to_numpy()
            after = value(row)[0, 0]
            total[name] += (after - before) / factorial(len(names))
            before = after
    return total


def test_the_parts_follow_the_definition_for_any_function():
    def value(table):
        a, b, c, d = (table[n].to_numpy(float) for n in "abcd")
        return (a * b + np.exp(c) * a - np.maximum(b, d) ** 2 + c * d * a * b)[None, :]

    here = pd.DataFrame({"a": [1.3], "b": [0.2], "c": [-0.7], "d": [2.0]})
    there = pd.DataFrame({"a": [0.1], "b": [1.0], "c": [0.4], "d": [0.5]})
    names, parts, (start, end) = shares(value, here, there)
    defined = by_every_order(value, here, there)
    np.testing.assert_allclose(parts[0], [defined[n] for n in names], atol=1e-12)
    assert parts.sum() == pytest.approx(end - start, abs=1e-12)


def test_the_glove_game():
    """One left glove, two right: a pair is worth 1. Textbook answer 2/3, 1/6, 1/6 (from memory, not read)."""
    here, there = pd.DataFrame([{"l": 1.0, "r1": 1.0, "r2": 1.0}]), pd.DataFrame([{"l": 0.0, "r1": 0.0, "r2": 0.0}])
    _, parts, _ = shares(lambda t: np.minimum(t["l"], np.minimum(t["r1"] + t["r2"], 1)).to_numpy()[None, :], here, there)
    np.testing.assert_allclose(parts[0], [2 / 3, 1 / 6, 1 / 6], atol=1e-12)


def test_a_setting_that_is_the_same_gets_nothing_and_two_alike_get_the_same():
    here = pd.DataFrame([{"a": 1.0, "b": 1.0, "c": 5.0}])
    names, parts, _ = shares(lambda t: (t["a"] * t["b"] + t["c"]).to_numpy()[None, :], here, here.assign(a=0.0, b=0.0))
    assert names == ["a", "b"] and parts[0].tolist() == pytest.approx([0.5, 0.5])


def test_too_many_differences_are_refused():
    here = pd.DataFrame([{f"x{i}": 1.0 for i in range(13)}])
    with pytest.raises(Problem, match="13 settings differ, more than 12"):
        shares(lambda t: t.sum(axis=1).to_numpy()[None, :], here, here * 0)


def test_neighbours_are_good_castings_nearest_first(fits):
    near = neighbours(fits.castings, "P01")
    assert 1 <= len(near) <= 3 and "P01" not in near.index
    study, pours = fits.study, fits.castings.pours
    spans = {n: study.factor(n).span for n in ("catalyst", "pigment", "thickness", "cover", "room_temperature")}
    away = sum(((pours[n] - pours.loc["P01", n]) / (high - low)) ** 2 for n, (low, high) in spans.items())
    good = [p for p in good_pours(fits.castings) if p != "P01"]
    assert list(near.index) == list(away[good].sort_values(kind="stable").index[:3])


def test_the_input_is_left_as_it_was(fits):
    before = fits.castings.pours.copy()
    split(fits, "tack", "P01")
    pd.testing.assert_frame_equal(fits.castings.pours, before)


def test_a_pour_like_its_neighbours_is_said_to_be(fits):
    alike = settings_table(fits.study, fits.castings.pours.loc[["P03"]].copy())
    found = split(fits, "gel_time", "P03", beside=alike)
    assert not len(found.table) and found.total == 0 and "explain none of its gel time" in found.sentence()


def test_each_part_is_said_in_the_readings_own_unit_and_its_direction(fits):
    """Of P01's neighbours' difference each part says more or less, the sign of its number."""
    found = split(fits, "hardness", "P01")
    said = found.sentence().split(": ", 1)[1]
    for name, row in found.table[found.table["share"].abs() >= 0.05].iterrows():
        part = next(p for p in said.split("; ") if p.startswith(f"{name} "))
        assert f"instead of {row['there']}" in part and (" more" in part) == (row["middle"] > 0) and (" less" in part) == (row["middle"] < 0)


class Straight:
    """A reading that is 100, and 4 more for each mm of depth above 10, with a scatter of 10."""

    def chances(self, table, at_least=None, at_most=None):
        mean = 100 + 4 * (table["thickness"].to_numpy(float) - 10)
        high = np.inf if at_most is None else at_most
        low = -np.inf if at_least is None else at_least
        return (norm.cdf((high - mean) / 10) - norm.cdf((low - mean) / 10))[None, :]

    def new_castings(self, table):
        return (100 + 4 * (table["thickness"].to_numpy(float) - 10)) + 10 * norm.ppf((np.arange(101) + 0.5) / 101)[:, None]


@pytest.mark.parametrize("aim, depth, here, there", [
    (Aim("peak_temperature", at_most=110.0), 20.0, 0.5, norm.sf(4.0)),  # 140 expected: as hot as that comes 3 times in 100,000 at 10 mm
    (Aim("peak_temperature", at_most=110.0), 12.0, norm.sf(0.2), norm.sf(1.0)),  # 108 expected: the aim itself
    (Aim("hardness", at_least=90.0), 5.0, 0.5, norm.cdf(-2.0)),  # 80 expected: as soft as that
])
def test_a_miss_that_the_settings_lead_one_to_expect_is_compared_by_its_size(aim, depth, here, there):
    chance = _as_bad(Straight(), aim, pd.DataFrame({"thickness": [depth]}))
    assert chance(pd.DataFrame({"thickness": [depth, 10.0]}))[0] == pytest.approx([here, there], rel=1e-9)


def test_what_is_left_for_chance_is_no_more_than_a_miss_of_that_size_allows():
    assert Planned(0.9, 0.18, {"too_hot": 0.8}).of("nothing") == pytest.approx(0.2)
    held = Planned(0.9, 0.18, {"too_hot": 0.8}, by_chance=0.03)
    assert held.of("nothing") == 0.03 and held.of("too_hot") == 0.8 and held.whole == 0.8


@pytest.mark.parametrize("settings, by_chance, shares", [(0.6, 0.3, (0.9, 0.0)), (0.2, 0.5, (0.0, 0.7)), (0.0, 1.0, (0.0, 1.0))])
def test_settings_that_lead_one_to_expect_a_miss_are_one_cause_and_not_two(settings, by_chance, shares):
    """What the comparison leaves for chance is the settings again: the two add up under the larger of the two names."""
    parts = Planned(0.9, 0.3, {"settings": settings}, by_chance, expected="gloss 60")
    assert (parts.of("settings"), parts.of("nothing")) == pytest.approx(shares)


@pytest.fixture(scope="module")
def filled(castings_of):
    """Eleven castings whose gloss falls with a filler of the maker's own, 84 GU at 8 % to 60 at 28 %; a twelfth that the fits
    have not seen is dull with as little filler as the ones that shine."""
    study = study_from({
        "name": "Tiles", "question": "How much filler?", "resin": {"kind": "unsaturated polyester", "density": 1.1},
        "factors": {"catalyst": {"from": 1, "to": 3}, "filler": {"unit": "%", "low": 0, "high": 60, "from": 0, "to": 30}, "room_temperature": {}},
        "readings": {"gloss": {"unit": "GU", "low": 0, "high": 100, "how": "gloss meter", "ages": ["24 h"]}},
        "aims": {"gloss": {"at_least": 70, "age": "24 h"}},
    })
    filler = np.array([8, 27, 28, 2, 16, 4, 12, 20, 22, 27, 10, 5.0])
    names = [f"P{number + 1:02d}" for number in range(12)]
    gloss = (84 - 1.2 * (filler - 8) + np.array([1, -1, 0, 1, 0, -1, 0, 1, -1, 0, 0, 0])).round()
    gloss[11] = 52.0
    rows = pd.DataFrame({"pour": names, "reading": "gloss", "age": 24.0, "low": gloss, "high": gloss, "known": "exact"})
    pours = pd.DataFrame({"catalyst": np.tile([1.5, 2.5, 2.0], 4), "filler": filler, "room_temperature": 20.0}, index=names)
    seen = fit_castings(castings_of(study, pours.iloc[:11], rows.iloc[:11]))
    return replace(seen, castings=castings_of(study, pours, rows))


def test_a_setting_of_the_makers_own_can_be_what_did_it(filled):
    """The causes of `causes.toml` know nothing of a filler: what it explains is not put down to old resin or a cold room."""
    answer = why(filled, "P02")
    assert answer.first == "settings" and answer.chances["settings"] > 0.5 and answer.chances["nothing"] < 1e-6
    assert "the settings it was poured with, filler 27 %" in answer.sentence() and "Next time: change that setting" in answer.sentence()
    dull = why(filled, "P12")  # little filler, as in castings that shine: something else did it
    assert dull.chances["settings"] < 0.05 and dull.chances["nothing"] < 0.5


def test_what_a_fault_does_to_a_reading_of_the_makers_own_nobody_knows(filled):
    """Gloss 52 where 85 to 90 is expected: of too hot, too cold, a slip and the rest none is named with confidence."""
    dull = why(filled, "P12")
    assert dull.chances.max() < 0.2 and dull.chances[["reading_error", "uneven_mixing", "mould", "cold"]].min() > 0.02


@pytest.fixture(scope="module")
def baked(castings_of):
    """A maker of a log: six castings post-cured for 4 h at 70 °C reach 40 Barcol and are dry, six that were not 31; then one more, not post-cured."""
    study = study_from({
        "name": "Tiles", "question": "How much heat?", "resin": {"kind": "unsaturated polyester", "density": 1.1},
        "factors": {"catalyst": {"from": 1, "to": 2}, "paste": {"words": "filler", "unit": "%", "low": 0, "high": 8, "from": 0, "to": 2},
                    "cover": {}, "thickness": {"from": 6, "to": 20},
                    "post_cure_temperature": {"from": 20, "to": 70}, "post_cure_time": {"from": 0, "to": 4}, "room_temperature": {}},
        "readings": {"tack": {"ages": ["24 h"]}, "hardness": {"unit": "Barcol", "ages": ["24 h", "7 d"]}},
        "aims": {"tack": {"at_most": 1, "age": "24 h"}, "hardness": {"at_least": 38, "age": "24 h"}},
    })
    names, hot = [f"P{number:02d}" for number in range(1, 14)], np.array([1] * 6 + [0] * 7)

    def make(cover, tack, hardness, week=()):
        pours = pd.DataFrame({"catalyst": [1.2, 1.5, 1.8] * 4 + [1.5], "paste": [0.0, 0, 1] * 4 + [2.0], "cover": cover, "thickness": 12.0,
                              "post_cure_temperature": 20.0 + 50 * hot, "post_cure_time": 4.0 * hot, "room_temperature": 20.0}, index=names)
        hard = [pd.DataFrame({"pour": names, "reading": "hardness", "age": 24.0, "low": hardness, "high": hardness})]
        more = [pd.DataFrame({"pour": "P13", "reading": "hardness", "age": 168.0, "low": value, "high": value}, index=[0]) for value in week]
        wet = [pd.DataFrame({"pour": names, "reading": "tack", "age": 24.0, "low": tack, "high": tack})]
        return fit_castings(castings_of(study, pours, pd.concat([*hard, *wet, *more], ignore_index=True)))

    return make


HARDNESS = [40.0, 41, 39, 40, 41, 39, 31, 32, 30, 31, 32, 30, 31]


@pytest.mark.slow
def test_what_to_do_with_a_casting_that_lacked_post_cure_may_still_mend_it(baked):
    """Soft at a day without any: heat is what it lacked. As hard as asked by the week, it is left. 80 °C is where the cautions begin."""
    soft, later = (why(baked(1.0, [0.0] * 13, HARDNESS, week), "P13") for week in ((), (39.0,)))
    assert soft.first == later.first == "settings" and "the settings it was poured with, no post-cure (" in soft.sentence()
    assert "This casting: post-cure it now as its good neighbours were, once it has gelled and cooled, at 80 °C at most" in soft.sentence()
    assert "This casting: leave it, since its hardness at 7 days, 39 Barcol, is as asked." in later.sentence()
    assert [bool(check_settings(None, {"post_cure_temperature": degC}).warnings) for degC in (80.0, 81.0)] == [False, True]
    cause = soft.case.table.causes["settings"]
    assert _spoilt(replace(cause, now="make it again"), "", True, False).now.startswith("Wait, and read it again {again};")
    assert _spoilt(replace(cause, now="make it again"), "", False, True).now == "make it again"


@pytest.mark.slow
def test_a_good_neighbour_does_not_clear_the_open_face_that_it_shares(baked):
    """Every face open. Post-cured they are dry all the same, without it wet: a cover would have saved it as well, so both are told."""
    answer = why(baked(0.0, [0.0, 0, 1, 0, 0, 1, 2, 2, 3, 2, 2, 3, 2], HARDNESS), "P13")
    assert set(answer.saving.table.index[:3]) == {"cover", "post-cure temperature", "post-cure time"} and "open_face" in answer.openly
    assert answer.chances[["open_face", "settings"]].min() > 0.2 and "its face was left open, as logged" in answer.table.index
    assert answer.case.planned.whole == pytest.approx(0.95)  # though 97 in 100 of such a miss are theirs by the models: what nobody saw keeps a say
    none = planned(answer.case.table, answer.case.fits, "P01", answer.missed[0], answer.case.beside)
    assert none.of("open_face") == 0  # castings at its settings mostly come out dry


def test_heat_and_hours_of_a_post_cure_are_moved_together_where_there_was_none():
    """Heat for no time is no post-cure, so neither alone would have saved a casting; one that had some may have had it hotter, or longer."""
    spans = {"post_cure_temperature": {"from": 20, "to": 65}, "post_cure_time": {"from": 0, "to": 4}}
    oven = study_from({"factors": {"catalyst": {}, **spans}, "readings": {"gel_time": {}}})
    none = pd.DataFrame({"post_cure_temperature": [20.0], "post_cure_time": [0.0]})
    heat, hours, most = "post_cure_temperature", "post_cure_time", {"post_cure_temperature": 65.0, "post_cure_time": 4.0}.get
    assert (other_half(heat, none, most), other_half(hours, none, most)) == ({hours: 4.0}, {heat: 65.0})
    some = none.assign(post_cure_temperature=50.0, post_cure_time=2.0)
    assert other_half(heat, some, most) == other_half("catalyst", none, most) == other_half(heat, none[[heat]], most) == {}
    assert other_half(heat, none, {heat: 65.0}.get) == {}  # hours that cannot be chosen
    assert post_cure_words(oven, {"post_cure_temperature": 65.0, "post_cure_time": 4.0}) == "a post-cure of 4 h at 65 °C"


@pytest.mark.parametrize("low, high, settled", [(0.1, 0.4, True), (-0.4, -0.1, True), (-0.1, 0.4, False), (0.0, 0.4, False)])
def test_a_part_is_settled_where_its_interval_is_on_one_side_of_none(low, high, settled):
    """A quarter more by the log of the ratio: exp(0.22) is 1.246."""
    row = {"here": "2 %", "there": "1 %", "middle": 0.22, "low": low, "high": high}
    said = Split(catalogue()["readings"]["gel_time"], "P01", (), None, None, 0.0, 1.0)._part("catalyst", row)
    assert said == "catalyst 2 % instead of 1 %, 25 % more" + (", not certain from these pours" if not settled else "")


@pytest.mark.parametrize("name, values, unlike, says", [
    ("catalyst", [1.0, 2.0, 1.0], [2.0, 3.0], "1 %"), ("catalyst", [1.0, 2.0], [], "1 % and 2 %"), ("age", [24.0, 48.0], [24.0], "48 h"),
    ("catalyst", [1.00004], [1.0], ""), ("cover", [1.0], [0.0], "yes"),
])
def test_values_are_shown_once_and_without_those_that_read_the_same_elsewhere(fits, name, values, unlike, says):
    assert _shown(fits.study, name, pd.Series(values), pd.Series(unlike, dtype=float)) == says


def test_settings_that_differ_by_little_have_their_part_too():
    """Half a thousandth of 100, of which the slope makes 0.001."""
    names, parts, _ = shares(lambda t: 2 * t["a"].to_numpy()[None, :], pd.DataFrame({"a": [100.0005]}), pd.DataFrame({"a": [100.0]}))
    assert names == ["a"] and parts[0] == pytest.approx([0.001])
