"""A study folder made of a Data Package: study file, log and notebooks, to go on working in."""

from __future__ import annotations

import datetime as dt
import math
import os
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from testpour.exchange.folder import FolderProblem, StudyFolder, templates
from testpour.exchange.package_files import Files
from testpour.files import name_new
from testpour.logbook.book import Logbook
from testpour.logbook.loading import load_castings
from testpour.logbook.tables import LogProblem
from testpour.logbook.whole import TABLES, put_rows
from testpour.study_file import save_study

if TYPE_CHECKING:
    from testpour.exchange.package_reading import Package


def unpack(package: Package, folder: str | Path) -> StudyFolder:
    """Make a study folder of a package; see `Package.to_folder`.

    Raises
    ------
    FolderProblem
        If something is in the way. Nothing is written then.
    LogProblem
        If the rows that were ever logged do not give the castings of the package.
    """
    folder = Path(folder).expanduser().absolute()
    if os.path.lexists(folder) and (folder.is_symlink() or not folder.is_dir() or any(folder.iterdir())):
        raise FolderProblem(f"{folder} is not empty, so nothing was written. Give a new or empty folder.")
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".testpour-") as part:
        made = Path(part) / "study"
        made.mkdir()
        study = replace(package.study, folder=made)
        _fill(package, Logbook(study))
        save_study(study)
        for photo in package.photos:
            (made / photo).parent.mkdir(exist_ok=True)
            picture = Files(package.path).read(photo)
            assert picture is not None, "looked for when the package was read"
            (made / photo).write_bytes(picture)
        for template in templates():
            shutil.copyfile(template, made / template.name)
        if folder.is_dir():
            folder.rmdir()
        name_new(made, folder)
    return StudyFolder(folder, fresh=True)


def _fill(package, log):
    """Put all rows in at once, and look whether the log then is what was shared."""
    try:
        with log._transaction() as connection:
            rows = _kept(package.history) if package.history else _standing(package.castings)
            for table in TABLES:
                put_rows(connection, table, rows.get(table.name))
            held = load_castings(log.study, connection)
            if held.fingerprint() != package.castings.fingerprint():
                raise LogProblem(f"{package.path.name}: its history does not end at its castings. Ask for it again.")
    finally:
        log.close()


def _kept(history):
    """The rows of every table as the log held them."""
    texts = {table.name: [c.name for c in table.columns if not c.nullable] for table in TABLES}
    return {
        name: [
            {key: "" if value is None and key in texts[name] else value for key, value in zip(columns, row, strict=True)}
            for row in zip(*columns.values(), strict=True)
        ]
        for name, columns in history.items()
    }


def _standing(castings):
    """Castings as the rows of a log without corrections."""
    now, factors = dt.datetime.now(dt.UTC).replace(tzinfo=None), [f.name for f in castings.study.factors]
    pours, settings = [], []
    for entry, row in enumerate(castings.pours.reset_index().to_dict("records"), start=1):
        for name in factors:
            value = row.pop(name)
            if isinstance(value, str) or not math.isnan(value):
                key, other = ("text", "number") if isinstance(value, str) else ("number", "text")
                settings.append({"entry": entry, "factor": name, key: value, other: None})
        pours.append({**row, "made_at": row["made_at"].to_pydatetime(), "entry": entry, "logged_at": now})
    readings = [
        {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in row.items()} | {"logged_at": now}
        for row in castings.readings.to_dict("records")
    ]
    return {"pours": pours, "settings": settings, "readings": readings}
