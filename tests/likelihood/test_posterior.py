"""The posterior against closed forms, quadrature, an independent sampler, and simulation from the beliefs."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import trapezoid

from testpour.likelihood import posterior as posterior_module
from testpour.likelihood.chains import _lag, _moved, run_chains
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.posterior import Posterior, sample

INF = np.inf


def regression(n=14, seed=4):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.normal(size=n)])
    return design, design @ [2.0, 0.7] + 0.5 * rng.normal(size=n)


def close(draws, exact, spread, effective_size):
    """Mean of draws within four standard errors of the exact mean."""
    assert abs(np.mean(draws) - exact) < 4 * spread / np.sqrt(effective_size)


def test_flat_beliefs_give_the_t_distribution():
    """Flat in coefficients and sigma: Student's t with n - p - 1 degrees of freedom, in closed form."""
    design, y = regression()
    found = sample(IntervalModel(y, y, design), 4000, seed=1)
    inverse = np.linalg.inv(design.T @ design)
    centre = inverse @ design.T @ y
    rest = ((y - design @ centre) ** 2).sum()
    degrees = len(y) - 2 - 1
    for j in range(2):
        exact = stats.t(degrees, centre[j], np.sqrt(rest / degrees * inverse[j, j]))
        assert stats.kstest(found.coefficients[:, j], exact.cdf).pvalue > 0.001
    variance = stats.invgamma(degrees / 2, scale=rest / 2)
    assert stats.kstest(found.sd**2, variance.cdf).pvalue > 0.001
    assert found.method == "importance" and found.effective > 2000


def test_normal_and_half_normal_beliefs_against_quadrature_over_sigma():
    """Given sigma everything is normal and known; sigma itself is integrated on a grid."""
    design, y = regression(8)
    mean, spread, scale = np.array([1.5, 0.0]), np.array([0.4, 0.3]), 0.4
    found = sample(IntervalModel(y, y, design, belief=(mean, spread), sd_belief=scale), 4000, seed=2)
    sigma = np.exp(np.linspace(np.log(0.05), np.log(5), 3000))
    logs, centres, variances = [], [], []
    for s in sigma:
        total = s**2 * np.eye(8) + (design * spread**2) @ design.T
        logs.append(stats.multivariate_normal.logpdf(y, design @ mean, total) - s**2 / (2 * scale**2))
        covariance = np.linalg.inv(design.T @ design / s**2 + np.diag(spread**-2.0))
        centres.append(covariance @ (design.T @ y / s**2 + mean / spread**2))
        variances.append(np.diag(covariance))
    weight = np.exp(np.array(logs) - np.max(logs))
    weight /= trapezoid(weight, sigma)
    average = lambda values: trapezoid(weight[:, None] * np.asarray(values), sigma, axis=0)
    centre = average(centres)
    spreads = np.sqrt(average(variances) + average((np.array(centres) - centre) ** 2))
    for j in range(2):
        close(found.coefficients[:, j], centre[j], spreads[j], found.effective)
        assert found.coefficients[:, j].std() == pytest.approx(spreads[j], rel=0.06)
    middle = trapezoid(weight * sigma, sigma)
    close(found.sd, middle, found.sd.std(), found.effective)


def test_session_spread_against_quadrature():
    """Balanced sessions, exact rows: spread and sigma on a grid through the multivariate normal density.

    Two sessions only, so that the posterior piles up at a session spread of zero. Of five rows a session the
    covariance has the variances s^2 (eight times), s^2 + 5 t^2 (between sessions), and that plus 10 from the level.
    """
    rng = np.random.default_rng(8)
    y = np.array([0.3, -0.3])[np.repeat([0, 1], 5)] * 0.2 + 0.4 * rng.normal(size=10)
    session = np.repeat(["mon", "tue"], 5)
    model = IntervalModel(
        y,
        y,
        np.ones((10, 1)),
        groups={"session": session},
        belief=([0], [1]),
        sd_belief=0.5,
        group_beliefs={"session": 0.5},
    )
    found = sample(model, 2000, seed=3)
    sigma, tau = np.linspace(0.01, 1.5, 300), np.linspace(1e-3, 2.5, 500)
    days = y.reshape(2, 5).mean(axis=1)
    within = ((y.reshape(2, 5) - days[:, None]) ** 2).sum()
    s, t = sigma[:, None] ** 2, tau**2
    logs = -4 * np.log(s) - within / s / 2
    for squared, variance in ((5 * (days[0] - days[1]) ** 2 / 2, s + 5 * t), (10 * y.mean() ** 2, s + 5 * t + 10)):
        logs = logs - np.log(variance) / 2 - squared / variance / 2
    logs = logs - 2 * s - 2 * t  # the half-normal beliefs, each of scale 0.5
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    for draws, margin, grid in (
        (found.sd, weight.sum(axis=1), sigma),
        (found.group_sds["session"], weight.sum(axis=0), tau),
    ):
        exact = np.interp(np.sort(draws), grid + (grid[1] - grid[0]) / 2, np.cumsum(margin))
        steps = np.arange(1, len(draws) + 1) / len(draws)
        assert np.abs(exact - steps).max() < 0.045  # Kolmogorov: 1.63 / sqrt(1300), once in a hundred
    assert found.group_effects["session"].shape == (2000, 2)
    assert found.group_levels["session"].tolist() == ["mon", "tue"]


def test_draws_are_picked_by_weight_and_worth_what_the_weights_say(monkeypatch):
    """Worth one over the sum of squared weights (Kong, Liu and Wong 1994); one draw in two, in four and in four by hand."""
    rng = np.random.default_rng(0)
    assert np.bincount(posterior_module.resample(np.array([0.5, 0.25, 0.25, 0.0]), 8, rng), minlength=4).tolist() == [4, 2, 2, 0]
    seen, pick = [], posterior_module.resample
    monkeypatch.setattr(posterior_module, "resample", lambda weights, *more: seen.append(weights) or pick(weights, *more))
    y = np.array([0.2, 0.5, -0.1, 0.4, -0.3, -0.6])
    model = IntervalModel(
        y, y, np.ones((6, 1)), groups={"session": np.arange(6) // 3}, belief=([0], [1]), sd_belief=0.5, group_beliefs={"session": 0.5}
    )
    found = sample(model, 1000, seed=3)
    by_hand = 1 / (seen[0] ** 2).sum()
    assert seen[0].sum() == pytest.approx(1) and by_hand < 1000
    assert found.effective == pytest.approx(by_hand, rel=1e-12)


def test_separated_grades_against_quadrature():
    """Two grades in perfect order: slope and cut on a grid; the mode alone would be far too narrow."""
    x = np.linspace(-1.2, 1.2, 8)
    grade = (x > 0).astype(int)
    model = IntervalModel(grade, grade, x[:, None], grades=2, belief=([0], [2]), cut_belief=([0.5], [1.0]))
    found = sample(model, 4000, seed=4)
    slope, cut = np.linspace(-6, 12, 500), np.linspace(-4, 5, 300)
    z = cut[None, :, None] - slope[:, None, None] * x
    logs = np.where(grade == 0, stats.norm.logcdf(z), stats.norm.logsf(z)).sum(axis=2)
    logs += stats.norm.logpdf(slope, 0, 2)[:, None] + stats.norm.logpdf(cut, 0.5, 1)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    for draws, margin, grid in (
        (found.coefficients[:, 0], weight.sum(axis=1), slope),
        (found.cuts[:, 0], weight.sum(axis=0), cut),
    ):
        mean = margin @ grid
        spread = np.sqrt(margin @ (grid - mean) ** 2)
        close(draws, mean, spread, found.effective)
        assert draws.std() == pytest.approx(spread, rel=0.06)
    assert (found.sd == 1).all()


def censored(n=9):
    design, y = regression(n, seed=6)
    low, high = y.copy(), y.copy()
    low[:3], high[:3], high[3:6] = y[:3] - 0.3, y[:3] + 0.5, INF
    return IntervalModel(low, high, design, belief=([1, 0], [1, 1]), sd_belief=0.5), low, high, design


@pytest.mark.parametrize("draws, each", [(250, 2), (251, 4)])
def test_few_draws_have_two_inner_ones_each(draws, each, monkeypatch):
    asked, draw = [], posterior_module.Proposal.draw
    monkeypatch.setattr(posterior_module.Proposal, "draw", lambda self, count, inner, rng: asked.append(inner) or draw(self, count, inner, rng))
    sample(censored()[0], draws)
    assert asked[-1] == each and 0 in asked  # the trials draw none


def independent_density(low, high, design):
    """The same posterior written from its definition with scipy.stats, for b and log sigma."""
    exact = low == high

    def density(at):
        eta, sigma = at[:, :2] @ design.T, np.exp(at[:, 2:])
        z = lambda end: (end - eta) / sigma
        chance = np.where(
            exact, stats.norm.pdf(z(low)) / sigma, stats.norm.cdf(z(high)) - stats.norm.cdf(z(low))
        )
        with np.errstate(divide="ignore"):
            value = np.log(chance).sum(axis=1)
        belief = stats.norm.logpdf(at[:, 0], 1, 1) + stats.norm.logpdf(at[:, 1], 0, 1)
        return value + belief + stats.halfnorm.logpdf(sigma[:, 0], scale=0.5) + at[:, 2]

    return density


@pytest.mark.slow
def test_censored_rows_against_an_independent_sampler():
    """A short emcee run on the definition of the posterior; standard errors from its autocorrelation time."""
    import emcee

    model, low, high, design = censored()
    found = sample(model, 4000, seed=5)
    sampler = emcee.EnsembleSampler(32, 3, independent_density(low, high, design), vectorize=True)
    sampler.random_state = np.random.RandomState(1).get_state()
    sampler.run_mcmc(np.array([2, 0.7, -0.7]) + 0.1 * np.random.RandomState(2).normal(size=(32, 3)), 3000)
    lag = sampler.get_autocorr_time(quiet=True, tol=0).max()
    chain = sampler.get_chain(discard=500, flat=True)
    ours = np.column_stack([found.coefficients, np.log(found.sd)])
    error = chain.std(axis=0) * np.sqrt(lag / len(chain) + 1 / found.effective)
    assert (np.abs(ours.mean(axis=0) - chain.mean(axis=0)) < 4 * error).all()
    np.testing.assert_allclose(ours.std(axis=0), chain.std(axis=0), rtol=0.08)


def test_chains_give_the_same_answer_when_importance_sampling_is_refused(monkeypatch):
    """Force the fall-back and compare with importance sampling on the same model."""
    model = censored()[0]
    first = sample(model, 3000, seed=6)
    monkeypatch.setattr(posterior_module, "POOR_SHARE", 2.0)
    second = sample(model, 3000, seed=6)
    assert (first.method, second.method) == ("importance", "chains")
    error = first.coefficients.std(axis=0) * np.sqrt(1 / first.effective + 1 / second.effective)
    assert (np.abs(first.coefficients.mean(axis=0) - second.coefficients.mean(axis=0)) < 4 * error).all()
    np.testing.assert_allclose(first.coefficients.std(axis=0), second.coefficients.std(axis=0), rtol=0.08)


def test_no_rows_give_the_beliefs_back():
    """Normal coefficients, half-normal spreads (Kolmogorov-Smirnov), effects with the right variance."""
    model = IntervalModel(
        [],
        [],
        np.zeros((0, 2)),
        belief=([1, -1], [2, 0.5]),
        sd_belief=0.3,
        groups={"session": []},
        group_beliefs={"session": 0.2},
    )
    found = sample(model, 4000, seed=7)
    assert stats.kstest(found.coefficients[:, 0], stats.norm(1, 2).cdf).pvalue > 0.001
    assert stats.kstest(found.coefficients[:, 1], stats.norm(-1, 0.5).cdf).pvalue > 0.001
    assert stats.kstest(found.sd, stats.halfnorm(scale=0.3).cdf).pvalue > 0.001
    assert stats.kstest(found.group_sds["session"], stats.halfnorm(scale=0.2).cdf).pvalue > 0.001
    assert found.group_effects["session"].shape == (4000, 0) and found.effective == 4000


def test_no_rows_of_grades_give_ordered_cuts():
    model = IntervalModel(
        [], [], np.zeros((0, 1)), grades=4, belief=([0], [1]), cut_belief=([-1, 0, 1], [1, 1, 1])
    )
    cuts = sample(model, 1000).cuts
    assert (np.diff(cuts, axis=1) > 0).all()
    assert cuts[:, 1].mean() == pytest.approx(0, abs=0.15)


def test_rows_that_say_nothing_are_no_rows():
    model = IntervalModel([-INF] * 3, [INF] * 3, np.ones((3, 1)), belief=([1], [2]), sd_belief=0.3)
    found = sample(model, 2000, seed=8)
    assert stats.kstest(found.coefficients[:, 0], stats.norm(1, 2).cdf).pvalue > 0.001


def test_the_same_seed_gives_the_same_draws():
    model = censored()[0]
    first, again, other = sample(model, 200, 1), sample(model, 200, 1), sample(model, 200, 2)
    assert (first.coefficients == again.coefficients).all() and (first.sd == again.sd).all()
    assert (first.coefficients != other.coefficients).any()
    assert len(first) == 200 and first.seed == 1


def simulate(rng, graded):
    """One log drawn from the beliefs: 24 rows, 4 sessions and 6 lots, a third censored or in intervals."""
    n = 24
    design = np.column_stack([np.ones(n), rng.normal(size=n)])[:, int(graded) :]
    mean, spread = np.array([1.0, 0.5])[int(graded) :], np.array([1.0, 0.7])[int(graded) :]
    coefficients = mean + spread * rng.normal(size=len(mean))
    groups = {"session": np.arange(n) // 6, "lot": rng.permutation(n) % 6}
    spreads = {"session": abs(0.5 * rng.normal()), "lot": abs(0.5 * rng.normal())}
    latent = design @ coefficients
    for name, labels in groups.items():
        latent = latent + spreads[name] * rng.normal(size=6)[labels]
    settings = {"groups": groups, "group_beliefs": {"session": 0.5, "lot": 0.5}, "belief": (mean, spread)}
    truth = [*coefficients, *spreads.values()]
    if graded:
        cuts = np.array([1.0, 0.0])
        while cuts[0] > cuts[1]:  # the belief is Normal, given the order
            cuts = np.array([-0.8, 0.8]) + 0.5 * rng.normal(size=2)
        grade = np.digitize(latent + rng.normal(size=n), cuts)
        model = IntervalModel(
            grade, grade, design, grades=3, cut_belief=([-0.8, 0.8], [0.5, 0.5]), **settings
        )
        return model, np.array([*truth, *cuts])
    sigma = abs(0.5 * rng.normal())
    y = latent + sigma * rng.normal(size=n)
    low, high = y.copy(), y.copy()
    low[:6], high[:6] = np.floor(2 * y[:6]) / 2, np.floor(2 * y[:6]) / 2 + 0.5
    late = y[6:14] > 1.5
    low[6:14][late], high[6:14][late] = 1.5, INF
    return IntervalModel(low, high, design, sd_belief=0.5, **settings), np.array([*truth, sigma])


@pytest.mark.slow
def test_small_logs_of_every_kind_need_no_chains():
    """One to ten rows, up to seven effects, any unit: draws are worth at least half."""
    rng = np.random.default_rng(21)
    for k in range(24):
        n, p, unit = int(rng.integers(1, 11)), int(rng.integers(1, 8)), 10.0 ** rng.uniform(-4, 4)
        design = np.column_stack([np.ones(n), rng.normal(size=(n, p - 1))])
        y = design @ rng.normal(size=p) + rng.choice([0.05, 0.5, 2]) * rng.normal(size=n)
        groups = {"groups": {"session": rng.integers(0, 3, n)}} if k % 2 else {}
        if k % 3 == 0:
            grade, beliefs = np.clip(np.round(y), 0, 3), (np.zeros(p - 1), np.ones(p - 1))
            scales = {"group_beliefs": {"session": 0.3}} if groups else {}
            model = IntervalModel(
                grade,
                grade,
                design[:, 1:],
                grades=4,
                belief=beliefs,
                cut_belief=([-1, 0, 1], [1, 1, 1]),
                **groups,
                **scales,
            )
        else:
            kind, low, high = rng.random(n), y.copy(), y.copy()
            low[kind < 0.2], high[kind < 0.2] = y[kind < 0.2] - 0.5, y[kind < 0.2] + 0.2
            high[(kind > 0.2) & (kind < 0.4)], low[kind > 0.8] = INF, -INF
            scales = {"group_beliefs": {"session": 0.3 * unit}} if groups else {}
            model = IntervalModel(
                unit * low,
                unit * high,
                design,
                belief=(np.zeros(p), np.full(p, unit)),
                sd_belief=0.5 * unit,
                **groups,
                **scales,
            )
        found = sample(model, 400, seed=k)
        assert found.method == "importance" and found.effective >= 200


@pytest.mark.slow
@pytest.mark.parametrize("graded", [False, True])
def test_simulation_based_calibration(graded):
    """Truths drawn from the beliefs must rank evenly among their posterior draws (Talts et al. 2018)."""
    rng, ranks = np.random.default_rng(11), []
    for _ in range(200):
        model, truth = simulate(rng, graded)
        found = sample(model, 399, seed=int(rng.integers(1 << 30)))
        draws = [found.coefficients, *(found.group_sds[g][:, None] for g in ("session", "lot"))]
        draws = np.hstack([*draws, found.cuts if graded else found.sd[:, None]])
        ranks.append((draws < truth).sum(axis=0))
    for column in np.array(ranks).T:
        counts = np.histogram(column, bins=10, range=(0, 400))[0]
        assert stats.chisquare(counts).pvalue > 0.001


@pytest.mark.slow
def test_graded_groups_against_long_chains(monkeypatch):
    """Ninety graded rows, 5 sessions and 12 lots: importance sampling against long chains."""
    rng = np.random.default_rng(12)
    x, session, lot = rng.normal(size=(90, 2)), rng.integers(0, 5, 90), rng.integers(0, 12, 90)
    latent = x @ [1, -0.5] + 0.5 * rng.normal(size=5)[session] + 0.5 * rng.normal(size=12)[lot]
    grade = np.digitize(latent + rng.normal(size=90), [-0.5, 0.3, 1])
    model = IntervalModel(
        grade,
        grade,
        x,
        grades=4,
        groups={"session": session, "lot": lot},
        belief=([0, 0], [1, 1]),
        cut_belief=([-1, 0, 1], [1, 1, 1]),
        group_beliefs={"session": 0.7, "lot": 0.7},
    )
    first = sample(model, 4000, seed=1)
    monkeypatch.setattr(posterior_module, "POOR_SHARE", 2.0)
    second = sample(model, 4000, seed=2)
    assert second.method == "chains"
    for pick in (
        lambda p: p.coefficients,
        lambda p: p.cuts,
        lambda p: p.group_effects["session"],
        lambda p: p.group_sds["lot"][:, None],
        lambda p: p.group_sds["session"][:, None],
    ):
        a, b = pick(first), pick(second)
        error = a.std(axis=0) * np.sqrt(1 / first.effective + 1 / second.effective)
        assert (np.abs(a.mean(axis=0) - b.mean(axis=0)) < 4.5 * error).all()
        np.testing.assert_allclose(a.std(axis=0), b.std(axis=0), rtol=0.12)


def test_how_long_a_chain_remembers_by_hand():
    """Four moves of two walkers: one parameter that never moves is alike at lags 1, 2 and 3, 1 + 2 x 3; one that changes sides at each
    move is no more alike, 1. Of a third, its four steps (1, 1, -1, -1): the mean product at lag 1 is 1/3, at lag 2 below 0: 1 + 2/3.
    Beside it the second is looked at further, and alike again at lag 2: 1 + 2."""
    still, turning, slow = [[1.0, -1.0]] * 4, [[1.0, -1.0], [-1.0, 1.0]] * 2, [[1.0, -1.0]] * 2 + [[-1.0, 1.0]] * 2
    assert [_lag(np.array(one)[:, :, None]) for one in (still, turning, slow)] == pytest.approx([7, 1, 1 + 2 / 3])
    assert _lag(np.stack([turning, slow], axis=2)) == pytest.approx(3)


def test_walkers_move_by_the_difference_of_two_others_and_an_sd_stays_above_zero():
    """2.38 / sqrt(2 d) of it, d parameters; one move in ten by the whole of it (ter Braak 2006)."""
    rng, others = np.random.default_rng(0), np.array([[0.0, 0.0], [10.0, 10.0]])
    for step, length in ((2, 2.38 / 2), (0, 1.0), (20, 1.0), (1, 1.0), (18, 2.38 / 2)):
        moved = _moved(np.zeros((100, 2)), others, 1, step, rng)
        assert np.abs(moved) == pytest.approx(np.full((100, 2), 10 * length), abs=0.01)
        assert (moved[:, 1] > 0).all() and 20 < (moved[:, 0] > 0).sum() < 80


def test_chains_reach_a_density_known_in_closed_form():
    """A normal of mean 1 and sd 0.5, an sd that is half-normal with mean 0.3 sqrt(2 / pi), an inner parameter of mean 2 drawn from a stand-in of mean 0."""
    class StandIn:
        groups = 1

        def draw_inner(self, outer, each, rng):
            drawn = 1.5 * rng.standard_normal((len(outer), each, 1))
            return drawn, None, -((drawn[..., 0] / 1.5) ** 2) / 2  # log densities, but for their constants

    def target(outer, inner):
        return -(((outer - [1, 0]) / [0.5, 0.3]) ** 2).sum(axis=1)[:, None] / 2 - ((inner[..., 0] - 2) / 0.8) ** 2 / 2

    rng = np.random.default_rng(3)
    start = np.column_stack([rng.normal(0.5, 1.0, 500), np.abs(rng.normal(0, 1.0, 500))]), rng.normal(0, 1.5, (500, 1))
    outer, inner, effective = run_chains(StandIn(), target, start, 8000, rng)
    assert outer.shape == (8000, 2) and inner.shape == (8000, 1) and 200 < effective <= 16000
    assert (outer[:, 0].mean(), outer[:, 0].std(), outer[:, 1].mean()) == pytest.approx((1, 0.5, 0.3 * np.sqrt(2 / np.pi)), abs=0.05)
    assert (inner.mean(), inner.std()) == pytest.approx((2, 0.8), abs=0.08)


def test_narrowed_draws_lie_about_their_means_by_a_share_of_what_they_did():
    """At a quarter: 1 and 5 about 3 become 2.5 and 3.5, cut-points 0 and 2 about 1 become 0.75 and 1.25, an sd of 0.8 is 0.2."""
    made = Posterior(np.array([[1.0, 10.0], [5.0, 30.0]]), np.array([0.8, 0.4]), np.array([[0.0], [2.0]]), {"pour": np.array([0.2, 0.6])}, {}, {}, 2.0, "", 0)
    found = made.narrowed(0.25)
    assert found.coefficients.tolist() == [[2.5, 17.5], [3.5, 22.5]] and found.cuts.tolist() == [[0.75], [1.25]]
    assert found.sd == pytest.approx([0.2, 0.1]) and found.group_sds["pour"] == pytest.approx([0.05, 0.15]) and len(found) == 2
