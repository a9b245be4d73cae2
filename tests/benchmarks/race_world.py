"""A world of the suggestion race: a practice resin with its log, and the truth as judge."""

from dataclasses import replace

import numpy as np
import pandas as pd

from testpour.logbook.castings import Castings
from testpour.models.settings import settings_table
from testpour.practice.practice import practice_resin

ROOMS, DEPTHS = (16.0, 20.0, 24.0), (6.0, 15.0)
NAMES = ["catalyst", "pigment", "thickness", "cover"]
GRID = np.array(np.meshgrid(np.arange(1, 2.51, 0.1), [0.2, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4], [0.0, 1.0])).reshape(3, -1).T
READINGS = ["gel_time", "tack", "hardness", "peak_temperature"]
BOUNDS = {"gel_time": (np.log(15), np.log(45)), "tack": (-np.inf, 1.5), "hardness": (75, np.inf), "peak_temperature": (-np.inf, 110)}


def slim(study):
    """The demo study with the readings that have an aim, hardness at the age of its aim."""
    aimed = [study.reading(aim.reading) for aim in study.aims]
    return replace(study, readings=tuple(replace(r, ages=r.ages and (24.0,)) for r in aimed))


def asked(room, depth):
    """Every setting that may be recommended for a room and depth: catalyst, pigment, depth, cover, room."""
    rest = np.tile([depth, room], (len(GRID), 1))
    return np.column_stack([GRID[:, :2], rest[:, 0], GRID[:, 2], rest[:, 1]]).round(6)


class World:
    """A practice resin with its log."""

    def __init__(self, study, seed, against=False, kind="algebraic"):
        self.study, self.resin = study, practice_resin(study, seed, kind=kind, difficulty="awkward" if against else "ordinary")
        self.rng, self.rows, self.reads, self.points, self.seen = np.random.default_rng([seed, 5]), [], [], [], []
        self.best = {(room, depth): self.chance(asked(room, depth)).max() for room in ROOMS for depth in DEPTHS}

    def chance(self, points):
        table = pd.DataFrame(points[:, :4], columns=NAMES).assign(room_temperature=points[:, 4])
        return self.resin.true_chance(settings_table(self.study, table))

    def pour(self, points, session, room):
        """Pour settings (rows of NAMES) and log what the bench reads."""
        plan = pd.DataFrame(points, columns=NAMES, index=[f"P{len(self.rows) + i + 1:02d}" for i in range(len(points))])
        for made in self.resin.pour(plan, session=session, room=room):
            self.rows.append({"pour": made["pour"], "session": session, **made["settings"]})
            self.reads += [{"pour": made["pour"], **as_row(answer)} for answer in made["readings"]]
            self.points.append([*(made["settings"][name] for name in NAMES), room])
            self.seen.append(plain(made["readings"]))

    def castings(self):
        pours = pd.DataFrame(self.rows, columns=["pour", "session", *[f.name for f in self.study.factors]]).set_index("pour")
        numbers = {f.name: (object if f.kind == "text" else float) for f in self.study.factors}
        reads = pd.DataFrame(self.reads, columns=["pour", "reading", "low", "high", "age", "known"])
        return Castings(self.study, pours.astype(numbers), reads.astype({"low": float, "high": float, "age": float}))

    def score(self, recommend):
        """Mean over contexts of true chance over the best possible."""
        shares = []
        for (room, depth), best in self.best.items():
            if best >= 0.3:
                shares.append(self.chance(np.array([[*recommend(room, depth), room]]))[0] / best)
        return np.mean(shares) if shares else np.nan

    def short(self, recommend, contexts):
        """Mean over contexts of how far the true chance falls short of the best possible."""
        gaps = []
        for room, depth in contexts:
            got = self.chance(np.array([[*recommend(room, depth), room]]))[0]
            gaps.append(self.chance(asked(room, depth)).max() - got)
        return np.mean(gaps)


def as_row(answer):
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
    """One number a reading, as a spreadsheet would hold it: middles, means, the last check for a "not yet"."""
    rows = pd.DataFrame([as_row(a) for a in answers])
    rows["high"] = np.where(np.isinf(rows["high"]), rows["low"], rows["high"])
    middle = rows.assign(value=(rows["low"] + rows["high"]) / 2).groupby("reading")["value"].mean()
    return [np.log(middle["gel_time"]), *(middle[name] for name in READINGS[1:])]
