"""An open Data Package of a log, read back: checksums, units and every value checked, all problems at once."""

from dataclasses import dataclass
from dataclasses import fields as parts_of
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from testpour.columns import Factor, Reading
from testpour.exchange.folder import StudyFolder
from testpour.exchange.package_cells import check_castings, from_csv
from testpour.exchange.package_files import (
    Files,
    PackageProblems,
    read_descriptor,
    unpack,
    verified_pictures,
    verified_tables,
)
from testpour.exchange.package_schema import DESCRIPTOR, FORM, HISTORY, declarations, tables
from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.loading import READING_COLUMNS
from testpour.study import Study, StudyProblems
from testpour.study_file import study_from
from testpour.wording import count, in_html


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
        The tables of the log with every row it ever held, where they were shared: name to columns.
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
        return (
            f"{self.study.name}. {self.castings.sentence()} Licence {self.licence}, {people}; "
            f"fingerprint {self.castings.fingerprint()}."
        )

    __repr__ = sentence

    def _repr_html_(self):
        return f"<p>{in_html(self.sentence())}</p>"  # its words may be a stranger's

    def to_folder(self, folder: str | Path) -> StudyFolder:
        """Make a study folder of it: study file, log and notebooks, to go on working in.

        Parameters
        ----------
        folder : str or Path
            A new or empty folder.

        Returns
        -------
        StudyFolder
        """
        return unpack(self, folder)


def read_package(path: str | Path) -> Package:
    """Read an open Data Package of a log, as `write_package` writes it.

    Parameters
    ----------
    path : str or Path
        The folder, its `datapackage.json`, or a zip file.

    Returns
    -------
    Package
        With ``.study`` and ``.castings``; ``.to_folder(folder)`` makes a study folder of it.

    Raises
    ------
    PackageProblems
        With every problem: a file missing or changed since it was written, a form this kit does not know,
        another unit than declared, a value that cannot be.
    """
    files = Files(Path(path))
    problems: list[str] = []
    head = read_descriptor(files)
    own = head["testpour"] if isinstance(head.get("testpour"), dict) else {}
    data, photos = verified_tables(files, head, problems), verified_pictures(files, head, problems)
    if own.get("form") != FORM:
        problems.append(f"{DESCRIPTOR}: its form is {own.get('form')!r}, this kit knows {FORM}. Update testpour.")
        raise PackageProblems(files.path.name, problems)
    study = _study(own | {"name": head.get("title")}, data, problems)
    if study is None:
        raise PackageProblems(files.path.name, problems)
    names, history = own.get("names") is True, all(name in data for name in HISTORY)
    columns = _columns(tables(study, names, history), data, head, problems)
    castings = _castings(study, columns, names, problems) if columns["pours"] and columns["readings"] else None
    if castings is not None and not problems and not castings.has_fingerprint(own.get("fingerprint")):
        problems.append(f"{DESCRIPTOR}: its fingerprint is not that of the tables. Ask for the package again.")
    if problems or castings is None:
        raise PackageProblems(files.path.name, problems)
    kept = {HISTORY[name].name: columns[name] for name in HISTORY} if history else None
    return Package(files.path, study, castings, _licence(head), names, kept, photos)


def _study(own, data, problems):
    """The study of a package; None, with its problems added, where it cannot be."""
    raw = {key: own[key] for key in ("name", "question", "resin", "ready") if key in own}
    declared = declarations()
    if not set(declared) <= set(data):
        return None
    columns = {name: from_csv(table, data[name], problems) for name, table in declared.items()}
    if None in columns.values():
        return None
    raw["factors"] = _entries(columns["declared-factors"], Factor)
    raw["readings"] = _entries(columns["declared-readings"], Reading)
    aims = pd.DataFrame(columns["aims"], dtype=object).to_dict("records")
    raw["aims"] = {a.pop("reading") or "": {k: v for k, v in a.items() if v is not None} for a in aims}
    try:
        return study_from(raw, Path("study.toml"))
    except StudyProblems as problem:
        problems += problem.problems
    except (TypeError, ValueError, AttributeError) as problem:
        problems.append(f"the study cannot be understood: {problem}.")
    return None


def _entries(columns, kind):
    """Declarations as a study file has them: each part said, so that the catalogue fills nothing in."""
    blank = {part.name: [] if isinstance(part.default, tuple) else "" for part in parts_of(kind)
             if isinstance(part.default, str | tuple)}
    entries = {}
    for row in pd.DataFrame(columns, dtype=object).to_dict("records"):
        stated = {key: value for key, value in row.items() if value is not None}
        name = stated.pop("name", "")
        entries[name] = {**blank, **stated}
    return entries


def _licence(head):
    licences = head.get("licenses")
    names = [str(one.get("name")) for one in licences if isinstance(one, dict)] if isinstance(licences, list) else []
    return ", ".join(names) or "not stated"


def _columns(found, data, head, problems):
    """The values of each table, once its declared columns are those of the study."""
    listed, columns = {str(r.get("name")): r for r in head["resources"]}, {}
    for name, table in found.items():
        columns[name] = None
        if name in data:
            _check_units(table, listed[name].get("schema"), problems)
            columns[name] = from_csv(table, data[name], problems)
    return columns


def _check_units(table, schema, problems):
    """Numbers are in the units the study declares, or they are not read."""
    fields = schema.get("fields") if isinstance(schema, dict) else None
    fields = fields if isinstance(fields, list) else ()
    stated = {str(f.get("name")): str(f.get("unit", "")) for f in fields if isinstance(f, dict)}
    for field in table.fields:
        unit, wanted = stated.get(field["name"]), field.get("unit", "")
        if unit != wanted:
            words = "no such column" if unit is None else f"in {unit or 'plain numbers'}"
            problems.append(f"{table.path}, {field['name']}: {words}, where the study has {wanted or 'plain numbers'}.")


def _castings(study, columns, names, problems):
    """Both tables as the log itself gives them."""
    pours, readings = dict(columns["pours"]), dict(columns["readings"])
    for held, rows in ((pours, len(pours["pour"])), (readings, len(readings["entry"]))):
        held |= {} if names else {name: [""] * rows for name in PEOPLE}
    kinds = {f.name: object if f.kind == "text" else float for f in study.factors} | {"made_at": "datetime64[us]"}
    made = {name: _series(pours[name], kinds.get(name, "str")) for name in
            ("pour", "session", "made_at", *(f.name for f in study.factors), *PEOPLE)}
    known = readings.pop("known")
    unit = readings.pop("unit")
    kinds = {"low": float, "high": float, "age": float, "entry": object}
    read = pd.DataFrame({name: _series(readings[name], kinds.get(name, "str")) for name in readings})
    read["low"], read["high"] = read["low"].fillna(-np.inf), read["high"].fillna(np.inf)
    read["known"] = _series(known, "str")
    check_castings(study, pd.DataFrame(made), read, unit, problems)
    if problems:
        return None
    return Castings(study, pd.DataFrame(made).set_index("pour"), read.astype({"entry": int})[list(READING_COLUMNS)])


def _series(values, kind):
    if kind == "str":
        return pd.Series(["" if value is None else value for value in values], dtype="str")
    column = pd.Series(values, dtype=kind)
    return column.where(column.notna(), np.nan) if kind is object else column
