"""What was typed and chosen in a panel, kept in the study folder, so that every panel on it shows the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from testpour.files import overwrite

FOLDER = "panels"
SCALES = (("0.01 g", "0.01 g"), ("0.1 g", "0.1 g"), ("1 g", "1 g"), ("5 g", "5 g"))
USUAL_SCALE = "0.1 g"


def file_mark(path: Path) -> tuple | None:
    """Changes whenever a file does; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class Last:
    """What was worked out last, kept until what it depends on is another."""

    def __init__(self) -> None:
        self._mark: Any = self  # like no other
        self._value: Any = None

    def of(self, mark: Any, make: Callable[[], Any]) -> Any:
        """What `make` gave for this mark; a problem it raises is not kept."""
        if mark != self._mark:
            self._mark, self._value = self, None
            self._value = make()
            self._mark = mark
        return self._value


class Memory:
    """A few named values of one panel in a small file of the study folder."""

    def __init__(self, folder: str | Path, name: str) -> None:
        self.folder, self.path = Path(folder), Path(folder) / FOLDER / f"{name}.json"
        self._last = Last()

    @property
    def mark(self) -> tuple | None:
        """Changes whenever the file does."""
        return file_mark(self.path)

    def all(self) -> dict:
        """Every value, as last written by whichever panel wrote last; a file that is damaged counts as empty."""
        return self._last.of(self.mark, self._read)

    def get(self, name: str, usual: Any = "") -> Any:
        """One value, or what holds where there is none."""
        return self.all().get(name, usual)

    def put(self, **values: Any) -> None:
        """Keep values, anything that JSON can hold; None removes one. Raises `OSError` if the folder cannot be written."""
        held = {**self.all(), **values}
        held = {name: value for name, value in held.items() if value is not None}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        overwrite(self.path, json.dumps(held, indent=1, ensure_ascii=False).encode("utf-8"))

    def clear(self) -> None:
        """Forget everything."""
        self.path.unlink(missing_ok=True)

    @property
    def scale(self) -> str:
        """Step of the scale: as chosen in this panel, else as said when the study was begun."""
        return self.get("scale") or Memory(self.folder, "tools").get("scale", USUAL_SCALE)

    def _read(self):
        try:
            held = json.loads(self.path.read_text("utf-8"))
        except (OSError, ValueError):
            return {}
        return held if isinstance(held, dict) else {}
