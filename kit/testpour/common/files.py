"""Writing files whole, and never over anything else: a writer replaces only an earlier file of its own."""

from __future__ import annotations

import os
import re
import shutil
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from html import escape, unescape
from pathlib import Path

from testpour.common.problems import MayNotWrite, NameTaken, NoSuchFile, Problem
from testpour.common.wording import visible

NO_PAGE = {".pdf", ".doc", ".docx", ".odt", ".png", ".jpg", ".svg", ".csv", ".xlsx", ".zip"}  # endings a page may not have: nothing would open it
HEAD = 2000  # bytes at the start of a file that hold its mark
LONGEST = 120  # letters of a study's name that identify its page
SUBJECT = re.compile(rb'<meta name="subject" content="([^"]*)">')
CHARSET = '<meta charset="utf-8">'  # every page of this kit begins its head with it


@dataclass(frozen=True)
class Kind:
    """A kind of file that this kit writes."""

    words: str  # as in "not a bench sheet that testpour wrote"
    known: Callable[[Path], bool]  # whether a regular file is of this kind
    mark: str = ""  # of a page: the tag in its head
    study: str = ""  # of a page of one study: its name, which is in the head too

    def of(self, study: str) -> Kind:
        """This kind of page, of the study of that name: it replaces no page of another study."""
        return replace(self, study=visible(study)[:LONGEST])


def page_kind(what: str) -> Kind:
    """The `Kind` of an HTML page such as a "findings page", recognised by a mark in its head."""
    mark = f'<meta name="generator" content="testpour {escape(what)}">'

    def known(path):
        head = beginning(path)
        return head.lstrip()[:9].lower() == b"<!doctype" and mark.encode() in head

    return Kind(f"a {what}", known, mark)


def beginning(path: str | Path) -> bytes:
    """The first bytes of a file, enough to recognise its kind."""
    with open(path, "rb") as file:
        return file.read(HEAD)


def place(path: str | Path) -> Path:
    """`path`; raises a FileNotFoundError if its folder does not exist, a PermissionError if that may not be written to."""
    path = Path(path)
    if not path.parent.is_dir():
        raise NoSuchFile(f"No folder {path.parent} to write {path.name} in. Make it, or give another path.")
    if not os.access(path.parent, os.W_OK):
        raise MayNotWrite(f"The folder {path.parent.absolute()} may not be written to, so {path.name} was not. Give a path in a folder of yours.")
    return path


def free_for(path: str | Path, kind: Kind) -> Path:
    """`path`, if it is free or a file of the same kind; raises a FileExistsError if it is anything else, a Problem for a page with a wrong ending."""
    path = place(path)
    if kind.mark and path.suffix.casefold() in NO_PAGE:
        raise Problem(f"{path.name}: {kind.words} is a page for the browser. Give a name that ends in .html, and print it from there, on paper or to a PDF.")
    if not os.path.lexists(path):
        return path
    if path.is_symlink():
        taken = "is a link to another place"
    elif path.is_dir():
        taken = "is a folder"
    elif not path.is_file() or not kind.known(path):  # a pipe or a device is never opened
        taken = f"exists and is not {kind.words} that testpour wrote"
    else:
        subject = SUBJECT.search(beginning(path)) if kind.study else None
        other = unescape(subject[1].decode("utf-8", errors="replace")) if subject else ""  # early pages name no study
        if other in ("", kind.study):
            return path
        taken = f"is {kind.words} of another study, {other!r}"
    raise NameTaken(f"{path} {taken}, so nothing was written there. Give another name, or move it away first.")


def put(path: str | Path, data: str | bytes, kind: Kind) -> Path:
    """Write a file whole, or not at all; see `free_for` for what it replaces and what it raises."""
    path = free_for(path, kind)
    overwrite(path, marked(data, kind))
    return path


def overwrite(path: Path, data: bytes) -> None:
    """Write a file whole, or not at all, over any earlier file, whose permissions it keeps."""
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        write_new(part, data)
        if path.exists():
            shutil.copymode(path, part)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_new(path: Path, data: bytes) -> None:
    """Write a file that does not exist yet, and wait until it is on the disk."""
    with open(path, "xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def marked(data: str | bytes, kind: Kind) -> bytes:
    """The bytes to write: a page gets the mark of its kind in its head; bytes stay as they are."""
    if isinstance(data, bytes):
        return data
    if kind.mark:
        before, after = data.split(CHARSET, 1)
        subject = f'<meta name="subject" content="{escape(kind.study)}">' if kind.study else ""
        data = f"{before}{CHARSET}{kind.mark}{subject}{after}"
    return data.encode("utf-8")


def name_new(made: Path, path: Path) -> None:
    """Rename a finished file or folder on the same disk to its final name; refused if the name was taken meanwhile."""
    taken = f"{path} exists already, so nothing was written there. Give another name."
    if os.path.lexists(path):
        raise NameTaken(taken)
    if not os.path.isdir(made):
        try:
            os.link(made, path)  # unlike os.rename, this fails if the name is taken
            return os.unlink(made)
        except FileExistsError:
            raise NameTaken(taken) from None
        except OSError:
            pass  # a disk without hard links, as most USB sticks are
    os.rename(made, path)
    return None
