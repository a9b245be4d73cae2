"""Why a pour is worth making, in one plain sentence."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd

from testpour.advice.candidates import unlike
from testpour.advice.recommend import beyond_log
from testpour.models.chance import chance
from testpour.models.fits import Fits
from testpour.models.settings import post_cure_words
from testpour.models.terms import HOURS, OVEN, post_cure
from testpour.study.columns import Reading
from testpour.study.study import Study

LIKELY_GOOD = 0.9
SCATTER_SHARE = 0.5  # share of the doubt about a chance that must be due to scatter before a repeat is advised
WIDE = 0.1  # standard deviation of a chance below which scatter does not matter
CURE = ("tack", "hardness")


def reasons_for(fits: Fits, table: pd.DataFrame, lessons: list[tuple[int, np.ndarray]], making: bool = False) -> list[str]:
    """One sentence for each picked pour in the table of settings and ``chance``; `lessons` are those of `Worth`.

    When `making` good pieces, a repeated pour needs no lesson.
    """
    reasons = []
    for place, (aim, settled) in enumerate(lessons):
        row, twin = table.iloc[place], twin_of(fits, table, place)
        if twin is not None and making:
            text = f"the settings of {twin} again: few others are likelier to be good"
        elif twin is not None:
            text = f"repeats {twin}: shows how far two alike pours differ"
        else:
            fit = fits[fits.study.aims[aim].reading]
            text = _lesson(fits.study, fit.reading, _settled_factor(fit, settled), row)
        if row["chance"] >= LIKELY_GOOD:
            text += "; likely a good casting"
        first_time = [
            words if fits.study.factor(name).kind == "yes/no" else f"at {words}"  # "without cover", "at thickness 14 mm"
            for name, words in beyond_log(fits, row).items() if name not in ("room_temperature", "humidity")
        ]
        reasons.append(text + (f"; first pour {', '.join(first_time)}" if first_time and len(fits.castings.pours) else ""))
    return reasons


def _lesson(study: Study, reading: Reading, factor: str, row: pd.Series) -> str:
    """What a pour settles about a reading, for example "settles whether 1.2 % catalyst is enough when cold".

    `factor` is the one it tells most about; may be "room_temperature", or "" for the resin as such.
    """
    where = _where(study, row, factor)
    if factor in ("", "room_temperature") or factor not in row:
        return f"settles {reading.words} of this resin {where or 'in the room as it is'}".rstrip()
    declared = study.factor(factor)
    if factor in (OVEN, HOURS) and {OVEN, HOURS} <= set(row.index):
        what = _post_cure_lesson(study, reading, row)
    elif declared.kind == "yes/no":
        what = f"what {declared.words} does for {reading.words}"
        what = what if row[factor] else f"whether {declared.words} can be left off"
    else:
        depth = declared.show(row[factor])
        shown = f"{depth} {declared.words}"
        shown = f"{_article(depth)} {depth} piece" if factor == "thickness" else shown
        what = _question(reading, factor, shown, _third_of_span(declared, row[factor]))
    return f"settles {what} {where}".rstrip()


def _article(number):
    """"an" before a number that begins with a vowel sound: 8, 11, 18, 80 and so on."""
    return "an" if re.match(r"8|1[18](?!\d)", number) else "a"


def _post_cure_lesson(study, reading, row):
    """What a pour tells about a post-cure, or about doing without."""
    if not post_cure(row[OVEN], row[HOURS]):
        return f"{reading.words} without a post-cure"
    return f"what {post_cure_words(study, row)} does to {reading.words}"


def _question(reading, factor, shown, part):
    if reading.name in CURE:
        if factor == "catalyst" and part != "middle":
            return f"whether {shown} is {'enough' if part == 'low' else 'too much'}"
        if factor in ("catalyst", "thickness"):
            return f"how well {shown} cures"
        return f"how well it cures with {shown}" if part == "low" else f"whether it still cures with {shown}"
    if reading.name == "gel_time":
        return f"how long the mix stays workable with {shown}"
    if reading.scale == "rise":
        return f"how hot {shown} runs" if factor == "thickness" else f"how hot it gets with {shown}"
    return f"what {shown} does to {reading.words}"


def _where(study, row, factor):
    """The room and the depth in words, if not near the middle of their spans."""
    words = {"room_temperature": {"low": "when cold", "high": "when warm"},
             "thickness": {"low": "in a thin piece", "high": "in a thick piece"}}
    parts = []
    for name, said in words.items():
        if name != factor and name in row and len(set(study.factor(name).span)) == 2:
            parts.append(said.get(_third_of_span(study.factor(name), row[name])))
    return " ".join(part for part in parts if part)


def _third_of_span(factor, value):
    """Which third of its span a value lies in."""
    low, high = factor.span if len(factor.span) == 2 else (factor.low, factor.high)
    share = (value - low) / (high - low)
    return "low" if share < 1 / 3 else "high" if share > 2 / 3 else "middle"


def _settled_factor(fit, settled):
    """The factor of the coefficient that is settled most; "" if the study never varies it, so that there is nothing to decide."""
    terms, study = fit.believed.terms, fit.study
    fixed = {factor.name for factor in study.factors if factor.role == "chosen"} - {factor.name for factor in study.varied}
    shares = {}
    for place, share in enumerate(settled):
        named = terms[place].factors if place < len(terms) else ()
        name = next((one for one in named if one not in fixed), "")
        shares[name] = shares.get(name, 0.0) + share
    return max(shares, key=shares.get)


def twin_of(fits: Fits, table: pd.DataFrame, place: int) -> str | None:
    """The earlier pour, in this table or the log, with the same settings in a similar room; None if there is none."""
    one, study = table.iloc[[place]], fits.study
    names = [f.name for f in study.factors if f.role == "chosen" and f.name in one]
    for pours in (table.iloc[:place], fits.castings.pours):
        if set(names) <= set(pours):
            alike = np.isclose(pours[names].to_numpy(float), one[names].to_numpy(float), atol=1e-6).all(axis=1)
            for name in pours.index[alike]:
                if not unlike(study, one, pours.loc[[name]])[0]:
                    return name
    return None


def scatter_unknown(fits: Fits, table: pd.DataFrame) -> bool:
    """Whether the doubt about the best of some settings is mostly doubt about scatter between like pours."""
    chances = chance(fits, table).draws
    best = int(chances.mean(axis=0).argmax())
    total = chances[:, best].std()
    if total < WIDE:
        return False
    row = table.iloc[[best]]
    return bool((chance(_centred(fits), row).draws[:, 0].std() / total) ** 2 > SCATTER_SHARE)


def _centred(fits):
    """The fits with every coefficient and cut-point at its mean: only the scatter is left unknown."""
    models = {}
    for name, fit in fits.items():
        post = fit.posterior
        cuts = None if post.cuts is None else np.broadcast_to(post.cuts.mean(axis=0), post.cuts.shape)
        coefficients = np.broadcast_to(post.coefficients.mean(axis=0), post.coefficients.shape)
        models[name] = replace(fit, posterior=replace(post, coefficients=coefficients, cuts=cuts))
    return replace(fits, models=models)
