"""What a log foretells to boil, or to gel in the cup, is told wherever a chance is: 145 °C is where styrene boils (handbook value, from memory)."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from testpour.advice.batch import next_pours
from testpour.advice.chart import recipe_chart
from testpour.advice.what_if import what_if
from testpour.models.chance import cautions_at, chance
from testpour.models.compare import compare
from testpour.models.fits import Fits, fit_castings
from testpour.models.settings import settings_table
from testpour.report.chance_map import show_chance
from testpour.study.caution_rules import Cautions
from testpour.study.study import Aim

HOT, MILD = {"catalyst": "2.5 %", "thickness": "15 mm", "pigment": "0.5 %", "cover": "yes"}, {"catalyst": "1 %", "thickness": "6 mm", "cover": "yes"}


@pytest.fixture(scope="module")
def hot(study, castings_of):
    """Twelve castings of a resin that runs very hot where it is deep and much catalysed, and gels in minutes there."""
    catalyst, thickness = (np.tile([1.0, 1.5, 2.0, 2.5], 3), np.repeat([6.0, 10.0, 15.0], 4))
    peak = 25 + 175 / (1 + np.exp(-(-3.2 + 1.2 * np.log(catalyst) + 4.5 * np.log(thickness / 6))))
    gel = 9 / catalyst
    names = [f"P{place + 1:02d}" for place in range(12)]
    pours = pd.DataFrame({"catalyst": catalyst, "thickness": thickness, "pigment": 0.5, "cover": 1.0, "room_temperature": 25.0,
                          "session": np.repeat(["S1", "S2", "S3"], 4)}, index=names)
    reads = [(name, reading, value, age) for place, name in enumerate(names) for reading, value, age in (
        ("peak_temperature", peak[place], np.nan), ("gel_time", gel[place], np.nan), ("tack", 0.0, 24.0), ("hardness", 78.0 + thickness[place] / 2, 24.0))]
    table = pd.DataFrame(reads, columns=["pour", "reading", "low", "age"])
    return fit_castings(castings_of(study, pours, table.assign(high=table["low"])))


def test_a_chance_at_settings_that_boil_is_refused_first(hot):
    assert hot["peak_temperature"].predict(HOT, room=25)["middle"].iloc[0] > 145
    for told in (chance(hot, HOT, room=25), compare(hot, MILD, HOT, room=25), what_if(hot, HOT, room=25)):
        said = told.sentence()
        assert said.startswith("Refused: Predicted peak temperature ") and "Styrene boils there" in said
        assert any("Predicted gel time" in text for text in told.cautions.warnings)
    mild = chance(hot, MILD, room=25)
    assert not mild.cautions.refusals and mild.sentence().startswith("Chance of a good casting")


def test_the_quickest_gel_and_the_hottest_peak_of_several_settings_speak_for_all(hot):
    table = settings_table(hot.study, [MILD, HOT], room=25)
    found = cautions_at(hot, table)
    assert len(found.refusals) == 1 and sum("gel time" in text for text in found.warnings) == 1
    assert cautions_at(hot, table.iloc[:0]) == Cautions()


def with_aims(fits, *aims):
    study = replace(fits.study, aims=aims)
    return Fits(study, fits.castings, {name: replace(fit, study=study) for name, fit in fits.items()})


def test_the_map_crosses_out_what_boils_and_never_names_it(hot):
    """The deeper, the harder, and the hotter: only what boils is likely to be hard enough."""
    hard = with_aims(hot, Aim("hardness", at_least=84.0, age=24.0))
    assert chance(hard, HOT, room=25).table["chance"].iloc[0] > chance(hard, MILD, room=25).table["chance"].iloc[0] + 0.2
    picture = show_chance(hard, "catalyst", "thickness", {"cover": "yes"}, room="25 degC")
    legend = [text.get_text() for text in picture.legends[0].get_texts()]
    assert "refused, or likely to boil" in legend
    at = {name: float(picture.says.split(f"{name} ")[1].split()[0]) for name in ("catalyst", "thickness")}
    assert hot["peak_temperature"].predict({**at, "cover": "yes", "pigment": 0.5}, room=25)["middle"].iloc[0] < 145
    cold = show_chance(hot, "catalyst", "pigment", {"cover": "yes", "thickness": "6 mm"}, room="20 degC")
    assert "refused, or likely to boil" not in [text.get_text() for text in cold.legends[0].get_texts()]


def test_next_pours_and_the_chart_pass_on_what_is_foretold_of_them(hot):
    given = {"catalyst": "2.4 %", "cover": "yes", "pigment": "0.5 %"}
    pours = next_pours(hot, room="25 degC", pours=2, fixed=given)
    assert pours.predicted.xs("gel time", level="reading")["middle"].max() < 5 and "Warning: P13, P14: Predicted gel time" in pours.sentence()
    dry = with_aims(hot, Aim("tack", at_most=1.0, age=24.0))
    shallow = recipe_chart(dry, rooms=[25], thicknesses=[6])
    assert shallow.table["catalyst"].notna().all() and not shallow.cautions.refusals
    deep = recipe_chart(dry, rooms=[25], thicknesses=[15])  # every catalyst makes 15 mm boil
    assert deep.table["catalyst"].isna().all() and deep.table["advice"].iloc[0].startswith("pour in two layers, with ")
    study = replace(dry.study, factors=tuple(replace(f, span=(15.0, 18.0)) if f.name == "thickness" else f for f in dry.study.factors))
    whole = Fits(study, replace(dry.castings, study=study), {name: replace(fit, study=study) for name, fit in dry.items()})
    (said,) = recipe_chart(whole, rooms=[25], thicknesses=[15]).table["advice"]  # no layer is shallow enough for this study
    assert "try one" not in said
