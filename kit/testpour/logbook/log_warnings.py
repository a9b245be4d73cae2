"""Warnings about pours and readings that are logged all the same."""

from collections.abc import Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from testpour.common.problems import warn
from testpour.common.wording import BY_TAPPING, listed, shortened
from testpour.logbook.known import doubts
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_settings, check_shares
from testpour.study.study import Study

CORRECT = (
    f" The numbers are in the log as written. Correct a wrong one there, {BY_TAPPING} or with "
    'log.correct_pour("{pour}", settings=..., why=...), or log.correct_reading and the entry number from log.history("{pour}"): '
    "a corrected sheet would be refused as read before."
)


class Caution(UserWarning):
    """A pour was logged whose settings call for care."""


def likely_slips(study: Study, settings: Mapping[str, Any], read: Sequence[Any], *, surely: bool = False) -> list[str]:
    """Likely slips in the settings and readings of one pour, a sentence each; `read` and `surely` are as for `known.doubts`."""
    return [*check_shares(study, settings).warnings, *doubts(study, read, settings.get("room_temperature"), surely=surely)]


def warn_of(study: Study, names: Sequence[str], checked: Sequence[Mapping[str, Any]], stored: bool = True) -> None:
    """Warn of settings that call for care and of readings that are doubtful, each sentence once with the pours it is about.

    `names` are those of the pours, `checked` their rows as `check_entries` returns them. How to correct the log is added only
    if they are `stored`.
    """
    warned: dict[str, list[str]] = {}
    slips: set[str] = set()
    for name, row in zip(names, checked, strict=True):
        found = likely_slips(study, row["settings"], [SimpleNamespace(**read) for read in row["readings"]])
        slips.update(found)
        for text in (check_settings(study, row["settings"]) + Cautions(warnings=tuple(found))).warnings:
            warned.setdefault(text, []).append(name)
    last = [text for text in warned if text in slips][-1:]
    for text, pours in warned.items():
        advice = CORRECT.format(pour=pours[0]) if stored and text in last else ""
        warn(f"{shortened(listed(pours))}: {text}{advice}", Caution)
