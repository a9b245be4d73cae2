"""The copy of a log: whole, of one moment, opened again, and never half there."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from types import SimpleNamespace

import pytest
from PIL import Image

from testpour.logbook import backup, logfile
from testpour.logbook.backup import back_up
from testpour.logbook.book import Logbook
from testpour.logbook.tables import TABLES, LogProblem, put_rows


def test_a_copy_is_a_log_with_its_history_and_names_its_photographs(practice_log, tmp_path):
    study = practice_log.study
    practice_log.correct_pour("P01", settings={"catalyst": 2}, why="scale")
    Image.new("RGB", (9, 9)).save(tmp_path / "face.png")
    practice_log.add_photo("P01", tmp_path / "face.png")
    made = back_up(study)  # while the log is open
    assert made.path.parent == study.folder and made.path.suffix == ".sqlite"
    assert (made.pours, made.photos) == (13, 1) and "1 row of photographs;" in made.sentence()
    with closing(Logbook(replace(study, log=made.path.name))) as copy:
        assert copy.castings().fingerprint() == practice_log.castings().fingerprint()
        assert copy.history("P01").equals(practice_log.history("P01"))
        assert len(copy.photos()) == 1


def test_a_copy_that_fails_leaves_nothing_and_the_log_as_it_was(practice_log, tmp_path, monkeypatch):
    before = practice_log.castings().fingerprint()

    def damaged(path):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_verified", damaged)
    with pytest.raises(LogProblem, match="The copy to .*copy.sqlite failed: .*No space left on device. The log itself is untouched. Check that"):
        back_up(practice_log.study, tmp_path / "copy.sqlite")
    assert not list(tmp_path.glob("copy*")) and practice_log.castings().fingerprint() == before


def _spoilt(path, how):
    """A log file as a crash, a wrong copy or a wrong name leaves it."""
    whole = path.read_bytes()
    path.unlink()
    if how in ("bookmarks", "nothing"):
        with closing(sqlite3.connect(path)) as raw:
            raw.executescript("CREATE TABLE bookmarks (a);" if how == "bookmarks" else "PRAGMA user_version = 1;")
        return
    page = 4096
    path.write_bytes({"empty": b"", "noise": bytes(range(256)) * 12, "cut": whole[:20000],
                      "pages": whole[: 2 * page] + b"\x55" * (3 * page) + whole[5 * page :]}[how])


@pytest.mark.parametrize("how, said", [
    pytest.param("empty", "is empty, though the file is there. Put back the last copy", marks=pytest.mark.slow),
    ("noise", "is not a log: the file holds something else."),
    ("bookmarks", "is not a log: the file holds something else. Give the path of a log, or move the file away."), ("nothing", "is not a log"),
    pytest.param("cut", "is cut short: part of the file is missing", marks=pytest.mark.slow),
    ("pages", "is damaged. Keep the file, and go back to the last copy"),
])
def test_what_is_no_whole_log_is_not_copied(practice_log, how, said):
    study = practice_log.study
    practice_log.close()
    _spoilt(study.folder / "log.sqlite", how)
    with pytest.raises(LogProblem, match=f"The log at .*log.sqlite {said}"):
        back_up(study)
    assert [path.name for path in study.folder.glob("*.sqlite")] == ["log.sqlite"]


def test_a_log_too_long_to_look_through_first_is_found_damaged_by_its_copy(practice_log, monkeypatch):
    practice_log.close()
    monkeypatch.setattr(logfile, "CHECKED", 0)
    _spoilt(practice_log.study.folder / "log.sqlite", "pages")
    with pytest.raises(LogProblem, match="damaged") as refused:
        back_up(practice_log.study)
    assert "malformed" not in str(refused.value) and len(list(practice_log.study.folder.glob("*.sqlite"))) == 1


def test_a_copy_that_sqlite_finds_damaged_is_refused(tmp_path):
    """A row that breaks its table's own rule, as SQLite's integrity check words it."""
    path = tmp_path / "copy.sqlite"
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript("CREATE TABLE pours (name); INSERT INTO pours VALUES (NULL); PRAGMA writable_schema = ON;")
        raw.execute("UPDATE sqlite_master SET sql = 'CREATE TABLE pours (name NOT NULL)'")
        raw.commit()
    with pytest.raises(LogProblem, match=r"damaged \(NULL value in pours.name\). Make another one"):
        backup._verified(path)


def test_refusals(practice_log, tmp_path):
    study = practice_log.study
    with pytest.raises(LogProblem, match="failed: .*The log itself is untouched"):
        back_up(study, tmp_path / "nowhere" / "copy.sqlite")
    with pytest.raises(LogProblem, match="No log at .*other.sqlite yet: nothing to copy"):
        back_up(replace(study, log="other.sqlite"))
    with pytest.raises(LogProblem, match="exists already"):
        back_up(study, study.folder / "log.sqlite")


def test_a_copy_of_a_log_from_before_photographs_is_counted_without_them(tmp_path):
    with closing(sqlite3.connect(tmp_path / "old.sqlite")) as raw:
        raw.executescript("CREATE TABLE pours (a); CREATE TABLE readings (a); INSERT INTO readings VALUES (1), (2), (3); INSERT INTO pours VALUES (1), (2);")
    assert backup._verified(tmp_path / "old.sqlite") == [2, 3]


def test_on_a_server_the_next_number_follows_the_rows_that_were_put_in():
    """Of a copy brought back; settings have the number of their pour."""
    said, written_out = [], {"compile_kwargs": {"literal_binds": True}}
    server = SimpleNamespace(dialect=SimpleNamespace(name="postgresql"), execute=lambda query: said.append(str(query.compile(**written_out))))
    for table in TABLES:
        put_rows(server, table, [])
    assert [text.replace("\n", " ") for text in said] == [
        f"SELECT setval('{name}_entry_seq', (SELECT coalesce(max({name}.entry), 0) + 1 AS anon_1  FROM {name}), false) AS setval_1"
        for name in ("pours", "readings", "photos")
    ]


@pytest.mark.parametrize("size, page, pages, counted, beside, wrong", [
    (8192, 4096, 2, True, "", ""), (8191, 4096, 2, True, "", "is cut short"), (8191, 4096, 2, False, "", ""), (8191, 4096, 2, True, "-journal", ""),
    (8191, 4096, 2, True, "-wal", ""), (131071, 1, 2, True, "", "is cut short"), (131072, 1, 2, True, "", ""), (9000, 4096, 2, True, "", ""),
    (0, 0, 0, True, "", "is empty"), (99, 4096, 2, True, "", "is not a log"), (1, 4096, 2, True, "", "is not a log"),
    (100, 4096, 2, True, "", "is cut short"), (0, 0, 0, True, "-journal", ""),
])
def test_a_file_is_whole_where_its_head_counts_no_more_pages_than_it_holds(size, page, pages, counted, beside, wrong, tmp_path):
    """By the format of SQLite files: the size of a page at byte 16, 1 for 65,536, and pages at 28, which count where bytes 24 and 92 agree."""
    head = bytearray(b"SQLite format 3\0" + page.to_bytes(2, "big") + bytes(6) + (7).to_bytes(4, "big") + pages.to_bytes(4, "big") + bytes(60))
    head += (7 if counted else 8).to_bytes(4, "big") + bytes(4)
    path = tmp_path / "log.sqlite"
    path.write_bytes(bytes(head[:size]) + bytes(max(size - 100, 0)))
    if beside:
        path.with_name(f"log.sqlite{beside}").write_bytes(b"x")
    assert len(head) == 100 and logfile._damage(path)[: len(wrong) or None] == wrong
