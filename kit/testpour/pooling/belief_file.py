"""A pool's posterior as beliefs for a bench that joins: a file in the shape of `beliefs.toml`, with provenance."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from testpour.common.files import Kind, beginning, put
from testpour.common.problems import NoSuchFile
from testpour.common.toml_file import TomlProblem, read_toml
from testpour.common.wording import ESCAPED, count, listed
from testpour.models.beliefs import BeliefProblem
from testpour.study.catalogue import catalogue

KIND = "testpour beliefs"
FORM = 1  # of the file; a reader refuses one it does not know
FILE = Kind("a file of beliefs", lambda path: f'[provenance]\nkind = "{KIND}"\n'.encode() in beginning(path))
NOT_READINGS = ("provenance", "benches")  # the tables of the file that are not about a reading
FIRST_LINE = "# What a pool of benches knows, for a bench that joins: fit_castings(log.castings(), beliefs=read_beliefs(...))\n\n"


class PooledBeliefs(dict):
    """Beliefs in the shape of `beliefs.toml`, one table per reading, as `fit_castings` takes them.

    Attributes
    ----------
    provenance : dict
        What they rest on: resin, pours, benches, and the fingerprint of each log.
    benches : dict
        Reading to the half-normal scale of benches about the average one, for the next `pool`.
    """

    def __init__(self, tables: Mapping[str, dict[str, Any]], provenance: dict[str, Any] | None = None, benches: dict[str, float] | None = None) -> None:
        super().__init__(tables)
        self.provenance, self.benches = provenance or {}, benches or {}

    def sentence(self) -> str:
        """What these beliefs are based on."""
        known, source = catalogue()["readings"], self.provenance
        about = listed(known[name].words if name in known else name for name in self)
        if not {"benches", "pours", "resin", "written"} <= source.keys():  # written by hand
            return f"Beliefs about {about}, without the benches and pours they are based on."
        text = (
            f"Beliefs about {about} from a pool of {count(source['benches'], 'bench', 'benches')} and "
            f"{count(source['pours'], 'pour')} of {source['resin'] or 'a resin that is not named'}, written {source['written']}."
        )
        return " ".join([text, *source.get("contradictions", ())])

    __repr__ = sentence


def write_beliefs(beliefs: PooledBeliefs, path: str | Path) -> Path:
    """Write `PooledBeliefs` as a TOML file that `read_beliefs` reads; return its path. Only such a file is replaced."""
    import tomli_w

    tables = tomli_w.dumps({"provenance": beliefs.provenance, "benches": beliefs.benches, **beliefs})
    return put(path, FIRST_LINE + tables.translate(ESCAPED), FILE)


def read_beliefs(path: str | Path) -> PooledBeliefs:
    """Beliefs from a file, for ``fit_castings(castings, beliefs=...)``.

    Parameters
    ----------
    path : str or Path
        Written by ``pooled.beliefs(path)``, or by hand in the same shape.

    Returns
    -------
    PooledBeliefs

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    BeliefProblem
        If it is not a beliefs file; `fit_castings` names what no model can use.

    Examples
    --------
    >>> beliefs = tp.pool({"North": castings}).beliefs("beliefs.toml")
    >>> tp.read_beliefs("beliefs.toml")
    Beliefs about gel time, time to peak, peak temperature, tack, ... from a pool of 1 bench and 18 pours ...
    """
    path = Path(path)
    if not path.exists():
        raise NoSuchFile(f"No beliefs file at {path}. Check the path, or write one with pooled.beliefs(path).")
    try:
        table = read_toml(path)
    except TomlProblem as problem:
        raise BeliefProblem(f"{path.name}: {' '.join(problem.args)}") from None
    problems = [
        f"{name} must be a table: a line [{name}] and under it a line for each belief."
        for name, entries in table.items()
        if not isinstance(entries, dict)
    ]
    provenance, benches = (table.pop(name, {}) for name in NOT_READINGS)
    if not problems and provenance.get("form", FORM) != FORM:
        problems.append(f"it has form {provenance['form']}; this version reads form {FORM}. Update testpour.")
    if problems:
        raise BeliefProblem(f"{path.name}: " + " ".join(problems))
    return PooledBeliefs(table, provenance, benches)
