"""A log on a server is brought forward, copied, packed and photographed like one in a file."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from testpour.exchange import package
from testpour.logbook import backup
from testpour.logbook.backup import back_up
from testpour.logbook.book import Logbook
from testpour.logbook.tables import SCHEMA, LogProblem
from testpour.study.study_file import read_study

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore:P10. A peak of 146 °C")]  # the demonstration holds a casting that ran too hot
psycopg = pytest.importorskip("psycopg")
ROOT = Path(__file__).parents[2]
DEMO = ROOT / "datasets" / "demo-study" / "castings.csv"
OLD = ROOT / "tests" / "reference" / "log_form_1_server.sql"


@pytest.fixture
def served(study_here, address):
    """A study whose log lies on the server."""
    return replace(study_here, log=address)


def shape(address):
    """Columns, indexes and triggers as the server itself tells them."""
    queries = (
        """SELECT table_name, column_name, data_type, is_nullable, column_default FROM information_schema.columns
        WHERE table_schema = 'public' ORDER BY 1, ordinal_position""",
        "SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' ORDER BY 1",
        "SELECT trigger_name, event_manipulation, action_statement FROM information_schema.triggers ORDER BY 1, 2",
    )
    with psycopg.connect(address) as raw:
        return [raw.execute(query).fetchall() for query in queries]


def test_a_log_of_form_1_on_a_server_comes_forward(served, address):
    Logbook(served).close()
    fresh = shape(address)
    with psycopg.connect(address, autocommit=True) as raw:
        raw.execute("DROP SCHEMA public CASCADE")
        raw.execute("CREATE SCHEMA public")
        raw.execute(OLD.read_text("utf-8"))
        before = raw.execute("SELECT * FROM readings ORDER BY entry").fetchall()
    with closing(Logbook(served)) as log:
        assert log.castings().pours["catalyst"].to_dict() == {"P01": 1.5, "P02": 2.5}
        assert log.castings().readings["low"].tolist() == [24, 1, 120, 77, 78, 76]
        assert log.add_pour(settings={"catalyst": 1}, session="S3") == "P04"
    assert shape(address) == fresh
    with psycopg.connect(address) as raw:
        assert raw.execute("SELECT * FROM readings ORDER BY entry").fetchall() == before
        assert raw.execute("SELECT value FROM facts WHERE name = 'schema'").fetchone() == (str(SCHEMA),)


def test_a_newer_form_on_a_server_is_refused_and_untouched(served, address):
    Logbook(served).close()
    with psycopg.connect(address) as raw:
        raw.execute("UPDATE facts SET value = '99' WHERE name = 'schema'")
        raw.execute("DROP TABLE photos")
    with pytest.raises(LogProblem, match="its form is 99"):
        Logbook(served)
    assert "photos" not in {row[0] for row in shape(address)[0]}


def test_a_copy_of_a_log_on_a_server_is_a_log_in_a_file(served, tmp_path):
    Image.new("RGB", (30, 20)).save(served.folder / "face.jpg")
    with closing(Logbook(served)) as log:
        log.add_sheet(DEMO)
        log.correct_reading(log.add_reading("P01", "tack", 1, age=48), 2, why="slip")
        log.withdraw_pour("P03", why="wrong drum")
        log.add_photo("P01", "face.jpg", note="שלום")
        assert log.photos("P01")[0].thumbnail().startswith("data:image/jpeg")
        made = back_up(served, tmp_path / "copy.sqlite")
        with closing(Logbook(served, f"sqlite:///{made.path}")) as copy:
            assert copy.castings().fingerprint() == log.castings().fingerprint()
            assert copy.history("P01").equals(log.history("P01")) and copy.history("P03").equals(log.history("P03"))
            assert [photo.note for photo in copy.photos()] == ["שלום"]
            assert copy.add_pour(settings={"catalyst": 1}, session="S") == log.add_pour(settings={"catalyst": 1}, session="S")
    assert "1 row of photographs;" in made.sentence()
    assert sorted(path.name for path in tmp_path.glob("copy*")) == ["copy.sqlite"]
    with pytest.raises(LogProblem, match="exists already"):
        back_up(served, made.path)


def test_the_copy_is_of_one_moment_though_a_bench_goes_on_writing(served, tmp_path, monkeypatch):
    """A pour and its reading come in while the copy is half made: neither is in it, or both."""
    with closing(Logbook(served)) as log:
        log.add_pour("first", settings={"catalyst": 1}, session="S")
        whole = backup.all_rows

        def meanwhile(connection, table):
            if table.name == "readings":
                log.add_reading(log.add_pour(settings={"catalyst": 2}, session="S"), "gel_time", 20)
            return whole(connection, table)

        monkeypatch.setattr(backup, "all_rows", meanwhile)
        made = back_up(served, tmp_path / "copy.sqlite")
        assert (made.pours, made.readings) == (1, 0) and len(log.castings()) == 2


def test_a_package_too_is_of_one_moment(served, tmp_path, monkeypatch):
    with closing(Logbook(served)) as log:
        log.add_pour("first", settings={"catalyst": 1}, session="S")
        whole = package.all_rows

        def meanwhile(connection, table):
            log.add_pour(settings={"catalyst": 2}, session="S")
            return whole(connection, table)

        monkeypatch.setattr(package, "all_rows", meanwhile)
        made = package.write_package(log, tmp_path / "package", names=True)
        assert made.castings.pours.index.tolist() == ["first"] and len(log.castings()) == 5
        made.to_folder(tmp_path / "new")


def test_a_package_of_a_log_on_a_server(served, tmp_path):
    with closing(Logbook(served)) as log:
        log.add_sheet(DEMO)
        log.correct_pour("P02", settings={"catalyst": 2}, why="scale")
        made = package.write_package(log, tmp_path / "package", names=True)
        made.to_folder(tmp_path / "new")
        study = read_study(tmp_path / "new")
        with closing(Logbook(study)) as again:
            assert again.castings().fingerprint() == log.castings().fingerprint()
            assert again.history("P02").equals(log.history("P02"))
    assert study.log == "log.sqlite"
    text = "".join(path.read_text("utf-8") for path in made.path.glob("*.*"))
    assert "postgresql" not in text and "127.0.0.1" not in text
