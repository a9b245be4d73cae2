"""Small words that sentences share: plurals, lists, rounded numbers."""

from dataclasses import dataclass


def count(number, one, many=""):
    """``"1 pour"``, ``"4 pours"``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(words):
    """``"a"``, ``"a and b"``, ``"a, b and c"``."""
    words = list(words)
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


def rounded(value):
    """Two digits below ten, whole numbers above, with a true minus sign."""
    text = f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}" if abs(value) >= 0.95 else f"{value:.1g}"
    return text.replace("-", "\N{MINUS SIGN}")


def signed(value):
    """`rounded`, with a plus sign above nothing."""
    text = rounded(value)
    return f"+{text}" if value > 0 and text != "0" else text


def capital(words):
    """Words that begin a sentence or a label, the rest as it was."""
    return words[:1].upper() + words[1:]


def in_hundred(chance):
    """A chance as castings in a hundred, never a false certainty: ``"83"``, ``"under 1"``, ``"over 99"``."""
    hundredths = 100 * chance
    return "under 1" if hundredths < 0.5 else "over 99" if hundredths > 99.5 else f"{hundredths:.0f}"


def in_markdown(text):
    """`text` for a notebook's Markdown, where a person's own words must not become markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;")


def said_in_markdown(result):
    """The `_repr_markdown_` of a result that says itself in one sentence."""
    return in_markdown(result.sentence())


@dataclass(frozen=True)
class NoResult:
    """What stands in place of a result that cannot be given yet; false where a result is true.

    Parameters
    ----------
    reason : str
        Why there is none, and what is needed first.
    """

    reason: str

    def __bool__(self) -> bool:
        return False

    def sentence(self) -> str:
        """Why there is no result, and what is needed first."""
        return self.reason

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown
