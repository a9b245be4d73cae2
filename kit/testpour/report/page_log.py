"""The log inside a page: writing study and castings to full precision, and reading them back."""

import json
import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup

from testpour.common.problems import NoSuchFile, Problem
from testpour.common.text_file import DEEPEST, TextProblem, json_depth, read_bytes
from testpour.exchange.data_link import LEFT_OUT
from testpour.logbook.castings import Castings
from testpour.study.study import StudyProblems
from testpour.study.study_file import as_table as study_table
from testpour.study.study_file import study_from

FORMAT = 1
LARGEST = 100_000_000  # bytes of a page; forty photographs take a fifth of it
BLOCK = re.compile(r'<script type="application/json" id="log">(.*?)</script>', re.DOTALL)


class NoLogInside(Problem):
    """A file is not a findings page, or one that carries no log."""


def json_for_page(data: Any) -> Markup:
    """JSON text that is safe inside a page. Raises `ValueError` if a number is NaN or infinite."""
    return htmlsafe_json_dumps(data, allow_nan=False, separators=(",", ":"))


def page_data(castings: Castings, statements: dict[str, Any], before: dict[str, Any] | None = None) -> dict[str, Any]:
    """What a page carries for its readers and for the next page.

    `statements` is what this page says, see `page_changes.statements`; `before` what an earlier page said. Readers are
    numbered, not named, and the address of the log is left out.
    """
    study = {name: part for name, part in study_table(castings.study).items() if name != "log"}
    return {
        "format": FORMAT, "fingerprint": castings.fingerprint(), "study": study,
        "pours": _columns(castings.pours.reset_index(names="pour")), "readings": _columns(castings.readings),
        "said": statements, "before": before,
    }


def _columns(table):
    """A table as lists by column: times as text, open ends and blanks as null, people numbered."""
    columns = {}
    for name in table:
        column = table[name]
        if name in LEFT_OUT:
            people = column.fillna("").astype(str)
            numbers, _ = pd.factorize(people.where(people != ""))  # in the order they appear; -1 for a blank
            columns[name] = ["" if number < 0 else f"reader {number + 1}" for number in numbers]
        elif pd.api.types.is_datetime64_any_dtype(column):
            columns[name] = [None if pd.isna(moment) else moment.isoformat() for moment in column]
        elif pd.api.types.is_numeric_dtype(column):
            columns[name] = [float(value) if np.isfinite(value) else None for value in column]
        else:
            columns[name] = [None if pd.isna(value) else str(value) for value in column]
    return columns


def read_page(path: str | Path) -> Castings:
    """The log that a findings page carries.

    Parameters
    ----------
    path : str or Path
        A file that `findings_page` wrote.

    Returns
    -------
    Castings
        Study, pours and readings to the last digit, with the same fingerprint; readers are called
        "reader 1", "reader 2". `fit_castings` takes it like any log.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    NoLogInside
        If the file is not a findings page, or its log was changed.

    Examples
    --------
    >>> page = tp.findings_page(fits, "findings.html")
    >>> tp.read_page("findings.html")
    18 pours in 4 sessions, in rooms from 16 to 22.5 °C, with 270 readings.
    """
    page = read_page_data(path)
    try:
        castings = _castings(page, Path(path))
        same = castings.has_fingerprint(page["fingerprint"])
    except StudyProblems as problem:
        raise NoLogInside(f"{Path(path).name}: its study cannot be used: {problem.problems[0]} Ask its makers for the page again.") from None
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError) as problem:
        excerpt = " ".join(str(problem).split())[:80]
        raise NoLogInside(f"{Path(path).name}: its data were changed and cannot be read ({excerpt}). Ask its makers for the page again.") from None
    if not same:
        raise NoLogInside(f"{Path(path).name}: its data do not match its fingerprint. Ask its makers for the page again.")
    return castings


def _castings(page, path):
    """The tables of a page as `Castings`; raises some error if they do not have the form that `page_data` gives."""
    study = study_from(page["study"], path)
    pours, readings = (pd.DataFrame(page[name]) for name in ("pours", "readings"))
    numbers = [factor.name for factor in study.numeric if factor.name in pours]
    pours = pours.astype(dict.fromkeys(numbers, float)).set_index("pour")
    if "made_at" in pours:
        pours["made_at"] = pd.to_datetime(pours["made_at"], format="ISO8601").astype("datetime64[us]")
    readings = readings.astype({"low": float, "high": float, "age": float})
    readings["low"], readings["high"] = readings["low"].fillna(-np.inf), readings["high"].fillna(np.inf)
    return Castings(study, pours, readings)


def read_page_data(path: str | Path) -> dict[str, Any]:
    """What a page carries, as `page_data` made it; see `read_page` for what it raises."""
    path = Path(path)
    if not path.exists():
        raise NoSuchFile(f"No file {path}. Give the path of a findings page.")
    try:
        text = read_bytes(path, LARGEST).decode("utf-8", errors="replace")
    except TextProblem as problem:
        raise NoLogInside(f"{path.name}: {problem}") from None
    block = BLOCK.search(text)
    data = _parsed(block.group(1)) if block else None
    if not isinstance(data, dict) or data.get("format") != FORMAT or not _complete(data):
        raise NoLogInside(f"{path.name} carries no log that this kit can read. Give a page that findings_page wrote.")
    return data


def _parsed(text):
    if json_depth(text) > DEEPEST:
        return None
    with suppress(ValueError, RecursionError):
        return json.loads(text)
    return None


def _complete(data):
    """Whether every part that is needed is there and has its type; the numbers are checked in use."""
    kinds = {"fingerprint": str, "study": dict, "pours": dict, "readings": dict, "said": dict, "before": dict | None}
    if not all(isinstance(data.get(name), kind) for name, kind in kinds.items()) or not isinstance(data["study"].get("name"), str):
        return False
    return all(not statements or _comparable(statements) for statements in (data["said"], data["before"]))


def _comparable(statements):
    """Whether what a page said has the form of `page_changes.statements`, so that a later page can be compared with it."""
    try:
        effects = [one for by_factor in statements["effects"].values() for one in by_factor.values()]
        numbers = [one[key] for one in effects for key in ("start", "end", "low", "middle", "high")]
        numbers += [value for one in statements["advice"] for value in (one["chance"], one.get("low", 0), one.get("high", 0), *one["settings"].values())]
        texts = [*statements["pours"].values(), *(one["unit"] for one in effects), statements["fingerprint"]]
        rooms = all(isinstance(one["room"], int | float | str | None) for one in statements["advice"])
        flags = all(isinstance(one["told"], bool) for one in effects)
    except (KeyError, TypeError, AttributeError):
        return False
    return rooms and flags and all(isinstance(n, int | float) for n in numbers) and all(isinstance(t, str) for t in texts)
