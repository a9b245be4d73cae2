"""Writing a log with its study as an open Data Package, which other programs read without this kit."""

import datetime as dt
import json
import os
import re
import tempfile
import zipfile
from dataclasses import fields as parts_of
from dataclasses import replace
from pathlib import Path

import numpy as np

from testpour.common.files import name_new, place
from testpour.common.wording import ESCAPED
from testpour.exchange.package_cells import package_csv
from testpour.exchange.package_files import PackageProblems
from testpour.exchange.package_reading import read_package
from testpour.exchange.package_schema import DESCRIPTOR, HISTORY, LICENCES, PICTURE, descriptor, picture, tables
from testpour.exchange.unpacking import Package
from testpour.logbook.book import Logbook
from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.loading import READING_COLUMNS, load_castings
from testpour.logbook.photos import FOLDER
from testpour.logbook.tables import all_rows
from testpour.study.columns import Factor, Reading
from testpour.study.study import Aim

LIKE_A_FILE = re.compile(r"\.[a-z]\w{1,4}", re.IGNORECASE)  # .txt, .xlsx and the like; "castings-v1.2" may well be a folder


def write_package(source: Logbook | Castings, to: str | Path, licence: str = "CC0-1.0", names: bool = False) -> Package:
    """Write a log with its study as an open Data Package, and check it by reading it again.

    Parameters
    ----------
    source : Logbook or Castings
    to : str or Path
        A new or empty folder, or a name ending in .zip.
    licence : str
        What others may do with it: CC0-1.0 (anything), CC-BY-4.0 and others of the Open Definition.
    names : bool
        Whether to include initials and notes. From a `Logbook`, corrections, withdrawn rows and photographs are
        then included too.

    Returns
    -------
    Package
        As read again from `to`.

    Raises
    ------
    PackageProblems
        If the place is taken, the licence is unknown, or the log holds what its study now rules out.

    Notes
    -----
    Names of pours, sessions, lots and specimens are always included: keep people's names out of those.
    It follows the Data Package standard, version 2.0 (datapackage.org): Table Schema, units, SHA-256 checksums.

    Examples
    --------
    >>> tp.write_package(log, "coat-hooks.zip")
    coat-hooks.zip: Coat-hook knobs, spring term. 18 pours in 4 sessions, ... Licence CC0-1.0, without initials and notes; ...
    """
    to = Path(to)
    if licence not in LICENCES:
        raise PackageProblems("licence", [f"{licence!r} is not one of {', '.join(LICENCES)}. Choose one of these."])
    empty = to.is_dir() and not to.is_symlink() and not any(to.iterdir())
    if os.path.lexists(to) and (not empty or to.suffix.casefold() == ".zip"):
        raise PackageProblems(str(to), ["exists already. Give another name; a package never overwrites."])
    if not empty and LIKE_A_FILE.fullmatch(to.suffix) and to.suffix.casefold() != ".zip":
        raise PackageProblems(str(to), [f"a package is a folder or a .zip file. Write to {to.stem}.zip, or to {to.stem} for a folder."])
    castings, history = _contents(source, names)
    files = _files(_as_logged(castings), history, licence, names)
    to.parent.mkdir(parents=True, exist_ok=True)
    place(to)
    with tempfile.TemporaryDirectory(dir=to.parent, prefix=".testpour-") as part:
        made = (_zip if to.suffix.casefold() == ".zip" else _folder)(Path(part) / "package", files)
        try:
            package = read_package(made)
        except PackageProblems as problem:
            raise PackageProblems(f"{to} was not written", problem.problems) from None
        if to.is_dir():
            to.rmdir()
        name_new(made, to)
    return replace(package, path=to)


def _files(castings, history, licence, names):
    """Name and bytes of every file."""
    units = {reading.name: reading.unit for reading in castings.study.readings}
    values = {
        "declared-factors": _attributes(castings.study.factors, Factor),
        "declared-readings": _attributes(castings.study.readings, Reading),
        "aims": _attributes(castings.study.aims, Aim),
        "pours": castings.pours.reset_index(names="pour"),
        "readings": castings.readings.assign(unit=castings.readings["reading"].map(units).fillna("")),
        **(history or {}),
    }
    found, resources = {}, []
    for name, table in tables(castings.study, names, history is not None).items():
        found[table.path] = package_csv(table, values[name])
        resources.append(table.resource(found[table.path]))
    for path, data in _pictures(castings.study, history):
        found[path] = data
        resources.append(picture(path, data))
    head = descriptor(castings.study, castings, licence, resources, names)
    head["created"] = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    found[DESCRIPTOR] = (json.dumps(head, indent=2, ensure_ascii=False).translate(ESCAPED) + "\n").encode("utf-8")
    return found


def _attributes(declared, kind):
    return {part.name: [getattr(one, part.name) for one in declared] for part in parts_of(kind)}


def _as_logged(castings):
    """The castings with the columns of a log, in its order, as they may not come from one."""
    readings = castings.readings
    if "entry" not in readings:
        readings = readings.assign(entry=np.arange(1, len(readings) + 1))
    pours = castings.pours[["session", "made_at", *(f.name for f in castings.study.factors), *PEOPLE]]
    return replace(castings, pours=pours, readings=readings[list(READING_COLUMNS)])


def _contents(source, names):
    """The castings and, with names, every row of the log's tables, both as of one moment."""
    if isinstance(source, Castings):
        return source, None
    with source.at_one_moment() as connection:
        castings, history = load_castings(source.study, connection), {}
        for name, table in HISTORY.items() if names else ():
            rows = [row for some in all_rows(connection, table) for row in some]
            history[name] = {column.name: [row[column.name] for row in rows] for column in table.columns}
    return castings, history or None


def _pictures(study, history):
    """The photographs in the study folder, each once; those of another bench stay there."""
    for file in sorted(set(history["history-photos"]["file"])) if history else ():
        path = Path(study.folder) / FOLDER / file
        if PICTURE.fullmatch(f"{FOLDER}/{file}") and path.is_file():
            yield f"{FOLDER}/{file}", path.read_bytes()


def _folder(path, files):
    for name, data in files.items():
        (path / name).parent.mkdir(exist_ok=True)
        (path / name).write_bytes(data)
    return path


def _zip(path, files):
    path = path.with_suffix(".zip")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path
