"""Share by tapping: page, handout, wall sheet, chart, data and backup, and what in each names a person."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.common.pages import repeats
from testpour.common.wording import NoResult, count, listed
from testpour.logbook.backup import back_up
from testpour.panels.panel import Panel, Waiting
from testpour.panels.parts import Part, button, choice, entry, paper, row, step, text
from testpour.panels.workshop import Needed

NAMES = {"page": "Findings page", "handout": "Handout", "wall": "Wall sheet", "chart": "Recipe chart", "sheet": "Spreadsheet",
         "package": "Data to share", "backup": "Backup of the log"}
FROM_FITS = ("page", "handout", "wall", "chart")
USUAL = {"paper": "A4", "bench": "session"}
BENCHES = (("session", "each day"), ("by", "each person's initials"))


class SharePanel(Panel):
    """What goes out; see `share_panel`."""

    name, title = "share", "Pass it on"
    lead = "One tap each. Everything is written into the study folder; nothing is sent anywhere."
    usual = USUAL

    def __init__(self, folder: str | Path = ".") -> None:
        self._wanted: tuple[str, str] | None = None
        self._copied: dict[str, tuple] = {}  # mark of study and log when a time-stamped copy was made
        super().__init__(folder)

    def fields(self) -> list[Part]:
        self.workshop.poured()
        return [
            step("Before it goes out", entry("signed", "Signed by", self.typed("signed"), hint="leave empty to name nobody"),
                 choice("paper", "Paper", self.typed("paper"), (("A4", "A4"), ("Letter", "Letter"))),
                 choice("bench", "The wall sheet has a line for", self.typed("bench"), BENCHES), says=[text(self._people())]),
            step("Write", row(*[button(f"write:{what}", words) for what, words in NAMES.items()])),
        ]

    def parts(self) -> Iterator[Part]:
        yield from self.fields()
        if self._wanted is not None:
            (what, stamp), self._wanted = self._wanted, None
            try:
                path, words = self._result(what, stamp)
            except Waiting:
                self._wanted = what, stamp
                raise
            self.wrote(path, words)
            self._copied[what] = self.workshop.mark
            self.memory.put(made={**self.made, what: str(path)})
        papers = self.papers
        for what, path in reversed(self.made.items()):
            yield step(NAMES[what], paper(path, papers[path]), text(self._names_in(what), "strong"))

    @property
    def made(self) -> dict[str, str]:
        """What was written and still exists: what to path, latest last."""
        papers = self.papers
        return {what: path for what, path in self.memory.get("made", {}).items() if path in papers}

    @property
    def table(self) -> pd.DataFrame:
        """What was written, one row per file: what, path and what in it names a person."""
        rows = [(NAMES[what], path, self._names_in(what)) for what, path in self.made.items()]
        return pd.DataFrame(rows, columns=["what", "path", "names a person"])

    def summary(self) -> str:
        self.workshop.poured()
        return self._people()

    def _tap_write(self, what: str) -> str | None:
        """Write one thing, in the background if it takes long. An unchanged package or backup is not written twice."""
        under_way = self._wanted is not None and self._wanted[0] == what
        if what in ("package", "backup") and (under_way or (what in self.made and self._copied.get(what) == self.workshop.mark)):
            return f"{NAMES[what]}: nothing has changed since it was written, so it was not written again."
        self._wanted = what, f"{dt.datetime.now():%Y-%m-%d-%H%M%S-%f}"
        self.memory.put(made={one: path for one, path in self.made.items() if one != what})
        return None

    def _result(self, what, stamp):
        """Path and words of what was written."""
        fits = self.fits() if what in FROM_FITS else None
        by, size, bench = self.typed("signed").strip() or None, self.typed("paper"), self.typed("bench")
        folder, log, castings = self.workshop.folder, self.workshop.log, self.workshop.castings()
        photos = log.photos() if what == "page" else ()

        def make():
            if what == "page":
                page = tp.findings_page(fits, folder / "findings.html", by=by, photos=photos)
                return page.path, f"One file of {page.size / 1000:.0f} kB that opens in any browser, prints, and needs no network."
            if what == "handout":
                made = tp.handout(fits, folder / "handout.html", paper=size, by=by)
            elif what == "wall":
                made = tp.wall_summary(fits, folder / "wall.html", bench=bench, paper=size)
            elif what == "chart":
                chart = tp.recipe_chart(fits)
                if isinstance(chart, NoResult):
                    raise Needed(chart.sentence())
                return chart.save(folder / "recipe-chart.html", paper=size), chart.sentence()
            elif what == "sheet":
                return tp.write_sheet(castings, folder / "castings.xlsx"), f"{count(len(castings.pours), 'pour')} in rows, units in the headers."
            elif what == "package":
                made = tp.write_package(castings, folder / f"data-{stamp[:17]}.zip")  # a package never overwrites
                return made.path, made.contents()
            else:
                made = back_up(self.workshop.study)
            return made.path, made.sentence()

        return self.work_out(f"Writing: {NAMES[what].lower()}", make, stamp)

    def _people(self):
        """Whose initials are in the log, and how many notes."""
        castings = self.workshop.castings()
        who = _initials(castings)
        text = f"names {listed(who[:6])}{' and others' if len(who) > 6 else ''} by initials and holds" if who else "holds no initials and"
        notes = f"{count(castings.notes, 'note')}, typed by hand or written by the kit" if castings.notes else "no notes"
        return f"The log {text} {notes}."

    def _names_in(self, what):
        """What in a file names, or may name, a person."""
        castings, by = self.workshop.castings(), self.typed("signed").strip()
        who = listed(_initials(castings))
        signed = f"It is signed by {by}. " if by and what in ("page", "handout") else "It names nobody. "
        if what == "page":
            return signed + repeats(castings.notes, len(self.workshop.log.photos()), "look at")
        if what == "handout":
            return signed.strip()
        if what == "wall":
            return "It names nobody: benches are numbered." if self.typed("bench") == "by" else "It names nobody."
        if what in ("sheet", "backup"):
            return f"It holds every note{f' and the initials {who}' if who else ''}: for yourself and people you trust."
        return "Initials and notes are left out. Names of pours, sessions and lots go with it." if what == "package" else "It names nobody."


def _initials(castings):
    found = pd.concat([castings.pours["by"], castings.readings["by"]]).dropna().astype(str).str.strip()
    return sorted(set(found[found != ""]))


def share_panel(folder: str | Path = ".") -> SharePanel:
    """Write by tapping what is passed on: page, handout, wall sheet, recipe chart, data and backup.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    SharePanel
        A widget. ``.table`` lists what was written and what in it names a person.
    """
    return SharePanel(folder)
