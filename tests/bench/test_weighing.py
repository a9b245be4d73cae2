"""What is weighed out: one mix, one catalyst percentage in every pot, and what the scale really delivers."""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testpour.bench.amounts import WeighOutProblems
from testpour.bench.weighing import weigh_out
from testpour.study.scale import decimals, smallest_batch, smallest_read
from testpour.study.study_file import study_from

STEPS = st.sampled_from([0.01, 0.05, 0.1, 0.5, 1.0])


def study(**resin):
    return study_from({"resin": resin, "factors": {"catalyst": {}}, "readings": {"tack": {}}})


def holds(steps, percent, tenth=Fraction(1, 10)):
    """Whether `steps` of resin keep the catalyst within a tenth, straight from the definition."""
    share, half = Fraction(str(percent)) / 100, Fraction(1, 2)
    out = math.floor(share * steps + half)
    low, high = (out - half) / (steps + half), (out + half) / (steps - half)
    return (1 - tenth) * share <= low and high <= (1 + tenth) * share


def test_two_hundred_grams_by_hand():
    """3.0 g in 200.0 g at 0.1 g: from 2.95 / 200.05 to 3.05 / 199.95, by hand."""
    mix = weigh_out("200 g")
    assert (mix.resin_mass, mix.catalyst_mass) == (200.0, 3.0)
    assert mix.delivered == pytest.approx((100 * 2.95 / 200.05, 100 * 3.05 / 199.95), rel=1e-12)
    assert list(mix.table.index) == ["pot 1"]
    assert "drops" not in mix.table and "catalyst_mL" not in mix.table


def test_amounts_are_rounded_to_the_scale():
    """8 oz is 226.796 g; 1.5 % of the 226.8 g that are weighed is 3.402 g, by hand."""
    assert weigh_out("8 oz").catalyst_mass == pytest.approx(3.4)
    assert weigh_out("8 oz", scale_resolution="0.01 g").catalyst_mass == pytest.approx(3.40)
    assert weigh_out("8 oz", scale_resolution="1 g").resin_mass == 227


def test_mould_volume_takes_liquid_density_and_waste():
    """100 mL x 1.10 g/mL x 1.05 = 115.5 g, by hand; no allowance for shrinkage."""
    assert weigh_out(mould_volume="100 mL").resin_mass == pytest.approx(115.5)
    assert weigh_out(mould_volume="100 mL", waste=0, resin_density="1.13 g/mL").resin_mass == pytest.approx(113)
    assert weigh_out(mould_volume="100 mL", waste=0, study=study(density=1.2)).resin_mass == pytest.approx(120)


def test_drops_and_millilitres_only_when_known():
    """3.0 g at 1.12 g/mL is 2.679 mL, at 20 drops a mL 54 drops, by hand."""
    mix = weigh_out(200, catalyst_density=1.12, drops_per_mL=20).table.iloc[0]
    assert mix["catalyst_mL"] == pytest.approx(2.679, abs=5e-4)
    assert mix["drops"] == 54
    assert "drops" not in weigh_out(200, catalyst_density=1.12).table
    assert weigh_out(200, study=study()).table["catalyst_mL"].iloc[0] == pytest.approx(3 / 1.12)


@pytest.mark.parametrize("resin, drops", [("20 g", 10), ("100 g", 30)])
def test_the_drops_that_were_asked_for_are_those_of_the_table(resin, drops):
    """10 drops at 30 a mL and 1.12 g/mL are 0.373 g: the 0.4 g of the scale are 10.7. 30 drops are 1.12 g, and 1.1 g are 29.5."""
    row = weigh_out(resin, catalyst=f"{drops} drops", drops_per_mL=30, catalyst_density="1.12 g/mL").table.iloc[0]
    assert row["drops"] == drops and row["catalyst_mL"] == pytest.approx(drops / 30)


def test_eight_drops_to_the_ounce_is_a_percentage_once_calibrated():
    """8 drops a US fluid ounce at 20 drops a mL, 1.12 and 1.10 g/mL: 1.38 %, by hand."""
    mix = weigh_out("10 fl oz", catalyst="80 drops", drops_per_mL=20, catalyst_density=1.12, scale_resolution=0.01)
    assert mix.catalyst == pytest.approx(1.38, abs=0.005)
    with pytest.raises(WeighOutProblems, match="Count the drops"):
        weigh_out("10 fl oz", catalyst="80 drops")


def test_colour_pots_share_one_mix():
    mix = weigh_out("300 g", pots={"red": 2, "white": 1}, pigment={"red": "2 %", "white": "0.5 %"})
    table = mix.table
    assert list(table.index) == ["red", "white", "whole mix"]
    assert table["resin"].to_list() == pytest.approx([200, 100, 300])
    assert table["catalyst"].to_list() == pytest.approx([3.0, 1.5, 4.5])
    assert table["pigment"].to_list() == pytest.approx([4.0, 0.5, 4.5])
    assert table["total"].to_list() == pytest.approx([207, 102, 309])
    words = " ".join(mix.steps)
    assert words.index("pigment") < words.index("all the resin") < words.index("catalyst") < words.index("share")


@pytest.mark.parametrize("asked, mixes, whole", [
    ({"resin": "100 g", "pots": 2}, ["50.8", "50.7"], ["100.0", "1.5", "101.5"]),
    ({"resin": "12 g", "pots": 3}, ["4.1", "4.0", "4.1"], ["12.0", "0.2", "12.2"]),
    ({"resin": "100 g", "pots": 3, "scale_resolution": "0.2 g"}, ["33.8", "34.0", "33.8"], ["100.0", "1.6", "101.6"]),
])
def test_a_pot_takes_its_share_of_the_mix_in_steps_of_the_scale_and_no_catalyst_of_its_own(asked, mixes, whole):
    """101.5 g in two, 12.2 g in three, and 101.6 g (1.5 g is 1.6 g on that scale) in three, each share on the scale and none lost, by hand."""
    shown = weigh_out(**asked).shown()
    assert shown["mix (g)"].tolist() == [*mixes, whole[2]]
    assert shown.loc["whole mix", ["resin (g)", "catalyst (g)", "mix (g)"]].tolist() == whole
    own = shown.drop(columns=["mix (g)", "pigment (g)", "total (g)"]).drop(index="whole mix")
    assert (own == "").all(axis=None)


def test_a_pot_whose_share_is_too_little_for_the_scale_is_refused_as_the_catalyst_is():
    """0.2 of 60 parts of 61 g is 0.203 g."""
    with pytest.raises(WeighOutProblems, match="the share of eye is 0.203 g of mix, too little for a scale that reads in steps of 1 g. Give it"):
        weigh_out("60 g", catalyst="2 %", pots={"body": 59.8, "eye": 0.2}, scale_resolution="1 g")


@pytest.mark.parametrize("step, places", [(0.1, 1), (1, 0), (5, 0), (0.5, 1), (0.25, 2), (0.05, 2), (0.2, 1), (2.834952, 2), (3.54369, 2), (0.2834952, 3)])
def test_a_step_is_shown_within_a_hundredth_of_itself(step, places):
    """0.25 with one place would read 0.2 and 0.5; a tenth, an eighth and a hundredth of an ounce are 2.834952, 3.54369 and 0.2834952 g."""
    assert decimals(step) == places


def test_two_steps_of_a_scale_in_ounces_are_not_six_grams():
    """2 % of 8.0 oz is 0.16 oz, read as 0.2 oz, which is 5.67 g."""
    mix = weigh_out("8 oz", catalyst="2 %", scale_resolution="0.1 oz")
    assert mix.shown()["catalyst (oz)"].tolist() == ["0.2"] and mix.table["catalyst"].tolist() == pytest.approx([5.67], abs=0.005)


def test_pigment_names_the_pots():
    assert list(weigh_out(100, pigment={"a": 1, "b": 2}).table.index) == ["a", "b", "whole mix"]


def test_one_pot_takes_pigment_before_catalyst():
    words = " ".join(weigh_out(100, pigment="1 %").steps)
    assert words.index("resin") < words.index("pigment") < words.index("catalyst")
    assert "pigment" not in " ".join(weigh_out(100).steps)


@settings(max_examples=60)
@given(
    resin=st.floats(50, 5000),
    catalyst=st.floats(0.5, 4),
    shares=st.lists(st.floats(0.1, 10), min_size=2, max_size=5),
    load=st.floats(0, 15),
    step=STEPS,
)
def test_every_pot_carries_the_same_catalyst(resin, catalyst, shares, load, step):
    pots = {f"p{n}": share for n, share in enumerate(shares)}
    if catalyst * resin / 100 < step or min(shares) / sum(shares) * (resin - step) < step:
        return
    mix = weigh_out(resin, catalyst=catalyst, pots=pots, pigment=load, scale_resolution=step)
    percent = (mix.table["catalyst"] / mix.table["resin"]).to_numpy()
    assert percent == pytest.approx([mix.catalyst_mass / mix.resin_mass] * len(percent), rel=1e-9)
    assert mix.table["total"].iloc[:-1].sum() == pytest.approx(mix.table["total"].iloc[-1], rel=1e-9)
    wanted = [load / 100 * mix.resin_mass * share / sum(shares) for share in shares]
    assert (abs(mix.table["pigment"].iloc[:-1] - wanted) <= step / 2 + 1e-5).all()


@settings(max_examples=100)
@given(steps=st.integers(200, 50_000), catalyst=st.integers(5, 40), step=STEPS)
def test_delivered_range_holds_the_target(steps, catalyst, step):
    mix = weigh_out(float(steps * Fraction(str(step))), catalyst=catalyst / 10, scale_resolution=step)
    assert mix.delivered[0] <= mix.catalyst <= mix.delivered[1]


@pytest.mark.slow
@settings(max_examples=40)
@given(catalyst=st.integers(1, 400).map(lambda n: n / 100), step=STEPS)
def test_smallest_batch_is_the_smallest(catalyst, step):
    """One step below fails; it and all above hold, checked straight from the definition."""
    steps = round(Fraction(str(smallest_batch(catalyst, step))) / Fraction(str(step)))
    assert not holds(steps - 1, catalyst)
    assert all(holds(n, catalyst) for n in range(steps, steps + 2000))


@pytest.mark.parametrize("grams, small", [("63.6 g", True), ("63.7 g", False)])
def test_sentence_says_when_the_mix_is_small(grams, small):
    mix = weigh_out(grams)
    assert mix.smallest_batch == 63.7
    assert ("small mix" in mix.sentence()) is small
    assert "half a step" in mix.sentence() and "tared" in mix.sentence()
    assert repr(mix) == mix.sentence()


@pytest.mark.parametrize("grams, low, high, fine", [("60 g", "0.9159 %", "1.084 %", True), ("64 g", "0.8587 %", "1.016 %", False)])
def test_a_mix_that_the_scale_weighs_within_a_tenth_is_not_called_small(grams, low, high, fine):
    """At 1 % both take 0.6 g on a scale of 0.1 g: 0.55 / 60.05 to 0.65 / 59.95 is within 0.9 to 1.1 %, 0.55 / 64.05 to 0.65 / 63.95 is not, by hand."""
    mix = weigh_out(grams, catalyst="1 %")
    assert f"between {low} and {high} catalyst for a target of 1 %." in mix.sentence()
    assert ("That is within a tenth of the target, and so is every mix from 95.6 g of resin up" in mix.sentence()) is fine
    assert (mix.scale_warning() == "") is fine and ("mix at least 95.6 g" in mix.sentence()) is not fine


def test_a_mix_too_large_for_a_pot_is_not_told_that_its_scale_will_do_for_the_pots():
    """4.2 kg is to be split into pots of 500 g, whose 7.5 g of catalyst a scale of 5 g reads as 5 or 10 g."""
    said = weigh_out("4.2 kg", catalyst="1.5 %", scale_resolution="5 g").sentence()
    assert "Split it into pots of 500 g or less" in said and "Use a finer scale." in said
    assert "and so is every mix" not in said


@pytest.mark.parametrize("grams", ["50 g", "500 g"])
def test_nobody_is_sent_above_what_may_stand_in_a_pot(grams):
    """At 1 % on a scale of 1 g the catalyst is within a tenth from 956 g of resin up, 965.6 g of mix; 500 g may stand in a pot."""
    said = weigh_out(grams, catalyst="1 %", scale_resolution="1 g").sentence()
    assert "only from 956 g of resin up, more than one pot may hold. Use a finer scale." in said
    assert "Mix more" not in said and "mix at least" not in said


@pytest.mark.parametrize("others, way", [(9, "Give that pot at least 45.5 g of resin or use a finer scale."), (19, "Use a finer scale.")])
def test_a_pot_is_not_told_to_grow_until_the_mix_is_more_than_may_stand(others, way):
    """1 % on 0.1 g is read within a tenth from 45.5 g up: of a mix of 455 g where the pot is a tenth of it, of 910 g where a twentieth."""
    mix = weigh_out(5 * (1 + others), pots={"red": 1, "plain": others}, pigment={"red": 1, "plain": 0})
    (said,) = mix.cautions.warnings
    assert said.endswith(f"rounds to 0.1 g, or 2 %. {way}")


def test_warnings_are_carried_and_said():
    mix = weigh_out(200, catalyst="3 %", pigment="12 %")
    assert len(mix.cautions.warnings) == 2 and not mix.cautions
    assert "Pigment 12 % is above 10 %" in mix.sentence()


def test_pigment_that_the_scale_cannot_show_is_warned_about():
    """2 % of 3.33 g is 0.067 g, read as 0.1 g, 3 %; 0.5 % of 6.67 g is 0.033 g, read as 0.0 g. Five steps of 0.1 g are
    within a tenth of 0.5 / 1.1 = 0.4545 g and more: 22.73 g of resin at 2 %, 90.91 g at 0.5 %, all by hand."""
    red, blue = weigh_out("10 g", pots={"red": 1, "blue": 2}, pigment={"red": 2, "blue": 0.5}).cautions.warnings
    assert red.startswith("Pigment of red: 2 % is 0.0667 g, which a scale in steps of 0.1 g rounds to 0.1 g, or 3 %. Give that pot at least 22.8 g")
    assert blue.startswith("Pigment of blue: 0.5 % is 0.0333 g, which a scale in steps of 0.1 g rounds to no pigment at all.")
    assert "Give that pot at least 91.0 g of resin or use a finer scale." in blue
    (one,) = weigh_out("113 g", pigment="0.4 %", scale_resolution="1 g").cautions.warnings
    assert one == "Pigment: 0.4 % is 0.452 g, which a scale in steps of 1 g rounds to no pigment at all. Use a finer scale."  # 4.545 / 0.4 % is 1137 g
    for less in (0.009, 5e-324):  # 5051 g, and more than a number can hold
        assert weigh_out("113 g", pigment=less).cautions.warnings[0].endswith("rounds to no pigment at all. Use a finer scale.")


@pytest.mark.parametrize("resin, pots, load, grams", [
    ("20 g", 2, 0.5, ["0.1", "0.1"]), ("60 g", {"a": 1, "b": 2}, 0.75, ["0.2", "0.3"]), ("150 g", 3, 0.3, ["0.2", "0.2", "0.2"]),
    ("20 g", 3, 0.7, ["0.0", "0.0", "0.0"]),
])
def test_the_pigment_of_a_pot_is_one_figure_in_the_table_and_in_the_warning(resin, pots, load, grams):
    """0.05 g, 0.15 and 0.3 g, 0.15 g, and 0.7 % of 6.67 g, which is 0.047 g, each to the nearest 0.1 g, by hand; only 0.3 g is what was wanted."""
    mix = weigh_out(resin, pots=pots, pigment=load)
    assert mix.shown()["pigment (g)"].tolist()[:-1] == grams
    told = dict(re.findall(r"Pigment of (.+?): .+? rounds to (0\.\d) g", mix.sentence()))
    told |= dict.fromkeys(re.findall(r"Pigment of ([^:]+): [^:]+ rounds to no pigment at all", mix.sentence()), "0.0")
    assert told == {pot: said for pot, said in zip(mix.table.index, grams, strict=False) if said != "0.3"}


@pytest.mark.parametrize("load", [0.2, 0.4, 0.7, 2, 3.3])
def test_from_the_least_resin_up_pigment_is_read_within_a_tenth(load):
    least = round(smallest_read(load, 1))
    for steps in range(1, least + 800):
        wanted = load * steps / 100
        off = abs(math.floor(wanted + 0.5 + 1e-12) - wanted) / wanted
        assert off <= 0.1 + 1e-9 if steps >= least else steps < least - 1 or off > 0.1


def test_html_shows_the_table_and_escapes_names():
    html = weigh_out(200, pots={"<b>red": 1, "white": 1}, pigment=1)._repr_html_()
    assert "&lt;b&gt;red" in html and "<b>red" not in html and "catalyst (g)" in html


@pytest.mark.parametrize(
    "asked, match",
    [
        ({}, "not both"),
        ({"resin": 100, "mould_volume": 90}, "not both"),
        ({"resin": -5}, "resin: -5"),
        ({"resin": 0}, "above zero"),
        ({"resin": math.nan}, "above zero"),
        ({"resin": math.inf}, "above zero"),
        ({"resin": "3 in"}, "neither a mass"),
        ({"resin": 100, "catalyst": 0}, "catalyst: 0"),
        ({"resin": 100, "catalyst": "-1 %"}, "catalyst"),
        ({"resin": 100, "catalyst": math.nan}, "catalyst: nan"),
        ({"resin": 100, "catalyst": "4.5 %"}, "above 4 %"),
        ({"resin": 100, "pigment": -1}, "pigment of pot 1"),
        ({"resin": 100, "pigment": {"red": 1}, "pots": {"blue": 1}}, "red is not a pot"),
        ({"resin": 100, "pots": 0}, "not a number of pots"),
        ({"resin": 100, "pots": {}}, "at least one pot"),
        ({"resin": 100, "pots": {"a": 0}}, "share of a"),
        ({"resin": 100, "scale_resolution": 0}, "scale resolution"),
        ({"resin": 100, "drops_per_mL": -2}, "drops per mL"),
        ({"resin": 100, "resin_density": 0}, "resin density"),
        ({"mould_volume": 100, "waste": "-5 %"}, "waste"),
        ({"resin": 10, "scale_resolution": "1 g"}, "nothing on a scale"),
    ],
)
def test_refusals(asked, match):
    with pytest.raises(WeighOutProblems, match=match):
        weigh_out(**asked)


def test_all_problems_at_once():
    with pytest.raises(WeighOutProblems, match="5 in all") as caught:
        weigh_out("3 in", catalyst=9, pigment=-1, pots=0, scale_resolution="x")
    assert len(caught.value.problems) == 5


def test_other_resins_are_refused():
    with pytest.raises(WeighOutProblems, match="epoxy"):
        weigh_out(100, study=study(kind="clear epoxy"))


def test_a_scale_that_reads_in_ounces_is_served_in_ounces():
    """1.5 % of 8 oz is 0.12 oz; the table of numbers stays in g, 28.349523125 g an ounce (avoirdupois, exact)."""
    ounces = weigh_out("8 oz", catalyst="1.5 %", scale_resolution="0.01 oz")
    assert ounces.shown().loc["pot 1", ["resin (oz)", "catalyst (oz)", "total (oz)"]].tolist() == ["8.00", "0.12", "8.12"]
    assert ounces.sentence().startswith("8.00 oz of resin takes 0.12 oz of catalyst. On a scale that reads 0.01 oz each")
    assert ounces.table.loc["pot 1", "resin"] == pytest.approx(8 * 28.349523125)
    assert "resin (g)" in weigh_out("8 oz", scale_resolution="0.1 grams").shown()
    with pytest.raises(WeighOutProblems, match="1 % of 0.4 oz resin rounds to nothing on a scale that reads in steps of 0.01 oz."):
        weigh_out("0.4 oz", catalyst="1 %", scale_resolution="0.01 oz")
    with pytest.raises(WeighOutProblems, match="the share of eye is 0.00305 oz of mix, too little for a scale that reads in steps of 0.01 oz."):
        weigh_out("3 oz", pots={"body": 999, "eye": 1}, scale_resolution="0.01 oz")  # a thousandth of 3 oz and 0.05 oz


def test_true_is_no_amount():
    """Python takes True for 1, which nobody means by it."""
    with pytest.raises(WeighOutProblems, match="catalyst: True is not a number. Write it like 1.5 %"):
        weigh_out("100 g", catalyst=True)
