"""The plan of a session is kept beside the study and opened again."""

import json

import pytest

from testpour.bench.desk import Desk
from testpour.bench.planned import FormProblem
from testpour.logbook.book import Logbook


def test_a_session_opens_again_without_its_plan(bench, log):
    bench.tap("catalyst_in", "B02")
    before = bench.desk.state()
    after = Desk(log, clock=bench.clock).state()
    assert after["cards"] == json.loads(json.dumps(before["cards"]))
    assert after["session"] == "day one"


def test_one_of_several_is_opened_by_its_name(bench, log, pours):
    Desk(log, pours.set_axis(["C1", "C2", "C3"]), session="../day: two")
    assert Desk(log).session == "../day: two"
    assert Desk(log, session="day one").session == "day one"
    assert len(list((log.study.folder / "sessions").glob("*.json"))) == 2, "a name cannot leave the folder"


def test_none_to_open_says_so(log):
    with pytest.raises(FormProblem, match="none is saved yet. Give a plan or a bench sheet"):
        Desk(log)


def test_another_name_lists_what_there_is(bench, log):
    with pytest.raises(FormProblem, match="saved are day one"):
        Desk(log, session="day two")


def test_a_log_in_memory_leaves_nothing_behind(study_here, sheet):
    log = Logbook(study_here, "sqlite://")
    Desk(log, sheet)
    assert list(study_here.folder.iterdir()) == []
    log.close()


def test_a_file_that_is_no_session_is_passed_over(bench, log):
    (log.study.folder / "sessions" / "notes.json").write_text("not a session")
    assert Desk(log, clock=bench.clock).session == "day one"


def test_a_folder_that_cannot_be_written_is_said(log, sheet):
    (log.study.folder / "sessions").write_text("a file in the way")
    with pytest.raises(FormProblem, match="the plan cannot be kept"):
        Desk(log, sheet)
