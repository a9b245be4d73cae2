"""The session and the date of pours, where a sheet writes them once: beside the first of them, or in a row of their own above."""

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from testpour.logbook.door import DAY_FIRST
from testpour.logbook.headers import Head
from testpour.logbook.sheet_cells import DITTO, untame
from testpour.logbook.workbook import DATED
from testpour.wording import first_few, listed, shortened

Cells = Sequence[tuple[Head, str]]

DAY = ("session", "made_at")  # what stands once for many pours
# What begins with a day, names a group, speaks of all or has a colon may be the title of the pours below.
TITLE = re.compile(
    r"^(?:[*†‡]|(?:mon|tues|wednes|thurs|fri|satur|sun)day\b|\d{1,4}[./-]\d{1,2}[./-]\d"
    r"|\d{1,2}(?:st|nd|rd|th)?\s+(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
    r"|(?:series|group|batch|set|round|class|week|day|session|bench)\s+(?:\S+$|#?\d+\b))|\ball\b|:(?!\d)",
    re.IGNORECASE,
)


class Days:
    """Takes session and date down a sheet; `read` makes an entry of the number and the cells of a row."""

    def __init__(self, read: Callable[[int, Cells], dict[str, Any]]) -> None:
        self.read = read
        self.waiting: list[tuple[int, Cells]] = []  # rows of a session or a date alone, since the last pour
        self.alone: list[tuple[int, Cells]] = []  # those of them that held for a pour
        self.above: list[str] = []  # pours that have the date of the pour above
        self.titles: list[str] = []  # what stands in a row of its own and is no note of the pour above
        self.apart: list[tuple[int, list[str]]] = []  # remarks below an empty row, since the last pour
        self.gap = False  # whether an empty row stands below the last pour
        self.headed: set[str] = set()  # columns in which a title stands above the first pour
        self.last: dict[str, Any] = {}  # the pour above, or what stands alone below it

    def give(self, entry: dict[str, Any], above: Sequence[dict[str, Any]]) -> None:
        """Give a pour what it does not say of its session and date itself; `above` are the pours above it."""
        for number, cells in self.waiting:
            if above and "session" in entry and [head.name for head, _ in cells] == ["session"]:
                self.remark(number, [cell for _, cell in cells], above)  # no session, for the pour below has its own
                continue
            self.alone.append((number, cells))
            said = self.read(number, cells)
            self.last = {**({} if "where" in self.last else self.last), **{name: said[name] for name in DAY if name in said}}
        for number, texts in self.apart:
            self._note(number, texts, above)
        self.waiting, self.apart, self.gap = [], [], False
        session = entry.setdefault("session", self.last.get("session", ""))
        within = session == self.last.get("session", session)  # within a session a date too is written once
        if within and "made_at" in self.last and "made_at" not in entry:
            entry["made_at"] = self.last["made_at"]
            self.above.append(entry["where"])
        self.last = entry

    def timed(self, entries: Iterable[dict[str, Any]]) -> Iterator[tuple[str, str, str, str]]:
        """Join dates with the times of day beside them; a problem for each time that no date goes with for sure."""
        latest = dt.time()
        for entry in (entry for entry in entries if "clock" in entry):
            clock, day = entry.pop("clock"), entry.get("made_at")
            said = ""
            if day is None:
                said = "stands without a date. Write the date beside it."
            elif entry["where"] in self.above and clock < latest:
                said = "is earlier than the time above, and no date stands beside it. Write the date beside it."
            elif day.time() not in (dt.time(), clock):
                said = f"stands beside a date with another time, {day:%H:%M}. Keep the right one."
            else:
                entry["made_at"] = dt.datetime.combine(day, clock)
            latest = clock
            if said:
                yield entry["where"], "", f"{clock:%H:%M}", f"{clock:%H:%M} {said}"

    def close(self, entries: Sequence[dict[str, Any]]) -> None:
        """Take what stands alone below the last pour as a remark on it, and below an empty row as one on the whole table."""
        for number, cells in self.waiting:
            self.remark(number, [cell for _, cell in cells], entries)
        for number, texts in self.apart:
            self._note(number, texts, [])

    def remark(self, number: int, texts: Iterable[str], above: Sequence[dict[str, Any]], column: str = "") -> None:
        """Add what stands in a row of its own to the note of the pour above it, unless it may be about several pours.

        It may be where it stands in the same `column` as a title above the first pour.
        """
        if column and (not above or column in self.headed):
            self.headed.add(column)
            above = []
        texts = [untame(text) for text in texts if text.casefold() not in DITTO]
        if self.gap and texts and above:
            self.apart.append((number, texts))
        else:
            self.gap |= not texts
            self._note(number, texts, above)

    def _note(self, number, texts, above):
        if above and not any(map(TITLE.search, texts)) and not _of_another(texts, above):
            above[-1]["note"] = " ".join([above[-1].get("note", ""), *texts]).strip()
        elif re.search(r"[^\W\d_]{2}", "".join(texts)):
            self.titles.append(f"{number} ({shortened(', '.join(texts))})")

    def doubtful(self, pours: Iterable[tuple[int, dict[Head, str]]]) -> Iterator[tuple[str, str, str, str]]:
        """A problem for each session that stands alone where other pours have theirs beside them: it may be a remark."""
        beside = any(head.name == "session" and cell and cell.casefold() not in DITTO for _, written in pours for head, cell in written.items())
        for number, cells in self.alone if beside else ():
            for head, cell in cells:
                if head.name == "session":
                    said = (
                        "stands alone, while other pours have theirs beside them. "
                        "Write it beside each pour it holds for, or into the notes if it is a remark."
                    )
                    yield f"row {number}", head.text, cell, f"{cell} {said}"

    def said(self, entries: Iterable[dict[str, Any]]) -> Iterator[str]:
        """Make a session of each day without one, and say so, and what was taken from rows of their own."""
        if self.alone:
            places = [f"{number} ({', '.join(cell for _, cell in cells)})" for number, cells in self.alone]
            yield f"what stands alone in row {listed(places)} was taken to hold for the pours below it."
        if self.titles:
            advice = "Write what holds for a pour into its own row: the date, the session, a setting or a note."
            yield f"what stands alone in row {first_few(self.titles)} may be about several pours, so it was not read. {advice}"
        dated = [entry for entry in entries if not entry["session"] and "made_at" in entry]
        for entry in dated:
            entry["session"] = f"{entry['made_at']:%Y-%m-%d}"
        if dated:
            yield "no session is written beside a date, so the pours of one day were taken as one session. If it was another, write it beside them."
        undated = [entry["where"].removeprefix("row ") for entry in entries if not entry["session"] and entry["settings"]]
        if len(undated) > 1:
            yield (
                f"no date and no session stands beside the pours of row {first_few(undated)}, so they were taken as poured in one session, called 1, "
                "on a day that is not known. Where they were poured on several days, write a column Date; what is in the log already is put "
                "right with log.correct_pour(pour, session=..., made_at=..., why=...)."
            )


def _of_another(texts, above):
    """Whether texts name a pour, and not the last one; a name of one letter or of figures may be a word as well."""
    *others, last = [entry.get("pour", "") for entry in above]
    names = [name for name in others if len(name) > 1 and re.search(r"[^\W\d_]", name)]
    words = set(re.findall(r"[\w.#/-]+", " ".join(texts)))
    return last not in words and not words.isdisjoint(names)


def of_two_origins(rows: Iterable[tuple[int, Iterable[tuple[Head, str]]]]) -> Iterator[tuple[str, str, str, str]]:
    """A problem for each date cell that may have day and month swapped, of numbered rows.

    A program that takes 4/11 for the 11th of April leaves 13/4 as text, so dates as text beside such cells give it away.
    """
    dates = [(number, head, cell) for number, cells in rows for head, cell in cells if head.name == "made_at"]
    as_text = next((cell for *_, cell in dates if DAY_FIRST.match(cell)), "")
    for number, head, cell in dates if as_text else ():
        year, month, day = cell[:10].split("-") if DATED.fullmatch(cell) else ("", "", "")
        if day != month and day <= "12":
            said = (
                f"{cell[:10]} may be {year}-{day}-{month}: {as_text} is left as text, so a spreadsheet program may have taken days for months. "
                "Write every date of the column like 2026-03-01."
            )
            yield f"row {number}", head.text, cell[:10], said


def counted_anew(pours: Iterable[tuple[str, str, Any]], word: str = "") -> Iterator[tuple[str, str, str, str]]:
    """A problem for each session that comes back on a later day, after another session: sessions may be counted anew on each day.

    `pours` are where each stands, its session and its day, None where that is not known; `word` is what a day is called, such as Week.
    """
    held: dict[str, dict[Any, str]] = {}
    for where, session, day in pours:
        if session and day is not None:
            held.setdefault(session, {}).setdefault(day, where)
    for session, days in held.items():
        *before, _ = days
        if any(day in others for name, others in held.items() if name != session for day in before):
            said = f"stands beside {f'{word} {listed(map(str, days))}'.strip()}, and the pours of one session are made on one day"
            yield list(days.values())[1], "session", session, f"{session} {said}. Name each by its day too, as in {f'{word} {before[0]} {session}'.strip()}."


def may_stand_alone(cells: Cells) -> bool:
    """Whether a row holds a session or a date and nothing else; words in a column of dates are a remark."""
    held = [(head.name, cell) for head, cell in cells if cell.casefold() not in DITTO]
    return bool(held) and all(name == "session" or (name == "made_at" and re.search(r"\d|^\S+$", cell)) for name, cell in held)


def only_shared(cells: Cells) -> str:
    """Why a row is no pour by itself: it holds only what all pours of a session share; "" where it may be one."""
    if any(head.name not in DAY and not getattr(head.column, "by_session", False) for head, _ in cells):
        return ""
    held = listed(f"{head.text} {cell}" for head, cell in cells)
    return (
        f"only what all pours of a session share stands here: {held}. If it holds for the pours below, write it in each of their rows; "
        "if it was a pour, write its name beside it."
    )
