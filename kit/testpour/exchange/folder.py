"""The study folder: notebooks, study file and log side by side, made once and never overwritten."""

import contextlib
import os
import shutil
import tempfile
import time
import warnings
from contextlib import closing
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

from testpour.common.files import name_new, place
from testpour.common.problems import Problem
from testpour.common.toml_file import own_text, own_toml
from testpour.study.study import Study
from testpour.study.study_file import read_study, study_from

NEW = "study/new_study.toml"
PATIENCE = 10  # seconds that another process may take to move its files into a folder
EXAMPLES = ("workshop-sheet.csv", "thermocouple-trace.csv")  # files of a workshop, read in by notebooks


class FolderProblem(Problem):
    """A folder cannot become, or is not, a study folder; the message says what to do."""


@dataclass(frozen=True)
class StudyFolder:
    """A folder with a study file in it."""

    path: Path
    fresh: bool = False  # made just now

    @property
    def notebooks(self) -> tuple[str, ...]:
        """Names of the notebooks in the folder, in order."""
        return tuple(sorted(p.name for p in self.path.glob("*.ipynb")))

    @property
    def _there(self):
        return ", ".join(self.notebooks) or "no notebooks"

    def sentence(self) -> str:
        """What was made, or what was found and left alone."""
        if self.fresh:
            return f"Made {self.path} with study.toml, its log and {self._there}."
        return f"{self.path} is a study already; nothing in it was changed. {self.contents()}"

    def contents(self) -> str:
        """What is in the folder, and which notebooks it lacks."""
        text = f"It has study.toml and {self._there}."
        if lacks := sorted({p.name for p in templates()} - set(self.notebooks)):
            text += f" It lacks {', '.join(lacks)}; to have one again, make a new folder with testpour new and copy it from there."
        return text


def _shipped(kind: Literal["notebooks", "datasets"]) -> Path:
    """The folder of the templates or data sets that came with the package.

    A checkout comes first: an editable install keeps the files of the day it was made.
    """
    package = Path(str(files("testpour")))
    checkout = package.parent.parent
    if package.parent.name == "kit" and (checkout / "pyproject.toml").exists():
        return checkout / kind
    return package / "_bundled" / kind


def templates() -> tuple[Path, ...]:
    """The template notebooks, in order of name."""
    return tuple(sorted(_shipped("notebooks").glob("*.ipynb")))


def example_study() -> Study:
    """The study a new folder begins with, for examples and practice.

    Returns
    -------
    Study

    Examples
    --------
    >>> tp.example_study()
    My study. What settings give a hard, dry casting by the next day in my room? ...
    """
    return study_from(own_toml(NEW))


def make_folder(path: str | Path, demo: bool = True) -> StudyFolder:
    """Make a study folder if it is absent or empty, or find one that is there already and leave it alone.

    With `demo`, it holds the invented demo study with its log; without, an empty log and a study file to fill in. If
    something else is in the way, a FolderProblem says so and nothing is written.
    """
    path = Path(path).expanduser().absolute()
    if (path / "study.toml").exists():
        return StudyFolder(path)
    if path.exists() and not path.is_dir():
        raise FolderProblem(f"{path} is a file. Give the name of a folder to make.")
    if path.exists() and any(not p.name.startswith(".") for p in path.iterdir()):
        raise FolderProblem(f"{path} has other files in it and no study.toml, so nothing was written. Give a new or empty folder.")
    if not templates():
        raise FolderProblem(f"No template notebooks at {_shipped('notebooks')}. Install testpour again.")
    path.parent.mkdir(parents=True, exist_ok=True)
    place(path / "study.toml" if path.exists() else path)
    with tempfile.TemporaryDirectory(dir=path if path.exists() else path.parent, prefix=".testpour-") as part:
        made = Path(part, "study")
        made.mkdir()
        _fill(made, demo)
        with contextlib.suppress(OSError):
            if not path.exists():  # an existing folder is filled, not replaced: it may be a shell's working directory
                os.rename(made, path)  # whole or not at all: of two processes at once, one makes the folder
                return StudyFolder(path, fresh=True)
        return StudyFolder(path, fresh=_moved_into(path, made))


def _moved_into(path, made):
    """Whether the new files were moved into the folder; false if another process was first, whose study is waited for."""
    if (path / "study.toml").exists():
        return False
    try:  # the study file goes last: it is what makes the folder a study
        for item in sorted(made.iterdir(), key=lambda p: (p.name == "study.toml", p.name)):
            name_new(item, path / item.name)
        return True
    except FileExistsError:
        deadline = time.monotonic() + PATIENCE
        while not (path / "study.toml").exists():
            if time.monotonic() > deadline:
                raise FolderProblem(f"{path} was filled by something else meanwhile. Look at it, then start again.") from None
            time.sleep(0.1)
        return False


def _fill(folder, demo):
    """Put notebooks, study file and log into a new folder, before it gets its final name."""
    from testpour.logbook.book import Logbook
    from testpour.logbook.log_warnings import Caution

    for template in templates():
        shutil.copyfile(template, folder / template.name)
    source = _shipped("datasets") / "demo-study"
    for example in EXAMPLES:
        shutil.copyfile(source.parent / example, folder / example)
    study = (source / "study.toml").read_text("utf-8") if demo else own_text(NEW)
    (folder / "study.toml").write_text(study, encoding="utf-8")
    with closing(Logbook(read_study(folder))) as log, warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)  # the invented demonstration has a casting that ran too hot
        if demo:
            log.add_sheet(source / "castings.csv")
