"""Stop advice: go on while a session promises much or the best is in doubt; stop when neither."""

from dataclasses import replace

import pytest

from testpour.advice.stopping import CLOSE, stop_advice
from testpour.models.chance import NoAims


def narrowed(fits, share):
    """The same fits with every draw pulled toward the mean: what a long log would leave unknown."""
    models = {}
    for name, fit in fits.items():
        post = fit.posterior
        middle = post.coefficients.mean(axis=0)
        cuts = post.cuts if post.cuts is None else post.cuts.mean(axis=0) + share * (post.cuts - post.cuts.mean(axis=0))
        coefficients = middle + share * (post.coefficients - middle)
        models[name] = replace(fit, posterior=replace(post, coefficients=coefficients, cuts=cuts))
    return replace(fits, models=models)


def test_before_the_first_pour_only_belief_speaks(unpoured):
    advice = stop_advice(unpoured, room=20)
    assert not advice.stop
    assert advice.sentence().startswith("Nothing is poured yet: only belief speaks.")
    assert advice.gain > 0.04


def test_after_eight_pours_it_says_what_is_still_open(fits):
    advice = stop_advice(fits, room=18)
    assert not advice.stop
    assert "Still open: " in advice.sentence() and "points short" in advice.sentence()
    worst = advice.table["short"].idxmax()
    assert advice.table.loc[worst, "most often missed"] in advice.sentence()


def test_when_little_is_unknown_it_says_stop(fits):
    advice = stop_advice(narrowed(fits, 0.05), room=18)
    assert advice.stop
    assert "less than 2 points on average: stop and pin up the chart" in advice.sentence()
    assert advice.close > 0.95


@pytest.mark.slow
def test_what_may_be_missing_shrinks_with_what_is_unknown(fits):
    short = [stop_advice(narrowed(fits, share), room=18).table["short"].mean() for share in (1.0, 0.5, 0.1)]
    assert short[0] > short[1] > short[2] >= 0
    assert short[2] < CLOSE


def test_a_session_that_promises_much_means_go_on(fits):
    advice = replace(stop_advice(fits, room=18), gain=0.06)
    assert advice.sentence().startswith("Go on. Another session of 4 pours would raise the chance of a good casting by about 6 points")


def test_one_depth_is_judged_alone_where_it_is_given(fits):
    assert len(stop_advice(fits, room=18).table) == 9
    assert len(stop_advice(fits, room=18, fixed={"thickness": "10 mm"}).table) == 3


def test_no_aim_no_advice(fits):
    with pytest.raises(NoAims, match="states no aim"):
        stop_advice(replace(fits, study=replace(fits.study, aims=())))
