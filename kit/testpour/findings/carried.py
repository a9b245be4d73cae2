"""The log inside a page: study and castings to full precision, and the way back."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from testpour.findings.data_link import LEFT_OUT
from testpour.logbook.castings import Castings
from testpour.study_file import as_table as study_table
from testpour.study_file import study_from

FORMAT = 1
BLOCK = re.compile(r'<script type="application/json" id="log">(.*?)</script>', re.DOTALL)


class NoLogInside(ValueError):
    """A file is no findings page, or one that carries no log."""


def for_page(held):
    """Anything JSON can hold as text that no page takes for markup."""
    text = json.dumps(held, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def carried(castings, said, before=None):
    """What a page carries for its readers and for the next page.

    Parameters
    ----------
    castings : Castings
    said : dict
        What this page says, see `since.said`.
    before : dict, optional
        What an earlier page said, which this one compares itself with.

    Returns
    -------
    dict
        Ready for JSON. Who read it is a number, not a name; where the log is kept stays at home.
    """
    study = {name: part for name, part in study_table(castings.study).items() if name != "log"}
    return {
        "format": FORMAT, "fingerprint": castings.fingerprint(), "study": study,
        "pours": _held(castings.pours.reset_index(names="pour")), "readings": _held(castings.readings),
        "said": said, "before": before,
    }  # fmt: skip


def _held(table):
    """A table as lists by column: times as text, what is open or blank as null."""
    columns = {}
    for name in table:
        column = table[name]
        if name in LEFT_OUT:
            columns[name] = _numbered(column)
        elif pd.api.types.is_datetime64_any_dtype(column):
            columns[name] = [None if pd.isna(moment) else moment.isoformat() for moment in column]
        elif pd.api.types.is_numeric_dtype(column):
            columns[name] = [float(value) if np.isfinite(value) else None for value in column]
        else:
            columns[name] = [None if pd.isna(value) else str(value) for value in column]
    return columns


def _numbered(column):
    """Each person as a number, in the order they appear; blank stays blank."""
    people = column.fillna("").astype(str)
    numbers = {name: f"reader {k}" for k, name in enumerate(dict.fromkeys(people[people != ""]), start=1)}
    return [numbers.get(name, "") for name in people]


def read_page(path):
    """The log that a findings page carries.

    Parameters
    ----------
    path : str or Path
        A file that `findings_page` wrote.

    Returns
    -------
    Castings
        Study, pours and readings as they were, to the last digit, with the same fingerprint; who read
        them is "reader 1", "reader 2". `fit_castings` takes it like any log.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    NoLogInside
        If the file is no findings page, or its log was changed.
    """
    held = inside(path)
    study = study_from(held["study"])
    pours, readings = (pd.DataFrame(held[name]) for name in ("pours", "readings"))
    numbers = [factor.name for factor in study.factors if factor.kind != "text" and factor.name in pours]
    pours = pours.astype(dict.fromkeys(numbers, float)).set_index("pour")
    if "made_at" in pours:
        pours["made_at"] = pd.to_datetime(pours["made_at"], format="ISO8601").astype("datetime64[us]")
    readings = readings.astype({"low": float, "high": float, "age": float})
    readings["low"], readings["high"] = readings["low"].fillna(-np.inf), readings["high"].fillna(np.inf)
    castings = Castings(replace(study, folder=Path(path).parent), pours, readings)
    if castings.fingerprint() != held["fingerprint"]:
        raise NoLogInside(f"{Path(path).name}: its data are not those its fingerprint stands for. Ask its makers for the page anew.")
    return castings


def inside(path):
    """What a page carries, as `carried` made it; see `read_page` for what it raises."""
    path = Path(path)
    if not path.exists():
        raise FileNotFoundError(f"No file {path}. Give the path of a findings page.")
    found = BLOCK.search(path.read_text("utf-8", errors="replace"))
    held = _parsed(found.group(1)) if found else None
    if not isinstance(held, dict) or held.get("format") != FORMAT:
        raise NoLogInside(f"{path.name} carries no log that this kit can read. Give a page that findings_page wrote.")
    return held


def _parsed(text):
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return None
