"""The castings table: what the log holds now, ready to be read, fitted and shared."""

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.problems import NoSuchName
from testpour.common.units import shown_unit
from testpour.common.wording import at_age, count, first_few, in_html, listed, table_html
from testpour.logbook.known import Known
from testpour.study.study import Study

PEOPLE = ("by", "note")
DIGITS = {"P": 2, "S": 1}  # of the number in the name of a pour, P01, and of a session, S1
SHOWN = 60  # pours in a notebook; a table of thousands would stop the browser


@dataclass(frozen=True, eq=False)
class Castings:
    """Every pour and reading that counts, with corrections applied.

    Parameters
    ----------
    study : Study
    pours : DataFrame
        One row per pour, indexed by pour name: session, made_at (NaT where the day is not known), one column per
        factor (floats in declared units, lots as text), by, note.
    readings : DataFrame
        One row per reading: entry, pour, reading, low, high (-inf and inf where open), age in hours,
        specimen, by, known, note.
    withdrawn : frozenset of str
        Names of pours that were withdrawn.
    undeclared : dict
        Name of a setting or reading that the log holds and the study does not declare, to the number of pours that have it.
    """

    study: Study
    pours: pd.DataFrame
    readings: pd.DataFrame
    withdrawn: frozenset[str] = frozenset()
    undeclared: Mapping[str, int] = field(default_factory=dict)

    def __len__(self):
        return len(self.pours)

    def sentence(self) -> str:
        """What the log holds, in a sentence."""
        if not len(self.pours):
            return "The log is empty: no pour has been logged yet."
        rooms = self.pours.get("room_temperature", pd.Series(dtype=float)).dropna()
        room = ""
        if len(rooms):
            low, high = f"{rooms.min():.3g}", f"{rooms.max():.3g}"
            room = f", in rooms from {low} to {high} °C" if low != high else f", in a room at {low} °C"
        text = (
            f"{count(len(self.pours), 'pour')} in {count(self.pours['session'].nunique(), 'session')}{room}, "
            f"with {count(len(self.readings), 'reading')}."
        )
        for names in self.copies():
            text += (
                f" {first_few(names)} agree in every setting and every reading, which hardly ever happens. "
                f"If one casting was entered {len(names)} times, withdraw {len(names) - 1} of them, or it counts {len(names)} times."
            )
        return f"{text} {self.undeclared_words}".rstrip()

    __repr__ = sentence

    @property
    def undeclared_words(self) -> str:
        """What the log holds but the study does not declare, in sentences; "" if there is nothing."""
        columns = listed(f"{name} for {count(pours, 'pour')}" for name, pours in self.undeclared.items())
        return columns and (
            f"The log also holds {columns}, which the study file does not declare, so nothing is learnt from it. Declare it there again under "
            "the name it has in the log, or leave it if you gave it up."
        )

    @property
    def names(self) -> set[str]:
        """Every name that a pour has or had: a withdrawn pour is still in the history, and on its label."""
        return {*map(str, self.pours.index), *self.withdrawn}

    def check_pour(self, pour: str) -> None:
        """Refuse a pour that is not in the log.

        Parameters
        ----------
        pour : str

        Raises
        ------
        NoSuchName
            With the pours that are.
        """
        if pour not in self.pours.index:
            raise NoSuchName(f"No pour {pour!r} in the log; it has {listed(map(str, self.pours.index)) or 'none yet'}.")

    def copies(self) -> list[list[str]]:
        """Groups of three or more pours that agree exactly in every setting and reading: a list of names each.

        Grades and timed checks are coarse, so similar pours often read the same: only pours with at least three
        readings, one of them an exact number, are compared.
        """
        values = self.readings[["reading", "low", "high", "age"]].reset_index(drop=True)
        pour, numeric = self.readings["pour"].to_numpy(), {r.name for r in self.study.readings if not r.grades}
        exact = (values["low"] == values["high"]) & values["reading"].isin(numeric)
        settings = self.pours[[factor.name for factor in self.study.factors]]
        marks = pd.DataFrame({
            "settings": pd.util.hash_pandas_object(settings.astype(str), index=False),
            "values": pd.util.hash_pandas_object(values, index=False).groupby(pour).sum(),
            "readings": exact.groupby(pour).size(), "exact": exact.groupby(pour).sum(),
        }).reindex(self.pours.index)
        comparable = marks[(marks["readings"] >= 3) & (marks["exact"] > 0)]
        groups = comparable.groupby(["settings", "values"], sort=False).groups.values()
        return [[str(name) for name in names] for names in groups if len(names) > 2]

    @property
    def notes(self) -> int:
        """The number of notes on pours and readings, including those the kit wrote."""
        tables = [table for table in (self.pours, self.readings) if "note" in table]
        return sum(int(table["note"].fillna("").astype(str).str.strip().ne("").sum()) for table in tables)

    def wide(self) -> pd.DataFrame:
        """One row per pour in words: settings with units in the headers, readings as they are known."""
        table = pd.DataFrame(index=self.pours.index)
        table["session"] = self.pours["session"]
        for factor in self.study.factors:
            column = self.pours[factor.name]
            if column.notna().any() and (column != "").any():
                head = factor.label if factor.kind == "number" else factor.words
                table[head] = [factor.bare(value, 4) for value in column]
        return table.join(self._readings_in_words())

    def _readings_in_words(self):
        columns = {}
        for (name, age), rows in self.readings.groupby(["reading", "age"], sort=False, dropna=False):
            reading = self.study.reading(name)
            words = [Known(*ends).words(reading, 4) for ends in zip(rows["low"], rows["high"], strict=True)]
            columns[f"{reading.words}{at_age(age)} ({shown_unit(reading.unit)})"] = pd.Series(words, rows["pour"]).groupby(level=0).agg(", ".join)
        return pd.DataFrame(columns, index=self.pours.index).fillna("")

    def fingerprint(self) -> str:
        """A short mark that identifies exactly these data, with their units and grades: the first 16 digits of their SHA-256."""
        return self._digest(repr(self._scales()))

    def has_fingerprint(self, mark: str) -> bool:
        """Whether a fingerprint is that of these data.

        The fingerprints of older packages and pages, which left out units and grades, are accepted too.

        Parameters
        ----------
        mark : str

        Returns
        -------
        bool
        """
        return mark in (self.fingerprint(), self._digest(""))

    def _scales(self):
        """The unit of each setting, and the unit and grades of each reading that was taken."""
        used = set(self.readings["reading"])
        return sorted([*((f.name, f.unit) for f in self.study.factors), *((r.name, r.unit, *r.grades) for r in self.study.readings if r.name in used)])

    def _digest(self, scales):
        digest = hashlib.sha256(scales.encode())
        _add_to_digest(digest, self.pours.drop(columns=list(PEOPLE)).sort_index().reset_index())
        readings = self.readings.drop(columns=["entry", *PEOPLE], errors="ignore")
        _add_to_digest(digest, readings.sort_values(["pour", "reading", "age", "specimen", "low", "high"]))
        return digest.hexdigest()[:16]

    def _repr_html_(self):
        cut, last = len(self) > SHOWN, self.pours.index[-SHOWN:]
        shown = replace(self, pours=self.pours.loc[last], readings=self.readings[self.readings["pour"].isin(last)]) if cut else self
        table, left = shown.wide(), f" The last {SHOWN} are listed; <code>.wide()</code> has all." if cut else ""
        same = [head for head in table if len(table) > 1 and table[head].nunique() == 1 and table[head].iloc[0] != ""]
        shared = "; ".join(f"{head} {table[head].iloc[0]}" for head in same)
        note = f"<p>The same for every pour{' listed' if cut else ''}: {in_html(shared)}.</p>" if same else ""
        return f"<p>{in_html(self.sentence())}{left}</p>{table_html(table.drop(columns=same))}{note}"


def new_names(letter: str, many: int, taken: Iterable[object]) -> list[str]:
    """Names for new pours (``"P"``) or sessions (``"S"``), counted on from the highest that is taken, such as P07, P07-2 or, in a pool, North P07.

    Parameters
    ----------
    letter : {"P", "S"}
    many : int
    taken : iterable of str

    Returns
    -------
    list of str
    """
    matches = (re.fullmatch(rf"(?:.+ )?{letter}(\d+)(?:-\d+)?", str(name)) for name in taken)
    last = max((int(name[1]) for name in matches if name), default=0)
    return [f"{letter}{number:0{DIGITS[letter]}d}" for number in range(last + 1, last + many + 1)]


def names_planned(pours: pd.Index) -> pd.Index:
    """The names under which pours of a log were planned: one made again as P02-2 was planned as P02."""
    return pours.astype(str).str.replace(r"-\d$", "", regex=True)


def _add_to_digest(digest, table):
    """Add a table to a digest, column by column, numbers to ten digits, and each text with its length."""
    for name in table.columns:
        column = table[name]
        digest.update(f"{name}:{len(column)}:".encode())
        if pd.api.types.is_datetime64_any_dtype(column):
            digest.update(column.to_numpy("datetime64[us]").astype("<i8").tobytes())
        elif pd.api.types.is_numeric_dtype(column):
            digest.update(" ".join(formatted(column.astype(float), lambda number: f"{number + 0:.10g}")).encode())
        else:
            digest.update("".join(formatted(column.fillna(""), lambda text: f"{len(str(text))}:{text}")).encode())


def formatted(column: pd.Series, spell: Callable[[Any], str]) -> np.ndarray:
    """Each value as text; a distinct value is formatted only once, since most repeat."""
    places, distinct = pd.factorize(column, use_na_sentinel=False)
    return np.array([spell(value) for value in distinct.tolist()], dtype=object)[places]
