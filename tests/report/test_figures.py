"""Figures show the numbers they were given, say them in their title, and can be read without colour."""

import io
from dataclasses import dataclass, replace
from types import SimpleNamespace

import matplotlib
import nbformat
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from nbclient import NotebookClient
from scipy.stats import norm

from testpour.common.problems import Problem
from testpour.models.check import Checked, check_fit
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.models.scatter import scatter
from testpour.models.suspects import Suspect
from testpour.planning.plan import plan_pours
from testpour.report.figures import (
    show_age,
    show_chance,
    show_check,
    show_effects,
    show_plan,
    show_reading,
    show_scatter,
)
from testpour.report.pour_pairs import COLOURS, show_pours
from testpour.study.picture import BELIEF, INK, LOG, SECOND, SHADE, drawable, new_picture
from testpour.study.study_file import study_from

STUDY = {
    "name": "Made up",
    "factors": {
        "catalyst": {"from": "1 %", "to": "2.5 %"}, "thickness": {"from": "5 mm", "to": "18 mm"}, "cover": {},
        "room_temperature": {}, "humidity": {}, "resin_lot": {},
    },
    "readings": {"gel_time": {}, "tack": {}, "hardness": {}},
    "aims": {
        "gel_time": {"at_least": "15 min", "at_most": "45 min"},
        "tack": {"at_most": 1, "age": "24 h"},
        "hardness": {"at_least": "75 Shore D", "age": "24 h"},
    },
}


@dataclass
class Log:
    """Stands for the castings of a log; the tables are the log's."""

    study: object
    pours: pd.DataFrame
    readings: pd.DataFrame


@pytest.fixture(scope="module")
def log():
    rng = np.random.default_rng(5)
    pours, readings = [], []
    for i in range(10):
        catalyst, thickness, cover = (1.0, 1.8, 2.5)[i % 3], (5.0, 18.0, 11.0, 8.0)[i % 4], float(i % 2)
        room = 17.0 if i < 5 else 22.0
        pour = {"pour": f"P{i + 1:02d}", "session": "S1" if i < 5 else "S2", "made_at": pd.Timestamp("2026-03-02"),
                "catalyst": catalyst, "thickness": thickness, "cover": cover, "room_temperature": room,
                "humidity": 50.0, "resin_lot": "A"}
        pours.append(pour)
        gel = 26 * (catalyst / 1.5) ** -0.8 * np.exp(-0.06 * (room - 20) + 0.05 * rng.standard_normal())
        readings.append((pour["pour"], "gel_time", np.floor(gel / 4) * 4, np.floor(gel / 4) * 4 + 4, np.nan))
        readings.append((pour["pour"], "tack", 2.0 - 2 * cover, 2.0 - 2 * cover, 24.0))
        for age in (4.0, 24.0, 168.0):
            hard = np.round(78 + 2.5 * np.log(age / 24) + 2 * (catalyst - 1.5) + rng.standard_normal())
            readings.append((pour["pour"], "hardness", hard, hard, age))
    readings[0] = ("P01", "gel_time", 40.0, np.inf, np.nan)
    table = pd.DataFrame(readings, columns=["pour", "reading", "low", "high", "age"])
    return Log(study_from(STUDY), pd.DataFrame(pours).set_index("pour"), table)


@pytest.fixture(scope="module")
def fits(log):
    return fit_castings(log)


def luminance(colour):
    """Relative luminance, Web Content Accessibility Guidelines 2.1, "relative luminance"."""
    rgb = np.array(to_rgb(colour))
    return np.where(rgb <= 0.03928, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]


def contrast(one, other):
    """Contrast ratio, Web Content Accessibility Guidelines 2.1, "contrast ratio"."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colour", [LOG, SECOND, BELIEF, *COLOURS])
def test_every_mark_stands_out_from_paper_without_colour(colour):
    """WCAG 2.1, success criterion 1.4.11: 3 to 1 for graphics."""
    assert contrast(colour, "white") >= 3


def test_text_is_readable_on_paper_and_on_the_grey():
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for text."""
    assert min(contrast(INK, "white"), contrast(INK, SHADE)) >= 4.5


def test_effect_of_catalyst_is_drawn_as_its_power_says(plain_fits):
    """By hand: with gel time as catalyst to the power b, and a bend k, from 1 to 2.5 % it changes by 2.5**b * exp(k * (ln(2.5/1.5)**2 - ln(1/1.5)**2)) - 1."""
    fit = plain_fits["gel_time"]
    names = [term.name for term in fit.believed.terms]
    power, bend = fit.posterior.coefficients[:, [names.index("catalyst"), names.index("catalyst_bend")]].T
    change = 100 * (2.5**power * np.exp((np.log(2.5 / 1.5) ** 2 - np.log(1 / 1.5) ** 2) * bend) - 1)
    ax = show_effects(fit).axes[0]
    names = [tick.get_text().split("\n")[0] for tick in ax.get_yticklabels()]
    at = names.index("catalyst")
    bars = {line.get_ydata()[0]: line.get_xdata() for line in ax.lines if len(line.get_xdata()) == 2}
    dots = {line.get_ydata()[0]: line.get_xdata()[0] for line in ax.lines if len(line.get_xdata()) == 1}
    assert dots[at] == pytest.approx(np.median(change), rel=1e-9)
    assert bars[at] == pytest.approx(np.quantile(change, [0.05, 0.95]), rel=1e-9)


def test_a_setting_never_varied_is_grey_and_hollow_and_a_logged_one_is_full(fits):
    ax = show_effects(fits["tack"]).axes[0]
    names = [tick.get_text().split("\n")[0] for tick in ax.get_yticklabels()]
    dots = {names[int(line.get_ydata()[0])]: line for line in ax.lines if len(line.get_xdata()) == 1}
    assert dots["humidity"].get_color() == BELIEF and dots["humidity"].get_markerfacecolor() == "white"
    assert dots["cover"].get_color() == LOG
    shares = {e.factor.words: e.from_log for e in effects(fits["gel_time"]).each}
    ax = show_effects(fits["gel_time"]).axes[0]
    names = [tick.get_text().split("\n")[0] for tick in ax.get_yticklabels()]
    fills = {names[int(line.get_ydata()[0])]: line.get_fillstyle() for line in ax.lines if len(line.get_xdata()) == 1}
    assert shares["catalyst"] > 2 / 3 and fills["catalyst"] == "full"


def test_the_title_is_the_computed_sentence(fits):
    picture = show_effects(fits["gel_time"])
    assert picture.says == effects(fits["gel_time"]).sentence()
    assert picture.get_suptitle().replace("\n", " ") == picture.says


def test_axes_carry_the_declared_name_and_unit(fits):
    ax = show_reading(fits["gel_time"], "room_temperature").axes[0]
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Room temperature (°C)", "Gel time (min)")
    ax = show_reading(fits["tack"], "cover").axes[0]
    assert [tick.get_text() for tick in ax.get_xticklabels()] == ["no", "yes"]
    assert [tick.get_text() for tick in ax.get_yticklabels()] == ["0 dry", "1 slightly tacky", "2 tacky", "3 wet"]


def test_hundreds_of_pours_with_and_without_a_cover_stay_on_their_own_side(fits):
    """400 dots at 0.012 of the width each ran from "no" into "yes" and off the chart."""
    fit = fits["tack"]
    rows = pd.concat([fit.rows.iloc[[0]]] * 400, ignore_index=True).assign(cover=[0.0, 1.0] * 200, low=2.0, high=2.0)
    ax = show_reading(replace(fit, rows=rows), "cover").axes[0]
    at = max((line.get_xdata() for line in ax.lines), key=len)
    assert len(at) == 400 and (at[::2] < 0.4).all() and (at[1::2] > 0.6).all()
    assert ax.get_xlim()[0] <= at.min() and at.max() <= ax.get_xlim()[1]


def test_pours_are_drawn_as_known_a_bar_between_two_looks_and_an_arrow_where_one_end_is_open(fits):
    ax = show_reading(fits["gel_time"], "catalyst").axes[0]
    bars = [c for c in ax.collections if isinstance(c, matplotlib.collections.LineCollection)]
    assert sum(len(c.get_segments()) for c in bars) == 9
    heights = np.concatenate([np.ptp([s[:, 1] for s in c.get_segments()], axis=1) for c in bars])
    assert heights == pytest.approx(4)
    arrows = [text for text in ax.texts if getattr(text, "arrow_patch", None)]
    assert [arrow.xy[1] for arrow in arrows] == [40.0]


def test_the_curve_is_the_average_by_the_models_own_power(plain_fits):
    """By hand: at 2.5 % the middle curve is the median of exp(level + b ln(2.5/1.5) + k ln(2.5/1.5)**2), with power b and bend k."""
    fit = plain_fits["gel_time"]
    line = show_reading(fit, "catalyst", room="20 degC").axes[0].lines[0]
    place = [term.name for term in fit.believed.terms].index("catalyst")
    level = [term.name for term in fit.believed.terms].index("level")
    draws = fit.posterior.coefficients
    bend = [term.name for term in fit.believed.terms].index("catalyst_bend")
    at = np.exp(draws[:, level] + draws[:, place] * np.log(2.5 / 1.5) + draws[:, bend] * np.log(2.5 / 1.5) ** 2)
    assert line.get_xdata()[-1] == 2.5
    assert line.get_ydata()[-1] == pytest.approx(np.median(at), rel=1e-9)


def test_the_curve_is_drawn_where_the_other_settings_were_poured(plain_fits):
    thick = replace(plain_fits["peak_temperature"], rows=plain_fits["peak_temperature"].rows.assign(thickness=30.0))
    assert "thickness 30 mm" in show_reading(thick, "catalyst").get_supxlabel()
    assert "thickness 12 mm" in show_reading(thick, "catalyst", {"thickness": 12}).get_supxlabel()


def test_what_was_not_poured_is_grey(fits):
    ax = show_reading(fits["gel_time"], "room_temperature").axes[0]
    spans = [(p.get_x(), p.get_x() + p.get_width()) for p in ax.patches]
    assert any(end == pytest.approx(17) for _, end in spans) and any(start == pytest.approx(22) for start, _ in spans)
    assert "not poured" in [text.get_text() for text in ax.texts]
    ax = show_reading(fits["tack"], "humidity").axes[0]
    assert "never varied: belief only" in [text.get_text() for text in ax.texts]


def test_a_factor_outside_the_model_is_refused_with_those_inside(fits):
    with pytest.raises(Problem, match="humidity does not enter the model of gel time: choose one of catalyst"):
        show_reading(fits["gel_time"], "humidity")


@pytest.mark.slow
def test_the_map_names_its_best_spot_and_the_chance_there_by_hand(fits):
    """The chance at the named spot, from each draw's normal distribution: the product over the three aims."""
    picture = show_chance(fits, "catalyst", "thickness", {"cover": "yes"}, room="20 degC")
    words = picture.says.split("highest here at catalyst ")[1]
    catalyst, thickness = float(words.split(" %")[0]), float(words.split("thickness ")[1].split(" mm")[0])
    said = int(words.split("about ")[1].split(" in 100")[0])
    row = pd.DataFrame([{"catalyst": catalyst, "thickness": thickness, "cover": 1.0, "room_temperature": 20.0,
                         "humidity": 50.0, "age": 24.0}])
    gel, tack, hard = (fits.calibrated[name] for name in ("gel_time", "tack", "hardness"))
    gels = norm(gel.mean(row)[:, 0], gel.scatter())
    met = gels.cdf(np.log(45)) - gels.cdf(np.log(15))
    met = met * norm.cdf((tack.posterior.cuts[:, 1] - tack.mean(row)[:, 0]) / tack.scatter())
    met = met * norm.sf((np.log(0.75 / 0.25) - hard.mean(row)[:, 0]) / hard.scatter())
    assert said == pytest.approx(100 * met.mean(), abs=1.0)  # the spot is named to three digits


def test_the_map_marks_what_was_poured_and_hatches_the_rest(fits, log):
    picture = show_chance(fits)
    ax = picture.axes[0]
    rings = next(line for line in ax.lines if line.get_label() == "poured")
    assert list(rings.get_ydata()) == list(log.pours["room_temperature"])
    hatched = [c.get_paths()[0].get_extents() for c in ax.collections if c.get_hatch()]
    assert {round(float(box.y1), 3) for box in hatched} == {16.5, 26.0}  # 17 less a step of 0.5; the span's end
    assert any("in 100" in text.get_text() for text in ax.texts)


def test_a_map_needs_two_different_numbers(fits):
    with pytest.raises(Problem, match="cover is not a number .* choose two of catalyst, thickness"):
        show_chance(fits, "catalyst", "cover")
    with pytest.raises(Problem, match="lever is not a number of this study .* choose two of catalyst, thickness"):
        show_chance(fits, y="lever")
    alone = replace(fits, study=study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}}))
    with pytest.raises(Problem, match="needs two settings that are numbers, and this study has catalyst: show_reading draws one"):
        show_chance(alone)
    with pytest.raises(Problem, match="two different settings, and both are catalyst"):
        show_chance(fits, "catalyst", "catalyst")


@pytest.mark.slow
def test_every_panel_of_a_plan_shows_every_pour(log):
    plan = plan_pours(log.study, sessions=2, pours=3)
    picture = show_plan(plan)
    assert picture.says.startswith("Where the 6 planned pours lie: 3 in session S1, 3 in session S2. Warning: P05: ")  # it has no thermometer
    assert [sum(len(one.get_offsets()) for one in ax.collections) for ax in picture.axes] == [6] * len(picture.axes) != []
    assert {sum(len(one.get_offsets()) for one in ax.collections) for ax in show_pours(log).axes} == {10}
    study = study_from({"factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}}, "readings": {"gel_time": {}}})
    table = pd.DataFrame({"session": "S1", "catalyst": [1.0, 1.0, 2.5, 1.0]}, index=["P1", "P2", "P3", "P4"])
    (ax,) = (drawn := show_pours(SimpleNamespace(study=study, pours=table))).axes
    # where they were poured, each ring larger than the one within
    assert [marks.get_offsets()[:, 0].tolist() for marks in ax.collections] == [[1.0, 2.5], [1.0], [1.0]]
    sizes = [float(marks.get_sizes()[0]) for marks in ax.collections]
    assert sizes == sorted(set(sizes)) and all(len(marks.get_sizes()) == 1 for marks in ax.collections)
    assert "ring: one more pour" in [text.get_text() for text in drawn.legends[0].get_texts()]
    alone = show_pours(SimpleNamespace(study=study, pours=table.iloc[[0, 2]]))
    assert [text.get_text() for text in alone.legends[0].get_texts()] == ["session S1"]
    alike = replace(plan, table=plan.table.iloc[:1])
    with pytest.raises(Problem, match="No setting differs"):
        show_plan(alike)


def test_of_many_sessions_the_last_ten_have_a_mark_of_their_own_and_the_earlier_ones_are_pale():
    """With 31 sessions the first and the last had the same shape and colour, and 31 lines of legend."""
    study = study_from({"factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "pigment": {}}, "readings": {"gel_time": {}}})
    days = [f"D{day:02d}" for day in range(31) for _ in range(5)]
    values = np.round(np.linspace(1, 2.5, 155), 3)
    values[-5:] = 2.0  # one spot poured five times
    table = pd.DataFrame({"session": days, "catalyst": values, "pigment": np.where(np.arange(155) < 150, values, 1.0)})
    (ax,) = (drawn := show_pours(SimpleNamespace(study=study, pours=table))).axes
    assert drawn.says.startswith("Where the 155 pours lie: 105 in 21 earlier sessions, 5 in session D21, ")
    assert sum(len(one.get_offsets()) for one in ax.collections) == 155
    words = [text.get_text() for text in drawn.legends[0].get_texts()]
    assert words == ["21 earlier sessions", *(f"session D{day}" for day in range(21, 31)), "ring: one more pour, 3 rings: 3 or more"]
    marks = {(line.get_marker(), line.get_color()) for line in drawn.legends[0].legend_handles}
    assert len(marks) == 12
    assert len({float(one.get_sizes()[0]) for one in ax.collections[-4:]}) == 4  # a mark and three rings, the last of two pours


@pytest.mark.slow
def test_a_pour_far_from_the_others_is_named_and_a_plain_log_names_none(log, fits):
    assert check_fit(fits["gel_time"]).odd == []
    readings = log.readings.copy()
    readings.loc[(readings["pour"] == "P06") & (readings["reading"] == "gel_time"), ["low", "high"]] = 240.0, 241.0
    odd = fit_castings(Log(log.study, log.pours, readings))["gel_time"]
    picture = show_check(odd)
    assert check_fit(odd).odd == ["P06"] and "Outside: P06" in picture.says
    bold = [t.get_text() for t in picture.axes[0].get_xticklabels() if t.get_fontweight() == "bold"]
    assert bold == ["P06"]


def test_the_check_of_a_long_log_shows_the_pours_that_stand_out_and_the_last_ones(fits, monkeypatch):
    """Of 400 pours it was 113 inches wide."""
    names = [f"P{i:02d}" for i in range(1, 61)]
    table = pd.DataFrame({"pour": names, "low": 20.0, "high": 22.0, "from": np.arange(60.0), "to": np.arange(60.0) + 5, "inside": 1.0})
    checked = Checked(fits["gel_time"].reading, table, (Suspect("P03", "P03 is late.", (), 0.001),))
    monkeypatch.setattr("testpour.report.effect_chart.check_fit", lambda fit: checked)
    picture = show_check(fits["gel_time"])
    ax = picture.axes[0]
    assert [text.get_text() for text in ax.get_xticklabels()] == ["P03", *names[21:]] and len(ax.patches) == 40
    assert ax.get_xlabel() == "Pour, in order of what was predicted; of 60 the last 39 and those that stand out"
    assert picture.says.startswith("60 of 60 readings") and picture.get_size_inches()[0] < 13


def test_a_reading_never_logged_gets_a_picture_that_says_what_is_needed(fits):
    log = fits.castings
    none = fit_castings(Log(log.study, log.pours, log.readings[log.readings["reading"] != "gel_time"]))["gel_time"]
    picture = show_check(none)
    assert picture.says == "No gel time in the log yet, so nothing can be checked. Log one gel time first."
    assert not picture.axes[0].has_data() and picture.to_bytes("png")


def test_scatter_is_drawn_as_it_is_told(fits):
    """Dots at the middles, largest share on top; what is mostly belief is open and grey."""
    found, picture = scatter(fits["hardness"]), show_scatter(fits["hardness"])
    assert picture.says == found.sentence() and len(found.parts) > 1
    dots = [line for line in picture.axes[0].lines if line.get_marker() == "o"]
    assert [dot.get_xdata()[0] for dot in reversed(dots)] == [part.middle for part in found.parts]
    assert [dot.get_color() for dot in reversed(dots)] == [LOG if part.learned else BELIEF for part in found.parts]


def test_the_age_in_the_title_is_where_nine_in_ten_begin(fits):
    fit = fits["hardness"]
    said = show_age(fit, {"catalyst": "1.2 %"}, room="17 degC").says
    found = said.split("From about ")[1].split(" on")[0]
    hours = float(found.split()[0]) * (24 if "day" in found else 1)
    row = {"catalyst": 1.2, "room_temperature": 17.0, "thickness": 10.0, "cover": 1.0, "humidity": 50.0}
    met = fit.chances(pd.DataFrame([{**row, "age": hours * f} for f in (0.8, 1.25)]), 75.0).mean(axis=0)
    assert met[0] < 0.9 < met[1]
    ageless = replace(fit, study=replace(fit.study, aims=tuple(replace(aim, age=None) for aim in fit.study.aims)))
    for one in (fit, ageless):
        assert "readings meet hardness at least 75 Shore D." in show_age(one, {"catalyst": "1.2 %"}, room="17 degC").says


def test_hours_before_the_first_reading_are_grey_on_a_scale_of_powers(fits):
    """From 1 h to 4 h is a fifth of the width drawn, ln 4 / ln 672, though 1 part in 200 of the hours."""
    ax = show_age(fits["hardness"]).axes[0]
    read = fits["hardness"].rows["age"]
    grey = [patch.get_x() for patch in ax.patches if to_rgb(patch.get_facecolor()) == to_rgb(SHADE)]
    assert read.min() > 1.0 and grey[0] == 1.0
    assert next(text.get_position()[0] for text in ax.texts if text.get_text() == "not read") < 0.3


def test_a_reading_without_age_is_refused(fits):
    with pytest.raises(Problem, match="gel time does not change with age"):
        show_age(fits["gel_time"])


@pytest.mark.slow
def test_nothing_global_is_touched(fits):
    """No figure is left with pyplot, and no style outlives a figure."""
    from matplotlib import pyplot

    before = dict(matplotlib.rcParams)
    show_effects(fits["gel_time"]).to_bytes()
    show_chance(fits).to_bytes("png")
    assert pyplot.get_fignums() == []
    assert dict(matplotlib.rcParams) == before


def test_the_same_figure_gives_the_same_bytes(fits):
    assert show_effects(fits["tack"]).to_bytes() == show_effects(fits["tack"]).to_bytes()


def test_a_drawing_is_what_matplotlib_writes_and_the_figure_stays_as_it_was(fits):
    drawn, other, saved = show_effects(fits["tack"]), show_effects(fits["tack"]), io.BytesIO()
    canvas, before = drawn.canvas, drawn.to_bytes("png")
    assert other.to_bytes("png") == before  # laid out once already, as the first is: a second time moves a line by a rounding
    with matplotlib.rc_context({"svg.hashsalt": "testpour"}):
        other.savefig(saved, format="svg", metadata={"Date": None, "Creator": None})
    assert drawn.to_bytes() == saved.getvalue()
    assert (drawn.canvas, drawn.dpi, drawn.to_bytes("png")) == (canvas, 100, before)


@pytest.mark.parametrize("name", [r"$\frac{1}$", "cost $5 or $6", "\U0001fae0\u202eevil", "W" * 300, "tabs\tand\nlines", "漢字"])
def test_any_name_a_person_types_can_be_drawn(name):
    """A formula, a sign the font lacks, a mark that turns the text round, a very long word: no warning, no error."""
    picture, _ = new_picture(drawable(name))
    assert picture.to_bytes()[:5] == b"<?xml"


CELLS = ("from testpour.study.picture import new_picture\npicture, axes = new_picture('Once')\npicture",
         "from matplotlib import pyplot\npicture", "picture;")


@pytest.mark.slow
def test_a_notebook_shows_a_figure_once_and_only_as_the_last_expression():
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(text) for text in CELLS])
    ran = NotebookClient(notebook, timeout=60, kernel_name="python3").execute()
    pictures = [[o for o in cell.outputs if "image/png" in o.get("data", {})] for cell in ran.cells]
    assert [len(found) for found in pictures] == [1, 1, 0]
    assert [len(cell.outputs) for cell in ran.cells] == [1, 1, 0]
