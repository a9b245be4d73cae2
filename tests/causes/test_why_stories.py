"""Castings as their makers tell of them, and what somebody long in the trade would say."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.causes.diagnosis import why

SLOW = {"gel_time": "x1.5", "peak_temperature": -18, "tack": 2, "hardness": -16}  # and soft all through
SOLVENT = {"tin": "thinned with acetone, styrene or other solvent"}

# what the maker says; readings ("x2" is twice what the log expects, -16 so much less of a peak or a hardness, "@4" at 4 h), settings,
# answers; the cause; the source
STORIES = {
    "I let it down with a splash of acetone": (
        {**SLOW, "gel_time": "x1.3", "hardness": -24}, {}, {"where": "throughout", **SOLVENT}, "thinned",
        "boat repair discussion: acetone left in keeps the resin from linking up"),
    "a fifth of styrene to make it run; it gelled much as ever and was whippy a week later": (
        {"gel_time": "x1.15", "peak_temperature": -8, "tack": 1, "hardness": -32}, {}, {"later": "it stayed as it was", **SOLVENT}, "thinned",
        "gel coat table of faults: do not reduce with solvents"),
    "poured off the top of a tin that nobody stirred": (
        SLOW, {}, {"where": "throughout", "tin": "not stirred to the bottom"}, "tin_not_stirred",
        "gel coat repair guide: what settles must be stirred in again, else the cure takes longer"),
    "counted drops; still jelly at four hours, 70 next day": (
        {"gel_time": "x1.7", "tack": 1, "hardness@4": 0, "hardness@24": 68}, {}, {"measured": "by drops, a cap, or a coarse scale"},
        "too_little_catalyst", "repair guide: short of catalyst it is late from the start; what it reads at four hours is common practice, no source"),
    "resin from the cold store; still jelly at four hours, 70 next day": (
        {"gel_time": "x1.8", "tack": 1, "hardness@4": 0, "hardness@24": 68}, {}, {"felt": "colder"}, "cold",
        "supplier data sheet: let the resin reach workshop temperature"),
    "the old rubber mould: its skin is sticky, a cup of the same mix is hard": (
        {"gel_time": "x1", "tack": 2, "hardness": -4}, {}, {"where": "mould side only", "mould": "rubber or silicone", "twin": "it came out better"},
        "mould", "casting supplier notes: a rubber mould takes the heat and leaves a sticky textured skin"),
    "a silicone mould made yesterday: sticky wherever it touched": (
        {"gel_time": "x1", "tack": 2, "hardness": -4}, {}, {"where": "mould side only", "mould": "silicone, newly made"}, "fresh_silicone",
        "common practice, no source"),
    "bottle caps 2 mm deep, soft and sticky all through; what was left in the cup is hard": (
        {"gel_time": "x1.5", "tack": 2, "hardness": -25}, {"thickness": 2.0, "catalyst": 1.2}, {"where": "throughout", "cup": "cured all over"},
        "too_thin", "catalyst label: 15 drops an ounce at 1/8 in, 4 at 1 in"),
}


@pytest.mark.parametrize("story", STORIES)
def test_a_maker_is_told_what_the_trade_would_say(story, beside, usual):
    readings, settings, observed, cause, source = STORIES[story]
    answer = why(read(beside, usual, settings, readings), "X1", observed)
    assert answer.first == cause, f"{source}: {answer.chances.head(3).round(2).to_dict()}"
    assert len(answer.sentence().split()) <= 90


def test_a_block_that_cracked_is_told_what_to_do_next_time(beside, usual):
    """Casting supplier notes: large bodies are poured in layers. The next day there is nothing left to cool."""
    readings = {"gel_time": "x0.7", "peak_temperature": 152, "tack": 0, "defects": 3}
    answer = why(read(beside, usual, {"thickness": 40.0, "catalyst": 2.0}, readings), "X1", {"looks": "cracks", "when": "while it was hot"})
    assert answer.first == "too_hot" and "Next time: pour in layers" in answer.sentence()
    assert "This casting: once it is cold, look it over for cracks" in answer.sentence()


def read(beside, usual, settings, readings):
    """The practice log with one more casting, its readings as a story gives them."""
    fits = beside(settings)
    rows = []
    for place, (key, told) in enumerate(readings.items()):
        name, _, age = key.partition("@")
        lies_off = name in ("hardness", "peak_temperature") and told < 0
        value = usual[name] * float(told[1:]) if isinstance(told, str) else usual[name] + told if lies_off else told
        age = float(age or 24) if fits.study.reading(name).ages else np.nan
        rows.append({"pour": "X1", "reading": name, "low": value, "high": value, "age": age, "known": "exact", "entry": 900 + place})
    table = fits.castings.readings
    more = pd.DataFrame(rows).assign(**{name: "" for name in table.columns if name not in rows[0]})[list(table.columns)].astype(table.dtypes)
    return replace(fits, castings=replace(fits.castings, readings=pd.concat([table, more], ignore_index=True)))
