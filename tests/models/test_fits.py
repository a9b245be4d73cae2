"""Fits: a supplier's printed gel times, least squares anyone can redo, and what an empty log leaves."""

import pickle
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linprog

from testpour.common.problems import NoSuchName
from testpour.logbook.book import Logbook
from testpour.models.beliefs import beliefs_for
from testpour.models.fits import fit_castings
from testpour.models.reading_model import counted, labels_of, rows_of
from testpour.models.terms import design, warmth
from testpour.study.columns import Reading
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from

# Supplier data sheet, promoted isophthalic laminating resin: gel time in minutes at two doses of catalyst
# and two temperatures, as printed: 1.25 % at 77 °F 20 to 25, 0.6 % at 77 °F 40 to 50, 1.25 % at 65 °F
# 35 to 45, 0.6 % at 65 °F 55 to 65.
SHEET = pd.DataFrame({
    "catalyst": [1.25, 0.6, 1.25, 0.6],
    "room_temperature": [(f - 32) / 1.8 for f in (77, 77, 65, 65)],
    "low": [20.0, 40.0, 35.0, 55.0],
    "high": [25.0, 50.0, 45.0, 65.0],
}, index=["A", "B", "C", "D"])
GEL_ONLY = study_from({"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"gel_time": {}}})


def nearly_flat(scatter):
    flat = {"level": {"mean": 3, "sd": 20}, "catalyst": {"mean": 0, "sd": 20}, "warmth": {"mean": 0, "sd": 1500},
            "catalyst_bend": {"mean": 0, "sd": 1e-6}, "scatter": {"reading": scatter, "session": 0.001}}
    return {"gel_time": flat}


def sheet_castings(castings_of, exact=False):
    ends = SHEET[["low", "high"]]
    if exact:
        ends = pd.DataFrame({"low": ends.mean(axis=1), "high": ends.mean(axis=1)})
    return castings_of(
        GEL_ONLY, SHEET[["catalyst", "room_temperature"]], ends.assign(pour=SHEET.index, reading="gel_time").reset_index()
    )


def allowed(which):
    """Smallest and largest coefficient for which all four printed ranges can hold: a linear program."""
    matrix = np.column_stack([np.ones(4), np.log(SHEET["catalyst"] / 1.5), warmth(SHEET["room_temperature"])])
    bounds = np.r_[np.log(SHEET["high"]), -np.log(SHEET["low"])]
    goal = np.eye(3)[which]
    ends = [linprog(s * goal, np.vstack([matrix, -matrix]), bounds, bounds=[(None, None)] * 3) for s in (1, -1)]
    assert all(end.success for end in ends)
    return ends[0].x[which], ends[1].x[which]


def test_printed_ranges_give_what_they_allow_and_no_more(castings_of):
    """With next to no belief and little scatter, the draws fill the range that the printed ends allow."""
    fit = fit_castings(sheet_castings(castings_of), beliefs=nearly_flat(0.005), remainder=False)["gel_time"]
    for which, name in ((1, "catalyst"), (2, "warmth")):  # exponent, activation energy
        drawn = fit.posterior.coefficients[:, [term.name for term in fit.believed.terms].index(name)]
        low, high = allowed(which)
        assert low < drawn.mean() < high
        slack = 0.1 * (high - low)  # scatter is little, not none
        assert np.mean((drawn > low - slack) & (drawn < high + slack)) > 0.98
        assert drawn.std() > 0.1 * (high - low)  # and a range is not taken for its middle


def test_middles_of_the_printed_ranges_are_least_squares(castings_of):
    """ln t = a - n ln c + E/(R T) through the four middles with numpy's lstsq: n 0.748, E 46.8 kJ/mol."""
    middle = SHEET[["low", "high"]].mean(axis=1)
    kelvin = SHEET["room_temperature"] + 273.15
    matrix = np.column_stack([np.ones(4), np.log(SHEET["catalyst"]), 1 / kelvin])
    (start, slope, heat), *_ = np.linalg.lstsq(matrix, np.log(middle), rcond=None)
    energy = 8.314462618e-3 * heat
    assert (-slope, energy) == (pytest.approx(0.748, abs=5e-4), pytest.approx(46.8, abs=0.05))
    assert np.abs(np.log(middle) - matrix @ [start, slope, heat]).max() == pytest.approx(0.072, abs=5e-4)

    fit = fit_castings(sheet_castings(castings_of, exact=True), beliefs=nearly_flat(0.001), remainder=False)["gel_time"]
    level, catalyst, _, warm = fit.posterior.coefficients.mean(axis=0)  # the third is the bend, held at nought
    assert (-catalyst, -warm) == (pytest.approx(0.748, abs=1e-3), pytest.approx(46.8, abs=0.1))
    at_reference = np.exp(start + slope * np.log(1.5) + heat / 293.15)
    assert np.exp(level) == pytest.approx(at_reference, rel=2e-3)


@pytest.fixture(scope="module")
def fits(practice_fits):
    return practice_fits


@pytest.fixture(scope="module")
def empty(study, tmp_path_factory):
    book = Logbook(replace(study, folder=tmp_path_factory.mktemp("empty")))
    yield fit_castings(book.castings())
    book.close()


def test_an_empty_log_returns_beliefs_and_says_so(study, empty):
    assert list(empty) == [r.name for r in study.readings]
    for fit in empty.values():
        assert fit.pours == 0
        assert fit.sentence() == f"No {fit.reading.words} in the log yet: what is said about it is belief alone."
        drawn, believed = fit.posterior.coefficients, fit.believed
        error = believed.sd / np.sqrt(len(drawn))
        assert np.all(np.abs(drawn.mean(axis=0) - believed.mean) < 5 * error)
        assert drawn.std(axis=0) == pytest.approx(believed.sd, rel=0.1)


def test_the_summary_of_an_empty_log_is_the_belief(empty):
    """Normal(-0.75, 0.33) as `beliefs.toml` states it; its middle 90 % reaches 1.645 sd either way (normal tables)."""
    row = empty["gel_time"].summary().loc["catalyst"]
    assert list(row[["believed", "believed_sd"]]) == [-0.75, 0.33]
    assert row["mean"] == pytest.approx(-0.75, abs=0.03) and row["sd"] == pytest.approx(0.33, abs=0.02)
    assert row["low"] == pytest.approx(-0.75 - 0.543, abs=0.05) and row["high"] == pytest.approx(-0.75 + 0.543, abs=0.05)


def test_the_summary_of_printed_middles_is_least_squares(castings_of):
    """Belief so wide that it says next to nothing: coefficient and order as numpy's least squares finds them."""
    castings = sheet_castings(castings_of, exact=True)
    fit = fit_castings(castings, beliefs=nearly_flat(0.05), remainder=False)["gel_time"]
    free = [term for term in fit.believed.terms if term.name != "catalyst_bend"]  # which is held at nought
    slopes = np.linalg.lstsq(design(free, castings.pours), np.log(SHEET[["low", "high"]].mean(axis=1)), rcond=None)[0]
    assert fit.summary()["mean"].drop("catalyst_bend").to_numpy() == pytest.approx(slopes, rel=0.05)


def test_an_empty_log_predicts_what_the_trade_believes(empty):
    """exp(3.2) = 24.5 min at 1.5 % and 20 °C; 50 kJ/mol makes 15 °C slower by exp(50/R (1/288.15-1/293.15)) = 1.427."""
    at_20, at_15 = (empty["gel_time"].predict(room=room)["middle"].iloc[0] for room in (20, 15))
    assert at_20 == pytest.approx(24.5, rel=0.05)
    assert at_15 / at_20 == pytest.approx(1.427, rel=0.05)


def test_fits_know_what_they_rest_on(fits, practice_castings):
    assert fits.castings is practice_castings and len(fits) == 7
    assert fits["hardness"].sentence() == "Hardness: 108 readings of 12 pours in 2 sessions."
    assert fits["gel_time"].pours == 12 and list(fits) == [r.name for r in fits.study.readings]
    assert fits.sentence().count("12 pours in 2 sessions.") == 7
    assert fits._repr_markdown_().count("- ") == 7
    with pytest.raises(NoSuchName, match="No reading 'gloss' in this study; it has gel_time, time_to_peak"):
        fits["gloss"]


@pytest.mark.slow
def test_silence_is_filled_with_the_usual_and_said(castings_of, study):
    pours = pd.DataFrame({"catalyst": [1.0, 2.0], "room_temperature": [18.0, np.nan]}, index=["A", "B"])
    read = pd.DataFrame({"pour": ["A", "B"], "reading": "gel_time", "low": [30.0, 15.0], "high": [34.0, 19.0]})
    fit = fit_castings(castings_of(study, pours, read))["gel_time"]
    assert "Room temperature was not written down for 1 pour; 20 °C is assumed." in fit.sentence()
    assert "Cover was not written down for 2 pours; yes is assumed." in fit.sentence()
    assert "Catalyst was" not in fit.sentence()


def test_a_reading_without_an_age_is_taken_at_the_first_of_its_ages(castings_of, study):
    """Hardness is read at 4, 24 and 168 h in this study; what stands without one is the youngest."""
    pours = pd.DataFrame({"catalyst": [1.0, 2.0]}, index=["A", "B"])
    read = pd.DataFrame({"pour": ["A", "B"], "reading": "hardness", "low": [70.0, 80.0], "high": [70.0, 80.0], "age": [np.nan, 24.0]})
    assert rows_of(castings_of(study, pours, read), study.reading("hardness"))[0]["age"].tolist() == [4.0, 24.0]


@pytest.mark.parametrize("step", [0.0, 0.1])
def test_a_nought_of_what_spreads_by_ratios_is_less_than_the_least_read(castings_of, step):
    """Styrene of 0, 0.3 and 0.5 mg/L: the nought says less than 0.3, and not the millionth part of it. With a step it is known to half of that."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"styrene": {"unit": "mg/L", "low": 0, "high": 50, "scale": "log", "resolution": step}}})
    pours = pd.DataFrame({"catalyst": [1.0, 2.0, 1.5]}, index=["A", "B", "C"])
    read = pd.DataFrame({"pour": ["A", "B", "C"], "reading": "styrene", "low": [0.0, 0.3, 0.5], "high": [0.0, 0.3, 0.5]})
    rows, assumed = rows_of(castings_of(study, pours, read), study.reading("styrene"))
    assert rows["low"].tolist() == [0.0, 0.3, 0.5] and rows["high"].tolist() == [0.0 if step else 0.3, 0.3, 0.5]
    assert ("Readings of 0 of styrene are taken as less than 0.3 mg/L, the least read above 0." in assumed) is not bool(step)


def test_ages_beyond_those_read_are_said_in_days(castings_of, study):
    """Read at 4 h and at 168, seven days; asked for at 336 h and at 3."""
    pours = pd.DataFrame({"catalyst": [1.0, 2.0]}, index=["A", "B"])
    read = pd.DataFrame({"pour": ["A", "B"], "reading": "hardness", "low": [70.0, 80.0], "high": [70.0, 80.0], "age": [4.0, 168.0]})
    castings = castings_of(study, pours, read)
    fit = fit_castings(castings)["hardness"]
    assert fit.predict(age="336 h")["beyond"].iloc[0].endswith("age 14 days (read at 4 h to 7 days)")
    assert fit.predict(age=3)["beyond"].iloc[0].endswith("age 3 h (read at 4 h to 7 days)")
    assert list(castings.wide().filter(like="hardness")) == ["hardness at 4 h (Shore D)", "hardness at 7 days (Shore D)"]


def test_predictions_have_columns_in_order_and_rows_as_asked(fits):
    asked = [{"catalyst": 2.5}, {"catalyst": 1}, {"catalyst": "2 %"}]
    table = fits["gel_time"].predict(asked, room="17 degC")
    assert list(table.columns) == ["middle", "low", "high", "beyond", "met"] and table.index.tolist() == [1, 2, 3]
    assert (table["low"] < table["middle"]).all() and (table["middle"] < table["high"]).all()
    assert table["middle"].iloc[1] > table["middle"].iloc[2] > table["middle"].iloc[0]
    every = fits.predict(asked)
    assert every.index.names == ["setting", "reading"] and len(every) == 3 * 7
    assert every.index.get_level_values("reading").tolist()[:7] == list(fits)
    narrow = fits["gel_time"].predict(asked, room="17 degC", level=0.5)
    assert ((narrow["high"] - narrow["low"]) < 0.6 * (table["high"] - table["low"])).all()


def test_predictions_stay_on_the_scale(fits):
    far = [{"catalyst": 10, "thickness": 60, "cover": "no"}, {"catalyst": 0, "thickness": 1, "pigment": 15}]
    every = fits.predict(far, room=40)
    for name, rows in every.drop(columns=["beyond", "met"]).groupby("reading"):
        reading = fits.study.reading(name)
        assert np.isfinite(rows.to_numpy()).all()
        if reading.scale in ("share", "grades"):
            assert rows.to_numpy().min() >= reading.low and rows.to_numpy().max() <= reading.high


def test_a_prediction_that_cannot_be(fits):
    with pytest.raises(StudyProblems, match="colour is not a factor"):
        fits.predict({"colour": "red"})


@pytest.mark.slow
def test_the_same_seed_is_the_same_answer(practice_castings, fits):
    again = fit_castings(practice_castings)
    other = fit_castings(practice_castings, seed=1)
    for name, fit in fits.items():
        np.testing.assert_array_equal(fit.posterior.coefficients, again[name].posterior.coefficients)
        assert not np.array_equal(fit.posterior.coefficients, other[name].posterior.coefficients)
    pd.testing.assert_frame_equal(fits.predict(room=18), again.predict(room=18))


@pytest.mark.slow
def test_another_seed_moves_an_answer_by_little(practice_castings, fits):
    """2,000 draws: the middle of a prediction moves by a few hundredths of its interval, five at the most here."""
    here, there = (f.predict(room=18).loc[1] for f in (fits, fit_castings(practice_castings, seed=1)))
    smooth = [r.name for r in fits.study.readings if not r.grades]
    moved = (here["middle"] - there["middle"]).abs() / (here["high"] - here["low"])
    assert moved[smooth].max() < 0.05


@pytest.mark.slow
def test_fitting_never_edits_the_log(study, practice_castings):
    pours, readings = practice_castings.pours.copy(), practice_castings.readings.copy()
    fit_castings(practice_castings).predict(practice_castings.pours)
    pd.testing.assert_frame_equal(practice_castings.pours, pours)
    pd.testing.assert_frame_equal(practice_castings.readings, readings)


def simulated(study, castings_of, rng, pours=12):
    """A log drawn from the model itself: coefficients from belief, scatter from its half-normals, checks every 4 min."""
    believed = beliefs_for(study, study.reading("gel_time"))
    truth = rng.normal(believed.mean, believed.sd)
    spread = {name: abs(rng.normal(0, scale)) for name, scale in believed.scatter.items()}
    table = pd.DataFrame({"catalyst": rng.uniform(1, 2.5, pours), "room_temperature": np.repeat([17.0, 22.0], pours // 2)})
    table.index = [f"P{i:02d}" for i in range(1, pours + 1)]
    table["session"] = np.repeat(["S1", "S2"], pours // 2)
    day = np.repeat(rng.normal(0, spread["session"], 2), pours // 2)
    minutes = np.exp(design(believed.terms, table) @ truth + day + rng.normal(0, spread["reading"], pours))
    minutes = np.clip(minutes, 1, 1400)
    low = np.maximum(4 * np.floor(minutes / 4), 0.5)
    read = pd.DataFrame({"pour": table.index, "reading": "gel_time", "low": low, "high": 4 * np.floor(minutes / 4) + 4})
    return truth, castings_of(study, table, read)


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say(castings_of):
    """60 logs from the model: the 80 % interval of the catalyst effect should hold the truth 48 times, give or
    take 3 (binomial); 41 to 55 is two to two and a half standard deviations, and the seed is fixed."""
    rng = np.random.default_rng(20260301)
    held, ranks = 0, []
    for seed in range(60):
        truth, castings = simulated(GEL_ONLY, castings_of, rng)
        drawn = fit_castings(castings, seed=seed)["gel_time"].posterior.coefficients[:, 1]
        low, high = np.quantile(drawn, [0.1, 0.9])
        held += low <= truth[1] <= high
        ranks.append(np.mean(drawn < truth[1]))
    assert 0.68 <= held / 60 <= 0.92
    # The truth's place among the draws is uniform, mean 1/2 with standard error 1/sqrt(12 * 60) = 0.037.
    assert abs(np.mean(ranks) - 0.5) < 3 * 0.0373


def test_a_drawn_spread_next_to_nothing_does_not_stop_a_fit(castings_of, study):
    """Four pours read between checks, on which elimination once lost a drawn matrix to rounding (seed 0)."""
    pours = pd.DataFrame(
        {
            "session": "S1",
            "catalyst": [1.4, 2.0, 1.2, 2.5],
            "pigment": [4.0, 0.2, 0.5, 4.0],
            "thickness": [15.0, 12.0, 14.0, 9.0],
            "cover": [0.0, 0.0, 1.0, 1.0],
            "room_temperature": 20.0,
            "humidity": 50.0,
        },
        index=["P01", "P02", "P03", "P04"],
    )
    readings = pd.DataFrame(
        {"pour": pours.index, "reading": "gel_time", "low": [24.0, 12, 20, 16], "high": [28.0, 16, 24, 20]}
    )
    one = replace(study, readings=(study.reading("gel_time"),), aims=())
    fit = fit_castings(castings_of(one, pours, readings), seed=0)["gel_time"]
    assert 12 < fit.predict({"catalyst": "1.5 %"})["middle"].iloc[0] < 30


@pytest.mark.parametrize("peak", [17.0, 19.0, 196.0, 230.0])
def test_a_peak_under_the_room_or_over_the_full_rise_is_taken_for_the_end_of_the_scale(castings_of, study, peak):
    pours = pd.DataFrame(
        {"session": "S1", "catalyst": [1.0, 1.5, 2.0], "thickness": [3.0, 8.0, 18.0], "room_temperature": 20.0},
        index=["P01", "P02", "P03"],
    )
    seen = [peak, 60.0, 120.0] if peak < 60 else [25.0, 60.0, peak]
    readings = pd.DataFrame({"pour": pours.index, "reading": "peak_temperature", "low": seen, "high": seen})
    one = replace(study, readings=(study.reading("peak_temperature"),), aims=())
    fit = fit_castings(castings_of(one, pours, readings))["peak_temperature"]
    assert fit.pours == 3
    assert 20 < fit.predict({"thickness": "8 mm"})["middle"].iloc[0] < 195


@pytest.mark.parametrize("seen, half", [
    ([20.0, 20.0, 20.0, 20.0], 0.5), ([20.0, 20.0, 15.5, 15.5], 0.05), ([20.0871, 20.0871, 15.5, 15.5], 0.05),
])
def test_repeats_that_never_differ_are_rounded_and_fitted_as_such(castings_of, seen, half):
    """A watch read to the minute, or to a tenth: as many castings known to lie half a step either side, to the digit."""
    pours = pd.DataFrame({"catalyst": [1.5, 1.5, 2.0, 2.0], "room_temperature": 20.0}, index=list("ABCD"))
    read = pd.DataFrame({"pour": list("ABCD"), "reading": "gel_time", "low": seen, "high": seen})
    between = read.assign(low=read["low"] - half, high=read["high"] + half)
    found, known = (fit_castings(castings_of(GEL_ONLY, pours, rows))["gel_time"] for rows in (read, between))
    assert found.posterior.sd == pytest.approx(known.posterior.sd, rel=1e-9)
    assert found.assumed == (f"Equal values of gel time are taken as read to {2 * half:g} min.",) and known.assumed == ()


@pytest.mark.parametrize("minutes, sessions", [
    ([30.0] * 8, "AAAAAAAA"), ([30.0] * 8, "ABCDEFGH"), ([30.0] * 4 + [20.0] * 4, "AAAABBBB"), ([40.0, 30.0] * 4, "ABABABAB"),
])
def test_times_the_settings_account_for_to_the_last_digit_are_rounded_too(castings_of, minutes, sessions):
    """No two pours alike, one time in all, at a dose or in a session: a watch read to the minute leaves 29.5 to 30.5 min
    and 19.5 to 20.5, so a room of 6 K more may do what one of 3.4 % (5.1 %) does, and no effect is known to a hundredth."""
    pours = pd.DataFrame({"catalyst": [1.5] * 4 + [2.0] * 4, "room_temperature": [18.0, 20.0, 22.0, 24.0] * 2, "session": list(sessions)},
                         index=list("ABCDEFGH"))
    read = pd.DataFrame({"pour": pours.index, "reading": "gel_time", "low": minutes, "high": minutes})
    between = read.assign(low=read["low"] - 0.5, high=read["high"] + 0.5)
    found, known = (fit_castings(castings_of(GEL_ONLY, pours, rows))["gel_time"] for rows in (read, between))
    assert found.posterior.sd == pytest.approx(known.posterior.sd, rel=1e-9)
    assert found.assumed == ("Equal values of gel time are taken as read to 1 min.",)
    drawn = found.mean(pd.DataFrame({"catalyst": [1.75, 1.75], "room_temperature": [18.0, 24.0]}))
    low, high = 100 * np.quantile(np.expm1(drawn[:, 1] - drawn[:, 0]), [0.05, 0.95])
    assert low < 0 < high and 1 < high - low < 40


def test_a_score_without_scatter_is_read_to_whole_numbers(castings_of):
    """Four points on a line, 2 drops a point: read to 1, each end of the line may be half a point off."""
    study = study_from({"factors": {"drops": {"low": 0, "high": 40, "from": 6, "to": 24}}, "readings": {"score": {"low": 0, "high": 10}}})
    seen = [4.0, 5.0, 6.0, 7.0]
    read = pd.DataFrame({"pour": list("ABCD"), "reading": "score", "low": seen, "high": seen})
    fit = fit_castings(castings_of(study, pd.DataFrame({"drops": [8.0, 12.0, 16.0, 20.0]}, index=list("ABCD")), read))["score"]
    assert fit.assumed == ("The values of score show no scatter and are taken as read to 1.",)
    assert (fit.rows["low"].tolist(), fit.rows["high"].tolist()) == ([3.5, 4.5, 5.5, 6.5], [4.5, 5.5, 6.5, 7.5])


def test_equal_times_beside_repeats_that_differ_are_taken_as_they_are(castings_of):
    """Published yields repeat a value here and there; their scatter is known all the same."""
    pours = pd.DataFrame({"catalyst": [1.5, 1.5, 2.0, 2.0], "room_temperature": 20.0}, index=list("ABCD"))
    read = pd.DataFrame({"pour": list("ABCD"), "reading": "gel_time", "low": [20.0, 20.0, 15.0, 16.0], "high": [20.0, 20.0, 15.0, 16.0]})
    assert fit_castings(castings_of(GEL_ONLY, pours, read))["gel_time"].assumed == ()


def test_times_that_differ_are_taken_as_they_are(castings_of):
    pours = pd.DataFrame({"catalyst": 1.5, "room_temperature": 20.0}, index=list("ABC"))
    read = pd.DataFrame({"pour": list("ABC"), "reading": "gel_time", "low": [20.0, 22.0, 23.0], "high": [20.0, 22.0, 23.0]})
    fit = fit_castings(castings_of(GEL_ONLY, pours, read))["gel_time"]
    assert list(fit.rows["low"]) == list(fit.rows["high"]) == [20.0, 22.0, 23.0] and fit.assumed == ()


def test_fits_may_be_kept_in_a_pickle(plain_fits):
    again = pickle.loads(pickle.dumps(plain_fits))
    asked = {"catalyst": "1.8 %", "thickness": "12 mm"}
    assert list(again) == list(plain_fits)
    assert again.predict(asked, room=18).equals(plain_fits.predict(asked, room=18))


@pytest.mark.parametrize(("values", "declared", "step"), [
    ([0, 1, 3, 2, 2, 1], {}, 1.0), ([0, 1, 3, 2.5, 2, 1], {}, 0.0), ([0, 1, 3, 2, 2, 1], {"resolution": 0.5}, 0.5), ([0, 1, 3, 2, 2, 1], {"unit": "mm"}, 0.0),
])
def test_a_score_of_which_whole_numbers_alone_were_read_is_read_in_whole_numbers(values, declared, step):
    """Declared or seen, its step is the same: 2 is read from 1.5 to 2.5, so that a score of 2 meets at most 2."""
    parts = {"factors": {"catalyst": {"from": 1, "to": 2}}, "aims": {"bubbles": {"at_most": 2}}}
    study = study_from({**parts, "readings": {"bubbles": {"low": 0, "high": 5, **declared}}})
    log = Logbook(study, "sqlite://")
    log.add_all([{"pour": f"P{i}", "session": "S1", "settings": {"catalyst": 1 + i / 5}, "readings": [{"reading": "bubbles", "value": value}]}
                 for i, value in enumerate(values)])
    castings = log.castings()
    fit = fit_castings(castings, remainder=False)["bubbles"]
    log.close()
    assert fit.reading.resolution == step
    assert ("Bubbles is taken as read in whole numbers." in fit.sentence()) is (step == 1.0)
    if step == 1.0:
        written = study_from({**parts, "readings": {"bubbles": {"low": 0, "high": 5, "resolution": 1}}})
        same = fit_castings(replace(castings, study=written), remainder=False)["bubbles"]
        assert fit.predict({"catalyst": 1.5}).equals(same.predict({"catalyst": 1.5}))


@pytest.mark.parametrize("low, high, step", [
    ([1.0, 4.0], [1.0, 4.0], 1), ([4.0], [4.0], 0), ([1.0, 4.0, 2.0], [1.0, 5.0, np.inf], 0), ([1.0, 4.5], [1.0, 4.5], 0),
])
def test_two_whole_numbers_read_exactly_make_a_count(low, high, step):
    rows, plain = pd.DataFrame({"low": low, "high": high}), Reading("bubbles", "", 0, 9)
    reading, assumed = counted(plain, rows, ("before",))
    assert reading.resolution == step and assumed == (("Bubbles is taken as read in whole numbers.", "before") if step else ("before",))


def test_what_may_share_an_error_is_told_apart_as_text():
    rows = pd.DataFrame({"session": [1, None], "resin_lot": ["A", np.nan], "pour": [7, 8]}, dtype=object)
    assert {name: list(labels) for name, labels in labels_of(rows).items()} == {"session": ["1", ""], "resin_lot": ["A", ""], "pour": ["7", "8"]}


@pytest.mark.parametrize("given", [{"age": "7 days"}, {"room": "24 degC"}, {"level": 0.5}])
def test_what_is_asked_of_all_readings_is_asked_of_each(plain_fits, given):
    together = plain_fits.predict({"catalyst": 1.8}, **given)
    for name in ("hardness", "gel_time"):
        assert together.xs(name, level="reading").to_numpy() == pytest.approx(plain_fits[name].predict({"catalyst": 1.8}, **given).to_numpy())
