"""Later readings of pours that are in the log already: those that the log lacks are added, and nothing twice."""

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from testpour.common.wording import BY_TAPPING, at_age, count, first_few, listed
from testpour.logbook.castings import Castings
from testpour.logbook.entries import LogProblems
from testpour.logbook.known import ReadingKey, reading_key
from testpour.logbook.tables import UNDATED
from testpour.logbook.text_and_dates import hour_known, missing

Rows = Sequence[Mapping[str, Any]]
READ_BEFORE = (
    "the log already has everything in this row, as {pour}. Delete the row; if this is another pour with the same "
    "readings, give its name in a pour column."
)
READ_IN_PART = (
    "{pour} in the log has the same settings and some of these readings. Write {pour} in a pour column to add the others to it; if this is another "
    "pour, write its name there."
)


def later_readings(castings: Castings, withdrawn: Collection[tuple[str, ReadingKey]], entries: Rows, checked: Rows) -> dict[str, list[dict[str, Any]]]:
    """The readings that the log lacks, by the names of the pours it has; `LogProblems` where the sheet disagrees with the log.

    It also refuses a row without a pour's name that was read before, whole or in part, and would count twice.
    `entries` are as `read_sheet` returns them, `checked` the same as `check_entries` does; `withdrawn` has pour and `ReadingKey`
    of each reading that was withdrawn.
    """
    later: dict[str, list[dict[str, Any]]] = {row["pour"]: [] for row in checked if row["pour"] in castings.pours.index}
    only_read = not any(row["settings"] for row in checked)
    problems: list[tuple[Any, ...]] = []
    for entry, row in zip(entries, checked, strict=True):
        name = row["pour"]
        if name in later:
            problems += [(entry["where"], *one) for one in _differences(castings, entry, row)]
            problems += [(entry["where"], *one) for one in _missing_readings(castings, withdrawn, row, later[name])]
        elif not name and row["readings"] and (words := _read_before(castings, row)):
            problems.append((entry["where"], "", "", words))
        elif name and row["readings"] and not row["settings"] and (later or (only_read and castings.study.varied)):
            logged = first_few([str(pour) for pour in castings.pours.index])
            words = f"{name} is not in the log, which {f'has {logged}' if logged else 'is empty'}, and has no settings here. "
            labels = listed(factor.label for factor in castings.study.varied)
            advice = "Correct the name, or write" if logged else "Write"
            problems.append((entry["where"], "pour", name, f"{words}{advice} the settings of the new pour, in columns headed {labels}."))
    if problems:
        raise LogProblems(problems)
    return later


def later_words(castings: Castings, later: Mapping[str, Rows], checked: Rows) -> str:
    """A sentence on what was done with the readings of pours that are in the log; "" if there are none."""
    rows = [row for row in checked if row["pour"] in later]
    if not rows:
        return ""
    added = sum(map(len, later.values()))
    words = (
        f"{first_few([row['pour'] for row in rows])} {'is' if len(rows) == 1 else 'are'} in the log already: {count(added, 'later reading')} added, "
        f"{sum(len(row['readings']) for row in rows) - added} already there skipped."
    )
    unread = [row["pour"] for row in rows if any(row[part] not in castings.pours.at[row["pour"], part] for part in ("by", "note"))]
    return words + (f" Notes and initials that differ from the log's were not read for {first_few(unread)}." if unread else "")


def _read_before(castings, row):
    """Why a row seems to be in the log already, whole or in part; "" if it does not. An unknown day may be any day."""
    pours, readings = castings.pours, castings.readings
    alike = pours["session"] == row["session"]
    if row["made_at"] != UNDATED:
        alike &= pours["made_at"].isna() | (pours["made_at"] == row["made_at"])
    for name, value in row["settings"].items():
        alike &= pours[name] == value
    stated = {reading_key(SimpleNamespace(**one)) for one in row["readings"]}
    logged = readings[readings["pour"].isin(pours.index[alike])].groupby("pour", sort=False)
    held = {str(pour): set(map(reading_key, rows.itertuples())) for pour, rows in logged}
    whole = [READ_BEFORE.format(pour=pour) for pour, known in held.items() if stated <= known]
    return next(iter([*whole, *(READ_IN_PART.format(pour=pour) for pour, known in held.items() if known <= stated)]), "")


def _differences(castings, entry, row):
    """A problem for each setting, session and day that differs from the log, or that the log lacks."""
    name, logged, day = row["pour"], castings.pours.loc[row["pour"]], row["made_at"]
    pairs = [(f.words, row["settings"][f.name], logged[f.name], f.show) for f in castings.study.factors if f.name in row["settings"]]
    if day != UNDATED:
        day_alone = not hour_known(day) and not missing(logged["made_at"])
        pairs.append(("made at", day, logged["made_at"].normalize() if day_alone else logged["made_at"], lambda made: f"{made:%Y-%m-%d %H:%M}"))
    if entry["session"] and entry["session"] != f"{day:%Y-%m-%d}":  # a session named by its day
        pairs.append(("session", row["session"], logged["session"], str))
    for words, stated, logged_value, show in pairs:
        unknown = missing(logged_value) or logged_value == ""
        if unknown or not (stated == logged_value or (isinstance(stated, float) and math.isclose(stated, logged_value, rel_tol=1e-9))):
            known = f"without {words}" if unknown else f"with {words} {show(logged_value)}"
            yield words, show(stated), (
                f"{name} is in the log already, {known}. Write the same or nothing here. If the log is wrong, correct it {BY_TAPPING} or with "
                "correct_pour; another pour needs another name."
            )


def _missing_readings(castings, withdrawn, row, new):
    """Add to `new` the readings of a row that the log lacks; a problem for each that differs from the log, or was withdrawn."""
    name, read = row["pour"], castings.readings
    logged = Counter(map(reading_key, read[read["pour"] == name].itertuples()))
    stated = [(reading_key(SimpleNamespace(**one)), one) for one in row["readings"]]
    more, unstated = Counter(one for one, _ in stated) - logged, logged - Counter(one for one, _ in stated)
    for key in dict.fromkeys(one[:3] for one in more):
        reading = castings.study.reading(key[0])
        words = f"{reading.words}{at_age(key[1] if reading.ages else None)}"
        new_values, in_log, not_here = (
            listed(one.known.said(reading) for one in some.elements() if one[:3] == key) for some in (more, logged, unstated)
        )
        if not_here:
            yield words, new_values, (
                f"{name} has {words} {in_log} in the log. Write the same or nothing here; if the log is wrong, correct it {BY_TAPPING} "
                "or with correct_reading; another pour needs another name."
            )
        elif any((name, one) in withdrawn for one in more if one[:3] == key):
            yield words, new_values, f"{words} {new_values} of {name} was withdrawn in the log. Empty the cell, or log it again with add_reading."
    for one, reading in stated:
        if more[one] > 0:
            more[one] -= 1
            new.append(reading)
