"""Errors in words: one sentence, or every problem of an input at once."""

import sys
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

SHOWN = 40  # problems listed in a notebook; `.problems` has them all


class Problem(ValueError):
    """Something given cannot be used; the message is one sentence that says what to do next."""

    def _render_traceback_(self):
        """In a notebook, the sentence instead of a traceback."""
        return [f"{type(self).__name__}: {self}"]


class NoSuchName(Problem, KeyError):
    """There is nothing of that name; the message lists the names there are."""

    __str__ = Exception.__str__  # a KeyError would put its message in quotes


class NoSuchFile(Problem, FileNotFoundError):
    """A file or folder does not exist."""


class MayNotWrite(Problem, PermissionError):
    """A folder may not be written to."""


class NameTaken(Problem, FileExistsError):
    """Something else exists where a file is to be written."""


@contextmanager
def noted(problems: list[str]) -> Iterator[None]:
    """Add a problem to the list and go on, so that all problems are reported at once."""
    try:
        yield
    except Problem as problem:
        problems.append(str(problem))


def warn(text: str, category: type[Warning]) -> None:
    """Warn at the line that called the kit, however many of the kit's functions are in between."""
    level, frame = 1, sys._getframe()
    while frame.f_back and frame.f_globals["__name__"].partition(".")[0] == "testpour":
        level, frame = level + 1, frame.f_back
    warnings.warn(text, category, stacklevel=level)


class Problems(Problem):
    """What was given cannot be used; `problems` lists each reason, and the message begins with `where`."""

    def __init__(self, where: str, problems: Iterable[str]) -> None:
        self.where, self.problems = where, list(problems)
        more = f" ({len(self.problems)} in all; see `.problems`)" if len(self.problems) > 1 else ""
        super().__init__(f"{where}: {self.problems[0]}{more}")

    def _render_traceback_(self):
        """In a notebook, every problem in full instead of a traceback."""
        if len(self.problems) == 1:
            return super()._render_traceback_()
        return listed_below(f"{type(self).__name__}: {self.where}: {len(self.problems)} problems.", self.problems)


def listed_below(heading: str, problems: list[str]) -> list[str]:
    """A heading and the first `SHOWN` problems as lines, and how many more there are."""
    more = len(problems) - SHOWN
    last = [f"- and {more} more; see `.problems`"] if more > 0 else []
    return [heading, *(f"- {problem}" for problem in problems[:SHOWN]), *last]
