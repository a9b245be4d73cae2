"""Response surfaces: the classic sets of pours for a quadratic, and what a fitted quadratic looks like."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import f as fisher
from scipy.stats import qmc

from testpour.planning.criteria import model_rows, quadratic_terms, term_name
from testpour.planning.factorial import best_generators, fractional_factorial, full_factorial
from testpour.wording import said_in_markdown

# Positions that vary together; Box and Behnken (1960), Technometrics 2, 455-475.
_TRIPLES = {
    6: [(0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)],
    7: [(3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)],
}


@dataclass(frozen=True, eq=False)
class CompositeSet:
    """A central composite set.

    Attributes
    ----------
    rows : array (n, k)
        Coded settings; stars reach `alpha`.
    part : array (n,) of int
        0 for the cube with its centre pours, 1 for the star with its own: two sessions.
    alpha : float
        Distance of the star pours from the centre.
    """

    rows: np.ndarray = field(repr=False)
    part: np.ndarray = field(repr=False)
    alpha: float


def central_composite(k, alpha="rotatable", centres=(4, 2), base=None):
    """Cube, star and centre pours for a full quadratic.

    Parameters
    ----------
    k : int
        Factors, at least 2.
    alpha : {"rotatable", "face", "blocks"} or float
        Star distance: equal variance in all directions; on the faces; or cube and star orthogonal as sessions.
    centres : (int, int)
        Centre pours with the cube and with the star.
    base : int, optional
        The cube is the minimum-aberration fraction of 2**base pours; full by default.

    References
    ----------
    Box and Hunter (1957), Annals of Mathematical Statistics 28, 195-241.
    """
    base = k if base is None else base
    cube = fractional_factorial(k, best_generators(k, base) if base < k else ())
    if cube.resolution < 5 and base < k:
        raise ValueError(f"A cube of {2**base} pours mixes two-factor interactions of {k} factors: "
                         f"use base={base + 1}.")
    corners, star = len(cube.rows), 2 * k
    distances = {"rotatable": corners**0.25, "face": 1.0,
                 "blocks": (corners * (star + centres[1]) / (2 * (corners + centres[0]))) ** 0.5}
    if isinstance(alpha, str) and alpha not in distances:
        raise ValueError(f"alpha is {alpha!r}: choose {', '.join(map(repr, distances))} or a number.")
    distance = distances[alpha] if isinstance(alpha, str) else float(alpha)
    arms = np.kron(np.eye(k), [[-distance], [distance]])
    rows = np.vstack([cube.rows, np.zeros((centres[0], k)), arms, np.zeros((centres[1], k))])
    return CompositeSet(rows, np.repeat([0, 1], [corners + centres[0], star + centres[1]]), distance)


def box_behnken(k, centres=3):
    """Three-level set for a quadratic without any corner pour, 3 to 7 factors.

    References
    ----------
    Box and Behnken (1960), Technometrics 2, 455-475.
    """
    if k not in (3, 4, 5, 6, 7):
        raise ValueError(f"Sets without corners are built for 3 to 7 factors; {k} given.")
    together = _TRIPLES.get(k) or [(i, j) for i in range(k) for j in range(i + 1, k)]
    out = []
    for positions in together:
        rows = np.zeros((2 ** len(positions), k))
        rows[:, positions] = full_factorial(len(positions))
        out.append(rows)
    return np.vstack([*out, np.zeros((centres, k))])


def space_filling(k, runs, allowed=None, seed=0):
    """Pours spread evenly over the region, shape (runs, k).

    A Latin hypercube improved for evenness over the cube; when `allowed` (points (m, k) to booleans) cuts the
    cube, the first scrambled Sobol points inside it.
    """
    if allowed is None:
        sample = qmc.LatinHypercube(k, seed=seed, optimization="random-cd").random(runs)
        return 2 * sample - 1
    sobol, inside = qmc.Sobol(k, seed=seed), np.zeros((0, k))
    for power in range(8, 17):
        points = 2 * sobol.random(2**8 if power == 8 else 2 ** (power - 1)) - 1
        inside = np.vstack([inside, points[np.asarray(allowed(points), bool)]])
        if len(inside) >= runs:
            return inside[:runs]
    raise ValueError(f"Only {len(inside)} of 65536 points are allowed, {runs} pours wanted: loosen the limits.")


@dataclass(frozen=True, eq=False)
class Canonical:
    """The shape of a quadratic: its stationary point and the curvature along its own axes.

    Attributes
    ----------
    point : array (k,)
        Stationary point, coded.
    value : float
        Fitted value there.
    eigenvalues : array (k,)
        Curvatures, largest first.
    directions : array (k, k)
        Columns are the axes belonging to the eigenvalues.
    """

    point: np.ndarray
    value: float
    eigenvalues: np.ndarray
    directions: np.ndarray = field(repr=False)

    @property
    def kind(self):
        """``"maximum"``, ``"minimum"`` or ``"saddle"``."""
        low, high = self.eigenvalues[-1], self.eigenvalues[0]
        return "maximum" if high < 0 else "minimum" if low > 0 else "saddle"

    def sentence(self):
        """Where it lies and what it is, with a warning when it is outside the settings tried."""
        where = ", ".join(f"{x:.3g}" for x in self.point)
        far = np.abs(self.point).max()
        note = "" if far <= 1 else f"; that is {far:.2g} times as far out as the cube reaches, so do not trust it"
        return f"The fitted surface has a {self.kind} of {self.value:.4g} at ({where}) in coded settings{note}."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def canonical(constant, slopes, curvature):
    """Canonical analysis of ``constant + slopes'x + x'curvature x`` (curvature symmetric, shape (k, k)).

    References
    ----------
    Box and Wilson (1951), J. Royal Statistical Society B 13, 1-45.
    """
    slopes, curvature = np.asarray(slopes, float), np.asarray(curvature, float)
    sizes, directions = np.linalg.eigh(curvature)
    if np.abs(sizes).min() < 1e-12 * max(np.abs(sizes).max(), 1e-300):
        raise ValueError("The surface is flat along one direction, so it has no single stationary point: "
                         "follow the ridge instead, or pour further out.")
    point = -0.5 * np.linalg.solve(curvature, slopes)
    return Canonical(point, float(constant + 0.5 * slopes @ point), sizes[::-1], directions[:, ::-1])


@dataclass(frozen=True, eq=False)
class QuadraticFit:
    """A least-squares quadratic.

    Attributes
    ----------
    table : DataFrame
        Indexed by term; columns coefficient, se. Sessions enter as differences from the first.
    residual : (float, int)
        Residual sum of squares and its degrees of freedom.
    lack : (float, float) or None
        F of lack of fit against repeats within sessions, and its p; None when nothing was repeated.
    canonical : Canonical
    """

    table: pd.DataFrame = field(repr=False)
    residual: tuple
    lack: tuple | None
    canonical: Canonical

    def sentence(self):
        """The shape, and whether a quadratic is enough."""
        if self.lack is None:
            return self.canonical.sentence() + " Nothing was repeated within a session, so the fit is unchecked."
        says = "bends in ways a quadratic does not follow" if self.lack[1] < 0.05 else "is followed well enough"
        return self.canonical.sentence() + f" The surface {says} (lack of fit p = {self.lack[1]:.2g})."

    __repr__ = sentence
    _repr_markdown_ = said_in_markdown


def fit_quadratic(rows, readings, sessions=None):
    """Full quadratic by least squares with a shift per session, and its canonical analysis.

    Parameters
    ----------
    rows : array (n, k)
        Coded settings.
    readings : array (n,)
    sessions : array (n,), optional
        Session label of each pour.
    """
    rows, readings = np.asarray(rows, float), np.asarray(readings, float)
    terms = quadratic_terms(rows.shape[1])
    labels, number = np.unique(np.zeros(len(rows)) if sessions is None else sessions, return_inverse=True)
    design = np.hstack([model_rows(rows, terms), np.eye(len(labels))[number][:, 1:]])
    df = len(rows) - design.shape[1]
    if np.linalg.matrix_rank(design) < design.shape[1] or df < 1:
        raise ValueError(f"{len(rows)} pours do not settle {design.shape[1]} coefficients and a spread: "
                         "make more pours at settings not tried yet.")
    root = np.linalg.qr(design)
    found = np.linalg.solve(root.R, root.Q.T @ readings)
    rss = float(((readings - design @ found) ** 2).sum())
    se = np.sqrt(rss / df * (np.linalg.inv(root.R) ** 2).sum(1))
    names = [f"x{i + 1}" for i in range(rows.shape[1])]
    index = [term_name(t, names) for t in terms] + [f"session {label}" for label in labels[1:]]
    table = pd.DataFrame({"coefficient": found, "se": se}, index=index)
    lack = _lack_of_fit(np.column_stack([rows, number]), readings, rss, df)
    return QuadraticFit(table, (rss, df), lack, _canonical_of(found, terms))


def _canonical_of(found, terms):
    k = len(terms[0])
    curvature = np.zeros((k, k))
    for term, size in zip(terms[k + 1 :], found[k + 1 :], strict=False):
        i, j = np.repeat(np.arange(k), term)
        curvature[i, j] += size / 2
        curvature[j, i] += size / 2
    return canonical(found[0], found[1 : k + 1], curvature)


def _lack_of_fit(places, readings, rss, df):
    """F and p of lack of fit; repeats count only within the same session."""
    _, group = np.unique(np.round(places, 9), axis=0, return_inverse=True)
    group = group.ravel()
    count = np.bincount(group)
    pure_df = len(readings) - len(count)
    means = np.bincount(group, readings) / count
    pure = float(((readings - means[group]) ** 2).sum())
    if pure_df == 0 or pure == 0 or df == pure_df:
        return None
    ratio = (rss - pure) / (df - pure_df) / (pure / pure_df)
    return float(ratio), float(fisher.sf(ratio, df - pure_df, pure_df))
