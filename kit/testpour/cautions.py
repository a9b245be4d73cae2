"""What is refused, what is warned, and the text that is always printed.

The limits and the text are data, in `cautions.toml`, each with its source.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from testpour.catalogue import catalogue
from testpour.materials import container, containers
from testpour.units import show, to_unit
from testpour.wording import in_html

if TYPE_CHECKING:
    import pandas as pd

    from testpour.study import Study

LEVELS = ("refuse", "warn")
KINDS = ("bench", "page", "notebook")
ASIDE = ("age", "session")  # columns that stand beside settings and are none
RULED_OUT = re.compile(r"\b(?:no|not|never|without)(?: in)?(?: an?| the)? $")  # stands before what a text rules out
SLACK = 1e-9  # a setting that is at its limit but for the rounding of a float is at its limit


@dataclass(frozen=True)
class Cautions:
    """What a check found; true where something is refused.

    Parameters
    ----------
    refusals, warnings : tuple of str
        Full sentences: the setting, its value, the limit, the reason and what to do.
    """

    refusals: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def __bool__(self):
        return bool(self.refusals)

    def __add__(self, other):
        """Both findings together, each sentence once."""
        return Cautions(
            tuple(dict.fromkeys(self.refusals + other.refusals)),
            tuple(dict.fromkeys(self.warnings + other.warnings)),
        )

    def sentence(self) -> str:
        """Everything found, refusals first, in sentences."""
        return " ".join(self.lines()) or "No limit is broken; the safety data sheet in hand still rules."

    __repr__ = sentence

    def lines(self) -> list[str]:
        """Each finding as a sentence that begins with Refused or Warning, refusals first."""
        return [f"Refused: {text}" for text in self.refusals] + [f"Warning: {text}" for text in self.warnings]

    def _repr_html_(self):
        lines = self.lines() or [self.sentence()]
        return f"<ul>{''.join(f'<li>{in_html(line)}</li>' for line in lines)}</ul>"


@cache
def rules() -> dict[str, Any]:
    """The tables of `cautions.toml`: limits, other_resins, parts, topics, deference."""
    return tomllib.loads(files("testpour").joinpath("cautions.toml").read_text("utf-8"))


def check_settings(study: Study | None, settings: Mapping[str, Any]) -> Cautions:
    """What is refused or warned about in one row of settings.

    Parameters
    ----------
    study : Study or None
        Gives the unit of each setting and the kind of resin; None takes the catalogue's units.
    settings : dict
        Setting name to float in its declared unit, complete or not. A setting without limits passes.

    Returns
    -------
    Cautions
        A setting whose number is missing (NaN) is warned about: its limits were not checked. So is a name
        that is not a setting of the study or the catalogue. A peroxide under another name ("hardener") is held
        to the limits of the catalyst.

    Notes
    -----
    Thickness beyond what was poured is not known here; the models say that.
    """
    factors = {factor.name: factor for factor in study.factors} if study is not None else {}
    found = check_study(study) if study is not None else Cautions()
    for name, value in settings.items():
        factor = factors.get(name)
        limited = "catalyst" if _is_peroxide(factor) else name
        if value is not None and limited in _limited():
            found += _check(limited, value, factor and factor.unit, factor and limited != name and factor.words)
        elif factor is None:
            found += _unknown(name, factors)
    return found


def _is_peroxide(factor):
    """Whether a factor is a share of peroxide, by its name or its words: MEKP, hardener, initiator."""
    if factor is None or factor.kind != "number" or factor.unit != "%":
        return False
    return "peroxide" in (_role(factor.name.replace("_", " ")), _role(factor.words))


@cache
def _limited():
    return frozenset(limit["setting"] for limit in rules()["limits"])


def _unknown(name, factors):
    """A warning about a name that is not a setting, for it was not checked."""
    known = {*factors, *catalogue()["factors"], *ASIDE, *_limited()}
    if name in known:
        return Cautions()
    meant = get_close_matches(str(name), sorted(known - set(ASIDE)), 1)
    hint = f"{meant[0]} may be meant" if meant else f"the settings are {', '.join(factors or catalogue()['factors'])}"
    return Cautions(warnings=(f"{name} is not a setting known here, so it was not checked; {hint}. Write its name as the study does.",))


def check_table(study: Study | None, table: pd.DataFrame) -> Cautions:
    """What is refused or warned about in any row of a settings table (floats in declared units), each sentence once.

    Parameters
    ----------
    study : Study or None
        None checks what holds for any study.
    table : DataFrame
        One row a pour, one column a factor, in the factors' units.

    Returns
    -------
    Cautions
    """
    found = check_settings(study, {})
    for name in table.columns:
        for value in dict.fromkeys(table[name].dropna()):
            found += check_settings(study, {name: value})
    return found


def check_ends(study: Study | None, table: pd.DataFrame) -> Cautions:
    """What is refused or warned about at the lowest and the highest value of each setting that a figure draws.

    Parameters
    ----------
    study : Study or None
        None checks what holds for any study.
    table : DataFrame
        One column a factor, in the factors' units; other columns are passed over.

    Returns
    -------
    Cautions
    """
    return check_table(study, table.select_dtypes("number").agg(["min", "max"]))


def check_gel_time(minutes: str | float) -> Cautions:
    """A warning where the predicted gel time (min) leaves no time to pour.

    Parameters
    ----------
    minutes : str or float
        Predicted gel time in min, or text with a unit.

    Returns
    -------
    Cautions
    """
    return _check("gel_time", minutes)


def check_peak(degC: str | float) -> Cautions:
    """A refusal or warning where the predicted peak temperature (degC) is too high.

    Parameters
    ----------
    degC : str or float
        Predicted peak in °C, or text with a unit.

    Returns
    -------
    Cautions
    """
    return _check("peak_temperature", degC)


def check_batch(grams: str | float) -> Cautions:
    """A warning where a pot of mix (g) is so large that it heats itself dangerously.

    Parameters
    ----------
    grams : str or float
        Mass of one pot of mix in g, or text with a unit.

    Returns
    -------
    Cautions

    Notes
    -----
    Frank-Kamenetskii: a lump with a cold surface heats itself without end where E q r^2 / (k R T^2) passes 3.32
    (sphere). With E 45 kJ/mol, k 0.20 W/(m K), T 298 K and q = 1150 kg/m3 x 300 kJ/kg x 6.0e-5 1/s, the fastest
    heat of a casting resin at 25 °C (numbers of that order, from memory, not read), r is 23 mm: 50 mL, 60 g. So
    any cup that is left standing runs hot, and a pot is safe only while it can be poured out before its gel;
    the 500 g from which that is doubtful are common practice, no source.
    """
    return _check("pot_mass", grams)


def check_delivered(most: float) -> Cautions:
    """A warning where a scale may deliver more catalyst (%) than is refused.

    Parameters
    ----------
    most : float
        The most catalyst a scale may deliver, % of resin by mass; NaN where that is not known.

    Returns
    -------
    Cautions
    """
    found = check_settings(None, {"catalyst": most})
    if not found:
        return found if math.isnan(most) else Cautions()
    said = f"This scale may deliver up to {show(most, '%', 4)} of catalyst without showing it. {found.refusals[0]}"
    return Cautions(warnings=(f"{said} Mix more at once or use a finer scale.",))


def hottest_peak() -> float:
    """The predicted peak (degC) from which a pour is refused: styrene boils there."""
    return next(limit["from"] for limit in rules()["limits"]
                if limit["setting"] == "peak_temperature" and limit["level"] == "refuse")


def _check(name, value, unit=None, words=None):
    """The furthest limit broken on each side, as `Cautions`."""
    limits = [limit for limit in rules()["limits"] if limit["setting"] == name]
    declared = limits[0]["unit"]
    if unit and unit != declared and not isinstance(value, str):
        value = f"{value!r} {unit}"
    value = to_unit(value, declared, name)
    words = words or limits[0].get("words", name.replace("_", " ").replace("post cure", "post-cure"))
    if math.isnan(value):
        return Cautions(warnings=(f"The {words} is not known, so its limits were not checked. Give the number.",))
    said = {level: [] for level in LEVELS}
    for limit in _broken(value, limits):
        side, bound = _bound(limit)
        where = f"{words.capitalize()} {show(value, declared, 6)} is {side} {show(bound, declared, 6)}"
        said[limit["level"]].append(f"{where}: {limit['reason']}. {limit['do']}.")
    return Cautions(tuple(said["refuse"]), tuple(said["warn"]))


def _broken(value, limits):
    """Of the limits that `value` breaks, the furthest on each side."""
    low = [limit for limit in limits if "below" in limit and value < limit["below"] - SLACK]
    high = [limit for limit in limits if "above" in limit and value > limit["above"] + SLACK]
    high += [limit for limit in limits if "from" in limit and value >= limit["from"] - SLACK]
    low.sort(key=lambda limit: _bound(limit)[1])
    high.sort(key=lambda limit: _bound(limit)[1])
    return [*low[:1], *high[-1:]]


def _bound(limit):
    side = next(key for key in ("above", "below", "from") if key in limit)
    return {"from": "at or above"}.get(side, side), limit[side]


def check_resin(kind: str) -> Cautions:
    """A refusal of every resin but unsaturated polyester, whose rules are the only ones known here.

    Parameters
    ----------
    kind : str
        The resin in words, as on its label.

    Returns
    -------
    Cautions
    """
    text = str(kind).casefold()
    other = next((o["words"] for o in rules()["other_resins"] if re.search(o["pattern"], text)), None)
    if other:
        said = (
            f"Resin {kind!r} is {other}, and these limits and models hold for unsaturated polyester only. "
            "Follow the maker's data sheet and use another method for it."
        )
        return Cautions(refusals=(said,))
    if "polyester" in text or re.search(r"\bupr?\b", text):
        return Cautions()
    said = (
        f"Resin {kind!r} does not say that it is unsaturated polyester, the only resin these limits hold for. "
        "Read its label before pouring, and write the kind in the study file."
    )
    return Cautions(warnings=(said,))


def check_study(study: Study) -> Cautions:
    """What is refused or warned about in the parts of a study: its resin, its own factors, and what its texts name.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Cautions
        A solvent, a microwave oven or a polystyrene cup among the factors is refused, an accelerator warned
        about; where only a text names them (how a factor is set, the question), it is a warning.
    """
    named = tuple(f"{factor.name.replace('_', ' ')}, {factor.words}" for factor in study.factors)
    texts = " ".join([study.question, *(factor.how for factor in study.factors)])
    return _parts_of_study(study.resin.get("kind"), named, texts)


@cache
def _parts_of_study(kind, named, texts):
    """The findings of `check_study`, worked out once: the search for settings asks thousands of times."""
    found = check_resin(kind) if kind else Cautions()
    parts = [name for name in named if _role(name) in ("accelerator", "solvent")]
    if parts:
        found += check_mix(["resin", *parts, "peroxide"])
    for name in named:
        found += _named_in(name, refuse=True) if _role(name) != "solvent" else Cautions()
    return found + check_note(texts)


def check_note(text: str) -> Cautions:
    """Warnings about what a note names: accelerator, solvent, microwave oven, a cup that styrene dissolves.

    Parameters
    ----------
    text : str
        As typed.

    Returns
    -------
    Cautions
    """
    return _named_in(str(text))


def _named_in(text, refuse=False):
    """What a text names and does not rule out ("no acetone"), refused or warned about."""
    text, found = text.casefold(), Cautions()
    for hazard in rules()["hazards"]:
        if _says(hazard["pattern"], text):
            said = (hazard["says"],)
            found += Cautions(said) if refuse and hazard["level"] == "refuse" else Cautions(warnings=said)
    for name in (name for plastic in containers() for name in (plastic.name, *plastic.also) if len(name) > 5):
        if _says(rf"\b{re.escape(name)}\b", text):
            cup = check_container(name)
            found += cup if refuse else Cautions(warnings=cup.refusals)
    return found


def _says(pattern, text):
    """Whether a text names something and does not rule it out."""
    return any(not RULED_OUT.search(text[: found.start()]) for found in re.finditer(pattern, text))


def check_container(code: str | int) -> Cautions:
    """Whether a cup or mould plastic, by code or name, may hold liquid polyester resin.

    Parameters
    ----------
    code : str or int
        Recycling code 1 to 7, or the plastic's name, for example "PP".

    Returns
    -------
    Cautions
    """
    use = "Use polypropylene (code 5) or high-density polyethylene (code 2)."
    try:
        plastic = container(code)
    except KeyError:
        said = f"Container {code!r} is not a plastic known here, and styrene attacks many."
        return Cautions(warnings=(f"{said} {use}",))
    why = (f"{plastic.sentence()} {use}",)
    return {"fine": Cautions(), "warn": Cautions((), why), "refuse": Cautions(why)}[plastic.verdict]


def check_mix(order: str | Iterable[str | Iterable[str]]) -> Cautions:
    """What is refused or warned about in an order of mixing.

    Parameters
    ----------
    order : sequence
        What goes into the pot, first to last. An item is a name, or several names that are mixed
        together before they go in: ``["resin", "accelerator", "pigment", "peroxide"]`` is right,
        ``["resin", ("peroxide", "accelerator")]`` and ``["resin", "peroxide + accelerator"]`` are refused.

    Returns
    -------
    Cautions
    """
    found = Cautions()
    pot: set[str] = set()
    for item in [order] if isinstance(order, str) else order:
        names = _names(item)
        roles = {_role(name) for name in names}
        for name in names:
            found += _unfit(name)
        late = "resin" not in pot or ("peroxide" in pot and "accelerator" in roles)
        found += _meeting(roles) + _meeting(pot | roles, accelerator=late)
        pot |= roles
    return found


def _names(item):
    parts = re.split(r"\s*(?:\+|,|&|\band\b)\s*", item) if isinstance(item, str) else item
    return [str(part).strip() for part in parts if str(part).strip()]


def _role(name):
    for part in rules()["parts"]:
        if re.search(part["pattern"], name.casefold()):
            return part["role"]
    return "unknown"


def _unfit(name):
    """Cautions about one part by itself: another resin, or a part nobody here knows."""
    role = _role(name)
    if role in ("resin", "unknown"):
        other = check_resin(name)
        if other.refusals:
            return other
    if role == "unknown":
        said = f"{name!r} is not a part known here. Read its data sheet before it meets resin or peroxide."
        return Cautions(warnings=(said,))
    return Cautions()


def _meeting(roles, accelerator=True):
    """Refusals for what must not meet: peroxide with solvent, and with accelerator unless the order was right."""
    said = []
    if {"peroxide", "accelerator"} <= roles and accelerator:
        said.append(
            "Peroxide and accelerator meet directly: that can explode. Mix the accelerator fully into the "
            "resin first, then the peroxide."
        )
    if {"peroxide", "solvent"} <= roles:
        said.append(
            "Peroxide and acetone or another solvent meet: the product can go off at a knock. Leave the "
            "solvent out, and clean tools only after the peroxide is gone."
        )
    return Cautions(refusals=tuple(said))


class SafetyText(str):
    """The cautions as text that a notebook shows as prose."""

    __slots__ = ()

    def _repr_markdown_(self):
        return str(self)  # the kit's own words, with its own markup


def safety_text(kind: Literal["bench", "page", "notebook"] = "bench", html: bool = False) -> str:
    """The cautions that are always printed, in one block.

    Parameters
    ----------
    kind : {"bench", "page", "notebook"}
        Short running text for the bench sheet, long text for the page, a short list for a notebook.
    html : bool
        HTML if true; else plain text, in a notebook Markdown.

    Returns
    -------
    str
        A `SafetyText`, which a notebook shows as prose; plain HTML text if `html`.

    Raises
    ------
    ValueError
        If `kind` is none of the three.
    """
    if kind not in KINDS:
        raise ValueError(f"No safety text of kind {kind!r}; there are {', '.join(KINDS)}.")
    key = "page" if kind == "page" else "bench"
    said = [(topic["title"], topic[key]) for topic in (*rules()["topics"], rules()["deference"])]
    if html:
        tag, whole = ("span", "p") if kind == "bench" else ("li", "ul")
        items = " ".join(f"<{tag}><b>{escape(title)}.</b> {escape(text)}</{tag}>" for title, text in said)
        return f'<{whole} class="cautions">{items}</{whole}>'
    if kind == "notebook":
        return SafetyText("\n".join(f"- **{title}.** {text}" for title, text in said))
    return SafetyText(("\n\n" if kind == "page" else " ").join(f"{title}. {text}" for title, text in said))
