"""Which two causes cannot be told apart yet, and the cheapest test pour that would."""

from collections.abc import Container

import pandas as pd

from testpour.causes.table import NOTHING, SETTINGS, CauseTable, TellingPour

CLOSE = 3.0  # times likelier than the runner-up below which two causes are not told apart


def cheapest_test(table: CauseTable, first: str, second: str, openly: Container[str] = ()) -> TellingPour | None:
    """The cheapest test whose casting changes under one of two causes and not under the other.

    The settings themselves brought about the causes in `openly`. Where weighing is then not to blame, the same mix made again would
    only bring them about again: another setting tells.
    """
    one, other = (tested(table, name, openly) for name in (first, second))
    fit = [t for t in table.tests.values() if (one in t.tells) != (other in t.tells)]
    return min(fit, key=lambda t: t.cost, default=None)


def told_apart(chances: pd.Series) -> bool:
    """Whether the likeliest cause is well ahead of the runner-up."""
    return chances.iloc[0] >= CLOSE * chances.iloc[1]


def what_would_tell(table: CauseTable, first: str, second: str, openly: Container[str] = ()) -> str:
    """The test in a sentence: what to do, and which cause each outcome speaks for."""
    test = cheapest_test(table, first, second, openly)
    if test is None:
        return f"No test pour in the table tells {table.causes[first].words!r} from {table.causes[second].words!r}."
    shown, other = (first, second) if tested(table, first, openly) in test.tells else (second, first)
    return (
        f"To tell them apart, {test.words}: a clear difference speaks for {table.causes[shown].words!r}, "
        f"none for {table.causes[other].words!r}."
    )


def tested(table: CauseTable, name: str, openly: Container[str] = ()) -> str:
    """The cause whose tests tell of another: of one that the settings brought about, where weighing is not to blame, the settings."""
    return SETTINGS if name in openly and name != NOTHING and table.causes[name].next_time_openly else name
