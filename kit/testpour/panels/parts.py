"""What a panel is made of, as plain data that `panels.js` draws: one small set of parts for every panel."""

import math
from numbers import Real


def step(title, *parts, says=()):
    """A part of the panel under a heading of its own; `says` is what comes of what was typed."""
    return {"kind": "step", "title": title, "parts": _flat(parts), "says": _flat(says)}


def text(words, look=""):
    """A paragraph; `look` is "", "strong", "hint" or "needed"."""
    return {"kind": "text", "text": str(words), "look": look}


def cautions(found):
    """Each refusal and warning of a `Cautions` as a part of its own."""
    return [*(caution(said, "refuse") for said in found.refusals), *(caution(said) for said in found.warnings)]


def caution(words, level="warn"):
    """One caution, or what is wrong; `level` is "warn" or "refuse"."""
    return {"kind": "caution", "text": str(words), "level": level}


def entry(name, label, value, *, unit="", hint="", problem="", read="", wide=False):
    """A field to type in; `read` says how it was understood, `problem` what is wrong with it."""
    return {"kind": "entry", "name": name, "label": label, "value": value, "unit": unit, "hint": hint,
            "problem": problem, "read": read, "wide": wide}  # fmt: skip


def choice(name, label, value, options, *, hint="", problem=""):
    """One of a few answers; `options` are pairs of value and words."""
    return {"kind": "choice", "name": name, "label": label, "value": value, "options": [list(o) for o in options],
            "hint": hint, "problem": problem}  # fmt: skip


def checks(label, items):
    """Answers of which any number may hold: name, words and whether it holds; tapped, a name gets "yes" or "no"."""
    return {"kind": "checks", "label": label, "items": [list(item) for item in items]}


def pick(name, label, value, options, *, hint=""):
    """One of many, from a list that opens."""
    return {**choice(name, label, value, options, hint=hint), "kind": "pick"}


def button(name, words, *, main=False, off=""):
    """Something to tap; `off` says why it cannot be tapped now."""
    return {"kind": "button", "name": name, "words": words, "main": main, "off": off}


def row(*parts):
    """Parts side by side where there is room."""
    return {"kind": "row", "parts": _flat(parts)}


def fold(words, *parts):
    """Parts that are folded away until asked for."""
    return {"kind": "fold", "words": words, "parts": _flat(parts)}


def table(frame, caption, index=True):
    """A table of words and numbers."""
    shown = frame.reset_index() if index else frame
    rows = [[cell(value) for value in line] for line in shown.itertuples(index=False)]
    return {"kind": "table", "head": [str(column) for column in shown.columns], "rows": rows, "caption": caption}


def cell(value):
    """A value as it is read in a table: no NaN, no long fractions."""
    if isinstance(value, Real) and not isinstance(value, bool):
        return "" if math.isnan(value) else f"{value:.4g}"
    return "" if value is None else str(value)


def bars(caption, rows, ends=("", "")):
    """Bars from 0 to 1 with, where given, the interval about each.

    `rows` hold ``words``, ``share`` (length), ``says`` (what the bar says in words), and ``low`` and ``high``;
    with ``from`` the bar begins there and not at 0.
    """
    return {"kind": "bars", "caption": caption, "rows": list(rows), "ends": list(ends)}


def tiles(caption, pairs):
    """A few numbers in large figures: pairs of what and how much."""
    return {"kind": "tiles", "caption": caption, "pairs": [list(pair) for pair in pairs]}


def steps(caption, lines):
    """Lines of work in order."""
    return {"kind": "steps", "caption": caption, "lines": list(lines)}


def stations(caption, stops):
    """The steps of the round, drawn as boxes with arrows between them.

    `stops` hold ``name``, ``title``, ``notebook``, ``says`` and ``next``, which marks the one to do now.
    """
    return {"kind": "stations", "caption": caption, "stops": list(stops)}


def picture(src, alt):
    """A picture with its words."""
    return {"kind": "picture", "src": src, "alt": alt}


def paper(path, words):
    """A file that was written, with buttons to look at it and to print it."""
    return {"kind": "paper", "path": str(path), "words": words}


def progress(words, place=1, of=1):
    """Work that is under way."""
    return {"kind": "progress", "words": words, "place": place, "of": of}


def _flat(parts):
    found = []
    for part in parts:
        found += _flat(part) if isinstance(part, list | tuple) else [] if part is None else [part]
    return found
