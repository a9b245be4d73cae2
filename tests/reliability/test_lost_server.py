"""A server that goes away: in the middle of a write, between writes, and in the midst of a class."""

import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore:P10. A peak of 146 °C")]  # the demonstration holds a casting that ran too hot
psycopg = pytest.importorskip("psycopg")
DEMO = Path(__file__).parents[2] / "datasets" / "demo-study" / "castings.csv"
OTHERS = "FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"


def wait_for(check, seconds=20):
    last = time.monotonic() + seconds
    while not check():
        assert time.monotonic() < last, "the other bench never came so far"
        time.sleep(0.02)


@pytest.fixture
def served(address, study_here):
    book = Logbook(study_here, address)
    book.add_pour("A1", settings={"catalyst": 1.5}, session="S1")
    book.add_reading("A1", "gel_time", 20)
    yield book
    book.close()


def rows(address):
    with psycopg.connect(address) as raw:
        return [raw.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0] for table in ("pours", "settings", "readings")]


def test_a_connection_cut_in_the_middle_of_a_write(served, address):
    """Pours and settings are written, the readings wait for a table that somebody holds; then the line is cut."""
    before, mark = rows(address), served.castings().fingerprint()
    with psycopg.connect(address) as holder, ThreadPoolExecutor(1) as bench:
        holder.execute("LOCK TABLE readings IN EXCLUSIVE MODE")
        writing = bench.submit(served.add_sheet, DEMO)
        with psycopg.connect(address, autocommit=True) as cutter:
            wait_for(lambda: cutter.execute(f"SELECT 1 {OTHERS} AND wait_event_type = 'Lock' AND query LIKE 'INSERT INTO readings%'").fetchone())
            cutter.execute(f"SELECT pg_terminate_backend(pid) {OTHERS} AND wait_event_type = 'Lock'")
        with pytest.raises(LogProblem, match="connection to the log .* was lost. An entry is stored whole or not at all: check with history"):
            writing.result(30)
        holder.rollback()
    assert rows(address) == before
    assert served.castings().fingerprint() == mark  # the same log goes on, and holds what it held
    names = served.add_sheet(DEMO)
    assert set(names) <= set(served.castings().pours.index)


def test_a_connection_cut_between_two_writes_is_not_even_noticed(served, address):
    with psycopg.connect(address, autocommit=True) as cutter:
        cutter.execute(f"SELECT pg_terminate_backend(pid) {OTHERS}")
    assert served.add_reading("A1", "hardness", 77, age=24)
    assert len(served.castings().readings) == 2


@pytest.mark.parametrize("how", ["fast", "immediate"])
def test_a_server_stopped_while_benches_write(served, server, study_here, how):
    """`immediate` is the server's own crash: it comes back by its journal."""
    said = []

    def bench(number):
        with closing(Logbook(study_here, server.address)) as book:
            try:
                for turn in range(100_000):
                    said.append(book.add_reading("A1", "hardness", 70, age=24, note=f"{number}/{turn}"))
            except LogProblem as problem:
                return str(problem)

    with ThreadPoolExecutor(3) as benches:
        running = [benches.submit(bench, number) for number in range(3)]
        wait_for(lambda: len(said) > 30)
        server.stop(how)
        told = [one.result(30) for one in running]
    with pytest.raises(LogProblem, match="lost|cannot be reached"):
        served.castings()
    server.start()
    assert [text for text in told if "was lost" not in text and "cannot be reached" not in text] == []
    held = served.castings().readings
    assert set(said) <= set(held["entry"]) and len(held) <= 1 + len(said) + 3
    assert held["note"].is_unique
    assert served.add_reading("A1", "hardness", 71, age=24) not in said


@pytest.mark.parametrize("wrong, words", [
    (("/postgres", "/nowhere"), "could not be used: .*does not exist"),
    (("//bench", "//nobody"), "refused the password, or does not know the user name"),
])
def test_a_wrong_address_is_said_and_the_password_is_not(server, study_here, wrong, words):
    address = server.address.replace(*wrong)
    assert address != server.address
    with pytest.raises(LogProblem, match=words) as found:
        Logbook(study_here, address)
    assert server.password not in str(found.value)


def test_a_server_log_of_a_newer_kit_is_left_alone(served, address, study_here):
    with psycopg.connect(address) as raw:
        raw.execute("UPDATE facts SET value = '99' WHERE name = 'schema'")
    before = rows(address)
    with pytest.raises(LogProblem, match="newer kit .*99.* Update testpour; the log is untouched"):
        Logbook(study_here, address)
    assert rows(address) == before
