"""What is due: readings planned at an age after mixing that are still to be taken."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from testpour.bench.form_rows import NO_HOUR, LoggedPour, rows_since
from testpour.bench.slots import Slot, filled, slots, when_due
from testpour.common.problems import NoSuchName
from testpour.common.wording import age_words, count, first_few, hours_words, in_html, listed, table_html
from testpour.logbook.book import Logbook
from testpour.logbook.text_and_dates import moment

FAST = 10  # minutes by which the clock of another bench may be ahead of this one; common practice, no source


@dataclass(frozen=True, eq=False)
class Due:
    """Readings that are still to be taken.

    Parameters
    ----------
    table : DataFrame
        One row per planned reading, soonest first: pour, session, reading (in words), age (h after mixing),
        due_at (on the workshop's clock), status ("overdue", "due" now, "early" if it may be taken already,
        "later"), by_day (whether only the day of the pour is known, so that due_at is midnight at its start).
    now : datetime
    missed : int
        Planned readings whose time has passed; they are not in the table.
    ahead : tuple of str
        Pours that were made in the future, by the clock of this computer.
    """

    table: pd.DataFrame = field(repr=False)
    now: dt.datetime
    missed: int = 0
    ahead: tuple[str, ...] = ()

    def sentence(self) -> str:
        """How much is overdue, and what comes next."""
        late, now = (int((self.table["status"] == s).sum()) for s in ("overdue", "due"))
        parts = [f"{count(late, 'reading')} overdue"] if late else []
        parts += [f"{count(now, 'reading')} due now"] if now else []
        text = f"{' and '.join(parts)}. " if parts else "Nothing is due now. "
        ahead = self.table[self.table["status"].isin(("early", "later"))]
        if len(ahead):
            row = ahead.iloc[0]
            text += f"Next: {row['reading']} of {row['pour']} {self._when(row)}. "
        if self.ahead:
            text += f"This computer's clock puts {first_few(self.ahead)} into the future, so ages are counted wrong: set its time and time zone right. "
        text += self._hours_unknown()
        if self.missed:
            text += f"{count(self.missed, 'planned reading')} missed: the age has passed."
        return text.strip()

    __repr__ = sentence

    def _hours_unknown(self):
        """Which pours have a day but no hour, and how to give it."""
        rows = self.table[self.table["by_day"]].drop_duplicates("pour")
        if not len(rows):
            return ""
        pours = list(rows["pour"])
        return NO_HOUR.format(pours=first_few(pours, 3), pour=pours[0], so="readings are due by day") + " "

    def _when(self, row):
        hours = (row["due_at"].to_pydatetime().timestamp() - self.now.timestamp()) / 3600  # pandas would take it for a time in UTC
        if row["by_day"]:
            day = f"{row['due_at']:%a %d %b}"
            return {"due": "today", "overdue": f"overdue since {day}"}.get(row["status"], f"on {day}, in {hours_words(hours)}")
        if row["status"] == "overdue":
            return f"overdue by {hours_words(hours)}"
        day = "" if row["due_at"].date() == self.now.date() else f"{row['due_at']:%a %d %b} "
        return "now" if row["status"] == "due" else f"at {day}{row['due_at']:%H:%M}, in {hours_words(hours)}"

    def shown(self) -> pd.DataFrame:
        """The table in words, to look at."""
        table_shown = pd.DataFrame(index=self.table.index)
        table_shown["pour"], table_shown["read"] = self.table["pour"], self.table["reading"]
        table_shown["at age"] = [age_words(age) for age in self.table["age"]]
        table_shown["when"] = [self._when(row) for _, row in self.table.iterrows()]
        return table_shown

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>" + (table_html(self.shown(), index=False) if len(self.table) else "")


def due(logbook: Logbook, *, session: str | None = None, now: dt.datetime | None = None) -> Due:
    """Which readings are due, which are overdue and which come next.

    Parameters
    ----------
    logbook : Logbook
        Readings are planned at the ages that its study gives for readings and aims.
    session : str, optional
        One session only; by default every pour that may still be read.
    now : datetime, optional
        On the workshop's clock; the present moment by default.

    Returns
    -------
    Due

    Raises
    ------
    NoSuchName
        If the log has no such session.

    Notes
    -----
    A reading counts for a planned age from three quarters of it on; it is overdue a twentieth after it, and missed
    once the next planned age opens, or after three times the last. If only the day of a pour is known, its readings are
    due by day: from the earliest day on which they may be due to the latest.

    Examples
    --------
    >>> trial = tp.Logbook(study, "sqlite://")
    >>> trial.add_pour(settings={"catalyst": "1.5 %"}, session="S1")
    'P01'
    >>> tp.due(trial)
    Nothing is due now. Next: hardness of P01 at ..., in 4 h.
    """
    now, planned = moment(now), slots(logbook.study)
    longest = max((slot.closes for slot in planned), default=0)
    made = rows_since(logbook, now - dt.timedelta(hours=longest + 25), session)
    if session is not None and not made and str(session) not in (sessions := dict.fromkeys(logbook.castings().pours["session"])):
        raise NoSuchName(f"No session {session!r} in the log; it has {listed(sessions) or 'none yet'}.")
    late = moment(None) + dt.timedelta(minutes=FAST)
    return replace(due_of(planned, made.values(), now), ahead=tuple(pour.pour for pour in made.values() if pour.made_at > late))


def due_of(planned: Sequence[Slot], made: Iterable[LoggedPour], now: dt.datetime) -> Due:
    """`Due` of these pours."""
    rows, missed = [], 0
    for pour in made:
        for slot in planned:
            if filled(slot, pour.readings):
                continue
            when, status = when_due(slot, pour, now)
            missed += status == "missed"
            if status != "missed":
                rows.append((pour.pour, pour.session, slot.reading.words, slot.age, when, status, pour.by_day))
    columns = ["pour", "session", "reading", "age", "due_at", "status", "by_day"]
    table = pd.DataFrame(rows, columns=columns).sort_values("due_at", kind="stable", ignore_index=True)
    return Due(table, now, missed)
