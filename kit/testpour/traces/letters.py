"""The text of a logger's file, whatever its letters are; anything that is no text is refused."""

from pathlib import Path

from testpour.problems import Problems

LARGEST = 50_000_000  # bytes; a week at a row a second is a third of it
OTHERS = {
    b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture", b"BM": "a picture", b"RIFF": "a recording",
    b"%PDF": "a PDF", b"PK\x03\x04": "a workbook or an archive", b"\xd0\xcf\x11\xe0": "an old workbook", b"\x1f\x8b": "an archive",
}  # fmt: skip


class TraceProblems(Problems):
    """A file cannot be read as a temperature trace; `problems` lists each reason."""


def read_letters(path):
    """The file as text.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str

    Raises
    ------
    TraceProblems
        If there is no such file, it is empty, or it is not text.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST:
            raise TraceProblems(path.name, [f"more than {LARGEST // 1_000_000} MB. Cut the trace down to one casting."])
        raw = path.read_bytes()
    except (OSError, ValueError) as problem:
        why = getattr(problem, "strerror", None) or str(problem)
        raise TraceProblems(str(path), [f"cannot be opened ({why}). Give the path of the logger's CSV file."]) from None
    kind = next((words for mark, words in OTHERS.items() if raw.startswith(mark)), None)
    text = "" if kind else _decoded(raw)
    if kind or _unlike_text(text):
        raise TraceProblems(path.name, [f"this is {kind or 'not text'}. Export the trace from the logger as CSV and give that."])
    if not text.strip():
        raise TraceProblems(path.name, ["nothing is in it. Export the trace from the logger again."])
    return text


def _decoded(raw):
    for coding in (*_wide(raw), "utf-8-sig", "cp1252", "latin-1"):
        try:
            return raw.decode(coding)
        except UnicodeDecodeError:
            continue
    return ""


def _wide(raw):
    """UTF-16 where a mark at the start says so, or where every second byte of plain digits is empty."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return ("utf-16",)
    head = raw[:2000]
    if len(head) > 3 and head[1::2].count(0) > 0.7 * len(head[1::2]):
        return ("utf-16-le",)
    return ("utf-16-be",) if len(head) > 3 and head[::2].count(0) > 0.7 * len(head[::2]) else ()


def _unlike_text(text):
    odd = sum(c < " " and c not in "\t\r\n\f\x0b\x1a" for c in text[:20_000])
    return odd > 0.01 * len(text[:20_000]) or "\x00" in text[:20_000]
