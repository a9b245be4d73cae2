"""The recipe chart as a page: it stands alone, says what it rests on, and marks by more than colour."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from testpour.advice.chart import recipe_chart
from testpour.advice.chart_page import _size
from testpour.common.problems import Problem
from testpour.models.fits import fit_castings
from testpour.study.caution_rules import safety_text


class Page(HTMLParser):
    """The kind and words of every cell, and every tag."""

    def __init__(self, text):
        super().__init__()
        self.cells, self.tags, self.words = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag == "td":
            self.cells.append((set((dict(attrs)["class"] or "").split()), []))

    def handle_data(self, data):
        self.words.append(data)
        if self.cells and data.strip():
            self.cells[-1][1].append(data)


@pytest.fixture(scope="module")
def made(practice_castings):
    dated = practice_castings.pours.assign(made_at=pd.Timestamp("2026-03-16 10:00"))
    fits = fit_castings(replace(practice_castings, pours=dated))
    return recipe_chart(fits, rooms=(15, 19, 22), thicknesses=(6, 12))


@pytest.fixture(scope="module")
def page(made, tmp_path_factory):
    return made.save(tmp_path_factory.mktemp("chart") / "chart.html", date="1 April 2026").read_text("utf-8")


@pytest.mark.slow
def test_the_saved_chart_stands_alone_and_says_what_it_rests_on(made, page):
    assert page.startswith("<!doctype html>") and not re.search(r"https?:|url\(|@import", page)
    assert not {"script", "link", "img", "iframe"} & set(Page(page).tags)
    assert f"Rests on {made.pours} pours, the last on 16 March 2026. Chart of 1 April 2026." in page
    assert made.castings.fingerprint() in page
    assert safety_text("bench", html=True) in page


def test_every_cell_is_framed_by_what_is_known_of_it(made, page):
    cells = Page(page).cells
    assert len(cells) == len(made.table) == 6
    for (kind, words), (_, row) in zip(cells, made.table.iterrows(), strict=True):
        assert ("untried" in kind) == row["beyond"] and ("none" in kind) == np.isnan(row["catalyst"])
        assert ("not poured yet" in words) == (row["beyond"] and np.isfinite(row["catalyst"]))
    assert any(row["beyond"] for _, row in made.table.iterrows())


def test_the_key_explains_the_frames_that_are_there_and_no_other(made):
    inside = replace(made, table=made.table.assign(beyond=False, catalyst=1.5, chance=0.9))
    assert "Hatched" not in inside._repr_html_() and "Thin square frame" not in inside._repr_html_()
    assert "Hatched" in made._repr_html_()
    none = replace(made, table=made.table.assign(catalyst=np.nan, advice="add a cover, with 1.5 %"))
    assert "no catalyst is known to give 60 good castings in 100" in none._repr_html_()


def test_it_is_dated_today_unless_told(made, tmp_path):
    text = made.save(tmp_path / "chart.html").read_text("utf-8")
    assert re.search(rf"Chart of \d+ \w+ {pd.Timestamp.today().year}\.", text)
    assert "Chart of" not in made.save(tmp_path / "chart.html", date="").read_text("utf-8")


def test_paper_is_one_of_two(made, tmp_path):
    assert "size: Letter;" in made.save(tmp_path / "chart.html", paper="Letter").read_text("utf-8")
    with pytest.raises(Problem, match="A4 or Letter"):
        made.save(tmp_path / "chart.html", paper="A5")


def test_typed_words_are_escaped(made, tmp_path):
    evil = "</style><script>x</script>"
    named = replace(made, study=replace(made.study, name=evil, question=evil))
    assert "script" not in Page(named.save(tmp_path / "chart.html", date=evil).read_text("utf-8")).tags


@pytest.mark.parametrize("rooms, depths, size", [(9, 5, 1.0), (18, 5, 0.5), (9, 10, 0.5), (12, 4, 0.75), (3, 6, 0.83), (3, 2, 1.12)])
def test_words_shrink_by_rooms_and_by_depths_until_the_chart_fits_its_sheet(rooms, depths, size):
    """Nine rooms by five depths fill a sheet at size 1, by hand; two or three cells get words an eighth larger at most."""
    assert _size(rooms, depths) == size


def test_the_size_of_the_words_is_that_of_as_many_rooms_and_depths(made):
    """12 rooms by 4 depths, 9 / 12 by hand; 4 rooms by 12 depths would be 5 / 12."""
    cells = pd.MultiIndex.from_product([range(10, 22), (6, 8, 10, 12)], names=made.table.index.names)
    table = made.table.iloc[[0] * 48].set_axis(cells)
    assert "font-size: 0.75em" in replace(made, table=table)._repr_html_()
