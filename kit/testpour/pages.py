"""What the files share that a browser opens and prints: template, place, paper and date."""

import datetime as dt
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm: ISO 216; ANSI/ASME Y14.1 size A


def template(room, name):
    """A template of a room of the kit: everything filled in is escaped, and nothing may be missing."""
    loader = PackageLoader(f"testpour.{room}")
    page = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return page.get_template(name)


def place(path):
    """`path`, refused where there is no folder to write it in."""
    path = Path(path)
    if not path.parent.is_dir():
        raise FileNotFoundError(f"No folder {path.parent} to write {path.name} in. Make it, or give another path.")
    return path


def refuse_paper(paper):
    """Refuse any paper but A4 and Letter."""
    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r} is not known: it is {' or '.join(PAPERS)}.")


def day_words(moment):
    """A day as it is printed: ``"16 March 2026"``."""
    return f"{moment.day} {moment:%B %Y}"


def dated(date=None):
    """The date to print: as given, or today."""
    return day_words(dt.date.today()) if date is None else str(date)
