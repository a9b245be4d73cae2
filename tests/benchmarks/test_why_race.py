"""Planted faults: how often the true cause is named, beside a guess, a trade guide's list and a trained classifier.

The practice resin makes the castings; what goes wrong is planted in it, mild or severe, one fault or two. What a
person would answer is drawn from `ANSWERS` below, written from what each fault does to a casting and not from the
table of causes, and one answer in ten is wrong. The table was written on other seeds than those judged here.
"""

import os
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from families.trust import trust
from sklearn.ensemble import RandomForestClassifier
from why_peers import QUESTIONS, features, guide

from testpour.causes.complaint import missed
from testpour.causes.diagnosis import why
from testpour.causes.leave_one_out import predictions
from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.practice.practice import practice_resin
from testpour.study.study_file import read_study

pytestmark = pytest.mark.filterwarnings("ignore::testpour.logbook.log_warnings.Caution")  # nobody can correct what is invented

STUDY = Path(__file__).parents[2] / "datasets" / "demo-study" / "study.toml"
HEALTHY = 4  # castings without a fault in each resin's log
WRONG = 0.1  # share of answers that are wrong
RESINS = range(int(os.environ.get("TESTPOUR_RESINS", "6")))  # seeds judged, about a minute each
TRAINED = 9000  # where the seeds of training start; the table was developed on 500 to 507

# What goes wrong: (mild, severe) ranges of what is changed unseen (`times`, `plus` on what is really in the
# mould; steps of tack, Shore D, opacity, defects, share of the temperature rise) or openly (`set`).
FAULTS = {
    "too_little_catalyst": [
        {"times": {"catalyst": ((0.55, 0.7), (0.3, 0.5))}},
        {"set": {"catalyst": ((0.75, 0.9), (0.4, 0.6))}},
    ],
    "too_much_catalyst": [{"times": {"catalyst": ((1.6, 2.0), (2.3, 3.2))}}],
    "cold": [
        {"plus": {"room_temperature": ((-7, -5), (-13, -9))}},
        {"set": {"room_temperature": ((11.5, 13), (7, 10))}},
    ],
    "too_thin": [{"times": {"thickness": ((0.45, 0.6), (0.2, 0.35))}, "tack": ((0.6, 1.0), (1.3, 2.0))}],
    "open_face": [
        {"tack": ((1.0, 1.5), (1.8, 2.5))},
        {"set": {"cover": ((0.0, 0.0), (0.0, 0.0))}},
    ],
    "mould": [{"tack": ((0.8, 1.2), (1.5, 2.4)), "hardness": ((-4, -2), (-9, -5)), "rise": ((0.75, 0.9), (0.5, 0.7))}],
    "uneven_mixing": [{"tack": ((0.7, 1.2), (1.4, 2.2)), "hardness": ((-4, -1), (-8, -4)), "uneven": ((3, 5), (6, 10))}],
    # Carbon black, some metal and phenolic pigments lengthen the gel or inhibit, some others shorten it: common practice, no source.
    "pigment": [{"tack": ((0.8, 1.3), (1.6, 2.6)), "hardness": ((-5, -3), (-11, -6)), "gel": ((0.85, 1.2), (0.7, 1.5))},
                {"tack": ((0.8, 1.3), (1.6, 2.6)), "hardness": ((-5, -3), (-11, -6)), "gel": ((1.15, 1.5), (1.4, 2.2))}],
    "moisture": [
        {"tack": ((0.7, 1.2), (1.4, 2.2)), "hardness": ((-4, -2), (-9, -5)), "opacity": ((0.4, 0.8), (1.0, 1.6)),
         "rise": ((0.85, 1.0), (0.75, 0.9)), "gel": ((0.95, 1.15), (0.9, 1.25))}
    ],
    "old_materials": [{"times": {"catalyst": ((0.55, 0.7), (0.3, 0.5))}, "lot": True}],
    "read_too_early": [{"age": ((8, 8), (4, 4)), "tack": ((0.7, 1.1), (1.4, 2.2)), "hardness": ((-5, -3), (-10, -6))}],
    "reading_error": [{"one": ((0.5, 0.5), (1.0, 1.0))}],
    "too_hot": [{"plus": {"room_temperature": ((6, 8), (10, 14))}, "defects": ((0.8, 1.2), (1.6, 2.4))}],
    "trapped_air": [{"defects": ((0.9, 1.3), (1.7, 2.5))}],
    "colour_not_dispersed": [{"defects": ((0.9, 1.3), (1.7, 2.5))}],
    "light": [{}],
}
PAIRS = [
    ("too_little_catalyst", "cold"), ("too_thin", "cold"), ("old_materials", "cold"), ("open_face", "too_little_catalyst"),
    ("too_little_catalyst", "uneven_mixing"), ("moisture", "mould"), ("open_face", "trapped_air"), ("too_much_catalyst", "too_hot"),
]

# What a person finds who looks, fault by fault: the answer, or answers with their shares. `bulk` faults leave
# the whole casting soft or only slower, as its own readings say.
BULK = ("too_little_catalyst", "cold", "pigment", "old_materials", "read_too_early")
ANSWERS = {
    "where": {"open_face": 0, "mould": 1, "uneven_mixing": 2, "too_thin": 3, "moisture": {4: 0.5, 1: 0.3, 2: 0.2}},
    "twin": {"mould": 0, "too_thin": 0, "uneven_mixing": {0: 0.5, 1: 0.5}, "moisture": {0: 0.5, 1: 0.5},
             "open_face": {0: 0.4, 1: 0.6}, None: 1},
    "day": {"old_materials": 1, "cold": {0: 0.5, 1: 0.5}, "moisture": {0: 0.7, 1: 0.3}, None: 0},
    "bottle": {"old_materials": 1, None: {0: 0.85, 1: 0.15}},
    "felt": {"cold": 1, "too_hot": 2, "mould": {0: 0.6, 1: 0.4}, None: 0},
    "clear": {"pigment": 0, None: 1},
    "colour": {"pigment": {1: 0.75, 0: 0.25}, None: {0: 0.85, 1: 0.15}},
    "mould": {"mould": {1: 0.7, 2: 0.3}, None: {0: 0.5, 1: 0.35, 2: 0.15}},
    "dry": {"moisture": 1, None: 0},
    "later": {"read_too_early": 0, "cold": {0: 0.6, 1: 0.4}, None: {0: 0.3, 1: 0.7}},
    "again": {"reading_error": 1, None: 0},
    "looks": {"moisture": {1: 0.75, 0: 0.25}, "light": 2, "trapped_air": 3, "colour_not_dispersed": 5,
              "too_hot": {4: 0.6, 2: 0.2, 0: 0.2}, "too_much_catalyst": {0: 0.5, 4: 0.3, 2: 0.2}, None: 0},
    "scrape": {"open_face": 0}, "cup": {"uneven_mixing": 1}, "snap": {"too_much_catalyst": {1: 0.6, 0: 0.4}},
    "when": {"light": 2, "trapped_air": 0, "too_hot": 1, "too_much_catalyst": {1: 0.6, 3: 0.4}, None: 3},
    "measured": {"too_little_catalyst": {1: 0.6, 0: 0.4}, "too_much_catalyst": {1: 0.6, 0: 0.4}, None: {0: 0.8, 1: 0.2}},
    "stirred": {"uneven_mixing": 1, None: {0: 0.85, 1: 0.15}}, "clock": {"read_too_early": {1: 0.7, 0: 0.3}, None: {0: 0.85, 1: 0.15}},
    "night": {"cold": {1: 0.7, 0: 0.3}, None: {0: 0.85, 1: 0.15}},
    "different": {"old_materials": {1: 0.5, 0: 0.5}, "pigment": {2: 0.7, 0: 0.3}, "mould": {3: 0.7, 0: 0.3}, None: 0},
}
THERE_IS = {"twin": 0.5, "day": 0.8, "clear": 0.4, "later": 0.7}  # shares of castings where one can look at all


class Faulty:
    """A practice resin's truth in which something goes wrong."""

    def __init__(self, truth, fault):
        self.truth, self.fault = truth, fault

    def __getattr__(self, name):
        return getattr(self.truth, name)

    def ideal(self, table):
        made, fault = table.copy(), self.fault
        for name, times in fault.get("times", {}).items():
            made[name] = made[name] * times
        for name, plus in fault.get("plus", {}).items():
            made[name] = made[name] + plus
        out = self.truth.ideal(made)
        room = made["room_temperature"]
        out["peak_temperature"] = room + (out["peak_temperature"] - room) * fault.get("rise", 1.0)
        for name in ("tack", "hardness", "opacity", "defects"):
            out[name] = out[name] + fault.get(name, 0.0)
        gel = fault.get("gel", 1.0)
        return out.assign(gel_time=out["gel_time"] * gel, time_to_peak=out["time_to_peak"] * gel)


@dataclass(frozen=True)
class Planted:
    """One casting with its faults, what a person would answer about it, and the fits of the log it belongs to."""

    causes: tuple
    severe: bool
    fits: object
    pour: str
    answers: dict

    @property
    def true(self):
        return "+".join(self.causes) or "nothing"



def ordinary_log(study, seed, rng):
    """A log of 8 to 16 ordinary pours in two sessions, and its resin."""
    resin, book = practice_resin(study, seed), Logbook(replace(study, folder=Path(tempfile.mkdtemp())))
    for session in ("S1", "S2"):
        count = rng.integers(4, 9)
        plan = pd.DataFrame(
            {"catalyst": rng.uniform(1.1, 2.4, count), "pigment": rng.uniform(0.2, 3, count),
             "thickness": rng.uniform(5, 18, count), "cover": (rng.random(count) < 0.7) * 1.0},
            [f"{session}-{i}" for i in range(count)],
        ).round(2)
        book.add_all(resin.pour(plan, session, room=float(rng.uniform(17, 23))))
    castings = book.castings()
    book.close()
    return resin, castings


def drawn(causes, severe, rng):
    """The faults with their amounts drawn, put together into one."""
    def pick(ends):
        return float(rng.uniform(*ends[severe]))

    out = {}
    for fault in (FAULTS[cause][rng.integers(len(FAULTS[cause]))] for cause in causes):
        for key, value in fault.items():
            if isinstance(value, dict):
                out[key] = out.get(key, {}) | {name: pick(ends) for name, ends in value.items()}
            elif key in ("rise", "gel"):
                out[key] = out.get(key, 1.0) * pick(value)
            else:
                out[key] = value if value is True else out.get(key, 0.0) + pick(value)
    return out


def plant(resin, castings, causes, severe, name, rng):
    """One more casting in the log, with the faults; None where nobody would ask about it."""
    fault = drawn(causes, severe, rng)
    plan = {"catalyst": rng.uniform(1.5, 2.1), "pigment": rng.uniform(0.5, 2), "thickness": rng.uniform(8, 14),
            "cover": 1.0, "room_temperature": rng.uniform(18, 22)} | fault.get("set", {})
    plan = pd.DataFrame([plan], index=[name]).round(2)
    entry = replace(resin, truth=Faulty(resin.truth, fault)).pour(plan, f"day {name}")[0]
    entry["settings"]["catalyst_lot"] = "new" if fault.get("lot") and rng.random() < 0.7 else "usual"
    entry["readings"] = as_it_is(entry["readings"], fault, rng)
    answers = answered(entry["readings"], causes, rng)
    entry["readings"] = misread(entry["readings"], fault, rng)
    grown = added(castings, entry)
    asked_about = missed(grown, name) or answers["looks"] != "nothing else"
    return (grown, answers) if asked_about or not causes else None


def as_it_is(readings, fault, rng):
    """The readings of a casting that is uneven, or read early."""
    if "age" in fault:
        readings = [{**r, "age": fault["age"]} if r["age"] else r for r in readings if r["age"] in (None, 24.0)]
    if "uneven" in fault:
        readings = [
            {**r, "value": float(np.clip(np.round(r["value"] + rng.normal(0, fault["uneven"])), 0, 100))}
            if r["reading"] == "hardness" else r for r in readings
        ]
    return readings


def misread(readings, fault, rng):
    """The readings as they come into the log, where one of them may be wrong."""
    if "one" not in fault:
        return readings
    name, way = rng.choice(["gel_time", "tack", "hardness", "peak_temperature"]), fault["one"]
    return [{**r, **_wrong(r, name, way)} for r in readings]


def _wrong(reading, name, way):
    if reading["reading"] != name or reading["age"] not in (None, 24.0):
        return {}
    if name == "gel_time":
        return {"between": tuple(np.array(reading["between"]) * (1.6 + way))} if "between" in reading else {}
    change = {"tack": 1 + 2 * way, "hardness": -15 * (1 + way), "peak_temperature": 40 * (1 + way)}[name]
    return {"value": float(np.clip(reading["value"] + change, 0, 3 if name == "tack" else 200))}


def added(castings, entry):
    """The castings with one more pour, its readings as the log would hold them."""
    row = {**castings.pours.iloc[0].to_dict(), "resin_lot": "", **entry["settings"], "session": entry["session"], "note": ""}
    pours = pd.concat([castings.pours.assign(catalyst_lot="usual"), pd.DataFrame([row], index=[entry["pour"]])])
    rows = []
    for r in entry["readings"]:
        low, high = r.get("between", (r.get("not_yet", r.get("value")), np.inf if "not_yet" in r else r.get("value")))
        rows.append({"pour": entry["pour"], "reading": r["reading"], "low": low, "high": high, "age": r["age"] or np.nan,
                     "known": "between" if "between" in r else "not yet" if "not_yet" in r else "exact"})
    blank = {"specimen": "", "by": "", "note": "", "entry": 0}
    readings = pd.concat([castings.readings, pd.DataFrame(rows).assign(**blank)], ignore_index=True)
    return Castings(castings.study, pours[castings.pours.columns], readings[castings.readings.columns])


def answered(readings, causes, rng):
    """What a person would answer to every question that can be answered about this casting, as it really is."""
    found = pd.DataFrame([r for r in readings if "value" in r]).groupby("reading")["value"].mean()
    tacky, soft = found["tack"] > 0.9, found["hardness"] < 72
    bulk = any(cause in BULK for cause in causes)
    usual = {
        "where": 4 if tacky or soft else 5, "scrape": int(soft and bulk),
        "cup": 2 if bulk and soft and "pigment" not in causes else 0, "snap": 2 if soft else 0,
    }
    out = {}
    for name, known in ANSWERS.items():
        said = [known[cause] for cause in causes if cause in known]
        place = choice(said[rng.integers(len(said))] if said else usual.get(name, known.get(None, 0)), rng)
        if rng.random() < WRONG and name != "looks":
            place = rng.integers(len(QUESTIONS[name]))
        if rng.random() < THERE_IS.get(name, 1.0):
            out[name] = QUESTIONS[name][place]
    return out


def choice(known, rng):
    return known if isinstance(known, int) else int(rng.choice(list(known), p=list(known.values())))


def planted(resins, start=0, wanted=None):
    """Castings with every fault and pair (or those `wanted`), mild and severe, and sound ones, in each resin's log."""
    study = read_study(STUDY)
    wanted = [*((cause,) for cause in FAULTS), *PAIRS] if wanted is None else wanted
    todo = [(causes, severe) for causes in wanted for severe in (False, True)] + [((), False)] * HEALTHY
    for seed in resins:
        rng = np.random.default_rng([start, seed, 41])
        resin, castings = ordinary_log(study, start + seed, rng)
        fits = fit_castings(castings)
        for number, (causes, severe) in enumerate(todo):
            made = next(filter(None, (plant(resin, castings, causes, severe, f"X{number}-{t}", rng) for t in range(15))), None)
            if made:
                grown, answers = made
                yield Planted(causes, severe, replace(fits, castings=grown), grown.pours.index[-1], answers)


def asked(case, most=3):
    """Answers before and after at most `most` questions; what is plain to see is known from the start."""
    looks = case.answers["looks"]
    answer = before = why(case.fits, case.pour, {"looks": looks} if looks != "nothing else" else None)
    told = 0
    while told < most and (question := answer.ask()):
        name = question.question.name
        answer = answer.observe(**{name: case.answers[name]}) if name in case.answers else answer.skip()
        told += name in case.answers
    return before, answer


def judged(case, forest=None):
    """One casting judged by all: a row of the race."""
    before, after = asked(case)
    known = {**after.observed, "looks": case.answers["looks"]}
    judge = case, known, after.case.seen, len(after.missed)
    row = {
        "true": case.true, "severe": case.severe, "good": not after.missed, "asked": len(after.observed),
        "before": before.first, **dict(zip(("first", "second", "third"), after.chances.index, strict=False)),
        "chance": after.chances.iloc[0], "guide": guide(*judge),
    }
    return row | ({"forest": forest.predict([features(*judge)])[0]} if forest else {})


def trained(resins):
    """A forest taught on castings of other resins, as many as are judged, a quarter of the questions answered."""
    rng, rows, true = np.random.default_rng(1), [], []
    for case in planted(resins, TRAINED, [(cause,) for cause in FAULTS]):
        told = {q: a for q, a in case.answers.items() if q == "looks" or rng.random() < 0.25}
        rows.append(features(case, told, predictions(case.fits, case.pour), len(missed(case.fits.castings, case.pour))))
        true.append(case.true)
    return RandomForestClassifier(500, random_state=0).fit(rows, true)


@pytest.fixture(scope="module")
def all_judged():
    """Every planted casting judged by all four: one row each."""
    forest = trained(RESINS)
    return pd.DataFrame([judged(case, forest) for case in planted(RESINS)])


@pytest.fixture(scope="module")
def race(all_judged):
    """Castings with one fault or none."""
    return all_judged[~all_judged["true"].str.contains("+", regex=False)]


@pytest.fixture(scope="module")
def pairs(all_judged):
    """Castings with two faults."""
    return all_judged[all_judged["true"].str.contains("+", regex=False)]


def share(table, column="first"):
    return float((table[column] == table["true"]).mean())


def faulty(table, severe):
    return table[(table["true"] != "nothing") & (table["severe"] == severe)]


@pytest.mark.slow
def test_the_true_cause_comes_first(race):
    # Floors under what was measured since the table of causes has to serve resins of other makes too: 0.89 in two over
    # twelve resins (171 of 192, standard error 0.02) where it had been 0.92, and 0.95 while these practice resins alone were looked at.
    for severe, first, two in ((True, 0.80, 0.87), (False, 0.60, 0.85)):
        part = faulty(race, severe)
        in_two = (part["first"] == part["true"]) | (part["second"] == part["true"])
        print(f"\nsevere={severe}: {len(part)} castings, first {share(part):.3f}, in two {in_two.mean():.3f}, "
              f"unasked {share(part, 'before'):.3f}")
        assert share(part) >= first and in_two.mean() >= two


@pytest.mark.slow
def test_of_two_faults_one_comes_first_and_both_are_named(pairs):
    # One of them first: as often as is asked of a single fault. Both named: floors under what was measured, 0.65 and
    # 0.62 of 48 each (standard error 0.07); 0.60 and 0.69 while a model's remainder was believed twice as large.
    for severe, either, both in ((True, 0.80, 0.60), (False, 0.60, 0.58)):
        part = pairs[pairs["severe"] == severe]
        true = [set(name.split("+")) for name in part["true"]]
        one = np.array([f in t for f, t in zip(part["first"], true, strict=True)])
        both_named = np.array([t <= set(n) for t, n in zip(true, part[["first", "second", "third"]].to_numpy(), strict=True)])
        print(f"\npairs, severe={severe}: {len(part)}, one of them first {one.mean():.3f}, both in three {both_named.mean():.3f}")
        print(pd.DataFrame({"one": one, "both": both_named}).groupby(part["true"].to_numpy()).mean().round(2).to_string())
        assert one.mean() >= either and both_named.mean() >= both


@pytest.mark.slow
def test_three_questions_are_worth_ten_points(race):
    part = race[race["true"] != "nothing"]
    print(f"\nbefore {share(part, 'before'):.3f}, after {share(part):.3f}, asked {part['asked'].mean():.1f}")
    assert part["asked"].max() <= 4  # what is plain to see, and three
    assert share(part) >= share(part, "before") + 0.10


@pytest.mark.slow
def test_the_chances_are_calibrated(race):
    trusted = trust(race["chance"], race["first"] == race["true"])
    print(f"\n{trusted.sentence()}\n{trusted.table.round(2).to_string()}")
    assert trusted.error < 0.08


@pytest.mark.slow
def test_a_healthy_casting_is_called_healthy(race):
    """Of castings without a fault that miss no aim; one that misses an aim has something to explain."""
    part = race[(race["true"] == "nothing") & race["good"]]
    print(f"\nhealthy: {len(part)}, unasked {share(part, 'before'):.3f}, asked {share(part):.3f}")
    assert share(part, "before") >= 0.95 and share(part) >= 0.95


@pytest.mark.slow
def test_side_by_side(race):
    part = race[race["true"] != "nothing"]
    majority = part["true"].value_counts(normalize=True).iloc[0]
    peers = {"majority": majority, "guide": share(part, "guide"), "forest": share(part, "forest"), "why": share(part)}
    print("\n" + ", ".join(f"{name} {value:.3f}" for name, value in peers.items()))
    each = pd.DataFrame({"why": part["first"] == part["true"], "forest": part["forest"] == part["true"]})
    print(each.groupby(part["true"]).mean().round(2).to_string())
    # A forest that has seen hundreds of castings of the very generator that judges leads by a little: over thirty
    # resins 0.930 beside our 0.901, guide 0.703. A workshop has no such castings; what is held is how close we stay.
    assert peers["why"] > peers["guide"] + 0.10 > peers["majority"] and peers["why"] > peers["forest"] - 0.06
