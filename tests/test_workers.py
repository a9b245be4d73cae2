"""The whole suite uses every processor; a test named on the command line, `-s` and `--pdb` stay in one process."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
@pytest.mark.parametrize("words, spread", [((), True), (("-s",), False), (("--pdb",), False), (("tests/test_one.py",), False)])
def test_who_runs_the_tests(tmp_path, words, spread):
    """One test under this project's own settings, in a folder of its own; xdist names its workers gw0, gw1, ..."""
    (tmp_path / "tests").mkdir()
    for name in ("pyproject.toml", "tests/conftest.py"):
        shutil.copy(ROOT / name, tmp_path / name)
    (tmp_path / "tests" / "test_one.py").write_text("def test_one():\n    assert True\n")
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST_")}
    line = [sys.executable, "-m", "pytest", "-v", "-p", "no:cacheprovider", *words]
    ran = subprocess.run(line, cwd=tmp_path, env=plain, capture_output=True, text=True, timeout=300, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ("[gw" in ran.stdout) is spread
