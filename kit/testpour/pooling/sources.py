"""What a pool is made of: data packages, study folders, open logs or tables of castings."""

from dataclasses import dataclass
from pathlib import Path

from testpour.logbook.castings import Castings
from testpour.problems import Problems


@dataclass(frozen=True)
class Source:
    """One bench as it was given.

    Parameters
    ----------
    bench : str
        What the pool calls it.
    origin : str
        Where it came from, for the table of reasons.
    castings : Castings or None
        None where it could not be read.
    trouble : str
        Why it could not be read; empty where it could.
    """

    bench: str
    origin: str
    castings: Castings | None
    trouble: str = ""


def open_sources(given):
    """Read everything that was given.

    Parameters
    ----------
    given : sequence, or dict of name to source
        Each a path of a data package or study folder, a Logbook, a Castings, or anything that has
        ``castings``. The names of a dict name the benches; otherwise they are "Bench 1", "Bench 2" ...

    Returns
    -------
    list of Source
        What could not be read says so; nothing is raised for it.
    """
    named = given if isinstance(given, dict) else {f"Bench {i}": one for i, one in enumerate(given, 1)}
    return [_source(str(name), one) for name, one in named.items()]


def _source(bench, given):
    origin = str(given) if isinstance(given, str | Path) else type(given).__name__
    try:
        return Source(bench, origin, _castings(given))
    except (OSError, TypeError, ValueError, KeyError) as problem:
        said = problem.problems if isinstance(problem, Problems) else [str(problem).strip("'\"")]
        return Source(bench, origin, None, " ".join(str(one) for one in said))


def _castings(given):
    if isinstance(given, str | Path):
        return _from_path(Path(given))
    held = given if isinstance(given, Castings) else getattr(given, "castings", None)
    held = held() if callable(held) else held
    if not isinstance(held, Castings):
        raise TypeError(
            f"a {type(given).__name__} holds no log. Give the path of a data package or a study folder, a Logbook, "
            "or log.castings()."
        )
    return held


def _from_path(path):
    """A study folder's log where there is a study file, else a data package."""
    if not path.exists():
        raise FileNotFoundError("there is no such file or folder. Check the path.")
    if (path / "study.toml").is_file() or path.name == "study.toml":
        from testpour.logbook.book import Logbook
        from testpour.study_file import read_study

        log = Logbook(read_study(path))
        try:
            return log.castings()
        finally:
            log.close()
    from testpour.exchange.package_reading import read_package

    return read_package(path).castings
