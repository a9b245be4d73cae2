"""What a person writes, made complete for a model."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.models.settings import _note_beyond, held_settings, settings_table, stated_names
from testpour.study.study import StudyProblems

NUMERIC = ["catalyst", "pigment", "thickness", "cover", "post_cure_temperature", "post_cure_time", "room_temperature", "humidity"]


def test_nothing_said_is_the_usual(study):
    table = settings_table(study)
    assert list(table.columns) == [*NUMERIC, "age"] and len(table) == 1
    assert table.loc[1].tolist() == [1.5, 0.5, 10, 1, 20, 0, 20, 50, 24]


def test_settings_are_held_where_they_were_poured(study):
    """Usual where that was poured, else the median; the oven of 60 and 80 °C; the span of a setting nobody noted."""
    poured = pd.DataFrame({"catalyst": [1, 2.0], "thickness": [25, 45, ], "cover": 0.0, "post_cure_temperature": [60.0, 80.0], "pigment": np.nan})
    held = held_settings(study, poured)
    assert list(held) == NUMERIC and [held[name] for name in NUMERIC] == [1.5, 0.5, 35, 0, 70, 0, 20, 50]
    dark = replace(study, factors=(replace(study.factor("pigment"), span=(2.0, 4.0)),))
    assert held_settings(dark, poured[:0]) == {"pigment": 3.0}


def test_text_with_units_becomes_floats(study):
    table = settings_table(study, {"thickness": "1/2 in", "cover": "no", "resin_lot": "drum 3"}, room="68 degF", age="2 days")
    assert table.loc[1, ["thickness", "cover", "room_temperature", "age"]].tolist() == [12.7, 0.0, 20.0, 48.0]
    assert table.dtypes.eq(float).all()


def test_several_settings_one_row_each_in_order(study):
    table = settings_table(study, [{"catalyst": c} for c in (2, "1 %", "1,5 %")])
    assert table["catalyst"].tolist() == [2, 1, 1.5] and table.index.tolist() == [1, 2, 3]


def test_a_row_of_a_table_is_one_setting(study):
    row = pd.Series({"catalyst": 2.0})
    assert settings_table(study, row)["catalyst"].tolist() == [2]
    assert stated_names(study, row, None) == {"catalyst"}


def test_a_table_is_completed_and_left_alone(study):
    given = pd.DataFrame({"catalyst": [2.0, np.nan], "room_temperature": [15, 16]}, index=["a", "b"])
    before = given.copy()
    table = settings_table(study, given, room=22)
    pd.testing.assert_frame_equal(given, before)
    assert table["catalyst"].tolist() == [2.0, 1.5] and table["room_temperature"].tolist() == [22, 22]
    assert table.index.tolist() == ["a", "b"] and list(table.columns) == [*NUMERIC, "age"]


def test_the_age_is_that_of_the_readings_aim_or_its_first_unless_said(study):
    hardness = study.reading("hardness")
    assert settings_table(study, reading=hardness)["age"].tolist() == [24.0]
    assert settings_table(replace(study, aims=()), reading=hardness)["age"].tolist() == [4.0]
    assert settings_table(study, reading=hardness, age=7)["age"].tolist() == [7.0]
    assert settings_table(study, pd.DataFrame({"age": [7.0]}), reading=hardness)["age"].tolist() == [7.0]
    assert settings_table(study, reading=study.reading("gel_time"))["age"].tolist() == [24.0]


def test_settings_that_cannot_be(study):
    with pytest.raises(StudyProblems, match=r"99 is outside 0 to 10 %.*\(2 in all"):
        settings_table(study, {"catalyst": 99, "cover": "half"})
    with pytest.raises(StudyProblems, match="room temperature: 'warm' is not a number"):
        settings_table(study, room="warm")
    with pytest.raises(StudyProblems, match="90 degC is outside"):
        settings_table(study, room="90 degC")
    with pytest.raises(StudyProblems, match="age: '3 g' does not measure what h"):
        settings_table(study, age="3 g")
    with pytest.raises(StudyProblems, match="age: 0 is not a time after mixing"):
        settings_table(study, age=0)


@pytest.mark.parametrize("given, meant", [("catalist", "catalyst"), ("temperature", "room_temperature")])
def test_a_table_with_a_misspelt_factor_is_refused(study, given, meant):
    """"temperature" has 11 of its 11 letters in order among the 16 of the room's: 22 of 27, or 0.81."""
    with pytest.raises(StudyProblems, match=f"{given} is not a factor of this study; {meant} may be meant"):
        settings_table(study, pd.DataFrame({given: [20.0]}))


@pytest.mark.parametrize("given", ["2 %", ["2 %"], 2, [[{"catalyst": 1}]]])
def test_settings_that_name_no_setting_are_refused_with_how_to_write_them(study, given):
    with pytest.raises(StudyProblems, match=r"""does not name one pour's settings. Write them like \{"catalyst": "1.5 %"\}\."""):
        settings_table(study, given)


def test_an_empty_list_of_settings_is_refused(study):
    with pytest.raises(StudyProblems, match="the list is empty. Put the settings of one pour or more into it"):
        settings_table(study, [])


def test_half_a_step_beyond_what_was_poured_is_not_called_outside(study):
    """Catalyst is set in steps of 0.1 %: 2.45 % beside 2.4 %, though 2.4 + 0.05 is a little less in binary figures."""
    words = [[] for _ in range(4)]
    _note_beyond(words, study.factor("catalyst"), pd.Series([2.4, 1.0]), pd.Series([0.95, 2.45, 0.94, 2.46]))
    assert words == [[], [], ["catalyst 0.94 % (poured 1 to 2.4 %)"], ["catalyst 2.46 % (poured 1 to 2.4 %)"]]
