"""What leaves the log: the same text and numbers from every kind of file, and nothing in them that runs."""

import csv
import sys
from contextlib import closing
from dataclasses import replace

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import testpour as tp
from testpour.common.problems import Problem
from testpour.exchange import export
from testpour.exchange.export import write_sheet
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import read_package
from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems
from testpour.logbook.sheet_cells import escape_cell, unescape_cell
from testpour.logbook.spreadsheet import read_sheet
from testpour.logbook.text_and_dates import clean

# Markup, SQL, paths, marks that turn the line about, pictures, and what a spreadsheet would act on.
HOSTILE = [
    "<img src=x onerror=alert(1)>", "Robert'); DROP TABLE pours;--", "../../etc/passwd", r"C:\temp\x", "a\u202eb\u200fc", "\u05e9\u05dc",
    "🧪👩🏽‍🔬", "=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\uff1d1+1", "'=1", "none", "0012", "1e5", "TRUE", "3-4", "a;b,c\"d",
]
LINES = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12)


def pour(log, text):
    """A pour whose every text is `text`."""
    log.add_pour(text, settings={"catalyst": 1, "room_temperature": 20, "resin_lot": text}, session=text, by=text, note=text)
    log.add_reading(text, "gel_time", 20, by=text, note=text)


def from_sheet(castings, folder, ending):
    """The texts of each pour and its reading, as the sheet gives them back."""
    for entry in read_sheet(castings.study, write_sheet(castings, folder / f"out.{ending}")):
        (reading,) = entry["readings"]
        own = [entry[key] for key in ("pour", "session", "by", "note")]
        yield [*own, entry["settings"]["resin_lot"], reading["by"], reading["note"]]


def from_parquet(castings, folder):
    held = pd.read_parquet(write_sheet(castings, folder / "out.parquet"))
    return held[["pour", "session", "by", "note", "resin_lot", "read by", "read note"]].values.tolist()


def from_package(castings, folder):
    write_package(castings, folder / "out.zip", names=True)
    held = read_package(folder / "out.zip").castings
    pours = held.pours.reset_index()[["pour", "session", "by", "note", "resin_lot"]].values.tolist()
    return [a + b for a, b in zip(pours, held.readings[["by", "note"]].values.tolist(), strict=True)]


def all_files(castings, folder):
    return {"csv": list(from_sheet(castings, folder, "csv")), "xlsx": list(from_sheet(castings, folder, "xlsx")),
            "parquet": from_parquet(castings, folder), "package": from_package(castings, folder)}


@pytest.mark.slow
def test_text_is_the_same_from_every_file(log, tmp_path):
    for text in HOSTILE:
        pour(log, text)
    castings = log.castings()
    assert castings.pours.index.tolist() == castings.pours["note"].tolist() == HOSTILE
    for kind, found in all_files(castings, tmp_path).items():
        assert found == [[text] * 7 for text in HOSTILE], kind


@pytest.mark.slow
@given(texts=st.lists(LINES.map(lambda text: clean(text, line=True)).filter(bool), min_size=1, max_size=6, unique=True))
@settings(max_examples=5)
def test_any_text_is_the_same_from_every_file(study, tmp_path_factory, texts):
    folder = tmp_path_factory.mktemp("any")
    with closing(Logbook(replace(study, folder=folder))) as log:
        for text in texts:
            pour(log, text)
        for kind, found in all_files(log.castings(), folder).items():
            assert found == [[text] * 7 for text in texts], kind


@given(text=st.text(max_size=8))
def test_a_tamed_cell_comes_back_and_begins_with_no_sign(text):
    assert unescape_cell(escape_cell(text)) == text
    assert escape_cell(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.slow
def test_no_cell_of_a_sheet_is_acted_on(log, tmp_path):
    """Signs after OWASP, CSV injection; a formula in a workbook has the data type f (ECMA-376, 18.18.11)."""
    for text in HOSTILE:
        pour(log, text)
    with open(write_sheet(log.castings(), tmp_path / "out.csv"), encoding="utf-8", newline="") as file:
        assert not any(cell[:1] in tuple("=+-@\t\r\uff1d") for row in csv.reader(file) for cell in row if cell)
    book = openpyxl.load_workbook(write_sheet(log.castings(), tmp_path / "out.xlsx"))
    assert not any(cell.data_type == "f" for row in book.active.iter_rows() for cell in row)


def test_what_a_notebook_shows_is_never_run(log, tmp_path):
    """In the castings, in a table of problems, in a package of a stranger's study."""
    mark = "<img src=x onerror=alert(1)>"
    pour(log, mark)
    (tmp_path / "bad.csv").write_text(f"pour,catalyst,gel time,note\n{mark},{mark},20,{mark}\n", "utf-8")
    with pytest.raises(LogProblems) as found:
        log.add_sheet(tmp_path / "bad.csv")
    study = replace(log.study, name=mark, question=mark)
    shared = write_package(replace(log.castings(), study=study), tmp_path / "out.zip")
    for shown in (log.castings(), found.value, shared):
        assert "<img" not in shown._repr_html_() and "&lt;img" in shown._repr_html_()


def test_a_header_of_the_study_is_not_acted_on_either(log, tmp_path):
    """The words of a column come from a study file, which may come from somebody else."""
    study = replace(log.study, factors=tuple(replace(f, words="=1+1") if f.name == "pigment" else f for f in log.study.factors))
    log.add_pour("A", settings={"pigment": 2, "catalyst": 1, "room_temperature": 20}, session="S")
    castings = replace(log.castings(), study=study)
    path = write_sheet(castings, tmp_path / "out.csv")
    assert not any(cell.startswith("=") for cell in next(csv.reader(path.read_text("utf-8").splitlines())))
    assert read_sheet(study, path)[0]["settings"]["pigment"] == 2


def test_parquet_has_typed_columns_with_their_units(practice_log, tmp_path):
    """Read with pyarrow itself."""
    parquet = pytest.importorskip("pyarrow.parquet")
    practice_log.add_pour("open", settings={"catalyst": 1.25}, session="S9")
    practice_log.add_reading("open", "gel_time", not_yet="2 h")
    practice_log.add_reading("open", "time_to_peak", already=150)
    practice_log.add_pour("bare", settings={"catalyst": 1.25}, session="S9")
    castings = practice_log.castings()
    held = parquet.read_table(write_sheet(castings, tmp_path / "out.parquet"))
    kinds = {field.name: str(field.type) for field in held.schema}
    assert [kinds[n] for n in ("catalyst", "low", "age", "cover", "entry")] == ["double", "double", "double", "bool", "int64"]
    assert kinds["made_at"].startswith("timestamp")
    units = {f.name: (f.metadata or {}).get(b"unit") for f in held.schema}
    assert (units["catalyst"], units["thickness"], units["age"], units["pour"]) == (b"%", b"mm", b"h", None)
    rows = held.to_pylist()
    assert len(rows) == len(castings.readings) + 1
    assert rows[-1]["pour"] == "bare" and rows[-1]["catalyst"] == 1.25 and rows[-1]["reading"] is None
    back = [(r["pour"], r["reading"], r["low"], r["high"], r["unit"]) for r in rows[:-1]]
    units = {r.name: r.unit for r in castings.study.readings}
    ends = castings.readings[["low", "high"]].replace([np.inf, -np.inf], np.nan).astype(object)
    ends = ends.where(ends.notna(), None).values.tolist()
    names = castings.readings[["pour", "reading"]].values.tolist()
    assert sorted(back, key=str) == sorted(((*n, *e, units[n[1]]) for n, e in zip(names, ends, strict=True)), key=str)


def test_parquet_says_how_to_install_it(practice_castings, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(Problem, match=r'out.parquet: Parquet needs pyarrow. Install it with: pip install "testpour\[parquet\]"'):
        write_sheet(practice_castings, tmp_path / "out.parquet")


def test_a_log_is_written_as_its_castings_are(practice_log, tmp_path):
    files = tp.write_sheet(practice_log, tmp_path / "log.csv"), tp.write_sheet(practice_log.castings(), tmp_path / "castings.csv")
    assert files[0].read_bytes() == files[1].read_bytes()


def test_another_ending_is_refused(practice_castings, tmp_path):
    with pytest.raises(Problem, match="out.ods: write to a name ending in .csv, .xlsx or .parquet"):
        write_sheet(practice_castings, tmp_path / "out.ods")


def test_a_package_is_told_that_its_castings_are_wanted(practice_log, tmp_path):
    write_package(practice_log, tmp_path / "log.zip")
    with pytest.raises(Problem, match=r"^write_sheet takes the castings of a log or a log: .*, and was given a package that was read\.$"):
        tp.write_sheet(read_package(tmp_path / "log.zip"), tmp_path / "package.csv")


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_only_a_table_of_this_kit_is_taken_for_one(log, tmp_path, ending):
    """What is damaged, or somebody else's, is not written over."""
    pour(log, "P1")
    own, damaged, other = write_sheet(log.castings(), tmp_path / f"own.{ending}"), tmp_path / f"damaged.{ending}", tmp_path / f"other.{ending}"
    damaged.write_bytes(own.read_bytes()[:5] + b"spoilt")
    table = pd.DataFrame({"pour": ["P1"]})
    {"csv": table.to_csv, "xlsx": table.to_excel, "parquet": table.to_parquet}[ending](other)
    assert [getattr(export, f"_is_{ending}")(path) for path in (own, damaged, other)] == [True, False, False]
