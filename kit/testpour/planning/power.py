"""What a plan can show before it is poured: chance to notice an effect, smallest effect, interval widths.

"Noticed" means that the interval for the effect excludes zero; with the 90 % interval used throughout, one
effect in ten that does not exist is noticed too (`FALSE_ALARM`).
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.stats import f as fisher
from scipy.stats import ncf
from scipy.stats import t as student

from testpour.planning.criteria import Exponents, information, model_rows, term_name

FALSE_ALARM = 0.10
OFTEN = 0.9  # chance with which the smallest effect is noticed


def _chance_to_notice(effect: float, se: float, df: float, false_alarm: float = FALSE_ALARM) -> float:
    """Chance that a two-sided interval for an effect excludes zero."""
    if effect == 0:
        return false_alarm
    return float(ncf.sf(fisher.isf(false_alarm, 1, df), 1, df, (effect / se) ** 2))  # t squared is F with 1 degree of freedom


def smallest_effect(se: float, df: float) -> float:
    """Smallest true effect noticed nine times in ten, in the unit of `se`."""
    top = 4.0 + student.isf(FALSE_ALARM / 2, df)
    while _chance_to_notice(top, 1.0, df) < OFTEN:
        top *= 2
    return se * brentq(lambda size: _chance_to_notice(size, 1.0, df) - OFTEN, 1e-9, top, xtol=1e-10)


def plan_power(
    rows: np.ndarray, terms: Sequence[Exponents], noise_sd: float, sessions: np.ndarray | None = None,
    session_sd: float = 0.0, names: Sequence[str] | None = None, believed_df: int = 0
) -> pd.DataFrame:
    """How closely each term of a plan will be known, and how large it must be to be noticed.

    One row per term: compared ("within sessions" or "between sessions"), df, se, half_width (90 %) and smallest (noticed
    nine times in ten). All sizes are changes in the reading, in its unit, as the term goes from its lowest to its highest
    value; so are the spreads given, between like pours of one session and between sessions.

    Standard errors are those of generalised least squares with known spreads. A term that changes only between
    sessions has as many degrees of freedom as sessions less per-session terms; any other has those left within
    sessions; `believed_df` come on top where the spreads are not only judged by the pours. Exact for balanced plans, an approximation otherwise (containment).
    """
    rows, terms = np.asarray(rows, float), [tuple(t) for t in terms]
    design = model_rows(rows, terms)
    matrix = information(design, sessions, (session_sd / noise_sd) ** 2)
    se = noise_sd * np.sqrt(np.diag(np.linalg.inv(matrix)))
    whole, df = _strata(design, sessions, session_sd)
    names = names or [f"x{i + 1}" for i in range(rows.shape[1])]
    se = se * [2 if any(e % 2 for e in term) else 1 for term in terms]  # how far a term's column moves over the cube
    df = df + believed_df
    table = pd.DataFrame({
        "compared": np.where(whole, "between sessions", "within sessions"), "df": df, "se": se,
        "half_width": se * student.isf(FALSE_ALARM / 2, df), "smallest": list(map(smallest_effect, se, df)),
    }, index=[term_name(term, names) for term in terms])
    return table[[any(term) for term in terms]]


def _strata(design, sessions, session_sd):
    """Whether each term changes only between sessions, and the degrees of freedom to judge it by."""
    n, p = design.shape
    if sessions is None or session_sd == 0:
        return np.zeros(p, bool), np.full(p, n - np.linalg.matrix_rank(design))
    _, number = np.unique(sessions, return_inverse=True)
    members = np.eye(number.max() + 1)[number]
    means = (members / members.sum(0)) @ (members.T @ design)
    whole = np.abs(design - means).max(axis=0) < 1e-9
    between = members.shape[1] - np.linalg.matrix_rank(design[:, whole]) if whole.any() else 0
    within = n - np.linalg.matrix_rank(np.hstack([design, members]))
    return whole, np.where(whole, between, within)
