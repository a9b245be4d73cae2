"""Corrections and withdrawals: each a new row that takes the place of an older one, with the reason in its note."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from testpour.cautions import check_settings
from testpour.logbook.door import clean
from testpour.logbook.entries import moment_of, reading_of, settings_of, with_refusals
from testpour.logbook.ledger import Ledger, because
from testpour.study import newer_name

if TYPE_CHECKING:
    import datetime as dt


def corrected_pour(
    ledger: Ledger, pour: str, why: str, settings: Mapping[str, str | float] | None = None,
    session: str | None = None, made_at: str | dt.datetime | None = None, by: str = ""
) -> int:
    """Add a corrected version of a pour; returns its entry number. See `Logbook.correct_pour`.

    `settings` holds only those that change, None where one is not known after all.
    """
    settings = settings or {}
    changed = settings_of(ledger.study, settings)
    old, row = _old(ledger.standing(pour), "Corrected", why)
    held = {name: value for name, value in ledger.settings(old.entry).items() if name not in settings} | changed
    row["note"] = with_refusals(row["note"], check_settings(ledger.study, held).refusals)
    row["session"] = clean(session, line=True) or old.session
    row["by"] = clean(by, line=True) or old.by
    if made_at is not None:
        row["made_at"] = moment_of(made_at)
    return ledger.insert_pour({**row, "settings": held})


def corrected_reading(
    ledger: Ledger, entry: int, why: str, ways: Mapping[str, Any], age: str | float | None = None,
    by: str = ""
) -> int:
    """Add a corrected version of a reading; returns its entry number. See `Logbook.correct_reading`.

    `ways` are ``value``, ``between``, ``not_yet`` and ``already``, None where not given; `age` and `by` stay as they are
    where not given.
    """
    old, row = _old(ledger.counting("reading", entry), "Corrected", why)
    row["reading"] = newer_name(row["reading"], ledger.study.readings)
    given = {**row, "age": age if age is not None else old.age, "by": by or old.by, **ways}
    return ledger.insert("reading", {**row, **reading_of(ledger.study, given)})


def withdrawn_pour(ledger: Ledger, pour: str, why: str) -> None:
    """Add the row that says a pour no longer counts."""
    old, row = _old(ledger.standing(pour), "Withdrawn", why)
    ledger.insert_pour({**row, "void": True, "settings": ledger.settings(old.entry)})


def withdrawn(ledger: Ledger, kind: str, entry: int, why: str) -> None:
    """Add the row that says a "reading" or a "photo" no longer counts."""
    ledger.insert(kind, {**_old(ledger.counting(kind, entry), "Withdrawn", why)[1], "void": True})


def _old(old, deed, why):
    """The row that counts now, and a new one in its place with the reason in its note."""
    row = old._asdict() | {"supersedes": old.entry, "note": because(old.note, deed, why)}
    del row["entry"]
    return old, row
