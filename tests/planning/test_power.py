"""Power against closed forms, printed values, an independent library and simulation."""

from itertools import product

import mpmath
import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from testpour.planning.criteria import main_terms, quadratic_terms
from testpour.planning.factorial import _full_factorial
from testpour.planning.power import (
    _chance_to_notice,
    plan_power,
    smallest_effect,
)

SPLIT = np.column_stack([np.repeat([-1, 1, -1, 1, -1, 1], 4), np.tile([-1, 1], 12)])
SESSIONS = np.repeat(range(6), 4)


def poisson_mixture(lam, df1, df2, alpha):
    """Chance of an F test from its definition, a Poisson mixture of central distributions, 40 digits."""
    with mpmath.workdps(40):
        inside = lambda x, a: mpmath.betainc(a, mpmath.mpf(df2) / 2, 0, x, regularized=True)
        bar = mpmath.findroot(lambda x: inside(x, mpmath.mpf(df1) / 2) - (1 - mpmath.mpf(alpha)), (0.2, 0.6),
                              solver="anderson")
        half, missed = mpmath.mpf(lam) / 2, mpmath.mpf(0)
        for j in range(150):
            weight = mpmath.exp(-half) * half**j / mpmath.factorial(j)
            missed += weight * inside(bar, mpmath.mpf(df1) / 2 + j)
        return float(1 - missed)


@pytest.mark.parametrize("lam, df, expected", [(5, 8, 0.502488131237)])
def test_noncentral_f_closed_form(lam, df, expected):
    """Definition of the noncentral F distribution; expected values computed beforehand the same way."""
    assert _chance_to_notice(np.sqrt(lam), 1.0, df, 0.05) == pytest.approx(expected, abs=1e-12)
    assert _chance_to_notice(np.sqrt(lam), 1.0, df, 0.05) == pytest.approx(poisson_mixture(lam, 1, df, "0.05"), abs=1e-12)


@pytest.mark.parametrize("n, d, printed", [(20, 1.0, 0.8689528), (64, 0.5, 0.8014596)])
def test_printed_power_of_two_groups(n, d, printed):
    """R help page of power.t.test (from memory; it drops the far tail, below 1e-6 here), and statsmodels."""
    found = _chance_to_notice(d, np.sqrt(2 / n), 2 * n - 2, 0.05)
    assert found == pytest.approx(printed, abs=1e-6)
    assert found == pytest.approx(TTestIndPower().power(d, n, 0.05), abs=1e-10)


@pytest.mark.parametrize("pours, effect, df, expected", [
    (16, 2, 5, 0.887258040418), (16, 1, 11, 0.446466157845), (8, 2, 4, 0.571609457701),
])
def test_two_level_effect(pours, effect, df, expected):
    """Noncentrality N (effect / 2)^2 / variance, by two routes beforehand."""
    assert _chance_to_notice(effect, 2 / np.sqrt(pours), df, 0.05) == pytest.approx(expected, abs=1e-11)


def test_split_plot_is_judged_by_its_sessions():
    """Closed form: 6 sessions of 4, equal variances, change 2: hard .388625 on 4 df, easy .995942;
    treating it as fully randomised would claim .910181 for the hard factor."""
    found = plan_power(SPLIT, main_terms(2), 1.0, SESSIONS, 1.0, ["hard", "easy"])
    chances = {name: _chance_to_notice(2.0, found.se[name], found.df[name], 0.05) for name in found.index}
    assert chances == pytest.approx({"hard": 0.388625, "easy": 0.995942}, abs=6e-7)
    assert found.df.to_dict() == {"hard": 4, "easy": 17}
    assert found.compared.tolist() == ["between sessions", "within sessions"]
    naive = plan_power(SPLIT, main_terms(2), np.sqrt(2.0), names=["hard", "easy"])
    assert _chance_to_notice(2.0, naive.se["hard"], naive.df["hard"], 0.05) == pytest.approx(0.910181, abs=6e-7)


def test_standard_errors_where_sessions_vary_less_than_pours():
    """By hand: a session's mean has variance 0.5^2 + 1 / 4, six of them give the slope a sixth of that; an effect is two slopes."""
    found = plan_power(SPLIT, main_terms(2), 1.0, SESSIONS, 0.5, ["hard", "easy"])
    assert found.se.to_dict() == pytest.approx({"hard": 2 * np.sqrt((0.25 + 0.25) / 6), "easy": 2 / np.sqrt(24)})


def test_split_plot_power_by_simulation():
    """4000 pretended castings of the same plan; hard factor judged by its session means."""
    rng = np.random.default_rng(5)
    noise = rng.normal(size=(4000, 6)) + rng.normal(size=(4000, 6, 4)).mean(2)
    hard = np.array([-1, 1, -1, 1, -1, 1])
    y = hard + noise
    slope = y @ hard / 6
    left = y - y.mean(1)[:, None] - slope[:, None] * hard
    ratio = np.abs(slope) / np.sqrt((left**2).sum(1) / 4 / 6)
    hard = plan_power(SPLIT, main_terms(2), 1.0, SESSIONS, 1.0).loc["x1"]
    expected = _chance_to_notice(2.0, hard.se, hard.df)
    share = (ratio > 2.131846786).mean()               # t, 4 df, 90 % interval: printed table value 2.132
    assert abs(share - expected) < 3 * np.sqrt(expected * (1 - expected) / 4000)


def test_term_sizes_are_changes_across_the_range():
    """By hand: 2^3, sd 1: coefficient se 1/sqrt(8), a change from low to high is twice that; t(7 - 3) etc."""
    found = plan_power(_full_factorial(3), main_terms(3), 1.0)
    assert found.se.tolist() == pytest.approx([2 / np.sqrt(8)] * 3)
    assert found.df.tolist() == [4, 4, 4]
    assert found.half_width["x1"] == pytest.approx(2.131846786 * 2 / np.sqrt(8), rel=1e-8)
    square = plan_power(np.array(list(product((-1.0, 0.0, 1.0), repeat=2))), quadratic_terms(2), 1.0)
    assert square.se["x1^2"] == pytest.approx(np.sqrt(0.5))       # 3^2: curvature variance 1/2, by hand
    assert square.se["x1"] == pytest.approx(2 * np.sqrt(1 / 6))


@pytest.mark.parametrize("df", [1, 2, 5, 40])
def test_smallest_effect_is_noticed_nine_times_in_ten(df):
    size = smallest_effect(0.7, df)
    assert _chance_to_notice(size, 0.7, df) == pytest.approx(0.9, abs=1e-8)
    assert smallest_effect(1.4, df) == pytest.approx(2 * size, rel=1e-9)
    assert size > 0.7 * stats.t.ppf(0.95, df)


def test_smallest_effect_with_a_known_spread():
    """Normal theory: t table values 1.6449 + 1.2816 standard errors."""
    assert smallest_effect(1.0, 1e7) == pytest.approx(1.644854 + 1.281552, abs=2e-5)     # far tail: 1.4e-5


def test_no_effect_is_noticed_as_often_as_promised():
    assert _chance_to_notice(0, 1, 5) == 0.10
    assert _chance_to_notice(1e-5, 1, 5, 0.05) == pytest.approx(0.05, abs=1e-8)


def test_what_changes_only_between_sessions_is_judged_by_sessions():
    """Four sessions of 2, 2, 2 and 3 pours, the oven the same within each: of 4 sessions the mean and the oven take 2. Within them 9 pours less 4 sessions
    and one setting leave 4. Standard errors by numpy's generalised least squares, sd 0.5 between pours and 0.8 between sessions; t(2) and t(4)."""
    oven, session = np.array([-1.0, 1, 1, -1])[[0, 0, 1, 1, 2, 2, 3, 3, 3]], np.repeat([0, 1, 2, 4], [2, 2, 2, 3])
    catalyst = np.array([-1.0, 1, -1, 1, 1, -1, -1, 1, 0])
    found = plan_power(np.column_stack([oven, catalyst]), main_terms(2), 0.5, session, 0.8, ["oven", "catalyst"])
    covariance = 0.25 * np.eye(9) + 0.64 * (session[:, None] == session)
    rows = np.column_stack([np.ones(9), oven, catalyst])
    se = 2 * np.sqrt(np.diag(np.linalg.inv(rows.T @ np.linalg.inv(covariance) @ rows)))[1:]
    assert found.compared.tolist() == ["between sessions", "within sessions"] and found.df.tolist() == [2, 4]
    assert found.se.tolist() == pytest.approx(se) and found.half_width.tolist() == pytest.approx(se * stats.t.ppf(0.95, [2, 4]))
    alone = plan_power(np.column_stack([oven, catalyst]), main_terms(2), 0.5, session, 0.0, believed_df=3)
    assert alone.compared.tolist() == ["within sessions"] * 2 and alone.df.tolist() == [9, 9]
    assert alone.se.tolist() == pytest.approx((np.sqrt(np.diag(np.linalg.inv(rows.T @ rows))))[1:])
