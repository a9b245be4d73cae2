"""A world of the race: a hidden resin with aims drawn to suit it, its log, and the truth as judge.

Of three worlds played one is hopeless: an aim is moved until no setting of the grid meets it. Without such worlds
whoever states chances too high looks better than they are.
"""

import hashlib
import os
import tempfile
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from families.bench import READINGS
from families.hidden import CHOSEN, draw_hidden, grid
from testpour.logbook.castings import Castings
from testpour.study.study_file import read_study

HERE = Path(__file__).parent
ROOMS, DEPTHS = (17.0, 23.0), (7.0, 15.0)
CONTEXTS = tuple((room, depth) for room in ROOMS for depth in DEPTHS)
COARSE = {"doses": np.arange(0.5, 4.01, 0.5), "pigments": (0.0, 0.5, 1.0, 2.0, 4.0, 6.0)}  # for resins slow to cast
HOPELESS = 0.3  # a context whose best chance is lower is not scored: no advice helps there
UNMET = 0.1  # chance that no setting of a hopeless world exceeds for the aim in the way
# How an aim is moved out of reach: which ends, by how much (a ratio for gel time), and how far at most. Any peak can be
# kept down by little catalyst in a thin casting.
MOVES = {"gel_time": (("at_least", "at_most"), 1.15, 900.0), "hardness": (("at_least",), 2.0, 99.0)}


@dataclass(frozen=True)
class Aim:
    """What a good casting must meet in one reading, for the judge; the study states the same to the players."""

    reading: str
    at_least: float | None = None
    at_most: float | None = None
    age: float | None = None


def draw_aims(rng, nominal):
    """Aims that suit a resin: within reach somewhere, not everywhere.

    Parameters
    ----------
    rng : Generator
    nominal : dict
        Average readings over the grid.
    """
    gel = np.exp(np.quantile(nominal["gel_time"], rng.uniform(0.25, 0.65))) * rng.uniform(0.5, 0.8)
    low = max(round(gel), 2)
    window = (float(low), float(round(low * rng.uniform(2.2, 3.5))))
    peak = 5 * round(np.clip(np.quantile(nominal["peak_temperature"], rng.uniform(0.55, 0.9)), 60, 140) / 5)
    opacity = [{"at_least": 1.0}, {"at_least": 2.0}, {"at_most": 1.0}, {"at_least": 1.0, "at_most": 2.0}][rng.integers(4)]
    return (
        Aim("gel_time", *window),
        Aim("tack", at_most=1.0, age=24.0),
        Aim("hardness", at_least=float(round(np.quantile(nominal["hardness"], rng.uniform(0.3, 0.65)))), age=24.0),
        Aim("peak_temperature", at_most=float(peak)),
        Aim("opacity", **opacity, age=24.0),
    )


def out_of_reach(aims, name, chance):
    """The aims with that of one reading moved until no setting meets it; None where it cannot be.

    Parameters
    ----------
    aims : tuple of Aim
    name : str
        Of the reading, one of `MOVES`.
    chance : callable
        ``aim -> array`` of the chances of meeting it, over the settings.
    """
    ends, step, last = MOVES[name]
    place = next(i for i, aim in enumerate(aims) if aim.reading == name)
    aim = aims[place]
    while chance(aim).max() > UNMET:
        moved = {end: getattr(aim, end) * step if name == "gel_time" else getattr(aim, end) + step for end in ends}
        if moved[ends[-1]] > last:
            return None
        aim = replace(aim, **{end: float(round(value)) for end, value in moved.items()})
    return *aims[:place], aim, *aims[place + 1 :]


def whole_grid(family):
    """Every setting of every context, one table."""
    fine = COARSE if family == "slab" else {}
    return pd.concat([grid(room, depth, **fine) for room, depth in CONTEXTS], ignore_index=True)


class World:
    """A hidden resin with its log.

    Parameters
    ----------
    family, kind : str
    seed : int
    hopeless : bool
        Whether an aim is beyond every setting; `in_the_way` is then its reading, else None.
    """

    def __init__(self, family, kind, seed, hopeless=False):
        self.family, self.kind, self.seed, self.hopeless, self.in_the_way = family, kind, seed, hopeless, None
        self.points, self.truth, place = whole_grid(family), None, 0
        while self.truth is None:
            self.hidden, self.aims, self.truth = self._drawn(seed + 100000 * place)
            place += 1
        study = read_study(HERE / "study.toml")
        known = {aim.reading: aim for aim in self.aims}
        stated = tuple(replace(aim, at_least=known[aim.reading].at_least, at_most=known[aim.reading].at_most) for aim in study.aims)
        readings = tuple(replace(r, ages=r.ages and (24.0,)) for r in study.readings)
        self.study = replace(study, aims=stated, readings=readings)
        where = self.points[["room_temperature", "thickness"]].apply(tuple, axis=1)
        self.best = {context: float(self.truth[(where == context).to_numpy()].max()) for context in CONTEXTS}
        self.clear()

    def clear(self):
        """Begin the log anew; the same world for the next player."""
        self.rows, self.reads, self.made, self.seen = [], [], [], []

    def _drawn(self, seed):
        hidden = draw_hidden(self.family, self.kind, seed)
        rng = np.random.default_rng([seed, 17])
        ways = hidden.bench.made(self.points)
        each = _kept(hidden, lambda: hidden._ideals(ways, 24.0))
        nominal = each[len(each) // 2]
        weights = [weight for weight, _ in ways]
        place = self.points.groupby(["room_temperature", "thickness"], sort=False).ngroup().to_numpy()
        for _ in range(40):
            aims = draw_aims(rng, nominal)
            met = [np.prod([hidden._met(aim, ideals[aim.reading]) for aim in aims], axis=0) for ideals in each]
            truth = np.average(met, axis=0, weights=weights)
            if self.hopeless:
                aims, truth = self._without_hope(hidden, rng, aims, each, weights)
                return hidden, aims, truth
            best = np.array([truth[place == context].max() for context in range(len(CONTEXTS))])
            if (best >= 0.6).sum() >= 3 and truth.mean() <= 0.3:
                return hidden, aims, truth
        return hidden, aims, None

    def _without_hope(self, hidden, rng, aims, each, weights):
        """The aims with one out of reach, and the chance of meeting all; no chance where none can be moved so far."""

        def alone(aim):
            return np.average([hidden._met(aim, ideals[aim.reading]) for ideals in each], axis=0, weights=weights)

        for self.in_the_way in rng.permutation(list(MOVES)).tolist():
            moved = out_of_reach(aims, self.in_the_way, alone)
            if moved:
                met = [np.prod([hidden._met(aim, ideals[aim.reading]) for aim in moved], axis=0) for ideals in each]
                return moved, np.average(met, axis=0, weights=weights)
        return aims, None

    def chance(self, table):
        """True chance of a good casting at each row."""
        return self.hidden.chance(table, self.aims)

    def pour(self, points, session, room):
        """Pour settings (rows of catalyst, pigment, thickness, cover) and log what the bench reads."""
        points = np.column_stack([np.asarray(points, float), np.full(len(points), room)])
        names = [f"P{len(self.rows) + place + 1:02d}" for place in range(len(points))]
        plan = pd.DataFrame(points, columns=CHOSEN, index=names)
        for entry in self.hidden.pour(plan, session):
            self.rows.append({"pour": entry["pour"], "session": session, **entry["settings"]})
            self.reads += [{"pour": entry["pour"], **as_row(answer)} for answer in entry["readings"]]
            self.made.append([entry["settings"][name] for name in CHOSEN])
            self.seen.append(plain(entry["readings"]))

    def castings(self):
        """The log as the kit reads it."""
        return castings_of(self.study, self.rows, self.reads)

    def share(self, recommend):
        """Mean over contexts of the true chance of what `recommend(room, depth)` says over the best possible.

        Returns
        -------
        tuple
            The share, NaN where no context can be served, and the true chance in each context.
        """
        rows = pd.DataFrame([[*recommend(room, depth), room] for room, depth in CONTEXTS], columns=CHOSEN)
        chances, best = self.chance(rows), np.array(list(self.best.values()))
        served = best >= HOPELESS
        return float(np.mean(chances[served] / best[served])) if served.any() else np.nan, chances


def castings_of(study, rows, reads):
    """Rows of pours and readings as `Castings`."""
    pours = pd.DataFrame(rows, columns=["pour", "session", *[f.name for f in study.factors]]).set_index("pour")
    kinds = {f.name: (object if f.kind == "text" else float) for f in study.factors}
    table = pd.DataFrame(reads, columns=["pour", "reading", "low", "high", "age", "known"])
    return Castings(study, pours.astype(kinds), table.astype({"low": float, "high": float, "age": float}))


def as_row(answer):
    """One reading as a row of the log: an interval."""
    age = answer["age"] or np.nan
    if "between" in answer:
        low, high, known = *answer["between"], "between"
    elif "not_yet" in answer:
        low, high, known = answer["not_yet"], np.inf, "not yet"
    else:
        low = high = answer["value"]
        known = "exact"
    return {"reading": answer["reading"], "low": low, "high": high, "age": age, "known": known}


def plain(answers):
    """One number a reading, as a spreadsheet would hold it: middles, means, the last look for a "not yet"."""
    values = {name: [] for name in READINGS}
    for answer in map(as_row, answers):
        high = answer["low"] if np.isinf(answer["high"]) else answer["high"]
        values[answer["reading"]].append((answer["low"] + high) / 2)
    middles = {name: float(np.mean(found)) for name, found in values.items()}
    return [np.log(middles["gel_time"]), *(middles[name] for name in READINGS[1:])]


def _kept(hidden, compute):
    """What `compute` gives, kept on disk for resins slow to cast, by the source of the families."""
    if hidden.family != "slab":
        return compute()
    source = b"".join(path.read_bytes() for path in sorted(HERE.glob("*.py")) if path.stem in ("practised", "bench", "hidden"))
    key = hashlib.sha256(source).hexdigest()[:12]
    folder = Path(os.environ.get("TESTPOUR_TRUTHS", Path(tempfile.gettempdir()) / "testpour-truths"))
    place = folder / f"{hidden.family}-{hidden.kind}-{hidden.seed}-{key}.npz"
    if place.exists():
        stored = np.load(place)
        ways = len(stored[READINGS[0]])
        return [{name: stored[name][way] for name in READINGS} for way in range(ways)]
    each = compute()
    folder.mkdir(parents=True, exist_ok=True)
    np.savez(place, **{name: np.array([ideals[name] for ideals in each]) for name in READINGS})
    return each


def rooms_of(world, sessions):
    """The room of each session: the same for every player of a world."""
    return np.random.default_rng([world.seed, zlib.crc32(world.family.encode()), 77]).uniform(15, 26, sessions).round(1)
