"""What a sheet says of pours that are in the log already: later readings are added where the log lacks them, and nothing twice."""

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from testpour.logbook.castings import Castings
from testpour.logbook.door import hour_known, missing
from testpour.logbook.entries import LogProblems
from testpour.logbook.known import Mark, mark
from testpour.logbook.tables import UNDATED
from testpour.wording import age_words, count, first_few, listed

Rows = Sequence[Mapping[str, Any]]
AGAIN = (
    "all that this row says stands in the log already, as {pour}. Leave the row out; if it was poured again and read "
    "alike, name it in a pour column."
)


def later_readings(castings: Castings, withdrawn: Collection[tuple[str, Mark]], entries: Rows, checked: Rows) -> dict[str, list[dict[str, Any]]]:
    """The readings that the log lacks, by the names of the pours it has; `LogProblems` where the sheet says otherwise than the log.

    So does a row without a pour's name that a sheet read before has brought, which would count twice.
    `entries` are as `read_sheet` returns them, `checked` the same as `check_entries` does; `withdrawn` has pour and `Mark`
    of each reading that was withdrawn.
    """
    found: dict[str, list[dict[str, Any]]] = {row["pour"]: [] for row in checked if row["pour"] in castings.pours.index}
    only_read = not any(row["settings"] for row in checked)
    problems: list[tuple[Any, ...]] = []
    for entry, row in zip(entries, checked, strict=True):
        name = row["pour"]
        if name in found:
            problems += [(entry["where"], *one) for one in _otherwise(castings, entry, row)]
            problems += [(entry["where"], *one) for one in _lacking(castings, withdrawn, row, found[name])]
        elif not name and row["readings"] and (pour := _holding(castings, row)):
            problems.append((entry["where"], "", "", AGAIN.format(pour=pour)))
        elif name and row["readings"] and not row["settings"] and (found or (only_read and castings.study.varied)):
            has = first_few([str(pour) for pour in castings.pours.index])
            said = f"{name} is not in the log, which {f'has {has}' if has else 'is empty'}, and has no settings here. "
            labels = listed(factor.label for factor in castings.study.varied)
            mend = "Mend the name, or write" if has else "Write"
            problems.append((entry["where"], "pour", name, f"{said}{mend} the settings of the new pour, in columns headed {labels}."))
    if problems:
        raise LogProblems(problems)
    return found


def later_words(castings: Castings, found: Mapping[str, Rows], checked: Rows) -> str:
    """What was done with the readings of pours that are in the log, in a sentence; "" where there are none."""
    rows = [row for row in checked if row["pour"] in found]
    if not rows:
        return ""
    added = sum(map(len, found.values()))
    said = (
        f"{first_few([row['pour'] for row in rows])} {'is' if len(rows) == 1 else 'are'} in the log already: {count(added, 'later reading')} added, "
        f"{sum(len(row['readings']) for row in rows) - added} that stood there passed over."
    )
    unread = [row["pour"] for row in rows if any(row[part] not in castings.pours.at[row["pour"], part] for part in ("by", "note"))]
    return said + (f" Other notes and initials than the log has were not read for {first_few(unread)}." if unread else "")


def _holding(castings, row):
    """Name of a pour of which the log says already all that a row says; "" where there is none. A day that is not known may be any day."""
    pours, readings = castings.pours, castings.readings
    alike = pours["session"] == row["session"]
    if row["made_at"] != UNDATED:
        alike &= pours["made_at"].isna() | (pours["made_at"] == row["made_at"])
    for name, value in row["settings"].items():
        alike &= pours[name] == value
    said = {mark(SimpleNamespace(**one)) for one in row["readings"]}
    held = readings[readings["pour"].isin(pours.index[alike])].groupby("pour", sort=False)
    return next((str(pour) for pour, rows in held if said <= set(map(mark, rows.itertuples()))), "")


def _otherwise(castings, entry, row):
    """A problem for each setting, the session and the day that the log has otherwise, or does not have."""
    name, held, day = row["pour"], castings.pours.loc[row["pour"]], row["made_at"]
    pairs = [(f.words, row["settings"][f.name], held[f.name], f.show) for f in castings.study.factors if f.name in row["settings"]]
    if day != UNDATED:
        day_alone = not hour_known(day) and not missing(held["made_at"])
        pairs.append(("made at", day, held["made_at"].normalize() if day_alone else held["made_at"], lambda made: f"{made:%Y-%m-%d %H:%M}"))
    if entry["session"] and entry["session"] != f"{day:%Y-%m-%d}":  # a session that was made of the day
        pairs.append(("session", row["session"], held["session"], str))
    for words, said, kept, show in pairs:
        unknown = missing(kept) or kept == ""
        if unknown or not (said == kept or (isinstance(said, float) and math.isclose(said, kept, rel_tol=1e-9))):
            known = f"without {words}" if unknown else f"with {words} {show(kept)}"
            yield words, show(said), (
                f"{name} is in the log already, {known}. Write the same or nothing here. Where the log is wrong, use correct_pour; another pour "
                "needs another name."
            )


def _lacking(castings, withdrawn, row, new):
    """Add to `new` the readings of a row that the log lacks; a problem for each that it has otherwise, or that was withdrawn."""
    name, read = row["pour"], castings.readings
    kept = Counter(map(mark, read[read["pour"] == name].itertuples()))
    told = [(mark(SimpleNamespace(**one)), one) for one in row["readings"]]
    more, gone = Counter(one for one, _ in told) - kept, kept - Counter(one for one, _ in told)
    for key in dict.fromkeys(one[:3] for one in more):
        reading = castings.study.reading(key[0])
        words = reading.words + (f" at {age_words(key[1])}" if reading.ages else "")
        said, held, lost = (listed(one.known.said(reading) for one in some.elements() if one[:3] == key) for some in (more, kept, gone))
        if lost:
            yield words, said, (
                f"{name} has {words} {held} in the log. Write the same or nothing here; where the log is wrong, put it right with correct_reading; another "
                "pour needs another name."
            )
        elif any((name, one) in withdrawn for one in more if one[:3] == key):
            yield words, said, f"{words} {said} of {name} was withdrawn in the log. Empty the cell, or log it again with add_reading."
    for one, reading in told:
        if more[one] > 0:
            more[one] -= 1
            new.append(reading)
