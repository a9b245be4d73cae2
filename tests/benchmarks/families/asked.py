"""Why did it go wrong? A small judge: faults planted physically in hidden resins, a person's answers, the kit's verdict.

    PYTHONPATH=kit:tests/benchmarks python -m families.asked --family algebraic --family radical --seeds 2

Each resin gets a log of ordinary pours; then one faulty casting beside it for each fault, mild and severe, kept when
it misses an aim that it would not have missed without the fault; sound castings; a log that is wet throughout; and
three pours of an aged lot, logged as told. Answers come from `SAYS`, written from what a fault does and not from the kit's table, one in ten wrong.
"""

import argparse
import json
import tempfile
import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from sklearn.ensemble import RandomForestClassifier
from why_peers import features, guide

from families.faults import SEVERITIES, plant
from families.hidden import draw_hidden
from families.trust import trust
from families.world import HERE, draw_aims
from testpour.causes.cause_file import trade_causes
from testpour.causes.complaint import missed
from testpour.causes.diagnosis import why
from testpour.causes.leave_one_out import predictions
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.log_warnings import Caution
from testpour.models.fits import fit_castings
from testpour.study.study_file import read_study

WRONG = 0.1  # share of answers that are wrong
NAIL = 50  # Shore D below which a casting is soft to finger and nail, whatever was asked of it; common practice, no source
# Fault to the causes that would be a right answer.
RIGHT = {
    "under_dose": ("too_little_catalyst",), "over_dose": ("too_much_catalyst",), "wrong_scale": ("too_little_catalyst",),
    "weak_catalyst": ("old_materials",), "old_resin": ("old_materials",), "cold_room": ("cold",), "cold_night": ("cold", "cold_night"),
    "hot_room": ("too_hot",), "thin": ("too_thin",), "open_face": ("open_face",), "moisture": ("moisture",),
    "retarding_pigment": ("pigment",), "silicone_mould": ("mould", "fresh_silicone"), "poor_mixing": ("uneven_mixing",),
    "read_early": ("read_too_early",), "mistyped": ("reading_error", "wrong_entry"), "wrong_pour": ("reading_error", "wrong_entry"),
    "wrong_system": ("wrong_system", "old_materials"), "sound": ("nothing",),
}
BULK = ("under_dose", "wrong_scale", "weak_catalyst", "old_resin", "cold_room", "cold_night", "retarding_pigment", "read_early", "wrong_system")
# Question to what is found, by fault (`None`: any other): an answer's place, or places with their shares.
SAYS = {
    "where": {"open_face": 0, "silicone_mould": 1, "poor_mixing": 2, "thin": 3, "moisture": {4: 0.5, 1: 0.3, 2: 0.2},
              "mistyped": 5, "wrong_pour": 5},
    "twin": {"silicone_mould": 0, "thin": 0, "poor_mixing": {0: 0.5, 1: 0.5}, "open_face": {0: 0.4, 1: 0.6}, None: 1},
    "day": {"weak_catalyst": 1, "old_resin": 1, "wrong_system": 1, "cold_room": {0: 0.5, 1: 0.5}, "cold_night": {0: 0.4, 1: 0.6},
            "moisture": {0: 0.7, 1: 0.3}, None: 0},
    "bottle": {"weak_catalyst": 1, "old_resin": 1, "wrong_system": 1, None: {0: 0.85, 1: 0.15}},
    "felt": {"cold_room": 1, "cold_night": {0: 0.6, 1: 0.4}, "hot_room": 2, None: 0},
    "clear": {"retarding_pigment": 0, None: 1},
    "colour": {"retarding_pigment": {1: 0.75, 0: 0.25}, None: {0: 0.85, 1: 0.15}},
    "mould": {"silicone_mould": {1: 0.9, 2: 0.1}, None: {0: 0.5, 1: 0.35, 2: 0.15}},
    "dry": {"moisture": 1, None: 0},
    "later": {"read_early": 0, "cold_night": {0: 0.6, 1: 0.4}, "cold_room": {0: 0.6, 1: 0.4}, None: {0: 0.3, 1: 0.7}},
    "again": {"mistyped": 1, "wrong_pour": 1, "read_early": {0: 0.3, 1: 0.7}, None: 0},
    "looks": {"moisture": {1: 0.6, 0: 0.4}, "hot_room": {4: 0.3, 2: 0.3, 0: 0.4}, "over_dose": {0: 0.5, 4: 0.3, 2: 0.2}, None: 0},
    "scrape": {"open_face": 0}, "cup": {"poor_mixing": 1}, "snap": {"over_dose": {1: 0.6, 0: 0.4}},
    "when": {"hot_room": 1, "over_dose": {1: 0.6, 3: 0.4}, None: 3},
    "measured": {"under_dose": {1: 0.6, 0: 0.4}, "over_dose": {1: 0.6, 0: 0.4}, "wrong_scale": {1: 0.5, 0: 0.5}, None: {0: 0.8, 1: 0.2}},
    "night": {"cold_night": 1, "cold_room": {1: 0.7, 0: 0.3}, None: {0: 0.85, 1: 0.15}},
    "different": {"wrong_system": {1: 0.9, 0: 0.1}, "weak_catalyst": {1: 0.5, 0: 0.5}, "old_resin": {1: 0.5, 0: 0.5},
                  "retarding_pigment": {2: 0.7, 0: 0.3}, "silicone_mould": {3: 0.7, 0: 0.3}, None: 0},
    "clock": {"read_early": {1: 0.7, 0: 0.3}, None: {0: 0.85, 1: 0.15}},
    "stirred": {"poor_mixing": 1, None: {0: 0.85, 1: 0.15}},
}
THERE_IS = {"twin": 0.5, "day": 0.8, "clear": 0.4, "later": 0.7}  # shares of castings where one can look at all


@dataclass(frozen=True)
class Asked:
    """A casting that somebody asks about: where it stands, what is truly wrong, what a person would answer."""

    family: str
    seed: int
    kind: str
    fault: str
    severity: str
    fits: object
    pour: str
    answers: dict


def drawn_settings(rng, count, room):
    """Settings of ordinary pours: DataFrame, `count` rows."""
    return pd.DataFrame({
        "catalyst": rng.uniform(1.0, 2.6, count).round(2), "pigment": rng.choice([0, 0.5, 1.0, 2.0, 3.0], count),
        "thickness": rng.uniform(6, 18, count).round(0), "cover": (rng.random(count) < 0.8) * 1.0,
        "room_temperature": float(room),
    })


def drawn_resin(family, seed):
    """A hidden resin, its study with aims that suit it, and settings that meet them best."""
    hidden, rng = draw_hidden(family, "ordinary", 7000 + seed), np.random.default_rng([seed, 71])
    table = pd.concat([drawn_settings(rng, 40, room) for room in (17, 20, 23)], ignore_index=True)
    nominal, study = hidden.ideal(table), _study()
    aims = max((draw_aims(rng, nominal) for _ in range(12)), key=lambda a: np.sort(_meets(hidden, nominal, a))[-12])
    good = table.iloc[np.argsort(-_meets(hidden, nominal, aims))[:12]].reset_index(drop=True)
    known = {aim.reading: aim for aim in aims}
    stated = tuple(replace(a, at_least=known[a.reading].at_least, at_most=known[a.reading].at_most) for a in study.aims)
    readings = tuple(replace(r, ages=r.ages and (24.0,)) for r in study.readings)
    return hidden, replace(study, aims=stated, readings=readings, folder=Path(tempfile.mkdtemp())), good


def _study():
    """The study of the hidden resins, with lots of catalyst."""
    path = Path(tempfile.mkdtemp()) / "study.toml"
    path.write_text((HERE / "study.toml").read_text("utf-8").replace("cover = {}", "cover = {}\ncatalyst_lot = {}"), "utf-8")
    return read_study(path)


def _meets(hidden, nominal, aims):
    return np.prod([hidden._met(aim, nominal[aim.reading]) for aim in aims], axis=0)


def logged(study, sessions):
    """The castings of some sessions, each a list of entries."""
    book = Logbook(replace(study, folder=Path(tempfile.mkdtemp())))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)  # nobody can correct what is invented
        for entries in sessions:
            book.add_all(entries)
    castings = book.castings()
    book.close()
    return castings


def named(table, prefix):
    return table.set_axis([f"{prefix}-{i}" for i in range(len(table))])


def answered(castings, pour, fault, rng):
    """What a person would answer to every question that can be answered about this casting, as it really is."""
    read = castings.readings[castings.readings["pour"] == pour].groupby("reading")["low"].mean()
    tacky, soft = read.get("tack", 0) > 0.9, read.get("hardness", 100) < NAIL
    bulk = fault in BULK
    usual = {
        "where": 4 if tacky or soft else 5, "scrape": int(soft and bulk), "snap": 2 if soft and bulk else 0,
        "cup": 2 if bulk and soft and fault != "retarding_pigment" else 0,
    }
    out = {}
    for name, entry in trade_causes()["questions"].items():
        known = SAYS.get(name, {})
        place = known.get(fault, known.get(None, usual.get(name, 0)))
        place = place if isinstance(place, int) else int(rng.choice(list(place), p=list(place.values())))
        if rng.random() < WRONG and name != "looks":
            place = int(rng.integers(len(entry["answers"])))
        if rng.random() < THERE_IS.get(name, 1.0):
            out[name] = entry["answers"][min(place, len(entry["answers"]) - 1)]
    return out


def cases(family, seed):
    """Every casting asked about of one resin."""
    hidden, study, good = drawn_resin(family, seed)
    rng = np.random.default_rng([seed, 72])
    sessions = [hidden.pour(named(_ordinary(rng, good, room), f"s{room}"), f"S{room}") for room in (18, 20, 22)]
    castings = logged(study, sessions)
    fits = fit_castings(castings)
    for fault in (*RIGHT, "sound", "sound"):
        for severity in SEVERITIES if fault != "sound" else ("mild",):
            found = _one(hidden, study, good, sessions, fault, severity, rng)
            if found:
                grown, pour = found
                yield Asked(family, seed, "one", fault, severity, replace(fits, castings=grown), pour, answered(grown, pour, fault, rng))
    for fault, kind, lot in (("weak_catalyst", "lot", "new"), ("old_resin", "lot", "new"), ("under_dose", "all", None), ("cold_night", "all", None)):
        yield from _several(family, seed, hidden, study, good, sessions, fault, kind, lot, rng)


def _ordinary(rng, good, room):
    """Four pours of a session: two near what suits the resin, two anywhere usual."""
    near = good.iloc[rng.integers(0, len(good), 2)]
    return pd.concat([near, drawn_settings(rng, 2, room)], ignore_index=True).assign(room_temperature=float(room))


def _one(hidden, study, good, sessions, fault, severity, rng):
    """One more casting with the fault in the log; None where nobody would ask about it."""
    for _ in range(8):
        name = f"X-{fault}-{severity}-{rng.integers(10**6)}"
        plan = good.iloc[[rng.integers(len(good))]].set_axis([name])
        plan = plan.assign(cover=1.0, room_temperature=float(rng.uniform(18, 22)).__round__(1))
        if fault == "retarding_pigment":  # a pigment that retards is one that was logged
            plan = plan.assign(pigment=plan["pigment"].clip(lower=0.5))
        bad = hidden if fault == "sound" else plant(hidden, fault, severity, rng)
        entry = bad.pour(plan, f"day {name}")
        grown = added(_castings(study, sessions), study, entry)
        found = {m.aim.reading for m in missed(grown, name)}
        if fault == "sound" and not found or fault != "sound" and found - _without(hidden, study, sessions, plan, name):
            return grown, name
    return None


def _without(hidden, study, sessions, plan, name):
    """Aims that the same casting, with the same scatter, misses without the fault: no fault is behind those."""
    sound = added(_castings(study, sessions), study, hidden.pour(plan, f"day {name}"))
    return {m.aim.reading for m in missed(sound, name)}


_KEPT = {}


def _castings(study, sessions):
    """The castings of the log, made once for a study."""
    key = id(sessions)
    if key not in _KEPT:
        _KEPT.clear()
        _KEPT[key] = logged(study, sessions)
    return _KEPT[key]


def added(castings, study, entries):
    """The castings with more pours, as the log would hold them."""
    more = logged(study, [entries])
    pours = pd.concat([castings.pours, more.pours])
    return Castings(study, pours, pd.concat([castings.readings, more.readings], ignore_index=True))


def _several(family, seed, hidden, study, good, sessions, fault, kind, lot, rng):
    """The last of three pours of an aged lot, or of a log in which every pour has the fault; only one that misses."""
    bad = plant(hidden, fault, "severe", rng)
    plan = named(good.iloc[rng.integers(0, len(good), 4 if kind == "all" else 3)].assign(cover=1.0), f"{kind}-{fault}")
    entries = bad.pour(plan, f"day {kind} {fault}")
    if kind == "lot":
        entries = [{**e, "settings": {**e["settings"], "catalyst_lot": "new"}} for e in entries]
        old = [[{**e, "settings": {**e["settings"], "catalyst_lot": "old"}} for e in each] for each in sessions]
        castings = logged(study, [*old, entries])
    else:
        castings = logged(study, [entries])
    miss = [name for name in plan.index if missed(castings, name)]
    if len(miss) >= 2:
        fits, pour = fit_castings(castings), miss[-1]
        told = answered(castings, pour, fault, rng)
        if kind == "all":  # the other mixes of the log failed too, so there is no good one to compare with
            told |= {"different": "nothing"} | ({"day": "as bad as this one"} if "day" in told else {})
        yield Asked(family, seed, kind, fault, "severe", fits, pour, told)


def told(case, most=3):
    """The answers before and after at most `most` questions; what is plain to see is known from the start."""
    looks = case.answers["looks"]
    answer = before = why(case.fits, case.pour, {"looks": looks} if looks != "nothing else" else None)
    said = 0
    while said < most and (question := answer.ask()):
        name = question.question.name
        answer = answer.observe(**{name: case.answers[name]}) if name in case.answers else answer.skip()
        said += name in case.answers
    return before, answer, said


def judged(case, most=3, forest=None):
    """One casting judged by `why`, by a trade guide's list and, where one is given, by a forest: a row of plain values."""
    before, answer, said = told(case, most)
    right = ("weak_catalyst", *RIGHT[case.fault], "wrong_system") if case.kind == "lot" else RIGHT[case.fault]
    order = list(answer.chances.index)
    known = {**answer.observed, "looks": case.answers["looks"]}
    judge = case, known, answer.case.seen, len(answer.missed)
    row = {
        "family": case.family, "seed": case.seed, "kind": case.kind, "fault": case.fault, "severity": case.severity, "pour": case.pour,
        "asked": said, "unasked": before.first in right, "first": order[0] in right, "two": bool(set(order[:2]) & set(right)),
        "said": order[0], "chance": round(float(answer.chances.iloc[0]), 3), "list": guide(*judge) in right,
        "ranked": {name: round(float(chance), 4) for name, chance in answer.chances.items()}, "answers": known,
    }
    return row | ({"forest": forest.predict([features(*judge)])[0] in right} if forest else {})


def taught(castings):
    """A forest taught on castings of other makes, what is plain to see and a quarter of the other answers told.

    Parameters
    ----------
    castings : iterable of Asked

    Returns
    -------
    RandomForestClassifier
        It says the cause that comes first among the right ones.
    """
    rng, rows, true = np.random.default_rng(1), [], []
    for case in castings:
        known = {q: a for q, a in case.answers.items() if q == "looks" or rng.random() < 0.25}
        rows.append(features(case, known, predictions(case.fits, case.pour), len(missed(case.fits.castings, case.pour))))
        true.append(RIGHT[case.fault][0])
    return RandomForestClassifier(300, random_state=0).fit(rows, true)


def summary(rows):
    """The numbers of a run in lines of text."""
    table = pd.DataFrame(rows)
    table["part"] = np.where(table["kind"] != "one", table["kind"], np.where(table["fault"] == "sound", "sound", table["severity"]))
    shown = ["unasked", "first", "two", "list", *(["forest"] if "forest" in table else [])]
    parts = table.groupby("part")[shown].mean().round(2).assign(castings=table.groupby("part").size())
    majority = table["fault"].map(lambda fault: RIGHT[fault][0]).value_counts(normalize=True).iloc[0]
    by_fault = table[table["kind"] == "one"].groupby("fault")
    faults = by_fault.agg(first=("first", "mean"), castings=("first", "size"), said=("said", lambda s: dict(s.value_counts().head(3))))
    return f"{parts.to_string()}\nmajority {majority:.2f}\n{faults.round(2).to_string()}\n{trust(table['chance'], table['first']).sentence()}"


def main(given=None):
    parser = argparse.ArgumentParser(prog="families.asked", description=__doc__.splitlines()[0])
    parser.add_argument("--family", action="append", required=True)
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--taught", action="append", default=[], help="family whose castings of seed 100 teach the forest; none: no forest")
    parser.add_argument("--out", type=Path, help="file that the lines are added to")
    asked = parser.parse_args(given)
    rows, forest = [], taught(case for family in asked.taught for case in cases(family, 100)) if asked.taught else None
    for family in asked.family:
        for seed in range(asked.start, asked.start + asked.seeds):
            rows += [judged(case, forest=forest) for case in cases(family, seed)]
    if asked.out:
        asked.out.write_text("".join(json.dumps(row) + "\n" for row in rows))
    print(summary(rows))


if __name__ == "__main__":
    main()
