"""Recommended settings, the next pours, when to stop, and the recipe chart."""

from importlib import import_module

HOMES = {
    "AimsConflict": "conflicts",
    "NextPours": "batch",
    "RecipeChart": "chart",
    "Recommendation": "advice",
    "RoomProblem": "candidates",
    "SettingRefused": "candidates",
    "StopAdvice": "stopping",
    "UNADVISED": "conflicts",
    "WhatIf": "change",
    "next_pours": "batch",
    "recipe_chart": "chart",
    "recommend": "advice",
    "stop_advice": "stopping",
    "what_if": "change",
}


def __getattr__(name):
    """Load a public name from its module when it is first asked for."""
    if name not in HOMES:
        raise AttributeError(f"testpour.suggest has no {name!r}; it has {', '.join(HOMES)}.")
    return getattr(import_module(f"testpour.suggest.{HOMES[name]}"), name)
