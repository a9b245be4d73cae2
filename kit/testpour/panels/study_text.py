"""Changes the study file line by line and keeps everything else a person wrote there, comments included."""

import tomllib
from pathlib import Path
from typing import Any

import tomlkit

from testpour.common.files import overwrite
from testpour.common.toml_file import own_text
from testpour.study.catalogue import catalogue
from testpour.study.study import Study
from testpour.study.study_file import study_from

LEFT_OUT = "left out"


def text_of(folder: str | Path) -> str:
    """The study file of a folder, or the one a new study begins from."""
    path = Path(folder) / "study.toml"
    if path.exists():
        return path.read_text("utf-8-sig")
    return own_text("study/new_study.toml")


def study_of(text: str, folder: str | Path) -> Study:
    """The `Study` a text declares; see `read_study` for what it raises."""
    return study_from(tomllib.loads(text), Path(folder) / "study.toml")


def edited(
    text: str, study: Study, *, texts: dict[str, str], resin: dict[str, str | float], factors: dict[str, Any],
    readings: dict[str, bool | str], aims: dict[str, dict[str, Any]]
) -> str:
    """The text of a study file with these values in it; lines that already have them are left as they are.

    `study` is what the text says now. `texts` are ``name`` and ``question``, `resin` has ``kind`` and both densities in g/mL.
    `factors` has the two ends of each setting as text (equal if it stays the same), `LEFT_OUT`, or None if the file is
    already right; `readings` says whether each is taken, for hardness its scale; `aims` has the bounds and the age of each
    reading as text, "" for none.
    """
    document = tomlkit.parse(text)
    for key, words in texts.items():
        _put(document, key, words)
    section = _section(document, "resin")
    for key, value in resin.items():
        if study.resin.get(key) != value:
            _put(section, key, value if isinstance(value, str) else f"{value:g} g/mL")
    for name, ends in factors.items():
        _factor(_section(document, "factors"), name, ends)
    for name, taken in readings.items():
        _reading(_section(document, "readings"), name, taken)
    _aims(_section(document, "aims"), aims)
    return tomlkit.dumps(document)


def write(folder: str | Path, text: str) -> Path:
    """Write the whole study file; the previous one is kept in the folder ``panels``."""
    path = Path(folder) / "study.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        before = path.parent / "panels" / "study-before.toml"
        before.parent.mkdir(exist_ok=True)
        before.write_bytes(path.read_bytes())
    overwrite(path, text.encode("utf-8"))
    return path


def _section(document, name):
    if name not in document:
        document.add(tomlkit.nl())
        document.add(name, tomlkit.table())
    return document[name]


def _put(table, key, value):
    """Set a key, unless it has this value already."""
    if key not in table or table[key] != value:
        table[key] = value


def _factor(table, name, ends):
    if ends is None:
        return
    if ends == LEFT_OUT:
        _drop(table, name)
        return
    entry = _entry(table, name)
    _put(entry, "from", ends[0])
    _put(entry, "to", ends[1])
    if ends[0] == ends[1]:
        _put(entry, "usual", ends[0])


def _reading(table, name, taken):
    if not taken:
        _drop(table, name)
        return
    if name not in table:
        _entry(table, name)
    if isinstance(taken, str) and table[name].get("unit", catalogue()["readings"][name].unit) != taken:
        _put(table[name], "unit", taken)


def _aims(table, aims):
    for name, bounds in aims.items():
        stated = {key: value for key, value in bounds.items() if value != ""}
        if not {"at_least", "at_most"} & set(stated):
            _drop(table, name)
            continue
        entry = _entry(table, name)
        for key in ("at_least", "at_most", "age"):
            if key in stated:
                _put(entry, key, stated[key])
            elif key in entry:
                del entry[key]


def _entry(table, name):
    if name not in table:
        table.add(name, tomlkit.inline_table())
    return table[name]


def _drop(table, name):
    """Turn a line into a comment."""
    if name in table:
        line = f"{name} = {tomlkit.item(table[name]).as_string()}".replace("\n", " ")
        table.remove(name)
        table.add(tomlkit.comment(line))
