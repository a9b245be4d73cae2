"""Text and dates on their way into the log: what a form or a spreadsheet holds, cleaned and read."""

import datetime as dt
import re
import unicodedata

import pandas as pd

from testpour.common.units import UnitProblem

TWO_DIGITS = re.compile(r"\d{1,2}([/-])\d{1,2}\1\d{2}\b")
EARLIEST = dt.datetime(1950, 1, 1)  # before polyester was cast in workshops: an earlier year is a slip
YEAR_FIRST = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})")
MONTHS = (  # in English and German; a word of three letters or more means the month that begins with it
    "january januar jänner", "february februar", "march märz maerz mrz", "april", "may mai", "june juni", "july juli", "august", "september",
    "october oktober", "november", "december dezember",
)
WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*\.?,?\s+)?"
# Dots stand between day, month and year, so that two figures are enough for the year there.
DAY_FIRST = re.compile(rf"{WEEKDAY}(\d{{1,2}})([./-])(\d{{1,2}})\2(\d{{4}}|(?<=\.)\d\d(?!\d))", re.IGNORECASE)
NAMED = (  # 14 March 2025, 17-Mar-25, March 14, 2025; two figures of a year come last, after the month
    re.compile(rf"{WEEKDAY}(?P<day>\d{{1,2}})(?:st|nd|rd|th|\.)?[\s/-]*(?P<month>[^\W\d_]{{3,}})\.?(?:[\s/,-]*(?P<year>\d{{4}}|'?\d\d))?", re.IGNORECASE),
    re.compile(rf"{WEEKDAY}(?P<month>[^\W\d_]{{3,}})\.?[\s/-]*(?P<day>\d{{1,2}})(?:st|nd|rd|th)?(?:[\s/,-]+(?P<year>\d{{4}}))?", re.IGNORECASE),
)
SERIAL = re.compile(r"[2-6]\d{4}(?:[.,]\d+)?")  # days since 1900, from 1954 to 2091
CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?(?:\s*([ap])\.?m\.?|\s*(?:uhr|h))?", re.IGNORECASE)
TIMED = re.compile(rf"(?P<day>.*?)[ ,T]+(?P<clock>{CLOCK.pattern})", re.IGNORECASE)


def clean(text: object, line: bool = False) -> str:
    """Text as every database and spreadsheet can hold it.

    Control characters, loose surrogates and characters that XML forbids are dropped, line ends made plain,
    blanks at the ends taken off. With `line`, blanks and line ends inside become single spaces.
    """
    text = int(text) if isinstance(text, float) and text.is_integer() else text  # 1.0, as a table with gaps keeps a session 1
    text = ("" if missing(text) else str(text)).replace("\r\n", "\n").replace("\r", "\n")
    text = "".join(c for c in text if c in "\n\t" or not _is_control(c))
    return (" ".join(text.split()) if line else text).strip()


def plain_name(text: str) -> str:
    """A name without what people write in several ways: capitals, blanks and leading zeros."""
    return re.sub(r"(?<!\d)\s+|\s+(?!\d)|(?<![\d.,])0+(?=\d)", "", unicodedata.normalize("NFKC", text).casefold())


def _is_control(character):
    return unicodedata.category(character) in ("Cc", "Cs") or ord(character) & 0xFFFE == 0xFFFE


def missing(value: object) -> bool:
    """Whether a value says that nothing is known: None, NaN or a missing date."""
    return value is None or (pd.api.types.is_scalar(value) and bool(pd.isna(value)))


def moment(value: str | dt.date | None) -> dt.datetime:
    """A date and time on the workshop's clock, without a zone, to the second; now for None.

    A date alone becomes midnight, which means that the hour is unknown: see `hour_known`.

    Text such as ``"2026-03-01 10:30"``, ``"1.3.2026 9:30"``, ``"1.3.26"``, ``"1 March 2026"``, ``"1-Mar-26"``, or ``"31/3/2026"`` where the day
    cannot be taken for the month. A time with a zone is turned into that of this computer. A UnitProblem where it may be two dates.
    """
    if value is None:
        return dt.datetime.now().replace(microsecond=0)
    if missing(value):
        raise UnitProblem("date: is missing. Write it like 2026-03-01 10:30, or leave it out for this moment.")
    if isinstance(value, str):
        value = _parse_moment(value.strip())
    elif isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        value = dt.datetime.combine(value, dt.time())
    elif hasattr(value, "to_pydatetime"):
        value = value.to_pydatetime(warn=False)
    if not isinstance(value, dt.datetime):
        raise UnitProblem(f"date: {value!r} is not a date. Write it like 2026-03-01 10:30.")
    return value.astimezone().replace(tzinfo=None) if value.tzinfo else value


def hour_known(made_at: dt.datetime) -> bool:
    """Whether more than the day of a pour is known."""
    return made_at.time() != dt.time()


def clock(text: str) -> dt.time:
    """A time of day such as ``"9:05"``, ``"14.30"`` or ``"2:30 pm"``; a UnitProblem where it is none."""
    match = CLOCK.fullmatch(text.strip())
    hour, minute, second = (int(part or 0) for part in match.groups()[:3]) if match else (24, 0, 0)
    half = match[4].casefold() if match and match[4] else ""
    if max(minute, second) > 59 or hour > 23 or (half and not 1 <= hour <= 12):
        raise UnitProblem(f"{text!r} is not a time of day. Write it like 14:30, or rename the column if it is something else.")
    if re.fullmatch(r"[1-5][:.]\d\d", text.strip()):
        raise UnitProblem(f"{text!r} may be at night or in the afternoon. Write {hour:02}:{minute:02} or {hour + 12}:{minute:02}.")
    return dt.time(hour % 12 + 12 * (half == "p") if half else hour, minute, second)


def made_on(value: str | dt.date | None) -> dt.datetime:
    """When a pour was made, as `moment` reads it: in the past, from 1950; else a UnitProblem."""
    made, now = moment(value), dt.datetime.now()
    if not EARLIEST <= made < now + dt.timedelta(days=1):
        raise UnitProblem(
            f"date: {str(value)!r} is not between {EARLIEST.year} and today, {now:%Y-%m-%d} by the clock of this computer. Write the "
            "day the pour was made."
        )
    return made


def _parse_moment(text):
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        timed = TIMED.fullmatch(text)
    return dt.datetime.combine(_day_of(timed["day"]), clock(timed["clock"])) if timed else _day_of(text)


def _day_of(text):
    """The midnight of a day that is not written as a computer writes it."""
    if (named := _month_named(text)) and named["year"]:
        return _calendar_day(text, named["year"].strip("'"), named["month"], named["day"])
    if match := YEAR_FIRST.fullmatch(text):
        return _calendar_day(text, match[1], match[3], match[4])
    match = DAY_FIRST.fullmatch(text)
    if not match:
        if SERIAL.fullmatch(text):
            day = dt.date(1899, 12, 30) + dt.timedelta(days=int(text[:5]))  # as most spreadsheets count; an old kind of them from 1904
            raise UnitProblem(f"date: {text!r} is a number, perhaps {day}, which a spreadsheet keeps so. Format its cell as a date, or write it like {day}.")
        problem = "has no year" if named else "has a year of two digits" if TWO_DIGITS.match(text) else "is not a date"
        raise UnitProblem(f"date: {text!r} {problem}. Write it like 2026-03-01 10:30.")
    day, mark, month, year = match.groups()
    day, month = int(day), int(month)
    if mark != "." and day != month and day <= 12 and month <= 12:
        raise UnitProblem(f"date: {text!r} may be day first or month first. Write it like 2026-03-01.")
    if mark != "." and month > 12:
        day, month = month, day
    return _calendar_day(text, year, month, day)


def _month_named(text):
    """The parts of a date with its month in words, as a number; None if it is not such a date."""
    for match in filter(None, (pattern.fullmatch(text) for pattern in NAMED)):
        if month := month_number(match["month"]):
            return {**match.groupdict(), "month": month}
    return None


def month_number(word: str) -> int:
    """1 to 12 for a month by its name or the first letters of it, 0 for any other word."""
    return next((number for number, names in enumerate(MONTHS, start=1) if any(name.startswith(word.casefold()) for name in names.split())), 0)


def _calendar_day(text, *parts):
    """The midnight of year, month and day, which are read from `text`; a year of two digits is one from 2000."""
    year, month, day = map(int, parts)
    try:
        return dt.datetime(year + 2000 * (year < 100), month, day)
    except ValueError:
        raise UnitProblem(f"date: {text!r} is not a day of the calendar. Write it like 2026-03-01.") from None
