"""What going from one value of a setting to another does to a reading, in a sentence with its interval."""

from collections.abc import Iterable
from dataclasses import dataclass

from testpour.common.units import unit_words
from testpour.common.wording import age_words, listed, rounded
from testpour.models.change import NOTHING, change_unit, good_words, in_points, size_words
from testpour.models.terms import OVEN, REFERENCE
from testpour.study.columns import Factor, Reading

LITTLE = 0.045  # a smaller share from the log, shown as under 5 %, says little
SHOWN = 0.005  # castings in 100 under which no digits are shown
ONE = 1.5  # castings in 100: below this it rounds to at most one
DISAGREE = 2.0  # standard deviations between log and belief at which there is a warning


def to_check(factors: Iterable[Factor]) -> str:
    """What to check if the log and the trade disagree about some settings."""
    weighed = all(factor.is_share for factor in factors)
    return "the weighing" if weighed else "what was written down"


@dataclass(frozen=True)
class Effect:
    """What going from one value of a factor to another does to a reading."""

    factor: Factor
    reading: Reading
    start: float  # in the factor's unit, as `end`
    end: float
    middle: float  # the change: a ratio for a reading that spreads by ratios, a difference in its unit otherwise
    low: float  # of its interval, as `high`
    high: float
    from_log: float  # share of what is now known that came from the log, 0 to 1; 0 if no two pours differ in it
    disagreement: float  # how far the log pulled it from belief, in standard deviations of such a pull; 0 without a belief
    poured: bool  # whether the log holds pours at different values of the factor
    good: tuple[int, int] | None = None  # first and last grade that meet an aim; the change is then in their chance
    level: float = 0.9  # chance that the true change lies between `low` and `high`
    turn: float | None = None  # where the reading surely has a maximum or minimum, in the factor's unit
    rises: bool = True  # whether it rises up to there
    believed: bool = True  # whether the trade has a belief about it
    by_day: bool = False  # whether it differed only between a few sessions, so that the day may be the cause
    together: tuple[str, ...] = ()  # words of other settings that always changed with this one
    expected: float = 0.0  # the trade's effect over this one on the model's scale; 0 if the trade is unsure of the direction
    hours: float | None = None  # how long the oven is held, h, where the factor is its temperature
    age: float | None = None  # h after mixing at which the reading is taken, where it has ages

    @property
    def ratio(self) -> bool:
        """Whether the change is a ratio."""
        return self.reading.scale == "log"

    @property
    def direction_known(self) -> bool:
        """Whether the interval leaves only one direction."""
        nothing = 1.0 if self.ratio else 0.0
        return not self.low <= nothing <= self.high

    @property
    def settled(self) -> bool:
        """Whether the direction, or where it turns, is known."""
        return (self.direction_known and not self.negligible) or self.turn is not None

    @property
    def negligible(self) -> bool:
        """Whether all of the interval lies within one casting in 100, or half a per cent, of no change."""
        if self.turn is not None or not (self.ratio or self.good is not None):
            return False
        return max(abs(self._percent(end)) for end in (self.low, self.high)) < (NOTHING if self.ratio else ONE)

    def sentence(self) -> str:
        """The effect in one sentence."""
        factor = self.factor
        move = f"Raising {factor.words} from {factor.between(self.start, self.end)}"
        if self.hours is not None:
            move = f"A post-cure of {self.hours:g} h at {factor.show(self.end)}"
            move += f" instead of {factor.show(self.start)}" if self.start > REFERENCE[OVEN] else ""
        if factor.kind == "yes/no":
            move = f"Pouring with {factor.words}"
        if self.negligible:
            text = f"{move} makes no difference to {self._what()} that counts here ({self.interval()})."
        elif not self.direction_known:
            up, down = self._verbs
            text = f"{move}: cannot tell yet whether it {up} or {down} {self._what()} ({self.interval()})."
        else:
            up, down = self._verbs
            more = self.middle > (1.0 if self.ratio else 0.0)
            text = f"{move} {up if more else down} {self._what()} by {self._size()} ({self.interval()})."
        return text + self._bend() + self.rests_on()

    __repr__ = sentence

    def _what(self):
        what = self.reading.words if self.good is None else f"the chance of {good_words(self.reading, self.good)}"
        return what + (f" at {age_words(self.age)}" if self.age else "")

    @property
    def _verbs(self):
        return ("lengthens", "shortens") if self.reading.unit in ("min", "h") else ("raises", "lowers")

    def _bend(self):
        """Where the reading turns, as a sentence that begins with a space."""
        if self.turn is None:
            return ""
        first, then = ("rises", "falls") if self.rises else ("falls", "rises")
        return f" It bends: {self._what()} {first} up to about {self.factor.show(float(f'{self.turn:.2g}'))} and {then} beyond."

    def _percent(self, value):
        return in_points(value, self.ratio, self.good)

    @property
    def in_points(self) -> tuple[float, float, float]:
        """Low, middle and high as they are shown: per cent, castings in 100, or the reading's own unit."""
        return tuple(self._percent(end) for end in (self.low, self.middle, self.high))

    @property
    def unit(self) -> str:
        """The unit of its size as a sentence has it: %, castings in 100, grades or the reading's own."""
        return change_unit(self.reading, self.good)

    def _shown(self, value):
        """A change as digits: whole castings in a hundred, else two digits below ten; less than half a casting keeps its sign."""
        if self.good is None or SHOWN < abs(value) < NOTHING:
            return rounded(value)
        return f"{value + 0.0:.0f}".replace("-0", "0").replace("-", "\N{MINUS SIGN}")

    def _size(self):
        size = size_words(abs(self._percent(self.middle)), self.good is not None)
        return f"{size if size.startswith('under') else 'about ' + size}{unit_words(self.unit)}"

    def interval(self) -> str:
        """Its interval in words, with signs if both directions are possible."""
        ends = [self._percent(self.low), self._percent(self.high)]
        if self.good is not None and max(map(abs, ends)) < NOTHING:
            return f"{100 * self.level:g} % interval under 1{unit_words(self.unit)} either way"
        if self.direction_known and not self.negligible:
            ends = sorted(abs(end) for end in ends)
            low, high = (size_words(end, self.good is not None) for end in ends)
        else:
            low, high = (("+" if end > 0 and self._shown(end) != "0" else "") + self._shown(end) for end in ends)
        return f"{100 * self.level:g} % interval {low} to {high}{unit_words(self.unit)}"

    def rests_on(self) -> str:
        """How much of it is from the log, as a sentence that begins with a space."""
        if not self.poured:
            alone = ": this is belief only." if self.believed else ", and the trade has no view of it."
            return f" No two pours differ in {self.factor.words}{alone}"
        share = round(100 * self.from_log)
        text = f" {share} % of this is from the log{f', {100 - share} % belief' if self.believed else '; the trade has no view of it'}."
        if self.from_log < LITTLE:
            text = " The log says little here: the poured values lie too close together, or too few are read."
        if self.disagreement > DISAGREE:
            size = f" The effect is {'smaller' if self.expected > 1 else 'larger'} than the trade expects."
            text += " The log shows the opposite of what the trade expects." if self.contrary else size
            text += f" Check {to_check([self.factor])} of these pours; if it was right, trust the log."
        return text + self._doubts()

    @property
    def contrary(self) -> bool:
        """Whether the log shows the opposite direction to the trade's."""
        return self.poured and self.disagreement > DISAGREE and self.expected < 0

    def _doubts(self):
        """What else may explain a change seen in the log, in sentences that begin with a space."""
        if not self.settled or self.from_log < LITTLE:
            return ""
        words, text = self.factor.words, ""
        if self.together:
            which, rest = ("either", "other") if len(self.together) == 1 else ("any of them", "others")
            text = f" But {listed([words, *self.together])} always moved together, so {which} may be behind this: change one without the {rest}."
        if self.by_day:
            values = "with and without it" if self.factor.kind == "yes/no" else self.factor.between(self.start, self.end).replace(" to ", " and ")
            way = f"pour {values} on one day" if self.factor.role == "chosen" else "pour on more days"
            if self.hours:
                way = "post-cure only some castings of a day"
            text += f" {'And' if text else 'But'} {words} never differed within one session, so the day may be behind this: {way}."
        return text
