"""The recipe chart: each cell the best of its column, what was not poured greyed, and remedies that work."""

from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import testpour.advice.chart as chart_module
from testpour.advice import conflicts
from testpour.advice.candidates import RoomProblem
from testpour.advice.chart import GOOD, recipe_chart
from testpour.advice.remedy import ASK, NOTHING, _changes, remedies
from testpour.common.problems import Problem
from testpour.models.chance import NoAims, chance
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table

GIVEN = {"pigment": "0.5 %", "cover": "yes"}


@pytest.fixture(scope="module")
def chart(fits):
    return recipe_chart(fits, rooms=(16, "68 degF", 24), thicknesses=("6 mm", 15), fixed=GIVEN)


def test_one_room_and_one_depth_may_stand_alone(fits):
    assert list(recipe_chart(fits, rooms="20", thicknesses=15, fixed=GIVEN).table.index) == [(20.0, 15.0)]


def test_a_chart_rests_on_the_pours_that_were_read(fits):
    readings = fits.castings.readings
    some = replace(fits, castings=replace(fits.castings, readings=readings[readings["pour"] == readings["pour"].iloc[0]]))
    assert "resting on 1 pour." in recipe_chart(some, rooms=[20], thicknesses=[8]).sentence()


def test_each_cell_is_the_best_catalyst_of_its_room_and_depth(fits, chart):
    """Against every catalyst on the bench's step: within a point of the best, and with the chance that `chance` gives its settings."""
    for (room, depth), row in chart.table.iterrows():
        grid = [{"catalyst": c, "thickness": depth, **GIVEN} for c in np.arange(1.0, 2.51, 0.1).round(1)]
        each = chance(fits, settings_table(fits.study, grid, room=room)).draws.mean(axis=0)
        if np.isfinite(row["catalyst"]):
            assert row["chance"] == pytest.approx(each[round(10 * (row["catalyst"] - 1.0))], abs=1e-12) and row["chance"] >= each.max() - 0.01
        else:
            assert each.max() < GOOD + 0.04


@pytest.mark.parametrize("thermometer", [True, False])
def test_no_cell_gives_a_recipe_that_boils(fits, thermometer):
    """40 mm in one pour passes 145 °C, where styrene boils, with any dose of the study; two layers of 20 mm may do."""
    if not thermometer:
        readings = fits.castings.readings
        study = replace(fits.study, readings=tuple(r for r in fits.study.readings if r.name != "peak_temperature"), aims=fits.study.aims[:-1])
        fits = fit_castings(replace(fits.castings, study=study, readings=readings[readings["reading"] != "peak_temperature"]))
    found = recipe_chart(fits, rooms=22, thicknesses=(10, 40), fixed=GIVEN)
    shallow, deep = (found.table.loc[(22.0, depth)] for depth in (10.0, 40.0))
    assert np.isfinite(shallow["catalyst"]) and np.isnan(deep["catalyst"]) and not found.cautions.refusals
    assert deep["advice"].startswith("pour in ") or deep["advice"] == NOTHING


def test_rooms_and_depths_are_read_and_sorted(chart):
    assert list(chart.table)[:2] == ["catalyst", "chance"]
    assert list(chart.table.index) == [(16, 6), (16, 15), (20, 6), (20, 15), (24, 6), (24, 15)]


def test_catalyst_is_on_the_step_and_the_gel_window_in_order(chart):
    good = chart.table.dropna(subset=["catalyst"])
    assert (10 * good["catalyst"] - (10 * good["catalyst"]).round()).abs().max() < 1e-9
    assert (good["gel_low"] < good["gel_high"]).all()


def test_a_cold_room_is_beyond_what_was_poured(fits, chart):
    """The log holds rooms at 17 and 22 °C only, half a degree of slack either side."""
    assert chart.table.loc[(16, 6), "beyond"] and chart.table.loc[(24, 6), "beyond"]
    inside = recipe_chart(fits, rooms=(18,), thicknesses=(10,), fixed=GIVEN).table
    assert not inside["beyond"].any()


def test_what_lies_beyond_is_told_whatever_a_setting_is_called(fits):
    """A depth of 19 mm in a study that says depth for thickness; the deepest pour is less deep by more than a step."""
    assert fits.castings.pours["thickness"].max() < 18.5
    factors = tuple(replace(f, words="depth") if f.name == "thickness" else f for f in fits.study.factors)
    called = replace(fits, study=replace(fits.study, factors=factors))
    assert recipe_chart(called, rooms=(18,), thicknesses=(19,), fixed=GIVEN).table["beyond"].all()


def test_a_chart_with_a_cover_that_was_never_used_is_beyond_what_was_poured(fits):
    bare = replace(fits, castings=replace(fits.castings, pours=fits.castings.pours.assign(cover=0.0)))
    charts = [recipe_chart(bare, rooms=(18,), thicknesses=(10,), fixed={"pigment": "0.5 %", "cover": cover}) for cover in ("yes", "no")]
    assert [chart.table["beyond"].tolist() for chart in charts] == [[True], [False]]


def test_a_cell_without_a_good_recipe_says_what_to_do_and_that_it_works(fits):
    chart = recipe_chart(fits, rooms=(19,), thicknesses=(18,), fixed={"pigment": "0.5 %", "cover": "no"})
    row = chart.table.iloc[0]
    assert np.isnan(row["catalyst"])
    assert row["advice"].split(",")[0] in {"add a cover", "pour in two layers", "pour in three layers", "warm the room to 20 °C"}
    assert row["advice"].split(", with ")[1].endswith(" %")


def test_what_all_cells_share_is_judged_at_the_best_catalyst_of_each(fits, monkeypatch):
    """Half a per cent of pigment is good at 1 % catalyst only (0.9), 2 % is middling at any (0.6): the first is shared."""
    study = fits.study
    shared = (study.factor("pigment"),)
    cells = settings_table(study, [{"thickness": 6}, {"thickness": 15}], room=20)
    tried = pd.concat([cells.iloc[[0, 0]].assign(pigment=[0.5, 2.0])], ignore_index=True)
    good = lambda grid: np.where(grid["pigment"] == 2.0, 0.6, np.where(grid["catalyst"] == 1.0, 0.9, 0.1))
    monkeypatch.setattr(chart_module, "spread_settings", lambda *given: tried)
    monkeypatch.setattr(chart_module, "allowed", lambda fits, grid: np.ones(len(grid), bool))
    monkeypatch.setattr(chart_module, "prospect", lambda states, study, grid: SimpleNamespace(chance=lambda: good(grid)))
    assert chart_module._common(fits, {}, cells, shared) == {"pigment": 0.5}


@pytest.mark.parametrize("may", [True, False])
def test_a_cell_has_the_chance_of_its_draws_however_small_and_none_where_no_catalyst_is_allowed(fits, monkeypatch, may):
    cells = settings_table(fits.study, [{"thickness": 6}], room=20)
    monkeypatch.setattr(chart_module, "prospect", lambda states, study, grid: SimpleNamespace(chance=lambda: np.zeros(len(grid))))
    monkeypatch.setattr(chart_module, "allowed", lambda fits, grid, count: np.full(len(grid), may))
    best, chances = chart_module._best_catalysts(fits, {}, cells)
    assert best["catalyst"].tolist() == [1.0] and chances == pytest.approx(chance(fits, best).draws.mean(axis=0) if may else [0.0])


def test_a_remedy_must_make_the_recipe_good(fits, monkeypatch):
    """Six in ten is good enough for a recipe, with a remedy too. The third change tried is the first to reach it."""
    offered = np.array([0.1, 0.59, 0.61, 0.9])

    def solve(fits, states, cells):
        return cells.assign(catalyst=1.7), np.resize(offered, len(cells))

    cells = settings_table(fits.study, [{"thickness": 18, "cover": 0}], room=19)
    said, changes = [], list(_changes(fits.study, cells))
    monkeypatch.setattr(chart_module, "remedies", lambda fits, states, cells, best, good, unknown, ask: said.append(good) or ["", ] * len(cells))
    recipe_chart(fits, rooms=(19,), thicknesses=(18,), fixed={"pigment": "0.5 %", "cover": "no"})
    assert said == [0.6]
    assert remedies(fits, {}, cells, solve, said[0], [False]) == [f"{changes[2][0]}, with 1.7 %"]


def test_no_other_room_is_asked_for_where_it_is_not_known_that_this_one_is_bad(fits, monkeypatch):
    """Where the chance may be good, one is to be poured; another cover is no such trouble."""
    warm = lambda fits, states, cells: (cells.assign(catalyst=1.7), np.where(cells["room_temperature"] > 19, 0.9, 0.1))
    cells = settings_table(fits.study, [{"catalyst": 1.4}] * 2, room=19)
    assert remedies(fits, {}, cells, warm, 0.6, [False, True]) == ["warm the room to 20 °C, with 1.7 %", "cannot tell yet: try one with 1.4 %"]
    bare = lambda fits, states, cells: (cells.assign(catalyst=1.7), np.where(cells["cover"] == 0, 0.9, 0.1))
    assert remedies(fits, {}, cells, bare, 0.6, [True, True]) == ["leave the cover off, with 1.7 %"] * 2
    assert remedies(fits, {}, cells, warm, 0.6, [False, True], True) == ["warm the room to 20 °C, with 1.7 %", ASK]


@pytest.mark.parametrize(("beyond", "most", "unknown"), [(True, 0.61, True), (True, 0.59, False), (False, 0.9, True), (False, 0.59, False)])
def test_a_cell_that_may_be_good_is_not_known_poured_or_not(fits, monkeypatch, beyond, most, unknown):
    """The chance may be as good as a recipe's six in ten at the upper end of its 90 % interval; the mean is a fifth of that."""
    asked = []
    monkeypatch.setattr(chart_module, "_best_catalysts", lambda fits, states, cells: (cells, np.array([most / 5])))
    monkeypatch.setattr(chart_module, "beyond_log", lambda fits, row: {"room_temperature": "cold"} if beyond else {})
    monkeypatch.setattr(chart_module, "chance", lambda fits, table: SimpleNamespace(draws=np.array([[0.0]] * 9 + [[most]] * 2)[:, : len(table)]))
    monkeypatch.setattr(chart_module, "remedies", lambda fits, states, cells, best, good, new, ask: asked.extend(new) or [""])
    chart_module._rows(fits, {}, settings_table(fits.study, room=12))
    assert asked == [unknown]


def test_a_chart_that_asks_for_a_pour_gives_its_other_settings(fits):
    """A pour to try cannot be made from a catalyst alone; where there is none to make, nothing is to be set."""
    chart = recipe_chart(fits, rooms=(19,), thicknesses=(18,))
    for advice, said in (("cannot tell yet: try one with 1.9 %", True), (NOTHING, False)):
        none = replace(chart, table=chart.table.assign(catalyst=np.nan, advice=advice))
        assert (f"Everywhere: {chart.shared}." in none.sentence()) == said


def test_no_pour_is_asked_for_before_it_is_known_why_nearly_all_fail(fits, monkeypatch):
    """No cell has a recipe, and every casting misses the aim for the gel time: no cell sends anybody to pour."""
    monkeypatch.setattr(chart_module, "_best_catalysts", lambda fits, states, cells: (cells.assign(catalyst=1.5), np.full(len(cells), 0.1)))
    monkeypatch.setattr(conflicts, "missed_by_most", lambda castings, aim: aim.reading == "gel_time")
    chart = recipe_chart(fits, rooms=(19,), thicknesses=(6, 18), fixed=GIVEN)
    assert set(chart.table["advice"]) == {ASK} and "ask why before you pour again" in chart.sentence()


class Cells(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.counts, self.words = {}, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.counts[tag] = self.counts.get(tag, 0) + 1

    def handle_data(self, data):
        self.words.append(data)


def test_the_page_has_every_cell_and_reads_without_colour(chart):
    page = Cells(chart._repr_html_())
    assert page.counts["td"] == 6 and page.counts["tr"] == 4 and page.counts["table"] == 1
    assert "not poured yet" in page.words  # said in words, not by the grey alone
    assert "break-inside:avoid" in chart._repr_html_()
    assert any("Everywhere: 0.5 % pigment, with cover" in words for words in page.words)


def test_typed_names_are_escaped(chart):
    named = replace(chart, study=replace(chart.study, name="<script>x</script>"))
    assert "<script>" not in named._repr_html_()


def test_settings_left_free_are_chosen_once_and_well(fits):
    free = recipe_chart(fits, rooms=(18, 22), thicknesses=(6, 12))
    given = recipe_chart(fits, rooms=(18, 22), thicknesses=(6, 12), fixed={"pigment": "3 %", "cover": "no"})
    assert free.table["chance"].mean() >= given.table["chance"].mean()
    assert free.shared.endswith("cover")
    differs = f"Everywhere: {free.shared}. That is one choice for all cells."
    assert differs in free.sentence() and "one choice for all" not in given.sentence()


def test_rooms_of_the_study_that_are_too_cold_are_left_out_and_said(fits):
    """A span of 6 to 14 °C: nothing is recommended below 10 °C, and the rooms from there are answered."""
    cold = tuple(replace(f, span=(6.0, 14.0)) if f.name == "room_temperature" else f for f in fits.study.factors)
    chart = recipe_chart(replace(fits, study=replace(fits.study, factors=cold)), thicknesses=10)
    assert chart.table.index.unique("room_temperature").tolist() == [10, 12, 14]
    assert chart.sentence().startswith("Refused: Room temperature 6 °C is below 10 °C. Nothing can be recommended for a room this cold")
    frozen = tuple(replace(f, span=(6.0, 9.0)) if f.name == "room_temperature" else f for f in fits.study.factors)
    with pytest.raises(RoomProblem, match="this cold"):
        recipe_chart(replace(fits, study=replace(fits.study, factors=frozen)))


def test_a_study_that_does_not_vary_the_catalyst_is_told_what_to_do_instead(fits):
    """The notebooks of a workshop whose supplier fixes the catalyst stopped here."""
    for factors in ([f for f in fits.study.factors if f.name != "catalyst"],
                    [replace(f, span=(1.5, 1.5)) if f.name == "catalyst" else f for f in fits.study.factors]):
        found = recipe_chart(replace(fits, study=replace(fits.study, factors=tuple(factors))))
        assert not found and "does not vary it. What to use is in section 1 of the notebook 4-next-pours" in found.sentence()


def test_refusals(fits):
    with pytest.raises(Problem, match="how much catalyst to use. Leave catalyst out of fixed"):
        recipe_chart(fits, fixed={"catalyst": 2})
    for name in ("rooms", "thicknesses"):
        with pytest.raises(Problem, match=f"{name} is an empty list. Give one or more, or leave {name} out."):
            recipe_chart(fits, **{name: []})
    with pytest.raises(RoomProblem, match="this cold"):
        recipe_chart(fits, rooms=(4, 20))
    with pytest.raises(NoAims, match="states no aim"):
        recipe_chart(replace(fits, study=replace(fits.study, aims=())))


def test_one_cell_is_not_said_to_share_its_choice(chart):
    rows = chart.table.assign(advice="")
    one, two = (replace(chart, table=rows.iloc[:count], together=True).sentence() for count in (1, 2))
    assert " of 1 cell has a recipe" in one and " of 2 cells have a recipe" in two
    assert "one choice for all cells" not in one and "one choice for all cells" in two


def test_the_cells_of_a_chart_are_every_room_at_every_depth(fits):
    """5 to 18 mm in four, to the whole millimetre: 5, 9, 14, 18. A depth that is given stands alone; what is given goes into every cell."""
    cells = chart_module._cells(fits, (20, 16), None, {"pigment": "0.7 %"})
    assert cells[["room_temperature", "thickness"]].to_numpy().tolist() == [[room, depth] for room in (16, 20) for depth in (5, 9, 14, 18)]
    assert set(cells["pigment"]) == {0.7} and cells.index.tolist() == list(range(8))
    given = chart_module._cells(fits, 21, (6, 12), {"thickness": "8 mm"})
    assert given[["room_temperature", "thickness"]].to_numpy().tolist() == [[21, 8]]
    assert chart_module._cells(fits, 21, ("1/2 in", 6, 6), {})["thickness"].tolist() == pytest.approx([6, 12.7])


@pytest.mark.parametrize("span, rooms", [((17.5, 24.0), [18, 20, 22, 24]), ((15.2, 21.9), [16, 18, 20]), ((16.0, 16.0), [16])])
def test_the_rooms_of_a_chart_are_whole_degrees_two_apart(span, rooms, fits):
    factors = tuple(replace(factor, span=span) if factor.name == "room_temperature" else factor for factor in fits.study.factors)
    assert chart_module._rooms(replace(fits.study, factors=factors), None) == rooms


def test_a_room_that_is_refused_is_left_out_unless_it_is_asked_for_or_all_are(fits, monkeypatch):
    factors = tuple(replace(factor, span=(14.0, 20.0)) if factor.name == "room_temperature" else factor for factor in fits.study.factors)
    study, cold = replace(fits.study, factors=factors), {14.0, 16.0}
    monkeypatch.setattr(chart_module, "check_settings", lambda study, setting: setting["room_temperature"] in cold)
    monkeypatch.setattr(chart_module, "checked_room", lambda study, room: room + 0.5)
    assert chart_module._rooms(study, None) == [18.5, 20.5] and chart_module._rooms(study, [20.0, 14.0, 14.0]) == [14.5, 20.5]
    cold |= {18.0, 20.0}
    assert chart_module._rooms(study, None) == [14.5, 16.5, 18.5, 20.5]


def test_each_cell_takes_the_allowed_catalyst_with_the_best_mean_chance(fits, monkeypatch):
    """Best at 1.6 % where it is 6 mm deep, and at 1.2 % where 12 mm; at 12 mm less than 1.7 % is refused; at 15 mm all is; 18 mm boils."""
    best = {6.0: 1.6, 12.0: 1.2, 15.0: 1.4, 18.0: 2.2}
    mean = lambda table: 0.8 - (table["catalyst"] - table["thickness"].map(best)).abs().to_numpy() / 2
    depths = lambda table: table["thickness"].to_numpy()
    monkeypatch.setattr(chart_module, "prospect", lambda states, study, table: SimpleNamespace(chance=lambda: mean(table)))
    allowed = lambda fits, table, choices: (choices == 4) & (depths(table) != 15) & ((depths(table) != 12) | (table["catalyst"] > 1.65).to_numpy())
    monkeypatch.setattr(chart_module, "allowed", allowed)
    monkeypatch.setattr(chart_module, "chance", lambda fits, table: SimpleNamespace(draws=np.array([mean(table) - 0.1, mean(table) + 0.04])))
    monkeypatch.setattr(chart_module, "peaks_at", lambda fits, table: np.where(depths(table) == 18, 145.0, 144.9))
    cells = pd.DataFrame({"catalyst": 1.0, "thickness": list(best)}, index=[4, 5, 6, 7])
    found, chances = chart_module._best_catalysts(fits, {}, cells)
    assert found["catalyst"].tolist()[:2] == pytest.approx([1.6, 1.7]) and found["catalyst"].iloc[3] == pytest.approx(2.2)
    assert found["thickness"].tolist() == list(best) and chances == pytest.approx([0.77, 0.8 - 0.25 - 0.03, 0.0, 0.0])
