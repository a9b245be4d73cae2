"""Names that the log keeps for itself: refused in a study, and a log that an earlier version made with them still reads."""

from contextlib import closing, nullcontext
from types import SimpleNamespace

import pytest

from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.loading import _refuse_other_units
from testpour.logbook.spreadsheet import read_sheet
from testpour.logbook.tables import LogProblem
from testpour.study import StudyProblems
from testpour.study_file import study_from

OWN = {"unit": "min", "low": 0, "high": 30, "usual": 1}
# The columns that a log, its castings and its sheets show, as a reader of the log sees them.
COLUMNS = ["pour", "session", "made_at", "by", "note", "made_anyway", "entry", "reading", "low", "high", "age", "specimen", "known"]


def study(folder, **factors):
    raw = {"factors": {"catalyst": {}, **factors}, "readings": {"gel_time": {}, "gloss": {"low": 0, "high": 100}}}
    return study_from(raw, folder / "study.toml")


@pytest.mark.parametrize("name", [*COLUMNS, "Session", "NOTE", "Made_At"])
def test_a_factor_of_such_a_name_is_refused_at_the_study(tmp_path, name):
    with pytest.raises(StudyProblems, match=rf"\[factors\] {name}: the log has a column of that name. Call it own_{name.casefold()};"):
        study(tmp_path, **{name: OWN})


@pytest.mark.parametrize("name", ["session", "Note", "by"])
def test_a_reading_of_such_a_name_is_refused_too(name):
    with pytest.raises(StudyProblems, match=rf"\[readings\] {name}: the log has a column of that name"):
        study_from({"factors": {"catalyst": {}}, "readings": {name: {}}})


def test_words_that_a_column_of_the_log_has_are_refused():
    with pytest.raises(StudyProblems, match="stir: words 'made at' is the name of a column of the log"):
        study_from({"factors": {"stir": {**OWN, "words": "made at"}}, "readings": {"gel_time": {}}})


def older(folder, name, unit="min", column="stirring"):
    """A log as an earlier version made it: one of its columns under a name that is taken."""
    with closing(Logbook(study(folder, stirring=OWN | {"unit": unit}))) as log:
        for number, minutes in enumerate([3.0, 5.0, 8.0]):
            log.add_pour(f"P{number}", settings={"catalyst": 1.5, "stirring": minutes}, session="S1", made_at="2026-03-01")
            log.add_reading(f"P{number}", "gloss", 60 + number)
        with log._engine.begin() as connection:
            for deed in ("settings", "readings"):
                connection.exec_driver_sql(f"DROP TRIGGER no_update_of_{deed}")
            connection.exec_driver_sql("UPDATE settings SET factor = ? WHERE factor = ?", (name, column))
            connection.exec_driver_sql("UPDATE readings SET reading = ? WHERE reading = ?", (name, column))
            connection.exec_driver_sql("UPDATE facts SET name = ? WHERE name = ?", (f"unit of {name}", f"unit of {column}"))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["session", "note", "pour", "made_at", "Session", "entry"])
def test_a_log_made_with_such_a_study_is_read_with_every_value(tmp_path, name):
    older(tmp_path, name)
    now = f"own_{name.casefold()}"
    with closing(Logbook(study(tmp_path, **{now: OWN}))) as log:
        held = log.castings()
        assert held.pours[now].tolist() == [3.0, 5.0, 8.0] and held.pours["session"].tolist() == ["S1"] * 3
        log.correct_pour("P1", settings={now: 6}, why="misread")
        log.add_pour("P3", settings={"catalyst": 1.5, now: 9}, session="S2")
        assert log.castings().pours[now].tolist() == [3.0, 6.0, 8.0, 9.0]
        assert "6 min" in log.history("P1").to_string()


def test_readings_of_such_a_name_are_read_and_corrected(tmp_path):
    older(tmp_path, "note", column="gloss")
    raw = {"factors": {"catalyst": {}}, "readings": {"own_note": {"low": 0, "high": 100}}}
    with closing(Logbook(study_from(raw, tmp_path / "study.toml"))) as log:
        held = log.castings().readings
        assert held[["reading", "low"]].values.tolist() == [["own_note", 60.0], ["own_note", 61.0], ["own_note", 62.0]]
        log.correct_reading(int(held["entry"][0]), 70, why="misread")
        assert sorted(log.castings().readings["low"]) == [61.0, 62.0, 70.0]


def test_another_unit_under_the_new_name_is_refused(tmp_path):
    older(tmp_path, "session", unit="h")
    with closing(Logbook(study(tmp_path, own_session=OWN))) as log, pytest.raises(LogProblem, match="keeps session in h, .*own_session in min"):
        log.castings()


def test_a_factor_called_time_is_that_factor_in_a_sheet(tmp_path):
    """"time" also heads the column of when a pour was made, where the study has nothing of that name."""
    with closing(Logbook(study(tmp_path, time=OWN, number=OWN))) as log:
        log.add_pour("P1", settings={"catalyst": 1.5, "time": 7, "number": 2}, session="S1", made_at="2026-03-01")
        sheet = write_sheet(log.castings(), tmp_path / "out.csv")
        assert read_sheet(log.study, sheet)[0]["settings"] == {"catalyst": 1.5, "time": 7.0, "number": 2.0}


@pytest.mark.parametrize("kept, refused", [("h", True), ("min", False)])
def test_a_column_under_its_newer_name_keeps_the_unit_it_was_logged_in(kept, refused):
    """What an earlier version logged as ``session`` is ``own_session`` now; minutes are not read as hours."""
    study = SimpleNamespace(factors=(SimpleNamespace(name="own_session", unit="min"),), readings=())
    connection = SimpleNamespace(execute=lambda query: [("unit of session", kept)])
    with pytest.raises(LogProblem, match="keeps session in h, the study file now declares own_session in min") if refused else nullcontext():
        _refuse_other_units(study, connection)
