"""Parts of sentences: plurals, lists, rounded numbers; and people's own words escaped, so that none acts as markup."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

PUT_RIGHT = "Put right what is in the log"  # the part of a panel that does it by tapping
BY_TAPPING = f'by tapping in the notebook 2-pour-and-log, under "{PUT_RIGHT}",'

# Characters that change the direction of text (Unicode Standard Annex 9, table 4): shown by their number.
TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
SHOWN = {ord(one): f"[U+{ord(one):04X}]" for one in TURNING}
ESCAPED = {ord(one): f"\\u{ord(one):04x}" for one in TURNING}  # as JSON and TOML write a character inside quotes
# A notebook typesets text between dollars or after a backslash as formulas, in HTML too, unless these are in tags of their own.
ALONE = {ord(one): f"<span>&#{ord(one)};</span>" for one in "$\\"}
MARKUP = {ord(one): f"&#{ord(one)};" for one in "[]`*_~|@"}

if TYPE_CHECKING:
    import pandas as pd


def count(number: int, one: str, many: str = "") -> str:
    """``"1 pour"``, ``"4 pours"``; `many` is the word for several, `one` with an s by default."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(words: Iterable[str], last: str = "and") -> str:
    """``"a"``, ``"a and b"``, ``"a, b and c"``; the word before the `last` may be another: ``"a, b or c"``."""
    words = list(words)
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


def first_few(words: Sequence[str], most: int = 8) -> str:
    """`listed`, but at most the first `most` words: ``"a, b and 7 more"``."""
    return listed(words if len(words) <= most else [*words[:most], f"{len(words) - most} more"])


def numbered(words: Iterable[str]) -> str:
    """Grades with their numbers, from 0 up: ``"0 dry, 1 tacky"``."""
    return ", ".join(f"{place} {word}" for place, word in enumerate(words))


def rounded(value: float) -> str:
    """Two digits below ten, whole numbers above, with a true minus sign."""
    text = f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}" if abs(value) >= 0.95 else f"{value:.1g}"
    return text.replace("-", "\N{MINUS SIGN}")


def signed(value: float) -> str:
    """`rounded`, with a plus sign above 0."""
    text = rounded(value)
    return f"+{text}" if value > 0 and text != "0" else text


def capital(words: str) -> str:
    """`words` with a capital first letter, to begin a sentence or a label."""
    return words[:1].upper() + words[1:]


def within(words: str) -> str:
    """`words` with a small first letter, to continue a sentence."""
    return words[:1].lower() + words[1:]


def shortened(text: str, longest: int = 60) -> str:
    """`text`, cut if it is too long to be quoted in a message."""
    return text if len(text) <= longest else f"{text[:longest]} ..."


def hours_words(hours: float) -> str:
    """A span of time as a person says it: ``"90 s"``, ``"40 min"``, ``"3 h 20 min"``, ``"6 days"``."""
    if abs(hours) < 1 / 30:
        return f"{abs(hours) * 3600:.0f} s"
    minutes = round(abs(hours) * 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 47.5 * 60:
        return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 and minutes < 600 else f"{round(minutes / 60)} h"
    return f"{math.floor(minutes / 1440 + 0.5)} days"


def age_words(hours: float) -> str:
    """An age after mixing as makers state it: ``"4 h"``, ``"30 h"``, ``"7 days"``."""
    return in_days(f"{hours:g} h")


def at_age(hours: float | None) -> str:
    """An age to follow the words of a reading: ``" at 7 days"``; "" if there is none (None or NaN)."""
    return "" if hours is None or math.isnan(hours) else f" at {age_words(hours)}"


def about_age(hours: float) -> str:
    """A calculated age, to two digits: ``"31 h"``, ``"2.5 days"``."""
    return f"{hours:.2g} h" if hours < 47.5 else f"{hours / 24:.2g} days"


def in_hundred(chance: float) -> str:
    """A chance (0 to 1) as castings in a hundred, never a false certainty: ``"83"``, ``"under 1"``, ``"over 99"``."""
    hundredths = 100 * chance
    return "under 1" if hundredths < 0.5 else "over 99" if hundredths > 99.5 else f"{hundredths:.0f}"


def about_in_hundred(chance: float) -> str:
    """A chance (0 to 1) in a sentence: ``"about 83 in 100"``, ``"under 1 in 100"``."""
    said = in_hundred(chance)
    return f"{'about ' if said.isdigit() else ''}{said} in 100"


def visible(text: object) -> str:
    """`text` with the characters that would change its direction written out, such as [U+202E]."""
    return str(text).translate(SHOWN)


def in_days(text: str) -> str:
    """A text with whole days, from two on, in days, as makers state them: 168 h is 7 days.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    def days(found):
        hours = int(found[1])
        return found[0] if hours < 48 or hours % 24 else f"{hours // 24} days"

    return re.sub(r"(?<![\d.])(\d+) h\b", days, text)


def in_html(text: object) -> str:
    """`text` for HTML, so that a person's own words become neither markup nor formulas, nor change direction."""
    return escape(visible(text)).translate(ALONE)


def in_markdown(text: object) -> str:
    """`text` for a notebook's Markdown on one line: a person's words become no markup, picture, link or formula."""
    text = in_html(re.sub(r"\s*[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]\s*", " ", visible(text)).strip()).translate(MARKUP)
    text = re.sub(r"(?i)\bwww\.", lambda found: f"{found[0][:3]}&#46;", text.replace("://", "&#58;//"))
    return re.sub(r"^(\d*)([-+#=.)])", lambda found: f"{found[1]}&#{ord(found[2])};", text)


def in_every_text(data: Any, change: Callable[[str], str], but: Collection[str] = ()) -> Any:
    """Plain data, as in JSON, with `change` applied to each of its texts, except under the names in `but`."""
    if isinstance(data, dict):
        return {name: part if name in but else in_every_text(part, change, but) for name, part in data.items()}
    if isinstance(data, list | tuple):
        return [in_every_text(part, change, but) for part in data]
    return change(data) if isinstance(data, str) else data


def table_html(table: pd.DataFrame, **options: Any) -> str:
    """A DataFrame as HTML with all words in it inert, on one line, so that it can be used in Markdown too."""
    return re.sub(r"\s*\n\s*", " ", table.to_html(**options)).translate(SHOWN).translate(ALONE)


def said_in_markdown(result: Any) -> str:
    """The `_repr_markdown_` of a result that has a `sentence`."""
    return in_markdown(result.sentence())


@dataclass(frozen=True)
class NoResult:
    """Returned in place of a result that cannot be given yet; false, while a result is true."""

    reason: str  # why there is none, and what is needed first

    def __bool__(self) -> bool:
        return False

    def sentence(self) -> str:
        """Why there is no result, and what is needed first."""
        return self.reason

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown
