"""A sheet of self-adhesive labels: where each label is on the paper, in millimetres."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

from testpour.common.pages import PAPERS
from testpour.common.problems import Problems, noted
from testpour.common.units import to_unit
from testpour.common.wording import listed

SMALLEST = (40.0, 20.0)  # mm: on a smaller label no code that a phone can read fits beside a name
# Common sheets by their dimensions: paper, columns, rows, width, height, gap across. All are centred.
SHEETS = {
    "A4, 24 of 70 x 37 mm": ("A4", 3, 8, 70.0, 37.0, 0.0),
    "A4, 21 of 63.5 x 38.1 mm": ("A4", 3, 7, 63.5, 38.1, 2.54),
    "Letter, 30 of 66.7 x 25.4 mm": ("Letter", 3, 10, 66.675, 25.4, 3.175),
}


class LabelProblems(Problems):
    """Labels cannot be printed as asked; `problems` lists each reason."""


@dataclass(frozen=True)
class LabelSheet:
    """Labels in rows and columns on one sheet of paper; lengths in mm.

    Parameters
    ----------
    paper : {"A4", "Letter"}
    columns, rows : int
    width, height : float
        Of one label.
    gap_across, gap_down : float
        Space between labels.
    left, top : float, optional
        Margin to the first label; by default the labels are centred on the paper.
    """

    paper: str
    columns: int
    rows: int
    width: float
    height: float
    gap_across: float = 0.0
    gap_down: float = 0.0
    left: float | None = None
    top: float | None = None

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the paper."""
        return PAPERS[self.paper]

    @property
    def count(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    @property
    def margins(self) -> tuple[float, float]:
        """Left and top margin to the first label."""
        across, down = self._covered()
        left = (self.size[0] - across) / 2 if self.left is None else self.left
        return left, (self.size[1] - down) / 2 if self.top is None else self.top

    def place(self, number: int) -> tuple[float, float]:
        """Left and top edge, mm, of label `number`, counted from 1 along the rows."""
        row, column = divmod(number - 1, self.columns)
        left, top = self.margins
        return left + column * (self.width + self.gap_across), top + row * (self.height + self.gap_down)

    def sentence(self) -> str:
        """The sheet in words."""
        return f"{self.paper}, {self.count} of {self.width:.3g} x {self.height:.3g} mm"

    def _covered(self):
        return (self.columns * self.width + (self.columns - 1) * self.gap_across, self.rows * self.height + (self.rows - 1) * self.gap_down)

    def problems(self) -> Iterator[str]:
        """Why these labels do not fit on the paper, in sentences."""
        if self.columns < 1 or self.rows < 1:
            yield f"a sheet needs at least one column and one row; this one has {self.columns} and {self.rows}."
            return
        for word, size, least in zip(("wide", "high"), (self.width, self.height), SMALLEST, strict=True):
            if size < least:
                yield f"a label {size:g} mm {word} has no room for a name and a code: at least {least:g} mm {word}."
        sides = zip(("across", "down"), self.margins, self._covered(), self.size, strict=True)
        for word, start, covered, paper in sides:
            if start < -1e-9 or start + covered > paper + 1e-9:
                yield (f"the labels need {covered:g} mm {word} from {start:g} mm on, and {self.paper} has {paper:g} mm. Measure the sheet again.")


def label_sheet(given: str | Mapping[str, Any] | LabelSheet) -> LabelSheet:
    """A `LabelSheet` from its name in `SHEETS`, or from a dict of its lengths (mm or text with a unit).

    A sheet is checked again. Raises `LabelProblems` with everything that is unknown, missing or does not fit on the
    paper.
    """
    if isinstance(given, LabelSheet):
        sheet = given
    elif isinstance(given, dict):
        sheet = _measured(given)
    elif given in SHEETS:
        sheet = LabelSheet(*SHEETS[given])
    else:
        own = 'sheet={"paper": "A4", "columns": 2, "rows": 5, "width": "99 mm", "height": "57 mm"}'
        known = listed(map(repr, SHEETS))
        raise LabelProblems("Label sheet", [f"{given!r} is not known; there are {known}. Or measure yours: {own}."])
    if problems := list(sheet.problems()):
        raise LabelProblems("Label sheet", problems)
    return sheet


def _measured(given):
    names = [field.name for field in fields(LabelSheet)]
    needed, problems, read = names[:5], [], {}
    problems += [f"{name} is not a measure of a sheet; they are {listed(names)}." for name in given if name not in names]
    problems += [f"{name} is missing." for name in needed if name not in given]
    if given.get("paper", "A4") not in PAPERS:
        problems.append(f"paper {given['paper']!r} is not known: {listed(PAPERS)}.")
    for name in names[1:]:
        if given.get(name) is None:
            continue
        if name in ("columns", "rows") and not isinstance(given[name], int):
            problems.append(f"{name} is a whole number, not {given[name]!r}.")
            continue
        with noted(problems):
            read[name] = given[name] if name in ("columns", "rows") else to_unit(given[name], "mm", name)
    if problems:
        raise LabelProblems("Label sheet", problems)
    return LabelSheet(given["paper"], **read)
