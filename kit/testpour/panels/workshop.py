"""The study folder as every panel sees it: its study, its log, and what was typed and chosen."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import testpour as tp
from testpour.bench.planned import kept, kept_sessions
from testpour.common.files import overwrite
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.tables import FILE, LogProblem, address_of
from testpour.study.study import Study

FOLDER = "panels"
SCALES = tuple((one, one) for one in ("0.01 g", "0.1 g", "1 g", "5 g", "0.01 oz", "0.05 oz", "0.1 oz"))
USUAL_SCALE = "0.1 g"
HOW = "Begin one in the notebook 0-start-here, or with tp.begin_panel()."
_logs: dict[str, tuple[Any, Logbook]] = {}  # the open log of each study folder, and the mark of its study file then


def file_mark(path: Path) -> tuple | None:
    """A value that changes whenever the file does; None if there is no file."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class LastResult:
    """A result that is kept until what it depends on changes."""

    def __init__(self) -> None:
        self._mark: Any = self  # equal to no mark
        self._value: Any = None

    def of(self, mark: Any, make: Callable[[], Any]) -> Any:
        """The result of `make`, worked out again if the mark has changed; an exception is not kept."""
        if mark != self._mark:
            self._mark, self._value = self, None
            self._value = make()
            self._mark = mark
        return self._value


class Memory:
    """A few named values of one panel in a small file of the study folder."""

    def __init__(self, folder: str | Path, name: str) -> None:
        self.folder, self.path = Path(folder), Path(folder) / FOLDER / f"{name}.json"
        self._last = LastResult()

    @property
    def mark(self) -> tuple | None:
        """Changes whenever the file does."""
        return file_mark(self.path)

    def all(self) -> dict:
        """Every value, as last written by any panel; a damaged file counts as empty."""
        return self._last.of(self.mark, self._read)

    def get(self, name: str, usual: Any = "") -> Any:
        """One value, or `usual` if there is none."""
        return self.all().get(name, usual)

    def put(self, **values: Any) -> None:
        """Keep values, anything that JSON can hold; None removes one. Raises `OSError` if the folder cannot be written."""
        kept_values = {**self.all(), **values}
        kept_values = {name: value for name, value in kept_values.items() if value is not None}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        overwrite(self.path, json.dumps(kept_values, indent=1, ensure_ascii=False).encode("utf-8"))

    def clear(self) -> None:
        """Forget everything."""
        self.path.unlink(missing_ok=True)

    @property
    def scale(self) -> str:
        """Step of the scale: as chosen in this panel, else when the study was begun."""
        return self.get("scale") or Memory(self.folder, "tools").get("scale", USUAL_SCALE)

    def _read(self):
        try:
            kept_values = json.loads(self.path.read_text("utf-8"))
        except (OSError, ValueError):
            return {}
        return kept_values if isinstance(kept_values, dict) else {}


class Needed(Exception):
    """Something is needed first; the message says what and how to get it."""


class Workshop:
    """One study folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._study, self._castings, self._print = LastResult(), LastResult(), LastResult()

    @property
    def study_mark(self) -> tuple | None:
        """Changes whenever the study file does; None where there is none."""
        return file_mark(self.folder / "study.toml")

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
            return self._server_mark()
        return file_mark(file), file_mark(file.with_name(f"{file.name}-wal"))

    @property
    def study(self) -> Study:
        """The study as its file says. Raises `Needed` if there is no study file, or it cannot be used."""
        mark = self.study_mark
        if mark is None:
            raise Needed(f"There is no study in this folder yet. {HOW}")
        try:
            return self._study.of(mark, lambda: tp.read_study(self.folder))
        except ValueError as problem:
            raise Needed(f"{problem} Correct that file; it is in the study folder.") from None

    @property
    def log(self) -> Logbook:
        """The study's log, opened once for all panels of the kernel.

        SQLite loses its locks on a file that the same process opens and closes again on its own (sqlite.org,
        How To Corrupt An SQLite Database File, section 2.2), and a `Logbook` looks into its file when it is opened.
        """
        key, mark = str(self.folder), self.study_mark
        if key not in _logs or _logs[key][0] != mark:
            if key in _logs:
                _logs.pop(key)[1].close()
            try:
                _logs[key] = mark, tp.Logbook(self.study)
            except LogProblem as problem:
                raise Needed(str(problem)) from None
        return _logs[key][1]

    def castings(self) -> Castings:
        """The current log; raises `Needed` if it cannot be read."""
        try:
            return self._castings.of(self.mark, lambda: self.log.castings())
        except LogProblem as problem:
            raise Needed(str(problem)) from None

    def version(self) -> tuple:
        """A value that changes only with what study and log say: what a result depends on."""
        try:
            castings = self.castings()
        except Needed:
            return self.study_mark, None
        return self.study_mark, self._print.of(castings, castings.fingerprint)

    def poured(self) -> Castings:
        """The castings; raises `Needed` if none was poured and read."""
        castings = self.castings()
        if not len(castings.pours):
            raise Needed("Nothing is poured yet. Plan the first pours in the notebook 1-plan, then log them in 2-pour-and-log. "
                         "Earlier pours, on paper or in a spreadsheet, go in there too: one row per pour.")
        if not len(castings.readings):
            raise Needed("The pours in the log have no readings yet. Open the session in the notebook 2-pour-and-log and tap what you see.")
        return castings

    def opened(self) -> dict[str, list[str]]:
        """Sessions opened on a form, poured or not: name to the names of its pours."""
        return {name: [one.pour for one in kept(self.log, name)[1]] for name in kept_sessions(self.log)}

    def _server_mark(self):
        """The fingerprint of a log on a server."""
        try:
            return self.log.castings().fingerprint()
        except (LogProblem, Needed):
            return None
