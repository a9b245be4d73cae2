"""Next pours: reproducible, in today's room and the moulds at hand, for what matters to the person."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from testpour.advice import batch, picking, reasons
from testpour.advice.batch import STOP, next_pours
from testpour.advice.candidates import RoomProblem, checked_given, free_factors, unlike
from testpour.advice.contexts import where_judged
from testpour.advice.picking import BOTH, LEARN, MAKE, _trial
from testpour.advice.prospect import states_of
from testpour.advice.reasons import _lesson, _settled_factor, _third_of_span, reasons_for, scatter_unknown, twin_of
from testpour.advice.recommend import best_settings, recommend
from testpour.common.problems import Problem
from testpour.models.chance import NoAims
from testpour.models.settings import settings_table
from testpour.planning.plan import plan_pours
from testpour.study.catalogue import catalogue


@pytest.fixture(scope="module")
def advised(fits):
    return next_pours(fits, room="17 degC", pours=4)


@pytest.mark.slow
def test_the_same_log_and_seed_give_the_same_pours(fits, advised):
    pd.testing.assert_frame_equal(next_pours(fits, room="17 degC", pours=4).table, advised.table)


@pytest.mark.parametrize(("gain", "said"), [
    (0.019, "These 4 pours should raise it by less than 2 points on average. "), (0.02, "These 4 pours should raise it by about 2 points on average."),
    (0.112, "These 4 pours should raise it by about 11 points on average."),
])
def test_what_pours_should_add_is_told_in_points_from_two_points_on(advised, gain, said):
    better = replace(advised, aim=BOTH, conflict=None, table=advised.table.assign(gain=[*[0.5] * 3, gain]))
    assert said in better.sentence()


def test_pours_are_in_the_room_as_it_is_and_named_on_from_the_log(advised):
    assert (advised.table["room_temperature"] == 17.0).all()
    assert list(advised.table.index) == ["P09", "P10", "P11", "P12"]


def test_a_new_pour_or_session_takes_no_name_that_is_taken(fits):
    """Of eight pours one is called P09, and the one waiting P10: the next name is P11. After session S4 comes S5."""
    castings = replace(fits.castings, pours=fits.castings.pours.rename(index={"P01": "P09"}).assign(session=["S2"] * 4 + ["S4"] * 4))
    pending = pd.DataFrame({"catalyst": [1.5]}, index=["P10"])
    assert list(next_pours(replace(fits, castings=castings), room=20, pours=1, pending=pending).table.index) == ["P11"]
    plan = plan_pours(fits.study, castings=castings, sessions=2, pours=4)
    assert plan.table.index[0] == "P10" and plan.sessions == ["S5", "S6"]


@pytest.mark.slow
def test_the_room_that_is_given_is_the_room_judged(fits):
    """In one room and at one depth, the settings recommended now are those of `recommend`, to the few it is searched among."""
    given = {"thickness": "10 mm"}
    found = next_pours(fits, room="26 degC", fixed=given, pours=2)
    assert found.before == pytest.approx(recommend(fits, room=26, fixed=given).chance.table["chance"].iloc[0], abs=0.05)
    assert re.search(r"about \d+ in 100 \(90 % interval .+ to .+\) in a room at 26 °C\. ", found.sentence())
    assert "of the study" not in found.sentence().split(". ")[0]
    assert re.search(r"about \d+ in 100 \(90 % interval|anything from", found._repr_html_().partition("<table")[2])
    everywhere = next_pours(fits, fixed=given, pours=2)
    assert re.search(r"\) over the rooms of the study\. ", everywhere.sentence())
    assert abs(everywhere.before - found.before) > 0.03


@pytest.mark.parametrize(("rooms", "depths", "said"), [
    ([17.0, 22.0], [6.0, 12.0], " over the rooms and depths of the study"), ([17.0, 22.0], [6.0, 6.0], " over the rooms of the study"),
    ([28.0, 28.0], [6.0, 12.0], " in a room at 28 °C, over the depths of the study"), ([28.0, 28.0], None, " in a room at 28 °C"),
    (None, [6.0, 12.0], " over the depths of the study"), (None, None, ""),
])
def test_only_rooms_and_depths_that_the_study_has_are_spoken_of(study, rooms, depths, said):
    columns = {"room_temperature": rooms, "thickness": depths, "catalyst": [1.0, 1.0]}
    assert where_judged(study, pd.DataFrame({name: values for name, values in columns.items() if values})) == said


def test_half_of_the_pours_are_unlike_any_other_and_say_that_they_test_the_advice(fits, advised):
    """By hand: unlike is a fifth of the span of one setting or more from every casting, spans 2.5-fold of catalyst and 3.6-fold
    of thickness by ratio, 3.8 % of pigment, 18 degC of room (12 to 30), or another cover."""
    trial = advised.table["reason"].str.startswith("tests the advice")
    assert list(trial) == [False, False, True, True]
    names = ["catalyst", "pigment", "thickness", "cover", "room_temperature"]
    made = pd.concat([fits.castings.pours[names], advised.table[names]]).astype(float)
    part = pd.DataFrame({
        "catalyst": np.log(made["catalyst"]) / np.log(2.5), "pigment": made["pigment"] / 3.8, "cover": made["cover"],
        "thickness": np.log(made["thickness"]) / np.log(3.6), "room_temperature": made["room_temperature"] / 18,
    }).to_numpy()
    for place in (-2, -1):
        assert np.abs(part[:place] - part[place]).max(axis=1).min() >= 0.2


def test_a_test_of_the_advice_is_called_likely_good_only_where_it_is(fits, advised):
    """No polyester here gels as late as ten hours at 22 degC."""
    assert all(("likely good" in reason) == (chance >= 0.5) for reason, chance in zip(advised.table["reason"][2:], advised.table["chance"][2:], strict=True))
    aims = tuple(replace(aim, at_least=600.0, at_most=None) if aim.reading == "gel_time" else aim for aim in fits.study.aims)
    hopeless = next_pours(replace(fits, study=replace(fits.study, aims=aims)), room="22 degC", pours=2).table
    assert hopeless["chance"].max() < 0.01 and "likely good" not in " ".join(hopeless["reason"])
    assert hopeless["reason"].iloc[-1].startswith("nothing like it was poured, and it is unlikely to come out good; ")


@pytest.mark.parametrize(("chance", "said"), [
    (0.02, "nothing like it was poured, and it is unlikely to come out good"), (0.3, "tests the advice: nothing like it was poured"),
    (0.6, "tests the advice: likely good as far as the trade believes, and nothing like it was poured"),
])
def test_a_pour_that_will_fail_is_not_said_to_put_the_advice_to_the_test(chance, said):
    """No advice is settings with a chance of 2 in 100."""
    assert batch._new_words({"chance": chance, "low": chance - 0.05, "high": chance + 0.05}) == said


def test_a_trial_whose_chance_cannot_be_told_is_not_called_likely_good():
    """Anything from 5 to 99 in 100 stands beside it."""
    assert batch._new_words({"chance": 0.64, "low": 0.05, "high": 0.99}) == "tests the advice: nothing like it was poured"


def test_the_advice_is_not_put_to_the_test_by_a_pour_like_one_under_way(fits):
    """Two settings unlike the log, in rooms of 27 and 14 degC: the likelier is tried, the other once that one is under way."""
    two = pd.DataFrame({"catalyst": [1.5, 1.5], "thickness": 10.0, "room_temperature": [27.0, 14.0]})
    likely, places = np.array([0.9, 0.6]), np.arange(2)
    assert _trial(fits, None, two, [], likely, places) == 0
    assert _trial(fits, two.iloc[:1], two, [], likely, places) == 1
    assert _trial(fits, two, two, [], likely, places) is None


def test_the_pour_worth_most_is_taken_first(fits, monkeypatch):
    """Gains of 0.1, 0.3 and 0.319, then 0.25 and 0.35 of the two that are left. A fiftieth of the doubt removed counts beside
    the gain: the second with a doubt of 1 comes before the third, whose own is nought."""
    class Known:
        before, lessons = 0.5, []

        def __init__(self, *given):
            self.added = []

        def gains(self, places):
            each = {0: [0.1, 0.3, 0.319], 1: [0.25, 0.3, 0.35]}[len(self.added)]
            return np.array(each)[places], np.array([0.0, 1.0, 0.0])[places]

        def add(self, place):
            self.added.append(int(place))

    table = pd.DataFrame({"catalyst": [1.0, 1.5, 2.0]})
    monkeypatch.setattr(picking, "Worth", Known)
    monkeypatch.setattr(picking, "_pourable", lambda *given: (table, np.full(3, 0.5)))
    found = picking.batch_worth(fits, {}, table.iloc[[0]], (), [], 2, aim=MAKE)
    assert found.rows["catalyst"].tolist() == [1.5, 2.0] and found.gained == pytest.approx([0.3, 0.35])


def test_pieces_to_make_are_chosen_among_the_likely_good(fits, monkeypatch):
    """Making good pieces keeps what has 97 in 100 of the best chance, learning at the same time 75, learning all."""
    table = settings_table(fits.study, [{"catalyst": c} for c in (1.0, 1.4, 1.8, 2.2)], room=20)
    monkeypatch.setattr(picking, "spread_settings", lambda *given: table)
    for name in ("best_settings", "foremost"):
        monkeypatch.setattr(picking, name, lambda *given: table.iloc[:1])
    monkeypatch.setattr(picking, "neighbours", lambda best, free: best)
    monkeypatch.setattr(picking, "allowed", lambda fits, table: np.ones(len(table), bool))
    monkeypatch.setattr(picking, "prospect", lambda *given: SimpleNamespace(chance=lambda: np.array([0.80, 0.79, 0.61, 0.5])))
    kept = [list(picking._pourable(fits, {}, table.iloc[[0]], (), None, aim, 0)[1]) for aim in (MAKE, BOTH, LEARN)]
    assert kept == [[0.80, 0.79], [0.80, 0.79, 0.61], [0.80, 0.79, 0.61, 0.5]]
    assert list(picking._pourable(fits, {}, table.iloc[[0]], (), None, MAKE, 0)[0]) == list(table)


def test_unlike_is_a_fifth_of_a_span_and_what_was_not_logged_is_like_any(fits):
    """From 1 to 2.5 % by ratio a fifth is a factor 1.201: 1.22 % differs from 1 %, 1.18 % does not."""
    poured = pd.DataFrame({"catalyst": [1.0], "thickness": [np.nan]})
    table = pd.DataFrame({"catalyst": [1.18, 1.22, 1.0], "thickness": [18.0, 18.0, 18.0]})
    assert list(unlike(fits.study, table, poured)) == [False, True, False]
    assert unlike(fits.study, table, poured[:0]).all()


def test_gain_grows_with_each_pour_and_is_no_loss(advised):
    gain = advised.table["gain"].to_numpy()
    assert (np.diff(gain) >= 0).all() and gain[0] >= 0


def test_each_pour_has_its_reason_chance_and_readings(fits, advised):
    assert advised.table["reason"].str.match("settles|repeats|tests the advice").all()
    assert advised.table["chance"].between(0, 1).all()
    assert len(advised.predicted) == 4 * len(fits.study.readings)
    assert (advised.predicted["low"] <= advised.predicted["middle"]).all()
    assert (advised.predicted["middle"] <= advised.predicted["high"]).all()


@pytest.mark.slow
def test_before_anything_is_poured_a_pour_promises_much_and_later_little(unpoured, fits):
    first = next_pours(unpoured, room=20, pours=2).table["gain"].iloc[-1]
    later = next_pours(fits, room=20, pours=2).table["gain"].iloc[-1]
    assert first > 0.03 > later


@pytest.mark.slow
def test_only_moulds_at_hand(fits):
    found = next_pours(fits, room=20, moulds=["6 mm", "1/2 in"])
    assert set(found.table["thickness"].round(3)) <= {6.0, 12.7}


def test_what_is_given_is_kept(fits):
    found = next_pours(fits, room=20, fixed={"thickness": "12 mm", "cover": "yes"}, pours=3)
    assert (found.table["thickness"] == 12).all() and (found.table["cover"] == 1).all()
    assert found.free == ("catalyst", "pigment")


@pytest.mark.slow
@pytest.mark.parametrize(("aim", "share"), [(BOTH, 0.7), (MAKE, 0.9)])
def test_pieces_are_likely_good_when_that_matters(fits, aim, share):
    """No pour far below the best of the day, where learning alone would go there."""
    learning = next_pours(fits, room=20, aim=LEARN).table["chance"]
    making = next_pours(fits, room=20, aim=aim).table["chance"]
    best = next_pours(fits, room=20, aim=MAKE).table["chance"].max()
    assert making.min() >= share * best
    assert learning.min() < share * best


def test_pours_not_yet_read_are_not_asked_for_twice(fits, advised):
    waiting = next_pours(fits, room="17 degC", pours=4, pending=advised.table)
    assert waiting.table["gain"].iloc[-1] < advised.table["gain"].iloc[-1]
    assert waiting.before >= advised.before
    columns = ["catalyst", "pigment", "thickness", "cover"]
    assert set(map(tuple, waiting.table[columns].to_numpy())) != set(map(tuple, advised.table[columns].to_numpy()))


def test_pending_is_not_edited(fits, advised):
    given = advised.table[["catalyst", "thickness"]].copy()
    kept = given.copy()
    next_pours(fits, room=17, pours=1, pending=given)
    pd.testing.assert_frame_equal(given, kept)


def test_weigh_out_of_each_pour(advised):
    """Catalyst to weigh is its share of the resin: 200 g x % / 100, to the scale's 0.1 g."""
    mixes = advised.weigh_out("200 g")
    assert list(mixes) == list(advised.table.index)
    for pour, mix in mixes.items():
        assert float(mix.catalyst_mass) == pytest.approx(2 * advised.table.loc[pour, "catalyst"], abs=0.051)


def settled(fits, shrink, scatter=None):
    """The fits with coefficients drawn together, and one scatter's doubt widened."""
    models = {}
    for name, fit in fits.items():
        post, sd = fit.posterior, fit.posterior.sd
        middle = post.coefficients.mean(axis=0)
        if name == scatter:
            sd = np.linspace(0.02, 1.5, len(post))
        models[name] = replace(fit, posterior=replace(post, coefficients=middle + shrink * (post.coefficients - middle), sd=sd))
    return replace(fits, models=models)


def test_a_repeat_is_advised_when_the_scatter_is_what_is_not_known(fits):
    unsure = settled(fits, 0.05, scatter="gel_time")
    found = next_pours(unsure, room=20, pours=3, fixed={"cover": "yes", "thickness": 10})
    assert scatter_unknown(unsure, found.table)
    assert "repeats P09: shows how far two alike pours differ" in found.table["reason"].iloc[1]
    same = ["catalyst", "pigment", "thickness", "cover"]
    assert (found.table[same].iloc[1] == found.table[same].iloc[0]).all()


def test_good_pieces_are_the_same_settings_again_and_say_why(fits):
    """Eight pours in a small room for choice: the likeliest settings come again, which is no lesson about scatter."""
    found = next_pours(fits, room=20, pours=4, aim=MAKE, fixed={"cover": "yes", "thickness": 10, "pigment": "0.5 %"})
    assert found.promised and found.table["chance"].min() > 0.5
    assert found.table["catalyst"].duplicated().any() and "how far two alike" not in " ".join(found.table["reason"])
    assert found.table["reason"].str.contains(r"the settings of P\d\d again: few others are likelier to be good").any()
    assert "likeliest to come out good, not those that would teach most" in found.sentence()


@pytest.mark.slow
@pytest.mark.parametrize("aim", [MAKE, BOTH])
def test_where_no_piece_is_likely_good_none_is_promised_and_the_pours_are_to_learn_from(fits, aim):
    """No polyester here gels as late as ten hours at 22 °C: the pours are those that learn fastest, and four alike tell nothing."""
    late = tuple(replace(a, at_least=600.0, at_most=None) if a.reading == "gel_time" else a for a in fits.study.aims)
    hopeless = replace(fits, study=replace(fits.study, aims=late))
    found = next_pours(hopeless, room="22 degC", aim=aim)
    assert "No good piece can be promised yet" in found.sentence()
    pd.testing.assert_frame_equal(found.table, next_pours(hopeless, room="22 degC").table)
    assert len(found.table[["catalyst", "pigment", "thickness", "cover"]].drop_duplicates()) > 1


def test_a_first_pour_without_cover_is_said_in_english(fits):
    covered = replace(fits, castings=replace(fits.castings, pours=fits.castings.pours.assign(cover=1.0)))
    row = settings_table(fits.study, {"cover": 0, "thickness": 18, "catalyst": 1.5}, room=20).assign(chance=0.3)
    (said,) = reasons_for(covered, row, [(0, np.array([1.0]))])
    assert said.endswith("; first pour at thickness 18 mm, without cover")


@pytest.mark.parametrize(("trials", "tests", "repeated"), [((1,), ["P10"], "P11"), ((2,), ["P11"], "P10"), ((1, 2), ["P11"], "P10")])
def test_no_pour_is_said_to_repeat_one_and_to_be_like_none(fits, monkeypatch, trials, tests, repeated):
    """Settings picked as unlike any pour keep their reason wherever they stand; the repeat takes another place, or theirs."""
    rows = settings_table(fits.study, [{"catalyst": 1.1}, {"catalyst": 2.5}, {"catalyst": 1.8}], room=20)
    lessons = [(0, np.ones(len(fits["gel_time"].believed.terms)))] * 3
    monkeypatch.setattr(batch, "scatter_unknown", lambda *_: True)
    made = picking.Batch(rows, [0.0] * 3, lessons, trials)
    reason = batch._described(fits, made, 0.5, fits.study.varied, LEARN, fits.castings.names).table["reason"]
    assert list(reason.index[reason.str.contains("nothing like it was poured")]) == tests
    assert reason[repeated] == "repeats P09: shows how far two alike pours differ"


@pytest.mark.parametrize(("chances", "poured", "tried"), [((0.1, 0.4), 2.5, True), ((0.4, 0.1), 1.1, False)])
def test_of_two_pours_the_likelier_to_come_out_good_is_poured_twice(fits, monkeypatch, chances, poured, tried):
    """The second tests the advice; pouring a worse one twice in its place would teach the scatter of castings nobody wants."""
    rows = settings_table(fits.study, [{"catalyst": 1.1}, {"catalyst": 2.5}], room=20)
    monkeypatch.setattr(batch, "scatter_unknown", lambda *_: True)
    good = dict(zip((1.1, 2.5), chances, strict=True))
    monkeypatch.setattr(batch, "chance", lambda fits, rows: SimpleNamespace(draws=np.array([[good[each] for each in rows["catalyst"]]])))
    size = len(fits["gel_time"].believed.terms)
    made = picking.Batch(rows, [0.0] * 2, [(0, np.ones(size)), (1, np.ones(size))], (1,))
    table = batch._described(fits, made, 0.5, fits.study.varied, LEARN, fits.castings.names).table
    assert table["catalyst"].tolist() == [poured] * 2
    assert ("nothing like it was poured" in table["reason"].iloc[0]) is tried
    assert table["reason"].iloc[1] == "repeats P09: shows how far two alike pours differ"
    assert made.rows["catalyst"].tolist() == [1.1, 2.5]


@pytest.mark.parametrize(("chances", "poured"), [
    ((0.05, 0.2, 0.6), [1.1, 1.8, 1.8]), ((0.05, 0.6, 0.2), [2.5, 2.5, 1.8]), ((0.15, 0.2, 0.6), [1.1, 1.1, 1.8]),
])
def test_a_first_pour_that_is_unlikely_to_come_out_good_is_not_poured_twice(fits, monkeypatch, chances, poured):
    """Below one in ten the likeliest of three is poured twice in its place; from there on the first, which is worth most. The third is a trial."""
    rows = settings_table(fits.study, [{"catalyst": 1.1}, {"catalyst": 2.5}, {"catalyst": 1.8}], room=20)
    monkeypatch.setattr(batch, "scatter_unknown", lambda *_: True)
    good = dict(zip((1.1, 2.5, 1.8), chances, strict=True))
    monkeypatch.setattr(batch, "chance", lambda fits, rows: SimpleNamespace(draws=np.array([[good[each] for each in rows["catalyst"]]])))
    made = picking.Batch(rows, [0.0] * 3, [(0, np.ones(len(fits["gel_time"].believed.terms)))] * 3, (2,))
    table = batch._described(fits, made, 0.5, fits.study.varied, LEARN, fits.castings.names).table
    assert table["catalyst"].tolist() == poured
    assert sum(table["reason"].str.contains("shows how far two alike pours differ")) == 1
    assert sum(table["reason"].str.contains("nothing like it was poured")) == 1


def test_where_no_piece_can_be_promised_no_pour_is_proposed_far_below_the_best(fits, monkeypatch):
    """Chances of 0.42, 0.3, 0.2 and 0.03: half of the best is 0.21. Where even the best is under one in ten, all may teach."""
    table = settings_table(fits.study, [{"catalyst": c} for c in (1.0, 1.4, 1.8, 2.2)], room=20)
    seen = []
    monkeypatch.setattr(picking, "Worth", lambda study, states, pourable, *rest: seen.append(list(pourable["catalyst"])) or 1 / 0)
    for good in ([0.42, 0.3, 0.2, 0.03], [0.08, 0.07, 0.03, 0.01]):
        monkeypatch.setattr(picking, "_pourable", lambda *given, good=good: (table, np.array(good)))
        for aim in (MAKE, BOTH, LEARN):
            with pytest.raises(ZeroDivisionError):
                picking.batch_worth(fits, {}, table.iloc[[0]], (), table, 4, aim=aim)
    assert seen == [[1.0, 1.4], [1.0, 1.4], [1.0, 1.4, 1.8, 2.2]] + [[1.0, 1.4, 1.8, 2.2]] * 3


def test_one_repeat_is_enough_to_show_the_scatter(fits, monkeypatch):
    """The first pour repeats P01 of the log, in a like room: the others keep the settings they were picked for."""
    logged = fits.castings.pours.iloc[0].dropna()
    first = {name: logged[name] for name in ("catalyst", "pigment", "thickness", "cover", "post_cure_temperature", "post_cure_time") if name in logged}
    rows = settings_table(fits.study, [first, {**first, "catalyst": 2.5}, {**first, "catalyst": 1.8}], room=float(logged["room_temperature"]))
    monkeypatch.setattr(batch, "scatter_unknown", lambda *_: True)
    made = picking.Batch(rows, [0.0] * 3, [(0, np.ones(len(fits["gel_time"].believed.terms)))] * 3)
    table = batch._described(fits, made, 0.5, fits.study.varied, LEARN, fits.castings.names).table
    assert table["catalyst"].tolist() == [first["catalyst"], 2.5, 1.8]
    assert table["reason"].str.contains("repeats").tolist() == [True, False, False]


def test_a_pour_in_a_room_unlike_is_no_repeat(fits):
    """Castings are alike within a fifth of the rooms that the trade pours in, 12 to 30 °C: 3.6 degrees."""
    one = fits.castings.pours.iloc[[0]].assign(room_temperature=21.0)
    log = replace(fits, castings=replace(fits.castings, pours=one))
    each = [one.assign(room_temperature=room, chance=0.3) for room in (24.5, 25.0)]
    said = [reasons_for(log, row, [(0, np.ones(1))])[0] for row in each]
    assert said[0].startswith(f"repeats {one.index[0]}") and "repeats" not in said[1]


def test_a_setting_that_never_varies_is_no_lesson(fits):
    """Where every casting goes without a cover, whether it can be left off is settled."""
    open_ = replace(fits.study, factors=tuple(replace(f, span=(0.0, 0.0)) if f.name == "cover" else f for f in fits.study.factors))
    terms = fits["tack"].believed.terms
    settled = np.array([float("cover" in term.factors) for term in terms])
    row = settings_table(fits.study, {"cover": 0, "catalyst": 1.33}, room=20).assign(chance=0.3)
    place = [aim.reading for aim in fits.study.aims].index("tack")
    (varied,) = reasons_for(fits, row, [(place, settled)])
    alone = replace(fits, study=open_, models={name: replace(fit, study=open_) for name, fit in fits.items()})
    (never,) = reasons_for(alone, row, [(place, settled)])
    assert "cover can be left off" in varied and never.startswith("settles tack of this resin") and "left off" not in never


def test_the_settings_recommended_now_are_among_those_judged(fits):
    """What is spread over the spans may miss the best: of a study with an oven it was 43 in 100 where 68 were recommended."""
    states, study = states_of(fits), fits.study
    given, free = checked_given(fits, {"thickness": 10}, 20), free_factors(study, {"thickness": 10})
    (table,) = picking.with_recommended(fits, states, given, free)
    assert table.iloc[[0]].equals(best_settings(fits, states, given, free))


def test_what_is_set_once_a_session_parts_the_pours_into_sessions(study, advised):
    """Castings of one oven run share its heat and time: P09 and P11 one run, P10 and P12 one each."""
    once = replace(study, factors=tuple(replace(f, by_session=f.name in ("pigment", "cover")) for f in study.factors))
    table = advised.table.assign(pigment=[1.0, 2.0, 1.0, 2.0], cover=[1.0, 1.0, 1.0, 0.0])
    said = replace(advised, study=once, table=table).sentence()
    assert "once a session (pigment, cover), so pour and log them as separate sessions: P09 and P11; P10; P12." in said
    alone = replace(study, factors=tuple(replace(f, by_session=f.name == "pigment") for f in study.factors))
    said = replace(advised, study=alone, table=table).sentence()  # one setting alone: grouped by one column, which pandas warns of
    assert "once a session (pigment), so pour and log them as separate sessions: P09 and P11; P10 and P12." in said
    assert replace(advised, study=once, table=table.assign(pigment=1.0, cover=1.0)).apart() == "" == advised.apart()


def test_no_repeat_for_scatter_that_is_known(fits):
    assert not scatter_unknown(settled(fits, 1.0), next_pours(fits, room=20, pours=2).table)


OVEN = {"post_cure_temperature": 70.0, "post_cure_time": 0.5}


@pytest.mark.parametrize(("reading", "factor", "settings", "says"), [
    ("tack", "catalyst", {"catalyst": 1.2, "room_temperature": 16}, "settles whether 1.2 % catalyst is enough when cold"),
    ("hardness", "catalyst", {"catalyst": 2.4}, "settles whether 2.4 % catalyst is too much"),
    ("hardness", "catalyst", {"catalyst": 1.7}, "settles how well 1.7 % catalyst cures"),
    ("gel_time", "catalyst", {"catalyst": 1.2}, "settles how long the mix stays workable with 1.2 % catalyst"),
    ("peak_temperature", "thickness", {"thickness": 17.0}, "settles how hot a 17 mm piece runs"),
    ("peak_temperature", "thickness", {"thickness": 18.0}, "settles how hot an 18 mm piece runs"),
    ("peak_temperature", "thickness", {"thickness": 8.5}, "settles how hot an 8.5 mm piece runs"),
    ("peak_temperature", "thickness", {"thickness": 110.0}, "settles how hot a 110 mm piece runs"),
    ("peak_temperature", "pigment", {"pigment": 5.4, "thickness": 18.0}, "settles how hot it gets with 5.4 % pigment in a thick piece"),
    ("tack", "cover", {"cover": 0.0, "thickness": 6.0}, "settles whether cover can be left off in a thin piece"),
    ("tack", "cover", {"cover": 1.0}, "settles what cover does for tack"),
    ("hardness", "pigment", {"pigment": 3.8}, "settles whether it still cures with 3.8 % pigment"),
    ("hardness", "pigment", {"pigment": 0.3}, "settles how well it cures with 0.3 % pigment"),  # so little stops no cure
    ("opacity", "pigment", {"pigment": 3.8}, "settles what 3.8 % pigment does to opacity"),
    ("hardness", "post_cure_temperature", {"thickness": 6.0, **OVEN}, "settles what a post-cure of 0.5 h at 70 °C does to hardness in a thin piece"),
    ("hardness", "post_cure_time", OVEN, "settles what a post-cure of 0.5 h at 70 °C does to hardness"),
    ("tack", "post_cure_temperature", {**OVEN, "post_cure_time": 0.0}, "settles tack without a post-cure"),
    ("gel_time", "", {"room_temperature": 25}, "settles gel time of this resin when warm"),
    ("gel_time", "room_temperature", {}, "settles gel time of this resin in the room as it is"),
])
def test_the_reason_in_words(study, reading, factor, settings, says):


    row = pd.Series({"catalyst": 1.7, "pigment": 1.0, "thickness": 11.0, "cover": 1.0, "room_temperature": 20.0, **settings})
    assert _lesson(study, catalogue()["readings"][reading], factor, row) == says


@pytest.mark.parametrize("pours", [1.5, "four"])
def test_pours_that_are_no_whole_number_are_refused(fits, pours):
    with pytest.raises(Problem, match=f"{pours} pours asked for: ask for at least 1, a whole number such as pours=4"):
        next_pours(fits, room=18, pours=pours)


def test_refusals(fits):
    with pytest.raises(Problem, match="0 pours asked for: ask for at least 1, a whole number such as pours=4. No aim 'win'; say what matters"):
        next_pours(fits, room=18, pours=0, aim="win")
    with pytest.raises(Problem, match="moulds is an empty list. Give one or more, or leave moulds out"):
        next_pours(fits, room=18, moulds=[])
    with pytest.raises(RoomProblem, match="this cold"):
        next_pours(fits, room="6 degC")
    with pytest.raises(NoAims, match="states no aim"):
        next_pours(replace(fits, study=replace(fits.study, aims=())), room=18)


def test_the_section_that_weighs_going_on_is_where_the_pours_say_it_is():
    """The sentence stands in that notebook too, so it names the section."""
    number, name = re.fullmatch(r"Section (\d) of the notebook (\S+) weighs whether to go on\.", STOP).groups()
    book = (Path(__file__).parents[2] / "notebooks" / f"{name}.ipynb").read_text("utf-8")
    assert f"## {number}. Go on, or stop?" in book


@pytest.mark.parametrize("made, new, place", [(True, [True, False, True, True], 3), (True, [False] * 4, None), (False, [True] * 4, None)])
def test_the_likeliest_setting_unlike_any_pour_puts_the_advice_to_the_test(made, new, place, monkeypatch):
    """Of places 4, 1, 0 and 2 with chances 0.3, 0.9, 0.2 and 0.6: 1 is like a pour, so 2; those picked and under way count as poured."""
    pours = pd.DataFrame({"catalyst": [1.0, 1.2], "cover": 1.0}, ["P1", "P2"]).iloc[: 2 * made]
    compared = []

    def unlike(study, table, poured):
        compared.append(poured["catalyst"].tolist())
        return np.isin(np.arange(5), np.array([4, 1, 0, 2])[new])

    monkeypatch.setattr(picking, "unlike", unlike)
    fits = SimpleNamespace(study=None, castings=SimpleNamespace(pours=pours))
    table, good = pd.DataFrame({"catalyst": [1.5, 1.6, 1.7, 1.8, 1.9]}), np.array([0.2, 0.9, 0.6, 0.7, 0.3])
    found = picking._trial(fits, pd.DataFrame({"catalyst": [2.2], "pigment": 1.0}), table, [3], good, np.array([4, 1, 0, 2]))
    assert found == place and compared == [[*pours["catalyst"], 2.2, 1.8]]


@pytest.mark.parametrize("promised, gained", [([0.3, 0.2, 0.5], [0.3, 0.3, 0.5]), ([-0.1, 0.05, 0.04], [0.0, 0.05, 0.05])])
def test_what_the_pours_up_to_each_promise_never_falls(promised, gained, fits, monkeypatch):
    """Each pour is judged with those before it already made, and none promises less than nothing."""
    class Known:
        def __init__(self, study, states, rows, contexts, pours, pending, seed):
            assert (pours, pending, seed) == (3, "under way", 7)
            self.made = []

        def gains(self, places):
            assert places.tolist() == [len(self.made)]
            return np.array([promised[places[0]]]), None

        def add(self, place):
            self.made.append(place)

    monkeypatch.setattr(picking, "Worth", Known)
    batch = picking.Batch(pd.DataFrame({"catalyst": [1.0, 2.0, 3.0]}), [0.9] * 3, [])
    assert picking.gained_by(fits, {}, batch, [], "under way", 7).gained == gained


@pytest.mark.parametrize("catalyst, cover, room, twin", [
    (1.0, 1.0, 19.0, "P01"), (1.0, 1.0, 22.0, None), (1.1, 1.0, 19.0, None), (1.0, 0.0, 19.0, None), (2.4, 1.0, 22.0, "N2"), (2.4, 1.0, 17.0, None),
])
def test_a_twin_has_the_same_settings_in_a_like_room(catalyst, cover, room, twin, fits):
    """P01 had 1 %, 0.2 %, 6 mm and a cover at 17 °C: a fifth of the study's 12 to 30 °C is 3.6. N2 of the same proposal has 2.4 % at 22 °C."""
    log = replace(fits.castings, pours=fits.castings.pours.iloc[:1])
    row = fits.castings.pours.iloc[[0]]
    rows = [row.assign(catalyst=1.7), row.assign(catalyst=2.4, room_temperature=22.0), row.assign(catalyst=catalyst, cover=cover, room_temperature=room)]
    assert twin_of(replace(fits, castings=log), pd.concat(rows).set_axis(["N1", "N2", "N3"]), 2) == twin


@pytest.mark.parametrize("value, third", [(16.9, "low"), (17.1, "middle"), (21.9, "middle"), (22.1, "high")])
def test_thirds_of_a_span(value, third, fits):
    assert _third_of_span(replace(fits.study.factor("room_temperature"), span=(12.0, 27.0)), value) == third


@pytest.mark.parametrize("settled, factor", [([0.1, 0.2, 0.4, 0.5, 0.0], "catalyst"), ([0.1, 0.2, 0.4, 0.65, 0.0], "pigment"), ([0.5, 0.2, 0.2, 0.3, 0.2], ""),
                                             ([0.1, 0.2, 0.4, 0.3, 0.55], "")])
def test_the_factor_that_a_pour_tells_most_about_has_all_its_terms_together(settled, factor, fits):
    """Terms of the level, of catalyst twice, 0.2 and 0.4, of pigment with an oven that the study never varies, and a cut-point, which is of none."""
    study = replace(fits.study, factors=tuple(replace(each, span=()) if each.name == "post_cure_time" else each for each in fits.study.factors))
    names = [(), ("catalyst",), ("catalyst", "pigment"), ("post_cure_time", "pigment")]
    terms = tuple(SimpleNamespace(factors=each) for each in names)
    assert _settled_factor(SimpleNamespace(study=study, believed=SimpleNamespace(terms=terms)), np.array(settled)) == factor


@pytest.mark.parametrize("away, scatter, unknown", [(0.2, 0.15, True), (0.2, 0.13, False), (0.09, 0.09, False)])
def test_scatter_is_most_of_the_doubt_where_it_makes_up_half_of_its_variance(away, scatter, unknown, monkeypatch):
    """Of the likelier of two settings: 0.15 of 0.2 is 0.56 of its variance, 0.13 is 0.42; a doubt under 0.1 does not matter."""
    table = pd.DataFrame({"catalyst": [1.0, 2.0]})
    draws = {"fits": np.array([[0.1, 0.6 - away], [0.9, 0.6 + away]]), "centred": np.array([[0.5 - scatter], [0.5 + scatter]])}

    def chance(fits, rows):
        assert rows["catalyst"].tolist() == ([1.0, 2.0] if fits == "fits" else [2.0])
        return SimpleNamespace(draws=draws[fits])

    monkeypatch.setattr(reasons, "chance", chance)
    monkeypatch.setattr(reasons, "_centred", lambda fits: "centred")
    assert reasons.scatter_unknown("fits", table) is unknown


@pytest.mark.parametrize("good, trials, catalyst, lessons, moved", [
    ([0.3, 0.2, 0.6], (), [1.0, 2.0, 1.0], "aba", ()), ([0.05, 0.2, 0.6], (), [1.0, 3.0, 3.0], "acc", ()), ([0.3, 0.6], (), [2.0, 2.0], "bb", ()),
    ([0.3, 0.2, 0.6], (2,), [1.0, 1.0, 3.0], "aac", (2,)), ([0.3, 0.2, 0.6], (1, 2), [1.0, 1.0, 3.0], "aac", (2,)),
    ([0.05, 0.2, 0.6], (2,), [1.0, 3.0, 3.0], "acc", (1,)), ([0.3, 0.6], (0,), [2.0, 2.0], "bb", ()),
])
def test_which_pour_is_poured_twice_and_which_gives_way(good, trials, catalyst, lessons, moved, monkeypatch):
    """The first is poured twice, or the likeliest of two, or where the first is below one in ten; the last gives way that tests no advice, else the
    first there is. A trial poured twice is one at its first place."""
    monkeypatch.setattr(batch, "chance", lambda fits, rows: SimpleNamespace(draws=np.array([good, good])))
    many = len(good)
    found = batch._with_repeat(None, picking.Batch(pd.DataFrame({"catalyst": [1.0, 2.0, 3.0][:many]}), [], list("abc"[:many]), trials))
    assert found.rows["catalyst"].tolist() == catalyst and "".join(found.lessons) == lessons and found.trials == moved
