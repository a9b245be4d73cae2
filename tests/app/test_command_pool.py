"""`testpour pool`: packages of several benches become one page and the beliefs of a newcomer, or reasons in words."""

import pytest

import testpour as tp
from testpour.app.command import main


@pytest.fixture(scope="module")
def packages(study, tmp_path_factory):
    folder = tmp_path_factory.mktemp("guild")
    guild = tp.practice_guild(study, benches=2, sessions=2, pours=3)
    return [str(tp.write_package(castings, folder / f"bench{i}.zip").path) for i, castings in enumerate(guild.values())]


@pytest.mark.slow
def test_logs_become_a_page_and_beliefs(packages, tmp_path, capsys):
    page, beliefs = tmp_path / "pool.html", tmp_path / "guild.toml"
    assert main(["pool", *packages, "--to", str(page), "--beliefs", str(beliefs)]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"Bench 1 is {packages[0]}.\nBench 2 is {packages[1]}.\n2 benches: 12 pours") and str(page) in said
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert tp.read_beliefs(beliefs)["gel_time"]["catalyst"]["mean"] < 0


def test_the_same_log_twice_is_refused_with_the_reason(packages, tmp_path, capsys):
    page = tmp_path / "pool.html"
    assert main(["pool", packages[0], packages[0], "--to", str(page)]) == 1
    out, said = capsys.readouterr()
    assert out == f"Bench 1 is {packages[0]}.\nBench 2 is {packages[0]}.\n"  # whom to write to about what the reasons say
    assert said.startswith("Logs that cannot be joined as they are: ") and "gave already" in said and not page.exists()


def test_nothing_there_is_refused(tmp_path, capsys):
    assert main(["pool", str(tmp_path / "nowhere"), "--to", str(tmp_path / "pool.html")]) == 1
    assert "no such file or folder" in capsys.readouterr().err
