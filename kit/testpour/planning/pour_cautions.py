"""Cautions for pours not made yet, including their believed gel time and peak."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.wording import listed
from testpour.models.beliefs import believed_middle, peak_reading
from testpour.models.effects import DAYS, by_day
from testpour.models.settings import settings_table
from testpour.study.caution_rules import Cautions, limit_told, one_text
from testpour.study.cautions import check_gel_time, check_peak, check_settings
from testpour.study.study import Study


def pour_cautions(study: Study, settings: Mapping[str, Any]) -> Cautions:
    """Cautions for one pour: its settings, and their believed gel time and peak."""
    numbers = {f.name for f in study.numeric}
    given = {name: value for name, value in settings.items() if name in numbers and not np.isnan(value)}
    cautions, table = check_settings(study, given), settings_table(study, given)
    gel = [(reading, check_gel_time) for reading in study.readings if reading.name == "gel_time"]
    for reading, check in (*gel, (peak_reading(study), check_peak)):
        cautions += check(float(believed_middle(study, reading, table)[0]), f"the trade's {reading.words} of")  # advice has the log's
    return cautions


def by_pour(cautions: Mapping[str, Cautions]) -> Cautions:
    """The cautions of several pours as one: each sentence once, after its pours; see `grouped`."""
    sentences = {level: [f"{', '.join(pours)}: {text}" for text, pours in texts.items()] for level, texts in grouped(cautions).items()}
    return Cautions(tuple(sentences["refusals"]), tuple(sentences["warnings"]))


def grouped(cautions: Mapping[str, Cautions]) -> dict[str, dict[str, list[str]]]:
    """The cautions of several pours, each sentence once: ``refusals`` and ``warnings``, sentence to the names of its pours.

    Sentences about the same limit and different values become one, with the range of values; every other sentence keeps
    its own numbers.
    """
    pours_by_sentence: dict[tuple[str, str, str], list[tuple[str, str]]] = {}
    for pour, one in cautions.items():
        for level, texts in (("refusals", one.refusals), ("warnings", one.warnings)):
            for text in texts:
                pours_by_sentence.setdefault((level, *limit_told(text)), []).append((str(pour), text))
    parts: dict[str, dict[str, list[str]]] = {"refusals": {}, "warnings": {}}
    for (level, *_), pairs in pours_by_sentence.items():
        parts[level][one_text([text for _, text in pairs])] = list(dict.fromkeys(pour for pour, _ in pairs))
    return parts


def session_groups(study: Study, pours: pd.DataFrame) -> list[list[str]]:
    """The pours that can share a session: those with the same value of every setting that is set once a session.

    Parameters
    ----------
    study : Study
    pours : DataFrame
        One row per pour, indexed by name, with factor columns.

    Returns
    -------
    list of list of str
        Names, in the order of the first pour of each session.
    """
    once = [f.name for f in _set_by_session(study) if f.name in pours]
    return [list(run.index) for _, run in pours.groupby(once, sort=False, dropna=False)] if once else [list(pours.index)]


def _set_by_session(study):
    """The settings that hold for a whole session."""
    return [f for f in study.factors if f.role == "chosen" and f.by_session]


def session_conflict(study: Study, name: str, pours: pd.DataFrame) -> str:
    """Why some pours cannot share a session, in sentences; a log that has them in one would rule out later plans.

    Parameters
    ----------
    study : Study
    name : str
        Of the session.
    pours : DataFrame
        One row per pour, indexed by name, with factor columns.

    Returns
    -------
    str
        "" if they can.
    """
    groups = session_groups(study, pours)
    if len(groups) < 2:
        return ""
    words = listed(f.words for f in _set_by_session(study) if f.name in pours and pours[f.name].nunique(dropna=False) > 1)
    groups_in_words = "; ".join(listed(map(str, run)) for run in groups)
    sentence = f"session {name}: its pours differ in {words}, set once a session. Begin a session for each of these: {groups_in_words}."
    return f"{sentence} If they can differ within a session, write by_session = false for them in study.toml."


def only_between_sessions(study: Study, pours: pd.DataFrame) -> str:
    """Which settings differ only between sessions, so few that the day may explain their effects, in sentences.

    Parameters
    ----------
    study : Study
    pours : DataFrame
        One row per pour, with its session and factor columns.

    Returns
    -------
    str
        Begins with a space; "" if there are none.
    """
    ends = {f: (pours[f.name].min(), pours[f.name].max()) for f in _set_by_session(study) if f.name in pours}
    words = [f.words for f, (low, high) in ends.items() if low < high and by_day(pours, f, (low + high) / 2)]
    if not words:
        return ""
    return (
        f" But every pour of a session has the same {listed(words)}, so an effect of that may really be the day's. To tell them apart, "
        f"write by_session = false in study.toml for what can differ within a session, or plan {2 * DAYS} sessions."
    )
