"""Plans repaired round the pours that were made, and what a dropped pour loses."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from testpour.common.problems import Problem
from testpour.planning import purposes, repair
from testpour.planning.criteria import information, log_determinant, model_rows
from testpour.planning.optimal import optimal_plan
from testpour.planning.plan import plan_pours
from testpour.planning.problem import PlanConflict
from testpour.planning.repair import Lost, repair_plan, what_is_lost


@pytest.fixture(scope="module")
def plan(study):
    return plan_pours(study, sessions=3, pours=5)


def made(plan, *pours):
    """A log that holds these pours of the plan as planned."""
    return SimpleNamespace(pours=plan.table.loc[list(pours)], names=set(pours))


def worth(plan, castings):
    """log determinant of the pours made together with those still to make, sessions as in the plan."""
    table = plan.table[~plan.table.index.isin(castings.pours.index)]
    rows = np.vstack([plan.coding.encode(castings.pours), plan.coding.encode(table)])
    labels = [*castings.pours["session"], *table["session"]]
    numbers = [sorted(set(labels)).index(label) for label in labels]
    return float(log_determinant(information(model_rows(rows, plan.terms), numbers, 0.5)))


def test_made_pours_are_kept_and_the_rest_is_no_worse_than_simply_going_on(plan):
    castings = made(plan, *[p for p in plan.session(1).index if p != "P02"])
    repaired = repair_plan(plan, castings)
    assert list(repaired.table.index) == ["P02", *plan.table.index[5:]]
    assert worth(repaired, castings) >= worth(plan.without("P02"), castings)


def test_a_pour_lost_in_a_session_that_is_over_moves_to_the_next(plan):
    repaired = repair_plan(plan, made(plan, *[p for p in plan.session(1).index if p != "P02"]))
    assert repaired.table.loc["P02", "session"] == "S2"
    assert "Moved to a later session: P02" in repaired.sentence()
    last = repair_plan(plan, made(plan, *[p for p in plan.table.index if p != "P15"]))
    assert list(last.table["session"]) == ["S4"]


def test_a_pour_made_again_under_a_name_of_its_own_is_not_asked_for_once_more(plan):
    castings = made(plan, *plan.session(1).index)
    castings.pours = castings.pours.rename(index={"P02": "P02-2"})  # what the form and the log call it
    assert list(repair_plan(plan, castings).table.index) == list(plan.table.index[5:])


def test_a_finished_plan_has_nothing_to_repair(plan):
    with pytest.raises(Problem, match="nothing is left to repair. Plan afresh"):
        repair_plan(plan, made(plan, *plan.table.index))


def test_repairing_is_the_same_for_the_same_seed_and_leaves_the_plan_alone(plan):
    before = plan.table.copy()
    castings = made(plan, "P01", "P03")
    first, again = (repair_plan(plan, castings, seed=4).table for _ in range(2))
    assert first.equals(again)
    assert plan.table.equals(before)


@pytest.mark.slow
@pytest.mark.parametrize("purpose, criterion", [("which settings matter", "D"), ("map the good region", "I"), ("sharpen what we know", "D")])
def test_the_search_of_a_repair_gets_the_problem_of_the_plan(study, monkeypatch, purpose, criterion):
    """Scatter between days over that between pours by hand, from the believed sd of session, reading and pour of the
    aimed readings: gel time 0.12, 0.12 and 0.10; tack 0.4 over 1; hardness 0.15, 0.12 and 0.12; peak 0.2, 0.2 and 0.2."""
    eta = (0.0144 / 0.0244 + 0.16 + 0.0225 / 0.0288 + 0.04 / 0.08) / 4
    before = made(plan_pours(study, sessions=2, pours=5), "P01", "P02", "P03")
    asked = []
    for module in (purposes, repair):
        monkeypatch.setattr(module, "optimal_plan", lambda *given, **named: asked.append((*given, named)) or optimal_plan(*given, **named))
    past = before if purpose == "sharpen what we know" else None
    plan = plan_pours(study, sessions=2, pours=8, purpose=purpose, castings=past)
    done = SimpleNamespace(pours=pd.concat([before.pours, plan.table.iloc[:6]]) if past else plan.table.iloc[:6])
    repair_plan(plan, done)
    (first, *_), (second, kind, named) = asked[0], asked[-1]
    assert kind == criterion and named["starts"] == 60
    assert second.eta == pytest.approx(eta, rel=1e-9) and first.eta == second.eta
    assert (first.prior is None) == (second.prior is None) == (past is None)
    if past:
        assert np.allclose(first.prior, second.prior)
    assert len(second.kept) == len(done.pours) and second.runs == 10 and second.limit is not None


@pytest.mark.parametrize("purpose, criterion, believed", [
    ("which settings matter", "D", False), ("map the good region", "I", False), ("sharpen what we know", "D", True),
])
def test_a_repair_is_searched_with_what_the_plan_is_for(plan, monkeypatch, purpose, criterion, believed):
    """P01 and P02 of the first session and P06 of the second are made; what is left is poured in the third. Scatter between
    days over that between pours by hand, as in the slow test above."""
    asked = []

    def search(problem, kind, **named):
        asked.append((problem, kind))
        raise KeyboardInterrupt

    monkeypatch.setattr(repair, "optimal_plan", search)
    with pytest.raises(KeyboardInterrupt):
        repair_plan(replace(plan, purpose=purpose), made(plan, "P01", "P06", "P02"))
    ((problem, kind),) = asked
    assert kind == criterion and (problem.prior is not None) is believed
    assert tuple(problem.fixed_sessions) == (0, 1, 0) and tuple(problem.sessions) == (2,) * 12
    assert problem.eta == pytest.approx((0.0144 / 0.0244 + 0.16 + 0.0225 / 0.0288 + 0.04 / 0.08) / 4, rel=1e-9)


def test_a_repaired_question_pours_its_two_settings_and_nothing_else(study):
    plan = plan_pours(study, sessions=2, pours=4, compare=({"catalyst": "1.2 %"}, {"catalyst": "2 %"}))
    repaired = repair_plan(plan, made(plan, *plan.table.index[:3]))
    shown = [f.name for f in study.varied]
    pairs = {tuple(row) for row in plan.table[shown].itertuples(index=False)}
    assert len(pairs) == 2 and {tuple(row) for row in repaired.table[shown].itertuples(index=False)} <= pairs
    assert sorted(repaired.table["catalyst"]) == sorted(plan.table.iloc[3:]["catalyst"])
    assert list(repaired.table["session"]) == ["S2"] * 5


@pytest.mark.slow
def test_dropping_one_middle_pour_loses_little_and_dropping_three_corners_more(plan):
    middle = plan.session(1).index[plan.session(1)["catalyst"].between(1.7, 1.9)][0]
    corners = [p for p in plan.session(1).index if p != middle][:3]
    little, much = (what_is_lost(plan, plan.without(*drop)) for drop in ([middle], corners))
    assert little.table["ratio"].max() < much.table["ratio"].max()
    assert (much.table["ratio"] > 1).all()
    assert "it must now change" in much.sentence()


@pytest.mark.slow
def test_what_is_lost_shows_one_row_a_setting_and_only_what_changed(plan):
    corners = plan.session(1).index[:3]
    lost = what_is_lost(plan, plan.without(*corners))
    assert len(lost.table) > 12  # a row a reading and setting behind it
    assert 1 <= len(lost.changed) <= len(plan.coding.names)
    assert lost.changed["setting"].is_unique
    assert list(lost.changed) == ["setting", "smallest change noticed"]
    assert lost._repr_html_().count("<tr") == len(lost.changed) + 1
    none = what_is_lost(plan, plan)
    assert not len(none.changed) and "<table" not in none._repr_html_()


def test_what_is_lost_carries_no_number_that_its_own_two_contradict():
    """31 % is a third less than 41 %, by their ratio 1.32; on a scale of logs, log 1.41 over log 1.31, it is 1.27."""
    table = pd.DataFrame({"reading": ["gel time"], "setting": ["catalyst"], "before": ["31 %"], "after": ["41 %"], "ratio": [1.27]})
    assert Lost(table).changed.to_numpy().tolist() == [["catalyst", "gel time: 31 % before, 41 % after"]]


def test_dropping_too_many_is_refused_in_words(plan):
    with pytest.raises(PlanConflict, match="put a dropped pour back"):
        what_is_lost(plan, plan.without(*plan.table.index[3:]))


def high(problem, kind, **named):
    """A search that puts every new pour at the high end, behind the pours made as they were."""
    return np.vstack([problem.kept, np.ones((problem.runs, len(problem.axes)))])


@pytest.mark.parametrize("module, ask", [
    (repair, lambda plan, done: repair_plan(plan, done)),
    (purposes, lambda plan, done: plan_pours(plan.study, sessions=1, pours=3, purpose="sharpen what we know", castings=done)),
])
def test_the_pours_to_make_are_those_behind_the_pours_made(plan, monkeypatch, module, ask):
    monkeypatch.setattr(module, "optimal_plan", high)
    table = ask(plan, made(plan, "P01", "P06", "P02")).table
    assert set(table["catalyst"]) == {plan.study.factor("catalyst").span[1]}


def test_of_what_a_setting_loses_the_reading_that_loses_most_is_shown():
    """A twentieth is the least that is shown: pigment loses 4 %."""
    rows = [("gel time", "catalyst", 1.1), ("tack", "catalyst", 1.5), ("gel time", "cover", 1.7), ("tack", "cover", 1.2), ("tack", "pigment", 1.04)]
    lost = Lost(pd.DataFrame([{"reading": reading, "setting": setting, "before": "10 %", "after": f"{10 * ratio:g} %", "ratio": ratio}
                              for reading, setting, ratio in rows]))
    assert lost.changed.to_numpy().tolist() == [["cover", "gel time: 10 % before, 17 % after"], ["catalyst", "tack: 10 % before, 15 % after"]]
    assert lost.sentence().startswith("Most is lost on cover. To be noticed it must now change gel time by at least 17 %, where 10 %")
