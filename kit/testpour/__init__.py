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

The examples in docstrings have `import testpour as tp`, and the demonstration study as `study`, `log`,
`castings` and `fits`, made as in the README.

Names load when first used, so that `import testpour` costs next to nothing; what each of them is stands in `__init__.pyi`.
"""

from ast import parse
from importlib import import_module
from pathlib import Path
from types import FunctionType

_STUB = Path(__file__).with_suffix(".pyi")  # what type checkers and editors read, so that no name is written twice
_HOMES = {name.name: line.module for line in parse(_STUB.read_text("utf-8")).body for name in line.names}

__all__ = sorted(_HOMES)  # noqa: PLE0605 - read from the stub


def __getattr__(name):
    if name not in _HOMES:
        raise AttributeError(f"testpour has no {name!r}; it has {', '.join(__all__)}.")
    home = import_module(_HOMES[name])
    found = getattr(home, name, None) or import_module(f"{_HOMES[name]}.{name}")
    if isinstance(found, FunctionType):
        from testpour.common.arguments import checked

        found = checked(found)
    globals()[name] = found
    return found


def __dir__():
    return sorted({*globals(), *__all__})
