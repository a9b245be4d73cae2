"""The study file: `study.toml`, read with every problem named at once, and written back."""

import math
import re
import tomllib
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from testpour.common.files import Kind, put
from testpour.common.problems import NoSuchFile, noted
from testpour.common.toml_file import TomlProblem, read_toml
from testpour.common.units import UnitProblem
from testpour.common.wording import ESCAPED, listed, numbered, shortened
from testpour.study.catalogue import amount, catalogue
from testpour.study.columns import ColumnProblem, Factor, Reading
from testpour.study.declared_columns import columns_of, refuse_alike
from testpour.study.study import Aim, Study, StudyProblems

SECTIONS = {"name": str, "question": str, "log": str, "resin": dict, "factors": dict, "readings": dict, "aims": dict,
            "ready": dict, "one_of": dict}
RESIN = {"kind": "casting polyester, promoted", "density": 1.1, "catalyst_density": 1.12}
LARGEST = 1_000_000  # bytes of a study file that may be replaced
DENSITY_RANGE = (0.5, 3.0)  # g/mL: unfilled resin and peroxide are near 1.1, heavily filled resin near 2


def _is_study(path):
    """Whether a file is TOML in the shape of a study file."""
    try:
        table = tomllib.loads(path.read_text("utf-8-sig")) if path.stat().st_size < LARGEST else {}
    except (ValueError, RecursionError):
        return False
    return "factors" in table and table.keys() <= SECTIONS.keys()


FILE = Kind("a study file", _is_study)


def read_study(path: str | Path = "study.toml") -> Study:
    """Read a study file.

    Parameters
    ----------
    path : str or Path
        The file, or its folder.

    Returns
    -------
    Study

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    StudyProblems
        With every problem of the file.

    Examples
    --------
    >>> tp.read_study("study.toml").name
    'Coat-hook knobs, spring term'
    """
    path = Path(path)
    path = path / "study.toml" if path.is_dir() else path
    if not path.exists():
        raise NoSuchFile(f"No study file at {path}. Give its path, or make a study folder with: testpour new FOLDER")
    try:
        raw = read_toml(path)
    except TomlProblem as problem:
        raise StudyProblems(path.name, problem.args) from None
    return study_from(raw, path)


def study_from(raw: dict[str, Any], path: Path = Path("study.toml")) -> Study:
    """A `Study` from the tables of a study file; see `read_study`. Its folder is the parent of `path`."""
    problems = [f"[{key}] is not a part of a study; allowed are {', '.join(sorted(SECTIONS))}." for key in raw if key not in SECTIONS]
    given, raw = raw, _of_the_right_kind(raw, problems)
    factors = columns_of(Factor, "factors", raw, problems)
    readings = columns_of(Reading, "readings", raw, problems)
    known = dict.fromkeys(raw.get("readings", {})) | {r.name: r for r in readings}
    aims = _aims(raw.get("aims", {}), known, problems)
    refuse_alike((*factors, *readings), problems)
    one_of = _one_of(raw.get("one_of", {}), factors, problems)
    resin = _resin(raw.get("resin", {}), problems)
    ready = _ready(raw.get("ready", {}), known, problems)
    if not given.get("factors") or not given.get("readings"):
        problems.append("a study needs at least one factor and one reading: name them under [factors] and [readings].")
    if problems:
        raise StudyProblems(path.name, problems)
    name, question, log = raw.get("name", path.parent.name or "study"), raw.get("question", ""), raw.get("log", "log.sqlite")
    return Study(name, question, factors, readings, aims, resin, log, path.parent, ready, one_of)


def _of_the_right_kind(raw, problems):
    """The parts of a study that are text or tables as they should be."""
    right = {key: value for key, value in raw.items() if isinstance(value, SECTIONS.get(key, object))}
    for key in raw:
        if key not in right and SECTIONS[key] is str:
            problems.append(f"{key} = {shortened(repr(raw[key]))} must be text in quotes.")
        elif key not in right:
            problems.append(f"[{key}] must be a table: a line [{key}] and under it a line for each part.")
    if any(c < " " for c in right.get("log", "")):
        problems.append("log holds a tab or a line break, as a backslash makes it. Write / between folders, or put the path in ' '.")
    return right


def _aims(raw, readings, problems):
    """The aims; `readings` has None for an invalid reading, whose problems are reported already."""
    aims = []
    for name, entry in raw.items():
        reading = readings.get(name)
        if reading is None and name in readings:
            continue
        if reading is None:
            near = get_close_matches(name.replace(" ", "_").casefold(), readings, 1)
            do = f"write {near[0]} if that is meant" if near else "add it under [readings] or drop the aim"
            problems.append(f"[aims] {shortened(repr(name))[1:-1]} is not read in this study; {do}.")
            continue
        said = set(entry) if isinstance(entry, dict) else set()
        if said - {"at_least", "at_most", "age"} or not {"at_least", "at_most"} & said:
            how = f'{name} = {{ at_least = ..., at_most = ... }}, with one of them or both, and age = "24 h" where it matters'
            problems.append(f"[aims] {name}: {shortened(repr(entry))} is no aim as this file has it. Write it like {how}.")
            continue
        with noted(problems):
            bounds = {
                key: amount(value, "h", f"[aims] {name}, age") if key == "age" else _bound(value, reading, f"[aims] {name}, {key}")
                for key, value in entry.items()
            }
            aims.append(_checked_aim(Aim(name, **bounds), reading))
    return tuple(aims)


def _bound(value, reading, what):
    """A bound in the reading's unit; a grade may be given by its word."""
    words = [word.casefold() for word in reading.grades]
    if not words or not isinstance(value, str) or re.match(r"\s*[\d+\-.]", value):
        return amount(value, reading.unit, what)
    if value.strip().casefold() not in words:
        raise UnitProblem(f"{what}: {shortened(repr(value))} is not a grade. Grades are {numbered(reading.grades)}.")
    return float(words.index(value.strip().casefold()))


def _checked_aim(aim, reading):
    low, high = aim.at_least, aim.at_most
    if low is not None and high is not None and low > high:
        raise ColumnProblem(f"[aims] {aim.reading}: at_least {low:g} is above at_most {high:g}. Exchange the two, or leave one out.")
    for bound in (low, high):
        if bound is not None and not reading.low <= bound <= reading.high:
            raise ColumnProblem(f"[aims] {aim.reading}: {bound:g} is outside {reading.range_words}.")
    against = {"lower": ("at_least", "at_most", "higher", low), "higher": ("at_most", "at_least", "lower", high)}.get(reading.better)
    if against and against[3] is not None and None in (low, high):
        said, meant, other, bound = against
        raise ColumnProblem(
            f"[aims] {aim.reading}: {said} {reading.show(bound)} asks for castings as bad as that or worse, for {reading.better} is better. "
            f"Write {meant}, or both for a range; if it is meant so, write better = \"{other}\" in its line under [readings]."
        )
    if reading.grades and math.ceil(low or 0) > (reading.high if high is None else high):
        raise ColumnProblem(f"[aims] {aim.reading}: no grade is between {low:g} and {high:g}. Grades are {numbered(reading.grades)}.")
    if aim.age is not None and not aim.age > 0:
        raise ColumnProblem(f"[aims] {aim.reading}: an age of {aim.age:g} h is not possible. Give hours after mixing.")
    return replace(aim, age=reading.ages[0]) if aim.age is None and reading.ages else aim


def _resin(raw, problems):
    if unknown := sorted(set(raw) - set(RESIN)):
        problems.append(f"[resin] {', '.join(unknown)} is not recognised; allowed are {', '.join(RESIN)}.")
    resin = {**RESIN, **{key: raw[key] for key in raw if key in RESIN}}
    if not isinstance(resin["kind"], str):
        problems.append(f"[resin] kind = {resin['kind']!r} must be text in quotes.")
    for key in ("density", "catalyst_density"):
        with noted(problems):
            resin[key] = amount(resin[key], "g/mL", f"[resin] {key}")
            if not DENSITY_RANGE[0] <= resin[key] <= DENSITY_RANGE[1]:
                problems.append(f"[resin] {key}: {resin[key]:g} g/mL cannot be the density of a resin. Read it off the label.")
    return resin


def _ready(raw, readings, problems):
    """Step of the work to the hardness it needs."""
    if raw and "hardness" not in readings:
        problems.append("[ready] says at what hardness a step may be done; add hardness under [readings].")
        return {}
    ready = {}
    for step, value in raw.items() if readings.get("hardness") else ():
        try:
            amount(value, readings["hardness"].unit, "hardness")
            ready[step] = readings["hardness"].parse(value)
        except UnitProblem as problem:
            problems.append(f"[ready] {shortened(repr(step))[1:-1]}: {problem}")
    return ready


def _one_of(raw, factors, problems):
    """A choice to the yes/no factors of which a pour has one at most."""
    usual = {f.name: f.usual for f in factors if (f.kind, f.role) == ("yes/no", "chosen")}
    for choice, names in raw.items():
        if not isinstance(names, list) or len(names) < 2 or any(name not in [*usual] for name in names) or len({*names}) < len(names):
            problems.append(f"[one_of] {choice} = {shortened(repr(names))}: list two or more of the yes/no factors of this study, each once, "
                            f"of which a pour has one at most; it has {', '.join(usual) or 'none'}.")
        elif sum(usual[name] for name in names) > 1:
            problems.append(f"[one_of] {choice}: {listed(name for name in names if usual[name])} are both usual. Write usual = \"no\" for all but one.")
    return {choice: tuple(names) for choice, names in raw.items()} if not problems else {}


def save_study(study: Study, path: str | Path | None = None) -> Path:
    """Write a study as a study file. Comments of an older file are not kept.

    Parameters
    ----------
    study : Study
    path : str or Path, optional
        The file to write; `study.toml` in the study's folder if not given.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    FileExistsError
        If there is anything but a study file.

    Examples
    --------
    >>> tp.save_study(tp.example_study(), "another.toml").name
    'another.toml'
    """
    import tomli_w

    return put(path or study.folder / "study.toml", tomli_w.dumps(as_table(study)).translate(ESCAPED), FILE)


def as_table(study: Study) -> dict[str, Any]:
    """The study as the nested tables of its file; only what differs from the catalogue is written."""
    table = {"name": study.name, "question": study.question, "log": study.log, "resin": dict(study.resin)}
    for section, columns in (("factors", study.factors), ("readings", study.readings)):
        table[section] = {c.name: _differences(c, catalogue()[section].get(c.name)) for c in columns}
    table["aims"] = {
        aim.reading: {key: getattr(aim, key) for key in ("at_least", "at_most", "age") if getattr(aim, key) is not None}
        for aim in study.aims
    }
    more = {"ready": dict(study.ready), "one_of": {choice: list(names) for choice, names in study.one_of.items()}}
    return table | {section: part for section, part in more.items() if part}


def _differences(column, base):
    own, base = base is None, base or type(column)(name=column.name)
    return {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in vars(column).items()
        if key != "name" and (value != getattr(base, key) or own and key == "words") and str(value) != "nan"
    }
