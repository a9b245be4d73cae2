"""A hundred simulated guilds of five benches: what a pool promises a sixth bench, and what it would be without."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from testpour.models.beliefs import beliefs_for
from testpour.models.reading_fit import fit_rows
from testpour.pooling.reading import _bench_scale, _slopes_of, fit_pooled
from testpour.study.study_file import study_from

GUILDS, BENCHES, SESSIONS, POURS = 100, 5, 3, 4
SIXTH = 2000  # readings of as many sixth benches, each guild
STUDY = study_from(
    {"factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "room_temperature": {}}, "readings": {"gel_time": {}}}
)
GEL = STUDY.reading("gel_time")


@dataclass
class Guild:
    """A guild drawn from what is believed of gel times and benches: its truth and its five logs as one."""

    seed: int

    def __post_init__(self):
        self.rng = np.random.default_rng([self.seed, 60])
        believed = beliefs_for(STUDY, GEL)
        self.coefficients = believed.mean + believed.sd * self.rng.standard_normal(len(believed.terms))
        half = lambda scale: abs(scale * self.rng.standard_normal())
        self.bench, self.session = half(_bench_scale(believed)), half(believed.scatter["session"])
        self.reading = half(believed.scatter["reading"])
        self.slopes = {1: half(0.5 * believed.sd[1]), 2: half(0.5 * believed.sd[2])}

    def latent(self, catalyst, room, bench, session):
        """Log gel times at settings (n,) for bench and session numbers (n,), every level drawn anew."""
        gas = 8.314462618e-3
        columns = [np.ones(len(room)), np.log(catalyst / 1.5), (1 / 293.15 - 1 / (room + 273.15)) / gas]
        draw = lambda number, spread: spread * self.rng.standard_normal(number.max() + 1)[number]
        mean = draw(bench, self.bench) + draw(session, self.session)
        for place, column in enumerate(columns):
            mean = mean + (self.coefficients[place] + draw(bench, self.slopes.get(place, 0.0))) * column
        return mean + self.reading * self.rng.standard_normal(len(room))

    def logs(self, castings_of):
        """The five benches' log, exact gel times, and each pour's bench."""
        n = BENCHES * SESSIONS * POURS
        bench, session = np.arange(n) // (SESSIONS * POURS), np.arange(n) // POURS
        catalyst, room = self.rng.uniform(1, 2.5, n), self.rng.uniform(15, 25, BENCHES * SESSIONS)[session]
        gel = np.exp(self.latent(catalyst, room, bench, session))
        names = [f"P{i:02d}" for i in range(n)]
        pours = pd.DataFrame(
            {"session": [f"S{s:02d}" for s in session], "catalyst": catalyst, "room_temperature": room}, index=names
        )
        rows = pd.DataFrame({"pour": names, "reading": "gel_time", "low": gel, "high": gel, "known": "exact"})
        return castings_of(STUDY, pours, rows), pd.Series([f"Bench {b}" for b in bench], index=names)

    def sixth(self):
        """First readings of many sixth benches at one setting: log gel times (SIXTH,) and the setting."""
        catalyst, room, each = self.rng.uniform(1, 2.5), self.rng.uniform(15, 25), np.arange(SIXTH)
        at = pd.DataFrame({"catalyst": [catalyst], "room_temperature": [room]})
        return self.latent(np.full(SIXTH, catalyst), np.full(SIXTH, room), each, each), at


def predictive(fit, at):
    """Mean and spread of each draw's prediction of one new reading: (m,), (m,)."""
    return fit.mean(at)[:, 0], fit.scatter()


def log_score(fit, at, seen):
    """Average log density of the readings `seen` under a fit's prediction."""
    mean, spread = predictive(fit, at)
    grid = np.linspace(seen.min() - 1e-9, seen.max() + 1e-9, 400)
    density = norm.pdf(grid[:, None], mean, spread).mean(axis=1)
    return float(np.log(np.interp(seen, grid, density) + 1e-300).mean())


def covered(fit, at, seen, level):
    """Share of readings `seen` inside the central interval of a fit's prediction."""
    mean, spread = predictive(fit, at)
    drawn = np.sort((mean + spread * norm.ppf((np.arange(20) + 0.5) / 20)[:, None]).ravel())
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2])
    return float(((seen >= low) & (seen <= high)).mean())


def unpooled(castings, bench_of, beliefs, pick=None):
    """A fit that knows no benches: of all pours alike, of those of one bench, or of none."""
    from testpour.models.reading_model import rows_of

    rows, assumed = rows_of(castings, GEL)
    if pick is not None:
        rows = rows[(bench_of.reindex(rows["pour"]) == pick).to_numpy()].reset_index(drop=True)
    return fit_rows(STUDY, GEL, beliefs, rows, assumed)


@pytest.fixture(scope="module")
def scores(castings_of):
    """One row a guild: coverage of the pool, and log scores of the pool and of what it replaces."""
    table, beliefs = [], beliefs_for(STUDY, GEL)
    for seed in range(GUILDS):
        guild = Guild(seed)
        castings, bench_of = guild.logs(castings_of)
        seen, at = guild.sixth()
        pooled = fit_pooled(castings, bench_of, GEL).newcomer()
        rivals = {
            "complete": unpooled(castings, bench_of, beliefs),
            "one bench": unpooled(castings, bench_of, beliefs, "Bench 0"),
            "none": unpooled(castings, bench_of, beliefs, "nobody"),
        }
        table.append(
            {"80": covered(pooled, at, seen, 0.8), "95": covered(pooled, at, seen, 0.95), "pool": log_score(pooled, at, seen)}
            | {name: log_score(fit, at, seen) for name, fit in rivals.items()}
        )
    return pd.DataFrame(table)


@pytest.mark.slow
@pytest.mark.long
def test_promises_to_a_sixth_bench_are_kept(scores):
    """Guilds come from the beliefs themselves, so coverage must be as stated: within two points of 80 and 95.

    A hundred guilds tell the coverage at 80 % to a standard error of 1.1 points; two of those are allowed beside.
    Measured at 80 %: 82.5; over two hundred guilds 82.0, standard error 0.8.
    """
    for level in (80, 95):
        shares = scores[str(level)]
        luck = 2 * shares.std() / np.sqrt(len(shares))
        assert shares.mean() == pytest.approx(level / 100, abs=0.02 + luck)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("rival", ["complete", "one bench", "none"])
def test_pooling_predicts_a_sixth_bench_better(scores, rival):
    """Against taking all pours as one bench's, a neighbour's log alone, and no log at all: mean log score."""
    gain = scores["pool"] - scores[rival]
    assert gain.mean() > 2 * gain.std() / np.sqrt(len(gain))


@pytest.mark.parametrize("catalyst, rooms, sloped", [([1.0, 1.5, 2.0], [20.0, 20.0, 22.0], ["catalyst"]), ([1.0, 1.0, 2.0], [17.0, 20.0, 22.0], ["warmth"])])
def test_an_effect_may_differ_by_bench_where_enough_benches_varied_it(catalyst, rooms, sloped):
    """Five benches at three values each, not at two; half of what the trade is unsure of, as for the level."""
    believed = beliefs_for(STUDY, GEL)
    rows = pd.DataFrame({"bench": np.repeat(list("ABCDEF"), 3), "catalyst": [*catalyst * 5, 1.0, 1.0, 1.0], "room_temperature": [*rooms * 5, 20.0, 20.0, 20.0]})
    names = [term.name for term in believed.terms]
    assert [(names[slope.column], slope.scale) for slope in _slopes_of(believed, rows)] == [(name, 0.5 * believed.sd[names.index(name)]) for name in sloped]
    assert not _slopes_of(believed, rows.iloc[:12]) and _bench_scale(believed) == 0.5 * believed.sd[names.index("level")]
