"""A chance that cannot be told yet is shown as such wherever a chance is shown, never as a number of its own."""

import re

import pandas as pd
import pytest

import testpour as tp
from testpour.models import chance as module
from testpour.models.chance import chance_words, untold
from testpour.panels.today import _bar

NUMBER = re.compile(r"(?<!to )(?<!to over )(?<!to under )\b\d+ in 100|meets its aim in|>\d+ in 100")


@pytest.mark.parametrize("low, high, words", [
    (0.06, 0.92, "anything from 6 to 92 in 100"),
    (0.001, 0.999, "anything from under 1 to over 99 in 100"),
    (0.30, 0.80, "about 55 in 100"),
])
def test_a_chance_is_a_number_only_where_its_interval_is_short_enough(low, high, words):
    row = {"chance": 0.55, "low": low, "high": high}
    assert chance_words(row) == words and untold(row) == words.startswith("anything")


@pytest.fixture
def open_chances(monkeypatch):
    """Every chance as one that cannot be told yet."""
    monkeypatch.setattr(module, "UNTOLD", -1.0)


# What shows the chance of a good casting; each returns its words.
SHOWN = {
    "chance": lambda fits: f"{tp.chance(fits, {'catalyst': 1.5})!r}",
    "compare": lambda fits: re.search(r"Good castings in 100.*", f"{tp.compare(fits, {'catalyst': 1.0}, {'catalyst': 2.0})!r}")[0],
    "figures": lambda fits: tp.figures.show_chance(fits).says,
    "next_pours": lambda fits: tp.next_pours(fits, pours=2)._repr_html_().split("<th>why")[0],
    "recipe_chart": lambda fits: " ".join(re.findall("<td.*?</td>", tp.recipe_chart(fits, rooms=[24])._repr_html_(), re.DOTALL)),
    "recommend": lambda fits: f"{tp.recommend(fits)!r}",
    # That the settings are near the best has a chance of its own, which is told.
    "stop_advice": lambda fits: re.sub(r" is not settled \(a chance of \d+ in 100\)", "", f"{tp.stop_advice(fits)!r}"),
    "what_if": lambda fits: f"{tp.what_if(fits, {'catalyst': 1.0})!r}",
}


@pytest.mark.slow
@pytest.mark.parametrize("name", SHOWN)
def test_no_number_stands_for_a_chance_that_cannot_be_told(name, practice_fits, open_chances):
    words = SHOWN[name](practice_fits)
    assert not NUMBER.search(words), words


@pytest.mark.slow
@pytest.mark.parametrize("name", SHOWN)
def test_a_number_stands_there_otherwise(name, practice_fits, monkeypatch):
    """So that the test above can fail."""
    monkeypatch.setattr(module, "UNTOLD", 2.0)
    words = SHOWN[name](practice_fits)
    assert "anything from" not in words and "not known" not in words
    assert NUMBER.search(words) or re.search(r"Good castings in 100: \d+", words) or name == "stop_advice", words


def test_a_bar_without_a_chance_keeps_its_interval_alone(practice_fits, open_chances):
    bar = _bar("these settings", tp.chance(practice_fits, {"catalyst": 1.5}))
    assert "share" not in bar and bar["low"] < bar["high"] and bar["says"].startswith("anything from")


@pytest.mark.slow
def test_pages_say_so_too(practice_fits, open_chances, tmp_path):
    page = tp.handout(practice_fits, tmp_path / "handout.html").path.read_text("utf-8")
    assert "cannot tell yet" in page and "<b style=" not in page
    before = tp.next_pours(practice_fits, pours=1)
    assert isinstance(before.table, pd.DataFrame) and f"{before!r}".count("anything from")


@pytest.mark.slow
def test_a_chart_says_of_how_many_of_its_cells_the_chance_is_not_known(practice_fits, open_chances):
    chart = tp.recipe_chart(practice_fits, rooms=[24])
    many = int(chart.table["catalyst"].notna().sum())
    assert many and f"In {many} of these that is an average, and the chance itself is not known yet" in chart.sentence()
    told = type(chart)(**{**vars(chart), "table": chart.table.assign(low=chart.table["high"])})
    with pytest.MonkeyPatch.context() as usual:
        usual.setattr(module, "UNTOLD", 0.8)
        assert "is an average" not in told.sentence()


def test_a_change_whose_chance_is_not_known_is_advised_in_words(practice_fits, open_chances):
    said = tp.what_if(practice_fits, {"catalyst": 1.0}).sentence()
    assert "Change catalyst to" in said and ": this should help most, but it is not known yet by how much, anything from " in said
