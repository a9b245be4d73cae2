"""What is refused, what is warned, and the text that is always printed.

The limits and the text are data, in `cautions.toml`, each with its source.
"""

import math
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.resources import files

from testpour.materials import container
from testpour.units import show, to_unit
from testpour.wording import in_html

LEVELS = ("refuse", "warn")
KINDS = ("bench", "page", "notebook")
SLACK = 1e-9  # a setting that is at its limit but for the rounding of a float is at its limit


@dataclass(frozen=True)
class Cautions:
    """What a check found; true where something is refused.

    Parameters
    ----------
    refusals, warnings : tuple of str
        Full sentences: the setting, its value, the limit, the reason and what to do.
    """

    refusals: tuple = ()
    warnings: tuple = ()

    def __bool__(self):
        return bool(self.refusals)

    def __add__(self, other):
        """Both findings together, each sentence once."""
        return Cautions(
            tuple(dict.fromkeys(self.refusals + other.refusals)),
            tuple(dict.fromkeys(self.warnings + other.warnings)),
        )

    def sentence(self):
        """Everything found, refusals first, in sentences."""
        return " ".join(self._lines()) or "No limit is broken; the safety data sheet in hand still rules."

    __repr__ = sentence

    def _lines(self):
        return [f"Refused: {text}" for text in self.refusals] + [f"Warning: {text}" for text in self.warnings]

    def _repr_html_(self):
        lines = self._lines() or [self.sentence()]
        return f"<ul>{''.join(f'<li>{in_html(line)}</li>' for line in lines)}</ul>"


@cache
def rules():
    """The tables of `cautions.toml`: limits, other_resins, parts, topics, deference."""
    return tomllib.loads(files("testpour").joinpath("cautions.toml").read_text("utf-8"))


def check_settings(study, settings):
    """What is refused or warned about in one row of settings.

    Parameters
    ----------
    study : Study or None
        Gives the unit of each setting and the kind of resin; None takes the catalogue's units.
    settings : dict
        Setting name to float in its declared unit, complete or not. Names without limits pass.

    Returns
    -------
    Cautions
        A setting whose number is missing (NaN) is warned about: its limits were not checked.

    Notes
    -----
    Thickness beyond what was poured is not known here; the models say that.
    """
    units = {factor.name: factor.unit for factor in study.factors} if study is not None else {}
    found = check_resin(study.resin["kind"]) if study is not None and study.resin.get("kind") else Cautions()
    for name in dict.fromkeys(limit["setting"] for limit in rules()["limits"]):
        if name in settings and settings[name] is not None:
            found += _check(name, settings[name], units.get(name))
    return found


def check_gel_time(minutes):
    """A warning where the predicted gel time (min) leaves no time to pour."""
    return _check("gel_time", minutes)


def check_peak(degC):
    """A refusal or warning where the predicted peak temperature (degC) is too high."""
    return _check("peak_temperature", degC)


def _check(name, value, unit=None):
    """The furthest limit broken on each side, as `Cautions`."""
    limits = [limit for limit in rules()["limits"] if limit["setting"] == name]
    declared = limits[0]["unit"]
    if unit and unit != declared and not isinstance(value, str):
        value = f"{value!r} {unit}"
    value = to_unit(value, declared, name)
    words = limits[0].get("words", name.replace("_", " ").replace("post cure", "post-cure"))
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


def check_resin(kind):
    """A refusal of every resin but unsaturated polyester, whose rules are the only ones known here.

    Parameters
    ----------
    kind : str
        The resin in words, as on its label.
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


def check_container(code):
    """Whether a cup or mould plastic, by code or name, may hold liquid polyester resin."""
    use = "Use polypropylene (code 5) or high-density polyethylene (code 2)."
    try:
        plastic = container(code)
    except KeyError:
        said = f"Container {code!r} is not a plastic known here, and styrene attacks many."
        return Cautions(warnings=(f"{said} {use}",))
    said = (f"{plastic.sentence()} {use}",)
    return {"fine": Cautions(), "warn": Cautions((), said), "refuse": Cautions(said)}[plastic.verdict]


def check_mix(order):
    """What is refused or warned about in an order of mixing.

    Parameters
    ----------
    order : sequence
        What goes into the pot, first to last. An item is a name, or several names that are mixed
        together before they go in: ``["resin", "accelerator", "pigment", "peroxide"]`` is right,
        ``["resin", ("peroxide", "accelerator")]`` and ``["resin", "peroxide + accelerator"]`` are refused.
    """
    found, pot = Cautions(), set()
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


def safety_text(kind="bench", html=False):
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
