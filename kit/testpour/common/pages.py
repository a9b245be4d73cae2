"""What all printed pages share: template, paper and date."""

import datetime as dt

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from testpour.common.problems import Problem
from testpour.common.wording import count, visible

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm: ISO 216; ANSI/ASME Y14.1 size A


def template(package: str, name: str) -> Template:
    """A template of a package of the kit: everything filled in is escaped, and nothing may be missing."""
    loader = PackageLoader(f"testpour.{package}")
    page = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, finalize=_finished, trim_blocks=True, lstrip_blocks=True)
    return page.get_template(name)


def _finished(value):
    """A value for a template, with the characters that reverse the order of words written out."""
    if isinstance(value, Markup):
        return Markup(visible(value))
    return visible(value) if isinstance(value, str) else value


def refuse_paper(paper: str) -> None:
    """Refuse any paper but A4 and Letter."""
    if paper not in PAPERS:
        raise Problem(f"paper {paper!r} is not known: it is {' or '.join(PAPERS)}.")


def day_words(moment: dt.date) -> str:
    """A day as it is printed: ``"16 March 2026"``."""
    return f"{moment.day} {moment:%B %Y}"


def dated(date: str | dt.date | None = None) -> str:
    """The date to print: as given, or today."""
    return day_words(dt.date.today()) if date is None else str(date)


def repeats(notes: int, photographs: int, look: str) -> str:
    """A sentence on notes and photographs of the log that a page repeats, to be checked before it is shared; "" if none.

    `look` is what to do with them: "check" or "look at".
    """
    said = [f"repeats {count(notes, 'note')} word for word"] if notes else []
    said += [f"shows {count(photographs, 'photograph')}"] if photographs else []
    them = "it" if notes + photographs == 1 else "them"
    return f"It {' and '.join(said)}: {look} {them} before you share the page." if said else ""
