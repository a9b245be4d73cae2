"""The command: what it makes, what it refuses, what it says and with which exit code."""

import shutil
import sqlite3
import warnings
from contextlib import closing
from pathlib import Path
from threading import Barrier, Thread, get_ident

import pytest

from testpour.app.command import main
from testpour.exchange import folder as folders
from testpour.exchange.folder import FolderProblem, _shipped, make_folder, templates
from testpour.exchange.package_reading import read_package
from testpour.logbook.book import Logbook
from testpour.study.study_file import read_study

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return make_folder(tmp_path_factory.mktemp("demo") / "my-study").path


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def castings(folder):
    log = Logbook(read_study(folder))
    try:
        return log.castings()
    finally:
        log.close()


def test_a_checkout_gives_its_own_templates_not_the_copy_frozen_at_install():
    assert _shipped("notebooks") == ROOT / "notebooks"
    assert [p.name for p in templates()] == sorted(p.name for p in (ROOT / "notebooks").glob("*.ipynb"))


def test_an_installed_package_gives_the_bundled_ones(tmp_path, monkeypatch):
    monkeypatch.setattr(folders, "files", lambda name: tmp_path / "site-packages" / name)
    assert _shipped("datasets") == tmp_path / "site-packages" / "testpour" / "_bundled" / "datasets"


def test_demo_folder_holds_templates_study_and_every_row_of_the_sheet(demo):
    for template in templates():
        assert (demo / template.name).read_bytes() == template.read_bytes()
    source = ROOT / "datasets" / "demo-study"
    assert (demo / "study.toml").read_text("utf-8") == (source / "study.toml").read_text("utf-8")
    rows = [line for line in (source / "castings.csv").read_text("utf-8").splitlines() if line.strip()]
    assert len(castings(demo)) == len(rows) - 1


def test_nothing_hidden_is_left_behind(demo):
    assert [p.name for p in demo.parent.iterdir()] == ["my-study"]
    assert not [p for p in demo.iterdir() if p.name.startswith(".")]


def test_new_gives_an_empty_log_and_a_study_that_reads(tmp_path, capsys):
    assert main(["new", str(tmp_path / "a" / "mine")]) == 0
    assert "testpour start" in capsys.readouterr().out
    folder = tmp_path / "a" / "mine"
    assert len(castings(folder)) == 0
    assert (folder / "study.toml").read_text("utf-8").startswith("# A study")
    assert len(read_study(folder).aims) == 3


def test_an_empty_folder_is_filled(tmp_path):
    assert make_folder(tmp_path, demo=False).fresh
    assert (tmp_path / "study.toml").exists()


@pytest.mark.parametrize("demo_wanted", [True, False])
def test_a_study_folder_is_never_touched(demo, tmp_path, demo_wanted):
    kept = tmp_path / "kept"
    shutil.copytree(demo, kept)
    (kept / "1-plan.ipynb").unlink()
    (kept / "notes.txt").write_text("mine")
    before = contents(kept)
    found = make_folder(kept, demo=demo_wanted)
    assert contents(kept) == before
    assert not found.fresh
    assert "nothing in it was changed" in found.sentence()
    assert "It lacks 1-plan.ipynb" in found.sentence()


def test_a_folder_with_other_things_is_refused_untouched(tmp_path, capsys):
    (tmp_path / "letter.txt").write_text("mine")
    assert main(["new", str(tmp_path)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1 and "Give a new or empty folder" in said.err
    assert contents(tmp_path) == {"letter.txt": b"mine"}


def test_a_file_in_the_way_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(FolderProblem, match="is a file"):
        make_folder(tmp_path / "file")


def test_a_failure_half_way_leaves_no_study_behind(tmp_path, monkeypatch):
    def fail(*_):
        raise OSError(28, "No space left on device", "log.sqlite")

    monkeypatch.setattr(Logbook, "add_sheet", fail)
    assert main(["start", str(tmp_path / "study"), "--no-browser"]) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("hidden", [False, True])
def test_of_two_starts_at_once_one_makes_the_folder_and_nothing_is_replaced(tmp_path, monkeypatch, hidden):
    """Both have filled their parts before either gives it its name; what the first made has stayed as it was."""
    filled, both, found = folders._fill, Barrier(2), []
    path = tmp_path / "study"
    if hidden:
        (path / ".git").mkdir(parents=True)

    def fill(part, demo):
        filled(part, demo)
        (part / "study.toml").write_text(f"# {get_ident()}\n{(part / 'study.toml').read_text('utf-8')}", "utf-8")
        both.wait(30)

    def start():
        found.append((make_folder(path, demo=False), get_ident(), (path / "study.toml").read_bytes()))  # beside it the other may be clearing up

    monkeypatch.setattr(folders, "_fill", fill)
    starts = [Thread(target=start) for _ in range(2)]
    for one in starts:
        one.start()
    for one in starts:
        one.join()
    assert len(found) == 2 and sorted(made.fresh for made, *_ in found) == [False, True]
    maker = next(who for made, who, _ in found if made.fresh)
    assert {text.splitlines()[0] for *_, text in found} == {f"# {maker}".encode()}
    assert len(castings(path)) == 0 and [p.name for p in tmp_path.iterdir()] == ["study"]


def test_check_says_what_is_there(demo, capsys):
    assert main(["check", str(demo)]) == 0
    said = capsys.readouterr()
    assert "18 pours in 4 sessions" in said.out
    assert "gel time 15 to 45 min" in said.out
    assert said.err == ""


def test_check_says_what_is_in_a_folder_whatever_its_name(tmp_path, capsys):
    make_folder(tmp_path / "St. Ives", demo=False)
    main(["check", str(tmp_path / "St. Ives")])
    assert "\nIt has study.toml and 0-start-here.ipynb, " in capsys.readouterr().out


def test_check_names_every_problem_of_the_study_file(tmp_path, capsys):
    (tmp_path / "study.toml").write_text('[factors]\ncatalyst = { low = 3, high = 1 }\npigment = {}\n[readings]\ntack = { colour = 1 }\ndefects = {}\n')
    assert main(["check", str(tmp_path)]) == 1
    problems = capsys.readouterr().err.splitlines()
    assert len(problems) == 2 and all(line.startswith(f"{tmp_path / 'study.toml'}: ") for line in problems)
    assert "catalyst" in problems[0] and "tack" in problems[1]


def test_check_repeats_the_cautions_about_a_span(tmp_path, capsys):
    """Below 1 % the casting may stay soft: cautions.toml, supplier data sheet, pre-accelerated orthophthalic resin."""
    make_folder(tmp_path / "s", demo=False)
    file = tmp_path / "s" / "study.toml"
    file.write_text(file.read_text("utf-8").replace('from = "1 %", to = "2 %"', 'from = "0.6 %", to = "2 %"'), "utf-8")
    assert main(["check", str(tmp_path / "s")]) == 1
    assert "Catalyst 0.6 % is below 1 %" in capsys.readouterr().err


def test_check_says_that_a_study_has_no_catalyst(tmp_path, capsys):
    (tmp_path / "study.toml").write_text("[factors]\npigment = {}\n[readings]\ntack = {}\n[aims]\ntack = { at_most = 1 }\n", "utf-8")
    assert main(["check", str(tmp_path)]) == 1
    said = capsys.readouterr().err
    assert "catalyst is not among the factors, so none is logged or advised. This study has no catalyst to weigh out." in said
    assert 'catalyst = { from = "1.5 %", to = "1.5 %" }' in said


def test_check_names_likely_slips_with_their_pours(tmp_path, capsys):
    """A share in place of per cent, and out of the mould before the gel; a peak of 150 °C can be, and was warned of when it was logged."""
    (tmp_path / "study.toml").write_text(
        'resin = { kind = "unsaturated polyester" }\n[factors]\ncatalyst = { from = 1, to = 2 }\npigment = { from = 0.5, to = 3 }\n'
        "[readings]\ngel_time = {}\ndemould_time = {}\npeak_temperature = {}\n[aims]\ngel_time = { at_least = 15 }\n", "utf-8")
    with closing(Logbook(read_study(tmp_path / "study.toml"))) as log, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, catalyst, pigment in (("P1", 1.5, 0.02), ("P2", 1.5, 0.02), ("P3", 0.02, 2), ("P4", 1.5, 2)):
            log.add_pour(name, settings={"catalyst": catalyst, "pigment": pigment}, session="1")
        log.add_reading("P4", "gel_time", 22)
        log.add_reading("P4", "demould_time", 18)
        log.add_reading("P4", "peak_temperature", 150)
    assert main(["check", str(tmp_path)]) == 1
    said = [line for line in capsys.readouterr().err.splitlines() if not line.startswith("No ")]
    assert [line.split(" may be a share")[0].split(" is below")[0].split(" is before")[0] for line in said] == [
        "P1 and P2: Pigment 0.02 %", "P3: Catalyst 0.02 %", "P4: Demould time 18 min"]
    assert all(line.endswith('Correct a wrong number by tapping in the notebook 2-pour-and-log, under "Put right what is in the log".') for line in said)


def test_check_names_pours_that_lack_a_reading_an_aim_asks_for(tmp_path, capsys):
    make_folder(tmp_path / "s", demo=False)
    log = Logbook(read_study(tmp_path / "s"))
    log.add_pour("A", settings={"catalyst": 1.5}, session="Monday")
    log.add_reading("A", "gel_time", 22)
    log.add_pour("B", settings={"catalyst": 1.5}, session="Monday")
    log.add_reading("B", "tack", "dry", age="24 h")
    log.add_reading("B", "hardness", 75, age="7 d")  # the aim is at 24 h
    log.close()
    assert main(["check", str(tmp_path / "s")]) == 1
    said = " ".join(capsys.readouterr().err.split())
    assert "No tack at 24 h is logged for A. Log it." in said and "No hardness at 24 h is logged for A, B. Log it." in said
    assert "No gel time is logged for B. Log it, or log that it was not yet reached." in said


def test_check_tells_of_pours_beyond_a_range_that_was_narrowed_later(tmp_path, capsys):
    """The findings page refused them, and check said that all was well."""
    study = make_folder(tmp_path / "s", demo=False).path / "study.toml"
    with closing(Logbook(read_study(study))) as log:
        for name, catalyst in (("P01", 1.5), ("P02", 2.4)):
            log.add_pour(name, settings={"catalyst": catalyst}, session="S1")
    said = "The log holds catalyst 2.4 % of P02, but study.toml allows 0 to 2 %. Widen low and high there"
    main(["check", str(tmp_path / "s")])
    assert said not in capsys.readouterr().err
    study.write_text(study.read_text("utf-8").replace("catalyst = { from", "catalyst = { low = 0, high = 2, from"), "utf-8")
    assert main(["check", str(tmp_path / "s")]) == 1
    assert said in capsys.readouterr().err


def test_check_writes_nothing(demo):
    before = contents(demo)
    main(["check", str(demo)])
    assert contents(demo) == before


def test_check_of_a_damaged_log_is_one_sentence(tmp_path, capsys):
    make_folder(tmp_path / "s", demo=False)
    (tmp_path / "s" / "log.sqlite").write_bytes(b"not a database, " * 100)
    assert main(["check", str(tmp_path / "s")]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "Traceback" not in said


def test_backup_holds_every_row_and_reopens(demo, tmp_path, capsys):
    copy = tmp_path / "copy.sqlite"
    assert main(["backup", str(demo), str(copy)]) == 0
    assert str(copy) in capsys.readouterr().out
    with closing(sqlite3.connect(copy)) as made, closing(sqlite3.connect(demo / "log.sqlite")) as log:
        assert list(made.iterdump()) == list(log.iterdump())


def test_backup_never_overwrites(demo, tmp_path, capsys):
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(b"older")
    assert main(["backup", str(demo), str(copy)]) == 1
    assert copy.read_bytes() == b"older"
    assert "exists already" in capsys.readouterr().err


def test_package_is_written_into_the_folder_and_reads_back(demo, capsys):
    assert main(["package", str(demo)]) == 0
    said = capsys.readouterr().out
    assert "Written and read again" in said and "Licence CC0-1.0, without initials and notes" in said
    assert read_package(demo / "package.zip").castings.fingerprint() == castings(demo).fingerprint() in said
    assert main(["package", str(demo)]) == 1
    assert f"{demo / 'package.zip'}: exists already. Give another name" in capsys.readouterr().err


def test_package_with_names_and_licence(demo, tmp_path, capsys):
    assert main(["package", str(demo), str(tmp_path / "out"), "--names", "--licence", "CC-BY-4.0"]) == 0
    assert "Licence CC-BY-4.0, with initials and notes, corrections included" in capsys.readouterr().out
    assert main(["package", str(demo), str(tmp_path / "other"), "--licence", "mine"]) == 1
    assert "'mine' is not one of CC0-1.0" in capsys.readouterr().err


def test_package_names_every_problem_and_writes_nothing(demo, tmp_path, capsys):
    shutil.copytree(demo, tmp_path / "study", ignore=shutil.ignore_patterns("package.zip"))
    study = tmp_path / "study" / "study.toml"
    study.write_text(study.read_text("utf-8").replace("humidity = {}", "humidity = { from = 30, to = 50, high = 60 }")
                     .replace("time_to_peak = {}", "time_to_peak = { high = 60 }"), "utf-8")
    assert main(["package", str(tmp_path / "study"), str(tmp_path / "out")]) == 1
    said = capsys.readouterr().err.splitlines()
    assert [line.split(": ", 1)[1].split(" row ")[0] for line in said] == ["pours.csv", "readings.csv"]
    assert "humidity is outside 5 to 60 %" in said[0] and "time to peak is outside" in said[1]
    assert [path.name for path in tmp_path.iterdir()] == ["study"]


@pytest.mark.parametrize("verb", ["check", "page", "backup", "package"])
def test_a_folder_that_is_not_there(verb, tmp_path, capsys):
    assert main([verb, str(tmp_path / "nowhere")]) == 1
    assert "testpour new" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_verb_alone_is_about_the_folder_one_is_in(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new"]) == main(["check"]) == 0
    assert Path("study.toml").exists(), "the folder was replaced, and whoever stands in it sees nothing"
    assert f"Next: testpour start {tmp_path}. Its first" in capsys.readouterr().out


@pytest.mark.parametrize("words", [[], ["pour"], ["start", "x", "--port", "many"]])
def test_words_it_does_not_know_end_with_usage_and_code_2(words, capsys):
    with pytest.raises(SystemExit) as left:
        main(words)
    assert left.value.code == 2
    assert "usage: testpour" in capsys.readouterr().err


@pytest.mark.slow
def test_page_writes_the_findings_beside_the_study(tmp_path, capsys):
    make_folder(tmp_path / "study", demo=False)
    assert main(["page", str(tmp_path / "study")]) == 0
    assert "findings.html" in capsys.readouterr().out
    assert "<title>" in (tmp_path / "study" / "findings.html").read_text("utf-8")


def test_a_copy_of_the_log_that_went_its_own_way_is_told_of(tmp_path, capsys):
    """As a synced folder makes one where two computers wrote at once; a backup, and a file that is no log, say nothing."""
    make_folder(tmp_path / "mine", demo=False)
    study = read_study(tmp_path / "mine")
    with Logbook(study) as log:
        log.add_pour("P01", settings={"catalyst": 1.5}, session="S1")
    shutil.copy(study.folder / "log.sqlite", study.folder / "log (1).sqlite")
    (study.folder / "notes.sqlite").write_text("no log")
    assert main(["backup", str(study.folder)]) == 0
    main(["check", str(study.folder)])
    assert "lacks" not in capsys.readouterr().err
    with Logbook(study, "log (1).sqlite") as copy:
        copy.add_reading("P01", "gel_time", 20)
        copy.add_pour("P02", settings={"catalyst": 1.6}, session="S1")
    with Logbook(study) as log:
        log.add_pour("P02", settings={"catalyst": 1.2}, session="S1", made_at="2026-03-01")
        log.withdraw_pour("P02", why="spilt")
    assert main(["check", str(study.folder)]) == 1
    (said,) = (line for line in capsys.readouterr().err.splitlines() if "lacks" in line)
    assert said.startswith("log (1).sqlite holds 2 entries that log.sqlite lacks, of P01 and P02; ") and '"copy.csv"' in said
