"""Learn your own casting resin in your own room with a few well-chosen test pours.

The path through the package is the path through the notebooks:

    read_study -> plan_pours -> bench_sheet -> Logbook -> fit_castings
               -> effects, chance -> next_pours, recommend -> findings_page

A study says what may differ between pours, what is measured and what a good casting must meet. A plan
says which pours teach most. The log keeps every pour and reading. A fit puts what the trade knows and
what the log says together, and everything after it asks the fit. `weigh_out`, `container`,
`check_settings` and `safety_text` serve the bench on any day.

Names load when first used, so that `import testpour` costs nothing.
"""

from importlib import import_module

_HOMES = {
    "Study": "study",
    "chance": "models.chance",
    "check_settings": "cautions",
    "container": "materials",
    "effects": "models.effects",
    "fit_castings": "models.fits",
    "plan_pours": "planning.plan",
    "read_study": "study_file",
    "safety_text": "cautions",
    "save_study": "study_file",
    "weigh_out": "weighing",
}

__all__ = sorted(_HOMES)


def __getattr__(name):
    if name not in _HOMES:
        raise AttributeError(f"testpour has no {name!r}; it has {', '.join(__all__)}.")
    module = import_module(f"testpour.{_HOMES[name]}")
    found = globals()[name] = getattr(module, name, module)
    return found


def __dir__():
    return sorted({*globals(), *__all__})
