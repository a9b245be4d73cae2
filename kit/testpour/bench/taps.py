"""What a tap writes into the log; a tap that is sent twice is logged once."""

import contextlib
import datetime as dt
import math
import warnings
from collections import Counter
from collections.abc import Mapping
from typing import Any

from testpour.bench.form_rows import TAKEN_BACK, replaced_row, session_rows
from testpour.bench.lateness import CONFIRMED
from testpour.bench.methods import several
from testpour.bench.session_state import SessionState
from testpour.bench.slots import filled, too_early, when_due
from testpour.common.units import UnitProblem
from testpour.common.wording import count
from testpour.logbook.database import on_server
from testpour.logbook.known import Known, known_of
from testpour.logbook.log_warnings import Caution
from testpour.logbook.reading_text import known
from testpour.logbook.server import zone
from testpour.logbook.tables import LogProblem

Message = Mapping[str, Any]  # what a form sends; see `Desk.take`


class Refused(LogProblem):
    """The cautions refuse the pour; it can be logged as poured anyway."""


class Taps:
    """What taps do to the log of a `SessionState`: each deed is a method, named in the message.

    A deed takes the message and the moment of the tap. `mark` says what is doubtful about that moment, and goes into the
    note of the entry. It returns what was done in words, once it is on the disk; a `LogProblem` says that it is not.
    """

    def __init__(self, desk: SessionState) -> None:
        self.desk, self.log, self.mark = desk, desk.logbook, ""

    @property
    def by(self) -> str:
        """Initials of who reads."""
        return self.desk.head.by

    def head(self, message: Message, at: dt.datetime) -> str:
        """Save the room and the lots as typed; pours made before they were known get them too."""
        head = self.desk.head
        head.take(message.get("values", {}), message.get("by", ""), at.timestamp() * 1e3)
        late = [made for made in self.desk.made.values() if head.lacking(made)]
        for made in late:
            self.log.correct_pour(made.pour, settings=head.lacking(made), why="read after the catalyst went in", by=self.by)
        but = head.not_taken()
        return "room and lots saved" + (f", except {but}" if but else "") + (f"; added to {', '.join(made.pour for made in late)}" if late else "")

    def catalyst_in(self, message: Message, at: dt.datetime) -> str:
        """Log the pour; ``anyway`` if it was made although the cautions refuse it."""
        desk = self.desk
        planned = desk.planned_of(message["pour"])
        if desk.pour_of(planned):
            return "catalyst is in already"
        refusals = desk.cautions(planned).refusals
        if refusals and not message.get("anyway"):
            raise Refused(" ".join(refusals))
        where = f"[{zone(at)}]" if on_server(self.log.address) else ""  # benches in several zones may share the log
        try:
            with _shown_on_the_card():
                self.log.add_pour(
                    desk.free_name(planned), settings={**planned.settings, **desk.head.values}, session=desk.session,
                    made_at=at.replace(microsecond=0), by=self.by, note=f"{where} {self.mark}", made_anyway=bool(refusals),
                )
        except LogProblem:
            desk.made = session_rows(self.log, desk.session)
            if desk.pour_of(planned):  # another bench was first
                return "catalyst is in already"
            raise
        return f"catalyst in at {at:%H:%M:%S}"

    def check(self, message: Message, at: dt.datetime) -> str:
        """Log a check: it has not happened yet."""
        made, event = self.desk.made_of(message, at), self.desk.events[message["reading"]]
        now, logged_row = _reached(made, event, at), made.last(event.reading.name)
        if logged_row is None:
            self.log.add_reading(made.pour, event.reading.name, not_yet=now, by=self.by, note=self.mark)
        elif logged_row.known == "not yet" and now > logged_row.low:
            self.log.correct_reading(logged_row.entry, not_yet=now, why=self._why("checked again"), by=self.by)
        return f"{event.still} at {now:.1f} {event.reading.unit}"

    def happened(self, message: Message, at: dt.datetime) -> str:
        """Log an event that happened, or was found to have happened; ``with`` is what was read at that moment.

        Raises `UnitProblem` if that, such as the temperature at the peak, cannot be read.
        """
        made, event = self.desk.made_of(message, at), self.desk.events[message["reading"]]
        companion = str(message.get("with") or "").strip()
        if companion and event.companion is not None:
            event.companion.parse(companion)  # refused before anything is stored
        now, logged_row = _reached(made, event, at), made.last(event.reading.name)
        if logged_row is not None and logged_row.known == "not yet":
            why = self._why("it happened between the last check and this one")
            self.log.correct_reading(logged_row.entry, between=(logged_row.low, max(now, logged_row.low)), why=why, by=self.by)
        elif logged_row is None:
            exact, already = (None, now) if event.check else (now, None)
            self.log.add_reading(made.pour, event.reading.name, exact, already=already, by=self.by, note=self.mark)
        if companion and event.companion is not None and made.last(event.companion.name) is None:
            with _shown_on_the_card():
                self.log.add_reading(made.pour, event.companion.name, companion, by=self.by)
        return f"{event.done.lower()} at {now:.1f} {event.reading.unit}"

    def watched(self, message: Message, at: dt.datetime) -> str:
        """Make the time of an event exact: somebody was watching it."""
        made, event = self.desk.made_of(message), self.desk.events[message["reading"]]
        logged_row = made.last(event.reading.name)
        if logged_row is not None and logged_row.known == "already":
            self.log.correct_reading(logged_row.entry, value=logged_row.high, why="it was watched as it happened", by=self.by)
        return f"{event.done.lower()}, watched"

    def write(self, message: Message, at: dt.datetime) -> str:
        """Log a reading as typed, with or without a planned ``age``: a value, or words such as ``"20 to 25 min"``; a second one corrects the first."""
        slot = self.desk.slot_of(message) if message.get("age") is not None else None
        reading = slot.reading if slot else self.desk.study.reading(message["reading"])
        text = str(message.get("text", "")).strip()
        if not text:
            raise LogProblem(f"{reading.words}: nothing typed yet.")
        made = self.desk.made_of(message, at if slot else None)
        self._refuse_ahead(made, reading, text, at)
        logged_row = made.last(reading.name) if slot is None else next(iter(filled(slot, made.readings)), None)
        if logged_row is None:
            age, note = (None, "") if slot is None else _age(slot, made, at)
            with _shown_on_the_card():
                self.log.add_reading(made.pour, reading.name, text, age=age, note=note if slot is None else f"{note} {self.mark}", by=self.by)
        elif not _same(logged_row, reading, text):
            self.log.correct_reading(logged_row.entry, text, why="typed at the bench", by=self.by)
        return f"{reading.words} {text}"

    def values(self, message: Message, at: dt.datetime) -> str:
        """Log several readings of one specimen, all or none; requirements of the method that are not met go into their note.

        The message holds ``text`` with blanks between the readings, ``specimen``, and ``thickness`` and ``edge`` in mm if the method needs them.
        """
        made, slot = self.desk.made_of(message, at), self.desk.slot_of(message)
        found = several(slot.reading, message["text"], message.get("thickness"), message.get("edge"))
        read = (found.alone,) if found.alone else tuple(Known(value, value) for value in found.values)
        if not read:
            raise LogProblem(f"{slot.reading.words}: no number yet. Type one, or several with blanks between.")
        specimen = message.get("specimen", "")
        logged = [known_of(row) for row in filled(slot, made.readings) if row.specimen == specimen]
        if Counter(logged) == Counter(read):
            return f"{slot.reading.words} is in the log already"
        age, note = _age(slot, made, at)
        note = " ".join(filter(None, [note, *found.flags, self.mark]))
        values = [message["text"]] if found.alone else list(found.values)
        self.log.add_readings(made.pour, slot.reading.name, values, age=age, specimen=specimen, note=note, by=self.by)
        return f"{slot.reading.words}, {found.sentence()}"

    def take_back(self, message: Message, at: dt.datetime) -> str:
        """Take taps back: what each replaced counts again; if it replaced nothing, the row is withdrawn."""
        made = self.desk.made_of(message)
        rows = [row for row in made.readings if row.entry in message["entries"]]
        for row in rows:
            before = replaced_row(self.log, row, made.pour)
            if before is None:
                self.log.withdraw_reading(row.entry, why=TAKEN_BACK)
            else:
                self.log.correct_reading(row.entry, **known_of(before).way(), why=TAKEN_BACK, by=self.by)
        return f"{count(len(rows), 'tap')} taken back"

    def time_right(self, message: Message, at: dt.datetime) -> str:
        """Confirm the time of a tap that came late, or by a clock that was set back; without ``entries``, that of the pour."""
        made, entries = self.desk.made_of(message), message.get("entries", ())
        if not entries:
            self.log.correct_pour(made.pour, why=CONFIRMED, by=self.by)
        for row in (row for row in made.readings if row.entry in entries):
            self.log.correct_reading(row.entry, **known_of(row).way(), why=CONFIRMED, by=self.by)
        return "the time is confirmed"

    def photo(self, message: Message, at: dt.datetime) -> str:
        """Add a photograph of the pour taken now; ``picture`` is the bytes of its file.

        Raises `LogProblem` if it is not a picture this kit reads.
        """
        made = self.desk.made_of(message)
        age = None if made.by_day else round(max(made.minutes(at), 0) / 60, 2)
        self.log.add_photo(made.pour, message["picture"], age=age, by=self.by, note=self.mark)
        return "photograph" if age is None else f"photograph at {age:.1f} h"

    def photo_back(self, message: Message, at: dt.datetime) -> str:
        """Take photographs back; their rows stay in the history."""
        for entry in message["entries"]:
            self.log.withdraw_photo(entry, why=TAKEN_BACK)
        return "photograph taken back"

    def unpour(self, message: Message, at: dt.datetime) -> str:
        """Take the pour back, and its readings with it."""
        made = self.desk.made.get(message["name"])
        if made is None:
            return "taken back already"
        self.log.withdraw_pour(made.pour, why=TAKEN_BACK)
        return "catalyst in taken back"

    def _why(self, why):
        return f"{why}. {self.mark}" if self.mark else why

    def _refuse_ahead(self, made, reading, text, at):
        """Refuse a time typed before it has come, unless clocks were set or disagree; the log refuses what cannot be read."""
        event = self.desk.events.get(reading.name)
        if event is None or self.mark or self.desk.watched_clock.back:
            return
        with contextlib.suppress(UnitProblem):
            if said := too_early(made, event, known(reading, text), at):
                raise LogProblem(said)


@contextlib.contextmanager
def _shown_on_the_card():
    """Log without warnings: the card shows them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)
        yield


def _same(logged_row, reading, text):
    """Whether what was typed equals the row."""
    with contextlib.suppress(ValueError):
        found = known(reading, text)
        return math.isclose(found.low, logged_row.low) and math.isclose(found.high, logged_row.high)
    return False


def _reached(made, event, at):
    """The time of a tap in the unit of its reading; refused if it is below the lowest plausible value."""
    now, reading = event.value(made.minutes(at)), event.reading
    if made.by_day:
        raise LogProblem(made.no_hour("no time counts from it"))
    if now < reading.low:
        raise LogProblem(f"Too early to log: {reading.words} counts from {reading.show(reading.low)} after the catalyst went in. Leave it, and tap again then.")
    return now


def _age(slot, made, at):
    """The age to log in hours, and a note with the actual age if that differs."""
    age = made.minutes(at) / 60
    if made.by_day:
        if when_due(slot, made, at)[1] != "due":
            raise LogProblem(made.no_hour("the age of this reading is not known"))
        return slot.age, "Read on the day it was due; the hour of the pour is not known."
    logged = slot.logged_age(age)
    return logged, f"Read at {age:.1f} h." if abs(age - logged) > 0.005 * logged else ""
