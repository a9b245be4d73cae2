"""A Data Package that was read, and making a study folder of it to work in."""

import os
import shutil
import tempfile
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.files import name_new
from testpour.common.wording import count, in_html
from testpour.exchange.folder import FolderProblem, StudyFolder, templates
from testpour.exchange.package_files import Files
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.ledger import Ledger
from testpour.logbook.loading import load_castings
from testpour.logbook.tables import POURS, TABLES, UNDATED, LogProblem, put_rows
from testpour.study.study import Study
from testpour.study.study_file import save_study


@dataclass(frozen=True, eq=False)
class Package:
    """A log with its study, as it was shared.

    Parameters
    ----------
    path : Path
        The folder or zip file.
    study : Study
    castings : Castings
    licence : str
    names : bool
        Whether initials and notes are in it.
    history : dict or None
        The tables of the log with every row it ever held, if they were shared: name to columns.
    photos : tuple of str
        Paths of the photographs in it.
    """

    path: Path
    study: Study
    castings: Castings
    licence: str
    names: bool
    history: dict[str, Any] | None = None
    photos: tuple[str, ...] = ()

    def sentence(self) -> str:
        """Where it is, what is in it and under which licence."""
        return f"{self.path}: {self.contents()}"

    def contents(self) -> str:
        """What is in it and under which licence."""
        people = "with initials and notes" if self.names else "without initials and notes"
        people += ", corrections included" if self.history else ""
        people += f", {count(len(self.photos), 'photograph')}" if self.photos else ""
        return f"{self.study.name}. {self.castings.sentence()} Licence {self.licence}, {people}; fingerprint {self.castings.fingerprint()}."

    __repr__ = sentence

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>"  # its text may come from a stranger

    def to_folder(self, folder: str | Path) -> StudyFolder:
        """Make a study folder of it, with study file, log and notebooks, to work in.

        Parameters
        ----------
        folder : str or Path
            A new or empty folder.

        Returns
        -------
        StudyFolder

        Raises
        ------
        FolderProblem
            If something is in the way.
        LogProblem
            If the history of the log does not give the castings of the package. Nothing is written then.
        """
        folder = Path(folder).expanduser().absolute()
        if os.path.lexists(folder) and (folder.is_symlink() or not folder.is_dir() or any(folder.iterdir())):
            raise FolderProblem(f"{folder} is not empty, so nothing was written. Give a new or empty folder.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".testpour-") as part:
            made = Path(part) / "study"
            made.mkdir()
            study = replace(self.study, folder=made)
            with closing(Logbook(study)) as log:
                _fill(self, log)
            save_study(study)
            for photo in self.photos:
                (made / photo).parent.mkdir(exist_ok=True)
                picture = Files(self.path).read(photo)
                assert picture is not None, "looked for when the package was read"
                (made / photo).write_bytes(picture)
            for template in templates():
                shutil.copyfile(template, made / template.name)
            if folder.is_dir():
                folder.rmdir()
            name_new(made, folder)
        return StudyFolder(folder, fresh=True)


def _fill(package, log):
    """Put all rows in at once, and check that the log then has the castings of the package."""
    with log.writing() as connection:
        if package.history:
            rows = _history_rows(package.history)
            for table in TABLES:
                put_rows(connection, table, rows[table.name])
        else:
            Ledger(log.study, connection).add(list(_entries(package.castings)))
        held = load_castings(log.study, connection)
        if held.fingerprint() != package.castings.fingerprint():
            raise LogProblem(f"{package.path.name}: its history does not end at its castings. Ask for it again.")


def _history_rows(history):
    """The rows of every table as the log held them."""
    blank = {table.name: {c.name: UNDATED if c is POURS.c.made_at else "" for c in table.columns if not c.nullable} for table in TABLES}
    return {
        name: [
            {key: blank[name].get(key) if value is None else value for key, value in zip(columns, row, strict=True)}
            for row in zip(*columns.values(), strict=True)
        ]
        for name, columns in history.items()
    }


def _entries(castings):
    """Castings as checked entries, one per pour, as `Ledger.add` takes them."""
    factors = [factor.name for factor in castings.study.factors]
    readings = castings.readings.drop(columns=["entry", "pour"]).astype(object)
    readings = readings.mask(readings.isin([np.inf, -np.inf]) | readings.isna(), None)
    places = castings.readings.groupby("pour").indices
    for pour, row in castings.pours.iterrows():
        yield {
            "pour": pour, "session": row["session"], "by": row["by"], "note": row["note"],
            "made_at": UNDATED if pd.isna(row["made_at"]) else row["made_at"].to_pydatetime(),
            "settings": row[factors].dropna().to_dict(), "readings": readings.iloc[places.get(pour, [])].to_dict("records"),
        }
