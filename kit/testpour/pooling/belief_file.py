"""A pool's posterior as beliefs for a bench that joins: a file in the shape of `beliefs.toml`, with provenance."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from testpour.catalogue import catalogue
from testpour.files import Kind, beginning, put
from testpour.models.beliefs import BeliefProblem, trade_beliefs
from testpour.models.remainder import straightened
from testpour.models.terms import TERMS
from testpour.pooling.contradictions import contradiction_words
from testpour.toml_file import TomlProblem, read_toml
from testpour.wording import ESCAPED, count, listed

if TYPE_CHECKING:
    from testpour.pooling.pool import Pool

KIND = "testpour beliefs"
FORM = 1  # of the file; a reader refuses one it does not know
DIGITS = 6
FILE = Kind("a file of beliefs", lambda path: f'[provenance]\nkind = "{KIND}"\n'.encode() in beginning(path))
ASIDE = ("provenance", "benches")  # tables of the file that are no reading's


class PooledBeliefs(dict):
    """Beliefs in the shape of `beliefs.toml`, one table a reading, as `fit_castings` takes them.

    Attributes
    ----------
    provenance : dict
        What they rest on: resin, pours, benches, and the fingerprint of each log.
    benches : dict
        Reading to the half-normal scale of benches about the average one, for the next `pool`.
    """

    def __init__(
        self, tables: Mapping[str, dict[str, Any]], provenance: dict[str, Any] | None = None,
        benches: dict[str, float] | None = None
    ) -> None:
        super().__init__(tables)
        self.provenance, self.benches = provenance or {}, benches or {}

    def sentence(self) -> str:
        """What these beliefs rest on."""
        held, known = self.provenance, catalogue()["readings"]
        about = listed(known[name].words if name in known else name for name in self)
        if not held:
            return f"Beliefs about {about}, with no word of where they come from."
        return (
            f"Beliefs about {about} from a pool of {count(held['benches'], 'bench', 'benches')} and "
            f"{count(held['pours'], 'pour')} of {held['resin'] or 'a resin that is not named'}, written {held['written']}."
            + "".join(f" {text}" for text in held.get("contradictions", ()))
        )

    __repr__ = sentence


def pooled_beliefs(pooled: Pool) -> PooledBeliefs:
    """What a pool knows, as the belief of a bench that is not in it yet.

    ``level`` and every effect that may differ by bench are as wide as a new bench makes them; ``scatter`` holds
    half-normal scales of the same mean square as the pool's. An effect in which the benches contradict each other is
    as wide as their own answers lie apart. A normal belief holds each coefficient on its own:
    what the pool knows of two together is not in it, nor what it knows of a person's own factor.
    """
    read = {name: one for name, one in pooled.readings.items() if one.average.pours}
    tables = {name: _reading_table(one, _source(one), pooled.contradictions.get(name, ())) for name, one in read.items()}
    benches = {name: _size(one.average.posterior.group_sds["bench"]) for name, one in read.items()}
    return PooledBeliefs(tables, _provenance(pooled), benches)


def _provenance(pooled):
    return {
        "kind": KIND,
        "form": FORM,
        "written": date.today().isoformat(),
        "testpour": version("testpour"),
        "resin": str(pooled.study.resin.get("kind", "")),
        "benches": len(pooled.benches),
        "pours": int(pooled.benches["pours"].sum()),
        "sessions": int(pooled.benches["sessions"].sum()),
        "contradictions": [text for name, found in pooled.contradictions.items() if (text := contradiction_words(pooled[name], found))],
        "packages": [
            {"fingerprint": row.fingerprint, "pours": int(row.pours), "readings": int(row.readings)}
            for row in pooled.benches.itertuples()
        ],
        "units": {name: one.reading.unit for name, one in pooled.readings.items() if one.average.pours},
    }


def _source(one):
    rows = one.average.rows
    return f"pool of {count(len(one.benches), 'bench', 'benches')}, {count(int(rows['pour'].nunique()), 'pour')}"


def _reading_table(one, source, contrary=()):
    posterior, anew = one.average.posterior, one.newcomer().away
    table = {}
    believed = one.average.believed
    coefficients = straightened(one.average.study, believed, posterior.coefficients)  # a belief has no remainder to carry
    for term, draws in zip(believed.foreseen().terms, coefficients.T, strict=True):
        if term.name in TERMS:
            apart = anew["bench" if term.name == "level" else term.name] if term.name in ("level", *one.sloped) else 0.0
            table[term.name] = _entry(draws + apart, source)
    for found in contrary:
        if found.term.name in table:
            table[found.term.name] = {
                "mean": _digits(found.mean), "sd": _digits(found.sd), "source": f"{source}, which contradict each other", "confidence": "low",
            }
    if one.reading.grades:
        steps = posterior.cuts - believed.cuts.width * np.arange(posterior.cuts.shape[1]) - anew["bench"][:, None]
        table["cuts"] = _entry(steps.ravel(), source)
    sds = posterior.group_sds | ({} if one.reading.grades else {"reading": posterior.sd})
    names = [name for name in sds if name in trade_beliefs()["other"]["scatter"]]
    table["scatter"] = {name: _size(sds[name]) for name in names}
    return table


def _entry(draws, source):
    return {"mean": _digits(draws.mean()), "sd": _digits(draws.std()), "source": source, "confidence": "high"}


def _size(sds):
    """The half-normal scale of the same mean square as `sds`."""
    return _digits(np.sqrt(np.mean(sds**2)))


def _digits(value):
    return float(f"{value:.{DIGITS}g}")


def write_beliefs(beliefs: PooledBeliefs, path: str | Path) -> Path:
    """Write `PooledBeliefs` as a TOML file that `read_beliefs` reads; return its path. Only such a file is replaced."""
    lines = ["# What a pool of benches knows, for a bench that joins: fit_castings(log.castings(), beliefs=read_beliefs(...))"]
    tables = {"provenance": beliefs.provenance, "benches": beliefs.benches, **beliefs}
    for name, entries in tables.items():
        lines += ["", f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in entries.items())]
    return put(path, "\n".join(lines) + "\n", FILE)


def _toml(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + "".join(f"\n  {_toml(one)}," for one in value) + "\n]"
    if isinstance(value, str):
        safe = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in safe).translate(ESCAPED) + '"'
    return repr(value)


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
        If it is not a beliefs file; what no model can use, `fit_castings` names.
    """
    path = Path(path)
    if not path.exists():
        raise FileNotFoundError(f"No beliefs file at {path}. Check the path, or write one with pooled.beliefs(path).")
    try:
        table = read_toml(path)
    except TomlProblem as problem:
        raise BeliefProblem(f"{path.name}: {' '.join(problem.args)}") from None
    problems = [
        f"{name} must be a table: a line [{name}] and under it a line for each belief."
        for name, entries in table.items()
        if not isinstance(entries, dict)
    ]
    provenance, benches = (table.pop(name, {}) for name in ASIDE)
    if not problems and provenance.get("form", FORM) != FORM:
        problems.append(f"it has form {provenance['form']}; this version reads form {FORM}. Update testpour.")
    if problems:
        raise BeliefProblem(f"{path.name}: " + " ".join(problems))
    return PooledBeliefs(table, provenance, benches)
