"""Why a bench, or a column of its log, cannot be joined to a pool, and how most benches declare what they share."""

from collections import Counter
from statistics import mode
from typing import Literal

import pandas as pd

from testpour.common.problems import Problems
from testpour.common.units import SCALES, measures
from testpour.common.wording import count, table_html
from testpour.pooling.sources import Source, Unread
from testpour.study.columns import Factor, Reading

COLUMNS = ("bench", "part", "what", "here", "in the pool", "do")
WHOLE = "log"  # the part that means everything a bench gave
TIE = "As many benches declare it one way as the other, so the bench named first decides."


class PoolProblems(Problems):
    """Logs cannot be joined as they are; `problems` lists each reason.

    `table` shows them, one row per reason, in `COLUMNS`.
    """

    def __init__(self, table: pd.DataFrame) -> None:
        self.table = table
        lines = [f"{row.bench}, {row.part}: {row.what}. {row.do}" for row in table.itertuples()]
        super().__init__("Logs that cannot be joined as they are", lines)

    def _repr_html_(self):
        return table_html(self.table, index=False)

    def _render_traceback_(self):
        """In a notebook, the reasons in full instead of a traceback."""
        return [f"PoolProblems: {count(len(self.problems), 'reason')} why these logs cannot be joined as they are.",
                *(f"- {one}" for one in self.problems),
                "Correct them, or join the rest with pool(..., leave_out=True)."]


def reason(bench: str, part: str, what: str, here: str, pooled: str, do: str) -> dict[str, str]:
    """One row of the table of reasons, about a `part` of a bench's log.

    It says what is wrong, what the bench and the pool have, and what to do.
    """
    return {"bench": bench, "part": part, "what": what, "here": str(here), "in the pool": str(pooled), "do": do}


def unjoinable(sources: list[Source | Unread]) -> list[dict[str, str]]:
    """Reasons why whole logs cannot be joined: unreadable, empty, or another kind of resin."""
    rows = [
        reason(s.bench, WHOLE, f"cannot be read: {s.trouble.rstrip('.')}", s.origin, "", "Correct it, or leave it out.")
        for s in sources
        if isinstance(s, Unread)
    ]
    read = [s for s in sources if isinstance(s, Source)]
    rows += [reason(s.bench, WHOLE, "holds no pour", "0 pours", "", "Log a pour first, or leave it out.") for s in read if not len(s.castings)]
    kinds = [_kind(s) for s in read]
    if kinds:
        usual = mode(kinds)
        shown = next(s.castings.study.resin["kind"] for s in read if _kind(s) == usual)
        rows += [
            reason(
                s.bench, WHOLE, "is about another kind of resin", s.castings.study.resin["kind"], shown,
                "Pool each kind of resin on its own; if it is the same resin under another name, write the same "
                "kind under [resin] in the study file.",
            )
            for s, kind in zip(read, kinds, strict=True)
            if kind != usual
        ]
    return rows


def _kind(source):
    return " ".join(str(source.castings.study.resin.get("kind", "")).casefold().split())


def pool_declarations(sources: list[Source], which: Literal["factors", "readings"]) -> dict[str, Factor | Reading]:
    """How most benches declare each factor or reading, by name.

    If declarations differ in what matters, the commonest is the pool's.
    """
    declared: dict[str, list[Factor | Reading]] = {}
    for source in sources:
        for column in getattr(source.castings.study, which):
            declared.setdefault(column.name, []).append(column)
    return {name: next(c for c in columns if _compatibility(c) == mode(map(_compatibility, columns))) for name, columns in declared.items()}


def _compatibility(column: Factor | Reading) -> tuple[str | tuple[str | float, ...], ...]:
    """What two declarations must share for their values to mean the same."""
    shared = column.kind if isinstance(column, Factor) else column.scale
    ends = (column.low, column.high) if shared == "share" or not column.unit else ()  # a number without a unit has a meaning only within its range
    return column.unit, shared, tuple(getattr(column, "grades", ())), ends


def incompatible_columns(
    sources: list[Source], which: Literal["factors", "readings"], pooled: dict[str, Factor | Reading]
) -> tuple[list[dict[str, str]], dict[tuple[str, str], tuple[str, str]]]:
    """Reasons why single columns cannot be joined, and units to convert for others.

    The latter maps (bench, column name) to (unit here, unit in the pool).
    """
    rows, units = [], {}
    for source in sources:
        for column in getattr(source.castings.study, which):
            other = pooled[column.name]
            if _compatibility(column) == _compatibility(other):
                continue
            votes = Counter(_compatibility(c) for s in sources for c in getattr(s.castings.study, which) if c.name == column.name)
            tied = votes[_compatibility(column)] == votes[_compatibility(other)]
            if column.unit != other.unit and _compatibility(column)[1:] == _compatibility(other)[1:] and measures(column.unit, other.unit):
                units[source.bench, column.name] = column.unit, other.unit
            else:
                row = _difference(source.bench, column, other)
                rows.append({**row, "do": f"{TIE} {row['do']}"} if tied else row)
    return rows, units


def _difference(bench, column, other):
    """The reason for one column, with its first difference."""
    part = column.words
    if column.unit != other.unit:
        scale = {column.unit.split(" ")[0], other.unit.split(" ")[0]} & set(SCALES)
        do = "No scale converts to another: read it on the pool's scale, or leave it out." if scale else (
            f"Declare it in {other.unit or 'plain numbers'} and log it so.")
        return reason(bench, part, "is on another scale" if scale else "is in another unit", column.unit, other.unit, do)
    if isinstance(column, Factor) and column.kind != other.kind:
        return reason(bench, part, "is another kind of setting", column.kind, other.kind, "Declare it alike.")
    here, there = (one.counted_in if isinstance(one, Reading) else one.range_words for one in (column, other))
    return reason(bench, part, "is counted in other terms", here, there, f"The pool has {there}: count and declare it so, or leave it out.")
