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
from testpour.models.remainder import projected_on_expected
from testpour.models.terms import TERMS
from testpour.problems import NoSuchFile
from testpour.toml_file import TomlProblem, read_toml
from testpour.wording import ESCAPED, count, listed

if TYPE_CHECKING:
    from testpour.pooling.pool import Pool

KIND = "testpour beliefs"
FORM = 1  # of the file; a reader refuses one it does not know
DIGITS = 6
FILE = Kind("a file of beliefs", lambda path: f'[provenance]\nkind = "{KIND}"\n'.encode() in beginning(path))
NOT_READINGS = ("provenance", "benches")  # the tables of the file that are not about a reading
FIRST_LINE = "# What a pool of benches knows, for a bench that joins: fit_castings(log.castings(), beliefs=read_beliefs(...))\n\n"


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
        known, source = catalogue()["readings"], self.provenance
        about = listed(known[name].words if name in known else name for name in self)
        if not source:
            return f"Beliefs about {about}, with no word of where they come from."
        text = (
            f"Beliefs about {about} from a pool of {count(source['benches'], 'bench', 'benches')} and "
            f"{count(source['pours'], 'pour')} of {source['resin'] or 'a resin that is not named'}, written {source['written']}."
        )
        return " ".join([text, *source.get("contradictions", ())])

    __repr__ = sentence


def pooled_beliefs(pooled: Pool) -> PooledBeliefs:
    """What a pool knows, as the belief of a bench that is not in it yet.

    ``level`` and every effect that may differ by bench are as wide as a new bench makes them; ``scatter`` holds
    half-normal scales of the same mean square as the pool's. An effect in which the benches contradict each other is
    as wide as their own answers lie apart. A normal belief holds each coefficient on its own:
    what the pool knows of two together is not in it, nor what it knows of a person's own factor.
    """
    tables = {name: _reading_table(fit, _source(fit), pooled.contradictions.get(name, ())) for name, fit in pooled.read.items()}
    benches = {name: _half_normal_scale(fit.average.posterior.group_sds["bench"]) for name, fit in pooled.read.items()}
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
        "contradictions": pooled.contradiction_sentences(),
        "packages": [
            {"fingerprint": row.fingerprint, "pours": int(row.pours), "readings": int(row.readings)}
            for row in pooled.benches.itertuples()
        ],
        "units": {name: fit.reading.unit for name, fit in pooled.read.items()},
    }


def _source(fit):
    return f"pool of {count(len(fit.benches), 'bench', 'benches')}, {count(fit.average.rows['pour'].nunique(), 'pour')}"


def _reading_table(fit, source, contrary=()):
    posterior, away = fit.average.posterior, fit.newcomer().away
    believed = fit.average.believed
    table = {}
    coefficients = projected_on_expected(fit.average.study, believed, posterior.coefficients)  # a belief has no remainder to carry
    for term, draws in zip(believed.without_remainder().terms, coefficients.T, strict=True):
        if term.name in TERMS:
            table[term.name] = _entry(draws + away.get("bench" if term.name == "level" else term.name, 0.0), source)
    for effect in contrary:
        if effect.term.name in table:
            table[effect.term.name] = {
                "mean": _digits(effect.mean), "sd": _digits(effect.sd), "source": f"{source}, which contradict each other", "confidence": "low",
            }
    if fit.reading.grades:
        steps = posterior.cuts - believed.cuts.width * np.arange(posterior.cuts.shape[1]) - away["bench"][:, None]
        table["cuts"] = _entry(steps.ravel(), source)
    sds = posterior.group_sds | ({} if fit.reading.grades else {"reading": posterior.sd})
    table["scatter"] = {name: _half_normal_scale(sd) for name, sd in sds.items() if name in trade_beliefs()["other"]["scatter"]}
    return table


def _entry(draws, source):
    return {"mean": _digits(draws.mean()), "sd": _digits(draws.std()), "source": source, "confidence": "high"}


def _half_normal_scale(sds):
    """The scale of the half-normal distribution that has the same mean square as `sds`."""
    return _digits(np.sqrt(np.mean(sds**2)))


def _digits(value):
    return float(f"{value:.{DIGITS}g}")


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
        If it is not a beliefs file; what no model can use, `fit_castings` names.
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
