"""Names and notes with markup, SQL, paths, right-to-left marks and emoji: unchanged through the log, and inert."""

from contextlib import closing
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testpour.logbook.book import Logbook

PIECES = [
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "&lt;", "]]>", "{{7*7}}", "${HOME}", "%s%n", "$x^2$", "`ls`",
    "'); DROP TABLE pours; --", "' OR '1'='1", "\"", "\\", "\\'", "%", "_", ":pour", "?", "/*", "../../etc/passwd",
    "C:\\pours\\new", "a/b", "con", "~", "\u202eright to left\u202c", "\u05e9\u05dc\u05d5\u05dd", "\u0645\u0631\u062d\u0628\u0627",
    "\u200f", "\u2066x\u2069", "\U0001f9ea", "\U0001f469\U0001f3fd\u200d\U0001f52c", "\U0001f1ec\U0001f1e7", "e\u0301", "\u00e9", "\ufb01",
    "\u00df", "\u0130", "\ufeff", "\u200b", "None", "nan", "NULL", "007", "1e5", "=1+1", "@x", "-", "#REF!", "\U0010fffd",
]
# Marks of any script, but no control characters, loose surrogates or unassigned places; blanks are single.
MARKS = st.text(st.characters(exclude_categories=["Cc", "Cs", "Cn", "Zs", "Zl", "Zp"]), min_size=1, max_size=15)
LINES = st.lists(st.one_of(st.sampled_from(PIECES), MARKS), min_size=1, max_size=4).map(" ".join)
NOTES = st.lists(LINES, max_size=3).map("\n".join)
WRITTEN = st.lists(st.tuples(LINES, NOTES, LINES), min_size=1, max_size=6, unique_by=lambda row: row[0])


def check_unchanged(log, rows):
    """Every word given is what the log gives back; entries are matched by number, not by name."""
    entries = {}
    for name, note, other in rows:
        made = {"catalyst": 1.5, "resin_lot": other, "catalyst_lot": name}
        assert log.add_pour(name, settings=made, session=other, by=other, note=note) == name
        entries[name] = log.add_reading(name, "hardness", 70, age=24, by=other, note=note)
    castings = log.castings()
    readings = castings.readings.set_index("entry")
    for name, note, other in rows:
        row = castings.pours.loc[name]
        assert (row["session"], row["by"], row["note"], row["resin_lot"]) == (other, other, note, other)
        assert row["catalyst_lot"] == name
        read = readings.loc[entries[name]]
        assert (read["pour"], read["by"], read["note"]) == (name, other, note)
        log.correct_pour(name, settings={"catalyst": 2}, why=other)
        assert log.history(name)["note"].iloc[-1] == f"{note} Corrected: {other}".strip()
    assert set(log.castings().pours.index) == {name for name, *_ in rows}
    page = log.castings()._repr_html_()
    assert "<script" not in page and "<img" not in page


FIXED = [(f"{piece} {number}", piece, piece) for number, piece in enumerate(PIECES)]


@pytest.mark.slow
def test_each_piece_through_a_file(log):
    check_unchanged(log, FIXED)


@pytest.mark.slow
@settings(max_examples=20)
@given(rows=WRITTEN)
def test_any_marks_through_a_file(study, tmp_path_factory, rows):
    with closing(Logbook(replace(study, folder=tmp_path_factory.mktemp("text")))) as log:
        check_unchanged(log, rows)


@pytest.mark.slow
def test_each_piece_through_a_server(study_here, address):
    with closing(Logbook(study_here, address)) as log:
        check_unchanged(log, FIXED)


@pytest.mark.slow
@settings(max_examples=20)
@given(rows=WRITTEN)
def test_any_marks_through_a_server(study_here, server, rows):
    with closing(Logbook(study_here, server.emptied())) as log:
        check_unchanged(log, rows)
