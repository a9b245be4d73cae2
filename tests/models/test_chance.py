"""The chance of a good casting: a product over aims, each a normal share by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from testpour.logbook.castings import Castings
from testpour.models.chance import Chance, NoAims, chance
from testpour.models.fits import Fits, fit_castings
from testpour.models.settings import settings_table
from testpour.practice.practice import practice_resin
from testpour.study.columns import Reading
from testpour.study.study import Aim, StudyProblems


@pytest.fixture(scope="module")
def fits(plain_fits):
    return plain_fits


def with_aims(fits, *aims):
    study = replace(fits.study, aims=aims)
    return Fits(study, fits.castings, {name: replace(fit, study=study) for name, fit in fits.items()})


def test_one_aim_is_the_share_of_a_normal_between_its_bounds(fits):
    """Phi((ln 45 - m)/s) - Phi((ln 15 - m)/s), draw by draw, m and s from the same draws.

    The chance that is told has s at three quarters, and each m at three quarters of its distance from the mean of all.
    """
    gel = fits["gel_time"]
    names = [t.name for t in gel.believed.terms]
    level, warm = gel.posterior.coefficients[:, [names.index("level"), names.index("warmth")]].T
    spread = np.sqrt(gel.posterior.sd**2 + gel.posterior.group_sds["session"] ** 2)
    assert warm.std() > 0  # and has no part in it: at 20 °C its term is zero
    by_hand = norm.cdf((np.log(45) - level) / spread) - norm.cdf((np.log(15) - level) / spread)
    near, narrow = level.mean() + 0.75 * (level - level.mean()), 0.75 * spread
    told = norm.cdf((np.log(45) - near) / narrow) - norm.cdf((np.log(15) - near) / narrow)
    assert told.mean() > by_hand.mean() + 0.005
    table = settings_table(fits.study, {"catalyst": 1.5}, room=20)
    assert gel.chances(table, 15.0, 45.0)[:, 0] == pytest.approx(by_hand, abs=1e-12)
    found = chance(with_aims(fits, Aim("gel_time", 15.0, 45.0)), {"catalyst": 1.5}, room=20)
    assert found.table["chance"].iloc[0] == pytest.approx(told.mean(), abs=0.003)


def test_a_hardness_read_as_the_bound_meets_it(fits):
    """On a gauge in whole Shore D, 70 is read from 69.5 on: 1 - Phi((ln(69.5 / 30.5) - m) / s), draw by draw."""
    hard, table = fits["hardness"], settings_table(fits.study, {"catalyst": 1.5}, room=20).assign(age=24.0)
    by_hand = norm.sf((np.log(69.5 / 30.5) - hard.mean(table)[:, 0]) / hard.scatter())
    assert hard.chances(table, 70.0)[:, 0] == pytest.approx(by_hand, abs=1e-12)


@pytest.mark.parametrize("made", [0, 1, 4])
def test_the_interval_of_a_chance_counts_how_far_the_shape_may_be_wrong(fits, made):
    """ln time 3.4, sigma 0.2, sessions 0.1, all known, as they are narrowed; any share of sigma squared is as likely an error of the shape.

    The chance between ln 3.2 and 3.5 is then 0.49 of all castings; its ends by half a million draws of another generator. Castings
    `made` at these very settings, each of which reads the error with what scatters beside it, leave of its variance v what a normal
    mean with n readings of variance s does, 1 / (1 / v + n / s); the chance stays.
    """
    gel = fits["gel_time"]
    fixed = replace(
        gel.posterior, coefficients=np.tile([3.4 if t.name == "level" else 0.0 for t in gel.believed.terms], (2000, 1)),
        sd=np.full(2000, 0.2 / 0.75), group_sds={"session": np.full(2000, 0.1 / 0.75)},
    )
    rows = settings_table(fits.study, [{"catalyst": 1.5}] * made or [{}], room=20).iloc[:made].assign(pour=[f"P{i}" for i in range(made)])
    models = {**fits.models, "gel_time": replace(gel, posterior=fixed, rows=rows)}
    aim = Aim("gel_time", np.exp(3.2), np.exp(3.5))
    found = chance(with_aims(Fits(fits.study, fits.castings, models), aim), {"catalyst": 1.5}, room=20).table.iloc[0]
    rng = np.random.default_rng(8)
    share, score = 1 - rng.random(500_000), rng.standard_normal(500_000)
    wrong, scatter = 0.2**2 * share, 0.2**2 * (1 - share) + 0.1**2
    left = 1 / (1 / wrong + made / scatter)
    middle, spread = 3.4 + np.sqrt(left) * score, np.sqrt(wrong + scatter - left)
    by_hand = norm.cdf((3.5 - middle) / spread) - norm.cdf((3.2 - middle) / spread)
    assert found["chance"] == pytest.approx(norm.cdf(0.1 / np.sqrt(0.05)) - norm.cdf(-0.2 / np.sqrt(0.05)), abs=0.003)
    assert [found["low"], found["high"]] == pytest.approx(np.quantile(by_hand, [0.05, 0.95]), abs=0.03)


def test_a_casting_counts_less_the_further_it_lies_from_the_settings(fits):
    """By hand: a fifth of the span of one setting away it counts exp(-1/2), of two settings exp(-1), a whole span exp(-12.5).

    Catalyst spans 1 to 2.5 %, the room 15 to 26 °C; two readings of one pour are one casting.
    """
    gel = fits["gel_time"]
    assert {"catalyst", "room_temperature"} <= gel.believed.factors
    at = settings_table(fits.study, [{"catalyst": 1.3, "room_temperature": 18.0}] * 5)
    at[["catalyst", "room_temperature"]] = [[1.3, 18.0], [1.3, 18.0], [1.6, 18.0], [1.6, 20.2], [2.5, 18.0]]
    fit = replace(gel, rows=at.assign(pour=["A", "A", "B", "C", "D"]))
    away = (2.5 - 1.3) / 1.5
    assert fit.castings_near(at.iloc[:1])[0] == pytest.approx(1 + np.exp(-0.5) + np.exp(-1) + np.exp(-12.5 * away**2))
    assert replace(gel, rows=fit.rows.iloc[:0]).castings_near(at) == pytest.approx(np.zeros(5))


def test_the_grades_of_a_chance_are_told_from_cut_points_narrowed(fits):
    """Phi((c - m)/s) with each of c, m and s at three quarters of its spread, draw by draw; what a casting will read is as wide as before."""
    tack = fits["tack"]
    told, drawn = fits.calibrated["tack"].posterior, tack.posterior
    assert told.cuts.mean(axis=0) == pytest.approx(drawn.cuts.mean(axis=0)) and told.cuts.std(axis=0) == pytest.approx(0.75 * drawn.cuts.std(axis=0))
    mean = 0.75 * tack.mean(table := settings_table(fits.study, {"catalyst": 1.5}, room=20).assign(age=24.0)) + 0.25 * tack.mean(table).mean(axis=0)
    cut = 0.75 * drawn.cuts[:, [1]] + 0.25 * drawn.cuts[:, 1].mean()
    by_hand = norm.cdf((cut - mean) / (0.75 * tack.scatter()[:, None]))
    found = chance(with_aims(fits, Aim("tack", None, 1.0, 24.0)), {"catalyst": 1.5}, room=20)
    assert found.by_aim.iloc[0, 0] == pytest.approx(by_hand.mean(), abs=0.005)


def test_the_chance_of_an_own_reading_is_told_from_the_whole_spread(fits):
    """No belief of the trade makes its model too wide: Phi((2.5 - m)/s) of each draw as it is, a score of at most 2 being read up to 2.5."""
    gloss = Reading("gloss", low=0.0, high=5.0)
    study = replace(fits.study, readings=(*fits.study.readings, gloss), aims=(Aim("gloss", None, 2.0),))
    read = pd.DataFrame({"pour": fits.castings.pours.index.to_numpy(), "reading": "gloss", "age": np.nan, "known": "exact"})
    read["low"] = read["high"] = np.arange(len(read)) % 5.0
    mine = fit_castings(Castings(study, fits.castings.pours, pd.concat([fits.castings.readings, read], ignore_index=True)))
    at = settings_table(study, {"catalyst": 1.5}, room=20)
    by_hand = norm.cdf((2.5 - mine["gloss"].mean(at)) / mine["gloss"].scatter()[:, None]).mean()
    low = norm.cdf((-0.5 - mine["gloss"].mean(at)) / mine["gloss"].scatter()[:, None]).mean()
    assert chance(mine, {"catalyst": 1.5}, room=20).by_aim.iloc[0, 0] == pytest.approx(by_hand, abs=0.005) and low < 0.05
    assert mine.calibrated["gel_time"].scatter() == pytest.approx(0.75 * mine["gel_time"].scatter())


def test_the_aims_multiply(fits):
    alone = [chance(with_aims(fits, aim), {"catalyst": 2}, room=18).draws for aim in fits.study.aims]
    together = chance(fits, {"catalyst": 2}, room=18)
    np.testing.assert_allclose(together.draws, np.prod(alone, axis=0), rtol=1e-12)
    assert list(together.by_aim) == [aim.words(fits.study.reading(aim.reading)) for aim in fits.study.aims]
    assert together.by_aim.iloc[0].tolist() == pytest.approx([draws.mean() for draws in alone])
    assert together.table["most often missed"].iloc[0] == together.by_aim.iloc[0].idxmin()


def test_complementary_bounds_share_out_the_whole(fits):
    for name, bound, next_up in (("gel_time", 25.0, 25.0), ("hardness", 75.0, 76.0), ("tack", 1.0, 2.0)):
        age = 24.0 if name != "gel_time" else None
        below = chance(with_aims(fits, Aim(name, None, bound, age)), {"catalyst": 2}).draws
        above = chance(with_aims(fits, Aim(name, next_up, None, age)), {"catalyst": 2}).draws
        np.testing.assert_allclose(below + above, 1, atol=1e-12)


def test_a_grade_aim_of_everything_is_certain(fits):
    assert chance(with_aims(fits, Aim("tack", None, 3.0, 24.0))).draws == pytest.approx(1.0)


def test_a_harder_aim_is_met_less_often(fits):
    met = [chance(with_aims(fits, Aim("hardness", low, None, 24.0)), {"catalyst": 2}).table["chance"].iloc[0]
           for low in (50, 70, 75, 80, 95)]
    assert met == sorted(met, reverse=True) and met[0] > 0.95 and met[-1] < 0.05


def test_the_age_of_an_aim_is_used(fits):
    early, late = (chance(with_aims(fits, Aim("hardness", 75.0, None, age)), {"catalyst": 2}).draws.mean() for age in (4, 168))
    assert late > early + 0.05  # hardness goes on rising


def test_many_settings_at_once_as_one_by_one(fits):
    asked = [{"catalyst": c, "thickness": t} for c in (1, 2.5) for t in (6, 15)]
    together = chance(fits, asked, room=17).table
    alone = [chance(fits, one, room=17).table["chance"].iloc[0] for one in asked]
    assert together["chance"].tolist() == pytest.approx(alone)
    table = pd.DataFrame(asked, index=list("abcd"))
    assert chance(fits, table, room=17).table.index.tolist() == list("abcd")
    assert "<table" in chance(fits, asked)._repr_markdown_()
    assert chance(fits)._repr_markdown_() == chance(fits).sentence()


def test_a_sentence_on_many_settings_says_of_which_it_is(fits):
    several = chance(fits, pd.DataFrame({"catalyst": [1.0, 2.0]}, index=["P01", "P02"]))
    assert several.sentence().startswith("Chance of a good casting with P01, the first of 2 settings: ")
    assert chance(fits, {"catalyst": 1.0}).sentence().startswith("Chance of a good casting: ")


def test_no_aims(fits):
    with pytest.raises(NoAims, match=r"states no aim, so nothing can be called good. Add one under \[aims\]"):
        chance(with_aims(fits))


def test_a_setting_that_cannot_be(fits):
    with pytest.raises(StudyProblems, match="99 is outside 0 to 10 %"):
        chance(fits, {"catalyst": 99})


@pytest.mark.parametrize(
    "draws, says",
    [
        ([0.8, 0.82], "about 81 in 100 (90 % interval 80 to 82)."),
        ([0.0, 0.88], "about 44 in 100 (90 % interval 4 to 84)."),
        ([0.0, 0.91], "cannot tell yet, anything from 5 to 86 in 100."),
        ([0.0, 1.0], "cannot tell yet, anything from 5 to 95 in 100."),
        ([0.0, 0.001], "under 1 in 100."),
        ([1.0, 0.999], "over 99 in 100."),
    ],
)
def test_every_sentence_branch(fits, draws, says):
    """Mean and 5 and 95 % quantiles of two draws, by hand."""
    made = Chance(fits, pd.DataFrame(index=[1]), np.array(draws)[:, None], pd.DataFrame({"gel": [0.9], "tack": [0.3]}, [1]))
    assert made.sentence().startswith("Chance of a good casting: ")
    assert made.sentence().endswith(f"{says} The aim most often missed: tack.")


@pytest.mark.slow
def test_the_chance_tracks_the_truth_of_a_practice_resin(study, castings_of):
    """A practice resin knows its true chances; after forty pours over ten days the order of settings is found."""
    resin = practice_resin(study, seed=11)
    rng, pours, rows = np.random.default_rng(3), [], []
    for day in range(10):
        plan = pd.DataFrame({"catalyst": rng.uniform(1, 2.5, 4), "pigment": rng.uniform(0.2, 4, 4), "cover": [1.0, 0, 1, 1],
                             "thickness": rng.uniform(5, 18, 4)}, index=[f"D{day}-{i}" for i in range(4)])
        plan["room_temperature"] = rng.uniform(16, 24)
        pours.append(plan.assign(session=f"D{day}"))
        for made in resin.pour(plan, f"D{day}"):
            for read in made["readings"]:
                low, high = read.get("between") or (read.get("value", read.get("not_yet")),) * 2
                high = np.inf if "not_yet" in read else high
                rows.append({"pour": made["pour"], "reading": read["reading"], "low": low, "high": high, "age": read["age"] or np.nan})
    fits = fit_castings(castings_of(study, pd.concat(pours), pd.DataFrame(rows)))
    asked = [{"catalyst": c, "thickness": t, "pigment": p} for c in (1, 1.6, 2.4) for t in (6, 12, 18) for p in (0.5, 3)]
    told = chance(fits, asked, room=20).table["chance"]
    true = resin.true_chance(settings_table(study, asked, room=20))
    assert np.corrcoef(told, true)[0, 1] > 0.8
    assert np.abs(told.to_numpy() - true).mean() < 0.2
