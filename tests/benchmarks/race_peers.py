"""The peers of the suggestion race: none has beliefs, all are built of general-purpose libraries."""

import warnings

import numpy as np
import statsmodels.api as sm
from race_world import BOUNDS, READINGS, asked
from scipy.stats import norm, qmc
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

POURS = 4
LOW, HIGH = np.array([1.0, 0.2, 5.0, 0.0, 15.0]), np.array([2.5, 4.0, 18.0, 1.0, 26.0])  # NAMES, then the room


def success(means, spreads):
    """Chance of meeting every aim when readings are independent normals."""
    total = 1.0
    for name, mean, spread in zip(READINGS, means, spreads, strict=True):
        low, high = BOUNDS[name]
        total = total * (norm.cdf((high - mean) / spread) - norm.cdf((low - mean) / spread))
    return total


def sobol(count, seed):
    points = LOW[:4] + (HIGH - LOW)[:4] * qmc.Sobol(4, rng=np.random.default_rng(seed)).random(count)
    return np.column_stack([points[:, :3].round(1), points[:, 3].round()])


class Habit:
    """2 % catalyst, a trace of pigment, covered: whatever the room."""

    def __init__(self, world):
        self.world = world

    def propose(self, room, session):
        return np.tile([2.0, 0.2, 10.0, 1.0], (POURS, 1))

    def learn(self):
        pass

    def recommend(self, room, depth):
        return [2.0, 0.2, depth, 1.0]


class OneAtATime(Habit):
    """The habit, one setting moved at a time; each setting keeps the level that did best."""

    LEVELS = ((0, (1.0, 1.5, 2.5, 1.2, 1.8, 2.2)), (1, (1.0, 2.0, 4.0)), (3, (0.0,)), (2, (6.0, 15.0)))

    def propose(self, room, session):
        plan = [[2.0, 0.2, 10.0, 1.0]]
        for place, levels in self.LEVELS:
            plan += [[*plan[0][:place], level, *plan[0][place + 1 :]] for level in levels]
        plan += plan
        return np.array(plan[POURS * session : POURS * (session + 1)])

    def recommend(self, room, depth):
        base = np.array([2.0, 0.2, 10.0, 1.0])
        points, good = np.array(self.world.points)[:, :4], np.array([self._merit(seen) for seen in self.world.seen])
        found = base.copy()
        for place in (0, 1, 3):
            others = [i for i in range(4) if i != place]
            alike = (points[:, others] == base[others]).all(axis=1)
            levels = np.unique(points[alike, place])
            if len(levels):
                found[place] = levels[np.argmax([good[alike & (points[:, place] == level)].mean() for level in levels])]
        return [found[0], found[1], depth, found[3]]

    @staticmethod
    def _merit(seen):
        """Smallest distance inside the aims, in units of what a bench would call clear."""
        units = (0.3, 1.0, 4.0, 10.0)
        each = [min(v - BOUNDS[n][0], BOUNDS[n][1] - v) / u for n, v, u in zip(READINGS, seen, units, strict=True)]
        return min(min(each), 1.0) + 0.01 * np.mean(np.minimum(each, 3.0))


class Surfaces(Habit):
    """Sobol points; a least-squares surface a reading, with squares and products as the points allow."""

    def __init__(self, world):
        super().__init__(world)
        self.points = sobol(32, int(world.rng.integers(1e6)))

    def propose(self, room, session):
        return self.points[POURS * session : POURS * (session + 1)]

    def _terms(self, points):
        coded = 2 * (points - LOW) / (HIGH - LOW) - 1
        columns = [np.ones(len(coded)), *(coded.T if len(self.world.points) >= 8 else coded.T[[0, 2]])]
        if len(self.world.points) >= 12:
            columns += [coded[:, 0] ** 2, coded[:, 0] * coded[:, 2]]
        if len(self.world.points) >= 20:
            columns += [coded[:, 1] ** 2, coded[:, 2] ** 2, coded[:, 0] * coded[:, 4]]
        return np.column_stack(columns)

    def learn(self):
        design, seen = self._terms(np.array(self.world.points)), np.array(self.world.seen)
        self.fits = [sm.OLS(column, design).fit() for column in seen.T]
        floor = (0.1, 0.4, 1.5, 4.0)
        self.spread = [max(np.sqrt(f.ssr / max(f.df_resid, 1)), s) for f, s in zip(self.fits, floor, strict=True)]

    def recommend(self, room, depth):
        points = asked(room, depth)
        chance = success([fit.predict(self._terms(points)) for fit in self.fits], self.spread)
        return points[np.argmax(chance)][:4]


class Process(Habit):
    """A Gaussian process a reading; pours where success is likeliest, each pick taken as read before the next."""

    KERNEL = ConstantKernel(1.0) * Matern([1.0] * 5, (0.2, 20.0), nu=2.5) + WhiteKernel(0.1, (1e-3, 1.0))

    def __init__(self, world):
        super().__init__(world)
        self.first = sobol(8, int(world.rng.integers(1e6)))

    def learn(self):
        coded, seen = (np.array(self.world.points) - LOW) / (HIGH - LOW), np.array(self.world.seen)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a length at its bound is no failure here
            self.models = [GaussianProcessRegressor(self.KERNEL, normalize_y=True, n_restarts_optimizer=1, random_state=0)
                           .fit(coded, column) for column in seen.T]

    def _success(self, models, points):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            both = [model.predict((points - LOW) / (HIGH - LOW), return_std=True) for model in models]
        return success([mean for mean, _ in both], [max_of(spread) for _, spread in both])

    def propose(self, room, session):
        if not session:
            return self.first[:POURS]
        points = np.column_stack([sobol(256, session), np.full(256, room)])
        models, picks = self.models, []
        for _ in range(POURS):
            picks.append(int(np.argmax(self._success(models, points))))
            models = [self._believing(model, points[picks[-1:]]) for model in models]
        return points[picks][:, :4]

    @staticmethod
    def _believing(model, point):
        """The process with its own mean at a point taken as a reading, hyperparameters kept."""
        coded = (point - LOW) / (HIGH - LOW)
        values = np.append(model.y_train_ * model._y_train_std + model._y_train_mean, model.predict(coded))
        again = GaussianProcessRegressor(model.kernel_, normalize_y=True, optimizer=None)
        return again.fit(np.vstack([model.X_train_, coded]), values)

    def recommend(self, room, depth):
        points = asked(room, depth)
        return points[np.argmax(self._success(self.models, points))][:4]


def max_of(spread):
    return np.maximum(spread, 1e-6)
