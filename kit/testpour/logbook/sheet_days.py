"""The session and the date of pours that a sheet gives only once: beside the first of them, or in a row of their own above."""

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from testpour.common.wording import BY_TAPPING, first_few, listed, shortened
from testpour.logbook.headers import Head
from testpour.logbook.sheet_cells import DITTO, unescape_cell
from testpour.logbook.text_and_dates import DAY_FIRST
from testpour.logbook.workbook import DATED

Cells = Sequence[tuple[Head, str]]

DAY = ("session", "made_at")  # what may be written once for many pours


class Days:
    """Carries session and date down a sheet to the pours that do not state them; `read` makes an entry from the number and the cells of a row."""

    def __init__(self, read: Callable[[int, Cells], dict[str, Any]]) -> None:
        self.read = read
        self.waiting: list[tuple[int, Cells]] = []  # rows of a session or a date alone, since the last pour
        self.alone: list[tuple[int, Cells]] = []  # those of them that applied to a pour
        self.above: list[str] = []  # pours that took the date of the pour above
        self.remarks: list[str] = []  # rows that hold nothing but words
        self.last: dict[str, Any] = {}  # the pour above, or the session and date given since

    def complete(self, entry: dict[str, Any]) -> None:
        """Fill in the session and the date that a pour does not state itself."""
        for number, cells in self.waiting:
            if "where" in self.last and "session" in entry and [head.name for head, _ in cells] == ["session"]:
                self.remark(number, [cell for _, cell in cells])  # not a session, as the pour below has its own
                continue
            self.alone.append((number, cells))
            read = self.read(number, cells)
            self.last = {**({} if "where" in self.last else self.last), **{name: read[name] for name in DAY if name in read}}
        self.waiting = []
        session = entry.setdefault("session", self.last.get("session", ""))
        within = session == self.last.get("session", session)  # within a session a date too is written once
        if within and "made_at" in self.last and "made_at" not in entry:
            entry["made_at"] = self.last["made_at"]
            self.above.append(entry["where"])
        self.last = entry

    def timed(self, entries: Iterable[dict[str, Any]]) -> Iterator[tuple[str, str, str, str]]:
        """Join dates with the times of day beside them; a problem for each time without a certain date."""
        latest = dt.time()
        for entry in (entry for entry in entries if "clock" in entry):
            clock, day = entry.pop("clock"), entry.get("made_at")
            problem = ""
            if day is None:
                problem = "has no date. Write the date beside it."
            elif entry["where"] in self.above and clock < latest:
                problem = "is earlier than the time above, and has no date. Write the date beside it."
            elif day.time() not in (dt.time(), clock):
                problem = f"is beside a date with another time, {day:%H:%M}. Keep the right one."
            else:
                entry["made_at"] = dt.datetime.combine(day, clock)
            latest = clock
            if problem:
                yield entry["where"], "", f"{clock:%H:%M}", f"{clock:%H:%M} {problem}"

    def close(self) -> None:
        """Note sessions and dates alone below the last pour as remarks."""
        for number, cells in self.waiting:
            self.remark(number, [cell for _, cell in cells])

    def remark(self, number: int, texts: Iterable[str]) -> None:
        """Note a row of words that is not read: it may be about one pour or about several."""
        texts = [unescape_cell(text) for text in texts if text.casefold() not in DITTO]
        if re.search(r"[^\W\d_]{2}", "".join(texts)):
            self.remarks.append(f"{number} ({shortened(', '.join(texts))})")

    def doubtful(self, pours: Iterable[tuple[int, dict[Head, str]]]) -> Iterator[tuple[str, str, str, str]]:
        """A problem for each session in a row of its own if other pours have theirs beside them: it may be a remark."""
        beside = any(head.name == "session" and cell and cell.casefold() not in DITTO for _, written in pours for head, cell in written.items())
        for number, cells in self.alone if beside else ():
            for head, cell in cells:
                if head.name == "session":
                    problem = (
                        "is in a row of its own, while other pours have their session beside them. "
                        "Write it beside each pour it applies to, or in the notes if it is a remark."
                    )
                    yield f"row {number}", head.text, cell, f"{cell} {problem}"

    def said(self, entries: Iterable[dict[str, Any]]) -> Iterator[str]:
        """Make a session of each day without one; sentences on that, and on rows that give a session or a date alone."""
        if self.alone:
            places = [f"{number} ({', '.join(cell for _, cell in cells)})" for number, cells in self.alone]
            yield f"taken to apply to the pours below: row {listed(places)}."
        if self.remarks:
            advice = "Write what applies to a pour in its own row: the date, the session, a setting or a note."
            yield f"not read, because it may be about one pour or several: row {first_few(self.remarks)}. {advice}"
        with_date = [entry for entry in entries if not entry["session"] and "made_at" in entry]
        for entry in with_date:
            entry["session"] = f"{entry['made_at']:%Y-%m-%d}"
        if with_date:
            yield "no session is given, so the pours of each day were taken as one session. If that is wrong, write the session beside them."
        undated = [entry["where"].removeprefix("row ") for entry in entries if not entry["session"] and entry["settings"]]
        if len(undated) > 1:
            yield (
                f"the pours of row {first_few(undated)} have no date and no session, so they were taken as one session, called 1, "
                "on an unknown day. If they were poured on several days, add a column Date; correct what is in the log already "
                f"{BY_TAPPING} or with log.correct_pour(pour, session=..., made_at=..., why=...)."
            )


def of_two_origins(rows: Iterable[tuple[int, Iterable[tuple[Head, str]]]]) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each date cell that may have day and month swapped, of numbered rows.

    A program that takes 4/11 for the 11th of April leaves 13/4 as text, so dates left as text give it away.
    """
    dates = [(number, head, cell) for number, cells in rows for head, cell in cells if head.name == "made_at"]
    as_text = next((cell for *_, cell in dates if DAY_FIRST.match(cell)), "")
    for number, head, cell in dates if as_text else ():
        year, month, day = cell[:10].split("-") if DATED.fullmatch(cell) else ("", "", "")
        if day != month and day <= "12":
            problem = (
                f"{cell[:10]} may be {year}-{day}-{month}: {as_text} is left as text, so a spreadsheet program may have taken days for months. "
                "Write every date of the column like 2026-03-01."
            )
            yield f"row {number}", head.text, cell[:10], problem


def counted_anew(pours: Iterable[tuple[str, str, Any]], word: str = "") -> Iterator[tuple[str, str, str, str]]:
    """A problem for each session that comes back on a later day, after another session: they may be numbered afresh each day.

    `pours` are where each is, its session and its day, None if that is not known; `word` is what a day is called, such as Week.
    """
    days_of: dict[str, dict[Any, str]] = {}
    for where, session, day in pours:
        if session and day is not None:
            days_of.setdefault(session, {}).setdefault(day, where)
    for session, days in days_of.items():
        *before, _ = days
        if any(day in others and name not in (session, str(day)) for name, others in days_of.items() for day in before):  # one may be called by its day
            problem = f"is beside {f'{word} {listed(map(str, days))}'.strip()}, but the pours of one session are made on one day"
            yield list(days.values())[1], "session", session, f"{session} {problem}. Name each by its day too, as in {f'{word} {before[0]} {session}'.strip()}."


def may_stand_alone(cells: Cells) -> bool:
    """Whether a row holds a session or a date and nothing else; words in a column of dates are a remark."""
    filled = [(head.name, cell) for head, cell in cells if cell.casefold() not in DITTO]
    return bool(filled) and all(name == "session" or (name == "made_at" and re.search(r"\d|^\S+$", cell)) for name, cell in filled)


def only_shared(cells: Cells) -> str:
    """Why a row is not a pour: it holds only what all pours of a session share; "" if it may be one."""
    if any(head.name not in DAY and not getattr(head.column, "by_session", False) for head, _ in cells):
        return ""
    shared = listed(f"{head.text} {cell}" for head, cell in cells)
    return (
        f"this row holds only what all pours of a session share: {shared}. If it applies to the pours below, write it in each of their rows; "
        "if it was a pour, write its name beside it."
    )
