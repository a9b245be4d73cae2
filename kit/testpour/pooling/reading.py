"""One reading's pooled model: bench, session, lot and pour as levels, and a fit for any bench or a new one."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.problems import NoSuchName
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.posterior import sample
from testpour.likelihood.weights import normal_scores
from testpour.logbook.castings import Castings
from testpour.models.beliefs import ReadingBeliefs, beliefs_for
from testpour.models.change import averages
from testpour.models.reading_fit import DRAWS, ReadingFit, with_remainder
from testpour.models.reading_model import counted, groups_of, labels_of, model_columns, rows_of, scale_options, smooth_remainder
from testpour.models.remainder import with_expected_remainder
from testpour.models.scales import latent_ends
from testpour.models.settings import settings_table
from testpour.models.terms import design
from testpour.pooling.belief_file import PooledBeliefs
from testpour.pooling.climbing import Slope
from testpour.pooling.draws import sample_pool
from testpour.study.columns import Reading

SLOPED = ("catalyst", "warmth", "thickness")  # effects that may differ by bench: scales, thermometers, moulds
FEWEST = 5  # benches that must each have varied a setting for its effect to differ by bench
MIDDLE_AND_ENDS = [0.5, 0.05, 0.95]  # quantiles: the median and the 90 % interval
SMALL, FEW = 2000, 12  # rows and benches of a small pool
SHARE = 0.5  # scale of the prior for benches, relative to the sd of the trade's belief


@dataclass(frozen=True, eq=False, repr=False)
class BenchFit(ReadingFit):
    """A `ReadingFit` for one bench: `away` holds how far its coefficients are from the average bench's.

    That is term name, or "bench" for the level, to (draws,) deviations on the latent scale.
    """

    away: dict[str, np.ndarray] = field(default_factory=dict)

    def mean(self, table: pd.DataFrame) -> np.ndarray:
        """Latent mean at each row of a settings table: shape (draws, rows).

        Parameters
        ----------
        table : DataFrame
            n rows, complete, in the factors' units.

        Returns
        -------
        array
        """
        mean = super().mean(table)
        for name, apart in self.away.items():
            terms = [term for term in self.believed.terms if term.name == name]
            mean = mean + apart[:, None] * (1.0 if name == "bench" else design(terms, table)[:, 0])
        return mean


@dataclass(frozen=True, eq=False)
class PooledReading:
    """The pooled model of one reading."""

    average: ReadingFit  # the average bench
    sloped: tuple[str, ...]  # terms whose effect may differ by bench
    benches: tuple[str, ...]  # those with readings of this kind

    @property
    def reading(self) -> Reading:
        """The reading's declaration."""
        return self.average.reading

    def at(self, bench: str) -> BenchFit:
        """The `BenchFit` of a bench of the pool.

        Parameters
        ----------
        bench : str

        Returns
        -------
        BenchFit
        """
        effects = self.average.posterior.group_effects
        if bench not in self.benches:
            raise NoSuchName(f"No bench {bench!r} with {self.reading.words}; there are {', '.join(self.benches)}.")
        place = self.benches.index(bench)
        return self._away({name: effects[_sd_name(name)][:, place] for name in ("bench", *self.sloped)})

    def newcomer(self) -> BenchFit:
        """The `BenchFit` of a bench that is not in the pool yet: drawn from the distribution of benches."""
        sds = self.average.posterior.group_sds
        if not sds:
            return self._away({})
        rng, draws = np.random.default_rng(1), len(self.average.posterior)
        return self._away({name: sds[_sd_name(name)] * normal_scores(draws, rng) for name in ("bench", *self.sloped)})

    def _away(self, away):
        same = {name: getattr(self.average, name) for name in ReadingFit.__dataclass_fields__}
        return BenchFit(**same, away=away)

    def differences(self) -> pd.DataFrame:
        """How each bench differs from the average one at the usual settings, in the reading's own terms, 90 %.

        One row per bench: middle, low, high (a ratio for times, a change of chance for grades with an aim, else a
        difference in the unit), and stands_out: whether the 95 % interval is on one side.
        """
        values = self._changes(self.average.posterior.group_effects["bench"])
        low, high = np.quantile(values, [0.025, 0.975], axis=0)
        nothing = 1.0 if self.ratio else 0.0
        ends = dict(zip(("middle", "low", "high"), np.quantile(values, MIDDLE_AND_ENDS, axis=0), strict=True))
        apart = (nothing < low) | (high < nothing)
        return pd.DataFrame({**ends, "stands_out": apart}, index=pd.Index(self.benches, name="bench"))

    def spread(self) -> tuple[float, float, float]:
        """Middle, low and high (90 %) of the standard deviation of benches, as a change from the average one."""
        return tuple(np.quantile(self._changes(self.average.posterior.group_sds["bench"][:, None]), MIDDLE_AND_ENDS))

    def where_new_benches_lie(self) -> np.ndarray:
        """Low and high (90 %) of the difference of a bench that is not in the pool, at the usual settings: (2,)."""
        return np.quantile(self._changes(self.newcomer().away["bench"][:, None]), MIDDLE_AND_ENDS[1:])

    @property
    def ratio(self) -> bool:
        """Whether differences are ratios."""
        return self.reading.scale == "log"

    def _changes(self, effects):
        """The changes that effects (draws, k) make at the usual settings, in the unit of `differences`: the same shape."""
        if self.ratio:
            return np.exp(effects)
        table = settings_table(self.average.study, reading=self.reading)
        latent = self.average.mean(table) + np.insert(effects, 0, 0.0, axis=1)  # of the average bench first
        of_each = averages(self.average, table, latent)
        return of_each[:, 1:] - of_each[:, :1]


def _sd_name(name):
    return "bench" if name == "bench" else f"bench {name}"


def fit_pooled(
    castings: Castings, bench_of: pd.Series, reading: Reading, *, beliefs: Mapping[str, Any] | None = None,
    seed: int = 0, remainder: bool = True
) -> PooledReading:
    """The `PooledReading` of one reading of castings that `join_logs` joined.

    `beliefs` are as for `fit_castings`; `PooledBeliefs` also say how much benches differ. With `remainder` the average bench
    may depart from the shape that the beliefs expect: in a small pool as much as its rows call for (see `remainder`), in
    others with the expected size as its prior, which their many rows outweigh.
    """
    study = castings.study
    rows, assumed = rows_of(castings, reading)
    reading, assumed = counted(reading, rows, assumed)
    rows["bench"] = bench_of.reindex(rows["pour"]).to_numpy()
    rows = rows.sort_values(["bench", "session", "pour"], kind="stable").reset_index(drop=True)
    believed = beliefs_for(study, reading, beliefs, rows)
    if (known := _informative(reading, believed, rows)).any():  # a bench may have no informative reading
        rows = rows[known].reset_index(drop=True)
    scale = (beliefs.benches if isinstance(beliefs, PooledBeliefs) else {}).get(reading.name, _bench_scale(believed))
    slopes = _slopes_of(believed, rows) if known.any() else ()
    if len(rows) <= SMALL and rows["bench"].nunique() <= FEW:
        posterior, believed, model = _sampled(study, reading, believed, rows, scale, slopes, seed, remainder)
    else:
        believed = with_expected_remainder(study, believed) if remainder else believed
        model = _model(reading, believed, design(believed.terms, rows), rows, scale)
        posterior = sample_pool(model, model.groups[0].codes, slopes, draws=DRAWS, seed=seed)
    average = ReadingFit(study, reading, believed, posterior, rows, assumed, model)
    names = tuple(believed.terms[slope.column].name for slope in slopes)
    return PooledReading(average, names, tuple(rows["bench"].unique()))


def _informative(reading, believed, rows):
    """Which rows are informative: all except those open at both ends."""
    return IntervalModel(*latent_ends(reading, rows), np.zeros((len(rows), 0)), **scale_options(reading, believed)).informative


def _sampled(study, reading, believed, rows, scale, slopes, seed, remainder):
    """Posterior, beliefs and model of few benches: one joint model, sampled like that of a single bench."""
    believed, terms, columns = model_columns(study, believed, rows, remainder)
    smooth = smooth_remainder(believed, terms, columns)
    own = pd.get_dummies(rows["bench"], dtype=float).to_numpy()
    for slope in slopes:
        smooth[_sd_name(believed.terms[slope.column].name)] = own * columns[:, [slope.column]], slope.scale
    model = _model(reading, believed, columns[:, : len(believed.terms)], rows, scale, smooth)
    return *with_remainder(sample(model, DRAWS, seed), believed, terms, columns), model


def _model(reading, believed, columns, rows, scale, smooth=None):
    """The `IntervalModel` with bench first among its groups, and the levels of other groups nested within bench."""
    groups = {"bench": rows["bench"].to_numpy(str)}
    for name, labels in groups_of(labels_of(rows)).items():
        groups[name] = (rows["bench"] + " " + pd.Series(labels, rows.index)).to_numpy(str)
    return IntervalModel(
        *latent_ends(reading, rows),
        pd.DataFrame(columns, columns=[term.name for term in believed.terms]),
        groups=groups,
        belief=(believed.mean, believed.sd),
        group_beliefs={"bench": scale, **{name: believed.scatter[name] for name in groups if name != "bench"}},
        smooth=smooth,
        **scale_options(reading, believed),
    )


def _bench_scale(believed: ReadingBeliefs) -> float:
    """Half-normal scale of the bench effect, on the latent scale: half the sd of the trade's belief."""
    level = dict(zip((term.name for term in believed.terms), believed.beliefs, strict=True)).get("level") or believed.cuts
    assert level is not None, "grades have cuts where other readings have a level"
    return SHARE * level.sd


def _slopes_of(believed: ReadingBeliefs, rows: pd.DataFrame) -> tuple[Slope, ...]:
    """The effects that may differ by bench: those that enough benches varied."""
    slopes = []
    for column, (term, belief) in enumerate(zip(believed.terms, believed.beliefs, strict=True)):
        if term.name in SLOPED:
            varied = rows.groupby("bench")[list(term.factors)].nunique().min(axis=1)
            if (varied >= 3).sum() >= FEWEST:
                slopes.append(Slope(column, SHARE * belief.sd))
    return tuple(slopes)
