"""Planned pours as the form shows them, from a plan, a sheet or a table."""

import pytest

from testpour.forms.planned import FormProblem, planned_pours
from testpour.planning.plan import plan_pours


def test_a_bench_sheet_gives_grams(study, sheet):
    name, pours = planned_pours(study, sheet)
    assert name == "day one" and [p.pour for p in pours] == ["B01", "B02", "B03"]
    assert [(line["what"], line["amount"]) for line in pours[0].weigh] == [("Resin", "150.0 g"), ("Pigment", "0.8 g"), ("Catalyst", "2.3 g")]  # fmt: skip
    assert [line["what"] for line in pours[1].weigh] == ["Resin", "Catalyst"], "no pigment to weigh"
    assert pours[0].said == ("thickness 6 mm", "cover yes")
    assert "room_temperature" not in pours[0].settings, "the room is read on the day, not planned"


def test_a_plan_gives_parts_and_one_session_of_it(study):
    plan = plan_pours(study, sessions=2, pours=3)
    name, pours = planned_pours(study, plan, 2)
    assert name == plan.sessions[1] and [p.pour for p in pours] == list(plan.session(2).index)
    assert pours[0].weigh[-1]["amount"].endswith("% of the resin")
    with pytest.raises(FormProblem, match="say which with session=1"):
        planned_pours(study, plan)
    with pytest.raises(FormProblem, match="9 is not in this plan"):
        planned_pours(study, plan, 9)


def test_what_is_no_plan_is_refused(study, sheet, pours):
    with pytest.raises(FormProblem, match="give a plan, a bench sheet or a table"):
        planned_pours(study, 3)
    with pytest.raises(FormProblem, match="a name of its own"):
        planned_pours(study, pours.set_axis(["A", "A", "B"]))
    with pytest.raises(FormProblem, match="Leave session out"):
        planned_pours(study, sheet, "another day")


def test_warnings_of_a_pour_come_along(study, pours):
    _, planned = planned_pours(study, pours.assign(catalyst=[0.6, 1.5, 1.5]))
    assert planned[0].warnings and not planned[1].warnings
