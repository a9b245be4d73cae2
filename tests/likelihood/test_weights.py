"""What weighted draws are worth: tails against scipy, smoothed weights and steering by hand and by quadrature."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import integrate, stats

from testpour.likelihood import posterior as posterior_module
from testpour.likelihood.conditional import _pairs_of
from testpour.likelihood.interval import IntervalModel
from testpour.likelihood.observations import GradeRows, NormalRows, _working_values
from testpour.likelihood.posterior import sample
from testpour.likelihood.proposal import Proposal, t_density
from testpour.likelihood.weights import (
    _pareto_tail,
    importance_weights,
    normal_scores,
    pareto_smoothed,
    pick_by_share,
    resample,
    tempered,
)


@pytest.mark.parametrize("shape", [-0.3, 0.2, 0.7, 1.2])
def test_the_tail_of_a_pareto_sample_is_found(shape):
    """Peer: scipy's generalised Pareto distribution. Standard error of the shape (1 + shape) / sqrt(n), Hosking and
    Wallis, Technometrics 29 (1987) 339, from memory, not read; three of them at 4,000 values."""
    drawn = np.sort(stats.genpareto(shape, scale=2.0).rvs(4000, random_state=3))
    found, scale = _pareto_tail(drawn)
    assert found == pytest.approx(shape, abs=3 * (1 + shape) / np.sqrt(4000))
    assert scale == pytest.approx(2.0, rel=0.1)


def test_a_short_tail_is_drawn_towards_a_half():
    """As by ten values more at 0.5: the quantiles of an exponential, of shape 0, are told as 0.25 from ten values."""
    drawn = stats.expon.ppf((np.arange(10) + 0.5) / 10)
    assert _pareto_tail(drawn)[0] == pytest.approx(0.25, abs=0.06)


def test_smoothing_gives_back_what_a_heavy_tail_would_weigh():
    """A mean under a normal from draws of a narrower one: the raw weights' mean square misses more often than the smoothed."""
    wide, narrow, missed = stats.norm(0, 1), stats.norm(0, 0.8), {"raw": [], "smooth": []}
    for seed in range(60):
        at = narrow.rvs(2000, random_state=seed)
        weights = np.exp(wide.logpdf(at) - narrow.logpdf(at))
        weights /= weights.sum()
        found, shape = pareto_smoothed(weights)
        assert found.sum() == pytest.approx(1) and found.max() <= weights.max() * 1.05 and 0 < shape < 0.7
        missed["raw"].append(weights @ at**2 - 1)
        missed["smooth"].append(found @ at**2 - 1)
    assert np.std(missed["smooth"]) < np.std(missed["raw"]) and abs(np.mean(missed["smooth"])) < 0.05


def test_order_is_kept_and_most_weights_stay():
    """Of 400 weights the 60 largest (three times the root) are replaced, in their order; beside each other the rest stay."""
    weights = stats.pareto(1.5).rvs(400, random_state=1)
    weights /= weights.sum()
    found, _ = pareto_smoothed(weights)
    order = np.argsort(weights)
    assert (np.diff(found[order]) >= -1e-15).all()
    ratio = found[order[:340]] / weights[order[:340]]
    assert ratio == pytest.approx(np.full(340, ratio[0])) and found[order[-9]] != pytest.approx(weights[order[-9]] * ratio[0], rel=1e-3)


def test_even_weights_have_no_tail_and_a_single_one_cannot_be_trusted():
    even, single = np.full(100, 0.01), np.r_[1.0, np.zeros(99)]
    assert pareto_smoothed(even)[0].tolist() == even.tolist() and pareto_smoothed(even)[1] == -np.inf
    assert pareto_smoothed(single)[1] == np.inf


def test_weights_are_tempered_to_be_worth_what_is_followed():
    """By hand: 1 and three of 1/16 to the power 1/2 are 1 and three of 1/4: worth (7/4)^2 / (19/16) = 49/19 draws."""
    weights = np.array([16.0, 1.0, 1.0, 1.0]) / 19
    found = tempered(weights, 49 / 19)
    assert found == pytest.approx(np.array([4.0, 1.0, 1.0, 1.0]) / 7, rel=1e-3)
    assert tempered(weights, 1.2) == pytest.approx(weights)  # worth more already: 361/259
    assert tempered(np.array([1.0, 0.0, 0.0]), 2.0).tolist() == [1.0, 0.0, 0.0]


def test_draws_are_picked_by_weight():
    """One in two, in four and in four, by hand."""
    picked = resample(np.array([0.5, 0.25, 0.25, 0.0]), 8, np.random.default_rng(0))
    assert np.bincount(picked, minlength=4).tolist() == [4, 2, 2, 0]


@pytest.mark.parametrize("low, high", [(-1.0, 3.0), (0.2, 0.3), (-4.0, -2.5)])
def test_between_two_ends_rows_steer_by_mean_and_variance_of_their_likelihood(low, high):
    """As a density of the predictor, by quadrature over Phi(high - eta) - Phi(low - eta)."""

    def moment(k):
        return integrate.quad(lambda e: e**k * (stats.norm.cdf(high - e) - stats.norm.cdf(low - e)), -15, 15)[0]

    mean, square = moment(1) / moment(0), moment(2) / moment(0)
    pull, weight = _working_values(np.array([low]), np.array([high]), np.zeros((1, 1)), np.ones((1, 1)))
    assert weight[0, 0] == pytest.approx(1 / (square - mean**2), rel=1e-6) and pull[0, 0] / weight[0, 0] == pytest.approx(mean, rel=1e-6)


def test_open_rows_steer_by_their_own_slope_and_curvature():
    """Differences of the log of Phi, in the units of the rows: sigma 0.5, and grades."""
    step, at, sigma = 1e-4, np.array([[0.3]]), 0.5
    rows = NormalRows(np.array([0.8]), np.array([np.inf]))
    logs = [stats.norm.logsf((0.8 - (0.3 + k * step)) / sigma) for k in (-1, 0, 1)]
    pull, weight = rows.working_response_and_weight(at, np.log([[sigma]]))
    assert (pull - weight * at)[0, 0] == pytest.approx((logs[2] - logs[0]) / (2 * step), rel=1e-5)
    assert weight[0, 0] == pytest.approx((2 * logs[1] - logs[0] - logs[2]) / step**2, rel=1e-4)
    grades = GradeRows(np.array([0, 1, 2]), np.array([0, 1, 2]), 3)
    assert grades.open_ended.tolist() == [True, False, True] and rows.open_ended.tolist() == [True]


def test_a_design_without_columns_has_products_without_entries():
    assert _pairs_of(np.zeros((8, 0))).weighted_sum(np.ones((3, 8))).shape == (3, 0, 0)


@pytest.mark.slow
@pytest.mark.parametrize("grades", [False, True])
def test_hardly_any_rows_and_many_columns_need_no_chains(grades):
    """Twelve rows, a smooth part of twelve columns, three sessions: forty seeds, each worth 800 of 2,000 draws or more."""
    rng = np.random.default_rng(5)
    design, smooth = np.column_stack([np.ones(12), rng.normal(size=(12, 3))]), rng.normal(size=(12, 12))
    y = design @ [3.0, -0.7, -0.3, 0.1] + 0.1 * rng.normal(size=12)
    belief = ([3.0, -0.7, -0.3, 0.0], [0.8, 0.3, 0.3, 0.2])
    common = {"groups": {"session": np.arange(12) // 4}, "group_beliefs": {"session": 0.1}, "smooth": {"smooth": (smooth, 0.3)}}
    if grades:
        seen = np.digitize(y - 3, [-0.5, 0.5, 1.5])
        belief = ([-0.7, -0.3, 0.0], [0.3, 0.3, 0.2])
        model = IntervalModel(seen, seen, design[:, 1:], grades=4, belief=belief, cut_belief=([-1, 1, 3], [1, 1, 1]), **common)
    else:
        low = np.log(np.floor(np.exp(y) / 5) * 5 + 1e-9)
        model = IntervalModel(low, np.log(np.exp(low) + 5), design, belief=belief, sd_belief=0.15, **common)
    found = [sample(model, 2000, seed=seed) for seed in range(40)]
    assert {one.method for one in found} == {"importance"} and min(one.effective for one in found) > 800


def test_shares_of_inner_draws_and_weights_of_outer_ones_by_hand():
    """Ratios 1 and 3, 2 and 2, nothing: shares 1/4 and 3/4, a half each; outer weights 4 to 4 to 0. Also far from 1."""
    with np.errstate(divide="ignore"):
        logs = np.log([[1.0, 3.0], [2.0, 2.0], [0.0, 0.0]])
    for away in (0.0, -2000.0):
        shares, weights = importance_weights(logs + away)
        assert shares[:2] == pytest.approx(np.array([[0.25, 0.75], [0.5, 0.5]])) and weights == pytest.approx([0.5, 0.5, 0.0])
    picked = pick_by_share(np.tile([0.25, 0.75], (4000, 1)), np.random.default_rng(1))
    assert np.mean(picked) == pytest.approx(0.75, abs=4 * np.sqrt(0.25 * 0.75 / 4000))


def test_a_proposal_worth_too_little_is_moved_and_drawn_again(monkeypatch):
    """Told that nothing is worth enough, it draws seven times, each time about where the last draws were, then leaves it to chains."""
    seen, weigh = [], posterior_module._draw_and_weigh
    monkeypatch.setattr(posterior_module, "_draw_and_weigh", lambda proposal, *more: seen.append(proposal) or weigh(proposal, *more))
    y = np.array([0.2, 0.5, -0.1, 0.4, -0.3, -0.6])
    model = IntervalModel(y, y + 0.2, np.ones((6, 1)), belief=([0], [1]), sd_belief=0.5)
    assert sample(model, 200, seed=3).method == "importance" and len(seen) == 1
    monkeypatch.setattr(posterior_module, "LEAST_SHARE", 10.0)
    monkeypatch.setattr(posterior_module, "POOR_SHARE", 10.0)
    assert sample(model, 200, seed=3).method == "chains" and len(seen) == 8
    assert len({one.centre.tobytes() for one in seen[1:]}) == 7


def test_a_proposal_that_serves_another_model_badly_is_sought_anew_before_chains_are_run(monkeypatch):
    """Two hundred exact rows about 3 with a scatter of 0.1, after six about -3 with one of 2: no weight where the first was drawn."""
    rng, options = np.random.default_rng(4), {"belief": ([0], [5]), "sd_belief": 2.0}
    far, near = rng.normal(3, 0.1, 200), rng.normal(-3, 2, 6)
    other, model = (IntervalModel(y, y, np.ones((len(y), 1)), **options) for y in (near, far))
    sample(other, 400, seed=1)
    monkeypatch.setattr(posterior_module, "run_chains", lambda *given: 1 / 0)
    monkeypatch.setattr(posterior_module, "MOST_MOVES", 0)
    found = sample(model, 400, seed=1, near=other)
    assert found.method == "importance" and found.effective > 200
    assert found.coefficients.mean() == pytest.approx(far.mean(), abs=0.01) and found.sd.mean() == pytest.approx(far.std(), rel=0.05)


def test_the_last_trial_moves_the_proposal_too(monkeypatch):
    """With every trial good enough nothing else moves it: only moved ones are about roots of the sds."""
    seen, weigh = [], posterior_module._draw_and_weigh
    monkeypatch.setattr(posterior_module, "_draw_and_weigh", lambda proposal, *more: seen.append(proposal) or weigh(proposal, *more))
    monkeypatch.setattr(posterior_module, "GOOD_SHARE", 0.0)
    sample(IntervalModel([0.1, 0.4], [0.2, 0.6], np.ones((2, 1)), belief=([0], [1]), sd_belief=0.5), 200)
    assert seen[0].root == 3


@pytest.mark.parametrize("grades", [False, True])
def test_a_model_of_nearly_the_same_rows_is_drawn_without_seeking(grades, monkeypatch):
    """The proposal of thirty rows serves twenty-nine, whatever their unit: same means and spreads as sought anew."""
    rng = np.random.default_rng(2)
    design, group = np.column_stack([np.ones(30), rng.normal(size=(30, 2))])[:, int(grades) :], np.arange(30) // 6
    y = rng.normal(size=30) + design[:, -1]
    if grades:
        low = np.digitize(y, [-1, 0, 1])
        options = {"grades": 4, "belief": ([0, 0], [1, 1]), "cut_belief": ([-1, 0, 1], [1, 1, 1])}
        high = low
    else:
        low, high = y, y + 0.3
        options = {"belief": ([0, 0, 0], [1, 1, 1]), "sd_belief": 2.0}
    all_rows, fewer = (
        IntervalModel(low[:n], high[:n], design[:n], groups={"session": group[:n]}, group_beliefs={"session": 0.5}, **options)
        for n in (30, 29)
    )
    sample(all_rows, 2000, seed=1)
    anew = sample(fewer, 4000, seed=2)
    fewer.proposal = fewer.optimum = None
    monkeypatch.setattr(posterior_module, "optimum_of", lambda model: 1 / 0)
    carried = sample(fewer, 4000, seed=3, near=all_rows)
    for pick in (lambda p: p.coefficients, lambda p: p.group_sds["session"][:, None]):
        a, b = pick(anew), pick(carried)
        error = a.std(axis=0) * np.sqrt(1 / anew.effective + 1 / carried.effective)
        assert (np.abs(a.mean(axis=0) - b.mean(axis=0)) < 4 * error).all()
        np.testing.assert_allclose(a.std(axis=0), b.std(axis=0), rtol=0.1)
    assert sample(fewer, 400, seed=4, near=fewer).method == "importance"  # one that was carried itself serves the next


def test_a_carried_proposal_is_in_the_other_models_unit():
    """An eighth of the unit: ln 8 more in log sigma, an sd eight times as large, its cube root twice; cut-points stay."""
    first = posterior_module.Proposal(None, 1, np.array([0.5, 2.0]), np.array([[1.0, 0.0], [0.4, 0.8]]), np.ones(3), np.ones(3), 5, root=3)
    other = first.for_model(SimpleNamespace(order=np.arange(4)), 8.0, False)
    assert other.centre == pytest.approx([0.5 + np.log(8), 4.0]) and other.axes == pytest.approx(np.array([[1.0, 0.0], [0.8, 1.6]]))
    assert other.shift.tolist() == [0] * 4 and other.stretch.tolist() == [1] * 4
    assert first.for_model(SimpleNamespace(order=np.arange(4)), 8.0, True).centre[0] == 0.5


@pytest.mark.parametrize("rows, each", [(12, 4), (375, 4), (500, 3), (5000, 1)])
def test_inner_draws_are_fewer_where_rows_are_many(rows, each):
    """Fifteen hundred over the rows, as many as asked for at most and one at least."""
    target = SimpleNamespace(problem=SimpleNamespace(design=np.zeros((rows, 1))))
    assert [posterior_module._inner_per_outer(target, most) for most in (4, 2)] == [each, min(each, 2)]


def test_four_readings_in_one_interval_leave_sigma_its_low_tail():
    """Against the definition on a grid: a scatter far below the interval's width is as likely as the belief has it."""
    middle, sigma = np.linspace(2.6, 3.7, 700), np.exp(np.linspace(np.log(1e-4), np.log(0.8), 500))
    inside = stats.norm.cdf((3.25 - middle) / sigma[:, None]) - stats.norm.cdf((3.0 - middle) / sigma[:, None])
    height = inside**4 * stats.norm.pdf(middle, 3.2, 0.8) * (stats.halfnorm.pdf(sigma, scale=0.15) * sigma)[:, None]
    reached = np.cumsum(height.sum(axis=1)) / height.sum()
    model = IntervalModel(np.full(4, 3.0), np.full(4, 3.25), np.ones((4, 1)), belief=([3.2], [0.8]), sd_belief=0.15)
    drawn = np.concatenate([sample(model, 2000, seed=seed).sd for seed in range(3)])
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):  # the standard error of a share among 3,000 draws is at most 0.01
        assert np.mean(drawn < np.interp(share, reached, sigma)) == pytest.approx(share, abs=0.03)


def test_normal_scores_are_even_shuffled_and_the_same_every_time_without_a_generator():
    """The middles of four quarters of a normal: -1.150, -0.319, 0.319 and 1.150, any table; more of them stand in no order."""
    assert np.sort(normal_scores(4)) == pytest.approx([-1.150, -0.319, 0.319, 1.150], abs=1e-3)
    many = normal_scores(500)
    assert abs(np.corrcoef(many, np.arange(500))[0, 1]) < 0.15
    assert (many == normal_scores(500)).all() and (many != normal_scores(500, np.random.default_rng(1))).any()


@pytest.mark.parametrize("size, degrees", [(1, 5.0), (3, 7.0), (2, np.inf)])
def test_the_density_draws_come_from_is_students(size, degrees):
    """scipy's multivariate t, and its normal, as the other library."""
    at = np.array([[0.0] * size, [0.7] * size, [-2.0] + [1.0] * (size - 1)])
    exact = stats.multivariate_t(np.zeros(size), np.eye(size), df=degrees).logpdf(at)
    assert t_density((at**2).sum(axis=1), size, degrees) == pytest.approx(exact)


@pytest.mark.parametrize("root", [{}, {"root": 3}])
def test_outer_draws_lie_about_the_centre_and_have_the_density_of_a_folded_t(root):
    """An sd below zero is folded over; where roots are drawn, by the rule of a change of variable. scipy's multivariate t as the other library."""
    class Noise:  # of the inner draws, one number each, whose place and volume do not depend on the outer ones
        def draw_given(self, outer, noise, groups):
            return noise, np.zeros(len(outer))

    centre, axes, power = np.array([0.4, 0.7]), np.array([[0.3, 0.0], [0.1, 0.5]]), root.get("root", 1)
    made = Proposal(Noise(), 1, centre, axes, np.array([0.5]), np.array([2.0]), np.inf, 7, **root).draw(2000, 1, np.random.default_rng(1))
    assert np.median(made.outer, axis=0) == pytest.approx([0.4, 0.7**power], abs=0.07)
    drawn = stats.multivariate_t(centre, axes @ axes.T, df=7)
    at = made.outer ** [1, 1 / power]
    steep = np.log(at[:, 1] ** (1 - power) / power)
    density = np.log(drawn.pdf(at) + drawn.pdf(at * [1, -1])) + steep + stats.norm(0.5, 2.0).logpdf(made.inner[:, 0, 0])
    assert made.log_density[:, 0] == pytest.approx(density)


def test_inner_noise_is_followed_by_a_quarter_where_ten_draws_carry_the_weight():
    """Ten even draws of 30 more. Their means are 0.4, -1.2 and 5, their sds 1.5, 0.2, held at a half, and 3, held at 2; what has very many levels
    stays as it is. Of the mean a quarter is taken, of the sd its fourth root."""
    even = np.tile([-1.0, 1.0], 5)[:, None]
    noise = np.array([0.4, -1.2, 5.0, 7.0]) + even * np.array([1.5, 0.2, 3.0, 4.0])
    made = Proposal(SimpleNamespace(many_levels=np.array([3])), 1, np.zeros(2), np.eye(2), np.zeros(4), np.ones(4), 5.0)
    found = made.reshaped(noise, np.full(10, 0.1))
    assert found.shift == pytest.approx([0.1, -0.3, 1.25, 0.0]) and found.stretch == pytest.approx([1.5**0.25, 0.5**0.25, 2**0.25, 1.0])
