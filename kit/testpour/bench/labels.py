"""Labels for castings: name, session, settings and a code that a phone reads, on sheets of labels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from testpour.bench.label_fit import LEADING, PAD, SESSION, SETTINGS, STUDY, Box, code_picture, code_text
from testpour.bench.label_sheet import LabelProblems, LabelSheet, label_sheet
from testpour.common.files import page_kind, put
from testpour.common.pages import template
from testpour.common.units import UnitProblem, to_unit
from testpour.common.wording import count, listed, visible
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.text_and_dates import clean
from testpour.planning.plan import Plan, session_pours
from testpour.planning.pour_cautions import by_pour, pour_cautions
from testpour.study.caution_rules import Cautions

SAVED = page_kind("sheet of labels")


@dataclass(frozen=True, eq=False)
class Labels:
    """Labels ready to print.

    Parameters
    ----------
    study : str
        Name of the study.
    sheet : LabelSheet
    table : DataFrame
        One row per label in the order printed: pour, session, settings in words, page and position (both
        from 1), left and top edge in mm, and the text in its code: study name, line break, pour name.
    date : str
    start : int
        First position used on the first sheet.
    cautions : Cautions
        Of the pours that are not made yet.
    """

    study: str
    sheet: LabelSheet
    table: pd.DataFrame = field(repr=False)
    date: str = ""
    start: int = 1
    cautions: Cautions = field(default_factory=Cautions)

    @property
    def pages(self) -> int:
        """How many sheets are needed."""
        return int(self.table["page"].max())

    def sentence(self) -> str:
        """How many labels and sheets, and how to print them."""
        last = self.table.iloc[-1]
        free = self.sheet.count - int(last["position"])
        text = (
            f"{count(len(self.table), 'label')} on {count(self.pages, 'sheet')} ({self.sheet.sentence()}), the first at "
            f"position {self.start}; {free or 'no'} left over after the last. Save them, open the file and print at 100 %, "
            "not fitted to the page, without headers. First print on plain paper and compare it with the label sheet."
        )
        cut = self.table["cut"].sum()
        text += (f" On {count(cut, 'label')} the pour's name was too long and is shortened in the middle; the code has all of it." if cut else "")
        return " ".join([text, *self.cautions.lines()])

    __repr__ = sentence

    def _repr_html_(self):
        return self._render(whole=False)

    def save(self, path: str | Path) -> Path:
        """Write the labels as one HTML page that needs nothing else; returns the path written. Only such a page is replaced.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Path
        """
        return put(path, self._render(whole=True), SAVED.of(self.study))

    def _render(self, whole):
        skipped = [self.sheet.place(number) for number in range(1, self.start)]
        preview = self.table.loc[self.table["page"] == 1, "top"].max() + self.sheet.height + 2
        pages = [list(rows.to_dict("records")) for _, rows in self.table.groupby("page")]
        return template("bench", "labels.html").render(
            whole=whole, study=self.study, date=self.date, sheet=self.sheet, box=Box(self.sheet), pages=pages,
            skipped=skipped, preview=preview, says=self.sentence(), picture=code_picture, pad=PAD,
            sizes={"session": SESSION, "settings": SETTINGS, "study": STUDY}, leading=LEADING,
        )


def labels(
    pours: Plan | Castings | Logbook, *, session: int | str | None = None,
    only: str | Sequence[str] | None = None,
    sheet: str | Mapping[str, Any] | LabelSheet = "A4, 24 of 70 x 37 mm", start: int = 1, copies: int = 1,
    shift: tuple[str | float, str | float] = (0, 0), date: str = ""
) -> Labels:
    """Labels for the pours of a plan or a log, to print on a sheet of labels from the browser.

    Parameters
    ----------
    pours : Plan, Castings or Logbook
    session : int or str, optional
        Only this session: its number from 1, or its name.
    only : str or list of str, optional
        Only these pours.
    sheet : str, dict or LabelSheet
        ``"A4, 24 of 70 x 37 mm"``, ``"A4, 21 of 63.5 x 38.1 mm"``, ``"Letter, 30 of 66.7 x 25.4 mm"``, or the
        measures of another one: paper, columns, rows, width, height, and where needed gap_across,
        gap_down, left and top (mm, or text with a unit).
    start : int
        First free position on a part-used sheet, counted from 1 along the rows.
    copies : int
        Labels for each pour, such as one per specimen.
    shift : tuple of float or str
        How far right and down to move everything (mm), for a printer that is off.
    date : str
        Printed as given if the log does not have the day of the pour.

    Returns
    -------
    Labels

    Raises
    ------
    LabelProblems
        With everything that does not fit or is unknown.

    Examples
    --------
    >>> tp.labels(castings, start=3)
    18 labels on 1 sheet (A4, 24 of 70 x 37 mm), the first at position 3; ...
    """
    sheet = label_sheet(sheet)
    study, table = _poured(pours)
    problems = _problems(sheet, start, copies)
    moved = _shift(shift, problems)
    chosen = _selected_pours(table, session, only, problems)
    if problems:
        raise LabelProblems("Labels", problems)
    shown, box = _settings_shown(study, table), Box(sheet)
    rows = []
    for number, pour in enumerate(np.repeat(chosen.index, copies)):
        row, place = chosen.loc[pour], start - 1 + number
        left, top = sheet.place(place % sheet.count + 1)
        size, name = box.fitted(str(pour))
        rows.append({
            "pour": str(pour), "session": str(row["session"]), "settings": ", ".join(_settings(shown, row)),
            "made": _day(row) or str(date), "page": place // sheet.count + 1, "position": place % sheet.count + 1,
            "left": left + moved[0], "top": top + moved[1], "text": code_text(study.name, str(pour), box.side, problems),
            "name": name, "size": size, "cut": name != visible(clean(pour, line=True)),
        })
    if problems:
        raise LabelProblems("Labels", dict.fromkeys(problems))
    return Labels(study.name, sheet, pd.DataFrame(rows), str(date), start, _cautions(study, chosen))


def _cautions(study, pours):
    """Refusals and warnings for the pours that are not in the log yet."""
    numbers = [f.name for f in study.numeric if f.name in pours]
    ahead = pours[[not _day(row) for _, row in pours.iterrows()]]
    return by_pour({pour: pour_cautions(study, row[numbers].to_dict()) for pour, row in ahead.iterrows()})


def _poured(pours):
    """The study and a table with one row per pour, from a plan, a log or its castings."""
    pours = pours.castings() if isinstance(pours, Logbook) else pours
    table = pours.pours if isinstance(pours, Castings) else pours.table if isinstance(pours, Plan) else None
    if table is None or "session" not in table:
        raise LabelProblems("Labels", [f"{type(pours).__name__} holds no pours: give a plan, a log or its castings."])
    if not len(table):
        raise LabelProblems("Labels", ["there is no pour yet: log one, or give a plan."])
    return pours.study, table


def _problems(sheet, start, copies):
    problems = []
    if not isinstance(start, int) or not 1 <= start <= sheet.count:
        problems.append(f"start is a position on the sheet, 1 to {sheet.count}, not {start!r}.")
    if not isinstance(copies, int) or not 1 <= copies <= 100:
        problems.append(f"copies is a whole number from 1 to 100, not {copies!r}.")
    return problems


def _shift(shift, problems):
    try:
        across, down = (to_unit(value, "mm", "shift") for value in shift)
    except (UnitProblem, TypeError, ValueError):
        problems.append(f'shift is how far right and down, for example ("0.5 mm", "-1 mm"), not {shift!r}.')
        return 0.0, 0.0
    if max(abs(across), abs(down)) > 10:
        problems.append(f"a shift of {across:g} and {down:g} mm is more than any printer is off: measure the sheet and give left and top.")
    return across, down


def _selected_pours(table, session, only, problems):
    """The pours asked for, in run order."""
    if session is not None:
        _, table = session_pours(table, session, problems)
    if only is not None:
        only = [only] if isinstance(only, str) else list(only)
        missing = [str(pour) for pour in only if pour not in table.index]
        if missing or not only:
            problems.append(f"no pour {listed(missing)} here; there are {listed(map(str, table.index))}.")
        table = table[table.index.isin(only)]
    return table


def _settings_shown(study, table):
    """Chosen settings that differ between the pours, and the catalyst always."""
    chosen = [f for f in study.numeric if f.role == "chosen" and f.name in table]
    return [f for f in chosen if f.name == "catalyst" or table[f.name].nunique() > 1]


def _settings(factors, row):
    """Each setting in words that stay on one line."""
    for factor in factors:
        value = row[factor.name]
        if pd.notna(value):
            words = f"{'' if value else 'no '}{factor.words}" if factor.kind == "yes/no" else f"{factor.words} {factor.show(value)}"
            yield words.replace(" ", "\N{NO-BREAK SPACE}")


def _day(row):
    made = row.get("made_at")
    return "" if made is None or pd.isna(made) else f"{made.day} {made:%b %Y}"
