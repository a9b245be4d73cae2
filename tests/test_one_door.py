"""Whatever prints or shows settings or grams asks the cautions first: every public function, walked by name."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import testpour as tp
from testpour.logbook.book import Logbook

DOSE, DEPTH, ROOM, BATCH = "9 %", "60 mm", "8 degC", "5 kg"
# What must be found in the words shown. 4 %: a supplier's buying guide; 38 mm: a casting-resin catalyst label;
# 145 °C: boiling point of styrene, from memory, not read; 10 °C and 500 g: common practice, no source.
SAYS = {
    "dose": r"9 % is above 4 %",
    "depth": r"60 mm is above 38 mm|above 145 °C|at or above 145 °C|beyond one and a half times the thickest",
    "room": r"8 °C is below 10 °C",
    "batch": r"is above 500 g",
}

# Public names that return no settings or grams of a pour still to be made, and why.
NOTHING_TO_WEIGH = {
    "Logbook": "asks at its own door; tests/logbook holds that",
    "Study": "a type",
    "check_fit": "judges fits by what was poured", "check_log": "judges fits by what was poured",
    "compare_studies": "compares logs, inside what both poured",
    "container": "says itself whether a cup must not hold resin",
    "due": "times of readings of pours made",
    "example_study": "spans of the kit, which `testpour new` puts into a folder",
    "effects": "changes of readings, no settings", "scatter": "changes of readings, no settings",
    "findings_page": "shows the log, and advice of `recommend`", "handout": "shows advice of `recommend`",
    "wall_summary": "shows pours made",
    "fit_castings": "fits", "pool": "fits", "read_beliefs": "beliefs",
    "practice_guild": "invented pours", "practice_resin": "invented pours",
    "read_package": "pours made", "read_page": "pours made", "read_sheet": "pours made, asked at the log's door",
    "read_study": "spans, which `testpour check` and `plan_pours` ask about", "save_study": "a file",
    "read_trace": "a trace",
    "repair_plan": "a Plan, held by `plan_pours` and tests/planning/test_repair.py",
    "safety_text": "the cautions themselves",
    "what_is_lost": "changes of readings, no settings",
    "why": "pours made", "why_all": "pours made",
    **dict.fromkeys(
        ("begin_panel", "plan_panel", "pour_panel", "look_panel", "today_panel", "why_panel", "share_panel", "round_panel"),
        "a panel shows what the functions above say; tests/panels holds that refusals come before grams",
    ),
    "write_package": "pours made", "write_sheet": "pours made",
}


@pytest.fixture(scope="module")
def fits(study, castings_of):
    return tp.fit_castings(castings_of(study, pd.DataFrame(index=pd.Index([], name="pour")), pd.DataFrame(columns=["pour", "reading", "low", "high"])))


@pytest.fixture(scope="module")
def plan(study):
    return tp.plan_pours(study, sessions=2, pours=5)


@pytest.fixture
def given(study, fits, plan, study_here):
    """What each way of asking starts from."""
    log = Logbook(study_here)
    yield {"study": study, "fits": fits, "plan": plan, "log": log}
    log.close()


def pours(**settings):
    """One pour as a bench table, floats in declared units."""
    return pd.DataFrame({"catalyst": [1.5], "thickness": [10.0], "room_temperature": [20.0]} | {k: [v] for k, v in settings.items()}, index=["P1"])


def changed(plan, **settings):
    """The plan with its first pour at other settings, as one edited by hand would be."""
    table = plan.table.copy()
    read = plan.study.settings(settings)
    for name in settings:
        table.loc["P01", name] = read[name]
    return replace(plan, table=table)


def kilos(advice):
    return " ".join(map(repr, advice.weigh_out(BATCH).values()))


# Public name to hazard to a way of asking for it; each returns what is shown, or refuses in words.
ASKED = {
    "bench_sheet": {
        "dose": lambda g: tp.bench_sheet(g["study"], pours(catalyst=9.0), resin="150 g"),
        "depth": lambda g: tp.bench_sheet(g["study"], pours(thickness=60.0), resin="150 g"),
        "room": lambda g: tp.bench_sheet(g["study"], pours(room_temperature=8.0), resin="150 g"),
        "batch": lambda g: tp.bench_sheet(g["study"], pours(), resin=BATCH),
    },
    "chance": {
        "dose": lambda g: tp.chance(g["fits"], {"catalyst": DOSE}),
        "depth": lambda g: tp.chance(g["fits"], [{"thickness": DEPTH}, {}]),
        "room": lambda g: tp.chance(g["fits"], room=ROOM),
    },
    "check_settings": {
        "dose": lambda g: tp.check_settings(g["study"], {"catalyst": DOSE}),
        "depth": lambda g: tp.check_settings(None, {"thickness": DEPTH}),
        "room": lambda g: tp.check_settings(g["study"], {"room_temperature": ROOM}),
    },
    "compare": {
        "dose": lambda g: tp.compare(g["fits"], {}, {"catalyst": DOSE}),
        "depth": lambda g: tp.compare(g["fits"], {"thickness": DEPTH}, {}),
        "room": lambda g: tp.compare(g["fits"], {}, {}, room=ROOM),
    },
    "figures": {name: lambda g, name=name: drawn("show_chance", name, g) for name in ("dose", "depth", "room")},
    "labels": {
        "dose": lambda g: tp.labels(changed(g["plan"], catalyst=DOSE)),
        "depth": lambda g: tp.labels(changed(g["plan"], thickness=DEPTH)),
        "room": lambda g: tp.labels(changed(g["plan"], room_temperature=ROOM)),
    },
    "next_pours": {
        "dose": lambda g: tp.next_pours(g["fits"], fixed={"catalyst": DOSE}),
        "depth": lambda g: tp.next_pours(g["fits"], fixed={"thickness": DEPTH}, pours=1),
        "room": lambda g: tp.next_pours(g["fits"], room=ROOM),
        "batch": lambda g: kilos(tp.next_pours(g["fits"], pours=1)),
    },
    "outlook": {
        "dose": lambda g: tp.outlook(changed(g["plan"], catalyst=DOSE)),
        "depth": lambda g: tp.outlook(changed(g["plan"], thickness=DEPTH)),
        "room": lambda g: tp.outlook(changed(g["plan"], room_temperature=ROOM)),
        "batch": lambda g: tp.outlook(g["plan"], pot=BATCH),
    },
    "oven_hour": {
        "dose": lambda g: tp.oven_hour(g["fits"], {"catalyst": DOSE}),
        "depth": lambda g: tp.oven_hour(g["fits"], {"thickness": DEPTH}),
        "room": lambda g: tp.oven_hour(g["fits"], room=ROOM),
    },
    "plan_pours": {
        "dose": lambda g: tp.plan_pours(g["study"], compare=({"catalyst": DOSE}, {})),
        "depth": lambda g: tp.plan_pours(g["study"], compare=({"thickness": DEPTH}, {"thickness": "8 mm"})),
        "room": lambda g: tp.plan_pours(g["study"], rooms=[ROOM, 20]),
        "batch": lambda g: tp.plan_pours(g["study"], pot=BATCH),
    },
    "ready": {
        "dose": lambda g: tp.ready(g["fits"], {"catalyst": DOSE}),
        "depth": lambda g: tp.ready(g["fits"], {"thickness": DEPTH}),
        "room": lambda g: tp.ready(g["fits"], room=ROOM),
    },
    "recipe_chart": {  # its catalyst is never given
        "depth": lambda g: tp.recipe_chart(g["fits"], rooms=[20], thicknesses=[DEPTH]),
        "room": lambda g: tp.recipe_chart(g["fits"], rooms=[ROOM]),
    },
    "recommend": {
        "dose": lambda g: tp.recommend(g["fits"], fixed={"catalyst": DOSE}),
        "depth": lambda g: tp.recommend(g["fits"], fixed={"thickness": DEPTH}),
        "room": lambda g: tp.recommend(g["fits"], room=ROOM),
    },
    "session_form": {
        "dose": lambda g: tp.session_form(g["log"], pours(catalyst=9.0)).state["cards"],
        "depth": lambda g: tp.session_form(g["log"], pours(thickness=60.0)).state["cards"],
        "batch": lambda g: tp.session_form(g["log"], tp.bench_sheet(g["study"], pours(), resin=BATCH)).state["cards"],
    },
    "stop_advice": {
        "dose": lambda g: tp.stop_advice(g["fits"], fixed={"catalyst": DOSE}),
        "room": lambda g: tp.stop_advice(g["fits"], room=ROOM),
    },
    "thickness_limit": {
        "dose": lambda g: tp.thickness_limit(g["fits"], {"catalyst": DOSE}),
        "room": lambda g: tp.thickness_limit(g["fits"], room=ROOM),
    },
    "two_layers": {
        "dose": lambda g: tp.two_layers(g["fits"], {"catalyst": DOSE}),
        "depth": lambda g: tp.two_layers(g["fits"], {"thickness": DEPTH}),
        "room": lambda g: tp.two_layers(g["fits"], room=ROOM),
    },
    "weigh_out": {
        "dose": lambda g: tp.weigh_out("150 g", catalyst=DOSE),
        "batch": lambda g: tp.weigh_out(BATCH, catalyst="2 %"),
    },
    "what_if": {
        "dose": lambda g: tp.what_if(g["fits"], {"catalyst": DOSE}),
        "depth": lambda g: tp.what_if(g["fits"], {"thickness": DEPTH}),
        "room": lambda g: tp.what_if(g["fits"], room=ROOM),
    },
}


# Figures that draw no settings of a pour still to be made, and why.
NO_SETTINGS = {
    "show_benches": "benches", "show_check": "pours made", "show_effects": "changes of readings",
    "show_pours": "pours made", "show_scatter": "changes of readings", "show_trace": "a trace",
}
HAZARD = {"dose": {"catalyst": DOSE}, "depth": {"thickness": DEPTH}, "room": {"room_temperature": ROOM}}
# Name of a figure to how it is drawn with one hazard among its settings.
FIGURES = {
    "show_age": lambda g, one: tp.figures.show_age(g["fits"]["hardness"], one),
    "show_chance": lambda g, one: tp.figures.show_chance(g["fits"], "pigment", "humidity", one),
    "show_cure": lambda g, one: tp.figures.show_cure(g["fits"], one),
    "show_plan": lambda g, one: tp.figures.show_plan(changed(g["plan"], **one)),
    "show_reading": lambda g, one: tp.figures.show_reading(g["fits"]["gel_time"], "pigment", one),
}


def drawn(name, hazard, given):
    """The words in a figure, in its title and beside it."""
    picture = FIGURES[name](given, HAZARD[hazard])
    return " ".join([picture.says, *(text.get_text() for text in picture.texts)])


def shown(ask, given):
    """The words of a refusal, or of what is shown."""
    try:
        made = ask(given)
    except ValueError as refusal:
        return str(refusal)
    return f"{made!r}"


def test_every_public_name_is_walked_or_has_nothing_to_weigh():
    assert set(ASKED) | set(NOTHING_TO_WEIGH) == set(tp.__all__)
    assert not set(ASKED) & set(NOTHING_TO_WEIGH)


@pytest.mark.parametrize("name, hazard", [(name, hazard) for name, ways in ASKED.items() for hazard in ways])
def test_a_hazard_is_refused_or_warned_about_in_the_words_shown(name, hazard, given):
    words = shown(ASKED[name][hazard], given)
    if name == "bench_sheet" and hazard == "batch":  # the sheet itself says it, the sentence how many to read
        words = ASKED[name][hazard](given)._repr_html_()
    assert re.search(SAYS[hazard], words), words


def test_every_figure_is_walked_or_draws_no_settings():
    assert set(FIGURES) | set(NO_SETTINGS) == set(tp.figures.__all__)
    assert not set(FIGURES) & set(NO_SETTINGS)


@pytest.mark.slow
@pytest.mark.parametrize("hazard", HAZARD)
@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_says_the_cautions_of_the_settings_it_draws(name, hazard, given):
    words = shown(lambda g: drawn(name, hazard, g), given)
    assert re.search(SAYS[hazard], words), words


@pytest.mark.slow
def test_a_figure_speaks_once_of_what_lies_beyond_a_limit(study, castings_of):
    """A map whose catalyst runs from 1 to 6 % crosses 4 %, the limit in SAYS: one sentence, of its furthest value."""
    wide = replace(study, factors=tuple(replace(f, span=(1.0, 6.0)) if f.name == "catalyst" else f for f in study.factors))
    fits = tp.fit_castings(castings_of(wide, pd.DataFrame(index=pd.Index([], name="pour")), pd.DataFrame(columns=["pour", "reading", "low", "high"])))
    picture = tp.figures.show_chance(fits, "catalyst", "humidity")
    assert picture.says.count("Refused") == 1 and "Refused: Catalyst 6 % is above 4 %" in picture.says
    assert "Refused: Catalyst 6 % is above 4 %" in picture.get_suptitle().replace("\n", " ")


def test_the_pot_that_heats_itself_is_worked_out_as_said():
    """Frank-Kamenetskii by hand: E q r^2 / (k R T^2) = 3.32 for a sphere; r 23 mm holds about 50 mL."""
    heat = 1150 * 300e3 * 6.0e-5  # W/m3
    radius = np.sqrt(3.32 * 0.20 * 8.314 * 298.15**2 / (45e3 * heat))
    assert radius == pytest.approx(0.023, abs=5e-4)
    assert 4 / 3 * np.pi * radius**3 * 1e6 == pytest.approx(50, abs=3)  # mL
