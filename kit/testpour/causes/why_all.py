"""Why the castings of a whole study came out as they did."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from testpour.causes.answer import Answer
from testpour.causes.diagnosis import why
from testpour.causes.naming import named, ranked
from testpour.causes.questions import tested, what_would_tell
from testpour.causes.table import NOTHING
from testpour.causes.verdict import ENOUGH, guessed
from testpour.causes.whole_log import good_pours, missed_by_most, worse_groups
from testpour.common.threads import one_thread
from testpour.common.wording import count, in_days, in_html, in_hundred, listed, table_html, within
from testpour.models.fits import Fits

LISTED = 40  # castings that a screen lists, the last ones; `EveryAnswer.table` holds all
BLAMED = 0.2  # chance of a bad lot, on average over its castings that miss an aim, from which it is named for all of them


@dataclass(frozen=True, eq=False)
class EveryAnswer:
    """An answer for each casting of a study that misses an aim or shows a fault.

    Parameters
    ----------
    answers : dict
        Pour to `Answer`: every casting that misses an aim, or whose readings point to a fault.
    pours : int
        Castings looked at.
    """

    answers: dict[str, Answer]
    pours: int

    @property
    def table(self) -> pd.DataFrame:
        """One row per casting: what is wrong, the likeliest cause with its chance, and the runner-up."""
        rows = {}
        for pour, answer in self.answers.items():
            chances = answer.chances
            rows[pour] = {
                "misses": listed(m.read(answer.case.fits.study) for m in answer.missed) or "no aim",
                "likeliest": named(answer, chances.index[0]), "chance": chances.iloc[0],
                "next": named(answer, chances.index[1]), "its chance": chances.iloc[1],
            }
        columns = ["misses", "likeliest", "chance", "next", "its chance"]
        return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("pour")

    def sentence(self) -> str:
        """How many castings need explaining, and what is behind most of them."""
        if not self.pours:
            return "No casting in the log has been read yet, so there is nothing to explain. Log one reading first."
        if not self.answers:
            return f"{count(self.pours, 'casting')} looked at: none misses an aim and none stands out."
        many = len(self.answers)
        return f"{many} of {count(self.pours, 'casting')} {'needs' if many == 1 else 'need'} explaining. {self.mostly}"

    @property
    def mostly(self) -> str:
        """What is behind most of the castings that need explaining: a lot, the study itself, or the commonest cause; empty without any."""
        many, answers = len(self.answers), self.answers.values()
        if many < 2:
            return "".join(f"{pour}, likeliest: {in_days(ranked([(named(a, a.first), a.chances.iloc[0])], ''))}." for pour, a in self.answers.items())
        if said := bad_lot(self.answers) or whole_study(answers) or own_reading(answers):
            return said
        leads = Counter(answer.first for answer in answers)
        most = max(leads.values())
        if most == 1:
            return "No cause is the likeliest of more than one of them."
        words = [self._called(name) for name, times in leads.items() if times == most]
        found = "The likeliest cause most often" if len(words) == 1 else "The likeliest causes most often"
        return f"{found}, for {most} of {many}{' each' if len(words) > 1 else ''}: {in_days('; '.join(words))}."

    def _called(self, first):
        """A cause in the words used for most castings whose likeliest it is, else in those of the table, since settings differ."""
        told = Counter(named(answer, first) for answer in self.answers.values() if answer.first == first)
        common = next((words for words, times in told.items() if 2 * times > told.total()), None)
        if first == NOTHING and len(told) > 1:
            return "nothing wrong, but its settings or ordinary scatter"
        return common or next(iter(self.answers.values())).case.table.causes[first].words

    __repr__ = sentence

    def _repr_html_(self):
        shown = self.table.iloc[-LISTED:]
        shown = shown.assign(next=shown["next"].where(shown["its chance"] >= ENOUGH, ""))
        for name in ("chance", "its chance"):
            shown[name] = [f"{in_hundred(chance)} in 100" if chance >= ENOUGH else "" for chance in shown[name]]
        left = f" The last {LISTED} of them are listed; the table of the answer has all." if len(self.answers) > LISTED else ""
        return f"<p>{in_html(self.sentence() + left)}</p>{table_html(shown.map(in_days))}"


def bad_lot(answers: Mapping[str, Answer]) -> str:
    """Which lot most castings that miss an aim are from, if castings of other lots mostly miss none, and what to do; else empty."""
    case = next(iter(answers.values())).case
    castings, table, missing = case.fits.castings, case.table, [pour for pour, answer in answers.items() if answer.missed]
    found = Counter(item for pour in missing for item in worse_groups(castings, pour).items() if item[0] != "session")
    lots = [item for item, times in found.items() if times == max(found.values()) and 2 * times >= len(missing)]
    suspects = [name for name, cause in table.causes.items() if cause.odds.get("worse_lot", 1.0) > 1]
    if not lots or not suspects:
        return ""
    column, lot = lots[0]
    labels = castings.pours[column].fillna("").astype(str)
    theirs = [answers[pour] for pour in missing if labels[pour] == lot]
    if sum(answer.chances[suspects].sum() for answer in theirs) < BLAMED * len(theirs):
        return ""
    by = max(theirs, key=lambda answer: answer.chances[suspects].max())
    first, *others = by.chances[suspects].sort_values(ascending=False).index
    read, good, cause = set(castings.readings["pour"]), set(good_pours(castings)), table.causes[first]
    mine, rest = (read & set(labels.index[pick]) for pick in (labels == lot, ~labels.isin(["", lot])))
    called = listed(f"{case.fits.study.factor(column).words} {lot}" for column, lot in lots)
    return in_days(
        f"Of {called}, {len(mine - good)} of {count(len(mine), 'casting')} miss an aim, of other lots {len(rest - good) or 'none'} of {len(rest)}: "
        f"look at that lot first. {cause.next_time}. {_tells_study(by, first, (others or [NOTHING])[0])} Mind: {within(cause.care)}."
    )


def whole_study(answers: Iterable[Answer]) -> str:
    """What is wrong with the study as a whole, and the test for it; empty where no aim is missed throughout.

    The cause is the likeliest of most of its castings, so that the two answers agree; its chance is the average over them.
    """
    told = [answer for answer in answers if answer.case.throughout]
    if not told:
        return ""
    mean = sum(answer.chances.sort_index() for answer in told) / len(told)
    first = max(mean.index, key=lambda name: (sum(answer.first == name for answer in told), mean[name]))
    second = mean.drop(first).idxmax()
    study, by = told[0].case.fits.study, next(answer for answer in told if answer.first == first)
    aims = [answer.case.throughout.aim for answer in told if answer.case.throughout]
    missed = listed(dict.fromkeys(study.reading(aim.reading).words for aim in aims))
    place = "next, " if mean[second] <= mean[first] else "as likely over all of them, "
    likeliest = ranked([(named(by, name), mean[name]) for name in (first, second)], place)
    open_ = guessed(mean[first], mean[second])
    return in_days(
        f"Nearly every casting of this log misses its aim for {missed}, so look at the study first. {'Cannot tell yet what was wrong. ' if open_ else ''}"
        f"Likeliest: {likeliest}. {_asks_study(by) if open_ else ''}{_tells_study(by, first, second)}"
    )


def own_reading(answers: Iterable[Answer]) -> str:
    """Which readings of the owner's own nearly every casting misses, and where to look; empty where there is none."""
    missed = {miss.aim: answer.case.fits for answer in answers for miss in answer.missed if miss.own}
    words = dict.fromkeys(fits.study.reading(aim.reading).words for aim, fits in missed.items() if missed_by_most(fits.castings, aim))
    if not words:
        return ""
    return (
        f"Nearly every casting of this log misses its aim for {listed(words)}. The trade knows no cause for that, so look at what the settings do to it, in "
        "3-what-the-log-says; where no setting moves it far enough, the aim may be out of reach."
    )


def _asks_study(answer):
    """The question to answer first where it is not clear what is wrong with the whole log; empty without one that applies to all its castings."""
    asked = next((asked.question.ask for asked in answer.questions if not asked.question.of_one), "")
    return asked and f"Check next: {within(asked)} A note on one casting counts for all of them. "


def _tells_study(answer, first, second):
    """What to try first where the whole log fails, for the likeliest cause; else a test pour that separates it from the next."""
    table, openly = answer.case.table, answer.openly
    if first == NOTHING and NOTHING in openly:
        return f"{table.causes[NOTHING].next_time_openly}; where none reaches the aim, it is beyond this resin, so ask for less."
    test = table.causes[tested(table, first, openly)].try_first
    return f"To find out, {within(test)}: if that comes out well, this was it." if test else what_would_tell(table, first, second, openly)


@one_thread
def why_all(fits: Fits, *, causes: dict | None = None) -> EveryAnswer:
    """Why the castings of a study came out as they did.

    Parameters
    ----------
    fits : Fits
    causes : dict, optional
        See `why`.

    Returns
    -------
    EveryAnswer
        The castings that miss an aim, those whose likeliest cause is a fault though they miss none, and those of which a
        reading lies far from what is expected or a setting is refused.

    Examples
    --------
    >>> tp.why_all(fits)
    11 of 18 castings need explaining. The likeliest cause most often, for 5 of 11: its face was left open, as logged.
    """
    read = set(fits.castings.readings["pour"])
    every = {pour: why(fits, pour, causes=causes) for pour in fits.castings.pours.index if pour in read}
    return EveryAnswer({pour: a for pour, a in every.items() if a.missed or a.case.odd or not a.healthy}, len(every))
