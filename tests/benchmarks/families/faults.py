"""Faults planted in the casting, not in its readings: what is really in the mould, or what is really written down.

`plant(hidden, "weak_catalyst", "severe", rng)` gives the same resin and bench with the fault; its pours suffer it, and
the log still says what was planned. What a fault then does is each make's own affair. Sizes are common practice, no
source, but for: the room not under 15 degC (supplier data sheets), dose 0.35 % hard but tacky (a repair case).

| name | what is really so |
|---|---|
| under_dose, over_dose, no_catalyst, wrong_scale | another dose than logged; `wrong_scale`: read in the wrong unit, tenfold or a third |
| weak_catalyst, old_resin | an aged bottle; a drum with more inhibitor to use up |
| cold_room, cold_night, hot_room | another room than logged; a cold one from the fifth hour |
| thin, thick | another depth than logged |
| open_face | no film on it, though one is logged; a film that lets air in |
| moisture, retarding_pigment, silicone_mould | water in the mix; a pigment that inhibits; a mould face that does |
| poor_mixing | another dose at each place of the casting |
| read_early | tack, hardness and opacity read hours before the age logged |
| mistyped | one number with two digits swapped, one wrong, or a grade for its neighbours |
| wrong_pour | the readings of a pour with other settings |
| wrong_lot | another lot went in than the one logged |
| wrong_system | a hardener this resin does not answer to: all but no activity |
"""

from dataclasses import dataclass

import numpy as np

from families.hidden import planted

SEVERITIES = ("mild", "severe")
# What is changed, how (times or plus), and its range when mild and when severe.
INSIDE = {
    "under_dose": ("catalyst", "times", (0.55, 0.7), (0.25, 0.45)),
    "over_dose": ("catalyst", "times", (1.6, 2.0), (2.4, 3.5)),
    "no_catalyst": ("catalyst", "times", (0.0, 0.0), (0.0, 0.0)),
    "wrong_scale": ("catalyst", "times", (0.3, 0.36), (0.1, 0.1)),
    "weak_catalyst": ("strength", "times", (0.5, 0.65), (0.2, 0.4)),
    "old_resin": ("stale", "times", (1.6, 2.2), (3.0, 5.0)),
    "cold_room": ("room_temperature", "plus", (-7, -5), (-13, -9)),
    "hot_room": ("room_temperature", "plus", (6, 8), (10, 14)),
    "cold_night": ("night", "plus", (-8, -5), (-16, -11)),
    "thin": ("thickness", "times", (0.45, 0.6), (0.2, 0.33)),
    "thick": ("thickness", "times", (1.5, 1.8), (2.2, 3.0)),
    "open_face": ("cover", "times", (0.4, 0.6), (0.0, 0.0)),
    "moisture": ("water", "plus", (0.5, 1.0), (1.5, 3.0)),
    "silicone_mould": ("silicone", "plus", (0.35, 0.6), (0.8, 1.2)),
    "retarding_pigment": ("retard", "plus", (0.4, 0.8), (1.2, 2.5)),
    "wrong_system": ("strength", "times", (0.12, 0.2), (0.02, 0.06)),
}
PATCHY = {"mild": (0.35, 0.5), "severe": (0.8, 1.2)}  # scatter of the log of the local dose
EARLY = {"mild": (6.0, 10.0), "severe": (2.5, 5.0)}  # h at which what is logged at 24 h is read
FAULTS = (*INSIDE, "poor_mixing", "read_early", "mistyped", "wrong_pour", "wrong_lot")


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong with every pour of a session.

    Parameters
    ----------
    name, severity : str
    size : float
        Of what is changed; its meaning is the fault's own.
    reading : str
        Which reading is mistyped.
    """

    name: str
    severity: str
    size: float
    reading: str = ""

    def inside(self, made, spread, rng):
        """What is really in the mould, and the log of the local dose at each place."""
        if self.name == "poor_mixing":
            uneven = self.size * rng.standard_normal(spread.shape)
            return made, uneven - uneven.mean(axis=1, keepdims=True) - 0.3 * self.size
        if self.name == "read_early":
            return {**made, "read_at": np.full(len(made["catalyst"]), self.size)}, spread
        if self.name == "wrong_pour":
            return {**made, **self._another(made, rng)}, spread
        if self.name == "wrong_lot":
            times = self.size ** np.array([-1.0, 1.0])
            return {**made, "strength": made["strength"] * times[0], "stale": made["stale"] * times[1]}, spread
        if self.name not in INSIDE:
            return made, spread
        column, how = INSIDE[self.name][:2]
        changed = made[column] * self.size if how == "times" else made[column] + self.size
        if self.name == "retarding_pigment":
            made = {**made, "pigment": np.maximum(made["pigment"], 0.3)}
        return {**made, column: np.maximum(changed, 2.0) if column == "room_temperature" else changed}, spread

    def _another(self, made, rng):
        """The settings of a pour that was not this one."""
        size = len(made["catalyst"])
        far = 0.45 if self.severity == "mild" else 0.9
        side = rng.choice([-1, 1], size)
        return {
            "catalyst": np.clip(made["catalyst"] * np.exp(far * side), 0.3, 5.0),
            "pigment": np.clip(made["pigment"] + 3 * far * rng.choice([-1, 1], size), 0.0, 6.0),
            "thickness": np.clip(made["thickness"] * np.exp(0.7 * far * rng.choice([-1, 1], size)), 3.0, 25.0),
        }

    def written(self, entry, rng):
        """The entry as it is written down."""
        if self.name != "mistyped":
            return entry
        places = [i for i, answer in enumerate(entry["readings"]) if answer["reading"] == self.reading]
        answers = list(entry["readings"])
        place = int(rng.choice(places))
        answers[place] = mistyped(answers[place], self.severity, rng)
        return {**entry, "readings": answers}


def mistyped(answer, severity, rng):
    """One reading written down wrongly."""
    key = next(key for key in ("value", "between", "not_yet") if key in answer)
    if key == "between":
        times = rng.choice([0.5, 2.0]) if severity == "mild" else rng.choice([0.25, 3.0])
        low, high = (float(max(np.round(end * times, 1), 0.5)) for end in answer[key])  # the log takes no gel before half a minute
        return {**answer, key: (low, max(high, low + 0.5))}
    value = answer[key]
    if answer["reading"] in ("tack", "opacity"):
        step = 1 if severity == "mild" else 2
        return {**answer, key: float(value + step if value + step <= 3 else value - step)}
    tens, ones = divmod(round(value) % 100, 10)
    swapped = round(value) - 10 * tens - ones + 10 * ones + tens
    wrong = value + float(rng.choice([-1, 1])) * (10 if severity == "mild" else 30)
    far = abs(swapped - value) >= (9 if severity == "mild" else 27)
    low, high = (6, 240) if answer["reading"] == "peak_temperature" else (0, 99)  # the log refuses a peak beyond
    return {**answer, key: float(np.clip(swapped if far else wrong, low, high))}


def draw_fault(fault, severity, rng):
    """A fault with its size drawn.

    Parameters
    ----------
    fault : str
        One of `FAULTS`.
    severity : {"mild", "severe"}
    rng : Generator
    """
    if fault not in FAULTS or severity not in SEVERITIES:
        raise ValueError(f"No fault {fault!r}, {severity!r}: faults are {', '.join(FAULTS)}; they are mild or severe.")
    place = SEVERITIES.index(severity)
    if fault in INSIDE:
        return Fault(fault, severity, float(rng.uniform(*INSIDE[fault][2 + place])))
    if fault == "mistyped":
        return Fault(fault, severity, 1.0, str(rng.choice(["gel_time", "peak_temperature", "hardness", "tack"])))
    ranges = {"poor_mixing": PATCHY[severity], "read_early": EARLY[severity], "wrong_lot": ((1.5, 1.9), (2.5, 4.0))[place]}
    return Fault(fault, severity, float(rng.uniform(*ranges.get(fault, (1.0, 1.0)))))


def plant(hidden, fault, severity, rng):
    """The same resin and bench, and a fault in what they pour from now on.

    Parameters
    ----------
    hidden : Hidden
    fault : str
        One of `FAULTS`.
    severity : {"mild", "severe"}
    rng : Generator
        Draws the fault's size.

    Returns
    -------
    Hidden
        Its ``fault`` says what was planted.
    """
    return planted(hidden, draw_fault(fault, severity, rng))
