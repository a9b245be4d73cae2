"""What is in a study folder, and what in it needs attention, in words."""

import sqlite3
from contextlib import closing, suppress

from testpour.bench.bench_sheet import NO_CATALYST
from testpour.bench.slots import slots
from testpour.common.wording import BY_TAPPING, age_words, count, first_few
from testpour.logbook.book import Logbook
from testpour.logbook.log_warnings import likely_slips
from testpour.logbook.tables import FILE, POURS, READINGS, address_of
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_settings
from testpour.study.study import Study


def examine(study: Study) -> tuple[list[str], list[str]]:
    """Sentences: what is in a study and its log, and what needs attention.

    Nothing is written. Raises `LogProblem` if there is a log that cannot be read.
    """
    spans = sum((check_settings(study, {factor.name: end}) for factor in study.varied for end in factor.span), Cautions()).joined()
    problems = [*spans.refusals, *spans.warnings, *_unaimed(study)]
    file, in_file = study.folder / study.log, address_of(study).startswith(FILE)
    if in_file and not file.exists():
        return [], [*problems, f"There is no log at {file} yet; it is made when the first pour is logged."]
    with closing(Logbook(study)) as log:
        castings = log.castings()
    return [castings.sentence()], [*problems, *_impossible(castings), *_doubtful(castings), *_unread(castings), *(_astray(file) if in_file else ())]


def _unaimed(study):
    if not study.aims:
        yield "No aim is stated, so no chance of a good casting can be given. Add a line under [aims] in study.toml."
    if not study.has("catalyst"):
        yield f"catalyst is not among the factors, so none is logged or advised. {NO_CATALYST}"
    if not study.varied:
        yield "No factor varies, so no pours can be planned. Give one a from and a to in study.toml."


def _impossible(castings):
    """Logged settings outside the range that the study file now allows: figures and the findings page refuse them."""
    for factor in castings.study.numeric:
        values = castings.pours[factor.name].dropna()
        if len(beyond := values[(values < factor.low) | (values > factor.high)]):
            yield (f"The log holds {factor.words} {factor.between(beyond.min(), beyond.max())} of {first_few(list(beyond.index))}, but study.toml allows "
                   f"{factor.between(factor.low, factor.high)}. Widen low and high there, or correct the log; no findings page can be written before.")


def _doubtful(castings):
    """Likely slips in the settings and readings of the pours, as they were warned of when logged; each sentence once."""
    said: dict[str, list[str]] = {}
    for pour, row in castings.pours.iterrows():
        settings = row[[factor.name for factor in castings.study.numeric]].dropna().to_dict()
        read = list(castings.readings[castings.readings["pour"] == pour].itertuples())
        for text in likely_slips(castings.study, settings, read, surely=True):
            said.setdefault(text, []).append(str(pour))
    for text, pours in said.items():
        yield f"{first_few(pours)}: {text} Correct a wrong number {BY_TAPPING.removesuffix(',')}."


def _astray(file):
    """Other logs beside a log with entries that it lacks, such as the copies that a synced folder makes if two computers write at once."""
    for other in sorted(file.parent.glob(f"*{file.suffix}")):
        with suppress(sqlite3.Error):  # no log, or no file that can be read
            if lacking := _entries(other) - _entries(file):
                of = first_few(sorted({pour for pour, _ in lacking}))
                yield (f"{other.name} holds {count(len(lacking), 'entry', 'entries')} that {file.name} lacks, of {of}; "
                       "two computers may have written to one synced folder. "
                       f'Write a sheet of it with tp.write_sheet(tp.Logbook(study, "{other.name}").castings(), "copy.csv"), and read in what belongs here.')


def _entries(file):
    """The pour and logging time of every pour and reading in a log file."""
    with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as log:
        return {row for table in (POURS.name, READINGS.name) for row in log.execute(f"SELECT pour, logged_at FROM {table}")}


def _unread(castings):
    """Pours without a reading that an aim needs, at an age that counts for the aim's."""
    places = {(slot.reading.name, slot.age): slot for slot in slots(castings.study)}
    for aim in castings.study.aims:
        rows, place = castings.readings[castings.readings["reading"] == aim.reading], places.get((aim.reading, aim.age))
        read = set(rows["pour"] if place is None else rows.loc[[place.holds(age) for age in rows["age"]], "pour"])
        if lacking := [str(pour) for pour in castings.pours.index if pour not in read]:
            reading = castings.study.reading(aim.reading)
            when = "" if place is None else f" at {age_words(place.age)}"
            instead = ", or log that it was not yet reached" if reading.scale == "log" else ""  # of a time, which may not have come
            yield f"No {reading.words}{when} is logged for {', '.join(lacking)}. Log it{instead}."
