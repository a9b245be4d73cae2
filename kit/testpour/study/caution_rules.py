"""Cautions, the rules they come from, and the safety text that is always printed.

The rules and the text are data, in `cautions.toml`, each with its source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

from testpour.common.problems import NoSuchName
from testpour.common.toml_file import own_toml
from testpour.common.wording import in_html

KINDS = ("bench", "page", "notebook")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
SIDES = ("above", "below", "at or above")  # words before the limit in a sentence


@dataclass(frozen=True)
class Cautions:
    """What a check found, in full sentences: the setting, its value, the limit, the reason and what to do.

    True if anything is refused.
    """

    refusals: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def __bool__(self):
        return bool(self.refusals)

    def __add__(self, other):
        """Both findings together, each sentence once."""
        return Cautions(tuple(dict.fromkeys(self.refusals + other.refusals)), tuple(dict.fromkeys(self.warnings + other.warnings)))

    def joined(self) -> Cautions:
        """The same, with several values beyond one limit in one sentence, from the lowest value to the highest."""
        def merged(texts):
            alike: dict[tuple[str, str], list[str]] = {}
            for text in texts:
                alike.setdefault(limit_told(text), []).append(text)
            return tuple(map(one_text, alike.values()))

        return Cautions(merged(self.refusals), merged(self.warnings))

    def beside(self, other: Cautions) -> Cautions:
        """What is found here and not in `other`.

        Parameters
        ----------
        other : Cautions

        Returns
        -------
        Cautions
        """
        return Cautions(
            tuple(text for text in self.refusals if text not in other.refusals),
            tuple(text for text in self.warnings if text not in other.warnings),
        )

    def sentence(self) -> str:
        """Everything found, refusals first, in sentences."""
        return " ".join(self.lines()) or "No limit is broken; the safety data sheet in hand still comes first."

    __repr__ = sentence

    def lines(self) -> list[str]:
        """Each finding as a sentence that begins with Refused or Warning, refusals first."""
        return [f"Refused: {text}" for text in self.refusals] + [f"Warning: {text}" for text in self.warnings]

    def around(self, text: str) -> str:
        """A sentence with the refusals before it and the warnings after it.

        Parameters
        ----------
        text : str

        Returns
        -------
        str
        """
        lines = self.lines()
        return " ".join([*lines[: len(self.refusals)], text, *lines[len(self.refusals) :]])

    def _repr_html_(self):
        lines = self.lines() or [self.sentence()]
        return f"<ul>{''.join(f'<li>{in_html(line)}</li>' for line in lines)}</ul>"


def limit_told(text: str) -> tuple[str, str]:
    """The subject and the limit of a sentence, without the value: equal for two values beyond one limit."""
    head, _, limit = text.partition(" is ")
    return (NUMBER.sub("", head) if limit.startswith(SIDES) else text), limit


def one_text(texts: Sequence[str]) -> str:
    """Sentences that differ in one value as one sentence, with its lowest and highest."""
    if len(set(texts)) == 1:
        return texts[0]
    numbers = [list(NUMBER.finditer(text.partition(" is ")[0]))[-1] for text in texts]
    values = [value[0] for value in numbers]
    start, end = numbers[0].span()
    return f"{texts[0][:start]}{min(values, key=float)} to {max(values, key=float)}{texts[0][end:]}"


def rules() -> dict[str, Any]:
    """The tables of `cautions.toml`: limits, other_resins, parts, topics, deference."""
    return own_toml("study/cautions.toml")


def side_of(limit: Mapping[str, Any]) -> Literal["above", "below", "from"]:
    """On which side of its bound a limit of `rules` is broken: "above", "below", or "from" the bound on, which is ``limit[side]``."""
    return next(side for side in ("above", "below", "from") if side in limit)


def words_of(limit: Mapping[str, Any]) -> str:
    """What a limit of `rules` is about, in words."""
    return limit.get("words", limit["setting"].replace("_", " ").replace("post cure", "post-cure"))


class SafetyText(str):
    """The safety text, which a notebook shows as prose."""

    __slots__ = ()

    def _repr_markdown_(self):
        return str(self)  # the kit's own text and markup


def safety_text(kind: Literal["bench", "page", "notebook"] = "bench", html: bool = False) -> str:
    """The cautions that are always printed, in one block.

    Parameters
    ----------
    kind : {"bench", "page", "notebook"}
        Short running text for the bench sheet, long text for the page, a short list for a notebook.
    html : bool
        HTML if true; else plain text, in a notebook Markdown.

    Returns
    -------
    str
        A `SafetyText`, which a notebook shows as prose; plain HTML text if `html`.

    Raises
    ------
    NoSuchName
        If `kind` is none of the three.

    Examples
    --------
    >>> print(tp.safety_text("bench"))
    Eyes and skin. Peroxide can blind: goggles on before the bottle is opened, gloves on. ...
    """
    if kind not in KINDS:
        raise NoSuchName(f"No safety text of kind {kind!r}; there are {', '.join(KINDS)}.")
    key = "page" if kind == "page" else "bench"
    said = [(topic["title"], topic[key]) for topic in (*rules()["topics"], rules()["deference"])]
    if html:
        tag, whole = ("span", "p") if kind == "bench" else ("li", "ul")
        items = " ".join(f"<{tag}><b>{escape(title)}.</b> {escape(text)}</{tag}>" for title, text in said)
        return f'<{whole} class="cautions">{items}</{whole}>'
    if kind == "notebook":
        return SafetyText("\n".join(f"- **{title}.** {text}" for title, text in said))
    return SafetyText(("\n\n" if kind == "page" else " ").join(f"{title}. {text}" for title, text in said))
