"""A person's own words in a notebook's output stay words: no markup of theirs reaches the page."""

from importlib import import_module
from inspect import getmembers, isclass, isfunction
from pathlib import Path
from types import CodeType

import testpour
from testpour.common.wording import in_markdown, said_in_markdown
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.study.study_file import study_from

KIT = Path(testpour.__file__).parent
CANARY = "<img src=x onerror=alert(1)>"


def results():
    """Every class of the kit that shows itself as Markdown, with where it is written."""
    for path in sorted(KIT.rglob("*.py")):
        if "_repr_markdown_" in path.read_text("utf-8"):
            module = import_module("testpour." + ".".join(path.relative_to(KIT).with_suffix("").parts))
            for _, found in getmembers(module, isclass):
                if found.__module__ == module.__name__ and "_repr_markdown_" in vars(found):
                    yield found, path


def names_in(code):
    """Names that a piece of code uses, loops inside it included."""
    return {*code.co_names, *(name for one in code.co_consts if isinstance(one, CodeType) for name in names_in(one))}


def test_every_markdown_output_is_escaped():
    """Each goes through `in_markdown`, or is a sentence that does."""
    found = list(results())
    assert len(found) > 20 and {"Saving", "Split"} <= {kind.__name__ for kind, _ in found}
    for kind, _ in found:
        if kind.__name__ == "SafetyText":
            continue  # the kit's own words in its own markup
        shown = vars(kind)["_repr_markdown_"]
        assert shown is said_in_markdown or (isfunction(shown) and "in_markdown" in names_in(shown.__code__)), kind


def test_words_of_a_study_stay_words(castings_of, practice_castings):
    named = study_from({
        "name": CANARY, "question": CANARY, "factors": {"catalyst": {}, "mine": {"words": CANARY, "low": 0, "high": 9}},
        "readings": {"gel_time": {}},
    })
    assert "<img" not in named._repr_markdown_() and in_markdown(CANARY) in named._repr_markdown_()
    pours = practice_castings.pours[["catalyst"]].assign(mine=1.0)
    fits = fit_castings(castings_of(named, pours, practice_castings.readings.query("reading == 'gel_time'")))
    assert "<img" not in effects(fits["gel_time"])._repr_markdown_()
