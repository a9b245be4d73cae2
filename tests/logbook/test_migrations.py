"""Older logs come forward whole: files of form 1 as earlier commits wrote them, text in `tests/reference/`."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from testpour.logbook import migrations
from testpour.logbook.book import Logbook
from testpour.logbook.tables import SCHEMA, LogProblem

REFERENCE = Path(__file__).parents[1] / "reference"


def begun(folder, name):
    """A log file made from its own dump; returns every row it holds."""
    with closing(sqlite3.connect(folder / "log.sqlite")) as raw:
        raw.executescript((REFERENCE / name).read_text("utf-8"))
    return rows(folder / "log.sqlite")


def rows(path):
    with closing(sqlite3.connect(path)) as raw:
        return {t: raw.execute(f"SELECT * FROM {t}").fetchall() for t in ("pours", "settings", "readings")}


def shape(path):
    """Columns, indexes and triggers as SQLite itself tells them."""
    with closing(sqlite3.connect(path)) as raw:
        kinds = raw.execute("SELECT type, name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY 1, 2").fetchall()
        columns = {name: raw.execute(f"PRAGMA table_info({name})").fetchall() for kind, name in kinds if kind == "table"}
    columns["facts"] = [column[1] for column in columns["facts"]]  # the first kit limited names to 40 letters
    return kinds, columns


@pytest.mark.parametrize("name", ["log_form_1.sql", "log_form_1_first.sql"])
def test_a_log_of_form_1_comes_forward_whole(study_here, log, name):
    """The castings by hand from the dump: P01 as logged, P02's catalyst corrected, P03 withdrawn."""
    fresh = shape(study_here.folder / "log.sqlite")
    log.close()
    for file in study_here.folder.glob("log.sqlite*"):
        file.unlink()
    before = begun(study_here.folder, name)
    with closing(Logbook(study_here)) as old:
        held = old.castings()
        assert held.pours.index.tolist() == ["P01", "P02"] and held.pours["catalyst"].tolist() == [1.5, 2.5]
        assert held.readings[["pour", "reading", "low", "known"]].values.tolist() == [
            ["P01", "gel_time", 24, "exact"], ["P01", "tack", 1, "exact"], ["P02", "gel_time", 120, "not yet"],
            ["P01", "hardness", 77, "exact"], ["P01", "hardness", 78, "exact"], ["P01", "hardness", 76, "exact"],
        ]
        assert len(old.history("P03")) == 2
        assert old.add_pour(settings={"catalyst": 1}, session="S3") == "P04"
    assert {t: held[: len(before[t])] for t, held in rows(study_here.folder / "log.sqlite").items()} == before
    assert shape(study_here.folder / "log.sqlite") == fresh
    with closing(sqlite3.connect(study_here.folder / "log.sqlite")) as raw:
        with pytest.raises(sqlite3.IntegrityError, match="the log only grows"):
            raw.execute("DELETE FROM readings")
        assert raw.execute("SELECT value FROM facts WHERE name = 'schema'").fetchone() == (str(SCHEMA),)


def test_a_copy_of_the_old_log_is_kept_and_made_once(study_here):
    before = begun(study_here.folder, "log_form_1.sql")
    for _ in range(2):
        Logbook(study_here).close()
    (copy,) = study_here.folder.glob("log-form-1-*.sqlite")
    assert rows(copy) == before
    with closing(sqlite3.connect(copy)) as raw:
        assert raw.execute("SELECT value FROM facts WHERE name = 'schema'").fetchone() == ("1",)


def test_a_step_that_fails_leaves_the_old_log_as_it_was(study_here, monkeypatch):
    before = begun(study_here.folder, "log_form_1.sql")
    form = shape(study_here.folder / "log.sqlite")
    whole = migrations.STEPS[2]["sqlite"]
    monkeypatch.setitem(migrations.STEPS, 2, {"sqlite": (*whole, "CREATE TABLE facts (x)")})
    with pytest.raises(LogProblem, match="table facts already exists. An entry is stored whole or not at all"):
        Logbook(study_here)
    assert rows(study_here.folder / "log.sqlite") == before and shape(study_here.folder / "log.sqlite") == form


def test_without_a_copy_nothing_is_changed(study_here, monkeypatch):
    begun(study_here.folder, "log_form_1.sql")
    form = shape(study_here.folder / "log.sqlite")
    whole = sqlite3.connect

    def full(path, *rest, **more):
        if "-form-" in str(path):
            raise sqlite3.OperationalError("database or disk is full")
        return whole(path, *rest, **more)

    monkeypatch.setattr(migrations.sqlite3, "connect", full)
    with pytest.raises(LogProblem, match="no copy of it could be made first .*disk is full.*left as it is"):
        Logbook(study_here)
    monkeypatch.undo()
    assert shape(study_here.folder / "log.sqlite") == form and not list(study_here.folder.glob("log-form*"))


@pytest.mark.parametrize("form", ["3", "0", "two"])
def test_a_form_this_kit_does_not_know_is_refused_and_untouched(study_here, form):
    begun(study_here.folder, "log_form_1.sql")
    path = study_here.folder / "log.sqlite"
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("UPDATE facts SET value = ? WHERE name = 'schema'", (form,))
    before = shape(path)
    with pytest.raises(LogProblem, match=f"its form is {form}, this kit knows {SCHEMA}.*Update testpour; the log is untouched"):
        Logbook(study_here)
    assert shape(path) == before and not list(study_here.folder.glob("log-form*"))


def test_every_form_has_its_step():
    assert sorted(migrations.STEPS) == list(range(2, SCHEMA + 1))
