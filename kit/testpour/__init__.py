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
`today_panel`, `why_panel`, `share_panel`; `round_panel` shows how they stand.

Names load when first used, so that `import testpour` costs nothing.
"""

from importlib import import_module
from types import FunctionType

# Each public name and the module it lives in.
_HOMES = {
    "Logbook": "logbook.book",
    "Study": "study",
    "begin_panel": "panels.begin",
    "bench_sheet": "bench.bench_sheet",
    "chance": "models.chance",
    "check_fit": "models.check",
    "check_log": "models.check",
    "check_settings": "cautions",
    "compare": "models.compare",
    "compare_studies": "report.versus",
    "container": "materials",
    "due": "bench.due",
    "effects": "models.effects",
    "example_study": "exchange.folder",
    "figures": "report.figures",
    "findings_page": "report.page",
    "fit_castings": "models.fits",
    "handout": "report.sheet",
    "labels": "bench.labels",
    "look_panel": "panels.look",
    "next_pours": "advice.batch",
    "outlook": "planning.outlook",
    "oven_hour": "advice.oven",
    "plan_panel": "panels.make_plan",
    "plan_pours": "planning.plan",
    "pool": "pooling.pool",
    "pour_panel": "panels.pour",
    "practice_guild": "practice.guild",
    "practice_resin": "practice.practice",
    "read_beliefs": "pooling.belief_file",
    "read_package": "exchange.package_reading",
    "read_page": "report.carried",
    "read_sheet": "logbook.spreadsheet",
    "read_study": "study_file",
    "read_trace": "exchange.reader",
    "ready": "models.ageing",
    "recipe_chart": "advice.chart",
    "recommend": "advice.recommend",
    "repair_plan": "planning.repair",
    "safety_text": "caution_rules",
    "round_panel": "panels.overview",
    "save_study": "study_file",
    "scatter": "models.scatter",
    "session_form": "bench.session_form",
    "share_panel": "panels.share",
    "stop_advice": "advice.stopping",
    "thickness_limit": "advice.thickness",
    "today_panel": "panels.today",
    "two_layers": "advice.layers",
    "wall_summary": "report.wall",
    "weigh_out": "bench.weighing",
    "what_if": "advice.what_if",
    "what_is_lost": "planning.repair",
    "why": "causes.diagnosis",
    "why_all": "causes.every",
    "why_panel": "panels.ask_why",
    "write_package": "exchange.package",
    "write_sheet": "exchange.export",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605 - one list, so that no name is written twice


def __getattr__(name):
    if name not in _HOMES:
        raise AttributeError(f"testpour has no {name!r}; it has {', '.join(__all__)}.")
    module = import_module(f"testpour.{_HOMES[name]}")
    found = getattr(module, name, module)
    if isinstance(found, FunctionType):
        from testpour.arguments import checked

        found = checked(found)
    globals()[name] = found
    return found


def __dir__():
    return sorted({*globals(), *__all__})
