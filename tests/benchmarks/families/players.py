"""Who plays: the kit, and peers built of general-purpose libraries.

A player proposes pours for a room, learns from the world's log, recommends settings for a room and depth, and says
what chance it gives settings. The plain model makes no pours of its own: it is given the kit's log.
"""

import warnings

import numpy as np
import pandas as pd
from scipy.special import ndtr
from scipy.stats import qmc
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from families.bench import GRADES, READINGS
from families.hidden import CHOSEN, grid
from testpour.advice.batch import next_pours
from testpour.advice.candidates import free_factors
from testpour.advice.prospect import states_of
from testpour.advice.recommend import best_settings, recommend
from testpour.models.chance import chance
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table

POURS = 4
LOW, HIGH = np.array([0.5, 0.0, 6.0, 0.0, 15.0]), np.array([4.0, 6.0, 20.0, 1.0, 26.0])

FLOOR = {"gel_time": 0.1, "peak_temperature": 4.0, "hardness": 1.5, "tack": 0.4, "opacity": 0.4}
SCATTERS = np.geomspace(0.5, 4.0, 9)  # times the usual scatter
# level, ln dose, its square, room in tens of degC, ln depth, pigment, its log, open face; then the usual scatter
BELIEFS = {
    "gel_time": ([3.2, -0.7, 0, -0.6, 0, 0, 0, 0], [0.8, 0.5, 0.2, 0.4, 0.3, 0.1, 0.15, 0.2], 0.15),
    "peak_temperature": ([60, 20, 0, 20, 35, 0, 0, 0], [35, 25, 10, 20, 30, 5, 8, 10], 8.0),
    "hardness": ([78, 0, -4, 3, 4, -0.5, 0, -1], [10, 8, 5, 6, 6, 1.5, 2, 4], 2.0),
    "tack": ([0.6, -0.2, 0.4, -0.3, -0.3, 0.1, 0, 1.2], [0.9, 0.8, 0.8, 0.6, 0.7, 0.25, 0.3, 1.2], 0.45),
    "opacity": ([1, 0, 0, 0, 0.5, 0.2, 0.6, 0], [1, 0.3, 0.2, 0.2, 0.5, 0.4, 0.6, 0.3], 0.45),
}


def bounds(aim):
    """An aim on the scale on which a spreadsheet's number scatters evenly: log of minutes, whole grades."""
    low = -np.inf if aim.at_least is None else aim.at_least
    high = np.inf if aim.at_most is None else aim.at_most
    if aim.reading in GRADES:
        return (np.ceil(low) - 0.5 if low > 0 else -np.inf), (np.floor(high) + 0.5 if high < 3 else np.inf)
    if aim.reading == "gel_time":
        return np.log(low), np.log(high)
    return low, high


def success(aims, means, spreads):
    """Chance of meeting every aim when readings are independent normals; `means` and `spreads` by reading."""
    total = 1.0
    for aim in aims:
        low, high = bounds(aim)
        mean, spread = means[aim.reading], spreads[aim.reading]
        total = total * (ndtr((high - mean) / spread) - ndtr((low - mean) / spread))
    return total


def sobol(count, seed):
    points = LOW[:4] + (HIGH - LOW)[:4] * qmc.Sobol(4, rng=np.random.default_rng(seed)).random(count)
    return np.column_stack([points[:, :3].round(1), points[:, 3].round()])


class Habit:
    """2 % catalyst, 1 % pigment, covered: whatever the room."""

    name = "habit"

    def __init__(self, world):
        self.world = world

    def propose(self, room, session):
        return np.tile([2.0, 1.0, 10.0, 1.0], (POURS, 1))

    def learn(self):
        pass

    def recommend(self, room, depth):
        return [2.0, 1.0, depth, 1.0]


class Chooser(Habit):
    """A player that gives every setting a chance and recommends the best of a grid."""

    def stated(self, table):
        return success(self.world.aims, *self.predicted(table[list(CHOSEN)].to_numpy(float)))

    def recommend(self, room, depth):
        table = grid(room, depth)
        return table[list(CHOSEN[:4])].to_numpy()[int(np.argmax(self.stated(table)))]


class Surfaces(Chooser):
    """Sobol points; a least-squares surface a reading, with squares and products as the points allow."""

    name = "surfaces"

    def __init__(self, world):
        super().__init__(world)
        self.points = sobol(32, world.seed)

    def propose(self, room, session):
        return self.points[POURS * session : POURS * (session + 1)]

    def _terms(self, points):
        coded, made = 2 * (points - LOW) / (HIGH - LOW) - 1, len(self.world.made)
        columns = [np.ones(len(coded)), *(coded.T if made >= 8 else coded.T[[0, 2]])]
        if made >= 12:
            columns += [coded[:, 0] ** 2, coded[:, 0] * coded[:, 2]]
        if made >= 20:
            columns += [coded[:, 1] ** 2, coded[:, 2] ** 2, coded[:, 0] * coded[:, 4]]
        return np.column_stack(columns)

    def learn(self):
        design, seen = self._terms(np.array(self.world.made)), np.array(self.world.seen)
        self.betas = np.linalg.lstsq(design, seen, rcond=None)[0]
        free = max(len(design) - np.linalg.matrix_rank(design), 1)
        left = np.sqrt(((seen - design @ self.betas) ** 2).sum(axis=0) / free)
        self.spread = {name: max(spread, FLOOR[name]) for name, spread in zip(READINGS, left, strict=True)}

    def predicted(self, points):
        means = self._terms(points) @ self.betas
        return dict(zip(READINGS, means.T, strict=True)), self.spread


class Process(Chooser):
    """A Gaussian process a reading; pours where success is likeliest, each pick taken as read before the next."""

    name = "process"
    KERNEL = ConstantKernel(1.0) * Matern([1.0] * 5, (0.2, 20.0), nu=2.5) + WhiteKernel(0.1, (1e-3, 1.0))

    def __init__(self, world):
        super().__init__(world)
        self.first = sobol(8, world.seed)

    def learn(self):
        coded, seen = (np.array(self.world.made) - LOW) / (HIGH - LOW), np.array(self.world.seen)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a length at its bound is no failure here
            self.models = [
                GaussianProcessRegressor(self.KERNEL, normalize_y=True, n_restarts_optimizer=1, random_state=0).fit(coded, column)
                for column in seen.T
            ]

    def predicted(self, points, models=None):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            both = [model.predict((points - LOW) / (HIGH - LOW), return_std=True) for model in models or self.models]
        means, spreads = zip(*both, strict=True)
        return dict(zip(READINGS, means, strict=True)), dict(zip(READINGS, [np.maximum(s, 1e-6) for s in spreads], strict=True))

    def propose(self, room, session):
        if not session:
            return self.first[:POURS]
        points = np.column_stack([sobol(256, session), np.full(256, room)])
        models, picks = self.models, []
        for _ in range(POURS):
            picks.append(int(np.argmax(success(self.world.aims, *self.predicted(points, models)))))
            models = [self._believing(model, points[picks[-1:]]) for model in models]
        return points[picks][:, :4]

    @staticmethod
    def _believing(model, point):
        """The process with its own mean at a point taken as a reading, hyperparameters kept."""
        coded = (point - LOW) / (HIGH - LOW)
        values = np.append(model.y_train_ * model._y_train_std + model._y_train_mean, model.predict(coded))
        again = GaussianProcessRegressor(model.kernel_, normalize_y=True, optimizer=None)
        return again.fit(np.vstack([model.X_train_, coded]), values)


class Plain(Chooser):
    """A Bayesian linear model a reading with blunt wide normal beliefs; numpy alone.

    Beliefs: middles a maker would say, spreads so wide that a sign is hardly believed (no source). The scatter is a
    mixture over a grid with a broad lognormal belief; coefficients are exact given the scatter.
    """

    name = "plain"
    @staticmethod
    def _terms(points):
        dose, pigment, depth, cover, room = points.T
        ln_dose = np.log(dose / 1.5)
        return np.column_stack([
            np.ones(len(points)), ln_dose, ln_dose**2, (room - 20) / 10, np.log(depth / 10), pigment - 0.5,
            np.log((pigment + 0.1) / 0.6), 1 - cover,
        ])

    def learn(self):
        design, seen = self._terms(np.array(self.world.made)), np.array(self.world.seen)
        self.fits = {name: self._fitted(design, column, *BELIEFS[name]) for name, column in zip(READINGS, seen.T, strict=True)}

    def _fitted(self, design, seen, middle, spread, usual):
        middle, spread = np.array(middle, float), np.array(spread, float)
        found = []
        for scatter in usual * SCATTERS:
            precision = design.T @ design / scatter**2 + np.diag(spread**-2.0)
            mean = np.linalg.solve(precision, design.T @ seen / scatter**2 + middle / spread**2)
            cover = scatter**2 * np.eye(len(seen)) + (design * spread**2) @ design.T
            off = seen - design @ middle
            belief = -0.5 * (np.log(scatter / usual) / 0.6) ** 2
            weight = belief - 0.5 * (np.linalg.slogdet(cover)[1] + off @ np.linalg.solve(cover, off))
            found.append((weight, mean, np.linalg.inv(precision), scatter))
        top = max(weight for weight, *_ in found)
        return [(np.exp(weight - top), mean, spread, scatter) for weight, mean, spread, scatter in found]

    def stated(self, table):
        design, total = self._terms(table[list(CHOSEN)].to_numpy(float)), 1.0
        for aim in self.world.aims:
            (low, high), fits = bounds(aim), self.fits[aim.reading]
            met = 0.0
            for weight, mean, spread, scatter in fits:
                sd = np.sqrt(np.einsum("ij,jk,ik->i", design, spread, design) + scatter**2)
                met = met + weight * (ndtr((high - design @ mean) / sd) - ndtr((low - design @ mean) / sd))
            total = total * met / sum(weight for weight, *_ in fits)
        return total


class Kit(Habit):
    """This package, learning fast. Where it raises instead of answering, that is counted and its inner choice taken."""

    name = "kit"

    def __init__(self, world):
        super().__init__(world)
        self.raised = {"recommend": 0, "next_pours": 0}
        self.conflicts = {}  # readings of the aims said to be out of reach, by room and depth
        self.learn()

    def learn(self):
        self.fits, self.states = fit_castings(self.world.castings()), None

    def propose(self, room, session):
        try:
            return next_pours(self.fits, room=room, pours=POURS, seed=session).table[list(CHOSEN[:4])].to_numpy(float)
        except ValueError:
            self.raised["next_pours"] += 1
            return np.array([self._inner(room, depth) for depth in (7.0, 15.0, 10.0, 20.0)])

    def recommend(self, room, depth):
        self.conflicts[room, depth] = ()
        try:
            said = recommend(self.fits, room=room, fixed={"thickness": depth})
            self.conflicts[room, depth] = tuple(aim.reading for aim in said.conflict.aims) if said.conflict else ()
            return said.table[list(CHOSEN[:4])].to_numpy(float)[0]
        except ValueError:
            self.raised["recommend"] += 1
            return self._inner(room, depth)

    def _inner(self, room, depth):
        self.states = self.states or states_of(self.fits)
        given = settings_table(self.world.study, {"thickness": depth}, room=room)
        best = best_settings(self.fits, self.states, given, free_factors(self.world.study, {"thickness": depth}))
        return best[list(CHOSEN[:4])].to_numpy(float)[0]

    def intervals(self, table):
        """Chance at each row with its 90 % interval: an array (rows, 3)."""
        return chance(self.fits, pd.DataFrame(table)).table[["chance", "low", "high"]].to_numpy(float)

    def effects(self):
        """Every effect it states: reading, factor, from, to, low, high, good grades."""
        for name, fit in self.fits.items():
            for one in effects(fit).each:
                yield name, one.factor.name, one.start, one.end, one.low, one.high, one.good


PEERS = (Habit, Surfaces, Process)
