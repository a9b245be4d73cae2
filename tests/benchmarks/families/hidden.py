"""A hidden resin at its bench: drawn by family, kind and seed, it answers pours and tells the true chance.

`draw_hidden("radical", "contradicting", 3)` is always the same resin, bench and aims. A pour is answered as
`Logbook.add_all` takes it. A fault (see `faults`) changes what is really in the mould, or what is written down.
"""

import zlib
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from families import gates, practised, radical, signs, surface
from families.bench import GRADES, HIDDEN, READINGS, SETTINGS, columns, draw_bench

FAMILIES = {
    "algebraic": practised.draw_algebraic,
    "slab": practised.draw_slab,
    "radical": radical.draw,
    "surface": surface.draw,
    "gates": gates.draw,
}
KINDS = ("ordinary", "contradicting")
SHIPPED = ("algebraic", "slab")
CHOSEN = ("catalyst", "pigment", "thickness", "cover", "room_temperature")
DOSES, PIGMENTS = np.arange(0.5, 4.01, 0.25), (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0)  # % on the grid of settings
LOT = {"strength": 0.06, "stale": 0.08}  # scatter between lots, as a ratio


@dataclass(frozen=True)
class Hidden:
    """A resin, its bench and what may have gone wrong.

    Parameters
    ----------
    family, kind : str
    seed : int
    resin : object
        Its `ideal` takes the columns of `bench.columns`.
    bench : Bench
    fault : Fault or None
    """

    family: str
    kind: str
    seed: int
    resin: object
    bench: object
    fault: object = None

    def ideal(self, table):
        """Average readings at each row of a settings table, on the scales of `bench`."""
        return self.resin.ideal(columns(table))

    def chance(self, table, aims, by_aim=False):
        """True chance that one new casting at each row, in a new session, is read within every aim.

        Parameters
        ----------
        table : DataFrame or dict
        aims : iterable
            With ``reading``, ``at_least``, ``at_most`` and ``age``, on the reading's own scale.
        """
        ways, aims = self.bench.made(table), list(aims)
        ages = {aim.age or 24.0 for aim in aims}
        each = {age: self._ideals(ways, age) for age in ages}
        total, alone = 0.0, {aim.reading: 0.0 for aim in aims}
        for way, (weight, _) in enumerate(ways):
            met = {aim.reading: self._met(aim, each[aim.age or 24.0][way][aim.reading]) for aim in aims}
            total = total + weight * np.prod(list(met.values()), axis=0)
            alone = {name: alone[name] + weight * met[name] for name in met}
        return alone if by_aim else total

    def _ideals(self, ways, age):
        """Ideals of every way at one age, found together."""
        return self._found([{**made, "age": np.full(len(made["age"]), age)} for _, made in ways])

    def _met(self, aim, ideal):
        low = -np.inf if aim.at_least is None else aim.at_least
        high = np.inf if aim.at_most is None else aim.at_most
        if aim.reading in GRADES:
            low, high = (np.ceil(low) - 0.5 if low > 0 else -np.inf), (np.floor(high) + 0.5 if high < 3 else np.inf)
        elif aim.reading == "gel_time":
            low, high = (np.log(low) if low > 0 else -np.inf), np.log(high)
        return self.bench.below(aim.reading, high, ideal) - self.bench.below(aim.reading, low, ideal)

    def pour(self, table, session="S1", lot=None, readings=READINGS, ages=None):
        """Make the pours of one session and read them.

        Parameters
        ----------
        table : DataFrame
            One row a pour, indexed by name: the settings of `CHOSEN`, floats.
        session : str
            Pours of one session share its errors; the same name gives the same errors.
        lot : str, optional
            Lot of resin and peroxide; lots differ. None is the lot the resin was drawn as.
        readings : iterable of str
        ages : dict, optional
            Hours at which a reading is taken, by its name; 24 h for tack, hardness and opacity.

        Returns
        -------
        list of dict
            ``pour``, ``session``, ``settings``, ``readings`` as `Logbook.add_all` takes them.
        """
        rng = np.random.default_rng([self.seed, zlib.crc32(session.encode()), zlib.crc32(str(table.index[0]).encode())])
        shared_rng = np.random.default_rng([self.seed, 11, zlib.crc32(session.encode())])
        shared, off = self.bench.shared(shared_rng), self.bench.thermometer * shared_rng.standard_normal()
        made = columns(table)
        made = {**made, "catalyst": self.bench.weigh(made["catalyst"], rng), "room_temperature": made["room_temperature"] + off}
        made = self._of_lot(made, lot)
        spread = np.zeros((len(table), self.bench.places))
        if self.fault:
            made, spread = self.fault.inside(made, spread, rng)
        jobs = [self._jobs({key: values[place] for key, values in made.items()}, spread[place], readings, ages or {}) for place in range(len(table))]
        ideals = iter(self._found([rows for each in jobs for *_, rows in each]))
        entries = []
        for place, name in enumerate(table.index):
            settings = {key: float(table[key].iloc[place]) for key in CHOSEN if key in table}
            settings |= {"resin_lot": lot} if lot else {}
            answers = []
            for reading, age, _ in jobs[place]:
                answers += [{"reading": reading, "age": age, **found} for found in self.bench.read(reading, next(ideals)[reading], shared, rng)]
            entry = {"pour": name, "session": session, "settings": settings, "readings": answers}
            entries.append(self.fault.written(entry, rng) if self.fault else entry)
        return entries

    def _of_lot(self, made, lot):
        if not lot:
            return made
        drum = np.random.default_rng([self.seed, 13, zlib.crc32(lot.encode())])
        return {**made, **{name: made[name] * np.exp(scatter * drum.standard_normal()) for name, scatter in LOT.items()}}

    @staticmethod
    def _jobs(one, spread, readings, ages):
        """What is to be read of one casting: reading, age, and the casting as it is at each place that is read.

        `spread` is the log of the local dose over the mean; tack is felt at the worst place.
        """
        jobs = []
        for name in readings:
            timed = name not in ("gel_time", "peak_temperature")
            local = np.exp(spread) if name == "hardness" else np.exp(spread.min(keepdims=True)) if name == "tack" else np.ones(1)
            for age in np.atleast_1d(ages.get(name, 24.0)) if timed else (24.0,):
                told = min(age, one.get("read_at", np.inf))
                rows = columns({**{key: one[key] for key in (*SETTINGS, *HIDDEN)}, "catalyst": one["catalyst"] * local, "age": told})
                jobs.append((name, float(age) if timed else None, rows))
        return jobs

    def _found(self, each):
        """Ideals of several tables, found together: a family that is marched through time takes long to start."""
        joined = {name: np.concatenate([rows[name] for rows in each]) for name in each[0]}
        ends = np.cumsum([len(rows["age"]) for rows in each])[:-1]
        parts = {name: np.split(np.asarray(values, float), ends) for name, values in self.resin.ideal(joined).items()}
        return [{name: parts[name][place] for name in parts} for place in range(len(each))]


def draw_hidden(family, kind="ordinary", seed=0):
    """The hidden resin of a family, kind and seed, with its bench."""
    if family not in FAMILIES or kind not in KINDS:
        raise ValueError(f"No resin {family!r}, {kind!r}: families are {', '.join(FAMILIES)}, kinds {', '.join(KINDS)}.")
    rng = np.random.default_rng([seed, zlib.crc32(f"{family} {kind}".encode())])
    for _ in range(300):
        resin = FAMILIES[family](rng, kind == "contradicting")
        if family in SHIPPED or (signs.contradicting if kind == "contradicting" else signs.ordinary)(resin):
            return Hidden(family, kind, seed, resin, draw_bench(rng))
    raise RuntimeError(f"No {kind} resin of the family {family} in 300 draws.")


def planted(hidden, fault):
    """The same resin and bench with a fault; None takes it away."""
    return replace(hidden, fault=fault)


def grid(room, depth, doses=DOSES, pigments=PIGMENTS):
    """Every setting a chooser might take for one room and depth, as a table."""
    dose, pigment, cover = (part.ravel() for part in np.meshgrid(doses, pigments, (0.0, 1.0)))
    return pd.DataFrame({"catalyst": dose.round(6), "pigment": pigment, "thickness": float(depth), "cover": cover, "room_temperature": float(room)})
