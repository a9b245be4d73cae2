"""What README.md says is true: its commands, its example and its promises are run or looked up."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from testpour.app.command import main
from testpour.exchange.folder import make_folder

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
SHELL = [line for kind, text in BLOCKS if kind == "sh" for line in text.splitlines()]
PYTHON = [text for kind, text in BLOCKS if kind == "python"]


def test_first_paragraph_says_who_it_is_for_and_what_it_does():
    first = " ".join(README.split("\n\n")[1].split())
    for word in ("workshops", "polyester resin", "peroxide catalyst", "test pours", "tack-free"):
        assert word in first


def test_start_command_installs_and_starts():
    assert SHELL[0] == "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/testpour start my-study"


def test_there_is_one_test_command_and_continuous_integration_reads_it():
    tests = [line for line in SHELL if line.endswith("pytest")]
    assert len(tests) == 1
    asked = re.search(r"grep -m1 -E '([^']+)' README.md", (ROOT / ".ci" / "run").read_text("utf-8")).group(1)
    assert re.search(asked, tests[0])
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    assert set(re.findall(r"\.\[(\w+)\]", tests[0])) <= set(extras)


@pytest.mark.slow
@pytest.mark.parametrize("line", [line for line in SHELL if "testpour " in line])
def test_every_testpour_command_is_one(line, capsys):
    verb = re.search(r"testpour (\w+)", line).group(1)
    with pytest.raises(SystemExit) as left:
        main([verb, "--help"])
    assert left.value.code == 0
    assert f"testpour {verb}" in capsys.readouterr().out


@pytest.mark.parametrize("flag", sorted(set(re.findall(r"`(--[\w-]+)", README))))
def test_every_flag_exists(flag, capsys):
    with pytest.raises(SystemExit):
        main(["start", "--help"])
    assert flag in capsys.readouterr().out


@pytest.mark.parametrize("path", sorted(set(re.findall(r"`((?:datasets/|\.ci/|\w+\.md)[\w./-]*)`", README))))
def test_every_path_exists(path):
    assert (ROOT / path).exists()


def test_tapping_comes_before_code_and_the_notebook_it_begins_with_is_there():
    assert 0 < README.index("Run All, then tap") < README.index("## The walk in ten lines")
    assert "opens its first notebook, `0-start-here`" in README
    assert (ROOT / "notebooks" / "0-start-here.ipynb").is_file()


def test_a_new_study_names_the_server_of_a_class_as_the_readme_does():
    """Without a password, which would go wherever the study goes."""
    new = (ROOT / "kit" / "testpour" / "study" / "new_study.toml").read_text("utf-8")
    address = re.search(r'"(postgresql[^"]+)"; its password goes into .pgpass', new).group(1)
    assert f'`log = "{address}"`' in README
    assert ":" not in address.split("://")[1]


def test_three_small_pictures_say_what_they_show():
    pictures = re.findall(r'<img src="([^"]+)" width="\d+" alt="([^"]+)">', README)
    assert len(pictures) == 3
    for path, words in pictures:
        assert (ROOT / path).read_bytes().startswith(b"\x89PNG")
        assert (ROOT / path).stat().st_size < 100_000
        assert len(words) > 30


@pytest.mark.slow
def test_the_walk_runs_as_printed(tmp_path):
    assert len(PYTHON) == 1
    folder = make_folder(tmp_path / "my-study").path
    ran = subprocess.run([sys.executable, "-c", PYTHON[0]], cwd=folder, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr == ""
    assert "gel time" in ran.stdout.lower()
