"""A temperature trace and what it shows of the casting."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from testpour.common.arguments import checked_methods
from testpour.common.wording import in_html, table_html
from testpour.exchange.onset import RISE
from testpour.exchange.trace_readings import RUN, WARM

ONSET = "onset"
GEL, TIME, PEAK = "gel_time", "time_to_peak", "peak_temperature"
WORDS = {ONSET: "self-heating begins", GEL: "gel time, by the warming alone", TIME: "time to peak", PEAK: "peak temperature"}
FASTEST = 5.0  # min of gel time: ASTM D2471 holds above it


@checked_methods("trace")
@dataclass(frozen=True, eq=False)
class JudgedTrace:
    """A temperature trace of one casting, read and judged.

    Parameters
    ----------
    source : str
        Name of the file.
    channel : str
        The thermocouple in the casting.
    table : DataFrame
        One row per row of the file with a time: minutes (after mixing), temperature (degC; NaN in a gap, in a
        glitch and after the thermocouple came out) and, where a room channel was read, room (degC).
    mixed_said : bool
        Whether the time of mixing was given; otherwise it is taken to be the first row.
    noise : float
        Standard deviation of one row, K.
    inert : array
        What each row would have been without cure, degC.
    readings : DataFrame
        One row each for what could be read: reading ("onset", "gel_time", "time_to_peak",
        "peak_temperature") as index; value, low, high (min or degC), known as in the log.
    state : {"peaked", "rising", "flat"}
        Past its peak, still short of it at the last row, or without clear self-heating.
    notes : tuple of str
        What was left out or assumed.
    room_channel : str
        The thermocouple in the room; "" where there is none.

    Notes
    -----
    Onset: the first instant at which the trace is 3 K above what it would have been without cure, about
    the heat of 2 % of the cure, six times the noise of a usual logger and more than a room drifts meanwhile.
    The trace without cure and the growth of self-heating are fitted together (`onset.find_onset`).

    Gel: a trace does not show it. The estimate lies between 1 K of self-heating and 5.6 K (10 °F): polyester
    gels at a few per cent of cure (from memory, not read), and reactivity tests in a bath take a rise of 10 °F
    (block test) to 10 K (ISO 584, 80 °C bath, 90 °C) above the bath for the gel (the first from memory).

    Time to peak and peak: from catalyst in to the summit of a cubic fitted to the top of the trace, after
    ASTM D2471 (withdrawn 2008), which holds for gel times above 5 min and only for the mass and cup stated.

    Accuracy: with a row every 5 to 15 s, noise of 0.5 K, 5 % gaps and a room that swings by 0.75 K and trends by
    0.5 K/h, calculated castings that rise 20 K or more have the peak within 1 K, its time within 1 min and the
    onset within 2 min in 95 of 100. A room that drifts more, without a room channel, costs the onset first.
    """

    source: str
    channel: str
    table: pd.DataFrame
    mixed_said: bool
    noise: float
    inert: np.ndarray = field(repr=False)
    readings: pd.DataFrame
    state: str
    notes: tuple[str, ...] = ()
    room_channel: str = ""

    def sentence(self) -> str:
        """What the thermocouple showed, in words, and on what data."""
        seen = self.table["temperature"].notna()
        first, last = (f"{minute:.0f}".replace("-", "\N{MINUS SIGN}") for minute in self.table["minutes"][seen].iloc[[0, -1]])
        start = "mixing" if self.mixed_said else "its first row, taken as the time of mixing (say mixed_at= if it was not)"
        opening = f"{self.source}, channel {self.channel}: {seen.sum()} readings from {first} to {last} min after {start}."
        return " ".join([opening, self.verdict(), *self.notes])

    __repr__ = sentence

    def _repr_html_(self):
        shown = pd.DataFrame({"found": {WORDS[name]: self.words(name) for name in self.readings.index}})
        return f"<p>{in_html(self.sentence())}</p>{table_html(shown) if len(shown) else ''}"

    def verdict(self) -> str:
        """What was found, in a sentence or two."""
        known_readings, seen = set(self.readings.index), self.table.dropna(subset="temperature")
        if self.state == "flat":
            return self._swapped() or _no_exotherm(seen["temperature"][seen["minutes"] >= 0.0])
        if TIME not in known_readings or self.readings.loc[TIME, "known"] == "already":
            by = f", already by {self.readings.loc[TIME, 'high']:.0f} min" if TIME in known_readings else "; say mixed_at= to know by when"
            return f"The trace began after the peak: at least {self.readings.loc[PEAK, 'low']:.0f} °C{by}."
        warming_already = np.isfinite(self.inert).any() or seen["temperature"].iloc[0] > WARM
        text = "It was warming itself already when the trace began" if warming_already else "It warmed itself"
        text = f"It began to warm itself after {self.words(ONSET)}" if ONSET in known_readings else text
        text += "." if self.state == "rising" else f" and peaked at {self.words(PEAK)} after {self.words(TIME)}."
        if self.state == "rising":
            text += f" The trace ends before the peak: time to peak is {self.words(TIME)}, peak temperature {self.words(PEAK)}."
        if GEL not in known_readings:
            return text if warming_already else f"{text} There are too few rows before the peak to tell when that began."
        fast = f" The conventions hold for gel times above {FASTEST:g} min." if self.readings.loc[GEL, "low"] < FASTEST else ""
        return f"{text} Going by the warming alone, it gelled after {self.words(GEL)}.{fast}"

    def _swapped(self):
        """A warning if the room channel got hotter than any room, for longer than a glitch; "" otherwise."""
        if not self.room_channel or not self.table["room"].nlargest(RUN + 1).min() > WARM:
            return ""
        text = f"No exotherm in channel {self.channel}, but {self.room_channel}, read as the room, got above {WARM:g} °C, as no room does"
        return f"{text}: the two may be swapped. If so, say channel={self.room_channel!r} and room={self.channel!r}."

    def words(self, reading: str) -> str:
        """One reading in words, or "" if the trace does not show it.

        Parameters
        ----------
        reading : {"gel_time", "time_to_peak", "peak_temperature"}
            Name of the reading.

        Returns
        -------
        str
            In min or °C, for example ``"21 to 24 min"``.
        """
        if reading not in self.readings.index:
            return ""
        row = self.readings.loc[reading]
        unit, digits = ("°C", 0) if reading == PEAK else ("min", 1 if row["high"] < 20 else 0)
        low, high, value = (f"{row[k]:.{digits}f}" for k in ("low", "high", "value"))
        if row["known"] == "exact" or low == high:
            return f"{value} {unit}"
        if row["known"] == "between":
            return f"{low} to {high} {unit}"
        return f"more than {low} {unit}" if row["known"] == "not yet" else f"less than {high} {unit}"


def _no_exotherm(degrees):
    """What to say of a trace without an exotherm, from its temperatures in order."""
    if degrees.max() - degrees.iloc[0] < RISE and degrees.iloc[0] - degrees.min() >= 2.0 * RISE:
        return (
            f"No exotherm in these rows: they only cool, from {degrees.iloc[0]:.0f} to {degrees.min():.0f} °C. Either the resin was "
            "poured warm, or the trace began after the peak: log what you saw by hand."
        )
    return (
        f"No exotherm: it never rises {RISE:g} °C above what the room explains. A thin casting may cure without warming "
        "itself: log what you saw by hand."
    )
