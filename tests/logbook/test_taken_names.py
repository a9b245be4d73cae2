"""Names that the log keeps for itself are refused in a study."""

from contextlib import closing

import pytest

from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.spreadsheet import read_sheet
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from

OWN = {"unit": "min", "low": 0, "high": 30, "usual": 1}
# The columns that a log, its castings and its sheets show, as a reader of the log sees them.
COLUMNS = ["pour", "session", "made_at", "by", "note", "made_anyway", "entry", "reading", "low", "high", "age", "specimen", "known"]


def study(folder, **factors):
    raw = {"factors": {"catalyst": {}, **factors}, "readings": {"gel_time": {}, "gloss": {"low": 0, "high": 100}}}
    return study_from(raw, folder / "study.toml")


@pytest.mark.parametrize("name", [*COLUMNS, "Session", "NOTE", "Made_At"])
def test_a_factor_of_such_a_name_is_refused_at_the_study(tmp_path, name):
    with pytest.raises(StudyProblems, match=rf"\[factors\] {name}: the log has a column of that name. Call it own_{name.casefold()}\."):
        study(tmp_path, **{name: OWN})


@pytest.mark.parametrize("name", ["session", "Note", "by"])
def test_a_reading_of_such_a_name_is_refused_too(name):
    with pytest.raises(StudyProblems, match=rf"\[readings\] {name}: the log has a column of that name"):
        study_from({"factors": {"catalyst": {}}, "readings": {name: {}}})


def test_words_that_a_column_of_the_log_has_are_refused():
    with pytest.raises(StudyProblems, match="stir: words 'made at' is the name of a column of the log"):
        study_from({"factors": {"stir": {**OWN, "words": "made at"}}, "readings": {"gel_time": {}}})


def test_a_factor_called_time_is_that_factor_in_a_sheet(tmp_path):
    """"time" also heads the column of when a pour was made, where the study has nothing of that name."""
    with closing(Logbook(study(tmp_path, time=OWN, number=OWN))) as log:
        log.add_pour("P1", settings={"catalyst": 1.5, "time": 7, "number": 2}, session="S1", made_at="2026-03-01")
        sheet = write_sheet(log.castings(), tmp_path / "out.csv")
        assert read_sheet(log.study, sheet)[0]["settings"] == {"catalyst": 1.5, "time": 7.0, "number": 2.0}
