"""Learn your own casting resin in your own room with a few well-chosen test pours.

The path through the package is the path through the notebooks:

    read_study -> plan_pours -> bench_sheet -> Logbook -> fit_castings
               -> effects, chance, figures -> next_pours, recommend, recipe_chart -> findings_page

A study says what may differ between pours, what is measured and what a good casting must meet. A plan
says which pours teach most. The log keeps every pour and reading. A fit puts what the trade knows and
what the log says together, and everything after it asks the fit. `session_form` and `due` serve the day
of pouring; `weigh_out`, `container`, `check_settings` and `safety_text` serve the bench on any day;
`write_sheet` takes the log out again, and `write_package` shares it with its study. `read_trace` reads a
thermocouple's trace of one casting.

Each step is a panel to tap through as well: `begin_panel`, `plan_panel`, `pour_panel`, `look_panel`,
`today_panel`, `why_panel`, `share_panel`.

Names load when first used, so that `import testpour` costs nothing.
"""

from importlib import import_module

# Each public name and the module it lives in.
_HOMES = {
    "Logbook": "logbook.book",
    "Study": "study",
    "begin_panel": "panels.begin",
    "bench_sheet": "planning.bench_sheet",
    "chance": "models.chance",
    "check_fit": "models.check",
    "check_log": "models.agreement",
    "check_settings": "cautions",
    "compare": "models.compare",
    "compare_studies": "findings.versus",
    "container": "materials",
    "due": "forms.due",
    "effects": "models.effects",
    "figures": "figures",
    "findings_page": "findings.page",
    "fit_castings": "models.fits",
    "handout": "findings.handout",
    "labels": "planning.labels",
    "look_panel": "panels.look",
    "next_pours": "suggest",
    "outlook": "planning.outlook",
    "oven_hour": "cure.advice",
    "plan_panel": "panels.plan",
    "plan_pours": "planning.plan",
    "pool": "pooling.pool",
    "pour_panel": "panels.pour",
    "practice_guild": "pooling.practice_guild",
    "practice_resin": "cure.practice",
    "read_beliefs": "pooling.belief_file",
    "read_package": "logbook.package_reading",
    "read_page": "findings.carried",
    "read_sheet": "logbook.spreadsheet",
    "read_study": "study_file",
    "read_trace": "traces.reader",
    "ready": "models.ageing",
    "recipe_chart": "suggest",
    "recommend": "suggest",
    "repair_plan": "planning.repair",
    "safety_text": "cautions",
    "save_study": "study_file",
    "scatter": "models.scatter",
    "session_form": "forms.session_form",
    "share_panel": "panels.share",
    "stop_advice": "suggest",
    "thickness_limit": "cure.advice",
    "today_panel": "panels.today",
    "two_layers": "cure.advice",
    "wall_summary": "findings.wall",
    "weigh_out": "weighing",
    "what_if": "suggest",
    "what_is_lost": "planning.repair",
    "why": "causes.answer",
    "why_all": "causes.every",
    "why_panel": "panels.ask_why",
    "write_package": "logbook.package",
    "write_sheet": "logbook.export",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605 - one list, so that no name is written twice


def __getattr__(name):
    if name not in _HOMES:
        raise AttributeError(f"testpour has no {name!r}; it has {', '.join(__all__)}.")
    module = import_module(f"testpour.{_HOMES[name]}")
    found = globals()[name] = module if name == _HOMES[name] else getattr(module, name)
    return found


def __dir__():
    return sorted({*globals(), *__all__})
