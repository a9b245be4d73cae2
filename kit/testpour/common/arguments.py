"""Checks of the arguments of public functions: a wrong type is refused with one sentence that says what is needed."""

import datetime as dt
import inspect
from collections.abc import Callable, Iterable, Mapping
from functools import wraps
from numbers import Integral, Number
from os import PathLike
from types import FunctionType
from typing import Any, TypeVar

from testpour.common.problems import Problem
from testpour.common.wording import listed, shortened

F = TypeVar("F", bound=Callable[..., Any])

# Type as an annotation names it: what it is in words, and how to get one. A parameter with any other type is not checked.
KINDS = {
    "Study": ("a study", 'tp.read_study("study.toml")'),
    "Logbook": ("a log", "tp.Logbook(study)"),
    "Castings": ("the castings of a log", "log.castings()"),
    "Fits": ("the fits of every reading", "tp.fit_castings(log.castings())"),
    "ReadingFit": ("one reading's fit", 'fits["gel_time"]'),
    "Plan": ("a plan", "tp.plan_pours(study)"),
    "BenchSheet": ("a bench sheet", 'tp.bench_sheet(study, plan.session(1), resin="120 g")'),
    "PooledLogs": ("the joined logs of several benches", 'tp.pool(["a.zip", "b.zip"])'),
    "Package": ("a package that was read", 'tp.read_package("data.zip")'),
    "JudgedTrace": ("a thermocouple's trace", 'tp.read_trace("trace.csv")'),
    "DataFrame": ("a table (a DataFrame) with one row per pour", "plan.session(1)"),
    "Mapping": ("names with their values", '{"catalyst": "1.5 %"}'),
    "dict": ("names with their values", '{"where": "open face only"}'),
    "Sequence": ("a list", '["a", "b"]'),
    "Series": ("a column of a table", 'table["resin_g"]'),
    "Path": ("the path of a file or folder", '"..."'),
    "str": ("text", '"..."'),
    "Literal": ("text", '"..."'),
    "bytes": ("the content of a file", 'path.read_bytes()'),
    "float": ("a number", "20"),
    "int": ("a whole number, not below 0", "2"),
    "bool": ("True or False", "True"),
    "None": ("nothing", "None"),
}
# How to recognise types that are not this kit's own classes.
RECOGNISED_BY: dict[str, Callable[[Any], bool]] = {
    "DataFrame": lambda value: hasattr(value, "iterrows"),
    "Mapping": lambda value: hasattr(value, "items"), "dict": lambda value: hasattr(value, "items"),
    "Sequence": lambda value: isinstance(value, Iterable) and not isinstance(value, str), "Path": lambda value: isinstance(value, str | PathLike),
    "Series": lambda value: hasattr(value, "to_list") and hasattr(value, "items"),
    "str": lambda value: isinstance(value, str), "Literal": lambda value: isinstance(value, str), "bytes": lambda value: isinstance(value, bytes),
    "float": lambda value: isinstance(value, Number) and not isinstance(value, complex | bool),
    "int": lambda value: isinstance(value, Integral) and int(value) >= 0, "bool": lambda value: isinstance(value, bool),
    "None": lambda value: value is None,
}
AMOUNT = {"str", "float"}  # with or without a unit
NAME = {"str", "None"}  # may also be a number, a day or a gap, as in a table


def checked(function: F, call: str = "") -> F:
    """`function`, which raises a `Problem` for an argument of none of its annotated types; `call` is its name in messages.

    A row of a table is passed on as a dict, and a numpy number as a Python number.
    """
    signature = inspect.signature(function)
    wanted = {name: kinds for name, one in signature.parameters.items() if (kinds := _kinds(one.annotation)) <= KINDS.keys()}
    first = next((name for name, one in signature.parameters.items() if name != "self" and one.kind is not one.KEYWORD_ONLY), "")

    @wraps(function)
    def entered(*given, **named):
        try:
            bound = signature.bind(*given, **named)
        except TypeError:  # a parameter is missing or unknown: Python says which
            return function(*given, **named)
        for name, value in list(bound.arguments.items()):
            kinds, parameter = wanted.get(name, set()), signature.parameters[name]
            if getattr(value, "shape", None) == ():  # a numpy number, which is not an int
                bound.arguments[name] = value = value.item()
            for one in value if parameter.kind is parameter.VAR_POSITIONAL else (value,):
                if kinds and not any(_is_of(kind, one, kinds) for kind in kinds):
                    raise Problem(_refusal(call or function.__name__, parameter, name == first, kinds, one))
            if {"Mapping", "dict"} & kinds and not isinstance(value, Mapping) and RECOGNISED_BY["Series"](value):
                bound.arguments[name] = dict(value.items())
        return function(*bound.args, **bound.kwargs)

    return entered  # type: ignore[return-value]


def checked_methods(call: str) -> Callable[[F], F]:
    """A decorator for a class that checks the arguments of its public methods; `call` is the name of an instance in messages."""

    def decorated(cls):
        for name, method in list(vars(cls).items()):
            if isinstance(method, FunctionType) and not name.startswith("_"):
                setattr(cls, name, checked(method, f"{call}.{name}"))
        return cls

    return decorated


def _is_of(kind, value, kinds):
    if kind == "str" and kinds <= NAME:
        return isinstance(value, str | Number | dt.date) or type(value).__name__ in ("NoneType", "NAType")
    return RECOGNISED_BY[kind](value) if kind in RECOGNISED_BY else kind in _own_classes(value)


def _kinds(annotation):
    """The types that an annotation names, in its order: ``{"Plan", "None"}`` for ``Plan | None``."""
    text = annotation if isinstance(annotation, str) else inspect.formatannotation(annotation)
    parts, deep = [""], 0
    for sign in text:
        deep += (sign == "[") - (sign == "]")
        parts = [*parts, ""] if sign == "|" and not deep else [*parts[:-1], parts[-1] + sign]
    return dict.fromkeys(part.strip().partition("[")[0].rpartition(".")[2] for part in parts).keys()


def _own_classes(value):
    return [one.__name__ for one in type(value).__mro__ if one.__module__.startswith("testpour.")]


def _refusal(call, parameter, first, kinds, value):
    """What is needed, how to get it, and what was given."""
    kinds, name = [kind for kind in kinds if kind != "None"], parameter.name
    if AMOUNT == set(kinds):
        return f"{call} takes a number, or text with a unit, as {name}, and was given {_said(value)}."
    kinds = ["Path"] if "Path" in kinds else kinds
    words, how, more = listed(dict.fromkeys(KINDS[kind][0] for kind in kinds), "or"), KINDS[kinds[0]][1], ""
    if kinds[0] in ("bool", "int", "Literal") and parameter.default not in (None, parameter.empty):
        how = repr(parameter.default)
    if kinds == ["ReadingFit"] and "Fits" in _own_classes(value) and value:
        how, more = f'fits["{next(iter(value))}"]', f"; this study has {', '.join(value)}."
    return f"{call} takes {words}: {call}({how if first else f'{name}={how}'}){more or f', and was given {_said(value)}.'}"


def _said(value):
    """What was given, in words."""
    kind = next((one for one in _own_classes(value) if one in KINDS), "")
    if kind == "ReadingFit":
        return f"the fit of {value.reading.words} alone"
    if kind:
        return KINDS[kind][0]
    if value is None or isinstance(value, bool):
        return "nothing (None)" if value is None else str(value)
    return f"the text {shortened(value)!r}" if isinstance(value, str) else f"the number {value:g}" if isinstance(value, float | int) else type(value).__name__
