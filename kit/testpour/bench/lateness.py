"""When a tap was made, by the clocks involved; if they disagree, the tap is kept, marked and asked about."""

import datetime as dt
import re
import time
from collections.abc import Callable, Mapping
from typing import Any

from testpour.common.wording import hours_words

LONGEST_DELAY = 300  # seconds a tap may be on its way without a question: a kernel that starts again takes about one minute
STEP = 5  # seconds; a smaller difference between clocks is ignored
ASKED, CONFIRMED = "Time to confirm", "time confirmed"
ZONE = re.compile(r"\[UTC([+-]\d\d:\d\d)\]")  # beside a time that a bench logged on a server


class Clocks:
    """This computer's clock, checked at each tap; `clock` gives the present moment on the workshop's clock."""

    def __init__(self, clock: Callable[[], dt.datetime]) -> None:
        self._clock = clock
        self._steady = time.monotonic if clock == dt.datetime.now else lambda: 0.0
        self._seen = self._now()
        self.back = 0.0

    def _now(self):
        return self._clock().timestamp(), self._steady()

    def look(self) -> float:
        """Seconds by which the clock was set back since the last call, or 0. `back` keeps the last such value."""
        (wall, steady), self._seen = self._seen, self._now()
        lost = (self._seen[1] - steady) - (self._seen[0] - wall)
        if lost > STEP:
            self.back = lost
        return lost if lost > STEP else 0.0

    def moment(self, message: Mapping[str, Any]) -> tuple[dt.datetime, str]:
        """When a message was tapped, and the mark for its entry; ``""`` if there is nothing to ask.

        A tap cannot come from the future: if its clock is ahead, it gets this computer's time, and beyond
        `LONGEST_DELAY` a mark. The message has ``at``, when it was tapped, and ``set_back``, by how much its clock
        was set back, both in ms; either may be missing.
        """
        now, at, back = self._clock(), message.get("at"), self.look()
        back = max(back, (message.get("set_back") or 0) / 1e3)
        tapped = now if at is None else dt.datetime.fromtimestamp(at / 1e3)
        waited = 0.0 if at is None else now.timestamp() - at / 1e3
        span, when = hours_words(waited / 3600), f"{tapped:%a %d %b %H:%M}"
        if waited > LONGEST_DELAY:
            mark = f"{ASKED}: tapped {when}, arrived {span} later."
        elif waited < -LONGEST_DELAY:
            mark = f"{ASKED}: the browser's clock said {when}, {span} ahead of this computer's, whose time was logged."
        else:
            mark = f"{ASKED}: a clock was set back by {hours_words(back / 3600)} just before this tap." if back > STEP else ""
        return (tapped if waited >= 0 else now), mark


def open_question(note: str) -> str:
    """The open question in a note about the time of its entry; ``""`` if there is none."""
    place = note.rfind(ASKED)
    if place < 0 or place < note.rfind(CONFIRMED):
        return ""
    return note[place + len(ASKED) + 2 :].split(".")[0]


def in_local_time(moment: dt.datetime, note: str) -> dt.datetime:
    """A time logged by a bench in another time zone, on this computer's clock; the entry's note names that zone."""
    zones = ZONE.findall(note)
    if not zones:
        return moment
    return dt.datetime.fromisoformat(f"{moment.isoformat()}{zones[-1]}").astimezone().replace(tzinfo=None)
