"""A practice resin for a study that does not have every setting."""

import pandas as pd
import pytest

from testpour.common.problems import Problem
from testpour.practice.practice import practice_resin
from testpour.study.study_file import study_from


def test_a_study_need_not_have_every_setting_a_resin_minds():
    raw = {
        "factors": {"catalyst": {}, "thickness": {}},
        "readings": {"gel_time": {}, "hardness": {}},
        "aims": {"gel_time": {"at_least": "15 min"}},
    }
    small = study_from(raw)
    resin = practice_resin(small, 3)
    plan = pd.DataFrame({"catalyst": [1.5], "thickness": [10.0]}, index=["P01"])
    (made,) = resin.pour(plan, "Monday")
    assert set(made["settings"]) == {"catalyst", "thickness"}
    assert {reading["reading"] for reading in made["readings"]} == {"gel_time", "hardness"}
    assert 0 <= resin.true_chance(plan.assign(room_temperature=20.0))[0] <= 1


def test_an_aim_that_the_bench_cannot_answer_is_said():
    asked = study_from({"factors": {"catalyst": {}}, "readings": {"demould_time": {}}, "aims": {"demould_time": {"at_most": "24 h"}}})
    with pytest.raises(Problem, match="A practice resin has no demould time"):
        practice_resin(asked).true_chance(pd.DataFrame({"catalyst": [1.5], "room_temperature": [20.0]}))
