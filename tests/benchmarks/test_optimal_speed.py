"""Speed of the exchange, side by side with Fedorov's exchange on a candidate list, in one run.

The peer is written here in numpy: Fedorov (1972), Theory of Optimal Experiments: from random starts, swap the
pair of pour and candidate that raises the determinant most, until none does. It keeps variances of all
candidates by rank-one updates, as a careful implementation would. Both search the same 3-level grid, in rounds
of ten starts, until they reach the same determinant; the figure is the time that took, averaged over repeats.
Times are processor seconds on one thread: wall time on a machine with nothing else to do.
"""

import time
from itertools import product

import numpy as np
import pytest
from optimal_found import found_plan
from threadpoolctl import threadpool_limits

from testpour.planning.criteria import model_rows, quadratic_terms
from testpour.planning.problem import Axis, DesignProblem

pytestmark = pytest.mark.slow
THREE = (-1.0, 0.0, 1.0)


def fedorov(candidates, runs, rng):
    """Largest log determinant from one random start."""
    while True:
        chosen = rng.integers(len(candidates), size=runs)
        matrix = candidates[chosen].T @ candidates[chosen]
        if np.linalg.slogdet(matrix)[1] > -10:
            break
    for swaps in range(500):
        if swaps % 25 == 0:                                   # afresh now and then: rounding must not build up
            pull = candidates @ np.linalg.inv(candidates[chosen].T @ candidates[chosen])
            spread = (pull * candidates).sum(1)
        cross = pull[chosen] @ candidates.T
        gain = np.outer(1 - spread[chosen], 1 + spread) + cross**2
        i, c = np.unravel_index(gain.argmax(), gain.shape)
        if gain[i, c] < 1 + 1e-8:
            break
        for row, sign in ((c, 1.0), (chosen[i], -1.0)):
            line = pull @ candidates[row]
            scale = sign / (1 + sign * line[row])
            pull = pull - scale * np.outer(line, pull[row])
            spread = spread - scale * line**2
        chosen[i] = c
    return np.linalg.slogdet(candidates[chosen].T @ candidates[chosen])[1]


def fedorov_ten(candidates, runs, seed):
    rng = np.random.default_rng(seed)
    return max(fedorov(candidates, runs, rng) for _ in range(10))


def time_to_reach(search, target, repeats):
    """Mean seconds until rounds of ten starts reach `target`."""
    began = time.process_time()
    for repeat in range(repeats):
        for round_ in range(400):
            if search(1000 * repeat + round_) > target - 1e-6:
                break
        else:
            raise AssertionError(f"4000 starts did not reach {target}")
    return (time.process_time() - began) / repeats


# k, n, log determinant both must reach, most the ratio may be. Three and four factors: the best known. Five and
# six: what about one start in ten reaches, since neither search finds the very best in ten starts. The kit's exchange
# also serves sessions and continuous settings, which a list of candidates cannot; that generality may cost threefold.
CASES = [(3, 15, 19.30411765, 3.0), (4, 20, 33.46983975, 3.0), (5, 30, 56.20, 3.0), (6, 40, 83.60, 3.0)]


def test_within_three_times_of_a_candidate_exchange(capsys):
    with threadpool_limits(1):                       # threads make the peer slower on products this short
        lines, ratios = side_by_side()
    with capsys.disabled():
        print("\n" + "\n".join(lines))
    assert all(ratio <= most for ratio, most in ratios), ratios


def side_by_side():
    lines = [f"{'factors':>7} {'pours':>5} {'kit ms':>8} {'candidates ms':>14} {'ratio':>6}"]
    ratios = []
    for k, n, target, most in CASES:
        terms = quadratic_terms(k)
        task = DesignProblem(tuple(Axis("ABCDEF"[f], THREE) for f in range(k)), tuple(terms), n)
        candidates = model_rows(np.array(list(product(THREE, repeat=k))), terms)
        found_plan(task, starts=10)                                         # warm up
        fedorov_ten(candidates, n, 0)
        repeats = 30 if k < 5 else 8
        ours = time_to_reach(lambda s, task=task: found_plan(task, starts=10, seed=s).log_det, target, repeats)
        theirs = time_to_reach(lambda s, c=candidates, n=n: fedorov_ten(c, n, s), target, repeats)
        lines.append(f"{k:7d} {n:5d} {1e3 * ours:8.1f} {1e3 * theirs:14.1f} {ours / theirs:6.2f}")
        ratios.append((ours / theirs, most))
    return lines, ratios


def test_twenty_four_pours_in_six_sessions_within_five_seconds(capsys):
    axes = tuple(Axis(name, hard=name == "A") for name in "ABCDE")
    task = DesignProblem(axes, tuple(quadratic_terms(5)), 24, tuple(np.repeat(range(6), 4).tolist()), 1.0)
    began = time.process_time()
    with threadpool_limits(1):
        found = found_plan(task)
    took = time.process_time() - began
    with capsys.disabled():
        print(f"\n24 pours, 5 factors (1 per session), 6 sessions, quadratic: {took:.2f} s, log determinant {found.log_det:.4g}")
    assert took < 5 and np.isfinite(found.log_det)


def test_published_split_plot_within_five_seconds(capsys):
    """Goos & Vandebroek (2003), Table 3: 0.999 of its D within five seconds with ordinary settings."""
    axes = (Axis("A", THREE, hard=True), Axis("B", THREE), Axis("C", THREE))
    task = DesignProblem(axes, tuple(quadratic_terms(3)), 27, tuple(np.repeat(range(9), 3).tolist()), 1.0)
    began = time.process_time()
    with threadpool_limits(1):
        worst = min(found_plan(task, seed=seed).log_det for seed in range(5))
    took = (time.process_time() - began) / 5
    with capsys.disabled():
        print(f"\n27 pours, 9 sessions: {took:.2f} s, D {np.exp((worst - 20.7357220379) / 10):.5f} of the published")
    assert took < 5 and np.exp((worst - 20.7357220379) / 10) > 0.999
