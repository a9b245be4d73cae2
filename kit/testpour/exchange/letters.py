"""The text of a logger's file, within size limits; anything that is not text is refused."""

from pathlib import Path

from testpour.problems import Problems
from testpour.text_file import TextProblem, read_text

LARGEST = 20_000_000  # bytes
MOST = 200_000  # lines; a row every 5 s for eleven days, or a row a second for two


class TraceProblems(Problems):
    """A file cannot be read as a temperature trace; `problems` lists each reason."""


def read_letters(path: Path) -> str:
    """The file as text.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str

    Raises
    ------
    TraceProblems
        If there is no such file, it is empty, too long, or not text.
    """
    path = Path(path)
    try:
        text = read_text(path, LARGEST)
    except TextProblem as problem:
        raise TraceProblems(path.name, [f"{problem} A trace is the CSV file of a temperature logger, of one casting."]) from None
    if not text.strip():
        raise TraceProblems(path.name, ["nothing is in it. Export the trace from the logger again."])
    if text.count("\n") + text.count("\r") > 2 * MOST or len(text.splitlines()) > MOST:
        raise TraceProblems(path.name, [f"more than {MOST:,} lines. Cut the trace down to one casting, or log a row every few seconds."])
    return text
