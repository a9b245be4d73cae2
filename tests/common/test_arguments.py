"""A wrong kind of thing given to a public function is told what is wanted: one sentence, never a failure inside."""

import inspect
import re
import subprocess
import sys
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

import testpour as tp
from testpour.common.arguments import KINDS, _kinds, checked
from testpour.common.problems import Problem
from testpour.study.study import Study


def functions():
    """Every public function, those of the figures too, and the log itself, by the name it is called by."""
    for name in tp.__all__:
        found = getattr(tp, name)
        if isinstance(found, ModuleType):
            yield from ((inner, getattr(found, inner)) for inner in found.__all__)
        elif inspect.isfunction(found) or name == "Logbook":
            yield name, found


def looked_at(function):
    """The parameters that are looked at, each with its kinds."""
    each = {name: _kinds(one.annotation) for name, one in inspect.signature(function).parameters.items()}
    return {name: kinds for name, kinds in each.items() if kinds <= KINDS.keys()}


@pytest.fixture(scope="module")
def things(practice_castings, practice_fits, tmp_path_factory):
    """One thing of each kind, and some that are of none."""
    study = practice_castings.study
    return {
        "str": "study.toml", "None": None, "float": 7.0, "Study": study, "Castings": practice_castings, "Fits": practice_fits,
        "ReadingFit": practice_fits["gel_time"], "DataFrame": pd.DataFrame({"catalyst": [1.5]}), "Plan": tp.plan_pours(study, sessions=2, pours=5),
        "function": print, "JudgedTrace": tp.read_trace(_trace(tmp_path_factory.mktemp("trace"))), "Logbook": tp.Logbook(study, "sqlite://"),
    }


def _trace(folder):
    """A thermocouple's file of an hour without cure."""
    file = folder / "trace.csv"
    file.write_text("minutes,degC\n" + "".join(f"{minute},20\n" for minute in range(60)), "utf-8")
    return file


ALIKE = {  # what is let in as another kind
    "str": {"Path", "Sequence", "Literal"}, "float": {"int"}, "Castings": set(),
    "Fits": {"Mapping", "dict", "Sequence"}, "DataFrame": {"Mapping", "dict", "Sequence"},
}


@pytest.mark.parametrize("name, function", list(functions()), ids=lambda one: one if isinstance(one, str) else "")
def test_every_wrong_kind_of_thing_is_refused_with_what_is_wanted(name, function, things):
    needed = {one.name: "x" for one in inspect.signature(function).parameters.values() if one.default is one.empty and one.kind is not one.VAR_KEYWORD}
    first = next(iter(looked_at(function)), "")
    for parameter, kinds in list(looked_at(function).items()):
        for kind, thing in things.items():
            if {kind, *ALIKE.get(kind, ())} & kinds or parameter != first:
                continue
            with pytest.raises(Problem) as found:
                function(**{**needed, parameter: thing})
            said = str(found.value)
            assert re.match(rf"{name} takes .+(, and was given .+\.|; this study has .+\.)$", said), said
            assert "testpour." not in said and "object at" not in said


def test_the_functions_of_the_path_are_looked_at():
    """So that the walk above cannot pass for want of anything to walk."""
    seen = {name for name, function in functions() if looked_at(function)}
    assert len(seen) > 50 and {"plan_pours", "Logbook", "fit_castings", "compare_studies", "findings_page", "show_chance", "weigh_out"} <= seen


@pytest.mark.parametrize("call, said", [
    (lambda t: tp.compare_studies("a", "b"),
     "compare_studies takes the fits of every reading: compare_studies(tp.fit_castings(log.castings())), and was given the text 'a'."),
    (lambda t: tp.compare_studies(t["Fits"], "b"),
     "compare_studies takes the fits of every reading: compare_studies(second=tp.fit_castings(log.castings())), and was given the text 'b'."),
    (lambda t: tp.fit_castings(t["Study"]), "fit_castings takes the castings of a log: fit_castings(log.castings()), and was given a study."),
    (lambda t: tp.recommend(t["ReadingFit"]),
     "recommend takes the fits of every reading: recommend(tp.fit_castings(log.castings())), and was given the fit of gel time alone."),
    (lambda t: tp.labels(None), "labels takes a plan, the castings of a log or a log: labels(tp.plan_pours(study)), and was given nothing (None)."),
    (lambda t: tp.pool("n.zip"), 'pool takes a list or names with their values: pool(["a", "b"]), and was given the text \'n.zip\'.'),
    (lambda t: tp.Logbook("study.toml"), 'Logbook takes a study: Logbook(tp.read_study("study.toml")), and was given the text \'study.toml\'.'),
    (lambda t: tp.weigh_out(t["Study"]), "weigh_out takes a number, or text with a unit, as resin, and was given a study."),
    (lambda t: tp.fit_castings(t["Castings"], seed="a"),
     "fit_castings takes a whole number, not below 0: fit_castings(seed=0), and was given the text 'a'."),
    (lambda t: tp.practice_guild(t["Study"], pours=-1),
     "practice_guild takes a whole number, not below 0: practice_guild(pours=6), and was given the number -1."),
    (lambda t: tp.outlook(t["Plan"], price="12"), "outlook takes a number: outlook(price=20), and was given the text '12'."),
    (lambda t: tp.session_form(t["Logbook"], 3),
     ("session_form takes a plan, a bench sheet or a table (a DataFrame) with one row per pour: session_form(plan_or_sheet=tp.plan_pours(study)), "
      "and was given the number 3.")),
    (lambda t: tp.outlook(t["Plan"], pot=float("nan"), scale_resolution=0),
     "Outlook: pot: nan cannot be weighed. Give a number above zero, in g. (2 in all; see `.problems`)"),
    (lambda t: tp.handout(t["Fits"], paper=["A4"]), "handout takes text: handout(paper='A4'), and was given list."),
    (lambda t: tp.write_package(t["Castings"], "p.zip", names="no"),
     "write_package takes True or False: write_package(names=False), and was given the text 'no'."),
    (lambda t: tp.bench_sheet(t["Study"], t["Plan"].session(1), resin=["100 g"]),
     "bench_sheet takes text, a number, names with their values or a column of a table: bench_sheet(resin=\"...\"), and was given list."),
    (lambda t: t["Plan"].without(3), "plan.without takes text or a list: plan.without(\"...\"), and was given the number 3."),
    (lambda t: t["JudgedTrace"].log_into(t["Castings"], "P01"),
     "trace.log_into takes a log: trace.log_into(tp.Logbook(study)), and was given the castings of a log."),
    (lambda t: t["Logbook"].add_pour(["P01"], settings={}, session="1"), "log.add_pour takes text: log.add_pour(\"...\"), and was given list."),
    (lambda t: t["Logbook"].add_reading((p for p in ["P01"]), "tack", 1),
     "log.add_reading takes text: log.add_reading(\"...\"), and was given generator."),
    (lambda t: tp.effects("gel_time"), "effects takes one reading's fit: effects(fits[\"gel_time\"]), and was given the text 'gel_time'."),
])
def test_what_is_said(call, said, things):
    with pytest.raises(Problem) as found:
        call(things)
    assert str(found.value) == said


def test_all_fits_in_place_of_one_are_told_which_there_are(things):
    with pytest.raises(Problem) as found:
        tp.effects(things["Fits"])
    assert str(found.value) == f'effects takes one reading\'s fit: effects(fits["gel_time"]); this study has {", ".join(things["Fits"])}.'


def test_the_check_leaves_everything_else_as_it_was(things):
    def plain(first: Study, *rest: str, more: int | list[str] = 0) -> str:
        """Words."""
        return f"{rest}{more}"

    held = checked(plain)
    assert held(things["Study"], "a", more=["b"]) == "('a',)['b']" and held.__doc__ == "Words." and inspect.signature(held) == inspect.signature(plain)
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'first'"):
        held()


def test_a_row_of_a_table_is_names_with_what_they_stand_for(things):
    row = pd.Series({"catalyst": 1.5, "thickness": 10.0})
    assert tp.what_if(things["Fits"], row).sentence() == tp.what_if(things["Fits"], dict(row)).sentence()


def test_a_number_of_numpys_is_one_of_pythons(things):
    def given(session: int | str = 0, room: str | float = 20) -> list[type]:
        return [type(session), type(room)]

    assert checked(given)(np.int64(1), np.float32(20)) == [int, float]
    assert things["Plan"].session(np.int64(1)).equals(things["Plan"].session(1))


def test_a_gap_in_a_table_is_let_in_as_a_name():
    def named(by: str = "") -> object:
        return by

    assert checked(named)(pd.NA) is pd.NA and checked(named)(None) is None and checked(named)(7) == 7


def test_a_first_use_of_a_name_still_costs_no_more_than_its_module():
    code = "import testpour, sys; assert 'testpour.common.arguments' not in sys.modules; testpour.Study; assert 'testpour.common.arguments' not in sys.modules"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
