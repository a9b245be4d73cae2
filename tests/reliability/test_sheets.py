"""Thousands of spreadsheets as nobody would write them: taken and written back the same, or refused in words."""

import csv
import io
import string
import warnings
from math import nan

import openpyxl
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from testpour.exchange.export import write_sheet
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.entries import LogProblems
from testpour.logbook.log_warnings import Caution
from testpour.logbook.spreadsheet import NotRead
from testpour.logbook.tables import POURS, READINGS, SETTINGS, LogProblem

# Every kind of column: cells that a bench might write in it, and some that it had better not.
COLUMNS = {
    "pour": (["", "007", "=x", "None", "A", "B7"], ["A", "there before"]),
    "session": (["Monday", "", "2", "@home"], []),
    "date": (["2026-03-01", "2026-03-01 10:30", "1.3.2026 9:30", "31/3/2026", ""], ["2/3/2026", "soon"]),
    "catalyst (%)": (["1.5", "2", "1.5 %", ""], ["9.5", "2 g", "1,5"]),
    "Thickness (in)": (["1/4 in", "0.25", "6 mm", ""], ["12"]),
    "cover": (["yes", "no", "y", ""], ["half"]),
    "Room (degF)": (["66", "66 degF", "19 degC", ""], ["19"]),
    "resin lot": (["R1", "", "-1", "\u0436"], []),
    "gel time": (["20", "20-25", "> 60", "did not gel by 2 h", "already by 5", ""], ["25-20", "12,5", "0"]),
    "time to peak (min)": (["35", "30 to 40", ""], ["long"]),
    "peak temperature (degC)": (["95", "95.5", "", "203 degF"], ["950"]),
    "hardness at 24 h (Shore D)": (["76", "76; 78; 77", "78 D", ""], ["101", "77,5"]),
    "hardness at 7 d": (["80", "80; 81", ""], []),
    "hardness 24 h, specimen 2": (["75", ""], []),
    "tack at 24 h": (["0", "dry", "3", ""], ["1-2", "7", "none"]),
    "made anyway": (["yes", "no", ""], ["perhaps"]),
    "note": (["open face dragged", "", "<b>x</b>", "=1+1", "a; b, c", "two\nlines"], []),
    "by": (["kl", ""], []),
    "mood": (["low", ""], []),
}
WILD = st.one_of(
    st.text(string.printable + "\u00e4\u00b5\u00bd\u0663\u00b0\u202e\U0001f9ea", max_size=12), st.text(max_size=6),
    st.sampled_from(["1e999", "-1", "nan", "inf", "g**99999", "9" * 400, "1_000", "\u00bd", "0x10", "#DIV/0!", "'", "1;2;3", "\0"]),
)


@st.composite
def tables(draw):
    """Sensible sheets, and sheets with some bad cells, wild cells, a wild header, a short row or a line above."""
    heads = draw(st.permutations(list(COLUMNS)))[: draw(st.integers(2, 9))]
    rows = [[draw(st.sampled_from(COLUMNS[head][0])) for head in heads] for _ in range(draw(st.integers(1, 5)))]
    if "pour" in heads:
        for number, row in enumerate(rows):  # a name stands once
            row[heads.index("pour")] += str(number)
    for _ in range(draw(st.sampled_from([0, 0, 1, 2, 4]))):
        row, column = draw(st.integers(0, len(rows) - 1)), draw(st.integers(0, len(heads) - 1))
        bad = COLUMNS[heads[column]][1]
        rows[row][column] = draw(st.one_of(WILD, st.sampled_from(bad)) if bad else WILD)
    fault = draw(st.sampled_from(["", "", "", "head", "twice", "short", "above"]))
    if fault in ("head", "twice"):
        heads[draw(st.integers(0, len(heads) - 1))] = draw(WILD) if fault == "head" else heads[0]
    if fault == "short":
        rows[-1] = rows[-1][:1]
    return [*([["Spring term"]] if fault == "above" else []), heads, *rows]


def store(table, folder, draw):
    """The table as a file of some program's making."""
    if draw(st.integers(0, 9)) == 0:
        book = openpyxl.Workbook()
        for row in table:
            try:
                book.active.append(["'" + cell if cell[:1] == "=" else cell for cell in row])
            except openpyxl.utils.exceptions.IllegalCharacterError:
                assume(False)
        book.save(folder / "any.xlsx")
        return folder / "any.xlsx"
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=draw(st.sampled_from(",;\t"))).writerows(table)
    coding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    (folder / "any.csv").write_bytes(text.getvalue().encode(coding, "replace"))
    return folder / "any.csv"


class Emptied:
    """A log in memory that can be emptied again, its own refusal to forget taken away: opening thousands takes long."""

    def __init__(self, study):
        self.log = Logbook(study, "sqlite:///:memory:")
        self._do("DROP TRIGGER no_delete_of_{}")

    def _do(self, deed):
        with self.log._engine.begin() as connection:
            for table in (READINGS, SETTINGS, POURS):
                connection.exec_driver_sql(deed.format(table.name))

    def begun(self):
        """The log with nothing in it but one pour."""
        self._do("DELETE FROM {}")
        self.log.add_pour("there before", settings={"catalyst": 1}, session="S", made_at="2026-03-01")
        return self.log


def rows(log):
    with log._engine.connect() as connection:
        return [connection.execute(sa.select(sa.func.count()).select_from(t)).scalar() for t in (POURS, SETTINGS, READINGS)]


def check_refused(problem):
    assert str(problem).strip()
    if isinstance(problem, LogProblems):
        assert len(problem.problems) and (problem.problems["problem"].str.len() > 10).all()


def check_written_back(log, other, names, path):
    """All pours of the sheet stand in the log, and the log as a sheet is the same log; one of readings alone would be later readings.

    What a sheet reads of the pour that was there before is a later reading of it.
    """
    held = log.castings()
    pours = held.pours.drop("there before")
    assert set(names) - {"there before"} == set(pours.index) and len(names) == len(set(names))
    if "there before" in names:
        return
    sheet = write_sheet(Castings(held.study, pours, held.readings), path)
    if len(held.readings) and not pours[[factor.name for factor in held.study.factors]].replace("", nan).notna().any(axis=None):
        with pytest.raises(LogProblems, match="has no settings here"):
            other.add_sheet(sheet)
        return
    assert set(other.add_sheet(sheet)) == set(names)
    assert other.castings().fingerprint() == held.fingerprint()


def run(study, folder, examples):
    seen, one, two = {"taken": 0, "refused": 0}, Emptied(study), Emptied(study)

    @settings(max_examples=examples, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(st.data())
    def drawn(data):
        path, log = store(data.draw(tables()), folder, data.draw), one.begun()
        before = rows(log)
        try:
            names = log.add_sheet(path)
        except LogProblem as problem:
            assert rows(log) == before, "half a sheet was stored"
            check_refused(problem)
            seen["refused"] += 1
        else:
            check_written_back(log, two.begun(), names, folder / f"back{path.suffix}")
            seen["taken"] += 1

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotRead)
        warnings.simplefilter("ignore", Caution)
        drawn()
    one.log.close()
    two.log.close()
    assert min(seen.values()) > examples / 5, f"the sheets are too much alike: {seen}"
    return seen


@pytest.mark.slow
def test_two_hundred_sheets(study_here):
    run(study_here, study_here.folder, 200)


@pytest.mark.slow
@pytest.mark.long
def test_five_thousand_sheets(study_here):
    run(study_here, study_here.folder, 5000)
