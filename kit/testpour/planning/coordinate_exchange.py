"""Coordinate exchange: many random starts improved in parallel, a few coordinates of one pour at a time.

Replacing the model row x of a pour by y changes the information by a matrix of rank two, so every candidate
y is scored from the current inverse without a new determinant (Fedorov 1972; Meyer and Nachtsheim 1995).
With a shared session error the same holds for rows shifted by the rest of their session: for session size
m, c = eta / (1 + m eta), a = c / (1 - c) and r = the sum of the session's other rows, the information is
a constant plus (1 - c)(y - a r)(y - a r)'.
"""

from dataclasses import dataclass

import numpy as np

from testpour.planning.criteria import information, model_rows
from testpour.planning.problem import DesignProblem

GAIN = 1e-9        # smallest relative gain that counts as progress
RIDGE = 1e-8       # keeps singular random starts invertible; never part of a reported value


def inverse_of(matrix: np.ndarray) -> np.ndarray:
    """Inverse of information (..., p, p), with a small ridge so that a singular random start has one too."""
    p = matrix.shape[-1]
    ridge = RIDGE * np.trace(matrix, axis1=-2, axis2=-1) / p
    return np.linalg.inv(matrix + ridge[..., None, None] * np.eye(p))


@dataclass
class CandidateGroup:
    """Axes that move together and the values they may take.

    `values` has shape (C, g), or (B, C, g) when every start has its own candidates.
    """

    axes: list[int]
    values: np.ndarray
    terms: np.ndarray
    whole: bool = False

    def __post_init__(self):
        k = self.terms.shape[1]
        self.others = [f for f in range(k) if f not in self.axes]
        self.rows = model_rows(self.values, self.terms[:, self.axes])

    def rest(self, settings: np.ndarray) -> np.ndarray:
        """What the other axes contribute to each term, shape (..., p)."""
        return model_rows(settings[..., self.others], self.terms[:, self.others])

    def linear(self, vector: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """y'v for every start and candidate, shape (B, C), of vectors (B, p) and what `rest` gave."""
        return (self.rows @ (vector * rest)[:, :, None])[:, :, 0]

    def quadratic(self, matrix: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """y'Qy for every start and candidate, shape (B, C), of matrices (B, p, p) and what `rest` gave."""
        matrix = matrix * rest[:, :, None] * rest[:, None, :]
        return ((self.rows @ matrix) * self.rows).sum(-1)

    def pick(self, starts: np.ndarray, best: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Values and model-row factors of candidate `best` for the given starts, shapes (b, axes) and (b, p)."""
        place = best if self.rows.ndim == 2 else (starts, best)
        return self.values[place], self.rows[place]


@dataclass
class Designs:
    """Starts under improvement: settings (B, n, k) and everything kept in step with them."""

    problem: DesignProblem
    settings: np.ndarray
    moments: np.ndarray | None = None     # if given, minimise the average variance; if None, maximise the determinant

    def __post_init__(self):
        problem = self.problem
        self.terms = np.asarray(problem.terms, int)
        self.session = problem.all_sessions
        size = np.bincount(self.session)
        shrink = problem.eta / (1 + problem.eta * size) if problem.eta > 0 else np.zeros(len(size))
        self.weight, self.shift = 1 - shrink, shrink / (1 - shrink)
        self.rows = model_rows(self.settings, self.terms)
        self.changed = np.zeros(len(self.settings), bool)

    def matrix(self) -> np.ndarray:
        """Information of the current rows: shape (designs, terms, terms)."""
        return information(self.rows, self.session, self.problem.eta, self.problem.prior)

    def refresh(self) -> None:
        """Recompute sums and inverse from the settings, so rounding cannot build up."""
        self.sums = np.eye(len(self.weight))[self.session].T @ self.rows
        self.inverse = inverse_of(self.matrix())
        self.changed[:] = False
        self.spread = np.empty_like(self.inverse)
        self._spread(slice(None))

    def _spread(self, which):
        if self.moments is not None:
            self.spread[which] = self.inverse[which] @ self.moments @ self.inverse[which]

    def place(self, starts: np.ndarray, i: int, axes: list[int], values: np.ndarray, rows: np.ndarray) -> None:
        """Write new coordinates (b, axes) and model rows (b, p) of pour `i`, after the inverse has been updated."""
        self.sums[starts, self.session[i]] += rows - self.rows[starts, i]
        self.rows[starts, i] = rows
        self.settings[starts[:, None], i, axes] = values
        self.changed[starts] = True
        self._spread(starts)

    def keep(self, which: np.ndarray) -> None:
        """Drop every start outside the boolean mask `which`."""
        for name in ("settings", "rows", "changed"):
            setattr(self, name, getattr(self, name)[which])


@dataclass
class Move:
    """One pour about to change: what stays, and how candidate rows enter the information."""

    group: CandidateGroup
    rest: np.ndarray      # what the coordinates that stay contribute to each term
    others: np.ndarray    # sum of the other rows of the session
    shift: float
    weight: float

    def shifted(self, rows: np.ndarray, which: np.ndarray | slice = slice(None)) -> np.ndarray:
        """Rows less their share of the session: y - a r."""
        return rows - self.shift * self.others[which]

    def line(self, vector: np.ndarray) -> np.ndarray:
        """(y - a r)'v for every start and candidate, shape (B, C), of one v (B, p) a start."""
        return self.group.linear(vector, self.rest) - self.shift * (self.others * vector).sum(1)[:, None]

    def square(self, matrix: np.ndarray) -> np.ndarray:
        """(y - a r)'Q(y - a r) for every start and candidate, shape (B, C), of one Q (B, p, p) a start."""
        form, pull = self.group.quadratic(matrix, self.rest), _times(matrix, self.others)
        own = (self.others * pull).sum(1)[:, None]
        return form - 2 * self.shift * self.group.linear(pull, self.rest) + self.shift**2 * own


@dataclass
class Swap:
    """Scores of swapping `leaving` for each candidate: variances out and in, and the determinant's ratio."""

    leaving: np.ndarray
    pull: np.ndarray
    leave: np.ndarray
    enter: np.ndarray
    cross: np.ndarray

    @property
    def ratio(self) -> np.ndarray:
        """Determinant after over determinant before, shape (B, C)."""
        return (1 + self.enter) * (1 - self.leave) + self.cross**2


def _times(matrix, vector):
    return (matrix @ vector[:, :, None])[:, :, 0]


def exchange_pour(batch: Designs, i: int, group: CandidateGroup) -> None:
    """Give pour `i` of every start its best candidate from `group`, in place."""
    j = batch.session[i]
    shift, weight = batch.shift[j], batch.weight[j]
    move = Move(group, group.rest(batch.settings[:, i]), batch.sums[:, j] - batch.rows[:, i], shift, weight)
    leaving = move.shifted(batch.rows[:, i])
    pull = _times(batch.inverse, leaving)
    swap = Swap(leaving, pull, weight * (leaving * pull).sum(1)[:, None],
                weight * move.square(batch.inverse), weight * move.line(pull))
    ratio = swap.ratio
    score = ratio - 1 if batch.moments is None else _variance_drop(batch, move, swap, ratio)
    starts, best = _improving(batch, [i], group, score, 0.0)
    if len(starts):
        values, factor = group.pick(starts, best)
        rows = factor * move.rest[starts]
        batch.inverse[starts] = _updated(batch.inverse[starts], move.shifted(rows, starts), weight, swap, starts, best)
        batch.place(starts, i, group.axes, values, rows)


def _variance_drop(batch, move, swap, ratio):
    """Relative drop of the average variance for every candidate."""
    pull = _times(batch.spread, swap.leaving)
    gone = move.weight * (swap.leaving * pull).sum(1)[:, None]
    come = move.weight * move.square(batch.spread)
    both = move.weight * move.line(pull)
    drop = (1 - swap.leave) * come + 2 * swap.cross * both - (1 + swap.enter) * gone
    now = np.einsum("bij,ji->b", batch.inverse, batch.moments)[:, None]
    return np.where(ratio > 1e-6, drop / np.maximum(ratio, 1e-6) / now, -np.inf)


def _updated(inverse, coming, weight, swap, starts, best):
    """Inverse after the swap: a rank-two update (Sherman, Morrison and Woodbury)."""
    leave, enter, cross = swap.leave[starts, 0], swap.enter[starts, best], swap.cross[starts, best]
    ends = np.stack([_times(inverse, coming), swap.pull[starts]], axis=1)
    middle = np.empty((len(starts), 2, 2))
    middle[:, 0, 0], middle[:, 1, 1] = 1 - leave, -(1 + enter)
    middle[:, 0, 1] = middle[:, 1, 0] = cross
    middle *= (weight / ((1 + enter) * (1 - leave) + cross**2))[:, None, None]
    return inverse - ends.transpose(0, 2, 1) @ (middle @ ends)


def _improving(batch, members, group, score, now):
    """Starts whose best allowed candidate scores above `now`, and that candidate."""
    if batch.problem.constrained:
        b, c = score.shape
        trial = np.repeat(batch.settings[:, members][:, None], c, axis=1)
        trial[..., group.axes] = np.broadcast_to(group.values, (b, c, len(group.axes)))[:, :, None, :]
        score = np.where(batch.problem.allowed(trial).all(-1), score, -np.inf)
    best = score.argmax(1)
    starts = np.flatnonzero(score[np.arange(len(best)), best] > now + GAIN)
    return starts, best[starts]


def exchange_session(batch: Designs, j: int, group: CandidateGroup) -> None:
    """Give session `j` of every start its best value of the factors set once per session, in place."""
    members = np.flatnonzero(batch.session == j)
    rest = group.rest(batch.settings[:, members])
    factor = np.broadcast_to(group.rows, (len(batch.rows), *group.rows.shape[-2:]))
    new = factor[:, :, None, :] * rest[:, None]
    c = 1 - batch.weight[j]
    matrix = batch.matrix()
    trial = (matrix - _session_information(batch.rows[:, members], c))[:, None] + _session_information(new, c)
    score, now = _score(trial, batch.moments), _score(matrix, batch.moments)
    starts, best = _improving(batch, members, group, score, now)
    if len(starts):
        values, _ = group.pick(starts, best)
        batch.settings[np.ix_(starts, members, np.array(group.axes))] = values[:, None, :]
        batch.rows[starts[:, None], members[None, :]] = new[starts, best]
        batch.sums[starts, j] = batch.rows[starts][:, members].sum(1)
        batch.inverse[starts] = inverse_of(trial[starts, best])
        batch.changed[starts] = True
        batch._spread(starts)


def _session_information(rows, c):
    """A session's own share of the information."""
    total = rows.sum(-2)
    return np.swapaxes(rows, -1, -2) @ rows - c * total[..., :, None] * total[..., None, :]


def _score(matrix, moments):
    """Higher is better: log determinant, or minus the log of the average variance."""
    if moments is None:
        sign, size = np.linalg.slogdet(matrix + RIDGE * np.eye(matrix.shape[-1]))
        return np.where(sign > 0, size, -np.inf)
    return -np.log(np.maximum(np.einsum("...ij,ji->...", inverse_of(matrix), moments), 1e-300))
