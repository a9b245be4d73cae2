"""The same pours given twice, found by what they hold and not by what they are called."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from testpour.pooling.bench_reasons import WHOLE, reason
from testpour.wording import count

if TYPE_CHECKING:
    from testpour.logbook.castings import Castings
    from testpour.pooling.sources import Source

ENOUGH = 6  # readings alike in pours alike before it is no coincidence; a day and a grade may well be the same


def pours_twice(sources: list[Source]) -> tuple[list[dict[str, str]], dict[str, set[str]]]:
    """Pours that an earlier bench has given already.

    Two pours are the same when made at the same moment, or on days that are both unknown, at the same settings with the
    same readings. A few with a reading or two may agree by chance; a whole log, or pours with `ENOUGH` readings between
    them, do not.

    Parameters
    ----------
    sources : list of Source
        In the order in which they count.

    Returns
    -------
    rows : list of dict
        Reasons, one for each bench that brings such pours.
    doubled : dict
        Bench to the set of its pours that are already in the pool.
    """
    seen: dict[int, str] = {}
    rows, doubled = [], {}
    for source in sources:
        marks = _marks_of(source.castings)
        again = {pour: seen[mark] for pour, mark in marks.items() if mark in seen}
        alike = source.castings.readings["pour"].isin(again).sum()
        if again and (alike >= ENOUGH or len(again) == len(source.castings)):
            doubled[source.bench] = set(again)
            others = ", ".join(dict.fromkeys(again.values()))
            rows.append(
                reason(
                    source.bench, "pours" if len(again) < len(source.castings) else WHOLE,
                    f"brings {count(len(again), 'pour')} of {len(source.castings)} that {others} brought already",
                    ", ".join(list(again)[:5]) + (" ..." if len(again) > 5 else ""), others, "Give every pour once.",
                )
            )
        seen |= {mark: source.bench for mark in marks.values() if mark not in seen}
    return rows, doubled


def _marks_of(castings: Castings) -> dict[str, int]:
    """A mark of what each pour holds, for pours that were read: pour to number."""
    factors = [f.name for f in castings.study.factors if f.name in castings.pours and f.kind != "text"]
    pours = castings.pours
    settings = pd.util.hash_pandas_object(
        pd.DataFrame({"at": pd.to_datetime(pours["made_at"]), **{n: _plain(pours[n]) for n in factors}}), index=False
    )
    rows = castings.readings
    each = pd.util.hash_pandas_object(
        pd.DataFrame({"reading": rows["reading"], **{n: _plain(rows[n]) for n in ("low", "high", "age")}}), index=False
    )
    read = each.groupby(rows["pour"].to_numpy()).sum()  # in any order, so a sum and not a chain
    whole = settings.set_axis(pours.index) * np.uint64(31)
    return {pour: int(whole[pour] ^ read[pour]) for pour in pours.index if pour in read.index}


def _plain(column):
    """Numbers to ten digits, so that a trip through text does not make a pour a new one."""
    values = column.to_numpy(float) + 0.0
    usable = np.isfinite(values) & (values != 0)
    digits = 10.0 ** (9 - np.floor(np.log10(np.abs(values[usable]))))
    values[usable] = np.round(values[usable] * digits) / digits
    return values
