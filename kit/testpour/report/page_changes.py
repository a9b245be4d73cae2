"""What changed since an earlier page of the same study: pours, effects, recommended settings."""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

from testpour.advice.recommend import Recommendation
from testpour.common.units import show, to_unit
from testpour.common.wording import count, first_few, listed, signed
from testpour.exchange.data_link import LEFT_OUT
from testpour.logbook.castings import Castings
from testpour.models.chance import chance_words, mean_and_interval
from testpour.models.effects import effects
from testpour.models.fits import Fits
from testpour.report.page_log import NoLogInside, read_page_data

OWN = (*LEFT_OUT, "note", "entry")  # columns that no result depends on
LEAST = 0.05  # smallest change of a chance that is reported


def statements(fits: Fits, advice: Sequence[tuple[str | float | None, Recommendation]]) -> dict[str, Any]:
    """What a page says, in a form that a later page can be compared with, ready for JSON.

    ``pours`` maps each name to a digest of its settings and readings, ``readings`` counts them; ``effects`` and ``advice``.
    """
    return {
        "aims": fits.study.aims_in_words, "declared": [column.words for column in (*fits.study.factors, *fits.study.readings)],
        "fingerprint": fits.castings.fingerprint(), "pours": _pour_digests(fits.castings), "readings": len(fits.castings.readings),
        "effects": {name: dict(_effects(fit)) for name, fit in fits.items()},
        "advice": [_advised(room, given) for room, given in advice],
    }


def _pour_digests(castings):
    """Pour to a short digest of everything known about it."""
    marks = {}
    for table in (castings.pours.reset_index(names="pour"), castings.readings):
        kept = table.drop(columns=[name for name in OWN if name in table])
        place = kept.columns.get_loc("pour")
        for row in kept.itertuples(index=False, name=None):
            marks[str(row[place])] = hashlib.sha256(f"{marks.get(str(row[place]), '')}{row!r}".encode()).hexdigest()[:12]
    return marks


def _effects(fit):
    for effect in effects(fit).each:
        if effect.poured:
            low, middle, high = effect.in_points
            yield effect.factor.name, {
                "start": effect.start, "end": effect.end, "low": low, "middle": middle, "high": high,
                "told": bool(effect.direction_known), "unit": f" {effect.unit}".rstrip(),
            }


def _advised(room, given):
    free = {name: float(given.settings[name]) for name in given.free}
    return {"room": room, "settings": free, **{name: float(value) for name, value in mean_and_interval(given.chance.draws).iloc[0].items()}}


def earlier_statements(castings: Castings, path: Path, since: str | Path | Literal[False] | None = None) -> dict[str, Any] | None:
    """What an earlier page of the study said, or None if there is none to compare with.

    The page at `path`, where the new one goes, unless `since` names another or is False. Raises `FileNotFoundError`
    or `NoLogInside` if `since` is not a findings page of this study.
    """
    if since is False or (since is None and not Path(path).exists()):
        return None
    page = Path(since or path)
    try:
        data = read_page_data(page)
        if data["study"]["name"] != castings.study.name:
            raise NoLogInside(
                f"{page.name} is the page of another study, {data['study']['name']!r}. Give an earlier page of "
                "this one, or compare two studies with compare_studies."
            )
    except NoLogInside:
        if since is None:
            return None
        raise
    # Same log and aims as before: repeat what changed up to then.
    aims = castings.study.aims_in_words
    return data["before"] if castings.has_fingerprint(data["fingerprint"]) and data["said"].get("aims", aims) == aims else data["said"]


def changes(castings: Castings, before: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """What changed, in sentences; pages of an early version told neither aims nor what was declared."""
    study = castings.study
    before = {name: now[name] for name in ("aims", "declared")} | before
    return [*_log_changes(castings, before, now), *_aim_changes(before, now), *_effect_changes(study, before, now), *_advice_changes(study, before, now)]


def _log_changes(castings, before, now):
    old, new = before["pours"], now["pours"]
    added, gone = [p for p in new if p not in old], [p for p in old if p not in new]
    withdrawn, lost = [p for p in gone if p in castings.withdrawn], [p for p in gone if p not in castings.withdrawn]
    declared = _others(before, now, "declared")
    altered = [p for p in new if p in old and new[p] != old[p]] if not declared else []
    for pours, became in ((added, f"more, {len(new)} now"), (withdrawn, "withdrawn"), (altered, "with new or corrected entries"),
                          (lost, f"no longer in the log, though nobody withdrew {'it' if len(lost) == 1 else 'them'}")):
        if pours:
            yield f"{count(len(pours), 'pour')} {became}: {first_few(pours)}."
    if lost:
        yield "An older copy of the log may lie in its place: look for the newer one before you log anything more."
    if declared:
        yield f"The study has other settings or readings than before ({declared}), so corrections are not compared."
    elif not (added or gone or altered):
        yield "The pours and readings are the same."


def _aim_changes(before, now):
    if others := _others(before, now, "aims"):
        yield f"Every casting is judged by the aims of today, which are not those of before ({others})."


def _others(before, now, what):
    """What the new page has and the earlier one had not, and the other way round, in words; "" where they agree."""
    new, gone = ([words for words in one[what] if words not in other[what]] for one, other in ((now, before), (before, now)))
    return "; ".join(f"{called}: {listed(words)}" for called, words in (("new", new), ("gone", gone)) if words)


def _effect_changes(study, before, now):
    effects = [(name, factor, new) for name, by_factor in now["effects"].items() for factor, new in by_factor.items()]
    moved = [(name, factor, _effect_change(before["effects"].get(name, {}).get(factor), new)) for name, factor, new in effects]
    sentences = [f"{study.factor(factor).words.capitalize()} on {study.reading(name).words}: {text}." for name, factor, text in moved if text]
    return sentences or ["No effect of a setting came out clearly different from before."]


def _effect_change(old, new):
    """How one effect changed; "" if it did not."""
    if old is None:
        return f"first pours at different values; {_effect_in_words(new)}"
    same = (old["start"], old["end"]) == (new["start"], new["end"])
    if old["told"] != new["told"]:
        other = "" if same else ", over other values than before"
        return f"{'now settled' if new['told'] else 'no longer settled'}; it was {_effect_in_words(old)}, it is {_effect_in_words(new)}{other}"
    if new["told"] and old["told"] and (old["middle"] > 0) != (new["middle"] > 0):
        return f"turned round; it was {_effect_in_words(old)}, it is {_effect_in_words(new)}"
    if same and not old["low"] <= new["middle"] <= old["high"]:
        return f"it was {_effect_in_words(old)}, it is {_effect_in_words(new)}"
    return ""


def _effect_in_words(effect):
    whole = effect["unit"] == " in 100"  # castings
    low, middle, high = (signed(round(effect[end])).removesuffix(".0") if whole else signed(effect[end]) for end in ("low", "middle", "high"))
    return f"{middle}{effect['unit']} (90 % interval {low} to {high})"


def _advice_changes(study, before, now):
    old = {one["room"]: one for one in before["advice"]}
    for one in now["advice"]:
        room = one["room"]
        where = "" if room is None else f" for a room at {show(to_unit(room, 'degC', 'room'), 'degC')}"
        if room not in old:
            yield f"New advice{where}."
            continue
        was = old[room]
        moved = [
            f"{study.factor(name).words} {study.factor(name).show(value)} instead of {study.factor(name).show(was['settings'][name])}"
            for name, value in one["settings"].items()
            if name in was["settings"] and was["settings"][name] != value
        ]
        if moved:
            yield f"Recommended{where}: {listed(moved)}."
        if abs(one["chance"] - was["chance"]) >= LEAST:
            then, today = (chance_words({"low": 0.0, "high": 0.0, **chances}) for chances in (was, one))  # early pages carry no interval
            yield f"The chance of a good casting at the recommended settings{where} is {today}; the earlier page said {then}."
        elif not moved:
            yield f"The advice{where} stands."
