"""What a column of a sheet holds, and in what unit, according to its header as people write it."""

import difflib
import re
from dataclasses import dataclass, field

from testpour.common.units import GRAMS, measures, shown_unit, to_unit
from testpour.common.wording import numbered
from testpour.study.catalogue import TRADE
from testpour.study.columns import Column
from testpour.study.study import Study

COUNTED = ("no", "nr", "number", "#", "№")  # headers of a pour's number, alone or after a word for a pour
POUR = re.compile(rf"(?:test )?(?:pour|cast|casting|test|trial|piece|sample|id)(?: ?(?:name|id|{'|'.join(COUNTED)}))?")
OWN = {
    "pour": ("pour", "name", "casting", *COUNTED),
    "session": ("session", "day"),
    "made_at": ("made at", "date", "mixed at", "time", "when", "date poured", "date made", "pour date", "cast date", "poured", "poured on", "poured at",
                "made on", "mixed on", "cast on", "date of pour", "date of pouring", "date of casting", "date cast", "datum", "uhrzeit"),
    "by": ("by", "initials", "who", "made by", "poured by", "cast by"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "observation", "observations", "bemerkung", "bemerkungen"),
    "made_anyway": ("made anyway",),
}
AGE = r"(?:(?:\bat|\bafter|@)\s*)?\b(?P<age>\d+(?:[.,]\d+)?\s*(?:h|hrs?|hours?|d|days?|weeks?))\b"
SPECIMEN = re.compile(r"(?:,\s*specimen\s+(?P<named>[\w.#/-]+)|\s(?P<mark>#?)(?P<number>\d+))\s*$", re.IGNORECASE)
PART = re.compile(r",\s*(?P<part>note|by)\s*$", re.IGNORECASE)
AGES = Column("age", "h", words="age at reading")  # a column that gives the age for readings whose headers have none
WHEN = re.compile(r"\b(?P<unit>hour|day|week|month|morning|night|overnight|later)s?\b\s*(?P<number>\d*)", re.IGNORECASE)  # an age in words
SCALE = re.compile(r"(shore(?: [ad])?|barcol)(?: hardness)?")  # scales of hardness that may be a header
PLACES = 3  # a higher number after a reading may be its age, and so may any number after a reading taken at one place
AMOUNTS = ("g", "mL", "drops")  # one unit of each kind of amount
MEASURED = ("%", *AMOUNTS, "mm", "min", "degC")  # one unit of each kind, to tell a unit from other words


class HeaderProblem(ValueError):
    """A header may mean several columns, or is a misspelt one."""


@dataclass(frozen=True)
class Head:
    """What a column of the sheet holds."""

    kind: str  # "factor", "reading", or "own" for the log's own columns, such as pour and date
    name: str
    unit: str
    text: str
    age: float | None = None  # hours, from a header such as "hardness at 24 h"
    specimen: str = ""
    part: str = "value"  # or "note" or "by": a reading may have a column for its note and for who read it
    column: Column | None = field(default=None, compare=False)  # the `Factor` or `Reading` of the study, or `AGES`


def read_head(study: Study, text: str) -> Head | None:
    """The `Head` of a header such as ``"hardness at 24 h (Shore D)"``, or None if the study has no such column.

    Raises a HeaderProblem if it may mean several columns, or looks like a misspelt one.
    """
    part = PART.search(text)
    rest = text[: part.start()] if part else text
    brackets = re.findall(r"[(\[]([^)\]]*)[)\]]", rest)
    rest = re.sub(r"[(\[][^)\]]*[)\]]", " ", rest)
    aged = [b for b in brackets if re.fullmatch(rf"\s*{AGE}\s*", b, re.IGNORECASE)]
    unit = next((b.strip() for b in brackets if b not in aged), "")
    names = {_normal(form) for c in (*study.factors, *study.readings) for form in (c.name, c.words)}
    age = specimen = None
    if _normal(rest) not in names or aged:  # a factor of the study called "soak 2 h" is that factor
        rest = f"{rest} at {aged[0]}" if aged else rest
        age = re.search(AGE, rest, re.IGNORECASE)
        rest = rest[: age.start()] + rest[age.end() :] if age else rest
        specimen = SPECIMEN.search(rest)
        rest = rest[: specimen.start()] if specimen else rest
    words = _normal(rest)
    if (scale := SCALE.fullmatch(words)) and not unit:
        words, unit = "hardness", scale[1].title()
    own = next((name for name, aliases in OWN.items() if words in aliases or (name == "pour" and POUR.fullmatch(words))), None)
    if own and words not in names and not age and not (specimen and specimen["number"]):  # a factor of the study called "time" is that factor
        return Head("own", own, "", text)
    column, kind, unit = _column(study, words, unit, text)
    if column is None:
        return None
    if age and not getattr(column, "ages", ()):
        raise HeaderProblem(
            f"gives an age ({age['age']}), but {column.words} has none. Rename the column if it is something else, or write "
            f"{column.words} alone and the time in a column of its own."
        )
    if kind != "reading":
        unit = checked_unit(column, unit) if getattr(column, "kind", "number") == "number" else ""
        return Head(kind, column.name, unit, text, column=column)
    if column.ages and not age:
        _refuse_age(column, specimen["number"] if specimen and not specimen["mark"] else unit)
        _refuse_age_in_words(column, "" if column.grades else unit)
    if not column.ages and specimen and specimen["number"]:
        raise HeaderProblem(f"has a number, but a pour has only one {column.words}. Write {column.words} alone, and another casting in a row of its own.")
    label = (specimen["named"] or specimen["number"]) if specimen else ""
    hours = to_unit(age["age"], "h", text) if age else None
    return Head(kind, column.name, checked_unit(column, unit), text, hours, label, part["part"].casefold() if part else "value", column)


def is_age(head: Head | None) -> bool:
    """Whether a column gives the age of readings beside it."""
    return head is not None and head.column is AGES


def without_age(head: Head) -> bool:
    """Whether a column holds a reading that changes with age, and its header does not say at which."""
    return head.kind == "reading" and head.part == "value" and head.age is None and bool(getattr(head.column, "ages", ()))


def _refuse_age(reading, number):
    """Refuse a bare number after a reading that changes with age, if it may be that age."""
    if number and number.isdecimal() and (reading.grades or int(number) > PLACES):
        raise HeaderProblem(
            f"{number} may be an age or a place. Write {reading.words} at {number} h or {number} d for the age, or "
            f"{reading.words} #{number} for the place."
        )


def _refuse_age_in_words(reading, text):
    """Refuse an age such as day 7: if it were ignored, the reading would be taken for one at the study's own age."""
    if found := WHEN.search(text):
        number, unit = int(found["number"] or 1), found["unit"].casefold()
        age = f"{number} h" if unit == "hour" else f"{number * {'week': 7, 'month': 30}.get(unit, 1)} d"
        advice = f"Write it in figures, counted from mixing, as in {reading.words} at {age}, or rename the column if it is something else."
        raise HeaderProblem(f"may give an age ({found[0].strip()}). {advice}")


def _normal(text):
    return re.sub(r"(?:[\s_\-‐,]|\.(?=[\s,]|$))+", " ", text).strip(" :?").casefold()


def _column(study, words, unit, text):
    """The column meant, its kind and its unit; the last word may be a unit without brackets."""
    columns = [(c, "factor") for c in study.factors] + [(c, "reading") for c in study.readings]
    if not any(_normal(c.words).startswith("age") for c, _ in columns):
        columns.append((AGES, "own"))
    for form in dict.fromkeys((words, _by_trade(words))):
        found = _match(columns, form, unit, text)
        if found is None and not unit and " " in form.replace("%", " %"):
            found, last = _with_last(columns, form, text)
            unit = last if found else unit
        if found:
            return (*found, unit)
    measured = _is_unit(unit or words.split(" ")[-1])  # "Resin oz" is not a misspelt lot
    _refuse_misspelt([c for c, _ in columns if not (measured and getattr(c, "kind", "") == "text")], words, text)
    return None, "", unit


def _by_trade(words):
    """The words of a header, with a trade word at the start replaced by the catalogue's."""
    for pattern, ours in TRADE:
        found = re.match(rf"(?:{pattern})(?![^\W\d_])", words)
        if found:
            return _normal(ours + words[found.end() :])
    return words


def _with_last(columns, words, text):
    """The column meant by a header that ends in a unit without brackets, and that unit."""
    parts = words.replace("%", " %").split()
    units = (" ".join(parts[place:]) for place in range(1, len(parts)))
    last = next((unit for unit in units if any(measures(unit, c[0].unit) for c in columns)), parts[-1])
    front = parts[: -len(last.split())]
    front = front[:-1] if front and front[-1] == "in" else front
    fit = [c for c in columns if measures(last, c[0].unit) or (getattr(c[0], "is_share", False) and is_amount(last))]
    return _match(fit, " ".join(front), last, text), last


def _match(columns, words, unit, text):
    """The column whose words begin with these, word by word; of several, the one that the unit or an exact name picks."""
    given = words.split()
    if len(words) < 3:
        return None
    exact = [c for c in columns if words in (_normal(c[0].name), _normal(c[0].words))]
    begins = [c for c in columns if _begins(_normal(c[0].words).split(), given)]
    if _is_unit(unit):  # "Resin (g)" is no lot
        begins = [c for c in begins if getattr(c[0], "kind", "") != "text"]
    for some in (exact, begins, [c for c in begins if measures(unit, c[0].unit)]):
        if len(some) == 1:
            return some[0]
    if not begins:
        return None
    shortest = min(begins, key=lambda c: len(c[0].words))
    if all(_begins(_normal(c[0].words).split(), _normal(shortest[0].words).split()) for c in begins):
        return shortest
    raise HeaderProblem(f"may be {' or '.join(c[0].words for c in begins)}. Write the whole name in the header.")


def _is_unit(text):
    return any(measures(text, one) for one in MEASURED)


def last_unit(text: str) -> str:
    """The unit in the brackets of a header, or its last word if that is a unit; "" if neither."""
    unit = (re.findall(r"[(\[]([^)\]]*)[)\]]", text) or text.replace("%", " %").split() or [""])[-1].strip()
    return unit if _is_unit(unit) or is_amount(unit) else ""


def is_amount(unit: str) -> bool:
    """Whether a unit, or the word pot, says that a column holds what was weighed, measured or counted out."""
    return unit.casefold() == "pot" or (not measures(unit, "%") and any(measures(unit.split("/")[0], one) for one in AMOUNTS))


def _begins(words, given):
    return len(given) <= len(words) and all(word.startswith(start) for word, start in zip(words, given, strict=False))


def _refuse_misspelt(columns, words, text):
    for column in (c for c in columns if words and getattr(c, "ages", ()) and _begins(_normal(c.words).split(), _by_trade(words).split()[:1])):
        _refuse_age_in_words(column, text)
    names = {_normal(form): c for c in columns for form in (c.words, c.name)}
    for column in map(names.get, difflib.get_close_matches(words, names, n=1, cutoff=0.8)):
        aged = f" and with its age, as in {column.words} at 24 h" if getattr(column, "ages", ()) else ""
        raise HeaderProblem(f"looks like {column.words}. Write it so{aged}, or rename the column if it is something else.")


def checked_unit(column: Column, unit: str) -> str:
    """The unit of a header; ``""`` for a scale of grades such as (0-3).

    Raises a HeaderProblem for an amount in place of a percentage, for a unit that begins with a number, which would run
    into the number of each cell, and for a unit of grades.
    """
    if getattr(column, "is_share", False) and is_amount(unit):
        no_mass = any(measures(unit.split("/")[0], one) for one in ("mL", "drops"))
        raise HeaderProblem(
            f"gives an amount ({unit}), not a percentage. Write per cent of the resin by weight, 100 x {column.words} / resin, in a column {column.label} "
            f"in place of this one: 2.25 g in 150 g is 1.5 %.{GRAMS if no_mass else ''}"
        )
    grades = getattr(column, "grades", ())
    if grades and (re.fullmatch(rf"0\s*(?:-|–|to|\.\.+)\s*{len(grades) - 1}", unit) or unit.casefold() in (column.unit.casefold(), "grades")):
        return ""
    if unit[:1].isdigit():
        allowed = f"a unit alone, such as ({shown_unit(column.unit)}), and the values in it" if column.unit else "the name alone"
        if grades:
            allowed = f"(0-{len(grades) - 1}), and grades as {numbered(grades)}"
        raise HeaderProblem(f"({unit}) begins with a number, so it is not a unit of {column.words}. Write {allowed}.")
    if grades and unit:
        raise HeaderProblem(
            f"({unit}) is not the scale of {column.words}. Write its age in figures, as in {column.words} at 24 h, and leave out other "
            "words, or rename the column if it is something else."
        )
    return unit
