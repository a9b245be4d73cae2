"""Reading an open Data Package of a log: checksums, units and every value are checked, all problems at once."""

from dataclasses import fields as parts_of
from pathlib import Path

import numpy as np
import pandas as pd

from testpour.exchange.package_cells import check_castings, from_csv
from testpour.exchange.package_files import Files, PackageProblems, read_descriptor, verified_pictures, verified_tables
from testpour.exchange.package_schema import DESCRIPTOR, FORM, HISTORY, declarations, tables
from testpour.exchange.unpacking import Package
from testpour.logbook.castings import PEOPLE, Castings
from testpour.logbook.loading import READING_COLUMNS, READING_TYPES, setting_types
from testpour.study.columns import Factor, Reading
from testpour.study.study import StudyProblems
from testpour.study.study_file import study_from


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
        With every problem: a file missing or changed since it was written, a form this kit does not know, a unit
        other than declared, an impossible value.

    Examples
    --------
    >>> tp.write_package(log, "knobs.zip").castings.fingerprint() == tp.read_package("knobs.zip").castings.fingerprint()
    True
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
    castings = _castings(study, columns, problems) if columns["pours"] and columns["readings"] else None
    if castings is not None and not problems and not castings.has_fingerprint(own.get("fingerprint")):
        problems.append(f"{DESCRIPTOR}: its fingerprint is not that of the tables. Ask for the package again.")
    if problems or castings is None:
        raise PackageProblems(files.path.name, problems)
    history_tables = {HISTORY[name].name: columns[name] for name in HISTORY} if history else None
    return Package(files.path, study, castings, _licence(head), names, history_tables, photos)


def _study(own, data, problems):
    """The study of a package; None, with its problems added, if it is not valid."""
    raw = {key: own[key] for key in ("name", "question", "resin", "ready", "one_of") if key in own}
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
    """Declarations as in a study file, with every part stated, so that the catalogue fills nothing in."""
    blank = {part.name: [] if isinstance(part.default, tuple) else "" for part in parts_of(kind) if isinstance(part.default, str | tuple)}
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
    """The values of each table, by column; units that differ from the study's are added to `problems`."""
    listed, columns = {str(r.get("name")): r for r in head["resources"]}, {}
    for name, table in found.items():
        columns[name] = None
        if name in data:
            _check_units(table, listed[name].get("schema"), problems)
            columns[name] = from_csv(table, data[name], problems)
    return columns


def _check_units(table, schema, problems):
    """Add a problem for each column that is not in the unit the study declares."""
    fields = schema.get("fields") if isinstance(schema, dict) else None
    fields = fields if isinstance(fields, list) else ()
    stated = {str(f.get("name")): str(f.get("unit", "")) for f in fields if isinstance(f, dict)}
    for field in table.fields:
        unit, wanted = stated.get(field["name"]), field.get("unit", "")
        if unit != wanted:
            words = "no such column" if unit is None else f"in {unit or 'plain numbers'}"
            problems.append(f"{table.path}, {field['name']}: {words}, where the study has {wanted or 'plain numbers'}.")


def _castings(study, columns, problems):
    """Both tables as `Castings`; None if they have problems."""
    pour_types = {"pour": "str", "session": "str", "made_at": "datetime64[us]", **setting_types(study), **dict.fromkeys(PEOPLE, "str")}
    pours = _table(columns["pours"], pour_types)
    readings = _table(columns["readings"], {**READING_TYPES, "entry": "object", "known": "str"})
    readings["low"], readings["high"] = readings["low"].fillna(-np.inf), readings["high"].fillna(np.inf)
    check_castings(study, pours, readings, columns["readings"]["unit"], problems)
    if problems:
        return None
    return Castings(study, pours.set_index("pour"), readings.astype({"entry": int})[list(READING_COLUMNS)])


def _table(columns, types):
    """Columns as a table of these types; blank text, or text that was not shared, is ""."""
    rows = len(next(iter(columns.values())))
    table = pd.DataFrame({name: pd.Series(columns.get(name, [None] * rows), dtype=object) for name in types})
    for name, kind in types.items():
        table[name] = table[name].fillna("") if kind == "str" else table[name].where(table[name].notna(), np.nan)
    return table.astype(types)
