"""What must not meet in a pot: kinds of resin, peroxide with accelerator or solvent, cups that styrene dissolves."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING

from testpour.caution_rules import Cautions, rules
from testpour.materials import container, containers

if TYPE_CHECKING:
    from testpour.study import Study

RULED_OUT = re.compile(r"\b(?:no|not|never|without)(?: in)?(?: an?| the)? $")  # stands before what a text rules out


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
    parts = [name for name in named if role_of(name) in ("accelerator", "solvent")]
    if parts:
        found += check_mix(["resin", *parts, "peroxide"])
    for name in named:
        found += _named_in(name, refuse=True) if role_of(name) != "solvent" else Cautions()
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
        roles = {role_of(name) for name in names}
        for name in names:
            found += _unfit(name)
        late = "resin" not in pot or ("peroxide" in pot and "accelerator" in roles)
        found += _meeting(roles) + _meeting(pot | roles, accelerator=late)
        pot |= roles
    return found


def _names(item):
    parts = re.split(r"\s*(?:\+|,|&|\band\b)\s*", item) if isinstance(item, str) else item
    return [str(part).strip() for part in parts if str(part).strip()]


def role_of(name: str) -> str:
    """What a named thing is in a mix.

    Parameters
    ----------
    name : str
        In any words: "MEKP", "cobalt drier", "acetone" ...

    Returns
    -------
    str
        "resin", "peroxide", "accelerator", "solvent" or another role of `cautions.toml`; "unknown" where none fits.
    """
    for part in rules()["parts"]:
        if re.search(part["pattern"], name.casefold()):
            return part["role"]
    return "unknown"


def _unfit(name):
    """Cautions about one part by itself: another resin, or a part nobody here knows."""
    role = role_of(name)
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
