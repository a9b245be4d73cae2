"""The log on a database server, by its address alone; PostgreSQL's own binaries, skipped where there are none."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore:P10. A peak of 146 °C")]  # the demonstration holds a casting that ran too hot
psycopg = pytest.importorskip("psycopg")
DEMO = Path(__file__).parents[2] / "datasets" / "demo-study" / "castings.csv"


def test_a_log_on_a_server_is_the_log(address, study_here, log):
    served = Logbook(study_here, address)
    for book in (served, log):
        book.add_sheet(DEMO)
        entry = book.correct_reading(book.add_reading("P01", "tack", 1, age=48), 2, why="slip \x00 <b>🙂")
        book.withdraw_reading(entry, why="spilt")
        book.correct_pour("P02", settings={"catalyst": 2.0}, why="scale")
        book.withdraw_pour("P03", why="wrong drum")
    assert served.castings().fingerprint() == log.castings().fingerprint()
    assert list(served.castings().pours.index) == list(log.castings().pours.index)
    columns = ["what", "entry", "said", "note", "void"]
    assert served.history("P01")[columns].equals(log.history("P01")[columns])
    with pytest.raises(LogProblem, match="P01 is in the log already"):
        served.add_pour("P01", settings={"catalyst": 1.5}, session="x")
    served.close()


def test_benches_at_a_server_never_take_the_same_name(address, study_here):
    def bench(_):
        book = Logbook(study_here, address)
        names = [book.add_pour(settings={"catalyst": 1.5}, session="together") for _ in range(10)]
        book.close()
        return names

    with ThreadPoolExecutor(8) as benches:
        names = [name for some in benches.map(bench, range(8)) for name in some]
    assert len(names) == 80 == len(set(names))
    with closing(Logbook(study_here, address)) as book:
        assert (book.castings().pours["session"] == "together").sum() == 80


@pytest.mark.parametrize("deed", ["UPDATE readings SET low = 1", "DELETE FROM settings", "DELETE FROM pours"])
def test_the_server_itself_refuses_to_change_a_row(address, study_here, deed):
    with closing(Logbook(study_here, address)) as book:
        book.add_reading(book.add_pour(settings={"catalyst": 1.5}, session="x"), "gel_time", 20)
    with psycopg.connect(address) as raw, pytest.raises(psycopg.errors.RaiseException, match="the log only grows"):
        raw.execute(deed)


def test_without_the_password_nothing_opens_and_none_is_shown(study_here, address):
    """Password authentication after SCRAM; the refusal names the server and keeps the password to itself."""
    wrong = address.replace("poured-9-times", "guessed-once")
    assert wrong != address
    with pytest.raises(LogProblem) as refused:
        Logbook(study_here, wrong)
    assert "guessed-once" not in str(refused.value) and "password" in str(refused.value).lower()
