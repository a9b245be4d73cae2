"""Text files saved by a person or an instrument: size limits, encodings and decimal marks; anything but text is refused.

One reader for study files, sheets and traces, so that all of them take and refuse the same files.
"""

import os
import re
import stat
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

OTHERS = {
    b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture", b"BM": "a picture", b"RIFF": "a recording",
    b"%PDF": "a PDF", b"PK\x03\x04": "a workbook or an archive", b"\xd0\xcf\x11\xe0": "an old workbook", b"\x1f\x8b": "an archive",
    b"SQLite format 3\x00": "a database",
}
DEEPEST = 20  # levels of brackets in JSON that the kit reads; what it writes has six
CHECKED = 20_000  # characters that are checked for being text
QUOTED = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
SEPARATORS = ";\t,"
MARKED = re.compile(r"[-+\u2212]?(\d*)([.,])(\d+)(?!\2)(?!\s*\d)")  # a number with one comma or point, at the start of a cell


class TextProblem(ValueError):
    """A file cannot be opened, is too large, or holds no text."""


def read_bytes(path: str | Path, largest: int) -> bytes:
    """The bytes of a regular file; a pipe or a device would keep a reader waiting or never end.

    A file of more than `largest` bytes is not opened; a TextProblem says so.
    """
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "a pipe or a device"
            raise TextProblem(f"cannot be opened: it is {what}, not a file. Give the path of a file.")
        if found.st_size > largest:
            raise TextProblem(f"more than {largest / 1e6:g} MB, so it was not opened. Give a smaller part of it.")
        with open(path, "rb") as file:
            data = file.read(largest + 1)
    except (OSError, ValueError) as problem:
        if isinstance(problem, TextProblem):
            raise
        why = getattr(problem, "strerror", None) or str(problem)
        raise TextProblem(f"cannot be opened ({why}). Check its path and its permissions.") from None
    if len(data) > largest:
        raise TextProblem(f"more than {largest / 1e6:g} MB. Give a smaller part of it.")
    return data


def read_text(path: str | Path, largest: int, codings: Sequence[str] = ("utf-8-sig", "cp1252", "latin-1")) -> str:
    """The text of a file, whatever program saved it; a TextProblem if it is too large or not text.

    `codings` are tried in order, after UTF-16 if the bytes look like it.
    """
    raw = read_bytes(Path(path), largest)
    kind = next((words for mark, words in OTHERS.items() if raw.startswith(mark) and not (mark == b"BM" and raw.isascii())), None)
    if kind:
        raise TextProblem(f"this is {kind}, not text. Save it as text from the program that made it.")
    text = _decoded(raw, codings)
    if text is None:
        raise TextProblem("its letters are not UTF-8. Save it as UTF-8.")
    head = text[:CHECKED]
    if "\x00" in text or sum(c < " " and c not in "\t\r\n\f\x0b\x1a" for c in head) > 0.01 * len(head):
        raise TextProblem("this is not text: it holds characters that text does not have. Save it again from the program that made it.")
    return text


def _decoded(raw: bytes, codings: Sequence[str]) -> str | None:
    """Bytes as text, by the first coding that fits, after UTF-16 if the bytes look like it; None if none fits."""
    for coding in (*_wide(raw), *codings):
        with suppress(UnicodeDecodeError):
            return raw.decode(coding)
    return None


def decimal_marks(cells: Iterable[str]) -> dict[tuple[str, str], str]:
    """How the numbers of a table use commas and points: (mark, use) to the first cell that shows it.

    The use is "decimal" if the mark can be nothing else (1,5), and "either" if it may also separate thousands (1,250).
    """
    found: dict[tuple[str, str], str] = {}
    for cell in cells:
        if one := MARKED.match(cell):
            thousands = len(one[3]) == 3 and re.fullmatch(r"[1-9]\d{0,2}", one[1])
            found.setdefault((one[2], "either" if thousands else "decimal"), cell)
    return found


def _wide(raw):
    """UTF-16 if a mark at the start says so, or if nearly every second byte is zero, as for digits."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return ("utf-16",)
    head = raw[:2000]
    if len(head) > 3 and head[1::2].count(0) > 0.7 * len(head[1::2]):
        return ("utf-16-le",)
    return ("utf-16-be",) if len(head) > 3 and head[::2].count(0) > 0.7 * len(head[::2]) else ()


def json_depth(text: str) -> int:
    """How deeply the brackets of JSON are nested; brackets inside quotes do not count."""
    bare = np.frombuffer(QUOTED.sub("", text).encode("utf-8", "replace"), dtype=np.uint8)
    steps = np.isin(bare, list(b"[{")).astype(int) - np.isin(bare, list(b"]}"))
    return int(steps.cumsum().max(initial=0))
