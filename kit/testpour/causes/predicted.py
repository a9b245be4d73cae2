"""How likely the readings of one casting are, by draws from models of its log's other castings."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import ndtr

from testpour.likelihood.together import log_joint_likelihood, middles
from testpour.likelihood.weights import normal_scores
from testpour.models.reading_fit import ReadingFit
from testpour.models.scales import ends_by_draw, to_reading
from testpour.models.terms import design

DRAWS, ALIKE = 600, 20  # draws that each cause is tried on, and of how many of like scatter one normal distribution is made
HARDLY = 0.001  # chance of a reading as far out, below which it is mentioned even where no aim asks for it
LEAST_READ = {"Shore D": 20.0}  # below it the gauge shows only that it is soft: ISO 868 and ASTM D2240 ask for type A where type D reads under 20


@dataclass(frozen=True, eq=False)
class Predicted:
    """What the log's other pours predict for one reading of one casting, and what was read."""

    fit: ReadingFit
    rows: pd.DataFrame  # the casting's readings, as `reading_model.rows_of` gives them
    settings: dict[str, np.ndarray]  # the numbers among them: column to array, shape (k,)
    coefficients: np.ndarray  # shape (m, p)
    extra: np.ndarray  # shape (m, k), effects of the sessions, lots and hands it shares with other pours
    own: np.ndarray  # shape (m,), standard deviation of the shift that all its readings share
    sd: np.ndarray  # shape (m,), standard deviation of one reading
    cuts: np.ndarray | None  # shape (m, K-1)
    alike: int = 1  # this many successive draws differ only by their mean and standard deviation
    softest: float = -np.inf  # what was read below it is only known to lie there

    @cached_property
    def usual(self) -> np.ndarray:
        """Latent mean of its readings at its own settings: shape (m, k)."""
        return self.mean(self.settings)[0]

    def mean(self, tables: Mapping[str, np.ndarray]) -> np.ndarray:
        """Latent mean of its k readings at each of h settings: shape (h, m, k).

        `tables` are columns of shape (h, k), or (k,) for one, complete, in the factors' units.
        """
        flat = self.coefficients @ design(self.fit.believed.terms, {name: values.ravel() for name, values in tables.items()}).T
        stacked = flat.reshape(len(flat), -1, len(self.rows))
        return stacked.transpose(1, 0, 2) + self.extra

    @cached_property
    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Latent ends of each reading for each draw: two arrays (m or 1, k)."""
        rows, soft = self.rows, self.rows["high"] < self.softest
        if soft.any():
            rows = rows.assign(low=rows["low"].mask(soft, -np.inf), high=rows["high"].mask(soft, self.softest))
        return ends_by_draw(self.fit.reading, rows, self.cuts)

    def figures(self, pick: np.ndarray) -> float:
        """How many figures, a step of the reading apart, count as one: those below the softest that was read, else 1."""
        soft = bool((self.rows["high"].to_numpy(float)[pick] < self.softest).any())
        return self.softest / (self.fit.reading.resolution or 1.0) if soft else 1.0

    def residuals(self, mean: np.ndarray, pick: slice | np.ndarray = slice(None)) -> "Residuals":
        """The `Residuals` between the readings in `pick`, all by default, and their `mean`, shape (h, m, k)."""
        count, alike = mean.shape[-1], self.alike
        mean = mean.reshape(len(mean), -1, alike, count)
        low, high = (end[:, pick].reshape(-1, alike if len(end) > 1 else 1, count) for end in self.ends)
        closed = np.isfinite(low[:1, :1]), np.isfinite(high[:1, :1])
        middle = np.where(closed[0], np.where(closed[1], (low + high) / 2, low), high)
        expected = mean.mean(axis=2)
        away = mean - expected[:, :, None] - (middle - middle.mean(axis=1, keepdims=True))
        whole, common = (np.einsum("hgak,hgak->hg", part, part) / part[0, 0].size for part in (away, away.mean(axis=3, keepdims=True)))
        apart = np.maximum(whole - common, 0.0) * (count / (count - 1) if count > 1 else 0.0)
        own, one = (np.square(sd).reshape(-1, alike).mean(axis=1) for sd in (self.own, self.sd))
        return Residuals(low.mean(axis=1) - expected, high.mean(axis=1) - expected, own + np.maximum(common - apart / count, 0.0), one, apart)

    @property
    def far(self) -> bool:
        """Whether one of its readings lies where hardly one in a thousand should."""
        (low, high), whole = self.ends, np.hypot(self.own, self.sd)[:, None]
        above, below = ndtr((self.usual - low) / whole).mean(axis=0), ndtr((high - self.usual) / whole).mean(axis=0)
        return bool(min(above.min(), below.min()) < HARDLY)

    def resampled(self, weights: np.ndarray | None = None) -> "Predicted":
        """`DRAWS` draws, picked by weight and evenly along what they expect of the first reading, those of like scatter together.

        The weights, shape (m,), add up to 1; they are equal by default.
        """
        places, order = (np.arange(DRAWS) + 0.5) / DRAWS, np.argsort(self.usual[:, 0], kind="stable")
        weights = np.full(len(order), 1 / len(order)) if weights is None else weights
        at = order[np.searchsorted(np.cumsum(weights[order]), places).clip(max=len(order) - 1)]
        at = at[np.argsort(np.hypot(self.own[at], self.sd[at]), kind="stable")]
        cuts = None if self.cuts is None else self.cuts[at]
        coefficients, extra = self.coefficients[at], self.extra[at]
        softest = LEAST_READ.get(self.fit.reading.unit, -np.inf)
        return Predicted(self.fit, self.rows, self.settings, coefficients, extra, self.own[at], self.sd[at], cuts, ALIKE, softest)

    def expected(self, level: float = 0.9) -> np.ndarray:
        """Where one reading at the first row's settings and age should lie: low and high in its unit.

        `level` is the share of readings between the two, 0 to 1.
        """
        count, first = len(self.own), self.rows.iloc[[0]]
        scores = normal_scores(count)
        latent = self.usual[:, 0] + np.hypot(self.own, self.sd) * scores
        tails = [(1 - level) / 2, (1 + level) / 2]
        if self.fit.reading.grades:
            return np.quantile((latent[:, None] > self.cuts).sum(axis=1).astype(float), tails, method="inverted_cdf")  # whole grades
        return np.quantile(to_reading(self.fit.reading, latent, first.get("room_temperature")), tails)


@dataclass(frozen=True)
class Residuals:
    """How far the ends of k readings lie above what g groups of like draws expect of them at each of h settings, and what scatters there.

    What a group's draws expect is taken as normal: what is common to its readings widens the shift they share, the rest each reading.
    """

    low: np.ndarray  # shape (h, g, k), as `high`
    high: np.ndarray
    own: np.ndarray  # shape (h, g), variance of the shift that all its readings share
    one: np.ndarray  # shape (g,), variance of one reading
    apart: np.ndarray  # shape (h, g), variance of what is expected of one reading and not of the others

    def moved(self, at: np.ndarray, shift: np.ndarray) -> "Residuals":
        """The residuals at some of the settings, each of which may come several times, with the readings expected higher by a shift (h, k) or (h, g, k)."""
        shift = shift if shift.ndim == 3 else shift[:, None]
        return Residuals(self.low[at] - shift, self.high[at] - shift, self.own[at], self.one, self.apart[at])

    def likely(self, passing: np.ndarray, blur: np.ndarray, spread: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and standard deviation (h, g), given the closed readings, of a standard normal number that moves each reading by `passing` (h, k).

        Beside it they share the shift of `log_chance`: two unknowns, linear and normal.
        """
        own = self.own + np.square(blur)[:, None]
        middle, known = middles(self.low, self.high, np.sqrt(self.one * np.square(spread)[:, None] + self.apart))
        load = passing[:, None]
        shared, both, alone = known.sum(-1) + 1 / np.maximum(own, 1e-12), (known * load).sum(-1), (known * load**2).sum(-1) + 1
        left = shared * alone - both**2
        return (shared * (known * load * middle).sum(-1) - both * (known * middle).sum(-1)) / left, np.sqrt(shared / left)

    def log_chance(self, blur: float | np.ndarray = 0.0, spread: float | np.ndarray = 1.0) -> np.ndarray:
        """Log chance of the readings: shape (h, g), the shift they share integrated out.

        `blur`, a number or shape (h,), is added to the standard deviation of that shift, `spread` a factor on the scatter of one reading.
        """
        own = np.sqrt(self.own + np.square(np.atleast_1d(blur))[:, None])
        one = np.sqrt(self.one * np.square(np.atleast_1d(spread))[:, None] + self.apart)
        return log_joint_likelihood(self.low, self.high, own, one)
