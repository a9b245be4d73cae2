"""Zip files of any origin: checked before anything is unpacked, and never unpacked beyond their limits."""

import io
import zipfile
import zlib
from pathlib import Path

from testpour.common.text_file import TextProblem, read_bytes

MEMBERS = 5_000
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
BROKEN = (zipfile.BadZipFile, zlib.error, RuntimeError, ValueError, EOFError, OSError, KeyError, IndexError, OverflowError)


class Archive:
    """The members of a zip file; a `TextProblem` if it cannot be read or has more than `largest` bytes unpacked.

    `what` is what it should be, in words.
    """

    def __init__(self, path: str | Path, what: str, largest: int) -> None:
        self.what, self.raw = what, read_bytes(path, largest)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(self.raw))
            self._members = self._zip.infolist()
        except BROKEN as problem:
            raise self._broken(problem) from None
        names = [member.filename for member in self._members]
        if len(names) > MEMBERS or sum(max(m.file_size, 0) for m in self._members) > largest:
            raise TextProblem(f"unpacked it would be larger than {largest / 1e6:g} MB or hold more than {MEMBERS:,} files. Ask for it again.")
        if len(set(names)) < len(names):
            raise TextProblem("two files in it have the same name. Ask for it again.")
        if any(m.compress_type not in METHODS or m.flag_bits & 1 for m in self._members):
            raise TextProblem("it is locked with a password or packed in an unusual way. Ask for it as a plain zip file.")

    @property
    def names(self) -> list[str]:
        """Names of the members."""
        return [member.filename for member in self._members]

    def read(self, name: str) -> bytes | None:
        """The bytes of a member, not more than it declares; None if there is none of that name."""
        member = next((m for m in self._members if m.filename == name), None)
        if member is None:
            return None
        try:
            with self._zip.open(member) as file:
                return file.read(member.file_size + 1)
        except BROKEN as problem:
            raise self._broken(problem) from None

    def refuse_markup(self) -> None:
        """Refuse parts whose XML defines its own entities: one line of them can expand to gigabytes."""
        for name in self.names:
            if name.endswith((".xml", ".rels")) and b"<!DOCTYPE" in (self.read(name) or b"").replace(b"\0", b"")[:4096]:
                raise TextProblem(
                    f"not readable as {self.what}: a part of it defines XML entities of its own, "
                    "which no spreadsheet program does. Save it again from one."
                )

    def _broken(self, problem):
        said = " ".join(str(problem).split())[:100] or type(problem).__name__
        return TextProblem(f"not readable as {self.what} ({said}). Ask for it again, or save it again.")
