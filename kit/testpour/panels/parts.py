"""What a panel is made of, as plain data that `panels.js` draws: one small set of parts for every panel.

A part that one panel alone has is written in that panel.
"""

import math
from collections.abc import Iterable
from numbers import Real
from pathlib import Path
from typing import Any

import pandas as pd

from testpour.study.caution_rules import Cautions

Part = dict[str, Any]  # what a part is and all it holds, ready for the page


def step(title: str, *parts: Part | Iterable[Part] | None, says: Iterable[Part] = ()) -> Part:
    """A part of the panel under its own heading; `says` is the response to what was typed. None among the parts is skipped."""
    return {"kind": "step", "title": title, "parts": _flat(parts), "says": _flat(says)}


def text(words: object, look: str = "") -> Part:
    """A paragraph; `look` is "", "strong", "hint" or "needed"."""
    return {"kind": "text", "text": str(words), "look": look}


def cautions(found: Cautions) -> list[Part]:
    """Each refusal and warning of a `Cautions` as a part of its own."""
    return [*(caution(words, "refuse") for words in found.refusals), *(caution(words) for words in found.warnings)]


def caution(words: object, level: str = "warn") -> Part:
    """One caution, or what is wrong; `level` is "warn" or "refuse"."""
    return {"kind": "caution", "text": str(words), "level": level}


def entry(name: str, label: str, value: str, *, unit: str = "", hint: str = "", problem: str = "", read: str = "", wide: bool = False) -> Part:
    """A field to type in; `read` says how it was understood, `problem` what is wrong with it."""
    return {"kind": "entry", "name": name, "label": label, "value": value, "unit": unit, "hint": hint,
            "problem": problem, "read": read, "wide": wide}


def choice(name: str, label: str, value: str, options: Iterable[tuple[str, str]], *, hint: str = "") -> Part:
    """One of a few answers, all shown at once; `options` are pairs of value and words."""
    return {"kind": "choice", "name": name, "label": label, "value": value, "options": [list(o) for o in options], "hint": hint}


def pick(name: str, label: str, value: str, options: Iterable[tuple[str, str]], *, hint: str = "") -> Part:
    """One of many, from a list that opens; `options` are pairs of value and words."""
    return {**choice(name, label, value, options, hint=hint), "kind": "pick"}


def button(name: str, words: str, *, main: bool = False, off: str = "") -> Part:
    """Something to tap; `off` says why it cannot be tapped now.

    The panel's method ``_tap_name`` is called; what follows a colon in the name is its argument.
    """
    return {"kind": "button", "name": name, "words": words, "main": main, "off": off}


def row(*parts: Part | Iterable[Part] | None) -> Part:
    """Parts side by side where there is room; None is skipped."""
    return {"kind": "row", "parts": _flat(parts)}


def fold(words: str, *parts: Part | Iterable[Part] | None) -> Part:
    """Parts folded away behind `words` until opened; None is skipped."""
    return {"kind": "fold", "words": words, "parts": _flat(parts)}


def table(frame: pd.DataFrame, caption: str, index: bool = True) -> Part:
    """A table of words and numbers."""
    shown = frame.reset_index() if index else frame
    rows = [[_cell(value) for value in line] for line in shown.itertuples(index=False)]
    return {"kind": "table", "head": [str(column) for column in shown.columns], "rows": rows, "caption": caption}


def _cell(value: Any) -> str:
    """A value as it is read in a table: no NaN, no long fractions."""
    if isinstance(value, Real) and not isinstance(value, bool):
        return "" if math.isnan(value) else f"{value:.4g}"
    return "" if value is None else str(value)


def bars(caption: str, rows: Iterable[dict], ends: tuple[str, str] = ("", "")) -> Part:
    """Bars from 0 to 1 with, where given, the interval about each.

    `rows` hold ``words``, ``share`` (length; without it only the interval is shown), ``says`` (what the bar says in words), and
    ``low`` and ``high``; with ``from`` the bar begins there and not at 0. `ends` are the words at 0 and at 1.
    """
    return {"kind": "bars", "caption": caption, "rows": list(rows), "ends": list(ends)}


def tiles(caption: str, pairs: Iterable[tuple[str, str]]) -> Part:
    """A few numbers in large figures: pairs of what and how much."""
    return {"kind": "tiles", "caption": caption, "pairs": [list(pair) for pair in pairs]}


def paper(path: str | Path, words: str) -> Part:
    """A file that was written, with buttons to look at it and to print it."""
    return {"kind": "paper", "path": str(path), "words": words}


def _flat(parts):
    found = []
    for part in parts:
        found += _flat(part) if isinstance(part, list | tuple) else [] if part is None else [part]
    return found
