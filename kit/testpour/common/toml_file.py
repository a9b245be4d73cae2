"""TOML files: those of the kit, and those written by hand, whose syntax errors are explained line by line."""

import re
import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from testpour.common.text_file import TextProblem, read_text
from testpour.common.wording import shortened

LARGEST = 500_000  # bytes; a study of fifty factors with long notes takes a tenth of it
LONGEST_NAME = 60  # dots in a name; the time to parse it grows with their square
SHOWN = 12  # mistakes named one by one

TEXT = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
ESCAPE = re.compile(r'\\(?![btnfr"\\]|u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8})')
NUMBER = r"[-+]?(?:\d[\d_]*(?:\.\d[\d_]*)?(?:[eE][-+]?\d+)?|inf|nan|0[xob][\da-fA-F_]+)"
DATE = r"\d{4}-\d\d-\d\d(?:[T ][\d:.]+(?:Z|[-+]\d\d:\d\d)?)?|\d\d:\d\d(?::[\d.]+)?"
VALUE = re.compile(rf"\"\"|true|false|{NUMBER}|{DATE}|[\[{{].*")
CURLY = re.compile("[\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb]")
YAML = re.compile(r"\s*(?:-\s+)?([\w -]+?)\s*:(?:\s|$)")
HEADER = re.compile(r"\s*\[{1,2}[^\]]*$")


class TomlProblem(ValueError):
    """A file cannot be read as TOML; `args` holds each reason."""


def own_text(name: str) -> str:
    """The text of a file that came with the kit, such as ``"bench/buttons.toml"``."""
    return files("testpour").joinpath(name).read_text("utf-8")


@cache
def own_toml(name: str) -> dict[str, Any]:
    """The tables of a TOML file that came with the kit, read once and shared; never change them."""
    return tomllib.loads(own_text(name))


def read_toml(path: str | Path) -> dict[str, Any]:
    """The tables of a TOML file; a TomlProblem names every mistake that is recognised, its line and how to correct it."""
    try:
        text = read_text(path, LARGEST, codings=("utf-8-sig",))
    except TextProblem as problem:
        raise TomlProblem(f"not readable as TOML: {problem}") from None
    names = (TEXT.sub("x", line).split("#")[0].split("=")[0] for line in text.splitlines())
    if any(name.count(".") > LONGEST_NAME for name in names):
        raise TomlProblem(f"not readable as TOML: a name has more than {LONGEST_NAME} parts with dots between. Use plain names.")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise TomlProblem("not readable as TOML: its brackets are nested too deeply. Remove those that are not needed.") from None
    except ValueError as problem:  # a number of thousands of digits is one too
        raise TomlProblem(*(_mistakes(text) or [_in_words(problem)])) from None


def _in_words(problem):
    said = str(problem)
    twice = {"Cannot overwrite a value": "a name is used twice in one table", "twice": "a table or a name is used twice"}
    for sign, words in twice.items():
        if sign in said:
            place = re.search(r"at line \d+", said)
            return f"not readable as TOML: {words}{f' ({place[0]})' if place else ''}. Keep one of them."
    return f"not readable as TOML: {said}. Write each line as name = value, with text in quotes."


def _mistakes(text: str) -> list[str]:
    """What is wrong with the lines of a text that is not TOML, for common mistakes: a sentence per line."""
    if text.lstrip()[:1] == "{":
        return ["not readable as TOML: this is JSON. Write name = \"...\" on a line each, and [factors] above the factors."]
    found = [f"line {number}: {said}" for number, line in _single_lines(text) if (said := _mistake(line))]
    more = len(found) - SHOWN
    return [*found[:SHOWN], *([f"and {more} more lines like these."] if more > 0 else [])]


def _single_lines(text):
    """The lines with their numbers, without those of texts in three quotes."""
    inside = ""
    for number, line in enumerate(text.splitlines(), start=1):
        marks = re.findall(r'"""|\'\'\'', line)
        if not inside and not marks:
            yield number, line
        for mark in marks:
            inside = "" if mark == inside else inside or mark


def _mistake(line):
    """What is wrong with one line; empty if no known mistake."""
    texts, bare = TEXT.findall(line), TEXT.sub('""', line).split("#")[0].rstrip()
    for text in texts:
        if text[0] == '"' and ESCAPE.search(text):
            return f"the backslash in {shortened(text)} has a special meaning between these quotes. Write / in its place, or put the text in ' '."
    if CURLY.search(bare):
        return f"curly quotes {CURLY.search(bare)[0]} as a word processor sets them. Write straight quotes \"."
    if not bare.strip():
        return ""
    if "=" not in bare:
        return _without_equals(bare)
    if '"' in bare.replace('""', "") or "'" in bare:
        return f"a quote is opened and not closed in {shortened(line.strip())}. Put text between two quotes."
    if said := _wrong_marks(bare):
        return said
    for key, value in re.findall(r"([\w.-]*)\s*=\s*([^={},\[]*|\[.*|\{.*)", bare):
        if said := _bad_value(key, value.strip(), bare):
            return said
    return ""


def _wrong_marks(bare):
    """What is wrong with the commas, colons, braces and names of a line; empty if nothing is."""
    if colon := re.match(r"\s*([\w-]+)\s*:\s", bare):
        return f"{colon[1]}: has a colon. Write {colon[1]} = ..."
    if spaced := re.search(r"(?:^|[{,])\s*([A-Za-z]\w*(?:[ \t]+\w+)+)\s*=", bare):
        return f"{spaced[1]} = has a space in its name. Write {'_'.join(spaced[1].split())} = ..."
    if foreign := re.match(r"\s*(\w*[^\W\d_a-zA-Z]\w*)\s*=", bare):
        return f'{foreign[1]} = has a letter that a name may have only in quotes. Write "{foreign[1]}" = ...'
    if missing := re.search(rf"=\s*(?:\"\"|{NUMBER}|[^=,{{]*[\]}}])\s+([A-Za-z]\w*)\s*=", bare):
        return f"a comma is missing before {missing[1]} =. Write one between two parts."
    if re.search(r",\s*}", bare):
        return "the comma before } is one too many. Remove it."
    for first, last in ("{}", "[]") if "{" in bare else ():
        if bare.count(first) > bare.count(last):
            return f"{first} is opened and not closed. Write {last} where that part ends, on the same line."
    if re.match(r"\s*[\w.-]+\s*=", bare) and bare.endswith(",") and bare.count("[") == bare.count("]"):
        return "the comma at its end is one too many. Remove it."
    return ""


def _without_equals(bare):
    yaml = YAML.match(bare)
    if yaml or bare.strip() in ("---", "..."):
        name = yaml[1].strip() if yaml else "name"
        return f"{shortened(bare.strip())} is written as YAML, with a colon. Write {name} = ..., or [{name}] above a group of lines."
    if HEADER.match(bare) and bare.count("[") == 1 and re.search(r"\[\s*[A-Za-z]", bare):
        return f"the bracket of {shortened(bare.strip())} is not closed. Write {shortened(bare.strip())}]."
    if re.match(r"\s*-\s", bare):
        return f"{shortened(bare.strip())} is a list as in YAML. Write a list in brackets: [1, 2]."
    if re.match(r"\s*[A-Za-z]", bare) and not bare.rstrip().endswith(("]", ",")):
        return f"{shortened(bare.strip())} has no =. Write a line as name = value, or put # before a note."
    return ""


def _bad_value(key, value, bare):
    """What is wrong with the value after one =; empty if nothing is."""
    if VALUE.fullmatch(value):
        comma = re.search(rf"{re.escape(key)}\s*=\s*([-+]?\d+),(\d+)\s*(?:$|[,}}\]])", bare)
        return f"{key} = {comma[1]},{comma[2]} has a decimal comma. Write {comma[1]}.{comma[2]}." if comma else ""
    if not value:
        return "" if re.search(r"=\s*[\[{]", bare) else f"nothing follows {key} =. Give a value, or put # before the line."
    if value.casefold() in ("true", "false"):
        return f"{key} = {value} is spelt with a capital. Write {value.casefold()}."
    if re.match(r"[-+]?[\d.]", value):
        return f'{key} = {shortened(value)} is not a plain number. A number with its unit needs quotes, as in "1.5 %", and a decimal point.'
    if value[0] in "\"'":
        return f"{shortened(value)} follows {key} =: after the closing quote there may be only a # and a note."
    return f'{key} = {shortened(value)} lacks its quotes. Write {key} = "{shortened(value)}".'
