"""Every writer of the kit: it replaces what it wrote before as that kind, and nothing else; whole, or not at all."""

import ast
import os
import re
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

import testpour
from testpour.advice.chart import recipe_chart
from testpour.app.command import main
from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.labels import labels
from testpour.bench.planned import keep
from testpour.common.files import Kind, name_new, page_kind, put
from testpour.common.problems import Problem
from testpour.exchange.export import write_sheet
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import read_package
from testpour.logbook.backup import back_up
from testpour.models.fits import fit_castings
from testpour.pooling.pool import pool
from testpour.report.page import findings_page
from testpour.report.sheet import handout
from testpour.report.wall import wall_summary
from testpour.study.study_file import save_study

KIT = Path(testpour.__file__).parent
# Each writer: the module it writes in, the ending of its file, and how it is asked. "new": it never replaces.
WRITERS = {
    "findings page": ("report/page", ".html", lambda made, path: findings_page(made["fits"], path)),
    "handout": ("report/sheet", ".html", lambda made, path: handout(made["fits"], path)),
    "wall sheet": ("report/sheet", ".html", lambda made, path: wall_summary(made["fits"], path, bench="session")),
    "recipe chart": ("advice/chart_page", ".html", lambda made, path: made["chart"].save(path)),
    "bench sheet": ("bench/printed_sheet", ".html", lambda made, path: made["bench"].save(path)),
    "labels": ("bench/labels", ".html", lambda made, path: made["labels"].save(path)),
    "pool page": ("pooling/pool", ".html", lambda made, path: made["pool"].page(path)),
    "beliefs": ("pooling/belief_file", ".toml", lambda made, path: made["pool"].beliefs(path)),
    "study": ("study/study_file", ".toml", lambda made, path: save_study(made["study"], path)),
    "csv": ("exchange/export", ".csv", lambda made, path: write_sheet(made["castings"], path)),
    "xlsx": ("exchange/export", ".xlsx", lambda made, path: write_sheet(made["castings"], path)),
    "parquet": ("exchange/export", ".parquet", lambda made, path: write_sheet(made["castings"], path)),
}
ONLY_NEW = {
    "zip": ("exchange/package", ".zip", lambda made, path: write_package(made["castings"], path)),
    "package folder": ("exchange/package", "", lambda made, path: write_package(made["castings"], path)),
    "backup": ("logbook/backup", ".sqlite", lambda made, path: back_up(made["study"], path)),
    "unpacked": ("exchange/unpacking", "", lambda made, path: made["package"].to_folder(path)),
}
PLACED = {"logbook/photos", "bench/planned", "exchange/folder", "panels/workshop", "panels/study_text"}  # they choose their own names; tests of their own
# May use the disk otherwise: in a folder of their own that nobody looks at yet, or in a file nobody else has.
BARE = {
    "common/files": {"replace", "rename", "link", "open"}, "app/claim": {"open"}, "app/lab": {"write_text", "open"},
    "exchange/folder": {"write_text", "copyfile", "move", "rename"}, "common/archive": {"ZipFile"},
    "exchange/package": {"write_bytes", "ZipFile", "writestr"}, "exchange/unpacking": {"write_bytes", "copyfile"},
    "logbook/database": {"open"},
    "exchange/export": {"ZipFile", "open"}, "common/text_file": {"open"}, "logbook/logfile": {"open"},
    "panels/study_text": {"write_bytes"},
}
ALIKE = {"open", "replace", "copy", "move", "rename", "link", "put"}  # names that others than files have
WRITES = {"write_text", "write_bytes", "writestr", "move", "copyfile", "copy", "copy2", "rename", "link", "ZipFile", "symlink_to", "touch"}


@pytest.fixture(scope="module")
def made(practice_castings, tmp_path_factory):
    """What the writers write: of twelve practice pours, one reading fitted."""
    from testpour.logbook.book import Logbook

    folder = tmp_path_factory.mktemp("made")
    study = replace(practice_castings.study, folder=folder)
    book = Logbook(study)
    book.add_pour("P01", settings={"catalyst": 1.5}, session="S1")
    book.close()
    castings = replace(practice_castings, readings=practice_castings.readings.query("reading == 'gel_time'"))
    fits, table = fit_castings(castings), castings.pours.head(3)
    return {
        "study": study, "castings": castings, "fits": fits, "chart": recipe_chart(fits, rooms=["20 degC"], thicknesses=["10 mm"]),
        "bench": bench_sheet(study, table, session="S1", resin="150 g"), "labels": labels(castings),
        "pool": pool({"one": castings}), "package": read_package(write_package(castings, folder / "package.zip").path),
    }


def snapshot(folder):
    """Every name below a folder with its bytes, or what a link points to."""
    found = {}
    for path in sorted(folder.rglob("*")):
        found[path.relative_to(folder)] = os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else None
    return found


def lay(folder, made, ending):
    """Things that are nobody's to replace, each under the writer's own ending; where they lie."""
    there = {name: folder / f"{name}{ending}" for name in ("log", "study", "page", "sheet", "archive", "empty", "folder", "link", "dangling")}
    with sqlite3.connect(there["log"]) as log:
        log.execute("CREATE TABLE pours (pour TEXT)")
    log.close()
    there["study"].write_text('name = "mine"\n# my own words\n[factors]\ncatalyst = {}\n[readings]\ngel_time = {}\n')
    there["page"].write_text("<!doctype html><html><head><meta charset=\"utf-8\"><title>Mine</title></head></html>")
    there["sheet"].write_text("pour,hardness\nA,70\n")
    there["archive"].write_bytes(b"PK\x05\x06" + bytes(18))  # the least zip there is
    there["empty"].write_bytes(b"")
    there["folder"].mkdir()
    (there["folder"] / "mine.txt").write_text("mine")
    there["link"].symlink_to(folder / "elsewhere")
    (folder / "elsewhere").write_text("mine")
    there["dangling"].symlink_to(folder / "nowhere")
    return there


@pytest.mark.slow
@pytest.mark.parametrize("name", [*WRITERS, *ONLY_NEW])
def test_nothing_else_is_replaced(made, tmp_path, name):
    _, ending, write = {**WRITERS, **ONLY_NEW}[name]
    there = lay(tmp_path, made, ending)
    before = snapshot(tmp_path)
    for kind, path in there.items():
        if (name, kind) == ("study", "study"):  # a study replaces a study
            continue
        with pytest.raises(Problem) as refused:  # which a notebook shows as a sentence
            write(made, path)
        said = str(refused.value)
        assert path.name in said and "\n" not in said, f"{name} over {kind}: {said}"
        assert snapshot(tmp_path) == before, f"{name} over {kind}"


@pytest.fixture(scope="module")
def written(made, tmp_path_factory):
    """A file of each kind, by its name."""
    folder, found = tmp_path_factory.mktemp("written"), {}
    for name, (_, ending, write) in WRITERS.items():
        found[name] = folder / f"{name}{ending}"
        write(made, found[name])
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", WRITERS)
def test_its_own_kind_is_replaced_and_no_other_of_this_kit(made, written, tmp_path, name):
    _, ending, write = WRITERS[name]
    path = Path(shutil.copy(written[name], tmp_path / f"mine{ending}"))
    write(made, path)
    for other, (_, same, _) in WRITERS.items():
        if other != name and same == ending:
            shutil.copy(written[other], tmp_path / f"other{ending}")
            before = snapshot(tmp_path)
            with pytest.raises(FileExistsError, match="that testpour wrote, so nothing was written there"):
                write(made, tmp_path / f"other{ending}")
            assert snapshot(tmp_path) == before
            (tmp_path / f"other{ending}").unlink()
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("read", [testpour.read_study, testpour.read_page, testpour.read_beliefs, testpour.read_package, testpour.read_trace])
def test_a_file_that_is_not_there_is_told_in_a_sentence(read, tmp_path):
    with pytest.raises(Problem, match="nothing here"):
        read(tmp_path / "nothing here")


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in WRITERS if WRITERS[name][1] == ".html" and name != "pool page"])
def test_a_page_of_another_study_is_not_replaced(made, written, tmp_path, name):
    """A page that names no study, as early ones did, gives way as before."""
    path, write = tmp_path / "page.html", WRITERS[name][2]
    text = written[name].read_text("utf-8")
    subject = f'<meta name="subject" content="{made["castings"].study.name}">'
    assert text.count(subject) == 1
    theirs = text.replace(subject, '<meta name="subject" content="Bowls &amp; &quot;rings&quot;">')
    path.write_text(theirs, "utf-8")
    with pytest.raises(FileExistsError, match=r"page\.html is a .* of another study, 'Bowls & \"rings\"', so nothing was written there\. Give another name"):
        write(made, path)
    assert path.read_text("utf-8") == theirs
    path.write_text(text.replace(subject, ""), "utf-8")
    write(made, path)
    assert path.read_text("utf-8").count(subject) == 1


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in WRITERS if WRITERS[name][1] == ".html"])
def test_a_page_is_not_named_as_a_file_that_no_browser_would_open_as_one(made, tmp_path, name):
    for ending in (".pdf", ".DOCX", ".csv"):
        with pytest.raises(Problem, match=rf"(?i)page{ending}: a .* is a page for the browser\. Give a name that ends in \.html"):
            WRITERS[name][2](made, tmp_path / f"page{ending}")
    WRITERS[name][2](made, tmp_path / "page 2026.11")
    assert [path.name for path in tmp_path.iterdir()] == ["page 2026.11"]


def test_a_package_is_not_written_under_the_ending_of_another_kind_of_file(made, tmp_path):
    for name in ("a.txt", "castings.xlsx"):
        with pytest.raises(ValueError, match=rf"{name}: a package is a folder or a \.zip file\. Write to {name.split('.')[0]}\.zip, or to"):
            write_package(made["castings"], tmp_path / name)
    assert not list(tmp_path.iterdir())
    assert write_package(made["castings"], tmp_path / "castings-v1.2").path.is_dir()


@pytest.mark.slow
@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_leaves_the_old_file(made, tmp_path, name, monkeypatch):
    _, ending, write = WRITERS[name]
    path = tmp_path / f"mine{ending}"
    write(made, path)
    before = snapshot(tmp_path)
    monkeypatch.setattr(os, "fsync", lambda number: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(OSError, match="No space left"):
        write(made, path)
    assert snapshot(tmp_path) == before


@pytest.mark.slow
@pytest.mark.parametrize("name", [*WRITERS, "zip", "package folder"])
def test_a_folder_that_may_not_be_written_to_is_named(made, tmp_path, name, monkeypatch):
    """The superuser may write anywhere, so that the answer of the system is put in its place."""
    _, ending, write = {**WRITERS, **ONLY_NEW}[name]
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(PermissionError) as refused:
        write(made, tmp_path / f"mine{ending}")
    assert str(refused.value) == f"The folder {tmp_path} may not be written to, so mine{ending} was not. Give a path in a folder of yours."
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["new", "there"])
def test_a_study_is_not_begun_where_nothing_may_be_written(tmp_path, name, monkeypatch, capsys):
    (tmp_path / "there").mkdir()
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert main(["new", str(tmp_path / name)]) == 1
    said = capsys.readouterr().err
    assert said.startswith(f"The folder {tmp_path if name == 'new' else tmp_path / 'there'} may not be written to") and len(said.splitlines()) == 1


def test_the_last_step_never_takes_a_name_that_was_taken_meanwhile(tmp_path):
    for name in ("made", "taken"):
        (tmp_path / name).write_text(name)
    with pytest.raises(FileExistsError, match="taken exists already"):
        name_new(tmp_path / "made", tmp_path / "taken")
    assert (tmp_path / "taken").read_text() == "taken"


OWN = page_kind("test \"page\"")
PAGE = '<!doctype html><html><head><meta charset="utf-8"></head><body>&lt;meta charset="utf-8"&gt;</body></html>'


def test_a_page_is_told_by_the_mark_in_its_head_alone(tmp_path):
    path = tmp_path / "a.html"
    for words in ("one", "two"):
        put(path, PAGE.replace("<body>", f"<body>{words}<meta charset=\"utf-8\">"), OWN)
    said = path.read_text("utf-8")
    assert "two" in said and said.count("testpour test &quot;page&quot;") == 1 and said.index("generator") < said.index("<body>")
    for wrong in (PAGE, said.removeprefix("<!doctype html>"), PAGE + " " * 2000 + said):
        path.write_text(wrong, "utf-8")
        with pytest.raises(FileExistsError, match='exists and is not a test "page" that testpour wrote'):
            put(path, PAGE, OWN)
        assert path.read_text("utf-8") == wrong


def test_what_is_no_plain_file_is_refused_and_never_opened(tmp_path):
    kind = Kind("a note", lambda path: pytest.fail(f"{path} was opened"))
    (tmp_path / "folder").mkdir()
    (tmp_path / "note").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "note")
    (tmp_path / "dangling").symlink_to("nowhere")
    os.mkfifo(tmp_path / "pipe")
    for name, said in (("folder", "is a folder"), ("link", "is a link to another place"), ("dangling", "is a link to another place"),
                       ("pipe", "exists and is not a note"), ("no/note", "No folder")):
        with pytest.raises((FileExistsError, FileNotFoundError), match=said):
            put(tmp_path / name, b"", kind)
    assert (tmp_path / "note").read_text() == "mine"


def test_a_file_keeps_its_permissions_and_is_on_the_disk_before_it_has_its_name(tmp_path, monkeypatch):
    path, done = tmp_path / "note", []
    path.write_text("old")
    path.chmod(0o640)
    monkeypatch.setattr(os, "fsync", lambda number: done.append("on the disk"))
    monkeypatch.setattr(os, "replace", lambda part, path, replace=os.replace: (done.append("named"), replace(part, path)))
    put(path, b" new\n", Kind("a note", lambda path: True))
    assert (path.read_bytes(), path.stat().st_mode & 0o777, done) == (b" new\n", 0o640, ["on the disk", "named"])


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(tmp_path, monkeypatch):
    path = tmp_path / "note"
    path.write_text("old")
    monkeypatch.setattr(os, "replace", lambda part, path: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(OSError, match="No space left"):
        put(path, "new", Kind("a note", lambda path: True))
    assert snapshot(tmp_path) == {Path("note"): b"old"}


@pytest.mark.parametrize("links", [True, False])
def test_a_new_name_is_given_once_and_the_old_one_is_gone(tmp_path, monkeypatch, links):
    """A disk without hard links, as most USB sticks are, refuses them with EPERM (link(2))."""
    if not links:
        monkeypatch.setattr(os, "link", lambda made, path: (_ for _ in ()).throw(PermissionError(1, "Operation not permitted")))
    (tmp_path / "made").write_text("made")
    (tmp_path / "folder").mkdir()
    name_new(tmp_path / "made", tmp_path / "new")
    name_new(tmp_path / "folder", tmp_path / "new folder")
    assert snapshot(tmp_path) == {Path("new"): b"made", Path("new folder"): None}


def test_a_link_to_nowhere_and_a_name_taken_at_the_last_moment_are_both_left(tmp_path, monkeypatch):
    (tmp_path / "made").write_text("made")
    (tmp_path / "folder").mkdir()
    (tmp_path / "dangling").symlink_to("nowhere")
    for name in ("made", "folder"):
        with pytest.raises(FileExistsError, match="dangling exists already"):
            name_new(tmp_path / name, tmp_path / "dangling")
    monkeypatch.setattr(os.path, "lexists", lambda path: False)  # it was free when looked at
    (tmp_path / "taken").write_text("taken")
    with pytest.raises(FileExistsError, match="taken exists already"):
        name_new(tmp_path / "made", tmp_path / "taken")
    assert snapshot(tmp_path) == {Path("dangling"): "nowhere", Path("folder"): None, Path("made"): b"made", Path("taken"): b"taken"}


def calls(path):
    """Names that a module calls, functions and methods alike."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            module = getattr(called.value, "id", "") if isinstance(called, ast.Attribute) else ""
            if name in ALIKE and isinstance(called, ast.Attribute) and module not in ("os", "shutil"):
                continue  # of a path, a table, an array or a text: read only, or no file at all
            yield name


@pytest.mark.slow
def test_every_writer_is_in_this_list():
    """Whoever writes goes through the one piece, and is tried above."""
    users, tried = set(), {module for module, *_ in (*WRITERS.values(), *ONLY_NEW.values())} | PLACED
    for path in KIT.rglob("*.py"):
        module, called = path.relative_to(KIT).with_suffix("").as_posix(), set(calls(path))
        users |= {module} if called & {"put", "overwrite", "name_new"} and module != "common/files" else set()
        bare = called & (WRITES | {"open", "replace"}) - ({"replace"} if "from dataclasses import" in path.read_text("utf-8") else set())
        assert bare <= BARE.get(module, set()), f"{module} writes by {bare}"
    assert users == tried


@pytest.mark.parametrize("lies", ["foreign", "folder", "link"])
def test_a_photograph_and_a_plan_of_a_session_leave_what_lies_at_their_name(log, tmp_path, lies):
    log.add_pour("P01", settings={"catalyst": 1.5}, session="S1")
    Image.new("RGB", (9, 9)).save(tmp_path / "face.png")
    log.add_photo("P01", tmp_path / "face.png")
    keep(log, "S1", ())
    for path in (next((log.study.folder / "photos").iterdir()), log.study.folder / "sessions" / "S1.json"):
        path.unlink()
        {"foreign": lambda p=path: p.write_text("mine"), "folder": path.mkdir, "link": lambda p=path: p.symlink_to("mine")}[lies]()
    before = snapshot(log.study.folder)
    with pytest.raises(ValueError, match="so it was left as it is"):
        log.add_photo("P01", tmp_path / "face.png")
    with pytest.raises(ValueError, match="so nothing was written there"):
        keep(log, "S1", ())
    after = snapshot(log.study.folder)
    assert {name: after[name] for name in before if name.suffix != ".sqlite" and "-" not in name.suffix} == {
        name: before[name] for name in before if name.suffix != ".sqlite" and "-" not in name.suffix}


@pytest.mark.parametrize("name", ["log.sqlite", "study.toml", "1-plan.ipynb"])
@pytest.mark.parametrize("words", [["page", ".", "--to"], ["pool", ".", "--to"], ["pool", ".", "--to", "new.html", "--beliefs"],
                                   ["package", "."], ["backup", "."]])
def test_the_command_refuses_with_one_line(tmp_path, capsys, monkeypatch, words, name):
    assert main(["new", str(tmp_path / "study")]) == 0
    monkeypatch.chdir(tmp_path / "study")
    before = {path: held for path, held in snapshot(tmp_path).items() if not re.search("-(wal|shm)$", path.name)}
    capsys.readouterr()
    assert main([*words, name]) == 1
    said = capsys.readouterr()
    assert said.out == "" and name in said.err and len(said.err.strip().splitlines()) == 1
    assert "nothing was written there" in said.err or "exists already" in said.err
    assert {path: held for path, held in snapshot(tmp_path).items() if not re.search("-(wal|shm)$", path.name)} == before
