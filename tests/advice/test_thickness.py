"""A person's questions: answers against castings followed one by one, words that follow numbers, refusals."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from testpour.advice import asking, layers
from testpour.advice.asking import AskedTooMuch, CureQuestion, _outside, peak_bound
from testpour.advice.layers import TwoLayers, two_layers
from testpour.advice.oven import _check_oven, _hardness, _with_ceiling_slope, oven_hour
from testpour.advice.thickness import ThicknessLimit, thickness_limit
from testpour.common.problems import Problem
from testpour.common.wording import signed
from testpour.models.fits import fit_castings
from testpour.models.physics import LotFit
from testpour.models.physics_choice import FEWEST
from testpour.models.settings import settings_table
from testpour.physics.casting import Casting, Face, Layer, post_cure_programme
from testpour.physics.lots import UNKNOWNS, lot_beliefs, lots_at
from testpour.physics.resin import load_resin
from testpour.physics.slab import cure_many
from testpour.practice.practice import practice_resin
from testpour.report.cure_map import show_cure
from testpour.study.study import Aim
from testpour.study.study_file import study_from


def castings_from(study, castings_of, resin=None, rooms=(17.0, 22.0)):
    """Two sessions of a practice resin as castings; none without one."""
    pours, reads = [], []
    plan = pd.DataFrame({"catalyst": [1.0, 2.5, 1.6, 2.2, 1.3], "pigment": 0.5, "thickness": [6.0, 16.0, 11.0, 8.0, 14.0], "cover": 1.0})
    for number, room in enumerate(rooms if resin else ()):
        for made in resin.pour(plan.set_axis([f"P{number}{i}" for i in range(5)]), f"day {number}", room=room):
            pours.append({"pour": made["pour"], "session": f"day {number}", **made["settings"]})
            for answer in made["readings"]:
                low, high = answer.get("between") or (answer.get("not_yet", answer.get("value")), answer.get("value", np.inf))
                reads.append({"pour": made["pour"], "reading": answer["reading"], "low": low, "high": high, "age": answer["age"] or np.nan})
    numbers = {f.name: (object if f.kind == "text" else float) for f in study.factors}
    columns = ["pour", "session", *numbers]
    table = pd.DataFrame(pours, columns=columns).set_index("pour").astype(numbers)
    return castings_of(study, table, pd.DataFrame(reads, columns=["pour", "reading", "low", "high", "age"]))


@pytest.fixture(scope="module")
def unlearnt(study, castings_of):
    return fit_castings(castings_from(study, castings_of))


@pytest.fixture(scope="module")
def resin(study):
    return practice_resin(study, 2, kind="physical", difficulty="gentle")


@pytest.fixture(scope="module")
def learnt(study, castings_of, resin):
    return fit_castings(castings_from(study, castings_of, resin))


@pytest.fixture
def known(monkeypatch):
    """The lot is the default resin, and surely so."""
    monkeypatch.setattr(asking, "learn_lot", lambda castings: LotFit(np.zeros(9), 1e-14 * np.eye(9), (), 0, 0))


def slab(thickness, catalyst=1.5, room=20.0, **options):
    return cure_many([Casting(thickness, catalyst, room, face=Face(10.0), **options)]).iloc[0]


def test_heat_is_asked_near_what_was_poured_where_no_peak_was_read_and_said_to_rest_on_belief(study, castings_of):
    """Poured at 1.5 to 2 % and 6 to 8 mm, and only gel timed; 8 mm and a step of it are half as much again at most."""
    pours = pd.DataFrame({"catalyst": [1.5, 2.0], "thickness": [6.0, 8.0], "room_temperature": 20.0}, index=["A", "B"])
    read = pd.DataFrame({"pour": ["A", "B"], "reading": "gel_time", "low": [30.0, 20.0], "high": [30.0, 20.0]})
    fits = fit_castings(castings_of(study, pours, read))
    found = thickness_limit(fits, {"catalyst": 1.7}, room=20)
    assert found.thickest == pytest.approx(1.5 * (8 + study.factor("thickness").step))
    assert "No peak is in the log, so how hot it gets rests on belief alone." in found.caution
    with pytest.raises(AskedTooMuch, match=r"Catalyst 2\.5 % is beyond what was poured \(1\.5 to 2 %\), and no peak is in the log"):
        thickness_limit(fits, {"catalyst": 2.5}, room=20)


def test_the_limit_is_where_a_casting_followed_alone_reaches_the_bound(unlearnt, known):
    found = thickness_limit(unlearnt, {"catalyst": 1.5}, room=20, at_most=100)
    assert found.careful == found.middle == found.high
    assert slab(found.middle - 0.5).peak_temperature < 100 < slab(found.middle + 0.75).peak_temperature


def test_the_careful_limit_is_what_nineteen_lots_in_twenty_stand(unlearnt):
    """Beside the peaks it shows: the hottest lot in twenty stays under the bound up to the careful limit, the middle one up
    to the middle one, the coolest in twenty up to the high one, each no further than the next whole millimetre."""
    found = thickness_limit(unlearnt, {"catalyst": 1.5}, room=20, at_most=70)
    assert found.careful < found.middle < found.high < found.thickest
    for limit, lots in ((found.careful, "high"), (found.middle, "peak"), (found.high, "low")):
        peaks = found.table[lots]
        assert peaks[np.floor(limit)] <= 70 < peaks[np.floor(limit) + 1]


def test_of_two_aims_for_the_peak_the_lower_is_the_bound(unlearnt):
    aims = tuple(Aim("peak_temperature", at_most=bound) for bound in (115.0, 95.0))
    question = CureQuestion(replace(unlearnt.study, aims=aims), {"room_temperature": 20.0}, None, 30.0, ())
    assert peak_bound(question, None) == 95


def test_more_catalyst_and_a_warmer_room_stand_less(unlearnt, known):
    """Heat made faster leaves less time to lose it; a label table of casting resin falls the same way."""
    base, strong, warm = (
        thickness_limit(unlearnt, {"catalyst": c}, room=room).middle for c, room in ((1.2, 18), (2.4, 18), (1.2, 25))
    )
    assert strong < base
    assert warm < base


@pytest.mark.slow
def test_a_log_narrows_the_limit_about_the_truth(study, unlearnt, learnt, resin):
    """The truth: the practice resin's own peaks over thickness."""
    before, after = (thickness_limit(fits, {"catalyst": 2.0}, room=20) for fits in (unlearnt, learnt))
    assert after.high - after.careful < 0.5 * (before.high - before.careful)
    depths = np.arange(5.0, 20.0, 0.25)
    table = settings_table(study, pd.DataFrame({"catalyst": 2.0, "thickness": depths}), room=20).assign(age=24.0)
    true = depths[(resin.ideal(table)["peak_temperature"] <= 110).to_numpy()].max()
    assert after.careful - 1 <= true <= after.high + 1
    assert "guess" in before.caution and "10 pours" in after.caution


def test_the_bound_is_the_studys_aim(unlearnt, known):
    assert thickness_limit(unlearnt).bound == 110
    assert thickness_limit(unlearnt, at_most="90 degC").middle < thickness_limit(unlearnt).middle


@pytest.mark.parametrize("careful, high, says", [(8.0, 12.0, "lie as high as 12 mm"), (8.0, 27.0, "more than 27 mm"),
                                                 (27.0, 27.0, "stands every thickness"), (0.0, 12.0, "no thickness is sure")])
def test_the_limits_words_follow_its_numbers(unlearnt, careful, high, says):
    found = replace(thickness_limit(unlearnt), careful=careful, high=high, thickest=27.0)
    assert says in found.sentence()


@pytest.mark.parametrize("middle, says", [
    (13.5, "is more likely than not above 13.5 mm, the most that may be asked here."),
    (12.75, "is most likely near 12 mm, and may be more than 13.5 mm."),
])
def test_the_likeliest_limit_is_no_number_above_the_most_that_may_be_asked(unlearnt, middle, says):
    found = replace(thickness_limit(unlearnt), careful=6.0, middle=middle, high=13.5, thickest=13.5)
    assert found.sentence().endswith(f"the limit itself {says}")


@pytest.mark.slow
def test_layers_are_castings_with_a_layer(unlearnt, known):
    """One wait followed alone, built by hand."""
    found = two_layers(unlearnt, {"catalyst": 1.5, "thickness": 24}, room=20)
    whole = slab(24.0, hours=12.0)
    assert found.whole[1] == pytest.approx(whole.hottest, abs=0.3)
    layered = slab(12.0, hours=12.0, layers=(Layer(12.0, whole.gel_time + 60.0, 1.5),))
    assert found.table.loc[60.0, "hottest"] == pytest.approx(layered.hottest, abs=2.0)  # 24 slices for 48, at 200 °C
    assert found.table.loc[60.0, "minute"] == pytest.approx(whole.gel_time + 60, abs=0.1)


@pytest.mark.slow
def test_the_wait_is_one_from_which_every_longer_one_is_safe(unlearnt, known):
    found = two_layers(unlearnt, {"catalyst": 1.5, "thickness": 24}, room=20)
    assert found.needed
    assert (found.table.loc[found.wait :, "under"] >= 0.9).all()
    assert found.table["under"].iloc[list(found.table.index).index(found.wait) - 1] < 0.9
    assert "pour the second about" in found.sentence()


def test_the_wait_waits_and_minutes_by_hand(unlearnt, monkeypatch):
    """Lots that gel at 20 to 31 min and get 130 °C hot in one. Of twelve, eleven in two layers stay under 110 °C after 5, 30
    and 60 min and longer, ten after 15 and 45: only from 60 min on do nine in ten at every wait."""
    under = {5: 11, 15: 10, 30: 11, 45: 10, 60: 11, 90: 12, 120: 12, 180: 12}
    layered = np.concatenate([np.r_[np.full(count, 100.0), np.full(12 - count, 120.0)] for count in under.values()])
    alone = pd.DataFrame({"gel_time": np.arange(20.0, 32.0), "hottest": 130.0})
    monkeypatch.setattr(layers, "cure_many", lambda castings, slices=None: alone if len(castings) == 12 else pd.DataFrame({"hottest": layered}))
    found = two_layers(unlearnt, {"catalyst": 1.5, "thickness": 24}, room=20)
    assert found.bound == 110 and found.wait == 60.0 and found.whole == (130, 130, 130)
    assert found.table["under"].tolist() == pytest.approx([count / 12 for count in under.values()])
    assert found.table.loc[60.0, "minute"] == 25.5 + 60


def test_a_thin_casting_needs_no_second_layer(unlearnt, known):
    found = two_layers(unlearnt, {"catalyst": 1.5, "thickness": 6}, room=20)
    assert "two layers are not needed" in found.sentence()


def table(*hottest):
    return pd.DataFrame({"minute": [40.0, 90.0], "hottest": hottest, "low": hottest, "high": hottest, "under": [0.0, 1.0]}, index=[10.0, 60.0])


@pytest.mark.parametrize("whole, rows, wait, says", [
    ((120, 130, 135), table(120.0, 90.0), 60.0, "it is safer: pour the second about 60 min"),
    ((120, 130, 135), table(150.0, 90.0), 60.0, "hotter still, worst about 10 min after its gel"),
    ((120, 130, 150), table(120.0, 90.0), 60.0, "where styrene boils: do not pour it in one"),
    ((120, 130, 135), table(128.0, 127.0), None, "hardly cooler"),
    ((120, 130, 135), table(128.0, 115.0), None, "not surely under 110 °C"),
])
def test_the_layers_words_follow_their_numbers(whole, rows, wait, says):
    said = TwoLayers("2 % catalyst", 110.0, 10.0, 10.0, whole, rows, wait, "").sentence()
    assert says in said and "less catalyst" not in said  # with 0.5 % already, it stays soft


@pytest.mark.parametrize("careful, middle", [(6.0, 8.0), (0.0, 0.0), (50.0, 50.0)])
def test_a_limit_in_other_units_is_said_to_three_digits(careful, middle):
    """200 °F is 93.33 °C by hand, and a third of an inch 8.47 mm."""
    bound, third = 280 / 3, 25.4 / 3
    said = ThicknessLimit("2 % catalyst", bound, careful, middle, 12.0, 50.0, table(1.0, 1.0), "").sentence()
    assert "93.3 °C" in said and "93.33" not in said
    for high in (90.0, 135.0):
        said = TwoLayers("2 % catalyst", bound, third, third, (80, 85, high), table(128.0, 60.0), None, "").sentence()
        assert said.startswith("16.9 mm in one pour") and "8.4666" not in said and "93.33" not in said


def test_a_first_layer_as_thick_as_the_whole_is_refused(unlearnt):
    with pytest.raises(Problem, match="first layer is 12 mm of a casting of 10 mm"):
        two_layers(unlearnt, {"thickness": 10}, first=12)


def test_an_hour_is_the_casting_with_its_programme(unlearnt, known, monkeypatch):
    monkeypatch.setattr("testpour.advice.oven._with_ceiling_slope", lambda resin, k: resin)
    found = oven_hour(unlearnt, {"catalyst": 1.5, "thickness": 8}, room=20)
    steps = post_cure_programme(20.0, 60.0, 1.0)
    alone = slab(8.0, programme=steps, hours=steps[-1][0])
    assert found.table.loc["face", "oven"] == pytest.approx(alone.face_conversion, abs=2e-3)
    assert found.table.loc["core", "before"] == pytest.approx(slab(8.0).core_conversion, abs=2e-3)


def test_the_gain_in_hardness_is_said_in_its_unit(unlearnt):
    found = oven_hour(unlearnt, {"catalyst": 1.5, "thickness": 8}, room=20)
    middle, low, high = (signed(end) for end in found.hardness)
    assert f"puts that at {middle} Shore D (90 % interval {low} to {high} Shore D)." in found.sentence()
    assert middle.startswith("+")


def test_what_nobody_believes_of_a_hardness_of_ones_own_is_not_told_before_a_post_cure_was_poured(study, castings_of, resin):
    """The trade has no view of Barcol: the ten pours say nothing of an oven until one of them has been in it."""
    barcol = tuple(replace(one, unit="Barcol") if one.name == "hardness" else one for one in study.readings)
    own, pours = replace(study, readings=barcol, ready={}), castings_from(study, castings_of, resin).pours
    read = pd.DataFrame({"pour": pours.index, "reading": "hardness", "low": 30.0, "high": 30.0, "age": 24.0})
    for baked, told in ((0.0, False), (2.0, True)):
        made = pours.assign(post_cure_temperature=[20.0, 60.0] * (len(pours) // 2), post_cure_time=[0.0, baked] * (len(pours) // 2))
        found = oven_hour(fit_castings(castings_of(own, made, read)), {"catalyst": 1.5, "thickness": 8}, room=20)
        assert (found.hardness is not None) == told and "so the hardness is belief" not in found.caution


@pytest.mark.parametrize("oven, hours, start, says", [
    (60, 4, 24, ""), (81, 4, 24, "warned"), (21, 72, 672, ""), (20, 4, 24, "must be warmer than the room"), (145, 4, 24, "and below 145"),
    (60, 0, 24, "A stay of 0 h"), (60, 72.5, 24, "cannot be followed"), (60, 4, 0, "from 0 h after mixing"), (60, 4, 673, "begin within four weeks"),
    (121, 4, 24, "above 120"),
])
def test_what_an_oven_may_be_asked_for(oven, hours, start, says):
    """In a room of 20 °C: above it and below where styrene boils, for three days at most, within four weeks; the
    cautions warn above 80 and refuse above 120 °C."""
    class Asked(dict):
        study = None

    if says in ("", "warned"):
        assert bool(_check_oven(Asked(room_temperature=20.0), oven, hours, start)) == bool(says)
    else:
        with pytest.raises(AskedTooMuch, match=says):
            _check_oven(Asked(room_temperature=20.0), oven, hours, start)


@pytest.mark.parametrize("beliefs", [{"level": True, "post_cure": False}, {"level": True}, {"post_cure": False, "level": True}])
def test_an_oven_of_which_nobody_knows_anything_has_no_gain(beliefs):
    """A belief about the level says nothing of a post-cure, and no pour was in an oven."""
    class Unbaked(dict):
        castings = SimpleNamespace(pours=pd.DataFrame({"post_cure_time": [0.0, np.nan]}))

    believed = SimpleNamespace(terms=[SimpleNamespace(name=name) for name in beliefs], beliefs=[SimpleNamespace(informative=one) for one in beliefs.values()])
    fit = SimpleNamespace(reading=SimpleNamespace(ages=()), believed=believed)
    assert _hardness(Unbaked(hardness=fit), None, 60.0, 4.0) is None and _hardness(Unbaked(), None, 60.0, 4.0) is None


def test_lots_differ_in_how_much_warmth_lets_them_cure():
    """No log tells it, so each lot has a rise of its own: spread as the belief says, and never a fall."""
    resin, spread = load_resin(), lot_beliefs()["ceiling_slope"]["sd"]
    rises = np.array([_with_ceiling_slope(resin, k).ceiling_slope for k in range(400)])
    assert rises.min() >= 0 and _with_ceiling_slope(resin, 7).ceiling_slope == rises[7]
    usual = resin.ceiling_slope
    drawn = norm(usual, spread)  # held at 0 where it would fall
    expected = quad(lambda x: max(x, 0) * drawn.pdf(x), usual - 8 * spread, usual + 8 * spread, points=[0])[0]
    assert rises.mean() == pytest.approx(expected, abs=4 * spread / 20)
    assert rises.std() > 0.5 * spread


def test_a_long_stay_ends_at_the_ceiling(unlearnt, known, monkeypatch):
    """Closed form: ceiling + slope * (60 - 25), which the rate law approaches and never passes."""
    monkeypatch.setattr("testpour.advice.oven._with_ceiling_slope", lambda resin, k: resin)
    found = oven_hour(unlearnt, {"catalyst": 1.5, "thickness": 4}, room=20, hours=48)
    resin = load_resin()
    ceiling = resin.ceiling + resin.ceiling_slope * (60.0 - 25.0)
    assert ceiling - 0.01 < found.table.loc["face", "oven"] <= ceiling
    assert "weeks in the room would not" in found.sentence()


def test_a_cool_oven_buys_hardly_anything(unlearnt):
    found = oven_hour(unlearnt, {"catalyst": 1.5, "thickness": 8}, room=20, oven="22 degC", hours="30 min")
    assert "hardly anything" in found.sentence()
    assert "No pour of the log has been in an oven" in found.caution


def test_an_oven_before_the_casting_is_past_its_peak_is_refused(unlearnt, known):
    """Where all lots are the resin itself, the peak is that of one slab followed alone."""
    mix, peak = {"catalyst": 1.5, "thickness": 8}, slab(8.0).time_to_peak / 60
    with pytest.raises(AskedTooMuch, match=rf"heating itself: nine lots in ten are past their own peak only after {peak:.1f} h"):
        oven_hour(unlearnt, mix, room=20, start=peak - 0.05)
    assert oven_hour(unlearnt, mix, room=20, start=peak + 0.05).start == peak + 0.05


@pytest.mark.parametrize("ask", [thickness_limit, two_layers, oven_hour, show_cure])
@pytest.mark.parametrize("settings, room, says", [
    ({"catalyst": 3.0}, 20, "Catalyst 3 % is beyond what was poured"),
    ({"catalyst": 1.5}, 28, "Room temperature 28 °C is beyond what was poured"),
    ({"catalyst": 4.5}, 20, "above 4 %"),
    ({"catalyst": 1.5}, 8, "below 10 °C"),
])
def test_beyond_the_evidence_nothing_is_answered(learnt, ask, settings, room, says):
    with pytest.raises(AskedTooMuch, match=says):
        ask(learnt, settings, room=room)


def test_what_was_poured_is_told_as_the_setting_is_shown(learnt):
    """64 and 72 °F are 17.78 and 22.22 °C."""
    room = learnt.study.factor("room_temperature")
    (said,) = _outside(room, 28.0, pd.Series([160 / 9, 200 / 9]))
    assert "beyond what was poured and its peak read (17.8 to 22.2 °C)" in said
    (said,) = _outside(replace(room, span=(160 / 9, 200 / 9)), 28.0, pd.Series([], dtype=float))
    assert "beyond the study's span (17.8 to 22.2 °C)" in said


def test_only_pours_whose_peak_was_read_count_as_poured(learnt):
    """Peaks were read in the room of 17 °C alone; 22 °C was poured too, but nobody measured there."""
    peak = learnt["peak_temperature"]
    cold = replace(peak, rows=peak.rows[peak.rows["room_temperature"] < 20])
    some = replace(learnt, models={**learnt.models, "peak_temperature": cold})
    with pytest.raises(AskedTooMuch, match=r"Room temperature 22 °C is beyond what was poured and its peak read \(17 °C\)\. Pour one there and log its peak"):
        asking.checked_question(some, {"catalyst": 1.5}, room=22)
    asking.checked_question(learnt, {"catalyst": 1.5}, room=22)


def test_a_setting_that_the_cure_model_does_not_know_is_said_to_be_left_out(castings_of, known):
    """Filler is no setting of the catalogue; with none of it in the mix nothing is left out."""
    filled = study_from({
        "name": "Filled", "resin": {"kind": "polyester"}, "readings": {"peak_temperature": {}}, "factors": {
            "catalyst": {}, "thickness": {}, "room_temperature": {},
            "flour": {"words": "marble flour", "unit": "%", "low": 0, "high": 200, "from": 0, "to": 150, "usual": 0}}})
    pours = pd.DataFrame({"catalyst": [1.5], "thickness": [8.0], "room_temperature": [20.0], "flour": [150.0]}, index=["A"])
    fits = fit_castings(castings_of(filled, pours, pd.DataFrame({"pour": ["A"], "reading": "peak_temperature", "low": [50.0], "high": [50.0]})))
    said = thickness_limit(fits, {"catalyst": 1.5, "flour": 150}, room=20).caution
    assert "This calculation leaves out marble flour, of which it knows nothing." in said
    assert "leaves out" not in thickness_limit(fits, {"catalyst": 1.5, "flour": 0}, room=20).caution


@pytest.mark.parametrize("peaks, term, refuted", [(FEWEST, "catalyst", True), (FEWEST - 1, "catalyst", False), (FEWEST, "physics", False)])
def test_a_calculation_is_refuted_where_peaks_enough_were_told_better_without_it(learnt, monkeypatch, peaks, term, refuted):
    peak = SimpleNamespace(rows=learnt["peak_temperature"].rows, believed=SimpleNamespace(terms=[SimpleNamespace(name=term)]))
    monkeypatch.setattr(asking, "learn_lot", lambda castings: SimpleNamespace(peaks=peaks))
    asked = asking.checked_question(replace(learnt, models={**learnt.models, "peak_temperature": peak}), {"catalyst": 1.5}, room=20)
    assert asked.refuted == (asking.REFUTED if refuted else "")


@pytest.mark.parametrize("ask", [two_layers, oven_hour, show_cure])
def test_far_thicker_than_any_pour_is_not_answered(learnt, ask):
    with pytest.raises(AskedTooMuch, match="one and a half times the thickest"):
        ask(learnt, {"catalyst": 1.5, "thickness": 40})


@pytest.mark.parametrize("ask", [thickness_limit, two_layers, oven_hour, show_cure])
def test_another_resin_is_refused(unlearnt, ask):
    other = replace(unlearnt, study=replace(unlearnt.study, resin={"kind": "epoxy, slow"}))
    with pytest.raises(AskedTooMuch, match="epoxy"):
        ask(other, {})


def test_no_bound_at_which_styrene_boils(unlearnt):
    with pytest.raises(AskedTooMuch, match="styrene boils at 145 °C"):
        thickness_limit(unlearnt, at_most=145)


def test_a_picture_of_a_boiling_casting_is_refused(unlearnt, known):
    assert slab(26.0, 2.5, 26.0).peak_temperature > 145
    with pytest.raises(AskedTooMuch, match="Styrene boils"):
        show_cure(unlearnt, {"catalyst": 2.5, "thickness": 26}, room=26)


@pytest.mark.slow
def test_the_picture_says_what_the_casting_does(unlearnt, known):
    picture = show_cure(unlearnt, {"catalyst": 1.5, "thickness": 12}, room=20)
    run = slab(12.0)
    for number in (run.gel_time, run.peak_temperature, run.time_to_peak):
        assert f"{number:.0f}" in picture.says
    middle = picture.axes[0].lines[0]
    assert middle.get_ydata().max() == pytest.approx(run.peak_temperature, abs=0.2)
    assert picture.axes[1].get_ylim()[0] > picture.axes[1].get_ylim()[1]  # the top of the casting is up


@pytest.mark.slow
def test_a_log_that_does_not_follow_heat_and_cure_says_so(practice_fits):
    """The algebraic practice resin is no slab: its fits keep plain terms."""
    found = thickness_limit(practice_fits, {"catalyst": 1.5}, room=20)
    assert str(found).startswith("The log's own peaks do not follow this calculation") and str(found).count("do not follow") == 1


def test_a_study_without_what_the_calculation_needs_is_told_which_lines_to_add(castings_of):
    only = study_from({"factors": {"catalyst": {"from": "1 %", "to": "2 %"}}, "readings": {"peak_temperature": {}}})
    fits = fit_castings(castings_of(only, pd.DataFrame({"catalyst": [1.5]}, index=["P1"]), pd.DataFrame(columns=["pour", "reading", "low", "high"])))
    says = r"The study has no thickness and room temperature\. Add thickness = \{\} and room_temperature = \{\} under \[factors\] in study\.toml"
    with pytest.raises(AskedTooMuch, match=says):
        thickness_limit(fits, {"catalyst": "1.2 %"})


def test_a_casting_of_a_lot_loses_heat_through_the_face_of_its_bench():
    """A bench whose air carries off more heat than believed, in both layers."""
    lots = lots_at(np.eye(len(UNKNOWNS))[UNKNOWNS.index("film")])
    slab = layers._slab({"catalyst": 1.5, "room_temperature": 20.0}, lots, 0, 12.0, 12.0, 60.0)
    assert slab.face.film == np.asarray(lots.film).item() > Face().film and slab.layers == (Layer(12.0, 60.0, 1.5),)


def test_everything_that_cannot_be_asked_is_said_in_one_message():
    assert str(AskedTooMuch(["Too deep.", "Too cold."])) == "This cannot be answered. Too deep. Too cold."
