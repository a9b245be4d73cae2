"""Beliefs: what the trade already knows about an effect, as mean and spread, with its source.

Each spread is as wide as the sources named in `beliefs.toml` differ. What wider and narrower ones do to chances and advice
is in `tests/benchmarks/measured.md`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.problems import Problem
from testpour.common.toml_file import own_toml
from testpour.common.wording import shortened
from testpour.models.scales import own_scale, to_reading
from testpour.models.terms import TERMS, Term, design, own_term
from testpour.study.catalogue import catalogue
from testpour.study.columns import Reading
from testpour.study.study import Study

GROUPS = ("session", "resin_lot", "catalyst_lot", "pour", "by")
GRADE = 2.0  # width of a grade in standard deviations of one reading; `beliefs.toml` says why
OWN_CUT = 1.0  # sd of one cut-point independent of the others: half a grade's step; common practice, no source
WIDE_CUTS = {"mean": 0.0, "sd": 2.0, "source": "no belief: wide"}
NOT_TERMS = ("scatter", "cuts", "own_factor")  # parts of a reading's beliefs that are not terms
TERM_FACTORS = {name for term in TERMS.values() for name in term.factors}


class BeliefProblem(Problem):
    """A beliefs file says something no model can use."""


@dataclass(frozen=True)
class Belief:
    """A normal belief about one coefficient, on the reading's latent scale."""

    mean: float
    sd: float
    source: str = ""
    confidence: str = "low"
    width: float = GRADE  # for cut-points: distance from one to the next

    @property
    def own_sd(self) -> float:
        """For cut-points: the part of `sd` that is independent for each; the rest shifts all of them together."""
        return min(self.sd, OWN_CUT)

    @property
    def informative(self) -> bool:
        """Whether the trade has such a belief; if not, `beliefs.toml` has a wide one in its place."""
        return not self.source.startswith("no belief")


@dataclass(frozen=True)
class ReadingBeliefs:
    """Everything believed about one reading before any log."""

    terms: tuple[Term, ...]
    beliefs: tuple[Belief, ...]  # one for each term
    scatter: dict[str, float]  # half-normal scales: "reading" and each of `GROUPS`, on the latent scale
    cuts: Belief | None = None  # for a graded reading: where grade 0 ends at the reference settings
    remainder_count: int = 0  # how many of the terms, the last ones, belong to the remainder (see `remainder`)
    before_physics: ReadingBeliefs | None = None  # the beliefs without heat and cure, if these are among the terms (see `physics_choice`)
    remainder_growth: float = 1.0  # size of the remainder over that believed, at least 1

    @property
    def factors(self) -> set[str]:
        """Names of the factors that its terms are made from."""
        return {name for term in self.terms for name in term.factors}

    def without_remainder(self) -> ReadingBeliefs:
        """The same without the remainder."""
        count = len(self.terms) - self.remainder_count
        return dataclasses.replace(self, terms=self.terms[:count], beliefs=self.beliefs[:count], remainder_count=0)

    @property
    def mean(self) -> np.ndarray:
        """Believed coefficients, one a term."""
        return np.array([belief.mean for belief in self.beliefs])

    @property
    def sd(self) -> np.ndarray:
        """Spread of the belief about each coefficient."""
        return np.array([belief.sd for belief in self.beliefs])


def trade_beliefs() -> dict[str, Any]:
    """The trade's beliefs as the nested tables of `beliefs.toml`."""
    return own_toml("models/beliefs.toml")


def beliefs_for(
    study: Study, reading: Reading, stated: Mapping[str, Any] | None = None, rows: pd.DataFrame | None = None
) -> ReadingBeliefs:
    """Terms and beliefs for one reading of a study.

    `stated` is a table like `beliefs.toml` whose entries replace the trade's. `rows`, the log's readings, set the scale of a
    person's own reading that has no range. It raises BeliefProblem with every entry that no model can use.
    """
    _check_stated(study, reading, stated or {})
    own_table = (stated or {}).get(reading.name, {})
    trade_table = trade_beliefs_about(reading)
    trade = trade_table or _own_beliefs(reading, rows)
    table = {**trade, **own_table}
    other = trade_beliefs()["other"]
    scatter = {**other["scatter"], **trade.get("scatter", {}), **own_table.get("scatter", {})}
    grade_width = trade.get("cuts", {}).get("width", GRADE)
    cuts = Belief(**{"width": grade_width, **table.get("cuts", WIDE_CUTS)}) if reading.grades else None
    own = Belief(**table.get("own_factor", other["own_factor"]))
    have = {f.name for f in study.numeric} | ({"age"} if reading.ages else set())
    terms, beliefs = _known_terms(reading, {k: v for k, v in table.items() if k not in NOT_TERMS}, have)
    if cuts:
        terms.insert(0, TERMS["level"])
        beliefs.insert(0, Belief(0.0, float(np.sqrt(max(cuts.sd**2 - cuts.own_sd**2, 0.01))), cuts.source, cuts.confidence))
    known = TERM_FACTORS if trade_table else {name for term in terms for name in term.factors}
    for factor in study.factors:
        if factor.name in have - known:
            terms.append(own_term(factor))
            beliefs.append(own)
    return ReadingBeliefs(tuple(terms), tuple(beliefs), scatter, cuts)


def _check_stated(study, reading, stated):
    """Refuse stated beliefs about unknown readings, and entries that are not beliefs, all at once."""
    names = list(dict.fromkeys([*(one.name for one in study.readings), *catalogue()["readings"]]))
    if not isinstance(stated, Mapping):
        raise BeliefProblem(f"Beliefs are a table with a part for each reading; found {shortened(repr(stated))}. Of a file, give read_beliefs(path).")
    units = getattr(stated, "provenance", {}).get("units", {})  # of a pool, which may have readings this study lacks
    problems = [f"{name} is not a reading; there are {', '.join(names)}." for name in stated if name not in (*names, *units)]
    problems += [
        f"{one.name}: these beliefs are about {units[one.name]}, and this study reads it in {one.counted_in}. "
        f"Leave that part out, beliefs.pop({one.name!r}), or read it in what they are about."
        for one in study.readings if one.name in stated and units.get(one.name, one.unit) not in (one.unit, one.counted_in)
    ]
    problems += [f"{name}: give a table of beliefs by name; found {part!r}." for name, part in stated.items() if not isinstance(part, Mapping)]
    own_table = stated.get(reading.name, {})
    for name, entry in own_table.items() if isinstance(own_table, Mapping) else ():
        where = f"{reading.name}, {name}"
        if name == "scatter":
            problems += _scatter_problems(where, entry)
        elif name not in TERMS and name not in NOT_TERMS:
            problems.append(f"{where} is not a term; there are {', '.join([*TERMS, *NOT_TERMS])}.")
        else:
            problems += _belief_problems(where, entry)
    if problems:
        raise BeliefProblem("Beliefs cannot be used. " + " ".join(problems))


def _scatter_problems(where, entry):
    """What is wrong with a table of scatter: half-normal scales above 0, by name."""
    known = ("reading", *GROUPS)
    if not isinstance(entry, Mapping):
        return [f"{where}: give a table with a number above 0 for any of {', '.join(known)}, such as {{ reading = 0.12 }}; found {entry!r}."]
    return [
        f"{where}: {name} = {value!r}; give a number above 0 for any of {', '.join(known)}."
        for name, value in entry.items()
        if name not in known or not _positive(value)
    ]


def _belief_problems(where, entry):
    """What is wrong with one belief: it takes a mean and a spread above 0, and may have a source and a confidence."""
    fields = {field.name for field in dataclasses.fields(Belief)} - (set() if where.endswith(", cuts") else {"width"})
    if not isinstance(entry, dict) or not {"mean", "sd"} <= set(entry) <= fields:
        return [f"{where}: give mean and sd, with source and confidence if you like; found {entry!r}."]
    if not _positive(entry.get("width", GRADE)):
        return [f"{where}: width {entry['width']!r} must be a number above 0."]
    if not isinstance(entry["mean"], int | float) or not np.isfinite(entry["mean"]) or not _positive(entry["sd"]):
        return [f"{where}: mean {entry['mean']!r} must be a number and sd {entry['sd']!r} a number above 0."]
    return []


def _positive(value):
    return isinstance(value, int | float) and 0 < value < np.inf


def trade_beliefs_about(reading: Reading) -> dict[str, Any] | None:
    """The trade's beliefs about a reading; None for a person's own, and for a hardness on another scale, as scales do not convert."""
    usual = catalogue()["readings"].get(reading.name)
    return trade_beliefs().get(reading.name) if usual is None or usual.unit == reading.unit else None


def _known_terms(reading, table, have):
    """The terms a table of beliefs names, where the study has their factors, and the beliefs about them."""
    terms, beliefs = [], []
    for name, entry in table.items():
        if name == "level" and reading.grades:
            continue
        if set(TERMS[name].factors) <= have:
            terms.append(TERMS[name])
            beliefs.append(Belief(**entry))
    return terms, beliefs


def _own_beliefs(reading, rows):
    """The beliefs about a reading the trade does not know, on the scale of the reading itself."""
    centre, unit = own_scale(reading, rows)
    table = {}
    for name, entry in trade_beliefs()["other"].items():
        if name == "scatter":
            table[name] = {part: unit * scale for part, scale in entry.items()}
        else:
            table[name] = {**entry, "mean": centre if name == "level" else 0.0, "sd": unit * entry["sd"]}
    return table


def believed_middle(study: Study, reading: Reading, table: pd.DataFrame) -> np.ndarray:
    """What the trade believes a reading of each row of a complete settings table to be, in its unit."""
    believed = beliefs_for(study, reading)
    return to_reading(reading, design(believed.terms, table) @ believed.mean, table.get("room_temperature"))


def peak_reading(study: Study) -> Reading:
    """The study's reading of the peak temperature, else the trade's: a casting heats up whether or not anyone measures it."""
    return next((reading for reading in study.readings if reading.scale == "rise"), catalogue()["readings"]["peak_temperature"])


def believed_peaks(study: Study, table: pd.DataFrame) -> np.ndarray:
    """The believed peak of each row of a complete settings table, degC."""
    return believed_middle(study, peak_reading(study), table)
