"""The columns a study declares: each is checked by itself, and all are checked against each other."""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from difflib import get_close_matches
from typing import Any, Literal, get_args, get_origin, get_type_hints

from testpour.common.units import UnitProblem, measures
from testpour.common.wording import shortened
from testpour.study.catalogue import TRADE, catalogue, declare
from testpour.study.columns import C, Column, ColumnProblem, Factor, Reading
from testpour.study.study import TAKEN

FINEST = 50  # fewest steps in the span of a factor that declares no step
SHORTEST = 3  # letters of a word that may be short for a longer one: cat
ALIKE = 0.85  # similarity from which a name is taken for a misspelt one: oven and room temperature have 0.81
NO = {"no", "not", "non", "never", "without"}


def _meant(name, known, entry):
    """Names of the known columns that `name` may mean: short or trade names first, else misspelt ones; `known` is name to column."""
    trade = {ours for words, ours in TRADE if re.fullmatch(words, name.replace("_", " ").casefold())}
    short = sorted(one for one, column in known.items() if (_shortens(name, column) or column.words in trade) and _alike(entry, column))
    return short or get_close_matches(name, known, 2, ALIKE)


def _shortens(name, column):
    """Whether a name is that of a column with its words cut short, or with its unit added: room_temp, thick, catalyst_pct."""
    words, whole = re.split("[-_ ]+", name.casefold()), column.name.split("_")
    words = words[:-1] if len(words) > 1 and measures(words[-1], column.unit) else words
    cut = zip(words, whole, strict=False)
    return len(words) <= len(whole) and all(word == full or len(word) >= SHORTEST and full.startswith(word) for word, full in cut)


def _alike(entry, column):
    """Whether a declaration may be of a column: its kind and unit do not contradict it."""
    entry = entry if isinstance(entry, dict) else {}
    kind, unit = getattr(column, "kind", "number"), str(entry.get("unit", column.unit))
    return entry.get("kind", "number" if kind == "text" else kind) == kind and (unit == column.unit or measures(unit, column.unit))


def columns_of(kind: type[C], section: str, raw: Mapping[str, Any], problems: list[str]) -> tuple[C, ...]:
    """The declared columns of one section of a study file, on top of the catalogue's.

    `raw` is the whole file. An invalid column is left out, and its problems are added to `problems`.
    """
    found = []
    for name, entry in raw.get(section, {}).items():
        base = catalogue()[section].get(name)
        meant = _meant(name, {one: column for one, column in catalogue()[section].items() if one not in raw[section]}, entry)
        if meant and base is None and not (isinstance(entry, dict) and "words" in entry):
            so = "it so" if len(meant) == 1 else "the one that is meant"
            problems.append(
                f"[{section}] {name} looks like {' or '.join(meant)}. Write {so}; if it is something else, say what in its line: words = \"...\"."
            )
            continue
        if not name.isidentifier():
            problems.append(f"[{section}] {shortened(repr(name))[1:-1]}: use letters, digits and _ in a name, and `words` for how it reads.")
            continue
        if base is None and name.casefold() in TAKEN[section]:
            problems.append(f"[{section}] {name}: the log has a column of that name. Call it own_{name.casefold()}.")
            continue
        try:
            column = declare(kind, name, entry, base)
            _refuse(column, _wrong_choices(column))
            column = _complete(column)
            _refuse(column, _wrong_numbers(column))
            _same_way(column, base)
            found.append(column)
        except (ColumnProblem, UnitProblem) as problem:
            problems += [f"[{section}] {said}" for said in problem.args]
    return tuple(found)


def refuse_alike(columns: Iterable[Column], problems: list[str]) -> None:
    """Add to `problems` columns whose names differ only in capitals, which a sheet does not distinguish."""
    seen: dict[str, Column] = {}
    for column in columns:
        for word in dict.fromkeys(name.replace("_", " ").casefold() for name in (column.words, column.name)):
            other = seen.setdefault(word, column)
            if other is not column:
                problems.append(f"{column.name} and {other.name} are both called {word!r}. Give one of them another name or other words.")
                break


def _refuse(column, wrong):
    """Refuse a column for every reason there is."""
    if said := [f"{column.name}: {one}" for one in wrong]:
        raise ColumnProblem(*said)


def _same_way(column, base):
    """Refuse grades in the reverse order of the catalogue's: the trade's beliefs, and so every conclusion, would be reversed."""
    if base is None or not getattr(column, "grades", ()):
        return
    known = [word.casefold() for word in base.grades]
    first, last = (_place(column.grades[end], known) for end in (0, -1))
    worst = len(known) - 1
    if first > last if None not in (first, last) else first == worst or last == 0:
        way = ", ".join(f'"{grade}"' for grade in reversed(column.grades))
        raise ColumnProblem(
            f"{column.name}: its grades run from {column.grades[0]} to {column.grades[-1]}, and the trade's from {known[0]} to {known[-1]}. "
            f"Write grades = [{way}]; a scale that is to run the other way needs a reading of another name."
        )


def _place(grade, known):
    """The place of the known grade that a grade's words name; with a no before them, its mirror image; None if there is none."""
    words = re.findall(r"\w+", grade.casefold())
    held = [place for place, one in enumerate(known) if set(one.split()) <= set(words)]
    if not held:
        return None
    place = max(held, key=lambda k: len(known[k]))
    return len(known) - 1 - place if NO & set(words) - set(known[place].split()) else place


def _wrong_choices(column):
    choices = {key: get_args(hint) for key, hint in get_type_hints(type(column)).items() if get_origin(hint) is Literal}
    for key, allowed in choices.items():
        if getattr(column, key) not in allowed:
            yield f"{key} {getattr(column, key)!r} must be one of {', '.join(allowed)}."
    if column.words.casefold().replace(" ", "_") in TAKEN["readings"]:
        yield f"words {column.words!r} is the name of a column of the log. Choose other words."
    if isinstance(column, Factor) and (column.kind, column.role) == ("text", "chosen"):
        yield ('a setting chosen in words is not planned. Write role = "carried" beside its kind, so that its words are kept with each pour, '
               'or give each choice but the usual one a line of its own, as in red = { kind = "yes/no" }, and list them under [one_of], '
               'as in colour = ["red", "blue"], so that no pour has two of them.')
    grades = column.grades if isinstance(column, Reading) else ()
    if isinstance(column, Reading) and column.scale == "grades" and len(grades) < 2:
        found = "holds one grade only" if grades else "is empty"
        yield f'grades {found}. Name what each grade means, from grade 0 up: grades = ["dry", "tacky", "wet"].'
    elif grades and column.scale in choices["scale"][:-1]:
        yield f'grades are given, and the scale is {column.scale!r}. Leave grades out, or write scale = "grades" in a reading of your own.'
    elif len(set(grades)) < len(grades):
        yield "two grades have one name. Name each differently."


def _complete(column):
    """The column with range, usual value and step filled in from the rest."""
    if isinstance(column, Reading):
        open_ended = column.scale == "grades" and math.isinf(column.low) and math.isinf(column.high)
        return replace(column, low=0.0, high=len(column.grades) - 1.0) if open_ended else column
    if column.kind == "yes/no":
        low, high = max(column.low, 0.0), min(column.high, 1.0)
        span = column.span or ((low, high) if column.role == "chosen" else ())
        column = replace(column, low=low, high=high, span=span)
    if column.kind != "text" and math.isnan(column.usual) and (column.span or math.isfinite(column.low)):
        column = replace(column, usual=column.span[0] if column.span else column.low)
    if column.kind == "number" and not column.step and len(set(column.span)) == 2:
        column = replace(column, step=_bench_step(max(column.span) - min(column.span)))
    return column


def _bench_step(span):
    """The largest of 1, 2, 5, 10, 20 ... or 0.5, 0.2, 0.1 ... that fits fifty times or more into a span."""
    decade = 10.0 ** math.floor(math.log10(span / FINEST))
    return float(f"{max(step * decade for step in (1, 2, 5) if step * decade <= span / FINEST * (1 + 1e-9)):.1g}")


def _wrong_numbers(column):
    """What is wrong with the numbers of a column."""
    span = column.span if isinstance(column, Factor) else ()
    ages, grades = (column.ages, column.grades) if isinstance(column, Reading) else ((), ())
    if span and span[0] > span[1]:
        yield f"from {span[0]:g} to {span[1]:g} runs backwards. Swap from and to."
    elif span and not column.low <= span[0] <= span[1] <= column.high:
        yield f"from {span[0]:g} to {span[1]:g} is not inside {column.range_words}."
    if isinstance(column, Factor) and column.step < 0:
        yield f"step {column.step:g} is below 0. Give the finest step worth setting."
    if isinstance(column, Reading) and column.resolution < 0:
        yield f"resolution {column.resolution:g} is below 0. Give the step of the instrument."
    if any(age <= 0 for age in ages):
        yield f"an age of {min(ages):g} h is not possible. Give hours after mixing, above 0."
    if len(set(ages)) < len(ages):
        yield f"an age is listed twice in {', '.join(f'{age:g}' for age in ages)} h. List each once."
    if isinstance(column, Reading) and column.scale == "grades" and (column.low, column.high) != (0.0, len(grades) - 1):
        yield f"{len(grades)} grades run from 0 to {len(grades) - 1}, not from {column.range_words}. Write low = 0, high = {len(grades) - 1}."
    if isinstance(column, Factor) and column.kind != "text":
        if math.isnan(column.usual):
            yield 'nothing says what is usual. Write usual = and a number, or low and high; for a name or a word kind = "text", role = "carried".'
        elif not column.low <= column.usual <= column.high:
            yield f"usual {column.usual:g} is outside {column.range_words}. Give a usual value inside it."
