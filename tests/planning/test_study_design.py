"""The one design problem of plan and repair: its heat limit, its scatter between days, its beliefs."""

from types import SimpleNamespace

import numpy as np
import pytest

from testpour.models.beliefs import believed_peaks
from testpour.models.settings import settings_table
from testpour.planning import pour_cautions as judged
from testpour.planning import repair, study_design
from testpour.planning.coding import coding_for
from testpour.planning.plan import plan_pours
from testpour.planning.pour_cautions import by_pour
from testpour.planning.problem import PlanConflict
from testpour.planning.purposes import PlanRequest, _middle_pours
from testpour.planning.study_design import HeatLimit, design_problem
from testpour.study.caution_rules import Cautions
from testpour.study.study_file import study_from

BOILING = 145.0  # °C, styrene: from memory, not read
FACTORS = {"catalyst": {"from": "1 %", "to": "2.5 %"}, "thickness": {"from": "5 mm", "to": "25 mm"}, "cover": {}, "room_temperature": {}}
RAW = {
    "name": "Invented blocks", "factors": FACTORS,
    "readings": {"gel_time": {}, "tack": {}, "hardness": {}, "peak_temperature": {}},
    "aims": {"gel_time": {"at_least": "15 min"}, "tack": {"at_most": 1}, "hardness": {"at_least": 75}},
}
# Scatter of gel time, tack and hardness between sessions over that between pours, by hand from the believed sd of
# session, reading and pour: 0.12^2 / (0.12^2 + 0.10^2), 0.4^2 / 1 and 0.15^2 / (0.12^2 + 0.12^2), averaged.
ETA = (0.0144 / 0.0244 + 0.16 + 0.0225 / 0.0288) / 3


def blocks(**factors):
    return study_from({**RAW, "factors": {**FACTORS, **factors}})


@pytest.fixture(scope="module")
def plan():
    return plan_pours(blocks(), sessions=2, pours=5)


def peaks(plan):
    return believed_peaks(plan.study, settings_table(plan.study, plan.table))


@pytest.mark.slow
def test_a_repaired_plan_keeps_the_heat_limit_of_the_plan(plan):
    """Without the limit the span itself holds a hotter pour, so the plan and its repair are held back by it."""
    assert HeatLimit(plan.coding).peaks(np.array([[1.0, 1.0, 1.0]]))[0] > BOILING
    assert peaks(plan).max() < BOILING
    for seed in range(3):
        repaired = repair.repair_plan(plan, SimpleNamespace(pours=plan.session(1).iloc[:3]), seed=seed)
        assert peaks(repaired).max() < BOILING


def test_repair_takes_scatter_and_limit_from_the_factory(plan, monkeypatch):
    seen = []
    monkeypatch.setattr(repair, "design_problem", lambda *a, **k: seen.append(design_problem(*a, **k)) or seen[-1])
    repair.repair_plan(plan, SimpleNamespace(pours=plan.session(1).iloc[:3]))
    assert [problem.eta for problem in seen] == [pytest.approx(ETA, rel=1e-9)]
    assert seen[0].constrained


def test_a_plan_takes_the_believed_scatter_between_days():
    problem = design_problem(coding_for(blocks(), 1), [(0, 0, 0), (1, 0, 0)], [0, 0, 0])
    assert problem.eta == pytest.approx(ETA, rel=1e-9)
    assert problem.prior is None  # beliefs count only where a plan says so


def test_beliefs_about_coded_effects_by_hand():
    """From the believed sds: gel time moves by 0.33 a natural log of catalyst and 0.1 for the square of the log over 1.5 %, tack by 1.8
    and 1.5, and by 0.1 and 1.0 a log of thickness. Coded effects are half the change from 1 to 2.5 % and 5 to 25 mm; a
    product's two settings move together and it is halved. Pours scatter by hypot(0.12, 0.10), and by 1; precisions average."""
    study = study_from({**RAW, "readings": {"gel_time": {}, "tack": {}}, "aims": {"gel_time": {"at_least": "15 min"}, "tack": {"at_most": 1}}})
    terms = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0)]
    found = np.diag(design_problem(coding_for(study, 1), terms, [0, 0, 0], informed=True).prior)
    dose, depth = np.log(2.5) / 2, np.log(5) / 2
    bend = (np.log(2.5 / 1.5) ** 2 - np.log(1 / 1.5) ** 2) / 2
    gel_dose, gel_depth = np.hypot(0.33 * dose, 0.1 * bend), 0.1 * depth
    gel = np.array([10, gel_dose, gel_depth, np.hypot(gel_dose, gel_depth) / 2]) / np.hypot(0.12, 0.10)
    tack_dose, tack_depth = np.hypot(1.8 * dose, 1.5 * bend), 1.0 * depth
    tack = np.array([10, tack_dose, tack_depth, np.hypot(tack_dose, tack_depth) / 2])
    assert found == pytest.approx((1 / gel**2 + 1 / tack**2) / 2, rel=1e-9)


@pytest.mark.parametrize("gel, peak, refused, warned", [(5.02, 109.97, 0, 0), (4.97, 110.0, 0, 2), (30.0, 144.97, 0, 1), (30.0, 145.02, 1, 0)])
def test_a_believed_middle_is_never_rounded_up_to_a_limit(monkeypatch, gel, peak, refused, warned):
    """Gel times warn below 5 min, peaks from 110 °C and are refused from 145 °C."""
    monkeypatch.setattr(judged, "believed_middle", lambda study, reading, table: np.array([gel if reading.name == "gel_time" else peak]))
    found = judged.pour_cautions(blocks(), {"catalyst": 1.5})
    assert (len(found.refusals), len(found.warnings)) == (refused, warned)


def test_a_pour_is_too_hot_from_the_boiling_point_on(monkeypatch):
    monkeypatch.setattr(study_design, "believed_peaks", lambda study, table: np.array([BOILING - 0.1, BOILING, BOILING + 5]))
    assert HeatLimit(coding_for(blocks(), 1))(np.array([[-1.0, -1, 1], [0, 0, 1], [1, 1, 1]])).tolist() == [False, True, True]


def test_a_middle_pour_that_may_boil_is_left_out():
    """A span up to where only its thick end boils keeps its middle pours; one whose middle boils has none."""
    for high, middles in (("25 mm", True), ("60 mm", False)):
        request = PlanRequest(coding_for(blocks(thickness={"from": "5 mm", "to": high}), 1, rooms=25), (3,))
        room = next(axis.met[0] for axis in request.axes if axis.met is not None)
        chosen = SimpleNamespace(rows=np.array([[-1.0, -1.0, 1.0, room]]), sessions=np.array([0]))
        assert HeatLimit(request.coding).binds
        assert (_middle_pours(request, chosen) is not None) is middles


def test_a_coded_effect_is_believed_half_as_large_for_each_further_order():
    """Half the sd is four times the precision: a square moves the reading as far as its straight line."""
    coding = coding_for(blocks(), 1)
    precision = np.diag(design_problem(coding, [(1, 0, 0), (2, 0, 0), (3, 0, 0)], [0, 0, 0], informed=True).prior)
    assert precision[1:] / precision[:-1] == pytest.approx([4, 4])


def test_what_no_belief_speaks_of_is_still_believed_to_move_a_little():
    """Cover and gel time: no belief, so 0.05 on the log scale, in parts of the scatter of pours, hypot(0.12, 0.10)."""
    study = study_from({**RAW, "readings": {"gel_time": {}}, "aims": {"gel_time": {"at_least": "15 min"}}})
    (precision,) = np.diag(design_problem(coding_for(study, 1), [(0, 0, 1)], [0, 0, 0], informed=True).prior)
    assert precision == pytest.approx((0.12**2 + 0.10**2) / 0.05**2)


def test_a_repaired_plan_keeps_its_rooms():
    plan = plan_pours(blocks(thickness={"from": "5 mm", "to": "10 mm"}), sessions=2, pours=5, rooms=[17, 24])
    done = SimpleNamespace(pours=plan.session(1))
    once = repair.repair_plan(plan, done)
    assert set(once.table["room_temperature"]) == {24.0}
    twice = repair.repair_plan(once, SimpleNamespace(pours=once.table.iloc[:2]))
    assert set(twice.table["session"]) == {"S3"} and set(twice.table["room_temperature"]) == {24.0}


def test_a_room_beyond_the_span_is_planned_for_as_it_is():
    plan = plan_pours(blocks(thickness={"from": "5 mm", "to": "8 mm"}), sessions=2, pours=5, rooms=[20, 30])
    assert set(plan.table.loc[plan.table["session"] == "S2", "room_temperature"]) == {30.0}


@pytest.mark.slow
def test_run_order_is_shuffled_within_each_session():
    """Each of five pours in a session stands in each place at some of forty seeds; unshuffled, the middle pour is last."""
    plans = [plan_pours(blocks(thickness={"from": "5 mm", "to": "10 mm"}), sessions=2, pours=5, seed=seed) for seed in range(40)]
    places = [list(p.session(1)["catalyst"].between(1.7, 1.8)).index(True) for p in plans]
    assert set(places) == {0, 1, 2, 3, 4}
    assert max(places.count(place) for place in range(5)) <= 18  # binomial(40, 1/5): 18 or more once in 2,000


def test_a_repaired_plan_is_shuffled_too(plan):
    firsts = {tuple(repair._shuffled(plan.table, seed).index[:5]) for seed in range(10)}
    assert len(firsts) > 5
    assert all(list(repair._shuffled(plan.table, seed)["session"]) == ["S1"] * 5 + ["S2"] * 5 for seed in range(10))


def test_a_refused_span_names_the_limit_in_the_way():
    with pytest.raises(PlanConflict, match=r"In the way: the heat limit.*145 °C.*thickness 60 mm.*is believed to reach \d+ °C"):
        plan_pours(blocks(thickness={"from": "40 mm", "to": "60 mm"}))
    with pytest.raises(PlanConflict, match="Narrow the span in study.toml: .*thickness to 2[0-4] mm"):
        plan_pours(blocks(thickness={"from": "5 mm", "to": "60 mm"}), rooms=20)
    with pytest.raises(PlanConflict, match="Catalyst 6 % is above 4 %.*study.toml"):
        plan_pours(blocks(catalyst={"from": "1 %", "to": "6 %"}))


def test_settings_to_compare_are_refused_where_styrene_is_believed_to_boil():
    with pytest.raises(PlanConflict, match="Setting 2: The trade's peak temperature of .* above 145 °C"):
        plan_pours(blocks(), compare=({"catalyst": "1 %"}, {"catalyst": "2.5 %", "thickness": "25 mm"}), rooms=25)


def test_a_study_that_names_a_solvent_or_a_strong_hardener_is_not_planned():
    own = {"unit": "%", "low": 0, "high": 15, "usual": 0}
    with pytest.raises(PlanConflict, match="Peroxide and acetone"):
        plan_pours(blocks(acetone=own))
    with pytest.raises(PlanConflict, match="Hardener 9 % is above 4 %"):
        plan_pours(blocks(hardener={**own, "usual": 9}))


def test_cautions_of_several_pours_are_said_once_from_the_least_to_the_most():
    """112 and 131 °C are above one limit, 0.9, 0.6 and 0.7 % below one: no pour is given the number of another."""
    hot = [f"Predicted peak temperature {peak} °C is at or above 110 °C: hot." for peak in (112, 131)]
    lean = [f"Catalyst {dose} % is below 1 %: soft." for dose in (0.9, 0.6, 0.7)]
    found = by_pour({"P1": Cautions((), (hot[0], lean[0])), "P2": Cautions((), (hot[1], lean[1])), "P3": Cautions((), (lean[2],))})
    assert found.warnings == (
        "P1, P2: Predicted peak temperature 112 to 131 °C is at or above 110 °C: hot.",
        "P1, P2, P3: Catalyst 0.6 to 0.9 % is below 1 %: soft.",
    )
    same = by_pour({"P1": Cautions((), (lean[0],)), "P2": Cautions((), (lean[0],))})
    assert same.warnings == (f"P1, P2: {lean[0]}",)


def test_a_casting_that_nobody_measures_heats_itself_as_much():
    """A study without a thermometer has the heat limit and the cautions of the same study with one."""
    measured, unmeasured = blocks(), study_from({**RAW, "readings": {"gel_time": {}, "tack": {}, "hardness": {}}})
    thick = {"catalyst": 2.5, "thickness": 25, "room_temperature": 25}
    assert judged.pour_cautions(unmeasured, thick) == judged.pour_cautions(measured, thick)
    assert any("Styrene boils" in said for said in judged.pour_cautions(unmeasured, thick).refusals)
    assert HeatLimit(coding_for(unmeasured, 1)).binds
    assert peaks(plan_pours(unmeasured, sessions=2, pours=5)).max() < BOILING


def test_a_block_too_deep_to_pour_in_one_is_told_to_be_planned_as_layers():
    with pytest.raises(PlanConflict, match="or pour in layers: each layer is a pour of its own, with its own depth as the thickness"):
        plan_pours(blocks(thickness={"from": "60 mm", "to": "60 mm"}), sessions=2, pours=4)


@pytest.mark.parametrize("rise, says", [
    (lambda t: 60 + 20 * t["catalyst"] + 2 * t["thickness"], "160 °C. Narrow the span in study.toml: catalyst to 1.7 % or thickness to 17 mm."),
    (lambda t: 180 - 20 * t["catalyst"] - 2 * t["thickness"], "150 °C. Narrow the span in study.toml: catalyst from 1.3 % or thickness from 8 mm."),
    (lambda t: 100 + 20 * t["catalyst"] + 2 * t["thickness"], "200 °C. Use less catalyst, or pour in layers"),
])
def test_a_span_is_narrowed_to_where_it_alone_keeps_below_the_boiling_point(rise, says, monkeypatch):
    """Below 145 °C, of 1 to 2.5 % and 5 to 25 mm: at 25 mm under 1.75 %, at 2.5 % under 17.5 mm; falling, at 5 mm over 1.25 %, at 1 % over 7.5 mm;
    where one alone is not enough, none is named."""
    monkeypatch.setattr(study_design, "believed_peaks", lambda study, table: rise(table).to_numpy())
    said = HeatLimit(coding_for(blocks(), 1)).sentence()
    assert says in said
