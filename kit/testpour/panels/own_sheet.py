"""Read your own spreadsheet into the log by tapping: first see what would be stored and what is doubtful, then store it."""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from testpour.causes.complaint import seen_words
from testpour.common.wording import at_age, capital, count, first_few
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.entries import LogProblems
from testpour.logbook.tables import LogProblem
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, button, caution, fold, pick, table, text
from testpour.panels.starting import planned_names
from testpour.panels.workshop import Needed, file_mark

ENDINGS = (".csv", ".xlsx")
OTHERS = (".ods", ".xls", ".tsv")  # also offered, so that choosing one explains how to save it
HOW = "One row per pour below a row of headers, such as Pour, Date, Catalyst (%), Thickness (mm), Gel time (min), Tack at 24 h."


@dataclass(frozen=True)
class SheetPreview:
    """What reading a sheet in would do."""

    found: pd.DataFrame  # one row for each pour that is new or gets new readings
    warned: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()


class SheetPart(Panel):
    """The part of a panel that reads a sheet of one's own."""

    def _mark(self):
        """Also changes with the sheets in the folder, so that a corrected sheet is read again."""
        return (*super()._mark(), *((name, file_mark(self.workshop.folder / name)) for name in self._sheets()))

    def sheet_part(self) -> Part:
        """The files to choose from, and what would be stored from the chosen one."""
        return fold("Read in a sheet of your own", *self._sheet())

    def _sheet(self) -> Iterator[Part]:
        names = self._sheets()
        yield text(f"A {' or '.join(ENDINGS)} file in the study folder. {HOW} Nothing is stored before you tap Store.", "hint")
        if not names:
            yield text(f"No such file is there yet: copy it to {self.workshop.folder}.", "needed")
            return
        yield pick("sheet", "Sheet", self.typed("sheet"), [("", "choose a file"), *((name, name) for name in names)])
        if self.typed("sheet") not in names:
            return
        preview = self._preview(self.typed("sheet"))
        yield from (caution(reason, "refuse") for reason in preview.refused)
        yield from map(caution, preview.warned)
        if preview.refused:
            yield text("Nothing can be stored yet. Correct the sheet and save it there; it is then read again.", "needed")
            return
        if not len(preview.found):
            yield text("All of it is in the log already: there is nothing to store.", "strong")
            return
        yield table(preview.found, f"What would be stored: {count(len(preview.found), 'pour')}")
        yield button("store", "Store this in the log", main=True)

    def _tap_store(self) -> str:
        """Read the sheet in."""
        name = self.typed("sheet")
        if name not in self._sheets():
            raise Needed(f"{name or 'The sheet'} is no longer in the study folder. Choose a file again.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # they were shown above the button
            try:
                pours = self.workshop.log.add_sheet(self.workshop.folder / name, reserved=planned_names(self.workshop)[0])
            except LogProblems as problem:
                raise Needed(" ".join(_problem_lines(problem))) from None
        self.memory.put(sheet=None)
        return f"Stored from {name}: {first_few(list(dict.fromkeys(pours)))}."

    def _sheets(self):
        """Names of the files to choose from, without a spreadsheet program's lock files, which begin with ~ or a dot."""
        files = sorted(self.workshop.folder.iterdir()) if self.workshop.folder.is_dir() else []
        return [file.name for file in files if file.suffix.casefold() in ENDINGS + OTHERS and file.name[0] not in "~." and file.is_file()]

    def _preview(self, name):
        path, planned = self.workshop.folder / name, planned_names(self.workshop)[0]
        return self._last.of((path, file_mark(path), self.workshop.mark, planned), lambda: preview_sheet(self.workshop.log, path, planned))


def preview_sheet(log: Logbook, path: Path, planned: Sequence[str]) -> SheetPreview:
    """What reading a sheet into a log would store, warn of and refuse; nothing is stored. No row gets the name of a `planned` pour."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            then, refused = log.with_sheet(path, reserved=planned), []
        except LogProblems as problem:
            then, refused = log.castings(), list(_problem_lines(problem))
        except LogProblem as problem:
            then, refused = log.castings(), [str(problem)]
    warned = dict.fromkeys(capital(str(one.message).removeprefix(f"{path.name}: ")) for one in caught)
    return SheetPreview(_new_pours(log.castings(), then), tuple(warned), tuple(refused))


def _problem_lines(problem):
    """Every problem of a sheet with its place, not repeated in its words."""
    for line in problem.problems.itertuples():
        place = capital(", ".join(str(part) for part in (line.row, line.column) if part))
        first, _, rest = line.problem.partition(": ")
        words = rest if rest and first.casefold() in str(line.column).casefold() else line.problem
        yield f"{place}: {words}" if place else capital(words)


def _new_pours(now: Castings, then: Castings) -> pd.DataFrame:
    """The pours that are new or get new readings: session, day, settings and readings, in words."""
    study, rows = then.study, {}
    readings = then.readings[~then.readings["entry"].isin(now.readings["entry"])]
    for pour, line in then.pours.iterrows():
        new_readings = readings[readings["pour"] == pour]
        if pour in now.pours.index and not len(new_readings):
            continue
        settings = {f.words: "" if pd.isna(line[f.name]) else f.show(line[f.name]) if f.kind != "text" else line[f.name] for f in study.factors}
        day = "not known" if pd.isna(line["made_at"]) else f"{line['made_at']:%d %b %Y}"
        rows[pour] = {"session": line["session"], "day": day, **settings, "read": "; ".join(_read(study, new_readings)) or "nothing"}
    frame = pd.DataFrame.from_dict(rows, orient="index").rename_axis("pour")
    return frame.loc[:, [name for name in frame if (frame[name] != "").any()]]


def _read(study, rows):
    for (name, _), some in rows.groupby(["reading", rows["age"].fillna(-1)], sort=False):
        reading = study.reading(name)
        yield f"{reading.words} {seen_words(reading, some)}{at_age(some['age'].iloc[0])}"
