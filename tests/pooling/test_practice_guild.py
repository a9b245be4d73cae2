"""The practice guild: the same for the same seed, logged as meant, and off as its benches are."""

import numpy as np
import pytest

from testpour.practice.guild import practice_guild


def test_the_same_seed_is_the_same_guild(study):
    first, second = (practice_guild(study, benches=2, sessions=1, pours=3, seed=4) for _ in range(2))
    assert list(first) == ["Practice bench 1", "Practice bench 2"]
    for name, log in first.items():
        assert log.fingerprint() == second[name].fingerprint() and len(log) == 3
    assert first["Practice bench 1"].fingerprint() != first["Practice bench 2"].fingerprint()


def test_a_bench_logs_what_it_meant_inside_the_span_of_the_study(study):
    """Its scale may be off; what it writes down is a setting of the plan, on the step worth setting."""
    pours = practice_guild(study, benches=1, sessions=2, pours=4)["Practice bench 1"].pours
    catalyst = study.factor("catalyst")
    assert pours["catalyst"].between(*catalyst.span).all()
    np.testing.assert_allclose(pours["catalyst"], np.round(pours["catalyst"] / catalyst.step) * catalyst.step)


@pytest.mark.slow
def test_benches_differ_and_the_resin_does_not(study):
    """Mean log gel time by bench: apart by about the 12 % of its hand and more, not by a resin's whole range."""
    guild = practice_guild(study, benches=6, sessions=2, pours=6)
    middles = []
    for log in guild.values():
        gel = log.readings[log.readings["reading"] == "gel_time"].set_index("pour")
        high = np.where(np.isinf(gel["high"]), gel["low"], gel["high"])
        middles.append(np.log((gel["low"] + high) / 2).mean())
    assert 0.02 < np.std(middles) < 0.5
