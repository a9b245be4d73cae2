"""What is in a study folder, and what in it needs attention, in words."""

from __future__ import annotations

from contextlib import closing

from testpour.bench.bench_sheet import NO_CATALYST
from testpour.bench.slots import slots
from testpour.caution_rules import Cautions
from testpour.cautions import check_settings
from testpour.logbook.book import Logbook
from testpour.logbook.tables import address_of
from testpour.study import Study
from testpour.wording import age_words


def examine(study: Study) -> tuple[list[str], list[str]]:
    """Sentences: what is in a study and its log, and what needs attention.

    Nothing is written. Raises `LogProblem` if there is a log that cannot be read.
    """
    spans = sum((check_settings(study, {factor.name: end}) for factor in study.varied for end in factor.span), Cautions())
    problems = [*spans.refusals, *spans.warnings, *_unaimed(study)]
    file = study.folder / study.log
    if address_of(study).startswith("sqlite:///") and not file.exists():
        return [], [*problems, f"There is no log at {file} yet; it is made when the first pour is logged."]
    with closing(Logbook(study)) as log:
        castings = log.castings()
    return [castings.sentence()], [*problems, *_unread(castings)]


def _unaimed(study):
    if not study.aims:
        yield "No aim is stated, so no chance of a good casting can be given. Add a line under [aims] in study.toml."
    if not study.has("catalyst"):
        yield f"catalyst is not among the factors, so none is logged or advised. {NO_CATALYST}"
    if not study.varied:
        yield "No factor varies, so no pours can be planned. Give one a from and a to in study.toml."


def _unread(castings):
    """Pours without a reading that an aim asks for, at an age that counts for that of the aim."""
    places = {(slot.reading.name, slot.age): slot for slot in slots(castings.study)}
    for aim in castings.study.aims:
        rows, place = castings.readings[castings.readings["reading"] == aim.reading], places.get((aim.reading, aim.age))
        read = set(rows["pour"] if place is None else rows.loc[[place.holds(age) for age in rows["age"]], "pour"])
        if lacking := [str(pour) for pour in castings.pours.index if pour not in read]:
            reading = castings.study.reading(aim.reading)
            when = "" if place is None else f" at {age_words(place.age)}"
            instead = ", or log that it was not yet reached" if reading.scale == "log" else ""  # of a time, which may not have come
            yield f"No {reading.words}{when} is logged for {', '.join(lacking)}. Log it{instead}."
