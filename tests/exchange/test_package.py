"""The Data Package: valid for the standard's reference library, and the same log when it is read back."""

import hashlib
import json
import shutil
import zipfile
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from testpour.exchange import package as package_writing
from testpour.exchange.folder import FolderProblem, make_folder
from testpour.exchange.package import write_package
from testpour.exchange.package_reading import PackageProblems, read_package
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.study.study_file import read_study

ODD = "=1+1 <b>'); DROP TABLE pours; --</b> ../../etc \u202e\u05e9\u05dc\u05d5\u05dd 🧪👩🏽‍🔬 \"q\"; a,b"


@pytest.fixture(scope="module")
def book(study, tmp_path_factory):
    """A log with every way of knowing a reading, corrections, withdrawals and odd text."""
    log = Logbook(replace(study, folder=tmp_path_factory.mktemp("study"), ready={"demould": 60.0}))
    for name in ("P01", "=P02", "None"):
        log.add_pour(name, settings={"catalyst": 1.1, "cover": 1, "room_temperature": 18.3, "resin_lot": ODD},
                     session=f"@{name}", made_at="2026-03-02 10:00:00.250000", by="A.B.", note=ODD)
    entry = log.add_reading("P01", "gel_time", "20-25 min", by="A.B.", note="line\nend")
    log.correct_reading(entry, "21-25 min", why="misread")
    log.add_reading("P01", "peak_temperature", 0.1 + 60.2)
    log.add_reading("P01", "tack", 1, age=24)
    log.add_reading("=P02", "gel_time", not_yet="2 h")
    log.add_reading("None", "gel_time", already=8)
    log.add_readings("None", "hardness", [77, 78, 78], age=24, specimen="a/1")
    log.withdraw_reading(log.add_reading("None", "opacity", 1, age=24), why="wrong lamp")
    log.add_pour("P09", settings={"catalyst": 2}, session="S")
    log.withdraw_pour("P09", why="spilt")
    log.correct_pour("P01", settings={"catalyst": "1.7 %"}, why="scale")
    Image.new("RGB", (30, 20), (200, 30, 30)).save(log.study.folder / "face.jpg")
    log.add_photo("P01", "face.jpg", note=ODD, age=24)
    log.withdraw_photo(log.add_photo("None", "face.jpg"), why="another pour")
    yield log
    log.close()


@pytest.fixture(scope="module")
def whole(book, tmp_path_factory):
    """A package with its history."""
    return write_package(book, tmp_path_factory.mktemp("whole") / "package", names=True).path


@pytest.fixture
def package(whole, tmp_path):
    """A copy of it, to be broken."""
    return shutil.copytree(whole, tmp_path / "package")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["package", "package.zip"])
@pytest.mark.parametrize("names", [True, False])
def test_it_validates_and_gives_the_same_log(book, tmp_path, names, name):
    """`frictionless` is the reference library of the Data Package standard."""
    frictionless = pytest.importorskip("frictionless")
    path = write_package(book, tmp_path / name, names=names).path
    report = frictionless.validate(str(path if path.suffix else path / "datapackage.json"))
    assert report.valid, report.flatten(["title", "message"])
    assert len(report.tasks) == (10 if names else 5)
    back, held = read_package(path), book.castings()
    assert back.castings.fingerprint() == held.fingerprint()
    for part in ("name", "question", "factors", "readings", "aims", "resin", "ready"):
        assert getattr(back.study, part) == getattr(book.study, part), part
    blank = [] if names else ["by", "note"]
    pd.testing.assert_frame_equal(back.castings.pours, held.pours.assign(**dict.fromkeys(blank, pd.Series("", held.pours.index, dtype="str"))))
    pd.testing.assert_frame_equal(back.castings.readings.drop(columns=blank), held.readings.drop(columns=blank))


@pytest.mark.slow
def test_the_reference_library_sees_a_changed_file_a_broken_type_and_a_lost_pour(package):
    """So that its word above is worth something: checksum, Table Schema and keys are all in force."""
    frictionless = pytest.importorskip("frictionless")

    def found(name, old, new):
        whole = (package / f"{name}.csv").read_text("utf-8")
        (package / f"{name}.csv").write_text(whole.replace(old, new), "utf-8")
        report = frictionless.validate(str(package / "datapackage.json"))
        (package / f"{name}.csv").write_text(whole, "utf-8")
        return {kind for (kind,) in report.flatten(["type"])}

    assert "hash-count" in found("pours", "18.3", "19.3")
    assert "type-error" in found("readings", "21.0", "soon")
    assert "constraint-error" in found("pours", "1.7", "17")
    assert "foreign-key" in found("readings", ",P01,", ",P77,")
    assert found("pours", "nothing like this", "") == set()


def test_the_reference_library_reads_the_numbers_that_were_logged(package):
    frictionless = pytest.importorskip("frictionless")
    held = frictionless.Package(str(package / "datapackage.json"))
    rows = {row["pour"]: row for row in held.get_resource("pours").read_rows()}
    assert rows["P01"]["catalyst"] == 1.7 or float(rows["P01"]["catalyst"]) == 1.7
    assert rows["P01"]["cover"] is True and rows["P01"]["humidity"] is None
    gel = [r for r in held.get_resource("readings").read_rows() if r["pour"] == "P01" and r["reading"] == "gel_time"]
    assert [(float(r["low"]), float(r["high"]), r["unit"], r["known"]) for r in gel] == [(21, 25, "min", "between")]


def test_checksums_units_and_licence_are_those_of_the_files(package):
    head = json.loads((package / "datapackage.json").read_text("utf-8"))
    assert head["licenses"][0]["name"] == "CC0-1.0" and head["title"] == "Coat-hook knobs, spring term"
    for resource in head["resources"]:
        data = (package / resource["path"]).read_bytes()
        assert resource["hash"] == "sha256:" + hashlib.sha256(data).hexdigest() and resource["bytes"] == len(data)
    units = {f["name"]: f.get("unit") for r in head["resources"] if r["name"] == "pours" for f in r["schema"]["fields"]}
    assert (units["catalyst"], units["thickness"], units["room_temperature"]) == ("%", "mm", "degC")


def test_without_names_no_initials_and_no_note_are_in_any_file(book, tmp_path):
    path = write_package(book, tmp_path / "package").path
    assert all(file.suffix in (".csv", ".json") for file in path.iterdir())
    text = "".join(file.read_text("utf-8") for file in path.iterdir())
    assert not any(word in text for word in ("A.B.", "misread", "wrong lamp", "spilt", "line\nend"))
    assert str(book.study.folder) not in text


def test_nothing_in_it_is_run_by_a_spreadsheet(package):
    for file in package.glob("*.csv"):
        cells = pd.read_csv(file, header=None, dtype=str, keep_default_na=False)
        assert not cells.map(lambda cell: cell[:1] in ("=", "+", "@", "\t")).any(axis=None)


@pytest.mark.slow
def test_a_new_folder_goes_on_where_the_log_was(book, package, tmp_path):
    folder = read_package(package).to_folder(tmp_path / "new")
    assert folder.fresh and "1-plan.ipynb" in folder.notebooks
    with closing(Logbook(read_study(folder.path))) as again:
        assert again.castings().fingerprint() == book.castings().fingerprint()
        for pour in ("P01", "=P02", "None", "P09"):
            pd.testing.assert_frame_equal(again.history(pour), book.history(pour))
        assert [(p.pour, p.note, p.age) for p in again.photos()] == [("P01", ODD, 24)]
        assert again.photos()[0].thumbnail() == book.photos()[0].thumbnail()
        again.correct_reading(2, 22, why="and on it goes")
        assert again.add_pour(settings={"catalyst": 1}, session="S") == "P10"
    with pytest.raises(FolderProblem, match="is not empty, so nothing was written"):
        read_package(package).to_folder(tmp_path / "new")


def test_a_new_folder_without_history(book, tmp_path):
    shared = write_package(book.castings(), tmp_path / "shared.zip", names=True)
    assert shared.history is None and shared.castings.pours["by"].tolist() == ["A.B."] * 3
    shared.to_folder(tmp_path / "new")
    with closing(Logbook(read_study(tmp_path / "new"))) as again:
        assert again.castings().fingerprint() == book.castings().fingerprint()
        assert again.castings().pours["note"].tolist() == book.castings().pours["note"].tolist()


@pytest.mark.parametrize("names", [True, False])
def test_a_day_that_is_not_known_is_blank_in_a_package_and_stays_unknown(log, tmp_path, names):
    log.add_all([{"pour": "P1", "session": "S1", "settings": {"catalyst": 1.5}, "readings": [{"reading": "gel_time", "value": 31}]}])
    path = write_package(log, tmp_path / "package", names=names).path
    assert "1971" not in "".join(file.read_text("utf-8") for file in path.glob("*.csv"))
    read_package(path).to_folder(tmp_path / "new")
    with closing(Logbook(read_study(tmp_path / "new"))) as new:
        assert new.castings().pours["made_at"].isna().tolist() == [True]
        assert new.castings().fingerprint() == log.castings().fingerprint()


def test_a_package_is_of_one_moment_though_a_bench_goes_on_writing(log, tmp_path, monkeypatch):
    """Another bench writes at each table: it waits until the package is made, and loses nothing."""
    log.add_pour("first", settings={"catalyst": 1}, session="S")
    whole, written = package_writing.all_rows, []

    def write():
        with closing(Logbook(log.study)) as other:
            return other.add_pour(settings={"catalyst": 2}, session="S")

    with ThreadPoolExecutor(4) as benches:

        def meanwhile(connection, table):
            written.append(benches.submit(write))
            return whole(connection, table)

        monkeypatch.setattr(package_writing, "all_rows", meanwhile)
        made = write_package(log, tmp_path / "package", names=True)
    assert made.castings.pours.index.tolist() == ["first"] and len(log.castings()) == 5
    assert sorted(one.result() for one in written) == ["P01", "P02", "P03", "P04"]
    made.to_folder(tmp_path / "new")


def test_an_empty_log_is_a_package_too(log, tmp_path):
    assert len(write_package(log, tmp_path / "package").castings) == 0


def test_a_study_of_its_own_keeps_what_differs_from_the_catalogue(study, castings_of, tmp_path):
    own = replace(study, readings=tuple(replace(r, ages=(), grades=(), scale="plain") if r.name == "defects" else r for r in study.readings),
                  factors=tuple(replace(f, span=f.span if f.kind == "yes/no" else (), how="") for f in study.factors))
    pours = pd.DataFrame({"catalyst": [1.0]}, index=pd.Index(["A"], name="pour"))
    castings = castings_of(own, pours, pd.DataFrame({"pour": ["A"], "reading": ["defects"], "low": [1.0], "high": [1.0],
                                                     "known": ["exact"]}))
    back = write_package(castings, tmp_path / "package").study
    assert (back.factors, back.readings) == (own.factors, own.readings)


def edit(folder, name, change):
    """Change a file and make its checksum right again, as somebody who knows how would."""
    head = json.loads((folder / "datapackage.json").read_text("utf-8"))
    data = change((folder / f"{name}.csv").read_text("utf-8")).encode("utf-8")
    (folder / f"{name}.csv").write_bytes(data)
    next(r for r in head["resources"] if r["name"] == name)["hash"] = "sha256:" + hashlib.sha256(data).hexdigest()
    (folder / "datapackage.json").write_text(json.dumps(head), "utf-8")


def refused(folder):
    with pytest.raises(PackageProblems) as found:
        read_package(folder)
    return found.value.problems


def test_a_changed_file_and_a_missing_one_and_an_unknown_form_are_named_together(package):
    (package / "pours.csv").write_bytes((package / "pours.csv").read_bytes().replace(b"18.3", b"19.3"))
    (package / "readings.csv").unlink()
    head = json.loads((package / "datapackage.json").read_text("utf-8"))
    head["testpour"]["form"] = 99
    (package / "datapackage.json").write_text(json.dumps(head), "utf-8")
    said = " ".join(refused(package))
    assert len(refused(package)) == 3
    for words in ("pours.csv: changed since it was written", "readings.csv: listed, but not there", "its form is 99, this kit knows 1"):
        assert words in said


@pytest.mark.parametrize(
    "name, old, new, words",
    [
        ("readings", ",min,", ",s,", "gel time is not in min"),
        ("declared-readings", "gel_time,min", "gel_time,s", "gel_time is kept in min"),
        ("declared-factors", "thickness,mm", "thickness,in", "thickness is kept in mm"),
        ("readings", "21.0,25.0", "25.0,21.0", "low, high and known do not agree"),
        ("readings", "21.0,25.0", "soon,25.0", "readings.csv row 2, low: 'soon' is not a valid number"),
        ("readings", ",P01,gel_time", ",P77,gel_time", "no such pour in pours.csv"),
        ("readings", "gel_time", "colour", "no such reading in the study"),
        ("readings", "hardness,77.0,77.0,Shore D,24.0", "hardness,77.0,77.0,Shore D,", "hardness needs an age"),
        ("readings", "hardness,77.0,77.0", "hardness,770.0,770.0", "hardness is outside 0 to 100"),
        ("readings", "tack,1.0,1.0", "tack,1.5,1.5", "tack is outside 0 to 3"),
        ("pours", "1.7", "17", "catalyst is outside 0 to 10 %"),
        ("pours", "2026-03-02T10:00:00.250000", "2 March", "'2 March' is not a valid datetime"),
        ("pours", "catalyst", "catalyst2",
         ("pours.csv: lacks catalyst, catalyst_lot. Another version of testpour may have written it: update testpour, or ask for it again.")),
        ("pours", "P01", "'None", "an earlier row has a pour of that name"),
        ("readings", "\n3,P01", "\n2,P01", "an earlier row has that entry number"),
        ("pours", "1.7", "1.8", "its fingerprint is not that of the tables"),
        ("aims", "tack,", "shine,", "shine is not read in this study"),
    ],
)
def test_what_cannot_be_is_refused_in_words(package, name, old, new, words):
    edit(package, name, lambda text: text.replace(old, new))
    assert any(words in problem for problem in refused(package)), refused(package)


def test_a_package_from_before_units_belonged_to_the_fingerprint_is_read(book, tmp_path, monkeypatch):
    with monkeypatch.context() as before:
        before.setattr(Castings, "fingerprint", lambda held: held._digest(""))
        path = write_package(book, tmp_path / "package").path
    assert f'"{book.castings().fingerprint()}"' not in (path / "datapackage.json").read_text("utf-8")
    assert len(read_package(path).castings) == len(book.castings())


def test_what_a_package_leaves_out_of_its_study_is_left_out(package):
    """A package that states no question and no thresholds for the work."""
    head = json.loads((package / "datapackage.json").read_text("utf-8"))
    for name in ("question", "ready"):
        del head["testpour"][name]
    (package / "datapackage.json").write_text(json.dumps(head), "utf-8")
    found = read_package(package)
    assert found.study.question == "" and not found.study.ready


def test_other_units_in_the_descriptor_are_refused(package):
    text = (package / "datapackage.json").read_text("utf-8")
    (package / "datapackage.json").write_text(text.replace('"unit": "mm"', '"unit": "in"'), "utf-8")
    assert refused(package) == ["pours.csv, thickness: in in, where the study has mm."]


def test_a_changed_photograph_is_refused(package):
    (photo,) = (package / "photos").iterdir()
    photo.write_bytes(photo.read_bytes() + b"x")
    assert refused(package) == [f"photos/{photo.name}: a photograph that is not there or was changed. Ask for the package again."]


def test_a_history_that_does_not_end_at_the_castings_makes_no_folder(package, tmp_path):
    edit(package, "history-settings", lambda text: text.replace("1.7", "1.8"))
    with pytest.raises(ValueError, match="its history does not end at its castings"):
        read_package(package).to_folder(tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_what_is_no_package(tmp_path):
    for name, text, words in (("a", None, "nothing at"), ("b.zip", "x", "not readable as a Data Package, which is a folder or a zip file")):
        if text:
            (tmp_path / name).write_text(text)
        assert words in refused(tmp_path / name)[0]
    folder = tmp_path / "c"
    folder.mkdir()
    for text, words in ((None, "or a study.toml, unpack it"), ("{", "not readable as JSON"), ("[]", "lists no resources"), ("{}", "lists no")):
        if text:
            (folder / "datapackage.json").write_text(text)
        assert words in refused(folder)[0]


def test_a_file_is_never_sought_outside_the_package(package, tmp_path):
    shutil.copy(package / "pours.csv", tmp_path / "outside.csv")
    text = (package / "datapackage.json").read_text("utf-8")
    (package / "datapackage.json").write_text(text.replace('"path": "pours.csv"', '"path": "../outside.csv"'), "utf-8")
    assert refused(package) == ["datapackage.json: pours must be in pours.csv."]


@pytest.mark.parametrize("taken", ["folder", "file.zip"])
def test_a_place_that_is_taken_and_a_licence_nobody_knows(book, tmp_path, taken):
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "mine.txt").write_text("mine")
    (tmp_path / "file.zip").write_text("mine")
    with pytest.raises(PackageProblems, match="exists already. Give another name"):
        write_package(book, tmp_path / taken)
    with pytest.raises(PackageProblems, match="'free' is not one of CC0-1.0, CC-BY-4.0"):
        write_package(book, tmp_path / "new", licence="free")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file.zip", "folder"]


VALUES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.lists(st.text(max_size=2), max_size=2)


@pytest.mark.slow
@given(data=st.data())
@settings(max_examples=25)
def test_whatever_is_wrong_with_it_is_refused_or_read(package, tmp_path, data):
    """A descriptor or a table bent anywhere: a `Package`, or problems in words; never another error."""
    broken = tmp_path / "broken.zip"
    files = {file.name: file.read_bytes() for file in sorted(package.iterdir()) if file.is_file()}
    head = json.loads(files["datapackage.json"])
    head["resources"] = [r for r in head["resources"] if not r["name"].startswith("photo-")]
    name = data.draw(st.sampled_from(sorted(set(files) - {"datapackage.json"})))
    lines = files[name].decode("utf-8").split("\n")
    place = data.draw(st.integers(0, len(lines) - 1))
    cells = lines[place].split(",")
    cells[data.draw(st.integers(0, len(cells) - 1))] = data.draw(st.text(st.characters(codec="utf-8"), max_size=6))
    files[name] = "\n".join([*lines[:place], ",".join(cells), *lines[place + 1 :]]).encode("utf-8")
    spots = [head, head["testpour"], head["resources"][0], head["resources"][3]["schema"]]
    spot = data.draw(st.sampled_from([None, *spots]))
    if spot is not None:
        spot[data.draw(st.sampled_from(sorted(spot)))] = data.draw(VALUES)
    for resource in head["resources"] if isinstance(head.get("resources"), list) else ():
        if isinstance(resource, dict) and resource.get("path") == name:
            resource["hash"] = "sha256:" + hashlib.sha256(files[name]).hexdigest()
    files["datapackage.json"] = json.dumps(head).encode("utf-8")
    with zipfile.ZipFile(broken, "w") as held:
        for file, content in files.items():
            held.writestr(file, content)
    try:
        assert len(read_package(broken).castings) <= 4
    except PackageProblems as problem:
        assert problem.problems and all(isinstance(text, str) and text for text in problem.problems)


def test_a_study_is_begun_in_a_folder_that_is_made_with_those_above_it(tmp_path):
    folder = tmp_path / "resins" / "clear" / "my-study"
    assert make_folder(folder, demo=False).fresh and (folder / "log.sqlite").exists() and (folder / "0-start-here.ipynb").exists()
    assert not make_folder(folder).fresh and sorted(path.name for path in folder.parent.iterdir()) == ["my-study"]
