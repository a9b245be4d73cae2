"""Each pour against the others: weighting agrees with leaving out for real, and what is wrong is found and named."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2, kstest, t, zscore

import testpour.models.left_out as left_out_module
from testpour.models.agreement import Agreement, _grades_at_middles, _standardised_pulls, _tail_chances, agreement
from testpour.models.check import Checked, CheckedLog, _pure_error_of_repeats, check_fit, check_log
from testpour.models.effect import to_check
from testpour.models.fits import fit_castings
from testpour.models.left_out import left_out
from testpour.models.suspects import Suspect, _apart_at_its_age, _catalyst_that_would_fit, _odd_reading, _unlike_the_others
from testpour.study.catalogue import catalogue
from testpour.study.study_file import study_from

GEL = study_from({"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"gel_time": {}}})


@pytest.fixture(scope="module")
def fits(practice_fits):
    return practice_fits


def with_changed(castings, pour, reading, low, high, which=slice(None)):
    """The same log with some readings of one pour written down differently."""
    readings = castings.readings.copy()
    rows = readings.index[(readings["pour"] == pour) & (readings["reading"] == reading)][which]
    readings.loc[rows, ["low", "high"]] = low, high
    return replace(castings, readings=readings)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["gel_time", "tack", "opacity"])
def test_weighting_agrees_with_fitting_again(fits, name, monkeypatch):
    """Importance weights against really leaving each pour out; the difference is Monte Carlo error of both.

    Of 1,000 independent draws, the least that weighting is left to, a chance of one half has a standard error of 0.016, of the
    150 of a new fit 0.041: together 0.044, which is 0.035 in the mean of its size.
    """
    fit = replace(fits[name])
    weighted = left_out(fit, 0.9)
    monkeypatch.setattr(left_out_module, "LEAST_WORTH", np.inf)
    again = left_out(fit, 0.9)
    moved = weighted["above"] != again["above"]
    assert moved.sum() >= 3, "hardly a pour was weighted out, so nothing is compared"
    for end in ("above", "below"):
        away = (weighted[end] - again[end])[moved].abs()
        assert away.max() < 0.12 and away.mean() < 0.035


def test_the_left_out_interval_is_students_prediction(castings_of):
    """Nearly flat beliefs, exact times of one setting: mean +- t s sqrt(1 + 1/(n-1)) of the others.

    A belief flat in sigma leaves n - 3 degrees of freedom for n - 1 others, with s^2 = SS / (n - 3).
    """
    minutes = np.exp([3.1, 3.3, 3.0, 3.4, 3.25, 3.05, 3.2, 3.15, 3.5, 2.9])
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0, "session": "S1"}, index=[f"P{i}" for i in range(10)])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes})
    flat = {"gel_time": {"level": {"mean": 3.0, "sd": 50.0}, "catalyst": {"mean": 0, "sd": 1e-6},
                         "warmth": {"mean": 0, "sd": 1e-6}, "scatter": {"reading": 1e3, "session": 1e-6}}}
    seen = check_fit(fit_castings(castings_of(GEL, pours, read), beliefs=flat)["gel_time"]).table
    logs = np.log(minutes)
    for place in range(10):
        others = np.delete(logs, place)
        spread = np.sqrt(((others - others.mean()) ** 2).sum() / 7 * (1 + 1 / 9))
        assert seen["below"].iloc[place] == pytest.approx(t.cdf((logs[place] - others.mean()) / spread, 7), abs=0.03)
        ends = others.mean() + t.ppf([0.05, 0.95], 7) * spread
        np.testing.assert_allclose(np.log(seen[["from", "to"]].iloc[place].astype(float)), ends, atol=0.15 * spread)


@pytest.mark.slow
def test_a_plain_log_names_no_pour(fits):
    found = check_fit(fits["gel_time"])
    assert found.odd == [] and found.sentence().endswith("No pour stands out.")


@pytest.mark.slow
def test_a_pour_timed_wrongly_is_named_with_the_catalyst_it_looks_like(castings_of):
    """Twelve pours by t = 30 c^-0.75 and 5 % of scatter; the seventh as if 0.9 % had gone in where 1.8 % was written."""
    catalyst = np.tile([1.0, 1.4, 1.8, 2.2], 3)
    gel = 30 * catalyst**-0.75 * np.exp(0.05 * zscore(np.sin(np.arange(12))))
    gel[6] = 30 * 0.9**-0.75
    pours = pd.DataFrame({"catalyst": catalyst, "room_temperature": 20.0, "session": np.repeat(["S1", "S2", "S3"], 4)},
                         index=[f"P{i + 1}" for i in range(12)])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": gel - 0.5, "high": gel + 0.5})
    found = check_fit(fit_castings(castings_of(GEL, pours, read))["gel_time"])
    assert found.odd == ["P7"] and found.table.loc[found.table["odd"], "pour"].tolist() == ["P7"]
    said = found.suspects[0].sentence()
    looks = float(said.split("as if ")[1].split(" %")[0])
    assert looks == pytest.approx(0.9, abs=0.2) and "not 1.8 %." in said
    assert not found.suspects[0].alone and "Outside: P7." in found.sentence() and "if all was right, keep it and pour it again." in said


@pytest.mark.slow
def test_one_slip_of_the_pen_is_told_from_a_bad_pour(practice_castings):
    slip = check_fit(fit_castings(with_changed(practice_castings, "P03", "hardness", 38.0, 38.0, slice(1, 2)))["hardness"])
    assert slip.odd == ["P03"] and "once; its other 8 readings agree" in slip.suspects[0].sentence()
    assert "slip of the pen" in slip.sentence()


def test_a_pour_beyond_all_others_may_be_the_models_fault(castings_of):
    catalyst = np.array([1.4, 1.5, 1.6, 1.5, 1.4, 1.6, 1.5, 1.6, 1.4, 4.0])
    gel = 30 * catalyst**-0.75
    gel[-1] = 60.0
    pours = pd.DataFrame({"catalyst": catalyst, "room_temperature": 20.0, "session": "S1"}, index=[f"P{i}" for i in range(10)])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": gel - 0.5, "high": gel + 0.5})
    found = check_fit(fit_castings(castings_of(GEL, pours, read), remainder=False)["gel_time"])
    said = found.sentence()
    assert [suspect.alone for suspect in found.suspects] == [True]
    assert "No other pour goes as far as catalyst 4 %, so the model may be wrong there" in said
    assert "if all was right, keep it, and pour it again only if you mean to cast near there." in said


def test_open_ends_are_judged_by_what_they_exclude(castings_of):
    """Not yet at 30 min is odd beside pours that gel at 20; not yet at 10 min says nothing."""
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0, "session": "S1"}, index=[f"P{i}" for i in range(9)])
    low, high = np.full(9, 19.0), np.full(9, 21.0)
    low[0], high[0], low[1], high[1] = 45.0, np.inf, 10.0, np.inf
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": low, "high": high})
    found = check_fit(fit_castings(castings_of(GEL, pours, read))["gel_time"])
    assert found.odd == ["P0"] and "P0 read more than 45 min" in found.sentence()
    assert found.table["above"].iloc[1] > 0.99


@pytest.mark.slow
def test_right_models_are_not_called_odd(castings_of):
    """Left-out tails of the true model are uniform; a log in ten may name a pour. 40 logs from the beliefs."""
    rng = np.random.default_rng(8)
    tails, named = [], 0
    for _ in range(40):
        catalyst, room = rng.choice([1.0, 1.5, 2.2], 12), np.repeat([17.0, 21.0, 24.0], 4)
        sessions = np.repeat(["S1", "S2", "S3"], 4)
        day, own = 0.12 * np.abs(rng.normal()), 0.12 * np.abs(rng.normal())
        log = rng.normal(3.2, 0.7) + rng.normal(-0.75, 0.3) * np.log(catalyst / 1.5)
        log += rng.normal(-50, 15) * (1 / 293.15 - 1 / (room + 273.15)) / 8.314462618e-3
        log += day * np.repeat(rng.normal(size=3), 4) + own * rng.normal(size=12)
        minutes = np.exp(log)
        pours = pd.DataFrame({"catalyst": catalyst, "room_temperature": room, "session": sessions}, index=[f"P{i}" for i in range(12)])
        read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes})
        found = check_fit(fit_castings(castings_of(GEL, pours, read))["gel_time"])
        tails.append(found.table["below"].iloc[rng.integers(12)])
        named += bool(found.odd)
    assert kstest(tails, "uniform").pvalue > 0.01
    assert named <= 9  # binomial(40, 0.1): more than 9 comes less than once in a hundred


def test_an_empty_log_has_nothing_to_check(castings_of):
    empty = castings_of(GEL, pd.DataFrame(columns=["catalyst"]), pd.DataFrame(columns=["pour", "reading", "low", "high"]))
    fits = fit_castings(empty)
    assert check_fit(fits["gel_time"]).sentence() == "No gel time in the log yet, so nothing can be checked."
    assert agreement(fits["gel_time"]).chance == 1.0 and check_log(fits).sentence() == "No readings are in the log yet, so nothing can be checked."


def test_one_pour_has_no_other_to_be_foretold_from():
    found = Checked(GEL.readings[0], pd.DataFrame({"pour": ["P1", "P1"], "inside": [1.0, 1.0]}))
    assert found.sentence() == "Only one pour has gel time in the log, so there is no other pour to predict it from."


@pytest.mark.parametrize("minutes, says", [
    (25.0, "No reading was taken of more than one pour yet, so there is no other to compare with."),
    (600.0, "1 pour to look at again: P1 (gel time). Log and trade differ about gel time."),
])
def test_a_log_of_one_pour_has_nothing_to_stand_out_from_but_belief(castings_of, minutes, says):
    """The trade has 25 min at 1.5 % and 20 °C; ten hours is no gel time of its like."""
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0}, index=["P1"])
    read = pd.DataFrame({"pour": ["P1"], "reading": "gel_time", "low": minutes, "high": minutes})
    assert check_log(fit_castings(castings_of(GEL, pours, read))).sentence() == says


@pytest.mark.parametrize("contrary, says", [
    ((), "No pour stands out. Nothing in the log contradicts the trade so far."),
    (("what cover does to tack",), "No pour stands out. The log contradicts the trade only about what cover does to tack."),
])
def test_a_log_contradicts_the_trade_only_about_the_effects_that_go_the_other_way(contrary, says):
    found = Checked(GEL.readings[0], pd.DataFrame({"pour": ["P1", "P2"], "inside": [1.0, 1.0]}))
    assert CheckedLog({"gel_time": found}, {"gel_time": Agreement(GEL.readings[0], 1.0, ())}, contrary).sentence() == says


def test_a_pour_hottest_before_it_gelled_is_to_be_looked_at_again(castings_of):
    """Gel 25 min at 1.5 % and 20 °C as the trade has it, twice; one is hottest at 14 min, which no resin can be."""
    study = study_from({"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"gel_time": {}, "time_to_peak": {}}})
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0}, index=["P1", "P2"])
    read = pd.DataFrame({"pour": ["P1", "P2"] * 2, "reading": ["gel_time"] * 2 + ["time_to_peak"] * 2, "low": [25.0, 25.0, 50.0, 14.0]})
    found = check_log(fit_castings(castings_of(study, pours, read.assign(high=read["low"], known="exact"))))
    assert list(found.out_of_order) == ["P2"] and "P2 (time to peak and order of its times)" in found.sentence()
    assert found.table["says"].iloc[-1].startswith("P2: Time to peak 14 min is before gel time 25 min, which cannot be")
    assert found._repr_markdown_().count("\n- ") == len(found.table) + sum(a.warns for a in found.agreements.values())


def test_a_pour_that_set_with_hardly_any_catalyst_is_to_be_looked_at_again(castings_of):
    """0.015 is 1.5 % as a share. P3 had not set at the last look, so its catalyst may be right."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}})
    pours = pd.DataFrame({"catalyst": [0.015, 0.016, 0.015, 1.5]}, index=["P1", "P2", "P3", "P4"])
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": [22.0, 21, 90, 25], "high": [22.0, 21, np.inf, 25]})
    found = check_log(fit_castings(castings_of(study, pours, read.assign(known="exact"))))
    assert list(found.shares) == ["P1", "P2"] and "P1 (" in found.sentence() and "catalyst" in found.table["reading"].tolist()
    assert found.shares["P1"].startswith("Catalyst 0.015 % is below 0.1 %. So little sets no resin, so a share of the resin may have been written")


@pytest.mark.parametrize("inside, strained", [(12, False), (10, False), (6, True)])
def test_too_few_inside_is_said(inside, strained):
    table = pd.DataFrame({"pour": [f"P{i}" for i in range(12)], "inside": [1.0] * inside + [0.0] * (12 - inside)})
    found = Checked(GEL.readings[0], table)
    assert found.undercovers is strained and ("fewer than it should be" in found.sentence()) is strained
    whole = CheckedLog({"gel_time": found}, {}, ()).sentence()
    assert ("Trust the intervals of gel time less" in whole and "Either the model does not follow this resin everywhere, or" in whole) is strained


def gel_castings(castings_of, exponent, level=3.2, seed=0):
    rng = np.random.default_rng(seed)
    catalyst = np.tile([1.0, 1.5, 2.25], 6)
    minutes = np.exp(level - exponent * np.log(catalyst / 1.5) + 0.05 * rng.normal(size=18))
    pours = pd.DataFrame({"catalyst": catalyst, "room_temperature": 20.0, "session": np.repeat(["S1", "S2", "S3"], 6)},
                         index=[f"P{i}" for i in range(18)])
    return castings_of(GEL, pours, pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes}))


@pytest.mark.slow
def test_log_and_belief_disagree_only_when_they_do(castings_of):
    """Belief: exponent 0.75 with spread 0.4, level 3.2 with spread 0.7."""
    agrees = agreement(fit_castings(gel_castings(castings_of, 0.75))["gel_time"])
    assert not agrees.warns and agrees.sentence() == "Gel time: nothing in the log contradicts belief so far."
    odd = agreement(fit_castings(gel_castings(castings_of, -1.0))["gel_time"])
    assert [factor.name for factor in odd.strange] == ["catalyst"] and odd.chance < 0.01
    assert odd.sentence().startswith("What catalyst did to gel time is not what the trade expects. Check the weighing of the pours")
    damp = replace(odd, strange=(catalogue()["factors"]["humidity"],))
    assert "did to gel time is not what the trade expects. Check what was written down of the pours that differ in it" in damp.sentence()
    far = agreement(fit_castings(gel_castings(castings_of, 0.75, level=6.0))["gel_time"])
    assert not far.strange and "lies far from what the trade expects of its like" in far.sentence()
    assert "Log and trade differ about gel time." in check_log(fit_castings(gel_castings(castings_of, -1.0))).sentence()


@pytest.mark.slow
def test_the_whole_log_in_one_table(practice_castings):
    wrong = with_changed(practice_castings, "P06", "gel_time", 100.0, 104.0)
    wrong = with_changed(wrong, "P03", "hardness", 38.0, 38.0, slice(1, 2))
    found = check_log(fit_castings(wrong))
    assert {"P06", "P03"} <= set(found.odd)
    assert list(found.table.columns) == ["pour", "reading", "by luck", "says"]
    assert "P06 (gel time and order of its times)" in found.sentence() and "P03 (hardness)" in found.sentence()
    assert found._repr_markdown_().count("\n- ") == len(found.table) + sum(a.warns for a in found.agreements.values())


def repeated(castings_of, logs):
    """Five doses, each poured twice in one session, with the logarithms of their gel times."""
    doses = np.repeat([0.8, 1.2, 1.6, 2.0, 2.4], 2)
    names = [f"P{i}" for i in range(10)]
    pours = pd.DataFrame({"catalyst": doses, "room_temperature": 20.0}, index=names)
    read = pd.DataFrame({"pour": names, "reading": "gel_time", "low": np.exp(logs), "high": np.exp(logs)})
    return check_fit(fit_castings(castings_of(GEL, pours, read))["gel_time"])


def test_repeats_that_agree_better_than_the_model_say_that_it_does_not_fit(castings_of):
    """A zigzag that no curve of second order follows, its repeats a hundredth apart: five degrees of pure error."""
    zigzag = 3 + np.repeat([0.4, -0.4, 0.4, -0.4, 0.4], 2) + np.tile([0.005, -0.005], 5)
    found = repeated(castings_of, zigzag)
    assert found.repeats == 5 and found.agreement_chance < 0.01
    assert "poured alike agree more closely than the model follows the settings (5 repeats)" in found.sentence()


def test_repeats_that_differ_as_the_model_says_are_no_sign_against_it(castings_of):
    """Scatter of a tenth about the power law that the trade expects."""
    rng, line = np.random.default_rng(8), 3 - np.log(np.repeat([0.8, 1.2, 1.6, 2.0, 2.4], 2) / 1.5)
    found = repeated(castings_of, line + 0.1 * rng.standard_normal(10))
    assert found.agreement_chance > 0.05 and "differ as much as its scatter says (5 repeats)" in found.sentence()


def test_without_repeats_nothing_is_said_of_fit(castings_of):
    pours = pd.DataFrame({"catalyst": [1.0, 1.5, 2.0], "room_temperature": 20.0}, index=list("ABC"))
    read = pd.DataFrame({"pour": list("ABC"), "reading": "gel_time", "low": [30.0, 21.0, 15.0], "high": [30.0, 21.0, 15.0]})
    found = check_fit(fit_castings(castings_of(GEL, pours, read))["gel_time"])
    assert found.repeats == 0 and np.isnan(found.agreement_chance) and "alike" not in found.sentence()


@pytest.mark.parametrize("cuts, middles", [([1.0, 3.0, 5.0], [0.0, 2.0, 4.0, 6.0]), ([-0.5, 0.5], [-1.0, 0.0, 1.0])])
def test_a_grade_is_compared_at_the_middle_between_its_cut_points(cuts, middles):
    """By hand; the first and the last grade, open at one side, are taken to be as wide as the others."""
    assert _grades_at_middles(SimpleNamespace(cut_belief=(np.array(cuts),)), range(len(middles))).tolist() == middles


@pytest.mark.parametrize("reading, low, high", [("tack", 1.0, 1.0), ("gel_time", 30.0, np.inf)])
def test_repeats_tell_of_the_scatter_only_where_they_are_numbers(reading, low, high, castings_of):
    """Eight castings poured alike, of grade 1, or not yet gelled at 30 min."""
    study = study_from({"factors": {"catalyst": {"from": "1 %", "to": "2 %"}}, "readings": {"tack": {}, "gel_time": {}}})
    pours = pd.DataFrame({"catalyst": 1.5, "session": "S1"}, index=[f"P{place}" for place in range(8)])
    read = pd.DataFrame({"pour": pours.index, "reading": reading, "low": low, "high": high, "age": 24.0 if reading == "tack" else np.nan})
    found = check_fit(fit_castings(castings_of(study, pours, read))[reading])
    assert found.repeats == 0 and np.isnan(found.agreement_chance)


def test_an_effect_that_goes_the_other_way_is_told_from_what_is_believed(castings_of):
    """The trade's exponent is -0.75 with spread 0.4: +1 is more than four spreads off."""
    odd = agreement(fit_castings(gel_castings(castings_of, -1.0), remainder=False)["gel_time"])
    assert odd.chance < 0.01 and [factor.name for factor in odd.strange] == ["catalyst"]


@pytest.mark.parametrize("level_sd, held, pulls, whole", [
    (0.3, True, [0.5 / np.sqrt(0.255), -0.3 / np.sqrt(0.045)], 0.25 / 0.255 + 0.09 / 0.045),
    (0.1, True, [-0.3 / np.sqrt(0.045)], 0.25 / 0.175 + 0.09 / 0.045),  # of a variance of 0.175 too little is doubt that the log could take away
    (0.3, False, [-0.3 / np.sqrt(0.045)], 0.25 / 900.165 + 0.09 / 0.045),  # what nobody believes is a hundred times as wide
])
def test_how_far_a_log_pulls_a_belief_by_hand(level_sd, held, pulls, whole):
    """Two readings of one session, scatter 0.1 and 0.4: their middle is believed 3 with variance sd^2 + 0.4^2 + 0.1^2 / 2, half their
    difference 1 with 0.2^2 + 0.1^2 / 2. Read as 2.8 and 4.2 they are 0.5 too high, and 0.3 too close together."""
    both = np.array([[1.0], [1.0]])
    model = SimpleNamespace(exog=np.array([[1.0, -1.0], [1.0, 1.0]]), belief=(np.array([3.0, 1.0]), np.array([level_sd, 0.2])), grades=None,
                            sd_belief=0.1, groups=[SimpleNamespace(design=both)], group_beliefs=[0.4])
    believed = SimpleNamespace(beliefs=[SimpleNamespace(informative=held), SimpleNamespace(informative=True)], terms=["level", "slope"])
    found, terms = _standardised_pulls(model, believed, np.array([[2.8, 4.2]]))
    assert found[0] == pytest.approx([*pulls, whole]) and terms == ["level", "slope"][-len(pulls):]


def test_how_closely_repeats_agree_by_hand():
    """Five pairs whose logs of gel time lie 0.2 apart: squares of 5 x 0.02. One of ten castings is timed twice, so that a casting's 1.1
    readings of variance 0.022 add 0.02; castings differ by 0.01, and two checks 0.12 apart on the log add 0.12^2 / 12 = 0.0012. The pigment was
    never written down, the humidity is no column. Three repeats are enough to speak, two are not."""
    at = np.r_[np.tile([3.0, 3.2], 5), 3.0] - 0.06
    rows = pd.DataFrame({"catalyst": [*np.repeat([1.0, 1.2, 1.4, 1.6, 1.8], 2), 1.0], "pigment": np.nan, "session": "S1", "pour": [*range(10), 0],
                         "low": np.exp(at), "high": np.exp(at + 0.12)})
    fit = SimpleNamespace(reading=catalogue()["readings"]["gel_time"], rows=rows, posterior=SimpleNamespace(
        sd=np.array([np.sqrt(0.022)]), group_sds={"pour": np.array([0.1])}), believed=SimpleNamespace(terms=[
            SimpleNamespace(factors=("catalyst", "pigment")), SimpleNamespace(factors=("humidity",))]))
    repeats, chance = _pure_error_of_repeats(fit)
    assert repeats == 5 and chance == pytest.approx(chi2.cdf(0.1 / (0.02 + 0.01 + 0.0012), 5))
    few = [_pure_error_of_repeats(SimpleNamespace(**{**vars(fit), "rows": rows.iloc[:count]})) for count in (6, 4)]
    assert few[0] == (3, pytest.approx(chi2.cdf(0.06 / (0.022 + 0.01 + 0.0012), 3))) and few[1][0] == 2 and np.isnan(few[1][1])


@pytest.mark.parametrize("reading, factor, power, spread, high, says", [
    ("gel_time", "catalyst", -0.75, 0.0, 1.0, "1 % catalyst had gone in, not 2 %."),
    ("gel_time", "catalyst", -0.75, 0.0, np.inf, "1 % catalyst had gone in, not 2 %."),  # not gelled by then
    ("gel_time", "catalyst", -0.5, 0.0, 1.0, "0.7 % catalyst had gone in, not 2 %."),  # 2 exp(-0.75 ln 2 / 0.5) = 0.71
    ("gel_time", "catalyst", -0.75, 0.3, 1.0, "1 % catalyst had gone in, not 2 %."), ("gel_time", "catalyst", -0.75, 0.4, 1.0, ""),  # two spreads are 0.8
    ("gel_time", "catalyst", -0.3, 0.0, 1.0, ""),  # an eighth of it is no slip
    ("gel_time", "catalyst", -5.5, 0.0, 1.0, ""),  # nine tenths of it neither
    ("gel_time", "pigment", -0.75, 0.0, 1.0, ""), ("hardness", "catalyst", -0.75, 0.0, 1.0, ""),
])
def test_the_catalyst_that_would_have_given_such_a_time_by_hand(reading, factor, power, spread, high, says):
    """Read is 2 to the power 0.75 of what is expected: with a power of -0.75 as if half the catalyst had gone in."""
    def mean(rows):
        return np.array([[2.9], [3.1]]) + (power + spread * np.array([[-1.0], [1.0]])) * np.log(rows["catalyst"].to_numpy() / 2)

    seen = np.exp(3 + 0.75 * np.log(2))
    fit = SimpleNamespace(reading=catalogue()["readings"][reading], rows=pd.DataFrame({"catalyst": [2.0], "low": [seen], "high": [seen * high], "age": 24.0}),
                          believed=SimpleNamespace(factors={factor}), mean=mean, study=GEL)
    assert _catalyst_that_would_fit(fit, 0) == (f"It looks as if {says}" if says else "")


@pytest.mark.parametrize("names, says", [
    (["catalyst", "pigment"], "the weighing"), (["catalyst", "thickness"], "what was written down"), (["thickness"], "what was written down"),
])
def test_the_weighing_is_to_be_checked_where_all_that_is_odd_was_weighed(names, says):
    assert to_check(catalogue()["factors"][name] for name in names) == says


def test_a_pull_is_as_rare_as_its_rank_among_the_logs_on_either_side():
    """Of five logs the ranks are 0.1 to 0.9 of the way; the last column, a distance, is strange on its far side alone."""
    pulls = np.array([[0.0, 9.0], [7.0, 3.0], [2.0, 2.0], [-3.0, 5.0], [1.0, 4.0]])
    assert _tail_chances(pulls) == pytest.approx(np.array([[0.6, 0.1], [0.2, 0.7], [0.6, 0.9], [0.2, 0.3], [1.0, 0.5]]))


@pytest.mark.parametrize("away, least, odd", [
    ([0.0, 0.5, 4.0], 1e-4, 12), ([0.0, 0.5, 4.0], 6e-5, None), ([-4.0, 0.5, 0.0], 1e-4, 10), ([-4.0, 0.5, 4.0], 1e-4, None), ([0.5, 4.0], 1e-4, None),
    ([0.0, 1.9, 4.0], 1e-4, None),  # 22.2, 32.5 and 49.4 min: 16.9 is less than three times 10.3
])
def test_the_one_reading_that_its_fellows_contradict_by_hand(away, least, odd):
    """Of one pour, 3 with 0.1 of its session on the log of minutes and a scatter of 0.2: four times that is met 6.33 times in 100,000, on either side."""
    seen, index = np.exp(3.1 + 0.2 * np.array(away)), range(10, 10 + len(away))
    fit = SimpleNamespace(reading=catalogue()["readings"]["gel_time"], rows=pd.DataFrame({"low": seen, "high": seen}, index=index),
                          columns=np.ones((20, 1)), groups={"session": np.array(["S2"] * 20)}, posterior=SimpleNamespace(
                              coefficients=np.full((4, 1), 3.0), sd=np.full(4, 0.2), cuts=None, group_levels={"session": np.array(["S1", "S2"])},
                              group_effects={"session": np.array([[-0.5, 0.1]] * 4)}))
    assert _odd_reading(fit, fit.rows, least) == odd


@pytest.mark.parametrize("hardness, ages, apart", [
    ([3, 4, 5, 46, 48, 43], [4, 4, 4, 24, 24, 24], False),  # still soft at 4 h, and alike there
    ([0, 2, 3, 56, 56, 53], [4, 4, 4, 24, 24, 24], False),  # 1 is between 0.5 and 1.5, and the others take up 2
    ([4, 5, 5, 31, 26, 27], [4, 4, 4, 24, 24, 24], False),  # 4 and 5 may both be 4.5
    ([38, 78, 82, 60, 61, 62], [24, 24, 24, 4, 4, 4], True),  # 39 against three times 5
    ([38, 70, 82, 60, 61, 62], [24, 24, 24, 4, 4, 4], False),  # 31 against three times 13
    ([82, 38, 40, 60, 61, 62], [24, 24, 24, 4, 4, 4], True),  # too high as well as too low
    ([38, 60, 80], [24, 4, 168], True),  # none of its age to compare it with
])
def test_a_slip_differs_from_the_other_readings_of_its_age_by_hand(hardness, ages, apart):
    """The gauge reads whole numbers, so 78 and 82 take up 77.5 to 82.5: a range of 5."""
    rows = pd.DataFrame({"low": np.array(hardness, float), "high": np.array(hardness, float), "age": np.array(ages, float)})
    assert _apart_at_its_age(catalogue()["readings"]["hardness"], rows, 0) is apart


@pytest.mark.parametrize("near, says", [
    (1.4, "No other pour is close to it in all settings at once, so the model may be wrong there, not the pour."),
    (1.6, "It is the only pour of its session, so the day may be the reason."),
])
def test_a_pour_with_no_other_near_it_may_be_the_models_fault(near, says):
    """Each setting of P2 lies within those of the others, though none had both; a pour counts 1 for itself."""
    rows = pd.DataFrame({"pour": ["P1", "P2", "P3"], "session": ["S1", "S2", "S1"], "catalyst": [1.0, 1.0, 2.0], "pigment": [0.0, 4.0, 4.0]})
    fit = SimpleNamespace(rows=rows, study=GEL, believed=SimpleNamespace(factors={"catalyst"}), castings_near=lambda one: np.full(len(one), near))
    assert _unlike_the_others(fit, "P2") == (says, near < 1.5)


def test_a_pour_that_no_other_is_close_to_is_told_apart_from_those_to_look_at_again():
    hardness, tack = (catalogue()["readings"][name] for name in ("hardness", "tack"))
    seen = pd.DataFrame({"pour": ["P1", "P2", "P3"], "inside": 1.0})
    near, alone = Suspect("P1", "P1 read 20.", (), 0.001), Suspect("P2", "P2 read 90.", (), 0.001, alone=True)
    said = "The readings of P2 (hardness) are not as predicted, but no other pour is close: the model may be wrong there, or the pour."
    assert CheckedLog({"hardness": Checked(hardness, seen, (near, alone))}, {}).sentence() == f"1 pour to look at again: P1 (hardness). {said}"
    only = CheckedLog({"hardness": Checked(hardness, seen, (alone,))}, {})
    assert only.sentence() == f"No pour stands out among those with others close by. {said}"
    both = CheckedLog({"hardness": Checked(hardness, seen, (alone,)), "tack": Checked(tack, seen, (replace(alone, alone=False),))}, {})
    assert both.sentence() == "1 pour to look at again: P2 (hardness and tack)."
