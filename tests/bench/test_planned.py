"""Planned pours as the form shows them, from a plan, a sheet or a table."""

from dataclasses import replace

import pandas as pd
import pytest

from testpour.bench.amounts import WeighOutProblems
from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.desk import Desk
from testpour.bench.planned import FormProblem, planned_pours
from testpour.planning.plan import plan_pours
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from


def test_a_bench_sheet_gives_grams(study, sheet):
    name, pours = planned_pours(study, sheet)
    assert name == "day one" and [p.pour for p in pours] == ["B01", "B02", "B03"]
    assert [(line["what"], line["amount"]) for line in pours[0].weigh] == [("Resin", "150.0 g"), ("Pigment", "0.8 g"), ("Catalyst", "2.3 g")]
    assert [line["what"] for line in pours[1].weigh] == ["Resin", "Catalyst"], "no pigment to weigh"
    assert pours[0].said == ("thickness 6 mm", "cover yes")
    assert "room_temperature" not in pours[0].settings, "the room is read on the day, not planned"


def test_a_filler_has_its_grams_on_the_form():
    """20 % of 150 g is 30 g; 0.1 phr is 0.15 g, read as 0.2 g on a scale of 0.1 g."""
    more = {name: {"unit": unit, "low": 0, "high": 60, "usual": 0} for name, unit in (("filler", "%"), ("silica", "phr"))}
    filled = study_from({"factors": {"catalyst": {}, **more}, "readings": {"tack": {}}})
    table = pd.DataFrame({"catalyst": [2.0, 2.0], "filler": [20.0, 0.0], "silica": [0.0, 0.1]}, index=["P1", "P2"])
    _, (first, second) = planned_pours(filled, bench_sheet(filled, table, session="1", resin="150 g"))
    assert [(line["what"], line["amount"]) for line in first.weigh] == [("Resin", "150.0 g"), ("Filler", "30.0 g"), ("Catalyst", "3.0 g")]
    assert [line["amount"] for line in second.weigh] == ["150.0 g", "0.2 g", "3.0 g"]
    assert not first.warnings and second.warnings[0].startswith("Silica: 0.1 % is 0.15 g, which a scale in steps of 0.1 g rounds to 0.2 g, or 0.133 %.")
    assert [line["what"] for line in planned_pours(filled, table, "1")[1][0].weigh] == ["Catalyst"], "without the resin there are no grams"


def test_a_sheet_in_ounces_gives_ounces(study, pours):
    """5 oz at 1.5 % is 0.075 oz, read as 0.08; 0.5 % of pigment is 0.025 oz, read as 0.03, a fifth too much; by hand."""
    (_, (first, *_)) = planned_pours(study, bench_sheet(study, pours, session="1", resin="5 oz", scale_resolution="0.01 oz"))
    assert [line["amount"] for line in first.weigh] == ["5.00 oz", "0.03 oz", "0.08 oz"]
    said, coarse = first.warnings
    assert coarse.startswith("This scale may deliver anything from 1.50 to 1.70 %") and " oz" in coarse and " g" not in coarse
    assert said == ("Pigment: 0.5 % is 0.025 oz, which a scale in steps of 0.01 oz rounds to 0.03 oz, or 0.6 %. "
                    "Mix at least 9.10 oz of resin or use a finer scale.")


def test_a_plan_gives_parts_and_one_session_of_it(study):
    plan = plan_pours(study, sessions=2, pours=3)
    name, pours = planned_pours(study, plan, 2)
    assert name == plan.sessions[1] and [p.pour for p in pours] == list(plan.session(2).index)
    assert pours[0].weigh[-1]["amount"].endswith("% of the resin")
    with pytest.raises(FormProblem, match="say which session; there are S1 and S2"):
        planned_pours(study, plan)
    with pytest.raises(FormProblem, match="session 9 is not here; there are S1 and S2"):
        planned_pours(study, plan, 9)


def test_a_table_typed_by_hand_is_poured_as_written(study, pours):
    _, (first, *_) = planned_pours(study, pours.assign(catalyst="2,5 %"))
    assert first.settings["catalyst"] == 2.5
    with pytest.raises(StudyProblems, match="Catalyst is not a factor of this study; catalyst may be meant"):
        planned_pours(study, pours.rename(columns={"catalyst": "Catalyst"}))


def test_what_is_no_plan_is_refused(study, sheet, pours):
    with pytest.raises(FormProblem, match="a name of its own"):
        planned_pours(study, pours.set_axis(["A", "A", "B"]))
    with pytest.raises(FormProblem, match="Leave session out"):
        planned_pours(study, sheet, "another day")


def test_pours_that_cannot_share_a_session_are_not_begun_as_one(study, pours):
    """One oven: its temperature is set once a session."""
    table = pours.assign(post_cure_temperature=[45.0, 60.0, 45.0])
    says = "session S4: its pours differ in post-cure temperature, set once a session. Begin a session for each of these: B01 and B03; B02. If"
    with pytest.raises(FormProblem, match=says):
        planned_pours(study, table, "S4")
    with pytest.raises(WeighOutProblems, match=says):
        bench_sheet(study, table, session="S4", resin=150)
    assert [p.pour for p in planned_pours(study, table.loc[["B01", "B03"]], "S4")[1]] == ["B01", "B03"]
    free = replace(study, factors=tuple(replace(factor, by_session=False) for factor in study.factors))
    assert len(planned_pours(free, table, "S4")[1]) == 3


def test_warnings_about_the_amounts_come_along(study, pours):
    """900 g is above the 500 g pot (common practice, no source); 30 g on a 1 g scale carries (1 + 0.5) / (30 - 0.5) = 5.08 %."""
    heavy = bench_sheet(study, pours, session="S1", resin={"B01": 900, "B02": 150, "B03": 150})
    _, planned = planned_pours(study, heavy)
    assert not planned[1].warnings
    assert len(planned[0].warnings) == 1 and "above 500 g" in planned[0].warnings[0]
    coarse = bench_sheet(study, pours.assign(catalyst=3.0), session="S1", resin=30, scale_resolution=1)
    _, planned = planned_pours(study, coarse)
    assert "up to 5.085 % of catalyst" in planned[0].warnings[0] and "above 4 %" in planned[0].warnings[0]
    assert planned[0].warnings[1].startswith("Pigment: 0.5 % is 0.15 g, which a scale in steps of 1 g rounds to no pigment at all.")


def test_a_card_warns_of_a_coarse_scale_as_its_sheet_does(log, study, pours):
    """20 g at 1.7 % take 0.3 g on a scale of 0.1 g: 0.25 / 20.05 to 0.35 / 19.95 is 1.25 to 1.75 %, by hand."""
    own = bench_sheet(study, pours.assign(catalyst=1.7), session="x", resin={"B01": 20, "B02": 150, "B03": 150})
    says = "This scale may deliver anything from 1.25 to 1.75 % catalyst for 1.7 %. This is a small mix for this scale: "
    assert [names for said, names in own.warnings.items() if said.startswith(says)] == [["B01"]]
    first, *others = Desk(log, own).state()["cards"]
    assert any(said.startswith(says) for said in first["warnings"]) and not any("scale" in said for card in others for said in card["warnings"])


def test_a_setting_that_is_the_same_in_every_pour_stands_on_the_card(study, pours):
    fixed = {"thickness": {"span": (6.0, 6.0), "usual": 6.0}, "cover": {"span": (0.0, 0.0), "usual": 0.0}}
    own = replace(study, factors=tuple(replace(factor, **fixed.get(factor.name, {})) for factor in study.factors))
    _, planned = planned_pours(own, pours.assign(thickness=6.0, cover=0.0), "x")
    assert [pour.said for pour in planned] == [("thickness 6 mm", "cover no")] * 3


def test_a_refused_dose_has_its_refusal_and_no_weigh_out_on_its_card(log, pours):
    """9 % is above 4 %, a supplier's buying guide; a plan carries it as a table may."""
    cards = Desk(log, pours.assign(catalyst=[9.0, 1.5, 0.6]), session="x").state()["cards"]
    assert cards[0]["weigh"] == [] and "9 % is above 4 %" in cards[0]["refusals"][0]
    assert cards[1]["weigh"] and not cards[1]["refusals"] and not cards[1]["warnings"]
    assert cards[2]["weigh"] and "below 1 %" in cards[2]["warnings"][0]


def test_a_room_too_cold_takes_every_weigh_out_away(log, pours):
    desk = Desk(log, pours, session="x")
    assert all(card["weigh"] for card in desk.state()["cards"])
    state = desk.take({"id": "1", "deed": "head", "values": {"room_temperature": "8"}, "by": "", "at": None})
    assert [card["weigh"] for card in state["cards"]] == [[], [], []]
    assert all("below 10 °C" in card["refusals"][0] for card in state["cards"])
