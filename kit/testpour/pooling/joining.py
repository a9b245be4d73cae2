"""Joining several logs into one: checked, renamed by bench, in the pool's units, without names and notes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import multimode

import numpy as np
import pandas as pd

from testpour.common.problems import Problem
from testpour.common.units import to_unit
from testpour.common.wording import count
from testpour.logbook.castings import Castings
from testpour.logbook.known import how_known
from testpour.models.scales import widen
from testpour.pooling.joinable import COLUMNS, WHOLE, PoolProblems, incompatible_columns, pool_declarations, reason, unjoinable
from testpour.pooling.sources import Given, Source, open_sources

ENOUGH = 6  # equal readings of equal pours that are not a coincidence, while a day and a grade may agree by chance
ORDER = ("session", "made_at")


@dataclass(frozen=True, eq=False)
class Joined:
    """Logs as one."""

    castings: Castings  # every pour, named by its bench; lots, sessions and readers carry the bench's name too
    benches: pd.DataFrame  # one row per bench: pours, readings, sessions and the fingerprint of its log
    bench_of: pd.Series  # pour to bench
    left_out: pd.DataFrame  # the reasons; empty if nothing was left out
    assumed: tuple[str, ...]  # each setting that a bench does not have or did not write down, in words, with its usual value


def join_logs(given: Sequence[Given] | Mapping[str, Given], *, leave_out: bool = False) -> Joined:
    """Join logs of several benches, each as `open_sources` takes it.

    Raises PoolProblems with a table of every reason why they cannot be joined. With `leave_out`, what can be joined is, and
    the rest is listed; it is still an error if no log is left. No person is named in a pool: readers become "Bench 2
    reader 1", and notes are dropped.
    """
    sources = open_sources(given)
    reasons = unjoinable(sources)
    left = _without(sources, reasons)
    factors = pool_declarations(left, "factors")
    unlike_factors, factor_units = incompatible_columns(left, "factors", factors)
    left = _without(left, unlike_factors)
    readings = pool_declarations(left, "readings")
    unlike_readings, reading_units = incompatible_columns(left, "readings", readings)
    repeated, duplicates = _duplicate_pours(left)
    table = pd.DataFrame(reasons + unlike_factors + unlike_readings + repeated, columns=COLUMNS)
    if len(table) and not (leave_out and left):
        raise PoolProblems(table)
    if not left:
        raise Problem("There is nothing to pool: give at least one log, better three or more.")
    dropped = {(row["bench"], row["part"]) for row in unlike_readings}
    units = factor_units | reading_units
    left = [source for source in left if len(duplicates.get(source.bench, ())) < len(source.castings)]
    declared = {column.name for s in left for column in (*s.castings.study.factors, *s.castings.study.readings) if (s.bench, column.words) not in dropped}
    readings = {name: reading for name, reading in readings.items() if name in declared}
    factors = {name: replace(factor, usual=_usual(left, factor, units)) for name, factor in factors.items() if name in declared}
    parts = [(s, *_in_pool_units(s, factors, units, dropped, duplicates.get(s.bench, ()))) for s in left]
    assumed = tuple(text for s in left for text in _assumed_settings(s, factors, duplicates.get(s.bench, ())))
    return _joined(parts, _joint_study(left, factors, readings, units, dropped), table, assumed)


def _without(sources, reasons):
    """The sources without a reason against them."""
    unfit = {row["bench"] for row in reasons}
    return [source for source in sources if source.bench not in unfit]


def _usual(sources, factor, units):
    """The commonest usual value of the benches, in the pool's unit; in a tie the lowest, whichever bench is named first."""
    if factor.kind == "text":
        return factor.usual
    own = [(s.bench, one.usual) for s in sources for one in s.castings.study.factors if one.name == factor.name]
    return min(multimode(float(_converted(usual, units.get((bench, factor.name)))) for bench, usual in own))


def _joint_study(sources, factors, readings, units, dropped):
    """The study of the pool: the columns its benches share, and the first bench's aims for these, in the pool's units."""
    bench, study = sources[0].bench, sources[0].castings.study
    shared = {reading.name for reading in study.readings if (bench, reading.words) not in dropped}
    return replace(
        study,
        name=f"Pool of {count(len(sources), 'bench', 'benches')}",
        factors=tuple(factors.values()),
        readings=tuple(_common_reading(sources, reading, units, dropped) for reading in readings.values()),
        aims=tuple(_converted_aim(aim, units.get((bench, aim.reading))) for aim in study.aims if aim.reading in shared),
        ready=study.ready if "hardness" in shared else {},
        one_of={choice: names for source in reversed(sources) for choice, names in source.castings.study.one_of.items()},
    )


def _converted_aim(aim, units):
    bounds = {end: getattr(aim, end) for end in ("at_least", "at_most")}
    return replace(aim, **{end: _converted(bound, units) for end, bound in bounds.items() if bound is not None})


def _joined(parts, study, table, assumed):
    """One table of pours and one of readings from the parts (source, pours, readings)."""
    pours = pd.concat([pours for _, pours, _ in parts])
    if not pours.index.is_unique:
        raise Problem("Two pours would have the same name. Give the benches names of which none begins with another.")
    rows = pd.concat([rows for *_, rows in parts], ignore_index=True)
    rows["entry"] = np.arange(1, len(rows) + 1)
    names = [source.bench for source, *_ in parts]
    benches = pd.DataFrame(
        {
            "pours": [len(pours) for _, pours, _ in parts],
            "readings": [len(rows) for *_, rows in parts],
            "sessions": [pours["session"].nunique() for _, pours, _ in parts],
            "fingerprint": [source.castings.fingerprint() for source, *_ in parts],
        },
        index=pd.Index(names, name="bench"),
    )
    bench_of = pd.Series(np.repeat(names, benches["pours"]), index=pours.index)
    return Joined(Castings(study, pours, rows), benches, bench_of, table, assumed)


def _common_reading(sources, reading, units, dropped):
    """The pool's declaration of a reading: with all ages of its benches, and the coarsest step of their instruments."""
    same = {s.bench: r for s in sources for r in s.castings.study.readings if r.name == reading.name and (s.bench, r.words) not in dropped}
    steps = [float(np.diff(_converted(np.array([0.0, one.resolution]), units.get((bench, one.name))))[0]) for bench, one in same.items()]
    ages = tuple(sorted({age for one in same.values() for age in one.ages}))
    return replace(reading, ages=ages, resolution=max(steps) if all(steps) else 0.0)


def _in_pool_units(source, factors, units, dropped, duplicates):
    """Pours and readings of one bench as they are in the pool."""
    bench, study = source.bench, source.castings.study
    pours = source.castings.pours.drop(index=list(duplicates))
    rows = source.castings.readings
    pooled_pours = pd.DataFrame({name: pours[name] for name in ORDER}, index=pours.index)
    pooled_pours["session"] = f"{bench} " + pooled_pours["session"].astype(str)
    usual = {factor.name: factor.usual for factor in study.factors}
    for factor in factors.values():
        blank = "" if factor.kind == "text" else np.nan
        pooled_pours[factor.name] = _setting_column(pours[factor.name], factor, bench, units, usual[factor.name]) if factor.name in pours else blank
    pooled_pours["by"] = _numbered_readers(pours["by"], bench)
    pooled_pours["note"] = ""
    pooled_pours.index = pd.Index([f"{bench} {name}" for name in pours.index], name=pours.index.name)
    joined = [r.name for r in study.readings if (bench, r.words) not in dropped]
    rows = _reading_rows(rows[rows["pour"].isin(pours.index) & rows["reading"].isin(joined)], source, units)
    rows["by"] = _numbered_readers(rows["by"], bench)
    rows["note"] = ""
    rows["pour"] = f"{bench} " + rows["pour"].astype(str)
    return pooled_pours, rows


def _assumed_settings(source, factors, duplicates):
    """Each setting of the pool that a bench does not have, or did not write down for some pours, with the usual value used instead."""
    pours = source.castings.pours.drop(index=list(duplicates))
    own = {factor.name: factor for factor in source.castings.study.numeric}
    for factor in (own.get(name, factor) for name, factor in factors.items() if factor.kind != "text"):
        if blank := int(pours[factor.name].isna().sum()) if factor.name in pours else len(pours):
            yield f"{factor.words} {factor.show(factor.usual)} for {count(blank, 'pour')} of {source.bench}"


def _setting_column(column, factor, bench, units, usual):
    if factor.kind == "text":
        return column.fillna("").astype(str).map(lambda label: f"{bench} {label}" if label else "")
    return _converted(column.astype(float).fillna(usual), units.get((bench, factor.name)))


def _reading_rows(rows, source, units):
    """Readings in the pool's units, each widened by half a step of its own bench's instrument."""
    name, ends = rows["reading"].to_numpy(), rows[["low", "high"]].to_numpy(float, copy=True)
    for reading in source.castings.study.readings:
        here = name == reading.name
        low, high = ends[here].T
        if not reading.grades and reading.resolution:
            low, high = widen(reading, low, high)
        ends[here] = _converted(np.column_stack([low, high]), units.get((source.bench, reading.name)))
    rows = rows.assign(low=ends[:, 0], high=ends[:, 1])
    return rows.assign(known=how_known(rows))


def _converted(values, units):
    """Values converted from the first unit to the second, a linear function for every unit; open ends stay open."""
    if units is None:
        return values
    zero, one = (to_unit(f"{value} {units[0]}", units[1]) for value in (0, 1))
    return zero + (one - zero) * values


def _numbered_readers(names, bench):
    """Readers numbered within their bench; a blank stays blank."""
    names = names.fillna("").astype(str)
    numbers = {name: f"{bench} reader {i}" for i, name in enumerate(sorted(set(names) - {""}), 1)}
    return names.map({"": "", **numbers})


def _duplicate_pours(sources: list[Source]) -> tuple[list[dict[str, str]], dict[str, set[str]]]:
    """Pours that an earlier bench has given already: a reason per bench, and bench to the names of its pours.

    Two pours are the same when made at the same moment, or on days that are both unknown, at the same settings with the
    same readings. A few with a reading or two may agree by chance; a whole log, or pours with `ENOUGH` readings between
    them, do not.
    """
    seen: dict[int, str] = {}
    rows, duplicates = [], {}
    for source in sources:
        hashes = _pour_hashes(source.castings)
        again = {pour: seen[number] for pour, number in hashes.items() if number in seen}
        alike = source.castings.readings["pour"].isin(again).sum()
        if again and (alike >= ENOUGH or len(again) == len(source.castings)):
            duplicates[source.bench] = set(again)
            others = ", ".join(dict.fromkeys(again.values()))
            rows.append(
                reason(
                    source.bench, count(len(again), "pour") if len(again) < len(source.castings) else WHOLE,
                    f"has {count(len(again), 'pour')} of {len(source.castings)} that {others} gave already",
                    ", ".join(list(again)[:5]) + (" ..." if len(again) > 5 else ""), others,
                    "Give every pour once. Of two copies of one log, write one as a spreadsheet and read that into the other, whose pours need other names.",
                )
            )
        seen = {number: source.bench for number in hashes.values()} | seen
    return rows, duplicates


def _pour_hashes(castings: Castings) -> dict[str, int]:
    """A hash of the settings and readings of each pour that was read, by its name."""
    factors = [f.name for f in castings.study.numeric if f.name in castings.pours]
    pours = castings.pours
    setting_hashes = pd.util.hash_pandas_object(
        pd.DataFrame({"at": pd.to_datetime(pours["made_at"]), **{n: _ten_digits(pours[n]) for n in factors}}), index=False
    )
    rows = castings.readings
    reading_hashes = pd.util.hash_pandas_object(
        pd.DataFrame({"reading": rows["reading"], **{n: _ten_digits(rows[n]) for n in ("low", "high", "age")}}), index=False
    )
    pour_readings = reading_hashes.groupby(rows["pour"].to_numpy()).sum()  # a sum does not depend on the order of the rows
    pour_settings = setting_hashes.set_axis(pours.index) * np.uint64(31)
    return {pour: int(pour_settings[pour] ^ pour_readings[pour]) for pour in pours.index if pour in pour_readings.index}


def _ten_digits(column):
    """Numbers to ten digits, so that a pour stays the same after being written as text."""
    return np.array([float(f"{value:.10g}") for value in column.astype(float)]) + 0.0
