"""What a pool says: what holds where, what differs, what a newcomer may expect, and the beliefs it hands on."""

import re
import tomllib
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from testpour.advice.recommend import recommend
from testpour.common.problems import NoSuchName
from testpour.models.beliefs import Belief, BeliefProblem, ReadingBeliefs
from testpour.models.effect import Effect
from testpour.models.fits import fit_castings
from testpour.pooling.belief_file import read_beliefs
from testpour.pooling.bench_chart import show_benches
from testpour.pooling.bench_words import where_it_holds
from testpour.pooling.contradictions import Contradiction, _apart
from testpour.pooling.joining import join_logs
from testpour.pooling.learnt_beliefs import _reading_table
from testpour.pooling.pool import HEADS, pool
from testpour.pooling.reading import fit_pooled
from testpour.study.study import Aim
from testpour.study.study_file import study_from

TRUE = {"level": 3.2, "catalyst": -0.8}
GEL = {"factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}}, "readings": {"gel_time": {}}}


def gel_guild(castings_of, shifts, slopes=None, sessions=3, pours=8, seed=0, bend=0.0):
    """Benches whose gel times lie `shifts` (log) apart, exact, with exponents `slopes` that grow by twice `bend` a log of dose."""
    study, rng, logs = study_from(GEL), np.random.default_rng(seed), {}
    slopes = np.full(len(shifts), TRUE["catalyst"]) if slopes is None else slopes
    for number, (shift, slope) in enumerate(zip(shifts, slopes, strict=True), 1):
        n = sessions * pours
        names = [f"P{i}" for i in range(n)]
        session = np.repeat(np.arange(sessions), pours)
        catalyst = np.round(rng.uniform(1, 2.5, n), 2)
        at = pd.Timestamp("2026-03-01") + pd.to_timedelta(rng.integers(0, 10**6, n), "s")
        table = pd.DataFrame({"session": session.astype(str), "catalyst": catalyst, "made_at": at}, index=names)
        dose = np.log(catalyst / 1.5)
        latent = TRUE["level"] + shift + slope * dose + bend * dose**2 + rng.normal(0, 0.03, sessions)[session]
        gel = np.exp(latent + rng.normal(0, 0.05, n))
        rows = pd.DataFrame({"pour": names, "reading": "gel_time", "low": gel, "high": gel, "known": "exact"})
        logs[f"Bench {number}"] = castings_of(study, table, rows)
    return logs


@pytest.fixture(scope="module")
def guild(castings_of):
    """Eight benches, seven alike and one that gels half as long again, as a pool."""
    return pool(gel_guild(castings_of, [0, 0.02, -0.03, 0.01, 0.4, -0.02, 0.03, -0.01]))


@pytest.mark.slow
def test_the_truth_behind_the_readings_is_found(guild):
    """Known truth: an exponent of -0.8, sessions 0.03, readings 0.05 apart, on the log scale."""
    average = guild["gel_time"].average
    posterior, ends = average.posterior, average.mean(pd.DataFrame({"catalyst": [1.0, 2.5]}))
    exponent = np.diff(ends)[:, 0] / np.log(2.5)
    assert exponent.std() < 0.03 and abs(exponent.mean() + 0.8) < 3 * exponent.std()
    assert posterior.sd.mean() == pytest.approx(0.05, rel=0.15)
    low, high = np.quantile(posterior.group_sds["session"], [0.025, 0.975])
    assert low < 0.03 < high


@pytest.mark.slow
def test_an_average_bench_bends_where_its_log_does(castings_of):
    """exp(3.2 - 0.8 x + 1.2 x**2) min with x = ln(dose / 1.5 %): 24.53, 21.52 and 22.30 min at 1.5, 2 and 2.5 %."""
    logs, truth = gel_guild(castings_of, np.zeros(5), sessions=2, bend=1.2), [24.53, 21.52, 22.30]
    found = pool(logs)["gel_time"].average
    joined = join_logs(logs)
    no_bend = {"gel_time": {"catalyst_bend": {"mean": 0.0, "sd": 1e-6}}}
    straight = fit_pooled(joined.castings, joined.bench_of, found.reading, beliefs=no_bend, remainder=False).average
    assert middles(found) == pytest.approx(truth, rel=0.05)
    assert np.abs(np.array(middles(straight)) / truth - 1).max() > 0.1  # what a straight power law makes of it


def middles(fit):
    return fit.predict(pd.DataFrame({"catalyst": [1.5, 2.0, 2.5]}))["middle"].tolist()


def test_an_effect_that_is_straight_in_all_pours_is_pooled_as_straight(castings_of):
    """Gloss falls by 3 a per cent of glitter at two benches, 15 over the span: the pool says what least squares say of all pours."""
    spans = {"catalyst": (1, 2.4), "pigment": (0.2, 2), "thickness": (6, 14), "glitter": (0, 5)}
    units = {"thickness": "mm"}
    factors = {name: {"from": f"{low} {units.get(name, '%')}", "to": f"{high} {units.get(name, '%')}"} for name, (low, high) in spans.items()}
    factors["glitter"] = {"unit": "%", "low": 0, "high": 10, "from": 0, "to": 5, "usual": 1}
    study = study_from({"factors": factors, "readings": {"gloss": {"unit": "GU", "low": 0, "high": 120}}})
    rng, logs, columns, read = np.random.default_rng(11), {}, [], []
    for bench, pours in enumerate((24, 12)):
        table = pd.DataFrame({name: np.round(rng.choice(np.linspace(*ends, 4), pours), 2) for name, ends in spans.items()},
                             index=[f"P{i}" for i in range(pours)])
        gloss = np.round(90 + 2 * bench - 3 * table["glitter"] + rng.normal(0, 2, pours))
        rows = pd.DataFrame({"pour": table.index, "reading": "gloss", "low": gloss.to_numpy(), "high": gloss.to_numpy(), "known": "exact"})
        logs[f"Bench {bench}"] = castings_of(study, table.assign(session="1", made_at=pd.Timestamp("2026-03-02")), rows)
        columns.append(table.assign(one=bench == 0, other=bench == 1).to_numpy(float))
        read.append(gloss)
    plain = np.linalg.lstsq(np.vstack(columns), np.concatenate(read), rcond=None)[0][3]
    row = pool(logs).table.loc[("gloss", "glitter")]
    assert row["middle"] == pytest.approx(5 * plain, abs=1) and row["high"] - row["low"] < 5


def test_the_odd_bench_stands_out_by_what_it_is_off(guild):
    """Half as long again, exp(0.4), against the average bench, which holds an eighth of it: exp(0.35)."""
    table = guild["gel_time"].differences()
    assert table.index[table["stands_out"]].tolist() == ["Bench 5"]
    assert table.loc["Bench 5", "middle"] == pytest.approx(np.exp(0.35), rel=0.05)
    assert "Bench 5 (" in guild.sentence() and "longer) stands out" in guild.sentence()


def test_an_effect_alike_at_all_benches_holds_at_every_bench(guild):
    row = guild.table.loc[("gel time", "catalyst")]
    assert row["where"] == "at every bench" and "At a new bench" in row["says"]
    assert row["new low"] < row["low"] and row["high"] < row["new high"]


@pytest.mark.slow
def test_an_effect_that_differs_by_bench_does_not_hold_everywhere(castings_of):
    """Exponents from -1.5 to +0.3 over eight benches: no one can promise a ninth its sign."""
    wild = pool(gel_guild(castings_of, np.zeros(8), slopes=np.linspace(-1.6, 0.6, 8)))
    row = wild.table.loc[("gel time", "catalyst")]
    assert row["new low"] < 1 < row["new high"]
    assert row["where"] in ("on average only", "cannot tell yet")


def test_a_bench_that_is_left_out_whole_is_said_to_be_and_who_decides_where_as_many_declare_it_otherwise(bench, declared, monkeypatch):
    """One bench adds catalyst in g and one in %: whichever is named first decides, and the other loses every pour."""
    monkeypatch.setattr("testpour.pooling.pool.fit_pooled", lambda *_, **__: None)
    plain, grams = bench(1), declared(bench(2), "factors", "catalyst", unit="g")
    lost = "is left out whole, because its catalyst is in another unit"
    tie = "As many benches declare it one way as the other, so the bench named first decides."
    assert pool({"A": plain, "D": grams}, leave_out=True).joined() == f"1 bench: 6 pours in 2 sessions. D {lost} (g, not %). {tie}"
    assert pool({"D": grams, "A": plain}, leave_out=True).joined() == f"1 bench: 6 pours in 2 sessions. A {lost} (%, not g). {tie}"
    given = {"A": plain, "B": bench(3), "D": grams, "E": bench(4, resin={"kind": "epoxy"}), "F": declared(bench(5), "readings", "hardness", unit="Shore A")}
    assert pool(given, leave_out=True).joined() == (
        f"3 benches: 18 pours in 6 sessions. E is left out whole, because it is about another kind of resin. D {lost} (g, not %). Left out: hardness of F.")


def test_pours_brought_twice_are_counted_where_they_are_left_out(bench, monkeypatch):
    """Four of eight; "Left out: B pours" read as if all were."""
    monkeypatch.setattr("testpour.pooling.pool.fit_pooled", lambda *_, **__: None)
    whole = bench(1, pours=8)
    keep = whole.pours.index[:4]
    first = replace(whole, pours=whole.pours.loc[keep], readings=whole.readings[whole.readings["pour"].isin(keep)])
    assert pool({"A": first, "B": whole}, leave_out=True).joined() == "2 benches: 8 pours in 2 sessions. Left out: 4 pours of B."


def test_a_setting_that_is_assumed_is_said(bench, monkeypatch):
    """The usual catalyst of the catalogue is 1.5 %."""
    monkeypatch.setattr("testpour.pooling.pool.fit_pooled", lambda *_, **__: None)
    blank = replace(bench(1), pours=bench(1).pours.assign(catalyst=np.nan))
    said = pool([blank, bench(2)]).joined()
    assert said.endswith("Not written down, so the usual value is assumed: catalyst 1.5 % for 6 pours of Bench 1.")


def test_two_benches_tell_what_they_say_together_but_not_how_they_differ(castings_of, tmp_path):
    """An exponent of -0.8 at both, 48 pours: that catalyst shortens gel time is settled, however benches differ."""
    few = pool(gel_guild(castings_of, [0, 0.1]))
    assert "newcomer's first casting at the usual settings, nine in ten: Gel time " in few.sentence()
    assert "cannot tell yet how benches differ" in few.sentence() and "stands out" not in few.sentence()
    assert set(few.table["where"]) == {"in all logs together"}
    page = few.page(tmp_path / "pool.html").read_text("utf-8")
    assert "<h2>What all logs together say</h2><ul><li>Raising catalyst from" in page and "<h2>Cannot tell yet</h2>" not in page
    assert "cannot tell yet" in show_benches(few, "gel_time").says


@pytest.mark.slow
def test_a_reading_of_one_bench_tells_nothing_of_how_benches_differ(bench):
    only = {"readings": {"gel_time": {}}, "aims": {}}
    one = bench(1, pours=12, readings={"gel_time": {}, "hardness": {}}, aims={})
    rows, hard = one.readings.copy(), (one.readings["reading"] == "hardness").to_numpy()
    rows.loc[hard, "low"] = rows.loc[hard, "high"] = np.round(50 + 15 * one.pours["catalyst"].to_numpy() + np.resize([-1, 0, 1], 12))
    found = pool([replace(one, readings=rows), bench(2, **only), bench(3, **only)])
    gel, hardness = found.bench_sentences()
    assert hardness == "Hardness: read at Bench 1 only, and it takes 3 benches or more to tell how they differ."
    assert gel.startswith("Gel time: two benches in three lie within")
    assert found.table.loc[("hardness", "catalyst"), "where"] == "in all logs together"


def test_a_sure_bend_is_not_told_as_what_cannot_be_told(castings_of):
    """exp(3.2 - 0.13 x + 1.2 x**2) min, x = ln(dose / 1.5 %): 31.5 min at 1 %, 24.4 at 1.58 % (x = 0.13 / 2.4), 31.4 at 2.5 %."""
    row = pool(gel_guild(castings_of, [0, 0.1], [-0.13, -0.13], bend=1.2)).table.loc[("gel time", "catalyst")]
    assert "It bends: gel time falls up to about 1.6 % and rises beyond." in row["says"]
    assert row["low"] < 1 < row["high"] and row["where"] == "in all logs together"


@pytest.mark.parametrize("slopes, wide", [((-0.8, 0.4), 0.85), ((-0.8, -0.8), 0), ((-0.8, -0.8, -0.8, 0.4), 0.8)])
def test_benches_that_contradict_each_other_are_told_and_leave_a_wide_belief(castings_of, tmp_path, slopes, wide):
    """Exponents of -0.8 and 0.4 have a standard deviation of 0.85; of three at -0.8 and one at 0.4 that one lies 0.9 from their mean."""
    contrary = wide > 0
    found = pool(gel_guild(castings_of, [0.0] * len(slopes), slopes))
    told = "The benches contradict each other about what catalyst does to gel time: a new bench should find out by its own pours."
    assert (told in found.sentence()) is contrary and (told in found.page(tmp_path / "pool.html").read_text("utf-8")) is contrary
    beliefs = read_beliefs(found.beliefs(tmp_path / "pool.toml"))
    catalyst = beliefs["gel_time"]["catalyst"]
    assert catalyst["mean"] == pytest.approx(np.mean(slopes), abs=0.1) and (told in beliefs.sentence()) is contrary
    if contrary:
        assert wide < catalyst["sd"] < 1.2 and catalyst["confidence"] == "low" and catalyst["source"].endswith(", which contradict each other")
    else:
        assert catalyst["sd"] < 0.1 and catalyst["confidence"] == "high"


@pytest.mark.slow
@pytest.mark.parametrize("slopes, says", [
    ((0.2, 0.9), "The benches contradict each other about what age does to hardness: a new bench should find out by its own pours."),
    ((0.2, 0.25), ""),  # told apart, but two points of Shore D in a week
])
def test_benches_may_contradict_each_other_about_age_and_only_what_matters_is_said(castings_of, slopes, says):
    study, age, logs = study_from({"factors": {"catalyst": {}}, "readings": {"hardness": {"ages": [24, 168]}}}), np.array([24.0, 168.0]), {}
    for bench, slope in zip("AB", slopes, strict=True):
        names = np.repeat([f"P{i}" for i in range(12)], 2)
        share = 1 / (1 + np.exp(-1.2 - slope * np.log(np.tile(age, 12) / 24)))
        value = 100 * share + np.random.default_rng(len(logs)).normal(0, 0.02, 24)
        rows = pd.DataFrame({"pour": names, "reading": "hardness", "age": np.tile(age, 12), "low": value, "high": value, "known": "exact"})
        logs[bench] = castings_of(study, pd.DataFrame({"catalyst": 1.5, "session": "S1"}, index=names[::2]), rows)
    found = pool(logs)
    assert [each.term.name for each in found.contradictions["hardness"]] == ["age"]
    assert found.bench_sentences()[2:] == ([says] if says else [])


@pytest.mark.slow
def test_a_bench_that_read_nothing_telling_is_as_uncertain_as_a_newcomer(castings_of):
    """Gel times open at both ends say nothing of the bench: it is told as a new one is."""
    logs = gel_guild(castings_of, [0, 0.1, 0.05, 0.3])
    blank = logs["Bench 2"].readings.assign(low=-np.inf, high=np.inf, known="between")
    found = pool(logs | {"Bench 2": replace(logs["Bench 2"], readings=blank)})
    assert found["gel_time"].benches == ("Bench 1", "Bench 3", "Bench 4")
    pd.testing.assert_frame_equal(found.at("Bench 2").predict(), found.newcomer.predict())


def test_pours_without_a_reading_and_a_bench_alone_are_told_plainly(castings_of):
    only = gel_guild(castings_of, [0])
    unread = {"Bench 1": replace(only["Bench 1"], readings=only["Bench 1"].readings[:0])}
    assert pool(unread).differences.empty and "1 bench: 24 pours" in pool(unread)._repr_html_()
    assert "With 1 bench a pool cannot tell yet" in pool(only).sentence()


def test_a_newcomer_is_less_certain_than_a_bench_of_the_pool(guild):
    width = [np.ptp(fits.predict()[["low", "high"]].to_numpy()) for fits in (guild.at("Bench 1"), guild.newcomer)]
    assert width[1] > 2 * width[0]
    with pytest.raises(NoSuchName, match="No bench 'Bench 9'"):
        guild.at("Bench 9")


def test_a_bench_that_says_enough_itself_is_told_by_itself(guild, castings_of):
    """At 1.5 % the middle is that of numpy's least squares on the 24 pours of the bench alone."""
    alone = gel_guild(castings_of, [0, 0.02, -0.03, 0.01, 0.4, -0.02, 0.03, -0.01])["Bench 5"]
    design = np.column_stack([np.ones(24), np.log(alone.pours["catalyst"] / 1.5)])
    level = np.linalg.lstsq(design, np.log(alone.readings["low"]), rcond=None)[0][0]
    middle = guild.at("Bench 5").predict({"catalyst": 1.5})["middle"].iloc[0]
    assert middle == pytest.approx(np.exp(level), rel=0.015)


def test_the_beliefs_file_carries_the_pool_to_a_bench_without_pours(guild, tmp_path):
    """Fitted to an empty log, the file predicts as the pool does for a newcomer."""
    path = guild.beliefs(tmp_path / "guild.toml")
    beliefs = read_beliefs(path)
    empty = replace(guild.castings, pours=guild.castings.pours[:0], readings=guild.castings.readings[:0])
    ends = ["low", "middle", "high"]
    found = fit_castings(empty, beliefs=beliefs).predict({"catalyst": 2.2})[ends]
    np.testing.assert_allclose(found, guild.expect({"catalyst": 2.2}).table[ends], rtol=0.06)


def test_what_a_bench_should_expect_is_said_in_words(guild):
    """The numbers of the table with their unit, whose bench it is, and what was never poured."""
    new, known = guild.expect({"catalyst": 2.2}), guild.expect({"catalyst": 3.5}, bench="Bench 5")
    low, middle, high = (float(f"{new.table[end].iloc[0]:.3g}") for end in ("low", "middle", "high"))
    assert new.sentence() == (
        "What to expect of one casting at a bench that is not in the pool yet. "
        f"Gel time: about {middle:g} min, nine castings in ten between {low:g} and {high:g} min."
    )
    assert known.sentence().startswith("What to expect of one casting at Bench 5. Gel time: about ") and "Trust it less: catalyst 3.5 %" in known._repr_html_()
    humid = "This is for humidity 77 %, as in most of the log: no pour had the usual 50 %."
    assert replace(new, table=new.table.assign(met=humid)).sentence() == f"{new.sentence()} {humid}"
    grades = SimpleNamespace(name="tack", words="tack", ages=(4.0, 24.0), grades=("dry", "slightly tacky", "tacky"))
    row = {"low": 0.0, "middle": 0.0, "high": 1.0}
    assert replace(new, age=24.0)._line(grades, row) == "tack at 24 h: most likely dry, nine castings in ten dry to slightly tacky."
    asked = replace(new, study=replace(new.study, aims=(Aim("tack", at_most=1.0, age=30.0),)))
    assert asked._line(grades, row).startswith("tack at 30 h: ") and new._line(grades, row).startswith("tack at 4 h: ")


def test_the_first_cut_point_is_carried_whatever_the_grades_width():
    """Cut-points 0.5, 3.5 and 6.5 in every draw, three apart as believed: the file holds 0.5 and hardly a spread."""
    posterior = SimpleNamespace(coefficients=np.zeros((50, 0)), cuts=np.tile([0.5, 3.5, 6.5], (50, 1)), group_sds={}, sd=np.ones(50))
    believed = ReadingBeliefs((), (), {}, Belief(0.0, 2.5, width=3.0))
    one = SimpleNamespace(
        average=SimpleNamespace(posterior=posterior, believed=believed, study=None), newcomer=lambda: SimpleNamespace(away={"bench": np.zeros(50)}),
        reading=SimpleNamespace(grades=("none", "a little", "some", "full")), sloped=(),
    )
    cuts = _reading_table(one, "a pool")["cuts"]
    assert cuts["mean"] == pytest.approx(0.5) and cuts["sd"] < 0.01


def test_the_beliefs_file_says_where_it_comes_from(guild, tmp_path):
    held = tomllib.loads(guild.beliefs(tmp_path / "guild.toml").read_text())["provenance"]
    assert held["pours"] == 192 and held["benches"] == 8
    assert [one["fingerprint"] for one in held["packages"]] == guild.benches["fingerprint"].tolist()
    assert "8 benches and 192 pours" in read_beliefs(tmp_path / "guild.toml").sentence()


def test_a_pool_takes_up_the_beliefs_of_the_pool_before(guild, castings_of, tmp_path):
    """One bench on top of the beliefs of eight: the exponent is known as it was, from sixteen pours of its own."""
    beliefs = read_beliefs(guild.beliefs(tmp_path / "guild.toml"))
    later = pool(gel_guild(castings_of, [0.0], sessions=2, seed=9), beliefs=beliefs)["gel_time"]
    assert later.average.posterior.coefficients[:, 1].mean() == pytest.approx(-0.8, abs=0.05)


@pytest.mark.slow
def test_a_bench_is_not_advised_to_vary_what_it_never_wrote_down(bench):
    """Bench 2 alone weighs filler, from 0 to 20 %; Bench 1 has none to weigh."""
    filled = bench(2, factors={"catalyst": {}, "room_temperature": {}, "resin_lot": {}, "filler": {"unit": "%", "low": 0, "high": 60, "from": 0, "to": 20}})
    pooled = pool([bench(1), replace(filled, pours=filled.pours.assign(filler=[0.0, 10.0, 20.0] * 2))])
    varied = {number: [factor.name for factor in pooled.at(f"Bench {number}").study.varied] for number in (1, 2)}
    assert varied == {1: ["catalyst"], 2: ["catalyst", "filler"]}
    assert recommend(pooled.at("Bench 1")).settings["filler"] == 0
    pooled = pool({"North": bench(1), "North East": replace(filled, pours=filled.pours.assign(filler=[0.0, 10.0, 20.0] * 2))})
    assert [factor.name for factor in pooled.at("North").study.varied] == ["catalyst"]  # the other's name begins with its own


@pytest.mark.slow
def test_beliefs_are_used_by_a_bench_that_reads_less_and_not_on_another_scale(bench, tmp_path):
    """Shore A, a score to 50 and five grades are other numbers than Shore D, a score to 5 and four grades; bubbles nobody else counts do no harm."""
    score = {"readings": {"gel_time": {}, "tack": {}, "hardness": {"unit": "Shore D"}, "score": {"low": 0, "high": 5}, "bubbles": {"low": 0, "high": 9}}}
    logs = {f"Bench {number}": bench(number, **score) for number in (1, 2)}
    taken = {n: replace(c, readings=pd.concat([c.readings, *(c.readings[c.readings["reading"] == "hardness"].assign(reading=name, low=3.0, high=3.0)
                                                              for name in ("score", "bubbles"))], ignore_index=True)) for n, c in logs.items()}
    beliefs = read_beliefs(pool(taken).beliefs(tmp_path / "b.toml"))
    assert beliefs.provenance["units"]["gel_time"] == "min (log scale)" and set(beliefs) >= {"score", "bubbles"}
    without = bench(3)
    assert set(fit_castings(without, beliefs=beliefs)) == {"gel_time", "hardness", "tack"}
    other = {"gel_time": {}, "hardness": {"unit": "Shore A"}, "score": {"low": 0, "high": 50},
             "tack": {"grades": ["dry", "barely tacky", "tacky", "very tacky", "wet"], "high": 4}}
    with pytest.raises(BeliefProblem) as problem:
        fit_castings(bench(3, readings=other), beliefs=beliefs)
    for said in ("hardness: these beliefs are about Shore D from 0 to 100 (share scale), and this study reads it in Shore A from 0 to 100 (share scale).",
                 "score: these beliefs are about plain numbers from 0 to 5 (plain scale), and this study reads it in plain numbers from 0 to 50",
                 "tack: these beliefs are about the grades dry, slightly tacky, tacky, wet, and", "beliefs.pop('tack')"):
        assert said in str(problem.value)
    assert "gel_time:" not in str(problem.value)


def test_beliefs_that_say_the_unit_alone_are_still_read(bench, tmp_path):
    """As a file of an earlier version has it."""
    beliefs = pool({"North": bench(1)}).beliefs()
    beliefs.provenance["units"] = {"gel_time": "min", "hardness": "Shore D", "tack": "grade"}
    assert "gel_time" in fit_castings(bench(3), beliefs=beliefs)
    beliefs.provenance["units"]["hardness"] = "Barcol"
    with pytest.raises(BeliefProblem, match="hardness: these beliefs are about Barcol"):
        fit_castings(bench(3), beliefs=beliefs)


@pytest.mark.parametrize(
    "text, says",
    [
        ("gel_time = 3", "gel_time must be a table"),
        ("[gel_time", "the bracket of .* is not closed"),
        ("[provenance]\nform = 99", "it has form 99"),
    ],
)
def test_what_is_no_beliefs_file_is_refused(tmp_path, text, says):
    (tmp_path / "b.toml").write_text(text)
    with pytest.raises(BeliefProblem, match=says):
        read_beliefs(tmp_path / "b.toml")


def test_beliefs_by_hand_may_say_where_they_come_from_in_their_own_way(tmp_path):
    (tmp_path / "b.toml").write_text('[provenance]\nnote = "the makers of 1998"\n[gel_time.catalyst]\nmean = -0.8\nsd = 0.1\n')
    assert repr(read_beliefs(tmp_path / "b.toml")) == "Beliefs about gel time, without the benches and pours they are based on."


def test_no_such_beliefs_file(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"write one with pooled.beliefs\(path\)"):
        read_beliefs(tmp_path / "none.toml")


def test_the_page_is_one_file_that_asks_for_nothing(guild, tmp_path):
    text = guild.page(tmp_path / "pool.html").read_text()
    assert "default-src 'none'" in text and "<script" not in text and set(re.findall(r'src="(\w+:)', text)) == {"data:"}
    assert "Holds at every bench" in text and "Bench 5" in text and 'lang="en"' in text
    with pytest.raises(FileNotFoundError, match="Make it, or give another path"):
        guild.page(tmp_path / "no" / "pool.html")


def test_a_bench_called_by_markup_shows_it_and_does_not_run_it(castings_of, tmp_path):
    named = {"<img src=x onerror=alert(1)>": None, "Bench 2": None, "Bench 3": None}
    logs = dict(zip(named, gel_guild(castings_of, [0.0, 0.5, 0.1]).values(), strict=True))
    found = pool(logs)
    for text in (found._repr_html_(), found.page(tmp_path / "pool.html").read_text()):
        assert "<img src=x" not in text


@pytest.mark.slow
def test_the_same_logs_and_seed_give_the_same_pool(castings_of):
    first, second = (pool(gel_guild(castings_of, [0, 0.1, 0.2], pours=4)) for _ in range(2))
    assert (first["gel_time"].average.posterior.coefficients == second["gel_time"].average.posterior.coefficients).all()


def test_the_figure_names_benches_and_those_that_stand_out(guild):
    picture = show_benches(guild, "gel_time")
    assert [label.get_text() for label in picture.axes[0].get_yticklabels()][-1] == "Bench 5"
    assert "(%)" in picture.axes[0].get_xlabel() and "Bench 5" in picture.says
    with pytest.raises(NoSuchName, match="No reading 'sheen'"):
        show_benches(guild, "sheen")


def test_what_makes_no_difference_is_not_among_what_cannot_be_told(study):
    """Two thousandths of the chance, nine in ten between one below and ten above: a casting in a hundred at most."""
    known = {"from_log": 0.9, "disagreement": 0.0, "poured": True, "good": (0, 1)}
    for high, where in ((0.01, "no difference that counts"), (0.04, "cannot tell yet")):
        found = Effect(study.factor("catalyst"), study.reading("tack"), 1.0, 2.0, 0.002, -0.001, high, **known)
        assert where_it_holds(found, found, None, True)[0] == where and where in HEADS


def test_what_differs_by_bench_is_told_to_the_hundredth_and_never_as_minus_nothing(guild):
    """Ratios of 1.23456, 0.99999 and 1.00001 to the average bench are 23.46 % and nothing, by hand."""
    rows = pd.DataFrame({"middle": [1.23456, 0.99999], "low": [0.99999, 0.5], "high": [1.5, 1.00001]}, index=["Bench 1", "Bench 2"])
    fit = SimpleNamespace(reading=guild["gel_time"].reading, ratio=True, differences=rows.copy, average=SimpleNamespace(pours=1, study=guild.study))
    told = replace(guild, readings={"gel_time": fit}).differences
    assert told["unit"].tolist() == ["%", "%"] and told[["middle", "low", "high"]].to_numpy().tolist() == [[23.46, 0.0, 50.0], [0.0, -50.0, 0.0]]
    assert not np.signbit([told.loc[("gel time", "Bench 2"), "middle"], told.loc[("gel time", "Bench 1"), "low"]]).any()


def test_a_bench_whose_readings_say_nothing_is_no_bench_of_the_pool(castings_of, monkeypatch):
    """Three gel times after 0 min, any number, beside three that are known."""
    monkeypatch.setattr("testpour.pooling.reading.DRAWS", 40)
    logs = gel_guild(castings_of, [0.0, 0.1], sessions=1, pours=3)
    silent = logs["Bench 2"]
    joined = join_logs(logs | {"Bench 2": replace(silent, readings=silent.readings.assign(low=0.0, high=np.inf, known="not yet"))})
    found = fit_pooled(joined.castings, joined.bench_of, joined.castings.study.reading("gel_time"), remainder=False)
    assert found.benches == ("Bench 1",) and len(found.average.rows) == 3


def test_a_small_pool_is_drawn_as_exactly_as_one_log(guild):
    """800 of 2,000 draws are what every fit is worth; eight benches varied the catalyst, so its effect may differ by bench."""
    posterior = guild["gel_time"].average.posterior
    assert posterior.method == "importance" and posterior.effective > 800
    assert guild["gel_time"].sloped == ("catalyst",) and posterior.group_effects["bench catalyst"].shape == (2000, 8)


@pytest.mark.parametrize("matters", [True, False])
def test_a_contradiction_too_small_to_matter_is_left_unsaid(matters, guild, monkeypatch):
    apart = Contradiction(guild["gel_time"].average.believed.terms[1], -0.8, 0.3, matters)
    monkeypatch.setattr("testpour.pooling.pooled_logs.contradictions", lambda fit: (apart,))
    said = replace(guild).contradiction_sentences()
    assert len(said) == matters and all("The benches contradict each other" in text for text in said)


@pytest.mark.parametrize("mean, sd, effects, middle, spread", [
    ((0.5, 0.5, 5.0, 99.0), (1.0, 1.0, 1.0, 1.7), 81, 2.0, 4.0),
    ((0.5, 0.5, 5.0, 99.0), (1.0, 1.0, 1.0, 1.7), 82, None, None),
    ((0.5, 5.75), (1.0, 0.5), 1, 6 * 55.6 / 108, np.sqrt(17.2 + 55.6 * 52.4 / 324)),
    ((0.5, 99.0), (1.0, 1.7), 1, None, None),
])
def test_how_far_benches_lie_apart_by_hand(mean, sd, effects, middle, spread):
    """Belief 2 with spread 2, a precision of 1/4, taken out of the answers again; a bench whose spread is still above 1.6 has none.

    Three of precision 3/4 say 0, 0 and 6: Q = 3/4 (4 + 4 + 16) = 18, which one set of agreeing benches in exp(9) passes; 18 - 2 over
    9/4 - 3/4 is 32/3 between benches. 2 +- sqrt(32/3 + 4) = 3.8, and one answer lies 4 off. Two of 3/4 and 15/4 say 0 and 6: Q = 22.5,
    21.5 / (4.5 - 3.25) = 17.2 between, so that the answers' variances are 55.6/3 and 52.4/3.
    """
    found = _apart(np.array(mean), np.array(sd), Belief(2.0, 2.0), effects)
    assert found is None if middle is None else found == pytest.approx((middle, spread))


@pytest.mark.parametrize("grades, scatter", [((), {"reading": 5.0, "pour": np.sqrt(12.5)}), (("wet", "dry"), {"pour": np.sqrt(12.5)})])
def test_a_scatter_is_carried_by_its_mean_square(grades, scatter):
    """1 and 7 are 5 by the root of their mean square, 3 and 4 the root of 12.5; a grade's own step is 1 by definition, and what the trade
    does not name, such as what benches add, is not carried."""
    posterior = SimpleNamespace(coefficients=np.zeros((2, 0)), cuts=np.zeros((2, 1)), sd=np.array([1.0, 7.0]),
                                group_sds={"pour": np.array([3.0, 4.0]), "bench": np.ones(2)})
    average = SimpleNamespace(posterior=posterior, believed=ReadingBeliefs((), (), {}, Belief(0.0, 2.5)), study=None)
    one = SimpleNamespace(average=average, newcomer=lambda: SimpleNamespace(away={"bench": np.zeros(2)}), reading=SimpleNamespace(grades=grades), sloped=())
    assert _reading_table(one, "a pool")["scatter"] == pytest.approx(scatter, rel=0.01)
