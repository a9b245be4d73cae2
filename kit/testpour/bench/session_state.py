"""One session in the log and its plan: what was planned, what was poured, and what a message refers to."""

import datetime as dt
import re
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from testpour.bench.form_head import SessionHead
from testpour.bench.form_rows import LoggedPour, names_used, session_rows
from testpour.bench.lateness import Clocks
from testpour.bench.planned import FormProblem, PlannedPour, keep, kept, planned_pours
from testpour.bench.printed_sheet import BenchSheet
from testpour.bench.slots import Slot, events, once, slots
from testpour.logbook.book import Logbook
from testpour.logbook.tables import LogProblem
from testpour.planning.plan import Plan
from testpour.planning.pour_cautions import pour_cautions
from testpour.study.caution_rules import Cautions

TRIES = 9  # names a pour may use up: P03, P03-2 ... P03-9


class SessionState:
    """The state of a session form, which is in the log.

    If `source` is None, the latest kept session is opened, or the one named. `clock` gives the current time on the
    workshop's clock. `typed` holds rooms and lots by name as typed elsewhere: they are shown in the form and count
    once saved, unless the session has pours, which have their own. Raises `FormProblem` if it is unclear which
    session is meant, or a planned name is in another session of the log.
    """

    def __init__(
        self, logbook: Logbook, source: Plan | BenchSheet | pd.DataFrame | None = None,
        session: int | str | None = None, clock: Callable[[], dt.datetime] = dt.datetime.now,
        typed: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        self.logbook, self.study, self.clock = logbook, logbook.study, clock
        if source is None:
            self.session, self.planned = kept(logbook, session)
        else:
            self.session, self.planned = planned_pours(self.study, source, session)
        self._refuse_clash()
        if source is not None:
            keep(logbook, self.session, self.planned)
        self.events = {event.reading.name: event for event in events(self.study)}
        self.once = {reading.name: reading for reading in once(self.study)}
        self.slots = slots(self.study)
        self.made = session_rows(logbook, self.session)
        self.head = SessionHead.from_log(self.study, self.made)
        if not self.made:
            self.head.typed = dict(typed)
        self.watched_clock = Clocks(clock)

    def now(self) -> float:
        """This computer's clock in ms since 1970."""
        return self.clock().timestamp() * 1e3

    def cautions(self, planned: PlannedPour) -> Cautions:
        """Refusals and warnings for a planned pour in today's room."""
        return pour_cautions(self.study, {**planned.settings, **self.head.values})

    def pour_of(self, planned: PlannedPour) -> LoggedPour | None:
        """The pour in the log made from a planned one, or None; after one is taken back the next has a new name."""
        name = re.compile(rf"{re.escape(planned.pour)}(-\d)?")
        return next((made for pour, made in reversed(self.made.items()) if name.fullmatch(pour)), None)

    def planned_of(self, pour: str) -> PlannedPour:
        """The planned pour of that name."""
        for planned in self.planned:
            if planned.pour == pour:
                return planned
        raise LogProblem(f"No pour {pour!r} in this session; it has {', '.join(p.pour for p in self.planned)}.")

    def made_of(self, message: Mapping[str, Any], at: dt.datetime | None = None) -> LoggedPour:
        """The pour in the log that a message is about; refused if tapped, at `at`, before the pour was made."""
        made = self.made.get(message["name"])
        if made is None:
            raise LogProblem(f"{message['name']} is not in the log, or was taken back. Log catalyst in first.")
        if at is not None and made.minutes(at) < 0:
            raise LogProblem(
                f"This was tapped {at:%a %d %b %H:%M:%S}, before the catalyst of {made.pour} went in "
                f"({made.made_at:%a %d %b %H:%M:%S}): a clock was set in between. Leave it here and type the reading below."
            )
        return made

    def slot_of(self, message: Mapping[str, Any]) -> Slot:
        """The planned reading that a message is about."""
        return next(s for s in self.slots if s.reading.name == message["reading"] and s.age == message["age"])

    def free_name(self, planned: PlannedPour) -> str:
        """The name under which a planned pour is logged: its own, unless one of that name was taken back."""
        names = [planned.pour, *(f"{planned.pour}-{number}" for number in range(2, TRIES + 1))]
        used = names_used(self.logbook, names)
        for name in names:
            if name not in used:
                return name
        raise LogProblem(f"{planned.pour} was taken back {TRIES} times. Plan it again under another name.")

    def _refuse_clash(self):
        """Refuse planned names that are in another session of the log."""
        used = names_used(self.logbook, [p.pour for p in self.planned])
        problems = [
            f"{name} is in the log already, in session {session}. Plan again with castings=log.castings(), so that "
            "new pours get new names."
            for name, session in used.items()
            if session not in (None, self.session)
        ]
        if problems:
            raise FormProblem(problems)
