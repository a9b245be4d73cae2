"""The plan of a session, kept beside the study, so that the form opens again after a restart as it was."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from testpour.bench.planned import FormProblem, PlannedPour
from testpour.files import Kind, beginning, put
from testpour.logbook.book import Logbook
from testpour.logbook.database import in_memory

FOLDER = "sessions"
FILE = Kind("the plan of a session", lambda path: beginning(path).startswith(b'{\n "session": "'))


def keep(logbook: Logbook, session: str, planned: Sequence[PlannedPour]) -> None:
    """Write the planned pours of a session into the study folder; a log in memory has nothing to come back to.

    Raises `FormProblem` if the folder cannot be written.
    """
    if in_memory(logbook.address):
        return
    path = _path(logbook, session)
    text = json.dumps({"session": session, "pours": [asdict(one) for one in planned]}, indent=1)
    try:
        path.parent.mkdir(exist_ok=True)
        put(path, text, FILE)
    except OSError as problem:  # without a number it is of `put`, which says what else lies there
        said = f"the plan cannot be kept in {path.parent}: {problem.strerror}. Check the folder." if problem.strerror else str(problem)
        raise FormProblem([said]) from problem


def kept_sessions(logbook: Logbook) -> list[str]:
    """Names of the sessions kept beside the study, the latest first."""
    return [held["session"] for held in _held(logbook)]


def kept(logbook: Logbook, session: int | str | None = None) -> tuple[str, tuple[PlannedPour, ...]]:
    """Name and planned pours of a kept session; the latest where none is named. Raises `FormProblem` if there is none."""
    sessions = _held(logbook)
    found = next((held for held in sessions if session in (None, held["session"])), None)
    if found is None:
        there = f"kept are {', '.join(held['session'] for held in sessions)}" if sessions else "none is kept yet"
        raise FormProblem([f"no session to open again: {there}. Give a plan or a bench sheet."])
    pours = [
        PlannedPour(p["pour"], p["settings"], tuple(p["said"]), tuple(p["weigh"]), tuple(p["warnings"])) for p in found["pours"]
    ]
    return found["session"], tuple(pours)


def _held(logbook):
    """What is kept, the latest first; a file that is not a session is passed over."""
    found = []
    for path in [] if in_memory(logbook.address) else _folder(logbook).glob("*.json"):
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            held = json.loads(path.read_text("utf-8"))
            found.append((path.stat().st_mtime, held["session"], held))
    return [held for *_, held in sorted(found, key=lambda one: one[:2], reverse=True)]


def _folder(logbook):
    return Path(logbook.study.folder) / FOLDER


def _path(logbook, session):
    """A session's file; letters a file name may not hold are written as their number."""
    return _folder(logbook) / (re.sub(r"[^\w-]", lambda found: f"%{ord(found[0]):x}", session) + ".json")
