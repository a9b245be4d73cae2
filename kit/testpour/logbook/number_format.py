"""A number of a workbook, with the text that its format shows beside it."""

import re

# Parts of a number format (ECMA-376 part 1, 18.8.30): literal text, a currency, what only places or colours, the number, any other character.
PART = re.compile(
    r'"(?P<quoted>[^"]*)"?|\\(?P<escaped>.)|\[\$(?P<currency>[^\]-]*)[^\]]*\]|[_*].|\[[^\]]*\]'
    r'|(?P<number>(?:General|[#?\d.][#?\d.,/ ]*)(?:E[+-][#?\d]+)?)|(?P<bare>.)',
    re.IGNORECASE,
)
SECTIONS = re.compile(r'((?:"[^"]*"?|\\.|[_*].|[^;"\\_*])*);?')
WORDED = re.compile(r"[^\W\d_]|[%‰°'\"″”<>≤≥~≈±€$£¥]")  # text around a number that means something; dots and blanks do not
SIGNS = ("-", "(", ")")  # of a number below 0, which has its sign already
NUMBER = "\0"  # stands for the number in the text around it


def as_shown(value: float, number_format: str) -> str:
    """A number with the text that its format shows beside it, as in 1.5 h: its unit may be nowhere else."""
    shown = list(dict.fromkeys(_around(section) for section in _sections(value, number_format)))
    if len(shown) > 1:
        units = " or ".join(text.replace(NUMBER, "").strip() for text, *_ in shown)
        return f"{_digits(value)} {units}"  # it is not known which, so this is refused where a number is needed
    text, scale, width = shown[0]
    return text.replace(NUMBER, _digits(scale * value, 10 if scale > 1 else 12).zfill(width)).strip()


def _digits(number, places=12):
    """A number in figures: a whole one in full, as lots have many figures; any other rounded, to drop binary noise."""
    whole = abs(number) < 1e21 and number == int(number)
    return str(int(number)) if whole else f"{number:.{places}g}"


def _sections(value, number_format):
    """The section of a number format for numbers above, below or at 0; all where each has a condition of its own."""
    every = SECTIONS.findall(number_format.rstrip(";"))[:-1][:3] or [""]
    if re.search(r"\[[<>=]", number_format):
        return every
    place = 1 if value < 0 else 2 if value == 0 else 0
    return [every[place if place < len(every) else 0]]


def _around(section):
    """The text of a section with a mark for the number, the factor for a bare %, and how many figures 00000 asks for."""
    text, scale, width = "", 1, 0
    for found in PART.finditer(section):
        literal = next((found[key] for key in ("quoted", "escaped", "currency", "bare") if found[key]), "")
        scale = 100 if found["bare"] == "%" else scale
        if not found["number"]:
            text += "" if literal in SIGNS else literal
        elif NUMBER not in text:
            text += NUMBER
            width = len(found["number"]) * (set(found["number"]) == {"0"})
    return (text if WORDED.search(text) else NUMBER), scale, width
