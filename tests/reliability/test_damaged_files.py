"""Good files of every kind, damaged in many ways: read, or refused in a sentence, within a bounded time."""

import io
import os
import random
import time
import warnings
import zipfile
from dataclasses import replace

import numpy as np
import openpyxl
import pytest

from testpour.app.command import main
from testpour.exchange.export import write_sheet
from testpour.exchange.grid import TraceProblems
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import PackageProblems, read_package
from testpour.exchange.reader import read_trace
from testpour.logbook.spreadsheet import read_sheet
from testpour.logbook.tables import LogProblem
from testpour.models.beliefs import BeliefProblem
from testpour.pooling.belief_file import read_beliefs
from testpour.report.page_log import NoLogInside, json_for_page, page_data, read_page
from testpour.study.study import StudyProblems
from testpour.study.study_file import read_study, save_study

SECONDS = 8.0  # of computing for one small damaged file; a whole one takes a tenth of a second
BELIEFS = '[provenance]\nkind = "testpour beliefs"\nform = 1\n[gel_time]\nlevel = { mean = 3.2, sd = 0.4, source = "invented" }\n'
KINDS = ["package", "workbook", "sheet", "page", "study", "trace", "beliefs"]


def trace_text():
    """An invented trace: a bell of 80 K at 50 min."""
    minutes = np.arange(0, 90, 1.5)
    return "time (min);T (degC)\n" + "".join(f"{m:.1f};{22 + 80 * np.exp(-(((m - 50) / 9) ** 2)):.2f}\n" for m in minutes)


@pytest.fixture(scope="module")
def good(study, practice_castings, tmp_path_factory):
    """Kind to a good file, its reader and what the reader may raise."""
    folder = tmp_path_factory.mktemp("good")
    held = replace(practice_castings, pours=practice_castings.pours.head(4))
    held = replace(held, readings=held.readings[held.readings["pour"].isin(held.pours.index)])
    page = f'<html><script type="application/json" id="log">{json_for_page(page_data(held, {}))}</script></html>'
    (folder / "page.html").write_text(page, "utf-8")
    (folder / "trace.csv").write_text(trace_text(), "utf-8")
    (folder / "beliefs.toml").write_text(BELIEFS, "utf-8")
    return {
        "package": (write_package(held, folder / "package.zip").path, read_package, PackageProblems),
        "workbook": (write_sheet(held, folder / "sheet.xlsx"), lambda path: read_sheet(study, path), LogProblem),
        "sheet": (write_sheet(held, folder / "sheet.csv"), lambda path: read_sheet(study, path), LogProblem),
        "page": (folder / "page.html", read_page, NoLogInside),
        "study": (save_study(study, folder / "study.toml"), read_study, StudyProblems),
        "trace": (folder / "trace.csv", read_trace, TraceProblems),
        "beliefs": (folder / "beliefs.toml", read_beliefs, BeliefProblem),
    }


def flipped(data, rng):
    """Up to eight bytes changed."""
    data = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def cut(data, rng):
    """The end missing."""
    return data[: rng.randrange(len(data))]


def holed(data, rng):
    """A piece missing, or there twice, or filled with zeros."""
    a, b = sorted(rng.randrange(len(data)) for _ in range(2))
    return data[:a] + rng.choice([b"", data[a:b] * 2, b"\0" * (b - a)]) + data[b:]


def salted(data, rng):
    """Something put in that no such file has."""
    place = rng.randrange(len(data))
    words = [b"[" * 30_000, b'"' * 3, b"\xff\xfe", b"\0", b"9" * 5000, b"nan", b"1e999", b"-", b"{}", b"null", b"\n", b",,,,", "\u201c".encode()]
    return data[:place] + rng.choice(words) + data[place + rng.randrange(12) :]


def members(data, rng):
    """A zip file whose members are changed inside, removed, doubled or swapped; the checksums of the zip are right again."""
    with zipfile.ZipFile(io.BytesIO(data)) as held:
        parts = [(name, held.read(name)) for name in held.namelist()]
    k, j = rng.randrange(len(parts)), rng.randrange(len(parts))
    deed = rng.choice(["inside", "inside", "inside", "gone", "twice", "swapped", "empty", "locked"])
    if deed == "inside":
        parts[k] = parts[k][0], rng.choice([flipped, cut, holed, salted])(parts[k][1] or b" ", rng)
    elif deed == "gone":
        del parts[k]
    elif deed == "twice":
        parts.append(parts[k])
    elif deed == "swapped":
        parts[k], parts[j] = (parts[k][0], parts[j][1]), (parts[j][0], parts[k][1])
    elif deed == "empty":
        parts[k] = parts[k][0], b""
    made = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(made, "w", zipfile.ZIP_LZMA if deed == "locked" else zipfile.ZIP_DEFLATED) as again:
        warnings.simplefilter("ignore")  # of a name that stands twice
        for name, part in parts:
            again.writestr(name, part)
    return made.getvalue()


def damaged(data, rng):
    ways = [flipped, cut, holed, salted]
    return rng.choice([*ways, *[members] * 6] if data[:2] == b"PK" else ways)(data, rng)


def tried(kind, good, folder, times):
    """How many damaged files were read, and how many refused in words that name the file."""
    path, read, problem = good[kind]
    data, seen = path.read_bytes(), {"read": 0, "refused": 0}
    read(path)
    for seed in range(times):
        bad = folder / path.name
        bad.write_bytes(damaged(data, random.Random(f"{kind} {seed}")))
        begun = time.process_time()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # a column that is nothing of the study's
            try:
                read(bad)
                seen["read"] += 1
            except problem as said:
                seen["refused"] += 1
                assert len(str(said)) > 20 and "Traceback" not in str(said), seed
            except Exception as other:
                raise AssertionError(f"{kind} {seed}: {type(other).__name__}: {other}") from other
        assert time.process_time() - begun < SECONDS, f"{kind} {seed} takes too long"
    return seen


@pytest.mark.parametrize("kind", KINDS)
def test_a_few_damaged_files_of_each_kind(kind, good, tmp_path):
    seen = tried(kind, good, tmp_path, 25)
    assert seen["refused"] >= 5, seen


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_hundreds_of_damaged_files_of_each_kind(kind, good, tmp_path):
    seen = tried(kind, good, tmp_path, 300)
    assert seen["refused"] >= 60, seen


def refused(good, kind, path, words):
    """The file is refused in those words, without being read through."""
    _, read, problem = good[kind]
    begun = time.process_time()
    with pytest.raises(problem, match=words):
        read(path)
    assert time.process_time() - begun < SECONDS


@pytest.mark.parametrize("kind", KINDS)
def test_a_pipe_a_folder_and_a_huge_file_are_not_opened(kind, good, tmp_path):
    name = good[kind][0].name
    (tmp_path / "a").mkdir()
    os.mkfifo(tmp_path / "a" / name)
    refused(good, kind, tmp_path / "a" / name, "pipe")
    with open(tmp_path / name, "wb") as file:
        file.truncate(3_000_000_000)  # sparse: takes no room on the disk
    refused(good, kind, tmp_path / name, "more than .* MB")


def test_pipes_and_links_inside_a_package_folder(good, practice_castings, tmp_path):
    folder = write_package(practice_castings, tmp_path / "package").path
    held = (folder / "pours.csv").read_bytes()
    (folder / "pours.csv").unlink()
    os.mkfifo(folder / "pours.csv")
    refused(good, "package", folder, "pours.csv: cannot be opened: it is a pipe")
    (folder / "pours.csv").unlink()
    (tmp_path / "elsewhere.csv").write_bytes(held)
    (folder / "pours.csv").symlink_to(tmp_path / "elsewhere.csv")
    refused(good, "package", folder, "pours.csv: it is a link to another place")


def bomb(path, name, size):
    """A zip file of a few hundred kilobytes that unfolds to `size` bytes of zeros."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as held, held.open(name, "w", force_zip64=True) as file:
        for _ in range(size // 1_000_000):
            file.write(bytes(1_000_000))
    return path


@pytest.mark.slow
def test_what_would_unfold_to_far_more_is_not_unfolded(good, tmp_path):
    refused(good, "package", bomb(tmp_path / "bomb.zip", "datapackage.json", 250_000_000), "unpacked it would be larger")
    refused(good, "workbook", bomb(tmp_path / "bomb.xlsx", "xl/workbook.xml", 60_000_000), "unpacked it would be larger")


def test_a_workbook_that_defines_its_own_signs(good, tmp_path):
    """One line of XML that unfolds to gigabytes: entity expansion, OWASP page on XML denial of service."""
    with zipfile.ZipFile(good["workbook"][0]) as held, zipfile.ZipFile(tmp_path / "signs.xlsx", "w") as made:
        for name in held.namelist():
            data = held.read(name)
            made.writestr(name, b'<!DOCTYPE x [<!ENTITY a "aaaa">]>' + data if name.endswith("sheet1.xml") else data)
    refused(good, "workbook", tmp_path / "signs.xlsx", "defines XML entities of its own")


HEADS = ["pour", "session", "catalyst (%)", "pigment (%)", "thickness (mm)", "cover"]


def stray(folder, row, column, value):
    """A good workbook with one more cell."""
    book = openpyxl.Workbook()
    for cells in (HEADS, ["A", "Monday", 1.5, 1, 10, "yes"], ["B", "Monday", 2, 1, 10, "no"]):
        book.active.append(cells)
    book.active.cell(row, column, value)
    book.save(folder / "stray.xlsx")
    return folder / "stray.xlsx"


@pytest.mark.slow
@pytest.mark.parametrize(("row", "column"), [(1_048_576, 1), (2, 16_384), (1_048_576, 16_384)])
def test_a_cell_in_the_last_row_or_column(good, study, tmp_path, row, column):
    """1,048,576 rows and 16,384 columns are what spreadsheet programs offer."""
    refused(good, "workbook", stray(tmp_path, row, column, "x"), f"row {row}, column {column} .* is far from any pour. Delete it")
    assert len(read_sheet(study, stray(tmp_path, row, column, " "))) == 2, "a blank cell far away does not matter"


def test_too_many_cells_and_too_many_rows(good, tmp_path):
    rows = "".join(f"A{k};1.5;10\n" for k in range(120_000))
    (tmp_path / "long.csv").write_text("pour;catalyst;thickness\n" + rows, "utf-8")
    refused(good, "sheet", tmp_path / "long.csv", "more than 200,000 cells")
    (tmp_path / "long-trace.csv").write_text("time (s),T (degC)\n" + "".join(f"{k},22.5\n" for k in range(1_000_000)), "utf-8")
    refused(good, "trace", tmp_path / "long-trace.csv", "more than 200,000 lines")


def test_the_command_says_it_in_a_line_and_fails(good, tmp_path, capsys):
    data = good["package"][0].read_bytes()
    bad = tmp_path / "bad.zip"
    bad.write_bytes(data[: len(data) // 2])
    (tmp_path / "study.toml").write_text("name: x\nlog: y\n", "utf-8")
    for words in (["pool", str(bad), str(bad)], ["check", str(tmp_path)]):
        assert main(words) == 1
        said = capsys.readouterr().err
        assert said.strip() and "Traceback" not in said
    assert said.count("written as YAML") == 2 and "study.toml" in said
