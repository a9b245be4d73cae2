"""The plan of a session, kept beside the study, so that the form opens again after a restart as it was."""

import json
import os
import re
from dataclasses import asdict
from pathlib import Path

from testpour.forms.planned import FormProblem, Planned

FOLDER = "sessions"


def keep(logbook, session, planned):
    """Write the planned pours of a session into the study folder; a log in memory has nothing to come back to.

    Raises
    ------
    FormProblem
        If the folder cannot be written.
    """
    if _in_memory(logbook):
        return
    path = _path(logbook, session)
    text = json.dumps({"session": session, "pours": [asdict(one) for one in planned]}, indent=1)
    try:
        path.parent.mkdir(exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}.part")
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as problem:
        raise FormProblem([f"the plan cannot be kept in {path.parent}: {problem.strerror}. Check the folder."]) from problem


def kept_sessions(logbook):
    """Names of the sessions kept beside the study, the latest first."""
    if _in_memory(logbook):
        return []
    files = sorted(_folder(logbook).glob("*.json"), key=lambda path: path.stat().st_mtime, reverse=True)
    return [json.loads(path.read_text("utf-8"))["session"] for path in files]


def kept(logbook, session=None):
    """Name and planned pours of a kept session; the latest where none is named.

    Raises
    ------
    FormProblem
        If there is none.
    """
    names = kept_sessions(logbook)
    name = names[0] if session is None and names else session
    if name not in names:
        there = f"kept are {', '.join(names)}" if names else "none is kept yet"
        raise FormProblem([f"no session to open again: {there}. Give a plan or a bench sheet."])
    held = json.loads(_path(logbook, name).read_text("utf-8"))
    pours = [
        Planned(p["pour"], p["settings"], tuple(p["said"]), tuple(p["weigh"]), tuple(p["warnings"])) for p in held["pours"]
    ]
    return name, tuple(pours)


def _in_memory(logbook):
    return logbook.address.rstrip("/") == "sqlite:" or ":memory:" in logbook.address


def _folder(logbook):
    return Path(logbook.study.folder) / FOLDER


def _path(logbook, session):
    """A session's file; letters a file name may not hold are written as their number."""
    return _folder(logbook) / (re.sub(r"[^\w-]", lambda found: f"%{ord(found[0]):x}", session) + ".json")
