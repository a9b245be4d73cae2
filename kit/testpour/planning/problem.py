"""The coded problem that an optimal plan solves: axes, terms, pours, sessions, limits; and its refusals."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from testpour.common.problems import Problem
from testpour.common.wording import capital, count
from testpour.planning.criteria import Exponents, cube_moments, model_rows, region_points


class PlanConflict(Problem):
    """The arguments of a plan conflict; `problems` lists each conflict with the smallest change that would help."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__(" ".join(self.problems))


class NotSeparated(PlanConflict):
    """The pours are too few, or too alike, to tell the terms of the model apart."""


@dataclass(frozen=True)
class Axis:
    """One coded factor."""

    name: str
    levels: tuple[float, ...] | None = None  # allowed coded values; None is any from -1 to 1
    hard: bool = False  # set once per session: every pour of the session shares it
    met: tuple[float, ...] | None = None  # one coded value per session, which the plan cannot change
    words: str = ""  # its words in messages; else its name

    @property
    def whole(self) -> bool:
        """Whether all pours of a session share it."""
        return self.hard or self.met is not None


@dataclass(frozen=True, eq=False)
class DesignProblem:
    """A coded planning problem of `runs` new pours.

    Parameters
    ----------
    axes : tuple of Axis
    terms : tuple of tuple of int
        Exponents, one tuple per term, one exponent per axis.
    runs : int
        New pours.
    sessions : tuple of int, optional
        Session number of each new pour, from 0; None for one session without a shared error.
    eta : float
        Variance between sessions over variance between pours.
    forbidden : callable, optional
        Takes settings (m, k), returns True where a new pour may not be made.
    limit : callable, optional
        Says in words which limit `forbidden` stands for, and what would keep inside it.
    fixed : array (m, k), optional
        Pours already made, kept as they are.
    fixed_sessions : tuple of int, optional
        Session number of each fixed pour; may share numbers with the new ones.
    prior : array (p, p), optional
        Prior precision of the coefficients times the variance between pours (Bayesian D).

    Raises
    ------
    PlanConflict
        With one sentence per contradiction and the smallest change that would work.
    """

    axes: tuple[Axis, ...]
    terms: tuple[Exponents, ...]
    runs: int
    sessions: tuple[int, ...] | None = None
    eta: float = 0.0
    forbidden: Callable[[np.ndarray], np.ndarray] | None = None
    limit: Callable[[], str] | None = field(default=None, repr=False)
    fixed: np.ndarray | None = field(default=None, repr=False)
    fixed_sessions: tuple[int, ...] | None = None
    prior: np.ndarray | None = field(default=None, repr=False)

    def __post_init__(self):
        if conflicts := [*_conflicts(self)]:
            raise PlanConflict(conflicts)

    @property
    def kept(self) -> np.ndarray:
        """Fixed pours, shape (m, k); m is 0 when there are none."""
        return np.zeros((0, len(self.axes))) if self.fixed is None else np.asarray(self.fixed, float)

    @property
    def all_sessions(self) -> np.ndarray:
        """Session number of every pour: fixed pours first, then the new ones."""
        old = (0,) * len(self.kept) if self.fixed_sessions is None else self.fixed_sessions
        return np.array([*old, *(self.sessions or (0,) * self.runs)], int)

    @property
    def levels(self) -> list[tuple[float, ...] | None]:
        """Allowed values per axis; None where anything from -1 to 1 is allowed."""
        return [axis.levels for axis in self.axes]

    @property
    def constrained(self) -> bool:
        """True when the region is smaller than the cube."""
        return self.forbidden is not None

    def allowed(self, settings: np.ndarray) -> np.ndarray:
        """True for each row of `settings` (..., k) outside the forbidden region."""
        shape = settings.shape[:-1]
        if self.forbidden is None:
            return np.ones(shape, bool)
        return ~np.asarray(self.forbidden(settings.reshape(-1, settings.shape[-1])), bool).reshape(shape)

    def in_the_way(self) -> str:
        """The limit that leaves no room, as the end of a refusal; "" if there is none."""
        return f" In the way: {self.limit()}" if self.constrained and self.limit is not None else ""

    def moments(self) -> np.ndarray:
        """Moment matrix of the region: exact over the cube, sampled when the region is constrained.

        A two-valued factor counts at its two values; three or more levels are steps of a continuous scale.
        """
        if not self.constrained:
            two = [v if v is not None and len(v) < 3 else None for v in self.levels]
            return cube_moments(self.terms, two)
        rows = model_rows(region_points(len(self.axes), self.levels, self.allowed), self.terms)
        return rows.T @ rows / len(rows)


def _conflicts(problem):
    p, total = len(problem.terms), problem.runs + len(problem.kept)
    if problem.prior is None and total < p:
        yield f"{count(total, 'pour')} cannot tell {p} effects apart: plan {p - total} more, or let fewer settings vary."
    sessions = problem.all_sessions
    for f, axis in enumerate(problem.axes):
        made = sessions[: len(problem.kept)]
        if axis.hard and any(np.ptp(problem.kept[made == session, f]) > 1e-9 for session in np.unique(made)):
            yield (f"{capital(axis.words or axis.name)} is set once a session, yet pours of one session in the log differ "
                   "in it: correct the log, or write by_session = false for it in study.toml.")
    yield from _whole_session_conflicts(problem, len(np.unique(sessions)))
    if problem.constrained and not len(region_points(len(problem.axes), problem.levels, problem.allowed)):
        yield "No settings are left that may be poured." + problem.in_the_way()


def _whole_session_conflicts(problem, sessions):
    """Effects of settings that hold for a whole session cannot outnumber the sessions."""
    whole = [axis.whole for axis in problem.axes]
    if problem.prior is not None or not any(whole):
        return
    effects = sum(all(w or e == 0 for w, e in zip(whole, term, strict=True)) for term in problem.terms)
    if effects > sessions:
        yield (f"{effects} effects show only from session to session, and {count(sessions, 'session')} cannot tell them apart: "
               f"plan {count(effects - sessions, 'session')} more, or let fewer of those settings vary.")

