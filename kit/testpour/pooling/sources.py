"""The sources of a pool: data packages, study folders, open logs or castings, each opened as one bench."""

from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from testpour.common.problems import Problems
from testpour.exchange.package_reading import read_package
from testpour.exchange.unpacking import Package
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.study.study_file import read_study

# What a pool takes for one bench: a path, an open log or its castings, or a package that was read.
Given: TypeAlias = str | Path | Castings | Logbook | Package


@dataclass(frozen=True)
class Source:
    """One bench as it was given."""

    bench: str  # what the pool calls it
    origin: str  # where it came from, for the table of reasons
    castings: Castings


@dataclass(frozen=True)
class Unread:
    """One bench whose log could not be read."""

    bench: str
    origin: str
    trouble: str  # why not


def open_sources(given: Sequence[Given] | Mapping[str, Given]) -> list[Source | Unread]:
    """Read everything that was given, one source per bench; one that could not be read is an `Unread`, and raises nothing.

    The names of a dict name the benches; otherwise they are "Bench 1", "Bench 2" ...
    """
    named = given if isinstance(given, dict) else {f"Bench {i}": one for i, one in enumerate(given, 1)}
    return [_source(str(name), one) for name, one in named.items()]


def _source(bench, given):
    origin = str(given) if isinstance(given, str | Path) else type(given).__name__
    try:
        return Source(bench, origin, _castings(given))
    except (OSError, TypeError, ValueError, KeyError) as problem:
        reasons = problem.problems if isinstance(problem, Problems) else [str(problem).strip("'\"")]
        return Unread(bench, origin, " ".join(str(one) for one in reasons))


def _castings(given):
    if isinstance(given, str | Path):
        return _from_path(Path(given))
    castings = given.castings() if isinstance(given, Logbook) else given.castings if isinstance(given, Package) else given
    if not isinstance(castings, Castings):
        raise TypeError(f"a {type(given).__name__} holds no log. Give the path of a data package or a study folder, a Logbook, or log.castings().")
    return castings


def _from_path(path):
    """A study folder's log if there is a study file, else a data package."""
    if not path.exists():
        raise FileNotFoundError("there is no such file or folder. Check the path.")
    if (path / "study.toml").is_file() or path.name == "study.toml":
        with closing(Logbook(read_study(path))) as log:
            return log.castings()
    if path.is_file() and path.suffix.casefold() not in ("", ".zip", ".json"):
        advice = "Read a spreadsheet into a study folder, under 2-pour-and-log, and give that folder; for a findings page give read_page(path)"
        raise ValueError(f"is neither a study folder nor a package. {advice}.")
    return read_package(path).castings
