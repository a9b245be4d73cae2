"""One session at the bench: takes the taps of a form and returns the state to show; independent of any browser."""

import contextlib
import datetime as dt
import threading
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from testpour.bench.cards import Cards
from testpour.bench.form_rows import session_rows
from testpour.bench.methods import several
from testpour.bench.planned import kept_sessions
from testpour.bench.printed_sheet import BenchSheet
from testpour.bench.session_state import SessionState
from testpour.bench.taps import Refused, Taps
from testpour.common.units import UnitProblem, beside_field
from testpour.common.wording import hours_words
from testpour.logbook.book import Logbook
from testpour.logbook.database import on_server
from testpour.logbook.tables import LogProblem
from testpour.planning.plan import Plan

KEPT = 60  # answers kept for a form to collect


class Desk(SessionState):
    """The state of a session form that takes taps."""

    def __init__(
        self, logbook: Logbook, source: Plan | BenchSheet | pd.DataFrame | None = None,
        session: int | str | None = None, clock: Callable[[], dt.datetime] = dt.datetime.now,
        typed: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        super().__init__(logbook, source, session, clock, typed)
        self._taps, self._away = Taps(self), ""
        self._answers: dict[str, Any] = {}
        self._one_at_a_time = threading.RLock()
        self._shown: dict[str, Any] = {}

    def state(self) -> dict[str, Any]:
        """What the form shows, as plain data."""
        try:
            if not self._away or not self._shown:  # the log was out of reach a moment ago: do not wait for it again
                self._shown = Cards(self).state()
        except LogProblem as problem:  # the form keeps what it last showed, and says so
            if not self._shown:
                raise
            self._away = str(problem)
        notices = [f"{self._away} The form shows what it last knew; taps are kept here and can be sent again."] if self._away else []
        more = {"answers": dict(self._answers), "kept": kept_sessions(self.logbook), "notices": [*notices, *self._clocks()]}
        return self._shown | more

    def take(self, message: Mapping[str, Any]) -> dict[str, Any]:
        """Do what a message asks and return the new state.

        A message has a unique ``id``; a ``deed``, which names a method of `Taps`; ``at``, when it was tapped, in ms
        since 1970: the browser's clock, ``told``, and its difference from this computer's, ``offset``; ``set_back``,
        ms by which the browser's clock was set back since the previous tap; ``pour``; and what the deed needs. In the
        state, ``answers`` says for each message whether it is on the disk, and if not, why.
        """
        with self._one_at_a_time:
            if message.get("id") not in self._answers or not self._answers[message["id"]]["ok"]:
                self._answer(message)
            return self.state()

    def refresh(self) -> dict[str, Any]:
        """The state after reading the log again: another bench may have logged, and time has passed."""
        with self._one_at_a_time:
            with contextlib.suppress(LogProblem):  # `state` says it
                self._reread()
            return self.state()

    def preview(self, message: Mapping[str, Any]) -> dict[str, Any]:
        """What several readings together amount to, in words, before they are logged.

        The message holds the readings as ``text`` and, if the method needs them, ``thickness`` and ``edge`` in mm. The
        answer is in ``words``; ``fine`` says whether the method is satisfied.
        """
        slot = self.slot_of(message)
        try:
            readings = several(slot.reading, message["text"], message.get("thickness"), message.get("edge"))
        except UnitProblem as problem:
            return {"words": str(problem), "fine": False}
        return {"words": readings.sentence(), "fine": readings.enough and not readings.flags}

    def _reread(self):
        """Read the rows of the session again, and note whether the log is out of reach."""
        try:
            self.made, self._away = session_rows(self.logbook, self.session), ""
        except LogProblem as problem:
            self._away = str(problem)
            raise

    def _answer(self, message):
        answer = {"ok": False, "pour": message.get("pour", ""), "refused": False}
        try:
            self._reread()
            at, self._taps.mark = self.watched_clock.moment(message)  # never in the future
            answer |= {"words": getattr(self._taps, message["deed"])(message, at), "ok": True}
            self._reread()
        except (ValueError, KeyError) as problem:  # whatever the log, the units or the study refuse
            answer |= {"words": beside_field(problem), "refused": isinstance(problem, Refused)}
        self._answers.pop(message["id"], None)
        self._answers[message["id"]] = answer
        while len(self._answers) > KEPT:
            self._answers.pop(next(iter(self._answers)))

    def _clocks(self):
        """Notices about clocks: set back, behind the log, or different from the server's."""
        notices, now = [], self.clock()
        if self.watched_clock.back:
            notices.append(f"This computer's clock was set back by {hours_words(self.watched_clock.back / 3600)} while the form "
                        "was open. Times logged before and after do not fit together: check them.")
        last = max((made.made_at for made in self.made.values()), default=now)
        if last > now + dt.timedelta(seconds=60):
            notices.append(f"The log holds a pour made at {last:%a %d %b %H:%M}, and this computer's clock says {now:%a %d %b %H:%M}. "
                        "Set the clock right before the next tap.")
        if on_server(self.logbook.address) and not self._away:
            with contextlib.suppress(LogProblem):
                notices.append(self.logbook.clock_words())
        return [text for text in notices if text]
