"""Where the scatter comes from: known truths found again, words that follow numbers, silence told as silence."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm, zscore

from testpour.models.fits import fit_castings
from testpour.models.scatter import GROUPS, Part, Scatter, _in_reading_unit, _repeats_differ, scatter, sources
from testpour.models.terms import TERMS
from testpour.study.catalogue import catalogue
from testpour.study.study_file import study_from

DAYS = zscore(norm.ppf((np.arange(8) + 0.5) / 8))  # eight sessions whose spread is just what is asked for
STUDY = study_from({
    "factors": {"catalyst": {}, "room_temperature": {}, "resin_lot": {}},
    "readings": {"gel_time": {}, "hardness": {"ages": ["24 h"]}, "tack": {}},
})


def gel_log(castings_of, session, pour, sessions=8, pours=4, seed=1):
    """Gel times of one setting with known spreads of the log, spread out evenly, each pour timed twice."""
    rng = np.random.default_rng(seed)
    rows, read = {}, []
    for s in range(sessions):
        day = session * DAYS[s % len(DAYS)]
        for p in range(pours):
            name, shift = f"S{s}P{p}", rng.normal(0, pour)
            rows[name] = {"session": f"S{s}", "catalyst": 1.5, "room_temperature": 20.0}
            for _ in range(2):
                minutes = np.exp(3.2 + day + shift + rng.normal(0, 0.02))
                read.append({"pour": name, "reading": "gel_time", "low": minutes, "high": minutes})
    return castings_of(STUDY, pd.DataFrame.from_dict(rows, orient="index"), pd.DataFrame(read))


@pytest.mark.parametrize("session, pour, name", [(0.2, 0.02, "session"), (0.02, 0.2, "pour")])
def test_the_largest_source_is_named_with_its_remedy(castings_of, session, pour, name):
    told = scatter(fit_castings(gel_log(castings_of, session, pour))["gel_time"])
    first = told.parts[0]
    assert (first.name, first.learned, first.levels) == (name, True, 8 if name == "session" else 32)
    assert first.low < 100 * np.expm1(0.2) < first.high and first.largest > 0.95
    assert told.sentence().startswith(f"Most of the scatter of gel time is {sources()[name]['words']} (about ±")
    assert sources()[name]["remedy"] in told.sentence()


def test_shares_add_up_and_the_table_holds_every_part(castings_of):
    told = scatter(fit_castings(gel_log(castings_of, 0.1, 0.1))["gel_time"])
    assert sum(part.share for part in told.parts) == pytest.approx(1)
    assert sum(part.largest for part in told.parts) == pytest.approx(1)
    assert told.table.index.tolist() == [part.words for part in told.parts]
    assert (told.table["low"] < told.table["middle"]).all() and (told.table["middle"] < told.table["high"]).all()
    narrow = scatter(fit_castings(gel_log(castings_of, 0.1, 0.1))["gel_time"], level=0.5)
    assert narrow.parts[0].high < told.parts[0].high


def test_one_session_leaves_the_sessions_to_belief(castings_of):
    told = scatter(fit_castings(gel_log(castings_of, 0.1, 0.1, sessions=1))["gel_time"])
    session = next(part for part in told.parts if part.name == "session")
    assert not session.learned and session.levels == 1
    text = told._repr_markdown_()
    assert "so far mostly belief" in text and "between resin lots yet" in text


@pytest.mark.parametrize("met, told", [(False, False), (True, True)])
def test_lots_that_never_met_in_one_session_are_not_told_from_sessions(castings_of, met, told):
    """Gel half as long again from drum B: poured beside drum A on eight days, or alone on every other of them."""
    log = gel_log(castings_of, 0.02, 0.02)
    drum = np.array([(int(name[3]) if met else int(name[1])) % 2 for name in log.pours.index])
    minutes = log.readings["low"] * np.where(drum[log.pours.index.get_indexer(log.readings["pour"])], 1.5, 1.0)
    mixed = replace(log, pours=log.pours.assign(resin_lot=np.where(drum, "B", "A")), readings=log.readings.assign(low=minutes, high=minutes))
    found = scatter(fit_castings(mixed)["gel_time"])
    lots = next(part for part in found.parts if part.name == "resin_lot")
    assert (lots.learned, lots.separable) == (told, told)
    assert ("pour the same settings from two lots in one session" in found.sentence()) != told
    assert ("between resin lots (about" in found.sentence()) == told
    assert (": cannot be separated from what changed with it" in found._repr_markdown_()) != told


def test_an_empty_log_tells_nothing_and_says_what_would(castings_of):
    empty = castings_of(STUDY, pd.DataFrame(columns=["catalyst"]), pd.DataFrame(columns=["pour", "reading", "low", "high"]))
    for fit in fit_castings(empty).values():
        said = scatter(fit).sentence()
        assert said.startswith(f"Cannot tell yet where the scatter of {fit.reading.words} comes from. To find out:")
        assert "three or four more sessions" in said


def test_hardness_is_split_in_its_own_unit(castings_of):
    """Readings of 2 Shore D, castings of 4, in one session: about 80 Shore D, where the scale is nearly straight."""
    rng = np.random.default_rng(2)
    names = [f"P{i:02d}" for i in range(25)]
    pours = pd.DataFrame({"catalyst": 1.5, "session": [f"S{i % 5}" for i in range(25)]}, index=names)
    read = [
        {"pour": name, "reading": "hardness", "low": value, "high": value, "age": 24.0}
        for name in names
        for value in np.round(75 + rng.normal(0, 4) + rng.normal(0, 2, size=6))
    ]
    loose = {"hardness": {"scatter": {"reading": 0.3, "pour": 0.5, "session": 0.05}}}
    told = {p.name: p for p in scatter(fit_castings(castings_of(STUDY, pours, pd.DataFrame(read)), beliefs=loose)["hardness"]).parts}
    assert told["reading"].low < 2 < told["reading"].high and told["reading"].high / told["reading"].low < 1.5
    assert told["pour"].low < 4 < told["pour"].high


def test_two_hands_that_read_differently_are_told_apart(castings_of):
    """One hand reads three Shore D higher throughout."""
    rng = np.random.default_rng(4)
    names = [f"P{i:02d}" for i in range(12)]
    pours = pd.DataFrame({"catalyst": 1.5, "session": "S1"}, index=names)
    read = [
        {"pour": name, "reading": "hardness", "low": v, "high": v, "age": 24.0, "by": hand}
        for name in names
        for hand, extra in (("ann", 0), ("bo", 3), ("cy", -3))
        for v in [np.round(78 + extra + rng.normal())]
    ]
    fit = fit_castings(castings_of(STUDY, pours, pd.DataFrame(read)))["hardness"]
    effects = fit.posterior.group_effects["by"].mean(axis=0)
    assert list(fit.posterior.group_levels["by"]) == ["ann", "bo", "cy"] and effects[1] > effects[0] > effects[2]
    assert next(part for part in scatter(fit).parts if part.name == "by").learned


def tack_log(castings_of, grades, catalyst=(1.5,)):
    """Tack of castings of one session, each with its grades at 24 h."""
    names = [f"P{i}" for i in range(len(grades))]
    pours = pd.DataFrame({"catalyst": np.resize(catalyst, len(names)), "session": "S1"}, index=names)
    read = pd.DataFrame([{"pour": name, "reading": "tack", "low": grade, "high": grade, "age": 24.0}
                         for name, each in zip(names, grades, strict=True) for grade in each])
    return scatter(fit_castings(castings_of(STUDY, pours, read))["tack"])


@pytest.mark.parametrize("grades, catalyst, told, says", [
    ([[2], [1], [0], [1]], (1, 1.5, 2, 2.5), False, "To find out: pour the same settings twice in one session"),
    ([[2], [1], [0], [1]], (1, 2), True, "between one casting and the next"),  # each setting twice: 2 and 0, 1 and 1
    ([[2], [1], [2], [1]], (1, 2), False, "Each of 2 settings poured more than once got the same grade again."),
    ([[2, 1], [1, 1], [0, 1], [0, 0]], (1.5,), True, "between readings of one casting"),
])
def test_grades_say_how_they_scatter_only_where_something_was_done_again(castings_of, grades, catalyst, told, says):
    found = tack_log(castings_of, grades, catalyst)
    own = next(part for part in found.parts if part.name == "reading")
    assert own.learned == told and found.unit == "grades" and says in found.sentence()
    assert found.sentence().startswith("Cannot tell yet where the scatter of tack comes from.") != told


def test_grades_that_always_agree_of_one_casting_have_no_scatter_between_its_readings(castings_of):
    """Twelve castings, each given its own grade three times over: all the scatter is between castings."""
    found = tack_log(castings_of, [[grade] * 3 for grade in (0, 1, 2, 3, 1, 0, 2, 1, 3, 0, 1, 2)])
    assert [part.name for part in found.parts] == ["pour", "session"] and found.parts[0].learned
    assert found.parts[0].share + found.parts[1].share == pytest.approx(1)
    assert found.sentence().startswith("Most of the scatter of tack is between castings of the same settings")
    assert found.sentence().endswith("Each of 12 castings read more than once got the same grade again.")


def test_a_reading_taken_once_an_age_does_not_tell_what_lies_between_readings_of_one_casting(castings_of):
    """Hardness of 20 castings at 24 h and again at 7 d: nothing was read twice. Read five times at 24 h, it is told, and not asked for."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"hardness": {"ages": ["24 h", "7 d"]}}})
    pours = pd.DataFrame({"catalyst": 1.5, "session": [f"S{i % 5}" for i in range(20)]}, index=[f"P{i}" for i in range(20)])
    rng = np.random.default_rng(3)
    for ages in ((24.0, 168.0), (24.0,) * 5):
        read = [{"pour": pour, "reading": "hardness", "low": value, "high": value, "age": age}
                for pour in pours.index for age in ages for value in [np.round(78 + rng.normal())]]
        found = scatter(fit_castings(castings_of(study, pours, pd.DataFrame(read)))["hardness"])
        own = next(part for part in found.parts if part.name == "reading")
        assert own.learned == (len(ages) == 5)
        assert "read some castings twice" not in found.sentence() or not own.learned


@pytest.mark.parametrize("reading, values, says", [
    ("tack", [2], "Cannot tell yet where the scatter of tack comes from. To find out:"),
    ("tack", [3, 3], "Both castings read alike in tack, so no scatter shows yet."),
    ("tack", [0] * 12, "All 12 castings read alike in tack, so no scatter shows yet."),
    ("gel_time", [20] * 5, "All 5 castings read alike in gel time, so no scatter shows yet."),
])
def test_nothing_is_blamed_where_nothing_scattered(castings_of, reading, values, says):
    names = [f"P{number}" for number in range(len(values))]
    pours = pd.DataFrame({"catalyst": np.linspace(1, 2, len(values))}, index=names)
    read = pd.DataFrame({"pour": names, "reading": reading, "low": values, "high": values, "age": 24.0})
    told = scatter(fit_castings(castings_of(STUDY, pours, read))[reading])
    assert told.sentence().startswith(says) and "Look at weighing" not in told.sentence()


def part(name, share, largest, told):
    return Part(name, name, 9, 8.0, 5.0, 12.0, share, largest, told)


@pytest.mark.parametrize("parts, says", [
    ([part("session", 0.8, 0.9, True), part("reading", 0.2, 0.1, True)],
     "Most of the scatter of gel time is between sessions (about ±8.0 %, 90 % interval 5.0 to 12). Measure the room"),
    ([part("session", 0.45, 0.8, True), part("pour", 0.3, 0.1, True), part("reading", 0.25, 0.1, True)],
     "The largest part of the scatter of gel time is between sessions"),
    ([part("session", 0.5, 0.6, True), part("reading", 0.5, 0.4, True)], "Cannot tell yet what scatters gel time most"),
    ([part("session", 0.9, 0.9, False), part("reading", 0.1, 0.1, True)],
     "Cannot tell yet what scatters gel time most. So far: between readings of one casting (about ±8.0 %, 90 % interval 5.0 to 12)"
     + "; not told yet: between sessions. To find out: pour one setting again in three or four more sessions."),
    ([part("session", 0.9, 0.9, False), part("reading", 0.1, 0.1, False)],
     "Cannot tell yet where the scatter of gel time comes from."),
    ([part("session", 0.9, 0.9, True), replace(part("resin_lot", 0.1, 0.1, False), separable=False)],
     "What there is between resin lots cannot be told yet. To find out: pour the same settings from two lots in one session."),
])
def test_words_follow_numbers(parts, says):
    assert says in Scatter(STUDY.reading("gel_time"), tuple(parts)).sentence()


def test_a_score_without_a_unit_leaves_no_gap_and_its_scatter_is_not_cut_at_the_end_of_its_scale(castings_of):
    """Four points either side of nines and tens are four points, though the score ends at 10."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"score": {"low": 1, "high": 10}}})
    pours = pd.DataFrame({"catalyst": 1.5}, index=list("ABCD"))
    read = pd.DataFrame({"pour": pours.index, "reading": "score", "low": [9.0, 10.0, 10.0, 9.0], "high": [9.0, 10.0, 10.0, 9.0]})
    fit = fit_castings(castings_of(study, pours, read))["score"]
    posterior = replace(fit.posterior, sd=np.full(len(fit.posterior), 4.0))
    assert "(about ±4.0, 90 % interval 4.0 to 4.0)" in scatter(replace(fit, posterior=posterior)).sentence()


def test_every_source_has_words_a_remedy_and_a_lesson():
    for name in ("reading", *GROUPS):
        assert set(sources()[name]) == {"words", "remedy", "lesson"}


@pytest.mark.parametrize("age", [np.nan, 24.0])
def test_a_casting_read_again_is_known_with_and_without_an_age(age):
    """P1 read twice and differently, P2 twice alike, P3 once: the gel time has no age."""
    rows = pd.DataFrame({"pour": ["P1", "P1", "P2", "P2", "P3"], "low": [20.0, 22.0, 30.0, 30.0, 25.0], "high": [20.0, 22.0, 30.0, 30.0, 25.0], "age": age})
    assert _repeats_differ(SimpleNamespace(rows=rows), False).to_dict() == {"P1": True, "P2": False}


@pytest.mark.parametrize("reading, drawn, says", [
    ("gel_time", 0.2, 22.14),  # exp(0.2) is 1.2214, in per cent
    ("tack", 2.0, 0.8),  # of grades 5 apart over two steps
    ("hardness", 0.4, 100 * (1 / (1 + np.exp(-1.2)) - 1 / (1 + np.exp(-0.8)))),  # about a level of 1 on the logit of its share of 100
])
def test_a_spread_is_told_in_the_readings_own_terms_by_hand(reading, drawn, says):
    fit = SimpleNamespace(reading=catalogue()["readings"][reading], believed=SimpleNamespace(terms=[TERMS["level"]]), rows=pd.DataFrame({"pour": ["P1", "P2"]}),
                          posterior=SimpleNamespace(cuts=np.array([[1.0, 3.0, 6.0]]), coefficients=np.array([[0.8], [1.2]])))
    assert _in_reading_unit(fit, np.array([drawn])) == pytest.approx([says], rel=1e-4)
