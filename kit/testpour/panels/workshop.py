"""The study folder as a panel sees it: its study, its log, and what was learned from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import testpour as tp
from testpour.bench.kept import kept, kept_sessions
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.tables import FILE, LogProblem, address_of
from testpour.study import Study

HOW = "Begin one in the notebook 0-start-here, or with tp.begin_panel()."
_logs: dict[str, tuple[Any, Logbook]] = {}  # the open log of each study folder, with the mark of the study file it was opened by


class Needed(Exception):
    """Something that has to be there first; the message says what and how to get it."""


@dataclass
class Workshop:
    """One study folder."""

    folder: Path
    _study: tuple[Any, Study | None] = field(default=(None, None), repr=False)
    _castings: tuple[Any, Castings | None] = field(default=(None, None), repr=False)
    _print: tuple[Castings | None, str | None] = field(default=(None, None), repr=False)

    @property
    def study_mark(self) -> tuple | None:
        """Changes whenever the study file does; None where there is none."""
        return _mark(self.folder / "study.toml")

    @property
    def mark(self) -> tuple:
        """Changes whenever study or log do."""
        return self.study_mark, self.log_mark

    @property
    def log_mark(self) -> tuple | None:
        """Changes whenever the log's file does, by whichever program."""
        try:
            address = address_of(self.study)
        except Needed:
            return None
        file = Path(address.removeprefix(FILE))
        if not address.startswith(FILE):
            return self._told()
        return _mark(file), _mark(file.with_name(f"{file.name}-wal"))

    @property
    def study(self) -> Study:
        """The study as its file says. Raises `Needed` if there is no study file, or it cannot be used."""
        mark = self.study_mark
        if mark is None:
            raise Needed(f"There is no study in this folder yet. {HOW}")
        if self._study[0] != mark or self._study[1] is None:
            try:
                self._study = mark, tp.read_study(self.folder)
            except ValueError as problem:
                raise Needed(f"{problem} Put it right in that file; it lies in the study folder.") from None
        assert self._study[1] is not None
        return self._study[1]

    @property
    def log(self) -> Logbook:
        """The study's log, opened once for all panels of the kernel.

        SQLite loses its locks on a file that the same process opens and closes again on its own (sqlite.org,
        How To Corrupt An SQLite Database File, section 2.2), and a `Logbook` looks into its file when it is opened.
        """
        key, mark = str(self.folder), self.study_mark
        if key not in _logs or _logs[key][0] != mark:
            self.close()
            try:
                _logs[key] = mark, tp.Logbook(self.study)
            except LogProblem as problem:
                raise Needed(str(problem)) from None
        return _logs[key][1]

    def castings(self) -> Castings:
        """The log as it stands; `Needed` is raised where it cannot be read."""
        mark = self.mark
        if self._castings[0] != mark or self._castings[1] is None:
            try:
                self._castings = mark, self.log.castings()
            except LogProblem as problem:
                raise Needed(str(problem)) from None
        assert self._castings[1] is not None
        return self._castings[1]

    def version(self) -> tuple:
        """Changes with what study and log say, and with nothing else: what a result depends on."""
        try:
            castings = self.castings()
        except Needed:
            return self.study_mark, None
        if self._print[0] is not castings:
            self._print = castings, castings.fingerprint()
        return self.study_mark, self._print[1]

    def poured(self) -> Castings:
        """The castings, where at least one was poured and read; `Needed` is raised where none was."""
        castings = self.castings()
        if not len(castings.pours):
            raise Needed("Nothing is poured yet. Plan the first pours in the notebook 1-plan, then log them in 2-pour-and-log.")
        if not len(castings.readings):
            raise Needed("The pours in the log have no readings yet. Open the session in the notebook 2-pour-and-log and tap what you see.")
        return castings

    def opened(self) -> dict[str, list[str]]:
        """Sessions that were opened on a form, poured or not yet: name to the names of its pours."""
        return {name: [one.pour for one in kept(self.log, name)[1]] for name in kept_sessions(self.log)}

    def close(self) -> None:
        """Close the log."""
        if str(self.folder) in _logs:
            _logs.pop(str(self.folder))[1].close()
        self._castings = None, None

    def _told(self):
        """For a log on a server: what it holds, as its fingerprint."""
        try:
            return self.log.castings().fingerprint()
        except (LogProblem, Needed):
            return None


def _mark(path):
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size
