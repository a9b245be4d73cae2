"""Checks of a study or a note for what must not be near the resin: another resin, a solvent, a microwave oven, a cup that styrene dissolves."""

import re
from functools import cache

from testpour.study.caution_rules import Cautions, rules
from testpour.study.materials import containers
from testpour.study.study import Study

SOLVENT = (
    "Peroxide and acetone or another solvent must not meet: what forms can explode at a knock. Leave the solvent out, and "
    "clean tools only after the peroxide is gone."
)
RULED_OUT = re.compile(r"\b(?:no|not|never|without)(?: in)?(?: an?| the)? $")  # words before something that a text rules out


def check_resin(kind: str) -> Cautions:
    """A refusal of every resin other than unsaturated polyester, for which alone the rules hold."""
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
    """Refusals and warnings about the parts of a study: its resin, its own factors, and what its texts name.

    A solvent, a microwave oven or a polystyrene cup among the factors is refused, and an accelerator warned about; if
    only a text names one (how a factor is set, the question), it is a warning.
    """
    named = tuple(f"{factor.name.replace('_', ' ')}, {factor.words}" for factor in study.factors)
    texts = " ".join([study.question, *(factor.how for factor in study.factors)])
    return _parts_of_study(study.resin.get("kind"), named, texts)


@cache
def _parts_of_study(kind, named, texts):
    """The findings of `check_study`, cached: the search for settings needs them thousands of times."""
    found = check_resin(kind) if kind else Cautions()
    for name in named:
        found += Cautions(refusals=(SOLVENT,)) if role_of(name) == "solvent" else _named_in(name, refuse=True)
    return found + check_note(texts)


def check_note(text: str) -> Cautions:
    """Warnings about what a note names: accelerator, solvent, microwave oven, a cup that styrene dissolves."""
    return _named_in(str(text))


def _named_in(text, refuse=False):
    """Refusals or warnings about what a text names, unless it rules it out ("no acetone")."""
    text, found = text.casefold(), Cautions()
    for hazard in rules()["hazards"]:
        if _says(hazard["pattern"], text):
            said = (hazard["says"],)
            found += Cautions(said) if refuse and hazard["level"] == "refuse" else Cautions(warnings=said)
    for plastic in containers():
        if any(len(name) > 5 and _says(rf"\b{re.escape(name)}\b", text) for name in (plastic.name, *plastic.also)):
            found += _cup(plastic, refuse)
    return found


def _cup(plastic, refuse):
    """A refusal or warning about a cup or mould of some plastic."""
    said = (f"{plastic.sentence()} Use polypropylene (code 5) or high-density polyethylene (code 2).",)
    if plastic.verdict == "refuse":
        return Cautions(said) if refuse else Cautions(warnings=said)
    return Cautions(warnings=said) if plastic.verdict == "warn" and refuse else Cautions()


def _says(pattern, text):
    """Whether a text names something and does not rule it out."""
    return any(not RULED_OUT.search(text[: found.start()]) for found in re.finditer(pattern, text))


def role_of(name: str) -> str:
    """What a named thing is in a mix: "peroxide", "accelerator" or "solvent"; "unknown" if none fits."""
    for part in rules()["parts"]:
        if re.search(part["pattern"], name.casefold()):
            return part["role"]
    return "unknown"
