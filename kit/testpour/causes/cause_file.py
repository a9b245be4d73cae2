"""The table in `causes.toml`, overridden by a study's own lines, checked once."""

from collections.abc import Iterator
from functools import lru_cache
from math import isclose
from pathlib import Path
from typing import Any

from testpour.causes.table import Cause, CauseTable, Question, TellingPour
from testpour.common.problems import Problems
from testpour.common.toml_file import TomlProblem, own_toml, read_toml
from testpour.study.study import Study

WHEN = ("otherwise", "soft", "firm", "since")  # shares of the answers to a question, as `Question` takes them
RUNS = ("hot", "slow")  # how a mix runs, as `Cause.runs` takes it
ENDS = (".", ";", "=")  # what ends a question or an answer in a note, as `Answer.note` words it
STATES = ("soft", "firm", "dry")  # in which a casting is found, as `Question.ruled_out` takes them
# A line about another, dropped where that one is replaced.
GOES_WITH = {"said": "answers", "ruled_out": "answers", "meanwhile": "now", "now_soft": "now", "now_unheated": "now", "next_time_lean": "next_time"}


# What each entry of a part must have, and its type.
NEEDED = {
    "signs": {}, "questions": {"ask": "text", "answers": "a list", "otherwise": "a list"}, "causes": {"words": "text", "prior": "a number"},
    "tests": {"words": "text", "cost": "a number", "tells": "a list"},
}
TABLES = {"says", "odds", "hints", "past", "ruled_out", "unless", "as_if", "shift", "blur", "spread", "one_of", "one_place", "other_way"}
KINDS: dict[str, type | tuple[type, ...]] = {"text": str, "a list": (list, tuple), "a number": (int, float), "a table": dict}
NUMBERS = ("slip", "together", "most", "readings")


class CauseProblems(Problems):
    """The table of causes cannot be used; `problems` lists each reason."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("Causes", problems)


def trade_causes() -> dict[str, Any]:
    """The nested tables of `causes.toml`."""
    return own_toml("causes/causes.toml")


def causes_for(study: Study, stated: dict | None = None) -> CauseTable:
    """The trade's table, overridden by a study's own lines.

    A file `causes.toml` in the study's folder is read if there is one; `stated`, in its shape, replaces what that states. A
    CauseProblems lists every line that cannot be used.
    """
    path = Path(study.folder) / "causes.toml"
    content = path.read_bytes() if path.is_file() else b""
    return _checked(_merged(_with_own(path, content), stated)) if stated else _table_with(path, content)


@lru_cache(maxsize=8)  # every casting of a study is judged by the same table
def _table_with(path, content):
    return _checked(_with_own(path, content))


def _with_own(path, content):
    """The trade's tables, overridden by a study's own file if that has any `content`."""
    try:
        return _merged(trade_causes(), read_toml(path) if content else {})
    except TomlProblem as problem:
        raise CauseProblems([f"{path}: {reason}" for reason in problem.args]) from None


def _checked(raw):
    """The `CauseTable` of nested tables."""
    if problems := list(_of_another_kind(raw)) or list(_problems(raw)):
        raise CauseProblems(problems)
    return CauseTable(
        {name: _cause(name, entry) for name, entry in raw["causes"].items()},
        {name: _question(name, entry) for name, entry in raw["questions"].items()},
        {name: TellingPour(name, e["words"], e["cost"], tuple(e["tells"]), e.get("past", {})) for name, e in raw["tests"].items()},
        **{key: raw[key] for key in ("signs", "slip", "together", "most", "readings", "misfit", "lag")},
    )


def _question(name, entry):
    shares = {when: tuple(entry.get(when, ())) for when in WHEN}
    answers, past = tuple(entry["answers"]), entry.get("past", {})
    said = tuple(entry.get("said", answers))
    rest = {"ruled_out": entry.get("ruled_out", {}), "unless": entry.get("unless", {}), "met": entry.get("met", 1.0), "of_one": entry.get("of_one", False)}
    return Question(name, entry["ask"], entry.get("how", ""), answers, **shares, **rest, past=past, said=said)


def _cause(name, entry):
    planned = entry.get("planned", ())
    planned = (planned,) if isinstance(planned, dict) else tuple(planned)
    return Cause(name, **{**entry, "planned": planned, **{key: tuple(entry.get(key, ())) for key in ("sizes", "no_help")}})


def _merged(base, over):
    """`base` with what `over` states replaced, table by table; neither is changed."""
    out = {key: value for key, value in base.items() if GOES_WITH.get(key) not in over}
    for key, value in over.items():
        out[key] = _merged(out[key], value) if isinstance(value, dict) and isinstance(out.get(key), dict) else value
    return out


def _of_another_kind(raw: dict[str, Any]) -> Iterator[str]:
    """What is missing from a table of causes, or is text where a number is needed, say, in words."""
    yield from (f"{name}: {raw[name]!r} is not a number." for name in NUMBERS if not isinstance(raw[name], int | float))
    for part, needed in NEEDED.items():
        for name, entry in raw[part].items() if isinstance(raw[part], dict) else [("...", raw[part])]:
            if not isinstance(entry, dict):
                yield f"{part}.{name}: found {entry!r}. Write [{part}.{name}], and its lines below that."
                continue
            for key, kind in (needed | dict.fromkeys(TABLES & entry.keys(), "a table")).items():
                if not isinstance(entry.get(key), KINDS[kind]):
                    yield f"{part}.{name}: {key} must be {kind}; {f'found {entry[key]!r}' if key in entry else 'it is missing'}."


def _problems(raw):
    """What cannot work in a table of causes whose entries have the right types, in words."""
    allowed = set(Cause.__dataclass_fields__) - {"name"}
    if not 0 <= raw["slip"] < 1:
        yield f"slip: {raw['slip']} must lie from 0 to below 1."
    if not 0 <= raw["together"] <= 10:
        yield f"together: {raw['together']} must lie from 0 (never two causes) to 10."
    if not raw["most"] > 0:
        yield f"most: {raw['most']} must be above 0."
    if not 0 < raw["readings"] <= 1:
        yield f"readings: {raw['readings']} must be above 0 and at most 1; 1 takes the readings as independent evidence."
    for name, sign in raw["signs"].items():
        if "explains" in sign and not ("factor" in sign and {"below", "above"} & set(sign) and 0 < sign["explains"] <= 1):
            yield f"signs.{name}: explains {sign['explains']} must be above 0 and at most 1, and goes with a factor and what it lies below or above."
    for name, question in raw["questions"].items():
        for answer in (answer for answer in question["answers"] if set(answer) & set(ENDS)):
            yield f"questions.{name}: answer {answer!r} holds one of {' '.join(ENDS)} that separate answers in a note of the log. Word it without."
        for state, rules in question.get("ruled_out", {}).items():
            if state not in STATES:
                yield f"questions.{name}: ruled_out.{state} is no state of a casting; they are {', '.join(STATES)}."
            for answer in {*rules, *filter(None, rules.values())} - set(question["answers"]):
                yield f"questions.{name}: ruled_out {answer!r} is not one of its answers; they are {', '.join(question['answers'])}."
        for other in set(question.get("unless", {})) - set(raw["questions"]):  # its answers may be a workshop's own
            yield f"questions.{name}, unless: no question {other!r}; there are {', '.join(raw['questions'])}."
        if not 0 < question.get("met", 1) <= 1:
            yield f"questions.{name}: met {question['met']} must be above 0 and at most 1, how often the question can be answered."
        if len(question.get("said", question["answers"])) != len(question["answers"]):
            yield f"questions.{name}: {len(question['said'])} texts of said for {len(question['answers'])} answers. Give one for each, in their order."
        if ("soft" in question) != ("firm" in question):
            yield f"questions.{name}: soft and firm go together; give both or neither."
        for when in WHEN:
            if when in question:
                yield from _shares(f"questions.{name}, {when}", question[when], len(question["answers"]))
    for name, cause in raw["causes"].items():
        past = cause.get("past", {})
        odd = sorted({*cause, *past} - allowed)
        if odd:
            yield f"causes.{name}: {', '.join(odd)} is not a recognised key. Allowed are {', '.join(sorted(allowed))}."
        if not cause.get("prior", 0) > 0:
            yield f"causes.{name}: prior must be above 0; leave the cause out instead."
        if cause.get("runs", "hot") not in RUNS:
            yield f"causes.{name}: runs {cause['runs']!r} must be one of {', '.join(RUNS)}, how the mix runs; leave it out otherwise."
        for sign in set(cause.get("odds", {})) - set(raw["signs"]):
            yield f"causes.{name}, odds: no sign {sign!r}; there are {', '.join(raw['signs'])}."
        for sign, hinted in cause.get("hints", {}).items():
            if sign not in raw["signs"]:
                yield f"causes.{name}, hints: no sign {sign!r}; there are {', '.join(raw['signs'])}."
            for question in set(hinted) - set(raw["questions"]):
                yield f"causes.{name}, hints.{sign}: no question {question!r}; there are {', '.join(raw['questions'])}."
        for question, shares in [*cause.get("says", {}).items(), *past.get("says", {}).items()]:
            if question not in raw["questions"]:
                yield f"causes.{name}, says: no question {question!r}; there are {', '.join(raw['questions'])}."
            else:
                where = f"causes.{name}, says.{question}"
                yield from _shares(where, shares, len(raw["questions"][question]["answers"]))
    for name, test in raw["tests"].items():
        for cause in set(test["tells"]) - set(raw["causes"]):
            yield f"tests.{name}: no cause {cause!r}; there are {', '.join(raw['causes'])}."


def _shares(where, shares, wanted):
    if not isinstance(shares, list | tuple) or not all(isinstance(share, int | float) for share in shares):
        yield f"{where}: {shares!r} is not a list of numbers. Give the share of each answer."
    elif len(shares) != wanted:
        yield f"{where}: {len(shares)} shares for {wanted} answers. Give one for each."
    elif min(shares) <= 0 or not isclose(sum(shares), 1, abs_tol=1e-5):
        yield f"{where}: the shares must be above 0 and add up to 1; they add up to {sum(shares):g}."
