"""What the form shows, as plain data for any page: the head, one card per pour with its photographs, and what is due."""

import contextlib
import dataclasses
import math
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from testpour.bench.due import due_of
from testpour.bench.lateness import open_question
from testpour.bench.methods import method_for, several
from testpour.bench.session_state import SessionState
from testpour.bench.slots import filled, when_due
from testpour.common.wording import age_words, capital
from testpour.logbook.database import on_server
from testpour.logbook.entries import read_once
from testpour.logbook.known import known_of, out_of_order
from testpour.logbook.loading import is_current
from testpour.logbook.photos import photo_of
from testpour.logbook.server import zone
from testpour.logbook.tables import PHOTOS, LogProblem
from testpour.study.caution_rules import rules
from testpour.study.cautions import check_read

AHEAD = "Nothing yet: readings at an age are listed here once the catalyst is in."
DONE = "Nothing is left to read at an age."
PIXELS = 160  # width of a photograph on a card


class Cards:
    """What a session form shows of a `SessionState`."""

    def __init__(self, desk: SessionState) -> None:
        self.desk, self.now = desk, desk.clock()
        self.photos = _photographs(desk.logbook, desk.made)

    def state(self) -> dict[str, Any]:
        """Everything shown, in the order it is shown."""
        desk, made_of = self.desk, [(planned, self.desk.pour_of(planned)) for planned in self.desk.planned]
        known = {made.pour for _, made in made_of if made}
        extra = [made for made in desk.made.values() if made.pour not in known]
        return {
            "study": desk.study.name,
            "question": desk.study.question,
            "session": desk.session,
            "now": desk.now(),
            "cautions": [[topic["title"], topic["bench"]] for topic in (*rules()["topics"], rules()["deference"])],
            "head": desk.head.shown(),
            "cards": [self._card(*pair) for pair in made_of] + [self._extra(made) for made in extra],
            "due": self._due(),
        }

    def _card(self, planned, made):
        of_settings = self.desk.cautions(planned)
        return {
            "pour": planned.pour,
            "settings": list(planned.said),
            "weigh": [] if of_settings.refusals else list(planned.weigh),
            "refusals": list(of_settings.refusals),
            "warnings": [*of_settings.warnings, *planned.warnings, *self._untimely(made)],
            **(self._poured(made) if made else {"name": ""}),
        }

    def _extra(self, made):
        """A pour of this session in the log that was not planned."""
        factors = [f for f in self.desk.study.factors if f.role == "chosen" and f.name in made.settings]
        in_words = [f"{f.words} {f.show(made.settings[f.name])}" for f in factors]
        return {"pour": made.pour, "settings": in_words, "weigh": [], "refusals": [], "warnings": self._untimely(made), **self._poured(made)}

    def _untimely(self, made):
        """A warning if the times read on a pour cannot all be right."""
        return [text for text in [out_of_order(self.desk.study, made.readings)] if text] if made else []

    def _poured(self, made):
        desk = self.desk
        lines = {name: self._once(reading, made) for name, reading in desk.once.items()}
        with_event = {event.companion.name for event in desk.events.values() if event.companion}
        return {
            "name": made.pour,
            "since": None if made.by_day else made.made_at.timestamp() * 1e3,
            "clock": self._clock(made, made.made_at, ":%S") + (f" {zone(made.made_at)}" if on_server(desk.logbook.address) else ""),
            "readings": len(made.readings),
            "events": [self._event(event, made, lines) for event in desk.events.values()],
            "once": [line for name, line in lines.items() if name not in with_event],
            "later": [self._later(slot, made) for slot in desk.slots],
            "photos": self.photos[made.pour],
            "asks": self._asks(made),
        }

    def _asks(self, made):
        """What to confirm: entries tapped late or by a clock that was set back, one line per question."""
        entries_of = {("Catalyst in", open_question(made.note)): []}
        for row in made.readings:
            entries_of.setdefault((capital(self.desk.study.reading(row.reading).words), open_question(row.note)), []).append(row.entry)
        return [{"words": f"{what}: {asked}. Is that time right?", "entries": entries} for (what, asked), entries in entries_of.items() if asked]

    def _event(self, event, made, lines):
        row = made.last(event.reading.name)
        return {
            "reading": event.reading.name, "words": event.reading.words, "unit": event.reading.unit,
            "done": event.done, "check": event.check, "doubt": event.doubt, "sure": event.sure, "look": capital(event.look),
            "status": row.known if row else "", "entry": row.entry if row else None,
            "said": _event_words(event, row) if row else "",
            "with": lines.get(event.companion.name) if event.companion else None,
            "late": event.value(made.minutes(self.now)) > event.reading.high,
        }

    def _once(self, reading, made):
        row = made.last(reading.name)
        return {
            "reading": reading.name, "words": reading.words, "label": capital(reading.label), "how": reading.how,
            "entry": row.entry if row else None, "said": _reading_in_words(reading, row, made.settings.get("room_temperature", math.nan)) if row else "",
            "grades": list(reading.grades),
        }

    def _later(self, slot, made):
        reading, rows = slot.reading, filled(slot, made.readings)
        when, status = when_due(slot, made, self.now)
        method = method_for(reading)
        return {
            "reading": reading.name, "age": slot.age, "words": f"{reading.words} at {age_words(slot.age)}",
            "label": reading.label, "how": reading.how, "grades": list(reading.grades),
            "many": not read_once(reading), "status": "done" if rows else status,
            "at": None if made.by_day else when.timestamp() * 1e3, "clock": self._clock(made, when),
            "said": _readings_in_words(reading, rows), "entries": [row.entry for row in rows], "thickness": made.settings.get("thickness"),
            "method": dataclasses.asdict(method) if method else None,
        }

    def _due(self):
        due = due_of(self.desk.slots, self.desk.made.values(), self.now)
        rows = [
            {"pour": r["pour"], "words": f"{r['reading']} at {age_words(r['age'])}", "status": r["status"],
             "at": None if r["by_day"] else r["due_at"].to_pydatetime().timestamp() * 1e3,
             "clock": self._clock(self.desk.made[r["pour"]], r["due_at"])}
            for _, r in due.table.iterrows()
        ]
        return {"rows": rows, "missed": due.missed, "nothing": DONE if all(map(self.desk.pour_of, self.desk.planned)) else AHEAD}

    def _clock(self, made, moment, more=""):
        """A time on the workshop's clock, with the day if that is not today; only the day if the hour of the pour is not known."""
        if made.by_day:
            return f"{moment:%a %d %b}, hour not known"
        day = "" if moment.date() == self.now.date() else f"{moment:%a %d %b} "
        return day + moment.strftime(f"%H:%M{more}")


def _reading_in_words(reading, row, room=math.nan):
    if row.known == "exact":
        return ". ".join([reading.show(row.low), *check_read(reading, row.low, row.low, room).warnings])
    return known_of(row).said(reading)


def _event_words(event, row):
    unit = event.reading.unit
    if row.known == "not yet" and event.still:
        return f"{capital(event.still)} at {row.low:.1f} {unit}"
    if row.known == "between":
        return f"{event.done} between {row.low:.1f} and {row.high:.1f} {unit}"
    if row.known == "already":
        return f"{event.done} by {row.high:.1f} {unit}"
    if row.known == "exact":
        return f"{event.done.removesuffix(': now')} at {row.low:.1f} {unit}"
    return _reading_in_words(event.reading, row)


def _readings_in_words(reading, rows):
    """The readings that fill a planned reading, specimen by specimen."""
    if not rows:
        return ""
    if read_once(reading):
        return "; ".join(_reading_in_words(reading, row) for row in rows)
    parts = []
    for specimen in dict.fromkeys(row.specimen for row in rows):
        here = [row for row in rows if row.specimen == specimen]
        said = [several(reading, values).sentence()] if (values := [row.low for row in here if row.known == "exact"]) else []
        said += [f"{known_of(row).said(reading)}." for row in here if row.known != "exact"]
        parts.append(f"{specimen + ': ' if specimen else ''}{' '.join(said)}")
    return " ".join(parts)


def _photographs(logbook, pours):
    """The current photographs of these pours, by pour, in the order of logging, as plain data."""
    query = sa.select(PHOTOS).where(PHOTOS.c.pour.in_(list(pours)), is_current(PHOTOS)).order_by(PHOTOS.c.entry)
    with logbook.looking() as connection:
        photos = [photo_of(logbook.study, row) for row in connection.execute(query)]
    return {pour: [_photo(photo) for photo in photos if photo.pour == pour] for pour in pours}


def _photo(photo):
    age = "" if photo.age is None else f"{round(photo.age, 1):g} h"
    with contextlib.suppress(LogProblem):
        if photo.path.is_file():
            says = f"Photograph of pour {photo.pour}{age and ' at '}{age}"
            return {"entry": photo.entry, "src": _small_copy(photo), "words": ": ".join(filter(None, [age, photo.note])), "says": says}
    return {"entry": photo.entry, "src": "", "says": "", "words": f"{age} its file is not in the study folder".strip()}


@lru_cache(maxsize=500)  # the file's name is a hash of its bytes, so a copy never goes stale
def _small_copy(photo):
    return photo.thumbnail(PIXELS)
